//! Finite estimates where deaths lie on one side of a covariate only, or are few: the log likelihood plus half the
//! logarithm of the determinant of the information.
//!
//! There is no variance by cluster here, and the limits from `std_error` are crude when deaths are few; the p values
//! are from the penalised likelihood itself, and so are [`profile_limits`].
//!
//! Firth 1993, Biometrika 80: 27–38; Heinze & Schemper 2001, Biometrics 57: 114–119.

use crate::numeric::root::brent;
use crate::numeric::tail::{chi_squared_quantile, chi_squared_upper};
use crate::numeric::{Cholesky, Matrix};
use crate::refusal::{Refusal, RefusalCode};

use super::design::{Compared, Design};
use super::fit::add_information;
use super::{CoxInput, CoxOptions, check, model_limits};

const STEPS: usize = 100;
const HALVINGS: usize = 5;
const LONGEST_STEP: f64 = 2.0;

/// One coefficient of a penalised fit.
#[derive(Debug, Clone, PartialEq)]
pub struct FirthCoefficient {
    /// Name of the covariate.
    pub name: String,
    /// Log hazard ratio per unit of the covariate.
    pub coef: f64,
    /// `exp(coef)`.
    pub hazard_ratio: f64,
    /// From the inverse of the information at the estimate.
    pub std_error: f64,
    /// Lower limit of the hazard ratio, from `std_error` and the normal.
    pub lower: f64,
    /// Upper limit of the hazard ratio.
    pub upper: f64,
    /// Twice the fall of the penalised log likelihood when the coefficient is held at 0.
    pub statistic: f64,
    /// Upper tail of `statistic`, chi-squared with one degree of freedom.
    pub p: f64,
}

/// A penalised fit.
#[derive(Debug, Clone, PartialEq)]
pub struct FirthFit {
    /// In the order of the covariates.
    pub coefficients: Vec<FirthCoefficient>,
    /// Inverse of the information at the estimates.
    pub covariance: Matrix,
    /// Penalised log likelihood at the estimates, covariates in their own units.
    pub penalised_log_likelihood: f64,
    /// Steps of the search.
    pub iterations: usize,
}

/// Limits of a hazard ratio from the profile of the penalised likelihood; `None` where the profile stays above.
#[derive(Debug, Clone, PartialEq)]
pub struct ProfileLimits {
    /// Name of the covariate.
    pub name: String,
    /// Lower limit of the hazard ratio.
    pub lower: Option<f64>,
    /// Upper limit of the hazard ratio.
    pub upper: Option<f64>,
}

/// The penalised fit. Clusters of the input are not used.
///
/// # Errors
/// `InvalidInput`, `NoEvents`, `Singular` as for the plain fit, `NotConverged`.
pub fn firth(input: &CoxInput, options: &CoxOptions) -> Result<FirthFit, Refusal> {
    check(input, options)?;
    maximise(&Design::new(input, options.ties)?, input, options)
}

/// Limits of every hazard ratio from the profile of the penalised likelihood, at the level of `options`.
///
/// # Errors
/// As [`firth()`].
pub fn profile_limits(input: &CoxInput, options: &CoxOptions) -> Result<Vec<ProfileLimits>, Refusal> {
    check(input, options)?;
    let design = Design::new(input, options.ties)?;
    let top = search(&design, &vec![0.0; design.covariates()], None).map_err(|trouble| trouble.refusal(input))?;
    let Some(fall) = chi_squared_quantile(options.level, 1.0) else {
        return Err(Refusal::plain(RefusalCode::InvalidInput, "the level of the limits must lie between 0 and 1"));
    };
    let limits = |j: usize| {
        let std_error = top.covariance[j][j].sqrt();
        let mut profile = |at: f64| {
            let mut start = top.estimate.clone();
            start[j] = at;
            search(&design, &start, Some(j)).map_or(f64::NAN, |held| 2.0 * (top.value - held.value) - fall)
        };
        let mut side = |sign: f64| {
            let mut near = top.estimate[j];
            let mut width = std_error;
            for _ in 0..6 {
                let far = top.estimate[j] + sign * width;
                if profile(far) > 0.0 {
                    return brent(&mut profile, near, far, 1e-10);
                }
                near = far;
                width *= 2.0;
            }
            None
        };
        let in_own_unit = |b: f64| (b / design.scale()[j]).exp();
        ProfileLimits {
            name: input.covariates[j].name.clone(),
            lower: side(-1.0).map(in_own_unit),
            upper: side(1.0).map(in_own_unit),
        }
    };
    Ok((0..design.covariates()).map(limits).collect())
}

