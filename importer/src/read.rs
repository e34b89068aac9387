//! The pipeline on one page: bytes → sheets → tables → meanings → cells → records → doubts.
//!
//! Pure: the same bytes and the same context give the same outcome. Answers are part of the context: to answer is to
//! read the same bytes again.
//!
//! ```
//! use importer::{context::Context, read::read};
//! let outcome = read("tests.csv", b"Date,KH (dKH)\n2024-03-14,8.2\n2024-03-21,8.3\n", &Context::default());
//! assert_eq!(outcome.records.len(), 3); // a tank and two readings
//! assert_eq!(outcome.cells.total, outcome.cells.recorded + outcome.cells.labels + outcome.cells.findings);
//! ```

use std::collections::{BTreeMap, HashMap};

use crate::canonical::register::{Columns, Summary};
use crate::canonical::test::Group;
use crate::canonical::{
    View, Work, as_of, diary, failed_key, filled_sheet, head, kind, long, register, set_aside, tank, water, wide,
};
use crate::container::delimited::Text;
use crate::container::{self, Begun, verdict};
use crate::context::{About, Context, Outcome};
use crate::doubt::desk::{Doubt, Settled, Spot};
use crate::doubt::order::Verdict;
use crate::doubt::spots::Spots;
use crate::doubt::{limit, mark, same, series, unit};
use crate::finding::{CellCounts, Choice, Finding, Severity};
use crate::grid::Grid;
use crate::layout::{self, Column, Kind, Placed, Table};
use crate::meaning::{self, Meaning};
use crate::parts::{self, Parts, Sizes, Whole};
use crate::record::packed::{PackError, Packed, Packer};
use crate::record::{CellRef, Record};

mod shape; // layouts of a file, and the hash that files of one shape share

/// Version of the reader: a later one may read the same bytes otherwise.
pub const INTERPRETER: u32 = 7;

/// Codes of findings about a whole file that leaves nothing to read.
const UNREADABLE: [&str; 5] = ["file_empty", "file_kind_unknown", "file_damaged", "file_locked", "file_over_limit"];

/// Whether a file could not be read at all.
pub fn unreadable(outcome: &Outcome) -> bool {
    outcome
        .findings
        .iter()
        .any(|finding| finding.severity == Severity::Refused && UNREADABLE.contains(&finding.code.as_str()))
}

/// Reads a file: records that load, findings in the order of the file, and counts that add up.
pub fn read(name: &str, bytes: &[u8], context: &Context) -> Outcome {
    read_sized(name, bytes, context, None, Sizes::PROMISED).0
}

/// Reads a file as [`read`] does, and packs its readings as they come, one parameter after the other: of all that is
/// made of a cell on the way, only one parameter's is in memory at once. The outcome's own list of records is empty.
///
/// # Errors
/// If records cannot be packed.
pub fn read_packed(name: &str, bytes: &[u8], context: &Context) -> Result<(Outcome, Packed), PackError> {
    let (mut outcome, packing) = read_sized(name, bytes, context, Some(Packer::new()?), Sizes::PROMISED);
    if let Some(error) = packing.failed {
        return Err(error);
    }
    let mut packer = match packing.packer {
        Some(packer) => packer,
        None => Packer::new()?,
    };
    for record in std::mem::take(&mut outcome.records) {
        packer.push(record)?;
    }
    Ok((outcome, packer.finish()?))
}

/// What has become of packing.
struct Packing {
    packer: Option<Packer>,
    failed: Option<PackError>,
}

