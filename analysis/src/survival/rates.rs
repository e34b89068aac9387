//! Deaths per time at risk, with exact limits that treat specimens as independent.
//!
//! With few tanks these limits are too narrow; a fit clustered by tank says how much.
//!
//! Garwood 1936, Biometrika 28: 437–442; Clopper & Pearson 1934, Biometrika 26: 404–413.

use crate::numeric::tail::{beta_quantile, binomial_two_sided, chi_squared_quantile};
use crate::refusal::{Refusal, RefusalCode};

/// Mean length of a month in days.
pub const DAYS_PER_MONTH: f64 = 30.4375;

/// Deaths per unit of time at risk.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rate {
    /// Deaths.
    pub deaths: u64,
    /// Time at risk, usually specimen-days.
    pub time: f64,
    /// Deaths over time.
    pub rate: f64,
    /// Exact lower limit; 0 without deaths.
    pub lower: f64,
    /// Exact upper limit.
    pub upper: f64,
}

impl Rate {
    /// The same rate per 100 specimen-months, of a rate per specimen-day: `[rate, lower, upper]`.
    pub fn per_100_months(&self) -> [f64; 3] {
        [self.rate, self.lower, self.upper].map(|value| value * DAYS_PER_MONTH * 100.0)
    }
}

/// A ratio of two rates, first over second.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RateRatio {
    /// Ratio; `None` if the second group has no deaths.
    pub ratio: Option<f64>,
    /// Exact lower limit.
    pub lower: f64,
    /// Exact upper limit; `None` if the second group has no deaths.
    pub upper: Option<f64>,
    /// Exact two-sided p of equal rates: all outcomes at most as likely as the one seen.
    pub p: f64,
}

/// The rate of `deaths` in `time` with exact limits of the given level.
///
/// Without deaths the upper limit is `-ln((1 - level) / 2) / time`, 3.689/time at 95 %.
///
/// # Errors
/// `InvalidInput` unless `time` is finite and above 0 and `level` between 0 and 1.
pub fn rate(deaths: u64, time: f64, level: f64) -> Result<Rate, Refusal> {
    check(time, level)?;
    let outside = 0.5 * (1.0 - level);
    let d = deaths as f64;
    let quantile = |p: f64, df: f64| {
        chi_squared_quantile(p, df)
            .ok_or_else(|| Refusal::plain(RefusalCode::NotConverged, "the exact limits of the rate were not found"))
    };
    let lower = if deaths == 0 { 0.0 } else { quantile(outside, 2.0 * d)? / (2.0 * time) };
    let upper = quantile(1.0 - outside, 2.0 * d + 2.0)? / (2.0 * time);
    Ok(Rate { deaths, time, rate: d / time, lower, upper })
}

/// The ratio of the rates `deaths[0] / time[0]` and `deaths[1] / time[1]` with exact limits of the given level.
///
/// Given all deaths, those of the first group are binomial; its limits are Clopper and Pearson's.
///
/// # Errors
/// `NoEvents` without deaths in both groups, `InvalidInput` as for [`rate`].
pub fn rate_ratio(deaths: [u64; 2], time: [f64; 2], level: f64) -> Result<RateRatio, Refusal> {
    check(time[0], level)?;
    check(time[1], level)?;
    let all = deaths[0] + deaths[1];
    if all == 0 {
        return Err(Refusal::counted(RefusalCode::NoEvents, 0.0, 1.0, "nobody died in either group"));
    }
    let outside = 0.5 * (1.0 - level);
    let (first, second) = (deaths[0] as f64, deaths[1] as f64);
    let quantile = |p: f64, a: f64, b: f64| {
        beta_quantile(p, a, b)
            .ok_or_else(|| Refusal::plain(RefusalCode::NotConverged, "the exact limits of the ratio were not found"))
    };
    // Odds of a death falling into the first group, from the share of the smaller side so that no digits are lost.
    let scale = time[1] / time[0];
    let lower = if deaths[0] == 0 {
        0.0
    } else {
        let share = quantile(outside, first, second + 1.0)?;
        share / (1.0 - share) * scale
    };
    let upper = if deaths[1] == 0 {
        None
    } else {
        let rest = quantile(outside, second, first + 1.0)?;
        Some((1.0 - rest) / rest * scale)
    };
    Ok(RateRatio {
        ratio: (deaths[1] > 0).then(|| (first / time[0]) / (second / time[1])),
        lower,
        upper,
        p: binomial_two_sided(deaths[0], all, time[0] / (time[0] + time[1])),
    })
}

fn check(time: f64, level: f64) -> Result<(), Refusal> {
    if !time.is_finite() || time <= 0.0 {
        return Err(Refusal::plain(
            RefusalCode::InvalidInput,
            format!("a rate needs a finite time at risk above 0, not {time}"),
        ));
    }
    if level.is_nan() || level <= 0.0 || level >= 1.0 {
        return Err(Refusal::plain(
            RefusalCode::InvalidInput,
            format!("the level of the limits must lie between 0 and 1, not {level}"),
        ));
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_death_has_an_upper_limit() -> Result<(), Refusal> {
        let none = rate(0, 1000.0, 0.95)?;
        assert_eq!((none.rate, none.lower), (0.0, 0.0));
        assert!((none.upper * 1000.0 - 3.688_879_454_113_936).abs() < 1e-12);
        assert!((none.per_100_months()[2] - none.upper * 3043.75).abs() < 1e-12);
        Ok(())
    }

    #[test]
    fn ratios_with_an_empty_side() -> Result<(), Refusal> {
        let none_second = rate_ratio([3, 0], [10.0, 10.0], 0.95)?;
        assert_eq!((none_second.ratio, none_second.upper), (None, None));
        // All three deaths on one side of equal times: share^3 = 0.025; p = 2/8.
        let share = 0.025f64.cbrt();
        assert!((none_second.lower - share / (1.0 - share)).abs() < 1e-12);
        assert!((none_second.p - 0.25).abs() < 1e-12);
        let none_first = rate_ratio([0, 3], [10.0, 10.0], 0.95)?;
        assert_eq!((none_first.ratio, none_first.lower), (Some(0.0), 0.0));
        Ok(())
    }

    #[test]
    fn nothing_to_divide_is_refused() {
        assert_eq!(rate_ratio([0, 0], [1.0, 1.0], 0.95).map_err(|r| r.code), Err(RefusalCode::NoEvents));
        for time in [0.0, -1.0, f64::NAN, f64::INFINITY] {
            assert_eq!(rate(1, time, 0.95).map_err(|r| r.code), Err(RefusalCode::InvalidInput));
        }
        assert_eq!(rate(1, 1.0, 1.0).map_err(|r| r.code), Err(RefusalCode::InvalidInput));
    }
}
