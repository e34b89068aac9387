//! Who spent how long in which cell: levels of one or more splits, by year of purchase. Only numbers: no club, no taxon.

use std::collections::BTreeMap;
use std::ops::Range;

use crate::evidence::Tally;
use crate::numeric::distinct;

/// The time that one specimen spent in one cell and one tank.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Entry {
    /// The specimen.
    pub specimen: u32,
    /// Its keeper.
    pub keeper: u32,
    /// The tank; `None` = not said.
    pub tank: Option<u32>,
    /// Days, or another weight of a keeper's share.
    pub days: f64,
    /// What held at the time, as bits that the caller gives a meaning.
    pub marks: u32,
    /// The specimen's time ended with what is counted: a loss, or another outcome.
    pub ended: bool,
}

/// The tally of some entries; its deaths are those that ended. The order of the entries does not matter.
pub fn tally<'a>(entries: impl Iterator<Item = &'a Entry>) -> Tally {
    let (mut specimens, mut tanks, mut days) = (Vec::new(), Vec::new(), Vec::new());
    let mut deaths = 0;
    for entry in entries {
        deaths += u64::from(entry.ended);
        // The entries of a specimen mostly come together.
        if specimens.last() != Some(&entry.specimen) {
            specimens.push(entry.specimen);
        }
        if let Some(tank) = entry.tank.filter(|tank| tanks.last() != Some(tank)) {
            tanks.push(tank);
        }
        days.push((entry.keeper, entry.days));
    }
    days.sort_unstable_by(|a, b| a.0.cmp(&b.0).then(a.1.total_cmp(&b.1)));
    let (mut keepers, mut all, mut largest) = (0, 0.0, 0.0_f64);
    for of_keeper in days.chunk_by(|a, b| a.0 == b.0) {
        let own: f64 = of_keeper.iter().map(|(_, days)| days).sum();
        keepers += 1;
        all += own;
        largest = largest.max(own);
    }
    Tally {
        specimens: distinct(specimens).len() as u64,
        keepers,
        tanks: distinct(tanks).len() as u64,
        deaths,
        days: all,
        largest_share: if all > 0.0 { largest / all } else { 1.0 },
    }
}

/// A rectangle of cells: some levels of one split, some years.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Block {
    /// Which split the levels are of; `None` = all of every split.
    pub split: Option<usize>,
    /// Its levels, ascending.
    pub levels: Vec<usize>,
    /// Years, as positions.
    pub years: Range<usize>,
}

/// Entries by cell.
#[derive(Debug, Clone, Default)]
pub struct Cells {
    years: usize,
    /// The levels of the splits that occur together, and the entries of each year.
    cells: BTreeMap<Vec<usize>, Vec<Vec<Entry>>>,
}

impl Cells {
    /// No entries, in a number of years.
    pub fn new(years: usize) -> Cells {
        Cells { years, cells: BTreeMap::new() }
    }

    /// Number of years.
    pub fn years(&self) -> usize {
        self.years
    }

    /// Adds an entry at one level of each split; what lies outside the years is left out.
    pub fn add(&mut self, levels: Vec<usize>, year: usize, entry: Entry) {
        let years = self.cells.entry(levels).or_insert_with(|| vec![Vec::new(); self.years]);
        let Some(cell) = years.get_mut(year) else { return };
        // The time of one specimen comes in order: equal neighbours are one.
        match cell.last_mut() {
            Some(last)
                if (last.specimen, last.keeper, last.tank, last.marks)
                    == (entry.specimen, entry.keeper, entry.tank, entry.marks) =>
            {
                last.days += entry.days;
                last.ended |= entry.ended;
            }
            _ => cell.push(entry),
        }
    }

    /// The entries that lie in all of these blocks.
    pub fn within<'a>(&'a self, blocks: &'a [&'a Block]) -> impl Iterator<Item = &'a Entry> {
        let from = blocks.iter().map(|block| block.years.start).max().unwrap_or(0);
        let to = blocks.iter().map(|block| block.years.end).min().unwrap_or(self.years).min(self.years);
        let lies = |at: &[usize]| {
            blocks.iter().all(|block| {
                block.split.is_none_or(|split| at.get(split).is_some_and(|level| block.levels.contains(level)))
            })
        };
        self.cells
            .iter()
            .filter(move |(at, _)| lies(at))
            .flat_map(move |(_, years)| years.get(from..to.max(from)).unwrap_or_default().iter().flatten())
    }

    /// The entries of a block, each with the number of the levels at which it lies.
    #[cfg(test)]
    pub(crate) fn placed<'a>(&'a self, block: &'a Block) -> impl Iterator<Item = (usize, &'a Entry)> {
        let lies =
            |at: &[usize]| block.split.is_none_or(|split| at.get(split).is_some_and(|l| block.levels.contains(l)));
        let placed = self.cells.iter().enumerate().filter(move |(_, (at, _))| lies(at));
        placed.flat_map(|(number, (_, years))| years[block.years.clone()].iter().flatten().map(move |e| (number, e)))
    }

    /// All entries, each with its levels and its year.
    pub fn each(&self) -> impl Iterator<Item = (&[usize], usize, &Entry)> {
        self.cells.iter().flat_map(|(at, years)| {
            years
                .iter()
                .enumerate()
                .flat_map(move |(year, entries)| entries.iter().map(move |e| (at.as_slice(), year, e)))
        })
    }

    /// All entries.
    pub fn all(&self) -> impl Iterator<Item = &Entry> {
        self.cells.values().flatten().flatten()
    }

    /// The levels of a split at which any of these entries lies.
    pub fn levels_of(&self, split: usize, is: impl Fn(&Entry) -> bool) -> Vec<usize> {
        let there = self.cells.iter().filter(|(_, years)| years.iter().flatten().any(&is));
        distinct(there.filter_map(|(at, _)| at.get(split).copied()))
    }
}
