//! The documented shape of an answer: when corals are lost.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::common::{Asked, Caution, Method, Part, PlacedRefusal, SensitivityRun, TaxonAnswered};
use super::survival::{Evidence, HazardPiece, RatePart};

/// Losses by age.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct HazardResult {
    /// From the day of acquisition on; neighbours with fewer than three losses are joined before anybody looks.
    pub pieces: Vec<HazardAtAge>,
    /// All ages together, per 100 coral-months.
    pub overall: RatePart,
    /// Which piece is highest, if any is.
    pub sentence: String,
}

/// One piece of age, with two kinds of limits.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct HazardAtAge {
    /// Counts and rate, with exact limits that do not allow for tanks.
    #[serde(flatten)]
    pub piece: HazardPiece,
    /// Limits of the rate by drawing whole tanks or keepers with replacement.
    pub clustered: Part<RateLimits>,
}

/// Limits of a rate per 100 coral-months.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct RateLimits {
    /// Lower 95 % limit.
    pub lower: f64,
    /// Upper 95 % limit.
    pub upper: f64,
}

/// When corals are lost.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct HazardAnswer {
    /// State of the records answered from: the running counter of changes.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(example = 41)]
    pub edition: Option<i64>,
    /// State of the records answered from: a frozen, numbered release.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(example = 7)]
    pub release: Option<i64>,
    /// The question as understood.
    pub question: Asked,
    /// Taxon asked and answered.
    pub taxon: TaxonAnswered,
    /// What stands behind the figures.
    pub evidence: Part<Evidence>,
    /// The figures.
    pub result: Part<HazardResult>,
    /// Every refusal in the result, with where it stands.
    pub refusals: Vec<PlacedRefusal>,
    /// What to bear in mind.
    pub cautions: Vec<Caution>,
    /// How it was computed.
    pub method: Method,
    /// The same figures under other rules.
    pub sensitivity: Vec<SensitivityRun>,
}
