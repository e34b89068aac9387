//! Looks, sizes and notes about corals, one a row.

use std::collections::BTreeMap;

use analysis::vocabulary::{
    FateMatch, HeaderRole, LookState, Measure, UnitCode, find_condition, find_fate, find_happening, find_measure,
    find_size_basis, find_unit, is_no_reading,
};

use crate::canonical::corals::{self, CoralOf};
use crate::canonical::date_column::{self, DateColumn, DayOf, Rule};
use crate::canonical::ending::{self, Became, End};
use crate::canonical::register::{look, push_ending};
use crate::canonical::size::{self, SizeSays};
use crate::canonical::test::Group;
use crate::canonical::wide::Frame;
use crate::canonical::{Cells, View, Work, fill, remark};
use crate::doubt::desk::{Doubt, Settled, Spot};
use crate::grid::Raw;
use crate::layout::DataRow;
use crate::meaning::Meaning;
use crate::record::{Event, Record, Taken};

mod sizing; // sizes on their way to records

pub(crate) use sizing::Draft;

/// Columns of a diary.
struct Columns {
    coral: Option<u32>,
    what: Option<u32>,
    value: Option<u32>,
    unit: Option<u32>,
    basis: Option<u32>,
    condition: Option<u32>,
    remark: Option<u32>,
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
            let taken = [
                at(HeaderRole::Date),
                at(HeaderRole::Label),
                at(HeaderRole::Name),
                at(HeaderRole::Remark),
                at(HeaderRole::Basis),
                at(HeaderRole::Unit),
            ];
            let pair = what.is_some() && (Some(header.column) == value || Some(header.column) == what);
            if pair || taken.contains(&Some(header.column)) {
                continue;
            }
            let told = match view.meanings.get(&header.column) {
                Some(Meaning::Waiting) => None,
                Some(Meaning::Measure(code)) => Measure::parse(code).map(|measure| (measure, measure.basis)),
                _ => find_measure(&header.text).map(|found| (found.measure, found.basis)),
            };
            if let Some((measure, basis)) = told {
                measures.push((header.column, measure, basis));
            }
        }
        Columns {
            coral: at(HeaderRole::Label).or_else(|| at(HeaderRole::Name)).or_else(|| at(HeaderRole::TradeName)),
            what,
            value: value.filter(|value| !measures.iter().any(|(column, ..)| column == value)),
            unit: at(HeaderRole::Unit),
            basis: at(HeaderRole::Basis),
            condition: at(HeaderRole::Condition).or_else(|| at(HeaderRole::Fate)),
            remark: at(HeaderRole::Remark),
            measures,
        }
    }
}

/// One row with what all its facts share.
struct Entry<'r> {
    row: &'r DataRow,
    written: String,
    coral: CoralOf,
    day: DayOf,
    shared: Cells,
}

/// Reads a diary.
pub(crate) fn read(work: &mut Work, view: &View) -> Vec<Group> {
    let columns = Columns::of(view);
    if columns.coral.is_none() && columns.value.is_none() && columns.measures.is_empty() {
        return journal(work, view, &columns);
    }
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
    let filled = |column: Option<u32>| column.map(|column| fill::sources(view, column)).unwrap_or_default();
    let above = (filled(columns.coral), filled(date));
    let mut drafts: Vec<Draft> = Vec::new();
    // Corals cut since their last size: the next one starts a new series.
    let mut cut: BTreeMap<String, bool> = BTreeMap::new();
    for row in &view.table.rows {
        crate::canonical::wide::remarks(work, view, row);
        let Some(entry) = entry(work, view, &columns, row, date, &days, &above) else { continue };
        facts(work, view, &columns, entry, &mut drafts, &mut cut);
    }
    for column in view.meanings.keys() {
        let waits = Some(*column) == columns.value || columns.measures.iter().any(|(measure, ..)| measure == column);
        if !waits {
            crate::canonical::wide::label_column(work, view, *column);
        }
    }
    sizing::settle(work, view, drafts);
    Vec::new()
}

