//! The documented shape of an answer about growth.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::common::{Asked, Caution, Grade, Method, Part, Period, PlacedRefusal, SensitivityRun, TaxonAnswered};

/// An answer about growth.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct GrowthAnswer {
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
    pub evidence: Part<GrowthEvidence>,
    /// The figures.
    pub result: Part<GrowthResult>,
    /// Every refusal in the result, with where it stands.
    pub refusals: Vec<PlacedRefusal>,
    /// What to bear in mind.
    pub cautions: Vec<Caution>,
    /// How it was computed.
    pub method: Method,
    /// The same figures under other rules.
    pub sensitivity: Vec<SensitivityRun>,
}

/// What stands behind a figure on growth.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct GrowthEvidence {
    /// Specimens with a growth rate.
    pub specimens: u64,
    /// Their keepers.
    pub keepers: u64,
    /// Their tanks.
    pub tanks: u64,
    /// Sizes used.
    pub sizes: u64,
    /// First and last day.
    pub period: Period,
    /// Sizes of tissue, which follow the animal's mood and are used for nothing.
    pub tissue_only: u64,
    /// Sizes of another measure or basis than the one answered.
    pub other_measure: u64,
    /// Falls of more than 30 % without a recorded cut.
    pub falls: u64,
    /// Grade.
    pub grade: Grade,
}

/// The figures on growth.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct GrowthResult {
    /// Measure answered: `max_diameter`, `height`, `head_count`, …
    pub measure: String,
    /// Bases it was taken on.
    pub bases: Vec<String>,
    /// One per specimen; own records only, otherwise absent.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub specimens: Option<Vec<SpecimenGrowth>>,
    /// One per level of the split.
    pub groups: Vec<Part<GrowthGroup>>,
    /// The model.
    pub model: GrowthModel,
}

/// Growth of one specimen (of one stretch between cuts).
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct SpecimenGrowth {
    /// The specimen.
    pub specimen: String,
    /// Its level.
    pub group: String,
    /// Sizes.
    pub n: u64,
    /// First size.
    pub first: f64,
    /// Last size.
    pub last: f64,
    /// Specific growth rate, % per day.
    pub sgr_percent_per_day: f64,
    /// Lower 95 % limit.
    pub lower: Option<f64>,
    /// Upper 95 % limit.
    pub upper: Option<f64>,
}

/// Growth of one level.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct GrowthGroup {
    /// The level.
    pub group: String,
    /// Specimens with a rate.
    pub specimens: u64,
    /// Their tanks; `null` on a table that names none.
    pub tanks: Option<u64>,
    /// Change of ln size a month of 30.4375 days.
    pub slope_per_month: f64,
    /// Its standard error.
    pub std_error: Option<f64>,
    /// Degrees of freedom of the limits; `null` for percentile limits.
    pub df: Option<f64>,
    /// Lower 95 % limit of the slope.
    pub lower: Option<f64>,
    /// Upper 95 % limit of the slope.
    pub upper: Option<f64>,
    /// Size after a month over size before.
    pub ratio_per_month: f64,
}

/// The model of growth.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct GrowthModel {
    /// `reml` for a mixed model of all specimens, `theil_sen` for medians of their slopes where there are too few for one,
    /// `increments` for conditions that change in time.
    pub kind: String,
    /// -2 ln of the restricted likelihood, for a mixed model.
    pub criterion: Option<f64>,
    /// Variance components, for a mixed model.
    pub variances: Option<GrowthVariances>,
    /// Terms of a mixed model dropped because they could not be told from 0: `slope_correlation`, `specimen_slope`, `tank`.
    pub dropped: Vec<String>,
}

/// Variance components of a mixed model of ln size on months; `null` for a dropped term.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct GrowthVariances {
    /// Between specimens at their first size.
    pub specimen_intercept: Option<f64>,
    /// Between the slopes of specimens, per month.
    pub specimen_slope: Option<f64>,
    /// Covariance of the two.
    pub covariance: Option<f64>,
    /// Between tanks.
    pub tank: Option<f64>,
    /// What is left.
    pub residual: f64,
}
