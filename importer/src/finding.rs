//! What could not be taken as it stands. A finding is data: code, place, as written, a plain sentence, a remedy.
//! The codes and their questions are the catalogue's (`analysis/catalogue/findings.toml`).

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
    /// What waits.
    pub held: Vec<Held>,
    /// Every cell it covers.
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
