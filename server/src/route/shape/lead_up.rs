//! The documented shape of an answer: the weeks before losses.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::common::{Asked, Caution, Estimate, Method, Part, PlacedRefusal, SensitivityRun, TaxonAnswered};
use super::survival::Evidence;

/// The weeks before losses, beside corals of the same age that lived on.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct LeadUpResult {
    /// Losses looked back from.
    pub losses: u64,
    /// Corals of the same taxon and age in other tanks, drawn for them.
    pub controls: u64,
    /// One line a condition and window: losses less their controls. Those without data, or with too few losses to be
    /// shown, are left out.
    pub lines: Vec<LeadUpLine>,
    /// One line a condition: the last 30 days of the lost corals less earlier months of the same corals.
    pub within_specimen: Vec<WithinSpecimenLine>,
    /// How to read it.
    pub sentence: String,
}

/// One condition in one window.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct LeadUpLine {
    /// Code of the condition or sign.
    pub condition: String,
    /// In words: what the difference is of.
    pub name: String,
    /// `condition` (water and care) or `sign` (how it looked: it may be the loss itself beginning).
    pub kind: String,
    /// Days before the loss, from and to, both included.
    pub window: [u32; 2],
    /// Mean of losses less their controls: of the share of known days under the level, or of the score.
    pub difference: Part<f64>,
    /// Lower 95 % limit, tanks drawn whole.
    pub lower: Option<f64>,
    /// Upper 95 % limit.
    pub upper: Option<f64>,
    /// Odds ratio of all days under the level against none, or of one step of the score, by conditional logistic
    /// regression.
    pub odds_ratio: Part<Estimate>,
    /// Losses with data for themselves and a control.
    pub cases: Part<u64>,
    /// Their controls with data.
    pub controls: Part<u64>,
}

/// One condition of the lost corals, late against earlier.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct WithinSpecimenLine {
    /// Code of the condition or sign.
    pub condition: String,
    /// In words.
    pub name: String,
    /// `condition` or `sign`.
    pub kind: String,
    /// Days before the loss, from and to, both included; earlier windows of the same length are its controls.
    pub window: [u32; 2],
    /// Mean of the last window less the mean of the earlier ones.
    pub difference: Part<f64>,
    /// Lower 95 % limit, tanks drawn whole.
    pub lower: Option<f64>,
    /// Upper 95 % limit.
    pub upper: Option<f64>,
    /// Losses with data in the last window and an earlier one.
    pub cases: Part<u64>,
}

/// The weeks before losses.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct LeadUpAnswer {
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
    pub result: Part<LeadUpResult>,
    /// Every refusal in the result, with where it stands.
    pub refusals: Vec<PlacedRefusal>,
    /// What to bear in mind.
    pub cautions: Vec<Caution>,
    /// How it was computed.
    pub method: Method,
    /// The same figures under other rules.
    pub sensitivity: Vec<SensitivityRun>,
}
