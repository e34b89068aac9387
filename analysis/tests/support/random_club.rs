//! Clubs of any size from a seed: keepers with tanks, tests, corals that live and die, honest gaps.

use analysis::club::*;
use analysis::vocabulary::{CauseGroup, Fate, Origin};

use super::support::{ClubBuilder, taxon};

/// A linear congruential generator (Knuth's MMIX constants): the same everywhere.
pub struct Chance(u64);

impl Chance {
    pub fn new(seed: u64) -> Chance {
        Chance(seed.wrapping_mul(0x9e37_79b9_7f4a_7c15) | 1)
    }

    pub fn unit(&mut self) -> f64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 11) as f64 / (1_u64 << 53) as f64
    }

    pub fn below(&mut self, n: i64) -> i64 {
        (self.unit() * n as f64) as i64
    }

    pub fn yes(&mut self, probability: f64) -> bool {
        self.unit() < probability
    }
}

/// How large.
pub struct Size {
    pub keepers: usize,
    pub corals_per_tank: i64,
    pub slugs: &'static [&'static str],
}

pub fn random_club(seed: u64, size: &Size) -> Club {
    let mut chance = Chance::new(seed);
    let mut builder = ClubBuilder::new("2022-01-01");
    for _ in 0..size.keepers {
        let first = builder.keeper_with_tank();
        let keeper = builder.club.tanks[first as usize].keeper;
        builder.club.keepers[keeper as usize].keeping_since = Some(2010 + chance.below(12) as i32);
        let mut tanks = vec![first];
        if chance.yes(0.4) {
            tanks.push(builder.tank(keeper));
        }
        for &tank in &tanks {
            fill(&mut builder, &mut chance, tank, size);
        }
    }
    builder.build()
}

fn fill(builder: &mut ClubBuilder, chance: &mut Chance, tank: u32, size: &Size) {
    let started = builder.day(chance.below(600) - 600);
    builder.club.tanks[tank as usize].started = Some(started);
    let gap = 10 + chance.below(25);
    let mut nitrate = 3.0 + 20.0 * chance.unit();
    let mut day = -60 + chance.below(30);
    while day < 900 {
        nitrate = (nitrate + 6.0 * (chance.unit() - 0.5)).clamp(0.0, 40.0);
        for (code, value) in [
            ("nitrate", (nitrate * 2.0).round() / 2.0),
            ("phosphate", (0.02 + 0.1 * chance.unit() * 100.0).round() / 100.0),
            ("temperature", 24.5 + 1.2 * chance.unit()),
            ("salinity", 34.0 + 1.2 * chance.unit()),
            ("alkalinity", 7.5 + 2.2 * chance.unit()),
        ] {
            if chance.yes(0.9) {
                builder.reading(tank, code, day, value);
            }
        }
        day += gap + chance.below(9);
    }
    if chance.yes(0.7) {
        let (from, per_week) = (builder.day(-100), chance.below(5) as f64);
        builder.club.routines.push(Routine {
            tank,
            specimen: None,
            kind: "target_feed".to_owned(),
            per_week: Some(per_week),
            from,
            to: None,
            confirmed: builder.day(800),
        });
    }
    for _ in 0..size.corals_per_tank {
        coral(builder, chance, tank, nitrate, size);
    }
}

fn coral(builder: &mut ClubBuilder, chance: &mut Chance, tank: u32, nitrate: f64, size: &Size) {
    let slug = size.slugs[chance.below(size.slugs.len() as i64) as usize];
    let acquired = chance.below(700);
    let coral = builder.coral(slug, tank, acquired);
    let sent = builder.day(acquired);
    let origins = [Origin::WildCollected, Origin::Maricultured, Origin::CaptiveGrown, Origin::FarmedUnclear];
    builder.specimen(coral).origin = if chance.yes(0.8) { Some(origins[chance.below(4) as usize]) } else { None };
    builder.specimen(coral).form = Some(["ball_long", "columnar", "not_said"][chance.below(3) as usize].to_owned());
    builder.specimen(coral).source_kind = Some(["shop", "member", "own_cutting"][chance.below(3) as usize].to_owned());
    if chance.yes(0.1) {
        builder.specimen(coral).complete_since = None;
    }
    if chance.yes(0.05) {
        builder.specimen(coral).acquired =
            Some(Days { earliest: Some(sent - chrono::TimeDelta::days(20)), latest: sent });
    }
    if chance.yes(0.6) {
        let par = 60.0 + (300.0 * chance.unit()).round();
        builder.specimen(coral).placements.push(Placement {
            from: sent,
            par: Some(par),
            flow: Some(["still", "swaying", "thrashing"][chance.below(3) as usize].to_owned()),
            stinging_within_reach: None,
        });
    }
    let hazard = if nitrate > 15.0 { 0.0016 } else { 0.0010 };
    let life = (-(1.0 - chance.unit()).ln() / hazard) as i64;
    let end = 800 + chance.below(60);
    for look in 1..40 {
        let on = acquired + 30 * look;
        if on < (acquired + life).min(end) && chance.yes(0.7) {
            builder.looked_at(coral, on);
        }
    }
    if acquired + life < end {
        let on = acquired + life;
        match chance.below(20) {
            0 => builder.ended(coral, Fate::Missing, (on - 20).max(acquired), on),
            1 => builder.ended(coral, Fate::Died, (on - 15).max(acquired), on + 5),
            _ => builder.died(coral, on),
        }
        let groups = CauseGroup::ALL;
        let group = groups[chance.below(groups.len() as i64) as usize];
        if let Some(ending) = &mut builder.specimen(coral).ending {
            ending.cause_group = group;
            ending.date_held = chance.yes(0.03);
        }
    } else if chance.yes(0.1) {
        builder.ended(coral, Fate::Left, end, end);
        if let Some(ending) = &mut builder.specimen(coral).ending {
            ending.poor_at_exit = chance.yes(0.3);
        }
    } else {
        let source = if chance.yes(0.7) { SightingSource::RollCall } else { SightingSource::Register };
        builder.seen(coral, end, source);
    }
    let mut size_mm = 20.0 + 30.0 * chance.unit();
    for k in 0..6 {
        let on = builder.day(acquired + 60 * k);
        if acquired + 60 * k < (acquired + life).min(end) {
            builder.specimen(coral).sizings.push(Sizing {
                on,
                measure: "max_diameter".to_owned(),
                basis: "skeleton".to_owned(),
                value: (size_mm * 10.0).round() / 10.0,
                segment: 0,
            });
        }
        size_mm *= 1.0 + 0.06 * chance.unit();
    }
    if chance.yes(0.03) {
        builder.specimen(coral).held = true;
        builder.specimen(coral).held_fate =
            Some(Days { earliest: Some(builder_day(sent, 10)), latest: builder_day(sent, 40) });
    }
    // A name that was asked about and settled later.
    let latest = taxon(slug);
    if chance.yes(0.1) {
        let genus = latest.get().genus.unwrap_or(latest);
        let on = Some(builder_day(sent, 200));
        builder.specimen(coral).identifications = vec![
            Identification { taxon: genus, on: None, guessed: true },
            Identification { taxon: latest, on, guessed: chance.yes(0.3) },
        ];
    }
}

fn builder_day(from: chrono::NaiveDate, days: i64) -> chrono::NaiveDate {
    from + chrono::TimeDelta::days(days)
}
