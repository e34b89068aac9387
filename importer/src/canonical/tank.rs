//! Which tank: a column; a title; the sheet's or file's name if it is a tank the keeper has; the caller's; the
//! keeper's only tank; otherwise one question. A keeper without a tank and a file that names none: "main".

use std::collections::{BTreeMap, BTreeSet};

use analysis::vocabulary::HeaderRole;

use crate::canonical::near::{self, Nearness};
use crate::canonical::{Cells, View, Work};
use crate::cell::fold;
use crate::context::KnownTank;
use crate::doubt::desk::{Doubt, Settled, Spot};
use crate::finding::Choice;
use crate::grid::Raw;
use crate::layout::over::Over;
use crate::layout::{Kind, Placed, Table};
use crate::meaning::Meaning;
use crate::record::{Record, Tank};

mod heading; // a tank named inside a heading
mod name; // a name written in a cell → a tank, or a question

pub(crate) use name::named;
use name::near_one;

/// A tank as far as it is told.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub(crate) enum TankOf {
    /// Its name.
    Named(String),
    /// Waits for the answer of a key.
    Held(String),
    /// Left out by an answer.
    Left,
}

/// Tanks of the keeper and of the file.
#[derive(Debug, Default)]
pub(crate) struct Tanks {
    known: Vec<KnownTank>,
    /// Tanks the file uses, by folded name.
    used: BTreeMap<String, Used>,
    /// Folded name as written → tank, once settled.
    settled: BTreeMap<String, TankOf>,
    /// Folded names in titles and columns of tanks of all tables.
    told: BTreeSet<String>,
    /// By sheet: tables whose titles name their tank, each with its kind and first row.
    titled: BTreeMap<u16, Vec<(Kind, u32, TitledTank)>>,
}

#[derive(Debug, Clone)]
struct Used {
    name: String,
    cells: Cells,
    facts: Tank,
}

/// What a title says of a tank.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct TitledTank {
    /// Name.
    pub name: String,
    /// Volume in litres, if stated.
    pub litres: Option<f64>,
    /// Where it stands.
    pub spot: Spot,
}

impl Tanks {
    /// Tanks that the keeper has.
    pub fn of(known: &[KnownTank]) -> Self {
        Tanks { known: known.to_vec(), ..Tanks::default() }
    }

    /// The keeper's tank of exactly this name or alias, case and outer blanks aside.
    fn known(&self, name: &str) -> Option<&KnownTank> {
        let folded = fold::name(name);
        self.known.iter().find(|tank| {
            fold::name(&tank.name) == folded || tank.aliases.iter().any(|alias| fold::name(alias) == folded)
        })
    }

    /// A tank known to the keeper or already named in this file.
    pub fn find(&self, name: &str) -> Option<String> {
        let used = self.used.get(&fold::name(name)).map(|used| used.name.clone());
        self.known(name).map(|tank| tank.name.clone()).or(used)
    }

    /// Tanks that a name is near, the nearest first: the keeper's, then those of the file. In one file words more or
    /// less tell tanks apart; a name beside the keeper's may lack one.
    fn near(&self, written: &str) -> Vec<(Nearness, String)> {
        let mut near: Vec<(Nearness, String)> = Vec::new();
        for tank in &self.known {
            let names = std::iter::once(&tank.name).chain(&tank.aliases);
            if let Some(nearness) = names.filter_map(|name| near::tanks(written, name)).min() {
                near.push((nearness, tank.name.clone()));
            }
        }
        for used in self.used.values().filter(|used| self.known(&used.name).is_none()) {
            if let Some(nearness) = near::tanks(written, &used.name).filter(|nearness| *nearness < Nearness::Words) {
                near.push((nearness, used.name.clone()));
            }
        }
        near.sort_by_key(|(nearness, _)| *nearness);
        near
    }

    /// Whether a text is the name of a tank that the keeper has, or that a column or a title of the file holds.
    pub fn is_one(&self, text: &str) -> bool {
        self.known(text).is_some() || self.told.contains(&fold::name(text))
    }

