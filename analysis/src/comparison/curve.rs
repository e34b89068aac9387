//! The figures of one group: curve, share alive at the horizon, median, restricted mean, rate.
//!
//! With deaths known to more than a week, the mean of the curves of the drawn sets stands for the curve, with the
//! variance of Rubin's rules on the scale of ln(-ln S) (Rubin 1987, from memory), on a grid of weeks. Where death is another
//! end than the event, the curve is one minus the incidence of the event, with limits on the scale of ln(-ln F).

use std::collections::BTreeMap;

use super::rows::{DECLINE, Rows};
use super::sets::Sets;
use crate::answer::{AtHorizon, CurvePoint, Estimate, Outcome, RatePart, RestrictedMeanPart};
use crate::episode::{Episodes, settled_clusters};
use crate::evidence::{at_risk_at_a_death, minimums};
use crate::numeric::tail::{normal_multiplier, student_multiplier};
use crate::refusal::{Refusal, RefusalCode};
use crate::survival::cox::{WaldLimits, clustered_limits};
use crate::survival::{
    Interval, KaplanMeier, club_start_time, clustered_incidence_std_errors, clustered_std_errors, event_free,
    kaplan_meier, quantile, rate, restricted_mean, restricted_mean_influence,
};

/// Coverage of all limits.
pub const LEVEL: f64 = 0.95;
const WEEK_DAYS: f64 = 7.0;

/// What corals share: deaths in one cluster may depend on each other.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ClusterBy {
    /// Their tank.
    Tank,
    /// Their keeper.
    Keeper,
}

impl ClusterBy {
    /// Keepers from 20 keepers at risk at a death on, tanks below.
    pub fn of(rows: &Rows) -> ClusterBy {
        if at_risk_at_a_death(rows, &rows.keeper) >= minimums::KEEPERS_AS_CLUSTERS {
            ClusterBy::Keeper
        } else {
            ClusterBy::Tank
        }
    }

    /// The name as printed.
    pub const fn as_str(self) -> &'static str {
        match self {
            ClusterBy::Tank => "tank",
            ClusterBy::Keeper => "keeper",
        }
    }

    /// One cluster number a row; all rows of a specimen have that of its first tank, whether it moved or not.
    pub fn column(self, rows: &Rows) -> Vec<u32> {
        match self {
            ClusterBy::Tank => settled_clusters(&rows.episodes, &rows.specimen, &rows.tanks_as_clusters()),
            ClusterBy::Keeper => rows.keeper.clone(),
        }
    }

    /// The same by keys that other rows of the club have too: a tank, or a keeper whose tank is not said.
    fn keys(self, rows: &Rows) -> Vec<(bool, u32)> {
        let tanks = rows.tank.iter().flatten().max().map_or(0, |tank| tank + 1);
        let key = |id: u32| match self {
            ClusterBy::Tank if id >= tanks => (true, id - tanks),
            _ => (false, id),
        };
        self.column(rows).into_iter().map(key).collect()
    }
}

/// Days of life of one set: the model-based standard error, and what each cluster moves them by.
struct Days {
    estimate: f64,
    std_error: Option<f64>,
    influence: BTreeMap<(bool, u32), f64>,
}

/// Half the width of the published limits of days over sets: t times the root of `G/(G-1)` times the mean clustered
/// variance within them and that between them; `None` without deaths.
fn half_width(estimates: &[f64], within: &[BTreeMap<(bool, u32), f64>]) -> Option<f64> {
    let squares: Vec<f64> = within.iter().map(|by| by.values().map(|u| u * u).sum()).collect();
    let clusters = within.iter().map(BTreeMap::len).min().filter(|clusters| *clusters > 1)? as f64;
    let variance = clusters / (clusters - 1.0) * mean(&squares) + between(estimates);
    student_multiplier(LEVEL, clusters - 1.0).filter(|_| variance > 0.0).map(|t| t * variance.sqrt())
}

/// The curves of one group, one per set.
#[derive(Debug, Clone)]
pub struct GroupCurves {
    /// Day since acquisition from which they run.
    pub start_time: f64,
    /// Last day with at least five at risk in every set.
    pub last_time: f64,
    /// What the events are.
    outcome: Outcome,
    whole: Vec<KaplanMeier>,
    cut: Vec<KaplanMeier>,
}

/// A mean over sets with limits.
struct Pooled {
    survival: f64,
    std_error: Option<f64>,
    lower: Option<f64>,
    upper: Option<f64>,
}