pub(super) fn maximise(design: &Design, input: &CoxInput, options: &CoxOptions) -> Result<FirthFit, Refusal> {
    let p = design.covariates();
    let refused = |trouble: Trouble| trouble.refusal(input);
    let top = search(design, &vec![0.0; p], None).map_err(refused)?;
    let covariance = design.unscale(&top.covariance);
    let mut coefficients = Vec::with_capacity(p);
    for (j, covariate) in input.covariates.iter().enumerate() {
        let mut start = top.estimate.clone();
        start[j] = 0.0;
        let held = search(design, &start, Some(j)).map_err(refused)?;
        let statistic = (2.0 * (top.value - held.value)).max(0.0);
        let coef = top.estimate[j] / design.scale()[j];
        let limits = model_limits(coef, covariance[j][j], options.level);
        coefficients.push(FirthCoefficient {
            name: covariate.name.clone(),
            coef,
            hazard_ratio: coef.exp(),
            std_error: covariance[j][j].sqrt(),
            lower: limits.lower,
            upper: limits.upper,
            statistic,
            p: chi_squared_upper(statistic, 1.0),
        });
    }
    // The determinant of the information in own units is that of the scaled one times the squared scales.
    let units: f64 = design.scale().iter().map(|scale| scale.ln()).sum();
    Ok(FirthFit { coefficients, covariance, penalised_log_likelihood: top.value + units, iterations: top.iterations })
}

enum Trouble {
    Singular(usize),
    NotConverged,
}

impl Trouble {
    fn refusal(self, input: &CoxInput) -> Refusal {
        match self {
            Trouble::Singular(j) => super::refused(super::fit::Trouble::Singular(j), input),
            Trouble::NotConverged => Refusal::plain(
                RefusalCode::NotConverged,
                format!("the search for the penalised ratios did not settle in {STEPS} steps"),
            ),
        }
    }
}

/// The penalised log likelihood at some coefficients, all in scaled covariates.
struct Penalised {
    value: f64,
    score: Vec<f64>,
    information: Vec<f64>,
    covariance: Matrix,
}

/// A maximum, with one coefficient held if asked.
struct Maximum {
    estimate: Vec<f64>,
    value: f64,
    covariance: Matrix,
    iterations: usize,
}

fn evaluate(design: &Design, b: &[f64]) -> Result<Penalised, usize> {
    let p = design.covariates();
    let mut score = design.of_deaths().to_vec();
    let mut information = vec![0.0; p * p];
    let mut third = vec![0.0; p * p * p];
    let log_likelihood = design.sweep(b, 3, |compared| {
        for (score, s1) in score.iter_mut().zip(compared.sums.s1()) {
            *score -= s1 / compared.sums.s0();
        }
        add_information(compared, p, &mut information);
        add_third_moments(compared, p, &mut third);
    });
    let factor = Cholesky::new(&information, p).map_err(|at| at.0)?;
    let covariance = factor.inverse();
    for (k, score) in score.iter_mut().enumerate() {
        for (i, row) in covariance.iter().enumerate() {
            for (j, v) in row.iter().enumerate() {
                let mut at = [i, j, k];
                at.sort_unstable();
                *score += 0.5 * v * third[(at[2] * p + at[1]) * p + at[0]];
            }
        }
    }
    Ok(Penalised { value: log_likelihood + 0.5 * factor.ln_determinant(), score, information, covariance })
}

