//! Months in a column that must hold days: asked once for the column, since they are all meant alike.

use chrono::{Datelike, NaiveDate};

use super::{DayOf, Item, Known};
use crate::canonical::Work;
use crate::cell::date::Said;
use crate::doubt::desk::{Doubt, Settled};

/// Months from which on they are the column's way of writing, and no slip of one cell.
const SEVERAL: usize = 2;

fn month(said: &Said) -> Option<(NaiveDate, NaiveDate)> {
    let Said::Span(first, last) = *said else { return None };
    ((first.year(), first.month()) == (last.year(), last.month())).then_some((first, last))
}

/// Settles the months of a column, or asks for the day of the month.
pub(super) fn settle(work: &mut Work, about: &str, header: &str, items: &mut [Item]) {
    if items.iter().filter(|item| month(&item.said).is_some()).count() < SEVERAL {
        return;
    }
    let settled = work.desk.ask("date_month_only", about);
    let day = settled.number().filter(|day| (1.0..=31.0).contains(day) && day.fract() == 0.0).map(|day| day as u32);
    for item in items.iter_mut() {
        let Some((first, last)) = month(&item.said) else { continue };
        item.out = Some(match (settled, day) {
            (Settled::LeaveOut, _) => DayOf::Left,
            (Settled::Choice(..), Some(day)) => {
                // The 31st of February is its last day.
                let day = first.with_day(day).unwrap_or(last);
                DayOf::Known(Known { earliest: Some(day), latest: day, clock: item.clock })
            }
            _ => {
                let doubt = Doubt::of("date_month_only")
                    .about(about)
                    .at(item.spot, &item.written)
                    .fill("column", header)
                    .fill("written", &item.written)
                    .cell(item.spot, "date");
                let key = doubt.key();
                work.desk.raise(doubt);
                DayOf::Held(key, Some((Some(first), last)))
            }
        });
    }
}