/// Between-set variance, with the factor for a finite number of sets; 0 for one set.
pub(super) fn between(values: &[f64]) -> f64 {
    let m = values.len() as f64;
    if values.len() < 2 {
        return 0.0;
    }
    let mean = values.iter().sum::<f64>() / m;
    (1.0 + 1.0 / m) * values.iter().map(|value| (value - mean) * (value - mean)).sum::<f64>() / (m - 1.0)
}

/// Published limits of a coefficient over drawn sets: `within`, the mean plain sandwich variance, gets the factor for a
/// finite number of clusters, `between` the sets does not.
///
/// # Errors
/// `TooFewClusters`.
pub(super) fn pooled_limits(coef: f64, within: f64, between: f64, clusters: usize) -> Result<WaldLimits, Refusal> {
    let factor = clusters as f64 / clusters.saturating_sub(1) as f64;
    clustered_limits(coef, within + between / factor, clusters, LEVEL)
}

pub(super) fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len() as f64
}

/// Shares alive of the sets with their standard errors, pooled.
fn pool(survival: &[f64], std_error: &[Option<f64>], multiplier: f64) -> Pooled {
    let pooled = mean(survival);
    let errors: Option<Vec<f64>> = std_error.iter().copied().collect();
    let variance = |errors: &[f64]| mean(&errors.iter().map(|se| se * se).collect::<Vec<_>>());
    let se = errors.as_deref().map(|errors| (variance(errors) + between(survival)).sqrt());
    let inside = survival.iter().all(|s| *s > 0.0 && *s < 1.0);
    let limits = errors.filter(|_| inside).map(|errors| {
        let scaled: Vec<f64> = survival.iter().zip(&errors).map(|(s, se)| se / (s * s.ln().abs())).collect();
        let log_log: Vec<f64> = survival.iter().map(|s| (-s.ln()).ln()).collect();
        let v = multiplier * (variance(&scaled) + between(&log_log)).sqrt();
        (pooled.powf(v.exp()), pooled.powf((-v).exp()))
    });
    Pooled { survival: pooled, std_error: se, lower: limits.map(|l| l.0), upper: limits.map(|l| l.1) }
}

impl GroupCurves {
    /// The curves of a group; `start` sets where they begin, otherwise the club's rule does.
    pub fn new(sets: &Sets, start: Option<f64>) -> GroupCurves {
        let start_time = start.unwrap_or_else(|| club_start_time(&sets.middle.any_end()));
        let curve = |episodes: &Episodes| kaplan_meier(episodes, Some(start_time), Interval::LogLog);
        let (whole, cut): (Vec<KaplanMeier>, Vec<KaplanMeier>) = sets
            .all()
            .iter()
            .map(|rows| {
                let every_end = curve(&rows.any_end());
                let cut = every_end.cut_at_risk(minimums::POINT_AT_RISK);
                if !sets.outcome.has_competing_end() {
                    return (every_end, cut);
                }
                // The incidence rests on every end: it stops where too few are at risk at any.
                let own = event_free(&rows.episodes, &rows.cause, DECLINE, start_time);
                let cut = own.cut_at(cut.last_time);
                (own, cut)
            })
            .unzip();
        let last_time = cut.iter().map(|curve| curve.last_time).fold(f64::INFINITY, f64::min);
        GroupCurves { start_time, last_time, outcome: sets.outcome, whole, cut }
    }

    /// Shares without the outcome, pooled on the scale of their limits: ln(-ln) of the share, of the incidence where there
    /// are other ends.
    fn pool(&self, without: &[f64], std_error: &[Option<f64>], multiplier: f64) -> Pooled {
        if !self.outcome.has_competing_end() {
            return pool(without, std_error, multiplier);
        }
        let incidence: Vec<f64> = without.iter().map(|share| 1.0 - share).collect();
        let pooled = pool(&incidence, std_error, multiplier);
        Pooled {
            survival: mean(without),
            std_error: pooled.std_error,
            lower: pooled.upper.map(|upper| 1.0 - upper),
            upper: pooled.lower.map(|lower| 1.0 - lower),
        }
    }

