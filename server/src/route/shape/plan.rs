//! The documented shape of an answer: what to record to know.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::common::{Asked, Caution, Method, Part, PlacedRefusal, SensitivityRun, TaxonAnswered};
use super::conditions::LevelPair;
use super::survival::Evidence;

/// What would have to be recorded to tell whether a condition goes with losses.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct PlanResult {
    /// The condition.
    pub condition: String,
    /// What would be compared.
    pub contrast: LevelPair,
    /// The hazard ratio to be told from 1.
    pub hazard_ratio: f64,
    /// The share of clubs like this one that would tell it.
    pub power: f64,
    /// Share of the coral-days at known conditions that lie under the level.
    pub share: f64,
    /// Factor for corals that share a tank: robust variance over model variance of the present fit; 1 where there is none.
    pub design_effect: f64,
    /// Losses needed in both levels together, by Schoenfeld's formula times the design effect.
    pub deaths_needed: f64,
    /// Losses at known conditions so far.
    pub deaths_so_far: Part<u64>,
    /// Coral-years that would hold as many losses, at the taxon's own rate and its limits.
    pub specimen_years: YearsNeeded,
    /// Coral-years at known conditions so far.
    pub specimen_years_so_far: Part<f64>,
    /// Keepers who would keep this taxon for a year, at the club's usual number of corals each.
    pub keepers: Option<f64>,
    /// What to do, in a fixed order.
    pub steps: Vec<PlanStep>,
    /// The steps in words.
    pub sentence: String,
}

/// Coral-years with limits.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct YearsNeeded {
    /// At the rate so far.
    pub estimate: f64,
    /// At the upper limit of the rate.
    pub lower: f64,
    /// At the lower limit of the rate; `None` = without end.
    pub upper: Option<f64>,
}

/// One step of a plan.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct PlanStep {
    /// `held`: questions to answer; `rare_tests`: keepers who test less than monthly; `wait`: time still to come.
    pub kind: String,
    /// Questions or keepers; `None` where the number may not be shown, or none is counted.
    pub count: Option<u64>,
    /// Coral-years that the step would make known.
    pub specimen_years: Option<f64>,
    /// The step in words; empty where there is nothing to do.
    pub sentence: String,
}

/// What to record to know.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct PlanAnswer {
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
    pub result: Part<PlanResult>,
    /// Every refusal in the result, with where it stands.
    pub refusals: Vec<PlacedRefusal>,
    /// What to bear in mind.
    pub cautions: Vec<Caution>,
    /// How it was computed.
    pub method: Method,
    /// The same figures under other rules.
    pub sensitivity: Vec<SensitivityRun>,
}
