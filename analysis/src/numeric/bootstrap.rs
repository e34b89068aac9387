//! Drawing whole clusters (tanks, keepers) with replacement, by a rule that gives the same draws everywhere.
//!
//! Field & Welsh 2007, J R Stat Soc B 69: 369–390.

use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};

use crate::refusal::{Refusal, RefusalCode};

/// Fewest clusters worth resampling.
pub const CLUSTERS_FOR_LIMITS: usize = 10;

/// Largest share of replicates that may have no value.
pub const FAILED_SHARE: f64 = 0.05;

/// Replicates behind a published figure.
pub const REPLICATES: usize = 1000;

/// Percentile limits of a statistic of resampled clusters.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BootstrapLimits {
    /// Lower limit.
    pub lower: f64,
    /// Upper limit.
    pub upper: f64,
    /// Share of replicates in which the statistic could not be computed.
    pub failed: f64,
}

/// Percentile limits over `replicates` draws of `clusters` clusters. `statistic` gets the drawn cluster positions, a
/// cluster drawn twice standing for two clusters, and says `None` where it cannot be computed.
///
/// # Errors
/// `TooFewClusters` below ten; `NotConverged` if more than 5 % of the replicates have no value; `InvalidInput` for a
/// level outside 0 to 1 or no replicates.
pub fn cluster_limits(
    clusters: usize,
    replicates: usize,
    seed: u64,
    level: f64,
    mut statistic: impl FnMut(&[usize]) -> Option<f64>,
) -> Result<BootstrapLimits, Refusal> {
    let limits = cluster_limits_of(clusters, 1, replicates, seed, level, |drawn| {
        statistic(drawn).filter(|value| !value.is_nan()).map(|value| vec![value])
    })?;
    limits.first().copied().ok_or_else(|| Refusal::plain(RefusalCode::NotConverged, "no draw had a value"))
}

/// [`cluster_limits`] of `count` statistics that are computed together; a draw that fails in one fails in all.
///
/// # Errors
/// As [`cluster_limits`].
pub fn cluster_limits_of(
    clusters: usize,
    count: usize,
    replicates: usize,
    seed: u64,
    level: f64,
    mut statistics: impl FnMut(&[usize]) -> Option<Vec<f64>>,
) -> Result<Vec<BootstrapLimits>, Refusal> {
    if clusters < CLUSTERS_FOR_LIMITS {
        return Err(Refusal::counted(
            RefusalCode::TooFewClusters,
            clusters as f64,
            CLUSTERS_FOR_LIMITS as f64,
            format!("limits by drawing whole clusters need {CLUSTERS_FOR_LIMITS} of them"),
        ));
    }
    if replicates == 0 || level.is_nan() || level <= 0.0 || level >= 1.0 {
        return Err(Refusal::plain(
            RefusalCode::InvalidInput,
            "limits by drawing whole clusters need a level between 0 and 1 and at least one draw",
        ));
    }
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    let mut values: Vec<Vec<f64>> = vec![Vec::with_capacity(replicates); count];
    let mut drawn = vec![0usize; clusters];
    let mut succeeded = 0;
    for _ in 0..replicates {
        for place in &mut drawn {
            // The high half of the product spreads 64 random bits over the clusters.
            *place = ((u128::from(random.next_u64()) * clusters as u128) >> 64) as usize;
        }
        if let Some(found) = statistics(&drawn) {
            succeeded += 1;
            values.iter_mut().zip(found).for_each(|(values, value)| values.push(value));
        }
    }
    let failed = 1.0 - f64::from(succeeded) / replicates as f64;
    if failed > FAILED_SHARE || succeeded == 0 {
        return Err(Refusal::counted(
            RefusalCode::NotConverged,
            failed,
            FAILED_SHARE,
            format!("{:.0} % of the draws had no value; at most 5 % may", 100.0 * failed),
        ));
    }
    let outside = 0.5 * (1.0 - level);
    let limits = |mut values: Vec<f64>| {
        values.sort_by(f64::total_cmp);
        BootstrapLimits { lower: percentile(&values, outside), upper: percentile(&values, 1.0 - outside), failed }
    };
    Ok(values.into_iter().map(limits).collect())
}

/// The percentile of sorted values, straight lines between them (definition 7 of Hyndman & Fan 1996, Am Stat 50:
/// 361–365). The list must not be empty.
fn percentile(sorted: &[f64], share: f64) -> f64 {
    let place = share * (sorted.len() - 1) as f64;
    let below = sorted[place.floor() as usize];
    let above = sorted[place.ceil() as usize];
    below + (place - place.floor()) * (above - below)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_same_seed_gives_the_same_limits_and_they_hold_the_mean() -> Result<(), Refusal> {
        let values: Vec<f64> = (0..20).map(f64::from).collect();
        let mean = |drawn: &[usize]| Some(drawn.iter().map(|&at| values[at]).sum::<f64>() / drawn.len() as f64);
        let first = cluster_limits(20, 1000, 7, 0.95, mean)?;
        assert_eq!(first, cluster_limits(20, 1000, 7, 0.95, mean)?);
        assert_ne!(first, cluster_limits(20, 1000, 8, 0.95, mean)?);
        // The standard error of the mean is sqrt((400 - 1) / 12 / 20) = 1.29.
        assert!((first.lower - (9.5 - 1.96 * 1.29)).abs() < 0.3 && (first.upper - (9.5 + 1.96 * 1.29)).abs() < 0.3);
        Ok(())
    }

    #[test]
    fn few_clusters_and_failing_draws_are_refused() {
        let code = |result: Result<BootstrapLimits, Refusal>| result.map(|_| ()).map_err(|r| r.code);
        assert_eq!(code(cluster_limits(9, 100, 1, 0.95, |_| Some(1.0))), Err(RefusalCode::TooFewClusters));
        assert_eq!(code(cluster_limits(12, 100, 1, 0.95, |_| None)), Err(RefusalCode::NotConverged));
        assert_eq!(code(cluster_limits(12, 0, 1, 0.95, |_| Some(1.0))), Err(RefusalCode::InvalidInput));
    }

    #[test]
    fn percentiles_by_hand() {
        assert_eq!(percentile(&[1.0, 2.0, 4.0], 0.25), 1.5);
        assert_eq!(percentile(&[5.0], 0.975), 5.0);
    }
}
