//! Words of logs that are no data, or stand beside data: no reading, below the limit, trace, about, yes, no,
//! summaries, legends, months, numbers, and how often.

use std::collections::{HashMap, HashSet};

use serde::Deserialize;

mod rate; // "twice a week"

pub use rate::{RoutineRate, find_routine_rate};

use super::text::{compact, words};
use super::{CatalogueError, catalogue};

const FILE: &str = "words.toml";

#[derive(Debug)]
pub(super) struct Words {
    no_reading: List,
    below_limit: List,
    trace: List,
    approximate: List,
    yes: List,
    no: List,
    unknown: List,
    summary: List,
    legend: List,
    months: HashMap<String, u32>,
    pub(super) numbers: HashMap<String, u32>,
    rates: rate::Rates,
}

#[derive(Debug, Deserialize, Default)]
#[serde(deny_unknown_fields, default)]
struct ListRow {
    exact: Vec<String>,
    en: Vec<String>,
    de: Vec<String>,
    fr: Vec<String>,
    es: Vec<String>,
    nl: Vec<String>,
}

#[derive(Debug)]
struct List {
    exact: HashSet<String>,
    plain: HashSet<String>,
}

impl From<ListRow> for List {
    fn from(row: ListRow) -> Self {
        let plain = [row.en, row.de, row.fr, row.es, row.nl];
        List {
            exact: row.exact.into_iter().collect(),
            plain: plain.iter().flatten().map(|word| compact(word)).filter(|key| !key.is_empty()).collect(),
        }
    }
}

impl List {
    fn holds(&self, text: &str) -> bool {
        let trimmed = text.trim();
        self.exact.contains(trimmed) || self.plain.contains(&compact(trimmed))
    }

    fn holds_first_word(&self, text: &str) -> bool {
        self.exact.iter().any(|mark| !mark.is_empty() && text.trim_start().starts_with(mark.as_str()))
            || words(text).first().is_some_and(|word| self.plain.contains(word))
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    no_reading: ListRow,
    below_limit: ListRow,
    trace: ListRow,
    approximate: ListRow,
    yes: ListRow,
    no: ListRow,
    unknown: ListRow,
    summary: ListRow,
    legend: ListRow,
    month: Vec<MonthRow>,
    number: Vec<NumberRow>,
    rate: Vec<rate::RateRow>,
    rate_parts: rate::PartsRow,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct MonthRow {
    number: u32,
    words: Vec<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct NumberRow {
    value: u32,
    words: Vec<String>,
}

impl Words {
    pub(super) fn read() -> Result<Self, CatalogueError> {
        let file: File = super::parse(FILE, include_str!("../../catalogue/words.toml"))?;
        let numbered = |rows: Vec<(u32, Vec<String>)>| {
            let mut map: HashMap<String, u32> = HashMap::new();
            for (value, list) in rows {
                for word in list {
                    if map.insert(compact(&word), value).is_some_and(|other| other != value) {
                        return Err(CatalogueError::new(FILE, format!("`{word}` has two values")));
                    }
                }
            }
            Ok(map)
        };
        Ok(Words {
            no_reading: file.no_reading.into(),
            below_limit: file.below_limit.into(),
            trace: file.trace.into(),
            approximate: file.approximate.into(),
            yes: file.yes.into(),
            no: file.no.into(),
            unknown: file.unknown.into(),
            summary: file.summary.into(),
            legend: file.legend.into(),
            months: numbered(file.month.into_iter().map(|row| (row.number, row.words)).collect())?,
            numbers: numbered(file.number.into_iter().map(|row| (row.value, row.words)).collect())?,
            rates: rate::Rates::new(file.rate, file.rate_parts)
                .map_err(|message| CatalogueError::new(FILE, message))?,
        })
    }
}

/// `true` for an empty cell and the words that say nothing was measured: counted, never a finding, never 0.
pub fn is_no_reading(text: &str) -> bool {
    catalogue().words.no_reading.holds(text)
}

/// `true` for "ND", "n.n.", "below detection": less than the test shows.
pub fn is_below_limit(text: &str) -> bool {
    catalogue().words.below_limit.holds(text)
}

/// `true` for "trace".
pub fn is_trace_word(text: &str) -> bool {
    catalogue().words.trace.holds(text)
}

/// `true` if a word or mark says "about": "~", "ca.", "8ish" without its number.
pub fn is_approximate_mark(text: &str) -> bool {
    catalogue().words.approximate.holds(text)
}

/// Yes, no, or neither.
pub fn yes_or_no(text: &str) -> Option<bool> {
    let words = &catalogue().words;
    if words.yes.holds(text) {
        Some(true)
    } else if words.no.holds(text) {
        Some(false)
    } else {
        None
    }
}

/// `true` for "?", "unknown", "don't know".
pub fn is_unknown_word(text: &str) -> bool {
    catalogue().words.unknown.holds(text)
}

/// `true` if a row or column header says that it sums up others: "Average", "Ø", "max NO3".
pub fn is_summary_word(text: &str) -> bool {
    let summary = &catalogue().words.summary;
    summary.holds(text) || summary.holds_first_word(text)
}

/// `true` for the words of a legend, a target row or a remark column.
pub fn is_legend_word(text: &str) -> bool {
    catalogue().words.legend.holds(text)
}

/// The month of a name or its usual short form, in five languages: 1 to 12.
///
/// ```
/// assert_eq!(analysis::vocabulary::month_by_name("Déc."), Some(12));
/// ```
pub fn month_by_name(text: &str) -> Option<u32> {
    catalogue().words.months.get(&compact(text)).copied()
}

/// A small whole number written as a word: "three", "twice", "zwei".
pub fn number_word(text: &str) -> Option<u32> {
    catalogue().words.numbers.get(&compact(text)).copied()
}
