//! One row a coral: acquired, from where, ended, what happened.

use std::collections::BTreeMap;

use analysis::vocabulary::{FateMatch, HeaderRole, find_fate};

use crate::canonical::coral_name::{self, Written};
use crate::canonical::corals::Coral;
use crate::canonical::date_column::{self, Bounds, DateColumn, DayOf, Rule};
use crate::canonical::diary::Draft;
use crate::canonical::ending::{self, Became, End};
use crate::canonical::tank::{self, TankOf};
use crate::canonical::{Cells, View, Work, fill, near};
use crate::cell::date::Order;
use crate::cell::fold;
use crate::cell::mark::{Number, Says, Shape, says};
use crate::doubt::desk::{Doubt, Settled, Spot};
use crate::layout::DataRow;
use crate::record::{DaySpan, HeldFact, Placement, Record, Specimen, Stay};

mod columns; // what the columns of a register hold
mod describe; // what a row says besides days, tank and end
mod ends; // where a row says that a coral ended
mod near_label; // labels nearly those of corals known already
mod outcome; // what became of the coral, as records
mod shared_label; // labels that rows share
pub(crate) mod sizes; // sizes when a coral came, or on the day of the list

use near_label::{Known, Label};
use shared_label::{Labels, Twice, doubles, name_missing};

pub(crate) use columns::{Columns, ticked};
pub(crate) use outcome::{finish_row, look, push_ending};

/// An open row: alive on the day on which the register is true.
#[derive(Debug, Clone)]
pub(crate) struct OpenRow {
    /// Label.
    pub label: String,
    /// Cells.
    pub cells: Cells,
    /// Line.
    pub line: Option<u32>,
    /// `alive`, `open`, `off`, `poor`.
    pub status: &'static str,
    /// 1–5.
    pub condition: Option<i16>,
    /// Signs as written.
    pub remark: Option<String>,
}

/// What the registers of a file come to, besides records.
#[derive(Debug, Clone, Default)]
pub(crate) struct Summary {
    /// There is a register.
    pub any: bool,
    /// Its open rows.
    pub open: Vec<OpenRow>,
    /// It lists an ending, or a held one.
    pub losses: bool,
    /// Its first table: where questions about the whole register stand.
    pub at: Option<Spot>,
    /// Labels of its corals, with name and day of arrival as written: the same coral may stand on two sheets.
    labels: BTreeMap<String, (String, DayOf)>,
    /// Labels that it writes, by themselves without signs and blanks.
    signless: BTreeMap<String, String>,
    /// Sizes on the day on which it is true.
    now: Vec<Draft>,
}

/// Reads a register.
pub(crate) fn read(work: &mut Work, view: &View, columns: &Columns, summary: &mut Summary) {
    let columns = &Columns { sizes: sizes::columns(work, view), ..columns.housed(work, view) };
    summary.any = true;
    summary.at = summary.at.or_else(|| view.table.header.first().map(|header| view.spot(header.row, header.column)));
    let dates: Vec<u32> = columns.dates();
    let sister: Option<Order> = dates.iter().find_map(|column| date_column::proved(view, *column));
    // One hand wrote all days of a table: its order is asked once.
    let shared = dates.first().map(|column| view.about(*column));
    let rule = Rule { in_sequence: false, start: false, end: false, partial: true, order_about: shared.as_deref() };
    let read_dates = |work: &mut Work, column: Option<u32>, rule: Rule| {
        column.map(|column| date_column::read(work, view, column, rule, sister)).unwrap_or_default()
    };
    let acquired = read_dates(work, columns.acquired, Rule { start: true, ..rule });
    let ends: BTreeMap<u32, DateColumn> = columns
        .ended
        .into_iter()
        .chain(columns.exits.iter().copied())
        .map(|column| (column, read_dates(work, Some(column), Rule { end: true, ..rule })))
        .collect();
    let ended = ends::first_days(ends.values().cloned().collect());
    let last_seen = read_dates(work, columns.last_seen, rule);
    let above = columns.tank.map(|column| fill::sources(view, column)).unwrap_or_default();
    let mut housing = Housing { table: None, above };
    for day in
        [&acquired, &ended, &last_seen].into_iter().flat_map(|column| column.days.values()).filter_map(DayOf::exact)
    {
        work.saw_day(day);
    }
    let twice = doubles(work, view, columns, &acquired, &ended);
    let mut labels = Labels { twice, known: Known::of(work, view, columns), nameless: Vec::new(), sizes: Vec::new() };
    for row in &view.table.rows {
        one(
            work,
            view,
            columns,
            row,
            &Days { acquired: &acquired, ended: &ended, ends: &ends, last_seen: &last_seen },
            &mut labels,
            &mut housing,
            summary,
        );
    }
    let sizes = std::mem::take(&mut labels.sizes);
    sizes::settle(work, view, sizes, summary);
    name_missing(work, view, &labels.nameless);
    // What no record and no finding uses is a label: prices, remarks, columns of no role.
    let unused: Vec<Spot> = view
        .table
        .rows
        .iter()
        .flat_map(|row| row.cells.iter().map(|cell| (row.row, cell.column)))
        .filter(|(_, column)| columns.is_loose(*column))
        .map(|(row, column)| view.spot(row, column))
        .collect();
    work.labels.extend(unused);
}

