//! The documented shape of an answer: what is taught beside what was seen.

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::common::{Asked, Caution, Method, Part, PlacedRefusal, Refusal, SensitivityRun, TaxonAnswered};
use super::survival::{CoxCoefficient, Evidence, RatePart};

/// The bands taught for a taxon, beside its records.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct BandsResult {
    /// One line a parameter with a taught band.
    pub bands: Vec<BandLine>,
}

/// One taught band.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct BandLine {
    /// Parameter code.
    pub parameter: String,
    /// Its name.
    pub name: String,
    /// What is taught.
    pub taught: TaughtBand,
    /// Below, within, above, unknown.
    pub comparison: Part<Vec<BandSide>>,
    /// The levels in words.
    pub sentence: Part<String>,
    /// The range with fewest losses in these tanks so far, in a release.
    pub seen: Part<SeenRange>,
    /// What the records say of the band: five words.
    pub claim: String,
}

/// A band as taught.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct TaughtBand {
    /// Lower edge, included.
    pub lower: f64,
    /// Upper edge, included.
    pub upper: f64,
    /// Unit it is taught in.
    pub unit: String,
    /// As taught, for print.
    pub as_taught: String,
    /// Since when the club teaches it; `None` = the starting band.
    pub since: Option<NaiveDate>,
}

/// One side of a band.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct BandSide {
    /// `below`, `within`, `above`, `unknown`, or several of them joined.
    pub level: String,
    /// In words.
    pub label: String,
    /// What stands behind it.
    pub evidence: Evidence,
    /// Losses per 100 coral-months.
    pub rates: Part<RatePart>,
    /// Against the level with most losses; `None` for that level itself and for unknown.
    pub ratio: Option<CoxCoefficient>,
}

/// The range with fewest losses in our tanks so far. No advice.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct SeenRange {
    /// Lower edge; its `estimate` is `None` where no edge was seen.
    pub lower: SeenEdge,
    /// Upper edge.
    pub upper: SeenEdge,
    /// Share of draws of tanks whose range covers at least half of this one's coral-days.
    pub stability: f64,
    /// The bins that were compared, from the lowest values on.
    pub bins: Vec<SeenBin>,
    /// The range in words.
    pub sentence: String,
}

/// An edge of the range.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct SeenEdge {
    /// The cut; `None` = no edge seen up to `seen_up_to`.
    pub estimate: Option<f64>,
    /// Lower percentile over the draws.
    pub lower: Option<f64>,
    /// Upper percentile over the draws.
    pub upper: Option<f64>,
    /// The outermost cut on this side that the records reach.
    pub seen_up_to: f64,
}

/// One bin of values.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct SeenBin {
    /// From this value, included; `None` = open.
    pub from: Option<f64>,
    /// To this value, not included; `None` = open.
    pub to: Option<f64>,
    /// Losses.
    pub events: Part<u64>,
    /// Coral-days.
    pub specimen_days: Part<f64>,
    /// Hazard ratio to the bin with the lowest rate, whichever that is in each draw.
    pub hazard_ratio: f64,
    /// Lower limit over the draws.
    pub lower: Option<f64>,
    /// Upper limit over the draws.
    pub upper: Option<f64>,
    /// Why there are no limits.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub refused: Option<Refusal>,
}

/// What is taught beside what was seen.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct BandsAnswer {
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
    pub result: Part<BandsResult>,
    /// Every refusal in the result, with where it stands.
    pub refusals: Vec<PlacedRefusal>,
    /// What to bear in mind.
    pub cautions: Vec<Caution>,
    /// How it was computed.
    pub method: Method,
    /// The same figures under other rules.
    pub sensitivity: Vec<SensitivityRun>,
}
