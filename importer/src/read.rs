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

use std::collections::BTreeSet;

use sha2::{Digest, Sha256};

use crate::canonical::register::{Columns, Summary};
use crate::canonical::test::Group;
use crate::canonical::{
    Stated, View, Work, as_of, corals, diary, failed_key, filled_sheet, head, long, register, set_aside, tank, water,
    wide,
};
use crate::container;
use crate::context::{About, Context, Outcome};
use crate::doubt::desk::{Desk, Spot};
use crate::doubt::spots::Spots;
use crate::doubt::{limit, mark, same, series, unit};
use crate::finding::{CellCounts, Finding, Severity};
use crate::layout::{self, Kind, Placed, Table};
use crate::meaning;
use crate::record::Record;
use crate::record::packed::{PackError, Packed, Packer};

/// Version of the reader: a later one may read the same bytes otherwise.
pub const INTERPRETER: u32 = 6;

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
    read_into(name, bytes, context, None).0
}

/// Reads a file as [`read`] does, and packs its readings as they come, one parameter after the other: of all that is
/// made of a cell on the way, only one parameter's is in memory at once. The outcome's own list of records is empty.
///
/// # Errors
/// If records cannot be packed.
pub fn read_packed(name: &str, bytes: &[u8], context: &Context) -> Result<(Outcome, Packed), PackError> {
    let (mut outcome, packer, failed) = read_into(name, bytes, context, Some(Packer::new()?));
    if let Some(error) = failed {
        return Err(error);
    }
    let mut packer = match packer {
        Some(packer) => packer,
        None => Packer::new()?,
    };
    for record in std::mem::take(&mut outcome.records) {
        packer.push(record)?;
    }
    Ok((outcome, packer.finish()?))
}

fn read_into(
    name: &str,
    bytes: &[u8],
    context: &Context,
    packer: Option<Packer>,
) -> (Outcome, Option<Packer>, Option<PackError>) {
    let (grids, mut findings) = container::open_with(name, bytes, &context.answers);
    let mut tables: Vec<(u16, Table)> = Vec::new();
    let mut outside: Vec<(u16, Placed)> = Vec::new();
    let sheets: Vec<Option<String>> = grids.iter().map(|grid| grid.sheet.clone()).collect();
    let mut total = 0;
    for (sheet, mut grid) in (0u16..).zip(grids) {
        total += grid.rows.iter().chain(&grid.aside).map(|row| row.cells.len() as u64).sum::<u64>();
        // What is hidden is counted and said, and says nothing itself: no table, no day, no question.
        grid.aside.clear();
        if grid.hidden {
            continue;
        }
        let (found, more, loose) = layout::tables_of(grid, &context.answers);
        tables.extend(found.into_iter().map(|table| (sheet, table)));
        findings.extend(more);
        outside.extend(loose.into_iter().map(|placed| (sheet, placed)));
    }
    let mut work = Work {
        context,
        desk: Desk::new(&context.answers),
        sheets: sheets.clone(),
        stem: stem(name),
        tanks: tank::Tanks::of(&context.tanks),
        corals: corals::Corals::of(&context.specimens),
        unknown_names: BTreeSet::new(),
        instruments: context.instruments.clone(),
        records: Vec::new(),
        packer,
        unpacked: None,
        recorded: Spots::default(),
        labels: Spots::default(),
        as_of: None,
        days: None,
        order: None,
        stated: Stated::default(),
        waters: water::Waters::default(),
    };
    if tables.is_empty() && findings.iter().all(|finding| finding.severity == Severity::Noted) {
        nothing_found(&mut work, &outside);
    }
    for (sheet, table) in &mut tables {
        failed_key::refuse_rows(&mut work, *sheet, table);
    }
    let mut views: Vec<View> = Vec::with_capacity(tables.len());
    let mut columns = Vec::new();
    for (sheet, table) in &tables {
        let mut view = View::new(table, *sheet, views.len());
        columns.extend(meaning::settle(&mut work, &mut view));
        views.push(view);
    }
    head::link(&mut views);
    let loose = || views.iter().flat_map(View::loose).chain(outside.iter().map(|(_, placed)| placed));
    let order = || as_of::order_of(&views);
    work.order = as_of::order_of(&views);
    work.stated.as_of = as_of::stated(as_of::Told::AsOf, loose(), order);
    work.stated.complete_since = as_of::stated(as_of::Told::CompleteSince, loose(), order);
    tank::foretell(&mut work, &views);
    let mut summary = Summary::default();
    let groups = records(&mut work, &views, &mut summary);
    settle(&mut work, &views, groups);
    set_aside::ask(&mut work, &tables, &outside);
    tank::records(&mut work);
    let dates_open = ["date_order_unclear", "date_order_mixed", "date_year_missing", "date_month_only", "date_number"]
        .iter()
        .any(|code| work.desk.raised_any(code));
    as_of::settle(&mut work, &summary, dates_open);
    let mut about = about(&work, &tables, &summary);
    about.columns = columns;
    as_of::completeness(&mut work, &summary, &mut about);
    let (packer, failed) = (work.packer.take(), work.unpacked.take());
    (finish(name, context, total, work, findings, about, &tables), packer, failed)
}

