//! Serious decline, against days and fractions counted by hand.

#[path = "support/club_builder.rs"]
mod support;

use analysis::answer::{Audience, By, Outcome, Question, SurvivalAnswer, survival};
use analysis::club::{Club, SightingSource};
use analysis::follow_up::{End, FollowUp, Population, Run, day_number, follow_up_for};
use analysis::refusal::{Part, Refusal, RefusalCode};
use analysis::vocabulary::Fate;
use support::{ClubBuilder, stamp, taxon};

const OF_LOOKS: [Outcome; 3] = [Outcome::FirstSeriousDecline, Outcome::DeathOrDecline, Outcome::DeathAfterDecline];

/// One coral, got on day 100 of a log complete since day 0.
fn one(of: impl FnOnce(&mut ClubBuilder)) -> Club {
    let mut builder = ClubBuilder::new("2023-01-01");
    let tank = builder.keeper_with_tank();
    builder.coral("goniopora", tank, 100);
    of(&mut builder);
    builder.build()
}

fn watched(club: &Club, outcome: Outcome, run: Run) -> FollowUp {
    follow_up_for(club, &Population::of(club, taxon("goniopora"), None), outcome, run)
}

/// Entry, end and whether it declined, in days of the log; the reason if it is left out.
fn seen(club: &Club, outcome: Outcome) -> Result<(f64, End, bool), &'static str> {
    let found = watched(club, outcome, Run::Main);
    let log_day = |day: f64| day - day_number("2023-01-01".parse().expect("a date"));
    match found.follows.first() {
        Some(follow) => {
            let end = match follow.end {
                End::Alive(day) => End::Alive(log_day(day.min(follow.until))),
                End::Died(day) => End::Died(log_day(day)),
                End::DiedWithin { after, by } => End::DiedWithin { after: log_day(after), by: log_day(by) },
            };
            Ok((log_day(follow.entry), end, follow.declined))
        }
        None => Err(match found.left_out {
            left if left.poor_at_entry == Some(1) => "poor_at_entry",
            left if left.no_look_at_entry == Some(1) => "no_look_at_entry",
            left if left.never_declined == Some(1) => "never_declined",
            left if left.no_follow_up == 1 => "no_follow_up",
            other => panic!("{other:?}"),
        }),
    }
}

fn decline(of: impl FnOnce(&mut ClubBuilder)) -> Result<(f64, End, bool), &'static str> {
    let club = one(of);
    let first = seen(&club, Outcome::FirstSeriousDecline);
    assert_eq!(first, seen(&club, Outcome::DeathOrDecline), "the same specimens over the same time");
    first
}

fn within(after: f64, by: f64) -> End {
    End::DiedWithin { after, by }
}

#[test]
fn a_decline_lies_between_the_last_good_look_and_the_first_poor_one() {
    let looks = |poor: i64| {
        decline(move |b| {
            b.scored(0, 100, 4);
            b.scored(0, 110, 3);
            b.scored(0, poor, 2);
            b.scored(0, 160, 5);
            b.scored(0, 170, 1);
        })
    };
    assert_eq!(looks(140), Ok((100.0, within(110.0, 140.0), true)));
    // Seven days or less: the middle.
    assert_eq!(looks(117), Ok((100.0, End::Died(113.5), true)));
    assert_eq!(looks(118), Ok((100.0, within(110.0, 118.0), true)));
}

#[test]
fn what_is_a_serious_decline() {
    let cover = |percent: f64| {
        decline(move |b| {
            b.scored(0, 100, 4);
            b.looked_at(0, 130);
            b.specimen(0).sightings[1].tissue_cover = Some(percent);
        })
    };
    assert_eq!(cover(49.9), Ok((100.0, within(100.0, 130.0), true)));
    assert_eq!(cover(50.0), Ok((100.0, End::Alive(130.0), false)));
    let score = |condition| {
        decline(move |b| {
            b.scored(0, 100, 4);
            b.scored(0, 130, condition);
        })
    };
    assert_eq!(score(2), Ok((100.0, within(100.0, 130.0), true)));
    assert_eq!(score(3), Ok((100.0, End::Alive(130.0), false)));
    // Dead is no decline before death, and no sign of life.
    assert_eq!(score(0), Err("no_follow_up"));
}

