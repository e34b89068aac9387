//! A log written again from its grid: text with its own separator, a workbook as xlsx. What a test changes in the grid
//! stands in the file.

use importer::container;
use importer::grid::{Cell, Grid, Raw, Row};
use rust_xlsxwriter::{Format, Workbook};

/// The grids of a file, if it can be written again.
pub fn grids(name: &str, bytes: &[u8]) -> Option<Vec<Grid>> {
    let (grids, _) = container::open(name, bytes);
    let held = grids.iter().any(|grid| grid.held);
    let one_column = grids.iter().any(|grid| grid.sheet.is_none() && grid.delimiter.is_none());
    (!grids.is_empty() && !held && !one_column).then_some(grids)
}

/// The raw cell at a place.
pub fn at(grids: &[Grid], sheet: usize, row: u32, column: u32) -> Option<&Raw> {
    let rows = &grids.get(sheet)?.rows;
    rows[rows.binary_search_by_key(&row, |row| row.number).ok()?].at(column)
}

/// Puts a cell down, or takes it away.
pub fn put(grids: &mut [Grid], sheet: usize, row: u32, column: u32, raw: Option<Raw>) {
    let rows = &mut grids[sheet].rows;
    let at = match rows.binary_search_by_key(&row, |row| row.number) {
        Ok(at) => at,
        Err(at) => {
            rows.insert(at, Row { number: row, line: None, cells: Vec::new() });
            at
        }
    };
    let cells = &mut rows[at].cells;
    match (cells.binary_search_by_key(&column, |cell| cell.column), raw) {
        (Ok(at), Some(raw)) => cells[at].raw = raw,
        (Ok(at), None) => {
            cells.remove(at);
        }
        (Err(at), Some(raw)) => cells.insert(at, Cell { column, raw }),
        (Err(_), None) => {}
    }
}

/// Opens a gap of one row before a row.
pub fn insert_row(grids: &mut [Grid], sheet: usize, before: u32) {
    for row in &mut grids[sheet].rows {
        if row.number >= before {
            row.number += 1;
        }
    }
}

/// The file: its name and bytes.
pub fn file(grids: &[Grid]) -> (&'static str, Vec<u8>) {
    match grids {
        [grid] if grid.sheet.is_none() => ("log.csv", text(grid).into_bytes()),
        _ => ("log.xlsx", workbook(grids)),
    }
}

fn text(grid: &Grid) -> String {
    let separator = char::from(grid.delimiter.unwrap_or(b','));
    let mut text = String::new();
    let mut number = 0;
    // A rare separator is known by rows of one length.
    let rare = !matches!(separator, ',' | ';' | '\t' | '|');
    let last = grid.rows.iter().filter_map(|row| row.cells.last()).map(|cell| cell.column).max().unwrap_or(0);
    for row in &grid.rows {
        while number + 1 < row.number {
            text.push('\n');
            number += 1;
        }
        number = row.number;
        let mut column = 1;
        for cell in &row.cells {
            while column < cell.column {
                text.push(separator);
                column += 1;
            }
            let written = cell.raw.written();
            if written.contains([separator, '"', '\n', '\r']) {
                text.push('"');
                text.push_str(&written.replace('"', "\"\""));
                text.push('"');
            } else {
                text.push_str(&written);
            }
        }
        if rare && row.cells.len() > 1 {
            (column..last).for_each(|_| text.push(separator));
        }
        text.push('\n');
    }
    text
}

fn workbook(grids: &[Grid]) -> Vec<u8> {
    let mut book = Workbook::new();
    let day = Format::new().set_num_format("yyyy-mm-dd");
    let time = Format::new().set_num_format("yyyy-mm-dd hh:mm");
    for grid in grids {
        let sheet = book.add_worksheet();
        sheet.set_name(grid.sheet.as_deref().unwrap_or("Sheet")).unwrap();
        if grid.hidden {
            sheet.set_hidden(true);
        }
        for row in grid.rows.iter().chain(&grid.aside) {
            for cell in &row.cells {
                let (row, column) = (row.number - 1, (cell.column - 1) as u16);
                match &cell.raw {
                    Raw::Text(text) => sheet.write_string(row, column, text).map(drop),
                    Raw::Number(number) => sheet.write_number(row, column, *number).map(drop),
                    Raw::Date(at) if at.time() == chrono::NaiveTime::MIN => {
                        sheet.write_datetime_with_format(row, column, at, &day).map(drop)
                    }
                    Raw::Date(at) => sheet.write_datetime_with_format(row, column, at, &time).map(drop),
                    Raw::Bool(value) => sheet.write_boolean(row, column, *value).map(drop),
                    Raw::Error(text) => sheet.write_string(row, column, &**text).map(drop),
                }
                .unwrap();
            }
        }
        for row in &grid.aside {
            sheet.set_row_hidden(row.number - 1).unwrap();
        }
    }
    book.save_to_buffer().unwrap()
}
