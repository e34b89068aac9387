//! The hazard as a smooth curve: the jumps of the accumulated hazard spread over a bandwidth.
//!
//! `h(t) = 1/b sum K((t - t_j)/b) d_j/n_j` with the kernel of Epanechnikov, `K(x) = 3/4 (1 - x²)` on -1 to 1. Nearer than a
//! bandwidth to an end of the range the kernel would reach over it, where nothing was seen; there it gives way to boundary
//! kernels with the same two moments on what is left, `K_q(x) = 12/(1+q)^4 (x+1) (x (1-2q) + (3q²-2q+1)/2)` on -1 to q, for a
//! time q bandwidths from the end. These may fall below 0; the hazard is then printed as 0.
//!
//! A curve shows the bandwidth as much as the records: it is always printed with it, beside the rates by pieces of age.
//!
//! Müller & Wang 1994, Biometrics 50: 61–76; Ramlau-Hansen 1983, Ann Stat 11: 453–466 (both from memory).

use super::risk::RiskSets;
use crate::episode::Episodes;
use crate::refusal::{Refusal, RefusalCode};

/// The hazard at one time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SmoothHazard {
    /// The time asked for.
    pub time: f64,
    /// Deaths per unit of time and specimen; not below 0.
    pub hazard: f64,
    /// Its standard error, ignoring clusters and the bias of smoothing.
    pub std_error: f64,
    /// Deaths within a bandwidth: with few the curve is theirs.
    pub deaths_near: u64,
}

/// The hazard at `times` within `from` to `to`, over which deaths were observed; only deaths inside are used. The bandwidth
/// is in the unit of time.
///
/// O(deaths x times).
///
/// # Errors
/// `InvalidInput` for a bad row, a range or bandwidth that is not finite and above 0, a bandwidth above half the range, or a
/// time outside the range; `NoEvents` without a death inside.
pub fn smooth_hazard(
    episodes: &Episodes,
    times: &[f64],
    range: (f64, f64),
    bandwidth: f64,
) -> Result<Vec<SmoothHazard>, Refusal> {
    let invalid = |message: String| Err(Refusal::plain(RefusalCode::InvalidInput, message));
    if let Err(row) = episodes.check() {
        return invalid(row.to_string());
    }
    let (from, to) = range;
    let sound = from.is_finite() && to.is_finite() && bandwidth > 0.0 && 2.0 * bandwidth <= to - from;
    if !sound {
        return invalid(format!("a bandwidth of {bandwidth} does not fit twice between {from} and {to}"));
    }
    if let Some(time) = times.iter().find(|time| !(from <= **time && **time <= to)) {
        return invalid(format!("the hazard at {time} is asked for, outside of {from} to {to}"));
    }
    let risk = RiskSets::new(episodes, None, None);
    let (at_risk, events) = risk.counts(episodes);
    let jumps: Vec<(f64, f64, f64)> = risk
        .times
        .iter()
        .zip(at_risk.iter().zip(&events))
        .filter(|(time, _)| from < **time && **time <= to)
        .map(|(time, (n, d))| (*time, *n as f64, *d as f64))
        .collect();
    if jumps.is_empty() {
        return Err(Refusal::counted(RefusalCode::NoEvents, 0.0, 1.0, "nobody died within the range"));
    }
    let at = |&time: &f64| {
        let (before, after) = ((time - from) / bandwidth, (to - time) / bandwidth);
        let (mut hazard, mut variance, mut near) = (0.0, 0.0, 0.0);
        for &(death, n, d) in &jumps {
            let x = (time - death) / bandwidth;
            if x.abs() <= 1.0 {
                // Near the upper end the boundary kernel is turned round.
                let weight = if before < 1.0 { kernel(x, before) } else { kernel(-x, after.min(1.0)) } / bandwidth;
                hazard += weight * d / n;
                variance += weight * weight * d / (n * n);
                near += d;
            }
        }
        SmoothHazard { time, hazard: hazard.max(0.0), std_error: variance.sqrt(), deaths_near: near as u64 }
    };
    Ok(times.iter().map(at).collect())
}

