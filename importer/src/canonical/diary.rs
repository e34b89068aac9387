//! Looks, sizes and notes about corals, one a row: a diary, or the rows about corals in a table of tests.

use std::collections::{BTreeMap, BTreeSet};

use analysis::vocabulary::{
    FateMatch, HeaderRole, Measure, find_cause_in_remark, find_condition, find_fate, find_measure, find_size_basis,
    find_unit, header_roles, is_no_reading,
};

use crate::canonical::corals::{self, CoralOf};
use crate::canonical::date_column::{self, DateColumn, DayOf, Rule};
use crate::canonical::ending::End;
use crate::canonical::size::{self, SizeSays};
use crate::canonical::test::Group;
use crate::canonical::wide::Frame;
use crate::canonical::{Cells, View, Work, event, fill, remark};
use crate::doubt::desk::{Doubt, Settled, Spot};
use crate::grid::Raw;
use crate::layout::{DataRow, Kind};
use crate::meaning::Meaning;
use crate::meaning::corals as corals_in_words;

mod seen; // looks, cuts and ends told of a coral
mod sizing; // sizes on their way to records
mod tank_row; // rows that name no coral

pub(crate) use sizing::{Draft, settle as settle_sizes};

use seen::seen;

/// Columns of a diary.
struct Columns {
    coral: Option<u32>,
    what: Option<u32>,
    value: Option<u32>,
    unit: Option<u32>,
    basis: Option<u32>,
    condition: Option<u32>,
    /// Nearly every word of that column is a look: what is none is one in a word of the keeper's own.
    looks_only: bool,
    /// Columns of free words, left to right.
    remarks: Vec<u32>,
    /// Columns that are a measure of their own.
    measures: Vec<(u32, &'static Measure, Option<&'static str>)>,
}

impl Columns {
    fn of(view: &View) -> Self {
        let at = |role| view.column(role);
        let value = at(HeaderRole::Value).or_else(|| at(HeaderRole::Size)).or_else(|| at(HeaderRole::Amount));
        let what = at(HeaderRole::What)
            .or_else(|| at(HeaderRole::Measure))
            .or_else(|| at(HeaderRole::Kind))
            .or_else(|| at(HeaderRole::Parameter));
        let mut measures = Vec::new();
        for header in &view.table.header {
            let pair = what.is_some() && (Some(header.column) == value || Some(header.column) == what);
            if pair {
                continue;
            }
            let told = match view.meanings.get(&header.column) {
                Some(Meaning::Measure(code)) => Measure::parse(code).map(|measure| (measure, measure.basis)),
                Some(Meaning::Label | Meaning::Role(HeaderRole::Dimension | HeaderRole::Size | HeaderRole::Value)) => {
                    find_measure(&header.text).map(|found| (found.measure, found.basis))
                }
                _ => None,
            };
            if let Some((measure, basis)) = told {
                measures.push((header.column, measure, basis));
            }
        }
        // Words under a header that names nothing are remarks too: a look or an end among them is not lost.
        let free = |column: &u32, meaning: &Meaning| match meaning {
            Meaning::Role(HeaderRole::Remark) => true,
            Meaning::Label => {
                let header = view.table.header.iter().find(|header| header.column == *column);
                header.is_none_or(|header| header_roles(&header.text).is_empty())
                    && !measures.iter().any(|(measure, ..)| measure == column)
            }
            _ => false,
        };
        let coral = at(HeaderRole::Label).or_else(|| at(HeaderRole::Name)).or_else(|| at(HeaderRole::TradeName));
        let condition = at(HeaderRole::Condition).or_else(|| at(HeaderRole::Fate));
        let remarks =
            view.meanings.iter().filter(|(column, meaning)| free(column, meaning)).map(|(column, _)| *column).collect();
        Columns {
            coral,
            what,
            value: value.filter(|value| !measures.iter().any(|(column, ..)| column == value)),
            unit: at(HeaderRole::Unit),
            basis: at(HeaderRole::Basis),
            condition,
            looks_only: condition.is_some_and(|column| corals_in_words::mostly_looks(view, column, coral)),
            remarks,
            measures,
        }
    }

