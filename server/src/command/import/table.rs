//! What became of each file: the table on standard output and the exit code.

use importer::finding::{Finding, Severity};

use super::Item;
use crate::command::failure::Failure;
use crate::command::output::put;

/// What became of a file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Fate {
    /// All of it is loaded.
    Committed,
    /// What is certain is loaded, the rest is held.
    Held,
    /// The same bytes are loaded already.
    Unchanged,
    /// Something is doubtful, and nothing is loaded.
    NotLoaded,
    /// It could not be read.
    Unreadable,
    /// Database or server failed while it was imported; nothing of it is loaded.
    Failed,
}

impl Fate {
    const ALL: [Self; 6] =
        [Self::Committed, Self::Held, Self::Unchanged, Self::NotLoaded, Self::Unreadable, Self::Failed];

    /// Its records are the club's.
    pub const fn is_loaded(self) -> bool {
        matches!(self, Self::Committed | Self::Held | Self::Unchanged)
    }

    const fn word(self) -> &'static str {
        match self {
            Self::Committed => "committed",
            Self::Held => "held",
            Self::Unchanged => "unchanged",
            Self::NotLoaded => "not loaded",
            Self::Unreadable => "unreadable",
            Self::Failed => "failed",
        }
    }
}

/// One line of the table.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Done {
    file: String,
    fate: Fate,
    records: u64,
    questions: u64,
    refused: u64,
    noted: u64,
    exit_code: u8,
}

impl Done {
    /// A file whose findings are known.
    pub fn new(item: &Item, fate: Fate, records: u64, findings: &[Finding]) -> Self {
        let count = |severity| findings.iter().filter(|finding| finding.severity == severity).count() as u64;
        let (questions, refused) = (count(Severity::Questioned), count(Severity::Refused));
        let exit_code = match fate {
            Fate::Unreadable => 3,
            Fate::Failed => 4,
            Fate::Unchanged => 0,
            Fate::Committed | Fate::Held | Fate::NotLoaded => u8::from(questions + refused > 0),
        };
        Done { file: item.shown.clone(), fate, records, questions, refused, noted: count(Severity::Noted), exit_code }
    }

    /// A file that could not be imported: the reason says whether it is to blame.
    pub fn failed(item: &Item, why: &Failure) -> Self {
        let fate = if why.exit_code() == 3 { Fate::Unreadable } else { Fate::Failed };
        Done { exit_code: why.exit_code(), ..Self::new(item, fate, 0, &[]) }
    }

    /// Its share in the exit code: 0 all loaded or nothing new, 1 held or refused, 3 unreadable, 4 failed.
    pub const fn code(&self) -> u8 {
        self.exit_code
    }
}

/// The table, with a line for all files where there are several.
pub fn print(done: &[Done]) -> Result<(), Failure> {
    lines(done).into_iter().try_for_each(put)
}

fn lines(done: &[Done]) -> Vec<String> {
    let all = format!("{} files", done.len());
    let width = done.iter().map(|done| done.file.chars().count()).chain([4, all.len()]).max().unwrap_or(4);
    let line = |file: &str, numbers: [u64; 4], result: &str| {
        let [records, questions, refused, noted] = numbers;
        format!("{file:width$}  {records:>8}  {questions:>9}  {refused:>7}  {noted:>5}  {result}")
    };
    let mut lines = vec![format!(
        "{:width$}  {:>8}  {:>9}  {:>7}  {:>5}  result",
        "file", "records", "questions", "refused", "noted"
    )];
    let numbers = |done: &Done| [done.records, done.questions, done.refused, done.noted];
    lines.extend(done.iter().map(|done| line(&done.file, numbers(done), done.fate.word())));
    if done.len() > 1 {
        let sum = done.iter().map(numbers).fold([0; 4], |sum, own| std::array::from_fn(|at| sum[at] + own[at]));
        let fates: Vec<String> = Fate::ALL
            .iter()
            .map(|fate| (done.iter().filter(|done| done.fate == *fate).count(), fate.word()))
            .filter(|(count, _)| *count > 0)
            .map(|(count, word)| format!("{count} {word}"))
            .collect();
        lines.push(line(&all, sum, &fates.join(", ")));
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;

    fn done(file: &str, fate: Fate, records: u64, questions: u64) -> Done {
        Done { file: file.to_owned(), fate, records, questions, refused: 0, noted: 1, exit_code: 0 }
    }

    #[test]
    fn several_files_have_a_line_in_all() {
        let table = lines(&[done("a.csv", Fate::Committed, 120, 0), done("long name.xlsx", Fate::Held, 7, 2)]);
        assert_eq!(
            table,
            [
                "file             records  questions  refused  noted  result",
                "a.csv                120          0        0      1  committed",
                "long name.xlsx         7          2        0      1  held",
                "2 files              127          2        0      2  1 committed, 1 held",
            ]
        );
        assert_eq!(lines(&[done("a.csv", Fate::Committed, 120, 0)]).len(), 2);
    }

    #[test]
    fn a_failure_keeps_its_exit_code() {
        let item = Item { path: "x.csv".into(), shown: "x.csv".into(), name: "x.csv".into(), keeper: "ann".into() };
        assert_eq!(Done::failed(&item, &Failure::input("cannot")).code(), 3);
        assert_eq!(Done::failed(&item, &Failure::place("gone")).code(), 4);
        assert_eq!(Done::new(&item, Fate::Unchanged, 0, &[]).code(), 0);
    }
}
