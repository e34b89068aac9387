//! Days a year off in a column whose rows follow one another: typed with last year's number after the turn of the year,
//! or with a slip of one. The neighbours tell: moved by a year the rows stand in line, as written they do not.

use chrono::{Datelike, NaiveDate};

use crate::canonical::Work;
use crate::canonical::date_column::{DayOf, Item, Known};
use crate::doubt::desk::{Doubt, Settled};
use crate::finding::Choice;

/// Rows of a run at most: a longer one is a second series in the same column.
const RUN: usize = 12;
/// Days from which a row is a year off and not merely late.
const OFF: i64 = 300;
/// Dated rows at least.
const LEAST: usize = 4;

/// Rows of `dated`, from one to before another, that are meant so many years later.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Slip {
    from: usize,
    end: usize,
    years: i32,
}

/// The same day some years later.
pub(crate) fn moved(day: NaiveDate, years: i32) -> Option<NaiveDate> {
    day.with_year(day.year() + years)
}

/// Rows that one longest run of rows in order leaves out; of two as long the one that keeps the rows above, since it is
/// the rows below whose year was not turned.
fn outliers(days: &[NaiveDate]) -> Vec<bool> {
    // Patience from the foot up: the first row of the best run of each length, and each row's follower.
    let mut starts: Vec<usize> = Vec::new();
    let mut after: Vec<Option<usize>> = vec![None; days.len()];
    for (at, day) in days.iter().enumerate().rev() {
        let length = starts.partition_point(|&start| days[start] >= *day);
        after[at] = length.checked_sub(1).map(|length| starts[length]);
        match starts.get_mut(length) {
            Some(start) => *start = at,
            None => starts.push(at),
        }
    }
    let mut out = vec![true; days.len()];
    let mut at = starts.last().copied();
    while let Some(row) = at {
        out[row] = false;
        at = after[row];
    }
    out
}

/// Steps against the order.
fn back(days: impl IntoIterator<Item = NaiveDate>) -> usize {
    let mut last: Option<NaiveDate> = None;
    days.into_iter().filter(|day| last.replace(*day).is_some_and(|last| *day < last)).count()
}

/// The slips among days that rise, top to bottom; none if they are in no order.
fn slips(days: &[NaiveDate], today: Option<NaiveDate>) -> Vec<Slip> {
    let allowed = 1 + days.len() / 20;
    if days.len() < LEAST || back(days.iter().copied()) > allowed + days.len() / 4 {
        return Vec::new();
    }
    let out = outliers(days);
    let mut found = Vec::new();
    let mut at = 0;
    while at < days.len() {
        if !out[at] {
            at += 1;
            continue;
        }
        let end = (at..days.len()).find(|&row| !out[row]).unwrap_or(days.len());
        let (above, below) = (at.checked_sub(1).map(|row| days[row]), days.get(end).copied());
        let fits = |years: i32| {
            days[at..end].iter().all(|day| {
                let far = match years {
                    1 => above.is_some_and(|above| (above - *day).num_days() >= OFF),
                    _ => below.is_some_and(|below| (*day - below).num_days() >= OFF),
                };
                let inside = |day: NaiveDate| {
                    above.is_none_or(|above| above <= day)
                        && below.is_none_or(|below| day <= below)
                        && today.is_none_or(|today| day <= today)
                };
                far && moved(*day, years).is_some_and(inside)
            })
        };
        if end - at <= RUN {
            found.extend([1, -1].into_iter().find(|years| fits(*years)).map(|years| Slip { from: at, end, years }));
        }
        at = end;
    }
    found.extend(first_rows(days, &out).into_iter().chain(last_rows(days, &out, today)));
    let mut mended = days.to_vec();
    for slip in &found {
        for day in &mut mended[slip.from..slip.end] {
            *day = moved(*day, slip.years).unwrap_or(*day);
        }
    }
    if back(mended) > allowed { Vec::new() } else { found }
}

/// The widest step between rows in order from one row to before another.
fn widest(days: &[NaiveDate], out: &[bool], from: usize, end: usize) -> Option<i64> {
    let kept: Vec<NaiveDate> = (from..end).filter(|&row| !out[row]).map(|row| days[row]).collect();
    kept.windows(2).map(|pair| (pair[1] - pair[0]).num_days()).max().filter(|_| kept.len() + 1 >= LEAST)
}

