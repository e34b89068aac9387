//! Days that cannot be meant as written: swapped by a program, off the calendar, in the future, a year behind.

use std::collections::BTreeSet;

use chrono::{Datelike, NaiveDate};

use crate::canonical::Work;
use crate::canonical::date_column::{Bounds, DayOf, Item, Known, Rule};
use crate::cell::date::{Order, Said};
use crate::doubt::desk::{Doubt, Settled};
use crate::finding::Choice;

/// Text dates with a day above twelve beside real dates with days up to twelve that are out of sequence: the
/// program that opened the file read the latter month first.
pub(super) fn swapped_by_program(work: &mut Work, about: &str, items: &mut [Item]) {
    let proved_texts = items
        .iter()
        .any(|item| !item.from_workbook && item.said.numerics().iter().any(|n| n.proves() == Some(Order::DayFirst)));
    let real: Vec<usize> =
        (0..items.len()).filter(|&i| items[i].from_workbook && matches!(items[i].said, Said::Day(_))).collect();
    let swap = |day: NaiveDate| NaiveDate::from_ymd_opt(day.year(), day.day(), day.month());
    if !proved_texts
        || real.is_empty()
        || real.iter().any(|&i| matches!(items[i].said, Said::Day(day) if day.day() > 12))
    {
        return;
    }
    let back = |days: &[NaiveDate]| days.windows(2).filter(|pair| pair[1] < pair[0]).count();
    let as_shown: Vec<NaiveDate> = items.iter().filter_map(|item| item.out.as_ref().and_then(DayOf::exact)).collect();
    let as_swapped: Vec<NaiveDate> = items
        .iter()
        .filter_map(|item| {
            let day = item.out.as_ref().and_then(DayOf::exact)?;
            if item.from_workbook { swap(day) } else { Some(day) }
        })
        .collect();
    if back(&as_swapped) >= back(&as_shown) {
        return;
    }
    let settled = work.desk.ask("date_swapped", about);
    for &i in &real {
        let Said::Day(day) = items[i].said else { continue };
        let Some(swapped) = swap(day).filter(|swapped| *swapped != day) else { continue };
        let item = &mut items[i];
        match settled {
            Settled::Choice("swap", _) => {
                item.out = Some(DayOf::Known(Known { earliest: Some(swapped), latest: swapped, clock: item.clock }))
            }
            Settled::Choice(..) => {}
            Settled::LeaveOut => item.out = Some(DayOf::Left),
            Settled::Open | Settled::DontKnow => {
                let doubt = Doubt::of("date_swapped")
                    .about(about)
                    .at(item.spot, &item.written)
                    .fill("written", &item.written)
                    .fill("day", swapped.to_string())
                    .cell(item.spot, "date");
                item.out = Some(DayOf::Held(doubt.key(), Some((Some(day.min(swapped)), day.max(swapped)))));
                work.desk.raise(doubt);
            }
        }
    }
}

/// Different cells that cannot be read from which on they are a way of writing that nobody knows here: one question for
/// all of them.
const MANY: usize = 20;

/// Whether most cells of a column are written in a way that cannot be read.
fn unknown_way(items: &[Item]) -> bool {
    let unread: BTreeSet<&str> = items
        .iter()
        .filter(|item| item.said == Said::Unreadable)
        .map(|item| item.written.as_str())
        .take(MANY)
        .collect();
    unread.len() >= MANY && items.iter().filter(|item| item.said == Said::Unreadable).count() * 2 > items.len()
}

