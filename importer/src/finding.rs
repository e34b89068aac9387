//! What could not be taken as it stands. A finding is data: code, place, as written, a plain sentence, a remedy.
//! The codes and their questions are the catalogue's (`analysis/catalogue/findings.toml`).

use analysis::vocabulary::{FindingCode, Proposal, fill};
use serde::{Deserialize, Serialize};

use crate::record::CellRef;

/// What happens to the cells a finding covers.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Severity {
    /// Not loaded.
    Refused,
    /// Held until answered; one answer settles all alike.
    Questioned,
    /// Loaded, worth a look.
    Noted,
}

/// Cells that wait for an answer: runs of rows in a column.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Held {
    /// Sheet.
    pub sheet: Option<String>,
    /// Column from 1; null = the whole rows.
    pub column: Option<u32>,
    /// Runs of rows, first and last, both included.
    pub rows: Vec<[u32; 2]>,
}

/// One way to answer a question.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Choice {
    /// Sent back as `choice`.
    pub code: String,
    /// As a person reads it.
    pub label: String,
    /// What must come with it: `day`, `days`, `number`, `text`, `parameter`, `tank`, `taxon`; null = nothing.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub needs: Option<String>,
}

/// An answer to a question, or the answer proposed.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Answer {
    /// Key of the finding.
    pub key: String,
    /// Code of the choice.
    pub choice: String,
    /// What the choice needs: a day, a number, a code…
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub value: Option<serde_json::Value>,
}

/// One finding.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Finding {
    /// Severity.
    pub severity: Severity,
    /// Code of the catalogue.
    pub code: String,
    /// Stable name within the upload: the same doubt in the next copy of the file has the same key,
    /// so an answer serves it too (`code`, or `code:column header`, `code:word`…).
    pub key: String,
    /// Sheet of the first cell.
    pub sheet: Option<String>,
    /// Row of the first cell, from 1; null for the whole file.
    pub row: Option<u32>,
    /// Column of the first cell, from 1; null for a whole row or table.
    pub column: Option<u32>,
    /// The first cell as written.
    pub written: String,
    /// One plain sentence: what is seen, or the question.
    pub message: String,
    /// What to do.
    pub remedy: String,
    /// Ways to answer; empty unless questioned.
    pub choices: Vec<Choice>,
    /// The answer `--accept` takes; null if none may be proposed.
    pub proposed: Option<Answer>,
    /// What waits; where more cells are covered than are listed, the rows of all.
    pub held: Vec<Held>,
    /// Every cell it covers, as many as are listed.
    pub cells: Vec<CellRef>,
    /// `dont_know` was answered and what it covers waits all the same: not to be asked again.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub answered: Option<String>,
}

/// Every non-empty cell counts once; the parts add up to the total.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct CellCounts {
    /// Non-empty cells.
    pub total: u64,
    /// Used by a record that loads.
    pub recorded: u64,
    /// Titles, headers, units, no-reading words, summaries.
    pub labels: u64,
    /// Refused or questioned.
    pub findings: u64,
}

/// A finding of a code of the catalogue, without place and cells: its sentence and choices filled in with `values`.
/// A code that the catalogue does not hold gives a refusal that says so; a test over all codes keeps that from happening.
pub fn finding_of(code: &'static str, key: &str, values: &[(&'static str, String)]) -> Finding {
    let values: Vec<(&str, &str)> = values.iter().map(|(name, value)| (*name, value.as_str())).collect();
    let mut finding = Finding {
        severity: Severity::Refused,
        code: code.to_owned(),
        key: key.to_owned(),
        sheet: None,
        row: None,
        column: None,
        written: String::new(),
        message: code.replace('_', " "),
        remedy: String::new(),
        choices: Vec::new(),
        proposed: None,
        held: Vec::new(),
        cells: Vec::new(),
        answered: None,
    };
    let Some(kind) = FindingCode::parse(code).map(FindingCode::get) else { return finding };
    finding.severity = severity_of(kind.code);
    finding.message = kind.sentence(&values);
    finding.remedy = fill(kind.remedy, &values);
    if finding.severity == Severity::Questioned {
        finding.choices = kind
            .all_answers()
            .iter()
            .map(|answer| Choice {
                code: answer.code.to_owned(),
                label: fill(answer.label, &values),
                needs: needs_of(code, answer.code).map(str::to_owned),
            })
            .collect();
        // "Leave it out" may be one of a question's own answers.
        finding.choices.dedup_by(|later, earlier| later.code == earlier.code);
        if kind.propose == Proposal::First {
            finding.proposed = kind.answers.first().map(|answer| Answer {
                key: key.to_owned(),
                choice: answer.code.to_owned(),
                value: None,
            });
        }
    }
    finding
}

/// Severity of a code.
pub fn severity_of(code: FindingCode) -> Severity {
    match code.get().severity {
        analysis::vocabulary::Severity::Refused => Severity::Refused,
        analysis::vocabulary::Severity::Questioned => Severity::Questioned,
        analysis::vocabulary::Severity::Noted => Severity::Noted,
    }
}

/// What must come with a choice of the catalogue.
fn needs_of(code: &str, choice: &str) -> Option<&'static str> {
    match (code, choice) {
        ("death_without_date" | "as_of_missing" | "complete_since_missing" | "date_unreadable", "day") => Some("day"),
        (_, "between") if matches!(code, "death_without_date" | "date_unreadable") => Some("days"),
        ("date_missing" | "date_impossible" | "date_in_future", "other") => Some("day"),
        ("date_year_missing", "other") | ("date_month_only", "of_month") => Some("number"),
        ("limit_missing", "limit") => Some("number"),
        ("column_unknown", "parameter") => Some("parameter"),
        ("tank_unnamed", "tank") => Some("tank"),
        ("tank_unnamed", "new") | ("coral_unknown", "coral") => Some("text"),
        ("name_unknown", "taxon" | "genus") | ("name_ambiguous", "taxon") => Some("taxon"),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_question_has_its_choices_and_the_two_that_all_take() {
        let finding = finding_of(
            "fahrenheit_or_celsius",
            "fahrenheit_or_celsius:temp",
            &[("written", "77.4".into()), ("unit", "°F".into()), ("value", "25.22".into())],
        );
        assert_eq!(finding.severity, Severity::Questioned);
        assert_eq!(finding.message, "Is 77.4 in °F?");
        let codes: Vec<&str> = finding.choices.iter().map(|choice| choice.code.as_str()).collect();
        assert_eq!(codes, ["yes", "no", "leave_out", "dont_know"]);
        assert_eq!(finding.proposed.map(|answer| answer.choice), Some("yes".to_owned()));
    }

    #[test]
    fn a_code_that_nobody_knows_is_a_refusal() {
        let finding = finding_of("no_such_code", "no_such_code", &[]);
        assert_eq!((finding.severity, finding.message.as_str()), (Severity::Refused, "no such code"));
    }
}
