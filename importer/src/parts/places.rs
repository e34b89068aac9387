//! Row numbers of a part and of the whole text: what stands far apart in the text follows one another in a part.

use std::ops::Range;

use crate::finding::Finding;
use crate::layout::Table;

/// Row numbers of a part and of the whole text.
#[derive(Default)]
pub(super) struct Places {
    /// First number in the part, first number in the text.
    runs: Vec<(u32, u32)>,
    next: u32,
}

impl Places {
    /// Adds a run of rows, counted from 0; its first number in the part.
    pub fn add(&mut self, run: &Range<u32>) -> u32 {
        let first = self.next + 1;
        self.runs.push((first, run.start + 1));
        self.next += run.len() as u32;
        first
    }

    /// The number in the text.
    pub fn of(&self, number: u32) -> u32 {
        let at = self.runs.partition_point(|(first, _)| *first <= number).saturating_sub(1);
        self.runs.get(at).map_or(number, |(first, own)| own + (number - first))
    }

    pub fn put_back(&self, table: &mut Table) {
        let placed = table.titles.iter_mut().chain(&mut table.units).chain(&mut table.labels);
        placed.for_each(|cell| cell.row = self.of(cell.row));
        table.header.iter_mut().for_each(|column| column.row = self.of(column.row));
        for row in &mut table.rows {
            row.row = self.of(row.row);
            row.cells.iter_mut().for_each(|cell| cell.row = row.row);
        }
    }

    pub fn put_back_finding(&self, finding: &mut Finding) {
        if let Some(row) = finding.row {
            let own = self.of(row);
            // The question names its row.
            for text in [&mut finding.message, &mut finding.remedy] {
                *text = text.replace(&format!("row {row} "), &format!("row {own} "));
            }
            finding.row = Some(own);
        }
        finding.cells.iter_mut().for_each(|cell| cell.row = self.of(cell.row));
        for held in &mut finding.held {
            let rows = held.rows.iter().flat_map(|[first, last]| *first..=*last).map(|row| self.of(row));
            let mut runs: Vec<[u32; 2]> = Vec::new();
            for row in rows {
                match runs.last_mut() {
                    Some(run) if run[1] + 1 == row => run[1] = row,
                    _ => runs.push([row, row]),
                }
            }
            held.rows = runs;
        }
    }
}
