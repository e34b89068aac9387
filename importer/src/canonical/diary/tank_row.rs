//! Rows of a diary that name no coral: what was done to the tank, what happened to it, and what waits for a coral's name.

use analysis::vocabulary::{
    FateMatch, HeaderRole, LookState, find_condition, find_done, find_fate, header_roles, is_no_reading,
};

use super::{Columns, Told, over_remarks};
use crate::canonical::test::Group;
use crate::canonical::wide::{Frame, When, incident};
use crate::canonical::{View, Work, event, remark};
use crate::doubt::desk::{Doubt, Settled};
use crate::layout::{DataRow, Kind};

/// Rows without a coral, as far as they are read.
#[derive(Default)]
pub(super) struct TankRows {
    /// Day and tank of rows; made when the first row needs them.
    frame: Option<Frame>,
    /// Tests told in words.
    pub groups: Vec<Group>,
}

/// Whether words say what was done to a tank.
pub(super) fn speaks(text: &str) -> bool {
    find_done(text).is_some()
}

impl TankRows {
    /// Reads a row that names no coral.
    pub fn read(&mut self, work: &mut Work, view: &View, columns: &Columns, row: &DataRow, told: &mut Told) {
        for column in columns.sizes().filter(|column| view.raw(row, *column).is_some()) {
            let written = view.text(row, column).unwrap_or_default();
            nameless(work, view, row, column, &written);
        }
        // A table of tests has read its words already.
        let among_tests = view.table.kind == Kind::Wide;
        let words = columns.condition.into_iter().chain(columns.what).chain(columns.remarks.iter().copied());
        for column in words {
            let Some(text) = view.text(row, column).filter(|text| !is_no_reading(text)) else { continue };
            let looks = Some(column) == columns.condition;
            if speaks(&text) {
                let when = self.when(work, view, row);
                event::done(work, view, row, column, &text, &when);
            } else if remark::speaks(work, &view.header(column), &text, view.table.decimal_comma) {
                if !among_tests {
                    let when = self.when(work, view, row);
                    self.groups.extend(remark::read(work, view, row, column, &when));
                }
            } else if incident(work, view.spot(row.row, column), &text) {
                // Pointed out.
            } else if is_of_a_coral(&text) && (looks || Some(column) == columns.what) {
                nameless(work, view, row, column, &text);
            } else if find_condition(&text).is_some() {
                // "All well", of nobody by name.
                work.labels.insert(view.spot(row.row, column));
            } else if looks && !over_remarks(view, column) && !over_happenings(view, column) {
                told.unread.insert(view.spot(row.row, column));
            }
        }
    }

    fn when(&mut self, work: &mut Work, view: &View, row: &DataRow) -> When {
        let frame = self.frame.get_or_insert_with(|| {
            let at = |role| view.column(role);
            Frame::of(work, view, at(HeaderRole::Date), at(HeaderRole::Time), at(HeaderRole::Tank))
        });
        frame.of_row(work, view, row)
    }
}

/// A header that stands over what happened, in whatever words.
fn over_happenings(view: &View, column: u32) -> bool {
    header_roles(&view.header(column)).contains(&HeaderRole::What)
}

/// Words that are said of a coral and of nothing else.
fn is_of_a_coral(text: &str) -> bool {
    find_condition(text).is_some_and(|look| look.state != LookState::Alive)
        || matches!(find_fate(text), FateMatch::Fate { .. } | FateMatch::RescueCut { .. } | FateMatch::Several { .. })
}

/// What is said of a coral that the row does not name waits.
fn nameless(work: &mut Work, view: &View, row: &DataRow, column: u32, written: &str) {
    let spot = view.spot(row.row, column);
    let about = format!("row {}", row.row);
    if work.desk.ask("coral_unknown", &about) == Settled::LeaveOut || is_no_reading(written) {
        work.labels.insert(spot);
        return;
    }
    let doubt = Doubt::of("coral_unknown")
        .about(about)
        .at(spot, written)
        .fill("written", "")
        .fill("label", "")
        .fill("name", "")
        .cell(spot, "value");
    work.desk.raise(doubt.propose_nothing());
}
