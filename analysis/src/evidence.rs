//! Counts behind a figure, its grade, and the minimums below which a figure is refused.

use std::collections::BTreeMap;

use crate::answer::Grade;
use crate::comparison::Rows;
use crate::numeric::distinct;
use crate::refusal::{Refusal, RefusalCode};

pub mod minimums; // what each statistic needs at least
pub mod verdict; // what the records say of something taught, in one of five words

/// Distinct specimens, keepers and tanks, deaths and days of one group of rows.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Tally {
    /// Distinct specimens.
    pub specimens: u64,
    /// Distinct keepers.
    pub keepers: u64,
    /// Distinct tanks.
    pub tanks: u64,
    /// Deaths.
    pub deaths: u64,
    /// Specimen-days.
    pub days: f64,
    /// Largest share of the days that one keeper holds.
    pub largest_share: f64,
}

/// The tally of each group, `groups` of them; `group` holds one number per row. O(n log n); the order of the rows does not
/// matter.
///
/// # Errors
/// [`RefusalCode::InvalidInput`] if a column is shorter than the rows, or a number is not below `groups`.
pub fn tallies(rows: &Rows, group: &[u32], groups: usize) -> Result<Vec<Tally>, Refusal> {
    let length = rows.len();
    let columns = [group.len(), rows.specimen.len(), rows.keeper.len(), rows.tank.len()];
    if columns.iter().any(|column| *column != length) || group.iter().any(|group| *group as usize >= groups) {
        return Err(Refusal::plain(RefusalCode::InvalidInput, "The rows could not be counted: columns do not fit."));
    }
    let mut tallies = vec![Tally::default(); groups];
    for (group, _) in distinct(group.iter().copied().zip(rows.specimen.iter().copied())) {
        tallies[group as usize].specimens += 1;
    }
    let tanks = group.iter().zip(&rows.tank).filter_map(|(group, tank)| Some((*group, (*tank)?)));
    for (group, _) in distinct(tanks) {
        tallies[group as usize].tanks += 1;
    }
    for (group, _) in group.iter().zip(&rows.episodes.event).filter(|(_, died)| **died) {
        tallies[*group as usize].deaths += 1;
    }
    let days = rows.episodes.stop.iter().zip(&rows.episodes.start).map(|(stop, start)| stop - start);
    let mut held: Vec<(u32, u32, f64)> =
        group.iter().zip(&rows.keeper).zip(days).map(|((group, keeper), days)| (*group, *keeper, days)).collect();
    held.sort_unstable_by(|a, b| (a.0, a.1).cmp(&(b.0, b.1)).then(a.2.total_cmp(&b.2)));
    for of_keeper in held.chunk_by(|a, b| (a.0, a.1) == (b.0, b.1)) {
        let tally = &mut tallies[of_keeper[0].0 as usize];
        let own: f64 = of_keeper.iter().map(|(.., days)| days).sum();
        tally.keepers += 1;
        tally.days += own;
        tally.largest_share = tally.largest_share.max(own);
    }
    for tally in tallies.iter_mut().filter(|tally| tally.days > 0.0) {
        tally.largest_share /= tally.days;
    }
    Ok(tallies)
}

/// The tally of all rows together.
///
/// # Errors
/// As [`tallies`].
pub fn tally(rows: &Rows) -> Result<Tally, Refusal> {
    let mut all = tallies(rows, &vec![0; rows.len()], 1)?;
    Ok(all.pop().unwrap_or_default())
}

/// What a grade is made from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Graded {
    /// Deaths.
    pub deaths: u64,
    /// Keepers.
    pub keepers: u64,
    /// Tanks.
    pub tanks: u64,
    /// Share of specimen-days on which the condition is unknown; 0 if none is used.
    pub unknown: f64,
    /// The figure is given at all.
    pub given: bool,
}

/// The grade of a figure: never falls when deaths, keepers or tanks grow.
pub fn grade(figure: &Graded) -> Grade {
    if !figure.given {
        return Grade::None;
    }
    let reaches = |deaths: u64, keepers: u64, tanks: u64, unknown: f64| {
        figure.deaths >= deaths && figure.keepers >= keepers && figure.tanks >= tanks && figure.unknown < unknown
    };
    if reaches(50, 10, 20, 0.25) {
        Grade::Strong
    } else if reaches(20, 5, 10, 0.40) {
        Grade::Moderate
    } else {
        Grade::Thin
    }
}

/// Keepers, or other holders, with at least one row at risk when somebody died.
pub fn at_risk_at_a_death(rows: &Rows, holder: &[u32]) -> u64 {
    let mut deaths: Vec<f64> =
        (0..rows.len()).filter(|&row| rows.episodes.event[row]).map(|row| rows.episodes.stop[row]).collect();
    deaths.sort_by(f64::total_cmp);
    deaths.dedup();
    let mut at_risk: BTreeMap<u32, ()> = BTreeMap::new();
    for (row, &holder) in holder.iter().enumerate().take(rows.len()) {
        let next = deaths.partition_point(|death| *death <= rows.episodes.start[row]);
        if deaths.get(next).is_some_and(|death| *death <= rows.episodes.stop[row]) {
            at_risk.insert(holder, ());
        }
    }
    at_risk.len() as u64
}

#[cfg(test)]
mod tests;
