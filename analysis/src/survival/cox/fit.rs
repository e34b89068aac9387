//! The maximum of the partial likelihood by Newton's method, and the recognition of what has none.

use crate::numeric::{Cholesky, Matrix};

use super::design::{Compared, Design};

const STEPS: usize = 30;
const HALVINGS: usize = 30;

/// A scaled estimate beyond this is not one: a change by one spread would multiply the hazard by 3000.
pub(super) const TOO_LARGE: f64 = 8.0;

/// A step below this share of the coefficient, which the next one would square, moves none of its digits.
const LAST_DIGITS: f64 = 1e-10;

/// A coefficient that keeps less than this share of the information it had at 0 is not settled by the rows.
const INFORMATION_LEFT: f64 = 1e-6;

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
    let (s0, s1, s2) = (compared.sums.s0(), compared.sums.s1(), compared.sums.s2());
    for i in 0..p {
        let mean = s1[i] / s0;
        for j in 0..=i {
            information[i * p + j] += s2[i * p + j] / s0 - mean * (s1[j] / s0);
        }
    }
}

/// Log likelihood, score and information at `b`.
pub(super) fn evaluate(design: &Design, b: &[f64]) -> Evaluation {
    let p = design.covariates();
    let mut score = design.of_deaths().to_vec();
    let mut information = vec![0.0; p * p];
    let log_likelihood = design.sweep(b, 2, |compared| {
        for (score, s1) in score.iter_mut().zip(compared.sums.s1()) {
            *score -= s1 / compared.sums.s0();
        }
        add_information(compared, p, &mut information);
    });
    Evaluation { log_likelihood, score, information }
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

/// Finds the maximum. `near`: coefficients that may lie near it, taken as a start if they fit better than none.
pub(super) fn maximise(design: &Design, near: Option<&[f64]>) -> Result<Maximum, Trouble> {
    let p = design.covariates();
    let at_zero = evaluate(design, &vec![0.0; p]);
    let deaths = design.deaths();
    if let Some(j) = (0..p).find(|&j| at_zero.information[j * p + j] <= 1e-10 * deaths) {
        return Err(Trouble::Singular(j));
    }
    let start = Cholesky::new(&at_zero.information, p).map_err(|at| Trouble::Singular(at.0))?;
    let score_test = start.quadratic(&at_zero.score);
    let mut b = vec![0.0; p];
    let mut now = at_zero.clone();
    if let Some(near) = near {
        let there = evaluate(design, near);
        if there.log_likelihood > now.log_likelihood {
            (b, now) = (near.to_vec(), there);
        }
    }
    let mut iterations = 0;
    let everything: Vec<usize> = (0..p).collect();
    let mut step = newton_step(&now, &everything);
    let mut converged = false;
    while !converged && iterations < STEPS {
        iterations += 1;
        let (next_b, next) = climb(design, &b, &now, &step.by);
        let rise = (next.log_likelihood - now.log_likelihood).abs();
        let settled = rise / (next.log_likelihood.abs() + 0.1) < 1e-9;
        (b, now) = (next_b, next);
        step = newton_step(&now, &everything);
        converged = settled && step.promise < 1e-8;
    }
    let mut endless = vec![false; p];
    if !converged {
        // A coefficient on its way to infinity may still be creeping; anything else is a failure.
        for j in 0..p {
            endless[j] |= step.vanished[j] || b[j].abs() > TOO_LARGE;
        }
        if !endless.contains(&true) {
            return Err(Trouble::NotConverged(iterations));
        }
    }
    // Up to two more steps take settled coefficients to their last digits; one that still moves has no end.
    for _ in 0..2 {
        let still = step.by.iter().zip(&b).all(|(by, b)| by.abs() <= LAST_DIGITS * b.abs().max(0.1));
        if still && step.promise < LAST_DIGITS * LAST_DIGITS {
            break;
        }
        (b, now) = climb(design, &b, &now, &step.by);
        step = newton_step(&now, &everything);
    }
    for j in 0..p {
        endless[j] |= step.vanished[j] || step.by[j].abs() > 1e-3 * b[j].abs().max(0.1);
    }
    let mut covariance = settled_covariance(&at_zero, &now, p, &mut endless)?;
    if endless.contains(&true) {
        (b, now) = go_to_the_limit(design, b, now, &step.by, &endless);
        covariance = settled_covariance(&at_zero, &now, p, &mut endless)?;
    }
    let separated: Vec<bool> = (0..p).map(|j| endless[j] || b[j].abs() > TOO_LARGE).collect();
    for i in 0..p {
        for j in 0..p {
            if separated[i] || separated[j] {
                covariance[i][j] = 0.0;
            }
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

/// Takes the endless coefficients so far that what they leave to the others no longer changes, and settles the others
/// there.
fn go_to_the_limit(
    design: &Design,
    b: Vec<f64>,
    now: Evaluation,
    step: &[f64],
    endless: &[bool],
) -> (Vec<f64>, Evaluation) {
    let p = b.len();
    let (mut b, mut now) = (b, now);
    // An endless coefficient moves by about one e-fold a step; go as far as doubles reach.
    for times in [25.0, 10.0, 4.0] {
        let far: Vec<f64> = (0..p).map(|j| if endless[j] { b[j] + times * step[j] } else { b[j] }).collect();
        let there = evaluate(design, &far);
        if there.log_likelihood >= now.log_likelihood - 1e-9 * (now.log_likelihood.abs() + 1.0) {
            (b, now) = (far, there);
            break;
        }
    }
    let others: Vec<usize> = (0..p).filter(|&j| !endless[j]).collect();
    for _ in 0..STEPS {
        let step = newton_step(&now, &others);
        if step.promise < 1e-18 {
            break;
        }
        (b, now) = climb(design, &b, &now, &step.by);
    }
    (b, now)
}

/// Inverse information of the settled coefficients. One that has lost nearly all the information it had at 0, because
/// another grew without end, is not settled either.
fn settled_covariance(
    at_zero: &Evaluation,
    now: &Evaluation,
    p: usize,
    separated: &mut [bool],
) -> Result<Matrix, Trouble> {
    loop {
        let settled: Vec<usize> = (0..p).filter(|&j| !separated[j]).collect();
        let inverse = |at: &Evaluation| {
            Cholesky::new(&block(&at.information, p, &settled), settled.len())
                .map(|factor| factor.inverse())
                .map_err(|at| settled[at.0])
        };
        let before = inverse(at_zero).map_err(Trouble::Singular)?;
        let found = match inverse(now) {
            Ok(found) => found,
            Err(vanished) => {
                separated[vanished] = true;
                continue;
            }
        };
        let lost = (0..settled.len()).find(|&i| before[i][i] < INFORMATION_LEFT * found[i][i]);
        if let Some(i) = lost {
            separated[settled[i]] = true;
            continue;
        }
        let mut covariance = vec![vec![0.0; p]; p];
        for (row, &i) in found.iter().zip(&settled) {
            for (value, &j) in row.iter().zip(&settled) {
                covariance[i][j] = *value;
            }
        }
        return Ok(covariance);
    }
}

/// A Newton step and what it promises.
pub(super) struct Step {
    /// One value per coefficient, 0 where the information has vanished or the coefficient was not to move.
    pub(super) by: Vec<f64>,
    /// Twice the rise the step promises: `U' I^-1 U`.
    pub(super) promise: f64,
    /// Coefficients whose information, given the others, has vanished.
    pub(super) vanished: Vec<bool>,
}

/// The Newton step in some of the coefficients.
pub(super) fn newton_step(now: &Evaluation, moving: &[usize]) -> Step {
    let p = now.score.len();
    let mut moving = moving.to_vec();
    let mut step = Step { by: vec![0.0; p], promise: 0.0, vanished: vec![false; p] };
    loop {
        match Cholesky::new(&block(&now.information, p, &moving), moving.len()) {
            Ok(factor) => {
                let score: Vec<f64> = moving.iter().map(|&j| now.score[j]).collect();
                for (value, &j) in factor.solve(&score).iter().zip(&moving) {
                    step.by[j] = *value;
                }
                step.promise = factor.quadratic(&score);
                return step;
            }
            Err(at) => step.vanished[moving.remove(at.0)] = true,
        }
    }
}

/// Goes along `step`, halved while the log likelihood falls or is not finite.
pub(super) fn climb(design: &Design, b: &[f64], now: &Evaluation, step: &[f64]) -> (Vec<f64>, Evaluation) {
    let mut share = 1.0;
    for _ in 0..HALVINGS {
        let next: Vec<f64> = b.iter().zip(step).map(|(b, step)| b + share * step).collect();
        let there = evaluate(design, &next);
        let slack = 1e-12 * (now.log_likelihood.abs() + 1.0);
        let sound = there.score.iter().chain(&there.information).all(|v| v.is_finite());
        if sound && there.log_likelihood.is_finite() && there.log_likelihood >= now.log_likelihood - slack {
            return (next, there);
        }
        share *= 0.5;
    }
    (b.to_vec(), now.clone())
}

/// `b' V^-1 b` over the coefficients at some positions; `None` if the block of `V` is not positive definite.
pub(super) fn wald(b: &[f64], v: &[Vec<f64>], at: &[usize]) -> Option<f64> {
    let rows: Matrix = at.iter().map(|&i| at.iter().map(|&j| v[i][j]).collect()).collect();
    let values: Vec<f64> = at.iter().map(|&j| b[j]).collect();
    Cholesky::of_rows(&rows).ok().map(|factor| factor.quadratic(&values))
}