/// Adds the third central moments of one compared death, the derivative of its information.
fn add_third_moments(compared: &Compared, p: usize, third: &mut [f64]) {
    let sums = compared.sums;
    for i in 0..p {
        let mi = sums.s1()[i] / sums.s0();
        for j in 0..=i {
            let mj = sums.s1()[j] / sums.s0();
            let sij = sums.s2()[i * p + j] / sums.s0();
            for k in 0..=j {
                let mk = sums.s1()[k] / sums.s0();
                let at = (i * p + j) * p + k;
                third[at] += sums.s3()[at] / sums.s0()
                    - (sij * mk + sums.s2()[i * p + k] / sums.s0() * mj + sums.s2()[j * p + k] / sums.s0() * mi)
                    + 2.0 * mi * mj * mk;
            }
        }
    }
}

/// Curvature of the penalised log likelihood in the free coefficients, from differences of its score; `None` where it is
/// not that of a hilltop. The information alone misses the penalty's own curvature, which with few deaths is as large,
/// and steps by it swing about the top.
fn curvature(design: &Design, b: &[f64], free: &[usize]) -> Option<Cholesky> {
    const APART: f64 = 1e-4;
    let mut columns = Vec::with_capacity(free.len());
    for &j in free {
        let score_at = |by: f64| {
            let mut moved = b.to_vec();
            moved[j] += by;
            evaluate(design, &moved).ok().map(|there| there.score)
        };
        let (above, below) = (score_at(APART)?, score_at(-APART)?);
        columns.push(free.iter().map(|&i| (below[i] - above[i]) / (2.0 * APART)).collect::<Vec<f64>>());
    }
    let flat: Vec<f64> = (0..free.len())
        .flat_map(|i| (0..free.len()).map(move |j| (i, j)))
        .map(|(i, j)| 0.5 * (columns[i][j] + columns[j][i]))
        .collect();
    Cholesky::new(&flat, free.len()).ok()
}

/// Climbs the penalised log likelihood from `start`, with the coefficient at `held` not moving.
fn search(design: &Design, start: &[f64], held: Option<usize>) -> Result<Maximum, Trouble> {
    let p = design.covariates();
    let free: Vec<usize> = (0..p).filter(|&j| Some(j) != held).collect();
    let mut b = start.to_vec();
    let mut now = evaluate(design, &b).map_err(Trouble::Singular)?;
    for iterations in 0..STEPS {
        let score: Vec<f64> = free.iter().map(|&j| now.score[j]).collect();
        let factor = match curvature(design, &b, &free) {
            Some(factor) => factor,
            None => {
                let block: Vec<f64> = free
                    .iter()
                    .flat_map(|&i| free.iter().map(move |&j| (i.max(j), i.min(j))))
                    .map(|(i, j)| now.information[i * p + j])
                    .collect();
                Cholesky::new(&block, free.len()).map_err(|at| Trouble::Singular(free[at.0]))?
            }
        };
        let mut step = factor.solve(&score);
        let longest = step.iter().fold(0.0f64, |most, s| most.max(s.abs()));
        if longest < 1e-11 * (1.0 + b.iter().fold(0.0f64, |most, b| most.max(b.abs()))) {
            return Ok(Maximum { estimate: b, value: now.value, covariance: now.covariance, iterations });
        }
        if longest > LONGEST_STEP {
            step.iter_mut().for_each(|s| *s *= LONGEST_STEP / longest);
        }
        let mut share = 1.0;
        let mut moved = None;
        for _ in 0..=HALVINGS {
            let mut next = b.clone();
            for (&j, s) in free.iter().zip(&step) {
                next[j] += share * s;
            }
            if let Ok(there) = evaluate(design, &next) {
                let slack = 1e-12 * (now.value.abs() + 1.0);
                if there.value.is_finite() && there.value >= now.value - slack {
                    moved = Some((next, there));
                    break;
                }
            }
            share *= 0.5;
        }
        match moved {
            Some((next, there)) => (b, now) = (next, there),
            None => return Err(Trouble::NotConverged),
        }
    }
    Err(Trouble::NotConverged)
}