/// The kernel on -1 to `q`; at `q = 1` Epanechnikov's.
fn kernel(x: f64, q: f64) -> f64 {
    if !(-1.0..=q).contains(&x) {
        return 0.0;
    }
    12.0 / (1.0 + q).powi(4) * (x + 1.0) * (x * (1.0 - 2.0 * q) + (3.0 * q * q - 2.0 * q + 1.0) / 2.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Integrals over -1 to q by Simpson's rule, exact for these cubics.
    fn moment(q: f64, power: i32) -> f64 {
        let middle = 0.5 * (q - 1.0);
        let f = |x: f64| kernel(x, q) * x.powi(power);
        // The first moment is a polynomial of third degree as well: K has degree two.
        (q + 1.0) / 6.0 * (f(-1.0) + 4.0 * f(middle) + f(q))
    }

    #[test]
    fn every_kernel_has_mass_one_and_its_centre_at_0() {
        for q in [0.0, 0.1, 0.3, 0.5, 0.8, 1.0] {
            assert!((moment(q, 0) - 1.0).abs() < 1e-12, "q {q}: {}", moment(q, 0));
            assert!(moment(q, 1).abs() < 1e-12, "q {q}: {}", moment(q, 1));
        }
        for x in [-0.9, -0.2, 0.0, 0.5] {
            assert!((kernel(x, 1.0) - 0.75 * (1.0 - x * x)).abs() < 1e-15);
        }
    }

    #[test]
    fn one_death_by_hand() -> Result<(), Refusal> {
        // One of two at risk on day 10, bandwidth 4: 3/4 / 4 * 1/2 on the day, 3/4 (1 - 1/4) / 4 * 1/2 two days off.
        let rows = Episodes { start: vec![0.0; 2], stop: vec![10.0, 20.0], event: vec![true, false] };
        let found = smooth_hazard(&rows, &[10.0, 12.0, 8.0, 14.5], (0.0, 20.0), 4.0)?;
        let close = |got: f64, want: f64| assert!((got - want).abs() < 1e-15, "{got} is not {want}");
        close(found[0].hazard, 0.75 / 8.0);
        close(found[0].std_error, 0.75 / 8.0);
        close(found[1].hazard, 0.5625 / 8.0);
        close(found[2].hazard, 0.5625 / 8.0);
        assert_eq!((found[3].hazard, found[3].deaths_near, found[0].deaths_near), (0.0, 0, 1));
        Ok(())
    }

    #[test]
    fn a_constant_hazard_is_level_up_to_both_ends() -> Result<(), Refusal> {
        // A death every day at a hazard of 1/1000 each: those lost are made up for by late entries.
        let n = 1000;
        let start = (0..n).map(|_| 0.0).chain((1..=400).map(f64::from));
        let stop = (1..=400).map(f64::from).chain((400..n + 400).map(|_| 401.0));
        let event = (0..n + 400).map(|i| i < 400);
        let rows = Episodes { start: start.collect(), stop: stop.collect(), event: event.collect() };
        let times: Vec<f64> = (0..=40).map(|i| 10.0 * f64::from(i)).collect();
        for point in smooth_hazard(&rows, &times, (0.0, 400.0), 60.0)? {
            // A jump a day leaves half a jump of doubt at an end.
            assert!((point.hazard - 0.001).abs() < 0.06 * 0.001, "{point:?}");
        }
        Ok(())
    }

    #[test]
    fn what_cannot_be_smoothed_says_why() {
        let rows = Episodes { start: vec![0.0; 2], stop: vec![10.0, 20.0], event: vec![true, false] };
        let code = |times: &[f64], range: (f64, f64), bandwidth: f64| {
            smooth_hazard(&rows, times, range, bandwidth).map(|_| ()).map_err(|refused| refused.code)
        };
        assert_eq!(code(&[5.0], (0.0, 20.0), 11.0), Err(RefusalCode::InvalidInput));
        assert_eq!(code(&[5.0], (0.0, 20.0), 0.0), Err(RefusalCode::InvalidInput));
        assert_eq!(code(&[25.0], (0.0, 20.0), 5.0), Err(RefusalCode::InvalidInput));
        assert_eq!(code(&[f64::NAN], (0.0, 20.0), 5.0), Err(RefusalCode::InvalidInput));
        assert_eq!(code(&[15.0], (11.0, 20.0), 4.0), Err(RefusalCode::NoEvents));
    }
}