#[test]
fn half_or_fewer_of_the_heads_ever_counted() {
    let heads = |counts: &'static [(i64, f64, u32)]| {
        decline(move |b| {
            for &(day, count, cuts) in counts {
                b.heads(0, day, count, cuts);
            }
        })
    };
    // The most ever counted is 12: 7 is more than half, 6 is half.
    assert_eq!(heads(&[(100, 8.0, 0), (120, 12.0, 0), (140, 7.0, 0)]), Ok((100.0, End::Alive(140.0), false)));
    assert_eq!(heads(&[(100, 8.0, 0), (120, 12.0, 0), (140, 6.0, 0)]), Ok((100.0, within(120.0, 140.0), true)));
    // Heads cut off by its keeper are no decline, and what is left is counted anew.
    assert_eq!(heads(&[(100, 12.0, 0), (120, 5.0, 1), (140, 3.0, 1)]), Ok((100.0, End::Alive(140.0), false)));
    assert_eq!(heads(&[(100, 12.0, 0), (120, 5.0, 1), (140, 2.0, 1)]), Ok((100.0, within(120.0, 140.0), true)));
    // Nothing was there before: a count of 0 is half of nothing.
    assert_eq!(heads(&[(100, 0.0, 0), (120, 4.0, 0)]), Ok((100.0, End::Alive(120.0), false)));
}

#[test]
fn a_rescue_cut_is_a_decline_whatever_became_of_the_mother() {
    let died = decline(|b| {
        b.scored(0, 100, 4);
        b.scored(0, 130, 4);
        b.died(0, 150);
        let cut = b.day(150);
        b.specimen(0).rescue_cuts.push(cut);
    });
    assert_eq!(died, Ok((100.0, within(130.0, 150.0), true)));
    let lived = decline(|b| {
        b.scored(0, 100, 4);
        b.scored(0, 130, 4);
        b.scored(0, 170, 5);
        let cut = b.day(150);
        b.specimen(0).rescue_cuts.push(cut);
    });
    assert_eq!(lived, Ok((100.0, within(130.0, 150.0), true)));
    // More than 45 days after the last look it is not seen any more, as a death is not.
    let late = decline(|b| {
        b.scored(0, 100, 4);
        b.died(0, 146);
        let cut = b.day(146);
        b.specimen(0).rescue_cuts.push(cut);
    });
    assert_eq!(late, Ok((100.0, End::Alive(145.0), false)));
}

#[test]
fn at_risk_from_the_first_look_within_45_days() {
    let first = |day: i64, condition: u8| {
        decline(move |b| {
            b.scored(0, day, condition);
            b.scored(0, 200, 4);
        })
    };
    assert_eq!(first(100, 4), Ok((100.0, End::Alive(200.0), false)));
    assert_eq!(first(145, 4), Ok((145.0, End::Alive(200.0), false)));
    assert_eq!(first(146, 4), Err("no_look_at_entry"));
    assert_eq!(first(120, 2), Err("poor_at_entry"));
    // The log is complete from day 110: a look before does not count as entry, but a poor one then was the first.
    let late = |condition: u8| {
        decline(move |b| {
            b.specimen(0).complete_since = Some("2023-04-21".parse().expect("a date"));
            b.scored(0, 105, condition);
            b.scored(0, 125, 4);
            b.scored(0, 200, 4);
        })
    };
    assert_eq!(late(4), Ok((125.0, End::Alive(200.0), false)));
    assert_eq!(late(2), Err("poor_at_entry"));
}

#[test]
fn how_it_looked_when_got_is_a_look() {
    let got = |condition: Option<u8>| {
        decline(move |b| {
            b.specimen(0).condition_when_got = condition;
            b.scored(0, 146, 4);
        })
    };
    assert_eq!(got(Some(4)), Ok((100.0, End::Alive(146.0), false)));
    assert_eq!(got(Some(2)), Err("poor_at_entry"));
    assert_eq!(got(None), Err("no_look_at_entry"));
}