/// A file with words in it and no table is asked about, so that nobody takes it for loaded.
fn nothing_found(work: &mut Work, outside: &[(u16, Placed)]) {
    use crate::doubt::desk::{Doubt, Settled};
    use crate::finding::Choice;
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

fn stem(name: &str) -> String {
    let file = name.rsplit(['/', '\\']).next().unwrap_or(name);
    file.rsplit_once('.').map_or(file, |(stem, _)| stem).to_owned()
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

fn about(work: &Work, tables: &[(u16, Table)], summary: &Summary) -> About {
    let mut layouts: Vec<String> = Vec::new();
    let mut shape = Sha256::new();
    for at in tables {
        let table = &at.1;
        let kind = match table.kind {
            Kind::Wide if table.turned => "transposed",
            Kind::Wide => "wide",
            Kind::Long => "long",
            Kind::Register => "register",
            Kind::Diary => "diary",
            Kind::LogSheet(_) => "log_sheet",
        };
        let called = layout_name(kind, at, tables);
        if !layouts.iter().any(|known| known == called) {
            layouts.push(called.to_owned());
        }
        shape.update(kind);
        for header in &table.header {
            shape.update([0x1f]);
            shape.update(analysis::vocabulary::text::fold(&header.text));
        }
        shape.update([0x1e]);
    }
    let digest = shape.finalize();
    About {
        layouts,
        shape: digest.iter().take(8).map(|byte| format!("{byte:02x}")).collect(),
        as_of: work.as_of.filter(|_| summary.any),
        complete_since: None,
        complete_since_unknown: false,
        losses_listed: None,
        register: summary.any,
        keeping_since: work.stated.keeping_since,
        first_day: work.days.map(|(first, _)| first),
        last_day: work.days.map(|(_, last)| last),
        interpreter: INTERPRETER,
        columns: Vec::new(),
        takes_out: false,
    }
}

/// The layout as it is called: a list without days is a laboratory's report, rows of one day with their times come
/// from a probe, several tables of tests on one sheet are blocks.
fn layout_name(kind: &'static str, at: &(u16, Table), tables: &[(u16, Table)]) -> &'static str {
    use crate::dialect::guess::Look;
    use crate::layout::row::look_of;
    let (sheet, table) = at;
    if table.turned || !matches!(table.kind, Kind::Wide | Kind::Long) {
        return kind;
    }
    let rows = table.rows.iter().take(200);
    let (mut dated, mut timed, mut all) = (0_usize, 0_usize, 0_usize);
    for row in rows {
        let timed_cell = |cell: &Placed| match &cell.raw {
            crate::grid::Raw::Date(at) => at.time() != chrono::NaiveTime::MIN,
            crate::grid::Raw::Text(text) => matches!(look_of(&cell.raw), Look::Date | Look::Time) && text.contains(':'),
            _ => false,
        };
        all += 1;
        dated += usize::from(row.cells.iter().any(|cell| look_of(&cell.raw) == Look::Date));
        timed += usize::from(row.cells.iter().any(timed_cell));
    }
    let day_named = table.header.iter().any(|column| {
        analysis::vocabulary::header_roles(&column.text).contains(&analysis::vocabulary::HeaderRole::Date)
    });
    let wide =
        tables.iter().filter(|(other, table)| other == sheet && table.kind == Kind::Wide && !table.turned).count();
    match table.kind {
        _ if all >= 12 && timed * 10 >= all * 9 => "probe",
        Kind::Long if dated == 0 && !day_named => "laboratory",
        Kind::Wide if wide > 1 || table.names_over.alike => "blocks",
        _ => kind,
    }
}

/// Orders records and findings as they stand in the file, and counts every cell once.
fn finish(
    name: &str,
    context: &Context,
    total: u64,
    mut work: Work,
    mut findings: Vec<Finding>,
    about: About,
    tables: &[(u16, Table)],
) -> Outcome {
    let mut records = std::mem::take(&mut work.records);
    let sheet_at = |sheet: &Option<String>| work.sheets.iter().position(|own| own == sheet).unwrap_or_default();
    records.sort_by_cached_key(|record| {
        let place = record.place();
        (sheet_at(&place.sheet), place.row, place.column, kind_order(record))
    });
    let mut recorded = std::mem::take(&mut work.recorded);
    for record in &records {
        recorded.extend(record.place().cells.iter().map(|cell| Spot {
            sheet: sheet_at(&cell.sheet) as u16,
            row: cell.row,
            column: cell.column,
        }));
    }
    let mut covered = work.desk.covered();
    for finding in findings.iter().filter(|finding| finding.severity != Severity::Noted) {
        covered.extend(finding.cells.iter().map(|cell| Spot {
            sheet: sheet_at(&cell.sheet) as u16,
            row: cell.row,
            column: cell.column,
        }));
    }
    unclaimed(&mut work, tables, &recorded, &mut covered);
    let held = covered.count_without(&recorded);
    let used = recorded.count();
    let cells = CellCounts { total, recorded: used, labels: total.saturating_sub(used + held), findings: held };
    let sheets = std::mem::take(&mut work.sheets);
    findings.extend(work.desk.findings(&sheets));
    let place = |finding: &Finding| {
        (
            sheets.iter().position(|own| *own == finding.sheet).unwrap_or_default(),
            finding.row.unwrap_or(0),
            finding.column.unwrap_or(0),
        )
    };
    findings.sort_by_key(place);
    Outcome { file: name.to_owned(), today: context.today, records, findings, cells, about }
}

/// A cell of a data row that no record uses, no finding covers and nothing called a label is no label: it is asked about.
fn unclaimed(work: &mut Work, tables: &[(u16, Table)], recorded: &Spots, covered: &mut Spots) {
    use crate::doubt::desk::{Doubt, Settled};
    for (sheet, table) in tables {
        for row in &table.rows {
            for cell in &row.cells {
                let (at_row, at_column) = table.place(row.row, cell.column);
                let spot = Spot { sheet: *sheet, row: at_row, column: at_column };
                if recorded.contains(&spot) || covered.contains(&spot) || work.labels.contains(&spot) {
                    continue;
                }
                let header = table
                    .header
                    .iter()
                    .find(|header| header.column == cell.column)
                    .map_or("", |header| header.text.as_str());
                let about = format!("unused {}", analysis::vocabulary::text::fold(header));
                if work.desk.ask("column_unknown", &about) == Settled::LeaveOut
                    || work.desk.ask("column_unknown", &about).choice() == Some("remark")
                {
                    work.labels.insert(spot);
                    continue;
                }
                let written = cell.raw.written();
                let remark =
                    crate::finding::Choice { code: "remark".to_owned(), label: "a remark".to_owned(), needs: None };
                work.desk.raise(
                    Doubt::of("column_unknown")
                        .about(about)
                        .at(spot, written)
                        .fill("column", header)
                        .cell(spot, "value")
                        .choices(vec![remark])
                        .propose_nothing(),
                );
                covered.insert(spot);
            }
        }
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
