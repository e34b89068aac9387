//! Names over groups of columns: two header rows, the upper with "Alder" over the first three columns and "Brook" over
//! the next three. The name stands in the first column of its group, merged over the others or not.
//!
//! Whether the names are tanks is not known here: only where they stand, and whether the columns under them are alike.

use std::collections::BTreeSet;

use analysis::vocabulary::{HeaderRole, find_parameter_by_word, find_row_word, header_roles, text::fold};

use super::row::{is_page_title, is_prose, look_of};
use super::{Kind, Placed, Table};
use crate::dialect::guess::{Look, is_month_title};
use crate::grid::Raw;

/// Words a name may have.
const WORDS: usize = 4;

/// A name over columns of a table.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Over {
    /// Position of the name among the titles.
    pub title: usize,
    /// First column under it.
    pub first: u32,
    /// Last column under it.
    pub last: u32,
}

/// The names over a table's columns, left to right.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Names {
    /// Two or more, or none.
    pub over: Vec<Over>,
    /// A parameter stands under more than one name: the names tell its columns apart.
    pub alike: bool,
}

impl Names {
    /// The name over a column.
    pub fn of(&self, column: u32) -> Option<Over> {
        self.over.iter().copied().find(|over| (over.first..=over.last).contains(&column))
    }
}

/// Times of day and turns of one tank's tests, which tell columns apart and are no tanks.
const TURNS: [&str; 36] = [
    "morning", "noon", "midday", "evening", "night", "day", "am", "pm", "before", "after", "first", "second",
    "morgens", "mittags", "abends", "nachts", "vorher", "nachher", "matin", "midi", "soir", "nuit", "avant", "apres",
    "manana", "tarde", "noche", "antes", "despues", "ochtend", "middag", "avond", "nacht", "voor", "na", "control",
];

/// Whether a cell may be a tank's name, by its own words.
pub(super) fn is_name(raw: &Raw) -> bool {
    let Raw::Text(text) = raw else { return false };
    if look_of(raw) != Look::Word || is_prose(raw) || is_month_title(text) || is_page_title(text) {
        return false;
    }
    if names_tank(text) {
        return true;
    }
    let words = analysis::vocabulary::text::words(text);
    (1..=WORDS).contains(&words.len())
        && !words.iter().any(|word| TURNS.contains(&word.as_str()))
        && header_roles(text).is_empty()
        && find_row_word(text).is_none()
        && find_parameter_by_word(text).is_empty()
}

/// "Tank: Brook", "Becken 2": a word for a tank and something that tells it from others.
pub(super) fn names_tank(text: &str) -> bool {
    let text = text.trim();
    let end = text.find(|letter: char| letter == ':' || letter.is_whitespace());
    end.is_some_and(|end| {
        header_roles(&text[..end]).first() == Some(&HeaderRole::Tank) && text[end..].chars().any(char::is_alphanumeric)
    })
}

/// A word over the column of days or remarks, merged down or written a row higher.
fn is_header_word(cell: &Placed) -> bool {
    matches!(&cell.raw, Raw::Text(text) if !names_tank(text) && matches!(
        header_roles(text).first(),
        Some(HeaderRole::Date | HeaderRole::Time | HeaderRole::Remark | HeaderRole::Person | HeaderRole::Tank)
    ))
}

/// The names in the row of titles right above a table's header.
pub fn names(table: &Table) -> Names {
    let none = Names::default();
    let (Some(title), Some(header)) = (table.titles.last(), table.header.iter().map(|column| column.row).max()) else {
        return none;
    };
    let row = title.row;
    if table.kind != Kind::Wide || table.turned || row >= header || header - row > 2 {
        return none;
    }
    let cells: Vec<(usize, &Placed)> =
        table.titles.iter().enumerate().filter(|(_, cell)| cell.row == row && !is_header_word(cell)).collect();
    let distinct: BTreeSet<String> = cells.iter().map(|(_, cell)| fold(&cell.raw.written())).collect();
    if cells.len() < 2 || distinct.len() < cells.len() || !cells.iter().all(|(_, cell)| is_name(&cell.raw)) {
        return none;
    }
    let end = table.header.iter().map(|column| column.column).max().unwrap_or_default();
    let over: Vec<Over> = cells
        .iter()
        .enumerate()
        .map(|(at, (title, cell))| {
            let next = cells.get(at + 1).map_or(end, |(_, next)| next.column - 1);
            let merged = table.merged.iter().find(|merged| {
                merged.first_row == row && merged.first_column == cell.column && merged.last_column > cell.column
            });
            let last = merged.map_or(next, |merged| merged.last_column.min(next));
            Over { title: *title, first: cell.column, last }
        })
        .collect();
    let parameters = |over: &Over| -> BTreeSet<_> {
        let under = table.header.iter().filter(|column| (over.first..=over.last).contains(&column.column));
        under
            .filter_map(|column| Some(crate::meaning::quantities(&column.text).into_iter().next()?.parameter))
            .collect()
    };
    let under: Vec<BTreeSet<_>> = over.iter().map(parameters).collect();
    // A name over nothing that is measured is a title that happens to stand there.
    if under.iter().any(BTreeSet::is_empty) {
        return none;
    }
    let alike = under
        .iter()
        .enumerate()
        .all(|(at, own)| under.iter().enumerate().any(|(other, set)| other != at && !own.is_disjoint(set)));
    Names { over, alike }
}
