//! How files of one shape are read, as a document that can be kept, sent and applied: a Data Package (version 2) with
//! a Table Dialect and a Table Schema for each table, and what lies outside these standards (kind of each table, tank,
//! answers by key) in members whose names begin with `strandline:`.
//!
//! Pure. It holds no reading, no coral and no remark of the file: headers, formats, units and answers alone. Answers
//! about single cells of one list are left out; they serve no other file.

use std::collections::{BTreeMap, BTreeSet, HashMap};

use analysis::vocabulary::{FindingCode, ParameterCode, Scope, UnitCode};
use chrono::NaiveDate;
use serde_json::{Map, Value, json};
use sha2::{Digest, Sha256};

use crate::container::{self, Kind as Container};
use crate::encoding;
use crate::finding::Answer;
use crate::grid::Raw;
use crate::layout::{self, Kind, Table};
use crate::record::Record;

/// Version of our own members of the document.
const VERSION: u64 = 1;
/// The member that holds them.
const OWN: &str = "strandline:layout";
/// Bytes of a document that is taken.
pub const LARGEST: usize = 1024 * 1024;

/// Published profiles (Data Package standard, version 2).
const PACKAGE: &str = "https://datapackage.org/profiles/2.0/datapackage.json";
const RESOURCE: &str = "https://datapackage.org/profiles/2.0/dataresource.json";
const DIALECT: &str = "https://datapackage.org/profiles/2.0/tabledialect.json";
const SCHEMA: &str = "https://datapackage.org/profiles/2.0/tableschema.json";

/// Ways to write a day that are tried, in the pattern language of Table Schema (that of C's `strptime`).
const DAYS: [&str; 10] = [
    "%Y-%m-%d", "%d.%m.%Y", "%d/%m/%Y", "%m/%d/%Y", "%d-%m-%Y", "%Y/%m/%d", "%d.%m.%y", "%d/%m/%y", "%m/%d/%y",
    "%d-%m-%y",
];

/// Questions whose answers are about one file only: the next copy asks again.
const OF_ONE_FILE: [&str; 4] = ["as_of_missing", "as_of_assumed", "log_unclear", "rows_gone"];
/// Questions whose answers say which list it is, or speak of its corals, tanks and other lists by name.
const OF_ONE_LIST: [&str; 8] = [
    "tank_unnamed",
    "date_year_missing",
    "complete_since_missing",
    "no_losses_listed",
    "logs_disagree",
    "label_twice",
    "coral_unknown",
    "tank_name_near",
];

/// Questions about a name as it is written, whose answers serve every file of the keeper's.
pub const OF_KEEPER: [&str; 3] = ["name_ambiguous", "name_unknown", "tank_name_near"];

/// Whether an answer serves every file of its keeper, whatever its layout: what "flowerpot" means is asked once.
pub fn serves_keeper(key: &str) -> bool {
    OF_KEEPER.contains(&key.split(':').next().unwrap_or(key))
}

/// How far an answer reaches.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Reach {
    /// This file only.
    File,
    /// Copies of this list: those that go on from what it says.
    List,
    /// Every file of the layout.
    Layout,
}

/// How far the answer to a question reaches: what is said of columns, tables and words is said of the layout, what is
/// said of single cells (a day typed wrong in row 7) of this list only.
pub fn reach(key: &str) -> Reach {
    let code = key.split(':').next().unwrap_or(key);
    if OF_ONE_FILE.contains(&code) {
        return Reach::File;
    }
    let cells_only =
        FindingCode::parse(code).is_some_and(|code| code.get().scope.iter().all(|scope| *scope == Scope::Cell));
    if cells_only || OF_ONE_LIST.contains(&code) { Reach::List } else { Reach::Layout }
}

/// The tables of a file as the answers make them: what a layout is compared by.
fn tables(name: &str, bytes: &[u8], answers: &[Answer]) -> Vec<Table> {
    let (grids, _) = container::open_with(name, bytes, answers);
    grids.into_iter().flat_map(|grid| layout::tables_of(grid, answers).0).collect()
}

