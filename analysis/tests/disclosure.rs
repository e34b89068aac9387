//! What restricted readers are shown of whole clubs: the public's counts are the members', rounded; levels add up.

#[path = "support/random_club.rs"]
mod random_club;
#[path = "support/club_builder.rs"]
mod support;

use std::collections::BTreeSet;

use analysis::answer::{
    Audience, By, Given, GrowthQuestion, Outcome, Question, SurvivalAnswer, SurvivalGroup, growth, survival,
};
use analysis::club::Club;
use analysis::disclosure::block_minimum;
use analysis::disclosure::rounding::{count, days};
use analysis::refusal::{Part, RefusalCode};
use random_club::{Size, random_club};
use support::{parameter, stamp, taxon};

const SLUGS: &[&str] = &["goniopora", "acropora-millepora", "acropora-tenuis", "acropora"];

fn club(seed: u64) -> Club {
    random_club(seed, &Size { keepers: 12 + 3 * (seed as usize % 4), corals_per_tank: 7, slugs: SLUGS })
}

fn ask(slug: &str, by: By, since: Option<i32>) -> Question {
    Question { taxon: taxon(slug), outcome: Outcome::Death, by, edges: None, given: None, horizon_days: 365.0, since }
}

/// The levels that a printed group is made of.
fn levels(code: &str) -> BTreeSet<String> {
    let years: Vec<i32> = code.split(" to ").filter_map(|year| year.parse().ok()).collect();
    match years.as_slice() {
        [first, last] => (*first..=*last).map(|year| year.to_string()).collect(),
        _ => code.split('+').map(str::to_owned).collect(),
    }
}

fn groups(answer: &SurvivalAnswer) -> Option<&[SurvivalGroup]> {
    answer.result.given().map(|result| result.groups.as_slice())
}

#[test]
fn every_public_count_is_the_rounded_sum_of_the_members_counts() {
    let splits = [By::None, By::Year, By::Origin, By::Feeding, By::Parameter(parameter("nitrate"))];
    let (mut compared, mut joined) = (0, 0);
    for (seed, since) in [(1, None), (2, None), (3, Some(2023))] {
        let club = club(seed);
        for slug in ["goniopora", "acropora", "acropora-tenuis"] {
            for by in splits {
                let question = ask(slug, by, since);
                let public = survival(&club, &question, Audience::Public, &stamp());
                let member = survival(&club, &question, Audience::Member, &stamp());
                if public.taxon.answered != member.taxon.answered {
                    continue;
                }
                if let (Part::Given(seen), Part::Given(exact)) = (&public.evidence, &member.evidence) {
                    let counts = [
                        (seen.specimens, exact.specimens),
                        (seen.keepers, exact.keepers),
                        (seen.tanks, exact.tanks),
                        (seen.deaths, exact.deaths),
                        (seen.missing, exact.missing),
                        (seen.tank_events, exact.tank_events),
                    ];
                    assert!(counts.iter().all(|(seen, exact)| *seen == count(*exact)), "{slug} {by:?} {counts:?}");
                    assert_eq!(seen.specimen_days, days(exact.specimen_days));
                }
                let Some(public) = groups(&public) else { continue };
                let member = groups(&member).expect("members are shown what the public is");
                for group in public {
                    let own = levels(&group.group);
                    let parts: Vec<&SurvivalGroup> =
                        member.iter().filter(|part| levels(&part.group).is_subset(&own)).collect();
                    let held: BTreeSet<String> = parts.iter().flat_map(|part| levels(&part.group)).collect();
                    assert_eq!(held, own, "{slug} {by:?}: a union of the members' blocks");
                    assert_eq!(group.events, count(parts.iter().map(|part| part.events).sum()), "{slug} {by:?}");
                    let sum = parts.iter().map(|part| part.evidence.specimen_days).sum();
                    assert_eq!(group.evidence.specimen_days, days(sum), "{slug} {by:?}");
                    if !by.varies_in_time() {
                        assert_eq!(group.n, count(parts.iter().map(|part| part.n).sum()), "{slug} {by:?}");
                    }
                    compared += 1;
                    joined += usize::from(parts.len() > 1);
                }
            }
        }
    }
    assert!(compared > 30 && joined > 2, "{compared} groups, {joined} of several");
}

#[test]
fn the_order_of_corals_changes_nothing_that_is_shown() {
    let club = club(4);
    let mut turned = club.clone();
    turned.specimens.reverse();
    for by in [By::None, By::Year, By::Origin, By::Parameter(parameter("nitrate"))] {
        for audience in [Audience::Member, Audience::Public] {
            let shown = |club: &Club| {
                let answer = survival(club, &ask("acropora", by, None), audience, &stamp());
                groups(&answer)
                    .map(|groups| groups.iter().map(|g| (g.group.clone(), g.n, g.events)).collect::<Vec<_>>())
            };
            assert_eq!(shown(&club), shown(&turned), "{by:?} {audience:?}");
        }
    }
}

#[test]
fn corals_in_no_level_shown_of_growth_are_none_or_enough_to_show() {
    let mut split = 0;
    for seed in 0..8 {
        let mut club = club(seed);
        // Two corals only whose origin nobody wrote down.
        let mut unknown = 0;
        for specimen in &mut club.specimens {
            let is_goniopora = specimen.identifications.last().is_some_and(|name| name.taxon == taxon("goniopora"));
            if is_goniopora && specimen.origin.is_none() {
                unknown += 1;
                if unknown > 2 {
                    specimen.origin = Some(analysis::vocabulary::Origin::WildCollected);
                }
            }
        }
        for audience in [Audience::Member, Audience::Curator] {
            let question = GrowthQuestion { taxon: taxon("goniopora"), by: By::Origin, edges: None, since: None };
            let answer = growth(&club, &question, audience, &stamp());
            let (Part::Given(evidence), Part::Given(result)) = (&answer.evidence, &answer.result) else { continue };
            let least = block_minimum(audience).map_or(0, |minimum| minimum.specimens);
            let of = |group: &Part<analysis::answer::GrowthGroup>| match group {
                Part::Given(group) => group.specimens,
                Part::Refused { refused } if refused.code == RefusalCode::TooFewSpecimens => {
                    refused.have.unwrap_or(0.0) as u64
                }
                Part::Refused { .. } => 0,
            };
            let inside: u64 = result.groups.iter().map(of).sum();
            let left = evidence.specimens - inside;
            assert!(left == 0 || left >= least, "{audience:?}: {left} are left of {}", evidence.specimens);
            split += 1;
        }
    }
    assert!(split > 6, "{split} answers");
}

#[test]
fn what_may_not_be_shown_says_nothing_and_no_more_than_no_data() {
    let few = random_club(6, &Size { keepers: 2, corals_per_tank: 3, slugs: SLUGS });
    let nobody = Club::default();
    for by in [By::None, By::Origin, By::Parameter(parameter("nitrate"))] {
        for given in [None, Some(Given::WaterInBand)] {
            for outcome in [Outcome::Death, Outcome::FirstSeriousDecline] {
                let question = Question { given, outcome, ..ask("goniopora", by, None) };
                let text = |club: &Club| {
                    let answer = survival(club, &question, Audience::Member, &stamp());
                    assert!(answer.evidence.given().is_none() && answer.result.given().is_none());
                    assert!(answer.sensitivity.is_empty() && answer.cautions.is_empty());
                    assert!(answer.taxon.mix.is_empty());
                    serde_json::to_value(&answer.result).expect("JSON")
                };
                assert_eq!(text(&few), text(&nobody));
            }
        }
    }
}
