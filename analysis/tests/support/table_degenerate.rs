//! What cannot be said is refused by name, and what cannot be read is an error with its place.

use analysis::refusal::{Part, Refusal, RefusalCode};
use analysis::table::{Fault, TableError, TableSurvival};

use crate::survival;

const TWO: &str = "time,died,g,x\n5,1,a,1\n8,1,b,2\n9,0,a,3\n12,1,b,1\n14,1,a,2\n20,0,b,5";

fn refused<T>(part: &Part<T>) -> Option<&Refusal> {
    match part {
        Part::Refused { refused } => Some(refused),
        Part::Given(_) => None,
    }
}

fn code<T>(part: &Option<Part<T>>) -> Option<RefusalCode> {
    part.as_ref().and_then(refused).map(|refused| refused.code)
}

fn ask(request: &mut analysis::table::SurvivalRequest) {
    (request.by, request.covariates) = (Some("g".into()), vec!["x".into()]);
}

/// The error, which must be the table's or the request's as said, and hold all parts.
fn wrong(result: Result<TableSurvival, TableError>, fault: Fault, parts: &[&str]) {
    let error = result.map(|_| ()).expect_err("an error");
    assert_eq!(error.fault, fault, "{error}");
    let said = error.to_string();
    assert!(parts.iter().all(|part| said.contains(part)), "{said}");
}

#[test]
fn parts_that_were_not_asked_for_are_absent() -> Result<(), TableError> {
    let found = survival(TWO, |_| {})?;
    assert!(found.log_rank.is_none() && found.cox.is_none() && found.proportionality.is_none());
    assert!(found.groups[0].rmst.is_none());
    assert_eq!((found.groups[0].group.as_str(), found.groups[0].n, found.groups[0].events), ("all", 6, 4));
    Ok(())
}

#[test]
fn without_a_death_nothing_is_flat_and_sure() -> Result<(), TableError> {
    let found = survival("time,died,g,x\n50,0,a,1\n70,0,b,2\n80,0,a,3", |r| {
        ask(r);
        r.horizon = Some(60.0);
    })?;
    for group in &found.groups {
        let refused = refused(&group.curve).expect("no flat curve");
        assert_eq!(refused.code, RefusalCode::NoEvents);
        assert_eq!(group.median.given().map(|median| median.estimate), Some(None));
    }
    // 3.689 / 130 (Garwood's limit of no event) for group a.
    let message = refused(&found.groups[0].curve).map(|refused| refused.message.clone());
    assert!(
        message.as_ref().is_some_and(|message| message.contains("130") && message.contains("0.0284")),
        "{message:?}"
    );
    assert_eq!(code(&found.log_rank), Some(RefusalCode::NoEvents));
    assert_eq!(
        (code(&found.cox), code(&found.proportionality)),
        (Some(RefusalCode::NoEvents), Some(RefusalCode::NoEvents))
    );
    Ok(())
}

#[test]
fn one_death_is_a_curve_and_a_test() -> Result<(), TableError> {
    let found = survival("time,died,g\n5,1,a\n8,0,b\n9,0,a\n12,0,b", |r| r.by = Some("g".into()))?;
    let point = found.groups[0].curve.given().map(|curve| curve[0]).expect("a curve");
    assert_eq!((point.at_risk, point.events, point.survival), (2, 1, 0.5));
    // One death among four, two of each group: (1 - 1/2)² / (1/4) = 1.
    let test = found.log_rank.as_ref().and_then(Part::given).expect("a test");
    assert!((test.statistic - 1.0).abs() < 1e-12 && test.df == 1);
    Ok(())
}

#[test]
fn all_dead_at_once_leaves_no_variance() -> Result<(), TableError> {
    let found = survival("time,died,g,x\n7,1,a,1\n7,1,b,2\n7,1,a,3\n7,1,b,4", ask)?;
    let point = found.groups[0].curve.given().map(|curve| curve[0]).expect("a curve");
    assert_eq!((point.survival, point.std_error, point.lower, point.upper), (0.0, None, None, None));
    // V = d (n - d) / (n - 1) … = 0: nothing was left to compare with.
    assert_eq!(code(&found.log_rank), Some(RefusalCode::Singular));
    let json = serde_json::to_string(&found).expect("printable");
    assert!(!json.contains("NaN") && !json.contains("inf"), "{json}");
    Ok(())
}

#[test]
fn a_group_whose_rows_are_all_incomplete_is_still_named() -> Result<(), TableError> {
    let found = survival("time,died,g\n5,1,a\n8,0,a\n,1,b\n,0,b", |r| r.by = Some("g".into()))?;
    assert_eq!((found.dropped_rows, found.groups.len(), found.groups[1].n), (2, 2, 0));
    assert_eq!(refused(&found.groups[1].curve).map(|r| r.code), Some(RefusalCode::EmptyGroup));
    assert_eq!(refused(&found.groups[1].median).map(|r| r.code), Some(RefusalCode::EmptyGroup));
    assert_eq!(code(&found.log_rank), Some(RefusalCode::EmptyGroup));
    let said = found.notices[0].to_string();
    assert_eq!(said, "2 rows with an empty cell are left out: fill in time to count them");
    Ok(())
}

