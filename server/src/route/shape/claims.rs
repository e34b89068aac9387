//! The documented shape of an answer: what the club teaches.

use chrono::NaiveDate;
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
    /// By whom the club teaches it, and since when; absent where it is the catalogue's.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub club: Option<ClaimSigned>,
    /// One a taxon that it is taught for and that has records enough.
    pub taxa: Vec<ClaimForTaxon>,
}

/// By whom the club teaches something, and since when.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct ClaimSigned {
    /// Number of the claim.
    #[schema(example = 3)]
    pub id: i64,
    /// Slug of whom it is taught for.
    #[schema(example = "goniopora")]
    pub taxon: String,
    /// Code of a condition, or words that no condition says yet.
    #[schema(example = "nitrate_above")]
    pub condition: String,
    /// `more` losses, or less growth, under the condition; `fewer` losses, or more growth.
    #[schema(example = "more")]
    pub direction: String,
    /// Taught since.
    #[schema(example = "2025-06-01")]
    pub since: NaiveDate,
    /// Who answers for it.
    #[schema(example = "husbandry group")]
    pub signed_by: String,
    /// Why.
    pub note: Option<String>,
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