    /// Columns of sizes.
    fn sizes(&self) -> impl Iterator<Item = u32> {
        self.value.into_iter().chain(self.measures.iter().map(|(column, ..)| *column))
    }

    /// Whether a row says anything of a coral besides its name.
    fn tell(&self, view: &View, row: &DataRow) -> bool {
        let told = |column: u32| view.raw(row, column).is_some();
        let speaks = |column: &u32| view.text(row, *column).is_some_and(|text| speaks_of_coral(&text));
        self.sizes().chain(self.condition).chain(self.what).any(told) || self.remarks.iter().any(speaks)
    }
}

/// Free words that say how a coral looked or what became of it.
fn speaks_of_coral(text: &str) -> bool {
    find_condition(text).is_some() || find_fate(text) != FateMatch::NoWord
}

/// A header that stands over remarks: what is not understood under it stays one.
fn over_remarks(view: &View, column: u32) -> bool {
    header_roles(&view.header(column)).contains(&HeaderRole::Remark)
}

/// One row with what all its facts share.
struct Entry<'r> {
    row: &'r DataRow,
    written: String,
    coral: CoralOf,
    day: DayOf,
    /// For a row without a day, the day above it.
    above: Option<DayOf>,
    shared: Cells,
    /// A cause that a remark names.
    cause: Option<(Spot, String)>,
}

/// What rows tell that others need.
#[derive(Default)]
struct Told {
    /// Corals cut since their last size: the next one starts a new series.
    cut: BTreeSet<String>,
    /// Ends without a day, with their lines: what is known of their day is known at the end.
    undated: Vec<(Option<u32>, End)>,
    /// Sizes.
    drafts: Vec<Draft>,
    /// Words outside remarks that nobody could read: no labels.
    unread: BTreeSet<Spot>,
}

/// Reads a diary.
pub(crate) fn read(work: &mut Work, view: &View) -> Vec<Group> {
    let columns = Columns::of(view);
    if columns.coral.is_none() && columns.sizes().next().is_none() {
        return journal(work, view, &columns);
    }
    let groups = rows(work, view, &columns);
    for column in view.meanings.keys().filter(|column| !columns.sizes().any(|size| size == **column)) {
        crate::canonical::wide::label_column(work, view, *column);
    }
    finish(work, view, groups)
}

/// What a table of tests says of corals in rows of their own.
pub(crate) fn beside(work: &mut Work, view: &View) {
    let columns = Columns::of(view);
    if columns.coral.is_some() {
        let told = rows(work, view, &columns);
        finish(work, view, told);
    }
}

/// The column that names corals, in a table of tests.
pub(crate) fn coral_column(view: &View) -> Option<u32> {
    Columns::of(view).coral
}

fn finish(work: &mut Work, view: &View, (told, groups): (Told, Vec<Group>)) -> Vec<Group> {
    for spot in &told.unread {
        work.labels.remove(spot);
    }
    seen::without_day(work, view, &told);
    sizing::settle(work, &view.table_about(), told.drafts);
    remark::joined(groups)
}

fn rows(work: &mut Work, view: &View, columns: &Columns) -> (Told, Vec<Group>) {
    let date = view.column(HeaderRole::Date);
    let days = date
        .map(|column| {
            date_column::read(
                work,
                view,
                column,
                Rule { in_sequence: true, start: false, end: false, partial: false, order_about: None },
                None,
            )
        })
        .unwrap_or_default();
    let among_tests = view.table.kind == Kind::Wide;
    let filled = |column: Option<u32>| column.map(|column| fill::sources(view, column)).unwrap_or_default();
    // Among tests, a row without a coral is the tank's, unless the coral is the outer key of the two.
    let corals = match (columns.coral, date) {
        (Some(coral), Some(date)) if among_tests && coral > date => fill::merged(view, coral),
        (coral, _) => filled(coral),
    };
    let above = (corals, filled(date));
    let mut told = Told::default();
    let mut tank_rows = tank_row::TankRows::default();
    for row in &view.table.rows {
        if !among_tests {
            crate::canonical::wide::remarks(work, view, row);
        }
        let named = above.0.get(&row.row).copied().unwrap_or(row.row);
        let name = columns
            .coral
            .and_then(|column| view.text(view.row(named)?, column).map(|text| (text, view.spot(named, column))))
            .filter(|(text, _)| !is_no_reading(text));
        let Some((written, spot)) = name else {
            tank_rows.read(work, view, columns, row, &mut told);
            continue;
        };
        if among_tests && !columns.tell(view, row) {
            continue;
        }
        let entry = entry(work, view, row, written, spot, date, &days, &above.1);
        facts(work, view, columns, entry, &mut told);
    }
    (told, tank_rows.groups)
}

