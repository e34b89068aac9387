//! Limits of the curve at fixed times, by drawing whole tanks.

use std::collections::BTreeMap;

use super::{COARSE, Survival, Turnbull, check_entry, fit};
use crate::numeric::bootstrap::BootstrapLimits;
use crate::numeric::remembered_draws::{DrawOptions, RememberedDraws};
use crate::refusal::{Part, Refusal, RefusalCode};

/// The share alive at one time, with limits.
#[derive(Debug, Clone, PartialEq)]
pub struct SurvivalLimits {
    /// The time asked for.
    pub time: f64,
    /// Lowest share alive that the curve allows.
    pub lowest: f64,
    /// Highest.
    pub highest: f64,
    /// Lower limit of `lowest` and upper limit of `highest`, so that a time inside a box is not taken for known.
    pub limits: Part<BootstrapLimits>,
}

/// The share alive at each of `times` with percentile limits by drawing whole clusters (tanks).
///
/// `cluster` holds one number per observation. A draw whose observations have no death is a curve at 1.
///
/// # Errors
/// As [`super::turnbull()`]; `InvalidInput` for a cluster column of another length. Limits are refused one by one, below
/// ten clusters or if too many draws have no curve.
pub fn turnbull_limits(
    left: &[f64],
    right: &[f64],
    entry: Option<&[f64]>,
    cluster: &[u32],
    times: &[f64],
    draws: DrawOptions,
) -> Result<Vec<SurvivalLimits>, Refusal> {
    if cluster.len() != left.len() {
        return Err(Refusal::plain(RefusalCode::InvalidInput, "each observation needs a cluster"));
    }
    if let Some(entry) = entry {
        check_entry(entry, left.len())?;
    }
    let whole = super::turnbull(left, right, None)?;
    let mut members: BTreeMap<u32, Vec<usize>> = BTreeMap::new();
    for (row, &id) in cluster.iter().enumerate() {
        members.entry(id).or_default().push(row);
    }
    let members: Vec<Vec<usize>> = members.into_values().collect();
    let draws = RememberedDraws::new(members.len(), draws, |drawn| {
        Drawn::new(left, right, drawn.iter().flat_map(|&at| &members[at]))
    });
    let limits = |time: f64| -> Result<BootstrapLimits, Refusal> {
        let draws = draws.as_ref().map_err(Clone::clone)?;
        let below = draws.limits(|curve| Some(curve.survival_at(time).lowest))?;
        let above = draws.limits(|curve| Some(curve.survival_at(time).highest))?;
        Ok(BootstrapLimits { lower: below.lower, upper: above.upper, failed: below.failed })
    };
    let at = |&time: &f64| {
        let Survival { lowest, highest } = whole.survival_at(time);
        SurvivalLimits { time, lowest, highest, limits: limits(time).into() }
    };
    Ok(times.iter().map(at).collect())
}

/// The curve of one draw.
enum Drawn {
    Curve(Turnbull),
    /// Nobody died.
    Flat,
}

impl Drawn {
    fn new<'a>(left: &[f64], right: &[f64], rows: impl Iterator<Item = &'a usize>) -> Option<Drawn> {
        let (left, right): (Vec<f64>, Vec<f64>) = rows.map(|&row| (left[row], right[row])).unzip();
        match fit(&left, &right, COARSE) {
            Ok(curve) => Some(Drawn::Curve(curve)),
            Err(refused) if refused.code == RefusalCode::NoEvents => Some(Drawn::Flat),
            // Counted among the draws without a value.
            Err(_) => None,
        }
    }

    fn survival_at(&self, time: f64) -> Survival {
        match self {
            Drawn::Curve(curve) => curve.survival_at(time),
            Drawn::Flat => Survival { lowest: 1.0, highest: 1.0 },
        }
    }
}
