//! Rates, growth slopes, q values, E-values.

use analysis::growth::{least_squares, specific_growth_rate, theil_sen};
use analysis::numeric::false_discovery::{Dependence, q_values};
use analysis::survival::e_value::e_value;
use analysis::survival::*;

use crate::case::{Case, Table};

#[test]
pub fn rates_exact() {
    let mut case = Case::open("rates_exact");
    let count = case.expected("one").as_array().map_or(0, Vec::len);
    assert!(count >= 5);
    for index in 0..count {
        let given = case.expected(&format!("one/{index}"));
        let deaths = given["deaths"].as_u64().expect("deaths");
        let found = rate(deaths, given["exposure"].as_f64().expect("time"), 0.95).expect("time at risk");
        case.number(&format!("one/{index}/rate"), Some(found.rate));
        case.number(&format!("one/{index}/lower"), Some(found.lower));
        case.number(&format!("one/{index}/upper"), Some(found.upper));
    }
    let given = case.expected("two");
    let deaths = [0, 1].map(|i| given["d"][i].as_u64().expect("deaths"));
    let time = [0, 1].map(|i| given["T"][i].as_f64().expect("time"));
    let found = rate_ratio(deaths, time, 0.95).expect("deaths");
    case.number("two/ratio", found.ratio);
    case.number("two/lower", Some(found.lower));
    case.number("two/upper", found.upper);
    case.number("two/p", Some(found.p));
    case.finish();
}

/// Sizes of one specimen: days, months, sizes.
fn sizes(table: &Table, specimen: f64) -> [Vec<f64>; 3] {
    let ids = table.numbers("specimen");
    ["day", "months", "size_mm2"].map(|name| {
        let column = table.numbers(name);
        (0..ids.len()).filter(|&row| ids[row] == specimen).map(|row| column[row]).collect()
    })
}

#[test]
pub fn growth_slopes_sim() {
    let mut case = Case::open("growth_slopes_sim");
    let table = case.data();
    let count = case.expected("specimen").as_array().map_or(0, Vec::len);
    assert_eq!(count, 50);
    for index in 0..count {
        let id = case.expected(&format!("specimen/{index}")).as_f64().expect("a number");
        let [days, months, sizes] = sizes(&table, id);
        let logs: Vec<f64> = sizes.iter().map(|size| size.ln()).collect();
        let growth = specific_growth_rate(&days, &sizes, 0.95).expect("sizes far enough apart");
        let line = least_squares(&months, &logs).expect("two times");
        let robust = theil_sen(&months, &logs, 0.95).expect("two times");
        case.number(&format!("sgr_first_last_percent_per_day/{index}"), Some(growth.first_last_percent_per_day));
        case.number(&format!("ols_slope_per_month/{index}"), Some(line.slope));
        case.number(&format!("theil_sen_slope_per_month/{index}"), Some(robust.slope));
    }
    case.finish();
}

#[test]
pub fn theil_sen_growth_sim() {
    let mut case = Case::open("theil_sen_growth_sim");
    let table = case.data();
    let count = case.expected("rows").as_array().map_or(0, Vec::len);
    assert_eq!(count, 50);
    let mut with_limits = 0;
    for index in 0..count {
        let id = case.expected(&format!("rows/{index}/unit")).as_f64().expect("a number");
        let [_, months, sizes] = sizes(&table, id);
        let logs: Vec<f64> = sizes.iter().map(|size| size.ln()).collect();
        let found = theil_sen(&months, &logs, 0.95).expect("two times");
        case.number(&format!("rows/{index}/n"), Some(found.n as f64));
        case.number(&format!("rows/{index}/slope"), Some(found.slope));
        // Below six sizes we give no limits, though the formula can be computed.
        if found.n >= 6 {
            case.number(&format!("rows/{index}/lower"), found.lower);
            case.number(&format!("rows/{index}/upper"), found.upper);
            with_limits += 1;
        } else {
            assert_eq!((found.lower, found.upper), (None, None));
        }
    }
    assert!(with_limits >= 20, "{with_limits}");
    case.finish();
}

#[test]
pub fn bh_small() {
    let mut case = Case::open("bh_small");
    let p: Vec<f64> = case.expected("p").as_array().into_iter().flatten().filter_map(|v| v.as_f64()).collect();
    let q = |total: usize, dependence: Dependence| q_values(&p, total, dependence).expect("probabilities");
    case.numbers("BH", &q(p.len(), Dependence::Positive));
    case.numbers("BY", &q(p.len(), Dependence::Any));
    case.numbers("BH_with_total_20", &q(20, Dependence::Positive));
    // Another error rate, not offered.
    case.skip("holm");
    case.finish();
}

#[test]
pub fn evalue() {
    let mut case = Case::open("evalue");
    let count = case.expected("cases").as_array().map_or(0, Vec::len);
    assert_eq!(count, 6);
    for index in 0..count {
        let given = case.expected(&format!("cases/{index}"));
        let number = |key: &str| given[key].as_f64().expect("a number");
        let rare = given["rare"].as_bool().expect("rare or not");
        let found = e_value(number("hr"), number("lower"), number("upper"), rare).expect("a ratio with limits");
        case.number(&format!("cases/{index}/rr"), Some(found.risk_ratio));
        case.number(&format!("cases/{index}/evalue_point"), Some(found.point));
        case.number(&format!("cases/{index}/evalue_limit"), Some(found.limit));
    }
    case.finish();
}
