//! A club with many readings of one parameter, for the sweep that turns them into levels at each moment.

use analysis::answer::By;
use analysis::club::{Club, Days, Identification, Keeper, Reading, Specimen, Stay, Tank};
use analysis::exposure::{Condition, Rules};
use analysis::follow_up::{Population, Run, day_number};
use analysis::vocabulary::{ParameterCode, TaxonSlug};
use chrono::NaiveDate;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

const PER_TANK: usize = 500;
const READINGS_PER_SPECIMEN: usize = 100;
const YEARS: i32 = 10;

fn nitrate() -> ParameterCode {
    ParameterCode::parse("nitrate").expect("a parameter of the catalogue")
}

fn day(number: i32) -> NaiveDate {
    NaiveDate::from_ymd_opt(2015, 1, 1).expect("a day") + chrono::Days::new(number as u64)
}

/// So many readings in tanks tested about weekly, and a specimen for every hundred readings.
pub fn simulated(readings: usize) -> Club {
    let mut random = ChaCha8Rng::seed_from_u64(11);
    let tanks = (readings / PER_TANK).max(1);
    let keeper = 0;
    let mut club = Club {
        keepers: vec![Keeper::default()],
        tanks: vec![Tank { keeper, ..Tank::default() }; tanks],
        ..Club::default()
    };
    let mut written = Vec::with_capacity(readings);
    for at in 0..readings {
        let (tank, test) = ((at / PER_TANK).min(tanks - 1) as u32, (at % PER_TANK) as i32);
        let value = 20.0 * random.random::<f64>();
        let on = day((test * YEARS * 365 / PER_TANK as i32 + random.random_range(0..3)).max(0));
        written.push(Reading {
            tank,
            parameter: nitrate(),
            on,
            value: Some(value),
            lower: value,
            upper: value,
            exact: true,
            zero_reported: false,
            limit: None,
            step: None,
            log: 0,
        });
    }
    club.readings = written.into();
    let taxon = TaxonSlug::parse("goniopora").expect("a taxon of the catalogue");
    club.specimens = (0..readings / READINGS_PER_SPECIMEN)
        .map(|number| {
            let bought = day(random.random_range(0..YEARS * 300));
            Specimen {
                key: number.to_string(),
                keeper,
                identifications: vec![Identification { taxon, on: None, guessed: false }],
                acquired: Some(Days { earliest: Some(bought), latest: bought }),
                losses_listed: true,
                stays: vec![Stay { tank: random.random_range(0..tanks) as u32, from: bought, to: None }],
                ..Specimen::default()
            }
        })
        .collect();
    club
}

/// Specimen-days by level, unknown last: every reading becomes a level, every specimen is followed for two years.
pub fn days_by_level(club: &Club) -> Vec<f64> {
    let taxon = TaxonSlug::parse("goniopora").expect("a taxon of the catalogue");
    let population = Population::of(club, taxon, None);
    let rules = Rules::of(Run::Main);
    let condition =
        Condition::new(club, &population, By::Parameter(nitrate()), None, rules).expect("a split of the catalogue");
    let mut days = vec![0.0; condition.levels.len() + 1];
    for &id in &population.members {
        let specimen = &club.specimens[id as usize];
        let stay = specimen.stays[0];
        let from = day_number(stay.from);
        for segment in condition.between(id, specimen.keeper, Some(stay.tank), from, from + 730.0) {
            let unknown = days.len() - 1;
            days[segment.level.map_or(unknown, usize::from)] += segment.stop - segment.start;
        }
    }
    days
}