/// Where the corals of a table are.
struct Housing {
    /// The tank of a table without a column for it.
    table: Option<TankOf>,
    /// Rows whose tank stands in a row above.
    above: BTreeMap<u32, u32>,
}

struct Days<'d> {
    acquired: &'d DateColumn,
    /// The first day of each row in any column of ends.
    ended: &'d DateColumn,
    /// The columns of ends.
    ends: &'d BTreeMap<u32, DateColumn>,
    last_seen: &'d DateColumn,
}

/// The label of a row: its own, or its name with the day it came where names repeat. `None` = the row is no coral.
fn label_of(
    own: &Option<String>,
    written: &Written,
    acquired: &DayOf,
    twice: &BTreeMap<String, Twice>,
    summary: &Summary,
) -> Option<String> {
    let base =
        own.clone().or_else(|| written.name.as_ref().or(written.trade.as_ref()).map(|(text, _)| fold::plain(text)))?;
    let taken = |label: &str| summary.labels.contains_key(&fold::name(label));
    if !taken(&base) {
        return Some(base);
    }
    if own.is_some() && matches!(twice.get(&fold::name(&base)), Some(Twice::One)) {
        return None;
    }
    let dated = acquired.exact().map(|day| format!("{base} {day}"));
    if let Some(dated) = dated.filter(|dated| !taken(dated)) {
        return Some(dated);
    }
    (2..).map(|number| format!("{base} ({number})")).find(|label| !taken(label))
}