/// The word of a kind of table.
fn word(kind: Kind) -> String {
    match kind {
        Kind::LogSheet(_) => "log_sheet".to_owned(),
        other => format!("{other:?}").to_lowercase(),
    }
}

fn digest(tables: impl IntoIterator<Item = (String, Vec<String>)>) -> String {
    let mut shape = Sha256::new();
    for (kind, headers) in tables {
        shape.update(kind);
        for header in headers {
            shape.update([0x1f]);
            shape.update(analysis::vocabulary::text::fold(&header));
        }
        shape.update([0x1e]);
    }
    shape.finalize().iter().take(8).map(|byte| format!("{byte:02x}")).collect()
}

fn headers(table: &Table) -> Vec<String> {
    table.header.iter().map(|column| column.text.clone()).collect()
}

/// A layout, as kept or sent.
#[derive(Debug, Clone, PartialEq)]
pub struct SavedLayout {
    document: Value,
    tables: Vec<(String, Option<String>, Vec<String>)>,
    answers: Vec<Answer>,
    tank: Option<String>,
}

/// A document that is no layout; says what is wrong and what to do.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{0}: send a layout as it was exported, unchanged")]
pub struct NoLayout(String);

/// A file that is not of the layout's shape; says everything in which they differ.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("the layout does not fit this file ({}): name the layout of a file with these columns, or read it without one", .0.join("; "))]
pub struct OtherShape(pub Vec<String>);

impl SavedLayout {
    /// The layout of a file, with the answers it was read with and the records that came of it; `None` if it holds no table.
    ///
    /// `tank` is the tank that was named beside the file.
    pub fn of(name: &str, bytes: &[u8], answers: &[Answer], tank: Option<&str>, columns: &Columns) -> Option<Self> {
        let (grids, _) = container::open_with(name, bytes, answers);
        let delimiters: Vec<Option<u8>> = grids.iter().map(|grid| grid.delimiter).collect();
        let mut found: Vec<(Option<u8>, Table)> = Vec::new();
        for (delimiter, grid) in delimiters.into_iter().zip(grids) {
            found.extend(layout::tables_of(grid, answers).0.into_iter().map(|table| (delimiter, table)));
        }
        if found.is_empty() {
            return None;
        }
        let container = container::sniff(bytes).ok()?;
        let resources: Vec<Value> = found
            .iter()
            .enumerate()
            .map(|(at, (delimiter, table))| resource(at, name, bytes, container, *delimiter, table, columns, answers))
            .collect();
        let shape = digest(found.iter().map(|(_, table)| (word(table.kind), headers(table))));
        // Of two answers to one question the later one holds.
        let held: BTreeMap<&str, &Answer> = answers
            .iter()
            .filter(|answer| reach(&answer.key) == Reach::Layout)
            .map(|answer| (answer.key.as_str(), answer))
            .collect();
        let answers: Vec<&Answer> = held.into_values().collect();
        let document = json!({
            "$schema": PACKAGE,
            "name": format!("layout-{shape}"),
            "resources": resources,
            OWN: {"version": VERSION, "shape": shape, "tank": tank, "answers": answers},
        });
        Self::of_value(document).ok()
    }

    /// The layout of a document.
    ///
    /// # Errors
    /// [`NoLayout`] says what is missing.
    pub fn parse(text: &[u8]) -> Result<Self, NoLayout> {
        if text.len() > LARGEST {
            return Err(NoLayout(format!("the layout is longer than {LARGEST} bytes")));
        }
        let value =
            serde_json::from_slice(text).map_err(|error| NoLayout(format!("the layout is no JSON ({error})")))?;
        Self::of_value(value)
    }