fn read_sized(
    name: &str,
    bytes: &[u8],
    context: &Context,
    mut packer: Option<Packer>,
    sizes: Sizes,
) -> (Outcome, Packing) {
    let (grids, findings) = match container::begin(name, bytes, &context.answers) {
        Begun::Sheets(grids, findings) => (grids, findings),
        Begun::Text(text) => match parts::plan(&text, name, context, sizes) {
            Err(finding) => container::refused(name, *finding),
            Ok(plan) => {
                if let Some((parts, whole)) = plan {
                    match in_parts(name, context, parts, whole, packer) {
                        Ok(read) => return read,
                        Err(emptied) => packer = emptied,
                    }
                }
                at_once(name, text, sizes)
            }
        },
    };
    let mut reading = Reading::of(name, context, &grids, packer);
    reading.findings = findings;
    let mut tables: Vec<(u16, Table)> = Vec::new();
    let mut outside: Vec<(u16, Placed)> = Vec::new();
    for (sheet, mut grid) in (0u16..).zip(grids) {
        reading.total += grid.rows.iter().chain(&grid.aside).map(|row| row.cells.len() as u64).sum::<u64>();
        // What is hidden is counted and said, and says nothing itself: no table, no day, no question.
        grid.aside.clear();
        if grid.hidden {
            continue;
        }
        let (found, more, loose) = layout::tables_of(grid, &context.answers);
        tables.extend(found.into_iter().map(|table| (sheet, table)));
        reading.findings.extend(more);
        outside.extend(loose.into_iter().map(|placed| (sheet, placed)));
    }
    if tables.is_empty() && reading.findings.iter().all(|finding| finding.severity == Severity::Noted) {
        nothing_found(&mut reading.work, &outside);
    }
    reading.tables(&mut tables, &outside);
    reading.end();
    reading.unclaimed(&tables);
    reading.finish(name)
}

/// A text that is not read in parts; above a limit it is refused.
fn at_once(name: &str, text: Text, sizes: Sizes) -> (Vec<Grid>, Vec<Finding>) {
    if parts::most_cells(&text) > sizes.whole {
        if !text.is_clear() {
            // Once it is answered the text may be read in parts.
            return (Vec::new(), text.asked());
        }
        let cells = parts::cells(&text);
        if cells > sizes.whole {
            let what = "cells in anything but one table of tests with the day in every row";
            return container::refused(name, verdict::over_limit(what, sizes.whole, cells));
        }
    }
    container::cut(name, text)
}

/// Reads a long text part by part. If it turns out that it must be read at once, the packer comes back empty.
fn in_parts(
    name: &str,
    context: &Context,
    parts: Parts,
    whole: Whole,
    packer: Option<Packer>,
) -> Result<(Outcome, Packing), Option<Packer>> {
    let mut reading = Reading::of(name, context, &[Grid::default()], packer);
    reading.findings.clone_from(&parts.findings);
    reading.total = parts.total;
    // Which of two near names was first is told by the file, not by its parts.
    reading.work.tanks.tell_names(parts.tanks.iter().map(|(name, _)| name.as_str()));
    for (name, spot) in &parts.tanks {
        tank::named(&mut reading.work, name, *spot, "tank");
    }
    for (name, unit) in &parts.tests {
        long::foretell(&mut reading.work, name, unit);
    }
    reading.work.order = if let Verdict::Decided(order) = whole.order { Some(order) } else { None };
    reading.work.whole = Some(whole);
    let mut shape: Option<(Kind, Vec<Column>, Vec<Placed>)> = None;
    let mut meanings: BTreeMap<u32, Meaning> = BTreeMap::new();
    let mut known: HashMap<String, usize> = HashMap::new();
    let whole_again = |reading: Reading| Err(reading.work.packer.map(Packer::emptied));
    for part in 0..parts.len() {
        let (found, more, loose) = parts.tables(part, context);
        let [table] = found.as_slice() else { return whole_again(reading) };
        let own = (table.kind, table.header.clone(), table.units.clone());
        if table.turned || *shape.get_or_insert_with(|| own.clone()) != own {
            return whole_again(reading);
        }
        for finding in more {
            layout::join(&mut reading.findings, &mut known, Some(finding));
        }
        let mut tables: Vec<(u16, Table)> = found.into_iter().map(|table| (0, table)).collect();
        let outside: Vec<(u16, Placed)> = loose.into_iter().map(|placed| (0, placed)).collect();
        for (column, meaning) in reading.tables(&mut tables, &outside) {
            if *meanings.entry(column).or_insert_with(|| meaning.clone()) != meaning {
                return whole_again(reading);
            }
        }
        reading.unclaimed(&tables);
        if reading.work.whole.as_ref().is_some_and(|whole| whole.unsound.is_some()) {
            return whole_again(reading);
        }
    }
    reading.end();
    Ok(reading.finish(name))
}