#[allow(clippy::too_many_arguments)] // the parts of one row, each read once for the table
fn one(
    work: &mut Work,
    view: &View,
    columns: &Columns,
    row: &DataRow,
    days: &Days,
    labels: &mut Labels,
    housing: &mut Housing,
    summary: &mut Summary,
) {
    let cell = |column: Option<u32>| {
        column.and_then(|column| view.text(row, column).map(|text| (text, view.spot(row.row, column))))
    };
    let named_cell = |column: Option<u32>| cell(column).filter(|(text, _)| !analysis::vocabulary::is_no_reading(text));
    let counted = named_cell(columns.tentacles).map(|(text, spot)| (format!("{text} tentacles"), spot));
    let mut written = Written {
        name: named_cell(columns.name),
        trade: named_cell(columns.trade),
        character: named_cell(columns.character).or(counted),
    };
    if let Some((genus, spot)) = named_cell(columns.genus) {
        written.name = Some(match written.name {
            Some((species, at)) => (format!("{genus} {species}"), at),
            None => (genus, spot),
        });
    }
    let acquired = columns.acquired.map_or(DayOf::Absent, |_| days.acquired.of(row.row));
    let whole_row = || row.cells.iter().map(|cell| view.spot(row.row, cell.column));
    let mut own_label = columns.label.and_then(|column| view.text(row, column));
    let twice = &labels.twice;
    if own_label.as_deref().is_some_and(|label| matches!(twice.get(&fold::name(label)), Some(Twice::Held))) {
        return;
    }
    if let Some(label) = own_label.clone().filter(|label| !twice.contains_key(&fold::name(label)))
        && let Some(known) = summary.labels.get(&fold::name(&label)).cloned()
        && on_another_sheet(
            work,
            view,
            columns,
            row,
            days,
            &label,
            &known,
            &(fold::name(&written.text()), acquired.clone()),
            summary,
        )
    {
        return;
    }
    if let (Some(label), Some(column)) = (&own_label, columns.label) {
        let cells = row.cells.iter().map(|cell| (view.spot(row.row, cell.column), "row")).collect();
        let spot = view.spot(row.row, column);
        let ended = columns.ended.map_or(DayOf::Absent, |_| days.ended.of(row.row));
        let span = near_label::Span { acquired: &acquired, ended };
        match near_label::settle(work, label, &span, &written, &labels.known, summary, spot, cells) {
            Label::Own => {
                summary.signless.entry(near::signless(label)).or_insert_with(|| label.clone());
            }
            Label::As(known) => own_label = Some(known),
            Label::Again | Label::Left => {
                work.labels.extend(whole_row());
                return;
            }
            Label::Held => return,
        }
    }
    let Some(label) = label_of(&own_label, &written, &acquired, twice, summary) else {
        if own_label.is_some() {
            work.labels.extend(whole_row());
        } else {
            nameless(work, view, row);
        }
        return;
    };
    let label_cell = cell(columns.label)
        .or_else(|| written.name.clone())
        .or_else(|| written.trade.clone())
        .map_or(view.spot(row.row, 1), |(_, spot)| spot);
    summary.labels.insert(fold::name(&label), (fold::name(&written.text()), acquired.clone()));
    let named = coral_name::settle(work, &label, &written);
    if written.name.is_none() && written.trade.is_none() {
        labels.nameless.push((label.clone(), label_cell));
    }
    if named.not_a_coral {
        work.labels.extend(whole_row());
        return;
    }
    let mut specimen = describe::describe(work, view, columns, row, &label, &written, &named);
    let mut cells = specimen.cells;
    let held_name = named.held.is_some();
    if held_name {
        specimen.record.held.push(HeldFact::Taxon);
    }
    let acquired_cell = cell(columns.acquired).map(|(text, spot)| (spot, text));
    let got = acquire(work, &mut specimen.record, &acquired, acquired_cell.as_ref(), label_cell, &mut cells);
    labels.sizes.extend(sizes::read(work, view, columns, row, &acquired, &mut specimen.record, &mut cells));
    let tank = tank_of(work, view, columns, row, &label, label_cell, housing);
    if let Some((TankOf::Named(name), spot)) = &tank {
        specimen.record.tank = Some(name.clone());
        cells.extend(spot.map(|spot| (spot, "tank")));
    }
    let last_seen = days.last_seen.of(row.row);
    crate::canonical::wide::remarks(work, view, row);
    let end = end_of(work, view, columns, row, days, &label, label_cell, got);
    let wrong_order = out_of_order(work, &mut specimen.record, &end, &mut cells);
    let became = ending::decide(work, &end);
    let alive = matches!(became, Became::Living { .. });
    finish_row(work, row.line, &end, became, &mut specimen.record, cells.clone(), summary, named.taxon);
    if let (Some(day), Some((_, spot))) = (last_seen.exact(), cell(columns.last_seen)) {
        look(work, row.line, &label, day, "alive", None, None, "look", vec![(spot, "date"), (label_cell, "label")]);
    }
    if let Some((tank, spot)) = tank {
        stay(work, row.line, &label, tank, spot, label_cell);
    }
    placement(work, view, columns, row, &label, label_cell);
    if wrong_order {
        specimen.record.held.push(HeldFact::Acquired);
    }
    specimen.record.held.sort();
    specimen.record.held.dedup();
    specimen.record.place = work.place(&cells, row.line);
    work.corals.add(Coral { label, taxon: named.taxon, tank: specimen.record.tank.clone(), alive });
    work.records.push(Record::Specimen(specimen.record));
}