    /// The printed points: every one with at least five at risk.
    ///
    /// # Errors
    /// `NoEvents` without a death, `RiskSetTooSmall` if the first death already had fewer than five at risk.
    pub fn points(&self) -> Result<Vec<CurvePoint>, Refusal> {
        let words = self.outcome.words();
        if self.whole.iter().all(|curve| curve.steps.is_empty()) {
            return Err(Refusal::counted(
                RefusalCode::NoEvents,
                0.0,
                1.0,
                format!("No {} yet: a flat curve would say nothing; the rate's upper limit does.", words.one),
            ));
        }
        let points = match self.cut.as_slice() {
            [only] => only.steps.iter().map(point).collect(),
            many => self.weekly(many),
        };
        if points.is_empty() {
            let have = self.whole.iter().filter_map(|curve| curve.steps.first()).map(|step| step.at_risk).min();
            return Err(Refusal::counted(
                RefusalCode::RiskSetTooSmall,
                have.unwrap_or(0) as f64,
                minimums::POINT_AT_RISK as f64,
                format!("Fewer than five corals were at risk at every {}.", words.one),
            ));
        }
        Ok(points)
    }

    fn weekly(&self, curves: &[KaplanMeier]) -> Vec<CurvePoint> {
        let z = normal_multiplier(LEVEL);
        let mut points = Vec::new();
        let (mut events, mut censored) = (0, 0);
        let mut week = 1.0;
        while self.start_time + week * WEEK_DAYS <= self.last_time {
            let time = self.start_time + week * WEEK_DAYS;
            week += 1.0;
            let at: Vec<_> = curves.iter().filter_map(|curve| curve.survival_at(time)).collect();
            if at.len() < curves.len() {
                break;
            }
            let survival: Vec<f64> = at.iter().map(|step| step.survival).collect();
            let std_error: Vec<Option<f64>> = at.iter().map(|step| step.std_error).collect();
            let pooled = self.pool(&survival, &std_error, z);
            let average = |of: fn(&crate::survival::Step) -> u64| {
                let sums = curves.iter().map(|curve| {
                    let begun = curve.steps.iter().take_while(|step| step.time <= time).map(of).sum::<u64>();
                    (begun + of(&curve.origin)) as f64
                });
                (sums.sum::<f64>() / curves.len() as f64).round() as u64
            };
            let (died, left) = (average(|step| step.events), average(|step| step.censored));
            let at_risk: Vec<f64> = curves.iter().map(|curve| curve.at_risk_at(time) as f64).collect();
            // Before late entrants join, few may be at risk though nobody dies.
            if mean(&at_risk) < minimums::POINT_AT_RISK as f64 {
                continue;
            }
            points.push(CurvePoint {
                time,
                at_risk: mean(&at_risk).round() as u64,
                events: died.saturating_sub(events),
                censored: left.saturating_sub(censored),
                survival: pooled.survival,
                std_error: pooled.std_error,
                lower: pooled.lower,
                upper: pooled.upper,
            });
            (events, censored) = (died.max(events), left.max(censored));
        }
        points
    }

    /// The share alive at the horizon, with limits that allow for clusters: `G/(G-1)` times the clustered variance and
    /// t with `G-1` degrees of freedom, on the scale of ln(-ln S).
    ///
    /// # Errors
    /// `NoEvents`, `BeyondFollowUp` or `RiskSetTooSmall`.
    pub fn at_horizon(&self, sets: &Sets, cluster: ClusterBy, horizon: f64) -> Result<AtHorizon, Refusal> {
        let beyond = |have: f64| {
            Refusal::counted(
                RefusalCode::BeyondFollowUp,
                have,
                horizon,
                format!("These corals were followed to day {}, not to day {horizon}.", have.floor()),
            )
        };
        if horizon <= self.start_time {
            return Err(Refusal::counted(
                RefusalCode::BeyondFollowUp,
                self.start_time,
                horizon,
                format!("The curve begins on day {}: earlier too few were under observation.", self.start_time),
            ));
        }
        let mut survival = Vec::new();
        for curve in &self.whole {
            let step = curve.survival_at(horizon).ok_or_else(|| beyond(curve.last_time))?;
            let at_risk = curve.at_risk_at(horizon);
            if at_risk < minimums::POINT_AT_RISK {
                return Err(Refusal::counted(
                    RefusalCode::RiskSetTooSmall,
                    at_risk as f64,
                    minimums::POINT_AT_RISK as f64,
                    format!("Still followed on day {horizon}: {at_risk}; at least five corals are needed."),
                ));
            }
            survival.push(step.survival);
        }
        if horizon > self.last_time {
            return Err(self.stopped_before(horizon));
        }
        if survival.iter().all(|s| *s >= 1.0) {
            return Err(Refusal::counted(
                RefusalCode::NoEvents,
                0.0,
                1.0,
                format!(
                    "No {} by day {horizon}: the rate's upper limit says how many would still fit.",
                    self.outcome.words().one
                ),
            ));
        }
        let mut std_error = Vec::new();
        let mut fewest = u64::MAX;
        for (rows, curve) in sets.all().iter().zip(&self.whole) {
            let clusters = cluster.column(rows);
            let count = at_risk_at_a_death(rows, &clusters);
            fewest = fewest.min(count);
            let plain = if self.outcome.has_competing_end() {
                let (e, start) = (&rows.episodes, self.start_time);
                clustered_incidence_std_errors(e, &rows.cause, DECLINE, &rows.specimen, &clusters, start, &[horizon])
            } else {
                clustered_std_errors(&rows.episodes, &rows.specimen, &clusters, curve, &[horizon])
            };
            let factor = if count > 1 { (count as f64 / (count as f64 - 1.0)).sqrt() } else { f64::NAN };
            std_error
                .push(plain.first().copied().flatten().map(|se| se * factor).filter(|se| se.is_finite() && *se > 0.0));
        }
        let t = student_multiplier(LEVEL, fewest.saturating_sub(1) as f64);
        let pooled = self.pool(&survival, &std_error, t.unwrap_or(f64::NAN));
        let finite = |limit: Option<f64>| limit.filter(|limit| limit.is_finite());
        Ok(AtHorizon {
            time: horizon,
            survival: pooled.survival,
            lower: finite(pooled.lower),
            upper: finite(pooled.upper),
        })
    }

