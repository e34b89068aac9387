//! Conditions at each moment against published reference cases, made up for the purpose and free of licence.

#[path = "support/club_builder.rs"]
mod support;

use std::collections::BTreeMap;

use analysis::answer::By;
use analysis::club::{Club, Stay};
use analysis::comparison::{Frame, Rows};
use analysis::evidence::tallies;
use analysis::exposure::trailing::trailing_mean;
use analysis::exposure::{Carry, Condition, Meaning, Rules, Series, Test};
use analysis::follow_up::{End, Follow, FollowUp, Population, day_number};
use analysis::vocabulary::CauseGroup;
use serde_json::Value;
use support::{ClubBuilder, parameter, taxon};

const FIRST: &str = "2023-01-01";

fn read(case: &str) -> Value {
    let path = format!("{}/tests/reference/{case}.json", env!("CARGO_MANIFEST_DIR"));
    serde_json::from_str(&std::fs::read_to_string(path).expect("the reference file")).expect("JSON")
}

fn number(value: &Value) -> f64 {
    value.as_f64().expect("a number")
}

fn whole(value: &Value) -> i64 {
    value.as_i64().expect("a whole number")
}

fn list(value: &Value) -> &Vec<Value> {
    value.as_array().expect("a list")
}

fn close(got: f64, want: f64, rel_tolerance: f64) {
    assert!((got - want).abs() <= rel_tolerance * want.abs().max(1e-8), "got {got}, published {want}");
}

/// A coral under observation from its first day in a tank, with its own day of acquisition.
fn follow(builder: &ClubBuilder, specimen: u32, acquired: i64, from: i64, to: i64, died: bool) -> Follow {
    let day = |day: i64| day_number(builder.day(day));
    Follow {
        specimen,
        keeper: 0,
        day0: day(acquired),
        entry: day(from),
        end: if died { End::Died(day(to)) } else { End::Alive(day(to)) },
        cause: CauseGroup::Unknown,
        date_held: false,
        acquired_midpoint: false,
        register_last: false,
        missing: false,
        entry_assumed: false,
        declined: false,
        until: f64::INFINITY,
    }
}

fn rows(club: &Club, by: By, edges: &[f64], rules: Rules, follows: Vec<Follow>) -> Rows {
    let population = Population::of(club, taxon("goniopora"), None);
    let condition = Condition::new(club, &population, by, Some(edges), rules).expect("a split");
    let follow_up = FollowUp { follows, ..FollowUp::default() };
    Frame { club, follow_up: &follow_up, condition: &condition, given: None }.middle().expect("rows").0
}

#[test]
fn carried_tests_give_the_published_rows() {
    let file = read("exposure_locf_small");
    let expected = &file["expected"];
    let edges: Vec<f64> = list(&expected["edges"]).iter().map(number).collect();
    // Alkalinity, whose tests are carried for the 21 days of the file; any parameter is an axis of numbers here.
    let code = "alkalinity";
    assert_eq!(f64::from(parameter(code).get().carry_days), number(&expected["carry"]));
    let mut builder = ClubBuilder::new(FIRST);
    let mut tanks: BTreeMap<&str, u32> = BTreeMap::new();
    let first = builder.keeper_with_tank();
    for name in ["A", "B", "C"] {
        let tank = if name == "A" { first } else { builder.tank(0) };
        tanks.insert(name, tank);
        for test in expected["tests"].get(name).map(list).into_iter().flatten() {
            let (day, value, censored) = (whole(&test[0]), number(&test[1]), whole(&test[2]) == 1);
            if censored {
                builder.reading_under(tank, code, day, value);
            } else {
                builder.reading(tank, code, day, value);
            }
        }
    }
    let mut follows: Vec<(Value, Rules, Follow)> = Vec::new();
    for case in list(&expected["cases"]) {
        let stays = list(&case["stays"]);
        let tank = |stay: &Value| tanks[stay[0].as_str().expect("a tank")];
        let (from, to) = (whole(&stays[0][1]), whole(&stays[stays.len() - 1][2]));
        let coral = builder.coral("goniopora", tank(&stays[0]), from);
        let stays: Vec<Stay> = stays
            .iter()
            .map(|stay| Stay {
                tank: tank(stay),
                from: builder.day(whole(&stay[1])),
                to: Some(builder.day(whole(&stay[2]))),
            })
            .collect();
        builder.specimen(coral).stays = stays;
        let died = case["died"].as_bool().expect("true or false");
        let rules = Rules { lag: number(&case["lag"]), short_carry: false };
        follows.push((case.clone(), rules, follow(&builder, coral as u32, whole(&case["acquired"]), from, to, died)));
    }
    let club = builder.build();
    let mut compared = 0;
    for (case, rules, follow) in follows {
        let cut = rows(&club, By::Parameter(parameter(code)), &edges, rules, vec![follow]);
        // Between two stays the coral is nowhere; the file leaves that time out.
        let got: Vec<(f64, f64, bool, u32, Option<u16>)> = (0..cut.len())
            .filter_map(|row| {
                let e = &cut.episodes;
                Some((e.start[row], e.stop[row], e.event[row], cut.tank[row]?, cut.level[row]))
            })
            .collect();
        let want: Vec<(f64, f64, bool, u32, Option<u16>)> = list(&case["rows"])
            .iter()
            .map(|row| {
                let tank = tanks[row["tank"].as_str().expect("a tank")];
                let band = row["band"].as_u64().map(|band| band as u16);
                (number(&row["start"]), number(&row["stop"]), whole(&row["event"]) == 1, tank, band)
            })
            .collect();
        assert_eq!(got, want, "{}", case["name"]);
        compared += want.len();
    }
    assert_eq!(compared, 29, "every row of the file was compared");
}

