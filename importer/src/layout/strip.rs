//! Tables side by side: a grid is parted at empty columns where a second table of its own starts to the right.

use std::collections::{BTreeMap, BTreeSet};

use analysis::vocabulary::HeaderRole;

use super::heading::{Head, Headings};
use super::kind;
use super::row::look_of;
use crate::grid::{Grid, Row};

/// Rows in which the headers of tables side by side are looked for.
const HEADER_ROWS: usize = 60;
/// Empty columns beyond which a grid is no set of tables side by side.
const MOST_GAPS: usize = 30;

/// First and last column of each strip; one strip for a grid of tables one below the other only.
pub fn strips(grid: &Grid, headings: &mut Headings) -> Vec<(u32, u32)> {
    let mut used: BTreeSet<u32> = BTreeSet::new();
    for cell in grid.rows.iter().flat_map(|row| &row.cells) {
        used.insert(cell.column);
    }
    let (Some(&first), Some(&end)) = (used.first(), used.last()) else { return Vec::new() };
    let gaps = used.iter().zip(used.iter().skip(1)).filter(|(left, right)| **right > **left + 1).count();
    if gaps == 0 || gaps > MOST_GAPS {
        return vec![(first, end)];
    }
    let mut strips = vec![(first, first)];
    for &column in &used {
        let gap = strips.last().is_some_and(|(_, last)| column > last + 1);
        if let Some((start, last)) = strips.last_mut() {
            if gap && stands_alone(grid, column, u32::MAX, headings) && stands_alone(grid, *start, *last, headings) {
                strips.push((column, column));
            } else {
                *last = column;
            }
        }
    }
    strips
}

/// The cells of all rows between two columns, taken out of them.
pub fn cut(rows: &mut [Row], (first, last): (u32, u32)) -> Vec<Row> {
    let cut = rows.iter_mut().filter_map(|row| {
        let cells: Vec<_> = row.cells.extract_if(.., |cell| (first..=last).contains(&cell.column)).collect();
        (!cells.is_empty()).then_some(Row { number: row.number, line: row.line, cells })
    });
    cut.collect()
}

/// Whether the columns from `first` on have a header that makes a table without the columns before: a day and what
/// was seen on it, or a coral and what became of it.
fn stands_alone(grid: &Grid, first: u32, last: u32, headings: &mut Headings) -> bool {
    grid.rows.iter().take(HEADER_ROWS).any(|row| {
        let mut heads: BTreeMap<u32, Head> = BTreeMap::new();
        for cell in row.cells.iter().filter(|cell| (first..=last).contains(&cell.column)) {
            if look_of(&cell.raw).is_value() {
                return false;
            }
            heads.insert(cell.column, headings.of(&cell.raw));
        }
        let key = |head: &Head| {
            !head.parameter
                && matches!(head.roles.first(), Some(HeaderRole::Date | HeaderRole::Label | HeaderRole::Name))
        };
        heads.len() >= 2
            && heads.values().filter(|head| head.is_known()).count() >= 2
            && heads.values().next().is_some_and(key)
            && kind::by_heads(&heads).is_some()
    })
}
