//! What is printed about survival.

use serde::Serialize;

use super::{Asked, Caution, Grade, Method, Period, PlacedRefusal, SensitivityRun, State, TaxonAnswered};
use crate::refusal::{Part, Refusal};

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

impl LeftOut {
    /// All that are left out.
    pub fn total(&self) -> u64 {
        self.acquired_unknown
            + self.held
            + self.losses_not_listed
            + self.ended_before_entry
            + self.arrived_dead
            + self.no_follow_up
            + self.poor_at_entry.unwrap_or(0)
            + self.no_look_at_entry.unwrap_or(0)
            + self.never_declined.unwrap_or(0)
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
    /// Deaths; for serious decline those that ended the follow-up, without a decline seen first.
    pub deaths: u64,
    /// Serious declines, for the outcomes that count them.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub declines: Option<u64>,
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
    /// Fed or not, in water within the taught bands or outside; only where feeding is the split and nothing else had to
    /// hold.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub interaction: Option<Part<FedByWater>>,
}

/// Fed or not, in water within the taught bands or outside, by the state at each moment.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct FedByWater {
    /// Parameters that had to be known and within their band for the water to be within.
    pub parameters: Vec<String>,
    /// Coral-days on which feeding or water is unknown; they are in no cell.
    pub days_unknown: f64,
    /// The four cells.
    pub cells: Vec<InteractionCell>,
    /// Not fed against fed in each water, and the ratio of the two.
    pub hazard_ratios: Part<InteractionRatios>,
    /// In words: of corals in water within the bands; of a difference only if the ratio's limits exclude 1.
    pub sentence: Part<String>,
}

/// One cell of feeding by water.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct InteractionCell {
    /// `fed` (at least once a week) or `unfed`.
    pub feeding: &'static str,
    /// `in` (all parameters known and within their band) or `out` (one known and outside).
    pub water: &'static str,
    /// The cell in words.
    pub label: String,
    /// What stands behind its figures.
    pub evidence: Evidence,
    /// Losses per 100 coral-months.
    pub rates: Part<RatePart>,
}

/// Hazard ratios of not fed against fed.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct InteractionRatios {
    /// In water within the bands.
    pub among_in: InteractionRatio,
    /// In water outside.
    pub among_out: InteractionRatio,
    /// The first divided by the second.
    pub ratio: InteractionRatio,
}

/// One ratio. Limits and p that cannot be given are `None`, with the reason in `refused`.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct InteractionRatio {
    /// Its logarithm.
    pub coef: f64,
    /// The ratio.
    pub hazard_ratio: f64,
    /// Model-based standard error of `coef`.
    pub std_error: f64,
    /// Sandwich standard error of `coef` by cluster, plain.
    pub robust_std_error: Option<f64>,
    /// Lower 95 % limit of the ratio, as published; `None` with too few clusters.
    pub lower: Option<f64>,
    /// Upper 95 % limit.
    pub upper: Option<f64>,
    /// p, as published.
    pub p: Option<f64>,
    /// Penalised fit, where deaths are few.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub firth: Option<FirthCoefficient>,
    /// Why limits and p are absent.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub refused: Option<Refusal>,
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
    /// Events of the outcome in it: deaths, serious declines, or both.
    pub events: u64,
    /// What stands behind its figures.
    pub evidence: Evidence,
    /// Day since acquisition from which the curve runs.
    pub start_time: f64,
    /// The share still without the outcome: alive, or without serious decline.
    pub curve: Part<Vec<CurvePoint>>,
    /// That share at the horizon.
    pub at_horizon: Part<AtHorizon>,
    /// The lead sentence, or why there is none.
    pub sentence: Part<String>,
    /// Day by which half had the outcome.
    pub median: Part<Estimate>,
    /// Days of life within the horizon.
    pub rmst: Part<RestrictedMeanPart>,
    /// Events per 100 coral-months.
    pub rates: Part<RatePart>,
}

/// One step of a curve.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CurvePoint {
    /// Day since acquisition.
    pub time: f64,
    /// At risk just before.
    pub at_risk: u64,
    /// Events of the outcome at that time.
    pub events: u64,
    /// Ended otherwise from then until the next step.
    pub censored: u64,
    /// Share without the outcome just after.
    pub survival: f64,
    /// Greenwood's standard error; that of the incidence where death is another end.
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
    /// Lower 95 % limit, allowing for corals sharing a tank or a keeper.
    pub lower: Option<f64>,
    /// Upper 95 % limit.
    pub upper: Option<f64>,
    /// Days more than the reference level's; null for that level, for unknown, and where nothing is compared.
    pub difference: Option<Part<Estimate>>,
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

/// Share lost to one group of causes, or to one kind of end, by a time.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CauseIncidence {
    /// Group of causes, or `other` where groups were joined; `decline` and `death_before_decline` where serious decline
    /// is asked about.
    pub cause: String,
    /// Day since acquisition.
    pub time: f64,
    /// Events of it in all.
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