/// What a row says about an end.
#[allow(clippy::too_many_arguments)] // a row, and what is known of its coral
fn end_of(
    work: &Work,
    view: &View,
    columns: &Columns,
    row: &DataRow,
    days: &Days,
    label: &str,
    label_cell: Spot,
    acquired: Option<Bounds>,
) -> End {
    let cell = |column: Option<u32>| {
        column.and_then(|column| view.text(row, column).map(|text| (view.spot(row.row, column), text)))
    };
    let told = |column: Option<u32>| cell(column).filter(|(_, text)| !analysis::vocabulary::is_no_reading(text));
    let word = told(columns.fate).map(|(_, text)| text);
    let said = ends::of_row(work, view, columns, row, label, word.as_deref());
    let day = said.column.and_then(|column| days.ends.get(&column)).map_or(DayOf::Absent, |days| days.of(row.row));
    let ends = !matches!(day, DayOf::Absent);
    // "Died?": "yes" says what its header says, "no" nothing.
    let fate = match (told(columns.fate), columns.fate) {
        (Some((spot, text)), Some(column)) => match analysis::vocabulary::yes_or_no(&text) {
            Some(true) => Some((spot, view.header(column))),
            Some(false) => None,
            None => Some((spot, text)),
        },
        _ => None,
    };
    // A word in the column of days ("still alive") stands for the fate that no other column tells.
    let in_place_of_day = cell(said.column).filter(|(_, text)| !ends && find_fate(text) != FateMatch::NoWord);
    let day_cell = cell(said.column).filter(|_| in_place_of_day.is_none());
    let fate = fate.or(said.ticked).or(in_place_of_day);
    let speaks = |(_, text): &(Spot, String)| {
        speaks_of_fate(text) || ends && analysis::vocabulary::find_cause_in_remark(text).is_some()
    };
    let mut remarks: Vec<u32> = columns.remark.into_iter().collect();
    remarks.extend(view.columns(HeaderRole::Remark).into_iter().filter(|column| Some(*column) != columns.remark));
    let remark = remarks.into_iter().filter_map(|column| told(Some(column))).find(speaks);
    End {
        label: label.to_owned(),
        row_cell: label_cell,
        day,
        day_cell,
        fate_column: fate.is_some(),
        fate: fate.or(remark),
        cause: told(columns.cause),
        looked: told(columns.looked_then),
        last_seen: days.last_seen.of(row.row).exact(),
        header: said.column.map(|column| view.header(column)).unwrap_or_default(),
        acquired,
        others: said.others,
    }
}

/// A label that an earlier table of the file has: the same coral again, unless its name or its day differs, which is
/// asked. `true` = the row is dealt with.
#[allow(clippy::too_many_arguments)] // a row, and what is known of its label
fn on_another_sheet(
    work: &mut Work,
    view: &View,
    columns: &Columns,
    row: &DataRow,
    days: &Days,
    label: &str,
    known: &(String, DayOf),
    own: &(String, DayOf),
    summary: &mut Summary,
) -> bool {
    let label_cell = columns.label.map_or(view.spot(row.row, 1), |column| view.spot(row.row, column));
    let cells: Cells = row.cells.iter().map(|cell| (view.spot(row.row, cell.column), "row")).collect();
    let agree = (known.0 == own.0 || known.0.is_empty() || own.0.is_empty())
        && (known.1 == own.1 || known.1 == DayOf::Absent || own.1 == DayOf::Absent);
    if !agree {
        let about = fold::name(label);
        match work.desk.ask("label_twice", &about) {
            Settled::Choice("one", _) => {}
            Settled::Choice(..) => return false,
            Settled::LeaveOut => {
                work.labels.extend(cells.into_iter().map(|(spot, _)| spot));
                return true;
            }
            Settled::Open | Settled::DontKnow => {
                let doubt = Doubt::of("label_twice").about(about).at(label_cell, label).fill("label", label);
                work.desk.raise(doubt.cells(cells).propose_nothing());
                return true;
            }
        }
    }
    work.labels.extend(cells.iter().map(|(spot, _)| *spot));
    let end = end_of(work, view, columns, row, days, label, label_cell, None);
    let ended =
        |record: &Record| matches!(record, Record::Ending(ending) if fold::name(&ending.specimen) == fold::name(label));
    if work.records.iter().any(ended) {
        return true;
    }
    let (ending, held) = match ending::decide(work, &end) {
        Became::Ended(ending, _) => (Some(ending), false),
        Became::Held(ending) => (ending, true),
        Became::Living { .. } | Became::LeftOut => return true,
    };
    summary.losses = true;
    summary.open.retain(|open| fold::name(&open.label) != fold::name(label));
    for record in &mut work.records {
        if let Record::Specimen(specimen) = record
            && held
            && fold::name(&specimen.label) == fold::name(label)
            && !specimen.held.contains(&HeldFact::Fate)
        {
            specimen.held.push(HeldFact::Fate);
        }
    }
    if let Some(ending) = ending {
        push_ending(work, row.line, &end, *ending);
    }
    true
}

