//! What a column is: by its header words, the units row, its neighbours and its values.
//!
//! A header names a parameter, a role (date, tank, …) or nothing; what names nothing and holds numbers is asked about.

use std::collections::{BTreeMap, BTreeSet};

use analysis::vocabulary::{
    FateMatch, HeaderRole, NameMatch, ParameterCode, ParameterKind, UnitCode, find_fate, find_measure,
    find_parameter_by_word, find_unit, header_roles, names_a_goal,
};

mod coded; // columns of the ready-made sheet, by their codes
pub mod confidence; // how sure, as a share
pub(crate) mod corals; // corals among tests, looks by their words
mod likely; // parameters that fit a column, ranked
mod trust; // by what a meaning is known, as told
pub(crate) mod unknown; // headers that name nothing known

use self::corals::Beside;
use self::trust::{By, Trust};
use crate::canonical::{View, Work};
use crate::cell::date::{Said, date};
use crate::context::ColumnRead;
use crate::dialect::guess::Look;
use crate::doubt::desk::{Doubt, Settled};
use crate::grid::Raw;
use crate::layout::Kind;
use crate::layout::coral_row::heads_losses;
use crate::layout::heading::code_in_brackets;
use crate::layout::row::look_of;

/// Cells of a column that are looked at for what it holds.
const SAMPLE: usize = 300;

/// What a column is.
#[derive(Debug, Clone, PartialEq)]
pub enum Meaning {
    /// A role by its header word.
    Role(HeaderRole),
    /// Readings of a parameter.
    Quantity(Quantity),
    /// Sizes of a measure, by its code.
    Measure(String),
    /// A column of the ready-made sheet, by its code.
    Coded(String),
    /// Kept as a label: remarks, prices, what the keeper left out.
    Label,
    /// Waits for an answer, or holds a substance without a code: the finding's cells.
    Waiting,
}

/// A column of readings.
#[derive(Debug, Clone, PartialEq)]
pub struct Quantity {
    /// What is measured.
    pub parameter: ParameterCode,
    /// What the numbers are expressed as, or what the instrument is marked at.
    pub basis: Option<&'static str>,
    /// Their unit, if stated.
    pub unit: Option<UnitCode>,
    /// Smallest value the test shows, as stated in the header.
    pub limit: Option<f64>,
    /// The column is about another tank than its table.
    pub other_tank: bool,
}

/// Reads a header that may name a parameter, with unit, basis and limit.
pub fn quantities(text: &str) -> Vec<Quantity> {
    let (text, limit) = without_limit(text);
    find_parameter_by_word(&text)
        .into_iter()
        .map(|(parameter, basis, unit)| Quantity { parameter, basis, unit, limit, other_tank: false })
        .collect()
}

/// "NO3 (limit 0.2)", "PO4 ppm, LOD 0.02": the limit, and the header without it.
fn without_limit(text: &str) -> (String, Option<f64>) {
    let lower = text.to_lowercase();
    for word in ["detection limit", "limit", "lod", "<", "nachweisgrenze", "ng"] {
        let Some(at) = lower.find(word) else { continue };
        let alone =
            !lower[..at].ends_with(char::is_alphanumeric) && !lower[at + word.len()..].starts_with(char::is_alphabetic);
        let rest = lower[at + word.len()..].trim_start_matches([':', '=', ' ', '<']);
        let digits: String = rest.chars().take_while(|c| c.is_ascii_digit() || matches!(c, '.' | ',')).collect();
        let (Some(limit), true) = (
            crate::cell::number::numeral(digits.trim_end_matches(['.', ',']), digits.contains(',')),
            alone && text.len() == lower.len(),
        ) else {
            continue;
        };
        let head = text.get(..at).unwrap_or(text).trim_end_matches(['(', '[', ' ', ',', ';']);
        return (head.to_owned(), Some(limit.first));
    }
    (text.to_owned(), None)
}

