//! What only members can say: who is asked, and which lacking answers each question would help.

#[path = "support/club_builder.rs"]
mod support;

use analysis::answer::{Ask, AskedOfMember, By, Lacks};
use analysis::club::Club;
use analysis::vocabulary::Origin;
use support::{ClubBuilder, parameter, taxon};

/// Four members with three corals each, nitrate known all the time, nothing else; the first member's origins are known.
fn club() -> Club {
    let mut builder = ClubBuilder::new("2022-01-01");
    for member in 0..4 {
        let tank = builder.keeper_with_tank();
        (-30..700).step_by(15).for_each(|day| builder.reading(tank, "nitrate", day, 8.0));
        for _ in 0..3 {
            let coral = builder.coral("goniopora", tank, 10);
            builder.looked_at(coral, 690);
            if member == 0 {
                builder.specimen(coral).origin = Some(Origin::CaptiveGrown);
            }
        }
    }
    builder.died(11, 300);
    builder.build()
}

fn asks(club: &Club) -> Vec<Ask> {
    let today = ClubBuilder::new("2022-01-01").day(700);
    Lacks::of(club).asks(today)
}

fn of(asks: &[Ask], asked: AskedOfMember) -> Vec<&Ask> {
    asks.iter().filter(|ask| ask.asked == asked).collect()
}

#[test]
fn a_question_goes_to_who_can_answer_it_and_counts_the_answers_that_lack_it() {
    let club = club();
    let asks = asks(&club);
    let origin = of(&asks, AskedOfMember::Origin);
    assert_eq!(origin.iter().map(|ask| ask.keeper).collect::<Vec<_>>(), [1, 2, 3], "the first has said it");
    assert!(origin.iter().all(|ask| ask.lifts == [(taxon("goniopora"), "origin")]), "{origin:?}");
    assert_eq!(origin[0].specimens, [3, 4, 5]);
    assert!(of(&asks, AskedOfMember::Known(By::Parameter(parameter("nitrate")))).is_empty(), "it is known");
    let phosphate = of(&asks, AskedOfMember::Known(By::Parameter(parameter("phosphate"))));
    assert_eq!(phosphate.len(), 4);
    assert!(phosphate.iter().all(|ask| ask.last.is_none() && ask.tanks.len() == 1 && ask.specimens.is_empty()));
    assert!(of(&asks, AskedOfMember::Unseen).is_empty(), "all were seen ten days ago");
    assert!(asks.is_sorted_by(|one, other| one.lifts.len() >= other.lifts.len()));
}

#[test]
fn what_brings_a_coral_into_the_figures_helps_every_lacking_answer_about_it() {
    let mut club = club();
    let lacking = Lacks::of(&club);
    assert!(lacking.count() > 0);
    assert!(lacking.lifted_by_settling(&[0]).is_empty(), "it is in the figures");
    club.specimens[0].held = true;
    club.specimens[4].acquired = None;
    club.specimens[8].losses_listed = false;
    let lacks = Lacks::of(&club);
    let settled = lacks.lifted_by_settling(&[0]);
    assert!(settled.contains(&(taxon("goniopora"), "none")) && settled.contains(&(taxon("goniopora"), "nitrate")));
    assert_eq!(settled.len(), lacks.count(), "one loss is too few for any answer");
    let asks = asks(&club);
    for (asked, keeper, specimen) in [(AskedOfMember::Acquired, 1, 4), (AskedOfMember::LossesListed, 2, 8)] {
        let [ask] = of(&asks, asked)[..] else { panic!("{asked:?}: {asks:?}") };
        assert_eq!((ask.keeper, ask.specimens.as_slice(), &ask.lifts), (keeper, &[specimen][..], &settled));
    }
}

#[test]
fn what_was_not_seen_for_long_and_a_death_without_a_day_are_asked() {
    let mut club = club();
    let day = |day| ClubBuilder::new("2022-01-01").day(day);
    club.specimens[2].sightings.clear();
    let ending = club.specimens[11].ending.as_mut().expect("it died");
    (ending.earliest, ending.latest, ending.written_day) = (day(200), day(300), false);
    club.specimens[6].complete_since = None;
    let asks = asks(&club);
    let one = |asked| match of(&asks, asked)[..] {
        [ask] => (ask.keeper, ask.specimens.clone()),
        _ => panic!("{asked:?}: {asks:?}"),
    };
    assert_eq!(one(AskedOfMember::Unseen), (0, vec![2]));
    assert_eq!(one(AskedOfMember::DeathDay), (3, vec![11]));
    assert_eq!(one(AskedOfMember::CompleteSince), (2, vec![6]));
}
