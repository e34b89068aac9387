//! Laws that hold whatever the rows: cutting rows in two, reordering, rescaling, doubling, and agreement of estimators
//! with each other and with their definitions written out plainly.

use analysis::episode::Episodes;
use analysis::refusal::{Refusal, RefusalCode};
use analysis::survival::cox::residuals::residuals;
use analysis::survival::cox::{ProportionalityTest, Transform, proportionality};
use analysis::survival::kaplan_meier::{CurveOptions, kaplan_meier_with};
use analysis::survival::*;
use proptest::prelude::*;

/// Rows with what stands beside them.
#[derive(Debug, Clone)]
struct Records {
    episodes: Episodes,
    specimen: Vec<u32>,
    tank: Vec<u32>,
    stratum: Vec<u32>,
    group: Vec<u32>,
    cause: Vec<u32>,
    size: Vec<f64>,
    fed: Vec<f64>,
}

impl Records {
    fn len(&self) -> usize {
        self.episodes.len()
    }

    fn rearranged(&self, rows: &[usize]) -> Records {
        let ids = |column: &[u32]| rows.iter().map(|&row| column[row]).collect();
        let numbers = |column: &[f64]| rows.iter().map(|&row| column[row]).collect();
        Records {
            episodes: self.episodes.subset(rows),
            specimen: ids(&self.specimen),
            tank: ids(&self.tank),
            stratum: ids(&self.stratum),
            group: ids(&self.group),
            cause: ids(&self.cause),
            size: numbers(&self.size),
            fed: numbers(&self.fed),
        }
    }

    /// Every row cut at `share` of its length, the first part ending alive.
    fn cut(&self, shares: &[f64]) -> Records {
        let twice: Vec<usize> = (0..self.len()).flat_map(|row| [row, row]).collect();
        let mut cut = self.rearranged(&twice);
        for (row, share) in shares.iter().enumerate().take(self.len()) {
            let (start, stop) = (self.episodes.start[row], self.episodes.stop[row]);
            // Whole and half days, so that cuts fall on other rows' times too.
            let at = start + ((stop - start) * share * 2.0).round().max(1.0) / 2.0;
            if at < stop {
                cut.episodes.stop[2 * row] = at;
                cut.episodes.start[2 * row + 1] = at;
                cut.episodes.event[2 * row] = false;
                cut.cause[2 * row] = 0;
            } else {
                // Too short to cut: its second half moves out of everybody's sight.
                cut.episodes.start[2 * row + 1] = 9000.0;
                cut.episodes.stop[2 * row + 1] = 9001.0;
                cut.episodes.event[2 * row + 1] = false;
                cut.cause[2 * row + 1] = 0;
            }
        }
        let keep: Vec<usize> = (0..cut.len()).filter(|&row| cut.episodes.start[row] < 9000.0).collect();
        cut.rearranged(&keep)
    }

    /// All rows twice, the second time as other specimens in other tanks.
    fn doubled(&self) -> Records {
        let twice: Vec<usize> = (0..self.len()).chain(0..self.len()).collect();
        let mut doubled = self.rearranged(&twice);
        for row in self.len()..doubled.len() {
            doubled.specimen[row] += 10_000;
            doubled.tank[row] += 10_000;
        }
        doubled
    }

    fn covariates(&self) -> Vec<Covariate> {
        vec![
            Covariate { name: "size".into(), values: self.size.clone() },
            Covariate { name: "fed".into(), values: self.fed.clone() },
        ]
    }

    fn fit(&self, covariates: &[Covariate], ties: Ties) -> Result<CoxFit, Refusal> {
        let options = CoxOptions { ties, ..CoxOptions::default() };
        let input =
            CoxInput { episodes: &self.episodes, covariates, strata: Some(&self.stratum), cluster: Some(&self.tank) };
        cox(&input, &options)
    }

    fn proportionality(&self, covariates: &[Covariate], fit: &CoxFit) -> Vec<ProportionalityTest> {
        let input =
            CoxInput { episodes: &self.episodes, covariates, strata: Some(&self.stratum), cluster: Some(&self.tank) };
        proportionality(&input, fit, Transform::Km).unwrap_or_default()
    }
}

