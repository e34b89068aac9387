//! Tables that run across: parameters down and days (or samples) to the right; corals down and days to the right.
//! They are turned, so that each day is a row like any other; every cell keeps its own place.
//!
//! A turned table counts its rows along the columns of the sheet and its columns along the rows: [`Table::place`] turns
//! a place back.

use std::collections::{BTreeMap, BTreeSet};

use analysis::vocabulary::{HeaderRole, RowWord, find_condition, find_row_word, header_roles};

use self::keys::Keys;
use super::over::{Names, Over};
use super::row::{days_across, is_month, is_prose, is_year, look_of};
use super::segment::Piece;
use super::{Column, DataRow, Kind, Placed, Table};
use crate::cell::date::{Order, date};
use crate::dialect::guess::Look;
use crate::doubt::order::{Entry, Verdict, decide};
use crate::grid::{Grid, Raw};

mod keys; // the columns left of the days

/// One row of a piece, whatever it was taken for.
#[derive(Debug)]
struct Line {
    row: u32,
    cells: Vec<Placed>,
}

impl Line {
    fn at(&self, column: u32) -> Option<&Placed> {
        self.cells.iter().find(|cell| cell.column == column)
    }

    /// Columns right of the first over which it has days.
    fn dates(&self, first: u32) -> Vec<u32> {
        days_across(self.cells.iter().filter(|cell| cell.column > first).map(|cell| (cell.column, &cell.raw)))
    }
}

fn text(cell: Option<&Placed>) -> String {
    cell.map(|cell| cell.raw.written().trim().to_owned()).unwrap_or_default()
}

/// All cells of a piece as rows, top to bottom.
fn lines(piece: Piece) -> Vec<Line> {
    let mut rows: BTreeMap<u32, Vec<Placed>> = BTreeMap::new();
    let header = piece.header.into_iter().map(|column| Placed {
        row: column.row,
        column: column.column,
        raw: Raw::Text(column.text),
    });
    let rest = piece.titles.into_iter().chain(piece.units).chain(piece.labels);
    for cell in rest.chain(piece.rows.into_iter().flat_map(|row| row.cells)).chain(header) {
        rows.entry(cell.row).or_default().push(cell);
    }
    rows.into_iter()
        .map(|(row, mut cells)| {
            cells.sort_by_key(|cell| cell.column);
            Line { row, cells }
        })
        .collect()
}