/// A diary of sentences: each says what its words say, of whatever they name.
fn journal(work: &mut Work, view: &View, columns: &Columns) -> Vec<Group> {
    let (date, time) = (view.column(HeaderRole::Date), view.column(HeaderRole::Time));
    let mut frame = Frame::of(work, view, date, time, view.column(HeaderRole::Tank));
    let mut groups = Vec::new();
    for row in &view.table.rows {
        crate::canonical::wide::remarks(work, view, row);
        let words = [columns.what, columns.condition].into_iter().flatten().chain(columns.remarks.iter().copied());
        for column in words {
            let text = view.text(row, column).unwrap_or_default();
            if remark::speaks(work, &view.header(column), &text, view.table.decimal_comma) {
                let when = frame.of_row(work, view, row);
                groups.extend(remark::read(work, view, row, column, &when));
            } else if tank_row::speaks(&text) {
                let when = frame.of_row(work, view, row);
                event::done(work, view, row, column, &text, &when);
            }
        }
    }
    for column in view.meanings.keys() {
        crate::canonical::wide::label_column(work, view, *column);
    }
    remark::joined(groups)
}

/// What a remark beside other things says of a coral.
#[expect(clippy::too_many_arguments, reason = "the parts of an entry")]
pub(crate) fn remark(
    work: &mut Work,
    view: &View,
    row: &DataRow,
    written: String,
    coral: CoralOf,
    day: DayOf,
    shared: Cells,
    text: &str,
    spot: Spot,
) {
    let entry = Entry { row, written, coral, day, above: None, shared, cause: None };
    let mut told = Told::default();
    seen(work, &entry, text, spot, None, &mut told);
    seen::without_day(work, view, &told);
}

#[expect(clippy::too_many_arguments, reason = "a row with its two keys")]
fn entry<'r>(
    work: &mut Work,
    view: &View,
    row: &'r DataRow,
    written: String,
    spot: Spot,
    date: Option<u32>,
    days: &DateColumn,
    above: &BTreeMap<u32, u32>,
) -> Entry<'r> {
    let coral = corals::named(work, &written, spot);
    let mut shared: Cells = vec![(spot, "label")];
    let dated = above.get(&row.row).copied().unwrap_or(row.row);
    if let Some(column) = date.filter(|column| dated != row.row || view.raw(row, *column).is_some()) {
        shared.push((view.spot(dated, column), "date"));
    }
    let day = date.map_or(DayOf::Absent, |_| days.of(dated));
    Entry { row, written, coral, day, above: days.above(row.row).cloned(), shared, cause: None }
}

/// What waits for its coral or its day waits; `true` if the fact can be recorded.
fn ready(work: &mut Work, entry: &Entry, cells: &Cells) -> bool {
    if !coral_ready(work, entry, cells) {
        return false;
    }
    match &entry.day {
        DayOf::Known(_) => true,
        DayOf::Held(key, _) | DayOf::Refused(key) => {
            work.desk.wait(key, cells.iter().copied());
            false
        }
        DayOf::Left => {
            work.labels.extend(cells.iter().map(|(spot, _)| *spot));
            false
        }
        DayOf::Absent | DayOf::Open => {
            let about = format!("row {}", entry.row.row);
            if work.desk.ask("date_missing", &about) == Settled::LeaveOut {
                work.labels.extend(cells.iter().map(|(spot, _)| *spot));
            } else if let Some((spot, _)) = cells.first() {
                let doubt = Doubt::of("date_missing")
                    .about(about)
                    .at(*spot, "")
                    .fill("row", entry.row.row.to_string())
                    .cells(cells.iter().copied());
                work.desk.raise(doubt);
            }
            false
        }
    }
}

