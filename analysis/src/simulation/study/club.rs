//! The clubs of the study: tanks whose water wanders, corals that die by a known hazard, and records as members make
//! them, with the same club as nobody can record it beside.
//!
//! The figures are fixed before the study is run and are not tuned to its results. Each condition is a standard normal
//! number per tank and week, made of a part of the keeper, one of the tank and one that wanders; out of its band is above
//! 0. Written down it is a value of a parameter of the catalogue about one of its cut points.

use chrono::{Days as Span, NaiveDate};

use crate::club::{
    Club, Days, Ending, Identification, Keeper, Reading, Sighting, SightingSource, Specimen, Stay, Tank,
};
use crate::simulation::draw::Draw;
use crate::vocabulary::{CauseGroup, Fate, ParameterCode, TaxonSlug};

/// The conditions; the first is the one that may act. All speak for 35 days after a test.
const CONDITIONS: [&str; 8] =
    ["nitrate", "phosphate", "salinity", "calcium", "magnesium", "potassium", "silicate", "iodine"];
/// The taxon that every coral is.
pub(super) const TAXON: &str = "goniopora";

/// Days of the records.
pub(super) const DAYS: i32 = 1095;
/// Days before them of which nothing was written down.
const BEFORE: i32 = 364;
const WEEK: i32 = 7;
/// Weeks from the first day before the records to some weeks after their end.
const WEEKS: usize = ((BEFORE + DAYS) / WEEK + 8) as usize;

const TANKS_PER_KEEPER: usize = 2;
const CORALS_PER_TANK: usize = 6;
/// Deaths per coral-year of an average keeper's average tank in the band.
const YEARLY_HAZARD: f64 = 0.2;
const FRAILTY_VARIANCE: f64 = 0.5;
/// Standard deviation of the logarithm of what keepers multiply the hazard by.
const KEEPER_SPREAD: f64 = 0.5;
/// Correlation between conditions, in each of their parts.
const BETWEEN_CONDITIONS: f64 = 0.3;
/// Shares of a condition's variance: between keepers, between a keeper's tanks, over time. They sum to 1.
const PARTS: [f64; 3] = [0.3, 0.2, 0.5];
/// What is left after a week of the part that wanders.
const MEMORY: f64 = 0.93;
const MISSED_TESTS: f64 = 0.3;
const TEST_GAP: (i32, i32) = (7, 21);
const LATE_ENTRIES: f64 = 0.3;
const NOTICED_WITHIN: i32 = 14;
/// Standard deviations by which a drifting tank's condition falls from the first day to the last.
const DRIFT: f64 = 4.0;

/// What a club is drawn from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Plan {
    /// Seed of every draw.
    pub seed: u64,
    /// Members, of two tanks and twelve corals each.
    pub keepers: usize,
    /// Conditions that are tested: 1 to 8.
    pub conditions: usize,
    /// Hazard ratio of the first condition out of its band against in it; 1: no condition acts.
    pub hazard_ratio: f64,
    /// Correlation between what a keeper multiplies the hazard by and the keeper's mean of the first condition.
    pub correlation: f64,
    /// The first condition falls into its band over the years, in every tank.
    pub drift: bool,
}

/// A club as recorded, and as it was.
#[derive(Debug, Clone)]
pub struct Drawn {
    /// Tests now and then, deaths within a fortnight, corals that died before the list began missing from it.
    pub recorded: Club,
    /// Every week's water, every death on its day, every coral from its first day on.
    pub known: Club,
}

/// The conditions of a plan with the value at which each leaves its band.
pub(super) fn conditions(count: usize) -> Vec<(ParameterCode, f64)> {
    CONDITIONS
        .iter()
        .take(count)
        .filter_map(|code| {
            let code = ParameterCode::parse(code)?;
            let ladder = &code.get().ladder;
            Some((code, *ladder.get(ladder.len() / 2)?))
        })
        .collect()
}

/// A day of the records, from 0.
pub(super) fn day(number: i32) -> NaiveDate {
    let first = NaiveDate::from_ymd_opt(2021, 1, 1).unwrap_or_default();
    if number < 0 { first - Span::new(number.unsigned_abs().into()) } else { first + Span::new(number as u64) }
}

