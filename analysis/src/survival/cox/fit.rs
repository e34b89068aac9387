//! The maximum of the partial likelihood by Newton's method, and the recognition of what has none.

use crate::numeric::{Cholesky, Matrix};

use super::design::{Compared, Design};

const STEPS: usize = 30;
const HALVINGS: usize = 30;

/// A scaled estimate beyond this is not one: a change by one spread would multiply the hazard by 3000.
pub(super) const TOO_LARGE: f64 = 8.0;

/// Log likelihood, score and information at some coefficients, all in scaled covariates.
#[derive(Debug, Clone)]
pub(super) struct Evaluation {
    pub(super) log_likelihood: f64,
    pub(super) score: Vec<f64>,
    /// Lower triangle at `i * p + j`.
    pub(super) information: Vec<f64>,
}

/// The maximum.
#[derive(Debug, Clone)]
pub(super) struct Maximum {
    pub(super) estimate: Vec<f64>,
    pub(super) at_zero: Evaluation,
    pub(super) log_likelihood: f64,
    /// Inverse information of the settled coefficients, 0 elsewhere.
    pub(super) covariance: Matrix,
    pub(super) score_test: f64,
    pub(super) iterations: usize,
    /// Coefficients that grow without end.
    pub(super) separated: Vec<bool>,
}

/// Why there is no maximum.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Trouble {
    /// The covariate at this position tells those at risk apart by nothing the others do not.
    Singular(usize),
    /// The search did not settle in this many steps.
    NotConverged(usize),
}

/// Adds the information of one compared death: `S2/s0 - m m'`.
pub(super) fn add_information(compared: &Compared, p: usize, information: &mut [f64]) {
    let sums = compared.sums;
    for i in 0..p {
        let mean = sums.s1[i] / sums.s0;
        for j in 0..=i {
            information[i * p + j] += sums.s2[i * p + j] / sums.s0 - mean * (sums.s1[j] / sums.s0);
        }
    }
}

/// Log likelihood, score and information at `b`.
pub(super) fn evaluate(design: &Design, b: &[f64]) -> Evaluation {
    let p = design.covariates();
    let mut score = vec![0.0; p];
    let mut information = vec![0.0; p * p];
    let log_likelihood = design.sweep(b, 2, |compared| {
        for (score, s1) in score.iter_mut().zip(&compared.sums.s1) {
            *score -= s1 / compared.sums.s0;
        }
        add_information(compared, p, &mut information);
    });
    for death in 0..design.risk.times.len() {
        for place in design.dying(death) {
            for (score, x) in score.iter_mut().zip(design.x(place)) {
                *score += x;
            }
        }
    }
    Evaluation {
        log_likelihood,
        score,
        information,
    }
}

/// The block of a symmetric matrix at some positions, its lower triangle filled.
fn block(a: &[f64], p: usize, at: &[usize]) -> Vec<f64> {
    let mut block = vec![0.0; at.len() * at.len()];
    for (i, &row) in at.iter().enumerate() {
        for (j, &column) in at.iter().enumerate().take(i + 1) {
            block[i * at.len() + j] = a[row.max(column) * p + row.min(column)];
        }
    }
    block
}

