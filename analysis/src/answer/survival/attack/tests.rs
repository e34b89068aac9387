//! The attack on a few clubs, on all, and without each rule.

use super::subtraction::{Taken, curves, hazards};
use super::*;
use crate::disclosure::plan::switches::{Rule, without};

/// Clubs of the short run.
const SHORT: &[u64] = &[0, 101, 151];
/// Clubs whose curves are taken from each other in it: with answers by a split.
const BY_AGE: &[u64] = &[1, 4];

fn print(report: &Report) {
    for (kind, (bounded, least, broken)) in &report.kinds {
        println!("{kind:32} bounded {bounded:7}  fewest open {least:8.1}  broken {broken}");
    }
    report.found.iter().take(12).for_each(|found| println!("{}", found.chars().take(900).collect::<String>()));
}

#[test]
fn no_cell_is_bounded_too_tightly() {
    let mut all = Report::default();
    SHORT.iter().for_each(|seed| all.join(attack_club(*seed)));
    print(&all);
    assert_eq!(all.broken(), 0);
    assert!(all.kinds.len() > 5, "{:?}", all.kinds.keys());
    let has_lines =
        |code: &&'static str| Menu::Lines(code).divided(clubs::support::taxon("acropora-millepora")).is_some();
    assert!(LINES.iter().all(has_lines));
}

#[test]
fn the_attack_succeeds_without_each_rule() {
    for (rule, seed) in [(Rule::Minimum, 0), (Rule::Years, 0), (Rule::Tree, 1), (Rule::Outcome, 9), (Rule::Alike, 26)] {
        assert!(without(Some(rule), || attack_club(seed)).broken() > 0, "{rule:?} is not needed");
    }
}

/// A member's upload lets a genus be told beside its group, whose older figures stand: their difference was four corals of another
/// genus.
#[test]
fn what_an_upload_lets_be_told_is_not_taken_from_figures_that_stand() {
    let mut of_club = clubs::support::ClubBuilder::new("2023-01-01");
    let tanks: Vec<u32> = (0..4).map(|_| of_club.keeper_with_tank()).collect();
    for (slug, tank, corals) in [
        ("acropora-millepora", 0, 3),
        ("acropora-millepora", 1, 3),
        ("acropora-millepora", 2, 3),
        ("montipora-digitata", 0, 2),
        ("montipora-digitata", 1, 2),
        ("montipora-digitata", 3, 6),
    ] {
        for _ in 0..corals {
            of_club.coral(slug, tanks[tank], 10);
        }
    }
    let after = of_club.build();
    let mut before = after.clone();
    before.specimens.retain(|specimen| specimen.keeper != 3);
    let upload = Changed { before: &before, after: &after, adds: true, keeper: 3 };
    let of = |rule| {
        let mut report = Report::default();
        without(rule, || attack_on_record(&upload, "a genus beside its group", &mut report));
        report.broken()
    };
    assert_eq!(of(None), 0);
    assert!(of(Some(Rule::Told)) > 0);
}

/// `cargo test --workspace --lib -- --ignored --nocapture attack::tests::every_club`.
#[test]
#[ignore = "two hundred clubs take long"]
fn every_club() {
    let seeds: Vec<u64> = (0..200).collect();
    let mut all = Report::default();
    let reports = crate::numeric::parallel::map(&seeds, |seed| {
        let report = attack_club(*seed);
        println!("club {seed}: {} bounded too tightly", report.broken());
        print(&report);
        report
    });
    reports.into_iter().for_each(|report| all.join(report));
    println!("{} clubs", seeds.len());
    print(&all);
    assert_eq!(all.broken(), 0);
}

/// What lines of conditions leave open. `cargo test --workspace --lib -- --ignored --nocapture attack::tests::lines`
#[test]
#[ignore = "prints what is bounded too tightly; not all of it is mended"]
fn lines() {
    let seeds: Vec<u64> = (0..40).chain([101]).collect();
    let mut all = Report::default();
    crate::numeric::parallel::map(&seeds, |seed| attack_lines(*seed)).into_iter().for_each(|report| all.join(report));
    print(&all);
}

