//! Shares of readings up to a value, some known by a limit only: the product-limit estimate turned round.
//!
//! Of the detected values `x` from the largest down, `n` readings (values and limits) at or below `x`, `d` of them detected
//! at `x`: `F(x) = prod over larger detected values of (1 - d/n)`. At equal value `<x` lies below a detected `x`. Standard
//! errors are Greenwood's.
//!
//! Helsel 2012, *Statistics for Censored Environmental Data Using Minitab and R*, Wiley, chapter 6 (from memory).

use super::{Side, check};
use crate::refusal::{Refusal, RefusalCode};

/// One detected value.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ShareStep {
    /// The value, in the unit of the readings.
    pub value: f64,
    /// Readings, values and limits, at or below it (at or above, for limits above).
    pub at_or_beyond: u64,
    /// Readings detected at it.
    pub detected: u64,
    /// Share of all readings at or below it (at or above).
    pub share: f64,
    /// Greenwood's standard error of the share; 0 at the outermost value.
    pub std_error: f64,
}

/// Shares by detected value.
#[derive(Debug, Clone, PartialEq)]
pub struct CensoredShares {
    /// From the smallest detected value up (from the largest down, for limits above).
    pub steps: Vec<ShareStep>,
    /// Share of readings beyond the first step: below the smallest detected value (above the largest).
    pub beyond: f64,
    /// Where limits lie.
    pub side: Side,
}

/// A percentile.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Percentile {
    /// This value.
    At(f64),
    /// Somewhere below this, the smallest detected value.
    Below(f64),
    /// Somewhere above this, the largest detected value.
    Above(f64),
}

/// Shares from readings; `limited` says which of `values` are limits, all on one `side`.
///
/// # Errors
/// `InvalidInput` for columns of unlike length or a value that is not finite, `EmptyGroup` without readings,
/// `TooFewEvents` if nothing was detected.
pub fn censored_shares(values: &[f64], limited: &[bool], side: Side) -> Result<CensoredShares, Refusal> {
    check(values, limited)?;
    let sign = side.sign();
    // Adding 0 makes one number of the two zeros.
    let mut readings: Vec<(f64, bool)> =
        values.iter().zip(limited).map(|(value, &limited)| (sign * value + 0.0, !limited)).collect();
    if readings.iter().all(|(_, detected)| !detected) {
        return Err(Refusal::counted(RefusalCode::TooFewEvents, 0.0, 1.0, "no reading has a value, only limits"));
    }
    readings.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
    let mut steps = Vec::new();
    let (mut share, mut greenwood) = (1.0, 0.0);
    let mut left = readings.len();
    for group in readings.chunk_by(|a, b| a.0 == b.0).rev() {
        let detected = group.iter().filter(|(_, detected)| *detected).count();
        if detected > 0 {
            let (n, d) = (left as f64, detected as f64);
            steps.push(ShareStep {
                value: sign * group[0].0,
                at_or_beyond: left as u64,
                detected: detected as u64,
                share,
                std_error: share * f64::sqrt(greenwood),
            });
            share *= 1.0 - d / n;
            if left > detected {
                greenwood += d / (n * (n - d));
            }
        }
        left -= group.len();
    }
    steps.reverse();
    Ok(CensoredShares { steps, beyond: share, side })
}

