//! The documented shape of an answer: single losses.

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::common::{Asked, Caution, Method, Part, PlacedRefusal, SensitivityRun, TaxonAnswered};
use super::survival::Evidence;

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
