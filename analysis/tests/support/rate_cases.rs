//! Hazards by age piece as Poisson rates, and estimates of several units pooled.

use analysis::episode::Episodes;
use analysis::numeric::meta_analysis::{Between, MeanLimits, Pooled, pool};
use analysis::numeric::tail::normal_multiplier;
use analysis::survival::piecewise_exponential::{age_pieces, indicators};
use analysis::survival::{Cells, Covariate, piecewise_exponential};

use crate::case::Case;

#[test]
pub fn poisson_pe_veteran() {
    let mut case = Case::open("poisson_pe_veteran");
    let table = case.data();
    let stop = table.numbers("time");
    let rows = Episodes::validated(vec![0.0; stop.len()], stop, table.flags("status")).expect("published rows");
    let pieces = age_pieces(&rows, &[30.0, 60.0, 120.0, 240.0]);
    case.number("rows", Some(pieces.len() as f64));
    let sums = |of: &dyn Fn(&analysis::survival::piecewise_exponential::Piece) -> f64| -> Vec<f64> {
        (0..5).map(|piece| pieces.iter().filter(|own| own.piece == piece).map(of).sum()).collect()
    };
    case.numbers("person_time", &sums(&|own| own.time));
    case.numbers("deaths", &sums(&|own| f64::from(u8::from(own.died))));

    let level: Vec<usize> = pieces.iter().map(|own| own.piece).collect();
    let column = |name: &str| {
        let values = table.numbers(name);
        Covariate { name: name.into(), values: pieces.iter().map(|own| values[own.row]).collect() }
    };
    let mut covariates = vec![Covariate { name: "all".into(), values: vec![1.0; pieces.len()] }];
    covariates.extend(indicators("piece", &level, 5, 0));
    covariates.extend([column("karno"), column("trt")]);
    assert_eq!(case.expected("names").as_array().map_or(0, Vec::len), covariates.len());
    let deaths: Vec<u64> = pieces.iter().map(|own| u64::from(own.died)).collect();
    let time: Vec<f64> = pieces.iter().map(|own| own.time).collect();
    let cells = Cells { deaths: &deaths, time: &time, covariates: &covariates, cluster: None };
    let fit = piecewise_exponential(&cells, 0.95).expect("a published fit");
    case.numbers("coef", &fit.coefficients.iter().map(|c| c.coef).collect::<Vec<_>>());
    case.numbers("se", &fit.coefficients.iter().map(|c| c.std_error).collect::<Vec<_>>());
    case.number("deviance", Some(fit.deviance));
    case.number("loglik", Some(fit.log_likelihood));
    case.finish();
}

fn compare_limits(case: &mut Case, at: &str, limits: &MeanLimits) {
    case.number(&format!("{at}/se"), Some(limits.std_error));
    case.numbers(&format!("{at}/ci"), &[limits.lower, limits.upper]);
}

fn compare_pooled(case: &mut Case, at: &str, pooled: &Pooled) {
    let key = |part: &str| format!("{at}/{part}");
    case.number(&key("pooled"), Some(pooled.mean));
    compare_limits(case, at, &pooled.normal);
    case.number(&key("tau2"), Some(pooled.tau_squared));
    case.number(&key("Q"), Some(pooled.q));
    case.number(&key("Q_p"), Some(pooled.q_p));
    case.number(&key("I2_percent"), Some(100.0 * pooled.i_squared));
    case.number(&key("H2"), Some(pooled.h_squared));
    compare_limits(case, &key("knapp_hartung"), &pooled.knapp_hartung);
    case.number(&key("knapp_hartung/df"), Some(pooled.units as f64 - 1.0));
    case.number(&key("knapp_hartung/p"), Some(pooled.knapp_hartung.p));
    if at == "FE" {
        return;
    }
    let (lower, upper) = pooled.prediction_with(normal_multiplier(0.95));
    case.numbers(&key("prediction_interval_normal"), &[lower, upper]);
    case.numbers(&key("blup/shrunk"), &pooled.shrunken.iter().map(|unit| unit.estimate).collect::<Vec<_>>());
    case.numbers(&key("blup/se"), &pooled.shrunken.iter().map(|unit| unit.std_error).collect::<Vec<_>>());
}

#[test]
pub fn meta_bcg() {
    let mut case = Case::open("meta_bcg");
    let table = case.data();
    let (y, v) = (table.numbers("yi"), table.numbers("vi"));
    case.numbers("yi", &y);
    case.numbers("vi", &v);
    let methods = [
        ("FE", Between::Common),
        ("DL", Between::DerSimonianLaird),
        ("REML", Between::Reml),
        ("PM", Between::PauleMandel),
    ];
    for (at, between) in methods {
        let pooled = pool(&y, &v, between, 0.95).expect("thirteen trials");
        assert_eq!(pooled.between, between);
        compare_pooled(&mut case, at, &pooled);
    }
    case.finish();
}
