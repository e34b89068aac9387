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
/// their mean; otherwise unknown. O(n log n) in the number of tests.
pub fn levels(series: &Series, scale: &Scale, carry: &Carry) -> Steps {
    let mut instants = Vec::new();
    for day in series.days() {
        let past = series.up_to(day);
        instants.push(day + carry.lag);
        instants.push(day + carry.lag + carry.for_tests(&past));
    }
    Steps::from_instants(instants, |instant| {
        let day = instant - carry.lag;
        let past = series.up_to(day);
        let tested = past.last_day()?;
        if day >= tested + carry.for_tests(&past) {
            return None;
        }
        level_of_day(past.last_tests(), scale)
    })
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
