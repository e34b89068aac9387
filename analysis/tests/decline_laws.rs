//! Laws that serious decline keeps for whole clubs: who is in and who is out, what adds up, what changes nothing.

#[path = "support/random_club.rs"]
mod random_club;
#[path = "support/club_builder.rs"]
mod support;

use analysis::answer::{Audience, By, Outcome, Question, SurvivalAnswer, survival};
use analysis::club::{Club, SightingSource};
use analysis::comparison::{Frame, Rows};
use analysis::exposure::{Condition, Rules};
use analysis::follow_up::{Population, Run, day_number, follow_up, follow_up_for};
use analysis::survival::cumulative_incidence;
use analysis::wording::forbidden;
use random_club::{Chance, Size, random_club};
use support::{parameter, stamp, taxon};

const OF_LOOKS: [Outcome; 3] = [Outcome::FirstSeriousDecline, Outcome::DeathOrDecline, Outcome::DeathAfterDecline];

fn ask(outcome: Outcome, by: By) -> Question {
    Question { taxon: taxon("goniopora"), outcome, by, edges: None, given: None, horizon_days: 365.0, since: None }
}

fn answer(club: &Club, outcome: Outcome) -> SurvivalAnswer {
    survival(club, &ask(outcome, By::None), Audience::Curator, &stamp())
}

/// A club in which looks have conditions, and some corals fade before they die.
fn fading(seed: u64) -> Club {
    let mut club =
        random_club(seed, &Size { keepers: 14, corals_per_tank: 5, slugs: &["goniopora", "acropora-tenuis"] });
    let mut chance = Chance::new(seed + 1000);
    for specimen in &mut club.specimens {
        let fades = chance.yes(0.4);
        let (mut left, from) = (4, 2 + chance.below(10) as usize);
        for (number, sighting) in specimen.sightings.iter_mut().enumerate() {
            if sighting.source == SightingSource::Look {
                if fades && number >= from && left > 1 {
                    left -= 1;
                }
                sighting.condition = chance.yes(0.9).then_some(left);
            }
        }
        if chance.yes(0.5) {
            specimen.condition_when_got = Some(if chance.yes(0.1) { 2 } else { 4 });
        }
    }
    club
}

#[test]
fn in_and_out_are_all_for_every_outcome_and_run() {
    for seed in 0..6 {
        let club = fading(seed);
        let population = Population::of(&club, taxon("goniopora"), None);
        let deaths = follow_up(&club, &population, Run::Main);
        let of_deaths: Vec<u32> = deaths.follows.iter().map(|follow| follow.specimen).collect();
        for &outcome in Outcome::ALL {
            let evidence = answer(&club, outcome).evidence.given().cloned().expect("evidence");
            let left_out = evidence.left_out.expect("left out");
            assert_eq!(evidence.specimens + left_out.total(), population.members.len() as u64, "{outcome:?}");
            for run in [Run::Main, Run::Noticed14d, Run::WithoutTankEvents, Run::MissingCensored, Run::HeldAsDeaths] {
                let found = follow_up_for(&club, &population, outcome, run);
                assert_eq!(found.follows.len() as u64 + found.left_out.total(), population.members.len() as u64);
            }
            let found = follow_up_for(&club, &population, outcome, Run::Main);
            assert!(found.follows.iter().all(|follow| of_deaths.binary_search(&follow.specimen).is_ok()));
            // Nobody is at risk before the entry or after the end of what death's follow-up saw.
            for follow in &found.follows {
                let position = of_deaths.binary_search(&follow.specimen).expect("there");
                let death = &deaths.follows[position];
                assert!(follow.entry >= death.entry && follow.ended(follow.end.middle()).0 > follow.entry);
                assert!(follow.day0 == death.day0 || outcome == Outcome::DeathAfterDecline);
            }
        }
    }
}

fn rows(club: &Club, outcome: Outcome, by: By) -> Rows {
    let population = Population::of(club, taxon("goniopora"), None);
    let follow_up = follow_up_for(club, &population, outcome, Run::Main);
    let condition = Condition::new(club, &population, by, None, Rules::of(Run::Main)).expect("a split");
    Frame { club, follow_up: &follow_up, condition: &condition, given: None }.middle().expect("rows").0
}

#[test]
fn declined_died_first_and_free_of_both_sum_to_one() {
    let (mut declines, mut deaths) = (0, 0);
    for seed in 0..6 {
        let club = fading(seed);
        let first = rows(&club, Outcome::FirstSeriousDecline, By::None);
        let either = rows(&club, Outcome::DeathOrDecline, By::None);
        assert_eq!((&first.cause, &first.episodes.stop), (&either.cause, &either.episodes.stop));
        declines += first.episodes.deaths();
        deaths += either.episodes.deaths() - first.episodes.deaths();
        let incidence = cumulative_incidence(&first.episodes, &first.cause, 2, None, 0.95).expect("incidence");
        for step in &incidence.steps {
            let lost: f64 = step.causes.iter().map(|cause| cause.incidence).sum();
            assert!((lost + step.survival - 1.0).abs() < 1e-12);
        }
        // And so do the printed figures, of the same draws.
        let (a, b) = (answer(&club, Outcome::FirstSeriousDecline), answer(&club, Outcome::DeathOrDecline));
        let share = |answer: &SurvivalAnswer| answer.result.given()?.groups[0].at_horizon.given().map(|at| at.survival);
        if let (Some(without_decline), Some(without_either)) = (share(&a), share(&b)) {
            assert!(without_decline >= without_either);
        }
    }
    assert!(declines > 20 && deaths > 20, "{declines} declines, {deaths} deaths");
}

