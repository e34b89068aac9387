//! Survival curves, accumulated hazards, quantiles, restricted means and competing causes.

use analysis::episode::Episodes;
use analysis::survival::kaplan_meier::{CurveOptions, kaplan_meier_with};
use analysis::survival::*;

use crate::case::{Case, Table};

fn rows(start: Option<Vec<f64>>, stop: Vec<f64>, event: Vec<bool>) -> Episodes {
    let start = start.unwrap_or_else(|| vec![0.0; stop.len()]);
    Episodes::validated(start, stop, event).expect("published rows are sound")
}

fn only(e: &Episodes, group: &[u32], wanted: u32) -> Episodes {
    let keep: Vec<bool> = group.iter().map(|g| *g == wanted).collect();
    e.filter(&keep)
}

/// The whole curve of published software: from a start time, over gaps.
fn whole(e: &Episodes, start_time: Option<f64>, interval: Interval) -> KaplanMeier {
    kaplan_meier_with(e, &CurveOptions { start_time, interval, across_gaps: true, ..CurveOptions::default() })
}

fn compare_curve(case: &mut Case, at: &str, e: &Episodes, start_time: Option<f64>) {
    let curve = whole(e, start_time, Interval::LogLog);
    let hazard = nelson_aalen(e, start_time, 0.95);
    let column = |of: fn(&Step) -> Option<f64>| -> Vec<Option<f64>> { curve.steps.iter().map(of).collect() };
    case.list(&format!("{at}/time"), &column(|s| Some(s.time)));
    case.list(&format!("{at}/n_risk"), &column(|s| Some(s.at_risk as f64)));
    case.list(&format!("{at}/n_event"), &column(|s| Some(s.events as f64)));
    case.list(&format!("{at}/surv"), &column(|s| Some(s.survival)));
    case.list(&format!("{at}/se"), &column(|s| s.std_error));
    case.list(&format!("{at}/lower"), &column(|s| s.lower));
    case.list(&format!("{at}/upper"), &column(|s| s.upper));
    let hazards: Vec<f64> = hazard.steps.iter().map(|s| s.cumulative_hazard).collect();
    let errors: Vec<f64> = hazard.steps.iter().map(|s| s.std_error).collect();
    case.numbers(&format!("{at}/cumhaz"), &hazards);
    case.numbers(&format!("{at}/se_cumhaz"), &errors);
}

fn compare_quantiles(case: &mut Case, group: &str, e: &Episodes, start_time: Option<f64>) {
    let curve = whole(e, start_time, Interval::LogLog);
    let shares: Vec<f64> =
        case.expected("quantiles/probs").as_array().into_iter().flatten().filter_map(|p| p.as_f64()).collect();
    assert_eq!(shares.len(), 3);
    let found: Vec<Quantile> = shares.iter().map(|&share| quantile(&curve, share)).collect();
    let of = |part: fn(&Quantile) -> Option<f64>| -> Vec<Option<f64>> { found.iter().map(part).collect() };
    case.list(&format!("quantiles/quantile/{group}"), &of(|q| q.estimate));
    case.list(&format!("quantiles/lower/{group}"), &of(|q| q.lower));
    case.list(&format!("quantiles/upper/{group}"), &of(|q| q.upper));
}

fn compare_restricted_mean(case: &mut Case, at: &str, e: &Episodes) -> RestrictedMean {
    let tau = case.expected(&format!("{at}/tau")).as_f64().expect("a horizon");
    let mean = restricted_mean(&whole(e, None, Interval::LogLog), tau).expect("within follow-up");
    case.number(&format!("{at}/rmst"), Some(mean.estimate));
    case.number(&format!("{at}/se"), mean.std_error);
    mean
}

fn aml(table: &Table) -> (Episodes, Vec<u32>, Vec<String>) {
    let (group, names) = table.groups("x");
    (rows(None, table.numbers("time"), table.flags("status")), group, names)
}

#[test]
pub fn km_na_aml() {
    let mut case = Case::open("km_na_aml");
    let (e, group, names) = aml(&case.data());
    for (g, name) in names.iter().enumerate() {
        let own = only(&e, &group, g as u32);
        let label = format!("x={name}");
        compare_curve(&mut case, &format!("curves/{label}"), &own, None);
        compare_quantiles(&mut case, &label, &own, None);
        for (key, interval) in [("plain_ci", Interval::Plain), ("log_ci", Interval::Log)] {
            let curve = whole(&own, None, interval);
            let lower: Vec<Option<f64>> = curve.steps.iter().map(|s| s.lower).collect();
            let upper: Vec<Option<f64>> = curve.steps.iter().map(|s| s.upper).collect();
            case.list(&format!("{key}/{label}/lower"), &lower);
            case.list(&format!("{key}/{label}/upper"), &upper);
        }
    }
    case.finish();
}

