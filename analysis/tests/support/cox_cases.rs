//! Hazard ratios: ties, strata, late entry, clusters, residuals, proportionality, penalised fits.

use analysis::episode::Episodes;
use analysis::refusal::RefusalCode;
use analysis::survival::cox::baseline::baseline_hazard;
use analysis::survival::cox::firth::{firth, profile_limits};
use analysis::survival::cox::residuals::residuals;
use analysis::survival::cox::{Transform, proportionality};
use analysis::survival::*;

use crate::case::{Case, Table};

fn rows(start: Option<Vec<f64>>, stop: Vec<f64>, event: Vec<bool>) -> Episodes {
    let start = start.unwrap_or_else(|| vec![0.0; stop.len()]);
    Episodes::validated(start, stop, event).expect("published rows are sound")
}

fn columns(table: &Table, names: &[&str]) -> Vec<Covariate> {
    names.iter().map(|name| Covariate { name: name.to_string(), values: table.numbers(name) }).collect()
}

fn numbers(table: &Table, name: &str) -> Vec<u32> {
    table.numbers(name).iter().map(|v| *v as u32).collect()
}

/// Fits the model with Efron's ties and compares every published number but the count of steps, which depends on where
/// a search stops.
pub fn compare(
    case: &mut Case,
    at: &str,
    e: &Episodes,
    covariates: &[Covariate],
    strata: Option<&[u32]>,
    cluster: Option<&[u32]>,
) -> CoxFit {
    compare_ties(case, at, &CoxInput { episodes: e, covariates, strata, cluster }, Ties::Efron)
}

fn compare_ties(case: &mut Case, at: &str, input: &CoxInput, ties: Ties) -> CoxFit {
    let fit = cox(input, &CoxOptions { ties, ..CoxOptions::default() }).expect("a published fit");
    let key = |part: &str| format!("{at}/{part}");
    let of = |part: fn(&cox::Coefficient) -> Option<f64>| -> Vec<Option<f64>> {
        fit.coefficients.iter().map(part).collect()
    };
    case.number(&key("n"), Some(fit.rows as f64));
    case.number(&key("nevent"), Some(fit.deaths as f64));
    case.list(&key("coef"), &of(|c| c.coef));
    case.numbers(&key("loglik"), &[fit.log_likelihood.at_zero, fit.log_likelihood.fitted]);
    case.number(&key("lrt"), Some(fit.tests.likelihood_ratio.statistic));
    case.number(&key("score"), Some(fit.tests.score.statistic));
    let (variance, wald) = match &fit.robust_covariance {
        Some(robust) => {
            case.list(&key("se"), &of(|c| c.robust_std_error));
            case.list(&key("naive_se"), &of(|c| c.std_error));
            case.number(&key("robust_score"), fit.tests.robust_score.map(|t| t.statistic));
            (robust, fit.tests.robust_wald)
        }
        None => {
            case.list(&key("se"), &of(|c| c.std_error));
            (&fit.covariance, fit.tests.wald)
        }
    };
    case.matrix(&key("var"), variance);
    case.number(&key("wald"), wald.map(|t| t.statistic));
    fit
}

fn compare_proportionality(case: &mut Case, at: &str, input: &CoxInput, fit: &CoxFit, transform: Transform) {
    let tests = proportionality(input, fit, transform).expect("deaths spread over time");
    let statistics: Vec<f64> = tests.iter().map(|t| t.statistic).collect();
    let df: Vec<f64> = tests.iter().map(|t| t.df as f64).collect();
    let p: Vec<f64> = tests.iter().map(|t| t.p).collect();
    case.numbers(&format!("{at}/chisq"), &statistics);
    case.numbers(&format!("{at}/df"), &df);
    case.numbers(&format!("{at}/p"), &p);
    assert_eq!(tests.last().map(|t| t.name.as_str()), Some("GLOBAL"));
}