/// 20 to 70 specimens in 12 tanks; `late`: about a third enter late; `ties`: whole days, else all times differ.
fn records(late: bool, ties: bool) -> impl Strategy<Value = Records> {
    let row = (0u32..3, 0u32..30, 1u32..60, any::<bool>(), 0u32..12, 0u32..2, 0u32..3, 0u32..40, any::<bool>());
    prop::collection::vec(row, 20..70).prop_map(move |rows| {
        let mut records = Records {
            episodes: Episodes::default(),
            specimen: Vec::new(),
            tank: Vec::new(),
            stratum: Vec::new(),
            group: Vec::new(),
            cause: Vec::new(),
            size: Vec::new(),
            fed: Vec::new(),
        };
        for (index, (enters, start, length, died, tank, stratum, group, size, fed)) in rows.into_iter().enumerate() {
            let start = if late && enters == 0 { f64::from(start) } else { 0.0 };
            let apart = if ties { 0.0 } else { index as f64 / 128.0 };
            records.episodes.start.push(start);
            records.episodes.stop.push(start + f64::from(length) + apart);
            records.episodes.event.push(died);
            records.specimen.push(index as u32);
            records.tank.push(tank);
            records.stratum.push(stratum);
            records.group.push(group);
            records.cause.push(if died { 1 + (size % 3) } else { 0 });
            records.size.push(f64::from(size) / 4.0);
            records.fed.push(f64::from(u8::from(fed)));
        }
        records
    })
}

fn whole(e: &Episodes) -> KaplanMeier {
    kaplan_meier_with(e, &CurveOptions { across_gaps: true, ..CurveOptions::default() })
}

fn near(got: f64, want: f64, relative: f64) -> Result<(), TestCaseError> {
    let error = (got - want).abs() / want.abs().max(1e-6);
    prop_assert!(error <= relative, "{got} is not {want}: relative error {error:e}");
    Ok(())
}

fn near_option(got: Option<f64>, want: Option<f64>, relative: f64) -> Result<(), TestCaseError> {
    match (got, want) {
        (Some(got), Some(want)) => near(got, want, relative),
        (got, want) => {
            prop_assert_eq!(got, want);
            Ok(())
        }
    }
}

/// Both fits, or the same refusal.
fn near_fits(
    got: &Result<CoxFit, Refusal>,
    want: &Result<CoxFit, Refusal>,
    factor: impl Fn(usize) -> f64,
) -> Result<bool, TestCaseError> {
    let (got, want) = match (got, want) {
        (Ok(got), Ok(want)) => (got, want),
        (Err(got), Err(want)) => {
            prop_assert_eq!(got.code, want.code);
            return Ok(false);
        }
        (got, want) => return Err(TestCaseError::fail(format!("{got:?} is not {want:?}"))),
    };
    near(1.0 + got.log_likelihood.fitted.abs(), 1.0 + want.log_likelihood.fitted.abs(), 1e-8)?;
    near(got.log_likelihood.at_zero, want.log_likelihood.at_zero, 1e-10)?;
    prop_assert_eq!(got.clusters, want.clusters);
    for (j, (got, want)) in got.coefficients.iter().zip(&want.coefficients).enumerate() {
        let f = factor(j);
        near_option(got.coef.map(|v| v * f), want.coef, 1e-6)?;
        near_option(got.std_error.map(|v| v * f.abs()), want.std_error, 1e-6)?;
        near_option(got.robust_std_error.map(|v| v * f.abs()), want.robust_std_error, 1e-5)?;
        near_option(got.p, want.p, 1e-5)?;
        prop_assert_eq!(got.refused.as_ref().map(|r| r.code), want.refused.as_ref().map(|r| r.code));
    }
    Ok(!got.is_separated())
}

fn config() -> ProptestConfig {
    ProptestConfig { cases: 128, failure_persistence: None, ..ProptestConfig::default() }
}

