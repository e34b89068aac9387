//! Growth rates of tables: published slopes, groups, and what cannot be said or read.

use std::path::PathBuf;

use analysis::refusal::RefusalCode;
use analysis::table::{Day, GrowthRequest, TableError, TableGrowth, table_growth};

use crate::case::Case;

fn request(tank: Option<&str>, by: Option<&str>) -> GrowthRequest {
    GrowthRequest {
        specimen: "specimen".into(),
        day: "day".into(),
        size: "size_mm2".into(),
        tank: tank.map(str::to_owned),
        by: by.map(str::to_owned),
    }
}

fn simulated(tank: Option<&str>, by: Option<&str>) -> TableGrowth {
    let path = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("tests/reference/growth_sim.csv");
    let text = std::fs::read_to_string(&path).unwrap_or_else(|error| panic!("{}: {error}", path.display()));
    let table = crate::table(&text).expect("a sound table");
    table_growth(&table, &request(tank, by)).expect("sound sizes")
}

fn grown(text: &str) -> Result<TableGrowth, TableError> {
    table_growth(&crate::table(text)?, &request(None, None))
}

#[test]
fn slopes_of_specimens_are_the_published_ones() {
    let found = simulated(None, None);
    assert!(found.refusals.iter().all(|refusal| !refusal.key.starts_with("specimens")), "{:?}", found.refusals);
    // Published per month of 30.4375 days, as share; ours are per cent a day.
    let per_month: Vec<Option<f64>> =
        found.specimens.iter().map(|one| one.sgr_percent_per_day.map(|rate| rate * 30.4375 / 100.0)).collect();
    // The published months carry seven digits.
    let mut case = Case::open("growth_slopes_sim");
    let want = case.expected("ols_slope_per_month");
    let want: Vec<f64> = want.as_array().into_iter().flatten().filter_map(|v| v.as_f64()).collect();
    assert_eq!(want.len(), per_month.len());
    for (got, want) in per_month.iter().zip(&want) {
        let got = got.expect("a rate");
        assert!((got - want).abs() <= 2e-6 * want.abs().max(0.01), "{got} {want}");
    }
    // One group holds them all: its slope is the median of the published medians.
    let medians = case.expected("theil_sen_slope_per_month");
    let mut medians: Vec<f64> = medians.as_array().into_iter().flatten().filter_map(|v| v.as_f64()).collect();
    medians.sort_by(f64::total_cmp);
    let half = medians.len() / 2;
    let want = 0.5 * (medians[half - 1] + medians[half]);
    let group = &found.groups[0];
    let got = group.slope_per_month.expect("a slope");
    assert!((got - want).abs() <= 2e-6 * want, "{got} {want}");
    assert_eq!((group.group.as_str(), group.specimens, group.tanks), ("all", 50, None));
    assert!((group.ratio_per_month.expect("a ratio") - got.exp()).abs() < 1e-15);
    assert_eq!((found.model.kind, found.model.criterion), ("theil_sen", None));
}

#[test]
fn enough_specimens_in_named_tanks_have_one_model() {
    let found = simulated(Some("tank"), Some("band"));
    assert_eq!(found, simulated(Some("tank"), Some("band")));
    assert_eq!((found.model.kind, found.model.dropped.len()), ("reml", 0));
    assert!(found.model.criterion.is_some_and(f64::is_finite));
    let variances = found.model.variances.expect("variances");
    assert!(variances.tank.is_some_and(|tank| tank > 0.0) && variances.residual > 0.0);
    assert!(found.refusals.is_empty(), "{:?}", found.refusals);
    // The published model counts months from one day for all, ours from each specimen's first size: nearly the same slopes.
    let mut case = Case::open("lmm_growth_sim");
    let want = case.expected("coef");
    let published = |at: usize| want[at].as_f64().expect("an effect");
    for (group, want) in found.groups.iter().zip([published(1), published(1) + published(3)]) {
        let (slope, error) = (group.slope_per_month.expect("a slope"), group.std_error.expect("an error"));
        assert!((slope - want).abs() < 0.5 * error, "{slope} {want} {error}");
        assert!(group.lower < Some(slope) && Some(slope) < group.upper);
        assert!(group.df.is_some_and(|df| df > 10.0 && df < 50.0), "{group:?}");
        assert_eq!((group.specimens, group.tanks), (25, Some(5)));
        assert_eq!(group.ratio_per_month, Some(slope.exp()));
    }
}

