//! Rows of words that are no data of a table: notes, titles, remarks that go on.

use analysis::vocabulary::{HeaderRole, is_no_reading};

use super::{Open, placed};
use crate::dialect::guess::{Look, is_month_title};
use crate::grid::{Raw, Row};
use crate::layout::Kind;
use crate::layout::coral_row::{heads_losses, is_told_of_tank, says_of_corals};
use crate::layout::row::{is_group_title, is_page_title, is_prose, look_of, starts_with_mark};

/// "Stand: | 2025-05-31", "as of 2025-05-31": the day of a list in a row of its own, and no coral.
pub(super) fn states_a_day(row: &Row) -> bool {
    match &row.cells[..] {
        [cell] => matches!(&cell.raw, Raw::Text(text) if crate::canonical::as_of::is_stated(text)),
        [cell, day] => {
            matches!(&cell.raw, Raw::Text(text) if crate::canonical::as_of::leads_to_a_day(text))
                && look_of(&day.raw) == Look::Date
        }
        _ => false,
    }
}

impl Open {
    pub(super) fn label_notes(&mut self, rows: &mut [Row]) {
        for at in std::mem::take(&mut self.notes) {
            self.piece.labels.extend(placed(&mut rows[at]));
        }
    }

    /// What was done to the tank, befell it, or was lost from it, under a header of its own right of the keys: said on the
    /// day above, or on the row's own.
    fn tells_of_tank(&self, row: &Row) -> bool {
        let first = self.piece.header.first().map(|column| column.column);
        row.cells.iter().any(|cell| {
            let head = self.piece.header.iter().find(|column| column.column == cell.column);
            let (Raw::Text(text), Some(head)) = (&cell.raw, head) else { return false };
            let key = Some(cell.column) == first || self.dates.contains(&cell.column);
            !key && (is_told_of_tank(text) || heads_losses(&head.text) && !is_no_reading(text))
        })
    }

    /// A row of words that is no data of this table: a note, a title, a remark that goes on.
    pub(super) fn is_note(&self, row: &Row, looks: &[Look]) -> bool {
        if matches!(self.kind, Some(Kind::LogSheet(_))) {
            return false;
        }
        let has = |column: u32, role: HeaderRole| self.heads.get(&column).is_some_and(|head| head.has(role));
        if looks.iter().any(|look| look.is_value()) {
            // "Page 2", "March 2024", "kept since 2012": one cell that says no test.
            let [cell] = &row.cells[..] else { return false };
            return match &cell.raw {
                Raw::Text(text) => is_month_title(text) || is_page_title(text) || starts_with_mark(row),
                _ => false,
            };
        }
        if starts_with_mark(row) && (row.cells.len() == 1 || !self.is_register_like()) {
            return true;
        }
        if !self.is_register_like() && says_of_corals(row, &self.heads) {
            return false;
        }
        match self.kind {
            Some(Kind::Register) => {
                let [cell] = &row.cells[..] else { return false };
                let names = [HeaderRole::Label, HeaderRole::Name, HeaderRole::TradeName, HeaderRole::Genus];
                !names.iter().any(|&role| has(cell.column, role)) || is_prose(&cell.raw) || is_group_title(&cell.raw)
            }
            Some(Kind::Long | Kind::Diary) => {
                let says = row.cells.iter().any(|cell| {
                    has(cell.column, HeaderRole::Value)
                        || has(cell.column, HeaderRole::Condition)
                        || has(cell.column, HeaderRole::Fate)
                });
                !says
                    && (row.cells.len() < 2
                        || row
                            .cells
                            .iter()
                            .all(|cell| has(cell.column, HeaderRole::Remark) || self.dates.contains(&cell.column)))
            }
            _ => {
                // A word under a parameter is a cell to be refused by name, and what was done or lost is data; other words
                // are notes.
                !row.cells.iter().any(|cell| {
                    !self.dates.contains(&cell.column)
                        && self.heads.get(&cell.column).is_some_and(|head| head.parameter && !is_prose(&cell.raw))
                }) && !self.tells_of_tank(row)
            }
        }
    }
}
