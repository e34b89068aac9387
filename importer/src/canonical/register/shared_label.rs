//! Labels that rows of one list share: one coral written twice, corals one after another, or a question. Corals with a
//! label and no name.

use std::collections::BTreeMap;

use crate::canonical::date_column::{self, DateColumn, DayOf};
use crate::canonical::diary::Draft;
use crate::canonical::register::Columns;
use crate::canonical::register::near_label::Known;
use crate::canonical::register::sizes::Taken;
use crate::canonical::{View, Work};
use crate::cell::fold;
use crate::doubt::desk::{Doubt, Settled, Spot};
use crate::layout::DataRow;

/// Labels that two rows share.
pub(super) enum Twice {
    /// Asked: the rows wait.
    Held,
    /// One coral: the second row adds nothing.
    One,
    /// Two corals: the second gets a label of its own.
    Two,
}

/// What is known of the labels of a table.
pub(super) struct Labels {
    /// Labels that rows share.
    pub twice: BTreeMap<String, Twice>,
    /// Corals of the keeper.
    pub known: Known,
    /// Corals with a label and no name.
    pub nameless: Vec<(String, Spot)>,
    /// Sizes told in the rows so far.
    pub sizes: Vec<(Taken, Draft)>,
}

/// Says once for a table that it has corals without a name.
pub(super) fn name_missing(work: &mut Work, view: &View, nameless: &[(String, Spot)]) {
    let Some((label, spot)) = nameless.first() else { return };
    work.desk.raise(
        Doubt::of("name_missing")
            .about(view.table_about())
            .at(*spot, label)
            .fill("label", label)
            .fill("count", nameless.len().to_string())
            .cells(nameless.iter().map(|(_, spot)| (*spot, "label"))),
    );
}

/// Whether rows of one label are corals one after another: each had ended, by its days, when the next came.
fn in_turn(rows: &[&DataRow], acquired: &DateColumn, ended: &DateColumn) -> bool {
    let mut spans: Vec<(chrono::NaiveDate, Option<chrono::NaiveDate>)> = Vec::new();
    for row in rows {
        let DayOf::Known(date_column::Known { earliest: Some(got), .. }) = acquired.of(row.row) else { return false };
        let gone = match ended.of(row.row) {
            DayOf::Known(known) => Some(known.latest),
            DayOf::Absent => None,
            _ => return false,
        };
        spans.push((got, gone));
    }
    spans.sort_unstable();
    spans.windows(2).all(|pair| pair[0].1.is_some_and(|gone| gone <= pair[1].0))
}

/// Finds labels that rows share; a label may be used again once its coral has ended.
pub(super) fn doubles(
    work: &mut Work,
    view: &View,
    columns: &Columns,
    acquired: &DateColumn,
    ended: &DateColumn,
) -> BTreeMap<String, Twice> {
    let mut out = BTreeMap::new();
    let Some(column) = columns.label else { return out };
    let mut rows: BTreeMap<String, Vec<&DataRow>> = BTreeMap::new();
    for row in &view.table.rows {
        if let Some(label) = view.text(row, column) {
            rows.entry(fold::name(&label)).or_default().push(row);
        }
    }
    for (label, rows) in rows.into_iter().filter(|(_, rows)| rows.len() > 1) {
        let same = |a: &DataRow, b: &DataRow| {
            a.cells.iter().map(|cell| (cell.column, &cell.raw)).eq(b.cells.iter().map(|cell| (cell.column, &cell.raw)))
        };
        if rows.windows(2).all(|pair| same(pair[0], pair[1])) {
            for row in &rows[1..] {
                let spot = view.spot(row.row, column);
                work.desk.raise(
                    Doubt::of("row_repeated")
                        .about(format!("coral {label}"))
                        .at(spot, &label)
                        .fill("row", row.row.to_string())
                        .cell(spot, "label"),
                );
            }
            out.insert(label, Twice::One);
            continue;
        }
        if in_turn(&rows, acquired, ended) {
            out.insert(label, Twice::Two);
            continue;
        }
        let twice = match work.desk.ask("label_twice", &label) {
            Settled::Choice("one", _) => Twice::One,
            Settled::Choice(..) => Twice::Two,
            // Left out: only the first row of the label counts.
            Settled::LeaveOut => Twice::One,
            Settled::Open | Settled::DontKnow => {
                let spot = view.spot(rows[0].row, column);
                let mut doubt = Doubt::of("label_twice")
                    .about(&label)
                    .at(spot, view.text(rows[0], column).unwrap_or_default())
                    .fill("label", &label)
                    .fill("written", &label);
                for row in &rows {
                    doubt = doubt.cells(row.cells.iter().map(|cell| {
                        (view.spot(row.row, cell.column), if cell.column == column { "label" } else { "row" })
                    }));
                }
                work.desk.raise(doubt.propose_nothing());
                Twice::Held
            }
        };
        out.insert(label, twice);
    }
    out
}
