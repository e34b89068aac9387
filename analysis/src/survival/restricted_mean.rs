//! Days of life within a horizon: the area under a survival curve.
//!
//! It is only compared at the same horizon, and never computed beyond the time anybody was watched.
//!
//! Royston & Parmar 2013, BMC Med Res Methodol 13: 152; Klein & Moeschberger 2003, *Survival Analysis*, section 4.5.

use std::collections::BTreeMap;

use crate::episode::Episodes;
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

/// What each cluster (a tank) moves the restricted mean by, to first order: the influence of its rows, that of Dorey &
/// Korn 1987 on `S(t)` integrated up to the horizon. The sum of its squares is the variance that allows for clusters;
/// with one row a cluster and no late entry it is the plain one.
///
/// `cluster` holds a key per row, and all rows of a specimen have the same. Clusters of which no row was at risk at a
/// death are left out. O(n log n).
pub fn restricted_mean_influence<K: Ord + Copy>(
    episodes: &Episodes,
    cluster: &[K],
    curve: &KaplanMeier,
    horizon: f64,
) -> BTreeMap<K, f64> {
    let steps = &curve.steps[..curve.steps.partition_point(|step| step.time <= horizon)];
    // Area right of each death, and the sums of it times d / (n (n - d)) up to and including each.
    let mut right = vec![0.0; steps.len()];
    let (mut area, mut end) = (0.0, horizon);
    for (step, right) in steps.iter().zip(&mut right).rev() {
        area += step.survival * (end - step.time);
        end = step.time;
        *right = area;
    }
    let mut sums = vec![0.0];
    for (step, right) in steps.iter().zip(&right) {
        let (n, d) = (step.at_risk as f64, step.events as f64);
        let before = sums.last().copied().unwrap_or(0.0);
        sums.push(before + if d < n { right * d / (n * (n - d)) } else { 0.0 });
    }
    let mut influence: BTreeMap<K, f64> = BTreeMap::new();
    for (row, &own) in cluster.iter().enumerate() {
        let (start, stop) = (episodes.start[row], episodes.stop[row]);
        let (first, past) = (
            steps.partition_point(|step| step.time <= start),
            steps.partition_point(|step| step.time <= stop.min(horizon)),
        );
        if stop < curve.start_time || first == past {
            continue;
        }
        let mut moved = sums[past] - sums[first];
        if episodes.event[row] && stop <= horizon {
            let step = &steps[past - 1];
            if step.events < step.at_risk {
                moved -= right[past - 1] / (step.at_risk - step.events) as f64;
            }
        }
        *influence.entry(own).or_default() += moved;
    }
    influence
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
    fn influences_by_hand_and_alike_rows_in_one_cluster() -> Result<(), Refusal> {
        let e = Episodes { start: vec![0.0; 4], stop: vec![2.0, 6.0, 9.0, 9.0], event: vec![true, true, false, false] };
        let curve = kaplan_meier(&e, None, Interval::LogLog);
        let own = restricted_mean_influence(&e, &[1, 2, 3, 4], &curve, 8.0);
        // 4 days right of day 2 and 1 right of day 6: 4/(4*3) to all, less 4/3 for who died; 1/(3*2), less 1/2.
        let by_hand = [1.0 / 3.0 - 4.0 / 3.0, 1.0 / 3.0 + 1.0 / 6.0 - 0.5, 0.5, 0.5];
        for (found, expected) in own.values().zip(by_hand) {
            assert!((found - expected).abs() < 1e-14, "{found} {expected}");
        }
        let variance: f64 = own.values().map(|u| u * u).sum();
        assert!((variance - 1.5).abs() < 1e-14, "as the plain variance: {variance}");
        // Every row twice, in one cluster with its like: it tells no more than once.
        let twice = |values: &[f64]| values.iter().flat_map(|v| [*v, *v]).collect::<Vec<f64>>();
        let event = e.event.iter().flat_map(|died| [*died, *died]).collect();
        let twice = Episodes { start: twice(&e.start), stop: twice(&e.stop), event };
        let curve = kaplan_meier(&twice, None, Interval::LogLog);
        let pairs = restricted_mean_influence(&twice, &[1, 1, 2, 2, 3, 3, 4, 4], &curve, 8.0);
        let variance: f64 = pairs.values().map(|u| u * u).sum();
        assert!((variance - 1.5).abs() < 1e-14, "{variance}");
        Ok(())
    }

    #[test]
    fn limits_by_influence_are_near_those_by_drawing_clusters() -> Result<(), Refusal> {
        // Thirty tanks of four, their hazards apart; corals enter late now and then. Numbers without meaning.
        let (mut e, mut tank) = (Episodes::default(), Vec::new());
        for t in 0..30_u32 {
            for coral in 0..4_u32 {
                let life = 40.0 + f64::from((t * 37 + coral * 11) % 60) * (0.5 + f64::from(t % 6) / 2.0);
                e.start.push(if coral == 0 { 10.0 } else { 0.0 });
                e.stop.push(life.min(150.0));
                e.event.push(life < 150.0);
                tank.push(t);
            }
        }
        let horizon = 120.0;
        let curve = kaplan_meier(&e, None, Interval::LogLog);
        let influence = restricted_mean_influence(&e, &tank, &curve, horizon);
        let linear = influence.values().map(|u| u * u).sum::<f64>().sqrt();
        let plain = restricted_mean(&curve, horizon)?.std_error.unwrap_or(f64::NAN);
        let limits = crate::numeric::bootstrap::cluster_limits(30, 1000, 1, 0.95, |drawn| {
            let rows: Vec<usize> = drawn.iter().flat_map(|t| 4 * t..4 * t + 4).collect();
            restricted_mean(&kaplan_meier(&e.subset(&rows), None, Interval::LogLog), horizon).ok().map(|m| m.estimate)
        })?;
        let drawn = (limits.upper - limits.lower) / (2.0 * normal_multiplier(0.95));
        assert!((linear / drawn - 1.0).abs() < 0.1, "{linear} {drawn}");
        assert!(linear > 1.2 * plain, "corals of a tank die alike: {linear} {plain}");
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
