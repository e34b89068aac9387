//! The share still alive: Kaplan–Meier, with Greenwood or tank-clustered standard errors.
//!
//! Deaths at a time come before censorings at that time. Late entry is honoured: a row counts from its start on.
//! It never carries a curve over a gap in which nobody was watched, unless asked to.
//!
//! Kaplan & Meier 1958, J Am Stat Assoc 53: 457–481; Greenwood 1926, Reports on Public Health 33: 1–26.

use crate::episode::{Episodes, settled_positions};
use crate::numeric::tail::normal_multiplier;

use super::risk::RiskSets;

mod follow_up;

pub(super) use follow_up::FollowUp;
pub use follow_up::club_start_time;

/// Scale on which the limits of a curve are built.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Interval {
    /// `S^exp(±v)`, `v = z sqrt(G) / |ln S|`: stays within 0 and 1, and the default.
    #[default]
    LogLog,
    /// `S exp(±z sqrt(G))`, cut at 1.
    Log,
    /// `S ± z se`, cut at 0 and 1.
    Plain,
}

/// How a curve is to be made.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CurveOptions {
    /// The curve is that of P(T > t | T >= start_time); `None`: from the smallest entry.
    pub start_time: Option<f64>,
    /// Scale of the limits.
    pub interval: Interval,
    /// Coverage of the limits.
    pub level: f64,
    /// Go on after a time in which nobody was at risk. Such a curve says nothing about that time.
    pub across_gaps: bool,
}

impl Default for CurveOptions {
    fn default() -> Self {
        CurveOptions { start_time: None, interval: Interval::LogLog, level: 0.95, across_gaps: false }
    }
}

/// The curve from one death time up to the next.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Step {
    /// Death time.
    pub time: f64,
    /// At risk just before `time`.
    pub at_risk: u64,
    /// Deaths at `time`.
    pub events: u64,
    /// Rows that ended without death from `time` up to the next death, less rows that began at the very same moment
    /// (so that cutting a row in two changes nothing).
    pub censored: u64,
    /// Rows that began from `time` up to the next death, less rows that ended at the very same moment.
    pub entered: u64,
    /// Estimated share still alive after `time`.
    pub survival: f64,
    /// Greenwood standard error; `None` where the curve has reached 0.
    pub std_error: Option<f64>,
    /// Lower limit; `None` where the curve is at 1 or has reached 0.
    pub lower: Option<f64>,
    /// Upper limit; `None` where the curve is at 1 or has reached 0.
    pub upper: Option<f64>,
}

/// A survival curve.
#[derive(Debug, Clone, PartialEq)]
pub struct KaplanMeier {
    /// The curve is conditional on being alive at this time.
    pub start_time: f64,
    /// From `start_time` up to the first death: survival 1 without limits, `at_risk` just after `start_time`.
    pub origin: Step,
    /// One step per death time.
    pub steps: Vec<Step>,
    /// Last time anybody was watched; the curve says nothing after it, unless it has reached 0.
    pub last_time: f64,
    /// Scale of the limits.
    pub interval: Interval,
    /// Coverage of the limits.
    pub level: f64,
    /// The time from which nobody was at risk although others entered later; the curve ends there unless it was made
    /// `across_gaps`.
    pub gap: Option<f64>,
    follow_up: FollowUp,
}

/// The curve with 95 % limits, ending at the first gap in which nobody was at risk.
///
/// `start_time`: the curve of P(T > t | T >= start_time), from the rows with `stop >= start_time`; `None` starts at the
/// smallest entry. Without rows: an empty curve at `start_time` or 0. O(n log n).
pub fn kaplan_meier(episodes: &Episodes, start_time: Option<f64>, interval: Interval) -> KaplanMeier {
    kaplan_meier_with(episodes, &CurveOptions { start_time, interval, ..CurveOptions::default() })
}

/// The curve with all choices stated.
pub fn kaplan_meier_with(episodes: &Episodes, options: &CurveOptions) -> KaplanMeier {
    let start_time = options.start_time.or(episodes.first_entry()).unwrap_or(0.0);
    let risk = RiskSets::new(episodes, None, Some(start_time));
    let (at_risk, events) = risk.counts(episodes);
    let follow_up = FollowUp::new(episodes, start_time);
    let gap = follow_up.first_gap(start_time);
    let end = match gap {
        Some(empty) if !options.across_gaps => empty,
        _ => follow_up.last_exit().unwrap_or(start_time),
    };
    let kept = risk.times.partition_point(|t| *t <= end);
    let changes = follow_up.net_changes(&risk.times[..kept], start_time, end);
    let z = normal_multiplier(options.level);
    let origin = Step {
        time: start_time,
        at_risk: follow_up.at_risk_after(start_time),
        events: 0,
        censored: changes[0].censored,
        entered: changes[0].entered,
        survival: 1.0,
        std_error: Some(0.0),
        lower: None,
        upper: None,
    };
    let mut survival = 1.0;
    let mut greenwood = 0.0;
    let mut steps = Vec::with_capacity(kept);
    for j in 0..kept {
        let (n, d) = (at_risk[j] as f64, events[j] as f64);
        survival = if d >= n { 0.0 } else { survival * ((n - d) / n) };
        greenwood += if d >= n { 0.0 } else { d / (n * (n - d)) };
        let (lower, upper) = limits(options.interval, survival, greenwood, z);
        steps.push(Step {
            time: risk.times[j],
            at_risk: at_risk[j],
            events: events[j],
            censored: changes[j + 1].censored,
            entered: changes[j + 1].entered,
            survival,
            std_error: (survival > 0.0).then(|| survival * greenwood.sqrt()),
            lower,
            upper,
        });
    }
    KaplanMeier {
        start_time,
        origin,
        steps,
        last_time: end,
        interval: options.interval,
        level: options.level,
        gap,
        follow_up,
    }
}

