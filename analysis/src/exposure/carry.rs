//! How long a test speaks: from its day plus the lag until the next one does, or until its carry is over. After that,
//! and before the first test, nothing is known.

use super::band::Scale;
use super::series::{Meaning, Past, Series, Test};
use super::steps::{Level, Steps};

/// Days a test of a probe speaks when no newer one came.
pub const PROBE_CARRY_DAYS: f64 = 3.0;

/// How long a test speaks, in days.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Carry {
    /// From its own day until it begins to speak.
    pub lag: f64,
    /// From then until it falls silent.
    pub days: f64,
}

impl Carry {
    pub(super) fn for_tests(&self, past: &Past) -> f64 {
        if past.is_probe() { self.days.min(PROBE_CARRY_DAYS) } else { self.days }
    }
}

/// The level at each moment: a test of day `t` speaks on `(t + lag, min(next test + lag, t + lag + carry)]`.
///
/// Several tests of one day: the one level of all of them; otherwise, if all are exact and of one log, the level of
/// their mean; otherwise unknown. O(n) in the number of tests, which are in order.
pub fn levels(series: &Series, scale: &Scale, carry: &Carry) -> Steps {
    let mut steps = Steps::default();
    let mut silent = f64::INFINITY;
    for past in series.each_day() {
        let Some(day) = past.last_day() else { continue };
        let from = day + carry.lag;
        if silent < from {
            steps.push(silent, None);
        }
        steps.push(from, level_of_day(past.last_tests(), scale));
        silent = from + carry.for_tests(&past);
    }
    if silent.is_finite() {
        steps.push(silent, None);
    }
    steps
}

fn level_of_day(tests: &[Test], scale: &Scale) -> Level {
    let first = tests.first()?;
    let level = scale.level(first);
    if tests.iter().all(|test| scale.level(test) == level) {
        return level;
    }
    let exact: Vec<f64> = tests
        .iter()
        .filter_map(|test| match test.meaning {
            Meaning::Exact(value) if test.log == first.log => Some(value),
            _ => None,
        })
        .collect();
    if exact.len() < tests.len() {
        return None;
    }
    let mean = exact.iter().sum::<f64>() / exact.len() as f64;
    scale.level(&Test { meaning: Meaning::Exact(mean), ..*first })
}
