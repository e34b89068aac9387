//! What a table holds: by its header words first, then by the values under them.

use std::collections::BTreeMap;

use analysis::vocabulary::{HeaderRole, find_parameter_by_word};

use super::coral_row::looks_stand_under;
use super::heading::Head;
use super::row::{days_across, is_month, look_of};
use super::segment::Piece;
use super::{DataRow, Kind};
use crate::dialect::guess::Look;
use crate::grid::Raw;

/// Rows looked at.
const SAMPLE_ROWS: usize = 300;

/// Columns of keys that may stand left of the days of a table that runs across.
const LEADING: usize = 4;

/// Words that name a coral.
const NAMES: [HeaderRole; 4] = [HeaderRole::Name, HeaderRole::TradeName, HeaderRole::Genus, HeaderRole::Label];
/// Words that stand over the columns of a list of corals and of nothing else.
const LIST: [HeaderRole; 6] = [
    HeaderRole::Source,
    HeaderRole::Origin,
    HeaderRole::Price,
    HeaderRole::Parent,
    HeaderRole::Line,
    HeaderRole::OriginBasis,
];
/// What is said of a coral on a day.
const SAID: [HeaderRole; 10] = [
    HeaderRole::Value,
    HeaderRole::Size,
    HeaderRole::Dimension,
    HeaderRole::Measure,
    HeaderRole::Condition,
    HeaderRole::Colour,
    HeaderRole::What,
    HeaderRole::Remark,
    HeaderRole::Fate,
    HeaderRole::Height,
];

/// The kind that the header words alone make likely; used while rows are told apart.
pub fn by_heads(heads: &BTreeMap<u32, Head>) -> Option<Kind> {
    if let Some(tab) = tab(heads) {
        return Some(Kind::LogSheet(tab));
    }
    let has = |role: HeaderRole| heads.values().any(|head| head.has(role) && !head.parameter);
    let first = |role: HeaderRole| heads.values().any(|head| head.roles.first() == Some(&role) && !head.parameter);
    let named = NAMES.iter().any(|&role| has(role));
    let day = first(HeaderRole::Date);
    // Light and flow beside corals and no day of a test are said of the coral's place.
    let of_place = |head: &Head| head.spot && named && !day;
    let parameters =
        heads.values().filter(|head| head.parameter && !head.has(HeaderRole::Value) && !of_place(head)).count();
    if named && parameters < 2 && (first(HeaderRole::Acquired) || first(HeaderRole::Ended) || has(HeaderRole::LastSeen))
    {
        return Some(Kind::Register);
    }
    if has(HeaderRole::Value) && (first(HeaderRole::Parameter) || first(HeaderRole::What)) && parameters < 2 {
        return Some(if named && !first(HeaderRole::Parameter) { Kind::Diary } else { Kind::Long });
    }
    if parameters >= 2 || parameters == 1 && (day || !named) {
        return Some(Kind::Wide);
    }
    if named && day && SAID.iter().any(|&role| has(role)) && !LIST.iter().any(|&role| has(role)) {
        return Some(Kind::Diary);
    }
    if named && (LIST.iter().any(|&role| has(role)) || first(HeaderRole::Fate) || !day && has(HeaderRole::Tank)) {
        return Some(Kind::Register);
    }
    if day && (has(HeaderRole::Remark) || has(HeaderRole::What)) {
        return Some(Kind::Diary);
    }
    None
}

/// The tab that most of the codes in brackets name.
fn tab(heads: &BTreeMap<u32, Head>) -> Option<&'static str> {
    let mut counts: BTreeMap<&'static str, usize> = BTreeMap::new();
    for tab in heads.values().filter_map(|head| head.tab) {
        *counts.entry(tab).or_default() += 1;
    }
    counts.into_iter().max_by_key(|&(_, count)| count).map(|(tab, _)| tab)
}

/// What the cells of a column look like.
#[derive(Default)]
struct Profile {
    filled: usize,
    dates: usize,
    numbers: usize,
    parameters: usize,
}

fn profiles(rows: &[DataRow]) -> BTreeMap<u32, Profile> {
    let mut profiles: BTreeMap<u32, Profile> = BTreeMap::new();
    for cell in rows.iter().take(SAMPLE_ROWS).flat_map(|row| &row.cells) {
        let profile = profiles.entry(cell.column).or_default();
        profile.filled += 1;
        match look_of(&cell.raw) {
            Look::Date => profile.dates += 1,
            Look::Number => profile.numbers += 1,
            Look::Word => {
                if let Raw::Text(text) = &cell.raw {
                    profile.parameters += usize::from(text.len() <= 40 && !find_parameter_by_word(text).is_empty());
                }
            }
            Look::Blank | Look::Time => {}
        }
    }
    profiles
}

const fn most(part: usize, of: usize) -> bool {
    of > 0 && part * 10 >= of * 6
}

