//! A long text of tests, cut into parts by day, so that memory stays bounded whatever its length.
//!
//! What a test means depends on its own column, tank and day, and on evidence from its whole column. A first walk over
//! the text gathers what only the whole shows (decimal mark, order of day and month, years that slipped, a sample of
//! every column); then the rows of some months at a time are read like a file of their own. Rows may stand in any order:
//! a part holds all rows of its days, in the order of the file. A text that does not fit this (no column of days, tanks
//! written once and left blank below, days without a year, corals) is not cut.

use std::collections::{BTreeMap, HashMap};
use std::ops::Range;
use std::rc::Rc;

use analysis::vocabulary::HeaderRole;

use crate::canonical::{View, Work, diary};
use crate::cell::mark::{Says, Shape, says};
use crate::container::delimited::{Notes, Text, is_blank, row};
use crate::context::Context;
use crate::dialect::split::{Field, Record, Records};
use crate::doubt::desk::Spot;
use crate::finding::Finding;
use crate::formula_guard::unguarded;
use crate::grid::Grid;
use crate::layout::row::is_summary;
use crate::layout::{self, Kind, Placed, Table};
use crate::meaning::{self, Meaning};

mod cuts; // before which days
mod places; // row numbers of a part and of the text
mod walk; // the first walk over the text
mod whole; // what is known of the whole while a part is read

use places::Places;
use walk::Walk;
pub(crate) use whole::Whole;

/// How much is read at once.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Sizes {
    /// Cells from which a text is long.
    pub long: u64,
    /// Cells of a part, as far as its days allow.
    pub part: u64,
    /// Cells of a text that is read at once where it cannot be cut.
    pub whole: u64,
}

impl Sizes {
    /// As files are read, so that a process stays below 300 MB.
    pub const PROMISED: Sizes = Sizes { long: 400_000, part: 250_000, whole: 450_000 };
}

/// Rows by which the columns of a text are told.
const HEAD_ROWS: usize = 2_000;
/// Rows that stand for a whole column, spread evenly.
const SAMPLE: usize = 4_000;

/// A long text and its parts.
pub(crate) struct Parts<'t> {
    text: &'t Text<'t>,
    /// Where each row starts: byte and line.
    rows: Vec<(u32, u32)>,
    /// Rows above the data.
    head: u32,
    /// Rows of each part, as runs, from 0.
    runs: Vec<Vec<Range<u32>>>,
    decimal_comma: bool,
    /// Names of tanks as written in rows with tests, each where it is met first.
    pub tanks: Vec<(String, Spot)>,
    /// Names of tests and units of a list, in the order in which they are met.
    pub tests: Vec<(String, String)>,
    /// What is noted of its cells.
    pub findings: Vec<Finding>,
    /// Non-empty cells.
    pub total: u64,
}

/// Cells that a text cannot exceed, quickly told.
pub(crate) fn most_cells(text: &Text) -> u64 {
    let bytes = text.letters.as_bytes();
    let cells = match text.dialect.delimiter {
        Some(delimiter) => memchr::memchr3_iter(delimiter, b'\n', b'\r', bytes).count(),
        None => memchr::memchr2_iter(b'\n', b'\r', bytes).count(),
    };
    cells as u64 + 1
}

/// Non-empty cells of a text.
pub(crate) fn cells(text: &Text) -> u64 {
    let mut records = text.records();
    let mut cells = 0;
    while let Some(record) = records.next_record() {
        cells += record.fields.iter().filter(|field| !is_blank(&field.text)).count() as u64;
    }
    cells
}

/// Columns that say when, where and what.
struct Keys {
    kind: Kind,
    date: u32,
    /// Header of the column of days.
    header: String,
    time: Option<u32>,
    tank: Option<u32>,
    name: Option<u32>,
    unit: Option<u32>,
    value: Option<u32>,
    /// Names of the columns in findings.
    about: BTreeMap<u32, String>,
}

/// Cuts a text into parts, with what only the whole shows; `None` if it must be read at once.
///
/// # Errors
/// If it is over a limit.
pub(crate) fn plan<'t>(
    text: &'t Text<'t>,
    name: &str,
    context: &Context,
    sizes: Sizes,
) -> Result<Option<(Parts<'t>, Whole)>, Box<Finding>> {
    if !text.is_clear() || most_cells(text) < sizes.long {
        return Ok(None);
    }
    let Some((keys, head)) = keys(text, name, context)? else { return Ok(None) };
    let Some(walk) = Walk::of(text, &keys, head)? else { return Ok(None) };
    Ok(walk.cut(text, &keys, head, context, sizes))
}