/// Gives every column of a table its meaning; raises what cannot be told. What is told of each column comes back.
pub(crate) fn settle(work: &mut Work, view: &mut View) -> Vec<ColumnRead> {
    let mut meanings: BTreeMap<u32, Meaning> = BTreeMap::new();
    let mut trusts: BTreeMap<u32, Trust> = BTreeMap::new();
    let mut columns: Vec<u32> =
        view.table.rows.iter().flat_map(|row| row.cells.iter().map(|cell| cell.column)).collect();
    columns.extend(view.table.header.iter().map(|header| header.column));
    columns.sort_unstable();
    columns.dedup();
    // The first header of a column holds.
    let headers: BTreeMap<u32, &str> =
        view.table.header.iter().rev().map(|header| (header.column, header.text.as_str())).collect();
    let named = match view.table.kind {
        Kind::Wide => Named::of(&headers),
        _ => Named::default(),
    };
    let corals = match view.table.kind {
        Kind::Wide => Beside::of(work, view, &headers, &named),
        _ => Beside::default(),
    };
    for column in columns {
        let header = headers.get(&column).copied().unwrap_or_default();
        let (meaning, trust) = meaning_of(work, view, column, header, &meanings, (&named, &corals));
        meanings.insert(column, meaning);
        trusts.insert(column, trust);
    }
    let by_words = meanings.clone();
    days_by_their_cells(view, &mut meanings);
    tests_by_their_cells(view, &mut meanings);
    names_by_their_cells(view, &mut meanings);
    ends_by_their_cells(view, &mut meanings);
    corals::looks_by_their_cells(view, &mut meanings);
    for (column, meaning) in &meanings {
        if by_words.get(column) != Some(meaning) {
            trusts.insert(*column, Trust::of(By::Cells));
        }
    }
    unit_rows(view, &mut meanings);
    view.over = crate::canonical::tank::names_over(work, view, &meanings);
    if matches!(view.table.kind, Kind::Wide | Kind::LogSheet("tests")) {
        twice(work, view, &mut meanings);
    }
    let told = trust::told(view, &meanings, &trusts);
    view.meanings = meanings;
    told
}

/// The parameters that the headers of a table name outright, by column.
#[derive(Default)]
struct Named(BTreeMap<u32, Vec<Quantity>>);

impl Named {
    fn of(headers: &BTreeMap<u32, &str>) -> Self {
        Named(headers.iter().map(|(column, header)| (*column, quantities(header))).collect())
    }

    fn at(&self, column: u32) -> &[Quantity] {
        self.0.get(&column).map_or(&[], Vec::as_slice)
    }

    /// Those of the other columns.
    fn beside(&self, column: u32) -> BTreeSet<ParameterCode> {
        let single = self.0.iter().filter(|(other, named)| **other != column && named.len() == 1);
        single.map(|(_, named)| named[0].parameter).collect()
    }
}

