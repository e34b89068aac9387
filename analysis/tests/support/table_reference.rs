//! Published figures through tables: curves, medians, restricted means, log-rank tests, hazard ratios.

use std::path::PathBuf;

use analysis::refusal::{Part, RefusalCode};
use analysis::survival::Interval;
use analysis::table::{SurvivalRequest, Table, TableGroup, TablePoint, TableSurvival, table_survival};

use crate::case::Case;

fn figures(file: &str, stop: &str, event: &str, change: impl FnOnce(&mut SurvivalRequest)) -> TableSurvival {
    let path = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("tests/reference").join(file);
    let text = std::fs::read_to_string(&path).unwrap_or_else(|error| panic!("{}: {error}", path.display()));
    let mut request = SurvivalRequest::new(stop, event);
    change(&mut request);
    let table: Table = crate::table(&text).unwrap_or_else(|error| panic!("{file}: {error}"));
    table_survival(&table, &request).unwrap_or_else(|error| panic!("{file}: {error}"))
}

fn some(text: &str) -> Option<String> {
    Some(text.to_owned())
}

fn given<T>(part: &Part<T>) -> &T {
    match part {
        Part::Given(value) => value,
        Part::Refused { refused } => panic!("refused: {refused}"),
    }
}

fn points(group: &TableGroup) -> &[TablePoint] {
    given::<Vec<TablePoint>>(&group.curve)
}

/// Every number of a published curve, point by point.
fn compare_curve(case: &mut Case, at: &str, group: &TableGroup) {
    let mut column = |name: &str, of: fn(&TablePoint) -> Option<f64>| {
        case.list(&format!("{at}/{name}"), &points(group).iter().map(of).collect::<Vec<_>>());
    };
    column("time", |point| Some(point.time));
    column("n_risk", |point| Some(point.at_risk as f64));
    column("n_event", |point| Some(point.events as f64));
    column("surv", |point| Some(point.survival));
    column("se", |point| point.std_error);
    column("lower", |point| point.lower);
    column("upper", |point| point.upper);
}

fn compare_median(case: &mut Case, name: &str, group: &TableGroup) {
    let median = given(&group.median);
    case.number(&format!("quantiles/quantile/{name}/1"), median.estimate);
    case.number(&format!("quantiles/lower/{name}/1"), median.lower);
    case.number(&format!("quantiles/upper/{name}/1"), median.upper);
}

fn compare_curves(name: &str, column: &str, found: &TableSurvival, medians: bool) -> Case {
    let mut case = Case::open(name);
    let groups = case.expected("curves").as_object().map_or(0, |curves| curves.len());
    assert_eq!(found.groups.len(), groups, "{name}");
    for group in &found.groups {
        let label = format!("{column}={}", group.group);
        compare_curve(&mut case, &format!("curves/{label}"), group);
        if medians {
            compare_median(&mut case, &label, group);
        }
    }
    case
}

fn compare_test(case: &mut Case, at: &str, found: &TableSurvival) {
    let test = given(found.log_rank.as_ref().expect("a test was asked for"));
    case.number(&format!("{at}chisq"), Some(test.statistic));
    case.number(&format!("{at}df"), Some(test.df as f64));
    case.number(&format!("{at}p"), Some(test.p));
}

/// `units`: what a published coefficient is times ours, where its covariate was rescaled.
fn compare_model(case: &mut Case, at: &str, found: &TableSurvival, units: &[f64]) {
    let cox = given(found.cox.as_ref().expect("a model was asked for"));
    let of = |part: fn(&analysis::table::TableCoefficient) -> Option<f64>| -> Vec<Option<f64>> {
        cox.coefficients.iter().zip(units).map(|(own, unit)| part(own).map(|value| value * unit)).collect()
    };
    case.list(&format!("{at}/coef"), &of(|own| own.coef));
    case.numbers(&format!("{at}/loglik"), &[cox.log_likelihood.at_zero, cox.log_likelihood.fitted]);
    if case.expected(at).get("naive_se").is_some() {
        case.list(&format!("{at}/se"), &of(|own| own.robust_std_error));
        case.list(&format!("{at}/naive_se"), &of(|own| own.std_error));
    } else {
        case.list(&format!("{at}/se"), &of(|own| own.std_error));
    }
}

