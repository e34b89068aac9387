//! Clubs with a known truth: a model of hazard, decline and growth from which records are drawn, so that what
//! the analysis recovers can be held beside what was put in.
//!
//! Pure and seeded: the same design gives the same club. Nothing here knows how a keeper writes things down.

pub mod design; // the taxa, ratios and sizes of a club
pub mod draw; // seeded draws
pub mod life; // the life of one specimen under the model
pub mod study; // how far the statistics hold
pub mod water; // the water of one tank, day by day

pub use design::{Design, Incident, TaxonDesign};
pub use life::{Fate, Life};
pub use water::{PARAMETERS, Water};

use crate::vocabulary::TaxonSlug;
use draw::Draw;

/// A simulated member.
#[derive(Debug, Clone)]
pub struct Keeper {
    /// Year since when this member keeps reefs.
    pub keeping_since: i32,
    /// Positions of this member's tanks in [`SimulatedClub::tanks`].
    pub tanks: Vec<usize>,
    /// Day (from the design's first day) from which every coral was written down; may be negative.
    pub complete_since: i32,
}

/// A simulated tank.
#[derive(Debug, Clone)]
pub struct Tank {
    /// Owner's position in [`SimulatedClub::keepers`].
    pub keeper: usize,
    /// First day with water, from the design's first day; negative = before.
    pub started: i32,
    /// Volume in litres.
    pub litres: f64,
    /// Unmeasured quality of the tank: multiplies every hazard in it; mean 1 over tanks.
    pub frailty: f64,
    /// Target feeds per week.
    pub feeds_per_week: f64,
    /// Its water.
    pub water: Water,
    /// Days on which its keeper tested, ascending, within the three years.
    pub test_days: Vec<i32>,
    /// An incident: (day, share of the living that dies).
    pub incident: Option<Incident>,
}

/// A simulated specimen.
#[derive(Debug, Clone)]
pub struct Specimen {
    /// Position of its taxon in [`Design::taxa`].
    pub taxon: usize,
    /// Position of its tank.
    pub tank: usize,
    /// Day it was acquired.
    pub acquired: i32,
    /// Collected in the sea, not grown in captivity.
    pub wild: bool,
    /// What happened to it.
    pub life: Life,
    /// Probability of living a year under the model, given its tank.
    pub true_one_year: f64,
}

/// A club with its truth.
#[derive(Debug, Clone)]
pub struct SimulatedClub {
    /// What it was drawn from.
    pub design: Design,
    /// Members.
    pub keepers: Vec<Keeper>,
    /// Tanks.
    pub tanks: Vec<Tank>,
    /// Specimens, by keeper, then by day acquired.
    pub specimens: Vec<Specimen>,
}

/// Days before the first and after the last day of the records for which water exists.
pub const MARGIN: i32 = 500;

impl SimulatedClub {
    /// Draws a club.
    pub fn draw(design: Design) -> Self {
        let mut rng = Draw::seeded(design.seed);
        let mut keepers = Vec::with_capacity(design.keepers);
        let mut tanks: Vec<Tank> = Vec::new();
        for keeper in 0..design.keepers {
            let mut own = Vec::new();
            for _ in 0..1 + usize::from(rng.chance(design.second_tank)) {
                own.push(tanks.len());
                tanks.push(draw_tank(keeper, &design, &mut rng));
            }
            let complete_since = if rng.chance(0.3) { rng.whole(30, 240) } else { -rng.whole(0, 120) };
            keepers.push(Keeper { keeping_since: design.first_year - rng.whole(0, 14), tanks: own, complete_since });
        }
        for (at, incident) in design.incidents.iter().enumerate() {
            let tank = (at * 17 + 5) % tanks.len();
            tanks[tank].incident = Some(*incident);
        }
        let mut specimens = Vec::new();
        for (taxon, plan) in design.taxa.iter().enumerate() {
            for _ in 0..plan.specimens {
                let tank = rng.below(tanks.len());
                let earliest = (tanks[tank].started + 60).max(-200);
                let latest = design.days - 20;
                if earliest >= latest {
                    continue;
                }
                let acquired = rng.whole(earliest, latest);
                let wild = rng.chance(plan.wild_share);
                // A source of its own: how a coral looks does not move the lives drawn after it.
                let mut looks = Draw::seeded(design.seed.wrapping_add(1 + specimens.len() as u64));
                let case = life::Case { plan, tank: &tanks[tank], acquired, wild, last_day: design.days };
                let mut life = case.live(&mut rng);
                life.look(acquired, design.days, &mut looks);
                specimens.push(Specimen { taxon, tank, acquired, wild, true_one_year: case.survival(365), life });
            }
        }
        specimens
            .sort_by_key(|specimen| (tanks[specimen.tank].keeper, specimen.acquired, specimen.tank, specimen.taxon));
        SimulatedClub { design, keepers, tanks, specimens }
    }

