//! One row a coral: acquired, from where, ended, what happened.

use std::collections::BTreeMap;

use analysis::vocabulary::{Origin, OriginBasis, find_origin, find_origin_basis, find_source_kind};

use crate::canonical::coral_name::{self, Named, Written};
use crate::canonical::corals::Coral;
use crate::canonical::date_column::{self, Bounds, DateColumn, DayOf, Rule};
use crate::canonical::ending::{self, Became, End};
use crate::canonical::tank::{self, TankOf};
use crate::canonical::{Cells, View, Work};
use crate::cell::date::Order;
use crate::cell::fold;
use crate::doubt::desk::{Doubt, Settled, Spot};
use crate::layout::DataRow;
use crate::record::{DaySpan, Ending, Event, HeldFact, Place, Placement, Record, Sighting, Specimen, Stay, Taken};

mod columns; // what the columns of a register hold

pub(crate) use columns::Columns;

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
    /// Labels of its corals by row of first use, to find doubles.
    labels: BTreeMap<String, bool>,
}

/// Reads a register.
pub(crate) fn read(work: &mut Work, view: &View, columns: &Columns, summary: &mut Summary) {
    summary.any = true;
    summary.at = summary.at.or_else(|| view.table.header.first().map(|header| view.spot(header.row, header.column)));
    let dates: Vec<u32> = columns.dates();
    let sister: Option<Order> = dates.iter().find_map(|column| date_column::proved(view, *column));
    // One hand wrote all days of a table: its order is asked once.
    let shared = dates.first().map(|column| view.about(*column));
    let rule = Rule { in_sequence: false, partial: true, order_about: shared.as_deref() };
    let read_dates = |work: &mut Work, column: Option<u32>| {
        column.map(|column| date_column::read(work, view, column, rule, sister)).unwrap_or_default()
    };
    let acquired = read_dates(work, columns.acquired);
    let ended = read_dates(work, columns.ended);
    let last_seen = read_dates(work, columns.last_seen);
    let mut table_tank = None;
    for day in
        [&acquired, &ended, &last_seen].into_iter().flat_map(|column| column.days.values()).filter_map(DayOf::exact)
    {
        work.saw_day(day);
    }
    let twice = doubles(work, view, columns, &ended);
    for row in &view.table.rows {
        one(
            work,
            view,
            columns,
            row,
            &Days { acquired: &acquired, ended: &ended, last_seen: &last_seen },
            &twice,
            &mut table_tank,
            summary,
        );
    }
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

struct Days<'d> {
    acquired: &'d DateColumn,
    ended: &'d DateColumn,
    last_seen: &'d DateColumn,
}

/// Labels that two rows share.
enum Twice {
    /// Asked: the rows wait.
    Held,
    /// One coral: the second row adds nothing.
    One,
    /// Two corals: the second gets a label of its own.
    Two,
}

