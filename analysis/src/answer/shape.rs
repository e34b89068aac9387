//! What is printed. Field names are public and stable; numbers are days, mm, mm2, g or 1 unless a name says
//! otherwise; shares are 0 to 1.

use chrono::NaiveDate;
use serde::Serialize;

use super::question::Audience;
use crate::refusal::{Part, Refusal};

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

/// An answer about survival.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SurvivalAnswer {
    /// State of the records.
    #[serde(flatten)]
    pub state: State,
    /// The question as understood.
    pub question: Asked,
    /// Taxon asked and answered.
    pub taxon: TaxonAnswered,
    /// What stands behind the figures.
    pub evidence: Part<Evidence>,
    /// The figures.
    pub result: Part<SurvivalResult>,
    /// Every refusal in the result, with where it stands.
    pub refusals: Vec<PlacedRefusal>,
    /// What to bear in mind.
    pub cautions: Vec<Caution>,
    /// How it was computed.
    pub method: Method,
    /// The same figures under other rules.
    pub sensitivity: Vec<SensitivityRun>,
}

/// An answer about growth.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct GrowthAnswer {
    /// State of the records.
    #[serde(flatten)]
    pub state: State,
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
    /// `survivors_measured`.
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

/// Specimens of the taxon that are in no figure, by reason; with those in, they are all.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize)]
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
}

impl LeftOut {
    /// All that are left out.
    pub fn total(&self) -> u64 {
        self.acquired_unknown
            + self.held
            + self.losses_not_listed
            + self.ended_before_entry
            + self.arrived_dead
            + self.no_follow_up
    }
}

/// What stands behind a figure on survival.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Evidence {
    /// Specimens with time at risk.
    pub specimens: u64,
    /// Their keepers.
    pub keepers: u64,
    /// Their tanks.
    pub tanks: u64,
    /// Deaths.
    pub deaths: u64,
    /// Days at risk, summed over specimens.
    pub specimen_days: f64,
    /// Of these, days on which the condition asked about is unknown; 0 if none is asked about.
    pub days_unknown: f64,
    /// First and last day.
    pub period: Period,
    /// Grade.
    pub grade: Grade,
    /// Who is out, and why; `None` for one level of a split, to which nobody left out belongs.
    pub left_out: Option<LeftOut>,
    /// Deaths whose day is under question.
    pub date_held: u64,
    /// Acquired within up to 31 days: the middle was taken.
    pub acquired_midpoint: u64,
    /// Living specimens whose last evidence of life is an open row of a register.
    pub register_sightings: u64,
    /// Deaths that are specimens not found again.
    pub missing: u64,
    /// Events in which a tank lost three or more, or half.
    pub tank_events: u64,
    /// Days kept and not kept by a condition that had to hold; absent without one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub given: Option<GivenDays>,
}

/// Specimen-days by whether the condition that had to hold did.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct GivenDays {
    /// It held: the days of the answer.
    pub kept: f64,
    /// It is known not to have held.
    pub outside: f64,
    /// Not known.
    pub unknown: f64,
}

/// The figures on survival.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SurvivalResult {
    /// One per level of the split, in the order of the split; unknown last.
    pub groups: Vec<SurvivalGroup>,
    /// What they died of, all levels together.
    pub causes: Part<Vec<CauseIncidence>>,
    /// When they were lost, all levels together.
    pub hazard: Part<Vec<HazardPiece>>,
    /// Whether the levels differ.
    pub log_rank: Part<LogRankTest>,
    /// By how much.
    pub cox: Part<CoxResult>,
    /// The levels side by side in words.
    pub sentence: Part<String>,
}

