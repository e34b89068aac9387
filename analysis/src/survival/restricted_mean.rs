//! Days of life within a horizon: the area under a survival curve.
//!
//! It is only compared at the same horizon, and never computed beyond the time anybody was watched.
//!
//! Royston & Parmar 2013, BMC Med Res Methodol 13: 152; Klein & Moeschberger 2003, *Survival Analysis*, section 4.5.

use crate::numeric::tail::{normal_multiplier, normal_two_sided};
use crate::refusal::{Refusal, RefusalCode};

use super::kaplan_meier::KaplanMeier;

/// Mean days of life from the start of the curve to a horizon.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RestrictedMean {
    /// The horizon, on the time axis of the curve.
    pub horizon: f64,
    /// Area under the curve up to the horizon.
    pub estimate: f64,
    /// Standard error; `None` where no death before the horizon left a variance.
    pub std_error: Option<f64>,
    /// Lower limit.
    pub lower: Option<f64>,
    /// Upper limit.
    pub upper: Option<f64>,
}

/// A difference of two restricted means at one horizon.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RestrictedMeanDifference {
    /// The horizon of both.
    pub horizon: f64,
    /// First less second, in days.
    pub estimate: f64,
    /// Standard error of the difference of independent groups.
    pub std_error: f64,
    /// Lower limit.
    pub lower: f64,
    /// Upper limit.
    pub upper: f64,
    /// Two-sided p of no difference.
    pub p: f64,
}

/// The restricted mean of a curve up to `horizon`, with limits of the curve's level.
///
/// # Errors
/// `BeyondFollowUp` if nobody was watched up to the horizon (unless the curve has reached 0 before), `InvalidInput` if
/// the horizon is not after the curve's start.
pub fn restricted_mean(curve: &KaplanMeier, horizon: f64) -> Result<RestrictedMean, Refusal> {
    if horizon.is_nan() || horizon <= curve.start_time {
        return Err(Refusal::plain(
            RefusalCode::InvalidInput,
            format!("the horizon, day {horizon}, is not after the start of the curve, day {}", curve.start_time),
        ));
    }
    if curve.survival_at(horizon).is_none() {
        return Err(Refusal::counted(
            RefusalCode::BeyondFollowUp,
            curve.last_time,
            horizon,
            format!("nobody was watched up to day {horizon}: the last day is {}", curve.last_time),
        ));
    }
    let steps = &curve.steps[..curve.steps.partition_point(|step| step.time <= horizon)];
    // Backwards, so that the area to the right of each death is at hand for its variance term.
    let (mut area, mut variance, mut end) = (0.0, 0.0, horizon);
    for step in steps.iter().rev() {
        area += step.survival * (end - step.time);
        end = step.time;
        let (n, d) = (step.at_risk as f64, step.events as f64);
        if d < n {
            variance += area * area * (d / (n * (n - d)));
        }
    }
    area += end - curve.start_time;
    let std_error = (variance > 0.0).then(|| variance.sqrt());
    let z = normal_multiplier(curve.level);
    Ok(RestrictedMean {
        horizon,
        estimate: area,
        std_error,
        lower: std_error.map(|se| area - z * se),
        upper: std_error.map(|se| area + z * se),
    })
}

/// The difference of two groups' restricted means, first less second, with limits of the given level.
///
/// # Errors
/// `DifferentDefinitions` if the horizons differ, `TooFewEvents` if neither or only one mean has a standard error.
pub fn restricted_mean_difference(
    first: &RestrictedMean,
    second: &RestrictedMean,
    level: f64,
) -> Result<RestrictedMeanDifference, Refusal> {
    if first.horizon != second.horizon {
        return Err(Refusal::plain(
            RefusalCode::DifferentDefinitions,
            format!("the horizons differ: day {} and day {}", first.horizon, second.horizon),
        ));
    }
    let (Some(a), Some(b)) = (first.std_error, second.std_error) else {
        let have = f64::from(u8::from(first.std_error.is_some()) + u8::from(second.std_error.is_some()));
        return Err(Refusal::counted(
            RefusalCode::TooFewEvents,
            have,
            2.0,
            "a group without deaths before the horizon has no standard error to compare with",
        ));
    };
    let estimate = first.estimate - second.estimate;
    let std_error = a.hypot(b);
    let z = normal_multiplier(level);
    Ok(RestrictedMeanDifference {
        horizon: first.horizon,
        estimate,
        std_error,
        lower: estimate - z * std_error,
        upper: estimate + z * std_error,
        p: normal_two_sided(estimate / std_error),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::episode::Episodes;
    use crate::survival::{Interval, kaplan_meier};

    fn curve(start: f64, stop: &[f64], event: &[bool]) -> KaplanMeier {
        let e = Episodes { start: vec![start; stop.len()], stop: stop.to_vec(), event: event.to_vec() };
        kaplan_meier(&e, None, Interval::LogLog)
    }

    #[test]
    fn area_and_variance_by_hand() -> Result<(), Refusal> {
        // S = 1 to day 2, 3/4 to day 6, 1/2 to day 8: 2 + 3 + 1 = 6 days.
        let mean = restricted_mean(&curve(0.0, &[2.0, 6.0, 9.0, 9.0], &[true, true, false, false]), 8.0)?;
        assert!((mean.estimate - 6.0).abs() < 1e-14);
        // Right of day 2: 4 days, of day 6: 1 day; 16/(4*3) + 1/(3*2) = 1.5.
        assert!((mean.std_error.unwrap_or(f64::NAN) - 1.5f64.sqrt()).abs() < 1e-14);
        Ok(())
    }

    #[test]
    fn late_entry_counts_from_the_start_of_the_curve() -> Result<(), Refusal> {
        let mean = restricted_mean(&curve(30.0, &[32.0, 36.0, 39.0, 39.0], &[true, true, false, false]), 38.0)?;
        assert!((mean.estimate - 6.0).abs() < 1e-14);
        Ok(())
    }

    #[test]
    fn beyond_the_last_look_it_is_refused_unless_all_have_died() {
        let refused = restricted_mean(&curve(0.0, &[2.0, 9.0], &[true, false]), 10.0);
        assert_eq!(refused.map_err(|r| r.code), Err(RefusalCode::BeyondFollowUp));
        let all_dead = restricted_mean(&curve(0.0, &[2.0, 6.0], &[true, true]), 10.0);
        assert_eq!(all_dead.map(|m| m.estimate), Ok(4.0));
        let backwards = restricted_mean(&curve(5.0, &[9.0], &[true]), 5.0);
        assert_eq!(backwards.map_err(|r| r.code), Err(RefusalCode::InvalidInput));
    }

    #[test]
    fn without_a_death_there_is_no_limit_of_zero_width() -> Result<(), Refusal> {
        let alive = restricted_mean(&curve(0.0, &[20.0, 20.0], &[false, false]), 10.0)?;
        assert_eq!((alive.estimate, alive.std_error, alive.lower), (10.0, None, None));
        let refused = restricted_mean_difference(&alive, &alive, 0.95);
        assert_eq!(refused.map_err(|r| r.code), Err(RefusalCode::TooFewEvents));
        Ok(())
    }

    #[test]
    fn unlike_horizons_are_not_compared() -> Result<(), Refusal> {
        let c = curve(0.0, &[2.0, 6.0, 9.0, 9.0], &[true, true, false, false]);
        let refused = restricted_mean_difference(&restricted_mean(&c, 7.0)?, &restricted_mean(&c, 8.0)?, 0.95);
        assert_eq!(refused.map_err(|r| r.code), Err(RefusalCode::DifferentDefinitions));
        Ok(())
    }
}