/// A remark counts only where it names a fate outright.
fn speaks_of_fate(text: &str) -> bool {
    matches!(find_fate(text), FateMatch::Fate { .. } | FateMatch::RescueCut { .. } | FateMatch::Several { .. })
}

/// A row without a label and without a name.
fn nameless(work: &mut Work, view: &View, row: &DataRow) {
    let first = row.cells.first().map_or(1, |cell| cell.column);
    let spot = view.spot(row.row, first);
    let about = format!("row {}", row.row);
    let cells: Cells = row.cells.iter().map(|cell| (view.spot(row.row, cell.column), "row")).collect();
    if matches!(work.desk.ask("name_unknown", &about), Settled::LeaveOut | Settled::Choice("not_a_coral", _)) {
        work.labels.extend(cells.into_iter().map(|(spot, _)| spot));
        return;
    }
    let written = row.cells.first().map(|cell| cell.raw.written()).unwrap_or_default();
    work.desk.raise(
        Doubt::of("name_unknown")
            .about(about)
            .at(spot, &written)
            .fill("written", &written)
            .fill("name", &written)
            .cells(cells)
            .propose_nothing(),
    );
}

/// When it was got. Returns the bounds if they are certain.
fn acquire(
    work: &mut Work,
    record: &mut Specimen,
    acquired: &DayOf,
    cell: Option<&(Spot, String)>,
    label: Spot,
    cells: &mut Cells,
) -> Option<Bounds> {
    match acquired {
        DayOf::Known(known) => {
            record.acquired = Some(DaySpan { earliest: known.earliest, latest: Some(known.latest) });
            cells.extend(cell.map(|(spot, _)| (*spot, "date")));
            Some((known.earliest, known.latest))
        }
        DayOf::Held(key, _) => {
            record.held.push(HeldFact::Acquired);
            work.desk.wait(key, cell.map(|(spot, _)| (*spot, "date")));
            None
        }
        DayOf::Open => {
            let (spot, written) = cell.cloned().unwrap_or((label, String::new()));
            work.desk.raise(Doubt::of("start_open").at(spot, &written).fill("written", &written).cell(spot, "date"));
            cells.push((spot, "date"));
            None
        }
        DayOf::Absent | DayOf::Left | DayOf::Refused(_) => {
            if let (Some((spot, _)), DayOf::Absent | DayOf::Left) = (cell, acquired) {
                work.labels.insert(*spot);
            }
            None
        }
    }
}

/// Ended before acquired: asked; which day is wrong decides what is known of its start.
fn out_of_order(work: &mut Work, record: &mut Specimen, end: &End, cells: &mut Cells) -> bool {
    let (Some((Some(got), _)), DayOf::Known(known)) = (end.acquired, &end.day) else { return false };
    if got <= known.latest {
        return false;
    }
    let about = fold::name(&end.label);
    match work.desk.ask("end_before_start", &about) {
        Settled::Choice("swap", _) => {
            record.acquired = Some(DaySpan { earliest: known.earliest, latest: Some(known.latest) })
        }
        Settled::Choice("got", _) => record.acquired = None,
        Settled::Choice(..) | Settled::LeaveOut => {}
        Settled::Open | Settled::DontKnow => {
            let (spot, written) = end.day_cell.clone().unwrap_or((end.row_cell, String::new()));
            let dates: Cells =
                cells.iter().copied().filter(|(_, role)| *role == "date").chain([(spot, "date")]).collect();
            cells.retain(|(_, role)| *role != "date");
            let doubt = Doubt::of("end_before_start")
                .about(about)
                .at(spot, &written)
                .fill("label", &end.label)
                .fill("got", got.to_string())
                .fill("gone", known.latest.to_string())
                .cells(dates);
            work.desk.raise(doubt.propose_nothing());
            record.acquired = None;
            return true;
        }
    }
    false
}

