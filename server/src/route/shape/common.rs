//! Documented parts that answers share.

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// What cannot be said, and what is lacking.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Refusal {
    /// The reason, a stable name.
    #[schema(example = "TooFewEvents")]
    pub code: String,
    /// What there is, in the unit of `need`.
    #[schema(example = 4.0)]
    pub have: Option<f64>,
    /// What the figure needs.
    #[schema(example = 10.0)]
    pub need: Option<f64>,
    /// One plain sentence.
    #[schema(example = "needs 6 more deaths")]
    pub message: String,
}

/// A part of an answer: the object itself, or `refused` with the reason; never both and never neither.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(untagged)]
pub enum Part<T> {
    /// The figure is not given.
    Refused {
        /// Why, and what is lacking.
        refused: Refusal,
    },
    /// The figure.
    Given(T),
}

/// The question as understood, defaults filled in.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Asked {
    /// `survival` or `growth`.
    pub about: String,
    /// Taxon asked.
    pub taxon: String,
    /// Outcome code; `null` for growth.
    pub outcome: Option<String>,
    /// Split.
    pub by: String,
    /// Cut points as asked.
    pub edges: Option<Vec<f64>>,
    /// Condition that had to hold.
    pub given: Option<String>,
    /// Horizon in days; `null` for growth.
    pub horizon_days: Option<f64>,
    /// First year of purchase.
    pub since: Option<i32>,
    /// Who reads.
    #[schema(example = "public")]
    pub audience: String,
}

/// Taxon asked and taxon answered: they differ only with the refusals between them printed.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct TaxonAnswered {
    /// Slug asked.
    pub asked: String,
    /// Slug answered.
    pub answered: String,
    /// Accepted name of the taxon answered.
    pub name: String,
    /// Rank of the taxon answered: `species`, `genus`, `group`.
    pub rank: String,
    /// Genera left out of a group because they are easily taken for the taxon asked.
    pub without: Vec<String>,
    /// What the specimens answered for are named.
    pub mix: Vec<MixLine>,
    /// Taxa refused on the way, in order.
    pub fallback: Vec<FallbackStep>,
}

/// One name of a mix.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct MixLine {
    /// Name in words: "9 S. pistillata", "61 Stylophora not named further" without the number.
    pub name: String,
    /// Specimens.
    pub specimens: u64,
}

/// A taxon that was refused before the one answered.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct FallbackStep {
    /// Slug.
    pub taxon: String,
    /// Why.
    pub refused: Refusal,
}

/// A refusal with the place of the part it stands for, as a path: `groups/within/median`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct PlacedRefusal {
    /// Path within `result`.
    pub key: String,
    /// Why, and what is lacking.
    #[serde(flatten)]
    pub refusal: Refusal,
}

/// A caution: a stable code and its sentence.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Caution {
    /// Code: `entry_assumed`, `date_held`, `wide_intervals`, `one_tank_event`, `sensitive`, `not_proportional`,
    /// `unknown_goes_with_survival`, `wald_limits`, `rounded`, `not_for_passing_on`, `association`, `present_state`,
    /// `survivors_measured`, `deaths_apart`, `from_first_poor_look`, `looks_without_score`,
    /// `origin_as_said`.
    pub code: String,
    /// One or two plain sentences.
    pub sentence: String,
}

/// How firm a figure is, by written rules.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Grade {
    /// Refused.
    None,
    /// Passes the minimums.
    Thin,
    /// 20 deaths, 5 keepers, 10 tanks, less than 40 % of days unknown.
    Moderate,
    /// 50 deaths, 10 keepers, 20 tanks, less than 25 % of days unknown.
    Strong,
}

/// First and last day of the records behind a figure.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Period {
    /// First day under observation.
    pub from: Option<NaiveDate>,
    /// Last day under observation.
    pub to: Option<NaiveDate>,
}

