//! Tables in a grid, and what kind of table each is. Knows rows and header words, not yet what a column means.
//!
//! Every non-empty cell ends in exactly one place: a title, header, unit, data or label cell of a table, a cell of a
//! finding, or a label outside all tables. Nothing is guessed from a language or a file name.
//!
//! ```
//! use importer::{container, layout};
//! let (grids, _) = container::open("tests.csv", b"Reef log\n\nDate,KH\n2024-03-02,8.2\n");
//! let (tables, findings, labels) = layout::tables(&grids[0]);
//! assert_eq!((tables[0].kind, tables[0].rows.len(), findings.len(), labels.len()), (layout::Kind::Wide, 1, 0, 0));
//! ```

pub mod colour; // meaning held in colour alone
pub mod coral_row; // rows of words about corals
pub mod heading; // what a header cell may stand for
pub mod kind; // what a table holds
pub mod name; // bare titles of tables alike
pub mod over; // names over groups of columns
pub mod row; // what a single row can be
pub mod segment; // titles, header, units, data and labels
pub mod strip; // tables side by side
pub mod turned; // days that run across
pub mod unclear; // tables of no kind known
mod under; // names under the headers of columns
pub mod uneven; // rows with more cells than the header

use std::collections::{BTreeSet, HashMap};

use crate::finding::{Answer, Finding};
use crate::grid::{Grid, Merged, Raw};

/// What a table holds, one row a thing.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Kind {
    /// One row a test day, one column a parameter.
    Wide,
    /// One row a single test: day, parameter, value, unit.
    Long,
    /// One row a coral: acquired, lost, fate.
    Register,
    /// One row a look, a size or a note about a coral.
    Diary,
    /// One tab of the ready-made log sheet, by its code.
    LogSheet(&'static str),
}

/// One table found in a grid. Every non-empty cell of the grid is in exactly one of: a title, the header, the
/// units row, a data row, or a label row. Tables that are sections under one header share its cells.
#[derive(Debug, Clone, PartialEq)]
pub struct Table {
    /// Sheet it was found on.
    pub sheet: Option<String>,
    /// Its kind.
    pub kind: Kind,
    /// Cells above it that belong to it: titles, "Tank: Alder", "as of …".
    pub titles: Vec<Placed>,
    /// Header cells: (column, place, text); several header rows are joined by a space.
    pub header: Vec<Column>,
    /// Units row under the header, if any.
    pub units: Vec<Placed>,
    /// Data rows, with every non-empty cell.
    pub rows: Vec<DataRow>,
    /// Cells that are neither header nor data: repeated headers, totals, footers, legends.
    pub labels: Vec<Placed>,
    /// The decimal mark is a comma.
    pub decimal_comma: bool,
    /// Days run across: its rows are columns of the sheet and its columns are rows.
    pub turned: bool,
    /// Position of a title that is its name and no more, where several tables of one shape have one each.
    pub own_name: Option<usize>,
    /// Names over groups of its columns, each perhaps a tank.
    pub names_over: over::Names,
    /// Merged ranges of the sheet; none for a turned table.
    pub merged: Vec<Merged>,
}

impl Table {
    /// Row and column of the sheet for a row and column of the table.
    pub const fn place(&self, row: u32, column: u32) -> (u32, u32) {
        if self.turned { (column, row) } else { (row, column) }
    }
}

/// A header cell.
#[derive(Debug, Clone, PartialEq)]
pub struct Column {
    /// Column from 1.
    pub column: u32,
    /// Row of the header cell.
    pub row: u32,
    /// Text, trimmed.
    pub text: String,
}

/// A cell with its place.
#[derive(Debug, Clone, PartialEq)]
pub struct Placed {
    /// Row from 1.
    pub row: u32,
    /// Column from 1.
    pub column: u32,
    /// What it holds.
    pub raw: Raw,
}

/// A row of data.
#[derive(Debug, Clone, PartialEq)]
pub struct DataRow {
    /// Row from 1.
    pub row: u32,
    /// Line in a text file.
    pub line: Option<u32>,
    /// Non-empty cells, left to right.
    pub cells: Vec<Placed>,
}

/// The tables of a grid, what could not be taken as it stands, and the cells outside all tables.
pub fn tables(grid: &Grid) -> (Vec<Table>, Vec<Finding>, Vec<Placed>) {
    tables_with(grid, &[])
}

