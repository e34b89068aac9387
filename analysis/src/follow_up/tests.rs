//! Entry, end and tank events of single specimens, against days counted by hand.

use chrono::NaiveDate;

use super::*;
use crate::club::{Days, Ending, Identification, Sighting, SightingSource, Specimen, Stay, Tank};
use crate::follow_up::looks::enough_looks;
use crate::follow_up::tank_event::tank_events;
use crate::refusal::RefusalCode;
use crate::vocabulary::{Fate, TaxonSlug};

fn day(offset: i64) -> NaiveDate {
    NaiveDate::from_ymd_opt(2023, 1, 1).unwrap_or_default() + chrono::TimeDelta::days(offset)
}

fn goniopora() -> TaxonSlug {
    TaxonSlug::parse("goniopora").unwrap_or_else(|| panic!("in the catalogue"))
}

fn coral(acquired: i64) -> Specimen {
    Specimen {
        key: String::new(),
        keeper: 0,
        identifications: vec![Identification { taxon: goniopora(), on: None, guessed: false }],
        acquired: Some(Days { earliest: Some(day(acquired)), latest: day(acquired) }),
        complete_since: Some(day(0)),
        log_first_day: Some(day(0)),
        losses_listed: true,
        stays: vec![Stay { tank: 0, from: day(acquired), to: None }],
        ..Specimen::default()
    }
}

fn ended(acquired: i64, fate: Fate, earliest: i64, latest: i64) -> Specimen {
    let ending = Ending {
        fate,
        cause_group: CauseGroup::Husbandry,
        cause: None,
        earliest: day(earliest),
        latest: day(latest),
        written_day: earliest == latest,
        date_held: false,
        poor_at_exit: false,
        all_died: false,
    };
    Specimen { ending: Some(ending), ..coral(acquired) }
}

fn seen(acquired: i64, on: i64, source: SightingSource) -> Specimen {
    let sighting = Sighting { on: day(on), source, condition: None, tissue_cover: None, polyp_extension: None };
    Specimen { sightings: vec![sighting], ..coral(acquired) }
}

fn club(specimens: Vec<Specimen>) -> Club {
    let specimens = specimens
        .into_iter()
        .enumerate()
        .map(|(number, specimen)| Specimen { key: format!("coral {number}"), ..specimen })
        .collect();
    Club { tanks: vec![Tank::default(), Tank::default()], specimens, ..Club::default() }
}

fn followed(specimens: Vec<Specimen>, run: Run) -> FollowUp {
    let club = club(specimens);
    follow_up(&club, &Population::of(&club, goniopora(), None), run)
}

/// Entry and end in days since acquisition; `None` if left out.
fn ages(specimen: Specimen, run: Run) -> Option<(f64, End)> {
    let follow_up = followed(vec![specimen], run);
    let follow = follow_up.follows.first()?;
    let age = |day: f64| day - follow.day0;
    let end = match follow.end {
        End::Alive(day) => End::Alive(age(day)),
        End::Died(day) => End::Died(age(day)),
        End::DiedWithin { after, by } => End::DiedWithin { after: age(after), by: age(by) },
    };
    Some((age(follow.entry), end))
}

#[test]
fn the_living_are_followed_to_their_last_evidence_of_life() {
    let register = seen(10, 100, SightingSource::Register);
    assert_eq!(ages(register.clone(), Run::Main), Some((0.0, End::Alive(90.0))));
    assert_eq!(ages(register, Run::NoRegisterSightings), None);
    let look = seen(10, 60, SightingSource::Look);
    assert_eq!(ages(look, Run::NoRegisterSightings), Some((0.0, End::Alive(50.0))));
    let left_out = followed(vec![coral(10)], Run::Main).left_out;
    assert_eq!(left_out.no_follow_up, 1);
}

