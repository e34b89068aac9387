//! Summaries of readings of which some are only known to lie below (or above) what a test can tell.
//!
//! A reading `<L` is never dropped and never counted as `L/2`: both make up values that nobody measured. Percentiles come
//! from [`censored_shares`], mean and standard deviation from [`regression_on_order`]. Readings must be of one parameter in
//! one unit; those of one tank and month are summed up first, so that keepers who test daily do not outweigh the others,
//! and a percentile of a club is one over its tanks' medians.
//!
//! ```
//! use analysis::readings::{Percentile, Side, censored_shares};
//!
//! // <2, 2, 3, <4, 5: a share of 8/15 lies at or below 2, 4/5 at or below 3.
//! let shares = censored_shares(&[2.0, 2.0, 3.0, 4.0, 5.0], &[true, false, false, true, false], Side::Below)?;
//! assert_eq!(shares.percentile(0.6), Some(Percentile::At(3.0)));
//! # Ok::<(), analysis::refusal::Refusal>(())
//! ```

use crate::refusal::{Refusal, RefusalCode};

mod regression; // mean and standard deviation from a line through the detected readings
mod shares; // percentiles

pub use regression::{OrderRegression, regression_on_order};
pub use shares::{CensoredShares, Percentile, ShareStep, censored_shares};

/// Where a reading lies that is only known by its limit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Side {
    /// `<L`: below the limit of detection.
    Below,
    /// `>H`: above the range of the test.
    Above,
}

impl Side {
    /// The sign by which values are multiplied so that limits lie below.
    fn sign(self) -> f64 {
        match self {
            Side::Below => 1.0,
            Side::Above => -1.0,
        }
    }
}

fn check(values: &[f64], limited: &[bool]) -> Result<(), Refusal> {
    if values.len() != limited.len() || values.iter().any(|value| !value.is_finite()) {
        return Err(Refusal::plain(
            RefusalCode::InvalidInput,
            "each reading needs a finite value, or its limit, and whether it is a limit",
        ));
    }
    if values.is_empty() {
        return Err(Refusal::counted(RefusalCode::EmptyGroup, 0.0, 1.0, "there is no reading"));
    }
    Ok(())
}