    /// The refusal of a horizon after the last day with five at risk: late entrants may fill a risk set again, but what
    /// came before rests on fewer.
    fn stopped_before(&self, horizon: f64) -> Refusal {
        let deaths = self.whole.iter().flat_map(|curve| &curve.steps).filter(|step| step.time <= horizon);
        let have = deaths.map(|step| step.at_risk).filter(|at_risk| *at_risk < minimums::POINT_AT_RISK).min();
        Refusal {
            have: have.map(|have| have as f64),
            need: Some(minimums::POINT_AT_RISK as f64),
            ..Refusal::plain(
                RefusalCode::RiskSetTooSmall,
                format!(
                    "The curve stops on day {}: before day {horizon} fewer than five corals were at risk at a {}.",
                    self.last_time.floor(),
                    self.outcome.words().one
                ),
            )
        }
    }

    /// The day by which half had died; `None` in it = not reached.
    ///
    /// # Errors
    /// Fewer than ten deaths.
    pub fn median(&self, deaths: u64) -> Result<Estimate, Refusal> {
        minimums::events(deaths, minimums::MEDIAN_DEATHS, self.outcome)?;
        if let [only] = self.cut.as_slice() {
            let median = quantile(only, 0.5);
            return Ok(Estimate { estimate: median.estimate, lower: median.lower, upper: median.upper });
        }
        let z = normal_multiplier(LEVEL);
        let mut times: Vec<f64> = self.cut.iter().flat_map(|curve| curve.steps.iter().map(|step| step.time)).collect();
        times.sort_by(f64::total_cmp);
        times.dedup();
        let mut found = Estimate { estimate: None, lower: None, upper: None };
        for time in times.into_iter().take_while(|time| *time <= self.last_time) {
            let at: Vec<_> = self.cut.iter().filter_map(|curve| curve.survival_at(time)).collect();
            if at.len() < self.cut.len() {
                break;
            }
            let survival: Vec<f64> = at.iter().map(|step| step.survival).collect();
            let std_error: Vec<Option<f64>> = at.iter().map(|step| step.std_error).collect();
            let pooled = self.pool(&survival, &std_error, z);
            let crossed = |value: Option<f64>| value.is_some_and(|value| value <= 0.5);
            let mark = |day: &mut Option<f64>, value: Option<f64>| {
                if day.is_none() && crossed(value) {
                    *day = Some(time);
                }
            };
            mark(&mut found.estimate, Some(pooled.survival));
            mark(&mut found.lower, pooled.lower);
            mark(&mut found.upper, pooled.upper);
        }
        Ok(found)
    }

