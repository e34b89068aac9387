//! Names alone above tables that are alike: "Alder" over one, "Brook" over the next. One such title may be anything; two
//! and more over tables of the same columns tell the tables apart.

use std::collections::BTreeSet;

use analysis::vocabulary::{find_parameter_by_word, find_row_word, header_roles, text::fold};

use super::row::{is_page_title, is_prose, look_of};
use super::{Kind, Table};
use crate::dialect::guess::{Look, is_month_title};
use crate::grid::Raw;

/// Words a name may have.
const WORDS: usize = 4;
/// Share of columns in common from which tables are alike.
const ALIKE: f64 = 0.5;

/// The last title of a table, if it stands alone right above the header and may be a name.
fn candidate(table: &Table) -> Option<(usize, String)> {
    let (at, title) = table.titles.iter().enumerate().next_back()?;
    let row = table.place(title.row, title.column).0;
    let header = table.header.iter().map(|column| table.place(column.row, column.column).0).min()?;
    let alone = table.titles.iter().filter(|other| table.place(other.row, other.column).0 == row).count() == 1;
    let Raw::Text(text) = &title.raw else { return None };
    let plain = look_of(&title.raw) == Look::Word
        && !is_prose(&title.raw)
        && !is_month_title(text)
        && !is_page_title(text)
        && !text.contains(':')
        && text.split_whitespace().count() <= WORDS
        && header_roles(text).is_empty()
        && find_row_word(text).is_none()
        && find_parameter_by_word(text).is_empty();
    (alone && plain && row < header && header - row <= 2).then(|| (at, fold(text)))
}

/// Whether a title right above a table may be its own name, known to nobody.
pub(crate) fn may_be_own(table: &Table) -> bool {
    candidate(table).is_some_and(|(_, name)| {
        !name.split_whitespace().any(|word| !header_roles(word).is_empty() || !find_parameter_by_word(word).is_empty())
    })
}

fn alike(one: &Table, other: &Table) -> bool {
    let words = |table: &Table| table.header.iter().map(|column| fold(&column.text)).collect::<BTreeSet<String>>();
    let (one, other) = (words(one), words(other));
    let both = one.intersection(&other).count();
    both as f64 >= ALIKE * one.union(&other).count() as f64
}

/// Gives each of several tables alike the title that is its name.
pub fn own_names(tables: &mut [Table]) {
    let named: Vec<(usize, usize, String)> = tables
        .iter()
        .enumerate()
        .filter(|(_, table)| matches!(table.kind, Kind::Wide | Kind::Long | Kind::Diary))
        .filter_map(|(at, table)| candidate(table).map(|(title, name)| (at, title, name)))
        .collect();
    let names: BTreeSet<&str> = named.iter().map(|(.., name)| name.as_str()).collect();
    if named.len() < 2 || names.len() < named.len() {
        return;
    }
    let first = named[0].0;
    if named.iter().all(|(at, ..)| tables[*at].kind == tables[first].kind && alike(&tables[first], &tables[*at])) {
        for (at, title, _) in named {
            tables[at].own_name = Some(title);
        }
    }
}
