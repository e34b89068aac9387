//! The day by which a share had died, read off a curve and its limits.
//!
//! Not reached is `None`, never the longest time seen. Limits: the days at which the limits of the curve cross
//! (Brookmeyer & Crowley 1982, Biometrics 38: 29–41).

use super::kaplan_meier::{KaplanMeier, Step};

/// The day by which a share had died.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Quantile {
    /// The share that had died; 0.5 for the median.
    pub share: f64,
    /// Day; `None` if the curve stays above.
    pub estimate: Option<f64>,
    /// Day at which the lower limit of the curve crosses.
    pub lower: Option<f64>,
    /// Day at which the upper limit of the curve crosses.
    pub upper: Option<f64>,
}

/// Survival closer than this to the wanted share lies on it (the square root of the rounding unit of doubles).
const ON_THE_LINE: f64 = 1.5e-8;

/// The first day on which survival is at most `1 - share`.
///
/// If survival equals `1 - share` over a stretch of time, the middle of the stretch, which ends at the next death or,
/// on the last stretch, at the last time anybody was watched.
pub fn quantile(curve: &KaplanMeier, share: f64) -> Quantile {
    let crossing = |of: fn(&Step) -> Option<f64>| crossing(curve, 1.0 - share, of);
    Quantile {
        share,
        estimate: crossing(|step| Some(step.survival)),
        lower: crossing(|step| step.lower),
        upper: crossing(|step| step.upper),
    }
}

/// Among the steps at or below the line, the first of those highest; a step on the line is averaged with the highest
/// below it. Survival only falls, so for it these are the first day and the end of the stretch. Limits can rise while
/// late entrants swell a small risk set: the day nearest below the line is then taken, as is common practice.
fn crossing(curve: &KaplanMeier, line: f64, of: fn(&Step) -> Option<f64>) -> Option<f64> {
    let highest = |most: f64| {
        let mut found: Option<(f64, f64)> = None;
        for step in &curve.steps {
            let Some(value) = of(step).filter(|value| *value <= most) else {
                continue;
            };
            if found.is_none_or(|(best, _)| value > best) {
                found = Some((value, step.time));
            }
        }
        found.map(|(_, time)| time)
    };
    let first = highest(line + ON_THE_LINE)?;
    let end = highest(line - ON_THE_LINE).unwrap_or(curve.last_time);
    Some(0.5 * (first + end))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::episode::Episodes;
    use crate::survival::{Interval, kaplan_meier};

    fn curve(stop: &[f64], event: &[bool]) -> KaplanMeier {
        let e = Episodes { start: vec![0.0; stop.len()], stop: stop.to_vec(), event: event.to_vec() };
        kaplan_meier(&e, None, Interval::LogLog)
    }

    #[test]
    fn the_first_day_at_or_below_the_line() {
        let median = quantile(&curve(&[2.0, 4.0, 7.0], &[true; 3]), 0.5);
        assert_eq!(median.estimate, Some(4.0));
    }

    #[test]
    fn a_flat_stretch_on_the_line_gives_its_middle() {
        let event = [true, true, false, true];
        assert_eq!(quantile(&curve(&[2.0, 4.0, 7.0, 9.0], &event), 0.5).estimate, Some(6.5));
        let open = [true, true, false, false];
        assert_eq!(quantile(&curve(&[2.0, 4.0, 7.0, 10.0], &open), 0.5).estimate, Some(7.0));
    }

    #[test]
    fn a_curve_that_stays_above_has_no_median() {
        let q = quantile(&curve(&[2.0, 4.0, 7.0], &[true, false, false]), 0.5);
        assert_eq!((q.estimate, q.upper), (None, None));
    }
}
