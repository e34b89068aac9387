//! Limits of hazard ratios by drawing whole clusters with replacement: rows are sorted once, a draw is a set of weights.
//!
//! A cluster drawn twice counts as two clusters that happened to live and die alike; one that was not drawn leaves the
//! risk sets. Each draw starts from the fit of all rows.
//!
//! Field & Welsh 2007, J R Stat Soc B 69: 369–390.

use crate::numeric::bootstrap::{BootstrapLimits, cluster_limits_of};
use crate::refusal::{Refusal, RefusalCode};

use super::fit::{Evaluation, TOO_LARGE, climb, evaluate, newton_step};
use super::robust::Clusters;
use super::{CoxFit, CoxInput, same_design};

/// Newton steps a draw may take from the fit of all rows.
const STEPS: usize = 12;
/// A draw has settled when its next step promises less than this.
const SETTLED: f64 = 1e-12;

/// Percentile limits of the log hazard ratio of every covariate, in its own unit, from `replicates` draws of the clusters
/// that have a row at risk at a death. The same seed gives the same limits.
///
/// A draw without a finite estimate counts as failed for all covariates. O(n p²) a step and draw.
///
/// # Errors
/// `InvalidInput` without clusters, with another input than the fit's, without draws or for a level outside 0 to 1;
/// `Separation` if a coefficient of the fit was refused; `TooFewClusters`; `NotConverged` if more than 5 % of the draws
/// fail.
pub fn bootstrap(
    input: &CoxInput,
    fit: &CoxFit,
    replicates: usize,
    seed: u64,
    level: f64,
) -> Result<Vec<BootstrapLimits>, Refusal> {
    let mut design = same_design(input, fit)?;
    let Some(cluster) = input.cluster else {
        return Err(Refusal::plain(RefusalCode::InvalidInput, "there are no clusters to draw"));
    };
    if fit.is_separated() {
        return Err(Refusal::plain(RefusalCode::Separation, "a fit with a refused coefficient has no limits"));
    }
    let clusters = Clusters::new(&design, cluster);
    let of_row = clusters.of_rows(&design, input.episodes.len());
    let mut times_drawn = vec![0.0; clusters.count()];
    let everything: Vec<usize> = (0..design.covariates()).collect();
    cluster_limits_of(clusters.count(), design.covariates(), replicates, seed, level, |drawn| {
        times_drawn.fill(0.0);
        drawn.iter().for_each(|&at| times_drawn[at] += 1.0);
        design.weigh(|row| of_row[row].map_or(0.0, |at| times_drawn[at as usize]));
        let mut b = fit.scaled.clone();
        let mut now: Evaluation = evaluate(&design, &b);
        for _ in 0..STEPS {
            let step = newton_step(&now, &everything);
            if step.vanished.contains(&true) {
                return None;
            }
            if step.promise < SETTLED {
                return Some(b.iter().zip(design.scale()).map(|(b, scale)| b / scale).collect());
            }
            (b, now) = climb(&design, &b, &now, &step.by);
            if b.iter().any(|b| b.abs() > TOO_LARGE) {
                return None;
            }
        }
        None
    })
}

#[cfg(test)]
mod tests {
    use super::super::tests::mixed;
    use super::super::{Covariate, CoxOptions, cox};
    use super::*;
    use crate::numeric::bootstrap::cluster_limits;

    #[test]
    fn weights_give_the_limits_of_rows_written_out() -> Result<(), Refusal> {
        let (e, covariates, tank) = mixed(150);
        let input = CoxInput { episodes: &e, covariates: &covariates, strata: None, cluster: Some(&tank) };
        let whole = cox(&input, &CoxOptions::default())?;
        let found = bootstrap(&input, &whole, 60, 5, 0.9)?;
        for (j, found) in found.iter().enumerate() {
            let written_out = cluster_limits(15, 60, 5, 0.9, |drawn| {
                let rows: Vec<usize> =
                    drawn.iter().flat_map(|&at| (0..150).filter(move |row| row % 15 == at)).collect();
                let again: Vec<Covariate> = covariates
                    .iter()
                    .map(|c| Covariate {
                        name: c.name.clone(),
                        values: rows.iter().map(|&row| c.values[row]).collect(),
                    })
                    .collect();
                let (e, covariates) = (e.subset(&rows), again.as_slice());
                let input = CoxInput { episodes: &e, covariates, strata: None, cluster: None };
                cox(&input, &CoxOptions::default()).ok()?.coefficients[j].coef
            })?;
            assert!((found.lower - written_out.lower).abs() < 1e-6, "{found:?} {written_out:?}");
            assert!((found.upper - written_out.upper).abs() < 1e-6, "{found:?} {written_out:?}");
        }
        let few: Vec<u32> = tank.iter().map(|tank| tank % 9).collect();
        let refused = bootstrap(&CoxInput { cluster: Some(&few), ..input }, &whole, 60, 5, 0.9);
        assert_eq!(refused.map_err(|refusal| refusal.code), Err(RefusalCode::TooFewClusters));
        Ok(())
    }
}
