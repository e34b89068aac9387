//! Clubs from a few lines: days are counted from the club's first day.

#![allow(dead_code)] // each test file uses its own part

use analysis::answer::{Stamp, State};
use analysis::club::*;
use analysis::vocabulary::{CauseGroup, Fate, ParameterCode, TaxonSlug};
use chrono::{Days as Plus, NaiveDate};

pub fn taxon(slug: &str) -> TaxonSlug {
    TaxonSlug::parse(slug).unwrap_or_else(|| panic!("{slug} is in the catalogue"))
}

pub fn parameter(code: &str) -> ParameterCode {
    ParameterCode::parse(code).unwrap_or_else(|| panic!("{code} is in the catalogue"))
}

pub fn stamp() -> Stamp {
    Stamp { state: State::Edition(7), program_version: "test".to_owned() }
}

pub struct ClubBuilder {
    first: NaiveDate,
    pub club: Club,
    pub readings: Vec<Reading>,
}

impl ClubBuilder {
    pub fn new(first: &str) -> ClubBuilder {
        ClubBuilder { first: first.parse().expect("a date"), club: Club::default(), readings: Vec::new() }
    }

    pub fn day(&self, day: i64) -> NaiveDate {
        if day >= 0 {
            self.first.checked_add_days(Plus::new(day as u64)).expect("a day")
        } else {
            self.first.checked_sub_days(Plus::new(day.unsigned_abs())).expect("a day")
        }
    }

    /// A keeper with one tank; the tank's number, which is also the keeper's if every keeper has one.
    pub fn keeper_with_tank(&mut self) -> u32 {
        self.club.keepers.push(Keeper::default());
        self.tank(self.club.keepers.len() as u32 - 1)
    }

    pub fn tank(&mut self, keeper: u32) -> u32 {
        self.club.tanks.push(Tank { keeper, ..Tank::default() });
        self.club.tanks.len() as u32 - 1
    }

    pub fn reading(&mut self, tank: u32, code: &str, day: i64, value: f64) {
        let on = self.day(day);
        self.readings.push(Reading {
            tank,
            parameter: parameter(code),
            on,
            value: Some(value),
            lower: value,
            upper: value,
            exact: true,
            zero_reported: value == 0.0,
            limit: None,
            step: None,
            log: 0,
        });
    }

    /// `<limit`.
    pub fn reading_under(&mut self, tank: u32, code: &str, day: i64, limit: f64) {
        self.reading(tank, code, day, limit);
        let reading = self.readings.last_mut().expect("the one just made");
        (reading.lower, reading.exact) = (0.0, false);
    }

    /// A coral of a complete log that lists losses, acquired on a day, in a tank from then on.
    pub fn coral(&mut self, slug: &str, tank: u32, acquired: i64) -> usize {
        let day = self.day(acquired);
        let number = self.club.specimens.len();
        self.club.specimens.push(Specimen {
            key: format!("coral {number}"),
            keeper: self.club.tanks[tank as usize].keeper,
            identifications: vec![Identification { taxon: taxon(slug), on: None, guessed: false }],
            acquired: Some(Days { earliest: Some(day), latest: day }),
            complete_since: Some(self.first),
            log_first_day: Some(self.first),
            losses_listed: true,
            stays: vec![Stay { tank, from: day, to: None }],
            ..Specimen::default()
        });
        number
    }

    pub fn specimen(&mut self, coral: usize) -> &mut Specimen {
        &mut self.club.specimens[coral]
    }

    /// A death on a written day.
    pub fn died(&mut self, coral: usize, day: i64) {
        self.ended(coral, Fate::Died, day, day);
    }

    pub fn ended(&mut self, coral: usize, fate: Fate, earliest: i64, latest: i64) {
        let (earliest, latest) = (self.day(earliest), self.day(latest));
        self.specimen(coral).ending = Some(Ending {
            fate,
            cause_group: CauseGroup::Unknown,
            cause: None,
            earliest,
            latest,
            written_day: earliest == latest,
            date_held: false,
            poor_at_exit: false,
            all_died: false,
        });
    }

    pub fn looked_at(&mut self, coral: usize, day: i64) {
        self.seen(coral, day, SightingSource::Look);
    }

    /// A look with a condition of 0 to 5.
    pub fn scored(&mut self, coral: usize, day: i64, condition: u8) {
        self.looked_at(coral, day);
        let sighting = self.specimen(coral).sightings.last_mut().expect("the one just made");
        sighting.condition = Some(condition);
    }

    /// A count of heads, in a series that starts anew with each cut.
    pub fn heads(&mut self, coral: usize, day: i64, heads: f64, cuts_before: u32) {
        let on = self.day(day);
        let (measure, basis) = ("head_count".to_owned(), "heads".to_owned());
        let size = Sizing { on, measure, basis, value: heads, segment: cuts_before };
        self.specimen(coral).sizings.push(size);
    }

    pub fn seen(&mut self, coral: usize, day: i64, source: SightingSource) {
        let on = self.day(day);
        self.specimen(coral).sightings.push(Sighting {
            on,
            source,
            condition: None,
            tissue_cover: None,
            polyp_extension: None,
        });
    }

    pub fn band(&mut self, slug: &str, code: &str, lower: f64, upper: f64, unit: &str) {
        let since = self.first;
        self.club.bands.push(ClubBand {
            taxon: taxon(slug),
            parameter: parameter(code),
            lower,
            upper,
            unit: unit.to_owned(),
            unit_basis: None,
            as_taught: format!("{lower}–{upper} {unit}"),
            since,
        });
    }

    pub fn build(self) -> Club {
        let mut club = self.club;
        club.readings = self.readings.into();
        club
    }
}