/// All but that of ages, which the test of curves has.
const RULES: &[Rule] = &[
    Rule::Minimum,
    Rule::Years,
    Rule::Tree,
    Rule::Given,
    Rule::Outcome,
    Rule::Public,
    Rule::Layers,
    Rule::Wider,
    Rule::Across,
    Rule::Edges,
    Rule::Parts,
    Rule::Enough,
    Rule::Fits,
    Rule::Told,
    Rule::Alike,
];

#[test]
#[ignore = "every rule over many clubs"]
fn every_rule() {
    let caught = crate::numeric::parallel::map(RULES, |rule| {
        let caught = (0..40).find_map(|seed: u64| {
            let report = without(Some(*rule), || attack_club(seed));
            (report.broken() > 0).then_some((seed, report))
        });
        println!("{rule:?}: {:?}", caught.as_ref().map(|(seed, report)| (seed, &report.kinds)));
        let found = caught.iter().flat_map(|(_, report)| report.found.first());
        found.for_each(|found| println!("    {}", found.chars().take(400).collect::<String>()));
        (*rule, caught.map(|(seed, _)| seed))
    });
    println!("{caught:?}");
}

/// Splits whose curves are taken from each other, and from those of all: words, years, ladders with and without a band.
fn splits_by_age() -> Vec<By> {
    ["year", "origin", "form", "nitrate", "tank_age"].iter().map(|code| By::parse(code).expect("a split")).collect()
}

/// What follows by subtraction from curves, and from losses by age, in some clubs.
fn by_age(seeds: &[u64], rule: Option<Rule>) -> [Taken; 2] {
    let mut all: [Taken; 2] = Default::default();
    for (seed, audience) in seeds.iter().flat_map(|seed| [(seed, Audience::Public), (seed, Audience::Member)]) {
        let (club, outcome) = (clubs::club(*seed), Outcome::FirstSeriousDecline);
        without(rule, || {
            splits_by_age().into_iter().for_each(|by| all[0].join(curves(&club, by, outcome, audience)));
            all[1].join(hazards(&club, outcome, audience));
        });
    }
    all
}

fn print_taken(what: &str, [curves, hazards]: &[Taken; 2]) {
    println!("{what}: {} points of curves, {} sums too small", curves.told, curves.found);
    println!("{what}: {} pieces of age, {} sums too small", hazards.told, hazards.found);
    let first = curves.first.iter().take(3).chain(hazards.first.iter().take(3));
    first.for_each(|first| println!("    {}", first.chars().take(600).collect::<String>()));
}

#[test]
fn nothing_too_small_follows_from_curves_of_different_answers() {
    let told = by_age(BY_AGE, None);
    print_taken("told", &told);
    let off = by_age(BY_AGE, Some(Rule::Ages));
    print_taken("without the rule", &off);
    assert_eq!([told[0].found, told[1].found], [0, 0]);
    assert!(told[0].told > 1000 && off[0].found > 0 && off[1].found > 0);
}

/// `cargo test --workspace --lib -- --ignored --nocapture attack::tests::by_age_in_many_clubs`
#[test]
#[ignore = "forty clubs take long"]
fn by_age_in_many_clubs() {
    let seeds: Vec<u64> = (0..40).collect();
    let each = crate::numeric::parallel::map(&seeds, |seed| {
        let both = [None, Some(Rule::Ages)].map(|rule| by_age(&[*seed], rule));
        print_taken(&format!("club {seed}"), &both[0]);
        print_taken(&format!("club {seed} without the rule"), &both[1]);
        both
    });
    let mut all: [[Taken; 2]; 2] = Default::default();
    for both in each {
        for (all, found) in all.iter_mut().flatten().zip(both.into_iter().flatten()) {
            all.join(found);
        }
    }
    print_taken("told", &all[0]);
    print_taken("without the rule", &all[1]);
    assert_eq!([all[0][0].found, all[0][1].found], [0, 0]);
}
