//! The columns left of the days in a table that runs across: names of parameters, units, tanks, in any order, written in
//! every row or once and left blank below. Decides nothing by a language: the cells tell, and the words over them.

use std::collections::{BTreeMap, BTreeSet};

use analysis::vocabulary::{HeaderRole, find_parameter_by_word, find_unit, header_roles, text::fold};

use super::{Band, Line, may_name, text};
use crate::dialect::guess::Look;
use crate::grid::{Merged, Raw};
use crate::layout::row::look_of;
use crate::layout::{Placed, over};

/// Letters of the longest name of a test.
const LONGEST: usize = 40;

/// A cell and the first and last row of those it speaks for.
pub(super) type Run = (Placed, u32, u32);

/// What stands left of the days of a band.
#[derive(Debug)]
pub(super) struct Keys {
    /// Column of the names.
    pub name: u32,
    /// Columns left of the days.
    pub leading: Vec<u32>,
    /// Column of the units.
    pub units: Option<u32>,
    /// The cell that names each row.
    pub names: BTreeMap<u32, Placed>,
    /// Tanks down the rows.
    pub tanks: Vec<Run>,
}

fn names_parameter(raw: &Raw) -> bool {
    matches!(raw, Raw::Text(text) if text.len() <= LONGEST && look_of(raw) == Look::Word && !find_parameter_by_word(text).is_empty())
}

impl Keys {
    /// Of a band whose days stand in `dated`; `first` is the leftmost column of the table.
    pub(super) fn of(merged: &[Merged], band: &Band, dated: &[u32], first: u32) -> Self {
        let end = dated.iter().copied().min().unwrap_or(first + 1);
        let mut leading: BTreeSet<u32> =
            band.body.iter().flat_map(|line| &line.cells).map(|cell| cell.column).filter(|at| *at < end).collect();
        leading.insert(first);
        let leading: Vec<u32> = leading.into_iter().collect();
        let named = |column: u32| {
            band.body.iter().filter(|line| line.at(column).is_some_and(|cell| names_parameter(&cell.raw))).count()
        };
        // Of equally many names the leftmost column holds them.
        let name = leading.iter().copied().rev().max_by_key(|column| named(*column)).unwrap_or(first);
        let names = spoken(merged, &band.body.iter().collect::<Vec<_>>(), name);
        let names = names.into_iter().map(|(cell, row)| (row, cell.clone())).collect();
        let mut keys = Keys { name, units: None, leading, names, tanks: Vec::new() };
        keys.units = keys.unit_column(band, dated);
        keys.tanks = keys.tanks_down(merged, band);
        if keys.tanks.is_empty() {
            // Without tanks beside them the rows below would be the same test again.
            let own =
                |row: u32, cell: &Placed| cell.row == row || merged.iter().any(|merged| merged.first_row == cell.row);
            keys.names.retain(|row, cell| own(*row, cell));
        }
        keys
    }

    /// The column that says the unit of each row.
    fn unit_column(&self, band: &Band, dated: &[u32]) -> Option<u32> {
        let others: BTreeSet<u32> = band
            .body
            .iter()
            .flat_map(|line| &line.cells)
            .map(|cell| cell.column)
            .filter(|column| *column != self.name && !dated.contains(column))
            .filter(|column| role(band, *column) != Some(HeaderRole::Tank))
            .collect();
        // "1" is a unit, and the number of a row or a tank.
        let is_unit = |raw: &Raw| look_of(raw) == Look::Word && find_unit(&raw.written()).is_some();
        others.into_iter().find(|column| {
            let cells: Vec<&Placed> = band.body.iter().filter_map(|line| line.at(*column)).collect();
            let units = cells.iter().filter(|cell| is_unit(&cell.raw)).count();
            role(band, *column) == Some(HeaderRole::Unit) || units > 0 && units * 2 >= cells.len()
        })
    }

    /// Tanks named in a column of their own, or on lines of their own between the rows.
    fn tanks_down(&self, merged: &[Merged], band: &Band) -> Vec<Run> {
        let columns = self.leading.iter().copied().filter(|column| *column != self.name && Some(*column) != self.units);
        for column in columns {
            let headed = role(band, column);
            let certain = headed == Some(HeaderRole::Tank);
            if !certain && (headed.is_some() || !may_be_tanks(band, column)) {
                continue;
            }
            let alone = band.between.iter().filter(|line| line.at(column).is_some());
            let mut lines: Vec<&Line> = band.body.iter().chain(alone).collect();
            lines.sort_by_key(|line| line.row);
            let tanks = runs(spoken(merged, &lines, column));
            if !tanks.is_empty() && (certain || self.alike(&tanks)) {
                return tanks;
            }
        }
        self.sections(band)
    }

