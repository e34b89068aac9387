//! The accumulated hazard: Nelson–Aalen.
//!
//! Unlike the survival curve it is not stopped by an early risk set of one, so it also serves to look at late entry.
//!
//! Nelson 1969, J Qual Technol 1: 27–52; Aalen 1978, Ann Stat 6: 701–726.

use crate::episode::Episodes;
use crate::numeric::tail::normal_multiplier;

use super::risk::RiskSets;

/// The accumulated hazard from one death time up to the next.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HazardStep {
    /// Death time.
    pub time: f64,
    /// At risk just before `time`.
    pub at_risk: u64,
    /// Deaths at `time`.
    pub events: u64,
    /// Sum of deaths over numbers at risk so far.
    pub cumulative_hazard: f64,
    /// Square root of the sum of deaths over squared numbers at risk.
    pub std_error: f64,
    /// Lower limit, on the log scale.
    pub lower: f64,
    /// Upper limit, on the log scale.
    pub upper: f64,
}

/// The accumulated hazard since a start time.
#[derive(Debug, Clone, PartialEq)]
pub struct NelsonAalen {
    /// Deaths before it are not counted.
    pub start_time: f64,
    /// One step per death time; before the first the hazard is 0, its lower limit 0, its upper limit undefined.
    pub steps: Vec<HazardStep>,
    /// Coverage of the limits.
    pub level: f64,
}

/// The accumulated hazard with limits of the given level; `start_time` `None` starts at the smallest entry.
pub fn nelson_aalen(episodes: &Episodes, start_time: Option<f64>, level: f64) -> NelsonAalen {
    let start_time = start_time.or(episodes.first_entry()).unwrap_or(0.0);
    let risk = RiskSets::new(episodes, None, Some(start_time));
    let (at_risk, events) = risk.counts(episodes);
    let z = normal_multiplier(level);
    let (mut hazard, mut variance) = (0.0, 0.0);
    let steps = (0..risk.times.len())
        .map(|j| {
            let (n, d) = (at_risk[j] as f64, events[j] as f64);
            hazard += d / n;
            variance += d / (n * n);
            let std_error = f64::sqrt(variance);
            let spread = (z * std_error / hazard).exp();
            HazardStep {
                time: risk.times[j],
                at_risk: at_risk[j],
                events: events[j],
                cumulative_hazard: hazard,
                std_error,
                lower: hazard / spread,
                upper: hazard * spread,
            }
        })
        .collect();
    NelsonAalen { start_time, steps, level }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn seven_corals_by_hand() {
        let stop = vec![6.0, 6.0, 6.0, 6.0, 7.0, 9.0, 10.0];
        let event = vec![false, true, true, true, true, false, true];
        let e = Episodes { start: vec![0.0; 7], stop, event };
        let steps = nelson_aalen(&e, None, 0.95).steps;
        // 3/7, + 1/3, + 1/1.
        assert!((steps[1].cumulative_hazard - 16.0 / 21.0).abs() < 1e-15);
        assert!((steps[2].cumulative_hazard - 37.0 / 21.0).abs() < 1e-15);
        assert!((steps[1].std_error - (3f64 / 49.0 + 1.0 / 9.0).sqrt()).abs() < 1e-15);
        assert!(steps[1].lower < steps[1].cumulative_hazard && steps[1].cumulative_hazard < steps[1].upper);
    }

    #[test]
    fn no_death_is_no_step() {
        let e = Episodes { start: vec![0.0], stop: vec![6.0], event: vec![false] };
        assert!(nelson_aalen(&e, None, 0.95).steps.is_empty());
    }
}