#[test]
fn trailing_means_are_the_published_ones() {
    let file = read("exposure_locf_small");
    let tolerance = number(&file["rel_tolerance"]);
    let expected = &file["expected"];
    let series: BTreeMap<&str, Series> = ["A", "B"]
        .into_iter()
        .map(|name| {
            let tests = list(&expected["tests"][name]).iter().map(|test| {
                let value = number(&test[1]);
                let meaning = if whole(&test[2]) == 1 { Meaning::Under(value) } else { Meaning::Exact(value) };
                Test { day: number(&test[0]), meaning, step: None, log: 0 }
            });
            (name, Series::new(tests.collect()))
        })
        .collect();
    let cases = list(&expected["trailing_mean_censored_counted_at_limit"]);
    for case in cases {
        let carry = Carry { lag: 0.0, days: number(&case["carry"]) };
        let tank = case["tank"].as_str().expect("a tank");
        let got = trailing_mean(&series[tank], number(&case["at"]), number(&case["window"]), &carry);
        close(got.mean.expect("a mean"), number(&case["mean"]), tolerance);
        close(got.coverage, number(&case["coverage"]), tolerance);
        assert_eq!(got.known().is_some(), number(&case["coverage"]) >= 0.5);
    }
    assert_eq!(cases.len(), 6);
}

/// Six corals begin in "high"; on day 12 those still alive, but for one, are moved to "low". Counted by the condition
/// of each moment the rates differ little; counted by the commonest condition of the whole life, "low" is credited with
/// the days each moved coral had to survive first.
#[test]
fn the_condition_of_each_moment_not_of_the_whole_life() {
    let file = read("immortal_time_example");
    let tolerance = number(&file["rel_tolerance"]);
    let expected = &file["expected"];
    let mut builder = ClubBuilder::new(FIRST);
    let high = builder.keeper_with_tank();
    let low = builder.tank(0);
    for (tank, value) in [(high, 30.0), (low, 10.0)] {
        for day in (-20..80).step_by(20) {
            builder.reading(tank, "nitrate", day, value);
        }
    }
    let mut follows = Vec::new();
    for life in list(&expected["specimens"]) {
        let coral = builder.coral("goniopora", high, 0);
        if let [_, change] = list(&life["changes"]).as_slice() {
            let moved = builder.day(whole(&change[0]));
            let specimen = builder.specimen(coral);
            specimen.stays[0].to = Some(moved);
            specimen.stays.push(Stay { tank: low, from: moved, to: None });
        }
        let died = whole(&life["died"]) == 1;
        follows.push(follow(&builder, coral as u32, 0, 0, whole(&life["time"]), died));
    }
    let lives = follows.len();
    let club = builder.build();
    let by = By::Parameter(parameter("nitrate"));
    let cut = rows(&club, by, &[15.0], Rules { lag: 0.0, short_carry: false }, follows);
    assert!(cut.level.iter().all(Option::is_some));
    // Level 0 is under 15, "low"; level 1 is "high".
    let level: Vec<u32> = cut.level.iter().map(|level| level.map_or(9, u32::from)).collect();
    let compare = |groups: &[u32], want: &Value| {
        let got = tallies(&cut, groups, 2).expect("counts");
        for (group, name) in [(0, "low"), (1, "high")] {
            close(got[group].days, number(&want["person_days"][name]), tolerance);
            assert_eq!(got[group].deaths as i64, whole(&want["deaths"][name]), "{name}");
            close(got[group].deaths as f64 / got[group].days, number(&want["rate"][name]), tolerance);
        }
    };
    compare(&level, &expected["correct"]);
    // The wrong way, to see that the file's case shows it: the commonest level of each life for all of its days.
    let mut days = vec![[0.0; 2]; lives];
    for row in 0..cut.len() {
        days[cut.specimen[row] as usize][level[row] as usize] += cut.episodes.stop[row] - cut.episodes.start[row];
    }
    let commonest: Vec<u32> =
        cut.specimen.iter().map(|&life| u32::from(days[life as usize][1] >= days[life as usize][0])).collect();
    compare(&commonest, &expected["naive_by_most_common_band_over_life"]);
}
