//! What losses had behind them that others alive at the same age had not: matched sets and their odds ratios.
//!
//! Each set is one case (a loss) with its controls. The conditional logistic model compares within sets only: it is the
//! proportional hazards model stratified by set with all times equal, exact for one case a set. Whatever is shared by a
//! set (species, age) falls out.
//!
//! Breslow & Day 1980, *Statistical Methods in Cancer Research*, vol. 1, chapter 7 (from memory).

use std::collections::BTreeMap;

use super::cox::{Covariate, CoxFit, CoxInput, CoxOptions, LogLikelihood, cox};
use crate::episode::Episodes;
use crate::numeric::Matrix;
use crate::refusal::{Refusal, RefusalCode};

mod sampling; // controls drawn from those at risk

pub use sampling::{AGE_WINDOW_DAYS, CONTROLS, Control, MatchedSet, RiskRows, draw_controls};

/// Cases and controls, one value per member in every column.
#[derive(Debug, Clone, Copy)]
pub struct MatchedInput<'a> {
    /// The set.
    pub set: &'a [u32],
    /// Whether the member is the set's case.
    pub case: &'a [bool],
    /// At least one column.
    pub covariates: &'a [Covariate],
    /// Members of one cluster (tank) may depend on each other; a control's is its own tank.
    pub cluster: Option<&'a [u32]>,
}

/// One odds ratio. Numbers that cannot be given are `None`, with the reason in `refused`.
#[derive(Debug, Clone, PartialEq)]
pub struct OddsRatio {
    /// Name of the column.
    pub name: String,
    /// Log odds ratio per unit.
    pub coef: Option<f64>,
    /// `exp(coef)`.
    pub odds_ratio: Option<f64>,
    /// From the information, ignoring clusters.
    pub std_error: Option<f64>,
    /// Plain sandwich by cluster.
    pub robust_std_error: Option<f64>,
    /// Lower limit of the odds ratio, as for hazard ratios.
    pub lower: Option<f64>,
    /// Upper limit.
    pub upper: Option<f64>,
    /// Two-sided p of no association.
    pub p: Option<f64>,
    /// Why numbers are absent.
    pub refused: Option<Refusal>,
}

/// A fitted model.
#[derive(Debug, Clone, PartialEq)]
pub struct MatchedFit {
    /// In the order of the columns.
    pub odds_ratios: Vec<OddsRatio>,
    /// Inverse information.
    pub covariance: Matrix,
    /// Conditional log-likelihood.
    pub log_likelihood: LogLikelihood,
    /// Sets with a case and at least one control.
    pub sets: usize,
    /// Their controls.
    pub controls: usize,
    /// Sets without a control, which say nothing and are left out.
    pub left_out: usize,
}

/// Odds ratios within matched sets.
///
/// # Errors
/// `InvalidInput` (columns of unlike length, a set without a case or with several, a value that is not finite), `EmptyGroup`
/// if no set has a control, what [`cox`] refuses. Deaths on one side only are refused by coefficient.
pub fn conditional_logistic(input: &MatchedInput) -> Result<MatchedFit, Refusal> {
    let MatchedInput { set, case, covariates, cluster } = *input;
    let n = set.len();
    let mut lengths = covariates.iter().map(|c| c.values.len()).chain(cluster.map(<[u32]>::len)).chain([case.len()]);
    if lengths.any(|length| length != n) {
        return Err(Refusal::plain(RefusalCode::InvalidInput, "each member of a set needs a value in every column"));
    }
    let mut members: BTreeMap<u32, (usize, usize)> = BTreeMap::new();
    for (id, &case) in set.iter().zip(case) {
        let own = members.entry(*id).or_default();
        if case { own.0 += 1 } else { own.1 += 1 }
    }
    if let Some((id, (cases, _))) = members.iter().find(|(_, (cases, _))| *cases != 1) {
        return Err(Refusal::plain(
            RefusalCode::InvalidInput,
            format!("set {id} has {cases} cases; a matched set has one"),
        ));
    }
    let compared = |id: &u32| members.get(id).is_some_and(|(_, controls)| *controls > 0);
    let rows: Vec<usize> = (0..n).filter(|&row| compared(&set[row])).collect();
    if rows.is_empty() {
        return Err(Refusal::counted(RefusalCode::EmptyGroup, 0.0, 1.0, "no set has a control to compare with"));
    }
    let pick = |ids: &[u32]| -> Vec<u32> { rows.iter().map(|&row| ids[row]).collect() };
    let episodes = Episodes {
        start: vec![0.0; rows.len()],
        stop: vec![1.0; rows.len()],
        event: rows.iter().map(|&row| case[row]).collect(),
    };
    let columns: Vec<Covariate> = covariates
        .iter()
        .map(|c| Covariate { name: c.name.clone(), values: rows.iter().map(|&row| c.values[row]).collect() })
        .collect();
    let (strata, cluster) = (pick(set), cluster.map(pick));
    let model =
        CoxInput { episodes: &episodes, covariates: &columns, strata: Some(&strata), cluster: cluster.as_deref() };
    let fit = cox(&model, &CoxOptions::default())?;
    let sets = members.values().filter(|(_, controls)| *controls > 0).count();
    Ok(MatchedFit {
        odds_ratios: odds_ratios(&fit),
        covariance: fit.covariance,
        log_likelihood: fit.log_likelihood,
        sets,
        controls: rows.len() - sets,
        left_out: members.len() - sets,
    })
}

fn odds_ratios(fit: &CoxFit) -> Vec<OddsRatio> {
    let one = |own: &super::cox::Coefficient| OddsRatio {
        name: own.name.clone(),
        coef: own.coef,
        odds_ratio: own.hazard_ratio,
        std_error: own.std_error,
        robust_std_error: own.robust_std_error,
        lower: own.lower,
        upper: own.upper,
        p: own.p,
        refused: own.refused.clone(),
    };
    fit.coefficients.iter().map(one).collect()
}

#[cfg(test)]
mod tests;