impl CensoredShares {
    /// The value up to which a share `p` of the readings lies: the smallest detected value with at least that share at or
    /// below it (from above, for limits above). `None` unless `0 < p < 1`.
    pub fn percentile(&self, p: f64) -> Option<Percentile> {
        if !(p > 0.0 && p < 1.0) {
            return None;
        }
        let wanted = match self.side {
            Side::Below => p,
            Side::Above => 1.0 - p,
        };
        let first = self.steps.first()?;
        // Products of shares fall short of round numbers by their last digits.
        const SLACK: f64 = 1e-9;
        if self.beyond >= wanted - SLACK {
            return Some(match self.side {
                Side::Below => Percentile::Below(first.value),
                Side::Above => Percentile::Above(first.value),
            });
        }
        self.steps.iter().find(|step| step.share >= wanted - SLACK).map(|step| Percentile::At(step.value))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn five_readings_by_hand() -> Result<(), Refusal> {
        // <2, 2, 3, <4, 5. At 5: n 5, F 1; below it 4/5. At 3: n 3 (<2, 2, 3), F 4/5; below it 4/5 * 2/3 = 8/15.
        // At 2: n 2, F 8/15; below it 8/15 * 1/2 = 4/15.
        let found = censored_shares(&[2.0, 2.0, 3.0, 4.0, 5.0], &[true, false, false, true, false], Side::Below)?;
        let close = |got: f64, want: f64| assert!((got - want).abs() < 1e-15, "{got} is not {want}");
        for (step, (value, n, share)) in found.steps.iter().zip([(2.0, 2, 8.0 / 15.0), (3.0, 3, 0.8), (5.0, 5, 1.0)]) {
            assert_eq!((step.value, step.at_or_beyond, step.detected), (value, n, 1));
            close(step.share, share);
        }
        close(found.beyond, 4.0 / 15.0);
        close(found.steps[1].std_error, 0.8 * (1.0f64 / 20.0).sqrt());
        close(found.steps[2].std_error, 0.0);
        assert_eq!(found.percentile(0.25), Some(Percentile::Below(2.0)));
        assert_eq!(found.percentile(0.5), Some(Percentile::At(2.0)));
        assert_eq!(found.percentile(0.8), Some(Percentile::At(3.0)));
        assert_eq!(found.percentile(0.9), Some(Percentile::At(5.0)));
        assert_eq!((found.percentile(0.0), found.percentile(f64::NAN)), (None, None));
        Ok(())
    }

    #[test]
    fn limits_above_are_the_mirror_of_limits_below() -> Result<(), Refusal> {
        let values = [1.0, 3.0, 3.0, 4.0, 7.0, 8.0, 8.0, 9.0];
        let limited = [true, false, true, false, false, true, false, false];
        let below = censored_shares(&values, &limited, Side::Below)?;
        let mirrored: Vec<f64> = values.iter().map(|value| 10.0 - value).collect();
        let above = censored_shares(&mirrored, &limited, Side::Above)?;
        assert_eq!(above.beyond, below.beyond);
        for (a, b) in above.steps.iter().zip(&below.steps) {
            assert_eq!((a.value, a.share, a.std_error), (10.0 - b.value, b.share, b.std_error));
        }
        for p in [0.1, 0.35, 0.5, 0.75, 0.9] {
            let want = match below.percentile(1.0 - p).expect("a percentile") {
                Percentile::At(value) => Percentile::At(10.0 - value),
                Percentile::Below(value) => Percentile::Above(10.0 - value),
                above => above,
            };
            assert_eq!(above.percentile(p), Some(want));
        }
        Ok(())
    }

    #[test]
    fn without_limits_it_is_the_plain_share() -> Result<(), Refusal> {
        let found = censored_shares(&[4.0, 1.0, 3.0, 3.0], &[false; 4], Side::Below)?;
        let shares: Vec<(f64, f64)> = found.steps.iter().map(|step| (step.value, step.share)).collect();
        assert_eq!(shares, [(1.0, 0.25), (3.0, 0.75), (4.0, 1.0)]);
        assert_eq!(found.beyond, 0.0);
        Ok(())
    }

    #[test]
    fn what_has_no_share_says_why() {
        let code = |values: &[f64], limited: &[bool]| {
            censored_shares(values, limited, Side::Below).map(|_| ()).map_err(|refused| refused.code)
        };
        assert_eq!(code(&[1.0, 2.0], &[true, true]), Err(RefusalCode::TooFewEvents));
        assert_eq!(code(&[], &[]), Err(RefusalCode::EmptyGroup));
        assert_eq!(code(&[f64::NAN], &[false]), Err(RefusalCode::InvalidInput));
        assert_eq!(code(&[1.0], &[false, true]), Err(RefusalCode::InvalidInput));
    }
}
