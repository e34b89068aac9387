//! Months in a column that must hold days: asked once for the column, since they are all meant alike.

use analysis::vocabulary::month_by_name;
use chrono::{Datelike, NaiveDate};

use super::{DayOf, Item, Known};
use crate::canonical::{View, Work};
use crate::cell::date::Said;
use crate::doubt::desk::{Doubt, Settled};

/// Months from which on they are the column's way of writing, and no slip of one cell.
const SEVERAL: usize = 2;

fn month(said: &Said) -> Option<(NaiveDate, NaiveDate)> {
    let Said::Span(first, last) = *said else { return None };
    ((first.year(), first.month()) == (last.year(), last.month())).then_some((first, last))
}

/// Months by their names alone ("Jan", "Feb"): the titles' year, or that of the days above, makes them months of a year;
/// the year goes up where they start again. Without one the year is asked for.
pub(super) fn named_alone(work: &mut Work, view: &View, about: &str, header: &str, items: &mut [Item]) {
    let alone = |item: &Item| {
        let open = item.out.is_none() && item.said == Said::Unreadable;
        month_by_name(&item.written).filter(|_| open && item.written.chars().any(char::is_alphabetic))
    };
    if items.iter().filter(|item| alone(item).is_some()).count() < SEVERAL {
        return;
    }
    let proposed = super::year_in(&work.stem);
    let settled = work.desk.ask("date_year_missing", about);
    let answered = settled.number().map(|year| year as i32).filter(|year| (1950..=2199).contains(year));
    let chosen = || (settled.choice() == Some("year")).then_some(proposed).flatten();
    let mut year = view.year_in_titles().or(answered).or_else(chosen);
    let mut before: Option<u32> = None;
    for item in items.iter_mut() {
        let Some(month) = alone(item) else { continue };
        if settled == Settled::LeaveOut {
            item.out = Some(DayOf::Left);
            continue;
        }
        let Some(first) = year else {
            let doubt = super::year_doubt(about, header, item, proposed);
            item.out = Some(DayOf::Held(doubt.key(), None));
            work.desk.raise(doubt);
            continue;
        };
        // From December to January the log goes on into the next year.
        let current = if before.is_some_and(|before| before >= month + 6) { first + 1 } else { first };
        (year, before) = (Some(current), Some(month));
        let span = NaiveDate::from_ymd_opt(current, month, 1)
            .and_then(|first| Some((first, first.checked_add_months(chrono::Months::new(1))?.pred_opt()?)));
        if let Some((first, last)) = span {
            item.said = Said::Span(first, last);
        }
    }
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