/// Standard normal numbers that are correlated with each other as conditions are.
fn correlated(rng: &mut Draw, count: usize) -> Vec<f64> {
    let mut own = Vec::with_capacity(count + 2);
    while own.len() <= count {
        own.extend(rng.normal_pair());
    }
    let common = BETWEEN_CONDITIONS.sqrt() * own[count];
    own[..count].iter().map(|own| common + (1.0 - BETWEEN_CONDITIONS).sqrt() * own).collect()
}

/// The conditions of one tank, week by week.
struct Water(Vec<Vec<f64>>);

impl Water {
    fn draw(plan: &Plan, keeper: &[f64], rng: &mut Draw) -> Water {
        let own = correlated(rng, plan.conditions);
        let mut wandering = correlated(rng, plan.conditions);
        let weeks = (0..WEEKS).map(|week| {
            let fresh = correlated(rng, plan.conditions);
            let value = |at: usize| {
                let drift = match (plan.drift, at) {
                    (true, 0) => DRIFT * (0.5 - f64::from(week as i32 * WEEK - BEFORE) / f64::from(DAYS)),
                    _ => 0.0,
                };
                PARTS[0].sqrt() * keeper[at] + PARTS[1].sqrt() * own[at] + PARTS[2].sqrt() * wandering[at] + drift
            };
            let now = (0..plan.conditions).map(value).collect();
            for (part, fresh) in wandering.iter_mut().zip(fresh) {
                *part = MEMORY * *part + (1.0 - MEMORY * MEMORY).sqrt() * fresh;
            }
            now
        });
        Water(weeks.collect())
    }

    /// The week that holds the hours after a day.
    fn week(day: i32) -> usize {
        (((day + BEFORE) / WEEK).max(0) as usize).min(WEEKS - 1)
    }

    fn on(&self, day: i32, condition: usize) -> f64 {
        self.0[Water::week(day)][condition]
    }

    /// The day of death of a coral bought on a day; `None` if it outlives the records by weeks.
    fn death(&self, bought: i32, daily: f64, plan: &Plan, rng: &mut Draw) -> Option<i32> {
        let mut left = -(1.0 - rng.unit()).ln();
        let mut at = bought;
        while Water::week(at) + 1 < WEEKS {
            let next = (Water::week(at) as i32 + 1) * WEEK - BEFORE;
            let hazard = if self.on(at, 0) > 0.0 { daily * plan.hazard_ratio } else { daily };
            if left < hazard * f64::from(next - at) {
                return Some(at + (left / hazard).ceil().max(1.0) as i32);
            }
            left -= hazard * f64::from(next - at);
            at = next;
        }
        None
    }
}

/// Draws a club.
pub fn draw(plan: &Plan) -> Drawn {
    let mut rng = Draw::seeded(plan.seed);
    let parameters = conditions(plan.conditions);
    let mut drawn = Drawn { recorded: Club::default(), known: Club::default() };
    let (mut recorded, mut known) = (Vec::new(), Vec::new());
    for keeper in 0..plan.keepers as u32 {
        let means = correlated(&mut rng, plan.conditions);
        let r = plan.correlation;
        let skill = KEEPER_SPREAD * (r * means[0] + (1.0 - r * r).sqrt() * rng.normal());
        for club in [&mut drawn.recorded, &mut drawn.known] {
            club.keepers.push(Keeper::default());
        }
        for _ in 0..TANKS_PER_KEEPER {
            let tank = drawn.known.tanks.len() as u32;
            for club in [&mut drawn.recorded, &mut drawn.known] {
                club.tanks.push(Tank { keeper, ..Tank::default() });
            }
            let frailty = rng.gamma_mean_one(FRAILTY_VARIANCE);
            let daily = YEARLY_HAZARD / 365.25 * frailty * skill.exp();
            let water = Water::draw(plan, &means, &mut rng);
            for (at, (parameter, cut)) in parameters.iter().enumerate() {
                let write = |on: i32| reading(tank, *parameter, on, cut * (1.0 + 0.1 * water.on(on, at)).max(0.0));
                test(&mut recorded, &mut rng, write);
                write_changes(&mut known, |on| water.on(on, at) > 0.0, write);
            }
            for coral in 0..CORALS_PER_TANK {
                let late = rng.chance(LATE_ENTRIES);
                let bought = if late { rng.whole(-BEFORE, -1) } else { rng.whole(0, DAYS - 60) };
                let died = water.death(bought, daily, plan, &mut rng);
                let one = Coral { key: format!("{tank}-{coral}"), keeper, tank, bought };
                drawn.known.specimens.push(one.known(died.filter(|day| *day <= DAYS)));
                // What died before the list began is not on it.
                if died.is_none_or(|day| day > 0) {
                    drawn.recorded.specimens.push(one.recorded(died, &mut rng));
                }
            }
        }
    }
    (drawn.recorded.readings, drawn.known.readings) = (recorded.into(), known.into());
    drawn
}

