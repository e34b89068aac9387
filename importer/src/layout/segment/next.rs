//! Rows below a table that lead to another one, and rows that run on under days: days over a table that runs across, lines of titles below a list of corals.

use std::collections::BTreeMap;

use analysis::vocabulary::{HeaderRole, find_parameter_by_word, header_roles};

use super::{Cutter, Open};
use crate::dialect::guess::Look;
use crate::grid::{Raw, Row};
use crate::layout::heading::Head;
use crate::layout::over::is_name;
use crate::layout::row::{days_across, is_coral, is_row_of_days, look_of, names_a_tank};
use crate::layout::{Column, Placed};

/// Its first cell stands left of the days that stand over its others: under a row of days a row of remarks or events names
/// no columns, whatever its words.
pub(super) fn begins_left_of(row: &Row, days: &[u32]) -> bool {
    let mut cells = row.cells.iter();
    days.len() >= 2
        && row.cells.len() >= 2
        && cells.next().is_some_and(|first| !days.contains(&first.column))
        && cells.all(|cell| days.contains(&cell.column))
}

/// A word for a day, a time or a person.
fn is_key(raw: &Raw) -> bool {
    matches!(raw, Raw::Text(text) if matches!(
        header_roles(text).first(),
        Some(HeaderRole::Date | HeaderRole::Time | HeaderRole::Person)
    ))
}

impl Cutter<'_> {
    /// The upper of two header rows: keys such as day and time over blanks of the lower one, and names over its columns.
    pub(super) fn heads_the_next(&mut self, at: usize) -> bool {
        let row = &self.rows[at];
        let Some(next) = self.rows.get(at + 1).filter(|next| next.number == row.number + 1) else { return false };
        let keys: Vec<u32> = row.cells.iter().filter(|cell| is_key(&cell.raw)).map(|cell| cell.column).collect();
        let names = row.cells.iter().filter(|cell| !keys.contains(&cell.column));
        let names_stand_over = names.clone().count() >= 2 && names.clone().all(|cell| is_name(&cell.raw));
        let over = names.clone().all(|cell| next.at(cell.column).is_some());
        let blank = keys.iter().all(|column| next.at(*column).is_none());
        !keys.is_empty() && names_stand_over && over && blank && next.cells.len() >= 4 && self.is_header(at + 1, true)
    }

    /// Day and time written a row above the header's other words head their columns.
    pub(super) fn take_keys_above(
        &mut self,
        number: u32,
        titles: &mut Vec<Placed>,
        header: &mut Vec<Column>,
        heads: &mut BTreeMap<u32, Head>,
    ) {
        let last = titles.iter().map(|title| title.row).max();
        if last.is_none_or(|last| last + 1 != number) {
            return;
        }
        let names = titles.iter().filter(|title| Some(title.row) == last && !is_key(&title.raw)).count();
        let (keys, rest): (Vec<Placed>, Vec<Placed>) = std::mem::take(titles).into_iter().partition(|title| {
            names >= 2 && Some(title.row) == last && is_key(&title.raw) && !heads.contains_key(&title.column)
        });
        *titles = rest;
        for key in keys {
            heads.insert(key.column, self.headings.of(&key.raw));
            header.push(Column { column: key.column, row: key.row, text: key.raw.written().trim().to_owned() });
        }
        header.sort_by_key(|column| column.column);
    }

    /// Outside a table: a row of days stands above without a gap, over rows that begin left of it, and so does this one.
    pub(super) fn runs_on(&self, at: usize) -> bool {
        let mut number = self.rows[at].number;
        for &above in self.pending.iter().rev() {
            let row = &self.rows[above];
            if row.number + 1 != number {
                return false;
            }
            number = row.number;
            if is_row_of_days(row) {
                let days = days_across(row.cells.iter().map(|cell| (cell.column, &cell.raw)));
                // Right below the days may stand the names of the samples, or a header.
                return number + 1 != self.rows[at].number && begins_left_of(&self.rows[at], &days);
            }
        }
        false
    }

    /// Days after a gap, and below them a test's name with a value under two of them and more: a table that runs across.
    pub(super) fn starts_across(&self, at: usize, open: &Open) -> bool {
        let row = &self.rows[at];
        if row.number <= open.last_row + 1 && open.notes.is_empty() || !is_row_of_days(row) {
            return false;
        }
        let Some(next) = self.rows.get(at + 1).filter(|next| next.number <= row.number + 2) else { return false };
        let days = |column: u32| row.at(column).is_some_and(|raw| look_of(raw) == Look::Date);
        let under = next.cells.iter().filter(|cell| look_of(&cell.raw) == Look::Number && days(cell.column)).count();
        let name = |raw: &Raw| matches!(raw, Raw::Text(text) if text.len() <= 40 && look_of(raw) == Look::Word && !find_parameter_by_word(text).is_empty());
        under >= 2 && next.cells.iter().take_while(|cell| !days(cell.column)).any(|cell| name(&cell.raw))
    }

    /// A header within so many lines right below; a line between says "tank: …", or stands alone and is no coral.
    pub(super) fn titles_lead_to_header(&mut self, at: usize, lines: usize) -> bool {
        let titles = |row: &Row| match &row.cells.first().map(|cell| &cell.raw) {
            Some(Raw::Text(text)) if row.cells.len() == 1 => !is_coral(text),
            Some(Raw::Text(text)) => row.cells.len() == 2 && (text.trim_end().ends_with(':') || names_a_tank(row)),
            _ => false,
        };
        for next in at + 1..(at + 1 + lines).min(self.rows.len()) {
            if self.rows[next].number != self.rows[next - 1].number + 1 {
                return false;
            }
            if self.is_header(next, true) {
                return true;
            }
            if !titles(&self.rows[at]) || !titles(&self.rows[next]) {
                return false;
            }
        }
        false
    }
}
