//! Mean and standard deviation of readings some of which are known by a limit only: robust regression on order statistics.
//!
//! The logarithms of the detected readings lie near a line over the normal scores of their plotting positions. Readings
//! known by a limit get the values of that line at their own positions, once each; the summary is then that of all values.
//! The line is used for nothing else, so that the detected readings stay as they were measured.
//!
//! Plotting positions allow for several limits: for limits `L_1 < L_2 < …` the chance of exceeding `L_j` is
//! `e_j = e_(j+1) + A_j/(A_j + B_j) (1 - e_(j+1))`, `A_j` the detected readings from `L_j` up to the next limit and `B_j` all
//! readings known to lie below `L_j`. The `r`-th of `A_j` gets `(1 - e_j) + (e_j - e_(j+1)) r/(A_j + 1)`, the `r`-th of the
//! `C_j` limits `L_j` gets `(1 - e_j) r/(C_j + 1)`.
//!
//! Helsel & Cohn 1988, Water Resour Res 24: 1997–2004; Helsel 2012, *Statistics for Censored Environmental Data Using
//! Minitab and R*, Wiley, chapter 6 (both from memory).

use super::{Side, check};
use crate::growth::least_squares;
use crate::numeric::tail::normal_quantile;
use crate::numeric::{median, neumaier};
use crate::refusal::{Refusal, RefusalCode};

/// Fewest readings for a mean.
pub const READINGS: usize = 20;

/// Smallest share of them that must have been detected.
pub const DETECTED_SHARE: f64 = 0.5;

/// Largest share of limits beyond which not even percentiles tell much.
const MOSTLY_LIMITS: f64 = 0.8;

/// A summary of readings.
#[derive(Debug, Clone, PartialEq)]
pub struct OrderRegression {
    /// Logarithm of the reading at a normal score of 0.
    pub intercept: f64,
    /// Its rise per unit of the normal score (for limits above, of the score counted from above, so that it falls).
    pub slope: f64,
    /// Mean, in the unit of the readings.
    pub mean: f64,
    /// Standard deviation, divisor one less than the readings.
    pub std_deviation: f64,
    /// Median.
    pub median: f64,
    /// Values given to readings known by a limit, from the smallest up.
    pub imputed: Vec<f64>,
    /// Readings with a value.
    pub detected: usize,
    /// Limits beyond every detected value (`<L` above them all): they tell nothing and are left out.
    pub left_out: usize,
}

/// Mean and standard deviation of readings above 0; `limited` says which of `values` are limits, all on one `side`.
///
/// # Errors
/// `InvalidInput` for columns of unlike length or a value that is not above 0, `EmptyGroup` without readings, `TooFewEvents`
/// below 20 readings or with fewer than half of them detected, `Singular` if all detected readings are one value.
pub fn regression_on_order(values: &[f64], limited: &[bool], side: Side) -> Result<OrderRegression, Refusal> {
    check(values, limited)?;
    if values.iter().any(|value| *value <= 0.0) {
        return Err(Refusal::plain(RefusalCode::InvalidInput, "a reading of which a logarithm is taken is above 0"));
    }
    let sign = side.sign();
    let of = |wanted: bool| -> Vec<f64> {
        let chosen = values.iter().zip(limited).filter(|(_, limited)| **limited == wanted);
        let mut logs: Vec<f64> = chosen.map(|(value, _)| sign * value.ln()).collect();
        logs.sort_by(f64::total_cmp);
        logs
    };
    let (detected, mut limits) = (of(false), of(true));
    enough(detected.len(), limits.len())?;
    let largest = detected.last().copied().unwrap_or(f64::INFINITY);
    let all_limits = limits.len();
    limits.retain(|limit| *limit <= largest);
    let ladder = Ladder::new(&detected, &limits);
    let scores: Vec<f64> = ladder.detected(&detected).into_iter().map(normal_quantile).collect();
    let line = least_squares(&scores, &detected)?;
    if line.slope <= 0.0 {
        return Err(Refusal::plain(RefusalCode::Singular, "all readings with a value have the same: there is no line"));
    }
    let mut positions = ladder.limits(&limits);
    positions.sort_by(f64::total_cmp);
    let value = |log: f64| (sign * log).exp();
    let mut imputed: Vec<f64> =
        positions.into_iter().map(|p| value(line.intercept + line.slope * normal_quantile(p))).collect();
    imputed.sort_by(f64::total_cmp);
    let measured = values.iter().zip(limited).filter(|(_, limited)| !**limited).map(|(value, _)| *value);
    let filled: Vec<f64> = measured.chain(imputed.iter().copied()).collect();
    let n = filled.len() as f64;
    let mean = neumaier(filled.iter().copied()) / n;
    let squares = neumaier(filled.iter().map(|value| (value - mean).powi(2)));
    Ok(OrderRegression {
        intercept: sign * line.intercept,
        slope: sign * line.slope,
        mean,
        std_deviation: (squares / (n - 1.0)).sqrt(),
        median: median(&filled).unwrap_or(mean),
        imputed,
        detected: detected.len(),
        left_out: all_limits - limits.len(),
    })
}

