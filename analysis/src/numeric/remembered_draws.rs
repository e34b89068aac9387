//! Limits of several statistics of the same draws of clusters, each draw worked out once.

use super::bootstrap::{BootstrapLimits, cluster_limits};
use crate::refusal::Refusal;

/// How clusters are drawn.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DrawOptions {
    /// Number of draws.
    pub replicates: usize,
    /// The same seed gives the same draws everywhere.
    pub seed: u64,
    /// Coverage of the limits.
    pub level: f64,
}

/// What was worked out of each draw.
#[derive(Debug, Clone, PartialEq)]
pub struct RememberedDraws<T> {
    clusters: usize,
    options: DrawOptions,
    /// In the order of the draws; `None` where it could not be worked out.
    pub values: Vec<Option<T>>,
}

impl<T> RememberedDraws<T> {
    /// Works the draws of `clusters` clusters out. `work` gets the drawn cluster positions, a cluster drawn twice
    /// standing for two.
    ///
    /// # Errors
    /// As [`cluster_limits`].
    pub fn new(
        clusters: usize,
        options: DrawOptions,
        mut work: impl FnMut(&[usize]) -> Option<T>,
    ) -> Result<RememberedDraws<T>, Refusal> {
        let mut values = Vec::with_capacity(options.replicates);
        cluster_limits(clusters, options.replicates, options.seed, options.level, |drawn| {
            values.push(work(drawn));
            values.last().and_then(|value| value.as_ref().map(|_| 0.0))
        })?;
        Ok(RememberedDraws { clusters, options, values })
    }

    /// Percentile limits of one statistic.
    ///
    /// # Errors
    /// `NotConverged` if more than 5 % of the draws do not have it.
    pub fn limits(&self, statistic: impl Fn(&T) -> Option<f64>) -> Result<BootstrapLimits, Refusal> {
        let mut values = self.values.iter();
        // The draws come in the order in which they were worked out.
        cluster_limits(self.clusters, self.values.len(), self.options.seed, self.options.level, |_| {
            values.next().and_then(Option::as_ref).and_then(&statistic)
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::refusal::RefusalCode;

    #[test]
    fn limits_are_those_of_the_draws_one_by_one() -> Result<(), Refusal> {
        let sum = |drawn: &[usize]| drawn.iter().sum::<usize>() as f64;
        let options = DrawOptions { replicates: 300, seed: 5, level: 0.9 };
        let draws = RememberedDraws::new(12, options, |drawn| Some((sum(drawn), drawn[0] as f64)))?;
        assert_eq!(draws.limits(|d| Some(d.0))?, cluster_limits(12, 300, 5, 0.9, |drawn| Some(sum(drawn)))?);
        assert_eq!(draws.limits(|d| Some(d.1))?, cluster_limits(12, 300, 5, 0.9, |drawn| Some(drawn[0] as f64))?);
        assert_eq!(draws.limits(|_| None).map_err(|r| r.code), Err(RefusalCode::NotConverged));
        let failing = RememberedDraws::new(12, options, |_| None::<f64>);
        assert_eq!(failing.map(|_| ()).map_err(|r| r.code), Err(RefusalCode::NotConverged));
        Ok(())
    }
}
