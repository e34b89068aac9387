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
fn groups_have_limits_from_their_tanks_and_the_same_ones_each_time() {
    let found = simulated(Some("tank"), Some("band"));
    assert_eq!(found.groups.iter().map(|group| group.group.as_str()).collect::<Vec<_>>(), ["0", "1"]);
    for group in &found.groups {
        let slope = group.slope_per_month.expect("a slope");
        match (group.lower, group.upper) {
            (Some(lower), Some(upper)) => assert!(lower <= slope && slope <= upper),
            _ => {
                let key = format!("groups/{}/limits", group.group);
                let refusal = found.refusals.iter().find(|refusal| refusal.key == key).expect("a reason");
                assert_eq!(refusal.refusal.code, RefusalCode::TooFewClusters);
            }
        }
        assert!(group.tanks.is_some_and(|tanks| tanks > 0 && tanks <= group.specimens));
    }
    assert_eq!(found, simulated(Some("tank"), Some("band")));
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