#[test]
fn rows_of_registers_and_roll_calls_are_no_looks() {
    for source in [SightingSource::Register, SightingSource::RollCall] {
        let alone = decline(move |b| {
            b.seen(0, 110, source);
            b.seen(0, 140, source);
        });
        assert_eq!(alone, Err("no_look_at_entry"));
        // Nor does a poor one end anything.
        let beside = decline(move |b| {
            b.scored(0, 100, 4);
            b.seen(0, 120, source);
            b.specimen(0).sightings[1].condition = Some(1);
            b.seen(0, 300, source);
        });
        assert_eq!(beside, Ok((100.0, End::Alive(145.0), false)), "until 45 days after the last look");
    }
    // A size is one: its keeper stood before it.
    let sized = decline(|b| {
        b.heads(0, 100, 3.0, 0);
        b.specimen(0).sizings[0].measure = "max_diameter".to_owned();
        b.seen(0, 300, SightingSource::RollCall);
    });
    assert_eq!(sized, Ok((100.0, End::Alive(145.0), false)));
}

#[test]
fn a_death_is_seen_until_45_days_after_the_last_look() {
    let died = |day: i64| {
        decline(move |b| {
            b.scored(0, 100, 4);
            b.died(0, day);
        })
    };
    assert_eq!(died(145), Ok((100.0, End::Died(145.0), false)));
    assert_eq!(died(146), Ok((100.0, End::Alive(145.0), false)));
    // On the day of the entry: half a day at risk, as for death.
    let same_day = one(|b| {
        b.scored(0, 100, 4);
        b.died(0, 100);
    });
    let found = watched(&same_day, Outcome::FirstSeriousDecline, Run::Main);
    let follow = &found.follows[0];
    assert_eq!(follow.ended(follow.end.middle()), (follow.entry + 0.5, true));
    // Within an interval that outlasts it: seen if drawn before.
    let club = one(|b| {
        b.scored(0, 100, 4);
        b.ended(0, Fate::Died, 140, 160);
    });
    let found = watched(&club, Outcome::DeathOrDecline, Run::Main);
    let follow = &found.follows[0];
    let entry = follow.entry;
    assert_eq!(follow.ended(follow.end.drawn(0.25)), (entry + 45.0, true));
    assert_eq!(follow.ended(follow.end.drawn(0.3)), (entry + 45.0, false));
}

#[test]
fn a_death_at_a_look_after_a_decline_is_a_decline() {
    // Poor on day 130, dead on day 133: the decline came first, though the middle of the death's days is day 131.5.
    let found = decline(|b| {
        b.scored(0, 100, 4);
        b.scored(0, 130, 2);
        b.ended(0, Fate::Died, 130, 133);
    });
    assert_eq!(found, Ok((100.0, within(100.0, 130.0), true)));
}

#[test]
fn death_after_decline_counts_from_the_first_poor_look() {
    let after = |of: fn(&mut ClubBuilder)| {
        let club = one(of);
        let found = watched(&club, Outcome::DeathAfterDecline, Run::Main);
        let follow = found.follows.first().cloned();
        follow.map(|f| (f.entry - f.day0, f.end.middle() - f.day0, f.end.is_death())).ok_or(found.left_out)
    };
    let died = after(|b| {
        b.scored(0, 100, 4);
        b.scored(0, 130, 2);
        b.scored(0, 150, 1);
        b.died(0, 230);
    });
    assert_eq!(died, Ok((0.0, 100.0, true)));
    let lives = after(|b| {
        b.scored(0, 130, 2);
        b.seen(0, 400, SightingSource::RollCall);
    });
    assert_eq!(lives, Ok((0.0, 270.0, false)));
    // The log would have shown its death only from day 140 on.
    let late = after(|b| {
        b.specimen(0).complete_since = Some("2023-05-21".parse().expect("a date"));
        b.scored(0, 130, 2);
        b.died(0, 230);
    });
    assert_eq!(late, Ok((10.0, 100.0, true)));
    let never = after(|b| {
        b.scored(0, 100, 4);
        b.died(0, 230);
        let cut = b.day(230);
        b.specimen(0).rescue_cuts.push(cut);
    });
    assert_eq!(never.map_err(|left| left.never_declined), Err(Some(1)), "a rescue cut is no poor look");
    let same_day = after(|b| {
        b.scored(0, 130, 2);
        b.looked_at(0, 130);
    });
    assert_eq!(same_day.map_err(|left| left.no_follow_up), Err(1));
}

