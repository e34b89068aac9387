//! What is printed about when corals are lost.

use serde::Serialize;

use super::{HazardPiece, RatePart};
use crate::refusal::Part;

/// Losses by age.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct HazardResult {
    /// From the day of acquisition on; neighbours with fewer than three losses are joined before anybody looks.
    pub pieces: Vec<HazardAtAge>,
    /// All ages together, per 100 coral-months.
    pub overall: RatePart,
    /// Which piece is highest, if any is.
    pub sentence: String,
}

/// One piece of age, with two kinds of limits.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct HazardAtAge {
    /// Counts and rate, with exact limits that do not allow for tanks.
    #[serde(flatten)]
    pub piece: HazardPiece,
    /// Limits of the rate by drawing whole tanks or keepers with replacement.
    pub clustered: Part<RateLimits>,
}

/// Limits of a rate per 100 coral-months.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct RateLimits {
    /// Lower 95 % limit.
    pub lower: f64,
    /// Upper 95 % limit.
    pub upper: f64,
}
