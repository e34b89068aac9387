//! Day first or month first: decided per column from the whole column, never by locale.

use chrono::NaiveDate;

use crate::cell::date::{Numeric, Order};

/// What a column of dates shows about its order.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Verdict {
    /// No date in it depends on an order.
    NotNeeded,
    /// Proved by a part above twelve, by the rows' sequence, or by a sister column.
    Decided(Order),
    /// Both orders are proved: the order of each row, in the order of the rows.
    Mixed(Vec<Order>),
    /// Open, with the order that alone puts the rows in sequence, if there is one.
    Unclear(Option<Order>),
}

/// One row of a column: a date to be ordered, or a day that is certain.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Entry {
    /// Two numbers and a year.
    Numeric(Numeric),
    /// A day that needs no order.
    Certain(NaiveDate),
}

/// Decides the order of a column whose rows are given top to bottom.
///
/// `sister` is an order proved by another column of the same table: the same hand wrote both.
pub fn decide(entries: &[Entry], sister: Option<Order>) -> Verdict {
    let numerics: Vec<Numeric> = entries
        .iter()
        .filter_map(|entry| match entry {
            Entry::Numeric(numeric) => Some(*numeric),
            Entry::Certain(_) => None,
        })
        .collect();
    let proved = |order: Order| numerics.iter().any(|numeric| numeric.proves() == Some(order));
    match (proved(Order::DayFirst), proved(Order::MonthFirst)) {
        (true, true) => return Verdict::Mixed(by_neighbours(&numerics)),
        (true, false) => return Verdict::Decided(Order::DayFirst),
        (false, true) => return Verdict::Decided(Order::MonthFirst),
        (false, false) => {}
    }
    if numerics.iter().all(|numeric| numeric.same_either_way()) {
        return Verdict::NotNeeded;
    }
    if let Some(order) = sister {
        return Verdict::Decided(order);
    }
    // A probe writes many rows a day, and its days follow one another.
    match (daily(&numerics, Order::DayFirst), daily(&numerics, Order::MonthFirst)) {
        (true, false) => return Verdict::Decided(Order::DayFirst),
        (false, true) => return Verdict::Decided(Order::MonthFirst),
        _ => {}
    }
    let backward = |order: Order| steps_back(entries, order);
    let (day_first, month_first) = (backward(Order::DayFirst), backward(Order::MonthFirst));
    // Four different dates in sequence under one order, and at least twice out of it under the other.
    let distinct =
        numerics.iter().map(|n| (n.year, n.first, n.second)).collect::<std::collections::BTreeSet<_>>().len();
    for (order, own, other) in [(Order::DayFirst, day_first, month_first), (Order::MonthFirst, month_first, day_first)]
    {
        if own == 0 && other >= 2 && distinct >= 4 {
            return Verdict::Decided(order);
        }
    }
    Verdict::Unclear(match (day_first, month_first) {
        (0, other) if other > 0 => Some(Order::DayFirst),
        (other, 0) if other > 0 => Some(Order::MonthFirst),
        _ => None,
    })
}

/// Rows a day on the average from which a column is a probe's.
const STREAM: usize = 6;

/// Whether the rows are a stream whose next day is always the day after.
fn daily(numerics: &[Numeric], order: Order) -> bool {
    let all: Vec<NaiveDate> = numerics.iter().filter_map(|numeric| numeric.day(order)).collect();
    // A slip in a single row does not end the stream.
    let runs = all.chunk_by(|one, other| one == other).filter(|run| run.len() > 2);
    let mut days: Vec<NaiveDate> = runs.map(|run| run[0]).collect();
    days.dedup();
    days.len() >= 2
        && all.len() >= STREAM * days.len()
        && days.windows(2).all(|pair| (pair[1] - pair[0]).num_days() == 1)
}

/// How often a row is earlier than the one above it; rows that run backwards as a whole count the other way.
fn steps_back(entries: &[Entry], order: Order) -> usize {
    let days: Vec<NaiveDate> = entries
        .iter()
        .filter_map(|entry| match entry {
            Entry::Certain(day) => Some(*day),
            Entry::Numeric(numeric) => numeric.day(order),
        })
        .collect();
    let down = days.windows(2).filter(|pair| pair[1] < pair[0]).count();
    let up = days.windows(2).filter(|pair| pair[1] > pair[0]).count();
    down.min(up)
}

/// Proved rows as proved; the others as the nearest proved row above, or below for the first ones.
fn by_neighbours(numerics: &[Numeric]) -> Vec<Order> {
    let first = numerics.iter().find_map(|numeric| numeric.proves()).unwrap_or(Order::DayFirst);
    let mut current = first;
    numerics
        .iter()
        .map(|numeric| {
            current = numeric.proves().unwrap_or(current);
            current
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn entries(texts: &[&str]) -> Vec<Entry> {
        texts.iter().flat_map(|text| crate::cell::date::date(text).said.numerics()).map(Entry::Numeric).collect()
    }

    #[test]
    fn a_part_above_twelve_proves_the_order() {
        assert_eq!(decide(&entries(&["05/02/2024", "19/02/2024"]), None), Verdict::Decided(Order::DayFirst));
        assert_eq!(decide(&entries(&["1/7/2024", "1/21/2024"]), None), Verdict::Decided(Order::MonthFirst));
    }

    #[test]
    fn both_proved_is_mixed() {
        let verdict = decide(&entries(&["19/02/2024", "03/04/2024", "04/25/2024", "05/06/2024"]), None);
        use Order::{DayFirst, MonthFirst};
        assert_eq!(verdict, Verdict::Mixed(vec![DayFirst, DayFirst, MonthFirst, MonthFirst]));
    }

    #[test]
    fn rows_in_sequence_under_one_order_only() {
        let weekly = entries(&["05/02/2024", "12/02/2024", "04/03/2024", "11/03/2024", "08/04/2024"]);
        assert_eq!(decide(&weekly, None), Verdict::Decided(Order::DayFirst));
        assert_eq!(decide(&weekly[..3], None), Verdict::Unclear(Some(Order::DayFirst)));
        let newest_first: Vec<Entry> = weekly.iter().rev().copied().collect();
        assert_eq!(decide(&newest_first, None), Verdict::Decided(Order::DayFirst));
    }

    #[test]
    fn a_stream_goes_on_from_day_to_day() {
        let mut texts = vec!["02.11.2024"; 48];
        texts.extend(["03.11.2024"; 48]);
        assert_eq!(decide(&entries(&texts), None), Verdict::Decided(Order::DayFirst));
        assert_eq!(decide(&entries(&["02.11.2024", "03.11.2024"]), None), Verdict::Unclear(None));
    }

    #[test]
    fn what_fits_both_is_unclear() {
        assert_eq!(decide(&entries(&["01/02/2024", "01/03/2024", "01/04/2024"]), None), Verdict::Unclear(None));
        assert_eq!(decide(&entries(&["03/04/2024"]), None), Verdict::Unclear(None));
        assert_eq!(decide(&entries(&["03/04/2024"]), Some(Order::DayFirst)), Verdict::Decided(Order::DayFirst));
        assert_eq!(decide(&entries(&["04/04/2024"]), None), Verdict::NotNeeded);
    }
}
