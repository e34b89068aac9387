//! The least value of a smooth function of a few variables, without derivatives of its own.
//!
//! A simplex finds the valley (Nelder & Mead 1965, Comput J 7: 308–313), Newton steps with numerical derivatives settle the
//! last digits; where they do not, the simplex is set up anew until that gains nothing.

use super::derivatives::{gradient, hessian};
use super::matrix::Cholesky;

/// Most evaluations of one simplex.
const EVALUATIONS: usize = 4000;
/// When a first simplex is near enough for Newton steps: relative difference of its corners, and its sides.
const COARSE: (f64, f64) = (1e-7, 1e-3);
/// The same for those after it, where Newton steps did not settle.
const FINE: (f64, f64) = (1e-12, 1e-6);
/// Sides this short end a simplex whatever its corners.
const NARROWEST: f64 = 1e-10;
/// Most simplices from one start.
const SIMPLICES: usize = 8;
/// Relative gain below which another simplex is not worth setting up.
const GAIN: f64 = 1e-10;
/// Most Newton steps.
const NEWTON_STEPS: usize = 30;
/// Relative length of a step at which they stop.
const SETTLED: f64 = 1e-9;

/// Where the least value was found.
#[derive(Debug, Clone, PartialEq)]
pub struct Minimum {
    /// The variables.
    pub at: Vec<f64>,
    /// The value.
    pub value: f64,
}

/// The least value found from several starts; `None` if the function is not finite at any of them. Values that are not
/// numbers count as infinite.
pub fn minimise(f: impl Fn(&[f64]) -> f64, starts: &[Vec<f64>]) -> Option<Minimum> {
    let safe = |x: &[f64]| {
        let value = f(x);
        if value.is_nan() { f64::INFINITY } else { value }
    };
    let mut best: Option<Minimum> = None;
    for start in starts {
        let mut found = Minimum { at: start.clone(), value: safe(start) };
        if found.value.is_infinite() {
            continue;
        }
        let (mut size, mut near) = (0.5, COARSE);
        for _ in 0..SIMPLICES {
            let next = simplex(&safe, &found, size, near);
            let gained = found.value - next.value;
            let (polished, settled) = polish(&safe, next);
            found = polished;
            if settled || (near == FINE && gained <= GAIN * (found.value.abs() + 1.0)) {
                break;
            }
            (size, near) = (0.1, FINE);
        }
        if best.as_ref().is_none_or(|best| found.value < best.value) {
            best = Some(found);
        }
    }
    best
}

/// One simplex from a start, with edges of this share of each variable (or of one).
fn simplex(f: &impl Fn(&[f64]) -> f64, start: &Minimum, size: f64, near: (f64, f64)) -> Minimum {
    let n = start.at.len();
    let mut corners = vec![start.clone()];
    for j in 0..n {
        let mut at = start.at.clone();
        at[j] += size * at[j].abs().max(1.0);
        let value = f(&at);
        corners.push(Minimum { at, value });
    }
    let mut evaluations = n;
    while evaluations < EVALUATIONS && n > 0 {
        corners.sort_by(|a, b| a.value.total_cmp(&b.value));
        let (best, worst) = (&corners[0], &corners[n]);
        let wide = |corner: &Minimum| {
            let far = corner.at.iter().zip(&best.at).map(|(a, b)| (a - b).abs() / b.abs().max(1.0));
            far.fold(0.0, f64::max)
        };
        // Near enough for Newton steps.
        let flat = worst.value - best.value <= near.0 * (best.value.abs() + 1.0);
        let wide = corners.iter().map(wide).fold(0.0, f64::max);
        if (flat && wide < near.1) || wide < NARROWEST {
            break;
        }
        let centre: Vec<f64> = (0..n).map(|j| corners[..n].iter().map(|c| c.at[j]).sum::<f64>() / n as f64).collect();
        let towards = |share: f64| -> Minimum {
            let at: Vec<f64> = centre.iter().zip(&worst.at).map(|(c, w)| c + share * (c - w)).collect();
            let value = f(&at);
            Minimum { at, value }
        };
        let reflected = towards(1.0);
        evaluations += 1;
        let replacement = if reflected.value < best.value {
            let expanded = towards(2.0);
            evaluations += 1;
            Some(if expanded.value < reflected.value { expanded } else { reflected })
        } else if reflected.value < corners[n - 1].value {
            Some(reflected)
        } else {
            let contracted = towards(if reflected.value < worst.value { 0.5 } else { -0.5 });
            evaluations += 1;
            (contracted.value < worst.value.min(reflected.value)).then_some(contracted)
        };
        match replacement {
            Some(corner) => corners[n] = corner,
            None => {
                let best = corners[0].at.clone();
                for corner in &mut corners[1..] {
                    corner.at.iter_mut().zip(&best).for_each(|(a, b)| *a = 0.5 * (*a + b));
                    corner.value = f(&corner.at);
                }
                evaluations += n;
            }
        }
    }
    corners.into_iter().min_by(|a, b| a.value.total_cmp(&b.value)).unwrap_or_else(|| start.clone())
}

/// Newton steps while they lead downhill, and whether they settled to within the digits of the function.
fn polish(f: &impl Fn(&[f64]) -> f64, mut found: Minimum) -> (Minimum, bool) {
    for _ in 0..NEWTON_STEPS {
        let Ok(factor) = Cholesky::of_rows(&hessian(f, &found.at)) else { break };
        let step = factor.solve(&gradient(f, &found.at));
        let at: Vec<f64> = found.at.iter().zip(&step).map(|(x, by)| x - by).collect();
        let value = f(&at);
        if value > found.value + 1e-13 * (found.value.abs() + 1.0) {
            break;
        }
        let far = step.iter().zip(&found.at).map(|(by, x)| by.abs() / x.abs().max(1.0)).fold(0.0, f64::max);
        found = Minimum { at, value };
        if far < SETTLED {
            return (found, true);
        }
    }
    let nothing_to_move = found.at.is_empty();
    (found, nothing_to_move)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_curved_valley_of_rosenbrock() {
        // Least at (1, 1), where it is 0 (Rosenbrock 1960, Comput J 3: 175–184).
        let valley = |x: &[f64]| 100.0 * (x[1] - x[0] * x[0]).powi(2) + (1.0 - x[0]).powi(2);
        let found = minimise(valley, &[vec![-1.2, 1.0]]).expect("a least value");
        assert!(found.at.iter().all(|x| (x - 1.0).abs() < 1e-9), "{found:?}");
    }

    #[test]
    fn the_better_of_two_valleys() {
        let valleys = |x: &[f64]| (x[0] * x[0] - 1.0).powi(2) + 0.1 * x[0];
        let found = minimise(valleys, &[vec![1.5], vec![-1.5]]).expect("a least value");
        assert!((found.at[0] + 1.01).abs() < 0.02, "{found:?}");
        // The derivative vanishes there.
        assert!((4.0 * found.at[0] * (found.at[0].powi(2) - 1.0) + 0.1).abs() < 1e-9);
    }

    #[test]
    fn no_finite_value_no_minimum_and_no_variable_no_search() {
        assert_eq!(minimise(|_: &[f64]| f64::NAN, &[vec![0.0]]), None);
        assert_eq!(minimise(|_: &[f64]| 3.0, &[Vec::new()]), Some(Minimum { at: Vec::new(), value: 3.0 }));
    }
}
