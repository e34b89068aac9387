//! Corals in tables of other things: the column that names them among tests, and the column whose words say how they
//! looked, whatever its header says.

use std::collections::BTreeMap;

use analysis::vocabulary::{
    FateMatch, HeaderRole, NameMatch, find_condition, find_done, find_fate, find_incident_in_remark, find_measure,
    find_size_basis, header_roles, is_no_reading,
};

use super::{Meaning, Named, SAMPLE};
use crate::canonical::{View, Work};
use crate::grid::Raw;
use crate::layout::Kind;

/// Roles of a column that names corals.
const NAMES: [HeaderRole; 3] = [HeaderRole::Label, HeaderRole::Name, HeaderRole::TradeName];
/// Roles of columns about a coral that a table of tests may have too.
const ABOUT: [HeaderRole; 6] = [
    HeaderRole::Condition,
    HeaderRole::Fate,
    HeaderRole::Dimension,
    HeaderRole::Size,
    HeaderRole::Basis,
    HeaderRole::What,
];
/// Looks a column needs before its cells say that it holds looks.
const ENOUGH_LOOKS: usize = 2;

/// What a table of tests says of corals: the roles of those columns.
#[derive(Debug, Default)]
pub(super) struct Beside(BTreeMap<u32, HeaderRole>);

impl Beside {
    pub(super) fn of(work: &Work, view: &View, headers: &BTreeMap<u32, &str>, named: &Named) -> Self {
        let mut roles = BTreeMap::new();
        let free = |column: u32| named.at(column).is_empty();
        let naming = headers.iter().filter(|(column, header)| {
            free(**column) && header_roles(header).first().is_some_and(|role| NAMES.contains(role))
        });
        let naming: Vec<u32> = naming.map(|(column, _)| *column).collect();
        let Some(coral) = naming
            .iter()
            .copied()
            .find(|column| holds_corals(work, view, *column))
            .or_else(|| naming.iter().copied().find(|column| told_of(view, *column, headers, named)))
        else {
            return Beside(roles);
        };
        let role = header_roles(headers.get(&coral).copied().unwrap_or_default()).first().copied();
        roles.insert(coral, role.unwrap_or(HeaderRole::Name));
        for (column, header) in headers.iter().filter(|(column, _)| **column != coral && free(**column)) {
            match header_roles(header).first() {
                Some(role) if ABOUT.contains(role) => drop(roles.insert(*column, *role)),
                None if find_measure(header).is_some() => drop(roles.insert(*column, HeaderRole::Dimension)),
                _ => {}
            }
        }
        if !roles.values().any(|role| matches!(role, HeaderRole::Condition | HeaderRole::Fate)) {
            let open = headers.keys().copied().filter(|column| free(*column) && !roles.contains_key(column));
            if let Some(column) = looks_in(view, open, Some(coral)) {
                roles.insert(column, HeaderRole::Condition);
            }
        }
        Beside(roles)
    }

    /// The role of a column about corals.
    pub(super) fn role(&self, column: u32) -> Option<HeaderRole> {
        self.0.get(&column).copied()
    }

    /// The column stands on rows that name a coral and on no others: what it counts is the coral's.
    pub(super) fn is_of_corals(&self, view: &View, column: u32) -> bool {
        let Some(coral) = self.0.iter().find(|(_, role)| NAMES.contains(role)).map(|(column, _)| *column) else {
            return false;
        };
        let mut filled = view.table.rows.iter().filter(|row| view.raw(row, column).is_some()).peekable();
        filled.peek().is_some() && filled.all(|row| view.raw(row, coral).is_some())
    }
}

/// At least half of the cells of a column are corals: the keeper's, or names of kinds.
fn holds_corals(work: &Work, view: &View, column: u32) -> bool {
    let texts = view.table.rows.iter().filter_map(|row| view.text(row, column)).filter(|text| !is_no_reading(text));
    let (corals, all) = texts.take(SAMPLE).fold((0_usize, 0_usize), |(corals, all), text| {
        let known = work.corals.find(&text).is_some()
            || !work.tanks.is_one(&text)
                && !matches!(crate::canonical::kind::of(&text), NameMatch::Near(_) | NameMatch::Unknown);
        (corals + usize::from(known), all + 1)
    });
    corals > 0 && corals * 2 >= all
}

/// Words of a header that name corals and nothing else; "name" may be anybody's.
const CORALS: [&str; 28] = [
    "coral",
    "corals",
    "frag",
    "frags",
    "colony",
    "specimen",
    "species",
    "koralle",
    "korallen",
    "korallenart",
    "kolonie",
    "ableger",
    "corail",
    "coraux",
    "espece",
    "colonie",
    "bouture",
    "boutures",
    "corales",
    "especie",
    "colonia",
    "esqueje",
    "esquejes",
    "koraal",
    "koralen",
    "koraalsoort",
    "stek",
    "stekje",
];