fn meaning_of(
    work: &mut Work,
    view: &View,
    column: u32,
    header: &str,
    before: &BTreeMap<u32, Meaning>,
    (named, corals): (&Named, &Beside),
) -> (Meaning, Trust) {
    if let Kind::LogSheet(tab) = view.table.kind {
        let meaning = code_in_brackets(header).map_or(Meaning::Label, |code| coded::meaning(tab, code, header));
        return (meaning, Trust::of(By::Code));
    }
    let roles = header_roles(header);
    match view.table.kind {
        Kind::Wide => {
            if names_a_goal(header) {
                return (unknown::goals(work, view, column, header), Trust::word());
            }
            // Names of what was lost, and "0" for none.
            if heads_losses(header) && named.at(column).is_empty() && unknown::holds_no_number(view, column) {
                return (Meaning::Label, Trust::word());
            }
            let quantities = named.at(column);
            if let Some(role) = corals.role(column) {
                let by_word = roles.is_empty() || roles.contains(&role);
                return (Meaning::Role(role), if by_word { Trust::word() } else { Trust::of(By::Cells) });
            }
            let plain = roles.iter().copied().filter(|role| free(*role, view.table.kind, before)).find(|role| {
                matches!(
                    role,
                    HeaderRole::Date | HeaderRole::Time | HeaderRole::Tank | HeaderRole::Remark | HeaderRole::Person
                )
            });
            let plain = plain.filter(|role| *role != HeaderRole::Tank || !is_measured(view, column));
            if let Some(role) = plain.filter(|_| quantities.is_empty() || find_exact_role(roles)) {
                return (Meaning::Role(role), Trust::word());
            }
            if let Some(quantity) = fitting(view, column, quantities) {
                return unknown::named(work, view, column, header, quantity, &named.beside(column));
            }
            if !roles.contains(&HeaderRole::Remark) && corals::of_polyps(view, column) {
                return (unknown::words(work, view, column), Trust::of(By::Cells));
            }
            if matches!(roles.first(), Some(HeaderRole::Price | HeaderRole::Instrument | HeaderRole::Label)) {
                return (Meaning::Label, Trust::word());
            }
            if quantities.is_empty() && corals.is_of_corals(view, column) {
                return (unknown::sizes(work, view, column), Trust::of(By::Cells));
            }
            unknown::numbers(work, view, column, header, quantities, &named.beside(column))
        }
        Kind::Diary | Kind::Long | Kind::Register | Kind::LogSheet(_) => {
            // Of several readings of a word ("measured on") the first that no column to the left has taken.
            let dateless = roles.len() > 1 && !is_dated(view, column);
            // A list may have a column of days, or of ticks, for each way to leave.
            let leaves = view.table.kind == Kind::Register && says_an_end(header);
            let role = roles.iter().copied().find(|role| {
                (free(*role, view.table.kind, before) || leaves && *role == HeaderRole::Ended)
                    && !(dateless && *role == HeaderRole::Date)
            });
            match (role, view.table.kind) {
                (Some(role), _) => (Meaning::Role(role), Trust::word()),
                (None, Kind::Register)
                    if leaves && (is_dated(view, column) || crate::canonical::register::ticked(view, column)) =>
                {
                    (Meaning::Role(HeaderRole::Ended), Trust::word())
                }
                (None, Kind::Register | Kind::Diary) if roles.is_empty() && find_measure(header).is_some() => {
                    (Meaning::Role(HeaderRole::Dimension), Trust::word())
                }
                // Under a word for a way to leave that holds neither days nor ticks, nobody knows what stands.
                (None, Kind::Register)
                    if is_dated(view, column)
                        || leaves && view.table.rows.iter().any(|row| view.raw(row, column).is_some()) =>
                {
                    (unknown::days(work, view, column), Trust::of(By::Cells))
                }
                (None, Kind::Diary) if roles.is_empty() && !corals::holds_looks(view, column) => {
                    (unknown::sizes(work, view, column), Trust::of(By::Cells))
                }
                _ => (Meaning::Label, Trust::of(By::Cells)),
            }
        }
    }
}

/// Of two columns of one role that can be there only once, the first keeps it.
fn free(role: HeaderRole, kind: Kind, before: &BTreeMap<u32, Meaning>) -> bool {
    let many = matches!(role, HeaderRole::Remark | HeaderRole::TradeName | HeaderRole::Dimension)
        || kind == Kind::Diary && matches!(role, HeaderRole::Size | HeaderRole::Value);
    many || !before.values().any(|meaning| *meaning == Meaning::Role(role))
}

/// A header that says how a coral left or that it was lost: "Sold on", "Verschenkt", "Perdu le".
fn says_an_end(header: &str) -> bool {
    use analysis::vocabulary::Fate;
    match crate::canonical::ending::implied(header) {
        FateMatch::Fate { fate, .. } => !matches!(fate, Fate::TankClosed | Fate::KeeperLeft),
        FateMatch::Unclear { .. } => header_roles(header).contains(&HeaderRole::Ended),
        _ => false,
    }
}

/// Most filled cells of a column are dates.
pub(crate) fn is_dated(view: &View, column: u32) -> bool {
    let (dates, others) = days_and_others(view, column);
    dates > 0 && dates >= others
}

/// A column holds a date, be it one among many words.
pub(crate) fn has_days(view: &View, column: u32) -> bool {
    days_and_others(view, column).0 > 0
}

/// Filled cells that are dates, and those that are something else.
fn days_and_others(view: &View, column: u32) -> (usize, usize) {
    let (mut dates, mut others) = (0, 0);
    for row in &view.table.rows {
        match view.raw(row, column) {
            Some(Raw::Date(_)) => dates += 1,
            Some(Raw::Text(text)) => match date(text).said {
                Said::Unreadable => others += 1,
                Said::Nothing | Said::Open => {}
                _ => dates += 1,
            },
            Some(Raw::Number(number)) if (1950.0..=50_000.0).contains(number) => dates += 1,
            Some(_) => others += 1,
            None => {}
        }
    }
    (dates, others)
}

