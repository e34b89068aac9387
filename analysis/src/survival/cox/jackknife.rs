//! The variance from leaving out one cluster at a time: wider and less biased than the sandwich when clusters are few.
//!
//! Lipsitz, Dear & Zhao 1994, Biometrics 50: 842–846 (from memory).

use crate::numeric::Matrix;
use crate::refusal::{Refusal, RefusalCode};

use super::design::Design;
use super::fit::{TOO_LARGE, climb, evaluate, newton_step};
use super::{CLUSTERS_FOR_LIMITS, Covariate, CoxFit, CoxInput, refused, same_design, separation};

/// Steps from the whole fit towards the fit without one cluster.
const STEPS: usize = 3;

/// `(G-1)/G` times the sum over clusters of the squared change of the coefficients when the cluster is left out, three
/// Newton steps from the whole fit. To be read with t and `G-1` degrees of freedom, without a further factor.
///
/// # Errors
/// `InvalidInput` without clusters or with another input than the fit's; `TooFewClusters`; `Separation`, `Singular` or
/// `NoEvents` if the fit, or the fit without one of the clusters, has no finite estimate.
pub fn jackknife(input: &CoxInput, fit: &CoxFit) -> Result<Matrix, Refusal> {
    let design = same_design(input, fit)?;
    let Some(cluster) = input.cluster else {
        return Err(Refusal::plain(RefusalCode::InvalidInput, "there are no clusters to leave out"));
    };
    if fit.is_separated() {
        return Err(Refusal::plain(RefusalCode::Separation, "a fit with a refused coefficient has no variance"));
    }
    let mut ids: Vec<u32> = (0..design.places()).map(|place| cluster[design.row(place)]).collect();
    ids.sort_unstable();
    ids.dedup();
    if ids.len() < CLUSTERS_FOR_LIMITS {
        return Err(Refusal::counted(
            RefusalCode::TooFewClusters,
            ids.len() as f64,
            CLUSTERS_FOR_LIMITS as f64,
            format!("leaving out one cluster at a time needs {CLUSTERS_FOR_LIMITS} of them"),
        ));
    }
    let p = design.covariates();
    let whole: Vec<f64> = fit.scaled.iter().zip(design.scale()).map(|(b, scale)| b / scale).collect();
    let mut variance = vec![vec![0.0; p]; p];
    for &id in &ids {
        let without = fit_without(input, fit, cluster, id, &whole)?;
        let change: Vec<f64> = without.iter().zip(&whole).map(|(a, b)| a - b).collect();
        for (row, a) in variance.iter_mut().zip(&change) {
            for (value, b) in row.iter_mut().zip(&change) {
                *value += a * b;
            }
        }
    }
    let factor = (ids.len() - 1) as f64 / ids.len() as f64;
    variance.iter_mut().flatten().for_each(|value| *value *= factor);
    Ok(variance)
}

fn fit_without(input: &CoxInput, fit: &CoxFit, cluster: &[u32], id: u32, whole: &[f64]) -> Result<Vec<f64>, Refusal> {
    let rows: Vec<usize> = (0..cluster.len()).filter(|&row| cluster[row] != id).collect();
    let episodes = input.episodes.subset(&rows);
    let covariates: Vec<Covariate> = input
        .covariates
        .iter()
        .map(|c| Covariate { name: c.name.clone(), values: rows.iter().map(|&row| c.values[row]).collect() })
        .collect();
    let strata: Option<Vec<u32>> = input.strata.map(|strata| rows.iter().map(|&row| strata[row]).collect());
    let rest = CoxInput { episodes: &episodes, covariates: &covariates, strata: strata.as_deref(), cluster: None };
    let design = Design::new(&rest, fit.options.ties)?;
    let p = design.covariates();
    let mut b: Vec<f64> = whole.iter().zip(design.scale()).map(|(b, scale)| b * scale).collect();
    let mut now = evaluate(&design, &b);
    let everything: Vec<usize> = (0..p).collect();
    for _ in 0..STEPS {
        let step = newton_step(&now, &everything);
        if let Some(j) = step.vanished.iter().position(|&gone| gone) {
            return Err(refused(super::fit::Trouble::Singular(j), input));
        }
        (b, now) = climb(&design, &b, &now, &step.by);
        if let Some(j) = b.iter().position(|b| b.abs() > TOO_LARGE) {
            return Err(separation(&input.covariates[j].name));
        }
    }
    Ok(b.iter().zip(design.scale()).map(|(b, scale)| b / scale).collect())
}