fn ask(outcome: Outcome, by: By) -> Question {
    Question { taxon: taxon("goniopora"), outcome, by, edges: None, given: None, horizon_days: 365.0, since: None }
}

fn answer(club: &Club, outcome: Outcome) -> SurvivalAnswer {
    survival(club, &ask(outcome, By::None), Audience::Curator, &stamp())
}

/// Twelve corals of four keepers, all got open on day 0 and looked at every 30 days, but:
///
/// | coral | looks | becomes | counts as |
/// |---|---|---|---|
/// | 0 | good on 53, poor on 60, dies on 90 | decline on 56.5 | |
/// | 1 | good on 80 | dies on 90 | death without decline on day 90 |
/// | 2 | good on 113, poor on 120, lives | decline on 116.5 | |
/// | 3 | last on 150 | dies on 200 | nothing: not seen after day 195 |
///
/// At risk: 12 on 56.5, 11 on 90, 10 on 116.5.
fn twelve() -> Club {
    let mut b = ClubBuilder::new("2023-01-01");
    let tanks: Vec<u32> = (0..4).map(|_| b.keeper_with_tank()).collect();
    let looks = |b: &mut ClubBuilder, coral: usize, to: i64| {
        for day in (30..=to).step_by(30) {
            b.scored(coral, day, 4);
        }
    };
    for number in 0..12 {
        let coral = b.coral("goniopora", tanks[number % 4], 0);
        b.specimen(coral).condition_when_got = Some(4);
        match number {
            0 => {
                looks(&mut b, coral, 30);
                b.scored(coral, 53, 4);
                b.scored(coral, 60, 2);
                b.died(coral, 90);
            }
            1 => {
                looks(&mut b, coral, 60);
                b.scored(coral, 80, 3);
                b.died(coral, 90);
            }
            2 => {
                looks(&mut b, coral, 90);
                b.scored(coral, 113, 4);
                b.scored(coral, 120, 1);
                b.scored(coral, 400, 5);
            }
            3 => {
                looks(&mut b, coral, 150);
                b.died(coral, 200);
            }
            _ => looks(&mut b, coral, 420),
        }
    }
    b.build()
}

fn close(got: f64, want: f64) {
    assert!((got - want).abs() <= 1e-12 * want.abs().max(1.0), "got {got}, by hand {want}");
}