/// Rows from one header of days (or samples) to the next.
#[derive(Debug, Default)]
struct Band {
    titles: Vec<Placed>,
    /// Rows that say when and where each column was taken.
    keys: Vec<(Line, &'static str)>,
    body: Vec<Line>,
    /// Single cells on lines of their own, with rows of the body below.
    between: Vec<Line>,
}

/// The tables of a piece whose days run across; the piece back if none can be made out.
pub fn tables(grid: &Grid, piece: Piece) -> Result<Vec<Table>, Box<Piece>> {
    let kept = Piece {
        kind: piece.kind,
        likely: piece.likely,
        transposed: piece.transposed,
        titles: piece.titles.clone(),
        header: piece.header.clone(),
        units: piece.units.clone(),
        rows: piece.rows.clone(),
        labels: piece.labels.clone(),
    };
    let body: BTreeSet<u32> = piece.rows.iter().map(|row| row.row).collect();
    let lines = lines(piece);
    let Some(first) = lines
        .iter()
        .filter(|line| line.cells.len() > 1)
        .filter_map(|line| line.cells.first())
        .map(|cell| cell.column)
        .min()
    else {
        return Err(Box::new(kept));
    };
    let mut bands: Vec<Band> = Vec::new();
    let mut open: Option<Band> = None;
    let mut pending: Vec<Line> = Vec::new();
    for line in lines {
        let words = line.cells.iter().all(|cell| !look_of(&cell.raw).is_value());
        if line.dates(first).len() >= 2 {
            // A new header of days; what stood alone above it are its titles.
            bands.extend(open.take());
            let mut band = Band::default();
            for above in pending.drain(..) {
                match samples(&above, &line, first) {
                    true => band.keys.push((above, "Tank")),
                    false => band.titles.extend(above.cells),
                }
            }
            band.keys.push((line, "Date"));
            open = Some(band);
            continue;
        }
        match &mut open {
            Some(band)
                if words && line.cells.len() > 1 && band.body.is_empty() && samples(&line, &band.keys[0].0, first) =>
            {
                band.keys.push((line, "Tank"));
            }
            Some(band) if line.cells.len() > 1 || lone_value(&line, &band.keys[0].0, first) => {
                band.between.append(&mut pending);
                band.body.push(line);
            }
            _ => pending.push(line),
        }
    }
    bands.extend(open);
    // What stands alone below the last band is a note of it.
    if let Some(band) = bands.last_mut() {
        band.titles.extend(pending.into_iter().flat_map(|line| line.cells));
    }
    let mut made = Vec::new();
    for band in bands {
        match band_to_table(grid, band, first, &body) {
            Some(table) => made.push(table),
            None => return Err(Box::new(kept)),
        }
    }
    if made.is_empty() { Err(Box::new(kept)) } else { Ok(made) }
}

/// A number alone in its row, under a day: a value whose name is missing.
fn lone_value(line: &Line, days: &Line, first: u32) -> bool {
    let days = days.dates(first);
    let under = |cell: &Placed| days.contains(&cell.column);
    line.cells.iter().any(|cell| cell.column > first && look_of(&cell.raw) == Look::Number && under(cell))
}

/// Names over the same columns as the days: samples or tanks side by side.
fn samples(line: &Line, days: &Line, first: u32) -> bool {
    let dated = days.dates(first);
    let named = dated.iter().filter(|column| line.at(**column).is_some_and(|cell| may_name(&cell.raw))).count();
    named >= 2 && named == dated.len()
}

/// A name rather than a look.
fn may_name(raw: &Raw) -> bool {
    matches!(raw, Raw::Text(text) if find_condition(text).is_none())
        && look_of(raw) == Look::Word
        && !is_prose(raw)
        && !is_month(raw)
}

fn band_to_table(grid: &Grid, band: Band, first: u32, body: &BTreeSet<u32>) -> Option<Table> {
    let days = &band.keys.iter().find(|(_, role)| *role == "Date")?.0;
    let dated = days.dates(first);
    let looks = roster(&band, &dated, first);
    if looks {
        let label = keys::labels(&band, &dated, first);
        return roster_table(grid, band, &dated, label);
    }
    if band.body.is_empty() || band.body.iter().all(|line| !body.contains(&line.row)) {
        return None;
    }
    let turn = |cell: &Placed| Placed { row: cell.column, column: cell.row, raw: cell.raw.clone() };
    let left = Keys::of(&grid.merged, &band, &dated, first);
    let mut table = Table {
        sheet: grid.sheet.clone(),
        kind: Kind::Wide,
        titles: band.titles.iter().map(turn).collect(),
        header: Vec::new(),
        units: Vec::new(),
        rows: Vec::new(),
        labels: Vec::new(),
        decimal_comma: grid.decimal_comma,
        turned: true,
        own_name: None,
        names_over: crate::layout::over::Names::default(),
        merged: Vec::new(),
    };
    let mut columns: BTreeMap<u32, Vec<Placed>> = BTreeMap::new();
    for (line, role) in &band.keys {
        for cell in &line.cells {
            if cell.column == left.name {
                corner(&mut table, line, cell, role, left.tanks.is_empty());
            } else if dated.contains(&cell.column) {
                columns.entry(cell.column).or_default().push(turn(cell));
            } else {
                table.labels.push(turn(cell));
            }
        }
        // A header of days without a word of its own is known by its cells.
        if line.at(left.name).is_none() && *role == "Tank" {
            table.header.push(Column { column: line.row, row: left.name, text: (*role).to_owned() });
        }
    }
    // A name in the corner is the table's own.
    table.own_name = table.titles.iter().position(|title| {
        !is_year(&title.raw) && band.keys.iter().any(|(line, _)| title.column == line.row && title.row == left.name)
    });
    let mut over = Vec::new();
    for (cell, first, last) in &left.tanks {
        over.push(Over { title: table.titles.len(), first: *first, last: *last });
        table.titles.push(turn(cell));
    }
    let said: BTreeSet<(u32, u32)> = left.tanks.iter().map(|(tank, ..)| (tank.row, tank.column)).collect();
    let speaks = |cell: &Placed| said.contains(&(cell.row, cell.column));
    table.titles.extend(band.between.iter().flat_map(|line| &line.cells).filter(|cell| !speaks(cell)).map(turn));
    table.names_over = Names { alike: !over.is_empty(), over };
    for line in &band.body {
        if let Some(cell) = left.names.get(&line.row) {
            table.header.push(Column { column: line.row, row: left.name, text: text(Some(cell)) });
        }
        for cell in line.cells.iter().filter(|cell| cell.column != left.name && !speaks(cell)) {
            let over = band.keys.iter().find_map(|(key, _)| key.at(cell.column));
            if Some(cell.column) == left.units {
                table.units.push(turn(cell));
            } else if dated.contains(&cell.column)
                || look_of(&cell.raw).is_value() && !is_summary(over) && !numbers_rows(over)
            {
                columns.entry(cell.column).or_default().push(turn(cell));
            } else {
                table.labels.push(turn(cell));
            }
        }
    }
    table.header.sort_by_key(|column| column.column);
    table.rows = columns
        .into_iter()
        .map(|(row, mut cells)| {
            cells.sort_by_key(|cell| cell.column);
            DataRow { row, line: None, cells }
        })
        .collect();
    Some(table)
}

/// The first cell of a header that runs across: a word for days or parameters, or a name for the whole table.
fn corner(table: &mut Table, line: &Line, cell: &Placed, role: &str, may_be_tank: bool) {
    let word = cell.raw.written();
    let known = !header_roles(&word).is_empty() || look_of(&cell.raw) != Look::Word;
    // The year of the months beside it.
    if is_year(&cell.raw) && line.cells.iter().any(|cell| is_month(&cell.raw)) {
        table.titles.push(Placed { row: cell.column, column: cell.row, raw: cell.raw.clone() });
    }
    if known || role == "Tank" || sampled(&word) {
        table.header.push(Column { column: line.row, row: cell.column, text: role.to_owned() });
    } else if !may_be_tank {
        table.labels.push(Placed { row: cell.column, column: cell.row, raw: cell.raw.clone() });
    } else {
        table.titles.push(Placed { row: cell.column, column: cell.row, raw: cell.raw.clone() });
    }
}

/// "Probenahme", "sampled": a word for the day of a sample.
fn sampled(word: &str) -> bool {
    crate::canonical::report_day::is_sampling(word)
}

/// "No.": numbers of rows, not of the water.
fn numbers_rows(over: Option<&Placed>) -> bool {
    over.is_some_and(|cell| header_roles(&cell.raw.written()).first() == Some(&HeaderRole::Label))
}

fn is_summary(over: Option<&Placed>) -> bool {
    matches!(over.map(|cell| find_row_word(&cell.raw.written())), Some(Some(RowWord::Summary | RowWord::Target)))
}

/// Corals down and looks across: nearly every word under the days says how a coral looked.
fn roster(band: &Band, dated: &[u32], first: u32) -> bool {
    let cells: Vec<&Placed> = band
        .body
        .iter()
        .flat_map(|line| line.cells.iter().filter(|cell| cell.column != first && dated.contains(&cell.column)))
        .collect();
    let looks = cells
        .iter()
        .filter(|cell| matches!(&cell.raw, Raw::Text(text) if text.parse::<f64>().is_err() && find_condition(text).is_some()))
        .count();
    looks >= 2 && looks * 10 >= cells.len() * 7
}

/// A roster as the tab of looks of the ready-made sheet, whose days stand in its header.
fn roster_table(grid: &Grid, band: Band, dated: &[u32], first: u32) -> Option<Table> {
    let days = &band.keys.iter().find(|(_, role)| *role == "Date")?.0;
    let entries: Vec<Entry> = dated
        .iter()
        .filter_map(|column| days.at(*column))
        .flat_map(|cell| match &cell.raw {
            Raw::Date(at) => vec![Entry::Certain(at.date())],
            other => date(&other.written()).said.numerics().into_iter().map(Entry::Numeric).collect(),
        })
        .collect();
    let order = match decide(&entries, None) {
        Verdict::Decided(order) => order,
        Verdict::NotNeeded => Order::DayFirst,
        Verdict::Mixed(_) | Verdict::Unclear(_) => return None,
    };
    let mut header = vec![Column { column: first, row: days.row, text: "[look_label]".to_owned() }];
    for column in dated {
        let cell = days.at(*column)?;
        let day = match &cell.raw {
            Raw::Date(at) => at.date(),
            other => {
                let (from, to) = date(&other.written()).said.days(order)?;
                from.filter(|from| *from == to)?
            }
        };
        header.push(Column { column: *column, row: days.row, text: day.to_string() });
    }
    let mut labels: Vec<Placed> = band.between.into_iter().flat_map(|line| line.cells).collect();
    for (line, _) in &band.keys {
        labels.extend(
            line.cells
                .iter()
                .filter(|cell| line.row != days.row || cell.column != first && !dated.contains(&cell.column))
                .cloned(),
        );
    }
    let mut rows = Vec::new();
    for line in band.body {
        let (seen, rest) =
            line.cells.into_iter().partition(|cell| cell.column == first || dated.contains(&cell.column));
        labels.extend::<Vec<Placed>>(rest);
        rows.push(DataRow { row: line.row, line: None, cells: seen });
    }
    Some(Table {
        sheet: grid.sheet.clone(),
        kind: Kind::LogSheet("looks"),
        titles: band.titles,
        header,
        units: Vec::new(),
        rows,
        labels,
        decimal_comma: grid.decimal_comma,
        turned: false,
        own_name: None,
        names_over: crate::layout::over::Names::default(),
        merged: Vec::new(),
    })
}
