//! Answers on growth, against sizes made so that the figures are known.

#[path = "support/club_builder.rs"]
mod club_builder;

use analysis::answer::{Audience, By, GrowthAnswer, GrowthGroup, GrowthQuestion, RunOutcome, growth};
use analysis::club::{Club, Sizing, Stay};
use club_builder::{ClubBuilder, parameter, stamp, taxon};

fn ask(club: &Club, by: By) -> GrowthAnswer {
    let question = GrowthQuestion { taxon: taxon("goniopora"), by, edges: None, since: None };
    growth(club, &question, Audience::Curator, &stamp())
}

fn group<'a>(answer: &'a GrowthAnswer, code: &str) -> &'a GrowthGroup {
    let groups = &answer.result.given().expect("an answer").groups;
    groups.iter().filter_map(|group| group.given()).find(|group| group.group == code).expect("the group")
}

fn size(builder: &mut ClubBuilder, coral: usize, day: i64, value: f64) {
    let on = builder.day(day);
    let (measure, basis) = ("max_diameter".to_owned(), "skeleton".to_owned());
    builder.specimen(coral).sizings.push(Sizing { on, measure, basis, value, segment: 0 });
}

#[test]
fn a_coral_that_moved_grew_under_the_water_of_the_tank_it_was_in() {
    let mut builder = ClubBuilder::new("2023-01-01");
    builder.band("goniopora", "nitrate", 5.0, 15.0, "mg/L");
    for _ in 0..12 {
        let first = builder.keeper_with_tank();
        let second = builder.tank(builder.club.tanks[first as usize].keeper);
        for week in 0..40 {
            builder.reading(first, "nitrate", 7 * week, 10.0);
            builder.reading(second, "nitrate", 7 * week, 40.0);
        }
        let coral = builder.coral("goniopora", first, 20);
        let moved = builder.day(120);
        let got = builder.day(20);
        builder.specimen(coral).stays =
            vec![Stay { tank: first, from: got, to: Some(moved) }, Stay { tank: second, from: moved, to: None }];
        for (day, value) in [(20, 10.0), (120, 11.0), (220, 22.0)] {
            size(&mut builder, coral, day, value);
        }
    }
    let answer = ask(&builder.build(), By::Parameter(parameter("nitrate")));
    let month = 30.4375;
    let near = |code: &str, want: f64| {
        let got = group(&answer, code).slope_per_month;
        assert!((got - want).abs() < 1e-12, "{code}: {got}, made as {want}");
    };
    near("within", 1.1_f64.ln() / 100.0 * month);
    near("above", 2.0_f64.ln() / 100.0 * month);
}

#[test]
fn a_sudden_loss_of_size_stays_in_the_figure_and_is_left_out_beside_it() {
    let mut builder = ClubBuilder::new("2023-01-01");
    for _ in 0..12 {
        let tank = builder.keeper_with_tank();
        let coral = builder.coral("goniopora", tank, 20);
        // It doubles in 100 days, twice; in between it falls to a third within 20 days.
        for (day, value) in [(20, 12.0), (120, 24.0), (140, 8.0), (240, 16.0)] {
            size(&mut builder, coral, day, value);
        }
    }
    let club = builder.build();
    let answer = ask(&club, By::None);
    let month = 30.4375;
    let close = |got: f64, want: f64| assert!((got - want).abs() < 1e-12, "{got}, made as {want}");
    assert_eq!(answer.evidence.given().expect("evidence").falls, 12);
    // Slopes of ln size by pair: ln 2/100 twice, -ln 3/20, ln(2/3)/120 twice, ln(4/3)/220; the median of six.
    let median = (2.0_f64 / 3.0).ln() / 120.0 + (4.0_f64 / 3.0).ln() / 220.0;
    close(group(&answer, "all").slope_per_month, median / 2.0 * month);
    let run = |answer: &GrowthAnswer| {
        let run = answer.sensitivity.first().expect("a run").clone();
        assert_eq!((run.run, run.result_key.as_str()), ("without_falls", "groups/all/slope_per_month"));
        run.outcome
    };
    match run(&answer) {
        RunOutcome::Estimate { estimate, changes_answer, .. } => {
            close(estimate, 2.0_f64.ln() / 100.0 * month);
            assert!(changes_answer);
        }
        other => panic!("{other:?}"),
    }
    let mut smooth = club.clone();
    for specimen in &mut smooth.specimens {
        specimen.sizings.truncate(2);
    }
    assert_eq!(run(&ask(&smooth, By::None)), RunOutcome::Same { same: true });
}

#[test]
fn corals_with_sizes_enough_have_one_model_and_its_figures_are_a_curators() {
    let mut builder = ClubBuilder::new("2023-01-01");
    for tank_number in 0..12i64 {
        let tank = builder.keeper_with_tank();
        for own in 0..2i64 {
            let coral = builder.coral("goniopora", tank, 20);
            for look in 0..4i64 {
                // 3 % a month, each coral a little faster or slower, and no reading exact.
                let each = 0.03 + 0.004 * ((tank_number * 3 + own * 5) % 7 - 3) as f64;
                let error = 0.01 * ((tank_number * 5 + own * 3 + look * look * 4) % 9 - 4) as f64;
                let start = 2.5 + 0.1 * ((tank_number * 2 + own) % 5) as f64;
                let months = (40 * look) as f64 / 30.4375;
                size(&mut builder, coral, 20 + 40 * look, (start + each * months + error).exp());
            }
        }
    }
    let club = builder.build();
    let answer = ask(&club, By::None);
    let model = &answer.result.given().expect("an answer").model;
    assert_eq!((model.kind, answer.method.variance), ("reml", "model"));
    assert!(model.criterion.is_some() && model.variances.is_some());
    let all = group(&answer, "all");
    assert!((all.slope_per_month - 0.03).abs() < 0.005, "{all:?}");
    assert!(all.lower < Some(all.slope_per_month) && all.upper > Some(all.slope_per_month) && all.df.is_some());
    let question = GrowthQuestion { taxon: taxon("goniopora"), by: By::None, edges: None, since: None };
    let member = growth(&club, &question, Audience::Member, &stamp());
    let shown = &member.result.given().expect("an answer").model;
    assert_eq!((shown.kind, shown.criterion, shown.variances), ("reml", None, None));
}
