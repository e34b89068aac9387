//! What is printed. Field names are public and stable; times are in the unit of the table, usually days.

use chrono::NaiveDate;
use serde::Serialize;

use super::error::Notice;
use crate::answer::{Estimate, GrowthModel, LogLikelihoodPart, PlacedRefusal};
use crate::refusal::{Part, Refusal};

/// Survival of the rows of a table. Parts that were not asked for are absent.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct TableSurvival {
    /// In the order of their levels; one, [`super::EVERYONE`], without a split.
    pub groups: Vec<TableGroup>,
    /// Log-rank test of equal hazards in the groups, ignoring clusters.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub log_rank: Option<Part<TableChiSquared>>,
    /// Hazard ratios.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub cox: Option<Part<TableCox>>,
    /// Does a ratio change with time: one test per named covariate, then `GLOBAL`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub proportionality: Option<Part<Vec<TableProportionality>>>,
    /// Rows left out for an empty used cell.
    pub dropped_rows: u64,
    /// What a reader should know beside the figures.
    #[serde(skip)]
    pub notices: Vec<Notice>,
}

/// One group.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct TableGroup {
    /// Level as written.
    pub group: String,
    /// Rows; those that end before the asked start of the curve do not count.
    pub n: u64,
    /// Deaths among them.
    pub events: u64,
    /// One point per death time.
    pub curve: Part<Vec<TablePoint>>,
    /// Time by which half had died; `null` if not reached.
    pub median: Part<Estimate>,
    /// Mean time alive up to the horizon.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub rmst: Option<Part<TableMean>>,
    /// The curve is conditional on being alive at this time.
    #[serde(skip)]
    pub start_time: f64,
    /// Smallest number at risk at a death of the curve.
    #[serde(skip)]
    pub smallest_risk_set: Option<u64>,
}

/// The curve from one death time up to the next.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct TablePoint {
    /// Death time.
    pub time: f64,
    /// At risk just before it.
    pub at_risk: u64,
    /// Deaths at it.
    pub events: u64,
    /// Share still alive after it.
    pub survival: f64,
    /// Greenwood's; `null` once all have died.
    pub std_error: Option<f64>,
    /// Lower limit; `null` once all have died.
    pub lower: Option<f64>,
    /// Upper limit.
    pub upper: Option<f64>,
}

/// A restricted mean.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct TableMean {
    /// Mean time alive from the start of the curve to the horizon.
    pub estimate: f64,
    /// `null` without a death before the horizon.
    pub std_error: Option<f64>,
    /// The horizon.
    pub horizon: f64,
    /// Less the mean of the first group, where both curves begin at one time and both have a standard error.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub difference: Option<MeanDifference>,
}

/// A restricted mean less that of the first group, of groups that share nothing.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct MeanDifference {
    /// The first group.
    pub reference: String,
    /// The difference.
    pub estimate: f64,
    /// Its standard error.
    pub std_error: f64,
    /// Lower 95 % limit.
    pub lower: f64,
    /// Upper 95 % limit.
    pub upper: f64,
    /// p of no difference.
    pub p: f64,
}

/// A chi-squared test.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct TableChiSquared {
    /// Statistic.
    pub statistic: f64,
    /// Degrees of freedom.
    pub df: u64,
    /// Upper tail.
    pub p: f64,
}

/// A fitted model.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct TableCox {
    /// In the order of the request; a category gives one per level but its reference.
    pub coefficients: Vec<TableCoefficient>,
    /// Log partial likelihood.
    pub log_likelihood: LogLikelihoodPart,
    /// Newton steps.
    pub iterations: u64,
    /// A penalised fit of the same model, where a plain coefficient is refused or rests on few deaths.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub firth: Option<Part<TableFirth>>,
}

