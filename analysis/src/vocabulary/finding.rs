//! What a reader of logs can meet: refused, questioned or noted; the question in plain words; what waits for the
//! answer. The codes are public and never reused.

use rustc_hash::FxHashMap;
use serde::{Deserialize, Serialize};

use super::text::keep;
use super::{CatalogueError, FindingCode, catalogue};

const FILE: &str = "findings.toml";

/// How grave a finding is.
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

impl Severity {
    /// As printed.
    pub const fn as_str(self) -> &'static str {
        match self {
            Severity::Refused => "refused",
            Severity::Questioned => "questioned",
            Severity::Noted => "noted",
        }
    }
}

/// What one finding covers.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Scope {
    /// One cell, or a list of cells alike.
    Cell,
    /// A column.
    Column,
    /// A table.
    Table,
    /// A file.
    File,
}

/// What waits for the answer.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Hold {
    /// Nothing: the records load, and something about them stays unknown.
    Nothing,
    /// The marked cells.
    Cell,
    /// The records of the marked rows.
    Row,
    /// All marked rows.
    Rows,
    /// The readings of the column.
    Column,
    /// The records that the column dates.
    Dates,
    /// The records of the table.
    Table,
    /// The records of the tank.
    Tank,
    /// The whole file.
    File,
    /// The specimen and all that names it.
    Specimen,
    /// The fate alone; the specimen loads.
    Fate,
    /// Nothing but the day of the death, which loads with its outer bounds.
    DeathDate,
    /// Growth from these sizes.
    Sizes,
    /// Survival of this log.
    Survival,
}

/// Which answer may be proposed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Proposal {
    /// None.
    None,
    /// The first of the list.
    First,
    /// As [`FindingKind::proposal_rule`] says.
    Said,
}

/// One answer to a question.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Answer {
    /// Code.
    pub code: &'static str,
    /// As the person reads it; `{…}` is filled in.
    pub label: &'static str,
}

/// A kind of finding.
#[derive(Debug, Clone, PartialEq)]
pub struct FindingKind {
    /// Code.
    pub code: FindingCode,
    /// Refused, questioned or noted.
    pub severity: Severity,
    /// What one finding may cover, the most special first.
    pub scope: Vec<Scope>,
    /// When it is met.
    pub seen_when: &'static str,
    /// The question, for questioned ones; `{…}` is filled in.
    pub question: Option<&'static str>,
    /// The sentence, for refused and noted ones; `{…}` is filled in.
    pub message: Option<&'static str>,
    /// Answers beside *leave it out* and *don't know*.
    pub answers: Vec<Answer>,
    /// Which of them may be proposed.
    pub propose: Proposal,
    /// How the proposed one is found, for [`Proposal::Said`].
    pub proposal_rule: Option<&'static str>,
    /// What *don't know* does, where it does not just stay held.
    pub unknown: Option<&'static str>,
    /// What would put it right.
    pub remedy: &'static str,
    /// What waits for the answer.
    pub hold: Hold,
}

/// Answers that every question takes beside its own.
pub const ALWAYS_ANSWERS: [Answer; 2] =
    [Answer { code: "leave_out", label: "leave it out" }, Answer { code: "dont_know", label: "don't know" }];

impl FindingCode {
    /// The kind's row.
    pub fn get(self) -> &'static FindingKind {
        let findings = &catalogue().findings;
        &findings.all[findings.by_code[self.as_str()]]
    }
}

impl FindingKind {
    /// The sentence a person reads, with `{…}` filled in from `values`; a mark without a value stays as it is.
    pub fn sentence(&self, values: &[(&str, &str)]) -> String {
        fill(self.question.or(self.message).unwrap_or_default(), values)
    }

    /// All answers a person may give, the two that every question takes at the end.
    pub fn all_answers(&self) -> Vec<Answer> {
        match self.severity {
            Severity::Questioned => self.answers.iter().copied().chain(ALWAYS_ANSWERS).collect(),
            Severity::Refused | Severity::Noted => self.answers.clone(),
        }
    }
}

/// A text of the catalogue with its `{…}` marks filled in; a mark without a value stays as it is, and values are
/// never read for marks themselves.
pub fn fill(text: &str, values: &[(&str, &str)]) -> String {
    let mut filled = String::with_capacity(text.len());
    let mut rest = text;
    while let Some(open) = rest.find('{') {
        let (before, from) = rest.split_at(open);
        filled.push_str(before);
        let Some(close) = from.find('}') else {
            filled.push_str(from);
            return filled;
        };
        let mark = &from[1..close];
        match values.iter().find(|(name, _)| *name == mark) {
            Some((_, value)) => filled.push_str(value),
            None => filled.push_str(&from[..=close]),
        }
        rest = &from[close + 1..];
    }
    filled.push_str(rest);
    filled
}

#[derive(Debug)]
pub(super) struct Findings {
    pub(super) all: Vec<FindingKind>,
    pub(super) by_code: FxHashMap<&'static str, usize>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    finding: Vec<Row>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Row {
    code: String,
    severity: Severity,
    scope: Vec<Scope>,
    hold: Option<Hold>,
    seen_when: String,
    question: Option<String>,
    message: Option<String>,
    propose: Option<Proposal>,
    proposal: Option<String>,
    unknown: Option<String>,
    #[serde(default)]
    answers: Vec<AnswerRow>,
    remedy: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct AnswerRow {
    code: String,
    label: String,
}

impl Findings {
    pub(super) fn read() -> Result<Self, CatalogueError> {
        let file: File = super::parse(FILE, include_str!("../../catalogue/findings.toml"))?;
        let mut findings = Findings { all: Vec::new(), by_code: FxHashMap::default() };
        for row in file.finding {
            let text = keep(row.code);
            let wrong = |what: &str| CatalogueError::new(FILE, format!("{text}: {what}"));
            if findings.by_code.insert(text, findings.all.len()).is_some() {
                return Err(wrong("stands twice"));
            }
            let hold = match (row.severity, row.hold) {
                (Severity::Questioned, Some(hold)) => hold,
                (Severity::Questioned, None) => return Err(wrong("a question must say what it holds")),
                (_, None) => Hold::Nothing,
                (_, Some(_)) => return Err(wrong("only a question holds anything")),
            };
            let asks = row.severity == Severity::Questioned;
            if row.question.is_some() != asks || row.message.is_some() == asks {
                return Err(wrong("questions ask and others state"));
            }
            if asks && row.answers.is_empty() {
                return Err(wrong("a question needs answers"));
            }
            let propose = row.propose.unwrap_or(Proposal::None);
            if (propose == Proposal::Said) != row.proposal.is_some() {
                return Err(wrong("a rule of proposal goes with `said`"));
            }
            findings.all.push(FindingKind {
                code: FindingCode::of_catalogue(text),
                severity: row.severity,
                scope: row.scope,
                seen_when: keep(row.seen_when),
                question: row.question.map(keep),
                message: row.message.map(keep),
                answers: row
                    .answers
                    .into_iter()
                    .map(|answer| Answer { code: keep(answer.code), label: keep(answer.label) })
                    .collect(),
                propose,
                proposal_rule: row.proposal.map(keep),
                unknown: row.unknown.map(keep),
                remedy: keep(row.remedy),
                hold,
            });
        }
        Ok(findings)
    }
}
