//! Relative growth per day: the slope of the logarithm of size.
//!
//! Several sizes use the least-squares slope; the mean of successive rates would only compare the first with the last.

use crate::numeric::neumaier;
use crate::numeric::tail::student_multiplier;
use crate::refusal::{Refusal, RefusalCode};

/// Shortest time between first and last size, in days.
pub const SHORTEST_SPAN_DAYS: f64 = 14.0;

/// Relative growth of one specimen.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SpecificGrowthRate {
    /// Number of sizes.
    pub n: usize,
    /// Day of the first size.
    pub first_day: f64,
    /// Day of the last size.
    pub last_day: f64,
    /// First size.
    pub first_size: f64,
    /// Last size.
    pub last_size: f64,
    /// 100 times the least-squares slope of ln size on days, in % per day.
    pub sgr_percent_per_day: f64,
    /// 100 times (ln last - ln first) over the days between, in % per day.
    pub first_last_percent_per_day: f64,
    /// Lower limit of `sgr_percent_per_day`; `None` with two sizes.
    pub lower: Option<f64>,
    /// Upper limit.
    pub upper: Option<f64>,
    /// Days in which the size doubles; `None` unless the lower limit is above 0.
    pub doubling_days: Option<f64>,
}

/// A straight line by least squares.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LeastSquares {
    /// Number of points.
    pub n: usize,
    /// Rise of y per unit of x.
    pub slope: f64,
    /// y at x = 0.
    pub intercept: f64,
    /// Standard error of the slope; `None` with two points.
    pub std_error: Option<f64>,
}

/// The line through the points `(x, y)`.
///
/// # Errors
/// `InvalidInput` for columns of unlike length or values that are not finite, `Singular` if all x are equal or there
/// are fewer than two points.
pub fn least_squares(x: &[f64], y: &[f64]) -> Result<LeastSquares, Refusal> {
    check_points(x, y)?;
    let n = x.len() as f64;
    let mean_x = neumaier(x.iter().copied()) / n;
    let mean_y = neumaier(y.iter().copied()) / n;
    let sxx = neumaier(x.iter().map(|x| (x - mean_x) * (x - mean_x)));
    if x.len() < 2 || sxx <= 0.0 {
        return Err(Refusal::plain(RefusalCode::Singular, "a slope needs values at two different times"));
    }
    let sxy = neumaier(x.iter().zip(y).map(|(x, y)| (x - mean_x) * (y - mean_y)));
    let slope = sxy / sxx;
    let rest = neumaier(x.iter().zip(y).map(|(x, y)| (y - mean_y - slope * (x - mean_x)).powi(2)));
    let std_error = (x.len() > 2).then(|| (rest / (n - 2.0) / sxx).sqrt());
    Ok(LeastSquares { n: x.len(), slope, intercept: mean_y - slope * mean_x, std_error })
}

/// Relative growth from sizes (in any one unit) on days, with limits of the given level (t, n - 2 degrees of freedom).
///
/// # Errors
/// `InvalidInput` for a size that is not above 0 (named by its position) or columns of unlike length; `BeyondFollowUp`
/// if first and last size are fewer than 14 days apart.
pub fn specific_growth_rate(days: &[f64], sizes: &[f64], level: f64) -> Result<SpecificGrowthRate, Refusal> {
    check_points(days, sizes)?;
    if let Some(at) = sizes.iter().position(|size| *size <= 0.0) {
        return Err(Refusal::plain(
            RefusalCode::InvalidInput,
            format!("size {} on day {} is not above 0", sizes[at], days[at]),
        ));
    }
    let mut order: Vec<usize> = (0..days.len()).collect();
    order.sort_by(|&a, &b| days[a].total_cmp(&days[b]).then(a.cmp(&b)));
    let (Some(&first), Some(&last)) = (order.first(), order.last()) else {
        return Err(too_short(0.0));
    };
    let span = days[last] - days[first];
    if span < SHORTEST_SPAN_DAYS {
        return Err(too_short(span));
    }
    // Days since the first size, so that calendar day numbers lose no digits.
    let since: Vec<f64> = order.iter().map(|&at| days[at] - days[first]).collect();
    let logs: Vec<f64> = order.iter().map(|&at| sizes[at].ln()).collect();
    let line = least_squares(&since, &logs)?;
    let half = line.std_error.and_then(|se| Some(se * student_multiplier(level, (line.n - 2) as f64)?));
    let lower = half.map(|half| line.slope - half);
    Ok(SpecificGrowthRate {
        n: line.n,
        first_day: days[first],
        last_day: days[last],
        first_size: sizes[first],
        last_size: sizes[last],
        sgr_percent_per_day: 100.0 * line.slope,
        first_last_percent_per_day: 100.0 * (sizes[last] / sizes[first]).ln() / span,
        lower: lower.map(|lower| 100.0 * lower),
        upper: half.map(|half| 100.0 * (line.slope + half)),
        doubling_days: lower.filter(|lower| *lower > 0.0).map(|_| std::f64::consts::LN_2 / line.slope),
    })
}

