//! Counts of the club as a whole, as far as an audience may see them.

use analysis::answer::Audience;
use analysis::club::{Club, Specimen};
use analysis::disclosure::{self, rounding};
use analysis::evidence::Tally;
use analysis::refusal::Part;
use analysis::vocabulary::Fate;
use chrono::NaiveDate;
use serde::Serialize;

/// Counts of the club.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Totals {
    /// Members with records.
    pub keepers: u64,
    /// Tanks.
    pub tanks: u64,
    /// Specimens on record.
    pub specimens: u64,
    /// Deaths, missing ones and those that arrived dead included.
    pub deaths: u64,
    /// Water tests.
    pub readings: u64,
}

/// The counts, or why they are not shown.
pub fn totals(club: &Club, audience: Audience) -> Part<Totals> {
    let mut days = vec![0.0; club.keepers.len()];
    let mut has_records = vec![false; club.keepers.len()];
    for specimen in &club.specimens {
        if let Some(sum) = days.get_mut(specimen.keeper as usize) {
            *sum += known_days(specimen);
            has_records[specimen.keeper as usize] = true;
        }
    }
    for tank in &club.tanks {
        if let Some(has) = has_records.get_mut(tank.keeper as usize) {
            *has = true;
        }
    }
    let died = |specimen: &&Specimen| {
        specimen.arrived_dead
            || specimen.ending.as_ref().is_some_and(|ending| {
                matches!(ending.fate, Fate::Died | Fate::Missing | Fate::ArrivedDead) || ending.all_died
            })
    };
    let exact = Totals {
        keepers: has_records.iter().filter(|has| **has).count() as u64,
        tanks: club.tanks.len() as u64,
        specimens: club.specimens.len() as u64,
        deaths: club.specimens.iter().filter(died).count() as u64,
        readings: club.readings.len() as u64,
    };
    let all: f64 = days.iter().sum();
    let most = days.iter().copied().fold(0.0, f64::max);
    let tally = Tally {
        specimens: exact.specimens,
        keepers: exact.keepers,
        tanks: exact.tanks,
        deaths: exact.deaths,
        days: all,
        largest_share: if all > 0.0 { most / all } else { 1.0 },
    };
    if !disclosure::passes(&tally, audience) {
        return Part::Refused { refused: disclosure::suppressed(audience) };
    }
    Part::Given(match audience {
        Audience::Public => Totals {
            keepers: rounding::count(exact.keepers),
            tanks: rounding::count(exact.tanks),
            specimens: rounding::count(exact.specimens),
            deaths: rounding::count(exact.deaths),
            readings: rounding::count(exact.readings),
        },
        _ => exact,
    })
}

/// Days from the day it was got to its end or the last evidence of its life.
fn known_days(specimen: &Specimen) -> f64 {
    let Some(got) = specimen.acquired else { return 0.0 };
    let last: Option<NaiveDate> = match &specimen.ending {
        Some(ending) => Some(ending.latest),
        None => [
            specimen.sightings.iter().map(|sighting| sighting.on).max(),
            specimen.sizings.iter().map(|sizing| sizing.on).max(),
            specimen.care_days.iter().copied().max(),
        ]
        .into_iter()
        .flatten()
        .max(),
    };
    last.map_or(0.0, |last| (last - got.latest).num_days().max(0) as f64)
}

#[cfg(test)]
mod tests {
    use super::*;
    use analysis::club::{Days, Keeper, Sighting, SightingSource, Tank};

    fn club(keepers: u32, each: u32) -> Club {
        let day = |number| NaiveDate::from_num_days_from_ce_opt(738_000 + number).unwrap();
        let mut club = Club::default();
        for keeper in 0..keepers {
            club.keepers.push(Keeper::default());
            club.tanks.push(Tank { keeper, ..Tank::default() });
            for number in 0..each {
                club.specimens.push(Specimen {
                    key: format!("{keeper}/{number}"),
                    keeper,
                    acquired: Some(Days { earliest: Some(day(0)), latest: day(0) }),
                    losses_listed: true,
                    sightings: vec![Sighting {
                        on: day(100),
                        source: SightingSource::Look,
                        condition: None,
                        tissue_cover: None,
                        polyp_extension: None,
                    }],
                    ..Specimen::default()
                });
            }
        }
        club
    }

    #[test]
    fn the_public_sees_rounded_counts_of_a_club_large_enough() {
        let Part::Given(seen) = totals(&club(6, 3), Audience::Public) else { panic!("shown") };
        assert_eq!((seen.keepers, seen.specimens), (5, 20));
        let Part::Given(seen) = totals(&club(6, 3), Audience::Member) else { panic!("shown") };
        assert_eq!((seen.keepers, seen.specimens), (6, 18));
        assert!(totals(&club(4, 3), Audience::Public).given().is_none());
        assert!(totals(&club(2, 3), Audience::Member).given().is_none());
        assert!(totals(&club(1, 1), Audience::Curator).given().is_some());
    }

    #[test]
    fn one_keeper_with_nearly_everything_hides_the_rest() {
        let mut club = club(6, 2);
        for specimen in &mut club.specimens {
            if specimen.keeper > 0 {
                specimen.sightings.clear();
            }
        }
        assert!(totals(&club, Audience::Public).given().is_none());
    }
}