#[test]
fn first_serious_decline_by_hand() {
    let answer = answer(&twelve(), Outcome::FirstSeriousDecline);
    let evidence = answer.evidence.given().expect("evidence");
    assert_eq!((evidence.specimens, evidence.deaths, evidence.declines), (12, 1, Some(2)));
    // 56.5 + 90 + 116.5 + 195 and eight to day 420.
    close(evidence.specimen_days, 56.5 + 90.0 + 116.5 + 195.0 + 8.0 * 420.0);
    let result = answer.result.given().expect("figures");
    let group = &result.groups[0];
    assert_eq!((group.n, group.events), (12, 2));
    let curve = group.curve.given().expect("a curve");
    let steps: Vec<(f64, u64, u64, u64)> = curve.iter().map(|p| (p.time, p.at_risk, p.events, p.censored)).collect();
    // The death on day 90 ends otherwise, as do the nine that are left after day 116.5.
    assert_eq!(steps, [(56.5, 12, 1, 1), (116.5, 10, 1, 9)]);
    close(curve[0].survival, 11.0 / 12.0);
    close(curve[1].survival, 10.0 / 12.0);
    // Nobody was censored until then: binomial.
    close(curve[1].std_error.expect("an error"), (2.0 / 12.0 * 10.0 / 12.0 / 12.0_f64).sqrt());
    let at = group.at_horizon.given().expect("the share after a year");
    close(at.survival, 10.0 / 12.0);
    let (lower, upper) = (at.lower.expect("a limit"), at.upper.expect("a limit"));
    // Tanks 0 and 2 hold one decline each, of three corals: influences 3 (1/3 - F)/12 and 3 (0 - F)/12 with F = 1/6,
    // four times 1/24; times 4/3, t of 3 degrees of freedom (3.182446), on the scale of ln(-ln F).
    let f: f64 = 1.0 / 6.0;
    let se = (4.0_f64 / 576.0 * 4.0 / 3.0).sqrt();
    let v = (3.182_446_305_284_263 * se / (f * f.ln().abs())).exp();
    assert!((upper - (1.0 - f.powf(v))).abs() < 1e-9 && (lower - (1.0 - f.powf(1.0 / v))).abs() < 1e-9, "{at:?}");
    let causes: Vec<(&str, u64, f64)> =
        result.causes.given().expect("causes").iter().map(|c| (c.cause.as_str(), c.events, c.incidence)).collect();
    assert_eq!((causes[0].0, causes[0].1), ("decline", 2));
    assert_eq!((causes[1].0, causes[1].1, causes.len()), ("death_before_decline", 1, 2));
    close(causes[0].2, 2.0 / 12.0);
    close(causes[1].2, 1.0 / 12.0);
    let rate = group.rates.given().expect("a rate");
    close(rate.per_100_months, 100.0 * 2.0 * 30.4375 / evidence.specimen_days);
    let refused = |part: Option<&Refusal>| part.map(|refusal| refusal.code);
    let of = |key: &str| answer.refusals.iter().find(|r| r.key == key).map(|r| &r.refusal);
    assert_eq!(refused(of("groups/all/median")), Some(RefusalCode::TooFewEvents));
    assert_eq!(of("groups/all/median").map(|r| r.message.as_str()), Some("Needs 8 more serious declines on record."));
    let apart = answer.cautions.iter().find(|caution| caution.code == "deaths_apart").expect("said");
    assert!(apart.sentence.starts_with("1 coral that died with no serious decline seen first"), "{}", apart.sentence);
}

#[test]
fn death_or_decline_by_hand() {
    let answer = answer(&twelve(), Outcome::DeathOrDecline);
    let evidence = answer.evidence.given().expect("evidence");
    assert_eq!((evidence.specimens, evidence.deaths, evidence.declines), (12, 1, Some(2)));
    let result = answer.result.given().expect("figures");
    let curve = result.groups[0].curve.given().expect("a curve");
    let steps: Vec<(f64, u64, u64)> = curve.iter().map(|p| (p.time, p.at_risk, p.events)).collect();
    assert_eq!(steps, [(56.5, 12, 1), (90.0, 11, 1), (116.5, 10, 1)]);
    close(result.groups[0].at_horizon.given().expect("the share").survival, 9.0 / 12.0);
    assert_eq!(result.groups[0].events, 3);
    // Which came first adds up to what is missing from 1.
    let causes: f64 = result.causes.given().expect("causes").iter().map(|cause| cause.incidence).sum();
    close(causes, 3.0 / 12.0);
    let sentence = result.groups[0].sentence.given();
    assert!(
        sentence.is_none_or(|text| text.contains("were alive without a serious decline after a year")),
        "{sentence:?}"
    );
}

#[test]
fn death_keeps_what_it_had() {
    let answer = answer(&twelve(), Outcome::Death);
    let evidence = answer.evidence.given().expect("evidence");
    assert_eq!((evidence.deaths, evidence.declines), (3, None));
    let text = serde_json::to_string(&answer).expect("JSON");
    for field in ["declines", "poor_at_entry", "no_look_at_entry", "never_declined"] {
        assert!(!text.contains(field), "{field} stands in an answer about death");
    }
}

#[test]
fn what_came_of_two_declines_is_too_little_to_say() {
    let answer = answer(&twelve(), Outcome::DeathAfterDecline);
    assert!(matches!(&answer.result, Part::Refused { refused } if refused.code == RefusalCode::TooFewSpecimens));
    let evidence = answer.evidence.given().expect("counts");
    let left_out = evidence.left_out.expect("left out");
    assert_eq!((evidence.specimens, left_out.never_declined, left_out.total()), (2, Some(10), 10));
}

