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
    let at = table.titles.len().checked_sub(1)?;
    let title = &table.titles[at];
    let row = table.place(title.row, title.column).0;
    let header = table.header.iter().map(|column| table.place(column.row, column.column).0).min()?;
    plain(table, at).filter(|_| row < header && header - row <= 2).map(|name| (at, name))
}

/// A title that stands alone in its row and may be a name, folded.
fn plain(table: &Table, at: usize) -> Option<String> {
    let title = table.titles.get(at)?;
    let row = table.place(title.row, title.column).0;
    let alone = table.titles.iter().filter(|other| table.place(other.row, other.column).0 == row).count() == 1;
    let Raw::Text(text) = &title.raw else { return None };
    let name = look_of(&title.raw) == Look::Word
        && !is_prose(&title.raw)
        && !is_month_title(text)
        && !is_page_title(text)
        && !is_period(text)
        && !text.contains(':')
        && text.split_whitespace().count() <= WORDS
        && header_roles(text).is_empty()
        && find_row_word(text).is_none()
        && find_parameter_by_word(text).is_empty();
    (alone && name).then(|| fold(text))
}

/// In words that say what a list is and name no tank: "Laborbericht", "Korallenliste", "rapport d'analyse".
const STEMS: [&str; 21] = [
    "report", "bericht", "rapport", "informe", "verslag", "labor", "analys", "analis", "list", "lijst", "coral",
    "corail", "coraux", "korall", "koral", "besatz", "bestand", "invent", "element", "wasser", "water",
];

/// Whether a title of a table may be its own name, known to nobody: a line of its own with a word or a few, none of
/// which heads a column, and no day.
pub(crate) fn may_be_own(table: &Table) -> bool {
    let says = |word: &str| {
        !header_roles(word).is_empty()
            || !find_parameter_by_word(word).is_empty()
            || STEMS.iter().any(|stem| word.contains(stem))
    };
    (0..table.titles.len()).filter_map(|at| plain(table, at)).any(|name| {
        !name
            .split_whitespace()
            .any(|word| says(word) || word.len() >= 4 && word.bytes().all(|byte| byte.is_ascii_digit()))
    })
}

fn alike(one: &Table, other: &Table) -> bool {
    let words = |table: &Table| table.header.iter().map(|column| fold(&column.text)).collect::<BTreeSet<String>>();
    let (one, other) = (words(one), words(other));
    let both = one.intersection(&other).count();
    both as f64 >= ALIKE * one.union(&other).count() as f64
}

/// Rows of a list of tests that are looked at for their names.
const ROWS: usize = 300;

/// The tests that a list names.
fn tests(table: &Table) -> BTreeSet<String> {
    let cells = table.rows.iter().take(ROWS).flat_map(|row| &row.cells);
    let names = cells.filter_map(|cell| match &cell.raw {
        Raw::Text(text) if text.len() <= 40 && !find_parameter_by_word(text).is_empty() => Some(fold(text)),
        _ => None,
    });
    names.collect()
}

/// Lists with other tests each are the groups of one report ("Trace elements", "Nutrients"), not tanks.
fn are_groups(tables: &[&Table]) -> bool {
    let tests: Vec<BTreeSet<String>> = tables.iter().map(|table| tests(table)).collect();
    let shared =
        |own: usize, test: &String| tests.iter().enumerate().any(|(at, other)| at != own && other.contains(test));
    tables.iter().any(|table| table.kind == Kind::Long)
        && tests.iter().enumerate().any(|(own, set)| !set.is_empty() && !set.iter().any(|test| shared(own, test)))
}