proptest! {
    #![proptest_config(config())]

    #[test]
    fn cutting_rows_in_two_changes_no_curve(r in records(true, true), shares in prop::collection::vec(0.0f64..1.0, 70)) {
        let cut = r.cut(&shares);
        let (a, b) = (whole(&cut.episodes), whole(&r.episodes));
        prop_assert_eq!(&a.steps, &b.steps);
        prop_assert_eq!((a.start_time, a.last_time, a.gap), (b.start_time, b.last_time, b.gap));
        prop_assert_eq!(nelson_aalen(&cut.episodes, None, 0.95), nelson_aalen(&r.episodes, None, 0.95));
        let times = [5.0, 20.0, 41.0];
        let clustered = |r: &Records, curve: &KaplanMeier| {
            clustered_std_errors(&r.episodes, &r.specimen, &r.tank, curve, &times)
        };
        for (got, want) in clustered(&cut, &a).into_iter().zip(clustered(&r, &b)) {
            near_option(got, want, 1e-9)?;
        }
        let by_cause = |r: &Records| cumulative_incidence(&r.episodes, &r.cause, 3, None, 0.95).ok().map(|c| c.steps);
        prop_assert_eq!(by_cause(&cut), by_cause(&r));
    }

    #[test]
    fn cutting_rows_in_two_changes_no_test_and_no_ratio(
        r in records(true, true),
        shares in prop::collection::vec(0.0f64..1.0, 70),
    ) {
        let cut = r.cut(&shares);
        let test = |r: &Records| log_rank(&r.episodes, &r.group, 3, Some(&r.stratum), 0.0);
        match (test(&cut), test(&r)) {
            (Ok(a), Ok(b)) => {
                near(a.statistic, b.statistic, 1e-9)?;
                prop_assert_eq!(a.df, b.df);
            }
            (a, b) => prop_assert_eq!(a.map_err(|r| r.code), b.map_err(|r| r.code)),
        }
        let covariates = [cut.covariates(), r.covariates()];
        let (a, b) = (cut.fit(&covariates[0], Ties::Efron), r.fit(&covariates[1], Ties::Efron));
        if near_fits(&a, &b, |_| 1.0)? {
            let (Ok(a), Ok(b)) = (a, b) else { return Ok(()) };
            let tests = cut.proportionality(&covariates[0], &a);
            let before = r.proportionality(&covariates[1], &b);
            prop_assert_eq!(tests.len(), before.len());
            for (got, want) in tests.iter().zip(&before) {
                near(got.statistic, want.statistic, 1e-5)?;
            }
        }
    }

    #[test]
    fn the_order_of_rows_changes_nothing(r in records(true, true), turn in 0usize..70) {
        let n = r.len();
        // Backwards, and turned.
        let order: Vec<usize> = (0..n).map(|i| (n - 1 - i + turn) % n).collect();
        let other = r.rearranged(&order);
        prop_assert_eq!(whole(&other.episodes), whole(&r.episodes));
        let by_cause = |r: &Records| cumulative_incidence(&r.episodes, &r.cause, 3, None, 0.95).ok().map(|c| c.steps);
        prop_assert_eq!(by_cause(&other), by_cause(&r));
        near_fits(&other.fit(&other.covariates(), Ties::Efron), &r.fit(&r.covariates(), Ties::Efron), |_| 1.0)?;
    }

    #[test]
    fn units_and_zero_points_of_covariates_change_nothing_else(
        r in records(true, true),
        scale in prop_oneof![0.001f64..0.1, 10.0f64..1000.0, -50.0f64..-2.0],
        shift in -1000.0f64..1000.0,
    ) {
        let mut covariates = r.covariates();
        covariates[0].values.iter_mut().for_each(|v| *v *= scale);
        covariates[1].values.iter_mut().for_each(|v| *v += shift);
        let factor = |j: usize| if j == 0 { scale } else { 1.0 };
        near_fits(&r.fit(&covariates, Ties::Efron), &r.fit(&r.covariates(), Ties::Efron), factor)?;
    }

    #[test]
    fn every_tank_twice_halves_the_variance(r in records(true, true)) {
        let twice = r.doubled();
        let (a, b) = (whole(&twice.episodes), whole(&r.episodes));
        for (a, b) in a.steps.iter().zip(&b.steps) {
            near(a.survival, b.survival, 1e-12)?;
            near_option(a.std_error.map(|se| se * 2f64.sqrt()), b.std_error, 1e-10)?;
        }
        let times = [5.0, 20.0, 41.0];
        let clustered = |r: &Records, curve: &KaplanMeier| {
            clustered_std_errors(&r.episodes, &r.specimen, &r.tank, curve, &times)
        };
        for (a, b) in clustered(&twice, &a).into_iter().zip(clustered(&r, &b)) {
            near_option(a.map(|se| se * 2f64.sqrt()), b, 1e-9)?;
        }
        let horizon = b.last_time;
        if let (Ok(a), Ok(b)) = (restricted_mean(&a, horizon), restricted_mean(&b, horizon)) {
            near(a.estimate, b.estimate, 1e-12)?;
            near_option(a.std_error.map(|se| se * 2f64.sqrt()), b.std_error, 1e-9)?;
        }
        let by_cause = |r: &Records| cumulative_incidence(&r.episodes, &r.cause, 3, None, 0.95);
        if let (Ok(a), Ok(b)) = (by_cause(&twice), by_cause(&r)) {
            for (a, b) in a.steps.iter().zip(&b.steps) {
                for (a, b) in a.causes.iter().zip(&b.causes) {
                    near(2.0 * a.std_error * a.std_error, b.std_error * b.std_error, 1e-8)?;
                }
            }
        }
        // Breslow's ties, under which a doubled death is two deaths against the same risk set.
        if let (Ok(a), Ok(b)) = (
            twice.fit(&twice.covariates(), Ties::Breslow),
            r.fit(&r.covariates(), Ties::Breslow),
        ) {
            for (a, b) in a.coefficients.iter().zip(&b.coefficients) {
                near_option(a.coef, b.coef, 1e-6)?;
                near_option(a.std_error.map(|se| se * 2f64.sqrt()), b.std_error, 1e-6)?;
                near_option(a.robust_std_error.map(|se| se * 2f64.sqrt()), b.robust_std_error, 1e-5)?;
            }
        }
    }

    #[test]
    fn without_late_entry_the_curve_is_the_textbook_product(r in records(false, true)) {
        // At risk by counting ends alone, as where everybody is watched from the start.
        let curve = kaplan_meier(&r.episodes, None, Interval::LogLog);
        let mut times: Vec<f64> = (0..r.len()).filter(|&i| r.episodes.event[i]).map(|i| r.episodes.stop[i]).collect();
        times.sort_by(f64::total_cmp);
        times.dedup();
        prop_assert_eq!(curve.steps.len(), times.len());
        let mut survival = 1.0;
        for (step, &t) in curve.steps.iter().zip(&times) {
            let n = r.episodes.stop.iter().filter(|stop| **stop >= t).count() as f64;
            let d = (0..r.len()).filter(|&i| r.episodes.event[i] && r.episodes.stop[i] == t).count() as f64;
            survival *= 1.0 - d / n;
            near(step.survival, survival, 1e-12)?;
        }
        prop_assert_eq!(curve.gap, None);
    }

    #[test]
    fn numbers_at_risk_follow_from_who_came_and_went(r in records(true, true)) {
        let curve = whole(&r.episodes);
        let mut before = curve.origin;
        for step in &curve.steps {
            let expected = before.at_risk as i64 - before.events as i64 - before.censored as i64 + before.entered as i64;
            prop_assert_eq!(step.at_risk as i64, expected);
            prop_assert_eq!(step.at_risk, curve.at_risk_at(step.time));
            before = *step;
        }
    }

    #[test]
    fn curves_fall_within_their_limits(r in records(true, true)) {
        for interval in [Interval::LogLog, Interval::Log, Interval::Plain] {
            let curve = kaplan_meier(&r.episodes, None, interval);
            let mut before = 1.0;
            for step in &curve.steps {
                prop_assert!(step.survival <= before && step.survival >= 0.0);
                before = step.survival;
                match (step.lower, step.upper) {
                    (Some(lower), Some(upper)) => {
                        prop_assert!(0.0 <= lower && lower <= step.survival && step.survival <= upper && upper <= 1.0);
                    }
                    (lower, upper) => prop_assert_eq!((lower, upper, step.survival), (None, None, 0.0)),
                }
            }
            let days: Vec<Option<f64>> = [0.1, 0.25, 0.5, 0.75].map(|p| quantile(&curve, p).estimate).to_vec();
            for pair in days.windows(2) {
                prop_assert!(pair[1].is_none() || pair[0] <= pair[1]);
            }
        }
    }

    #[test]
    fn a_club_curve_starts_where_three_deaths_have_five_at_risk(r in records(true, true)) {
        let start = club_start_time(&r.episodes);
        prop_assert!(r.episodes.start.contains(&start));
        let curve = kaplan_meier_with(
            &r.episodes,
            &CurveOptions { start_time: Some(start), across_gaps: true, ..CurveOptions::default() },
        );
        let sound = |curve: &KaplanMeier| !curve.steps.is_empty() && curve.steps.iter().take(3).all(|s| s.at_risk >= 5);
        if !sound(&curve) {
            // Then no entry time will do.
            for &entry in &r.episodes.start {
                let from = CurveOptions { start_time: Some(entry), across_gaps: true, ..CurveOptions::default() };
                prop_assert!(!sound(&kaplan_meier_with(&r.episodes, &from)));
            }
        }
    }

    #[test]
    fn survival_and_all_causes_sum_to_one(r in records(true, true)) {
        if let Ok(found) = cumulative_incidence(&r.episodes, &r.cause, 3, None, 0.95) {
            let curve = kaplan_meier(&r.episodes, None, Interval::LogLog);
            prop_assert_eq!(found.steps.len(), curve.steps.len());
            for (step, alive) in found.steps.iter().zip(&curve.steps) {
                let lost: f64 = step.causes.iter().map(|c| c.incidence).sum();
                near(step.survival + lost, 1.0, 1e-12)?;
                near(step.survival, alive.survival, 1e-12)?;
            }
        }
    }

    #[test]
    fn one_cause_alone_is_the_complement_of_survival(r in records(true, true)) {
        let cause: Vec<u32> = r.episodes.event.iter().map(|died| u32::from(*died)).collect();
        if let Ok(found) = cumulative_incidence(&r.episodes, &cause, 1, None, 0.95) {
            let curve = kaplan_meier(&r.episodes, None, Interval::LogLog);
            for (step, alive) in found.steps.iter().zip(&curve.steps) {
                near(step.causes[0].incidence, 1.0 - alive.survival, 1e-10)?;
                if let Some(se) = alive.std_error {
                    near(step.causes[0].std_error, se, 1e-9)?;
                }
            }
        }
    }

    #[test]
    fn without_ties_the_log_rank_of_two_groups_is_the_score_test_of_a_ratio(r in records(true, false)) {
        let group: Vec<u32> = r.fed.iter().map(|fed| *fed as u32).collect();
        let covariates = &r.covariates()[1..];
        for strata in [None, Some(r.stratum.as_slice())] {
            let test = log_rank(&r.episodes, &group, 2, strata, 0.0);
            let input = CoxInput { episodes: &r.episodes, covariates, strata, cluster: None };
            if let (Ok(test), Ok(fit)) = (test, cox(&input, &CoxOptions::default())) {
                near(test.statistic, fit.tests.score.statistic, 1e-8)?;
            }
        }
    }

    #[test]
    fn a_fit_is_where_the_plainly_written_likelihood_is_flat(r in records(true, true)) {
        let covariates = r.covariates();
        if let Ok(fit) = r.fit(&covariates, Ties::Efron) {
            let b: Vec<f64> = fit.coefficients.iter().filter_map(|c| c.coef).collect();
            if b.len() == 2 {
                near(plain_log_likelihood(&r, &b), fit.log_likelihood.fitted, 1e-9)?;
                near(plain_log_likelihood(&r, &[0.0, 0.0]), fit.log_likelihood.at_zero, 1e-10)?;
                for j in 0..2 {
                    let se = fit.coefficients[j].std_error.unwrap_or(f64::NAN);
                    for side in [-1.0, 1.0] {
                        let mut away = b.clone();
                        away[j] += side * 0.01 * se;
                        prop_assert!(plain_log_likelihood(&r, &away) < fit.log_likelihood.fitted);
                    }
                }
                // A row per cluster: the sandwich is the sum of squared dfbeta.
                let single = CoxInput {
                    episodes: &r.episodes,
                    covariates: &covariates,
                    strata: Some(&r.stratum),
                    cluster: Some(&r.specimen),
                };
                let by_row = residuals(&single, &fit).map_err(|e| TestCaseError::fail(e.to_string()))?;
                if let Ok(single) = cox(&single, &CoxOptions::default()) {
                    for (j, c) in single.coefficients.iter().enumerate() {
                        let sum: f64 = by_row.dfbeta.iter().map(|pull| pull[j] * pull[j]).sum();
                        near_option(c.robust_std_error, Some(sum.sqrt()), 1e-6)?;
                    }
                }
            }
        }
    }

    #[test]
    fn no_figure_is_ever_not_a_number(
        rows in prop::collection::vec((0u32..4, 1u32..4, any::<bool>(), 0u32..2, 0u32..3), 0..9),
    ) {
        let mut e = Episodes::default();
        let (mut group, mut x) = (Vec::new(), Vec::new());
        for (start, length, died, g, value) in rows {
            e.start.push(f64::from(start));
            e.stop.push(f64::from(start + length));
            e.event.push(died);
            group.push(g);
            x.push(f64::from(value));
        }
        let number = |v: f64| !v.is_nan();
        let numbers = |values: &[Option<f64>]| values.iter().flatten().all(|v| !v.is_nan());
        let curve = kaplan_meier(&e, None, Interval::LogLog);
        for s in &curve.steps {
            prop_assert!(number(s.survival) && numbers(&[s.std_error, s.lower, s.upper]));
        }
        for s in nelson_aalen(&e, None, 0.95).steps {
            prop_assert!(number(s.cumulative_hazard) && number(s.std_error) && number(s.lower) && number(s.upper));
        }
        for share in [0.25, 0.5, 0.9] {
            let q = quantile(&curve, share);
            prop_assert!(numbers(&[q.estimate, q.lower, q.upper]));
        }
        if let Ok(mean) = restricted_mean(&curve, 3.0) {
            prop_assert!(number(mean.estimate) && numbers(&[mean.std_error, mean.lower, mean.upper]));
        }
        if let Ok(test) = log_rank(&e, &group, 2, None, 1.0) {
            prop_assert!(number(test.statistic) && number(test.p));
        }
        let covariates = [Covariate { name: "x".into(), values: x }];
        let input = CoxInput { episodes: &e, covariates: &covariates, strata: None, cluster: Some(&group) };
        match cox(&input, &CoxOptions::default()) {
            Ok(fit) => {
                let c = &fit.coefficients[0];
                prop_assert!(numbers(&[c.coef, c.hazard_ratio, c.std_error, c.robust_std_error, c.lower, c.upper, c.p]));
                prop_assert!(c.coef.is_some() || c.refused.is_some());
                prop_assert!(number(fit.log_likelihood.fitted) && number(fit.tests.score.p));
                if let Some(firth) = &fit.firth {
                    prop_assert!(number(firth.coefficients[0].coef) && number(firth.coefficients[0].p));
                }
                if c.coef.is_none() {
                    prop_assert!(fit.firth.is_some(), "{:?}", fit.refusals);
                }
            }
            Err(refused) => prop_assert!(matches!(
                refused.code,
                RefusalCode::NoEvents | RefusalCode::Singular
            ), "{refused:?}"),
        }
    }
}

