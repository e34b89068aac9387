//! A short version of the study of how far the statistics hold: forty clubs, floors widened by their Monte-Carlo error.

use analysis::simulation::study::{Options, Verdict, calls, coverage, lifetime, ranges, sightings};

const SHORT: Options = Options { clubs: 40, seed: 7, threads: 2 };

fn missed(verdicts: Vec<Verdict>) -> Vec<String> {
    verdicts.into_iter().filter(|verdict| !verdict.holds).map(|verdict| verdict.what).collect()
}

#[test]
fn limits_hold_as_often_as_they_say() {
    let report = coverage::run_at(&SHORT, &[10, 20], 500);
    assert!(report.lines.iter().all(|line| line.sandwich.clubs + line.refused == SHORT.clubs));
    assert_eq!(report.lines.iter().map(|line| line.clusters).collect::<Vec<_>>(), [20, 40, 10, 20, 10, 20]);
    assert_eq!(missed(report.verdicts()), Vec::<String>::new(), "{report:#?}");
}

#[test]
fn what_does_not_act_is_seldom_called() {
    let report = calls::null(&SHORT, 0.5);
    assert!(report.verdict().holds, "{report:#?}");
}

#[test]
fn what_acts_is_first_far_more_often_than_by_chance() {
    // Of eight conditions each is first in an eighth by chance: 2.5 of twenty clubs, and two errors are 3.0 more.
    let report = calls::ranked_first(&Options { clubs: 20, ..SHORT });
    assert!(report.crude.yes > 5 && report.crude_oracle.yes >= report.crude.yes, "{report:#?}");
}

#[test]
fn a_range_is_seldom_shown_where_nothing_acts() {
    let report = ranges::run(&SHORT);
    assert!(report.verdict().holds, "{report:#?}");
    assert!(report.shown.yes > report.shown_in_vain.yes, "{report:#?}");
}

#[test]
fn averages_over_a_life_mislead_and_the_state_at_each_moment_does_not() {
    let report = lifetime::run(&SHORT);
    assert_eq!(missed(report.verdicts()), Vec::<String>::new(), "{report:#?}");
}

#[test]
fn a_register_needs_its_day() {
    let report = sightings::run(&Options { clubs: 10, ..SHORT });
    assert_eq!(missed(report.verdicts()), Vec::<String>::new(), "{report:#?}");
}

#[test]
fn threads_change_no_figure() {
    let options = Options { clubs: 5, ..SHORT };
    assert_eq!(sightings::run(&options), sightings::run(&Options { threads: 1, ..options }));
}