fn compare_proportionality(case: &mut Case, at: &str, found: &TableSurvival) {
    let tests = given(found.proportionality.as_ref().expect("a model was asked for"));
    case.numbers(&format!("{at}/chisq"), &tests.iter().map(|test| test.statistic).collect::<Vec<_>>());
    case.numbers(&format!("{at}/df"), &tests.iter().map(|test| test.df as f64).collect::<Vec<_>>());
    case.numbers(&format!("{at}/p"), &tests.iter().map(|test| test.p).collect::<Vec<_>>());
    assert_eq!(tests.last().map(|test| test.name.as_str()), Some("GLOBAL"));
}

/// Ends a case of which tables give a part; any difference fails.
fn done(mut case: Case) {
    let keys: Vec<String> = case.expected("").as_object().map(|all| all.keys().cloned().collect()).unwrap_or_default();
    for key in keys {
        case.skip(&key);
    }
    case.finish();
}

fn covariates(names: &[&str]) -> Vec<String> {
    names.iter().map(|name| (*name).to_owned()).collect()
}

#[test]
fn curves_with_all_three_limits_and_restricted_means() {
    let by_x = |interval: Interval| {
        figures("aml.csv", "time", "status", |r| (r.by, r.interval, r.horizon) = (some("x"), interval, Some(35.0)))
    };
    let mut case = compare_curves("km_na_aml", "x", &by_x(Interval::LogLog), true);
    for (key, interval) in [("plain_ci", Interval::Plain), ("log_ci", Interval::Log)] {
        for group in &by_x(interval).groups {
            let lower: Vec<Option<f64>> = points(group).iter().map(|point| point.lower).collect();
            let upper: Vec<Option<f64>> = points(group).iter().map(|point| point.upper).collect();
            case.list(&format!("{key}/x={}/lower", group.group), &lower);
            case.list(&format!("{key}/x={}/upper", group.group), &upper);
        }
    }
    case.finish();
    let mut case = Case::open("rmst_aml");
    for group in &by_x(Interval::LogLog).groups {
        let mean = given(group.rmst.as_ref().expect("a horizon was given"));
        case.number(&format!("by_group/x={}/rmst", group.group), Some(mean.estimate));
        case.number(&format!("by_group/x={}/se", group.group), mean.std_error);
        assert_eq!(mean.horizon, 35.0);
    }
    done(case);
}

#[test]
fn lung_curves_tests_and_ratios() {
    let found = figures("lung.csv", "time", "event", |r| {
        (r.by, r.horizon, r.covariates) = (some("sex"), Some(365.0), covariates(&["age", "sex", "ph_ecog"]));
    });
    let mut case = compare_curves("km_na_lung", "sex", &found, true);
    for group in &found.groups {
        let mean = given(group.rmst.as_ref().expect("a horizon was given"));
        case.number(&format!("rmst_365/sex={}/rmst", group.group), Some(mean.estimate));
        case.number(&format!("rmst_365/sex={}/se", group.group), mean.std_error);
    }
    case.finish();
    let mut case = Case::open("logrank_lung_strata");
    compare_test(&mut case, "plain/", &found);
    let stratified = figures("lung.csv", "time", "event", |r| (r.by, r.strata) = (some("sex"), some("ph_ecog")));
    compare_test(&mut case, "stratified/", &stratified);
    done(case);
    let mut case = Case::open("cox_lung_efron");
    compare_model(&mut case, "efron", &found, &[1.0; 3]);
    compare_proportionality(&mut case, "zph_km", &found);
    done(case);
}