/// The tables of a grid, with the answers given to earlier questions (`table_kind_unclear`, `row_uneven`).
pub fn tables_with(grid: &Grid, answers: &[Answer]) -> (Vec<Table>, Vec<Finding>, Vec<Placed>) {
    tables_of(grid.clone(), answers)
}

/// [`tables_with`] for a grid that is not needed any more: its cells are moved, not copied.
pub fn tables_of(mut grid: Grid, answers: &[Answer]) -> (Vec<Table>, Vec<Finding>, Vec<Placed>) {
    let mut labels: Vec<Placed> = Vec::new();
    let mut findings = Vec::new();
    let mut tables: Vec<Table> = Vec::new();
    labels.extend(std::mem::take(&mut grid.aside).into_iter().flat_map(|row| {
        row.cells.into_iter().map(move |cell| Placed { row: row.number, column: cell.column, raw: cell.raw })
    }));
    if grid.held {
        return (tables, findings, labels);
    }
    if grid.hidden {
        labels.extend(grid.rows.into_iter().flat_map(|row| {
            row.cells.into_iter().map(move |cell| Placed { row: row.number, column: cell.column, raw: cell.raw })
        }));
        return (tables, findings, labels);
    }
    let mut headings = heading::Headings::with_log_sheet();
    let strips = strip::strips(&grid, &mut headings);
    let mut rows = std::mem::take(&mut grid.rows);
    let grid = &grid;
    let mut pieces = Vec::new();
    for &strip in &strips {
        let rows = if strips.len() == 1 { std::mem::take(&mut rows) } else { strip::cut(&mut rows, strip) };
        let segments = segment::segments(rows, &mut headings);
        labels.extend(segments.outside);
        pieces.extend(segments.tables);
    }
    if pieces.is_empty() {
        pieces.extend(unclear::prose_with_days(&mut labels));
    }
    // Sections share the header above the first of them: its cells count once.
    let mut headers = BTreeSet::new();
    let shared_headers = !pieces
        .iter()
        .filter_map(|piece| piece.header.first())
        .all(|column| headers.insert((column.row, column.column)));
    let mut at = HashMap::new();
    for piece in pieces {
        let mut piece = piece;
        let kind = piece.kind.or_else(|| unclear::answered(grid, &piece, answers));
        if kind.is_none() && piece.transposed {
            match turned::tables(grid, piece) {
                Ok(turned) => {
                    tables.extend(turned);
                    continue;
                }
                Err(back) => piece = *back,
            }
        }
        match kind {
            Some(kind) => {
                let mut table = Table {
                    sheet: grid.sheet.clone(),
                    kind,
                    titles: piece.titles,
                    header: piece.header,
                    units: piece.units,
                    rows: piece.rows,
                    labels: piece.labels,
                    decimal_comma: grid.decimal_comma,
                    turned: false,
                    own_name: None,
                    names_over: over::Names::default(),
                    merged: grid.merged.clone(),
                };
                under::take(&mut table);
                let slid = uneven::settle(grid, &mut table, answers);
                join(&mut findings, &mut at, slid);
                findings.extend(colour::said(&grid.fills, &table));
                if table.names_over.over.is_empty() {
                    table.names_over = over::names(&table);
                }
                tables.push(table);
            }
            None => {
                let question = unclear::question(grid, piece, answers, &mut labels);
                join(&mut findings, &mut at, question);
            }
        }
    }
    name::own_names(&mut tables);
    if shared_headers {
        let headers: BTreeSet<(u32, u32)> =
            tables.iter().flat_map(|table| table.header.iter().map(|column| (column.row, column.column))).collect();
        let mut seen = BTreeSet::new();
        labels.retain(|cell| !headers.contains(&(cell.row, cell.column)) && seen.insert((cell.row, cell.column)));
    }
    (tables, findings, labels)
}

/// Adds a finding; one with the key of an earlier one only adds its cells.
pub(crate) fn join(findings: &mut Vec<Finding>, at: &mut HashMap<String, usize>, finding: Option<Finding>) {
    let Some(finding) = finding else { return };
    let known = at.get(&finding.key).and_then(|&at| findings.get_mut(at));
    match known {
        Some(earlier) => {
            earlier.cells.extend(finding.cells);
            earlier.held.extend(finding.held);
            // One answer serves both: only what can be said of either may be chosen.
            earlier.choices.retain(|choice| finding.choices.iter().any(|own| own.code == choice.code));
            earlier.proposed = earlier.proposed.take().filter(|_| finding.proposed.is_some());
        }
        None => {
            at.insert(finding.key.clone(), findings.len());
            findings.push(finding);
        }
    }
}
