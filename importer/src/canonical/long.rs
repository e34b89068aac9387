//! One test a row: day, tank, what was tested, value, unit.

use std::collections::{BTreeMap, HashMap};

use analysis::vocabulary::{
    HeaderRole, ParameterCode, ParameterKind, UnitCode, catalogue, find_substance_without_code, find_unit,
    is_no_reading,
};

use crate::canonical::test::{Group, Test, Waiting};
use crate::canonical::wide::{Frame, group, label_column, remarks};
use crate::canonical::{View, Work, event, fill, habit};
use crate::dialect::guess::Look;
use crate::doubt::desk::{Doubt, Settled};
use crate::finding::Choice;
use crate::layout::DataRow;
use crate::layout::row::look_of;
use crate::meaning::unknown::parameters_or_remark;
use crate::meaning::{Meaning, Quantity, quantities};

/// What the cells of one group share: parameter, basis, unit, and a unit that nobody knows as written.
pub(crate) type Series = (ParameterCode, Option<&'static str>, Option<UnitCode>, String);

/// What a test name and its unit say, if anything; the unit apart.
type Understood = Option<(Quantity, Option<UnitCode>)>;

/// Reads a list of single tests into groups of one test name and unit; events are recorded at once.
pub(crate) fn read(work: &mut Work, view: &View) -> Vec<Group> {
    let mut frame = Frame::of(
        work,
        view,
        view.column(HeaderRole::Date),
        view.column(HeaderRole::Time),
        view.column(HeaderRole::Tank),
    );
    let name_column = view
        .column(HeaderRole::Parameter)
        .or_else(|| view.column(HeaderRole::What))
        .or_else(|| view.column(HeaderRole::Kind));
    let value_column = view.column(HeaderRole::Value).or_else(|| view.column(HeaderRole::Amount));
    let unit_column = view.column(HeaderRole::Unit);
    let limit_column = view.table.header.iter().find(|header| is_limit(&header.text)).map(|header| header.column);
    let named_above = name_column.map(|column| fill::sources(view, column)).unwrap_or_default();
    let mut groups: BTreeMap<Series, Group> = BTreeMap::new();
    let mut habits: Vec<(Quantity, Group)> = Vec::new();
    let mut known: HashMap<(String, String), Understood> = HashMap::new();
    if name_column.is_none() || value_column.is_none() {
        unreadable(work, view);
    }
    for (at, row) in (0..).zip(&view.table.rows) {
        remarks(work, view, row);
        let (Some(name_column), Some(value_column)) = (name_column, value_column) else { continue };
        let named = named_above.get(&row.row).copied().unwrap_or(row.row);
        let name = view.row(named).and_then(|row| view.text(row, name_column));
        let (Some(name), Some(raw)) = (name, view.raw(row, value_column)) else { continue };
        let unit_text = unit_column.and_then(|column| view.text(row, column)).filter(|text| !is_no_reading(text));
        let written_unit = unit_text.clone().unwrap_or_default();
        // A list repeats few names and units many times.
        let told = known
            .entry((name.clone(), written_unit.clone()))
            .or_insert_with(|| understood(work, &name, unit_text.as_deref()));
        let Some((quantity, unit)) = told.clone() else {
            unknown(work, view, row, &name, name_column, value_column);
            continue;
        };
        let mut when = frame.of_row(work, view, row);
        frame.count_undated(work, view, &when);
        when.cells.push((view.spot(named, name_column), "parameter"));
        if let Some(column) = unit_column.filter(|column| view.raw(row, *column).is_some()) {
            when.cells.push((view.spot(row.row, column), "unit"));
        }
        let header = if written_unit.is_empty() { name.clone() } else { format!("{name} {written_unit}") };
        let about = analysis::vocabulary::text::fold(&header);
        if quantity.parameter.get().kind == ParameterKind::Routine {
            let mut test = Test::of(raw, view.spot(row.row, value_column), view.table.decimal_comma, when.shared());
            test.line = row.line;
            if let Some(quantity) = habit::rate(&quantity, &header) {
                let spot = view.spot(row.row, value_column);
                let of = |(_, group): &mut (Quantity, Group)| group.about == about;
                match habits.iter_mut().find_map(|one| of(one).then_some(&mut one.1)) {
                    Some(group) => group.tests.push(test),
                    None => {
                        let mut group = group(view.at, about, name.clone(), &quantity, spot);
                        group.tests.push(test);
                        habits.push((quantity, group));
                    }
                }
            } else {
                event::read(work, &quantity, &header, &about, test);
            }
            continue;
        }
        let spot = view.spot(row.row, value_column);
        let series = series(&quantity, unit, &written_unit);
        let entry = groups.entry(series).or_insert_with_key(|series| {
            // Called as where it was met first, in whatever part of the file.
            let called = work.series.entry(series.clone()).or_insert_with(|| (about, name.clone())).clone();
            group(view.at, called.0, called.1, &quantity, spot)
        });
        if let Some(limit) = limit_column.and_then(|column| view.text(row, column)) {
            let number = crate::cell::number::numeral(limit.trim_start_matches(['<', ' ']), view.table.decimal_comma);
            entry.limit = entry.limit.or(number.map(|figures| figures.first));
        }
        entry.wait(Waiting { row: at, column: value_column, when: when.shared() });
    }
    for column in view.meanings.keys() {
        let waits = Some(*column) == value_column || Some(*column) == name_column;
        if !waits {
            label_column(work, view, *column);
        }
    }
    labels_of_incomplete_rows(work, view, name_column, value_column, &named_above);
    for (quantity, group) in habits {
        work.needs_whole("a habit goes on over the parts");
        habit::settle(work, &quantity, group);
    }
    groups.into_values().collect()
}

/// A header over the smallest value that each test can show.
fn is_limit(header: &str) -> bool {
    const WORDS: [&str; 16] = [
        "limit",
        "detection limit",
        "limit of detection",
        "limit of determination",
        "reporting limit",
        "lod",
        "loq",
        "bestimmungsgrenze",
        "nachweisgrenze",
        "limite de detection",
        "limite de quantification",
        "ld",
        "lq",
        "limite de deteccion",
        "detectielimiet",
        "bepalingsgrens",
    ];
    WORDS.contains(&analysis::vocabulary::text::fold(header).as_str())
}

/// A list of tests of which nobody can tell which column holds the values: its numbers are asked about.
fn unreadable(work: &mut Work, view: &View) {
    let columns: Vec<u32> = view
        .meanings
        .iter()
        .filter(|(_, meaning)| matches!(meaning, Meaning::Label))
        .map(|(column, _)| *column)
        .filter(|column| {
            view.table.rows.iter().filter_map(|row| view.raw(row, *column)).any(|raw| look_of(raw) == Look::Number)
        })
        .collect();
    for column in columns {
        let about = view.about(column);
        if matches!(work.desk.ask("column_unknown", &about), Settled::LeaveOut | Settled::Choice("remark", _)) {
            continue;
        }
        let cells = view.table.rows.iter().filter(|row| view.raw(row, column).is_some());
        let cells: Vec<_> = cells.map(|row| (view.spot(row.row, column), "value")).collect();
        let remark = Choice { code: "remark".to_owned(), label: "a remark".to_owned(), needs: None };
        work.desk.raise(
            Doubt::of("column_unknown")
                .about(about)
                .at(view.header_spot(column), view.header(column))
                .fill("column", view.header(column))
                .fill("header", view.header(column))
                .cells(cells)
                .choices(vec![remark])
                .propose_nothing(),
        );
    }
}

fn series(quantity: &Quantity, unit: Option<UnitCode>, written_unit: &str) -> Series {
    let unknown = if unit.is_none() { written_unit.to_lowercase() } else { String::new() };
    (quantity.parameter, quantity.basis, quantity.unit, unknown)
}

/// Takes note of a test name and unit before any row is read: which of two names for one test comes first is told by the
/// file, not by its parts.
pub(crate) fn foretell(work: &mut Work, name: &str, written_unit: &str) {
    let unit_text = Some(written_unit).filter(|text| !text.is_empty() && !is_no_reading(text));
    let Some((quantity, unit)) = understood(work, name, unit_text) else { return };
    let written_unit = unit_text.unwrap_or_default();
    let header = if written_unit.is_empty() { name.to_owned() } else { format!("{name} {written_unit}") };
    let called = (analysis::vocabulary::text::fold(&header), name.to_owned());
    work.series.entry(series(&quantity, unit, written_unit)).or_insert(called);
}

/// What a test name and its unit say; the unit apart, if the catalogue knows it.
fn understood(work: &Work, name: &str, unit_text: Option<&str>) -> Understood {
    let unit = unit_text.and_then(find_unit);
    let told = match unit_text {
        Some(text) => fitting(name, text).or_else(|| fitting(name, "")),
        None => fitting(name, ""),
    };
    let mut quantity = told.or_else(|| answered(work, name))?;
    if let Some(unit) = unit {
        quantity.unit = Some(unit.unit);
        quantity.basis = unit.basis.or(quantity.basis);
    }
    Some((quantity, unit.map(|unit| unit.unit)))
}

/// A test name with its unit: "Nitrate" under "ppm as N", "P" under "ppb".
fn fitting(name: &str, unit: &str) -> Option<Quantity> {
    let joined = if unit.is_empty() { name.to_owned() } else { format!("{name} {unit}") };
    match quantities(&joined).as_slice() {
        [only] => Some(only.clone()),
        _ => None,
    }
}

/// A test name that an answer has explained.
fn answered(work: &Work, name: &str) -> Option<Quantity> {
    let settled = work.desk.ask("column_unknown", &analysis::vocabulary::text::fold(name));
    let code = settled.text().or_else(|| settled.choice().map(str::to_owned))?;
    ParameterCode::parse(&code).map(|parameter| Quantity {
        parameter,
        basis: None,
        unit: None,
        limit: None,
        other_tank: false,
    })
}

fn unknown(work: &mut Work, view: &View, row: &DataRow, name: &str, name_column: u32, value_column: u32) {
    let (name_spot, value_spot) = (view.spot(row.row, name_column), view.spot(row.row, value_column));
    let about = analysis::vocabulary::text::fold(name);
    if let Some(substance) = find_substance_without_code(name) {
        work.desk.raise(
            Doubt::of("column_without_code")
                .about(about)
                .at(name_spot, name)
                .fill("column", name)
                .fill("substance", substance)
                .cell(value_spot, "value"),
        );
        work.labels.extend([name_spot, value_spot]);
        return;
    }
    if matches!(work.desk.ask("column_unknown", &about), Settled::LeaveOut | Settled::Choice("remark", _)) {
        work.labels.extend([name_spot, value_spot]);
        return;
    }
    let mut likely: Vec<ParameterCode> = quantities(name).into_iter().map(|quantity| quantity.parameter).collect();
    if likely.is_empty() {
        let all = catalogue().parameters().iter();
        let near = all.filter(|parameter| strsim::jaro_winkler(&about, &parameter.name.to_lowercase()) > 0.85);
        likely = near.map(|parameter| parameter.code).collect();
    }
    let choices = parameters_or_remark(likely.into_iter());
    let cells = row
        .cells
        .iter()
        .map(|cell| (view.spot(row.row, cell.column), if cell.column == value_column { "value" } else { "row" }));
    work.desk.raise(
        Doubt::of("column_unknown")
            .about(about)
            .at(name_spot, name)
            .fill("column", name)
            .fill("header", name)
            .cells(cells)
            .choices(choices)
            .propose_nothing(),
    );
}

/// Rows with a name but no value, or a value of nothing: no reading.
fn labels_of_incomplete_rows(
    work: &mut Work,
    view: &View,
    name_column: Option<u32>,
    value_column: Option<u32>,
    named_above: &BTreeMap<u32, u32>,
) {
    for row in view.table.rows.iter().filter(|row| !named_above.contains_key(&row.row)) {
        let name = name_column.filter(|column| view.raw(row, *column).is_some());
        let value = value_column.filter(|column| view.raw(row, *column).is_some());
        match (name, value) {
            (Some(column), _) => drop(work.labels.insert(view.spot(row.row, column))),
            (None, Some(column)) => {
                let spot = view.spot(row.row, column);
                let written = view.text(row, column).unwrap_or_default();
                let settled = work.desk.ask("column_unknown", "");
                if settled == Settled::LeaveOut {
                    work.labels.insert(spot);
                } else {
                    work.desk.raise(
                        Doubt::of("column_unknown")
                            .at(spot, written)
                            .fill("column", "")
                            .fill("header", "")
                            .cell(spot, "value")
                            .propose_nothing(),
                    );
                }
            }
            (None, None) => {}
        }
    }
}
