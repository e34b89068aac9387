//! The day on which a register is true: told by the caller, stated in a cell, the latest day in the file, or asked.

use chrono::NaiveDate;

use crate::canonical::register::{Summary, look};
use crate::canonical::{View, Work};
use crate::cell::date::{Order, date};
use crate::cell::fold;
use crate::context::About;
use crate::doubt::desk::{Doubt, Settled, Spot};
use crate::grid::Raw;
use crate::layout::Placed;

mod told; // what words before a day say of it

pub(crate) use told::Told;

/// The day that a title or a loose cell states as `wanted`: behind the words that say so, or in the next cell.
///
/// `order` is asked for only where a text speaks of such a day.
pub(crate) fn stated<'p>(
    wanted: Told,
    loose: impl Iterator<Item = &'p Placed>,
    order: impl Fn() -> Option<Order>,
) -> Option<NaiveDate> {
    let mut cells = loose.peekable();
    while let Some(cell) = cells.next() {
        let text = fold::plain(&cell.raw.written());
        if told::told(&text) == Some(wanted) {
            let next = cells.peek().filter(|next| next.row == cell.row).and_then(|next| day(&next.raw, order()));
            if next.is_some() {
                return next;
            }
        }
        if let Some(day) = in_text(&text, wanted, &order) {
            return Some(day);
        }
    }
    None
}

/// Whether a text is the day of a list with the words before it.
pub(crate) fn is_stated(text: &str) -> bool {
    let text = fold::plain(text);
    // The order of day and month is told elsewhere, if at all.
    let orders = [Order::DayFirst, Order::MonthFirst];
    let stated = |wanted| orders.iter().any(|order| in_text(&text, wanted, &|| Some(*order)).is_some());
    stated(Told::AsOf) || stated(Told::CompleteSince)
}

/// Whether a text is the words before such a day.
pub(crate) fn leads_to_a_day(text: &str) -> bool {
    told::told(&fold::plain(text)).is_some()
}

/// "Corals as of 2025-03-04", "Vollständig seit 04.03.2025 (auch die toten)": the words and the day in one text.
fn in_text(text: &str, wanted: Told, order: &impl Fn() -> Option<Order>) -> Option<NaiveDate> {
    // What stands after the day in brackets says how it is meant.
    let text = text.split(['(', ';']).next().unwrap_or(text).trim_end_matches([')', '.', ',', ' ']);
    let starts = text.char_indices().filter(|(at, letter)| {
        letter.is_alphanumeric()
            && *at > 0
            && text[..*at].ends_with(|before: char| before.is_whitespace() || matches!(before, ':' | '-' | '='))
    });
    starts
        .filter(|(at, _)| told::told(&text[..*at]) == Some(wanted))
        .find_map(|(at, _)| day(&Raw::Text(text[at..].to_owned()), order()))
}

fn day(raw: &Raw, order: Option<Order>) -> Option<NaiveDate> {
    match raw {
        Raw::Date(at) => Some(at.date()),
        Raw::Text(text) => {
            let said = date(text).said;
            let readings: Vec<_> = Order::ALL.iter().filter_map(|order| said.days(*order)).collect();
            let (first, last) = match (order, readings.as_slice()) {
                (Some(order), _) => said.days(order)?,
                (None, [one, other]) if one == other => *one,
                // Day and month could be either way round, and nothing in the file says which.
                (None, _) => return None,
            };
            (first == Some(last)).then_some(last)
        }
        _ => None,
    }
}

/// An order of day and month that any column of the views proves.
pub(crate) fn order_of(views: &[View]) -> Option<Order> {
    views
        .iter()
        .flat_map(|view| view.meanings.keys().map(move |column| (view, *column)))
        .find_map(|(view, column)| super::date_column::proved(view, column))
}

