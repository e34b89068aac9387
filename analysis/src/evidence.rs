//! Counts behind a figure, its grade, and the minimums below which a figure is refused.

use std::collections::BTreeMap;

use polars::prelude::*;

use crate::answer::Grade;
use crate::comparison::Rows;
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

/// The tally of each group, `groups` of them; `group` holds one number per row.
///
/// # Errors
/// [`RefusalCode::InvalidInput`] if the columns do not fit together.
pub fn tallies(rows: &Rows, group: &[u32], groups: usize) -> Result<Vec<Tally>, Refusal> {
    tally_frame(rows, group, groups)
        .map_err(|error| Refusal::plain(RefusalCode::InvalidInput, format!("the rows could not be counted: {error}")))
}

fn tally_frame(rows: &Rows, group: &[u32], groups: usize) -> PolarsResult<Vec<Tally>> {
    let mut tallies = vec![Tally::default(); groups];
    if rows.is_empty() {
        return Ok(tallies);
    }
    let days: Vec<f64> =
        rows.episodes.stop.iter().zip(&rows.episodes.start).map(|(stop, start)| stop - start).collect();
    let deaths: Vec<u32> = rows.episodes.event.iter().map(|died| u32::from(*died)).collect();
    let frame = df!(
        "group" => group,
        "specimen" => rows.specimen.as_slice(),
        "keeper" => rows.keeper.as_slice(),
        "tank" => rows.tank.as_slice(),
        "days" => days,
        "deaths" => deaths,
    )?;
    let by_keeper = frame
        .clone()
        .lazy()
        .group_by_stable([col("group"), col("keeper")])
        .agg([col("days").sum()])
        .group_by_stable([col("group")])
        .agg([col("days").sum().alias("days"), col("days").max().alias("largest")])
        .collect()?;
    let counted = frame
        .lazy()
        .group_by_stable([col("group")])
        .agg([
            col("specimen").n_unique().alias("specimens"),
            col("keeper").n_unique().alias("keepers"),
            col("tank").drop_nulls().n_unique().alias("tanks"),
            col("deaths").sum(),
        ])
        .collect()?;
    let numbers = counted.column("group")?.u32()?;
    let specimens = counted.column("specimens")?.cast(&DataType::UInt64)?;
    let keepers = counted.column("keepers")?.cast(&DataType::UInt64)?;
    let tanks = counted.column("tanks")?.cast(&DataType::UInt64)?;
    let deaths = counted.column("deaths")?.cast(&DataType::UInt64)?;
    for row in 0..counted.height() {
        let Some(tally) = numbers.get(row).and_then(|group| tallies.get_mut(group as usize)) else { continue };
        tally.specimens = specimens.u64()?.get(row).unwrap_or(0);
        tally.keepers = keepers.u64()?.get(row).unwrap_or(0);
        tally.tanks = tanks.u64()?.get(row).unwrap_or(0);
        tally.deaths = deaths.u64()?.get(row).unwrap_or(0);
    }
    let numbers = by_keeper.column("group")?.u32()?;
    let (days, largest) = (by_keeper.column("days")?.f64()?, by_keeper.column("largest")?.f64()?);
    for row in 0..by_keeper.height() {
        let Some(tally) = numbers.get(row).and_then(|group| tallies.get_mut(group as usize)) else { continue };
        tally.days = days.get(row).unwrap_or(0.0);
        tally.largest_share = largest.get(row).unwrap_or(0.0) / tally.days;
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
