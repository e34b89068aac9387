//! Hazards that are constant within pieces of age: deaths and days counted in cells, fitted as Poisson rates.
//!
//! `ln mu = ln T + x' b` for the expected deaths `mu` of a cell with `T` specimen-days. Pieces of age, bins of a condition
//! and strata are columns of 0 and 1; deaths and days summed over all rows with equal columns say all that the rows say,
//! so a fit of a million rows is one of some hundred cells. With cells kept apart by tank, the variance allows for
//! specimens of a tank depending on each other.
//!
//! Newton's method (for this model the same as iteratively reweighted least squares), the step halved while the deviance
//! rises.
//!
//! Holford 1980, Biometrics 36: 299–305; Laird & Olivier 1981, J Am Stat Assoc 76: 231–240 (both from memory).

use std::collections::BTreeMap;

use super::cox::{Covariate, WaldLimits, clustered_limits, model_limits};
use crate::numeric::matrix::sandwich;
use crate::numeric::tail::chi_squared_upper;
use crate::numeric::{Cholesky, Matrix};
use crate::refusal::{Refusal, RefusalCode};

mod likelihood; // its maximum
mod pieces; // rows cut at fixed ages

use likelihood::{Design, products};
pub use pieces::{AGE_CUTS, Piece, age_pieces, indicators};

/// A coefficient times the spread of its column beyond which no finite one fits.
const TOO_LARGE: f64 = 8.0;

/// Cells of deaths and time at risk. All columns hold one value per cell.
#[derive(Debug, Clone, Copy)]
pub struct Cells<'a> {
    /// Deaths.
    pub deaths: &'a [u64],
    /// Time at risk, usually specimen-days; cells without any say nothing and are passed over.
    pub time: &'a [f64],
    /// Columns of the model, a column of ones for the intercept among them if there is to be one.
    pub covariates: &'a [Covariate],
    /// Cells of one cluster (tank) may depend on each other.
    pub cluster: Option<&'a [u32]>,
}

/// One coefficient.
#[derive(Debug, Clone, PartialEq)]
pub struct RateCoefficient {
    /// Name of the column.
    pub name: String,
    /// Log rate ratio per unit; of an intercept the log rate per unit of time.
    pub coef: f64,
    /// `exp(coef)`.
    pub rate_ratio: f64,
    /// From the information, ignoring clusters.
    pub std_error: f64,
    /// Plain sandwich by cluster, without small-sample factor.
    pub robust_std_error: Option<f64>,
    /// Limits of `rate_ratio` and two-sided p of `coef = 0`: with clusters `G/(G-1)` times the sandwich and t with `G-1`
    /// degrees of freedom, else from `std_error` and the normal. Refused below ten clusters.
    pub limits: Result<WaldLimits, Refusal>,
}

/// A fitted model.
#[derive(Debug, Clone, PartialEq)]
pub struct RateFit {
    /// In the order of the columns.
    pub coefficients: Vec<RateCoefficient>,
    /// Inverse information.
    pub covariance: Matrix,
    /// Plain sandwich by cluster.
    pub robust_covariance: Option<Matrix>,
    /// Log-likelihood, without the terms `ln(D!)` that depend on how rows were summed; with one death a cell at most
    /// that of the rows.
    pub log_likelihood: f64,
    /// Twice the distance to the cells' own rates.
    pub deviance: f64,
    /// Newton steps.
    pub iterations: usize,
    /// Cells with time at risk.
    pub cells: usize,
    /// Deaths.
    pub deaths: u64,
    /// Time at risk.
    pub time: f64,
    /// Clusters with time at risk.
    pub clusters: Option<usize>,
}

/// A test that some coefficients are all 0.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RateTest {
    /// Chi-squared statistic.
    pub statistic: f64,
    /// Degrees of freedom.
    pub df: usize,
    /// Upper tail.
    pub p: f64,
}

