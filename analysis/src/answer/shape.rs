//! What is printed. Field names are public and stable; numbers are days, mm, mm2, g or 1 unless a name says
//! otherwise; shares are 0 to 1.

use chrono::NaiveDate;
use serde::Serialize;

use super::question::Audience;
use crate::refusal::{Part, Refusal};

mod bands; // taught bands beside what was seen
mod casebook; // single losses
mod claims; // what the club teaches
mod conditions; // conditions side by side
mod growth; // answers on growth
mod hazard; // when they are lost
mod lead_up; // the weeks before losses
mod plan; // what to record
mod survival; // answers on survival
mod taxon; // what other answers about a taxon share

pub use bands::*;
pub use casebook::*;
pub use claims::*;
pub use conditions::*;
pub use growth::*;
pub use hazard::*;
pub use lead_up::*;
pub use plan::*;
pub use survival::*;
pub use taxon::*;

/// Which state of the records an answer was computed from: one key, `edition` or `release`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum State {
    /// The running counter of changes.
    Edition(i64),
    /// A frozen, numbered release.
    Release(i64),
}

/// The question as understood, defaults filled in.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Asked {
    /// `survival` or `growth`.
    pub about: &'static str,
    /// Taxon asked.
    pub taxon: String,
    /// Outcome code; `None` for growth.
    pub outcome: Option<&'static str>,
    /// Split.
    pub by: &'static str,
    /// Cut points as asked.
    pub edges: Option<Vec<f64>>,
    /// Condition that had to hold.
    pub given: Option<&'static str>,
    /// Horizon in days; `None` for growth.
    pub horizon_days: Option<f64>,
    /// First year of purchase.
    pub since: Option<i32>,
    /// Who reads.
    pub audience: Audience,
}

/// Taxon asked and taxon answered: they differ only with the refusals between them printed.
#[derive(Debug, Clone, PartialEq, Serialize)]
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
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct MixLine {
    /// Name in words: "9 S. pistillata", "61 Stylophora not named further" without the number.
    pub name: String,
    /// Specimens.
    pub specimens: u64,
}

/// A taxon that was refused before the one answered.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct FallbackStep {
    /// Slug.
    pub taxon: String,
    /// Why.
    pub refused: Refusal,
}

/// A refusal with the place of the part it stands for, as a path: `groups/within/median`.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PlacedRefusal {
    /// Path within `result`.
    pub key: String,
    /// Why, and what is lacking.
    #[serde(flatten)]
    pub refusal: Refusal,
}

/// A caution: a stable code and its sentence.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize)]
pub struct Caution {
    /// Code: `entry_assumed`, `date_held`, `wide_intervals`, `one_tank_event`, `sensitive`, `not_proportional`,
    /// `unknown_goes_with_survival`, `wald_limits`, `rounded`, `not_for_passing_on`, `association`, `present_state`,
    /// `survivors_measured`, `deaths_apart`, `from_first_poor_look`, `looks_without_score`,
    /// `origin_as_said`.
    pub code: &'static str,
    /// One or two plain sentences.
    pub sentence: String,
}

/// How firm a figure is, by written rules.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
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
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Period {
    /// First day under observation.
    pub from: Option<NaiveDate>,
    /// Last day under observation.
    pub to: Option<NaiveDate>,
}

/// How an answer was computed.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Method {
    /// Stable id of the method.
    pub id: &'static str,
    /// Version of the program.
    pub program_version: String,
    /// Day since acquisition from which the curve of all runs.
    pub start_time: Option<f64>,
    /// Kind of interval of the curves.
    pub interval: &'static str,
    /// What corals share: `tank` or `keeper`.
    pub cluster: &'static str,
    /// How many of them.
    pub clusters: u64,
    /// How the published variance is made.
    pub variance: &'static str,
    /// Days before a test, habit or place speaks.
    pub lag_days: f64,
    /// Days a test speaks when no newer one came; `None` if no test is used.
    pub carry_days: Option<f64>,
    /// Half the smallest step of the instrument where none is on record, in the band's unit.
    pub step_tolerance: Option<f64>,
    /// The taught band used, as taught.
    pub band: Option<String>,
    /// Parameters that had to be known and within their band.
    pub given: Vec<String>,
    /// Draws for deaths known to more than a week (the first five of them in the runs beside); 0 if there are none.
    pub imputations: u64,
    /// Seed of the draws.
    pub seed: Option<u64>,
    /// Since when the club's own band is taught; `None` = the starting band.
    pub bands_dated: Option<NaiveDate>,
    /// E-values of the hazard ratios of the answer.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub e_values: Vec<EValueLine>,
}

/// How strong one hidden cause would need to be, as a risk ratio with both the condition and the outcome, to explain a
/// hazard ratio away. It says nothing of measurement error, selection or reversed time.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct EValueLine {
    /// Which ratio, as a path in `result`.
    pub result_key: String,
    /// Of the estimate.
    pub estimate: f64,
    /// Of the limit nearer 1; 1 if the limits hold 1.
    pub limit: f64,
}

/// One figure under another rule.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SensitivityRun {
    /// The rule.
    pub run: &'static str,
    /// Which figure, as a path in `result`.
    pub result_key: String,
    /// What came of it.
    #[serde(flatten)]
    pub outcome: RunOutcome,
}

/// What came of a run.
#[derive(Debug, Clone, PartialEq, Serialize)]
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
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct TaxonCensus {
    /// Slug.
    pub slug: String,
    /// Accepted name.
    pub name: String,
    /// `species`, `genus`, `group`.
    pub rank: String,
    /// The counts, or `Suppressed`.
    pub counts: Part<CensusCounts>,
}

/// Counts of one taxon.
#[derive(Debug, Clone, PartialEq, Serialize)]
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