/// Rows at the top a year before all others, which moved stand in step with them.
fn first_rows(days: &[NaiveDate], out: &[bool]) -> Option<Slip> {
    let end = (1..days.len().min(RUN + 1)).find(|&row| (days[row] - days[row - 1]).num_days() >= OFF)?;
    let step = widest(days, out, end, days.len())?.max(widest(days, out, 0, end).unwrap_or(0));
    let inside = |day: NaiveDate| day <= days[end] && (days[end] - day).num_days() <= step.max(1);
    let last = moved(days[end - 1], 1)?;
    let in_order = out[..=end].iter().all(|out| !out);
    (in_order && end * 3 <= days.len() && step * 4 < OFF && inside(last)).then_some(Slip { from: 0, end, years: 1 })
}

/// Rows at the foot a year after all others, which moved back stand in step with them.
fn last_rows(days: &[NaiveDate], out: &[bool], today: Option<NaiveDate>) -> Option<Slip> {
    let least = days.len().saturating_sub(RUN).max(1);
    let from = (least..days.len()).rev().find(|&row| (days[row] - days[row - 1]).num_days() >= OFF)?;
    let step = widest(days, out, 0, from)?.max(widest(days, out, from, days.len()).unwrap_or(0));
    let first = moved(days[from], -1)?;
    let inside = first >= days[from - 1] && (first - days[from - 1]).num_days() <= step.max(1);
    let in_order = out[from - 1..].iter().all(|out| !out) && today.is_none_or(|today| first <= today);
    (in_order && (days.len() - from) * 3 <= days.len() && step * 4 < OFF && inside).then_some(Slip {
        from,
        end: days.len(),
        years: -1,
    })
}

/// Rows that are a year off, with their days as written, and by how many years they are meant later.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Slipped {
    /// Row and day, top to bottom or bottom to top.
    pub rows: Vec<(u32, NaiveDate)>,
    /// Years.
    pub years: i32,
}

/// The rows of a column that are a year off, among its dated rows top to bottom.
pub(crate) fn found(mut dated: Vec<(u32, NaiveDate)>, today: Option<NaiveDate>) -> Vec<Slipped> {
    // The newest row may stand at the top.
    let rising = back(dated.iter().map(|(_, day)| *day));
    if rising * 2 > dated.len() {
        dated.reverse();
    }
    let days: Vec<NaiveDate> = dated.iter().map(|(_, day)| *day).collect();
    let slips = slips(&days, today);
    slips.into_iter().map(|slip| Slipped { rows: dated[slip.from..slip.end].to_vec(), years: slip.years }).collect()
}