/// Limits of a probability `s` with the variance sum `g` of its logarithm.
fn limits(interval: Interval, s: f64, g: f64, z: f64) -> (Option<f64>, Option<f64>) {
    if s <= 0.0 || s >= 1.0 {
        return (None, None);
    }
    let half = z * g.sqrt();
    let (lower, upper) = match interval {
        Interval::LogLog => {
            let v = half / s.ln().abs();
            (s.powf(v.exp()), s.powf((-v).exp()))
        }
        Interval::Log => (s * (-half).exp(), (s * half.exp()).min(1.0)),
        Interval::Plain => ((s - s * half).max(0.0), (s + s * half).min(1.0)),
    };
    (Some(lower), Some(upper))
}

impl KaplanMeier {
    /// The step in force at `t`: [`KaplanMeier::origin`] before the first death, `None` before the start or after the
    /// last time anybody was watched. A curve that has reached 0 with nobody left stays there.
    pub fn survival_at(&self, t: f64) -> Option<&Step> {
        let beyond = t > self.last_time && !self.has_ended();
        if t.is_nan() || t < self.start_time || beyond {
            return None;
        }
        match self.steps.partition_point(|step| step.time <= t) {
            0 => Some(&self.origin),
            after => self.steps.get(after - 1),
        }
    }

    /// Whether everybody watched to the end had died, so that the curve is 0 from its last death on.
    pub fn has_ended(&self) -> bool {
        self.gap.is_none() && self.steps.last().is_some_and(|step| step.survival == 0.0 && step.time >= self.last_time)
    }

    /// Rows at risk at `t` (`start < t <= stop`), among those with `stop >= start_time`.
    pub fn at_risk_at(&self, t: f64) -> u64 {
        self.follow_up.at_risk_at(t)
    }

    /// Rows at risk just after `t` (`start <= t < stop`).
    pub fn at_risk_after(&self, t: f64) -> u64 {
        self.follow_up.at_risk_after(t)
    }

    /// Deaths up to the end of the curve.
    pub fn deaths(&self) -> u64 {
        self.steps.iter().map(|step| step.events).sum()
    }

    /// The smallest number at risk at a death, `None` without deaths.
    pub fn smallest_risk_set(&self) -> Option<u64> {
        self.steps.iter().map(|step| step.at_risk).min()
    }

    /// The same curve, ended at a time.
    pub fn cut_at(&self, last_time: f64) -> KaplanMeier {
        let mut cut = self.clone();
        cut.steps.retain(|step| step.time <= last_time);
        cut.last_time = last_time.min(self.last_time);
        cut
    }

    /// The same curve, ended before the first death with fewer than `minimum` at risk; its last time is then the last
    /// one before that with at least `minimum` at risk.
    pub fn cut_at_risk(&self, minimum: u64) -> KaplanMeier {
        let mut cut = self.clone();
        let kept = self.steps.iter().position(|step| step.at_risk < minimum).unwrap_or(self.steps.len());
        let before = self.steps.get(kept).map_or(f64::INFINITY, |step| step.time);
        cut.steps.truncate(kept);
        cut.last_time = self
            .follow_up
            .last_exit_with(minimum, self.last_time, before)
            .unwrap_or(self.start_time)
            .max(self.start_time);
        cut
    }
}

/// Standard errors of `S(t)` at the asked times that allow for clusters (tanks): per specimen the influence of its
/// rows on `S(t)`, summed within clusters, squared, summed (Dorey & Korn 1987, Stat Med 6: 679–687).
///
/// `specimen` and `cluster` hold one number per row; a specimen that changes cluster counts in its first one. `None`
/// where the curve is not defined or has reached 0. With one specimen per cluster and no late entry this is
/// Greenwood's. O(n) per asked time.
pub fn clustered_std_errors(
    episodes: &Episodes,
    specimen: &[u32],
    cluster: &[u32],
    curve: &KaplanMeier,
    times: &[f64],
) -> Vec<Option<f64>> {
    let (position, clusters) = settled_positions(episodes, specimen, cluster);
    // Sums of d / (n (n - d)) up to and including each death.
    let mut sums = Vec::with_capacity(curve.steps.len() + 1);
    sums.push(0.0);
    for step in &curve.steps {
        let (n, d) = (step.at_risk as f64, step.events as f64);
        sums.push(sums[sums.len() - 1] + if d < n { d / (n * (n - d)) } else { 0.0 });
    }
    let up_to = |t: f64| sums[curve.steps.partition_point(|step| step.time <= t)];
    let variance_at = |t: f64| {
        let survival = curve.survival_at(t)?.survival;
        if survival <= 0.0 {
            return None;
        }
        let mut influence = vec![0.0; clusters];
        for (row, &own) in position.iter().enumerate() {
            let (start, stop) = (episodes.start[row], episodes.stop[row]);
            if stop < curve.start_time || start >= t {
                continue;
            }
            let mut share = -(up_to(stop.min(t)) - up_to(start));
            if episodes.event[row] && stop <= t {
                let step = curve.steps.partition_point(|step| step.time < stop);
                if let Some(step) = curve.steps.get(step) {
                    share += 1.0 / (step.at_risk as f64 - step.events as f64);
                }
            }
            influence[own] -= survival * share;
        }
        Some(influence.iter().map(|d| d * d).sum::<f64>().sqrt())
    };
    times.iter().map(|&t| variance_at(t)).collect()
}

#[cfg(test)]
mod tests;
