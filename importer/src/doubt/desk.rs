//! The one place where findings are raised and answers looked up. Alike cells join into one finding by its key.
//!
//! A key is the code, or the code and what tells it from others of its kind (`fate_word_unclear:gone`), so that
//! the same doubt in the next copy of a file is served by the same answer.

use std::collections::{BTreeMap, HashMap};

use analysis::vocabulary::{ALWAYS_ANSWERS, FindingCode};
use serde_json::Value;

use super::spots::Spots;
use crate::finding::{Answer, Choice, Finding, Held, Severity, finding_of};
use crate::record::CellRef;

/// A place in the file.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Spot {
    /// Position of the sheet in the file.
    pub sheet: u16,
    /// Row from 1.
    pub row: u32,
    /// Column from 1.
    pub column: u32,
}

/// How a question stands.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Settled<'a> {
    /// Not answered.
    Open,
    /// "Don't know".
    DontKnow,
    /// "Leave it out".
    LeaveOut,
    /// A choice of the question, with its value.
    Choice(&'a str, Option<&'a Value>),
}

impl<'a> Settled<'a> {
    /// Whether what the question covers waits.
    pub fn waits(self) -> bool {
        matches!(self, Settled::Open | Settled::DontKnow)
    }

    /// The choice, if one was made.
    pub fn choice(self) -> Option<&'a str> {
        match self {
            Settled::Choice(code, _) => Some(code),
            _ => None,
        }
    }

    /// The value as text.
    pub fn text(self) -> Option<String> {
        match self {
            Settled::Choice(_, Some(Value::String(text))) => {
                Some(text.trim().to_owned()).filter(|text| !text.is_empty())
            }
            Settled::Choice(_, Some(Value::Number(number))) => Some(number.to_string()),
            _ => None,
        }
    }

    /// The value as a number.
    pub fn number(self) -> Option<f64> {
        match self {
            Settled::Choice(_, Some(Value::Number(number))) => number.as_f64(),
            Settled::Choice(_, Some(Value::String(text))) => {
                text.trim().parse().ok().filter(|value: &f64| value.is_finite())
            }
            _ => None,
        }
    }

    /// The value as a day.
    pub fn day(self) -> Option<chrono::NaiveDate> {
        match self {
            Settled::Choice(_, Some(Value::String(text))) => text.trim().parse().ok(),
            _ => None,
        }
    }

    /// The value as two days, in order: `["2023-07-01", "2023-07-15"]` or `"2023-07-01/2023-07-15"`.
    pub fn days(self) -> Option<(chrono::NaiveDate, chrono::NaiveDate)> {
        let (first, last) = match self {
            Settled::Choice(_, Some(Value::Array(days))) if days.len() == 2 => {
                (days[0].as_str()?.trim().parse().ok()?, days[1].as_str()?.trim().parse().ok()?)
            }
            Settled::Choice(_, Some(Value::String(text))) => {
                let (first, last) = text.split_once('/')?;
                (first.trim().parse().ok()?, last.trim().parse().ok()?)
            }
            Settled::Choice(_, Some(Value::Object(days))) => {
                (days.get("earliest")?.as_str()?.parse().ok()?, days.get("latest")?.as_str()?.parse().ok()?)
            }
            _ => return None,
        };
        (first <= last).then_some((first, last))
    }
}