#[test]
fn entry_is_the_day_from_which_the_log_would_have_shown_the_death() {
    let late = Specimen { complete_since: Some(day(40)), ..ended(10, Fate::Died, 100, 100) };
    assert_eq!(ages(late, Run::Main), Some((30.0, End::Died(90.0))));
    let before = Specimen { complete_since: Some(day(40)), ..ended(10, Fate::Died, 30, 30) };
    assert_eq!(followed(vec![before], Run::Main).left_out.ended_before_entry, 1);
    let assumed = Specimen { complete_since: None, log_first_day: Some(day(20)), ..ended(10, Fate::Died, 100, 100) };
    assert_eq!(ages(assumed.clone(), Run::Main), Some((10.0, End::Died(90.0))));
    assert_eq!(ages(assumed, Run::NoAssumedEntry), None);
}

#[test]
fn an_interval_of_acquisition_up_to_a_month_has_a_middle() {
    let within = |earliest: Option<i64>, latest: i64| Specimen {
        acquired: Some(Days { earliest: earliest.map(day), latest: day(latest) }),
        ..ended(0, Fate::Died, 100, 100)
    };
    assert_eq!(ages(within(Some(0), 31), Run::Main), Some((0.0, End::Died(84.5))));
    let count = |specimen: Specimen| followed(vec![specimen], Run::Main).left_out.acquired_unknown;
    assert_eq!(count(within(Some(0), 32)), 1);
    assert_eq!(count(within(None, 10)), 1);
    // The middle would lie after the death: the earliest day is taken.
    let early = Specimen { ending: ended(0, Fate::Died, 12, 12).ending, ..within(Some(0), 30) };
    assert_eq!(ages(early, Run::Main), Some((0.0, End::Died(12.0))));
}

#[test]
fn a_death_on_the_day_of_entry_is_half_a_day_at_risk() {
    let follow_up = followed(vec![ended(10, Fate::Died, 10, 10)], Run::Main);
    let follow = &follow_up.follows[0];
    assert_eq!(follow.stop(follow.end.middle()) - follow.day0, 0.5);
}

#[test]
fn interval_endings() {
    assert_eq!(ages(ended(0, Fate::Died, 50, 57), Run::Main), Some((0.0, End::Died(53.5))));
    let wide = End::DiedWithin { after: 50.0, by: 58.0 };
    assert_eq!(ages(ended(0, Fate::Died, 50, 58), Run::Main), Some((0.0, wide)));
    // Entry lies within the interval: the death came after it.
    let late = Specimen { complete_since: Some(day(54)), ..ended(0, Fate::Died, 50, 70) };
    assert_eq!(ages(late, Run::Main), Some((54.0, End::DiedWithin { after: 54.0, by: 70.0 })));
    // Of a short one too, though its middle lies before the entry.
    let short = Specimen { complete_since: Some(day(55)), ..ended(0, Fate::Died, 50, 57) };
    assert_eq!(ages(short, Run::Main), Some((55.0, End::Died(56.0))));
    let got_within = ended(55, Fate::Died, 50, 57);
    assert_eq!(ages(got_within, Run::Main), Some((0.0, End::Died(1.0))));
    assert_eq!(ages(ended(0, Fate::Missing, 50, 90), Run::MissingCensored), Some((0.0, End::Alive(50.0))));
}

#[test]
fn who_was_never_seen_again_went_missing_after_it_was_got() {
    let unseen = |specimen: Specimen| Specimen { stays: Vec::new(), ..specimen };
    let missing = unseen(ended(10, Fate::Missing, 90, 90));
    assert_eq!(ages(missing, Run::Main), Some((0.0, End::DiedWithin { after: 0.0, by: 80.0 })));
    let held_fate = Some(Days { earliest: None, latest: day(90) });
    let held = unseen(Specimen { held: true, held_fate, ..coral(10) });
    assert_eq!(ages(held, Run::HeldAsDeaths), Some((0.0, End::DiedWithin { after: 0.0, by: 80.0 })));
}

