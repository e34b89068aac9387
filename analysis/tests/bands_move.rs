//! The club teaches another band: levels of the same name hold other days, and the figures of two releases are told apart by
//! the days that their levels have in common.

#[allow(dead_code, reason = "its chance alone is drawn from")]
#[path = "support/random_club.rs"]
mod random_club;
#[path = "support/club_builder.rs"]
mod support;

use std::collections::{BTreeMap, BTreeSet};

use chrono::NaiveDate;

use analysis::answer::{
    Audience, By, Held, Outcome, Piece, Question, Records, TaxonQuestion, survival, teaches_otherwise,
};
use analysis::club::{Club, ClubBand};
use analysis::exposure::{Condition, Rules};
use analysis::follow_up::{Population, Run, follow_up};
use random_club::Chance;
use support::{ClubBuilder, parameter, stamp, taxon};

const SLUG: &str = "goniopora";

/// Members with one tank of two corals each, at one nitrate all the time.
fn club_at(nitrates: &[f64]) -> Club {
    let mut builder = ClubBuilder::new("2022-01-01");
    for nitrate in nitrates {
        let tank = builder.keeper_with_tank();
        (-30..700).step_by(20).for_each(|day| builder.reading(tank, "nitrate", day, *nitrate));
        for acquired in [10, 40] {
            let coral = builder.coral(SLUG, tank, acquired);
            builder.looked_at(coral, 700);
        }
    }
    builder.build()
}

fn teaching(club: &Club, lower: f64, upper: f64) -> Club {
    let mut taught = ClubBuilder::new("2022-01-01");
    taught.band(SLUG, "nitrate", lower, upper, "mg/L");
    Club { bands: taught.club.bands, ..club.clone() }
}

fn nitrate() -> By {
    By::Parameter(parameter("nitrate"))
}

/// Whether the answers by a piece of the later club may follow those of the earlier.
fn follows(before: &Club, after: &Club, piece: &Piece) -> bool {
    let held = |club: &Club, others: &[ClubBand]| {
        let population = Population::of(club, taxon(SLUG), None);
        let records = Records::of(club, &population);
        Held::of(&records.beside(others), piece, &|keeper| Some(keeper.to_string()))
    };
    held(after, &before.bands).may_follow(&held(before, &after.bands))
}

/// The same club after everybody corrected something of every coral, by a day: each block rests on what several changed.
fn everybody_wrote(club: &Club) -> Club {
    let mut club = club.clone();
    let before = |day: NaiveDate| day.pred_opt().expect("a day");
    for specimen in &mut club.specimens {
        if let Some(acquired) = &mut specimen.acquired {
            acquired.earliest = acquired.earliest.map(before);
            acquired.latest = before(acquired.latest);
        }
        if let Some(stay) = specimen.stays.first_mut() {
            stay.from = before(stay.from);
        }
    }
    club
}

/// What members are told: specimens by level.
fn told(club: &Club) -> BTreeMap<String, u64> {
    let question = Question {
        by: nitrate(),
        ..TaxonQuestion { taxon: taxon(SLUG), outcome: Outcome::Death, since: None }.plain()
    };
    let answer = serde_json::to_value(survival(club, &question, Audience::Member, &stamp())).expect("JSON");
    let groups = answer["result"]["groups"].as_array().cloned().unwrap_or_default();
    let of = |group: &serde_json::Value| Some((group["group"].as_str()?.to_owned(), group["n"].as_u64()?));
    groups.iter().filter_map(of).collect()
}

/// So many members below 5, so many at 13, six within at 9, and above as many as below.
fn club_with_at_the_edge(outside: usize, members: usize) -> Club {
    let levels = [(2.0, outside), (13.0, members), (9.0, 6), (40.0, outside)];
    let nitrates: Vec<f64> = levels.into_iter().flat_map(|(nitrate, members)| vec![nitrate; members]).collect();
    club_at(&nitrates)
}

#[test]
fn an_edge_past_one_members_corals_keeps_the_older_figures() {
    let club = club_with_at_the_edge(4, 1);
    let (before, after) = (teaching(&club, 5.0, 15.0), teaching(&club, 5.0, 11.0));
    // Without the rule the two tables would give them by subtraction.
    assert_eq!((told(&before)["within"], told(&after)["within"]), (14, 12));
    assert!(!follows(&before, &after, &Piece::Split(nitrate())));
    assert!(!follows(&after, &before, &Piece::Split(nitrate())));
    // Answers that know nothing of the band follow.
    assert!(follows(&before, &after, &Piece::Split(By::Origin)));
    assert!(follows(&before, &after, &Piece::Split(By::None)));
}