    /// "Alder" on a line of its own over its tests, "Brook" over the next.
    fn sections(&self, band: &Band) -> Vec<Run> {
        let said = |cell: &Placed| over::names_tank(&cell.raw.written());
        let names = |cell: &&Placed| {
            let known = || !header_roles(&cell.raw.written()).is_empty();
            self.leading.contains(&cell.column)
                && (said(cell) || may_name(&cell.raw) && !names_parameter(&cell.raw) && !known())
        };
        let titles: Vec<&Placed> = band.between.iter().filter_map(|line| line.cells.first()).filter(names).collect();
        let rows = band.body.iter().filter_map(|line| {
            let below = titles.partition_point(|title| title.row < line.row);
            Some((*titles.get(below.checked_sub(1)?)?, line.row))
        });
        let tanks = runs(rows);
        let certain = !titles.is_empty() && titles.iter().all(|title| said(title));
        if certain || self.alike(&tanks) { tanks } else { Vec::new() }
    }

    /// Two names and more, and under each a test that stands under another too: the names tell them apart.
    fn alike(&self, tanks: &[Run]) -> bool {
        let mut under: BTreeMap<String, BTreeSet<String>> = BTreeMap::new();
        for (cell, first, last) in tanks {
            let tests = self.names.range(*first..=*last).map(|(_, name)| fold(&name.raw.written()));
            under.entry(fold(&cell.raw.written())).or_default().extend(tests);
        }
        let mut tanks_of: BTreeMap<&str, usize> = BTreeMap::new();
        for test in under.values().flatten() {
            *tanks_of.entry(test.as_str()).or_default() += 1;
        }
        under.len() >= 2
            && under
                .values()
                .all(|tests| tests.iter().any(|test| tanks_of.get(test.as_str()).is_some_and(|of| *of > 1)))
    }
}

/// The column of the corals in a roster: by the word over it, else the last one left of the days.
pub(super) fn labels(band: &Band, dated: &[u32], first: u32) -> u32 {
    let end = dated.iter().copied().min().unwrap_or(first + 1);
    let left: BTreeSet<u32> =
        band.body.iter().flat_map(|line| &line.cells).map(|cell| cell.column).filter(|at| *at < end).collect();
    let corals = |column: &u32| {
        matches!(role(band, *column), Some(HeaderRole::Label | HeaderRole::Name | HeaderRole::TradeName))
    };
    left.iter().copied().find(corals).or(left.last().copied()).unwrap_or(first)
}

fn may_be_tanks(band: &Band, column: u32) -> bool {
    let mut cells = band.body.iter().filter_map(|line| line.at(column)).peekable();
    cells.peek().is_some() && cells.all(|cell| may_name(&cell.raw) && !names_parameter(&cell.raw))
}

/// The word over a column in the rows that head the band.
fn role(band: &Band, column: u32) -> Option<HeaderRole> {
    band.keys.iter().find_map(|(key, _)| header_roles(&text(key.at(column))).first().copied())
}

/// For each row the cell of a column that speaks for it: its own, the first of a merged range, or the one above where
/// the column is written anew only where it changes.
fn spoken<'l>(merged: &[Merged], lines: &[&'l Line], column: u32) -> Vec<(&'l Placed, u32)> {
    let merged: Vec<&Merged> = merged.iter().filter(|merged| merged.first_column == column).collect();
    let once = written_once(lines, column);
    let mut last: Option<&Placed> = None;
    let mut spoken = Vec::with_capacity(lines.len());
    for line in lines {
        let own = line.at(column);
        last = own.or(last);
        let goes_on = |cell: &&Placed| {
            once || merged.iter().any(|merged| merged.first_row == cell.row && line.row <= merged.last_row)
        };
        spoken.extend(own.or(last.filter(goes_on)).map(|cell| (cell, line.row)));
    }
    spoken
}

/// Left blank often enough to be a habit, and never the same name in two rows running.
fn written_once(lines: &[&Line], column: u32) -> bool {
    let (mut filled, mut blanks, mut repeats) = (0_usize, 0_usize, 0_usize);
    let mut last: Option<String> = None;
    for line in lines {
        let Some(cell) = line.at(column) else {
            blanks += usize::from(filled > 0);
            last = None;
            continue;
        };
        let name = fold(&cell.raw.written());
        repeats += usize::from(last.as_ref() == Some(&name));
        filled += 1;
        last = Some(name);
    }
    repeats == 0 && blanks > 0 && blanks * 2 >= filled
}

/// Rows in order with the cell that speaks for each, as runs of one cell.
fn runs<'l>(rows: impl IntoIterator<Item = (&'l Placed, u32)>) -> Vec<Run> {
    let mut runs: Vec<Run> = Vec::new();
    for (cell, row) in rows {
        match runs.last_mut() {
            Some((known, _, last)) if known.row == cell.row => *last = row,
            _ => runs.push((cell.clone(), row, row)),
        }
    }
    runs
}