fn reading(tank: u32, parameter: ParameterCode, on: i32, value: f64) -> Reading {
    Reading {
        tank,
        parameter,
        on: day(on),
        value: Some(value),
        lower: value,
        upper: value,
        exact: true,
        zero_reported: false,
        limit: None,
        step: None,
        log: 0,
    }
}

/// Tests every one to three weeks, of which some are missing.
fn test(readings: &mut Vec<Reading>, rng: &mut Draw, write: impl Fn(i32) -> Reading) {
    let mut on = rng.whole(0, TEST_GAP.1);
    while on < DAYS {
        if !rng.chance(MISSED_TESTS) {
            readings.push(write(on));
        }
        on += rng.whole(TEST_GAP.0, TEST_GAP.1);
    }
}

/// A reading in every week in which the level changes, and often enough that each speaks until the next.
fn write_changes(readings: &mut Vec<Reading>, out: impl Fn(i32) -> bool, write: impl Fn(i32) -> Reading) {
    let mut last: Option<(usize, bool)> = None;
    for week in 0..WEEKS {
        let on = week as i32 * WEEK - BEFORE;
        if last.is_none_or(|(written, level)| level != out(on) || week - written >= 4) {
            readings.push(write(on));
            last = Some((week, out(on)));
        }
    }
}

struct Coral {
    key: String,
    keeper: u32,
    tank: u32,
    bought: i32,
}

impl Coral {
    fn plain(&self) -> Specimen {
        let bought = day(self.bought);
        let named = TaxonSlug::parse(TAXON).map(|taxon| Identification { taxon, on: None, guessed: false });
        Specimen {
            key: self.key.clone(),
            keeper: self.keeper,
            identifications: named.into_iter().collect(),
            acquired: Some(Days { earliest: Some(bought), latest: bought }),
            losses_listed: true,
            stays: vec![Stay { tank: self.tank, from: bought, to: None }],
            ..Specimen::default()
        }
    }

    fn known(&self, died: Option<i32>) -> Specimen {
        match died {
            Some(on) => Specimen { ending: Some(death(on, on)), ..self.plain() },
            None => Specimen { sightings: vec![seen(DAYS)], ..self.plain() },
        }
    }

    /// Its keeper looks at it every one to fourteen days; a death after the last look is not known.
    fn recorded(&self, died: Option<i32>, rng: &mut Draw) -> Specimen {
        let listed = Specimen { complete_since: Some(day(0)), ..self.plain() };
        let gap = rng.whole(1, NOTICED_WITHIN);
        let before = rng.whole(0, gap - 1);
        match died {
            Some(on) if on - 1 - before + gap <= DAYS => {
                let alive = (on - 1 - before).max(self.bought);
                Specimen { ending: Some(death(alive, on - 1 - before + gap)), ..listed }
            }
            _ => {
                let alive = died.map_or(DAYS, |on| on - 1).min(DAYS) - before;
                Specimen { sightings: vec![seen(alive.max(self.bought))], ..listed }
            }
        }
    }
}

fn seen(on: i32) -> Sighting {
    Sighting { on: day(on), source: SightingSource::Look, condition: None, tissue_cover: None, polyp_extension: None }
}

fn death(alive: i32, noticed: i32) -> Ending {
    Ending {
        fate: Fate::Died,
        cause_group: CauseGroup::Unknown,
        cause: None,
        earliest: day(alive),
        latest: day(noticed),
        written_day: false,
        date_held: false,
        poor_at_exit: false,
        all_died: false,
    }
}