/// "Date" and its kin stay what they are even where a parameter has a like word.
fn find_exact_role(roles: &[HeaderRole]) -> bool {
    matches!(roles.first(), Some(HeaderRole::Date | HeaderRole::Tank | HeaderRole::Remark))
}

/// Most filled cells are numbers with digits after the decimal mark: measured, and the name of nothing.
fn is_measured(view: &View, column: u32) -> bool {
    let numbers = unknown::sample(view, column);
    let filled = view.table.rows.iter().filter(|row| view.raw(row, column).is_some()).take(SAMPLE).count();
    numbers.sample.decimals > 0
        && numbers.sample.sorted.iter().filter(|value| value.fract() != 0.0).count() * 2 > filled
}

/// Of several parameters that a word names, the one that the values fit.
fn fitting(view: &View, column: u32, quantities: &[Quantity]) -> Option<Quantity> {
    if quantities.len() <= 1 {
        return quantities.first().cloned();
    }
    let values = unknown::sample(view, column).sample.sorted;
    let fits = |quantity: &&Quantity| {
        let parameter = quantity.parameter.get();
        parameter.kind == ParameterKind::Reading
            && values.iter().filter(|value| parameter.is_plausible(**value)).count() * 2 > values.len()
    };
    let mut fitting = quantities.iter().filter(fits);
    match (fitting.next(), fitting.next()) {
        (Some(only), None) => Some(only.clone()),
        _ => None,
    }
}

/// Where no header says "date", the first column whose cells are days holds the days.
fn days_by_their_cells(view: &View, meanings: &mut BTreeMap<u32, Meaning>) {
    // "time" over cells that hold the day too.
    let dated = meanings.values().any(|meaning| matches!(meaning, Meaning::Role(HeaderRole::Date)));
    if dated || !matches!(view.table.kind, Kind::Wide | Kind::Long | Kind::Diary) {
        return;
    }
    let mostly_days = |column: u32| {
        let looks = view.table.rows.iter().filter_map(|row| view.raw(row, column)).map(look_of);
        let (days, filled) =
            looks.fold((0_usize, 0_usize), |(days, filled), look| (days + usize::from(look == Look::Date), filled + 1));
        days * 10 >= filled * 6 && days > 0
    };
    let found = meanings
        .iter()
        .find(|(column, meaning)| {
            matches!(meaning, Meaning::Label | Meaning::Role(HeaderRole::Time)) && mostly_days(**column)
        })
        .map(|(column, _)| *column);
    if let Some(column) = found {
        meanings.insert(column, Meaning::Role(HeaderRole::Date));
    }
}

/// In a list of tests: the column whose cells are names of tests holds them, whatever its header says; the numbers
/// stand in the column whose header says value, or in the only one of numbers.
fn tests_by_their_cells(view: &View, meanings: &mut BTreeMap<u32, Meaning>) {
    if view.table.kind != Kind::Long {
        return;
    }
    let share = |column: u32, is: &dyn Fn(&Raw) -> bool| {
        let cells: Vec<&Raw> = view.table.rows.iter().filter_map(|row| view.raw(row, column)).take(SAMPLE).collect();
        if cells.is_empty() { 0.0 } else { cells.iter().filter(|raw| is(raw)).count() as f64 / cells.len() as f64 }
    };
    let names =
        |raw: &Raw| matches!(raw, Raw::Text(text) if text.len() <= 40 && !find_parameter_by_word(text).is_empty());
    let named = meanings
        .iter()
        .find(|(_, meaning)| {
            matches!(meaning, Meaning::Role(HeaderRole::Parameter | HeaderRole::What | HeaderRole::Kind))
        })
        .map(|(column, _)| *column);
    if named.is_none_or(|column| share(column, &names) < 0.5) {
        let best = meanings.keys().copied().find(|column| share(*column, &names) >= 0.6);
        if let Some(column) = best {
            if let Some(other) = named {
                meanings.insert(other, Meaning::Label);
            }
            meanings.insert(column, Meaning::Role(HeaderRole::Parameter));
        }
    }
    let valued =
        meanings.values().any(|meaning| matches!(meaning, Meaning::Role(HeaderRole::Value | HeaderRole::Amount)));
    if !valued {
        let number = |raw: &Raw| look_of(raw) == Look::Number;
        let spare: Vec<u32> = meanings
            .iter()
            .filter(|(_, meaning)| matches!(meaning, Meaning::Label))
            .map(|(column, _)| *column)
            .filter(|column| share(*column, &number) >= 0.5)
            .collect();
        let says_value = |column: &&u32| header_roles(&view.header(**column)).contains(&HeaderRole::Value);
        let told = spare.iter().find(says_value).or(match spare.as_slice() {
            [only] => Some(only),
            _ => None,
        });
        if let Some(column) = told {
            meanings.insert(*column, Meaning::Role(HeaderRole::Value));
        }
    }
}

