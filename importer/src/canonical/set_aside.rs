//! Rows that were taken for titles, notes or nothing and hold a test all the same: the name of a parameter with a number
//! beside it, or a day with a number and no word. None may vanish without a word: what no record and no finding uses is asked about, once a sheet.

use std::collections::BTreeMap;

use analysis::vocabulary::{find_parameter_by_word, find_row_word, text::fold};

use crate::canonical::Work;
use crate::dialect::guess::Look;
use crate::doubt::desk::{Doubt, Settled, Spot};
use crate::doubt::spots::Spots;
use crate::finding::Choice;
use crate::grid::Raw;
use crate::layout::row::look_of;
use crate::layout::{Placed, Table};

/// Letters of the longest name of a test.
const LONGEST: usize = 40;

type Rows<'c> = BTreeMap<(u16, u32), BTreeMap<u32, &'c Raw>>;

/// The place of a row's number that is the value of a test named left of it.
fn test_in(cells: &BTreeMap<u32, &Raw>) -> Option<(u32, String)> {
    // "Mean", "Target", "Legend:": said to be none.
    let text = |raw: &Raw| match raw {
        Raw::Text(text) if look_of(raw) == Look::Word => Some(text.trim().to_owned()),
        _ => None,
    };
    let look = |wanted: Look| cells.iter().find(|(_, raw)| look_of(raw) == wanted);
    if let (None, Some((_, day)), Some((column, _))) = (look(Look::Word), look(Look::Date), look(Look::Number)) {
        return Some((*column, day.written()));
    }
    let first = cells.values().next().and_then(|raw| text(raw))?;
    if find_row_word(&first).is_some() {
        return None;
    }
    let mut cells = cells.iter().peekable();
    while let Some((_, raw)) = cells.next() {
        let Some(name) = text(raw).filter(|name| name.len() <= LONGEST) else { continue };
        let Some((column, next)) = cells.peek() else { break };
        if look_of(next) == Look::Number && !find_parameter_by_word(&name).is_empty() {
            return Some((**column, name));
        }
    }
    None
}

/// Cells with figures outside all data from which a file may not have been understood.
const MUCH: usize = 10;

/// Asks about a file of which more cells with figures stand outside its tables than cells inside: most of it would fall
/// out unread, perhaps since its separator was not found.
pub(crate) fn ask_much(work: &mut Work, tables: &[(u16, Table)], outside: &[(u16, Placed)]) {
    let figures = |raw: &Raw| match raw {
        Raw::Number(_) | Raw::Date(_) => true,
        Raw::Text(text) => text.bytes().filter(u8::is_ascii_digit).count() >= 2,
        Raw::Bool(_) | Raw::Error(_) => false,
    };
    let aside = tables.iter().flat_map(|(sheet, table)| {
        let cells = table.titles.iter().chain(&table.labels);
        cells.map(move |cell| (*sheet, table.place(cell.row, cell.column), &cell.raw))
    });
    let loose = outside.iter().map(|(sheet, cell)| (*sheet, (cell.row, cell.column), &cell.raw));
    let aside: Vec<_> = aside.chain(loose).filter(|(.., raw)| figures(raw)).collect();
    let inside: usize = tables.iter().flat_map(|(_, table)| &table.rows).map(|row| row.cells.len()).sum();
    let about = "most cells outside the tables";
    let left = matches!(work.desk.ask("table_kind_unclear", about), Settled::LeaveOut | Settled::Choice("none", _));
    let Some((sheet, (row, column), first)) = aside.first().filter(|_| aside.len() >= MUCH && aside.len() > inside)
    else {
        return;
    };
    if left || tables.is_empty() {
        return;
    }
    let spot = |(sheet, (row, column), _): &(u16, (u32, u32), &Raw)| Spot { sheet: *sheet, row: *row, column: *column };
    let written: String = first.written().chars().take(200).collect();
    work.desk.raise(
        Doubt::of("table_kind_unclear")
            .about(about)
            .at(Spot { sheet: *sheet, row: *row, column: *column }, written)
            .cells(aside.iter().map(|cell| (spot(cell), "data")))
            .choices(vec![Choice { code: "none".to_owned(), label: "no data".to_owned(), needs: None }])
            .propose_nothing(),
    );
}

/// Asks about tests in rows that are part of no table's data.
pub(crate) fn ask(work: &mut Work, tables: &[(u16, Table)], outside: &[(u16, Placed)]) {
    let mut rows: Rows = BTreeMap::new();
    for (sheet, table) in tables {
        for cell in table.titles.iter().chain(&table.labels) {
            let (row, column) = table.place(cell.row, cell.column);
            rows.entry((*sheet, row)).or_default().insert(column, &cell.raw);
        }
    }
    for (sheet, cell) in outside {
        rows.entry((*sheet, cell.row)).or_default().insert(cell.column, &cell.raw);
    }
    // What stands beside a table's own cells is no row set aside.
    for (sheet, table) in tables {
        let data =
            table.rows.iter().flat_map(|row| row.cells.iter().take(if table.turned { row.cells.len() } else { 1 }));
        let own = data.map(|cell| (cell.row, cell.column));
        for (row, column) in own.chain(table.header.iter().map(|column| (column.row, column.column))) {
            rows.remove(&(*sheet, table.place(row, column).0));
        }
    }
    let covered = if rows.is_empty() { Spots::default() } else { work.desk.covered().clone() };
    for ((sheet, row), cells) in &rows {
        let Some((column, name)) = test_in(cells) else { continue };
        let spot = Spot { sheet: *sheet, row: *row, column };
        if covered.contains(&spot) {
            continue;
        }
        let sheet_name = work.sheet_name(*sheet).map(|name| fold(&name)).unwrap_or_default();
        let about = format!("{sheet_name} rows outside the table");
        let about = about.trim();
        if matches!(work.desk.ask("column_unknown", about), Settled::LeaveOut | Settled::Choice("remark", _)) {
            continue;
        }
        let remark = Choice { code: "remark".to_owned(), label: "a remark".to_owned(), needs: None };
        work.desk.raise(
            Doubt::of("column_unknown")
                .about(about)
                .at(spot, cells.get(&column).map(|raw| raw.written()).unwrap_or_default())
                .fill("column", &name)
                .fill("header", &name)
                .cells(cells.keys().map(|column| (Spot { sheet: *sheet, row: *row, column: *column }, "row")))
                .choices(vec![remark])
                .propose_nothing(),
        );
    }
}