#[test]
pub fn cox_lung_efron() {
    let mut case = Case::open("cox_lung_efron");
    let table = case.data();
    let e = rows(None, table.numbers("time"), table.flags("event"));
    let covariates = columns(&table, &["age", "sex", "ph_ecog"]);
    let input = CoxInput { episodes: &e, covariates: &covariates, strata: None, cluster: None };
    let fit = compare_ties(&mut case, "efron", &input, Ties::Efron);
    compare_ties(&mut case, "breslow", &input, Ties::Breslow);
    compare_proportionality(&mut case, "zph_km", &input, &fit, Transform::Km);
    compare_proportionality(&mut case, "zph_identity", &input, &fit, Transform::Identity);

    let baseline = baseline_hazard(&input, &fit).expect("a fit");
    let times: Vec<f64> =
        case.expected("basehaz_uncentred/time").as_array().into_iter().flatten().filter_map(|v| v.as_f64()).collect();
    assert_eq!(times.len(), 5);
    let at = |t: f64| baseline.iter().rev().find(|step| step.time <= t).map(|step| step.cumulative_hazard);
    let hazards: Vec<Option<f64>> = times.iter().map(|&t| at(t)).collect();
    case.list("basehaz_uncentred/cumhaz", &hazards);

    let by_row = residuals(&input, &fit).expect("a fit");
    case.numbers("martingale_resid_first10", &by_row.martingale[..10]);
    case.matrix("dfbeta_first5", &by_row.dfbeta[..5]);
    let schoenfeld: Vec<Vec<f64>> = by_row.schoenfeld.iter().take(5).map(|s| s.values.clone()).collect();
    case.matrix("schoenfeld_first5", &schoenfeld);
    // Concordance is not offered.
    case.skip("concordance");
    case.finish();
}

#[test]
pub fn cox_veteran_zph() {
    let mut case = Case::open("cox_veteran_zph");
    let table = case.data();
    let e = rows(None, table.numbers("time"), table.flags("status"));
    let mut covariates = columns(&table, &["trt", "karno", "diagtime", "age", "prior"]);
    covariates[4].values.iter_mut().for_each(|v| *v /= 10.0);
    let input = CoxInput { episodes: &e, covariates: &covariates, strata: None, cluster: None };
    let fit = compare_ties(&mut case, "fit", &input, Ties::Efron);
    compare_proportionality(&mut case, "zph_km", &input, &fit, Transform::Km);
    compare_proportionality(&mut case, "zph_rank", &input, &fit, Transform::Rank);
    compare_proportionality(&mut case, "zph_identity", &input, &fit, Transform::Identity);
    let (cell_type, _) = table.groups("celltype");
    let stratified = CoxInput { episodes: &e, covariates: &covariates[..4], strata: Some(&cell_type), cluster: None };
    let fit = compare_ties(&mut case, "strata_celltype", &stratified, Ties::Efron);
    compare_proportionality(&mut case, "zph_km_strata", &stratified, &fit, Transform::Km);
    case.finish();
}

#[test]
pub fn cox_delayed_entry_channing() {
    let mut case = Case::open("cox_delayed_entry_channing");
    let table = case.data();
    let e = rows(Some(table.numbers("entry")), table.numbers("time"), table.flags("event"));
    let covariates = columns(&table, &["gender"]);
    let input = CoxInput { episodes: &e, covariates: &covariates, strata: None, cluster: None };
    let fit = compare_ties(&mut case, "fit", &input, Ties::Efron);
    compare_proportionality(&mut case, "zph_km", &input, &fit, Transform::Km);
    case.finish();
}

#[test]
pub fn cox_heart_time_varying() {
    let mut case = Case::open("cox_heart_time_varying");
    let table = case.data();
    let e = rows(Some(table.numbers("start")), table.numbers("stop"), table.flags("event"));
    let main = columns(&table, &["age", "surgery", "transplant"]);
    let mut full = main.clone();
    for first in 0..2 {
        let values = main[first].values.iter().zip(&main[2].values).map(|(a, b)| a * b).collect();
        full.push(Covariate { name: format!("{}:transplant", main[first].name), values });
    }
    compare(&mut case, "full", &e, &full, None, None);
    let id = numbers(&table, "id");
    compare(&mut case, "main_cluster_id", &e, &main, None, Some(&id));
    let input = CoxInput { episodes: &e, covariates: &main, strata: None, cluster: None };
    let fit = cox(&input, &CoxOptions::default()).expect("a published fit");
    compare_proportionality(&mut case, "zph_km_main", &input, &fit, Transform::Km);
    case.finish();
}