#[test]
fn late_entry_from_the_first_entry_and_from_a_stated_time() {
    let channing = |from: Option<f64>| {
        figures("channing.csv", "time", "event", |r| {
            (r.start, r.by, r.from, r.covariates) = (some("entry"), some("gender"), from, covariates(&["gender"]));
        })
    };
    let found = channing(None);
    compare_curves("km_delayed_entry_channing", "gender", &found, true).finish();
    // The men: one at risk when he died, so that the curve is 0 for ever; it is said.
    assert_eq!(found.groups[0].smallest_risk_set, Some(1));
    let said = found.notices.iter().find(|notice| notice.what.contains("falls to 0")).expect("the collapse is said");
    assert!(said.what.contains("curve of 1") && said.what.contains("781"), "{said}");
    let later = channing(Some(816.0));
    compare_curves("km_delayed_entry_channing_from816", "gender", &later, true).finish();
    assert_eq!(later.groups.iter().map(|group| group.start_time).collect::<Vec<_>>(), [816.0, 816.0]);
    let mut case = Case::open("logrank_delayed_entry_channing");
    compare_test(&mut case, "", &found);
    done(case);
    let mut case = Case::open("cox_delayed_entry_channing");
    compare_model(&mut case, "fit", &found, &[1.0]);
    compare_proportionality(&mut case, "zph_km", &found);
    done(case);
    // The start of the curves is not that of the test or of the model.
    assert_eq!((&found.log_rank, &found.cox), (&later.log_rank, &later.cox));
}

#[test]
fn rows_may_change_group() {
    let found = figures("heart.csv", "stop", "event", |r| {
        (r.start, r.by, r.cluster) = (some("start"), some("transplant"), some("id"));
        r.covariates = covariates(&["age", "surgery", "transplant"]);
    });
    compare_curves("km_heart_by_current_state", "transplant", &found, false).finish();
    let mut case = Case::open("logrank_heart_time_varying");
    compare_test(&mut case, "", &found);
    done(case);
    let mut case = Case::open("cox_heart_time_varying");
    compare_model(&mut case, "main_cluster_id", &found, &[1.0; 3]);
    compare_proportionality(&mut case, "zph_km_main", &found);
    done(case);
}

#[test]
fn four_groups_strata_and_a_category() {
    let names = ["trt", "karno", "diagtime", "age", "prior"];
    let found =
        figures("veteran.csv", "time", "status", |r| (r.by, r.covariates) = (some("celltype"), covariates(&names)));
    let groups: Vec<&str> = found.groups.iter().map(|group| group.group.as_str()).collect();
    assert_eq!(groups, ["adeno", "large", "smallcell", "squamous"]);
    let mut case = Case::open("logrank_veteran_k4");
    compare_test(&mut case, "plain/", &found);
    let by_treatment = figures("veteran.csv", "time", "status", |r| (r.by, r.strata) = (some("celltype"), some("trt")));
    compare_test(&mut case, "stratified_trt/", &by_treatment);
    done(case);
    let mut case = Case::open("cox_veteran_zph");
    // Published per ten months since a prior therapy.
    compare_model(&mut case, "fit", &found, &[1.0, 1.0, 1.0, 1.0, 10.0]);
    compare_proportionality(&mut case, "zph_km", &found);
    let stratified = figures("veteran.csv", "time", "status", |r| {
        (r.covariates, r.strata) = (covariates(&names[..4]), some("celltype"));
    });
    compare_model(&mut case, "strata_celltype", &stratified, &[1.0; 4]);
    compare_proportionality(&mut case, "zph_km_strata", &stratified);
    done(case);
}

#[test]
fn a_category_is_compared_with_its_reference() {
    let cells = |reference: Option<&str>| {
        figures("veteran.csv", "time", "status", |r| {
            r.covariates = covariates(&["celltype"]);
            r.references = reference.into_iter().map(|level| ("celltype".into(), level.into())).collect();
        })
    };
    let first = cells(None);
    let names = |found: &TableSurvival| -> Vec<String> {
        given(found.cox.as_ref().expect("a model")).coefficients.iter().map(|own| own.name.clone()).collect()
    };
    assert_eq!(names(&first), ["celltype:large", "celltype:smallcell", "celltype:squamous"]);
    let named = cells(Some("squamous"));
    assert_eq!(names(&named), ["celltype:adeno", "celltype:large", "celltype:smallcell"]);
    let coef = |found: &TableSurvival, at: usize| given(found.cox.as_ref().expect("a model")).coefficients[at].coef;
    let (one, other) = (coef(&first, 2).expect("a ratio"), coef(&named, 0).expect("a ratio"));
    assert!((one + other).abs() < 1e-9, "{one} {other}");
    // One test for the whole category, with a degree of freedom per ratio.
    let tests = given(first.proportionality.as_ref().expect("a model"));
    assert_eq!(
        tests.iter().map(|test| (test.name.as_str(), test.df)).collect::<Vec<_>>(),
        [("celltype", 3), ("GLOBAL", 3)]
    );
    // Numbers become a category by a named reference.
    let sexes = figures("lung.csv", "time", "event", |r| {
        (r.covariates, r.references) = (covariates(&["sex"]), vec![("sex".into(), "2".into())]);
    });
    assert_eq!(names(&sexes), ["sex:1"]);
}