/// A diary of sentences: each says what its words say, of whatever they name.
fn journal(work: &mut Work, view: &View, columns: &Columns) -> Vec<Group> {
    let (date, time) = (view.column(HeaderRole::Date), view.column(HeaderRole::Time));
    let mut frame = Frame::of(work, view, date, time, view.column(HeaderRole::Tank));
    let mut groups = Vec::new();
    for row in &view.table.rows {
        crate::canonical::wide::remarks(work, view, row);
        for column in [columns.what, columns.condition, columns.remark].into_iter().flatten() {
            let text = view.text(row, column).unwrap_or_default();
            if remark::speaks(work, &text, view.table.decimal_comma) {
                let when = frame.of_row(work, view, row);
                groups.extend(remark::read(work, view, row, column, &when));
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
    row: &DataRow,
    written: String,
    coral: CoralOf,
    day: DayOf,
    shared: Cells,
    text: &str,
    spot: Spot,
) {
    let entry = Entry { row, written, coral, day, shared };
    seen(work, &entry, text, spot, None, &mut BTreeMap::new());
}

fn entry<'r>(
    work: &mut Work,
    view: &View,
    columns: &Columns,
    row: &'r DataRow,
    date: Option<u32>,
    days: &DateColumn,
    above: &(BTreeMap<u32, u32>, BTreeMap<u32, u32>),
) -> Option<Entry<'r>> {
    let named = above.0.get(&row.row).copied().unwrap_or(row.row);
    let coral_cell = columns
        .coral
        .and_then(|column| view.text(view.row(named)?, column).map(|text| (text, view.spot(named, column))));
    let Some((written, spot)) = coral_cell else {
        nobody(work, view, columns, row);
        return None;
    };
    let coral = corals::named(work, &written, spot);
    let mut shared: Cells = vec![(spot, "label")];
    let dated = above.1.get(&row.row).copied().unwrap_or(row.row);
    if let Some(column) = date.filter(|column| dated != row.row || view.raw(row, *column).is_some()) {
        shared.push((view.spot(dated, column), "date"));
    }
    let day = date.map_or(DayOf::Absent, |_| days.of(dated));
    Some(Entry { row, written, coral, day, shared })
}

/// A row that names no coral: its values wait.
fn nobody(work: &mut Work, view: &View, columns: &Columns, row: &DataRow) {
    let valued = columns
        .value
        .into_iter()
        .chain(columns.measures.iter().map(|(column, ..)| *column))
        .filter(|column| view.raw(row, *column).is_some());
    for column in valued {
        let spot = view.spot(row.row, column);
        let written = view.text(row, column).unwrap_or_default();
        let about = format!("row {}", row.row);
        if work.desk.ask("coral_unknown", &about) == Settled::LeaveOut || is_no_reading(&written) {
            work.labels.insert(spot);
            continue;
        }
        let doubt = Doubt::of("coral_unknown")
            .about(about)
            .at(spot, &written)
            .fill("written", "")
            .fill("label", "")
            .fill("name", "")
            .cell(spot, "value");
        work.desk.raise(doubt.propose_nothing());
    }
}

/// What waits for its coral or its day waits; `true` if the fact can be recorded.
fn ready(work: &mut Work, entry: &Entry, cells: &Cells) -> bool {
    match &entry.coral {
        CoralOf::Held(key) => {
            work.desk.wait(key, cells.iter().copied());
            return false;
        }
        CoralOf::Left => {
            work.labels.extend(cells.iter().map(|(spot, _)| *spot));
            return false;
        }
        CoralOf::Known(_) => {}
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

fn facts(
    work: &mut Work,
    view: &View,
    columns: &Columns,
    mut entry: Entry,
    drafts: &mut Vec<Draft>,
    cut: &mut BTreeMap<String, bool>,
) {
    let row = entry.row;
    if matches!(entry.day, DayOf::Absent) {
        let about = format!("row {}", row.row);
        let settled = work.desk.ask("date_missing", &about);
        let above = match settled.choice() {
            Some("above") => drafts.last().map(|draft| draft.day.clone()).filter(|day| matches!(day, DayOf::Known(_))),
            _ => None,
        };
        let told =
            settled.day().map(|day| DayOf::Known(date_column::Known { earliest: Some(day), latest: day, clock: None }));
        if let Some(day) = told.or(above) {
            entry.day = day;
        }
    }
    let basis = columns
        .basis
        .and_then(|column| view.text(row, column).map(|text| (column, text)))
        .and_then(|(column, text)| find_size_basis(&text).map(|basis| (basis.code, view.spot(row.row, column))));
    for (column, measure, of_header) in &columns.measures {
        let Some(raw) = view.raw(row, *column) else { continue };
        let spot = view.spot(row.row, *column);
        let unit = size::unit_in_header(&view.header(*column));
        let extra = basis.map(|(_, spot)| vec![(spot, "basis")]);
        measured(
            work,
            view,
            &entry,
            raw,
            spot,
            *column,
            measure,
            of_header.or(basis.map(|(code, _)| code)),
            unit,
            extra,
            drafts,
            cut,
        );
    }
    if let Some(column) = columns.condition
        && let Some(text) = view.text(row, column)
    {
        seen(work, &entry, &text, view.spot(row.row, column), None, cut);
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
                    let unit = unit_cell
                        .as_ref()
                        .and_then(|(text, _)| find_unit(text))
                        .map(|found| found.unit)
                        .or_else(|| size::unit_in_header(&view.header(column)));
                    let mut extra: Cells = vec![(*what_spot, "measure")];
                    extra.extend(unit_cell.map(|(_, spot)| (spot, "unit")));
                    extra.extend(basis.map(|(_, spot)| (spot, "basis")));
                    measured(
                        work,
                        view,
                        &entry,
                        raw,
                        spot,
                        column,
                        found.measure,
                        found.basis.or(basis.map(|(code, _)| code)),
                        unit,
                        Some(extra),
                        drafts,
                        cut,
                    );
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
                    if !seen(work, &entry, &said, spot, Some(*what_spot), cut) {
                        other(work, &entry, &raw.written(), spot);
                    }
                }
            }
        }
        (None, Some((column, raw))) => {
            let spot = view.spot(row.row, column);
            let unit = size::unit_in_header(&view.header(column));
            match (size::size(raw, view.table.decimal_comma), Measure::parse("max_diameter")) {
                (SizeSays::Number { .. }, Some(measure)) => {
                    let extra = basis.map(|(_, spot)| vec![(spot, "basis")]);
                    measured(
                        work,
                        view,
                        &entry,
                        raw,
                        spot,
                        column,
                        measure,
                        basis.map(|(code, _)| code),
                        unit,
                        extra,
                        drafts,
                        cut,
                    );
                }
                _ => {
                    if !seen(work, &entry, &raw.written(), spot, None, cut) {
                        other(work, &entry, &raw.written(), spot);
                    }
                }
            }
        }
        (Some((text, spot)), None) => {
            seen(work, &entry, text, *spot, None, cut);
        }
        (None, None) => {}
    }
    if let Some(column) = columns.remark
        && let Some(text) = view.text(row, column)
    {
        let tells =
            !matches!(find_fate(&text), FateMatch::NoWord | FateMatch::Unclear { .. } | FateMatch::Alive { .. });
        let alone = what.is_none() && columns.condition.is_none_or(|column| view.raw(row, column).is_none());
        if tells || alone {
            seen(work, &entry, &text, view.spot(row.row, column), None, cut);
        }
    }
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

#[allow(clippy::too_many_arguments)] // one size cell with what tells how to read it
fn measured(
    work: &mut Work,
    view: &View,
    entry: &Entry,
    raw: &Raw,
    spot: Spot,
    column: u32,
    measure: &'static Measure,
    basis: Option<&'static str>,
    unit: Option<UnitCode>,
    extra: Option<Cells>,
    drafts: &mut Vec<Draft>,
    cut: &mut BTreeMap<String, bool>,
) {
    let mut cells: Cells = vec![(spot, "value")];
    cells.extend(entry.shared.iter().copied());
    cells.extend(extra.unwrap_or_default());
    match size::size(raw, view.table.decimal_comma) {
        SizeSays::Nothing => drop(work.labels.insert(spot)),
        SizeSays::Fault => {
            let written = raw.written();
            work.desk.raise(Doubt::of("formula_error").at(spot, &written).fill("written", &written).cells(cells));
        }
        SizeSays::Number { value, unit: own, approximate, doubted } => {
            let label = crate::cell::fold::name(&entry.written);
            drafts.push(Draft {
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
                after_cut: cut.remove(&label).is_some(),
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
            if !seen(work, entry, &written, spot, beside, cut) {
                other(work, entry, &written, spot);
            }
        }
    }
}

/// A look, a cut or an end. `false` = the words name none of these.
fn seen(
    work: &mut Work,
    entry: &Entry,
    text: &str,
    spot: Spot,
    beside: Option<Spot>,
    cut: &mut BTreeMap<String, bool>,
) -> bool {
    if is_no_reading(text) {
        work.labels.insert(spot);
        return true;
    }
    let mut cells: Cells = vec![(spot, "condition")];
    cells.extend(beside.map(|spot| (spot, "what")));
    cells.extend(entry.shared.iter().copied());
    let found = find_fate(text);
    let condition = find_condition(text);
    let made_cut =
        matches!(found, FateMatch::Cut { .. }) || find_happening(text).is_some_and(|term| term.code == "cut");
    if made_cut {
        cut.insert(crate::cell::fold::name(&entry.written), true);
        if ready(work, entry, &cells) {
            record_cut(work, entry, text, &cells);
        }
        return true;
    }
    let gone =
        condition.is_some_and(|look| matches!(look.state, LookState::Dead | LookState::Left | LookState::NotFound));
    let ends = gone
        || condition.is_none()
            && matches!(
                found,
                FateMatch::Fate { .. }
                    | FateMatch::RescueCut { .. }
                    | FateMatch::Unclear { .. }
                    | FateMatch::Several { .. }
            );
    let looks = condition.is_some() || matches!(found, FateMatch::Alive { .. });
    if !ends && !looks {
        return false;
    }
    if !ready(work, entry, &cells) {
        return true;
    }
    let (CoralOf::Known(coral), Some(day)) = (&entry.coral, entry.day.exact()) else { return true };
    work.saw_day(day);
    if !ends {
        let (status, score) = match condition {
            Some(look) => (look.state.as_str(), look.score.map(i16::from)),
            None => ("alive", None),
        };
        let remark = (condition.is_none()).then(|| text.to_owned());
        look(
            work,
            entry.row.line,
            &coral.label.clone(),
            day,
            status,
            score.filter(|_| status != "alive"),
            remark,
            "look",
            cells,
        );
        return true;
    }
    let end = End {
        label: coral.label.clone(),
        row_cell: entry.shared.first().map_or(spot, |(spot, _)| *spot),
        day: entry.day.clone(),
        day_cell: entry.shared.get(1).map(|(spot, _)| (*spot, day.to_string())),
        fate: Some((spot, text.to_owned())),
        fate_column: true,
        cause: None,
        looked: None,
        last_seen: None,
        header: String::new(),
        acquired: None,
    };
    if let Became::Ended(ending, _) = ending::decide(work, &end) {
        push_ending(work, entry.row.line, &end, *ending);
    }
    true
}

fn record_cut(work: &mut Work, entry: &Entry, text: &str, cells: &Cells) {
    let (CoralOf::Known(coral), Some(day)) = (&entry.coral, entry.day.exact()) else { return };
    work.saw_day(day);
    let place = work.place(cells, entry.row.line);
    work.records.push(Record::Event(Event {
        tank: None,
        specimen: Some(coral.label.clone()),
        event: "cut".to_owned(),
        taken: Taken::day(day),
        amount: None,
        unit: None,
        written: text.to_owned(),
        place,
    }));
}