pub(super) fn impossible_and_unreadable(
    work: &mut Work,
    (about, header): (&str, &str),
    items: &mut [Item],
    rule: Rule,
) {
    let unknown = !rule.end && unknown_way(items);
    for item in items.iter_mut() {
        let partial_day = matches!(&item.out, Some(DayOf::Known(known)) if known.exact().is_none());
        if item.out.is_some() && (rule.partial || !partial_day) {
            continue;
        }
        if rule.end
            && item.said == Said::Unreadable
            && let Some(day) = word_of_end(&item.written)
        {
            work.labels.insert(item.spot);
            item.out = Some(day);
            continue;
        }
        let (code, bounds) = match item.said {
            Said::Impossible { year, month, .. } => ("date_impossible", days_of_month(year, month)),
            _ if partial_day => ("date_unreadable", None),
            _ => ("date_unreadable", None),
        };
        let all = unknown && item.said == Said::Unreadable;
        let (code, name) = if all { ("dates_unreadable", about) } else { (code, item.written.as_str()) };
        let settled = work.desk.ask(code, name);
        item.out = Some(match settled {
            Settled::LeaveOut => DayOf::Left,
            Settled::Choice("day", None) if bounds.is_some() => {
                let day = bounds.and_then(|(_, after)| after.pred_opt()).unwrap_or_default();
                DayOf::Known(Known { earliest: Some(day), latest: day, clock: item.clock })
            }
            Settled::Choice(..) if settled.day().is_some() => {
                let day = settled.day().unwrap_or_default();
                DayOf::Known(Known { earliest: Some(day), latest: day, clock: item.clock })
            }
            Settled::Choice(..) if settled.days().is_some() && rule.partial => {
                let (first, last) = settled.days().unwrap_or_default();
                DayOf::Known(Known { earliest: Some(first), latest: last, clock: None })
            }
            _ => {
                let mut doubt = Doubt::of(code)
                    .about(name)
                    .at(item.spot, &item.written)
                    .fill("column", header)
                    .fill("written", &item.written)
                    .cell(item.spot, "date");
                if let Some(near) = bounds.and_then(|(_, after)| after.pred_opt()) {
                    doubt = doubt.fill("day", near.to_string());
                }
                if !rule.partial && code == "date_unreadable" {
                    doubt = doubt.choices(vec![Choice {
                        code: "day".into(),
                        label: "a day".into(),
                        needs: Some("day".into()),
                    }]);
                }
                let key = doubt.key();
                work.desk.raise(doubt.propose_nothing());
                DayOf::Held(key, bounds)
            }
        });
    }
}

/// What a word in a column of ends says of the day: none for "no" and for a word of fate ("alive", "sold"), which
/// speaks for itself; an unknown one for "yes".
fn word_of_end(text: &str) -> Option<DayOf> {
    use analysis::vocabulary::{FateMatch, find_fate, yes_or_no};
    match yes_or_no(text) {
        Some(true) => Some(DayOf::Open),
        Some(false) => Some(DayOf::Absent),
        None => (find_fate(text) != FateMatch::NoWord).then_some(DayOf::Absent),
    }
}

fn days_of_month(year: i32, month: u32) -> Option<Bounds> {
    let first = NaiveDate::from_ymd_opt(year, month, 1)?;
    let next = first.checked_add_months(chrono::Months::new(1))?;
    // The day after the month's end is as near as its last day.
    Some((Some(first), next))
}

pub(super) fn in_future(work: &mut Work, items: &mut [Item]) {
    let Some(today) = work.context.today else { return };
    for item in items.iter_mut() {
        let Some(DayOf::Known(known)) = item.out else { continue };
        let Some(earliest) = known.earliest else { continue };
        if earliest <= today {
            continue;
        }
        let a_year_ago = earliest.with_year(earliest.year() - 1).filter(|day| *day <= today);
        let swapped = NaiveDate::from_ymd_opt(earliest.year(), earliest.day(), earliest.month())
            .filter(|day| *day <= today && *day != earliest);
        let settled = work.desk.ask("date_in_future", &item.written);
        let answer = match settled.choice() {
            Some("last_year") => a_year_ago,
            Some("swapped") => swapped,
            Some(_) => settled.day(),
            None => None,
        };
        item.out = Some(match (settled, answer) {
            (Settled::LeaveOut, _) => DayOf::Left,
            (_, Some(day)) => DayOf::Known(Known { earliest: Some(day), latest: day, clock: known.clock }),
            _ => {
                let doubt = Doubt::of("date_in_future")
                    .about(&item.written)
                    .at(item.spot, &item.written)
                    .fill("written", &item.written)
                    .fill("day", earliest.format("%-d %B %Y").to_string())
                    .cell(item.spot, "date");
                let mut choices = Vec::new();
                if let Some(day) = a_year_ago {
                    choices.push(Choice { code: "last_year".into(), label: format!("last year: {day}"), needs: None });
                }
                if let Some(day) = swapped {
                    choices.push(Choice {
                        code: "swapped".into(),
                        label: format!("day and month swapped: {day}"),
                        needs: None,
                    });
                }
                choices.push(Choice { code: "other".into(), label: "another day".into(), needs: Some("day".into()) });
                let key = doubt.key();
                work.desk.raise(doubt.choices(choices).propose_nothing());
                // Whatever day was meant, it is not later than today.
                DayOf::Held(key, [a_year_ago, swapped].into_iter().flatten().min().map(|first| (Some(first), today)))
            }
        });
    }
}
