//! The hazard at covariates of 0, accumulated over time.
//!
//! Ties as in the fit (Efron's or Breslow's). The zero point is the covariates' own, however far it lies from the data.

use crate::refusal::{Refusal, RefusalCode};

use super::robust::DeathSums;
use super::{CoxFit, CoxInput, same_design};

/// The accumulated hazard up to and including a death time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BaselineStep {
    /// Position of the stratum among the sorted stratum numbers; 0 without strata.
    pub stratum: usize,
    /// Death time.
    pub time: f64,
    /// Accumulated hazard at covariates of 0.
    pub cumulative_hazard: f64,
}

/// The accumulated hazard at covariates of 0, stratum by stratum, one step per death time.
///
/// # Errors
/// `InvalidInput` if the input is not that of the fit, `Separation` if a coefficient was refused.
pub fn baseline_hazard(input: &CoxInput, fit: &CoxFit) -> Result<Vec<BaselineStep>, Refusal> {
    let design = same_design(input, fit)?;
    if fit.is_separated() {
        return Err(Refusal::plain(
            RefusalCode::Separation,
            "a fit with a refused coefficient has no hazard at covariates of 0",
        ));
    }
    let sums = DeathSums::new(&design, &fit.scaled);
    let at_mean: f64 =
        design.mean().iter().zip(design.scale()).zip(&fit.scaled).map(|((mean, scale), b)| mean / scale * b).sum();
    let mut steps = Vec::with_capacity(design.risk.times.len());
    for (stratum, deaths) in design.risk.strata.iter().enumerate() {
        for death in deaths.clone() {
            let cumulative_hazard = sums.hazard(death) * (-at_mean).exp();
            steps.push(BaselineStep { stratum, time: design.risk.times[death], cumulative_hazard });
        }
    }
    Ok(steps)
}