    /// Takes note of names that a column of tanks holds, before its rows are met.
    pub fn tell_names<'n>(&mut self, names: impl Iterator<Item = &'n str>) {
        self.told.extend(names.map(|name| fold::name(&fold::unquoted(name))));
    }

    fn note_use(&mut self, name: &str, cell: Option<(Spot, &'static str)>) {
        let used = self.used.entry(fold::name(name)).or_insert_with(|| Used {
            name: name.to_owned(),
            cells: Vec::new(),
            facts: Tank { name: name.to_owned(), ..Tank::default() },
        });
        if used.cells.is_empty() {
            used.cells.extend(cell);
        }
    }

    /// Adds facts of a tank that the file uses.
    pub fn tell(&mut self, name: &str, cells: Cells, tell: impl FnOnce(&mut Tank)) {
        self.note_use(name, cells.first().copied());
        if let Some(used) = self.used.get_mut(&fold::name(name)) {
            tell(&mut used.facts);
            for cell in cells {
                if !used.cells.contains(&cell) {
                    used.cells.push(cell);
                }
            }
        }
    }
}

/// Takes note of the tanks that columns and titles of all tables name, before any is read.
pub(crate) fn foretell(work: &mut Work, views: &[View]) {
    let mut told = BTreeSet::new();
    let mut titled: BTreeMap<u16, Vec<(Kind, u32, TitledTank)>> = BTreeMap::new();
    for view in views {
        if let Some(column) = view.column(analysis::vocabulary::HeaderRole::Tank) {
            let names = view.table.rows.iter().filter_map(|row| view.text(row, column));
            told.extend(names.map(|name| fold::name(&fold::unquoted(&name))));
        }
        if let Some(tank) = in_titles(work, view) {
            told.insert(fold::name(&tank.name));
            let row = tank.spot.row;
            titled.entry(view.sheet).or_default().push((view.table.kind, row, tank));
        }
    }
    work.tanks.told.extend(told);
    work.tanks.titled = titled;
}

/// The tanks of the file as records; those without a cell of their own stand at their first table.
pub(crate) fn records(work: &mut Work) {
    let used: Vec<Used> = work.tanks.used.values().cloned().collect();
    for tank in used {
        let place = work.place(&tank.cells, None);
        work.records.push(Record::Tank(Tank { place, ..tank.facts }));
    }
}

/// The tank named in a table's titles, or in those of the report it belongs to.
pub(crate) fn in_titles(work: &Work, view: &View) -> Option<TitledTank> {
    titled(work, view, view.table).or_else(|| titled(work, view, view.head?))
}

/// The tank named in titles: "Tank: Alder (300 L)", a title that is a tank the keeper has, "Corals in tank Alder".
fn titled(work: &Work, view: &View, table: &Table) -> Option<TitledTank> {
    // Names over columns are theirs, not the table's.
    let over = |title: &Placed| view.over.iter().any(|over| view.table.titles.get(over.title) == Some(title));
    let mut titles = table.titles.iter().filter(|title| !over(title)).peekable();
    while let Some(title) = titles.next() {
        let whole = fold::plain(&title.raw.written());
        // "Lab results, tank: Reed".
        let text = whole.rsplit([',', ';']).find(|part| part.contains(':')).map_or(whole.as_str(), str::trim);
        let spot = view.spot(title.row, title.column);
        if let Some((word, rest)) = text.split_once(':')
            && names_a_tank(word)
        {
            let rest = rest.trim();
            if !rest.is_empty() {
                let (name, litres) = without_volume(rest);
                return Some(TitledTank { name, litres, spot });
            }
            // The name stands in the next cell of the row.
            if let Some(next) = titles.peek().filter(|next| next.row == title.row) {
                let (name, litres) = without_volume(&next.raw.written());
                return Some(TitledTank { name, litres, spot: view.spot(next.row, next.column) });
            }
        }
        if names_a_tank(text)
            && let Some(next) = titles.peek().filter(|next| next.row == title.row && matches!(next.raw, Raw::Text(_)))
        {
            let (name, litres) = without_volume(&next.raw.written());
            return Some(TitledTank { name, litres, spot: view.spot(next.row, next.column) });
        }
        let (name, litres) = without_volume(&whole);
        if let Some(tank) = work.tanks.known(&name) {
            return Some(TitledTank { name: tank.name.clone(), litres, spot });
        }
        if let Some(name) = heading::known_in(&name, |name| work.tanks.is_one(name)) {
            let name = work.tanks.known(&name).map_or(name, |tank| tank.name.clone());
            return Some(TitledTank { name, litres, spot });
        }
    }
    // Tables alike, each under a name of its own, are told apart by it.
    let own_name = table.own_name.and_then(|at| table.titles.get(at)).map(|title| {
        let (name, litres) = without_volume(&title.raw.written());
        TitledTank { name, litres, spot: view.spot(title.row, title.column) }
    });
    let in_heading = || {
        table.titles.iter().filter(|title| !over(title) && matches!(title.raw, Raw::Text(_))).find_map(|title| {
            let (text, litres) = without_volume(&title.raw.written());
            let name = heading::name_in(&text, |name| work.tanks.is_one(name))?;
            Some(TitledTank { name, litres, spot: view.spot(title.row, title.column) })
        })
    };
    let at_an_end = || {
        table.titles.iter().filter(|title| !over(title)).find_map(|title| {
            let Raw::Text(text) = &title.raw else { return None };
            let (text, litres) = without_volume(&fold::plain(text));
            let name = heading::ends_in(&text, work.tanks.known.iter().map(|tank| tank.name.as_str()))?.to_owned();
            Some(TitledTank { name, litres, spot: view.spot(title.row, title.column) })
        })
    };
    at_an_end().or(own_name).or_else(in_heading)
}