#[test]
pub fn km_na_lung() {
    let mut case = Case::open("km_na_lung");
    let table = case.data();
    let e = rows(None, table.numbers("time"), table.flags("event"));
    let (group, names) = table.groups("sex");
    for (g, name) in names.iter().enumerate() {
        let own = only(&e, &group, g as u32);
        let label = format!("sex={name}");
        compare_curve(&mut case, &format!("curves/{label}"), &own, None);
        compare_quantiles(&mut case, &label, &own, None);
        compare_restricted_mean(&mut case, &format!("rmst_365/{label}"), &own);
    }
    case.finish();
}

#[test]
pub fn rmst_aml() {
    let mut case = Case::open("rmst_aml");
    let (e, group, names) = aml(&case.data());
    let means: Vec<RestrictedMean> = names
        .iter()
        .enumerate()
        .map(|(g, name)| compare_restricted_mean(&mut case, &format!("by_group/x={name}"), &only(&e, &group, g as u32)))
        .collect();
    case.numbers("survival_table_rmean", &[means[0].estimate, means[1].estimate]);
    case.list("survival_table_se", &[means[0].std_error, means[1].std_error]);
    let difference = restricted_mean_difference(&means[0], &means[1], 0.95).expect("one horizon");
    case.number("difference_first_minus_second", Some(difference.estimate));
    case.number("se_difference", Some(difference.std_error));
    case.number("lower", Some(difference.lower));
    case.number("upper", Some(difference.upper));
    case.number("p", Some(difference.p));
    case.finish();
}

fn channing(name: &str, start_time: Option<f64>) {
    let mut case = Case::open(name);
    let table = case.data();
    let e = rows(Some(table.numbers("entry")), table.numbers("time"), table.flags("event"));
    let (group, names) = table.groups("gender");
    for (g, name) in names.iter().enumerate() {
        let own = only(&e, &group, g as u32);
        let label = format!("gender={name}");
        compare_curve(&mut case, &format!("curves/{label}"), &own, start_time);
        compare_quantiles(&mut case, &label, &own, start_time);
    }
    case.finish();
}

#[test]
pub fn km_delayed_entry_channing() {
    channing("km_delayed_entry_channing", None);
}

#[test]
pub fn km_delayed_entry_channing_from816() {
    channing("km_delayed_entry_channing_from816", Some(816.0));
}

/// The men of Channing House: one early risk set of one sends the curve to 0, and nobody is watched after it.
#[test]
fn an_early_risk_set_of_one_ends_the_curve_and_a_later_start_is_found() {
    let case = Case::open("km_delayed_entry_channing");
    let table = case.data();
    let e = rows(Some(table.numbers("entry")), table.numbers("time"), table.flags("event"));
    let men = only(&e, &table.groups("gender").0, 0);
    let curve = kaplan_meier(&men, None, Interval::LogLog);
    assert_eq!((curve.steps.len(), curve.gap), (2, Some(781.0)));
    let start = club_start_time(&men);
    let shown = kaplan_meier(&men, Some(start), Interval::LogLog);
    assert_eq!(shown.gap, None);
    assert!(shown.steps.iter().take(3).all(|step| step.at_risk >= 5));
    assert!(start > 781.0 && start <= 869.0, "{start}");
}

#[test]
pub fn km_heart_by_current_state() {
    let mut case = Case::open("km_heart_by_current_state");
    let table = case.data();
    let e = rows(Some(table.numbers("start")), table.numbers("stop"), table.flags("event"));
    let (group, names) = table.groups("transplant");
    for (g, name) in names.iter().enumerate() {
        compare_curve(&mut case, &format!("curves/transplant={name}"), &only(&e, &group, g as u32), None);
    }
    case.finish();
}

#[test]
pub fn quantile_plateau() {
    let mut case = Case::open("quantile_plateau");
    for key in ["a", "b"] {
        let list = |case: &mut Case, part: &str| -> Vec<f64> {
            case.expected(&format!("{key}/{part}"))
                .as_array()
                .into_iter()
                .flatten()
                .filter_map(|v| v.as_f64())
                .collect()
        };
        let stop = list(&mut case, "time");
        let event = list(&mut case, "event").iter().map(|e| *e == 1.0).collect();
        let curve = kaplan_meier(&rows(None, stop, event), None, Interval::LogLog);
        case.number(&format!("{key}/median"), quantile(&curve, 0.5).estimate);
    }
    case.finish();
}

