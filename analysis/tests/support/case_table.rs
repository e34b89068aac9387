//! All published cases in one table, made by the comparisons that the tests assert.
//!
//! `cargo test -p analysis --test reference_cases -- --nocapture table`

use std::collections::BTreeSet;

use crate::case::{Case, finished};
use crate::{
    cox_cases, curve_cases, disclosure_cases, growth_cases, interval_cases, rate_cases, small_cases, test_cases,
};

/// Every case that this program compares. Not one may be left out: [`table`] compares the list with the folder.
const CASES: &[fn()] = &[
    curve_cases::km_na_aml,
    curve_cases::km_na_lung,
    curve_cases::rmst_aml,
    curve_cases::km_delayed_entry_channing,
    curve_cases::km_delayed_entry_channing_from816,
    curve_cases::km_heart_by_current_state,
    curve_cases::quantile_plateau,
    curve_cases::km_cluster_rats,
    curve_cases::competing_mgus2,
    test_cases::logrank_aml,
    test_cases::logrank_delayed_entry_channing,
    test_cases::logrank_heart_time_varying,
    test_cases::logrank_veteran_k4,
    test_cases::logrank_lung_strata,
    cox_cases::cox_lung_efron,
    cox_cases::cox_veteran_zph,
    cox_cases::cox_delayed_entry_channing,
    cox_cases::cox_heart_time_varying,
    cox_cases::cox_rats_cluster,
    cox_cases::cox_cgd_strata_cluster,
    cox_cases::firth_separation,
    cox_cases::firth_ovarian,
    small_cases::rates_exact,
    small_cases::growth_slopes_sim,
    small_cases::theil_sen_growth_sim,
    small_cases::bh_small,
    small_cases::evalue,
    interval_cases::turnbull_bcdeter,
    interval_cases::left_censored_nh4,
    rate_cases::poisson_pe_veteran,
    rate_cases::meta_bcg,
    growth_cases::lmm_sleepstudy,
    growth_cases::lmm_growth_sim,
    disclosure_cases::disclosure_bridge,
];

/// Cases that other programs of tests compare, by the name of the program.
const ELSEWHERE: &[(&str, &str)] = &[
    ("exposure_locf_small", "exposure"),
    ("immortal_time_example", "exposure"),
    ("salinity_sg_conductivity", "seawater"),
];

#[test]
fn table() {
    for case in CASES {
        case();
    }
    let mut rows = finished();
    rows.sort_by(|a, b| a.case.cmp(&b.case));
    println!();
    println!(
        "{:<38} {:<38} {:>7} {:>24} {:>24} {:>9} {:>9}  worst at",
        "case", "statistic", "numbers", "expected", "ours", "error", "allowed"
    );
    for row in &rows {
        println!(
            "{:<38} {:<38} {:>7} {:>24.16e} {:>24.16e} {:>9.1e} {:>9.0e}  {}",
            row.case, row.statistic, row.compared, row.expected, row.ours, row.error, row.tolerance, row.path
        );
        assert!(row.error <= row.tolerance, "{}", row.case);
    }
    for (case, program) in ELSEWHERE {
        println!("{case:<38} compared by --test {program}");
    }
    let compared: BTreeSet<String> = rows.iter().map(|row| row.case.clone()).collect();
    let elsewhere = ELSEWHERE.iter().map(|(case, _)| (*case).to_owned());
    assert_eq!(Case::all(), elsewhere.chain(compared).collect(), "a case of the folder is compared nowhere");
}