    /// The layout of a parsed document.
    ///
    /// # Errors
    /// As [`SavedLayout::parse`].
    pub fn of_value(document: Value) -> Result<Self, NoLayout> {
        let missing = |what: &str| NoLayout(format!("the layout has no {what}"));
        let own = document.get(OWN).and_then(Value::as_object).ok_or_else(|| missing(&format!("member '{OWN}'")))?;
        match own.get("version").and_then(Value::as_u64) {
            Some(VERSION) => {}
            Some(other) => {
                return Err(NoLayout(format!("the layout is of version {other}, this program reads {VERSION}")));
            }
            None => return Err(missing("version")),
        }
        let answers: Vec<Answer> = own
            .get("answers")
            .cloned()
            .map(serde_json::from_value)
            .transpose()
            .map_err(|error| NoLayout(format!("an answer of the layout cannot be used ({error})")))?
            .unwrap_or_default();
        if let Some(answer) = answers.iter().find(|answer| reach(&answer.key) != Reach::Layout) {
            return Err(NoLayout(format!(
                "the answer to '{}' is of one list only, and no part of a layout",
                answer.key
            )));
        }
        for answer in &answers {
            let code = answer.key.split(':').next().unwrap_or_default();
            if FindingCode::parse(code).is_none() {
                return Err(NoLayout(format!("the layout answers '{}', which is no question", answer.key)));
            }
        }
        let tank = own.get("tank").and_then(Value::as_str).map(str::to_owned);
        let resources = document.get("resources").and_then(Value::as_array).ok_or_else(|| missing("resources"))?;
        let mut tables = Vec::with_capacity(resources.len());
        for resource in resources {
            let kind =
                resource.get("strandline:kind").and_then(Value::as_str).ok_or_else(|| missing("kind of a table"))?;
            let sheet = resource["dialect"]["sheetName"].as_str().map(str::to_owned);
            let fields = resource["schema"]["fields"].as_array().ok_or_else(|| missing("fields of a table"))?;
            let headers = fields
                .iter()
                .map(header_of)
                .collect::<Option<Vec<String>>>()
                .ok_or_else(|| missing("name of a field"))?;
            tables.push((kind.to_owned(), sheet, headers));
        }
        if tables.is_empty() {
            return Err(missing("table"));
        }
        let shape = digest(tables.iter().map(|(kind, _, headers)| (kind.clone(), headers.clone())));
        if own.get("shape").and_then(Value::as_str) != Some(shape.as_str()) {
            return Err(NoLayout("the columns of the layout are not those it was made with".to_owned()));
        }
        Ok(SavedLayout { document, tables, answers, tank })
    }

    /// The document.
    pub fn document(&self) -> &Value {
        &self.document
    }

    /// Its shape: files of one shape share it.
    pub fn shape(&self) -> &str {
        self.document[OWN]["shape"].as_str().unwrap_or_default()
    }

    /// The answers that come with it.
    pub fn answers(&self) -> &[Answer] {
        &self.answers
    }

    /// The tank that was named beside the file it was made from.
    pub fn tank(&self) -> Option<&str> {
        self.tank.as_deref()
    }

