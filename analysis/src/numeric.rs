//! Small numerical tools of the estimators: sums, small symmetric matrices, tails and roots.
//!
//! It knows nothing of corals or of survival, never panics on a number, and never returns `NaN` where an
//! `Option` can say "undefined".

pub mod bootstrap; // drawing whole clusters with replacement
pub mod derivatives; // by differences
pub mod false_discovery; // q values of a written list of tests
pub mod matrix; // Cholesky of small symmetric matrices
pub mod meta_analysis; // estimates of several units pooled
pub mod minimise; // the least value of a function of a few variables
pub mod order; // sorted times and groups in linear time
pub mod parallel; // the same work on all processors
pub mod remembered_draws; // several statistics of the same draws
pub mod root; // where a continuous function crosses zero
pub mod sum; // sums that keep their digits
pub mod tail; // tail areas and quantiles of distributions

pub use matrix::{Cholesky, Matrix};
pub use sum::{Sum, neumaier};

/// The values in ascending order, each once.
#[expect(clippy::unnecessary_sort_by, reason = "without a closure, the sort is that of a dependency, not optimised")]
pub fn distinct<T: Ord>(values: impl IntoIterator<Item = T>) -> Vec<T> {
    let mut sorted: Vec<T> = values.into_iter().collect();
    sorted.sort_unstable_by(|a, b| a.cmp(b));
    sorted.dedup();
    sorted
}

/// Median of the values; `None` if there are none. The values must not hold `NaN`.
///
/// Even number of values: the mean of the two middle ones.
pub fn median(values: &[f64]) -> Option<f64> {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    median_of_sorted(&sorted)
}

/// Median of values that are sorted already; `None` if there are none.
pub fn median_of_sorted(sorted: &[f64]) -> Option<f64> {
    let n = sorted.len();
    let upper = *sorted.get(n / 2)?;
    if n % 2 == 1 { Some(upper) } else { Some(0.5 * (sorted[n / 2 - 1] + upper)) }
}

/// Ranks from 1, equal values sharing the average of their ranks.
pub fn average_ranks(values: &[f64]) -> Vec<f64> {
    let mut order: Vec<usize> = (0..values.len()).collect();
    order.sort_by(|&a, &b| values[a].total_cmp(&values[b]));
    let mut ranks = vec![0.0; values.len()];
    let mut first = 0;
    while first < order.len() {
        let mut last = first;
        while last + 1 < order.len() && values[order[last + 1]] == values[order[first]] {
            last += 1;
        }
        let rank = 0.5 * (first + last) as f64 + 1.0;
        for &row in &order[first..=last] {
            ranks[row] = rank;
        }
        first = last + 1;
    }
    ranks
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn median_of_odd_even_and_no_values() {
        assert_eq!(median(&[3.0, 1.0, 2.0]), Some(2.0));
        assert_eq!(median(&[4.0, 1.0, 2.0, 3.0]), Some(2.5));
        assert_eq!(median(&[]), None);
    }

    #[test]
    fn equal_values_share_their_average_rank() {
        assert_eq!(average_ranks(&[5.0, 1.0, 5.0, 2.0]), vec![3.5, 1.0, 3.5, 2.0]);
    }
}
