//! Mean of a condition over the days before a moment, weighted by time.

use super::carry::Carry;
use super::series::Series;

/// A mean over a window, and the share of the window that is known.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TrailingMean {
    /// Time-weighted mean over the known days; `None` if there are none.
    pub mean: Option<f64>,
    /// Known days over days of the window.
    pub coverage: f64,
}

/// Share of a window that must be known for its mean to count.
pub const COVERAGE_AT_LEAST: f64 = 0.5;

impl TrailingMean {
    /// The mean, if at least half of the window is known.
    pub fn known(&self) -> Option<f64> {
        self.mean.filter(|_| self.coverage >= COVERAGE_AT_LEAST)
    }
}

/// The mean of the carried tests on `(t - window, t]`. A value under a limit counts as that limit, one over it as that
/// limit, an interval as its middle; several tests of one day as their mean.
pub fn trailing_mean(series: &Series, t: f64, window: f64, carry: &Carry) -> TrailingMean {
    let known = series.up_to(t - carry.lag);
    let days: Vec<f64> = series.days().take_while(|day| *day <= t - carry.lag).collect();
    debug_assert_eq!(known.last_day(), days.last().copied());
    let (mut sum, mut covered) = (0.0, 0.0);
    for (position, &day) in days.iter().enumerate() {
        let past = series.up_to(day);
        let from = (day + carry.lag).max(t - window);
        let mut to = (day + carry.lag + carry.for_tests(&past)).min(t);
        if let Some(next) = days.get(position + 1) {
            to = to.min(next + carry.lag);
        }
        if let Some(value) = past.last_mean().filter(|_| to > from) {
            sum += value * (to - from);
            covered += to - from;
        }
    }
    TrailingMean { mean: (covered > 0.0).then(|| sum / covered), coverage: covered / window }
}