/// Of two columns that may hold the name ("Coral", "Species"), the one whose cells are names; the other is the label.
/// Where no header says so, the column whose cells are mostly names.
fn names_by_their_cells(view: &View, meanings: &mut BTreeMap<u32, Meaning>) {
    if view.table.kind != Kind::Register {
        return;
    }
    let names = |column: u32| {
        let texts = view.table.rows.iter().filter_map(|row| view.raw(row, column)).map(Raw::written);
        texts.fold((0_usize, 0_usize), |(names, all), text| {
            (
                names
                    + usize::from(!matches!(
                        crate::canonical::kind::of(&text),
                        NameMatch::Near(_) | NameMatch::Unknown
                    )),
                all + 1,
            )
        })
    };
    let has =
        |meanings: &BTreeMap<u32, Meaning>, role| meanings.values().any(|meaning| *meaning == Meaning::Role(role));
    if !has(meanings, HeaderRole::Name) {
        let spare = meanings.iter().filter(|(_, meaning)| **meaning == Meaning::Label).map(|(column, _)| *column);
        let mostly = |column: &u32| matches!(names(*column), (names, all) if names > 0 && names * 2 >= all);
        if let Some(column) = spare.into_iter().find(mostly) {
            meanings.insert(column, Meaning::Role(HeaderRole::Name));
        }
        return;
    }
    if has(meanings, HeaderRole::Label) {
        return;
    }
    let may = view
        .table
        .header
        .iter()
        .filter(|header| header_roles(&header.text).contains(&HeaderRole::Name))
        .map(|header| header.column)
        .filter(|column| matches!(meanings.get(column), Some(Meaning::Label | Meaning::Role(HeaderRole::Name))));
    let may: Vec<u32> = may.collect();
    // The first of the best: a register without names stays as its headers have it.
    let best = may.iter().copied().rev().max_by_key(|column| names(*column).0);
    if let (Some(best), Some(other)) = (best, may.iter().copied().find(|column| Some(*column) != best)) {
        meanings.insert(best, Meaning::Role(HeaderRole::Name));
        meanings.insert(other, Meaning::Role(HeaderRole::Label));
    }
}

/// A register whose headers name no day of arrival, no end or no fate in words known here: the cells tell. A column of
/// days that went unread would turn the dead into survivors.
fn ends_by_their_cells(view: &View, meanings: &mut BTreeMap<u32, Meaning>) {
    if view.table.kind != Kind::Register {
        return;
    }
    let named = |meanings: &BTreeMap<u32, Meaning>, roles: &[HeaderRole]| {
        meanings.values().any(|meaning| matches!(meaning, Meaning::Role(role) if roles.contains(role)))
    };
    let spare: Vec<u32> =
        meanings.iter().filter(|(_, meaning)| **meaning == Meaning::Label).map(|(column, _)| *column).collect();
    let mut days = spare.iter().copied().filter(|column| is_dated(view, *column));
    for (role, kin) in [
        (HeaderRole::Acquired, [HeaderRole::Acquired, HeaderRole::From, HeaderRole::Date].as_slice()),
        (HeaderRole::Ended, [HeaderRole::Ended, HeaderRole::To].as_slice()),
    ] {
        if !named(meanings, kin)
            && let Some(column) = days.next()
        {
            meanings.insert(column, Meaning::Role(role));
        }
    }
    if named(meanings, &[HeaderRole::Fate, HeaderRole::What]) {
        return;
    }
    let mut words = meanings
        .iter()
        .filter(|(_, meaning)| matches!(meaning, Meaning::Label | Meaning::Role(HeaderRole::Cause)))
        .map(|(column, _)| *column);
    if let Some(column) = words.find(|column| tells_fates(view, *column)) {
        meanings.insert(column, Meaning::Role(HeaderRole::Fate));
    }
}