/// A file while it is read, at once or part by part.
struct Reading<'a> {
    work: Work<'a>,
    findings: Vec<Finding>,
    summary: Summary,
    about: About,
    /// Non-empty cells.
    total: u64,
    /// Cells that a finding covers or that were asked about as unused, beside those of the work.
    covered: Spots,
    /// Records whose cells are known to be used.
    claimed: usize,
}

impl<'a> Reading<'a> {
    fn of(name: &str, context: &'a Context, grids: &[Grid], packer: Option<Packer>) -> Self {
        kind::begin();
        Reading {
            work: Work::new(context, grids.iter().map(|grid| grid.sheet.clone()).collect(), name, packer),
            findings: Vec::new(),
            summary: Summary::default(),
            about: About { interpreter: INTERPRETER, ..About::default() },
            total: 0,
            covered: Spots::default(),
            claimed: 0,
        }
    }

    /// Reads tables, all of a file or those of one part of it; what their columns mean comes back, as far as they hold
    /// cells.
    fn tables(&mut self, tables: &mut [(u16, Table)], outside: &[(u16, Placed)]) -> Vec<(u32, Meaning)> {
        let work = &mut self.work;
        for (sheet, table) in tables.iter_mut() {
            failed_key::refuse_rows(work, *sheet, table);
        }
        let mut views: Vec<View> = Vec::with_capacity(tables.len());
        let mut columns = Vec::new();
        for (sheet, table) in tables.iter() {
            let mut view = View::new(table, *sheet, views.len());
            columns.extend(meaning::settle(work, &mut view));
            views.push(view);
        }
        head::link(&mut views);
        if self.about.shape.is_empty() {
            self.about.columns = columns;
            shape::describe(&mut self.about, tables);
        }
        let loose = || views.iter().flat_map(View::loose).chain(outside.iter().map(|(_, placed)| placed));
        let order = || as_of::order_of(&views);
        if work.whole.is_none() {
            work.order = as_of::order_of(&views);
        }
        work.stated.as_of = as_of::stated(as_of::Told::AsOf, loose(), order);
        work.stated.complete_since = as_of::stated(as_of::Told::CompleteSince, loose(), order);
        tank::foretell(work, &views);
        // Days are in one part only, and what the water was on them.
        work.waters = water::Waters::default();
        let groups = records(work, &views, &mut self.summary);
        settle(work, &views, groups);
        set_aside::ask(work, tables, outside);
        if work.whole.is_none() {
            set_aside::ask_much(work, tables, outside);
        }
        let filled = |view: &View, column: u32| view.filled(column).next().is_some();
        let told = views.iter().flat_map(|view| view.meanings.iter().filter(|(column, _)| filled(view, **column)));
        told.map(|(column, meaning)| (*column, meaning.clone())).collect()
    }

    /// What is settled when all tables are read.
    fn end(&mut self) {
        let work = &mut self.work;
        tank::records(work);
        let dates_open =
            ["date_order_unclear", "date_order_mixed", "date_year_missing", "date_month_only", "date_number"]
                .iter()
                .any(|code| work.desk.raised_any(code));
        as_of::settle(work, &self.summary, dates_open);
        self.about.as_of = work.as_of.filter(|_| self.summary.any);
        self.about.register = self.summary.any;
        self.about.keeping_since = work.stated.keeping_since;
        self.about.first_day = work.days.map(|(first, _)| first);
        self.about.last_day = work.days.map(|(_, last)| last);
        as_of::completeness(work, &self.summary, &mut self.about);
    }