/// The columns by the first rows, with the number of rows above the data.
fn keys(text: &Text, name: &str, context: &Context) -> Result<Option<(Keys, u32)>, Box<Finding>> {
    let mut notes = Notes::default();
    let mut grid = Grid { delimiter: text.dialect.delimiter, ..Grid::default() };
    let mut records = text.records();
    for number in 1..=HEAD_ROWS as u32 {
        let Some(record) = records.next_record() else { break };
        notes.see(number, record.fields)?;
        grid.rows.extend(row(number, &record));
    }
    grid.decimal_comma = notes.decimal_comma(text.dialect);
    let (tables, _, _) = layout::tables_of(grid, &context.answers);
    let [table] = tables.as_slice() else { return Ok(None) };
    if table.turned || !matches!(table.kind, Kind::Wide | Kind::Long) {
        return Ok(None);
    }
    let mut work = Work::new(context, vec![None], name, None);
    let mut view = View::new(table, 0, 0);
    meaning::settle(&mut work, &mut view);
    let (Some(date), Some(first)) = (view.column(HeaderRole::Date), table.rows.first()) else { return Ok(None) };
    if table.kind == Kind::Wide && diary::coral_column(&view).is_some() {
        return Ok(None);
    }
    let list = table.kind == Kind::Long;
    let of = |roles: &[HeaderRole]| roles.iter().find_map(|role| view.column(*role)).filter(|_| list);
    let keys = Keys {
        kind: table.kind,
        date,
        header: view.header(date).trim().to_owned(),
        time: view.column(HeaderRole::Time),
        tank: view.column(HeaderRole::Tank),
        name: of(&[HeaderRole::Parameter, HeaderRole::What, HeaderRole::Kind]),
        unit: of(&[HeaderRole::Unit]),
        value: of(&[HeaderRole::Value, HeaderRole::Amount]),
        about: view
            .meanings
            .iter()
            .filter(|(_, meaning)| matches!(meaning, Meaning::Quantity(_)))
            .map(|(column, _)| (*column, view.about(*column)))
            .collect(),
    };
    Ok((!list || keys.name.is_some() && keys.value.is_some()).then_some((keys, first.row - 1)))
}

impl Keys {
    /// Whether a row holds a test, and is neither the header again nor a mean.
    fn hold_a_test(&self, number: u32, record: &Record) -> bool {
        let fields = record.fields;
        let tests = match self.value {
            Some(value) => at(fields, value).is_some(),
            None => self.about.keys().any(|column| at(fields, *column).is_some()),
        };
        let header = at(fields, self.date).is_some_and(|text| text.trim() == self.header);
        tests && !header && row(number, record).is_some_and(|row| !is_summary(&row, Some(self.kind)))
    }
}

/// The text of a cell, if it is not blank.
fn at<'f>(fields: &'f [Field], column: u32) -> Option<&'f str> {
    let field = fields.get(column as usize - 1)?;
    (!is_blank(&field.text)).then(|| unguarded(&field.text))
}

impl Parts<'_> {
    /// How many parts there are.
    pub fn len(&self) -> usize {
        self.runs.len()
    }

    fn records(&self, row: u32) -> Records<'_> {
        let (start, line) = self.rows[row as usize];
        Records::from(&self.text.letters, self.text.dialect, (start as usize, line))
    }

    /// Numbers as written of each column, or of each test and unit of a list, from rows spread evenly over the text.
    fn samples(&self, keys: &Keys) -> HashMap<String, Rc<[f64]>> {
        let mut samples: HashMap<String, Vec<f64>> = HashMap::new();
        let data = self.rows.len() - self.head as usize;
        let mut take = |about: String, text: &str| {
            let Says::Number(number) = says(text, self.decimal_comma) else { return };
            let (Shape::Is(figures) | Shape::Below(figures) | Shape::Above(figures) | Shape::Span(figures, _)) =
                number.shape;
            samples.entry(about).or_default().push(figures.first);
        };
        for step in 0..data.min(SAMPLE) {
            let row = self.head as usize + step * data / data.min(SAMPLE);
            let mut records = self.records(row as u32);
            let Some(record) = records.next_record() else { continue };
            match (keys.name, keys.value) {
                (Some(name), Some(value)) => {
                    let (Some(name), Some(value)) = (at(record.fields, name), at(record.fields, value)) else {
                        continue;
                    };
                    let unit = keys.unit.and_then(|column| at(record.fields, column)).unwrap_or_default();
                    take(analysis::vocabulary::text::fold(format!("{} {}", name.trim(), unit.trim()).trim()), value);
                }
                _ => {
                    for (column, about) in &keys.about {
                        if let Some(value) = at(record.fields, *column) {
                            take(about.clone(), value);
                        }
                    }
                }
            }
        }
        samples.into_iter().map(|(about, values)| (about, values.into())).collect()
    }

    /// Tables of a part, what could not be taken as it stands, and cells outside all tables: rows above the data with
    /// the rows of the part.
    pub fn tables(&self, part: usize, context: &Context) -> (Vec<Table>, Vec<Finding>, Vec<Placed>) {
        let mut grid =
            Grid { delimiter: self.text.dialect.delimiter, decimal_comma: self.decimal_comma, ..Grid::default() };
        // What stands far apart in the text follows one another here; afterwards every row gets its own number again.
        let mut places = Places::default();
        let head = std::iter::once(0..self.head).filter(|head| !head.is_empty());
        for run in head.chain(self.runs[part].iter().cloned()) {
            let first = places.add(&run);
            let mut records = self.records(run.start);
            for number in first..first + run.len() as u32 {
                let Some(record) = records.next_record() else { break };
                grid.rows.extend(row(number, &record));
            }
        }
        let (mut tables, mut findings, mut outside) = layout::tables_of(grid, &context.answers);
        tables.iter_mut().for_each(|table| places.put_back(table));
        findings.iter_mut().for_each(|finding| places.put_back_finding(finding));
        outside.iter_mut().for_each(|cell| cell.row = places.of(cell.row));
        (tables, findings, outside)
    }
}