/// Another column says of what this one names how it looked or how large it was.
fn told_of(view: &View, column: u32, headers: &BTreeMap<u32, &str>, named: &Named) -> bool {
    let header = headers.get(&column).copied().unwrap_or_default();
    let corals = analysis::vocabulary::text::words(header).iter().any(|word| CORALS.contains(&word.as_str()));
    let others = || headers.iter().filter(|(other, _)| **other != column && named.at(**other).is_empty());
    let sized = others().any(|(other, header)| {
        let role = header_roles(header).first();
        let measured = role == Some(&HeaderRole::Dimension) || role.is_none() && find_measure(header).is_some();
        measured && super::unknown::sample(view, *other).found > 0
    });
    let looks = looks_in(view, others().map(|(other, _)| *other), Some(column));
    corals && (sized || looks.is_some()) || looks.is_some_and(|looks| of_polyps(view, looks))
}

/// Words of a column that are said of polyps and of nobody else: "open", "retracted".
pub(super) fn of_polyps(view: &View, column: u32) -> bool {
    let texts = view.table.rows.iter().filter_map(|row| view.text(row, column)).take(SAMPLE);
    let polyps = |text: &String| {
        find_condition(text).is_some()
            && find_size_basis(text).is_some_and(|basis| matches!(basis.code, "open_tissue" | "closed_tissue"))
    };
    texts.filter(polyps).count() >= ENOUGH_LOOKS
}

/// At least half of the words of a column are looks.
pub(super) fn holds_looks(view: &View, column: u32) -> bool {
    looks_in(view, std::iter::once(column), None).is_some()
}

/// Nearly every word of a column about corals is a look.
pub(crate) fn mostly_looks(view: &View, column: u32, coral: Option<u32>) -> bool {
    let (looks, all) = looks_and_words(view, column, coral);
    looks >= ENOUGH_LOOKS && looks * 5 >= all * 4
}

/// Of these columns, the one with most words about looks, if they are at least half of its words.
fn looks_in(view: &View, columns: impl Iterator<Item = u32>, coral: Option<u32>) -> Option<u32> {
    let with_looks = columns.filter_map(|column| {
        let (looks, all) = looks_and_words(view, column, coral);
        (looks >= ENOUGH_LOOKS && looks * 2 >= all).then_some((looks, std::cmp::Reverse(column)))
    });
    with_looks.max().map(|(_, std::cmp::Reverse(column))| column)
}

/// Looks among the words of a column, on rows that name a coral; what was done to the tank is no word about a coral.
fn looks_and_words(view: &View, column: u32, coral: Option<u32>) -> (usize, usize) {
    let rows = view.table.rows.iter().filter(|row| coral.is_none_or(|coral| view.raw(row, coral).is_some()));
    let texts = rows.filter_map(|row| match view.raw(row, column) {
        Some(Raw::Text(text)) if !is_no_reading(text) => Some(text.as_str()),
        _ => None,
    });
    let of_corals = texts.filter(|text| find_done(text).is_none() && find_incident_in_remark(text).is_none());
    of_corals.take(SAMPLE).fold((0_usize, 0_usize), |(looks, all), text| (looks + usize::from(is_look(text)), all + 1))
}

/// A look or an end and nothing more; a score alone ("3") is no word.
fn is_look(text: &str) -> bool {
    text.trim().parse::<f64>().is_err()
        && (find_condition(text).is_some()
            || !matches!(find_fate(text), FateMatch::NoWord) && analysis::vocabulary::text::words(text).len() <= 3)
}

/// In a diary without a column of looks by its header, the column whose words are mostly looks is it.
pub(super) fn looks_by_their_cells(view: &View, meanings: &mut BTreeMap<u32, Meaning>) {
    let looked = |meaning: &Meaning| matches!(meaning, Meaning::Role(HeaderRole::Condition | HeaderRole::Fate));
    if view.table.kind != Kind::Diary || meanings.values().any(looked) {
        return;
    }
    let paired = meanings.values().any(|meaning| matches!(meaning, Meaning::Role(HeaderRole::Value)));
    let open = meanings.iter().filter(|(column, meaning)| match meaning {
        Meaning::Role(HeaderRole::Remark) => true,
        Meaning::Role(HeaderRole::What | HeaderRole::Kind) => !paired,
        Meaning::Label => find_measure(&view.header(**column)).is_none(),
        _ => false,
    });
    if let Some(column) = looks_in(view, open.map(|(column, _)| *column), None) {
        meanings.insert(column, Meaning::Role(HeaderRole::Condition));
    }
}