#[test]
fn the_order_of_specimens_changes_nothing() {
    let club = fading(3);
    let mut turned = club.clone();
    turned.specimens.reverse();
    for outcome in OF_LOOKS {
        let figures = |club: &Club| {
            let answer = answer(club, outcome);
            let group = answer.result.given().map(|result| result.groups[0].clone());
            let points = group.as_ref().and_then(|group| group.curve.given().cloned()).unwrap_or_default();
            let evidence = answer.evidence.given().expect("evidence").clone();
            let counts = (evidence.specimens, evidence.deaths, evidence.declines, evidence.left_out);
            (
                counts,
                points.into_iter().map(|p| (p.time, p.at_risk, p.events, p.censored, p.survival)).collect::<Vec<_>>(),
            )
        };
        let (one, other) = (figures(&club), figures(&turned));
        assert_eq!((one.0, one.1.len()), (other.0, other.1.len()));
        for (one, other) in one.1.iter().zip(&other.1) {
            assert_eq!((one.0, one.1, one.2, one.3), (other.0, other.1, other.2, other.3));
            assert!((one.4 - other.4).abs() < 1e-12);
        }
    }
}

#[test]
fn what_follows_the_first_decline_and_tests_to_come_change_no_row_before() {
    let club = fading(4);
    let by = By::Parameter(parameter("nitrate"));
    for outcome in [Outcome::FirstSeriousDecline, Outcome::DeathOrDecline] {
        let whole = rows(&club, outcome, by);
        // Looks after the first poor one.
        let mut fewer = club.clone();
        for specimen in &mut fewer.specimens {
            let poor = specimen.sightings.iter().position(|s| s.condition.is_some_and(|condition| condition <= 2));
            if let Some(poor) = poor {
                specimen.sightings.truncate(poor + 1);
            }
        }
        assert_eq!(whole, rows(&fewer, outcome, by));
        // Tests on or after a day.
        for day in ["2022-06-01", "2022-12-01", "2023-06-01"] {
            let day = day.parse().expect("a date");
            let mut before = club.clone();
            before.readings.retain(|reading| reading.on < day);
            let clipped = |club: &Club| {
                let population = Population::of(club, taxon("goniopora"), None);
                let follow_up = follow_up_for(club, &population, outcome, Run::Main);
                let rows = rows(club, outcome, by);
                (0..rows.len())
                    .filter_map(|row| {
                        let limit = day_number(day) - follow_up.follows[rows.specimen[row] as usize].day0;
                        let (start, stop) = (rows.episodes.start[row], rows.episodes.stop[row].min(limit));
                        (start < stop).then_some((rows.specimen[row], start, stop, rows.level[row]))
                    })
                    .collect::<Vec<_>>()
            };
            assert_eq!(clipped(&club), clipped(&before), "{day}");
        }
    }
}

#[test]
fn answers_of_every_outcome_keep_to_their_words() {
    let (mut leads, mut told) = (Vec::new(), 0);
    for seed in 0..4 {
        let club = fading(seed);
        for outcome in OF_LOOKS {
            for by in [By::None, By::Origin, By::Parameter(parameter("nitrate"))] {
                for audience in [Audience::Curator, Audience::Member, Audience::Public] {
                    for horizon_days in [90.0, 365.0] {
                        let question = Question { horizon_days, ..ask(outcome, by) };
                        let answer = survival(&club, &question, audience, &stamp());
                        let text = serde_json::to_string(&answer).expect("JSON");
                        let value: serde_json::Value = serde_json::from_str(&text).expect("JSON");
                        texts(&value, &mut |text| {
                            told += 1;
                            assert_eq!(forbidden(text), Vec::<&str>::new(), "{text}");
                            if outcome != Outcome::DeathAfterDecline {
                                for word in
                                    ["Needs", "too few deaths", "Too few deaths.", "No death here.", "lost corals"]
                                {
                                    let of_deaths =
                                        text.starts_with(word) && text.contains("death") && !text.contains("decline");
                                    assert!(!of_deaths, "{text}");
                                }
                                assert!(!text.contains("losses per") && !text.contains("loss rate"), "{text}");
                            }
                        });
                        for group in answer.result.given().map(|r| &r.groups).into_iter().flatten() {
                            if let Some(sentence) = group.sentence.given() {
                                leads.push((outcome, sentence.clone()));
                            }
                        }
                    }
                }
            }
        }
    }
    assert!(told > 1000, "{told} texts");
    let said = |outcome: Outcome, words: &str| leads.iter().any(|(of, text)| *of == outcome && text.contains(words));
    assert!(
        said(Outcome::FirstSeriousDecline, "had no serious decline by")
            || said(Outcome::FirstSeriousDecline, "still had none by")
    );
    assert!(said(Outcome::DeathOrDecline, "alive without a serious decline"));
    assert!(leads.iter().any(|(of, _)| *of == Outcome::DeathAfterDecline));
}

/// Every text of a value but codes and keys.
fn texts(value: &serde_json::Value, look: &mut impl FnMut(&str)) {
    match value {
        serde_json::Value::String(text) if text.contains(' ') => look(text),
        serde_json::Value::Array(values) => values.iter().for_each(|value| texts(value, look)),
        serde_json::Value::Object(fields) => fields.values().for_each(|value| texts(value, look)),
        _ => {}
    }
}
