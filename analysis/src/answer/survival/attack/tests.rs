//! The attack on a few clubs, on all, and without each rule.

use super::*;
use crate::answer::Question;
use crate::disclosure::plan::switches::{Rule, without};

/// Clubs of the short run.
const SHORT: &[u64] = &[0, 101, 151];

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
}

#[test]
fn the_attack_succeeds_without_each_rule() {
    for (rule, seed) in [(Rule::Minimum, 0), (Rule::Years, 0), (Rule::Tree, 0)] {
        assert!(without(Some(rule), || attack_club(seed)).broken() > 0, "{rule:?} is not needed");
    }
}

/// A member's upload lets a genus be told beside its group, whose older figures stand: their difference was four corals of another
/// genus.
#[test]
fn what_an_upload_lets_be_told_is_not_taken_from_figures_that_stand() {
    let of = |rule| without(rule, || attack_club_on_record(150)).broken();
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
];

#[test]
#[ignore = "every rule over many clubs"]
fn every_rule() {
    for rule in RULES {
        let caught = (0..40).find_map(|seed: u64| {
            let report = without(Some(*rule), || attack_club(seed));
            (report.broken() > 0).then_some((seed, report))
        });
        println!("{rule:?}: {:?}", caught.as_ref().map(|(seed, report)| (seed, &report.kinds)));
        caught
            .iter()
            .flat_map(|(_, report)| report.found.first())
            .for_each(|found| println!("    {}", found.chars().take(400).collect::<String>()));
    }
}

/// Corals at risk of one level in a week in which its own curve is cut, found by taking those of the other levels from those of
/// all. `cargo test --workspace --lib -- --ignored --nocapture attack::tests::curves`
#[test]
#[ignore = "prints what cut curves leave to be found"]
fn curves() {
    let stamp = clubs::support::stamp();
    let (mut found, mut weeks) = (0, 0);
    for seed in 0..40 {
        let club = clubs::club(seed);
        for slug in clubs::TAXA {
            let question = |by| Question {
                taxon: clubs::support::taxon(slug),
                outcome: Outcome::Death,
                by,
                edges: None,
                given: None,
                horizon_days: 365.0,
                since: None,
            };
            let told = |by| crate::answer::survival(&club, &question(by), Audience::Member, &stamp);
            let all = told(By::None);
            let Some(all) = all.result.given().filter(|_| all.taxon.answered == *slug) else { continue };
            let Some(curve) = all.groups.first().and_then(|group| group.curve.given()) else { continue };
            for by in [By::Origin, By::Form] {
                let split = told(by);
                let Some(result) = split.result.given().filter(|_| split.taxon.answered == *slug) else { continue };
                for point in curve {
                    let at = |group: &crate::answer::SurvivalGroup| {
                        let points = group.curve.given()?;
                        points.iter().find(|own| (own.time - point.time).abs() < 1e-9).map(|own| own.at_risk)
                    };
                    let hidden: Vec<&str> = result
                        .groups
                        .iter()
                        .filter(|group| at(group).is_none())
                        .map(|group| group.group.as_str())
                        .collect();
                    let shown: u64 = result.groups.iter().filter_map(at).sum();
                    weeks += 1;
                    if let ([one], 1..=2) = (hidden.as_slice(), point.at_risk.saturating_sub(shown)) {
                        found += 1;
                        if found <= 5 {
                            let keepers: BTreeSet<u32> = club.specimens.iter().map(|of| of.keeper).collect();
                            println!(
                                "club {seed} ({} keepers), {slug} by {}: on day {} {} at risk in all, {shown} in the other levels: {} of {one}",
                                keepers.len(),
                                by.as_str(),
                                point.time,
                                point.at_risk,
                                point.at_risk - shown
                            );
                        }
                    }
                }
            }
        }
    }
    println!("{found} of {weeks} weeks");
}