    /// A place in the order of the file's sheets.
    fn spot(sheets: &[Option<String>], cell: &CellRef) -> Spot {
        let sheet = sheets.iter().position(|own| *own == cell.sheet).unwrap_or_default() as u16;
        Spot { sheet, row: cell.row, column: cell.column }
    }

    /// Takes note of the cells of records, and of findings about rows.
    fn claim(&mut self) {
        let work = &mut self.work;
        for record in &work.records[self.claimed..] {
            work.recorded.extend(record.place().cells.iter().map(|cell| Self::spot(&work.sheets, cell)));
        }
        self.claimed = work.records.len();
        for finding in self.findings.iter().filter(|finding| finding.severity != Severity::Noted) {
            self.covered.extend(finding.cells.iter().map(|cell| Self::spot(&work.sheets, cell)));
        }
    }

    /// A cell of a data row that no record uses, no finding covers and nothing called a label is no label: it is asked
    /// about.
    fn unclaimed(&mut self, tables: &[(u16, Table)]) {
        self.claim();
        let work = &mut self.work;
        for (sheet, table) in tables {
            for row in &table.rows {
                for cell in &row.cells {
                    let (at_row, at_column) = table.place(row.row, cell.column);
                    let spot = Spot { sheet: *sheet, row: at_row, column: at_column };
                    let known = work.recorded.contains(&spot)
                        || self.covered.contains(&spot)
                        || work.desk.covered().contains(&spot)
                        || work.labels.contains(&spot);
                    if !known {
                        unused(work, table, cell, spot);
                    }
                }
            }
        }
    }

    /// Orders records and findings as they stand in the file, and counts every cell once.
    fn finish(mut self, name: &str) -> (Outcome, Packing) {
        self.claim();
        let Reading { mut work, mut findings, mut covered, total, about, .. } = self;
        let sheets = std::mem::take(&mut work.sheets);
        let sheet_at = |sheet: &Option<String>| sheets.iter().position(|own| own == sheet).unwrap_or_default();
        let mut records = std::mem::take(&mut work.records);
        records.sort_by_cached_key(|record| {
            let place = record.place();
            (sheet_at(&place.sheet), place.row, place.column, kind_order(record))
        });
        covered.join(work.desk.covered());
        let held = covered.count_without(&work.recorded);
        let used = work.recorded.count();
        let cells = CellCounts { total, recorded: used, labels: total.saturating_sub(used + held), findings: held };
        findings.extend(work.desk.findings(&sheets));
        findings
            .sort_by_key(|finding| (sheet_at(&finding.sheet), finding.row.unwrap_or(0), finding.column.unwrap_or(0)));
        let packing = Packing { packer: work.packer, failed: work.unpacked };
        let today = work.context.today;
        (Outcome { file: name.to_owned(), today, records, findings, cells, about }, packing)
    }
}

/// Asks about a cell that nothing has used.
fn unused(work: &mut Work, table: &Table, cell: &Placed, spot: Spot) {
    let header =
        table.header.iter().find(|header| header.column == cell.column).map_or("", |header| header.text.as_str());
    let about = format!("unused {}", analysis::vocabulary::text::fold(header));
    let settled = work.desk.ask("column_unknown", &about);
    if settled == Settled::LeaveOut || settled.choice() == Some("remark") {
        work.labels.insert(spot);
        return;
    }
    let remark = Choice { code: "remark".to_owned(), label: "a remark".to_owned(), needs: None };
    work.desk.raise(
        Doubt::of("column_unknown")
            .about(about)
            .at(spot, cell.raw.written())
            .fill("column", header)
            .cell(spot, "value")
            .choices(vec![remark])
            .propose_nothing(),
    );
}

