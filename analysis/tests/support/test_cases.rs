//! Log-rank tests: two and more groups, late entry, strata, weights, trend.

use analysis::episode::Episodes;
use analysis::survival::*;

use crate::case::Case;

fn rows(start: Option<Vec<f64>>, stop: Vec<f64>, event: Vec<bool>) -> Episodes {
    let start = start.unwrap_or_else(|| vec![0.0; stop.len()]);
    Episodes::validated(start, stop, event).expect("published rows are sound")
}

fn compare(case: &mut Case, at: &str, test: &LogRank) {
    let key = |part: &str| {
        if at.is_empty() { part.to_string() } else { format!("{at}/{part}") }
    };
    let of = |part: fn(&log_rank::LogRankGroup) -> f64| -> Vec<f64> { test.groups.iter().map(part).collect() };
    // Tests written out from the formula do not give the number of rows.
    if case.expected(at).get("n").is_some() {
        case.numbers(&key("n"), &of(|g| g.n as f64));
    }
    case.numbers(&key("obs"), &of(|g| g.observed));
    case.numbers(&key("exp"), &of(|g| g.expected));
    case.matrix(&key("var"), &test.variance);
    case.number(&key("chisq"), Some(test.statistic));
    case.number(&key("df"), Some(test.df as f64));
    case.number(&key("p"), Some(test.p));
}

fn compare_trend(case: &mut Case, at: &str, test: &LogRank) {
    let scores: Vec<f64> =
        case.expected(&format!("{at}/scores")).as_array().into_iter().flatten().filter_map(|v| v.as_f64()).collect();
    let found = trend(test, &scores).expect("groups at risk together");
    case.number(&format!("{at}/u"), Some(found.excess));
    case.number(&format!("{at}/v"), Some(found.variance));
    case.number(&format!("{at}/chisq"), Some(found.statistic));
    case.number(&format!("{at}/p"), Some(found.p));
}

#[test]
pub fn logrank_aml() {
    let mut case = Case::open("logrank_aml");
    let table = case.data();
    let e = rows(None, table.numbers("time"), table.flags("status"));
    let (group, _) = table.groups("x");
    for (at, rho) in [("logrank", 0.0), ("rho1", 1.0)] {
        let test = log_rank(&e, &group, 2, None, rho).expect("deaths in both groups");
        compare(&mut case, at, &test);
    }
    case.finish();
}

fn late_entry(name: &str, columns: [&str; 4]) {
    let mut case = Case::open(name);
    let table = case.data();
    let [start, stop, event, by] = columns;
    let e = rows(Some(table.numbers(start)), table.numbers(stop), table.flags(event));
    let (group, _) = table.groups(by);
    case.skip("groups");
    let test = log_rank(&e, &group, 2, None, 0.0).expect("deaths in both groups");
    compare(&mut case, "", &test);
    case.number("coxph_exact_score", Some(test.statistic));
    case.finish();
}

#[test]
pub fn logrank_delayed_entry_channing() {
    late_entry("logrank_delayed_entry_channing", ["entry", "time", "event", "gender"]);
}

#[test]
pub fn logrank_heart_time_varying() {
    late_entry("logrank_heart_time_varying", ["start", "stop", "event", "transplant"]);
}

#[test]
pub fn logrank_veteran_k4() {
    let mut case = Case::open("logrank_veteran_k4");
    let table = case.data();
    let e = rows(None, table.numbers("time"), table.flags("status"));
    let (group, names) = table.groups("celltype");
    assert_eq!(case.expected("groups"), serde_json::json!(names));
    let (treatment, _) = table.groups("trt");
    let plain = log_rank(&e, &group, 4, None, 0.0).expect("deaths in all groups");
    compare(&mut case, "plain", &plain);
    compare_trend(&mut case, "trend", &plain);
    let stratified = log_rank(&e, &group, 4, Some(&treatment), 0.0).expect("deaths in all groups");
    compare(&mut case, "stratified_trt", &stratified);
    compare_trend(&mut case, "trend_stratified_trt", &stratified);
    case.finish();
}

#[test]
pub fn logrank_lung_strata() {
    let mut case = Case::open("logrank_lung_strata");
    let table = case.data();
    let e = rows(None, table.numbers("time"), table.flags("event"));
    let (group, _) = table.groups("sex");
    let (strata, _) = table.groups("ph_ecog");
    compare(&mut case, "stratified", &log_rank(&e, &group, 2, Some(&strata), 0.0).expect("deaths"));
    compare(&mut case, "plain", &log_rank(&e, &group, 2, None, 0.0).expect("deaths"));
    case.finish();
}