#[test]
fn an_empty_cell_of_an_unused_column_drops_no_row() -> Result<(), TableError> {
    let text = "time,died,note\n5,1,\n8,0,x\n9,1,";
    assert_eq!(survival(text, |_| {})?.dropped_rows, 0);
    assert_eq!(survival(text, |r| r.by = Some("note".into()))?.dropped_rows, 2);
    Ok(())
}

#[test]
fn a_covariate_that_says_nothing_is_named() -> Result<(), TableError> {
    let constant = survival("time,died,x\n5,1,3\n8,1,3\n9,0,3", |r| r.covariates = vec!["x".into()])?;
    let refusal = constant.cox.as_ref().and_then(refused).expect("a refusal");
    assert_eq!(refusal.code, RefusalCode::Singular);
    assert!(refusal.message.contains('x'), "{refusal}");
    let one_level = survival("time,died,site\n5,1,m\n8,1,m\n9,0,m", |r| r.covariates = vec!["site".into()])?;
    let refusal = one_level.cox.as_ref().and_then(refused).expect("a refusal");
    assert!(refusal.code == RefusalCode::Singular && refusal.message.contains("site"), "{refusal}");
    let twice = "time,died,x,y\n5,1,1,2\n8,1,3,6\n9,0,2,4\n11,1,2,4";
    let collinear = survival(twice, |r| r.covariates = vec!["x".into(), "y".into()])?;
    assert_eq!(code(&collinear.cox), Some(RefusalCode::Singular));
    Ok(())
}

#[test]
fn times_that_are_none_are_errors_with_their_row() {
    let table = |row: &str| format!("from,time,died\n0,5,1\n{row}\n");
    let with_start = |row: &str| survival(&table(row), |r| r.start = Some("from".into()));
    wrong(with_start("3,NaN,1"), Fault::Data, &["'NaN' is not a finite number", "column time, row 2 (line 3)"]);
    wrong(with_start("3,inf,1"), Fault::Data, &["not a finite number", "row 2 (line 3)"]);
    wrong(with_start("3,1e400,1"), Fault::Data, &["not a finite number", "row 2 (line 3)"]);
    wrong(with_start("abc,9,1"), Fault::Data, &["'abc' is not a number", "column from, row 2 (line 3)"]);
    wrong(with_start("-3,9,1"), Fault::Data, &["-3 is before 0", "column from, row 2 (line 3)"]);
    wrong(with_start("9,4,1"), Fault::Data, &["ends at 4, before its start at 9", "row 2 (line 3)"]);
    wrong(with_start("4,4,1"), Fault::Data, &["starts and ends at 4", "half a day", "row 2 (line 3)"]);
    wrong(survival("time,died\n5,1\n0,0", |_| {}), Fault::Data, &["starts and ends at 0", "row 2 (line 3)"]);
    wrong(with_start("3,9,2"), Fault::Data, &["'2' is not 0, 1, true or false", "column died, row 2 (line 3)"]);
    wrong(with_start("3,9,dead"), Fault::Data, &["'dead'", "column died"]);
}

#[test]
fn events_may_be_words() -> Result<(), TableError> {
    let found = survival("time,died\n5,TRUE\n8,false\n9,True\n10,1\n11,0\n12,1.0", |_| {})?;
    assert_eq!(found.groups[0].events, 4);
    Ok(())
}

#[test]
fn what_is_not_there_is_the_requests_mistake() {
    wrong(survival(TWO, |r| r.stop = "tme".into()), Fault::Request, &["no column 'tme'", "did you mean 'time'"]);
    wrong(survival(TWO, |r| r.by = Some("genus".into())), Fault::Request, &["no column 'genus'", "time, died, g, x"]);
    let with_reference = |column: &str, level: &str| {
        survival(TWO, |r| {
            r.covariates = vec!["g".into()];
            r.references = vec![(column.into(), level.into())];
        })
    };
    wrong(with_reference("g", "c"), Fault::Request, &["no level 'c'", "a, b"]);
    wrong(with_reference("x", "1"), Fault::Request, &["'x' has a reference level and is no covariate"]);
    wrong(survival(TWO, |r| r.covariates = vec!["x".into(), "x".into()]), Fault::Request, &["named twice"]);
    wrong(survival(TWO, |r| r.horizon = Some(f64::NAN)), Fault::Request, &["horizon"]);
    wrong(survival(TWO, |r| r.horizon = Some(0.0)), Fault::Request, &["horizon"]);
    wrong(survival(TWO, |r| r.from = Some(-1.0)), Fault::Request, &["start"]);
    wrong(survival("time,died", |_| {}), Fault::Data, &["a header and no row"]);
    wrong(survival("time,died\n,1\n3,", |_| {}), Fault::Data, &["each of the 2 rows has an empty cell", "time, died"]);
}