fn too_short(span: f64) -> Refusal {
    Refusal::counted(
        RefusalCode::BeyondFollowUp,
        span,
        SHORTEST_SPAN_DAYS,
        format!("the first and the last size are {span} days apart; a growth rate needs {SHORTEST_SPAN_DAYS}"),
    )
}

pub(super) fn check_points(x: &[f64], y: &[f64]) -> Result<(), Refusal> {
    if x.len() != y.len() {
        return Err(Refusal::plain(RefusalCode::InvalidInput, format!("{} days but {} sizes", x.len(), y.len())));
    }
    if let Some(at) = x.iter().zip(y).position(|(x, y)| !x.is_finite() || !y.is_finite()) {
        return Err(Refusal::plain(
            RefusalCode::InvalidInput,
            format!("measurement {}: day {} or size {} is not a finite number", at + 1, x[at], y[at]),
        ));
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn doubling_in_thirty_days_by_hand() -> Result<(), Refusal> {
        let growth = specific_growth_rate(&[0.0, 30.0, 60.0], &[10.0, 20.0, 40.0], 0.95)?;
        let want = 100.0 * 2f64.ln() / 30.0;
        assert!((growth.sgr_percent_per_day - want).abs() < 1e-13);
        assert!((growth.first_last_percent_per_day - want).abs() < 1e-13);
        assert!((growth.doubling_days.unwrap_or(f64::NAN) - 30.0).abs() < 1e-9);
        Ok(())
    }

    #[test]
    fn the_slope_is_least_squares_and_not_first_to_last() -> Result<(), Refusal> {
        // ln size 0, 1, 0 on days 0, 10, 40: Sxy = -20/3 + ..., by hand slope -1/130.
        let growth = specific_growth_rate(&[0.0, 10.0, 40.0], &[1.0, 1f64.exp(), 1.0], 0.95)?;
        assert!((growth.sgr_percent_per_day + 100.0 / 130.0).abs() < 1e-12, "{}", growth.sgr_percent_per_day);
        assert_eq!(growth.first_last_percent_per_day, 0.0);
        assert_eq!(growth.doubling_days, None);
        Ok(())
    }

    #[test]
    fn two_sizes_have_no_limits_and_order_does_not_matter() -> Result<(), Refusal> {
        let growth = specific_growth_rate(&[50.0, 20.0], &[22.0, 20.0], 0.95)?;
        assert_eq!((growth.lower, growth.upper, growth.first_day), (None, None, 20.0));
        Ok(())
    }

    #[test]
    fn what_is_no_growth_says_why() {
        let code =
            |days: &[f64], sizes: &[f64]| specific_growth_rate(days, sizes, 0.95).map(|_| ()).map_err(|r| r.code);
        assert_eq!(code(&[0.0, 13.0], &[1.0, 2.0]), Err(RefusalCode::BeyondFollowUp));
        assert_eq!(code(&[], &[]), Err(RefusalCode::BeyondFollowUp));
        assert_eq!(code(&[0.0, 30.0], &[1.0, 0.0]), Err(RefusalCode::InvalidInput));
        assert_eq!(code(&[0.0, 30.0], &[1.0, f64::NAN]), Err(RefusalCode::InvalidInput));
        assert_eq!(code(&[0.0, 30.0], &[1.0]), Err(RefusalCode::InvalidInput));
        assert_eq!(least_squares(&[3.0, 3.0], &[1.0, 2.0]).map_err(|r| r.code), Err(RefusalCode::Singular));
    }
}