/// Asks about rows that are a year off.
pub(super) fn out_of_sequence(work: &mut Work, about: &str, items: &mut [Item]) {
    let slips = match &work.whole {
        Some(whole) => whole.slips.clone(),
        None => {
            let dated = items.iter().filter_map(|item| Some((item.row, item.out.as_ref()?.exact()?))).collect();
            found(dated, work.context.today)
        }
    };
    for slip in slips {
        let at = |row: u32| items.binary_search_by_key(&row, |item| item.row).ok();
        let rows: Vec<(usize, NaiveDate)> = slip.rows.iter().filter_map(|(row, day)| Some((at(*row)?, *day))).collect();
        // Top to bottom, whichever way the days run.
        let Some(first) = rows.iter().map(|(row, _)| *row).min().map(|row| &items[row]) else { continue };
        let name = format!("{about}:{}", first.written);
        let shown = (first.spot, first.written.clone());
        let settled = work.desk.ask("date_out_of_order", &name);
        let spoken = first.out.as_ref().and_then(DayOf::exact).and_then(|day| moved(day, slip.years));
        let code = if slip.years > 0 { "next_year" } else { "last_year" };
        for &(i, day) in &rows {
            let Some(meant) = moved(day, slip.years) else { continue };
            let item = &mut items[i];
            let clock = if let Some(DayOf::Known(known)) = item.out { known.clock } else { None };
            match settled {
                Settled::Choice("next_year" | "last_year", _) => {
                    item.out = Some(DayOf::Known(Known { earliest: Some(meant), latest: meant, clock }))
                }
                Settled::Choice(..) => {}
                Settled::LeaveOut => item.out = Some(DayOf::Left),
                Settled::Open | Settled::DontKnow => {
                    let label = spoken.map_or_else(String::new, |day| day.to_string());
                    let choice = |code: &str, label: String| Choice { code: code.to_owned(), label, needs: None };
                    let doubt = Doubt::of("date_out_of_order")
                        .about(&name)
                        .at(shown.0, &shown.1)
                        .fill("written", &shown.1)
                        .fill("day", &label)
                        .choices(vec![
                            choice(code, format!("no: {label}")),
                            choice("right", "right as written".to_owned()),
                        ])
                        .propose(code, None)
                        .cell(item.spot, "date");
                    item.out = Some(DayOf::Held(doubt.key(), Some((Some(day.min(meant)), day.max(meant)))));
                    work.desk.raise(doubt);
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn days(texts: &[&str]) -> Vec<NaiveDate> {
        texts.iter().map(|text| text.parse().unwrap()).collect()
    }

    fn found(texts: &[&str]) -> Vec<(usize, usize, i32)> {
        let today = "2025-12-31".parse().ok();
        slips(&days(texts), today).into_iter().map(|slip| (slip.from, slip.end, slip.years)).collect()
    }

    #[test]
    fn a_year_behind_or_ahead_in_the_middle() {
        let behind = ["2025-02-09", "2025-02-19", "2024-03-01", "2025-03-11", "2025-03-21"];
        assert_eq!(found(&behind), [(2, 3, 1)]);
        let ahead = ["2024-02-09", "2024-02-19", "2025-03-01", "2024-03-11", "2024-03-21"];
        assert_eq!(found(&ahead), [(2, 3, -1)]);
    }

    #[test]
    fn two_slips_in_a_short_log_are_both_seen() {
        let two = [
            "2025-02-09",
            "2025-02-19",
            "2025-03-01",
            "2025-03-11",
            "2024-03-21",
            "2025-03-31",
            "2024-04-10",
            "2025-04-20",
            "2025-04-30",
            "2025-05-10",
        ];
        assert_eq!(found(&two), [(4, 5, 1), (6, 7, 1)]);
    }

    #[test]
    fn a_slip_in_the_first_or_last_row_breaks_the_step() {
        let first = ["2024-05-12", "2025-05-13", "2025-05-14", "2025-05-15", "2025-05-16"];
        assert_eq!(found(&first), [(0, 1, 1)]);
        let weekly = ["2024-03-02", "2025-03-09", "2025-03-16", "2025-03-23", "2025-03-30"];
        assert_eq!(found(&weekly), [(0, 1, 1)]);
        let last = ["2024-03-02", "2024-03-09", "2024-03-16", "2024-03-23", "2025-03-30"];
        assert_eq!(found(&last), [(4, 5, -1)]);
        // A test of the year before in another season is one.
        let lone = ["2023-11-20", "2025-03-09", "2025-03-16", "2025-03-23", "2025-03-30"];
        assert_eq!(found(&lone), []);
    }

    #[test]
    fn the_turn_of_the_year_with_the_old_number() {
        let turn = ["2024-11-30", "2024-12-14", "2024-12-28", "2024-01-11", "2024-01-25", "2025-02-08", "2025-02-22"];
        assert_eq!(found(&turn), [(3, 5, 1)]);
        let even = ["2023-12-13", "2023-12-20", "2023-01-03", "2023-01-10", "2024-01-17", "2024-01-24"];
        assert_eq!(found(&even), [(2, 4, 1)]);
    }

    #[test]
    fn several_series_in_one_column_are_in_order_each() {
        let mut texts = Vec::new();
        for _ in 0..3 {
            texts.extend(["2024-01-06", "2024-03-02", "2024-06-01", "2024-09-07", "2024-12-14"]);
        }
        assert_eq!(found(&texts), []);
        let spans = ["2022-01-06", "2022-06-02", "2023-06-01", "2024-06-07", "2024-12-14", "2025-06-01"];
        assert_eq!(found(&spans), []);
    }
}
