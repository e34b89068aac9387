//! How often: "daily", "eod", "twice a week", "every 3 days", "2-3x/week".

use std::collections::HashMap;

use serde::Deserialize;

use crate::vocabulary::catalogue;
use crate::vocabulary::text::words;

/// Days of a mean month of the Gregorian calendar, a twelfth of 365.25.
const MONTH: f64 = 365.25 / 12.0;

/// Times a week, lowest and highest where a span is written.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RoutineRate {
    /// Lowest.
    pub low: f64,
    /// Highest; equal to `low` unless a span is written.
    pub high: f64,
}

impl RoutineRate {
    /// Times a week; the middle of a span.
    pub fn per_week(self) -> f64 {
        (self.low + self.high) / 2.0
    }
}

#[derive(Debug)]
pub(super) struct Rates {
    whole: HashMap<String, f64>,
    every: Vec<Vec<String>>,
    per: Vec<Vec<String>>,
    times: Vec<Vec<String>>,
    periods: Vec<(Vec<String>, f64)>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct RateRow {
    per_week: Option<f64>,
    per_month: Option<f64>,
    phrases: Vec<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct PartsRow {
    every: Vec<String>,
    per: Vec<String>,
    times: Vec<String>,
    day: Vec<String>,
    week: Vec<String>,
    fortnight: Vec<String>,
    month: Vec<String>,
}

impl Rates {
    pub(super) fn new(rows: Vec<RateRow>, parts: PartsRow) -> Result<Self, String> {
        let mut whole = HashMap::new();
        for row in rows {
            let rate = match (row.per_week, row.per_month) {
                (Some(rate), None) => rate,
                (None, Some(rate)) => rate * 7.0 / MONTH,
                _ => return Err(format!("{:?} needs one rate", row.phrases)),
            };
            for phrase in row.phrases {
                if whole.insert(words(&phrase).join(" "), rate).is_some_and(|other| other != rate) {
                    return Err(format!("`{phrase}` has two rates"));
                }
            }
        }
        let split = |list: Vec<String>| {
            let mut split: Vec<Vec<String>> = list.iter().map(|part| words(part)).collect();
            split.sort_by_key(|part| std::cmp::Reverse(part.len()));
            split
        };
        let mut periods = Vec::new();
        for (list, days) in [(parts.day, 1.0), (parts.week, 7.0), (parts.fortnight, 14.0), (parts.month, MONTH)] {
            periods.extend(split(list).into_iter().map(|part| (part, days)));
        }
        Ok(Rates { whole, every: split(parts.every), per: split(parts.per), times: split(parts.times), periods })
    }
}

/// A leading part of a text, taken off.
fn take<'a>(rest: &'a [String], parts: &[Vec<String>]) -> Option<&'a [String]> {
    parts.iter().find_map(|part| rest.strip_prefix(part.as_slice()))
}

/// A leading number or span of numbers, taken off.
fn take_numbers(rest: &[String]) -> Option<((f64, f64), &[String])> {
    let number = |word: &String| -> Option<f64> {
        let plain = word.strip_suffix('x').unwrap_or(word);
        plain
            .parse()
            .ok()
            .or_else(|| catalogue().words.numbers.get(word).map(|value| f64::from(*value)))
            .filter(|value: &f64| value.is_finite() && *value >= 0.0)
    };
    let low = number(rest.first()?)?;
    let (high, used) = match rest.get(1) {
        Some(word) if matches!(word.as_str(), "to" | "or" | "bis" | "a" | "ou" | "o" | "of") => {
            rest.get(2).and_then(number).map_or((low, 1), |high| (high, 3))
        }
        Some(word) => number(word).filter(|_| word != "a" && word != "an").map_or((low, 1), |high| (high, 2)),
        None => (low, 1),
    };
    (low <= high).then_some(((low, high), &rest[used..]))
}

/// Times a week of a written rate; `None` for what does not convert ("often", "when I remember"): such a rate is
/// in use or not in use, nothing more.
///
/// ```
/// use analysis::vocabulary::find_routine_rate;
/// assert_eq!(find_routine_rate("eod").unwrap().per_week(), 3.5);
/// assert_eq!(find_routine_rate("2-3x/week").unwrap().high, 3.0);
/// assert_eq!(find_routine_rate("often"), None);
/// ```
pub fn find_routine_rate(text: &str) -> Option<RoutineRate> {
    let rates = &catalogue().words.rates;
    // "/week" reads "per week"; "3/week" as well.
    let words = words(&text.replace('/', " per "));
    let even = |rate: f64| RoutineRate { low: rate, high: rate };
    if let Some(rate) = rates.whole.get(&words.join(" ")) {
        return Some(even(*rate));
    }
    let period =
        |rest: &[String]| rates.periods.iter().find(|(part, _)| part.as_slice() == rest).map(|(_, days)| *days);
    // "every 3 days", "every two weeks".
    if let Some(rest) = take(&words, &rates.every)
        && let Some(((low, high), rest)) = take_numbers(rest)
        && let Some(days) = period(rest)
        && low > 0.0
    {
        return Some(RoutineRate { low: 7.0 / (high * days), high: 7.0 / (low * days) });
    }
    // "3 times a week", "twice weekly", "2x per month".
    let ((low, high), mut rest) = take_numbers(&words)?;
    while let Some(shorter) = take(rest, &rates.times) {
        rest = shorter;
    }
    if let Some(single) = rates.whole.get(&rest.join(" ")) {
        return Some(RoutineRate { low: low * single, high: high * single });
    }
    while let Some(shorter) = take(rest, &rates.per)
        && !shorter.is_empty()
    {
        rest = shorter;
    }
    let days = period(rest)?;
    Some(RoutineRate { low: low * 7.0 / days, high: high * 7.0 / days })
}