/// Settles the day, and records the open rows as alive on it.
pub(crate) fn settle(work: &mut Work, summary: &Summary, dates_open: bool) {
    if !summary.any {
        return;
    }
    let answered = work.desk.ask("as_of_missing", "").day();
    work.as_of = work.context.as_of.or(work.stated.as_of).or(answered);
    if work.as_of.is_none() && !summary.open.is_empty() {
        assume(work, summary, dates_open);
    }
    let Some(as_of) = work.as_of else {
        // Open rows load without that sighting; their labels stand in the specimens.
        return;
    };
    work.saw_day(as_of);
    crate::canonical::register::sizes::on_the_day(work, summary, as_of);
    for row in &summary.open {
        look(
            work,
            row.line,
            &row.label,
            as_of,
            row.status,
            row.condition,
            row.remark.clone(),
            "register",
            row.cells.clone(),
        );
    }
}

fn assume(work: &mut Work, summary: &Summary, dates_open: bool) {
    let at = summary.at.unwrap_or(Spot { sheet: 0, row: 1, column: 1 });
    if let Some((_, latest)) = work.days.filter(|_| !dates_open) {
        work.desk.raise(Doubt::of("as_of_assumed").at(at, "").of_row().fill("day", latest.to_string()));
        work.as_of = Some(latest);
        return;
    }
    if !dates_open && !matches!(work.desk.ask("as_of_missing", ""), Settled::LeaveOut) {
        work.desk.raise(Doubt::of("as_of_missing").at(at, "").of_row().propose_nothing());
    }
}

/// From what day the log is complete, and whether it lists losses: asked once per log.
pub(crate) fn completeness(work: &mut Work, summary: &Summary, about: &mut About) {
    if !summary.any {
        return;
    }
    let at = summary.at.unwrap_or(Spot { sheet: 0, row: 1, column: 1 });
    let settled = work.desk.ask("complete_since_missing", "");
    about.complete_since = work.stated.complete_since.or(settled.day());
    about.complete_since_unknown =
        about.complete_since.is_none() && matches!(settled, Settled::DontKnow | Settled::LeaveOut);
    if about.complete_since.is_none() && !about.complete_since_unknown && !work.context.complete_since_answered {
        work.desk.raise(Doubt::of("complete_since_missing").at(at, "").of_row().propose_nothing());
    }
    let settled = work.desk.ask("no_losses_listed", "");
    about.losses_listed = match (summary.losses, work.stated.losses_listed, settled.choice()) {
        (true, ..) | (_, Some(true), _) | (_, _, Some("yes")) => Some(true),
        (_, Some(false), _) | (_, _, Some("no")) => Some(false),
        _ => None,
    };
    if about.losses_listed.is_none() && settled == Settled::Open {
        work.desk.raise(Doubt::of("no_losses_listed").at(at, "").of_row().propose_nothing());
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn title(text: &str) -> Placed {
        Placed { row: 1, column: 1, raw: Raw::Text(text.to_owned()) }
    }

    #[test]
    fn days_stated_in_titles() {
        let day = NaiveDate::from_ymd_opt(2025, 3, 4);
        assert_eq!(stated(Told::AsOf, [title("Corals as of 2025-03-04")].iter(), || None), day);
        assert_eq!(stated(Told::AsOf, [title("Stand: 4. März 2025")].iter(), || None), day);
        assert_eq!(stated(Told::AsOf, [title("as of 04/03/2025")].iter(), || None), None);
        assert_eq!(stated(Told::AsOf, [title("as of 04/03/2025")].iter(), || Some(Order::DayFirst)), day);
        assert_eq!(stated(Told::AsOf, [title("standing water 2025-03-04")].iter(), || None), None);
        let next = Placed { row: 1, column: 2, raw: Raw::Text("2025-03-04".to_owned()) };
        assert_eq!(stated(Told::AsOf, [title("As of"), next].iter(), || None), day);
        for text in [
            "Every coral written down since: 2025-03-04",
            "Vollständig seit 04.03.2025 (auch die toten)",
            "Liste complète depuis le 2025-03-04",
        ] {
            let order = || Some(Order::DayFirst);
            assert_eq!(stated(Told::CompleteSince, [title(text)].iter(), order), day, "{text}");
            assert_eq!(stated(Told::AsOf, [title(text)].iter(), order), None, "{text}");
        }
        assert_eq!(stated(Told::CompleteSince, [title("complete since I moved")].iter(), || None), None);
    }
}
