//! The documented shape of an answer: what the club teaches.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::common::{Grade, Part, Refusal};

/// What the club teaches, beside its records.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct ClaimsAnswer {
    /// State of the records answered from: the running counter of changes.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(example = 41)]
    pub edition: Option<i64>,
    /// State of the records answered from: a frozen, numbered release.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(example = 7)]
    pub release: Option<i64>,
    /// One a claim.
    pub claims: Vec<ClaimLine>,
    /// Version of the program.
    pub program_version: String,
}

/// One thing taught.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct ClaimLine {
    /// Code.
    pub claim: String,
    /// As taught.
    pub wording: String,
    /// Where it comes from.
    pub basis: String,
    /// How the records look at it.
    pub looked_at_as: String,
    /// `death`, `decline`, `growth`: what it is taught about.
    pub outcomes: Vec<String>,
    /// One a taxon that it is taught for and that has records enough.
    pub taxa: Vec<ClaimForTaxon>,
}

/// A claim for one taxon.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct ClaimForTaxon {
    /// Slug.
    pub taxon: String,
    /// Accepted name.
    pub name: String,
    /// One of five words.
    pub verdict: String,
    /// The word as printed.
    pub verdict_in_words: String,
    /// The comparisons that it rests on.
    pub looked_at: Vec<ClaimTest>,
    /// When corals are lost, for claims about that.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub by_age: Option<Part<String>>,
}

/// A comparison that a claim rests on.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct ClaimTest {
    /// Code of the condition.
    pub condition: String,
    /// Outcome code.
    pub outcome: String,
    /// The level that is taught to go with more losses.
    pub level_label: String,
    /// The reference.
    pub reference_label: String,
    /// Hazard ratio.
    pub hazard_ratio: Option<f64>,
    /// Lower 95 % limit.
    pub lower: Option<f64>,
    /// Upper 95 % limit.
    pub upper: Option<f64>,
    /// Ratio of sizes after a month, for claims about growth; the limits are its own then.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub growth_ratio_per_month: Option<f64>,
    /// q over the release's list for this outcome.
    pub q: Part<f64>,
    /// Grade.
    pub grade: Grade,
    /// Why numbers are absent.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub refused: Option<Refusal>,
}