/// The tank of a list of corals below tests, or of tests below corals, that names none: the one that the titles above
/// it on its sheet name, if all titles of the sheet name one tank only.
fn from_above(work: &Work, view: &View) -> Option<TitledTank> {
    let named = work.tanks.titled.get(&view.sheet)?;
    let (_, _, first) = named.first()?;
    let top = view.table.header.iter().map(|column| view.spot(column.row, column.column).row).min()?;
    let one = named.iter().all(|(_, _, tank)| fold::name(&tank.name) == fold::name(&first.name));
    let above = named.iter().any(|(kind, row, _)| *row < top && *kind != view.table.kind);
    (one && above).then(|| first.clone())
}

/// The names over a table's columns, if they are tanks: the columns under them are alike, or the keeper has the tanks.
/// A column of tanks says more.
pub(crate) fn names_over(work: &Work, view: &View, meanings: &BTreeMap<u32, Meaning>) -> Vec<Over> {
    let names = &view.table.names_over;
    if names.over.is_empty() || meanings.values().any(|meaning| *meaning == Meaning::Role(HeaderRole::Tank)) {
        return Vec::new();
    }
    let titles = names.over.iter().filter_map(|over| view.table.titles.get(over.title));
    let known = titles.filter(|title| work.tanks.known(&called(&title.raw.written()).0).is_some()).count();
    if names.alike || known >= 2 { names.over.clone() } else { Vec::new() }
}

/// The tank's name and litres in a name over columns: "Alder", "Tank: Alder (300 L)".
fn called(text: &str) -> (String, Option<f64>) {
    let text = fold::plain(text);
    match text.split_once(':') {
        Some((word, rest)) if names_a_tank(word) && !rest.trim().is_empty() => without_volume(rest),
        _ => without_volume(&text),
    }
}

/// The tank whose name stands over a column, with the cell.
pub(crate) fn over_column(work: &mut Work, view: &View, column: u32) -> Option<(TankOf, Spot)> {
    let title = view.name_over(column)?;
    let spot = view.spot(title.row, title.column);
    let (name, litres) = called(&title.raw.written());
    let tank = named(work, &name, spot, "tank");
    if let (TankOf::Named(name), Some(litres)) = (&tank, litres) {
        let name = name.clone();
        work.tanks.tell(&name, vec![(spot, "tank")], |tank| tank.litres = Some(litres));
    }
    Some((tank, spot))
}

/// A word for a tank; on a laboratory's report the sample bears the tank's name.
fn names_a_tank(word: &str) -> bool {
    const SAMPLE: [&str; 9] = [
        "sample",
        "sample name",
        "probe",
        "probenname",
        "echantillon",
        "muestra",
        "monster",
        "monsternaam",
        "water of",
    ];
    analysis::vocabulary::find_header_word(word) == Some(analysis::vocabulary::HeaderRole::Tank)
        || SAMPLE.contains(&analysis::vocabulary::text::fold(word).as_str())
}