fn tank_of(
    work: &mut Work,
    view: &View,
    columns: &Columns,
    row: &DataRow,
    label: &str,
    label_cell: Spot,
    housing: &mut Housing,
) -> Option<(TankOf, Option<Spot>)> {
    let Some(column) = columns.tank else {
        let tank = housing.table.get_or_insert_with(|| tank::of_table(work, view)).clone();
        return Some((tank, None));
    };
    let housed = housing.above.get(&row.row).copied().unwrap_or(row.row);
    let written = view.row(housed).and_then(|row| view.text(row, column));
    match written.filter(|text| !analysis::vocabulary::is_no_reading(text)) {
        Some(text) => {
            let spot = view.spot(housed, column);
            Some((tank::named(work, &text, spot, "tank"), Some(spot)))
        }
        None => {
            work.desk.raise(
                Doubt::of("coral_without_tank")
                    .at(label_cell, label)
                    .fill("label", label)
                    .fill("written", label)
                    .cell(label_cell, "label"),
            );
            None
        }
    }
}

fn stay(work: &mut Work, line: Option<u32>, label: &str, tank: TankOf, spot: Option<Spot>, label_cell: Spot) {
    match tank {
        TankOf::Named(tank) => {
            let cells: Cells = spot.map(|spot| (spot, "tank")).into_iter().chain([(label_cell, "label")]).collect();
            let place = work.place(&cells, line);
            work.records.push(Record::Stay(Stay { specimen: label.to_owned(), tank, from: None, to: None, place }));
        }
        TankOf::Held(key) => work.desk.wait(&key, spot.map(|spot| (spot, "tank"))),
        TankOf::Left => work.labels.extend(spot),
    }
}

fn placement(work: &mut Work, view: &View, columns: &Columns, row: &DataRow, label: &str, label_cell: Spot) {
    let told = |column: Option<u32>| {
        column.and_then(|column| view.text(row, column).map(|text| (text, view.spot(row.row, column))))
    };
    let height = told(columns.height)
        .and_then(|(text, spot)| analysis::vocabulary::find_height_word(&text).map(|term| (term.code, spot)));
    let sting =
        told(columns.sting).and_then(|(text, spot)| analysis::vocabulary::yes_or_no(&text).map(|yes| (yes, spot)));
    let flow = told(columns.flow)
        .and_then(|(text, spot)| analysis::vocabulary::find_flow_word(&text).map(|term| (term.code, spot)));
    let par = told(columns.par)
        .and_then(|(text, spot)| match says(&text, view.table.decimal_comma) {
            Says::Number(Number { shape: Shape::Is(figures), .. }) => Some((figures.first, spot)),
            _ => None,
        })
        .filter(|(par, _)| (0.0..=2500.0).contains(par));
    let spots = [
        height.map(|(_, spot)| (spot, "height")),
        flow.map(|(_, spot)| (spot, "flow")),
        par.map(|(_, spot)| (spot, "par")),
        sting.map(|(_, spot)| (spot, "stinging_neighbour")),
    ];
    if spots.iter().all(Option::is_none) {
        return;
    }
    let cells: Cells = spots.into_iter().flatten().chain([(label_cell, "label")]).collect();
    let place = work.place(&cells, row.line);
    work.records.push(Record::Placement(Placement {
        specimen: label.to_owned(),
        from: None,
        height: height.map(|(code, _)| code.to_owned()),
        par: par.map(|(par, _)| par),
        flow: flow.map(|(code, _)| code.to_owned()),
        stinging_neighbour: sting.map(|(yes, _)| yes),
        place,
    }));
}