/// What waits for its coral waits; `true` if the coral is known.
fn coral_ready(work: &mut Work, entry: &Entry, cells: &Cells) -> bool {
    match &entry.coral {
        CoralOf::Held(key) => {
            work.desk.wait(key, cells.iter().copied());
            false
        }
        CoralOf::Left => {
            work.labels.extend(cells.iter().map(|(spot, _)| *spot));
            false
        }
        CoralOf::Known(_) => true,
    }
}

/// The day of a row without one, as answered.
fn day_as_answered(work: &Work, entry: &mut Entry) {
    if !matches!(entry.day, DayOf::Absent) {
        return;
    }
    let settled = work.desk.ask("date_missing", &format!("row {}", entry.row.row));
    let above = match settled.choice() {
        Some("above") => entry.above.take(),
        _ => None,
    };
    let answered =
        settled.day().map(|day| DayOf::Known(date_column::Known { earliest: Some(day), latest: day, clock: None }));
    if let Some(day) = answered.or(above) {
        entry.day = day;
    }
}

fn facts(work: &mut Work, view: &View, columns: &Columns, mut entry: Entry, told: &mut Told) {
    let row = entry.row;
    day_as_answered(work, &mut entry);
    let basis = columns
        .basis
        .and_then(|column| view.text(row, column).map(|text| (column, text)))
        .and_then(|(column, text)| find_size_basis(&text).map(|basis| (basis.code, view.spot(row.row, column))))
        .or_else(|| size::basis_of_titles(view));
    let basis_cell = basis.map(|(_, spot)| (spot, "basis"));
    for (column, measure, of_header) in &columns.measures {
        let Some(raw) = view.raw(row, *column) else { continue };
        let size = Size {
            raw,
            spot: view.spot(row.row, *column),
            column: *column,
            measure,
            basis: of_header.or(basis.map(|(code, _)| code)),
            unit: size::unit_of(view, *column),
            extra: basis_cell.into_iter().collect(),
        };
        measured(work, view, &entry, size, told);
    }
    entry.cause = columns.remarks.iter().find_map(|column| {
        let text = view.text(row, *column).filter(|text| find_cause_in_remark(text).is_some())?;
        Some((view.spot(row.row, *column), text))
    });
    let mut ended = false;
    if let Some(column) = columns.condition
        && let Some(text) = view.text(row, column)
    {
        let spot = view.spot(row.row, column);
        ended = seen::ends(&text);
        if !seen(work, &entry, &text, spot, None, told) {
            seen::unread(work, view, &entry, column, (&text, columns.looks_only), told);
        }
    }
    let what = columns.what.and_then(|column| view.text(row, column).map(|text| (text, view.spot(row.row, column))));
    match (&what, columns.value.and_then(|column| view.raw(row, column).map(|raw| (column, raw)))) {
        (Some((text, what_spot)), Some((column, raw))) => {
            let spot = view.spot(row.row, column);
            match find_measure(text) {
                Some(found) => {
                    let unit_cell = columns
                        .unit
                        .and_then(|column| view.text(row, column).map(|text| (text, view.spot(row.row, column))));
                    let own = unit_cell.as_ref().and_then(|(text, _)| find_unit(text)).map(|found| found.unit);
                    let mut extra: Cells = vec![(*what_spot, "measure")];
                    extra.extend(unit_cell.map(|(_, spot)| (spot, "unit")));
                    extra.extend(basis_cell);
                    let size = Size {
                        raw,
                        spot,
                        column,
                        measure: found.measure,
                        basis: found.basis.or(basis.map(|(code, _)| code)),
                        unit: own.or_else(|| size::unit_of(view, column)),
                        extra,
                    };
                    measured(work, view, &entry, size, told);
                }
                None => {
                    let joined = format!("{text} {}", raw.written());
                    let said = if find_condition(&raw.written()).is_some()
                        || !matches!(find_fate(&raw.written()), FateMatch::NoWord)
                    {
                        raw.written()
                    } else {
                        joined
                    };
                    if !seen(work, &entry, &said, spot, Some(*what_spot), told) {
                        other(work, &entry, &raw.written(), spot);
                    }
                }
            }
        }
        (None, Some((column, raw))) => {
            let spot = view.spot(row.row, column);
            match (size::size(raw, view.table.decimal_comma), Measure::parse("max_diameter")) {
                (SizeSays::Number { .. }, Some(measure)) => {
                    let size = Size {
                        raw,
                        spot,
                        column,
                        measure,
                        basis: basis.map(|(code, _)| code),
                        unit: size::unit_of(view, column),
                        extra: basis_cell.into_iter().collect(),
                    };
                    measured(work, view, &entry, size, told);
                }
                _ => {
                    if !seen(work, &entry, &raw.written(), spot, None, told) {
                        other(work, &entry, &raw.written(), spot);
                    }
                }
            }
        }
        (Some((text, spot)), None) => {
            ended |= seen::ends(text);
            if !seen(work, &entry, text, *spot, None, told) {
                seen::unread(work, view, &entry, spot_column(view, *spot), (text, false), told);
            }
        }
        (None, None) => {}
    }
    let mut alone = what.is_none() && columns.condition.is_none_or(|column| view.raw(row, column).is_none());
    for column in &columns.remarks {
        let Some(text) = view.text(row, *column) else { continue };
        let tells =
            !matches!(find_fate(&text), FateMatch::NoWord | FateMatch::Unclear { .. } | FateMatch::Alive { .. });
        // An end is told once a row.
        if (tells && !ended || alone) && seen(work, &entry, &text, view.spot(row.row, *column), None, told) {
            ended |= seen::ends(&text);
            alone = false;
        }
    }
}