/// "Alder (300 L)": the name and the litres.
fn without_volume(text: &str) -> (String, Option<f64>) {
    let text = text.trim();
    let bracketed = text.strip_suffix(')').and_then(|rest| rest.rsplit_once('('));
    // "Alder 300 L" and "Alder, 300 litres".
    let behind = || {
        let at = text.char_indices().find(|(at, letter)| {
            letter.is_ascii_digit()
                && *at > 0
                && text[..*at].ends_with(|before: char| before.is_whitespace() || before == ',')
        });
        at.map(|(at, _)| (text[..at].trim_end_matches([' ', ',']), &text[at..])).filter(|(name, _)| !name.is_empty())
    };
    if let Some((name, inner)) = bracketed.or_else(behind)
        && let crate::cell::mark::Says::Number(number) = crate::cell::mark::says(inner, false)
        && let (crate::cell::mark::Shape::Is(figures), Some(unit)) = (number.shape, number.unit.as_deref())
        && let Ok(litres) = analysis::vocabulary::ParameterCode::parse("water_change")
            .map_or(Err(()), |code| code.get().convert_event(figures.first, unit).map_err(drop))
    {
        return (name.trim().to_owned(), Some(litres));
    }
    (text.to_owned(), None)
}

/// The tank of a table whose rows name none.
pub(crate) fn of_table(work: &mut Work, view: &View) -> TankOf {
    let own = in_titles(work, view);
    let first = view.header_spot(view.table.header.first().map_or(1, |header| header.column));
    let above = if own.is_some() { None } else { from_above(work, view) };
    if above.is_some() && crate::layout::name::may_be_own(view.table) {
        return unnamed(work, view, &format!("{} row {}", view.table_about(), first.row), first);
    }
    if let Some(titled) = own.clone().or(above) {
        if own.is_none() {
            let about = format!("{} row {}", view.table_about(), first.row);
            work.desk
                .raise(Doubt::of("tank_assumed").about(about.trim()).at(first, "").of_row().fill("tank", &titled.name));
        }
        let tank = named(work, &titled.name, titled.spot, "tank");
        if let (TankOf::Named(name), Some(litres)) = (&tank, titled.litres) {
            let name = name.clone();
            work.tanks.tell(&name, vec![(titled.spot, "tank")], |tank| tank.litres = Some(litres));
        }
        return tank;
    }
    let by_name = [view.table.sheet.as_deref(), Some(work.stem.as_str())].into_iter().flatten().find_map(|name| {
        let spaced = name.replace(['_', '-', '.'], " ");
        work.tanks
            .known(name)
            .or_else(|| work.tanks.known(&spaced))
            .or_else(|| only_named_in(&work.tanks.known, &spaced))
            .map(|tank| tank.name.clone())
    });
    if let Some(name) = by_name {
        work.tanks.note_use(&name, None);
        return TankOf::Named(name);
    }
    if let Some(told) = work.context.tank.clone().filter(|told| !told.trim().is_empty()) {
        let spot = view.header_spot(view.table.header.first().map_or(1, |header| header.column));
        let known = work.tanks.find(&told);
        if known.is_none()
            && let Some(settled) = near_one(work, &told, &fold::name(&told), spot, None)
        {
            if let TankOf::Named(name) = &settled {
                work.tanks.note_use(name, None);
            }
            return settled;
        }
        let name = known.clone().unwrap_or_else(|| fold::plain(&told));
        if known.is_none() {
            work.desk.raise(Doubt::of("tank_made").about(fold::name(&name)).at(spot, "").fill("tank", &name));
        }
        work.tanks.note_use(&name, None);
        return TankOf::Named(name);
    }
    // A sheet bears a tank's name with a slip, or one word more.
    if let Some(sheet) = view.table.sheet.as_deref().filter(|_| work.sheets.len() > 1)
        && !work.tanks.near(sheet).is_empty()
    {
        let settled = near_one(work, sheet, &fold::name(sheet), first, None);
        if let Some(TankOf::Named(name)) = &settled {
            work.tanks.note_use(name, None);
        }
        return settled.unwrap_or_else(|| {
            let name = fold::plain(sheet);
            work.tanks.note_use(&name, None);
            TankOf::Named(name)
        });
    }
    // "Becken Linde" may name a tank: the name of a keeper's first, and a reason to ask one who has another.
    let maybe = view.table.titles.iter().find_map(|title| match &title.raw {
        Raw::Text(text) => Some((heading::may_name(&without_volume(text).0)?, view.spot(title.row, title.column))),
        _ => None,
    });
    match (maybe, work.tanks.known.is_empty()) {
        (Some((name, spot)), true) => return named(work, &name, spot, "tank"),
        (Some(_), false) => return unnamed(work, view, &view.table_about(), first),
        (None, _) => {}
    }
    let assumed = match work.tanks.known.as_slice() {
        // Beside tables that name theirs, a table that names none is not the only one of its keeper.
        [] if work.tanks.titled.contains_key(&view.sheet) => None,
        [] => Some("main".to_owned()),
        [only] => Some(only.name.clone()),
        _ => None,
    };
    if let Some(name) = assumed {
        let doubt = Doubt::of("tank_assumed").about(view.table_about()).at(first, "").of_row().fill("tank", &name);
        work.desk.raise(doubt);
        work.tanks.note_use(&name, None);
        return TankOf::Named(name);
    }
    unnamed(work, view, &view.table_about(), first)
}