#[test]
fn a_number_among_words_is_not_taken_for_a_category() {
    let mixed = "time,died,x\n5,1,1\n8,1,two\n9,0,3\n11,1,4";
    wrong(
        survival(mixed, |r| r.covariates = vec!["x".into()]),
        Fault::Data,
        &["'two' is not a number", "column x, row 2 (line 3)", "--reference x=LEVEL"],
    );
}

#[test]
fn a_column_of_names_is_no_covariate() {
    let rows: Vec<String> = (0..80).map(|i| format!("{},1,n{i}", i + 1)).collect();
    let text = format!("time,died,name\n{}", rows.join("\n"));
    wrong(survival(&text, |r| r.covariates = vec!["name".into()]), Fault::Request, &["80 levels", "--cluster"]);
}

#[test]
fn a_curve_above_zero_ends_where_nobody_is_at_risk() -> Result<(), TableError> {
    let text = "from,time,died\n0,5,1\n0,10,0\n20,30,1\n20,40,1";
    let found = survival(text, |r| (r.start, r.horizon) = (Some("from".into()), Some(35.0)))?;
    let group = &found.groups[0];
    assert_eq!(group.curve.given().map(|curve| curve.len()), Some(1));
    assert_eq!(group.rmst.as_ref().and_then(refused).map(|r| r.code), Some(RefusalCode::BeyondFollowUp));
    assert!(found.notices.iter().any(|notice| notice.what.contains("ends at 10")), "{:?}", found.notices);
    let later = survival(text, |r| (r.start, r.from) = (Some("from".into()), Some(15.0)))?;
    assert_eq!((later.groups[0].start_time, later.groups[0].n), (20.0, 2));
    assert_eq!(later.groups[0].curve.given().map(|curve| curve.len()), Some(2));
    Ok(())
}

#[test]
fn minimums_refuse_what_is_small_and_only_when_asked() -> Result<(), TableError> {
    let small = |minimums: bool| {
        survival(TWO, |r| {
            ask(r);
            (r.horizon, r.minimums) = (Some(10.0), minimums);
        })
    };
    let open = small(false)?;
    assert!(open.groups.iter().all(|group| group.curve.given().is_some() && group.median.given().is_some()));
    assert!(open.log_rank.as_ref().and_then(Part::given).is_some());
    let strict = small(true)?;
    assert_eq!(
        refused(&strict.groups[0].curve).map(|r| (r.code, r.need)),
        Some((RefusalCode::TooFewSpecimens, Some(10.0)))
    );
    assert_eq!(code(&strict.log_rank), Some(RefusalCode::TooFewEvents));
    assert_eq!(code(&strict.cox), Some(RefusalCode::TooFewEvents));
    assert_eq!(code(&strict.groups[0].rmst), Some(RefusalCode::TooFewEvents));
    Ok(())
}

#[test]
fn minimums_put_a_penalised_fit_beside_few_deaths() -> Result<(), TableError> {
    // 7 deaths for one ratio: between 5 and 10.
    let rows: Vec<String> =
        (1..=16).map(|i| format!("{},{},{}", 3 * i, u8::from(i % 2 == 1 && i < 15), (i * 7) % 5)).collect();
    let text = format!("time,died,x\n{}", rows.join("\n"));
    let found = survival(&text, |r| (r.covariates, r.minimums) = (vec!["x".into()], true))?;
    let cox = found.cox.as_ref().and_then(Part::given).expect("a model");
    assert!(cox.coefficients[0].coef.is_some());
    assert!(cox.firth.as_ref().and_then(Part::given).is_some());
    assert_eq!(code(&found.proportionality), Some(RefusalCode::TooFewEvents));
    assert!(
        found.notices.iter().any(|notice| notice.what.contains("7.0 deaths for each ratio")),
        "{:?}",
        found.notices
    );
    let open = survival(&text, |r| r.covariates = vec!["x".into()])?;
    assert!(open.cox.as_ref().and_then(Part::given).is_some_and(|cox| cox.firth.is_none()));
    Ok(())
}

#[test]
fn too_few_clusters_leave_a_ratio_without_limits() -> Result<(), TableError> {
    let text = "time,died,x,tank\n5,1,1,a\n8,1,2,b\n9,0,3,c\n12,1,1,d\n14,1,2,a\n20,0,5,b\n21,1,2,c";
    let found = survival(text, |r| (r.covariates, r.cluster) = (vec!["x".into()], Some("tank".into())))?;
    let ratio = &found.cox.as_ref().and_then(Part::given).expect("a model").coefficients[0];
    assert!(ratio.coef.is_some() && ratio.robust_std_error.is_some());
    assert_eq!((ratio.lower, ratio.p), (None, None));
    assert_eq!(ratio.refused.as_ref().map(|r| r.code), Some(RefusalCode::TooFewClusters));
    Ok(())
}