fn enough(detected: usize, limits: usize) -> Result<(), Refusal> {
    let all = detected + limits;
    if all < READINGS {
        return Err(Refusal::counted(
            RefusalCode::TooFewEvents,
            all as f64,
            READINGS as f64,
            format!("a mean of readings with limits needs {READINGS} of them"),
        ));
    }
    let share = detected as f64 / all as f64;
    if share < DETECTED_SHARE {
        let message = if 1.0 - share > MOSTLY_LIMITS {
            "more than four of five readings are limits: only the share above the highest limit can be told"
        } else {
            "fewer than half of the readings have a value: percentiles can be told, a mean cannot"
        };
        return Err(Refusal::counted(RefusalCode::TooFewEvents, share, DETECTED_SHARE, message));
    }
    Ok(())
}

/// The limits with the chance of exceeding each.
struct Ladder {
    limits: Vec<f64>,
    /// One more than limits; 0 beyond the last.
    exceeding: Vec<f64>,
    detected_from: Vec<usize>,
    at_limit: Vec<usize>,
}

impl Ladder {
    /// From detected readings and limits, each sorted.
    fn new(detected: &[f64], limits: &[f64]) -> Ladder {
        let mut ladder: Vec<f64> = limits.to_vec();
        ladder.dedup();
        // Detected readings below every limit are their own lowest step.
        if let Some(&smallest) = detected.first()
            && ladder.first().is_none_or(|lowest| smallest < *lowest)
        {
            ladder.insert(0, smallest);
        }
        let below = |sorted: &[f64], value: f64| sorted.partition_point(|other| *other < value);
        let up_to = |sorted: &[f64], value: f64| sorted.partition_point(|other| *other <= value);
        let steps = ladder.len();
        let mut exceeding = vec![0.0; steps + 1];
        let (mut detected_from, mut at_limit) = (vec![0; steps], vec![0; steps]);
        for j in (0..steps).rev() {
            let next = ladder.get(j + 1).map_or(detected.len(), |next| below(detected, *next));
            detected_from[j] = next - below(detected, ladder[j]);
            at_limit[j] = up_to(limits, ladder[j]) - below(limits, ladder[j]);
            let above = detected_from[j] as f64;
            let under = (below(detected, ladder[j]) + up_to(limits, ladder[j])) as f64;
            let share = if above + under > 0.0 { above / (above + under) } else { 0.0 };
            exceeding[j] = exceeding[j + 1] + share * (1.0 - exceeding[j + 1]);
        }
        Ladder { limits: ladder, exceeding, detected_from, at_limit }
    }

    fn step(&self, value: f64) -> usize {
        self.limits.partition_point(|limit| *limit <= value).saturating_sub(1)
    }

    /// Plotting positions of sorted detected readings.
    fn detected(&self, sorted: &[f64]) -> Vec<f64> {
        self.ranked(sorted, |j, rank| {
            let width = self.exceeding[j] - self.exceeding[j + 1];
            (1.0 - self.exceeding[j]) + width * rank / (self.detected_from[j] as f64 + 1.0)
        })
    }

    /// Plotting positions of sorted limits.
    fn limits(&self, sorted: &[f64]) -> Vec<f64> {
        self.ranked(sorted, |j, rank| (1.0 - self.exceeding[j]) * rank / (self.at_limit[j] as f64 + 1.0))
    }