#[test]
pub fn cox_rats_cluster() {
    let mut case = Case::open("cox_rats_cluster");
    let table = case.data();
    let e = rows(None, table.numbers("time"), table.flags("status"));
    let litter = numbers(&table, "litter");
    let (male, names) = table.groups("sex");
    assert_eq!(names, ["f", "m"]);
    let mut covariates = columns(&table, &["rx"]);
    covariates.push(Covariate { name: "m".into(), values: male.iter().map(|m| f64::from(*m)).collect() });
    let fit = compare(&mut case, "fit", &e, &covariates, None, Some(&litter));
    // A hundred litters, all with a rat at risk when one died.
    assert_eq!(fit.clusters, Some(100));
    let females: Vec<usize> = (0..male.len()).filter(|&row| male[row] == 0).collect();
    let own = e.subset(&females);
    let treated =
        [Covariate { name: "rx".into(), values: females.iter().map(|&row| covariates[0].values[row]).collect() }];
    let litters: Vec<u32> = females.iter().map(|&row| litter[row]).collect();
    compare(&mut case, "female_only", &own, &treated, None, Some(&litters));
    case.finish();
}

#[test]
pub fn cox_cgd_strata_cluster() {
    let mut case = Case::open("cox_cgd_strata_cluster");
    let table = case.data();
    let e = rows(Some(table.numbers("tstart")), table.numbers("tstop"), table.flags("status"));
    let covariates = columns(&table, &["treat", "age", "steroids"]);
    let (id, center) = (numbers(&table, "id"), numbers(&table, "center"));
    compare(&mut case, "cluster_id", &e, &covariates, None, Some(&id));
    compare(&mut case, "strata_center_cluster_id", &e, &covariates, Some(&center), Some(&id));
    compare(&mut case, "cluster_center", &e, &covariates, None, Some(&center));
    case.finish();
}

fn compare_penalised(case: &mut Case, e: &Episodes, covariates: &[Covariate]) {
    let input = CoxInput { episodes: e, covariates, strata: None, cluster: None };
    let fit = firth(&input, &CoxOptions::default()).expect("a penalised fit");
    let of = |part: fn(&cox::FirthCoefficient) -> f64| -> Vec<f64> { fit.coefficients.iter().map(part).collect() };
    case.numbers("firth/coef", &of(|c| c.coef));
    case.numbers("firth/se_inverse_unpenalised_information", &of(|c| c.std_error));
    case.number("firth/penalised_loglik", Some(fit.penalised_log_likelihood));
    case.numbers("firth/penalised_lr_chisq_each", &of(|c| c.statistic));
    let limits = profile_limits(&input, &CoxOptions::default()).expect("a penalised fit");
    let lower: Vec<Option<f64>> = limits.iter().map(|l| l.lower.map(f64::ln)).collect();
    let upper: Vec<Option<f64>> = limits.iter().map(|l| l.upper.map(f64::ln)).collect();
    case.list("firth/profile_lower", &lower);
    case.list("firth/profile_upper", &upper);
}

#[test]
pub fn firth_separation() {
    let mut case = Case::open("firth_separation");
    let table = case.data();
    let e = rows(None, table.numbers("time"), table.flags("event"));
    let covariates = columns(&table, &["x"]);
    compare_penalised(&mut case, &e, &covariates);
    // The plain fit has no maximum: refused, with the penalised fit beside it.
    let input = CoxInput { episodes: &e, covariates: &covariates, strata: None, cluster: None };
    let plain = cox(&input, &CoxOptions::default()).expect("a fit beside the refusal");
    assert_eq!(plain.coefficients[0].coef, None);
    assert_eq!(plain.coefficients[0].refused.as_ref().map(|r| r.code), Some(RefusalCode::Separation));
    case.number("firth/coef/0", plain.firth.as_ref().map(|f| f.coefficients[0].coef));
    case.finish();
}

#[test]
pub fn firth_ovarian() {
    let mut case = Case::open("firth_ovarian");
    let table = case.data();
    let e = rows(None, table.numbers("time"), table.flags("event"));
    let covariates = columns(&table, &["age", "rx"]);
    compare_penalised(&mut case, &e, &covariates);
    compare(&mut case, "ordinary", &e, &covariates, None, None);
    case.finish();
}