/// At least half of the words of a column say what became of a coral.
fn tells_fates(view: &View, column: u32) -> bool {
    let texts = view.table.rows.iter().filter_map(|row| match view.raw(row, column) {
        Some(Raw::Text(text)) => Some(text),
        _ => None,
    });
    let (fates, all) = texts.fold((0_usize, 0_usize), |(fates, all), text| {
        (fates + usize::from(!matches!(find_fate(text), FateMatch::NoWord | FateMatch::Alive { .. })), all + 1)
    });
    fates > 0 && fates * 2 >= all
}

/// A row of units under the header.
fn unit_rows(view: &View, meanings: &mut BTreeMap<u32, Meaning>) {
    for cell in &view.table.units {
        if let (Some(Meaning::Quantity(quantity)), Some(found)) =
            (meanings.get_mut(&cell.column), find_unit(&cell.raw.written()))
        {
            quantity.unit = quantity.unit.or(Some(found.unit));
            quantity.basis = quantity.basis.or(found.basis);
        }
    }
}

/// Two columns of one parameter in a wide table.
fn twice(work: &mut Work, view: &View, meanings: &mut BTreeMap<u32, Meaning>) {
    let mut by_parameter: BTreeMap<(ParameterCode, String), Vec<u32>> = BTreeMap::new();
    for (column, meaning) in meanings.iter() {
        if let Meaning::Quantity(quantity) = meaning
            && quantity.parameter.get().kind != ParameterKind::Routine
        {
            // Under another tank's name it is another series.
            let tank = view.name_over(*column).map(|name| crate::cell::fold::name(&name.raw.written()));
            by_parameter.entry((quantity.parameter, tank.unwrap_or_default())).or_default().push(*column);
        }
    }
    for ((parameter, tank), columns) in by_parameter.into_iter().filter(|(_, columns)| columns.len() > 1) {
        let about = format!("{} {tank}", parameter.as_str());
        let about = about.trim();
        match work.desk.ask("column_twice", about) {
            // Both load; readings of one day stand beside one another as replicates.
            Settled::Choice("two_kits" | "repeat", _) => {}
            // The other columns belong to tanks of their own, each asked for.
            Settled::Choice("two_tanks", _) => {
                for column in &columns[1..] {
                    if let Some(Meaning::Quantity(quantity)) = meanings.get_mut(column) {
                        quantity.other_tank = true;
                    }
                }
            }
            Settled::Choice("first", _) => {
                columns[1..].iter().for_each(|column| drop(meanings.insert(*column, Meaning::Label)))
            }
            Settled::LeaveOut => columns.iter().for_each(|column| drop(meanings.insert(*column, Meaning::Label))),
            _ => {
                let mut doubt = Doubt::of("column_twice")
                    .about(about)
                    .at(view.header_spot(columns[0]), view.header(columns[0]))
                    .fill("parameter", parameter.get().name)
                    .fill("column", view.header(columns[0]));
                for column in &columns {
                    let spots = view
                        .table
                        .rows
                        .iter()
                        .filter(|row| view.raw(row, *column).is_some())
                        .map(|row| (view.spot(row.row, *column), "value"));
                    doubt = doubt.cells(spots);
                    meanings.insert(*column, Meaning::Waiting);
                }
                work.desk.raise(doubt.propose_nothing());
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn headers_name_parameters_with_unit_and_limit() {
        let found = quantities("NO3 (limit 0.2)");
        assert_eq!(found.len(), 1);
        assert_eq!((found[0].parameter.as_str(), found[0].limit), ("nitrate", Some(0.2)));
        assert!(quantities("Notes").is_empty());
        assert_eq!(quantities("Temp C")[0].unit.map(|unit| unit.as_str()), Some("Cel"));
    }
}
