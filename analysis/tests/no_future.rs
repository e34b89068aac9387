//! No row may depend on what happened after it: for every day, deleting all readings, placements, habits and events on
//! or after that day leaves every row, clipped at that day, unchanged.

#[path = "support/club_builder.rs"]
mod support;

use analysis::answer::By;
use analysis::club::{CareEvent, Club, Placement, Reading, Routine};
use analysis::comparison::Frame;
use analysis::exposure::given::WaterInBand;
use analysis::exposure::{Condition, Factor, Rules};
use analysis::follow_up::{FollowUp, Population, Run, day_number, follow_up};
use proptest::prelude::*;
use support::{ClubBuilder, parameter, taxon};

const DAYS: i64 = 160;

type Habit = (u32, bool, usize, i64, Option<i64>, Option<i32>);

#[derive(Debug, Clone)]
struct Plan {
    /// (tank, parameter, day, value in tenths, qualifier, log)
    readings: Vec<(u32, usize, i64, i32, u8, u32)>,
    /// (tank, first day of a daily probe)
    probe: Option<(u32, i64)>,
    /// (coral, day, par, flow word)
    placements: Vec<(usize, i64, Option<i32>, u8)>,
    /// (tank, own coral, kind, from, length or open, rate)
    routines: Vec<Habit>,
    /// (tank, own coral, kind, day)
    events: Vec<(u32, bool, usize, i64)>,
    /// (acquired, day of a move, day of death)
    corals: Vec<(i64, Option<i64>, Option<i64>)>,
}

const PARAMETERS: &[&str] = &["nitrate", "phosphate", "temperature", "salinity", "alkalinity"];
const KINDS: &[&str] = &["target_feed", "broadcast_feed", "water_change", "carbon"];

fn plan() -> impl Strategy<Value = Plan> {
    let reading = (0..2u32, 0..PARAMETERS.len(), 0..DAYS, 0..400i32, 0..6u8, 0..2u32);
    let placement = (0..4usize, 0..DAYS, proptest::option::of(20..400i32), 0..4u8);
    let length = proptest::option::of(1..80i64);
    let routine = (0..2u32, any::<bool>(), 0..KINDS.len(), 0..DAYS, length, proptest::option::of(0..8i32));
    let event = (0..2u32, any::<bool>(), 0..KINDS.len(), 0..DAYS);
    let coral = (0..40i64, proptest::option::of(41..90i64), proptest::option::of(60..DAYS));
    (
        prop::collection::vec(reading, 0..60),
        proptest::option::of((0..2u32, 0..DAYS)),
        prop::collection::vec(placement, 0..8),
        prop::collection::vec(routine, 0..8),
        prop::collection::vec(event, 0..30),
        prop::collection::vec(coral, 4),
    )
        .prop_map(|(readings, probe, placements, routines, events, corals)| Plan {
            readings,
            probe,
            placements,
            routines,
            events,
            corals,
        })
}

fn club(plan: &Plan) -> Club {
    let mut builder = ClubBuilder::new("2023-01-01");
    builder.keeper_with_tank();
    builder.tank(0);
    builder.club.keepers[0].keeping_since = Some(2021);
    let first = builder.day(0);
    builder.club.tanks[0].started = Some(first);
    for &(tank, code, day, tenths, qualifier, log) in &plan.readings {
        let value = match PARAMETERS[code] {
            "phosphate" => f64::from(tenths) / 1000.0,
            "temperature" => 20.0 + f64::from(tenths) / 50.0,
            "salinity" => 30.0 + f64::from(tenths) / 50.0,
            _ => f64::from(tenths) / 10.0,
        };
        builder.reading(tank, PARAMETERS[code], day, value);
        let reading: &mut Reading = builder.readings.last_mut().expect("the one just made");
        reading.log = log;
        match qualifier {
            0 => (reading.lower, reading.exact) = (0.0, false),
            1 => (reading.upper, reading.exact) = (f64::INFINITY, false),
            2 => (reading.value, reading.upper, reading.exact) = (None, value * 1.5 + 1.0, false),
            _ => {}
        }
    }
    if let Some((tank, from)) = plan.probe {
        for day in from..DAYS {
            builder.reading(tank, "temperature", day, 25.0 + (day % 5) as f64 / 4.0);
        }
    }
    for &(acquired, moved, died) in &plan.corals {
        let coral = builder.coral("goniopora", 0, acquired);
        if let Some(day) = moved {
            let day = builder.day(day);
            let specimen = builder.specimen(coral);
            specimen.stays[0].to = Some(day);
            specimen.stays.push(analysis::club::Stay { tank: 1, from: day, to: None });
        }
        match died {
            Some(day) => builder.died(coral, day),
            None => builder.looked_at(coral, DAYS),
        }
    }
    for &(coral, day, par, flow) in &plan.placements {
        let from = builder.day(day);
        let flow = ["still", "swaying", "thrashing"].get(usize::from(flow)).map(|word| (*word).to_owned());
        let placement = Placement { from, par: par.map(f64::from), flow, stinging_within_reach: None };
        builder.specimen(coral).placements.push(placement);
    }
    for specimen in &mut builder.club.specimens {
        specimen.placements.sort_by_key(|placement| placement.from);
    }
    for &(tank, own, kind, from, length, rate) in &plan.routines {
        let (from, to) = (builder.day(from), length.map(|length| builder.day(from + length)));
        builder.club.routines.push(Routine {
            tank,
            specimen: own.then_some(0),
            kind: KINDS[kind].to_owned(),
            per_week: rate.map(f64::from),
            from,
            to,
            confirmed: from,
        });
    }
    for &(tank, _, kind, day) in plan.events.iter().step_by(3) {
        let kind = ["power_cut", "pest_found", "new_fish"][kind % 3].to_owned();
        let from = builder.day(day);
        builder.club.incidents.push(analysis::club::Incident { tank, specimen: None, kind, from, to: None });
    }
    for &(tank, own, kind, day) in &plan.events {
        let on = builder.day(day);
        let kind = KINDS[kind].to_owned();
        builder.club.events.push(CareEvent { tank, specimen: own.then_some(0), kind, on, amount: Some(10.0) });
    }
    builder.build()
}