    /// Positions by step of the ladder and rank from 1 within it.
    fn ranked(&self, sorted: &[f64], position: impl Fn(usize, f64) -> f64) -> Vec<f64> {
        let (mut step, mut rank) = (usize::MAX, 0.0);
        let of = |value: &f64| {
            let own = self.step(*value);
            rank = if own == step { rank + 1.0 } else { 1.0 };
            step = own;
            position(own, rank)
        };
        sorted.iter().map(of).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn positions_with_one_limit_by_hand() {
        // Three limits and five values above them: e = 5/8; values at 3/8 + 5/8 r/6, limits at 3/8 r/4.
        let (detected, limits) = ([1.0, 2.0, 3.0, 4.0, 5.0], [0.5; 3]);
        let ladder = Ladder::new(&detected, &limits);
        for (at, got) in ladder.detected(&detected).iter().enumerate() {
            assert!((got - (0.375 + 0.625 * (at + 1) as f64 / 6.0)).abs() < 1e-15);
        }
        assert_eq!(ladder.limits(&limits), [0.375 / 4.0, 0.375 / 2.0, 3.0 * 0.375 / 4.0]);
        // Without limits: r/(n + 1).
        let plain = Ladder::new(&detected, &[]).detected(&detected);
        assert!(plain.iter().enumerate().all(|(at, got)| (got - (at + 1) as f64 / 6.0).abs() < 1e-15), "{plain:?}");
    }

    #[test]
    fn positions_with_two_limits_by_hand() {
        // Limits 1 (twice) and 10; values 2, 3 below the second and 11, 12, 13 above. e_2 = 3/(3 + 5) = 3/8,
        // e_1 = 3/8 + 2/(2 + 2) 5/8 = 11/16.
        let (detected, limits) = ([2.0, 3.0, 11.0, 12.0, 13.0], [1.0, 1.0, 10.0]);
        let ladder = Ladder::new(&detected, &limits);
        assert_eq!(ladder.exceeding, [11.0 / 16.0, 3.0 / 8.0, 0.0]);
        let close = |got: &[f64], want: &[f64]| {
            assert!(got.iter().zip(want).all(|(a, b)| (a - b).abs() < 1e-15), "{got:?} is not {want:?}");
        };
        let (five, ten) = (5.0 / 16.0, 5.0 / 8.0);
        let between = |r: f64| five + five * r / 3.0;
        let above = |r: f64| ten + 3.0 / 8.0 * r / 4.0;
        close(&ladder.detected(&detected), &[between(1.0), between(2.0), above(1.0), above(2.0), above(3.0)]);
        close(&ladder.limits(&limits), &[five / 3.0, 2.0 * five / 3.0, ten / 2.0]);
    }

    fn made() -> (Vec<f64>, Vec<bool>) {
        let values: Vec<f64> = (1..=24).map(|i| f64::from(i) * 0.5).collect();
        let limited = (1..=24).map(|i| i % 3 == 0 && i < 20).collect();
        (values, limited)
    }

    #[test]
    fn the_unit_of_the_readings_scales_mean_and_deviation() -> Result<(), Refusal> {
        let (values, limited) = made();
        let a = regression_on_order(&values, &limited, Side::Below)?;
        let scaled: Vec<f64> = values.iter().map(|value| 1000.0 * value).collect();
        let b = regression_on_order(&scaled, &limited, Side::Below)?;
        assert!((b.mean / a.mean - 1000.0).abs() < 1e-9 && (b.std_deviation / a.std_deviation - 1000.0).abs() < 1e-9);
        assert!((b.slope - a.slope).abs() < 1e-12);
        // Values drawn from the line lie below the largest limit's neighbourhood, and the measured ones are untouched.
        assert_eq!((a.imputed.len(), a.detected, a.left_out), (6, 18, 0));
        Ok(())
    }

    #[test]
    fn limits_above_are_the_mirror() -> Result<(), Refusal> {
        let (values, limited) = made();
        let below = regression_on_order(&values, &limited, Side::Below)?;
        let mirrored: Vec<f64> = values.iter().map(|value| 1.0 / value).collect();
        let above = regression_on_order(&mirrored, &limited, Side::Above)?;
        let mut want: Vec<f64> = below.imputed.iter().map(|value| 1.0 / value).collect();
        want.sort_by(f64::total_cmp);
        assert!(above.imputed.iter().zip(&want).all(|(a, b)| (a - b).abs() < 1e-12 * b), "{above:?} {want:?}");
        assert!((above.median - 1.0 / below.median).abs() < 0.02);
        Ok(())
    }

    #[test]
    fn a_limit_above_everything_tells_nothing_and_is_counted() -> Result<(), Refusal> {
        let (mut values, mut limited) = made();
        let before = regression_on_order(&values, &limited, Side::Below)?;
        values.push(500.0);
        limited.push(true);
        let after = regression_on_order(&values, &limited, Side::Below)?;
        assert_eq!((after.left_out, after.mean), (1, before.mean));
        Ok(())
    }

    #[test]
    fn what_has_no_mean_says_why() {
        let refused = |values: &[f64], limited: &[bool]| {
            regression_on_order(values, limited, Side::Below)
                .map(|_| ())
                .map_err(|refused| (refused.code, refused.message))
        };
        let few = refused(&[1.0; 19], &[false; 19]).expect_err("refused");
        assert_eq!(few.0, RefusalCode::TooFewEvents);
        let limited = |n: usize| -> Vec<bool> { (0..20).map(|i| i < n).collect() };
        let values: Vec<f64> = (1..=20).map(f64::from).collect();
        assert!(refused(&values, &limited(10)).is_ok());
        assert!(refused(&values, &limited(11)).expect_err("refused").1.contains("percentiles can be told"));
        assert!(refused(&values, &limited(17)).expect_err("refused").1.contains("four of five"));
        assert_eq!(refused(&[1.0; 20], &[false; 20]).expect_err("refused").0, RefusalCode::Singular);
        assert_eq!(refused(&[0.0; 20], &[false; 20]).expect_err("refused").0, RefusalCode::InvalidInput);
    }
}