#[test]
fn too_few_for_a_model_have_medians_with_limits_from_their_tanks() {
    let mut text = String::from("specimen,day,size_mm2,tank\n");
    for own in 0..11 {
        for look in 0..2 {
            let size = 10.0 + f64::from(own) + f64::from(look * (1 + own % 4));
            text.push_str(&format!("S{own},{},{size},T{own}\n", 40 * look));
        }
    }
    let ask =
        |text: &str| table_growth(&crate::table(text).expect("a table"), &request(Some("tank"), None)).expect("sizes");
    let found = ask(&text);
    assert_eq!(found, ask(&text));
    assert_eq!((found.model.kind, found.model.variances), ("theil_sen", None));
    let group = &found.groups[0];
    assert!(group.lower <= group.slope_per_month && group.slope_per_month <= group.upper && group.lower.is_some());
    assert_eq!((group.std_error, group.df), (None, None));
    let lacking = found.refusals.iter().find(|refusal| refusal.key == "model").expect("what is lacking");
    assert_eq!((lacking.refusal.code, lacking.refusal.have), (RefusalCode::TooFewSpecimens, Some(0.0)));
    // Nine tanks are too few to draw from, which is said too.
    let fewer: String = text.lines().take(19).map(|line| format!("{line}\n")).collect();
    let found = ask(&fewer);
    let limits = found.refusals.iter().find(|refusal| refusal.key == "groups/all/limits").expect("a reason");
    assert_eq!((limits.refusal.code, found.groups[0].lower), (RefusalCode::TooFewClusters, None));
}

#[test]
fn calendar_days_are_printed_as_such() -> Result<(), TableError> {
    let found = grown("specimen,day,size_mm2\nA,2025-03-31,20\nA,2025-03-01,10\nB,2025-03-01,7\nB,2025-03-09,8")?;
    let first = &found.specimens[0];
    assert!(matches!(first.first, Day::Date(day) if day.to_string() == "2025-03-01"));
    assert!((first.sgr_percent_per_day.expect("a rate") - 100.0 * 2f64.ln() / 30.0).abs() < 1e-12);
    // Two sizes have no limits; eight days have no rate.
    assert_eq!((first.lower, found.specimens[1].sgr_percent_per_day), (None, None));
    let refusal = found.refusals.iter().find(|refusal| refusal.key == "specimens/B").expect("a reason");
    assert_eq!(
        (refusal.refusal.code, refusal.refusal.have, refusal.refusal.need),
        (RefusalCode::BeyondFollowUp, Some(8.0), Some(14.0))
    );
    assert_eq!(found.groups[0].specimens, 1);
    Ok(())
}

#[test]
fn falls_are_said_and_kept() -> Result<(), TableError> {
    let found = grown("specimen,day,size_mm2\nA,0,20\nA,30,10\nA,60,12\nA,90,\n")?;
    assert_eq!(found.specimens[0].n, 3);
    let said: Vec<String> = found.notices.iter().map(ToString::to_string).collect();
    assert!(said.iter().any(|s| s.contains("falls from 20 to 10") && s.contains("row 2 (line 3)")), "{said:?}");
    assert!(said.iter().any(|s| s.contains("1 row with an empty cell")), "{said:?}");
    Ok(())
}

#[test]
fn what_cannot_be_read_says_where() {
    let said = |text: &str| grown(text).map(|_| ()).map_err(|error| error.to_string());
    let wrong = |text: &str, parts: &[&str]| {
        let said = said(text).expect_err("an error");
        assert!(parts.iter().all(|part| said.contains(part)), "{said}");
    };
    wrong("specimen,day,size_mm2\nA,0,5\nA,30,0", &["the size 0 is not above 0", "column size_mm2, row 2 (line 3)"]);
    wrong("specimen,day,size_mm2\nA,0,big", &["'big' is not a number", "row 1 (line 2)"]);
    wrong(
        "specimen,day,size_mm2\nA,2025-03-01,5\nA,1/4/2025,6",
        &["'1/4/2025' is not a day like", "column day, row 2"],
    );
    wrong("specimen,day,size_mm2", &["no row"]);
    wrong("specimen,days,size_mm2\nA,0,5", &["no column 'day'", "did you mean 'days'"]);
    let table = crate::table("specimen,day,size_mm2,band\nA,0,5,in\nA,30,6,out").expect("a table");
    let two_groups = table_growth(&table, &request(None, Some("band"))).map(|_| ()).map_err(|error| error.to_string());
    assert!(two_groups.expect_err("an error").contains("column band, row 2 (line 3)"));
}
