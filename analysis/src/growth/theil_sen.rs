//! The median of the slopes of all pairs of points: a slope that a few bad sizes cannot move.
//!
//! Theil 1950, Proc K Ned Akad Wet 53: 386–392; Sen 1968, J Am Stat Assoc 63: 1379–1389.

use crate::numeric::median_of_sorted;
use crate::numeric::tail::normal_multiplier;
use crate::refusal::{Refusal, RefusalCode};

use super::specific_rate::check_points;

/// Fewest points for limits.
pub const POINTS_FOR_LIMITS: usize = 6;

/// Up to this many points all slopes are listed and sorted; beyond, the wanted ones are found by counting.
const LISTED: usize = 200;

/// A median slope.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TheilSen {
    /// Number of points.
    pub n: usize,
    /// Number of pairs at different times.
    pub pairs: usize,
    /// Median slope.
    pub slope: f64,
    /// Lower limit; `None` below six points.
    pub lower: Option<f64>,
    /// Upper limit; `None` below six points.
    pub upper: Option<f64>,
}

/// The median slope of `y` on `x`, with limits of the given level from the ranks of the slopes (normal approximation
/// with ties in either column, ranks rounded half to even).
///
/// # Errors
/// `InvalidInput` for columns of unlike length or values that are not finite, `Singular` if all `x` are equal.
pub fn theil_sen(x: &[f64], y: &[f64], level: f64) -> Result<TheilSen, Refusal> {
    check_points(x, y)?;
    let slopes = Slopes::new(x, y);
    let pairs = slopes.count();
    let Some(slope) = slopes.median() else {
        return Err(Refusal::plain(RefusalCode::Singular, "a slope needs values at two different times"));
    };
    let n = x.len();
    let mut limits = (None, None);
    if n >= POINTS_FOR_LIMITS {
        let size = |k: f64| k * (k - 1.0) * (2.0 * k + 5.0);
        let tied = |values: &[f64]| runs(values).into_iter().map(|run| size(run as f64)).sum::<f64>();
        let variance = (size(n as f64) - tied(x) - tied(y)) / 18.0;
        let reach = normal_multiplier(level) * variance.max(0.0).sqrt();
        let all = pairs as f64;
        let low = ((0.5 * (all - reach)).round_ties_even() - 1.0).max(0.0);
        let high = (0.5 * (all + reach)).round_ties_even().min(all - 1.0);
        limits = (slopes.at(low as usize), slopes.at(high as usize));
    }
    Ok(TheilSen { n, pairs, slope, lower: limits.0, upper: limits.1 })
}

/// Lengths of the runs of equal values.
fn runs(values: &[f64]) -> Vec<usize> {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    sorted.chunk_by(|a, b| a == b).map(<[f64]>::len).collect()
}

/// The slopes of all pairs of points at different times, smallest first.
enum Slopes {
    Listed(Vec<f64>),
    Counted { points: Vec<(f64, f64)>, pairs: usize },
}

impl Slopes {
    fn new(x: &[f64], y: &[f64]) -> Slopes {
        let mut points: Vec<(f64, f64)> = x.iter().copied().zip(y.iter().copied()).collect();
        points.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.total_cmp(&b.1)));
        if points.len() > LISTED {
            let n = points.len();
            let same: usize = runs(x).into_iter().map(|run| run * (run - 1) / 2).sum();
            return Slopes::Counted { points, pairs: n * (n - 1) / 2 - same };
        }
        let mut slopes = Vec::with_capacity(points.len() * points.len().saturating_sub(1) / 2);
        for (i, a) in points.iter().enumerate() {
            slopes.extend(points[i + 1..].iter().filter(|b| b.0 > a.0).map(|b| (b.1 - a.1) / (b.0 - a.0)));
        }
        slopes.sort_by(f64::total_cmp);
        Slopes::Listed(slopes)
    }

    fn count(&self) -> usize {
        match self {
            Slopes::Listed(slopes) => slopes.len(),
            Slopes::Counted { pairs, .. } => *pairs,
        }
    }

    fn median(&self) -> Option<f64> {
        match self {
            Slopes::Listed(slopes) => median_of_sorted(slopes),
            Slopes::Counted { pairs, .. } => {
                let upper = self.at(pairs / 2)?;
                if pairs % 2 == 1 { Some(upper) } else { Some(0.5 * (self.at(pairs / 2 - 1)? + upper)) }
            }
        }
    }

    /// The slope at this position, from 0; `None` beyond the last.
    fn at(&self, position: usize) -> Option<f64> {
        match self {
            Slopes::Listed(slopes) => slopes.get(position).copied(),
            Slopes::Counted { points, pairs } => {
                if position >= *pairs {
                    return None;
                }
                // The smallest number with more than `position` slopes at or below it, by halving the whole range of
                // doubles in their order: 64 counts.
                let (mut low, mut high) = (ordinal(f64::MIN), ordinal(f64::MAX));
                while low < high {
                    let middle = low + ((high.wrapping_sub(low)) as u64 / 2) as i64;
                    if at_or_below(points, from_ordinal(middle)) > position {
                        high = middle;
                    } else {
                        low = middle + 1;
                    }
                }
                Some(from_ordinal(low))
            }
        }
    }
}