/// Gives each of several tables alike the title that is its name.
pub fn own_names(tables: &mut [Table]) {
    let named: Vec<(usize, usize, String)> = tables
        .iter()
        .enumerate()
        .filter(|(_, table)| matches!(table.kind, Kind::Wide | Kind::Long | Kind::Diary))
        .filter_map(|(at, table)| candidate(table).map(|(title, name)| (at, title, name)))
        .collect();
    // Another list under a title of its own, below them or between, is none of them.
    let mut groups: Vec<Vec<&(usize, usize, String)>> = Vec::new();
    for one in &named {
        let fits = |group: &&mut Vec<&(usize, usize, String)>| {
            group.first().is_some_and(|(first, ..)| {
                tables[*first].kind == tables[one.0].kind && alike(&tables[*first], &tables[one.0])
            })
        };
        match groups.iter_mut().find(fits) {
            Some(group) => group.push(one),
            None => groups.push(vec![one]),
        }
    }
    let mut own: Vec<(usize, usize)> = Vec::new();
    for group in groups {
        let names: BTreeSet<&str> = group.iter().map(|(.., name)| name.as_str()).collect();
        let several = group.len() > 1 && names.len() == group.len();
        if several && !are_groups(&group.iter().map(|(at, ..)| &tables[*at]).collect::<Vec<_>>()) {
            own.extend(group.iter().map(|(at, title, _)| (*at, *title)));
        }
    }
    for (at, title) in own {
        tables[at].own_name = Some(title);
    }
}

/// Words for a part of a year.
const PERIODS: &[&str] = &[
    "week",
    "weeks",
    "woche",
    "kw",
    "semaine",
    "semana",
    "quarter",
    "quartal",
    "trimestre",
    "kwartaal",
    "q1",
    "q2",
    "q3",
    "q4",
    "year",
    "jahr",
    "annee",
    "an",
    "ano",
    "jaar",
    "half",
    "halbjahr",
    "semestre",
    "halfjaar",
    "season",
    "saison",
    "temporada",
    "seizoen",
    "spring",
    "summer",
    "autumn",
    "fall",
    "winter",
    "fruhling",
    "fruhjahr",
    "sommer",
    "herbst",
    "printemps",
    "ete",
    "automne",
    "hiver",
    "primavera",
    "verano",
    "otono",
    "invierno",
    "lente",
    "voorjaar",
    "zomer",
    "herfst",
    "najaar",
    "month",
    "monat",
    "mois",
    "mes",
    "maand",
    "round",
    "runde",
    "tour",
    "ronda",
    "ronde",
];
/// Words that number one.
const ORDINALS: &[&str] = &[
    "first",
    "second",
    "third",
    "last",
    "1st",
    "2nd",
    "3rd",
    "4th",
    "erste",
    "erstes",
    "zweite",
    "zweites",
    "dritte",
    "drittes",
    "premier",
    "premiere",
    "deuxieme",
    "second",
    "seconde",
    "troisieme",
    "primer",
    "primera",
    "segundo",
    "segunda",
    "tercer",
    "tercera",
    "eerste",
    "tweede",
    "derde",
    "1er",
    "2e",
    "3e",
    "4e",
];

/// "Week 3", "Frühjahr 2025", "second half", "April – June": a part of a year, and no tank.
fn is_period(text: &str) -> bool {
    let said = analysis::vocabulary::text::words(text);
    let period = |word: &str| PERIODS.contains(&word) || is_month_title(word);
    said.iter().any(|word| period(word))
        && said.iter().all(|word| {
            period(word) || ORDINALS.contains(&word.as_str()) || word.bytes().all(|byte| byte.is_ascii_digit())
        })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn parts_of_a_year() {
        for text in [
            "Week 3",
            "KW 12",
            "Semaine 2",
            "Spring round",
            "Frühjahr 2025",
            "Second half",
            "2e trimestre 2025",
            "Otoño 2024",
            "April – June",
            "Erstes Halbjahr",
            "Zomer",
            "Q2 2025",
        ] {
            assert!(is_period(text), "{text}");
        }
        for text in ["Alder", "Week-end tank", "Big room", "Reef 2", "12", "Sommerhaus"] {
            assert!(!is_period(text), "{text}");
        }
    }
}
