//! The documented shapes of the answers about a taxon that are neither survival nor growth, and of what is taught.

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::common::{
    Asked, Caution, Estimate, Grade, Method, Part, PlacedRefusal, Refusal, SensitivityRun, TaxonAnswered,
};
use super::survival::{CoxCoefficient, Evidence, HazardPiece, RatePart};

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

/// Losses by age.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct HazardResult {
    /// From the day of acquisition on; neighbours with fewer than three losses are joined before anybody looks.
    pub pieces: Vec<HazardAtAge>,
    /// All ages together, per 100 coral-months.
    pub overall: RatePart,
    /// Which piece is highest, if any is.
    pub sentence: String,
}

/// One piece of age, with two kinds of limits.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct HazardAtAge {
    /// Counts and rate, with exact limits that do not allow for tanks.
    #[serde(flatten)]
    pub piece: HazardPiece,
    /// Limits of the rate by drawing whole tanks or keepers with replacement.
    pub clustered: Part<RateLimits>,
}

/// Limits of a rate per 100 coral-months.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct RateLimits {
    /// Lower 95 % limit.
    pub lower: f64,
    /// Upper 95 % limit.
    pub upper: f64,
}

/// The weeks before losses, beside corals of the same age that lived on.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct LeadUpResult {
    /// Losses looked back from.
    pub losses: u64,
    /// Corals of the same taxon and age in other tanks, drawn for them.
    pub controls: u64,
    /// One line a condition and window: losses less their controls.
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

/// Single losses of a taxon, oldest age last.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct CasebookResult {
    /// One line a loss.
    pub losses: Vec<CasebookLine>,
    /// Of the specimens behind the lines, how many are alive as far as known.
    pub living: u64,
    /// How to read the lines.
    pub sentence: String,
}

/// One loss.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct CasebookLine {
    /// Name of the specimen, for its own keeper only.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub specimen: Option<String>,
    /// What it was named.
    pub name: String,
    /// Age at the loss in months of 30.4375 days; `None` = bought on an unknown day.
    pub age_months: Option<f64>,
    /// Day of the loss, exact readers only; the latest day it can have been.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub on: Option<NaiveDate>,
    /// `died`, `missing`, `arrived_dead`, `tank_closed`.
    pub fate: String,
    /// Group of causes: `husbandry`, `equipment`, `accident`, `predation`, `unknown`.
    pub cause_group: String,
    /// Primary cause, as coded; `None` = not said.
    pub cause: Option<String>,
    /// Origin at purchase; `None` = not said.
    pub origin: Option<String>,
    /// How it looked at the last look before: 0 dead to 5 open and growing; `None` = no score.
    pub last_condition: Option<u8>,
    /// The last test of each parameter in its tank before the loss.
    pub last_tests: Vec<LastTest>,
    /// Kinds of incidents of its tank in the 60 days before.
    pub incidents: Vec<String>,
    /// It was one of many lost in its tank within two weeks.
    pub one_of_many: bool,
    /// The line in words.
    pub sentence: String,
}

/// A test before a loss.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct LastTest {
    /// Parameter code.
    pub parameter: String,
    /// Value in the catalogue's unit; `None` for an interval.
    pub value: Option<f64>,
    /// Unit as printed.
    pub unit: String,
    /// `=`, `<`, `>` or `interval`.
    pub qualifier: String,
    /// Days before the loss.
    pub days_before: f64,
    /// `below`, `within`, `above` the taught band; `None` without a band, or where the value does not say.
    pub band: Option<String>,
}

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

/// What the club teaches, beside its records.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct ClaimsAnswer {
    /// State of the records answered from: the running counter of changes.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(example = 41)]
    pub edition: Option<i64>,
    /// State of the records answered from: a frozen, numbered release.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(example = 7)]
    pub release: Option<i64>,
    /// One a claim.
    pub claims: Vec<ClaimLine>,
    /// Version of the program.
    pub program_version: String,
}

/// One thing taught.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
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
    /// One a taxon that it is taught for and that has records enough.
    pub taxa: Vec<ClaimForTaxon>,
}

/// A claim for one taxon.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct ClaimForTaxon {
    /// Slug.
    pub taxon: String,
    /// Accepted name.
    pub name: String,
    /// One of five words.
    pub verdict: String,
    /// The word as printed.
    pub verdict_in_words: String,
    /// The comparisons that it rests on.
    pub looked_at: Vec<ClaimTest>,
    /// When corals are lost, for claims about that.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub by_age: Option<Part<String>>,
}

/// A comparison that a claim rests on.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct ClaimTest {
    /// Code of the condition.
    pub condition: String,
    /// Outcome code.
    pub outcome: String,
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
    /// q over the release's list.
    pub q: Part<f64>,
    /// Grade.
    pub grade: Grade,
    /// Why numbers are absent.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub refused: Option<Refusal>,
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

/// When corals are lost.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct HazardAnswer {
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
    pub result: Part<HazardResult>,
    /// Every refusal in the result, with where it stands.
    pub refusals: Vec<PlacedRefusal>,
    /// What to bear in mind.
    pub cautions: Vec<Caution>,
    /// How it was computed.
    pub method: Method,
    /// The same figures under other rules.
    pub sensitivity: Vec<SensitivityRun>,
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

/// Single losses.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct CasebookAnswer {
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
    pub result: Part<CasebookResult>,
    /// Every refusal in the result, with where it stands.
    pub refusals: Vec<PlacedRefusal>,
    /// What to bear in mind.
    pub cautions: Vec<Caution>,
    /// How it was computed.
    pub method: Method,
    /// The same figures under other rules.
    pub sensitivity: Vec<SensitivityRun>,
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