/// Doubles in their order as integers.
fn ordinal(value: f64) -> i64 {
    let bits = value.to_bits() as i64;
    if bits < 0 { i64::MIN.wrapping_sub(bits).wrapping_sub(1) } else { bits }
}

fn from_ordinal(ordinal: i64) -> f64 {
    let bits = if ordinal < 0 { i64::MIN.wrapping_sub(ordinal).wrapping_sub(1) } else { ordinal };
    f64::from_bits(bits as u64)
}

/// How many pairs at different times have a slope of at most `slope`: pairs whose height over a line of that slope
/// does not rise.
fn at_or_below(points: &[(f64, f64)], slope: f64) -> usize {
    let heights: Vec<f64> = points.iter().map(|(x, y)| y - slope * (x - points[0].0)).collect();
    let mut sorted = heights.clone();
    sorted.sort_by(f64::total_cmp);
    sorted.dedup();
    let rank = |height: f64| sorted.partition_point(|other| *other < height);
    // Counts by rank in a binary indexed tree.
    let mut tree = vec![0usize; sorted.len() + 1];
    let mut total = 0;
    let mut count = 0;
    for same_time in points.chunk_by(|a, b| a.0 == b.0).scan(0, |first, group| {
        let range = *first..*first + group.len();
        *first = range.end;
        Some(range)
    }) {
        for &height in &heights[same_time.clone()] {
            let mut below = rank(height);
            let mut smaller = 0;
            while below > 0 {
                smaller += tree[below];
                below &= below - 1;
            }
            count += total - smaller;
        }
        for &height in &heights[same_time.clone()] {
            let mut at = rank(height) + 1;
            while at < tree.len() {
                tree[at] += 1;
                at += at & at.wrapping_neg();
            }
        }
        total += same_time.len();
    }
    count
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_wild_size_does_not_move_it() -> Result<(), Refusal> {
        let t: Vec<f64> = (0..7).map(f64::from).collect();
        let mut y: Vec<f64> = t.iter().map(|t| 2.0 * t + 1.0).collect();
        y[3] = 500.0;
        assert_eq!(theil_sen(&t, &y, 0.95)?.slope, 2.0);
        Ok(())
    }

    #[test]
    fn two_points_on_one_day_are_no_pair() -> Result<(), Refusal> {
        let s = theil_sen(&[0.0, 0.0, 1.0], &[0.0, 1.0, 4.0], 0.95)?;
        assert_eq!((s.pairs, s.slope, s.lower), (2, 3.5, None));
        Ok(())
    }

    #[test]
    fn counting_finds_the_same_slopes_as_listing() -> Result<(), Refusal> {
        // 230 points with many equal times, by a fixed rule.
        let t: Vec<f64> = (0..230).map(|i| f64::from((i * 37) % 150)).collect();
        let y: Vec<f64> = (0..230).map(|i| f64::from((i * i * 7) % 101) + 0.05 * f64::from(i)).collect();
        let counted = theil_sen(&t, &y, 0.95)?;
        let mut slopes = Vec::new();
        for i in 0..t.len() {
            for j in 0..t.len() {
                if t[j] > t[i] {
                    slopes.push((y[j] - y[i]) / (t[j] - t[i]));
                }
            }
        }
        slopes.sort_by(f64::total_cmp);
        assert_eq!(counted.pairs, slopes.len());
        let median = median_of_sorted(&slopes).unwrap_or(f64::NAN);
        assert!((counted.slope - median).abs() < 1e-12, "{} {median}", counted.slope);
        let (lower, upper) = (counted.lower.unwrap_or(f64::NAN), counted.upper.unwrap_or(f64::NAN));
        assert!(lower < median && median < upper);
        assert!(slopes.iter().any(|s| (s - lower).abs() < 1e-12) && slopes.iter().any(|s| (s - upper).abs() < 1e-12));
        Ok(())
    }

    #[test]
    fn ordinals_keep_the_order_of_doubles() {
        let values = [f64::MIN, -3.5, -1e-300, -0.0, 0.0, 1e-300, 2.0, f64::MAX];
        for pair in values.windows(2) {
            assert!(ordinal(pair[0]) < ordinal(pair[1]));
        }
        assert!(values.iter().all(|&v| from_ordinal(ordinal(v)).to_bits() == v.to_bits()));
    }

    #[test]
    fn what_has_no_slope_says_why() {
        let code = |x: &[f64], y: &[f64]| theil_sen(x, y, 0.95).map(|_| ()).map_err(|r| r.code);
        assert_eq!(code(&[1.0, 1.0], &[1.0, 2.0]), Err(RefusalCode::Singular));
        assert_eq!(code(&[], &[]), Err(RefusalCode::Singular));
        assert_eq!(code(&[1.0, f64::INFINITY], &[1.0, 2.0]), Err(RefusalCode::InvalidInput));
    }
}
