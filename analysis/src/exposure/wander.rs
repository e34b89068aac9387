//! How a tank's tests wander: spread, rate of change, and the gap since the last one.
//!
//! All look back from the moment asked about, at tests that speak by then, each day by [`super::Past::last_mean`].

use super::carry::Carry;
use super::series::{Past, Series};
use super::steps::{Level, Steps};

/// Days that a spread looks back over.
pub const SPREAD_DAYS: f64 = 60.0;
/// Fewest days of testing in them.
pub const SPREAD_TESTS: usize = 4;
/// Days that a rate of change looks back over.
pub const CHANGE_DAYS: f64 = 30.0;

/// One day of testing: when it begins to speak, until when at the latest, and its value.
struct Spoken {
    from: f64,
    to: f64,
    value: f64,
}

fn spoken(series: &Series, carry: &Carry) -> Vec<Spoken> {
    let read = |past: Past| {
        let from = past.last_day()? + carry.lag;
        Some(Spoken { from, to: from + carry.for_tests(&past), value: past.last_mean()? })
    };
    series.each_day().filter_map(read).collect()
}

/// A level that is worked out anew at every moment at which a test begins to speak, and on every whole day until the
/// last of them has left the window.
fn daily(tests: &[Spoken], window: f64, level: impl Fn(&[Spoken], f64) -> Level) -> Steps {
    let mut instants: Vec<f64> = tests.iter().map(|test| test.from).collect();
    if let (Some(first), Some(last)) = (tests.first(), tests.last()) {
        let days = (last.from + window - first.from).ceil() as usize;
        instants.extend((0..=days).map(|day| first.from + day as f64));
    }
    // Instants come in order: the window only moves on.
    let (mut since, mut known) = (0, 0);
    Steps::from_instants(instants, |t| {
        while tests.get(known).is_some_and(|test| test.from <= t) {
            known += 1;
        }
        while since < known && tests[since].from <= t - window {
            since += 1;
        }
        level(&tests[since..known], t)
    })
}

/// Whether the standard deviation of the carried tests over the last 60 days, weighted by time, reaches `cut`; unknown
/// with fewer than four days of testing in them.
pub(super) fn spread(series: &Series, carry: &Carry, cut: f64) -> Steps {
    let tests = spoken(series, carry);
    daily(&tests, SPREAD_DAYS, |window, t| {
        if window.len() < SPREAD_TESTS {
            return None;
        }
        let weights: Vec<f64> = window
            .iter()
            .enumerate()
            .map(|(at, test)| test.to.min(window.get(at + 1).map_or(t, |next| next.from)).min(t) - test.from)
            .collect();
        let all: f64 = weights.iter().sum();
        // Four tests of which the last begins to speak now: it weighs nothing yet, the three before it do.
        if all <= 0.0 {
            return None;
        }
        let mean = window.iter().zip(&weights).map(|(test, w)| w * test.value).sum::<f64>() / all;
        let square = window.iter().zip(&weights).map(|(test, w)| w * (test.value - mean).powi(2)).sum::<f64>() / all;
        Some(u16::from(reaches(square.sqrt(), cut)))
    })
}

/// Whether the largest change a day between two tests in a row, both in the last 30 days, reaches `cut`; unknown with
/// fewer than two.
pub(super) fn change(series: &Series, carry: &Carry, cut: f64) -> Steps {
    let tests = spoken(series, carry);
    daily(&tests, CHANGE_DAYS, |window, _| {
        let rates = window.windows(2).map(|pair| (pair[1].value - pair[0].value).abs() / (pair[1].from - pair[0].from));
        rates.max_by(f64::total_cmp).map(|largest| u16::from(reaches(largest, cut)))
    })
}

/// Whether the last test is at least `days` old; unknown before the first.
pub(super) fn gap(series: &Series, lag: f64, days: f64) -> Steps {
    let tested: Vec<f64> = series.days().collect();
    let instants = tested.iter().flat_map(|day| [day + lag, day + lag + days]).collect();
    Steps::from_instants(instants, |instant| {
        let last = series.up_to(instant - lag).last_day()?;
        Some(u16::from(instant - lag >= last + days))
    })
}

/// At or above a cut, but for what the arithmetic loses.
fn reaches(value: f64, cut: f64) -> bool {
    value >= cut - 1e-9 * cut.abs()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::exposure::{Meaning, Test};

    fn series(values: &[(f64, f64)]) -> Series {
        let test = |&(day, value): &(f64, f64)| Test { day, meaning: Meaning::Exact(value), step: None, log: 0 };
        Series::new(values.iter().map(test).collect())
    }

    const CARRY: Carry = Carry { lag: 0.0, days: 35.0 };

    #[test]
    fn a_spread_weighs_by_time_and_needs_four_tests() {
        // 8 for 10 days, 10 for 10, 8 for 10: at day 30 the mean is 26/3, the variance 8/9, the deviation 0.9428.
        let tests = series(&[(0.0, 8.0), (10.0, 10.0), (20.0, 8.0), (30.0, 8.0)]);
        assert_eq!(spread(&tests, &CARRY, 0.94).after(29.0), None);
        assert_eq!(spread(&tests, &CARRY, 0.94).after(30.0), Some(1));
        assert_eq!(spread(&tests, &CARRY, 0.95).after(30.0), Some(0));
        // The first test leaves the window on day 60.
        assert_eq!(spread(&tests, &CARRY, 0.1).after(60.0), None);
    }

    #[test]
    fn a_change_is_the_largest_a_day_of_the_last_month() {
        let tests = series(&[(0.0, 5.0), (10.0, 15.0), (20.0, 15.0)]);
        assert_eq!(change(&tests, &CARRY, 1.0).after(10.0), Some(1));
        assert_eq!(change(&tests, &CARRY, 1.001).after(20.0), Some(0));
        assert_eq!(change(&tests, &CARRY, 1.0).after(0.0), None);
        // From day 30 on the first test is out of the window, and with it the rise.
        assert_eq!(change(&tests, &CARRY, 1.0).after(30.0), Some(0));
        assert_eq!(change(&tests, &CARRY, 1.0).after(41.0), None);
    }

    #[test]
    fn a_gap_opens_when_the_last_test_is_old() {
        let steps = gap(&series(&[(0.0, 1.0), (30.0, 1.0)]), 0.0, 14.0);
        assert_eq!([steps.after(-1.0), steps.after(0.0), steps.after(13.0)], [None, Some(0), Some(0)]);
        assert_eq!([steps.after(14.0), steps.after(30.0), steps.after(500.0)], [Some(1), Some(0), Some(1)]);
    }
}