#[test]
fn a_question_about_a_date_never_lowers_the_number_of_deaths() {
    for (complete_since, written) in [(0, 60), (55, 60), (60, 60), (59, 60)] {
        let certain = Specimen { complete_since: Some(day(complete_since)), ..ended(10, Fate::Died, written, written) };
        for (earliest, latest) in [(40, 60), (60, 95), (20, 60), (30, 200), (53, 60), (55, 61)] {
            let mut held = certain.clone();
            if let Some(ending) = &mut held.ending {
                (ending.earliest, ending.latest) = (day(earliest), day(latest));
                (ending.date_held, ending.written_day) = (true, false);
            }
            let deaths = |specimen: Specimen| {
                followed(vec![specimen], Run::Main).follows.iter().filter(|follow| follow.end.is_death()).count()
            };
            assert!(deaths(held) >= deaths(certain.clone()), "{complete_since} {earliest} {latest}");
        }
    }
}

#[test]
fn who_left_on_no_certain_day_counts_no_longer_than_is_known() {
    let alive = |specimen: Specimen| ages(specimen, Run::Main).map(|(_, end)| end);
    // Of a month its middle; in a wider span nothing says it was still there after the earliest day.
    assert_eq!(alive(ended(0, Fate::Left, 60, 90)), Some(End::Alive(75.0)));
    assert_eq!(alive(ended(0, Fate::Left, 40, 300)), Some(End::Alive(40.0)));
    let mut held = ended(0, Fate::Left, 60, 90);
    held.ending.as_mut().into_iter().for_each(|ending| ending.date_held = true);
    assert_eq!(alive(held), Some(End::Alive(60.0)));
    // A look says it: within the span it counts to there, afterwards it says nothing.
    let looked = |on, latest| Specimen {
        sightings: seen(0, on, SightingSource::Look).sightings,
        ..ended(0, Fate::CutUp, 40, latest)
    };
    assert_eq!(alive(looked(120, 300)), Some(End::Alive(120.0)));
    assert_eq!(alive(looked(65, 70)), Some(End::Alive(65.0)));
    assert_eq!(alive(looked(350, 300)), Some(End::Alive(40.0)));
    let mut poor = ended(0, Fate::Left, 40, 300);
    poor.ending.as_mut().into_iter().for_each(|ending| ending.poor_at_exit = true);
    assert_eq!(ages(poor, Run::PoorExitsAsDeaths), Some((0.0, End::Died(40.0))));
}

#[test]
fn fates_and_runs() {
    let poor = |fate| {
        let mut specimen = ended(0, fate, 80, 80);
        specimen.ending.as_mut().into_iter().for_each(|ending| ending.poor_at_exit = true);
        specimen
    };
    assert_eq!(ages(poor(Fate::Left), Run::Main), Some((0.0, End::Alive(80.0))));
    assert_eq!(ages(poor(Fate::Left), Run::PoorExitsAsDeaths), Some((0.0, End::Died(80.0))));
    let mut all_died = ended(0, Fate::TankClosed, 80, 80);
    assert_eq!(ages(all_died.clone(), Run::Main), Some((0.0, End::Alive(80.0))));
    all_died.ending.as_mut().into_iter().for_each(|ending| ending.all_died = true);
    assert_eq!(ages(all_died, Run::Main), Some((0.0, End::Died(80.0))));
    // Noticed within a fortnight: a week earlier, but not before the last look.
    assert_eq!(ages(ended(0, Fate::Died, 80, 80), Run::Noticed14d), Some((0.0, End::Died(73.0))));
    let looked = Specimen { sightings: seen(0, 77, SightingSource::Look).sightings, ..ended(0, Fate::Died, 80, 80) };
    assert_eq!(ages(looked, Run::Noticed14d), Some((0.0, End::Died(77.0))));
    let stopped =
        Specimen { sightings: seen(0, 60, SightingSource::Look).sightings, ..ended(0, Fate::KeeperLeft, 90, 90) };
    assert_eq!(ages(stopped, Run::Main), Some((0.0, End::Alive(60.0))));
    let held = Specimen { held: true, held_fate: Some(Days { earliest: Some(day(50)), latest: day(52) }), ..coral(0) };
    assert_eq!(ages(held.clone(), Run::Main), None);
    assert_eq!(ages(held, Run::HeldAsDeaths), Some((0.0, End::Died(51.0))));
}