/// One level of the split.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SurvivalGroup {
    /// Code: `all`, `below`, `within`, `above`, `unknown`, a ladder step as `[5,15)`, an origin, a year.
    pub group: String,
    /// The level in words, with its limits: "5 to 15 mg/L, both included".
    pub label: String,
    /// Specimens that spent time in it.
    pub n: u64,
    /// Deaths in it.
    pub events: u64,
    /// What stands behind its figures.
    pub evidence: Evidence,
    /// Day since acquisition from which the curve runs.
    pub start_time: f64,
    /// The share still alive.
    pub curve: Part<Vec<CurvePoint>>,
    /// The share alive at the horizon.
    pub at_horizon: Part<AtHorizon>,
    /// The lead sentence, or why there is none.
    pub sentence: Part<String>,
    /// Day by which half had died.
    pub median: Part<Estimate>,
    /// Days of life within the horizon.
    pub rmst: Part<RestrictedMeanPart>,
    /// Losses per 100 coral-months.
    pub rates: Part<RatePart>,
}

/// One step of a curve.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CurvePoint {
    /// Day since acquisition.
    pub time: f64,
    /// At risk just before.
    pub at_risk: u64,
    /// Deaths at that time.
    pub events: u64,
    /// Censored from then until the next step.
    pub censored: u64,
    /// Share alive just after.
    pub survival: f64,
    /// Greenwood's standard error.
    pub std_error: Option<f64>,
    /// Lower 95 % limit.
    pub lower: Option<f64>,
    /// Upper 95 % limit.
    pub upper: Option<f64>,
}

/// Share alive at the horizon, with limits that allow for corals sharing a tank or a keeper.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct AtHorizon {
    /// The horizon in days.
    pub time: f64,
    /// Share alive.
    pub survival: f64,
    /// Lower 95 % limit.
    pub lower: Option<f64>,
    /// Upper 95 % limit.
    pub upper: Option<f64>,
}

/// An estimate with 95 % limits; `None` = not reached.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Estimate {
    /// The estimate.
    pub estimate: Option<f64>,
    /// Lower 95 % limit.
    pub lower: Option<f64>,
    /// Upper 95 % limit.
    pub upper: Option<f64>,
}

/// Mean days of life within a horizon.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct RestrictedMeanPart {
    /// The horizon in days.
    pub horizon: f64,
    /// Mean days.
    pub estimate: f64,
    /// Standard error, not allowing for tanks.
    pub std_error: Option<f64>,
    /// Lower 95 % limit.
    pub lower: Option<f64>,
    /// Upper 95 % limit.
    pub upper: Option<f64>,
}

/// Losses per 100 coral-months (of 30.4375 days), with exact limits, not allowing for tanks.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct RatePart {
    /// The rate.
    pub per_100_months: f64,
    /// Lower 95 % limit.
    pub lower: f64,
    /// Upper 95 % limit.
    pub upper: f64,
}

/// Share lost to one group of causes by a time.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CauseIncidence {
    /// Group of causes, or `other` where groups were joined.
    pub cause: String,
    /// Day since acquisition.
    pub time: f64,
    /// Deaths of it in all.
    pub events: u64,
    /// Share lost to it by then.
    pub incidence: f64,
    /// Standard error.
    pub std_error: Option<f64>,
    /// Lower 95 % limit.
    pub lower: Option<f64>,
    /// Upper 95 % limit.
    pub upper: Option<f64>,
}

/// Losses in one piece of age.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct HazardPiece {
    /// From this day since acquisition, not included.
    pub from_day: f64,
    /// To this day, included; `None` = open.
    pub to_day: Option<f64>,
    /// Deaths.
    pub events: u64,
    /// Days at risk.
    pub specimen_days: f64,
    /// Losses per 100 coral-months.
    pub rate: f64,
    /// Lower exact 95 % limit.
    pub lower: f64,
    /// Upper exact 95 % limit.
    pub upper: f64,
}

/// Whether the levels differ.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LogRankTest {
    /// Chi-squared, treating specimens as independent.
    pub statistic: f64,
    /// Degrees of freedom.
    pub df: u64,
    /// Its p, ignoring tanks.
    pub p: f64,
    /// The p to quote: it allows for corals sharing a tank or keeper. `None` if it could not be computed.
    pub robust_p: Option<f64>,
}