/// Specimens of the taxon that are in no figure, by reason; with those in, they are all.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct LeftOut {
    /// Acquired on an unknown day, or within more than 31 days.
    pub acquired_unknown: u64,
    /// A question about them is open.
    pub held: u64,
    /// Their log lists no losses.
    pub losses_not_listed: u64,
    /// They ended before their log would have shown it.
    pub ended_before_entry: u64,
    /// They arrived dead.
    pub arrived_dead: u64,
    /// Never seen again after they came under observation.
    pub no_follow_up: u64,
    /// For serious decline: already poor at the first look, or before.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub poor_at_entry: Option<u64>,
    /// For serious decline: not looked at within 45 days of coming under observation.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub no_look_at_entry: Option<u64>,
    /// For death after decline: never seen in serious decline.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub never_declined: Option<u64>,
}

/// An estimate with 95 % limits; `null` = not reached.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Estimate {
    /// The estimate.
    #[schema(required = true)]
    pub estimate: Option<f64>,
    /// Lower 95 % limit.
    #[schema(required = true)]
    pub lower: Option<f64>,
    /// Upper 95 % limit.
    #[schema(required = true)]
    pub upper: Option<f64>,
}

/// How an answer was computed.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Method {
    /// Stable id of the method.
    pub id: String,
    /// Version of the program.
    pub program_version: String,
    /// Day since acquisition from which the curve of all runs.
    pub start_time: Option<f64>,
    /// Kind of interval of the curves.
    pub interval: String,
    /// What corals share: `tank` or `keeper`.
    pub cluster: String,
    /// How many of them.
    pub clusters: u64,
    /// How the published variance is made.
    pub variance: String,
    /// Days before a test, habit or place speaks.
    pub lag_days: f64,
    /// Days a test speaks when no newer one came; `null` if no test is used.
    pub carry_days: Option<f64>,
    /// Half the smallest step of the instrument where none is on record, in the band's unit.
    pub step_tolerance: Option<f64>,
    /// The taught band used, as taught.
    pub band: Option<String>,
    /// Parameters that had to be known and within their band.
    pub given: Vec<String>,
    /// Draws for deaths known to more than a week; 0 if there are none.
    pub imputations: u64,
    /// Seed of the draws.
    pub seed: Option<u64>,
    /// Since when the club's own band is taught; `null` = the starting band.
    pub bands_dated: Option<NaiveDate>,
    /// E-values of the hazard ratios of the answer (VanderWeele & Ding 2017).
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub e_values: Vec<EValueLine>,
}

/// How strong one hidden cause would need to be, as a risk ratio with both the condition and the outcome, to explain a
/// hazard ratio away. It says nothing of measurement error, selection or reversed time.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct EValueLine {
    /// Which ratio, as a path in `result`.
    pub result_key: String,
    /// Of the estimate.
    pub estimate: f64,
    /// Of the limit nearer 1; 1 if the limits hold 1.
    pub limit: f64,
}

/// One figure under another rule.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct SensitivityRun {
    /// The rule.
    pub run: String,
    /// Which figure, as a path in `result`.
    pub result_key: String,
    /// What came of it.
    #[serde(flatten)]
    pub outcome: RunOutcome,
}

/// What came of a run.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(untagged)]
pub enum RunOutcome {
    /// It has the same records as the main figure.
    Same {
        /// Always `true`.
        same: bool,
    },
    /// It is refused.
    Refused {
        /// Why.
        refused: Refusal,
    },
    /// The figure.
    Estimate {
        /// The estimate.
        estimate: f64,
        /// Lower 95 % limit.
        lower: Option<f64>,
        /// Upper 95 % limit.
        upper: Option<f64>,
        /// It lies outside the limits of the main figure.
        changes_answer: bool,
    },
}

/// Counts of one taxon.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct CensusCounts {
    /// Specimens on record.
    pub specimens: u64,
    /// Keepers.
    pub keepers: u64,
    /// Deaths, missing ones and those that arrived dead included.
    pub deaths: u64,
    /// Alive as far as known.
    pub living: u64,
    /// What they are named.
    pub mix: Vec<MixLine>,
}
