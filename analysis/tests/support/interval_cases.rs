//! Deaths known to lie between two looks, and readings known to lie below a limit.

use analysis::readings::{Percentile, ShareStep, Side, censored_shares, regression_on_order};
use analysis::survival::{TurnbullBox, turnbull};

use crate::case::Case;

#[test]
pub fn turnbull_bcdeter() {
    let mut case = Case::open("turnbull_bcdeter");
    let table = case.data();
    let treat = table.numbers("treat");
    let ends = |name: &str| -> Vec<f64> {
        // Empty: still well at the last look.
        table.text(name).iter().map(|field| field.parse().unwrap_or(f64::INFINITY)).collect()
    };
    let (lower, upper) = (table.numbers("lower"), ends("upper"));
    for group in [1, 2] {
        let rows: Vec<usize> = (0..treat.len()).filter(|&row| treat[row] == f64::from(group)).collect();
        let left: Vec<f64> = rows.iter().map(|&row| lower[row]).collect();
        let right: Vec<f64> = rows.iter().map(|&row| upper[row]).collect();
        let found = turnbull(&left, &right, None).expect("a curve");
        let key = |part: &str| format!("treat{group}/{part}");
        let column = |of: fn(&TurnbullBox) -> Option<f64>| -> Vec<Option<f64>> { found.boxes.iter().map(of).collect() };
        case.list(&key("left"), &column(|own| Some(own.left)));
        case.list(&key("right"), &column(|own| own.right));
        case.list(&key("mass"), &column(|own| Some(own.mass)));
        case.list(&key("surv_after"), &column(|own| Some(own.surv_after)));
        let closed: Vec<bool> = found.boxes.iter().map(|own| own.left_closed).collect();
        assert_eq!(case.expected(&key("left_closed")), serde_json::json!(closed));
        case.number(&key("loglik"), Some(found.log_likelihood));
        case.number(&key("kkt_max_gradient"), Some(found.largest_gradient));
        // The other program stops its search early: its notes allow a thousandth, outside of boxes.
        let times = case.expected(&format!("treat{group}_survfit/time"));
        let survival = case.expected(&format!("treat{group}_survfit/surv"));
        let numbers = |list: &serde_json::Value| -> Vec<f64> {
            list.as_array().into_iter().flatten().filter_map(|v| v.as_f64()).collect()
        };
        let mut compared = 0;
        for (time, want) in numbers(&times).into_iter().zip(numbers(&survival)) {
            let own = found.survival_at(time);
            if own.lowest == own.highest {
                assert!((own.lowest - want).abs() <= 1e-3, "treat {group} at {time}: {own:?}, {want}");
                compared += 1;
            }
        }
        assert!(compared >= 8, "{compared}");
    }
    case.finish();
}

#[test]
pub fn left_censored_nh4() {
    let mut case = Case::open("left_censored_nh4");
    let table = case.data();
    let (values, limited) = (table.numbers("nh4_mg_l"), table.flags("censored"));
    let found = censored_shares(&values, &limited, Side::Below).expect("detected readings");
    let column = |of: fn(&ShareStep) -> f64| -> Vec<f64> { found.steps.iter().map(of).collect() };
    case.numbers("km/x", &column(|step| step.value));
    case.numbers("km/n_at_or_below", &column(|step| step.at_or_beyond as f64));
    case.numbers("km/detected", &column(|step| step.detected as f64));
    case.numbers("km/F", &column(|step| step.share));
    case.numbers("km/se", &column(|step| step.std_error));
    case.number("km/F_below_smallest", Some(found.beyond));
    case.numbers("lifelines_F", &column(|step| step.share));
    let probabilities = case.expected("quantiles/probs");
    let percentiles = probabilities.as_array().into_iter().flatten().map(|p| {
        match found.percentile(p.as_f64().expect("a share")).expect("a percentile") {
            Percentile::At(value) => Some(value),
            Percentile::Below(_) | Percentile::Above(_) => None,
        }
    });
    case.list("quantiles/value", &percentiles.collect::<Vec<_>>());

    let summary = regression_on_order(&values, &limited, Side::Below).expect("enough detected readings");
    case.number("ros/intercept", Some(summary.intercept));
    case.number("ros/slope", Some(summary.slope));
    case.number("ros/mean", Some(summary.mean));
    case.number("ros/sd", Some(summary.std_deviation));
    case.number("ros/median", Some(summary.median));
    case.number("ros/n_imputed", Some(summary.imputed.len() as f64));
    case.numbers("ros/imputed_sorted", &summary.imputed);
    let share = 100.0 * limited.iter().filter(|limit| **limit).count() as f64 / limited.len() as f64;
    case.number("percent_censored", Some(share));
    // Half a limit in place of a reading is what must not be reported.
    case.skip("half_lod_median");
    case.skip("half_lod_mean");
    case.finish();
}