/// Settles the kind of a finished piece, or says which would be likeliest.
pub fn decide(piece: &mut Piece, heads: &BTreeMap<u32, Head>, by_words: Option<Kind>) {
    if let Some(Kind::LogSheet(_)) = by_words {
        piece.kind = by_words;
        return;
    }
    let profiles = profiles(&piece.rows);
    let at =
        |role: HeaderRole| heads.iter().find(|(_, head)| head.has(role) && !head.parameter).map(|(&column, _)| column);
    let names_parameters =
        |column: u32| profiles.get(&column).is_some_and(|profile| most(profile.parameters, profile.filled));
    let day = profiles.values().any(|profile| most(profile.dates, profile.filled));
    let number = profiles.values().any(|profile| most(profile.numbers, profile.filled));
    // Parameters down and days across.
    let first = profiles.iter().next();
    let over: Vec<(u32, Raw)> =
        piece.header.iter().map(|column| (column.column, Raw::Text(column.text.clone()))).collect();
    let days_across = days_across(over.iter().map(|(column, raw)| (*column, raw))).len();
    let down = first.is_some_and(|(_, profile)| most(profile.parameters, profile.filled));
    if days_across >= 2 && names_lead(&profiles) || down && by_words != Some(Kind::Wide) && days_over_columns(piece) {
        piece.kind = None;
        piece.transposed = true;
        return;
    }
    if days_across >= 2 && looks_run_across(&piece.rows) {
        piece.kind = None;
        piece.transposed = true;
        return;
    }
    piece.kind = match by_words {
        // "What" and "Reading" of a coral are a diary, of a water test a list of tests: the cells tell.
        Some(Kind::Diary | Kind::Long) if at(HeaderRole::Value).is_some() => {
            let what = [HeaderRole::What, HeaderRole::Parameter, HeaderRole::Measure].into_iter().filter_map(at).next();
            match what {
                Some(column) if names_parameters(column) => Some(Kind::Long),
                Some(_) if NAMES.iter().any(|&role| at(role).is_some()) => Some(Kind::Diary),
                _ => by_words,
            }
        }
        // A column of corals beside one of looks, whatever stands over the looks.
        None if (day || at(HeaderRole::Date).is_some()) && looks_stand_under(&piece.rows, heads) => Some(Kind::Diary),
        // A parameter's name over a column of words, with another column of numbers: one test a line.
        None if number => {
            let parameter =
                profiles.iter().find(|(_, profile)| most(profile.parameters, profile.filled) && profile.filled > 1);
            parameter.map(|_| Kind::Long)
        }
        other => other,
    };
    if piece.kind == Some(Kind::Wide) && !day && at(HeaderRole::Date).is_none() && !titles_hold_a_day(piece) {
        piece.kind = None;
        piece.likely = Some(Kind::Wide);
    }
    if piece.kind.is_none() && piece.likely.is_none() {
        piece.likely = headless(&piece.rows);
    }
}

/// A row of the titles holds days over several columns: samples side by side.
fn days_over_columns(piece: &Piece) -> bool {
    let mut days: BTreeMap<u32, usize> = BTreeMap::new();
    for cell in piece.titles.iter().filter(|cell| look_of(&cell.raw) == Look::Date || is_month(&cell.raw)) {
        *days.entry(cell.row).or_default() += 1;
    }
    days.values().any(|count| *count >= 2)
}

/// The words under the days of a header say how corals looked.
pub fn looks_run_across(rows: &[DataRow]) -> bool {
    let Some(first) = rows.iter().filter_map(|row| row.cells.first()).map(|cell| cell.column).min() else {
        return false;
    };
    let (mut looks, mut words, mut labels) = (0_usize, 0_usize, 0_usize);
    for cell in rows.iter().take(SAMPLE_ROWS).flat_map(|row| &row.cells) {
        let Raw::Text(text) = &cell.raw else { continue };
        if look_of(&cell.raw) != Look::Word {
            continue;
        }
        if cell.column == first {
            labels += 1;
        } else {
            words += 1;
            looks += usize::from(text.len() <= 40 && analysis::vocabulary::find_condition(text).is_some());
        }
    }
    labels >= 1 && looks >= 2 && looks * 10 >= words * 7
}

fn titles_hold_a_day(piece: &Piece) -> bool {
    piece.titles.iter().any(|cell| match &cell.raw {
        Raw::Date(_) => true,
        Raw::Text(text) => {
            text.split([' ', ':', ',', '(', ')']).any(|word| crate::dialect::guess::look(word) == Look::Date)
        }
        _ => false,
    })
}

/// Names of parameters stand in the first column, or beside other keys left of the values, and several columns of values
/// beside them.
pub fn parameters_run_down(rows: &[DataRow]) -> bool {
    // Rows of remarks and events say nothing of what the others hold.
    let tests = |row: &&DataRow| row.cells.iter().any(|cell| look_of(&cell.raw) == Look::Number);
    let below: Vec<DataRow> = rows.iter().skip(1).filter(tests).take(SAMPLE_ROWS).cloned().collect();
    let profiles = profiles(&below);
    let values = profiles.values().filter(|profile| most(profile.numbers, profile.filled)).count();
    values >= 2 && names_lead(&profiles)
}

/// A column left of all values holds names of parameters.
fn names_lead(profiles: &BTreeMap<u32, Profile>) -> bool {
    let values = |profile: &Profile| most(profile.numbers + profile.dates, profile.filled);
    // Numbers of rows or tanks may stand left of the names.
    let keys = profiles.values().take(LEADING).take_while(|profile| profile.dates == 0);
    keys.scan(0_usize, |numbers, profile| {
        *numbers += usize::from(values(profile));
        (*numbers <= 1).then_some(profile)
    })
    .any(|profile| most(profile.parameters, profile.filled))
}

/// The likeliest kind of rows without a header that says so.
pub fn headless(rows: &[DataRow]) -> Option<Kind> {
    let profiles = profiles(rows);
    let days = profiles.values().filter(|profile| most(profile.dates, profile.filled)).count();
    let numbers = profiles.values().filter(|profile| most(profile.numbers, profile.filled)).count();
    if profiles.values().any(|profile| most(profile.parameters, profile.filled)) && numbers > 0 {
        Some(Kind::Long)
    } else if days == 1 && numbers > 0 {
        Some(Kind::Wide)
    } else if days > 0 {
        Some(Kind::Register)
    } else {
        None
    }
}