/// Log partial likelihood with Efron's ties and strata, straight from the definition.
fn plain_log_likelihood(r: &Records, b: &[f64]) -> f64 {
    let e = &r.episodes;
    let eta: Vec<f64> = (0..r.len()).map(|i| b[0] * r.size[i] + b[1] * r.fed[i]).collect();
    let mut total = 0.0;
    let mut deaths: Vec<(u32, f64)> = (0..r.len()).filter(|&i| e.event[i]).map(|i| (r.stratum[i], e.stop[i])).collect();
    deaths.sort_by(|a, b| a.0.cmp(&b.0).then(a.1.total_cmp(&b.1)));
    deaths.dedup();
    for (stratum, t) in deaths {
        let at_risk = |i: &usize| r.stratum[*i] == stratum && e.start[*i] < t && t <= e.stop[*i];
        let dying = |i: &usize| e.event[*i] && e.stop[*i] == t;
        let all: f64 = (0..r.len()).filter(at_risk).map(|i| eta[i].exp()).sum();
        let dead: Vec<usize> = (0..r.len()).filter(at_risk).filter(dying).collect();
        let own: f64 = dead.iter().map(|&i| eta[i].exp()).sum();
        for (l, &i) in dead.iter().enumerate() {
            total += eta[i] - (all - l as f64 / dead.len() as f64 * own).ln();
        }
    }
    total
}