/// Finds labels that two living rows share.
fn doubles(work: &mut Work, view: &View, columns: &Columns, ended: &DateColumn) -> BTreeMap<String, Twice> {
    let mut out = BTreeMap::new();
    let Some(column) = columns.label else { return out };
    let mut rows: BTreeMap<String, Vec<(&DataRow, bool)>> = BTreeMap::new();
    for row in &view.table.rows {
        if let Some(label) = view.text(row, column) {
            let living = matches!(ended.of(row.row), DayOf::Absent);
            rows.entry(fold::name(&label)).or_default().push((row, living));
        }
    }
    for (label, rows) in rows.into_iter().filter(|(_, rows)| rows.len() > 1) {
        let same = |a: &DataRow, b: &DataRow| {
            a.cells.iter().map(|cell| (cell.column, &cell.raw)).eq(b.cells.iter().map(|cell| (cell.column, &cell.raw)))
        };
        if rows.windows(2).all(|pair| same(pair[0].0, pair[1].0)) {
            for (row, _) in &rows[1..] {
                let spot = view.spot(row.row, column);
                work.desk.raise(
                    Doubt::of("row_repeated")
                        .about(format!("coral {label}"))
                        .at(spot, &label)
                        .fill("row", row.row.to_string())
                        .cell(spot, "label"),
                );
            }
            out.insert(label, Twice::One);
            continue;
        }
        if rows.iter().filter(|(_, living)| *living).count() < 2 {
            // A label used again after its first coral ended.
            out.insert(label, Twice::Two);
            continue;
        }
        let twice = match work.desk.ask("label_twice", &label) {
            Settled::Choice("one", _) => Twice::One,
            Settled::Choice(..) => Twice::Two,
            // Left out: only the first row of the label counts.
            Settled::LeaveOut => Twice::One,
            Settled::Open | Settled::DontKnow => {
                let spot = view.spot(rows[0].0.row, column);
                let mut doubt = Doubt::of("label_twice")
                    .about(&label)
                    .at(spot, view.text(rows[0].0, column).unwrap_or_default())
                    .fill("label", &label)
                    .fill("written", &label);
                for (row, _) in &rows {
                    doubt = doubt.cells(row.cells.iter().map(|cell| {
                        (view.spot(row.row, cell.column), if cell.column == column { "label" } else { "row" })
                    }));
                }
                work.desk.raise(doubt.propose_nothing());
                Twice::Held
            }
        };
        out.insert(label, twice);
    }
    out
}

