//! The variance from leaving out one cluster at a time: wider and less biased than the sandwich when clusters are few.
//!
//! Lipsitz, Dear & Zhao 1994, Biometrics 50: 842–846 (from memory).

use crate::numeric::Matrix;
use crate::refusal::{Refusal, RefusalCode};

use super::design::Design;
use super::fit::{TOO_LARGE, climb, evaluate, newton_step};
use super::robust::Clusters;
use super::{CLUSTERS_FOR_LIMITS, CoxFit, CoxInput, refused, same_design, separation};

/// Steps from the whole fit towards the fit without one cluster.
const STEPS: usize = 3;

/// `(G-1)/G` times the sum over clusters of the squared change of the coefficients when the cluster is left out, three
/// Newton steps from the whole fit. To be read with t and `G-1` degrees of freedom, without a further factor.
///
/// # Errors
/// `InvalidInput` without clusters or with another input than the fit's; `TooFewClusters`; `Separation`, `Singular` or
/// `NoEvents` if the fit, or the fit without one of the clusters, has no finite estimate.
pub fn jackknife(input: &CoxInput, fit: &CoxFit) -> Result<Matrix, Refusal> {
    let mut design = same_design(input, fit)?;
    let Some(cluster) = input.cluster else {
        return Err(Refusal::plain(RefusalCode::InvalidInput, "there are no clusters to leave out"));
    };
    if fit.is_separated() {
        return Err(Refusal::plain(RefusalCode::Separation, "a fit with a refused coefficient has no variance"));
    }
    let clusters = Clusters::new(&design, cluster);
    if clusters.count() < CLUSTERS_FOR_LIMITS {
        return Err(Refusal::counted(
            RefusalCode::TooFewClusters,
            clusters.count() as f64,
            CLUSTERS_FOR_LIMITS as f64,
            format!("leaving out one cluster at a time needs {CLUSTERS_FOR_LIMITS} of them"),
        ));
    }
    let (p, count) = (design.covariates(), clusters.count());
    let of_row = clusters.of_rows(&design, input.episodes.len());
    let mut variance = vec![vec![0.0; p]; p];
    for left_out in 0..count {
        design.weigh(|row| if of_row[row] == Some(left_out as u32) { 0.0 } else { 1.0 });
        let without = fit_without(input, &design, &fit.scaled)?;
        let change: Vec<f64> = without.iter().zip(&fit.scaled).map(|(a, b)| a - b).collect();
        for (row, a) in variance.iter_mut().zip(&change) {
            for (value, b) in row.iter_mut().zip(&change) {
                *value += a * b;
            }
        }
    }
    let factor = (count - 1) as f64 / count as f64;
    variance.iter_mut().flatten().for_each(|value| *value *= factor);
    Ok(design.unscale(&variance))
}

/// The estimate of the weighted rows, some steps from the whole one; in scaled covariates.
fn fit_without(input: &CoxInput, design: &Design, whole: &[f64]) -> Result<Vec<f64>, Refusal> {
    if design.deaths() == 0.0 {
        return Err(Refusal::counted(RefusalCode::NoEvents, 0.0, 1.0, "without one of the clusters nobody died"));
    }
    let mut b = whole.to_vec();
    let mut now = evaluate(design, &b);
    let everything: Vec<usize> = (0..b.len()).collect();
    for _ in 0..STEPS {
        let step = newton_step(&now, &everything);
        if let Some(j) = step.vanished.iter().position(|&gone| gone) {
            return Err(refused(super::fit::Trouble::Singular(j), input));
        }
        (b, now) = climb(design, &b, &now, &step.by);
        if let Some(j) = b.iter().position(|b| b.abs() > TOO_LARGE) {
            return Err(separation(&input.covariates[j].name));
        }
    }
    Ok(b)
}
