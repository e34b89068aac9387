//! A row right below the data of a table, with a value where the table has its values, belongs to it whatever comes next.

use analysis::vocabulary::HeaderRole;

use super::Open;
use crate::dialect::guess::Look;
use crate::grid::{Raw, Row};
use crate::layout::row::{look_of, names_a_tank, starts_with_mark};

/// Words over values, besides names of parameters.
const VALUES: [HeaderRole; 4] = [HeaderRole::Value, HeaderRole::Size, HeaderRole::Dimension, HeaderRole::Measure];

impl Open {
    /// A value stands where this table has its values, in the row right below its last one or its header: a test,
    /// though another header may follow. "Tank: | 3" and "Volume: | 300" lead to that header.
    pub(super) fn holds_a_test(&self, row: &Row) -> bool {
        let last = self.piece.rows.last();
        let leads = |raw: &Raw| matches!(raw, Raw::Text(text) if text.trim_end().ends_with(':'));
        if row.number != self.last_row + 1
            || !self.notes.is_empty()
            || starts_with_mark(row)
            || names_a_tank(row)
            || row.cells.iter().any(|cell| leads(&cell.raw))
        {
            return false;
        }
        row.cells.iter().any(|cell| {
            look_of(&cell.raw) == Look::Number
                && match self.heads.get(&cell.column).filter(|head| head.is_known()) {
                    Some(head) => head.parameter || VALUES.iter().any(|role| head.has(*role)),
                    None => last.is_some_and(|last| {
                        let mut above = last.cells.iter().filter(|above| above.column == cell.column);
                        above.any(|above| look_of(&above.raw) == Look::Number)
                    }),
                }
        })
    }
}