#[test]
pub fn km_cluster_rats() {
    let mut case = Case::open("km_cluster_rats");
    let table = case.data();
    let e = rows(None, table.numbers("time"), table.flags("status"));
    let (group, _) = table.groups("rx");
    let litter: Vec<u32> = table.numbers("litter").iter().map(|v| *v as u32).collect();
    let times = [60.0, 80.0, 100.0];
    case.numbers("cluster/times", &times);
    let (mut survival, mut greenwood, mut clustered) = (Vec::new(), Vec::new(), Vec::new());
    for g in 0..2 {
        let at: Vec<usize> = (0..group.len()).filter(|&row| group[row] == g).collect();
        let own = e.subset(&at);
        let specimen: Vec<u32> = at.iter().map(|&row| row as u32).collect();
        let cluster: Vec<u32> = at.iter().map(|&row| litter[row]).collect();
        let curve = kaplan_meier(&own, None, Interval::LogLog);
        let step = |t: f64| curve.survival_at(t).copied();
        survival.extend(times.iter().map(|&t| step(t).map(|s| s.survival)));
        greenwood.extend(times.iter().map(|&t| step(t).and_then(|s| s.std_error)));
        clustered.extend(clustered_std_errors(&own, &specimen, &cluster, &curve, &times));
    }
    case.list("cluster/surv", &survival);
    case.list("cluster/se", &clustered);
    case.list("greenwood/surv", &survival);
    case.list("greenwood/se", &greenwood);
    case.finish();
}

#[test]
pub fn competing_mgus2() {
    let mut case = Case::open("competing_mgus2");
    let table = case.data();
    let stop = table.numbers("etime");
    let cause: Vec<u32> = table.numbers("event").iter().map(|v| *v as u32).collect();
    let (sex, names) = table.groups("sex");
    let times = [12.0, 60.0, 120.0, 240.0];
    case.numbers("times", &times);
    case.skip("states");
    case.skip("strata");
    let mut row = 0;
    for (g, name) in names.iter().enumerate() {
        let at: Vec<usize> = (0..sex.len()).filter(|&row| sex[row] == g as u32).collect();
        let own = rows(None, stop.clone(), cause.iter().map(|c| *c > 0).collect()).subset(&at);
        let causes: Vec<u32> = at.iter().map(|&row| cause[row]).collect();
        let found = cumulative_incidence(&own, &causes, 2, None, 0.95).expect("deaths of two causes");
        let curve = kaplan_meier(&own, None, Interval::LogLog);
        let mut by_cause = [Vec::new(), Vec::new()];
        for &t in &times {
            let step = found.at(t).expect("within follow-up");
            let greenwood = curve.survival_at(t).and_then(|s| s.std_error).expect("survivors");
            let [one, two] = [step.causes[0], step.causes[1]];
            case.numbers(&format!("pstate/{row}"), &[step.survival, one.incidence, two.incidence]);
            let errors = [greenwood, one.std_error, two.std_error];
            case.numbers(&format!("se_infinitesimal_jackknife/{row}"), &errors);
            // The same by influence, each person a cluster; and the curve free of the cause.
            let ids: Vec<u32> = (0..causes.len() as u32).collect();
            let of = |k: u32| {
                let free = event_free(&own, &causes, k, 0.0);
                let step = free.survival_at(t).copied().expect("within follow-up");
                let clustered = clustered_incidence_std_errors(&own, &causes, k, &ids, &ids, 0.0, &[t]);
                (1.0 - step.survival, step.std_error.expect("an error"), clustered[0].expect("an error"))
            };
            let (first, second) = (of(1), of(2));
            case.numbers(&format!("pstate/{row}"), &[step.survival, first.0, second.0]);
            case.numbers(&format!("se_infinitesimal_jackknife/{row}"), &[greenwood, first.1, second.1]);
            case.numbers(&format!("se_infinitesimal_jackknife/{row}"), &[greenwood, first.2, second.2]);
            by_cause[0].push(one.incidence);
            by_cause[1].push(two.incidence);
            row += 1;
        }
        case.numbers(&format!("cuminc_est/{name} 1"), &by_cause[0]);
        case.numbers(&format!("cuminc_est/{name} 2"), &by_cause[1]);
    }
    // Another variance of the same incidences, and Gray's test, are not ours.
    case.skip("cuminc_var");
    case.skip("gray_test");
    let progression = rows(None, stop.clone(), cause.iter().map(|c| *c == 1).collect());
    let curve = kaplan_meier(&progression, None, Interval::LogLog);
    let wrong = curve.survival_at(240.0).map(|s| 1.0 - s.survival);
    case.number("wrong_one_minus_km_of_cause1_at_240", wrong);
    let everyone = rows(None, stop.clone(), cause.iter().map(|c| *c > 0).collect());
    let right = cumulative_incidence(&everyone, &cause, 2, None, 0.95).expect("deaths");
    let right = right.at(240.0).map(|s| s.causes[0].incidence).expect("within follow-up");
    assert!(wrong.expect("a curve") > 1.5 * right, "censoring other causes must show as too much");
    for k in [1, 2] {
        let e = rows(None, stop.clone(), cause.iter().map(|c| *c == k).collect());
        let covariates = [
            Covariate { name: "age".into(), values: table.numbers("age") },
            Covariate { name: "male".into(), values: sex.iter().map(|g| f64::from(*g)).collect() },
        ];
        crate::cox_cases::compare(&mut case, &format!("cause_specific_cox_{k}"), &e, &covariates, None, None);
    }
    case.finish();
}