/// The club as it was known before a day.
fn before(club: &Club, day: f64) -> Club {
    let mut known = club.clone();
    known.readings.retain(|reading| day_number(reading.on) < day);
    known.routines.retain(|routine| day_number(routine.from) < day);
    known.events.retain(|event| day_number(event.on) < day);
    known.incidents.retain(|incident| day_number(incident.from) < day);
    for specimen in &mut known.specimens {
        specimen.placements.retain(|placement| day_number(placement.from) < day);
        specimen.ending = specimen.ending.take().filter(|ending| day_number(ending.latest) < day);
    }
    known
}

/// The rows of a condition, clipped at a calendar day; nothing where no cut is written for it.
fn clipped_factor(club: &Club, follow_up: &FollowUp, factor: Factor, rules: Rules, day: f64) -> Vec<Row> {
    let population = Population::of(club, taxon("goniopora"), None);
    let Ok(condition) = Condition::of_factor(club, &population, factor, rules) else { return Vec::new() };
    let (cut, _) = Frame { club, follow_up, condition: &condition, given: None }.middle().expect("rows");
    let rows = (0..cut.len()).map(|row| {
        let day0 = follow_up.follows[cut.specimen[row] as usize].day0;
        let (start, stop) = (cut.episodes.start[row] + day0, (cut.episodes.stop[row] + day0).min(day));
        (cut.specimen[row], start, stop, cut.tank[row], cut.level[row])
    });
    rows.filter(|row| row.1 < row.2).collect()
}

type Row = (u32, f64, f64, Option<u32>, Option<u16>);

/// The rows of a split, clipped at a calendar day.
fn clipped(
    club: &Club,
    follow_up: &FollowUp,
    split: (By, Option<&[f64]>),
    rules: Rules,
    water: &WaterInBand,
    day: f64,
) -> Vec<Row> {
    let population = Population::of(club, taxon("goniopora"), None);
    let condition = Condition::new(club, &population, split.0, split.1, rules).expect("a split");
    let mut rows = Vec::new();
    for given in [None, Some(water)] {
        let (cut, _) = Frame { club, follow_up, condition: &condition, given }.middle().expect("rows");
        for row in 0..cut.len() {
            let day0 = follow_up.follows[cut.specimen[row] as usize].day0;
            let (start, stop) = (cut.episodes.start[row] + day0, (cut.episodes.stop[row] + day0).min(day));
            if start < stop {
                rows.push((cut.specimen[row], start, stop, cut.tank[row], cut.level[row]));
            }
        }
    }
    rows
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 8, failure_persistence: None, ..ProptestConfig::default() })]
    #[test]
    fn deleting_the_future_changes_no_row_of_the_past(plan in plan()) {
        let club = club(&plan);
        let population = Population::of(&club, taxon("goniopora"), None);
        let follow_up = follow_up(&club, &population, Run::Main);
        prop_assert!(!follow_up.follows.is_empty());
        let first = day_number("2023-01-01".parse().expect("a date"));
        let ladder = [5.0, 25.0];
        let splits = [
            (By::Parameter(parameter("nitrate")), None),
            (By::Parameter(parameter("nitrate")), Some(&ladder[..])),
            (By::Parameter(parameter("temperature")), None),
            (By::Parameter(parameter("par")), None),
            (By::Light, None),
            (By::Flow, None),
            (By::Feeding, None),
            (By::WaterChange, None),
            (By::Carbon, None),
            (By::TankAge, None),
            (By::KeeperExperience, None),
        ];
        for run in [Run::Main, Run::Lag0, Run::ShortCarry] {
            let rules = Rules::of(run);
            let water = |club: &Club| WaterInBand::new(club, taxon("goniopora"), &[0, 1], rules);
            let water_later = water(&club);
            for offset in (0..=DAYS).step_by(5) {
                let day = first + offset as f64;
                let known = before(&club, day);
                let water_now = water(&known);
                if offset % 20 == 0 {
                    let factors = Factor::list(taxon("goniopora")).into_iter().chain([Factor::EarlierLosses]);
                    for factor in factors.filter(|factor| !matches!(factor, Factor::Form(_))) {
                        let now = clipped_factor(&known, &follow_up, factor, rules, day);
                        let later = clipped_factor(&club, &follow_up, factor, rules, day);
                        prop_assert_eq!(now, later, "{:?} {:?} before day {}", factor, run, offset);
                    }
                }
                for split in splits {
                    let now = clipped(&known, &follow_up, split, rules, &water_now, day);
                    let later = clipped(&club, &follow_up, split, rules, &water_later, day);
                    prop_assert_eq!(now, later, "{:?} {:?} before day {}", split, run, offset);
                }
            }
        }
    }
}