/// The label of a row: its own, or its name with the day it came where names repeat. `None` = the row is no coral.
fn label_of(
    view: &View,
    columns: &Columns,
    row: &DataRow,
    written: &Written,
    acquired: &DayOf,
    twice: &BTreeMap<String, Twice>,
    summary: &Summary,
) -> Option<String> {
    let own = columns.label.and_then(|column| view.text(row, column));
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
    twice: &BTreeMap<String, Twice>,
    table_tank: &mut Option<TankOf>,
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
    let own_label = columns.label.and_then(|column| view.text(row, column));
    if own_label.as_deref().is_some_and(|label| matches!(twice.get(&fold::name(label)), Some(Twice::Held))) {
        return;
    }
    let Some(label) = label_of(view, columns, row, &written, &acquired, twice, summary) else {
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
    summary.labels.insert(fold::name(&label), true);
    let named = coral_name::settle(work, &label, &written);
    if named.not_a_coral {
        work.labels.extend(whole_row());
        return;
    }
    let mut specimen = describe(work, view, columns, row, &label, &written, &named);
    let mut cells = specimen.cells;
    let held_name = named.held.is_some();
    if held_name {
        specimen.record.held.push(HeldFact::Taxon);
    }
    let acquired_cell = cell(columns.acquired).map(|(text, spot)| (spot, text));
    let got = acquire(work, &mut specimen.record, &acquired, acquired_cell.as_ref(), label_cell, &mut cells);
    let tank = tank_of(work, view, columns, row, &label, label_cell, table_tank);
    if let Some((TankOf::Named(name), spot)) = &tank {
        specimen.record.tank = Some(name.clone());
        cells.extend(spot.map(|spot| (spot, "tank")));
    }
    let last_seen = days.last_seen.of(row.row);
    let fate = named_cell(columns.fate).map(|(text, spot)| (spot, text));
    let day = columns.ended.map_or(DayOf::Absent, |_| days.ended.of(row.row));
    let ends = !matches!(day, DayOf::Absent);
    crate::canonical::wide::remarks(work, view, row);
    let remark = named_cell(columns.remark)
        .map(|(text, spot)| (spot, text))
        .filter(|(_, text)| speaks_of_fate(text) || ends && analysis::vocabulary::find_cause_in_remark(text).is_some());
    let end = End {
        label: label.clone(),
        row_cell: label_cell,
        day,
        day_cell: cell(columns.ended).map(|(text, spot)| (spot, text)),
        fate_column: fate.is_some(),
        fate: fate.or(remark),
        cause: named_cell(columns.cause).map(|(text, spot)| (spot, text)),
        looked: named_cell(columns.looked_then).map(|(text, spot)| (spot, text)),
        last_seen: last_seen.exact(),
        header: columns.ended.map(|column| view.header(column)).unwrap_or_default(),
        acquired: got,
    };
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

/// A remark counts only where it names a fate outright.
fn speaks_of_fate(text: &str) -> bool {
    use analysis::vocabulary::{FateMatch, find_fate};
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

struct Draft {
    record: Specimen,
    cells: Cells,
}

/// Everything of a row but days, tank and end.
fn describe(
    work: &mut Work,
    view: &View,
    columns: &Columns,
    row: &DataRow,
    label: &str,
    written: &Written,
    named: &Named,
) -> Draft {
    let cell = |column: Option<u32>| {
        column
            .and_then(|column| view.text(row, column).map(|text| (text, view.spot(row.row, column))))
            .filter(|(text, _)| !analysis::vocabulary::is_no_reading(text))
    };
    let mut record = Specimen {
        label: label.to_owned(),
        written: if written.text().is_empty() { label.to_owned() } else { written.text() },
        taxon: named.taxon,
        rank: named.taxon.map(|taxon| taxon.get().rank.as_str().to_owned()),
        confidence: named.confidence.map(str::to_owned),
        character: named.character.clone(),
        ..Specimen::default()
    };
    let mut cells: Cells = Vec::new();
    cells.extend(cell(columns.label).map(|(_, spot)| (spot, "label")));
    for (part, role) in [(&written.name, "taxon"), (&written.trade, "trade_name"), (&written.character, "character")] {
        cells.extend(part.as_ref().map(|(_, spot)| (*spot, role)));
    }
    cells.extend(
        columns
            .genus
            .filter(|column| view.raw(row, *column).is_some())
            .map(|column| (view.spot(row.row, column), "taxon")),
    );
    source(work, view, columns, row, &mut record, &mut cells);
    if let Some((text, spot)) = cell(columns.basis)
        && let Some(basis) = find_origin_basis(&text)
    {
        record.origin_basis = Some(basis);
        cells.push((spot, "origin_basis"));
    }
    let mut take = |column: Option<u32>, role: &'static str, put: &mut dyn FnMut(&mut Specimen, &str) -> bool| {
        if let Some((text, spot)) = cell(column)
            && put(&mut record, &text)
        {
            cells.push((spot, role));
        }
    };
    take(columns.form, "form", &mut |record, text| {
        record.form = form_of(text);
        record.form.is_some()
    });
    take(columns.parent, "parent", &mut |record, text| {
        record.parent = Some(text.to_owned());
        true
    });
    take(columns.line, "line", &mut |record, text| {
        record.line = Some(text.to_owned());
        true
    });
    take(columns.looked_when_got, "condition", &mut |record, text| {
        let state = analysis::vocabulary::find_condition(text)
            .map(|look| look.state.as_str())
            .filter(|state| matches!(*state, "open" | "off" | "poor"));
        record.condition = state.map(str::to_owned);
        record.condition.is_some()
    });
    take(columns.days_at_seller, "days_at_seller", &mut |record, text| {
        record.days_at_seller = text.trim().parse().ok().filter(|days: &f64| (0.0..=3650.0).contains(days));
        record.days_at_seller.is_some()
    });
    take(columns.confidence, "confidence", &mut |record, text| {
        let word = analysis::vocabulary::text::fold(text);
        let known = matches!(word.as_str(), "certain" | "likely" | "guess") && record.taxon.is_some();
        if known {
            record.confidence = Some(word);
        }
        known
    });
    if let Some((text, spot)) = cell(columns.size) {
        let unit = super::size::unit_in_header(&columns.size.map(|column| view.header(column)).unwrap_or_default());
        if let Some(size) = super::size::length_mm(&text, unit, view.table.decimal_comma) {
            record.size_mm = Some(size);
            cells.push((spot, "size"));
        }
    }
    Draft { record, cells }
}

/// The catalogue's form of a word.
pub(crate) fn form_of(text: &str) -> Option<String> {
    let folded = analysis::vocabulary::text::fold(text);
    let forms = analysis::vocabulary::catalogue().forms();
    forms
        .iter()
        .find(|form| {
            form.code == text.trim() || form.words.iter().any(|word| analysis::vocabulary::text::fold(word) == folded)
        })
        .map(|form| form.code.to_owned())
}

/// Origin and source: one column may hold either.
fn source(work: &mut Work, view: &View, columns: &Columns, row: &DataRow, record: &mut Specimen, cells: &mut Cells) {
    let told = |column: Option<u32>| {
        column
            .and_then(|column| view.text(row, column).map(|text| (column, text)))
            .filter(|(_, text)| !analysis::vocabulary::is_no_reading(text))
    };
    if let Some((column, text)) = told(columns.origin) {
        let spot = view.spot(row.row, column);
        if let Some(origin) = find_origin(&text) {
            origin_read(work, view, column, spot, &text, origin);
            record.origin = Some(origin);
            record.origin_basis = record.origin_basis.or_else(|| find_origin_basis(&text));
            cells.push((spot, "origin"));
        } else {
            work.labels.insert(spot);
        }
    }
    let Some((column, text)) = told(columns.source) else { return };
    let spot = view.spot(row.row, column);
    let origin = if record.origin.is_none() { find_origin(&text) } else { None };
    if let Some(origin) = origin {
        origin_read(work, view, column, spot, &text, origin);
        record.origin = Some(origin);
        record.origin_basis = find_origin_basis(&text);
    }
    let kind = find_source_kind(&text);
    record.source_kind = kind.map(|found| found.kind.to_owned()).filter(|kind| kind != "unknown" || origin.is_none());
    let names_someone = kind.map_or(origin.is_none(), |found| !found.bare && origin.is_none());
    if names_someone {
        record.source_name = Some(text.clone());
        work.desk.raise(
            Doubt::of("source_name_private")
                .about(view.about(column))
                .at(spot, &text)
                .fill("column", view.header(column))
                .cell(spot, "source"),
        );
    }
    cells.push((spot, "source"));
}

/// Words read by the table of origins are pointed out, codes are not.
fn origin_read(work: &mut Work, view: &View, column: u32, spot: Spot, text: &str, origin: Origin) {
    if origin.as_str() == text.trim() || origin == Origin::Unknown {
        return;
    }
    work.desk.raise(
        Doubt::of("origin_read")
            .about(view.about(column))
            .at(spot, text)
            .fill("column", view.header(column))
            .fill("written", text)
            .fill("origin", origin.as_str().replace('_', " "))
            .cell(spot, "origin"),
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
    table_tank: &mut Option<TankOf>,
) -> Option<(TankOf, Option<Spot>)> {
    let Some(column) = columns.tank else {
        let tank = table_tank.get_or_insert_with(|| tank::of_table(work, view)).clone();
        return Some((tank, None));
    };
    match view.text(row, column).filter(|text| !analysis::vocabulary::is_no_reading(text)) {
        Some(text) => {
            let spot = view.spot(row.row, column);
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
        .and_then(|(text, spot)| {
            crate::cell::number::numeral(&text, view.table.decimal_comma).map(|figures| (figures.first, spot))
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

#[allow(clippy::too_many_arguments)] // the fields of a sighting
pub(crate) fn look(
    work: &mut Work,
    line: Option<u32>,
    label: &str,
    on: chrono::NaiveDate,
    status: &str,
    condition: Option<i16>,
    remark: Option<String>,
    source: &str,
    cells: Cells,
) {
    let place = work.place(&cells, line);
    work.records.push(Record::Sighting(Sighting {
        specimen: label.to_owned(),
        on,
        status: status.to_owned(),
        source: source.to_owned(),
        condition,
        polyp_extension: None,
        tissue_cover: None,
        colour: None,
        remark,
        place,
    }));
}

/// Records what became of the coral of a row.
#[allow(clippy::too_many_arguments)] // one row's outcome and where it goes
pub(crate) fn finish_row(
    work: &mut Work,
    line: Option<u32>,
    end: &End,
    became: Became,
    specimen: &mut Specimen,
    cells: Cells,
    summary: &mut Summary,
    taxon: Option<analysis::vocabulary::TaxonSlug>,
) {
    match became {
        Became::Living { status, condition, remark, cut } => {
            if let Some(day) = cut {
                work.saw_day(day);
                let cells: Cells = end
                    .fate
                    .iter()
                    .map(|(spot, _)| (*spot, "event"))
                    .chain(end.day_cell.iter().map(|(spot, _)| (*spot, "date")))
                    .collect();
                let place = work.place(&cells, line);
                work.records.push(Record::Event(Event {
                    tank: None,
                    specimen: Some(end.label.clone()),
                    event: "cut".to_owned(),
                    taken: Taken::day(day),
                    amount: None,
                    unit: None,
                    written: remark.as_ref().map(|(_, text)| text.clone()).unwrap_or_default(),
                    place,
                }));
            }
            let mut row_cells: Cells = vec![(end.row_cell, "label")];
            row_cells.extend(remark.as_ref().map(|(spot, _)| (*spot, "remark")));
            row_cells.extend(cells.into_iter().filter(|(spot, _)| *spot != end.row_cell).take(1));
            summary.open.push(OpenRow {
                label: end.label.clone(),
                cells: row_cells,
                line,
                status,
                condition,
                remark: remark.map(|(_, text)| text),
            });
        }
        Became::Ended(ending, rescued) => {
            summary.losses = true;
            if let Some(pieces) = rescued {
                daughters(work, line, end, &ending, pieces, specimen, taxon);
            }
            push_ending(work, line, end, *ending);
        }
        Became::Held(ending) => {
            summary.losses = true;
            specimen.held.push(HeldFact::Fate);
            if let Some(ending) = ending {
                let mut ending = *ending;
                ending.place = work.place(&vec![(end.row_cell, "label")], line);
                work.records.push(Record::Ending(ending));
            }
        }
        Became::LeftOut => {
            summary.losses = true;
            work.labels.extend(
                end.fate.iter().chain(&end.day_cell).chain(&end.cause).chain(&end.looked).map(|(spot, _)| *spot),
            );
        }
    }
}

/// Records an ending with its cells.
pub(crate) fn push_ending(work: &mut Work, line: Option<u32>, end: &End, mut ending: Ending) {
    let cells = ending::record_cells(end, &ending);
    ending.place = work.place(&cells, line);
    work.records.push(Record::Ending(ending));
}

/// Cuttings saved from a dying mother are new corals of the day of the cut.
fn daughters(
    work: &mut Work,
    line: Option<u32>,
    end: &End,
    ending: &Ending,
    pieces: u32,
    mother: &Specimen,
    taxon: Option<analysis::vocabulary::TaxonSlug>,
) {
    let cells: Cells = end.fate.iter().map(|(spot, _)| (*spot, "fate")).collect();
    for number in 1..=pieces.min(50) {
        let place: Place = work.place(&cells, line);
        let label = format!("{} cutting {number}", end.label);
        work.corals.add(Coral { label: label.clone(), taxon, tank: mother.tank.clone(), alive: true });
        work.records.push(Record::Specimen(Specimen {
            label,
            written: mother.written.clone(),
            taxon,
            rank: mother.rank.clone(),
            confidence: mother.confidence.clone(),
            origin: Some(Origin::CaptiveGrown),
            origin_basis: Some(OriginBasis::OwnCutting),
            source_kind: Some("own_cutting".to_owned()),
            acquired: (ending.earliest.is_some() || ending.latest.is_some())
                .then_some(DaySpan { earliest: ending.earliest, latest: ending.latest }),
            tank: mother.tank.clone(),
            parent: Some(end.label.clone()),
            held: mother.held.iter().copied().filter(|held| *held == HeldFact::Taxon).collect(),
            place,
            ..Specimen::default()
        }));
        if let Some(tank) = &mother.tank {
            let place = work.place(&cells, line);
            work.records.push(Record::Stay(Stay {
                specimen: format!("{} cutting {number}", end.label),
                tank: tank.clone(),
                from: None,
                to: None,
                place,
            }));
        }
    }
}