    /// Whether a file is of this shape.
    ///
    /// # Errors
    /// [`OtherShape`] names every table and column in which they differ.
    pub fn fits(&self, name: &str, bytes: &[u8]) -> Result<(), OtherShape> {
        let found = tables(name, bytes, &self.answers);
        if digest(found.iter().map(|table| (word(table.kind), headers(table)))) == self.shape() {
            return Ok(());
        }
        let mut differences = Vec::new();
        if found.is_empty() {
            differences.push("the file holds no table".to_owned());
        } else if found.len() != self.tables.len() {
            differences.push(format!("{} tables, the layout has {}", found.len(), self.tables.len()));
        }
        for (at, (table, (kind, _, wanted))) in found.iter().zip(&self.tables).enumerate() {
            let place = match &table.sheet {
                Some(sheet) => format!("sheet '{sheet}', table {}", at + 1),
                None => format!("table {}", at + 1),
            };
            if word(table.kind) != *kind {
                differences.push(format!("{place}: it is {}, the layout's is {kind}", word(table.kind)));
            }
            let fold = |texts: &[String]| -> Vec<String> {
                texts.iter().map(|text| analysis::vocabulary::text::fold(text).to_string()).collect()
            };
            let has = headers(table);
            let (folded, folded_wanted) = (fold(&has), fold(wanted));
            let before = differences.len();
            let missing = wanted.iter().zip(&folded_wanted).filter(|(_, key)| !folded.contains(key));
            differences.extend(missing.map(|(header, _)| format!("{place}: the column '{header}' is missing")));
            let new = has.iter().zip(&table.header).zip(&folded).filter(|(_, key)| !folded_wanted.contains(key));
            differences.extend(new.map(|((header, column), _)| {
                format!("{place}: the column '{header}' (column {}) is not in the layout", column.column)
            }));
            if differences.len() == before && folded != folded_wanted {
                differences.push(format!("{place}: its columns stand in another order or number"));
            }
        }
        Err(OtherShape(differences))
    }
}

/// The header that a field stands for: its title, where names had to be made different.
fn header_of(field: &Value) -> Option<String> {
    field.get("title").or_else(|| field.get("name")).and_then(Value::as_str).map(str::to_owned)
}

/// What was measured in a column, each with the unit it is stored in.
type Measured = BTreeSet<(ParameterCode, String)>;

/// What the records say of the columns they come from.
#[derive(Debug, Default)]
pub struct Columns {
    /// Sheet and column → what was measured there.
    parameters: HashMap<(Option<String>, u32), Measured>,
    /// Sheet, row and column → the day that was read there.
    days: HashMap<(Option<String>, u32, u32), NaiveDate>,
}

impl Columns {
    /// Takes in what some records say.
    pub fn see(&mut self, records: &[Record]) {
        for record in records {
            let Record::Reading(reading) = record else { continue };
            for cell in &reading.place.cells {
                match cell.role.as_str() {
                    "value" => {
                        let at = self.parameters.entry((cell.sheet.clone(), cell.column)).or_default();
                        at.insert((reading.parameter, reading.unit.clone()));
                    }
                    "date" => {
                        self.days.insert((cell.sheet.clone(), cell.row, cell.column), reading.taken.on);
                    }
                    _ => {}
                }
            }
        }
    }
}

#[allow(clippy::too_many_arguments, reason = "one table with all that is known of it")]
fn resource(
    at: usize,
    name: &str,
    bytes: &[u8],
    container: Container,
    delimiter: Option<u8>,
    table: &Table,
    columns: &Columns,
    answers: &[Answer],
) -> Value {
    let mut dialect = Map::new();
    dialect.insert("$schema".into(), json!(DIALECT));
    let header_rows: BTreeSet<u32> = table.header.iter().map(|column| column.row).filter(|row| *row > 0).collect();
    dialect.insert("header".into(), json!(!header_rows.is_empty()));
    if let Some(last) = header_rows.last() {
        dialect.insert("headerRows".into(), json!(header_rows));
        // Lines above the header, and units and labels below it, are no data.
        let mut comments: BTreeSet<u32> = (1..*last).filter(|row| !header_rows.contains(row)).collect();
        comments.extend(table.units.iter().map(|cell| cell.row));
        if comments.len() <= 1000 && !comments.is_empty() {
            dialect.insert("commentRows".into(), json!(comments));
        }
    }
    let mut out = Map::new();
    out.insert("$schema".into(), json!(RESOURCE));
    out.insert("name".into(), json!(format!("table-{}", at + 1)));
    out.insert("type".into(), json!("table"));
    out.insert("path".into(), json!(path_of(name)));
    match container {
        Container::Text => {
            let separator = delimiter.map_or_else(|| ",".to_owned(), |byte| char::from(byte).to_string());
            dialect.insert("delimiter".into(), json!(separator));
            dialect.insert("quoteChar".into(), json!("\""));
            dialect.insert("doubleQuote".into(), json!(true));
            out.insert("format".into(), json!("csv"));
            out.insert("mediatype".into(), json!("text/csv"));
            let encoding = encoding::decode(bytes, None).map_or("utf-8", |decoded| decoded.encoding);
            out.insert("encoding".into(), json!(encoding.to_lowercase()));
        }
        other => {
            dialect.insert("sheetName".into(), json!(table.sheet.clone().unwrap_or_default()));
            out.insert("format".into(), json!(format!("{other:?}").to_lowercase()));
        }
    }
    out.insert("dialect".into(), Value::Object(dialect));
    let schema = json!({
        "$schema": SCHEMA,
        "fields": fields(table, columns, answers),
        "missingValues": ["", "-", "n/a"],
    });
    out.insert("schema".into(), schema);
    out.insert("strandline:kind".into(), json!(word(table.kind)));
    Value::Object(out)
}

