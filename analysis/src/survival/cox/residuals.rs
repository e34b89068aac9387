//! What each row adds: observed less expected deaths, and the pull of a row on the coefficients.
//!
//! Therneau & Grambsch 2000, *Modeling Survival Data*, chapter 4; Schoenfeld 1982, Biometrika 69: 239–241.

use crate::numeric::Matrix;
use crate::refusal::{Refusal, RefusalCode};

use super::robust::DeathSums;
use super::{CoxFit, CoxInput, same_design};

/// One death: covariates of the one that died less the mean of those at risk.
#[derive(Debug, Clone, PartialEq)]
pub struct SchoenfeldResidual {
    /// Row, from 0.
    pub row: usize,
    /// Death time.
    pub time: f64,
    /// One value per covariate, in its own unit.
    pub values: Vec<f64>,
}

/// Residuals of a fit.
#[derive(Debug, Clone, PartialEq)]
pub struct Residuals {
    /// Per row: deaths less expected deaths. They sum to 0.
    pub martingale: Vec<f64>,
    /// Per row: its part of the score, one value per covariate. They sum to 0.
    pub score: Matrix,
    /// Per row: about the change of the coefficients if the row were left out, with the sign turned.
    pub dfbeta: Matrix,
    /// Per death, by stratum, time and row.
    pub schoenfeld: Vec<SchoenfeldResidual>,
}

/// All residuals, in the order of the rows.
///
/// # Errors
/// `InvalidInput` if the input is not that of the fit, `Separation` if a coefficient was refused.
pub fn residuals(input: &CoxInput, fit: &CoxFit) -> Result<Residuals, Refusal> {
    let design = same_design(input, fit)?;
    if fit.is_separated() {
        return Err(Refusal::plain(RefusalCode::Separation, "a fit with a refused coefficient has no residuals"));
    }
    let p = design.covariates();
    let rows = input.episodes.len();
    let sums = DeathSums::new(&design, &fit.scaled);
    let mut martingale = vec![0.0; rows];
    let mut score = vec![vec![0.0; p]; rows];
    let mut dfbeta = vec![vec![0.0; p]; rows];
    for place in 0..design.places() {
        let row = design.row(place);
        let died = if design.dies(place) { 1.0 } else { 0.0 };
        martingale[row] = died - sums.expected(&design, place);
        sums.add_score(&design, place, &mut score[row]);
        for (value, scale) in score[row].iter_mut().zip(design.scale()) {
            *value *= scale;
        }
        for (pull, variances) in dfbeta[row].iter_mut().zip(&fit.covariance) {
            *pull = variances.iter().zip(&score[row]).map(|(v, u)| v * u).sum();
        }
    }
    let mut schoenfeld = Vec::new();
    for death in 0..design.risk.times.len() {
        for place in design.dying(death) {
            let mean = sums.mean(death);
            let values = (0..p).map(|j| (design.x(place)[j] - mean[j]) * design.scale()[j]).collect();
            schoenfeld.push(SchoenfeldResidual { row: design.row(place), time: design.risk.times[death], values });
        }
    }
    Ok(Residuals { martingale, score, dfbeta, schoenfeld })
}