/// A finding being made.
#[derive(Debug, Clone)]
pub struct Doubt {
    code: &'static str,
    about: Option<String>,
    first: Option<Spot>,
    written: String,
    fill: Vec<(&'static str, String)>,
    cells: Vec<(Spot, &'static str)>,
    choices: Option<Vec<Choice>>,
    proposed: Option<(String, Option<Value>)>,
    propose_nothing: bool,
    table_row: bool,
}

impl Doubt {
    /// A finding of a code of the catalogue.
    pub fn of(code: &'static str) -> Self {
        Doubt {
            code,
            about: None,
            first: None,
            written: String::new(),
            fill: Vec::new(),
            cells: Vec::new(),
            choices: None,
            proposed: None,
            propose_nothing: false,
            table_row: false,
        }
    }

    /// Its code.
    pub fn code(&self) -> &'static str {
        self.code
    }

    /// What tells it from others of its code: a column, a word, a label.
    pub fn about(mut self, about: impl Into<String>) -> Self {
        let about = about.into();
        self.about = (!about.is_empty()).then_some(about);
        self
    }

    /// The cell it is about, as written.
    pub fn at(mut self, spot: Spot, written: impl Into<String>) -> Self {
        self.first = Some(spot);
        self.written = written.into();
        self
    }

    /// The first cell names a row or a column of a table, not a cell of its own.
    pub fn of_row(mut self) -> Self {
        self.table_row = true;
        self
    }

    /// Fills a placeholder of the question.
    pub fn fill(mut self, name: &'static str, text: impl Into<String>) -> Self {
        self.fill.retain(|(known, _)| *known != name);
        self.fill.push((name, text.into()));
        self
    }

    /// A cell it covers.
    pub fn cell(mut self, spot: Spot, role: &'static str) -> Self {
        self.cells.push((spot, role));
        self
    }

    /// Cells it covers.
    pub fn cells(mut self, cells: impl IntoIterator<Item = (Spot, &'static str)>) -> Self {
        self.cells.extend(cells);
        self
    }

    /// Ways to answer that depend on the file, in place of the catalogue's.
    pub fn choices(mut self, choices: Vec<Choice>) -> Self {
        self.choices = Some(choices);
        self
    }

    /// The answer proposed, in place of the catalogue's.
    pub fn propose(mut self, choice: impl Into<String>, value: Option<Value>) -> Self {
        self.proposed = Some((choice.into(), value));
        self
    }

    /// No answer is proposed here, whatever the catalogue proposes as a rule.
    pub fn propose_nothing(mut self) -> Self {
        self.propose_nothing = true;
        self
    }

    /// Its key.
    pub fn key(&self) -> String {
        key_of(self.code, self.about.as_deref())
    }
}

/// Key of a finding: its code and what it is about.
pub fn key_of(code: &str, about: Option<&str>) -> String {
    match about {
        Some(about) => format!("{code}:{about}"),
        None => code.to_owned(),
    }
}

/// Findings of one code that stand by themselves. A file with more of them is answered in its own program, not here:
/// all further ones are one finding.
pub const APART: usize = 1_000;
/// What the further ones are about.
const OTHERS: &str = "and others";

/// Cells of a finding that are listed one by one; of more the rows are told in runs.
pub const LISTED: usize = 10_000;

/// Cells that a finding covers, by what each gives: a question can hold every cell of a long file.
#[derive(Default)]
struct Seen(Vec<(&'static str, Spots)>);

impl Seen {
    /// Takes a cell in; false if it was there.
    fn insert(&mut self, (spot, role): (Spot, &'static str)) -> bool {
        match self.0.iter_mut().find(|(known, _)| *known == role) {
            Some((_, spots)) => spots.insert(spot),
            None => {
                self.0.push((role, Spots::from_iter([spot])));
                true
            }
        }
    }

    /// Those of `cells` that are new, as far as they are still listed.
    fn take(&mut self, known: &mut Vec<(Spot, &'static str)>, cells: impl IntoIterator<Item = (Spot, &'static str)>) {
        for cell in cells {
            if self.insert(cell) && known.len() < LISTED {
                known.push(cell);
            }
        }
    }

    /// Cells as runs of rows by sheet and column.
    fn held(&self, sheets: &[Option<String>]) -> Vec<Held> {
        let mut all = Spots::default();
        self.0.iter().for_each(|(_, spots)| all.join(spots));
        let mut out: Vec<Held> = Vec::new();
        for ((sheet, column), rows) in all.runs() {
            out.push(Held { sheet: sheets.get(usize::from(sheet)).cloned().flatten(), column: Some(column), rows });
        }
        out
    }
}

/// Findings raised so far and answers given.
pub struct Desk<'a> {
    answers: HashMap<&'a str, &'a Answer>,
    doubts: BTreeMap<String, Doubt>,
    seen: HashMap<String, Seen>,
    order: Vec<String>,
    covered: Spots,
    /// How many findings of a code there are.
    apart: HashMap<&'static str, usize>,
}

impl<'a> Desk<'a> {
    /// A desk with answers; of two answers to one question the later one holds.
    pub fn new(answers: &'a [Answer]) -> Self {
        let answers = answers.iter().map(|answer| (answer.key.as_str(), answer)).collect();
        Desk {
            answers,
            doubts: BTreeMap::new(),
            seen: HashMap::new(),
            order: Vec::new(),
            covered: Spots::default(),
            apart: HashMap::new(),
        }
    }

    /// How the question of a code about something stands.
    pub fn ask(&self, code: &str, about: &str) -> Settled<'a> {
        let key = key_of(code, (!about.is_empty()).then_some(about));
        match self.ask_key(&key) {
            Settled::Open if self.is_one_of_others(code, &key) => self.ask_key(&key_of(code, Some(OTHERS))),
            settled => settled,
        }
    }

    /// Whether there are so many findings of a code that a new one joins the others.
    pub fn is_one_of_others(&self, code: &str, key: &str) -> bool {
        self.apart.get(code).is_some_and(|count| *count >= APART) && !self.doubts.contains_key(key)
    }

    /// How the question of a key stands.
    pub fn ask_key(&self, key: &str) -> Settled<'a> {
        let Some(answer) = self.answers.get(key) else { return Settled::Open };
        match answer.choice.as_str() {
            "dont_know" => Settled::DontKnow,
            "leave_out" => Settled::LeaveOut,
            choice => Settled::Choice(choice, answer.value.as_ref()),
        }
    }

    /// Raises a finding, or adds its cells to the one of the same key.
    pub fn raise(&mut self, doubt: Doubt) {
        let mut key = doubt.key();
        let mut doubt = doubt;
        if self.is_one_of_others(doubt.code, &key) {
            doubt = doubt.about(OTHERS).choices(Vec::new()).propose_nothing();
            key = doubt.key();
        }
        if kind_severity(doubt.code) != Severity::Noted {
            self.covered.extend(doubt.cells.iter().map(|(spot, _)| *spot));
        }
        let seen = self.seen.entry(key.clone()).or_default();
        match self.doubts.get_mut(&key) {
            Some(known) => {
                // It is told by the first of its cells in the file, in whatever order they were met.
                if doubt.first.is_some_and(|first| known.first.is_some_and(|known| first < known)) {
                    let cells = std::mem::take(&mut known.cells);
                    *known = doubt;
                    let new = std::mem::replace(&mut known.cells, cells);
                    seen.take(&mut known.cells, new);
                } else {
                    seen.take(&mut known.cells, doubt.cells);
                }
            }
            None => {
                *self.apart.entry(doubt.code).or_default() += 1;
                let cells = std::mem::take(&mut doubt.cells);
                seen.take(&mut doubt.cells, cells);
                self.order.push(key.clone());
                self.doubts.insert(key, doubt);
            }
        }
    }

    /// Adds cells that wait with a raised finding.
    pub fn wait(&mut self, key: &str, cells: impl IntoIterator<Item = (Spot, &'static str)>) {
        let others = key_of(key.split_once(':').map_or(key, |(code, _)| code), Some(OTHERS));
        let key = if self.doubts.contains_key(key) { key } else { &others };
        if let (Some(doubt), Some(seen)) = (self.doubts.get_mut(key), self.seen.get_mut(key)) {
            let covers = kind_severity(doubt.code) != Severity::Noted;
            let covered = &mut self.covered;
            let cells = cells.into_iter().inspect(|(spot, _)| {
                if covers {
                    covered.insert(*spot);
                }
            });
            seen.take(&mut doubt.cells, cells);
        }
    }

    /// Whether a finding of this key was raised.
    pub fn raised(&self, code: &str, about: &str) -> bool {
        self.doubts.contains_key(&key_of(code, (!about.is_empty()).then_some(about)))
    }

    /// Whether any finding of this code was raised.
    pub fn raised_any(&self, code: &str) -> bool {
        self.doubts.values().any(|doubt| doubt.code == code)
    }

    /// Cells under a refused or questioned finding.
    pub const fn covered(&self) -> &Spots {
        &self.covered
    }

    /// The findings, in the order of the file: whole-file ones first.
    pub fn findings(self, sheets: &[Option<String>]) -> Vec<Finding> {
        let answers = self.answers;
        let mut doubts = self.doubts;
        let mut out: Vec<(Option<Spot>, usize, Finding)> = Vec::with_capacity(doubts.len());
        for (position, key) in self.order.iter().enumerate() {
            let Some(doubt) = doubts.remove(key) else { continue };
            let first = doubt.first.or_else(|| doubt.cells.first().map(|(spot, _)| *spot));
            let answered =
                answers.get(key.as_str()).filter(|answer| answer.choice == "dont_know").map(|_| "dont_know".to_owned());
            let told = kind_severity(doubt.code) == Severity::Questioned || doubt.cells.len() >= LISTED;
            let held = self.seen.get(key).filter(|_| told).map(|seen| seen.held(sheets)).unwrap_or_default();
            out.push((first, position, finish(key, doubt, (answered, held), sheets)));
        }
        out.sort_by_key(|(first, position, _)| (*first, *position));
        out.into_iter().map(|(_, _, finding)| finding).collect()
    }
}

fn kind_severity(code: &str) -> Severity {
    FindingCode::parse(code).map_or(Severity::Refused, crate::finding::severity_of)
}

fn finish(
    key: &str,
    doubt: Doubt,
    (answered, held): (Option<String>, Vec<Held>),
    sheets: &[Option<String>],
) -> Finding {
    let sheet_of = |spot: Spot| sheets.get(usize::from(spot.sheet)).cloned().flatten();
    let mut finding = finding_of(doubt.code, key, &doubt.fill);
    if doubt.about.as_deref() == Some(OTHERS) {
        finding.message.push_str(&format!(" And so of all like it, beyond the first {APART}."));
    }
    if let Some(first) = doubt.first {
        finding.sheet = sheet_of(first);
        finding.row = Some(first.row);
        finding.column = (!doubt.table_row).then_some(first.column);
    }
    finding.written = doubt.written;
    if let Some(choices) = doubt.choices {
        finding.choices = with_standard(choices);
    }
    if let Some((choice, value)) = doubt.proposed {
        finding.proposed = Some(Answer { key: key.to_owned(), choice, value });
    }
    let answerable = |proposed: &Answer| {
        finding
            .choices
            .iter()
            .any(|choice| choice.code == proposed.choice && (choice.needs.is_none() || proposed.value.is_some()))
    };
    if doubt.propose_nothing || !finding.proposed.as_ref().is_some_and(answerable) {
        finding.proposed = None;
    }
    finding.held = held;
    finding.answered = answered;
    finding.cells = doubt
        .cells
        .iter()
        .map(|(spot, role)| CellRef {
            sheet: sheet_of(*spot),
            row: spot.row,
            column: spot.column,
            role: (*role).to_owned(),
        })
        .collect();
    finding
}

/// Every question also takes "leave it out" and "don't know".
pub fn with_standard(mut choices: Vec<Choice>) -> Vec<Choice> {
    for answer in ALWAYS_ANSWERS {
        if !choices.iter().any(|choice| choice.code == answer.code) {
            choices.push(Choice { code: answer.code.to_owned(), label: answer.label.to_owned(), needs: None });
        }
    }
    choices
}

#[cfg(test)]
mod tests {
    use super::*;

    fn spot(row: u32, column: u32) -> Spot {
        Spot { sheet: 0, row, column }
    }

    #[test]
    fn alike_cells_join_into_one_finding() {
        let mut desk = Desk::new(&[]);
        for row in [2, 3, 7] {
            desk.raise(
                Doubt::of("fate_word_unclear")
                    .about("gone")
                    .at(spot(row, 4), "gone")
                    .fill("word", "gone")
                    .cell(spot(row, 4), "fate"),
            );
        }
        desk.raise(Doubt::of("fate_word_unclear").about("gone").cell(spot(3, 4), "fate"));
        let findings = desk.findings(&[None]);
        assert_eq!(findings.len(), 1);
        assert_eq!(findings[0].cells.len(), 3);
        assert_eq!(findings[0].row, Some(2));
        assert_eq!(findings[0].held, [Held { sheet: None, column: Some(4), rows: vec![[2, 3], [7, 7]] }]);
        let codes: Vec<&str> = findings[0].choices.iter().map(|choice| choice.code.as_str()).collect();
        assert!(codes.contains(&"leave_out") && codes.contains(&"dont_know"));
    }

    #[test]
    fn a_thousand_stand_apart_and_the_others_are_one() {
        let raise = |desk: &mut Desk| {
            for row in 1..=2 * APART as u32 {
                let about = format!("some day {row}");
                if desk.ask("date_unreadable", &about) == Settled::Open {
                    desk.raise(
                        Doubt::of("date_unreadable").about(about).at(spot(row, 1), "").cell(spot(row, 1), "date"),
                    );
                }
            }
        };
        let mut desk = Desk::new(&[]);
        raise(&mut desk);
        desk.wait("date_unreadable:some day 1999", [(spot(1999, 2), "value")]);
        let findings = desk.findings(&[None]);
        assert_eq!(findings.len(), APART + 1);
        let last = findings.last().unwrap();
        assert_eq!((last.key.as_str(), last.cells.len()), ("date_unreadable:and others", APART + 1));
        let codes: Vec<&str> = last.choices.iter().map(|choice| choice.code.as_str()).collect();
        assert_eq!(codes, ["leave_out", "dont_know"]);
        let answers = [Answer { key: last.key.clone(), choice: "leave_out".into(), value: None }];
        let mut desk = Desk::new(&answers);
        raise(&mut desk);
        assert_eq!(desk.findings(&[None]).len(), APART);
    }

    #[test]
    fn the_later_answer_holds() {
        let answer = |choice: &str| Answer { key: "fate_word_unclear:gone".into(), choice: choice.into(), value: None };
        let answers = [answer("died"), answer("left")];
        let desk = Desk::new(&answers);
        assert_eq!(desk.ask("fate_word_unclear", "gone"), Settled::Choice("left", None));
        assert_eq!(desk.ask("fate_word_unclear", "lost"), Settled::Open);
    }
}