    /// One-year survival under the model, averaged over the specimens of a taxon: what a curve should recover.
    pub fn true_one_year(&self, taxon: TaxonSlug) -> Option<f64> {
        let of_taxon: Vec<f64> = self
            .specimens
            .iter()
            .filter(|specimen| self.design.taxa[specimen.taxon].taxon == taxon)
            .map(|specimen| specimen.true_one_year)
            .collect();
        if of_taxon.is_empty() { None } else { Some(of_taxon.iter().sum::<f64>() / of_taxon.len() as f64) }
    }
}

fn draw_tank(keeper: usize, design: &Design, rng: &mut Draw) -> Tank {
    let started = -rng.whole(-200, 2500);
    let every = rng.whole(7, 24);
    let missed = 0.05 + 0.3 * rng.unit();
    let mut test_days = Vec::new();
    let mut day = started.max(0) + rng.whole(0, every);
    while day < design.days {
        if !rng.chance(missed) {
            test_days.push(day);
        }
        day += (every + rng.whole(-2, 3)).max(1);
    }
    Tank {
        keeper,
        started,
        litres: [120.0, 180.0, 240.0, 300.0, 350.0, 450.0, 600.0, 800.0][rng.below(8)],
        frailty: rng.gamma_mean_one(design.frailty_variance),
        feeds_per_week: [0.0, 0.0, 1.0, 2.0, 2.0, 3.0, 4.0][rng.below(7)],
        water: Water::draw(-MARGIN, design.days + MARGIN, rng),
        test_days,
        incident: None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_same_seed_gives_the_same_club() {
        let one = SimulatedClub::draw(Design::demo());
        let two = SimulatedClub::draw(Design::demo());
        assert_eq!(one.specimens.len(), two.specimens.len());
        assert!(one.specimens.iter().zip(&two.specimens).all(|(a, b)| a.acquired == b.acquired && a.life == b.life));
    }

    #[test]
    fn the_share_alive_after_a_year_is_near_the_model() {
        // 8,000 specimens of one taxon: Monte-Carlo error of the share is below 0.006.
        let mut design = Design::demo();
        design.taxa.truncate(1);
        design.taxa[0].specimens = 8_000;
        design.taxa[0].leaving_per_year = 0.0;
        let club = SimulatedClub::draw(design);
        let followed: Vec<&Specimen> = club.specimens.iter().filter(|s| s.acquired + 365 <= club.design.days).collect();
        let alive = followed.iter().filter(|s| s.life.died_on().is_none_or(|day| day - s.acquired > 365)).count();
        let truth: f64 = followed.iter().map(|s| s.true_one_year).sum::<f64>() / followed.len() as f64;
        let share = alive as f64 / followed.len() as f64;
        assert!((share - truth).abs() < 0.02, "share {share}, model {truth}");
    }

    #[test]
    fn most_deaths_are_seen_coming() {
        let mut design = Design::demo();
        design.taxa.truncate(1);
        design.taxa[0].specimens = 4_000;
        let club = SimulatedClub::draw(design);
        // Long enough here for two looks in the second half of a decline.
        let died =
            club.specimens.iter().filter(|s| matches!(s.life.end, Some((Fate::Died, day)) if day > s.acquired + 130));
        let (mut seen, mut all) = (0, 0);
        for specimen in died {
            all += 1;
            seen += usize::from(specimen.life.looks.iter().rev().take(2).any(|(_, condition)| *condition <= 2));
        }
        let share = seen as f64 / all as f64;
        assert!((0.5..0.8).contains(&share), "{seen} of {all}");
        let healthy =
            club.specimens.iter().flat_map(|s| &s.life.looks).filter(|(_, condition)| *condition >= 4).count();
        let looks = club.specimens.iter().map(|s| s.life.looks.len()).sum::<usize>();
        assert!(healthy as f64 > 0.85 * looks as f64, "{healthy} of {looks}");
    }

    #[test]
    fn nitrate_outside_the_band_costs_lives_by_the_stated_ratio() {
        let design = Design::demo();
        let plan = &design.taxa[0];
        assert!(plan.nitrate_ratio > 1.0);
        let inside = plan.daily_hazard(400, 10.0, false, 2.0);
        let outside = plan.daily_hazard(400, 40.0, false, 2.0);
        assert!((outside / inside - plan.nitrate_ratio).abs() < 1e-12);
    }
}