#[test]
fn clusters_and_strata() {
    let rats = figures("rats.csv", "time", "status", |r| {
        (r.covariates, r.cluster, r.by) = (covariates(&["rx", "sex"]), some("litter"), some("rx"));
    });
    let mut case = Case::open("cox_rats_cluster");
    compare_model(&mut case, "fit", &rats, &[1.0; 2]);
    done(case);
    let cox = given(rats.cox.as_ref().expect("a model"));
    assert_eq!(cox.coefficients[1].name, "sex:m");
    // Published limits: G/(G-1) times the sandwich and t, wider than its plain normal ones.
    let rx = &cox.coefficients[0];
    let (coef, se) = (rx.coef.expect("a ratio"), rx.robust_std_error.expect("clusters"));
    // t with 99 degrees of freedom at 0.975 is 1.984217 (common tables).
    let half = 1.984_217 * se * (100.0f64 / 99.0).sqrt();
    assert!((rx.lower.expect("limits") - (coef - half).exp()).abs() < 1e-5);
    assert!((rx.upper.expect("limits") - (coef + half).exp()).abs() < 1e-5);
    let mut case = Case::open("km_cluster_rats");
    for (g, group) in rats.groups.iter().enumerate() {
        let at = |time: f64| points(group).iter().rev().find(|point| point.time <= time).expect("deaths before");
        for (i, time) in [60.0, 80.0, 100.0].into_iter().enumerate() {
            case.number(&format!("greenwood/surv/{}", 3 * g + i), Some(at(time).survival));
            case.number(&format!("greenwood/se/{}", 3 * g + i), at(time).std_error);
        }
    }
    done(case);
    let cgd = |cluster: &str, strata: Option<&str>| {
        figures("cgd.csv", "tstop", "status", |r| {
            (r.start, r.cluster, r.strata) = (some("tstart"), some(cluster), strata.and_then(some));
            r.covariates = covariates(&["treat", "age", "steroids"]);
        })
    };
    let mut case = Case::open("cox_cgd_strata_cluster");
    compare_model(&mut case, "cluster_id", &cgd("id", None), &[1.0; 3]);
    compare_model(&mut case, "strata_center_cluster_id", &cgd("id", Some("center")), &[1.0; 3]);
    compare_model(&mut case, "cluster_center", &cgd("center", None), &[1.0; 3]);
    case.finish();
}

#[test]
fn a_flat_stretch_on_one_half_gives_its_middle() {
    let text = "time,died\n1,1\n2,1\n3,1\n5,0\n9,0\n9,0";
    let found = crate::survival(text, |_| {}).expect("a sound table");
    let mut case = Case::open("quantile_plateau");
    case.number("a/median", given(&found.groups[0].median).estimate);
    done(case);
}

#[test]
fn separation_is_refused_with_a_penalised_fit_beside_it() {
    let found = figures("separation.csv", "time", "event", |r| r.covariates = covariates(&["x"]));
    let cox = given(found.cox.as_ref().expect("a model"));
    let plain = &cox.coefficients[0];
    assert_eq!((plain.coef, plain.hazard_ratio, plain.lower, plain.p), (None, None, None, None));
    assert_eq!(plain.refused.as_ref().map(|refused| refused.code), Some(RefusalCode::Separation));
    let firth = given(cox.firth.as_ref().expect("a penalised fit"));
    let mut case = Case::open("firth_separation");
    case.number("firth/coef/0", Some(firth.coefficients[0].coef));
    case.number("firth/se_inverse_unpenalised_information/0", Some(firth.coefficients[0].std_error));
    case.number("firth/penalised_loglik", Some(firth.penalised_log_likelihood));
    done(case);
    assert!(
        matches!(&found.proportionality, Some(Part::Refused { refused }) if refused.code == RefusalCode::Separation)
    );
}