/// A file name as a relative path of the standard: no folders, no leading dots.
fn path_of(name: &str) -> String {
    let base = name.rsplit(['/', '\\']).next().unwrap_or(name);
    let base: String = base.chars().filter(|letter| !letter.is_control() && *letter != ':').collect();
    let base = base.trim_start_matches(['.', '~', ' ']).trim_end();
    if base.is_empty() { "file".to_owned() } else { base.to_owned() }
}

fn fields(table: &Table, columns: &Columns, answers: &[Answer]) -> Vec<Value> {
    let mut names: BTreeSet<String> = BTreeSet::new();
    table
        .header
        .iter()
        .map(|header| {
            let wanted = if header.text.is_empty() { format!("column {}", header.column) } else { header.text.clone() };
            let mut name = wanted.clone();
            let mut copy = 1;
            // Names of fields are unique in a schema; whatever their case.
            while !names.insert(name.to_lowercase()) {
                copy += 1;
                name = format!("{wanted} ({copy})");
            }
            let mut field = Map::new();
            field.insert("name".into(), json!(name));
            if name != header.text {
                field.insert("title".into(), json!(header.text));
            }
            describe(&mut field, table, header.column, columns, answers);
            Value::Object(field)
        })
        .collect()
}

fn describe(field: &mut Map<String, Value>, table: &Table, column: u32, columns: &Columns, answers: &[Answer]) {
    let cells: Vec<(u32, &Raw)> = table
        .rows
        .iter()
        .flat_map(|row| row.cells.iter().filter(|cell| cell.column == column).map(|cell| (row.row, &cell.raw)))
        .collect();
    let dated: Vec<(&Raw, NaiveDate)> = cells
        .iter()
        .filter_map(|(row, raw)| Some((*raw, *columns.days.get(&(table.sheet.clone(), *row, column))?)))
        .collect();
    if !dated.is_empty() {
        field.insert("type".into(), json!("date"));
        field.insert("format".into(), json!(day_format(&dated)));
        return;
    }
    let found = columns.parameters.get(&(table.sheet.clone(), column));
    let one = found.filter(|all| all.len() == 1).and_then(|all| all.first());
    let number = |raw: &Raw| match raw {
        Raw::Number(_) => true,
        Raw::Text(text) => text.trim().replace(',', ".").parse::<f64>().is_ok_and(f64::is_finite),
        _ => false,
    };
    // Cells such as "<0.02" are values and no numbers of the standard: a column that holds one is text there.
    let empty = |raw: &Raw| matches!(raw, Raw::Text(text) if matches!(text.trim(), "-" | "n/a"));
    let all_numbers = !cells.is_empty() && cells.iter().all(|(_, raw)| number(raw) || empty(raw));
    if all_numbers && cells.iter().any(|(_, raw)| number(raw)) {
        field.insert("type".into(), json!("number"));
        if table.decimal_comma {
            field.insert("decimalChar".into(), json!(","));
        }
    } else {
        field.insert("type".into(), json!("string"));
    }
    let Some((parameter, unit)) = one else { return };
    field.insert("strandline:parameter".into(), json!(parameter.as_str()));
    field.insert("strandline:stored_unit".into(), json!(unit));
    let written = written_unit(table, column, answers).or_else(|| UnitCode::parse(unit));
    if let Some((unit, ucum)) = written.and_then(|unit| Some((unit.get(), unit.get().ucum?))) {
        field.insert("strandline:ucum".into(), json!(ucum));
        if unit.ucum_factor != 1.0 {
            // dKH has no code of its own: a written number times this is in the unit of the code.
            field.insert("strandline:ucum_factor".into(), json!(unit.ucum_factor));
        }
    }
    if all_numbers
        && written.is_some_and(|written| written == parameter.get().unit)
        && let Some((lowest, highest)) = parameter.get().hard
    {
        field.insert("constraints".into(), json!({"minimum": lowest, "maximum": highest}));
    }
}

