//! Cells coloured by hand: what a colour means stands in its writer's head. It is said, never guessed.

use std::collections::BTreeMap;

use super::Table;
use crate::container::verdict;
use crate::finding::Finding;
use crate::grid::Fill;

/// Rows from which a table has a usual look.
const ROWS: usize = 3;
/// Stripes repeat at least this often within a table.
const LONGEST_STRIPE: usize = 4;

/// Says that some cells of a table's rows stand out by their colour.
///
/// The colour that most cells of a column have is its usual one; stripes that run through the rows in a regular turn
/// are for the eye and say nothing.
pub fn said(fills: &[Fill], table: &Table) -> Option<Finding> {
    if fills.is_empty() || table.rows.len() < ROWS {
        return None;
    }
    let colour = |row: u32, column: u32| {
        fills.binary_search_by_key(&(row, column), |fill| (fill.row, fill.column)).map_or(0, |at| fills[at].colour)
    };
    let rows: Vec<BTreeMap<u32, u16>> = table
        .rows
        .iter()
        .map(|row| {
            let colour_of = |cell: &super::Placed| {
                let (row, column) = table.place(cell.row, cell.column);
                colour(row, column)
            };
            row.cells.iter().map(|cell| (cell.column, colour_of(cell))).collect()
        })
        .collect();
    let mut counts: BTreeMap<u32, BTreeMap<u16, usize>> = BTreeMap::new();
    for (column, colour) in rows.iter().flatten() {
        *counts.entry(*column).or_default().entry(*colour).or_default() += 1;
    }
    let usual: BTreeMap<u32, u16> = counts
        .into_iter()
        .filter_map(|(column, colours)| {
            let (colour, _) = colours.into_iter().max_by_key(|(colour, count)| (*count, std::cmp::Reverse(*colour)))?;
            Some((column, colour))
        })
        .collect();
    let odd: Vec<(u32, u32)> = table
        .rows
        .iter()
        .zip(&rows)
        .flat_map(|(row, colours)| row.cells.iter().zip(colours))
        .filter(|(_, (column, colour))| usual.get(*column) != Some(*colour))
        .map(|(cell, _)| table.place(cell.row, cell.column))
        .collect();
    let (row, column) = *odd.first()?;
    if striped(&rows) {
        return None;
    }
    let place = format!("{} {row} {column}", table.sheet.as_deref().unwrap_or_default());
    let mut note = verdict::finding("colour_only", place.trim(), &[("count", &odd.len().to_string())]);
    note.sheet.clone_from(&table.sheet);
    note.row = Some(row);
    note.column = Some(column);
    Some(note)
}

/// Whether the colours of whole rows come in a regular turn.
fn striped(rows: &[BTreeMap<u32, u16>]) -> bool {
    let whole: Option<Vec<u16>> = rows
        .iter()
        .map(|row| {
            let mut colours = row.values();
            let first = *colours.next()?;
            colours.all(|colour| *colour == first).then_some(first)
        })
        .collect();
    let Some(whole) = whole else { return false };
    (2..=LONGEST_STRIPE)
        .any(|stripe| whole.len() > stripe && whole.iter().zip(&whole[stripe..]).all(|(one, other)| one == other))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::grid::Raw;
    use crate::layout::{DataRow, Kind, Placed};

    fn table(rows: u32) -> Table {
        let row = |row: u32| DataRow {
            row,
            line: None,
            cells: (1..=3).map(|column| Placed { row, column, raw: Raw::Number(1.0) }).collect(),
        };
        Table {
            sheet: Some("S".to_owned()),
            kind: Kind::Wide,
            titles: Vec::new(),
            header: Vec::new(),
            units: Vec::new(),
            rows: (2..2 + rows).map(row).collect(),
            labels: Vec::new(),
            decimal_comma: false,
            turned: false,
            own_name: None,
            names_over: crate::layout::over::Names::default(),
            merged: Vec::new(),
        }
    }

    fn fills(of: impl Fn(u32, u32) -> u16) -> Vec<Fill> {
        let places = (2..12).flat_map(|row| (1..=3).map(move |column| (row, column)));
        places
            .map(|(row, column)| Fill { row, column, colour: of(row, column) })
            .filter(|fill| fill.colour > 0)
            .collect()
    }

    #[test]
    fn cells_that_stand_out_are_said_and_stripes_are_not() {
        let table = table(10);
        assert_eq!(said(&[], &table), None);
        assert_eq!(said(&fills(|_, _| 1), &table), None, "painted all over");
        assert_eq!(said(&fills(|_, column| u16::from(column == 1)), &table), None, "a column has its own colour");
        assert_eq!(said(&fills(|row, _| (row % 2) as u16), &table), None, "stripes");
        assert_eq!(said(&fills(|row, _| u16::from(row % 3 == 0)), &table), None, "stripes of three");
        let odd = said(&fills(|row, column| u16::from(column == 2 && row > 9)), &table).unwrap();
        assert_eq!((odd.code.as_str(), odd.row, odd.column), ("colour_only", Some(10), Some(2)));
        assert!(odd.message.starts_with("2 cells"), "{}", odd.message);
        assert!(said(&fills(|row, _| u16::from(row == 5)), &table).is_some(), "one row");
    }
}