/// Finds the maximum.
pub(super) fn maximise(design: &Design) -> Result<Maximum, Trouble> {
    let p = design.covariates();
    let at_zero = evaluate(design, &vec![0.0; p]);
    let everything: Vec<usize> = (0..p).collect();
    let deaths = design.deaths() as f64;
    if let Some(j) = (0..p).find(|&j| at_zero.information[j * p + j] <= 1e-10 * deaths) {
        return Err(Trouble::Singular(j));
    }
    let start = Cholesky::new(&at_zero.information, p).map_err(|at| Trouble::Singular(at.0))?;
    let score_test = start.quadratic(&at_zero.score);
    let mut b = vec![0.0; p];
    let mut now = at_zero.clone();
    let mut iterations = 0;
    let mut active = everything;
    let mut separated = vec![false; p];
    let mut converged = false;
    while !converged && iterations < STEPS {
        let step = newton_step(&now, p, &mut active, &mut separated);
        iterations += 1;
        let (next_b, next) = climb(design, &b, &now, &step);
        let rise = (next.log_likelihood - now.log_likelihood).abs();
        let settled = rise / (next.log_likelihood.abs() + 0.1) < 1e-9;
        (b, now) = (next_b, next);
        converged = settled && expected_rise(&now, p, &active) < 1e-8;
    }
    if !converged {
        // A coefficient on its way to infinity may still be creeping; anything else is a failure.
        for j in 0..p {
            separated[j] |= b[j].abs() > TOO_LARGE;
        }
        if !separated.contains(&true) {
            return Err(Trouble::NotConverged(iterations));
        }
    }
    // Two more steps take settled coefficients to their last digits; one that still moves has no end.
    for _ in 0..2 {
        let step = newton_step(&now, p, &mut active, &mut separated);
        for j in 0..p {
            separated[j] |= step[j].abs() > 1e-3 * b[j].abs().max(0.1);
        }
        let (next_b, next) = climb(design, &b, &now, &step);
        (b, now) = (next_b, next);
    }
    for j in 0..p {
        separated[j] |= b[j].abs() > TOO_LARGE;
    }
    let settled: Vec<usize> = (0..p).filter(|&j| !separated[j]).collect();
    let mut covariance = vec![vec![0.0; p]; p];
    let factor = Cholesky::new(&block(&now.information, p, &settled), settled.len())
        .map_err(|at| Trouble::Singular(settled[at.0]))?;
    for (row, &i) in factor.inverse().iter().zip(&settled) {
        for (value, &j) in row.iter().zip(&settled) {
            covariance[i][j] = *value;
        }
    }
    Ok(Maximum {
        estimate: b,
        log_likelihood: now.log_likelihood,
        at_zero,
        covariance,
        score_test,
        iterations,
        separated,
    })
}

/// The Newton step in the active coefficients. One whose information has vanished leaves the active ones: it is on its
/// way to infinity.
pub(super) fn newton_step(
    now: &Evaluation,
    p: usize,
    active: &mut Vec<usize>,
    separated: &mut [bool],
) -> Vec<f64> {
    let mut step = vec![0.0; p];
    while !active.is_empty() {
        match Cholesky::new(&block(&now.information, p, active), active.len()) {
            Ok(factor) => {
                let score: Vec<f64> = active.iter().map(|&j| now.score[j]).collect();
                for (value, &j) in factor.solve(&score).iter().zip(active.iter()) {
                    step[j] = *value;
                }
                break;
            }
            Err(at) => {
                separated[active[at.0]] = true;
                active.remove(at.0);
            }
        }
    }
    step
}

/// Twice the rise that a Newton step promises: `U' I^-1 U`.
fn expected_rise(now: &Evaluation, p: usize, active: &[usize]) -> f64 {
    let score: Vec<f64> = active.iter().map(|&j| now.score[j]).collect();
    Cholesky::new(&block(&now.information, p, active), active.len())
        .map_or(0.0, |factor| factor.quadratic(&score))
}

/// Goes along `step`, halved while the log likelihood falls or is not finite.
pub(super) fn climb(
    design: &Design,
    b: &[f64],
    now: &Evaluation,
    step: &[f64],
) -> (Vec<f64>, Evaluation) {
    let mut share = 1.0;
    for _ in 0..HALVINGS {
        let next: Vec<f64> = b
            .iter()
            .zip(step)
            .map(|(b, step)| b + share * step)
            .collect();
        let there = evaluate(design, &next);
        let slack = 1e-12 * (now.log_likelihood.abs() + 1.0);
        let sound = there
            .score
            .iter()
            .chain(&there.information)
            .all(|v| v.is_finite());
        if sound
            && there.log_likelihood.is_finite()
            && there.log_likelihood >= now.log_likelihood - slack
        {
            return (next, there);
        }
        share *= 0.5;
    }
    (b.to_vec(), now.clone())
}

/// `b' V^-1 b` over the coefficients at some positions; `None` if the block of `V` is not positive definite.
pub(super) fn wald(b: &[f64], v: &[Vec<f64>], at: &[usize]) -> Option<f64> {
    let rows: Matrix = at
        .iter()
        .map(|&i| at.iter().map(|&j| v[i][j]).collect())
        .collect();
    let values: Vec<f64> = at.iter().map(|&j| b[j]).collect();
    Cholesky::of_rows(&rows)
        .ok()
        .map(|factor| factor.quadratic(&values))
}
