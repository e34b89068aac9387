//! The documented shape of an answer: conditions side by side.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::common::{Asked, Caution, Grade, Method, Part, PlacedRefusal, Refusal, SensitivityRun, TaxonAnswered};
use super::survival::Evidence;

/// The conditions of a taxon, clearest association first; those refused last, in the order of the written list.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct ConditionsResult {
    /// The family of comparisons that q is over.
    pub family: Family,
    /// The clearest association in words, or that there is none.
    pub sentence: String,
    /// One line a condition.
    pub conditions: Vec<ConditionLine>,
}

/// The written list of comparisons that q values are over.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Family {
    /// Comparisons on the list, refused ones included: they count with p = 1.
    pub comparisons: u64,
    /// Of these, how many of this answer have a p.
    pub tested: u64,
    /// How many of this answer have a q of at most 0.05; `None` before the release.
    pub called: Option<u64>,
}

/// One condition: one level against another.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct ConditionLine {
    /// Code: `nitrate`, `alkalinity_spread`, `feeding`.
    pub condition: String,
    /// The condition in words.
    pub name: String,
    /// What is compared.
    pub contrast: LevelPair,
    /// Hazard ratio of the level against its reference, all corals together.
    pub hazard_ratio: Option<f64>,
    /// Model-based standard error of its logarithm.
    pub std_error: Option<f64>,
    /// Lower 95 % limit, as published.
    pub lower: Option<f64>,
    /// Upper 95 % limit.
    pub upper: Option<f64>,
    /// Grade of the comparison.
    pub grade: Grade,
    /// Why numbers of the ratio are absent.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub refused: Option<Refusal>,
    /// Where the ratio changes with time since acquisition: early, then late.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub by_age: Vec<AgeRatio>,
    /// Only corals of one keeper compared with each other.
    pub within_keeper: Part<Ratio>,
    /// With other conditions held.
    pub adjusted: Part<AdjustedRatio>,
    /// Drawn towards what other taxa of the same rank show.
    pub shrunken: Part<ShrunkenRatio>,
    /// Growth under the level against its reference.
    pub growth: Part<GrowthRatio>,
    /// p of the comparison within keepers.
    pub p: Option<f64>,
    /// q over the family.
    pub q: Part<f64>,
    /// The comparison in words.
    pub sentence: Part<String>,
    /// What stands behind each level.
    pub evidence: PairEvidence,
}

/// A level and what it is compared with.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct LevelPair {
    /// Code of the level.
    pub level: String,
    /// The level in words, after "corals".
    pub level_label: String,
    /// Code of its reference.
    pub reference: String,
    /// The reference in words.
    pub reference_label: String,
}

/// A ratio for one stretch of age.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct AgeRatio {
    /// Ages in words: "to day 90", "after day 90".
    pub ages: String,
    /// The ratio.
    pub hazard_ratio: Option<f64>,
    /// Lower 95 % limit.
    pub lower: Option<f64>,
    /// Upper 95 % limit.
    pub upper: Option<f64>,
}

/// A ratio with its limits.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Ratio {
    /// The ratio.
    pub hazard_ratio: f64,
    /// Standard error of its logarithm.
    pub std_error: f64,
    /// Lower 95 % limit; `None` with too few clusters.
    pub lower: Option<f64>,
    /// Upper 95 % limit.
    pub upper: Option<f64>,
}

/// A ratio with other conditions held.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct AdjustedRatio {
    /// The ratio.
    #[serde(flatten)]
    pub ratio: Ratio,
    /// Codes of the conditions held; a keeper's earlier losses are named, never shown.
    pub held: Vec<String>,
}

/// A ratio drawn towards those of other taxa.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct ShrunkenRatio {
    /// The ratio.
    #[serde(flatten)]
    pub ratio: Ratio,
    /// How many taxa it is drawn towards, this one included.
    pub taxa: u64,
    /// Standard deviation between taxa of the logarithm of the ratio; 0 = no difference between them could be seen.
    pub between: f64,
}

/// Ratio of sizes after a month under one level and under the other.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct GrowthRatio {
    /// The ratio.
    pub ratio_per_month: f64,
    /// Lower 95 % limit; `None` with too few clusters.
    pub lower: Option<f64>,
    /// Upper 95 % limit.
    pub upper: Option<f64>,
    /// p, where there are limits.
    pub p: Option<f64>,
    /// q over the comparisons of growth of a release; `None` without p, and before the release.
    pub q: Option<f64>,
    /// Grade, by corals, keepers and tanks measured under the rarer level.
    pub grade: Grade,
}

/// What stands behind a comparison.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct PairEvidence {
    /// Of the level.
    pub level: Part<LevelEvidence>,
    /// Of its reference.
    pub reference: Part<LevelEvidence>,
    /// Coral-days at which the condition is unknown.
    pub days_unknown: Part<f64>,
}

/// Counts of one level.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct LevelEvidence {
    /// Specimens with time under it.
    pub specimens: u64,
    /// Their keepers.
    pub keepers: u64,
    /// Their tanks.
    pub tanks: u64,
    /// Events of the outcome under it.
    pub events: u64,
    /// Coral-days under it.
    pub specimen_days: f64,
}

/// Conditions side by side.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct ConditionsAnswer {
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
    pub result: Part<ConditionsResult>,
    /// Every refusal in the result, with where it stands.
    pub refusals: Vec<PlacedRefusal>,
    /// What to bear in mind.
    pub cautions: Vec<Caution>,
    /// How it was computed.
    pub method: Method,
    /// The same figures under other rules.
    pub sensitivity: Vec<SensitivityRun>,
}