/// Fits the model; limits of the given level.
///
/// # Errors
/// `InvalidInput` (columns of unlike length, a value that is not finite, a time below 0, a death without time, a level
/// outside 0 to 1), `NoEvents`, `Separation` (all deaths at one end of a column; named), `Singular` (a column that follows
/// from the others; named), `NotConverged`.
pub fn piecewise_exponential(cells: &Cells, level: f64) -> Result<RateFit, Refusal> {
    check(cells, level)?;
    let design = Design::new(cells)?;
    let (b, iterations) = design.maximise()?;
    let state = design.at(&b);
    let factor = Cholesky::new(&state.information, b.len()).map_err(|at| design.singular(at.0))?;
    let covariance = factor.inverse();
    if let Some(j) = (0..b.len()).find(|&j| b[j].abs() * design.spread(j) > TOO_LARGE) {
        return Err(design.separation(j));
    }
    let scores = cells.cluster.map(|cluster| design.scores(cluster, &state));
    let robust_covariance = scores.as_ref().map(|scores| sandwich(&covariance, &products(scores, b.len())));
    let clusters = scores.as_ref().map(BTreeMap::len);
    let coefficients = (0..b.len())
        .map(|j| {
            let robust = robust_covariance.as_ref().map(|v| v[j][j]);
            let limits = match (robust, clusters) {
                (Some(variance), Some(clusters)) => clustered_limits(b[j], variance, clusters, level),
                _ => Ok(model_limits(b[j], covariance[j][j], level)),
            };
            RateCoefficient {
                name: cells.covariates[j].name.clone(),
                coef: b[j],
                rate_ratio: b[j].exp(),
                std_error: covariance[j][j].sqrt(),
                robust_std_error: robust.map(f64::sqrt),
                limits,
            }
        })
        .collect();
    Ok(RateFit {
        coefficients,
        covariance,
        robust_covariance,
        log_likelihood: state.log_likelihood,
        deviance: state.deviance,
        iterations,
        cells: design.cells.len(),
        deaths: cells.deaths.iter().sum(),
        time: crate::numeric::neumaier(cells.time.iter().copied()),
        clusters,
    })
}

impl RateFit {
    /// The Wald test that the coefficients at these positions are all 0, from the sandwich times `G/(G-1)` where there
    /// are clusters.
    ///
    /// # Errors
    /// `InvalidInput` for no position or one outside the model, `TooFewClusters` if there are no more clusters than
    /// coefficients, `Singular` if their variance cannot be inverted.
    pub fn wald(&self, which: &[usize]) -> Result<RateTest, Refusal> {
        if which.is_empty() || which.iter().any(|&j| j >= self.coefficients.len()) {
            return Err(Refusal::plain(RefusalCode::InvalidInput, "a test needs coefficients of the model"));
        }
        let (variance, factor) = match (&self.robust_covariance, self.clusters) {
            (Some(robust), Some(clusters)) if clusters > which.len() => {
                (robust, clusters as f64 / (clusters - 1) as f64)
            }
            (Some(_), clusters) => {
                return Err(Refusal::counted(
                    RefusalCode::TooFewClusters,
                    clusters.unwrap_or(0) as f64,
                    (which.len() + 1) as f64,
                    "there are no more clusters than coefficients to test",
                ));
            }
            (None, _) => (&self.covariance, 1.0),
        };
        let part: Vec<Vec<f64>> =
            which.iter().map(|&j| which.iter().map(|&k| factor * variance[j][k]).collect()).collect();
        let own: Vec<f64> = which.iter().map(|&j| self.coefficients[j].coef).collect();
        let solved = Cholesky::of_rows(&part).map_err(|_| {
            Refusal::plain(RefusalCode::Singular, "the coefficients' variance does not tell them apart")
        })?;
        let statistic = solved.quadratic(&own);
        Ok(RateTest { statistic, df: which.len(), p: chi_squared_upper(statistic, which.len() as f64) })
    }
}

fn check(cells: &Cells, level: f64) -> Result<(), Refusal> {
    let invalid = |message: String| Err(Refusal::plain(RefusalCode::InvalidInput, message));
    let n = cells.time.len();
    let lengths = cells.covariates.iter().map(|c| c.values.len());
    let other = lengths.chain([cells.deaths.len()]).chain(cells.cluster.map(<[u32]>::len));
    if cells.covariates.is_empty() || other.into_iter().any(|length| length != n) {
        return invalid("a model of rates needs columns with one value per cell".into());
    }
    if level.is_nan() || level <= 0.0 || level >= 1.0 {
        return invalid(format!("the level of the limits must lie between 0 and 1, not {level}"));
    }
    for (at, (&time, &deaths)) in cells.time.iter().zip(cells.deaths).enumerate() {
        if !time.is_finite() || time < 0.0 || (time == 0.0 && deaths > 0) {
            return invalid(format!("cell {}: {deaths} deaths in a time of {time}", at + 1));
        }
    }
    if let Some(column) = cells.covariates.iter().find(|c| c.values.iter().any(|value| !value.is_finite())) {
        return invalid(format!("{} has a value that is not a finite number", column.name));
    }
    if cells.deaths.iter().all(|&deaths| deaths == 0) {
        return Err(Refusal::counted(RefusalCode::NoEvents, 0.0, 1.0, "nobody died"));
    }
    Ok(())
}

#[cfg(test)]
mod tests;