/// The unit that a column is written in: its header's, else that of the row of units, else the one answered.
fn written_unit(table: &Table, column: u32, answers: &[Answer]) -> Option<UnitCode> {
    let header = table.header.iter().find(|header| header.column == column)?;
    let bracketed = header.text.rsplit_once(['(', '[']).map(|(_, rest)| rest.trim_end_matches([')', ']']).trim());
    let unit = |text: &str| analysis::vocabulary::find_unit(text).map(|found| found.unit);
    let below = table.units.iter().find(|cell| cell.column == column).map(|cell| cell.raw.written());
    bracketed.and_then(unit).or_else(|| below.as_deref().and_then(unit)).or_else(|| {
        let fold = analysis::vocabulary::text::fold(&header.text).to_string();
        let answered = answers.iter().rev().find(|answer| answer.key == format!("unit_missing:{fold}"))?;
        unit(&answered.choice)
    })
}

/// The pattern in which every cell gives the day that was read from it; `default` for days that a workbook holds as
/// such, `any` if no pattern does.
fn day_format(cells: &[(&Raw, NaiveDate)]) -> &'static str {
    if cells.iter().all(|(raw, _)| matches!(raw, Raw::Date(_))) {
        return "default";
    }
    let fits = |format: &&&str| {
        cells.iter().all(
            |(raw, day)| matches!(raw, Raw::Text(text) if NaiveDate::parse_from_str(text.trim(), format) == Ok(*day)),
        )
    };
    match DAYS.iter().find(fits) {
        Some(&"%Y-%m-%d") => "default",
        Some(format) => format,
        None => "any",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_said_of_a_cell_stays_with_its_list() {
        assert_eq!(reach("date_order_unclear:date"), Reach::Layout);
        assert_eq!(reach("column_unknown:x"), Reach::Layout);
        assert_eq!(reach("date_impossible:31.2.2024"), Reach::List);
        assert_eq!(reach("tank_unnamed"), Reach::List);
        assert_eq!(reach("rows_gone"), Reach::File);
    }

    #[test]
    fn a_path_stays_in_its_folder() {
        assert_eq!(path_of("../../etc/.passwd"), "passwd");
        assert_eq!(path_of("C:\\logs\\my tests.csv"), "my tests.csv");
        assert_eq!(path_of("..."), "file");
    }

    #[test]
    fn days_are_written_in_one_way_or_another() {
        let day = NaiveDate::from_ymd_opt(2024, 3, 14).unwrap();
        let other = NaiveDate::from_ymd_opt(2024, 4, 5).unwrap();
        let text = |text: &str| Raw::Text(text.to_owned());
        let (a, b) = (text("14.3.2024"), text("5.4.2024"));
        assert_eq!(day_format(&[(&a, day), (&b, other)]), "%d.%m.%Y");
        let c = text("2024-03-14");
        assert_eq!(day_format(&[(&c, day)]), "default");
        assert_eq!(day_format(&[(&c, day), (&b, other)]), "any");
    }
}
