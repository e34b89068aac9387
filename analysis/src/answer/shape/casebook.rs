//! What is printed about single losses.

use chrono::NaiveDate;
use serde::Serialize;

/// Single losses of a taxon, oldest age last.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CasebookResult {
    /// One line a loss.
    pub losses: Vec<CasebookLine>,
    /// Of the specimens behind the lines, how many are alive as far as known.
    pub living: u64,
    /// How to read the lines.
    pub sentence: String,
}

/// One loss.
#[derive(Debug, Clone, PartialEq, Serialize)]
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
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LastTest {
    /// Parameter code.
    pub parameter: &'static str,
    /// Value in the catalogue's unit; `None` for an interval.
    pub value: Option<f64>,
    /// Unit as printed.
    pub unit: &'static str,
    /// `=`, `<`, `>` or `interval`.
    pub qualifier: &'static str,
    /// Days before the loss.
    pub days_before: f64,
    /// `below`, `within`, `above` the taught band; `None` without a band, or where the value does not say.
    pub band: Option<&'static str>,
}