    /// Mean days of life up to the horizon, with limits that allow for clusters as those of the share alive do.
    ///
    /// # Errors
    /// `BeyondFollowUp` if the horizon lies beyond `longest`, the last day with five at risk in every group compared;
    /// `DifferentDefinitions` where death is another end; otherwise as the estimator.
    pub fn restricted_mean(
        &self,
        sets: &Sets,
        cluster: ClusterBy,
        horizon: f64,
        longest: f64,
    ) -> Result<RestrictedMeanPart, Refusal> {
        if self.outcome.has_competing_end() {
            return Err(Refusal::plain(
                RefusalCode::DifferentDefinitions,
                "The area under this curve is no number of days without a serious decline: corals that died first would be \
                 counted as free of it for ever.",
            ));
        }
        if horizon > longest {
            return Err(Refusal::counted(
                RefusalCode::BeyondFollowUp,
                longest,
                horizon,
                format!("The longest horizon these records bear is day {}.", longest.floor()),
            ));
        }
        let days = self.days(sets, cluster, horizon)?;
        let estimates: Vec<f64> = days.iter().map(|days| days.estimate).collect();
        let errors: Option<Vec<f64>> = days.iter().map(|days| days.std_error).collect();
        let estimate = mean(&estimates);
        let within = |errors: Vec<f64>| mean(&errors.iter().map(|se| se * se).collect::<Vec<_>>());
        let influences: Vec<_> = days.into_iter().map(|days| days.influence).collect();
        let beside = errors.as_ref().and_then(|_| half_width(&estimates, &influences));
        Ok(RestrictedMeanPart {
            horizon,
            estimate,
            std_error: errors.map(|errors| (within(errors) + between(&estimates)).sqrt()),
            lower: beside.map(|beside| estimate - beside),
            upper: beside.map(|beside| estimate + beside),
            difference: None,
        })
    }

    /// Days more than another group's up to the same horizon; a cluster with corals in both counts once.
    ///
    /// # Errors
    /// `DifferentDefinitions` if the curves start on different days; `TooFewEvents` if nobody died in one of them;
    /// otherwise as the estimator.
    pub fn days_more(
        &self,
        sets: &Sets,
        (other, other_sets): (&GroupCurves, &Sets),
        cluster: ClusterBy,
        horizon: f64,
    ) -> Result<Estimate, Refusal> {
        if self.start_time != other.start_time {
            return Err(Refusal::counted(
                RefusalCode::DifferentDefinitions,
                self.start_time,
                other.start_time,
                format!(
                    "One curve begins on day {}, the other on day {}: their days do not compare.",
                    self.start_time, other.start_time
                ),
            ));
        }
        let (own, others) = (self.days(sets, cluster, horizon)?, other.days(other_sets, cluster, horizon)?);
        if own.iter().chain(&others).any(|days| days.std_error.is_none()) {
            return Err(Refusal::plain(
                RefusalCode::TooFewEvents,
                format!("No {} in one of the two by day {horizon}.", self.outcome.words().one),
            ));
        }
        // Draws stand beside each other one by one; a group without any stands beside each.
        let sets = own.len().max(others.len());
        let (mut estimates, mut influences) = (Vec::new(), Vec::new());
        for (own, other) in own.iter().cycle().zip(others.iter().cycle()).take(sets) {
            let mut influence = own.influence.clone();
            for (cluster, moved) in &other.influence {
                *influence.entry(*cluster).or_default() -= moved;
            }
            estimates.push(own.estimate - other.estimate);
            influences.push(influence);
        }
        let estimate = mean(&estimates);
        let beside = half_width(&estimates, &influences);
        Ok(Estimate {
            estimate: Some(estimate),
            lower: beside.map(|beside| estimate - beside),
            upper: beside.map(|beside| estimate + beside),
        })
    }

    fn days(&self, sets: &Sets, cluster: ClusterBy, horizon: f64) -> Result<Vec<Days>, Refusal> {
        let days = sets.all().iter().zip(&self.whole).map(|(rows, curve)| {
            let mean = restricted_mean(curve, horizon)?;
            let influence = restricted_mean_influence(&rows.episodes, &cluster.keys(rows), curve, horizon);
            Ok(Days { estimate: mean.estimate, std_error: mean.std_error, influence })
        });
        days.collect()
    }
}

fn point(step: &crate::survival::Step) -> CurvePoint {
    CurvePoint {
        time: step.time,
        at_risk: step.at_risk,
        events: step.events,
        censored: step.censored,
        survival: step.survival,
        std_error: step.std_error,
        lower: step.lower,
        upper: step.upper,
    }
}

/// Losses per 100 coral-months with exact limits.
///
/// # Errors
/// As [`rate`]: no time at risk.
pub fn loss_rate(deaths: u64, days: f64) -> Result<RatePart, Refusal> {
    let [per_100_months, lower, upper] = rate(deaths, days, LEVEL)?.per_100_months();
    Ok(RatePart { per_100_months, lower, upper })
}

#[cfg(test)]
mod tests;
