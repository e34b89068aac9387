//! What is printed about what the club teaches.

use chrono::NaiveDate;
use serde::Serialize;

use super::{Grade, State};
use crate::evidence::verdict::Verdict;
use crate::refusal::{Part, Refusal};

/// What the club teaches, beside its records.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ClaimsAnswer {
    /// State of the records.
    #[serde(flatten)]
    pub state: State,
    /// One a claim.
    pub claims: Vec<ClaimLine>,
    /// Version of the program.
    pub program_version: String,
}

/// One thing taught.
#[derive(Debug, Clone, PartialEq, Serialize)]
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
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ClaimSigned {
    /// Number of the claim.
    pub id: i64,
    /// Slug of whom it is taught for.
    pub taxon: String,
    /// Code of a condition, or words that no condition says yet.
    pub condition: String,
    /// `more` losses, or less growth, under the condition; `fewer` losses, or more growth.
    pub direction: &'static str,
    /// Taught since.
    pub since: NaiveDate,
    /// Who answers for it.
    pub signed_by: String,
    /// Why.
    pub note: Option<String>,
}

/// A claim for one taxon.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ClaimForTaxon {
    /// Slug.
    pub taxon: String,
    /// Accepted name.
    pub name: String,
    /// One of five words.
    pub verdict: Verdict,
    /// The word as printed.
    pub verdict_in_words: String,
    /// The comparisons that it rests on.
    pub looked_at: Vec<ClaimTest>,
    /// When corals are lost, for claims about that.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub by_age: Option<Part<String>>,
}

/// A comparison that a claim rests on.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ClaimTest {
    /// Code of the condition.
    pub condition: String,
    /// Outcome code.
    pub outcome: &'static str,
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
    #[serde(skip_serializing_if = "Option::is_none")]
    pub growth_ratio_per_month: Option<f64>,
    /// q over the release's list for this outcome.
    pub q: Part<f64>,
    /// Grade.
    pub grade: Grade,
    /// Why numbers are absent.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub refused: Option<Refusal>,
}
