//! Halves of the year by month, whichever is the warm one where the club is.

use chrono::{Datelike, NaiveDate};

use super::condition::{CONTRAST, REFERENCE};
use super::steps::{Level, Steps};
use crate::club::Days;
use crate::follow_up::day_number;

/// Years for which halves are known: longer than any reef has been kept.
const YEARS: std::ops::RangeInclusive<i32> = 1900..=2200;

/// April to September is the reference, October to March the contrast.
fn half(day: NaiveDate) -> u16 {
    if (4..=9).contains(&day.month()) { REFERENCE } else { CONTRAST }
}

/// The half at each moment: that of a day holds until its end.
pub(super) fn halves() -> Steps {
    let first_days = YEARS.flat_map(|year| [4, 10].map(|month| NaiveDate::from_ymd_opt(year, month, 1)));
    let mut steps = Steps::default();
    for day in first_days.flatten() {
        steps.push(day_number(day) - 1.0, Some(half(day)));
    }
    steps
}

/// The half in which all these days lie; `None` if they lie in both.
pub(super) fn half_of(days: Days) -> Level {
    let (first, last) = (days.earliest?, days.latest);
    let whole = (last - first).num_days() < 184 && half(first) == half(last);
    whole.then(|| half(first))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn day(text: &str) -> NaiveDate {
        text.parse().expect("a day")
    }

    #[test]
    fn a_day_lies_in_the_half_of_its_month() {
        let halves = halves();
        let at = |text: &str| halves.between(day_number(day(text)) - 1.0, day_number(day(text)));
        for (text, level) in [
            ("2024-03-31", CONTRAST),
            ("2024-04-01", REFERENCE),
            ("2024-09-30", REFERENCE),
            ("2024-10-01", CONTRAST),
            ("2025-01-01", CONTRAST),
        ] {
            let segments = at(text);
            assert_eq!(segments.len(), 1, "{text}");
            assert_eq!(segments[0].level, Some(level), "{text}");
        }
    }

    #[test]
    fn a_purchase_known_to_days_of_both_halves_is_in_neither() {
        let of = |from: &str, to: &str| half_of(Days { earliest: Some(day(from)), latest: day(to) });
        assert_eq!(of("2024-03-01", "2024-03-31"), Some(CONTRAST));
        assert_eq!(of("2024-03-15", "2024-04-15"), None);
        assert_eq!(of("2024-02-01", "2024-11-30"), None, "the whole summer lies between");
        assert_eq!(of("2024-11-01", "2025-02-28"), Some(CONTRAST));
    }
}
