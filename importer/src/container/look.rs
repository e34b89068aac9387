//! How the sheets of a workbook look beside their values: hidden rows and columns, merged cells, fills, percentages.
//! Says what is shown, never what it means.

use std::borrow::Cow;
use std::collections::{HashMap, HashSet};

use quick_xml::events::BytesStart;

use crate::grid::{Fill, Merged};

pub mod ods;
pub mod xls;
pub mod xlsx;

/// Fills and merged ranges kept of one sheet; a sheet with more is painted all over, and its paint says nothing.
const MOST: usize = 2_000_000;

/// How one sheet looks. Rows and columns count from 1.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Look {
    /// Hidden rows.
    pub hidden_rows: Spans,
    /// Hidden columns.
    pub hidden_columns: Spans,
    /// Merged ranges.
    pub merged: Vec<Merged>,
    /// Filled cells, in reading order.
    pub fills: Vec<Fill>,
    /// Cells whose number is shown as a percentage: (row, column).
    pub percents: HashSet<(u32, u32)>,
}

impl Look {
    /// Whether a cell is in a hidden row or column.
    pub fn hides(&self, row: u32, column: u32) -> bool {
        self.hidden_rows.hold(row) || self.hidden_columns.hold(column)
    }

    /// Brings everything into reading order.
    fn settle(&mut self) {
        self.hidden_rows.settle();
        self.hidden_columns.settle();
        self.merged.sort_unstable_by_key(|merged| (merged.first_row, merged.first_column));
        self.fills.sort_unstable_by_key(|fill| (fill.row, fill.column));
        self.fills.dedup_by_key(|fill| (fill.row, fill.column));
    }

    fn fill(&mut self, row: u32, column: u32, colour: u16) {
        if self.fills.len() < MOST {
            self.fills.push(Fill { row, column, colour });
        }
    }

    fn merge(&mut self, merged: Merged) {
        if self.merged.len() < MOST && (merged.first_row, merged.first_column) != (merged.last_row, merged.last_column)
        {
            self.merged.push(merged);
        }
    }
}

/// Looks by the names of the sheets.
pub type Looks = HashMap<String, Look>;

/// Ranges of whole numbers, both ends included.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Spans(Vec<(u32, u32)>);

impl Spans {
    /// Adds a range; ranges come in order, or [`Spans::settle`] is called after the last.
    pub fn add(&mut self, first: u32, last: u32) {
        match self.0.last_mut() {
            Some((_, end)) if *end + 1 == first => *end = last,
            _ => self.0.push((first, last)),
        }
    }

    /// Brings ranges into order.
    pub fn settle(&mut self) {
        self.0.sort_unstable();
    }

    /// Whether a number is in a range.
    pub fn hold(&self, number: u32) -> bool {
        let after = self.0.partition_point(|(first, _)| *first <= number);
        after > 0 && self.0[after - 1].1 >= number
    }

    /// Whether there is none.
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    /// "5, 7 to 9".
    pub fn said(&self) -> String {
        let shown = 6;
        let mut said: Vec<String> = self
            .0
            .iter()
            .take(shown)
            .map(|(first, last)| if first == last { first.to_string() } else { format!("{first} to {last}") })
            .collect();
        if self.0.len() > shown {
            said.push("…".to_owned());
        }
        said.join(", ")
    }
}

/// An attribute's value by its name with prefix.
fn attribute<'a>(tag: &'a BytesStart<'_>, name: &str) -> Option<Cow<'a, str>> {
    tag.try_get_attribute(name).ok().flatten().map(|attribute| attribute.value)
}

fn number(tag: &BytesStart<'_>, name: &str) -> Option<u32> {
    attribute(tag, name)?.parse().ok()
}

/// Numbers colours as they are met; no colour and white are none.
#[derive(Default)]
struct Colours(HashMap<String, u16>);

impl Colours {
    fn number(&mut self, colour: &str) -> Option<u16> {
        let plain = colour.trim_start_matches('#').to_ascii_lowercase();
        if matches!(plain.as_str(), "" | "ffffff" | "ffffffff" | "00ffffff" | "transparent" | "theme 0" | "indexed 64")
        {
            return None;
        }
        let next = u16::try_from(self.0.len() + 1).unwrap_or(u16::MAX);
        Some(*self.0.entry(plain).or_insert(next))
    }
}

/// Whether a number format shows hundredths as percent: a percent sign that is neither quoted nor escaped.
fn is_percent(format: &str) -> bool {
    let mut quoted = false;
    let mut letters = format.chars();
    while let Some(letter) = letters.next() {
        match letter {
            '"' => quoted = !quoted,
            '\\' | '_' | '*' if !quoted => {
                letters.next();
            }
            '%' if !quoted => return true,
            _ => {}
        }
    }
    false
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn spans_join_and_answer() {
        let mut spans = Spans::default();
        for (first, last) in [(3, 3), (4, 6), (9, 9), (1, 1)] {
            spans.add(first, last);
        }
        spans.settle();
        let held: Vec<u32> = (0..12).filter(|number| spans.hold(*number)).collect();
        assert_eq!(held, [1, 3, 4, 5, 6, 9]);
        assert_eq!(spans.said(), "1, 3 to 6, 9");
    }

    #[test]
    fn formats_of_percentages() {
        for (format, expected) in [
            ("0%", true),
            ("0.00%", true),
            ("0.0\" % \"", false),
            ("0.0\\%", false),
            ("General", false),
            ("0.0", false),
        ] {
            assert_eq!(is_percent(format), expected, "{format}");
        }
    }
}