#[test]
fn an_edge_past_enough_members_corals_follows_and_past_fewer_does_not() {
    // Four, of two corals each, where members alone see the levels apart; five where everybody does.
    for (outside, members, enough) in [(4, 3, false), (4, 4, true), (5, 4, false), (5, 5, true)] {
        let club = club_with_at_the_edge(outside, members);
        let (before, after) = (teaching(&club, 5.0, 15.0), teaching(&club, 5.0, 11.0));
        assert_ne!(told(&before), told(&after));
        // What nobody wrote anything in is told as it was told before, or not at all.
        assert!(!follows(&before, &after, &Piece::Split(nitrate())));
        let after = everybody_wrote(&after);
        assert_eq!(follows(&before, &after, &Piece::Split(nitrate())), enough, "{outside} {members}");
    }
}

#[test]
fn an_edge_past_nobodys_corals_follows_whatever_it_is_called() {
    let club = club_with_at_the_edge(3, 1);
    let (before, after) = (teaching(&club, 5.0, 15.0), teaching(&club, 4.0, 20.0));
    assert!(follows(&before, &after, &Piece::Split(nitrate())));
    // Words alone move nothing.
    let mut said = before.clone();
    said.bands[0].as_taught = "never above 15".to_owned();
    let population = Population::of(&club, taxon(SLUG), None);
    assert!(!teaches_otherwise(&population, &before.bands, &said.bands));
    assert!(teaches_otherwise(&population, &before.bands, &after.bands));
}

/// Members with time in each pair of an older and a later level.
fn moved(before: &Club, after: &Club) -> BTreeMap<(Option<u16>, Option<u16>), BTreeSet<u32>> {
    let population = Population::of(before, taxon(SLUG), None);
    let rules = Rules::of(Run::Main);
    let by = |club: &Club| {
        Condition::new(before, &population, nitrate(), None, rules)
            .map(|_| Condition::taught(before, &club.bands, &population, nitrate(), rules))
    };
    let (then, now) = (by(before).expect("levels"), by(after).expect("levels"));
    let mut members: BTreeMap<_, BTreeSet<u32>> = BTreeMap::new();
    for follow in &follow_up(before, &population, Run::Main).follows {
        let specimen = &before.specimens[follow.specimen as usize];
        let (from, to) = (follow.day0 + follow.entry, follow.day0 + follow.end.middle());
        for stay in &specimen.stays {
            for old in then.between(follow.specimen, specimen.keeper, Some(stay.tank), from, to) {
                for new in now.between(follow.specimen, specimen.keeper, Some(stay.tank), old.start, old.stop) {
                    members.entry((old.level, new.level)).or_default().insert(specimen.keeper);
                }
            }
        }
    }
    members
}

#[test]
fn whatever_follows_moved_nobody_or_three_members_between_any_two_levels() {
    let (mut followed, mut stood) = (0, 0);
    let mut chance = Chance::new(500);
    for _ in 0..24 {
        let mut of = |most: f64| (most * chance.unit()) as usize;
        let (outside, members, upper) = (3 + of(4.0), 1 + of(7.0), [8.0, 11.0, 14.0, 20.0, 45.0][of(5.0)]);
        let club = club_with_at_the_edge(outside, members);
        let (lower, before, after) = (5.0, teaching(&club, 5.0, 15.0), teaching(&club, 5.0, upper));
        let follows = follows(&before, &everybody_wrote(&after), &Piece::Split(nitrate()));
        let apart = [&before, &after]
            .map(told)
            .into_iter()
            .all(|levels| ["below", "within", "above"].iter().all(|level| levels.contains_key(*level)));
        if follows {
            followed += 1
        } else {
            stood += 1
        }
        if follows && apart {
            for (levels, members) in moved(&before, &after) {
                assert!(levels.0 == levels.1 || members.len() >= 3, "{outside} {lower} {upper} {levels:?} {members:?}");
            }
        }
    }
    assert!(followed >= 1 && stood >= 1, "{followed} followed, {stood} did not");
}
