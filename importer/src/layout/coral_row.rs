//! Rows of words that are data: what is told of a coral, in a table that has a column of corals, needs no number.

use std::collections::BTreeMap;

use analysis::vocabulary::{
    FateMatch, HeaderRole, find_condition, find_done, find_fate, find_incident_in_remark, is_no_reading,
};

use super::DataRow;
use super::heading::Head;
use super::row::look_of;
use crate::dialect::guess::Look;
use crate::grid::{Raw, Row};

/// Rows looked at.
const SAMPLE_ROWS: usize = 300;
/// Roles of a column that names corals.
const NAMES: [HeaderRole; 3] = [HeaderRole::Label, HeaderRole::Name, HeaderRole::TradeName];

/// In a table with a column of corals: a row that names one and says more, or says how one looked or what was done to the
/// tank.
pub fn says_of_corals(row: &Row, heads: &BTreeMap<u32, Head>) -> bool {
    let names = |head: &Head| !head.parameter && head.roles.first().is_some_and(|role| NAMES.contains(role));
    if !heads.values().any(names) {
        return false;
    }
    let named = row.cells.iter().any(|cell| heads.get(&cell.column).is_some_and(names));
    named && row.cells.len() >= 2
        || row.cells.iter().any(|cell| match (&cell.raw, heads.get(&cell.column)) {
            (Raw::Text(text), Some(head)) => {
                let keyed = names(head) || head.has(HeaderRole::Date) || head.has(HeaderRole::Tank);
                !keyed && !head.parameter && is_told(text)
            }
            _ => false,
        })
}

/// A column names corals, and under another header stand looks, at least half of its words.
pub fn looks_stand_under(rows: &[DataRow], heads: &BTreeMap<u32, Head>) -> bool {
    let names = |head: &Head| !head.parameter && head.roles.first().is_some_and(|role| NAMES.contains(role));
    let mut told: BTreeMap<u32, (usize, usize)> = BTreeMap::new();
    for cell in rows.iter().take(SAMPLE_ROWS).flat_map(|row| &row.cells) {
        let (Raw::Text(text), Look::Word) = (&cell.raw, look_of(&cell.raw)) else { continue };
        if heads.get(&cell.column).is_some_and(|head| head.roles.is_empty() && !head.parameter) {
            let (looks, words) = told.entry(cell.column).or_default();
            *looks += usize::from(find_condition(text).is_some());
            *words += 1;
        }
    }
    heads.values().any(names) && told.values().any(|(looks, words)| *looks >= 2 && looks * 2 >= *words)
}

/// Whether words tell an end of a coral, or one of the words that may ("lost", "gone").
pub fn tells_a_loss(text: &str) -> bool {
    match find_fate(text) {
        FateMatch::Fate { .. } | FateMatch::RescueCut { .. } | FateMatch::Several { .. } => true,
        FateMatch::Unclear { word, .. } => word == "lost" || word == "gone",
        _ => false,
    }
}

/// Words for losses over a column, which in a sentence may be the loss of anything ("perte de couleur").
const LOSSES: [&str; 22] = [
    "loss",
    "losses",
    "verlust",
    "verluste",
    "ausfalle",
    "abgange",
    "perte",
    "pertes",
    "baja",
    "bajas",
    "perdida",
    "perdidas",
    "verlies",
    "verliezen",
    "uitval",
    "deaths",
    "todesfalle",
    "deces",
    "muertes",
    "sterfte",
    "sterfgevallen",
    "mortalite",
];

/// Whether a header says that what stands under it was lost.
pub fn heads_losses(header: &str) -> bool {
    let said = analysis::vocabulary::text::words(header);
    tells_a_loss(header) || said.len() <= 3 && said.iter().any(|word| LOSSES.contains(&word.as_str()))
}

/// What was done to a tank, in a piece of the text at least, what befell it, or a loss.
pub fn is_told_of_tank(text: &str) -> bool {
    !is_no_reading(text)
        && (text.split([',', ';', '+', '|', '\n', '\t']).any(|piece| find_done(piece).is_some())
            || find_incident_in_remark(text).is_some()
            || tells_a_loss(text))
}

/// A look, an end or what was done, and nothing more; or what befell the tank.
fn is_told(text: &str) -> bool {
    !is_no_reading(text)
        && (find_done(text).is_some() || find_condition(text).is_some() || find_incident_in_remark(text).is_some())
}