/// A file with words in it and no table is asked about, so that nobody takes it for loaded.
fn nothing_found(work: &mut Work, outside: &[(u16, Placed)]) {
    let spot = |(sheet, placed): &(u16, Placed)| Spot { sheet: *sheet, row: placed.row, column: placed.column };
    let Some(first) = outside.first() else { return };
    if matches!(work.desk.ask("table_kind_unclear", "the file"), Settled::LeaveOut | Settled::Choice("none", _)) {
        return;
    }
    let written: String = first.1.raw.written().chars().take(200).collect();
    work.desk.raise(
        Doubt::of("table_kind_unclear")
            .about("the file")
            .at(spot(first), written)
            .cells(outside.iter().map(|cell| (spot(cell), "data")))
            .choices(vec![Choice { code: "none".to_owned(), label: "no data".to_owned(), needs: None }])
            .propose_nothing(),
    );
}

/// What must be known first comes first: the sheet's own statements, tanks, kits, corals; then everything else.
fn turn(kind: Kind) -> u8 {
    match kind {
        Kind::LogSheet("about") => 0,
        Kind::LogSheet("tanks") => 1,
        Kind::LogSheet("kits") => 2,
        Kind::Register | Kind::LogSheet("corals") => 3,
        _ => 4,
    }
}

/// Records of corals and care; readings come back as groups of cells.
fn records(work: &mut Work, views: &[View], summary: &mut Summary) -> Vec<Group> {
    let mut order: Vec<&View> = views.iter().collect();
    order.sort_by_key(|view| turn(view.table.kind));
    let mut groups = Vec::new();
    for view in order {
        match view.table.kind {
            Kind::Wide => {
                groups.extend(wide::read(work, view));
                diary::beside(work, view);
            }
            Kind::Long => groups.extend(long::read(work, view)),
            Kind::Register => register::read(work, view, &Columns::of(view), summary),
            Kind::Diary => groups.extend(diary::read(work, view)),
            Kind::LogSheet(tab) => groups.extend(filled_sheet::read(work, view, tab, summary)),
        }
    }
    groups
}

/// From cells to values to readings, parameter by parameter; temperature and salinity first, since others depend on
/// them.
fn settle(work: &mut Work, views: &[View], mut groups: Vec<Group>) {
    let turn = |group: &Group| match group.parameter.code.as_str() {
        "temperature" => 0,
        "salinity" => 1,
        _ => 2,
    };
    groups.sort_by_key(|group| (turn(group), group.spot));
    while let Some(first) = groups.first() {
        let parameter = first.parameter.code;
        let (mut own, others): (Vec<Group>, Vec<Group>) =
            groups.into_iter().partition(|group| group.parameter.code == parameter);
        groups = others;
        for group in &mut own {
            group.take_up(work, views);
            for test in &mut group.tests {
                test.water = work.waters.of_row(test.spot, &test.when.tank);
            }
            mark::settle(work, group);
            unit::settle(work, group);
            limit::settle(work, group);
            series::settle(work, group);
            wide::settle_places(work, group);
            if !groups.is_empty() && matches!(parameter.as_str(), "temperature" | "salinity") {
                work.waters.learn(group);
            }
        }
        same::settle(work, &mut own);
        crate::canonical::test::emit(work, &own);
    }
}

/// Of records of one cell, those that others name come first.
fn kind_order(record: &Record) -> u8 {
    match record {
        Record::Tank(_) => 0,
        Record::Instrument(_) => 1,
        Record::Specimen(_) => 2,
        Record::Identification(_) => 3,
        Record::Stay(_) => 4,
        Record::Placement(_) => 5,
        Record::Reading(_) => 6,
        Record::Sighting(_) => 7,
        Record::Sizing(_) => 8,
        Record::Ending(_) => 9,
        Record::Routine(_) => 10,
        Record::Event(_) => 11,
        Record::Incident(_) => 12,
    }
}

#[cfg(test)]
mod parts_alike; // a text read in parts says what it says at once