#[test]
fn in_and_out_are_all() {
    let specimens = vec![
        ended(0, Fate::Died, 50, 50),
        ended(0, Fate::ArrivedDead, 0, 0),
        Specimen { arrived_dead: true, ..coral(0) },
        Specimen { held: true, ..coral(0) },
        Specimen { losses_listed: false, ..ended(0, Fate::Died, 50, 50) },
        Specimen { acquired: None, ..ended(0, Fate::Died, 50, 50) },
        Specimen { complete_since: Some(day(60)), ..ended(0, Fate::Died, 50, 50) },
        coral(0),
        seen(0, 40, SightingSource::RollCall),
    ];
    let all = specimens.len() as u64;
    let follow_up = followed(specimens, Run::Main);
    assert_eq!(follow_up.follows.len() as u64 + follow_up.left_out.total(), all);
    let out = follow_up.left_out;
    assert_eq!(
        (
            out.arrived_dead,
            out.held,
            out.losses_not_listed,
            out.acquired_unknown,
            out.ended_before_entry,
            out.no_follow_up
        ),
        (2, 1, 1, 1, 1, 1)
    );
}

#[test]
fn in_a_tank_of_ten_three_deaths_within_a_fortnight_are_one_event() {
    let lost = |days: [i64; 3]| {
        let mut specimens: Vec<Specimen> = days.into_iter().map(|day| ended(0, Fate::Died, day, day)).collect();
        specimens.extend((0..7).map(|_| seen(0, 300, SightingSource::Look)));
        let club = club(specimens);
        let follow_up = follow_up(&club, &Population::of(&club, goniopora(), None), Run::Main);
        tank_events(&club, &follow_up).iter().map(|event| event.lost.len()).collect::<Vec<_>>()
    };
    assert_eq!(lost([100, 107, 114]), vec![3]);
    assert_eq!(lost([100, 108, 116]), Vec::<usize>::new());
    // Half of a small tank: two of four.
    let mut few = vec![ended(0, Fate::Died, 100, 100), ended(0, Fate::Died, 110, 110)];
    few.extend((0..2).map(|_| seen(0, 300, SightingSource::Look)));
    let small = club(few);
    let under = follow_up(&small, &Population::of(&small, goniopora(), None), Run::Main);
    assert_eq!(tank_events(&small, &under).len(), 1);
    // Events and single deaths are all deaths; without events none of theirs is left.
    let without = follow_up(&small, &Population::of(&small, goniopora(), None), Run::WithoutTankEvents);
    assert_eq!(without.follows.iter().filter(|follow| follow.end.is_death()).count(), 0);
    assert_eq!(without.follows.len(), 4);
}

#[test]
fn a_register_is_no_look() {
    let mut specimens: Vec<Specimen> = (0..3).map(|_| seen(0, 100, SightingSource::Register)).collect();
    specimens.push(seen(0, 100, SightingSource::RollCall));
    let few = club(specimens.clone());
    let refused = enough_looks(&few, &Population::of(&few, goniopora(), None)).err();
    assert_eq!(refused.map(|r| (r.code, r.have, r.need)), Some((RefusalCode::NoLooks, Some(1.0), Some(2.0))));
    specimens.push(seen(0, 100, SightingSource::Look));
    specimens.push(seen(0, 100, SightingSource::Look));
    let half = club(specimens);
    assert_eq!(enough_looks(&half, &Population::of(&half, goniopora(), None)), Ok(()));
}

#[test]
fn a_name_written_long_after_purchase_is_not_the_name_at_purchase() {
    let later = TaxonSlug::parse("goniopora-stokesi").or_else(|| TaxonSlug::parse("goniopora-columna"));
    let mut specimen = coral(0);
    for on in [29, 31] {
        let taxon = later.unwrap_or_else(goniopora);
        specimen.identifications = vec![
            Identification { taxon: goniopora(), on: None, guessed: false },
            Identification { taxon, on: Some(day(on)), guessed: false },
        ];
        let want = if on <= 30 { taxon } else { goniopora() };
        assert_eq!(population::name_at_purchase(&specimen), Some(want));
        assert_eq!(population::latest_name(&specimen), Some(taxon));
    }
}