/// The tank of a row that names none, in a table whose other rows do: the title's, or a question.
pub(crate) fn of_row_without(work: &mut Work, view: &View, row: u32) -> TankOf {
    if in_titles(work, view).is_some() {
        return of_table(work, view);
    }
    let first = view.spot(row, view.table.header.first().map_or(1, |header| header.column));
    unnamed(work, view, format!("{} rows without a tank", view.table_about()).trim(), first)
}

/// The tank of a column that is about another tank than its table: always asked.
pub(crate) fn of_column(work: &mut Work, view: &View, column: u32) -> TankOf {
    unnamed(work, view, &format!("column {}", view.about(column)), view.header_spot(column))
}

/// The only known tank whose name stands in a text as whole words.
fn only_named_in<'t>(known: &'t [KnownTank], text: &str) -> Option<&'t KnownTank> {
    let padded = format!(" {} ", fold::name(text));
    let mut hits = known.iter().filter(|tank| {
        std::iter::once(&tank.name).chain(&tank.aliases).any(|name| {
            let name = fold::name(name);
            name.chars().count() >= 3 && padded.contains(&format!(" {name} "))
        })
    });
    let first = hits.next()?;
    hits.next().is_none().then_some(first)
}

/// What is asked once for all sheets of a book that name no tank.
const SHEETS: &str = "sheets";

fn unnamed(work: &mut Work, view: &View, about: &str, first: Spot) -> TankOf {
    let of_sheets = work.sheets.len() > 1 && view.table.sheet.is_some() && about == view.table_about();
    let about = if of_sheets { SHEETS } else { about };
    let settled = work.desk.ask("tank_unnamed", about);
    match settled {
        Settled::LeaveOut => return TankOf::Left,
        Settled::Choice("sheets", _) => {
            let name = view.table.sheet.clone().unwrap_or_default();
            return named(work, &name, first, "tank");
        }
        Settled::Choice(..) => {
            if let Some(name) = settled.text() {
                let name = work.tanks.find(&name).unwrap_or_else(|| fold::plain(&name));
                work.tanks.note_use(&name, None);
                return TankOf::Named(name);
            }
        }
        Settled::Open | Settled::DontKnow => {}
    }
    let names: Vec<&str> = work.tanks.known.iter().map(|tank| tank.name.as_str()).collect();
    let mut choices: Vec<Choice> = Vec::new();
    if !names.is_empty() {
        choices.push(Choice { code: "tank".into(), label: names.join(", "), needs: Some("tank".into()) });
    }
    choices.push(Choice { code: "new".into(), label: "a new one".into(), needs: Some("text".into()) });
    if of_sheets {
        let label = "each sheet is a tank of its own, named like the sheet".into();
        choices.push(Choice { code: SHEETS.into(), label, needs: None });
    }
    let doubt = Doubt::of("tank_unnamed")
        .about(about)
        .at(first, "")
        .of_row()
        .fill("table", view.table.sheet.clone().unwrap_or_else(|| work.stem.clone()))
        .choices(choices)
        .propose_nothing();
    let key = doubt.key();
    work.desk.raise(doubt);
    TankOf::Held(key)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn volumes_in_titles() {
        assert_eq!(without_volume("Alder (300 L)"), ("Alder".to_owned(), Some(300.0)));
        assert_eq!(without_volume("Alder (old)"), ("Alder (old)".to_owned(), None));
        assert_eq!(without_volume("Alder, 300 l"), ("Alder".to_owned(), Some(300.0)));
        assert_eq!(without_volume("Long Reef 250 litres"), ("Long Reef".to_owned(), Some(250.0)));
        for plain in ["Reed 2", "300 L", "Nano 60", "Reef 2 left"] {
            assert_eq!(without_volume(plain), (plain.to_owned(), None));
        }
    }
}