/// The column of the table that a cell stands in.
fn spot_column(view: &View, spot: Spot) -> u32 {
    view.table.place(spot.row, spot.column).1
}

/// A value that is no size, no look and no happening.
fn other(work: &mut Work, entry: &Entry, written: &str, spot: Spot) {
    if is_no_reading(written) {
        work.labels.insert(spot);
        return;
    }
    let mut cells: Cells = vec![(spot, "value")];
    cells.extend(entry.shared.iter().copied());
    let doubt = Doubt::of("word_in_numbers")
        .about(written.to_lowercase())
        .at(spot, written)
        .fill("written", written)
        .fill("value", written)
        .fill("column", "")
        .cells(cells);
    work.desk.raise(doubt);
}

/// A size cell with what tells how to read it.
struct Size<'r> {
    raw: &'r Raw,
    spot: Spot,
    column: u32,
    measure: &'static Measure,
    basis: Option<&'static str>,
    unit: Option<analysis::vocabulary::UnitCode>,
    extra: Cells,
}

fn measured(work: &mut Work, view: &View, entry: &Entry, cell: Size, told: &mut Told) {
    let Size { raw, spot, column, measure, basis, unit, extra } = cell;
    let own = size::own_count(raw);
    let (measure, basis) = own.map_or((measure, basis), |own| (own.measure, own.basis));
    let mut cells: Cells = vec![(spot, "value")];
    cells.extend(entry.shared.iter().copied());
    cells.extend(extra);
    match size::of_measure(raw, view.table.decimal_comma, measure) {
        SizeSays::Nothing => drop(work.labels.insert(spot)),
        SizeSays::Fault => {
            let written = raw.written();
            work.desk.raise(Doubt::of("formula_error").at(spot, &written).fill("written", &written).cells(cells));
        }
        SizeSays::Number { value, unit: own, approximate, doubted } => {
            let label = crate::cell::fold::name(&entry.written);
            told.drafts.push(Draft {
                coral: entry.coral.clone(),
                coral_written: entry.written.clone(),
                measure,
                basis,
                value,
                unit: own.or(unit),
                day: entry.day.clone(),
                cells,
                written: raw.written(),
                line: entry.row.line,
                after_cut: told.cut.remove(&label),
                approximate,
                doubted,
                about: view.about(column),
                header: view.header(column),
                spot,
            });
        }
        SizeSays::Word => {
            let written = raw.written();
            let beside = cells.iter().find(|(_, role)| *role == "measure").map(|(spot, _)| *spot);
            if !seen(work, entry, &written, spot, beside, told) {
                other(work, entry, &written, spot);
            }
        }
    }
}