/// Hazard ratios.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CoxResult {
    /// One per level but the reference and unknown.
    pub coefficients: Vec<CoxCoefficient>,
    /// Log partial likelihood.
    pub log_likelihood: LogLikelihoodPart,
    /// Newton steps taken.
    pub iterations: u64,
    /// Whether the ratio stays the same over time since acquisition.
    pub proportionality: Part<Vec<ProportionalityTest>>,
}

/// Log partial likelihood with all coefficients 0, and as fitted.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LogLikelihoodPart {
    /// With all coefficients 0.
    pub at_zero: f64,
    /// As fitted.
    pub fitted: f64,
}

/// One hazard ratio. Numbers that cannot be given are `None`, with the reason in `refused`.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CoxCoefficient {
    /// Condition and level: `nitrate:above`.
    pub name: String,
    /// The level it is compared with.
    pub reference: String,
    /// Log hazard ratio.
    pub coef: Option<f64>,
    /// Hazard ratio.
    pub hazard_ratio: Option<f64>,
    /// Model-based standard error of `coef`.
    pub std_error: Option<f64>,
    /// Sandwich standard error of `coef` by cluster, plain.
    pub robust_std_error: Option<f64>,
    /// Lower 95 % limit of the ratio, as published; `None` with too few clusters.
    pub lower: Option<f64>,
    /// Upper 95 % limit of the ratio.
    pub upper: Option<f64>,
    /// p, as published.
    pub p: Option<f64>,
    /// Grade of the comparison of the two levels; absent on a table.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub grade: Option<Grade>,
    /// Penalised fit, where deaths are few.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub firth: Option<FirthCoefficient>,
    /// Why the numbers that are `None` are absent: all of them, or limits and p with too few clusters.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub refused: Option<Refusal>,
}

/// A penalised estimate for few deaths; it does not allow for tanks.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct FirthCoefficient {
    /// Log hazard ratio.
    pub coef: f64,
    /// Hazard ratio.
    pub hazard_ratio: f64,
    /// Standard error of `coef`.
    pub std_error: f64,
    /// Lower 95 % limit of the ratio.
    pub lower: f64,
    /// Upper 95 % limit of the ratio.
    pub upper: f64,
    /// p of the penalised likelihood ratio.
    pub p: f64,
}

/// A test of proportional hazards.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ProportionalityTest {
    /// Coefficient, or `GLOBAL`.
    pub name: String,
    /// Chi-squared.
    pub statistic: f64,
    /// Degrees of freedom.
    pub df: u64,
    /// p.
    pub p: f64,
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

/// What stands behind a figure on growth.
#[derive(Debug, Clone, PartialEq, Serialize)]
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
#[derive(Debug, Clone, PartialEq, Serialize)]
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
#[derive(Debug, Clone, PartialEq, Serialize)]
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
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct GrowthGroup {
    /// The level.
    pub group: String,
    /// Specimens with a rate.
    pub specimens: u64,
    /// Their tanks; `None` on a table that names none.
    pub tanks: Option<u64>,
    /// Change of ln size a month of 30.4375 days.
    pub slope_per_month: f64,
    /// Its standard error.
    pub std_error: Option<f64>,
    /// Degrees of freedom of the limits; `None` for percentile limits.
    pub df: Option<f64>,
    /// Lower 95 % limit of the slope.
    pub lower: Option<f64>,
    /// Upper 95 % limit of the slope.
    pub upper: Option<f64>,
    /// Size after a month over size before.
    pub ratio_per_month: f64,
}

/// The model of growth.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct GrowthModel {
    /// `theil_sen` for rates of whole specimens, `increments` for conditions that change in time.
    pub kind: &'static str,
    /// Criterion at the optimum, for fitted models.
    pub criterion: Option<f64>,
    /// Variance components, for fitted models.
    pub variances: Option<Vec<f64>>,
    /// Terms dropped because they could not be told from 0.
    pub dropped: Vec<String>,
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