/// One coefficient; what cannot be given is `null`, with the reason in `refused`.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct TableCoefficient {
    /// Column, or `column:level`.
    pub name: String,
    /// Log hazard ratio.
    pub coef: Option<f64>,
    /// Hazard ratio per unit, or against the reference level.
    pub hazard_ratio: Option<f64>,
    /// From the information, ignoring clusters.
    pub std_error: Option<f64>,
    /// Plain sandwich by cluster, without small-sample factor; `null` without clusters.
    pub robust_std_error: Option<f64>,
    /// Lower limit of the ratio: with clusters `G/(G-1)` times the sandwich and t with G-1 degrees of freedom.
    pub lower: Option<f64>,
    /// Upper limit.
    pub upper: Option<f64>,
    /// Two-sided p of no association, from the same variance.
    pub p: Option<f64>,
    /// Why numbers are absent.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub refused: Option<Refusal>,
}

/// A penalised fit.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct TableFirth {
    /// In the order of the plain ones.
    pub coefficients: Vec<TableFirthCoefficient>,
    /// Penalised log likelihood at the fit.
    pub penalised_log_likelihood: f64,
    /// Steps.
    pub iterations: u64,
}

/// One coefficient of a penalised fit; no variance by cluster, p from the penalised likelihood.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct TableFirthCoefficient {
    /// Column, or `column:level`.
    pub name: String,
    /// Log hazard ratio.
    pub coef: f64,
    /// Hazard ratio.
    pub hazard_ratio: f64,
    /// From the information at the estimate.
    pub std_error: f64,
    /// Lower limit from `std_error`: crude with few deaths.
    pub lower: f64,
    /// Upper limit.
    pub upper: f64,
    /// From the penalised likelihood ratio.
    pub p: f64,
}

/// One test of proportional hazards.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct TableProportionality {
    /// Covariate, or `GLOBAL`.
    pub name: String,
    /// Chi-squared statistic.
    pub statistic: f64,
    /// Degrees of freedom.
    pub df: u64,
    /// Upper tail.
    pub p: f64,
}

/// Growth of the specimens of a table.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct TableGrowth {
    /// In the order of their names.
    pub specimens: Vec<TableSpecimen>,
    /// In the order of their levels.
    pub groups: Vec<TableGrowthGroup>,
    /// How the slopes of the groups were found.
    pub model: GrowthModel,
    /// What is not given, by the place where it is missing.
    pub refusals: Vec<PlacedRefusal>,
    /// What a reader should know beside the figures.
    #[serde(skip)]
    pub notices: Vec<Notice>,
}

/// A day as the table has it.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Serialize)]
#[serde(untagged)]
pub enum Day {
    /// A number of days.
    Number(f64),
    /// A calendar day.
    Date(NaiveDate),
}

/// Growth of one specimen.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct TableSpecimen {
    /// Name as written.
    pub specimen: String,
    /// Its group.
    pub group: String,
    /// Sizes.
    pub n: u64,
    /// Day of the first size.
    pub first: Day,
    /// Day of the last size.
    pub last: Day,
    /// 100 times the least-squares slope of ln size on days; `null` if refused.
    pub sgr_percent_per_day: Option<f64>,
    /// Lower limit; `null` with two sizes.
    pub lower: Option<f64>,
    /// Upper limit.
    pub upper: Option<f64>,
}

/// Growth of one group; what cannot be given is `null`, with the reason among the refusals.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct TableGrowthGroup {
    /// Level as written.
    pub group: String,
    /// Specimens with a slope.
    pub specimens: u64,
    /// Tanks they grew in; `null` without a column of tanks.
    pub tanks: Option<u64>,
    /// Slope of ln size per month of 30.4375 days: the effect in a mixed model, or the median over the specimens of their
    /// median slopes.
    pub slope_per_month: Option<f64>,
    /// Of a mixed model.
    pub std_error: Option<f64>,
    /// Of a mixed model, after Satterthwaite.
    pub df: Option<f64>,
    /// Lower limit of the slope, by Student's t or by drawing whole tanks.
    pub lower: Option<f64>,
    /// Upper limit of the slope.
    pub upper: Option<f64>,
    /// `exp(slope_per_month)`: size after a month over size before.
    pub ratio_per_month: Option<f64>,
}