/// Ten corals of four keepers, looked at every `gap` days; the first of each keeper declines.
fn every(gap: i64) -> Club {
    let mut b = ClubBuilder::new("2023-01-01");
    let tanks: Vec<u32> = (0..4).map(|_| b.keeper_with_tank()).collect();
    for number in 0..12 {
        let coral = b.coral("goniopora", tanks[number % 4], 0);
        for look in 0..12 {
            let poor = number < 4 && look == 4 + number as i64;
            b.scored(coral, look * gap, if poor { 2 } else { 4 });
        }
    }
    b.build()
}

#[test]
fn looks_may_be_45_days_apart_and_no_more() {
    for outcome in OF_LOOKS {
        let code = |gap: i64| match answer(&every(gap), outcome).result {
            Part::Given(_) => None,
            Part::Refused { refused } => Some((refused.code, refused.have, refused.need)),
        };
        assert_eq!(code(46), Some((RefusalCode::LooksTooRare, Some(46.0), Some(45.0))), "{outcome:?}");
        let enough = code(45).map(|refused| refused.0);
        // Four that declined are too few for a curve, but not for want of looks.
        let few = (outcome == Outcome::DeathAfterDecline).then_some(RefusalCode::TooFewSpecimens);
        assert_eq!(enough, few, "{outcome:?}");
    }
    let mut never = every(30);
    for specimen in &mut never.specimens {
        specimen.sightings.truncate(1);
        specimen.sightings[0].source = SightingSource::RollCall;
    }
    for outcome in OF_LOOKS {
        match answer(&never, outcome).result {
            Part::Refused { refused } => {
                assert_eq!((refused.code, refused.have), (RefusalCode::LooksTooRare, None));
            }
            Part::Given(_) => panic!("figures without a look"),
        }
    }
    assert!(answer(&every(46), Outcome::Death).result.given().is_some(), "death needs no looks");
}

#[test]
fn the_median_gap_is_weighted_by_its_days() {
    // Ten gaps of 10 days are 100 days, two of 60 are 120: half of the days lie in gaps of 60.
    let mut club = every(10);
    for specimen in &mut club.specimens {
        specimen.sightings.truncate(11);
        for sighting in &mut specimen.sightings {
            sighting.condition = Some(4);
        }
        let last = specimen.sightings[10].on;
        for gap in [60, 120] {
            let on = last + chrono::TimeDelta::days(gap);
            specimen.sightings.push(analysis::club::Sighting { on, ..specimen.sightings[0] });
        }
    }
    match answer(&club, Outcome::FirstSeriousDecline).result {
        Part::Refused { refused } => {
            assert_eq!((refused.code, refused.have), (RefusalCode::LooksTooRare, Some(60.0)));
        }
        Part::Given(_) => panic!("looks are too rare"),
    }
}

#[test]
fn what_is_left_of_the_answer_about_death_must_pass_too() {
    // Six keepers with two corals each looked at monthly; a seventh keeper's two corals never were: the public answer about
    // decline less that about death would show them.
    let club = |seventh: bool| {
        let mut b = ClubBuilder::new("2023-01-01");
        for keeper in 0..7 {
            let tank = b.keeper_with_tank();
            for number in 0..3 {
                if keeper == 6 && (!seventh || number > 1) {
                    continue;
                }
                let coral = b.coral("goniopora", tank, 0);
                for look in 0..14 {
                    if keeper < 6 {
                        let poor = number == 0 && look > keeper + 1;
                        b.scored(coral, 30 * look, if poor { 2 } else { 4 });
                    }
                }
                b.seen(coral, 420, SightingSource::RollCall);
            }
        }
        b.build()
    };
    let hidden = |club: &Club, outcome, audience| {
        let answer = survival(club, &ask(outcome, By::None), audience, &stamp());
        matches!(&answer.result, Part::Refused { refused } if refused.code == RefusalCode::Suppressed)
    };
    for audience in [Audience::Public, Audience::Member] {
        assert!(!hidden(&club(false), Outcome::FirstSeriousDecline, audience));
        assert!(hidden(&club(true), Outcome::FirstSeriousDecline, audience));
        assert!(hidden(&club(true), Outcome::DeathOrDecline, audience));
        assert!(!hidden(&club(true), Outcome::Death, audience));
    }
    assert!(!hidden(&club(true), Outcome::FirstSeriousDecline, Audience::Curator));
}
