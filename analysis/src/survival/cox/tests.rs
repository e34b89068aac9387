use super::design::Design;
use super::*;
use crate::survival::cox::proportionality::proportionality_of;

fn rows(start: &[f64], stop: &[f64], event: &[u8]) -> Episodes {
    Episodes { start: start.to_vec(), stop: stop.to_vec(), event: event.iter().map(|e| *e == 1).collect() }
}

fn from_zero(stop: &[f64], event: &[u8]) -> Episodes {
    rows(&vec![0.0; stop.len()], stop, event)
}

fn column(name: &str, values: &[f64]) -> Covariate {
    Covariate { name: name.into(), values: values.to_vec() }
}

fn fit(e: &Episodes, covariates: &[Covariate]) -> Result<CoxFit, Refusal> {
    let input = CoxInput { episodes: e, covariates, strata: None, cluster: None };
    cox(&input, &CoxOptions::default())
}

fn code<T>(result: Result<T, Refusal>) -> Option<RefusalCode> {
    result.err().map(|refused| refused.code)
}

fn close(got: Option<f64>, want: f64) {
    let got = got.unwrap_or(f64::NAN);
    assert!((got - want).abs() <= 1e-10 * want.abs().max(1e-8), "{got} is not {want}");
}

/// A spread of rows by a fixed rule: late entry, ties, three covariates, tanks.
pub(super) fn mixed(n: usize) -> (Episodes, Vec<Covariate>, Vec<u32>) {
    let mut e = Episodes::default();
    let (mut age, mut fed, mut tank) = (Vec::new(), Vec::new(), Vec::new());
    let mut state = 12345u64;
    let mut next = |below: u64| {
        state = state.wrapping_mul(6364136223846793005).wrapping_add(1442695040888963407);
        (state >> 33) % below
    };
    for row in 0..n {
        let start = if next(3) == 0 { next(20) as f64 } else { 0.0 };
        e.start.push(start);
        e.stop.push(start + 1.0 + next(60) as f64);
        e.event.push(next(2) == 0);
        age.push(next(100) as f64 / 10.0);
        fed.push(next(2) as f64);
        tank.push((row % 15) as u32);
    }
    (e, vec![column("age", &age), column("fed", &fed)], tank)
}

#[test]
fn four_corals_by_hand() -> Result<(), Refusal> {
    // l = 2 ln t - ln(2t + 2) - ln(t + 2) - ln(t + 1): t² - t - 4 = 0 at the maximum.
    let fit = fit(&from_zero(&[1.0, 2.0, 3.0, 4.0], &[1; 4]), &[column("x", &[1.0, 0.0, 1.0, 0.0])])?;
    let ratio = 0.5 * (1.0 + 17f64.sqrt());
    close(fit.coefficients[0].hazard_ratio, ratio);
    let information = 2.0 * ratio / (ratio + 1.0).powi(2) + 2.0 * ratio / (ratio + 2.0).powi(2);
    close(fit.coefficients[0].std_error, information.sqrt().recip());
    close(Some(fit.log_likelihood.at_zero), -24f64.ln());
    assert_eq!((fit.rows, fit.deaths, fit.clusters, fit.refusals.len()), (4, 4, None, 0));
    Ok(())
}

#[test]
fn a_tie_by_hand_with_both_rules() -> Result<(), Refusal> {
    // One with x = 1 and one without die together, one without lives on.
    let e = from_zero(&[1.0, 1.0, 2.0], &[1, 1, 0]);
    let covariates = [column("x", &[1.0, 0.0, 0.0])];
    let input = CoxInput { episodes: &e, covariates: &covariates, strata: None, cluster: None };
    // Efron: ln t - ln(t + 2) - ln((t + 3)/2) is highest at t² = 6. Breslow: ln t - 2 ln(t + 2) at t = 2.
    let efron = cox(&input, &CoxOptions::default())?;
    close(efron.coefficients[0].hazard_ratio, 6f64.sqrt());
    let breslow = cox(&input, &CoxOptions { ties: Ties::Breslow, ..CoxOptions::default() })?;
    close(breslow.coefficients[0].hazard_ratio, 2.0);
    Ok(())
}

#[test]
fn input_that_cannot_be_used_says_why() {
    let e = from_zero(&[1.0, 2.0, 3.0], &[1, 1, 0]);
    let x = [column("x", &[1.0, 0.0, 2.0])];
    assert_eq!(code(fit(&from_zero(&[1.0, 2.0, 3.0], &[0; 3]), &x)), Some(RefusalCode::NoEvents));
    assert_eq!(code(fit(&Episodes::default(), &[column("x", &[])])), Some(RefusalCode::NoEvents));
    let invalid = Some(RefusalCode::InvalidInput);
    assert_eq!(code(fit(&e, &[])), invalid);
    assert_eq!(code(fit(&e, &[column("x", &[1.0, 0.0])])), invalid);
    assert_eq!(code(fit(&e, &[column("x", &[1.0, f64::NAN, 0.0])])), invalid);
    assert_eq!(code(fit(&e, &[column("x", &[1.0, f64::INFINITY, 0.0])])), invalid);
    assert_eq!(code(fit(&rows(&[5.0, 0.0, 0.0], &[5.0, 2.0, 3.0], &[1; 3]), &x)), invalid);
    assert_eq!(code(fit(&from_zero(&[1.0, f64::NAN, 3.0], &[1; 3]), &x)), invalid);
    let short = CoxInput { episodes: &e, covariates: &x, strata: Some(&[1]), cluster: None };
    assert_eq!(code(cox(&short, &CoxOptions::default())), invalid);
    let short = CoxInput { episodes: &e, covariates: &x, strata: None, cluster: Some(&[1]) };
    assert_eq!(code(cox(&short, &CoxOptions::default())), invalid);
    let input = CoxInput { episodes: &e, covariates: &x, strata: None, cluster: None };
    assert_eq!(code(cox(&input, &CoxOptions { level: 1.0, ..CoxOptions::default() })), invalid);
    let message = fit(&e, &[column("nitrate", &[1.0, f64::NAN, 0.0])]).err().map(|r| r.message);
    assert_eq!(message.as_deref(), Some("nitrate, row 2: NaN is not finite"));
}

#[test]
fn covariates_that_tell_nothing_apart_are_named() {
    let e = from_zero(&[1.0, 2.0, 3.0, 4.0], &[1; 4]);
    let x = column("x", &[1.0, 0.0, 1.0, 0.0]);
    let refused = |others: &[Covariate]| fit(&e, others).err().map(|r| (r.code, r.message));
    let constant = refused(&[x.clone(), column("band", &[3.0; 4])]);
    assert!(constant.is_some_and(|(code, text)| code == RefusalCode::Singular && text.starts_with("band ")));
    let double = refused(&[x.clone(), column("twice", &[2.0, 0.0, 2.0, 0.0])]);
    assert!(double.is_some_and(|(code, text)| code == RefusalCode::Singular && text.starts_with("twice ")));
    // Different only after everybody else has died.
    let late = rows(&[0.0, 0.0, 0.0, 9.0], &[1.0, 2.0, 3.0, 20.0], &[1, 1, 1, 0]);
    assert_eq!(code(fit(&late, &[column("x", &[0.0, 0.0, 0.0, 1.0])])), Some(RefusalCode::Singular));
    // The same as the stratum.
    let strata = [0, 0, 1, 1];
    let by_stratum = [column("x", &[0.0, 0.0, 1.0, 1.0])];
    let input = CoxInput { episodes: &e, covariates: &by_stratum, strata: Some(&strata), cluster: None };
    assert_eq!(code(cox(&input, &CoxOptions::default())), Some(RefusalCode::Singular));
}

#[test]
fn all_dying_at_one_time_and_a_single_death() -> Result<(), Refusal> {
    let together = fit(&from_zero(&[4.0; 4], &[1; 4]), &[column("x", &[1.0, 0.0, 1.0, 0.0])])?;
    assert!(together.coefficients[0].coef.is_some_and(|b| b.abs() < 1e-12));
    let single = fit(&from_zero(&[1.0, 2.0, 2.0], &[1, 0, 0]), &[column("x", &[1.0, 0.0, 1.0])])?;
    assert_eq!(single.coefficients[0].refused.as_ref().map(|r| r.code), Some(RefusalCode::Separation));
    assert_eq!(single.coefficients[0].hazard_ratio, None);
    // One death, two of three at risk with x = 1: with p = 2t/(2t + 1), 3/2 ln p + 1/2 ln(1 - p) is highest at 3/4.
    close(single.firth.map(|f| f.coefficients[0].coef), 1.5f64.ln());
    Ok(())
}

#[test]
fn a_band_without_deaths_is_refused_and_the_others_are_those_of_the_rows_without_it() -> Result<(), Refusal> {
    let (mut e, mut covariates, _) = mixed(80);
    let mut band = vec![0.0; 80];
    for row in (0..80).step_by(9) {
        band[row] = 1.0;
        e.event[row] = false;
    }
    let keep: Vec<usize> = (0..80).filter(|row| band[*row] == 0.0).collect();
    let rest: Vec<Covariate> = covariates
        .iter()
        .map(|c| column(&c.name, &keep.iter().map(|&row| c.values[row]).collect::<Vec<f64>>()))
        .collect();
    let without = fit(&e.subset(&keep), &rest)?;
    covariates.insert(0, column("high", &band));
    let with = fit(&e, &covariates)?;
    assert_eq!(with.coefficients[0].coef, None);
    assert_eq!(with.refusals.iter().map(|r| r.code).collect::<Vec<_>>(), vec![RefusalCode::Separation]);
    assert_eq!(with.tests.wald, None);
    for (a, b) in with.coefficients[1..].iter().zip(&without.coefficients) {
        for (got, want) in [(a.coef, b.coef), (a.std_error, b.std_error), (a.lower, b.lower), (a.p, b.p)] {
            let (got, want) = (got.unwrap_or(f64::NAN), want.unwrap_or(f64::NAN));
            assert!((got - want).abs() < 1e-10 * want.abs(), "{got} {want}");
        }
    }
    let firth = with.firth.as_ref().map(|f| f.coefficients[0].coef);
    assert!(firth.is_some_and(|b| b < 0.0 && b.is_finite()));
    Ok(())
}

#[test]
fn a_rare_level_without_deaths_is_found_although_its_spread_is_small() -> Result<(), Refusal> {
    let n = 4000;
    let stop: Vec<f64> = (0..n).map(|i| 1.0 + f64::from((i * 7) % 50)).collect();
    let event: Vec<u8> = (0..n).map(|i| u8::from(i % 40 == 1)).collect();
    let x: Vec<f64> = (0..n).map(|i| f64::from(u8::from(i % 1000 == 17))).collect();
    let fit = fit(&from_zero(&stop, &event), &[column("rare", &x)])?;
    assert_eq!(fit.coefficients[0].refused.as_ref().map(|r| r.code), Some(RefusalCode::Separation));
    Ok(())
}

#[test]
fn a_ratio_that_another_without_end_leaves_nothing_to_go_by_is_refused_too() -> Result<(), Refusal> {
    // The smallest dies first: size alone explains it, and nothing is left to settle feeding.
    let fit = fit(
        &from_zero(&[2.0, 58.0, 3.0], &[1, 0, 0]),
        &[column("size", &[2.25, 2.5, 2.5]), column("fed", &[0.0, 0.0, 1.0])],
    )?;
    assert!(fit.coefficients.iter().all(|c| c.hazard_ratio.is_none() && c.refused.is_some()));
    assert!(fit.firth.is_some_and(|f| f.coefficients[1].coef.abs() < 1e-6));
    Ok(())
}

#[test]
fn two_ratios_that_only_grow_without_end_together_are_both_refused() -> Result<(), Refusal> {
    // Size up by one and feeding down by a quarter explains ever more; the tie on day 32 holds what is left over.
    let e = rows(
        &[0.0, 8.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 2.0],
        &[28.0, 15.0, 24.0, 32.0, 29.0, 11.0, 11.0, 9.0, 32.0],
        &[1, 0, 0, 1, 1, 0, 0, 1, 1],
    );
    let covariates = [
        column("size", &[2.75, 8.0, 0.0, 4.25, 3.0, 1.25, 0.0, 9.0, 4.0]),
        column("fed", &[0.0, 0.0, 0.0, 1.0, 1.0, 0.0, 0.0, 1.0, 0.0]),
    ];
    let input =
        CoxInput { episodes: &e, covariates: &covariates, strata: Some(&[1, 1, 1, 0, 1, 1, 1, 1, 0]), cluster: None };
    let found = cox(&input, &CoxOptions::default())?;
    assert!(found.coefficients.iter().all(|c| c.coef.is_none() && c.refused.is_some()));
    Ok(())
}

#[test]
fn limits_by_cluster_use_t_and_a_small_sample_factor() -> Result<(), Refusal> {
    let (e, covariates, tank) = mixed(90);
    let input = CoxInput { episodes: &e, covariates: &covariates, strata: None, cluster: Some(&tank) };
    let fit = cox(&input, &CoxOptions::default())?;
    assert_eq!(fit.clusters, Some(15));
    let c = &fit.coefficients[0];
    let (b, robust) = (c.coef.unwrap_or(f64::NAN), c.robust_std_error.unwrap_or(f64::NAN));
    let t = student_multiplier(0.95, 14.0).unwrap_or(f64::NAN);
    close(c.upper, (b + t * robust * (15f64 / 14.0).sqrt()).exp());
    close(c.lower, (b - t * robust * (15f64 / 14.0).sqrt()).exp());
    close(c.p, student_two_sided(b / (robust * (15f64 / 14.0).sqrt()), 14.0));
    Ok(())
}

#[test]
fn fewer_than_ten_clusters_have_no_limits() -> Result<(), Refusal> {
    let (e, covariates, tank) = mixed(90);
    let nine: Vec<u32> = tank.iter().map(|t| t % 9).collect();
    let input = CoxInput { episodes: &e, covariates: &covariates, strata: None, cluster: Some(&nine) };
    let fit = cox(&input, &CoxOptions::default())?;
    let c = &fit.coefficients[0];
    assert!(c.coef.is_some() && c.robust_std_error.is_some());
    assert_eq!((c.lower, c.upper, c.p), (None, None, None));
    let refused = c.refused.as_ref().map(|r| (r.code, r.have, r.need));
    assert_eq!(refused, Some((RefusalCode::TooFewClusters, Some(9.0), Some(10.0))));
    assert_eq!(fit.refusals.len(), 1);
    Ok(())
}

#[test]
fn clusters_without_a_row_at_risk_at_a_death_do_not_count() -> Result<(), Refusal> {
    let (mut e, mut covariates, mut tank) = mixed(90);
    e.start.push(500.0);
    e.stop.push(600.0);
    e.event.push(false);
    covariates.iter_mut().for_each(|c| c.values.push(1.0));
    tank.push(99);
    let input = CoxInput { episodes: &e, covariates: &covariates, strata: None, cluster: Some(&tank) };
    assert_eq!(cox(&input, &CoxOptions::default())?.clusters, Some(15));
    Ok(())
}

#[test]
fn a_level_that_two_tanks_hold_has_no_limits() -> Result<(), Refusal> {
    let (e, mut covariates, tank) = mixed(90);
    let two: Vec<f64> = tank.iter().map(|t| f64::from(u8::from(*t < 2))).collect();
    covariates.push(column("probe", &two));
    let input = CoxInput { episodes: &e, covariates: &covariates, strata: None, cluster: Some(&tank) };
    let fit = cox(&input, &CoxOptions::default())?;
    assert!(fit.coefficients[0].lower.is_some());
    let refused = fit.coefficients[2].refused.as_ref().map(|r| (r.code, r.have, r.need));
    assert_eq!(refused, Some((RefusalCode::TooFewClusters, Some(2.0), Some(3.0))));
    // The other way round: all but two tanks hold it.
    covariates[2].values.iter_mut().for_each(|v| *v = 1.0 - *v);
    let input = CoxInput { episodes: &e, covariates: &covariates, strata: None, cluster: Some(&tank) };
    assert_eq!(cox(&input, &CoxOptions::default())?.coefficients[2].lower, None);
    Ok(())
}

#[test]
fn two_crowded_tanks_against_many_small_ones_have_no_limits_either() -> Result<(), Refusal> {
    let (e, mut covariates, mut tank) = mixed(150);
    // Two tanks hold 90 of 150 rows, and the commoner value.
    for (row, tank) in tank.iter_mut().enumerate() {
        *tank = if row % 5 < 3 { (row % 2) as u32 } else { 2 + (row % 13) as u32 };
    }
    let crowded: Vec<f64> = tank.iter().map(|t| f64::from(u8::from(*t < 2))).collect();
    covariates.push(column("crowded", &crowded));
    let input = CoxInput { episodes: &e, covariates: &covariates, strata: None, cluster: Some(&tank) };
    let found = cox(&input, &CoxOptions::default())?;
    let refused = found.coefficients[2].refused.as_ref().map(|r| (r.code, r.have));
    assert_eq!(refused, Some((RefusalCode::TooFewClusters, Some(2.0))));
    Ok(())
}

/// Log likelihood, score and information straight from the definition, O(n D).
fn plainly(e: &Episodes, x: &[Vec<f64>], b: &[f64]) -> (f64, Vec<f64>, Vec<f64>) {
    let p = b.len();
    let eta: Vec<f64> = x.iter().map(|x| x.iter().zip(b).map(|(x, b)| x * b).sum()).collect();
    let mut times: Vec<f64> = (0..e.len()).filter(|&i| e.event[i]).map(|i| e.stop[i]).collect();
    times.sort_by(f64::total_cmp);
    times.dedup();
    let (mut l, mut u, mut v) = (0.0, vec![0.0; p], vec![0.0; p * p]);
    for t in times {
        let at_risk: Vec<usize> = (0..e.len()).filter(|&i| e.start[i] < t && t <= e.stop[i]).collect();
        let dying: Vec<usize> = at_risk.iter().copied().filter(|&i| e.event[i] && e.stop[i] == t).collect();
        let highest = at_risk.iter().map(|&i| eta[i]).fold(f64::NEG_INFINITY, f64::max);
        for (l_index, &own) in dying.iter().enumerate() {
            let share = l_index as f64 / dying.len() as f64;
            let weight = |i: usize| {
                let less = if dying.contains(&i) { share } else { 0.0 };
                (1.0 - less) * (eta[i] - highest).exp()
            };
            let s0: f64 = at_risk.iter().map(|&i| weight(i)).sum();
            l += eta[own] - highest - s0.ln();
            for j in 0..p {
                let mean = |k: usize| at_risk.iter().map(|&i| weight(i) * x[i][k]).sum::<f64>() / s0;
                u[j] += x[own][j] - mean(j);
                for k in 0..=j {
                    let both: f64 = at_risk.iter().map(|&i| weight(i) * x[i][j] * x[i][k]).sum();
                    v[j * p + k] += both / s0 - mean(j) * mean(k);
                }
            }
        }
    }
    (l, u, v)
}

#[test]
fn sums_keep_their_digits_when_a_giant_term_is_taken_away_again() -> Result<(), Refusal> {
    // Late entrants with a hazard e^26 to e^60 times that of the others come and go; the sweep adds and subtracts them.
    let (mut e, mut covariates, _) = mixed(70);
    for (row, giant) in [(3, 6.0), (11, 10.0), (40, 10.0)] {
        e.start[row] = 25.0;
        e.stop[row] = 60.0;
        e.event[row] = false;
        covariates[0].values[row] = giant * 6.0;
    }
    let input = CoxInput { episodes: &e, covariates: &covariates, strata: None, cluster: None };
    let design = Design::new(&input, Ties::Efron)?;
    let b = [design.scale()[0], 0.7 * design.scale()[1]];
    let got = fit::evaluate(&design, &b);
    let x: Vec<Vec<f64>> = (0..e.len())
        .map(|row| {
            let scaled = |j: usize| (covariates[j].values[row] - design.mean()[j]) / design.scale()[j];
            vec![scaled(0), scaled(1)]
        })
        .collect();
    let (l, u, v) = plainly(&e, &x, &b);
    assert!((got.log_likelihood - l).abs() < 1e-8 * l.abs(), "{} {l}", got.log_likelihood);
    for (got, want) in got.score.iter().zip(&u) {
        assert!((got - want).abs() < 1e-7 * u[0].abs().max(1.0), "{got} {want}");
    }
    for at in [0, 2, 3] {
        assert!((got.information[at] - v[at]).abs() < 1e-7 * v[at].abs(), "{} {}", got.information[at], v[at]);
    }
    Ok(())
}

#[test]
fn covariates_far_from_zero_and_of_any_size_fit() -> Result<(), Refusal> {
    let (e, covariates, _) = mixed(80);
    let plain = fit(&e, &covariates)?;
    let mut far = covariates.clone();
    far[0].values.iter_mut().for_each(|v| *v = *v * 1e6 + 1e9);
    let moved = fit(&e, &far)?;
    let (a, b) = (plain.coefficients[0].coef.unwrap_or(f64::NAN), moved.coefficients[0].coef.unwrap_or(f64::NAN));
    assert!((a - b * 1e6).abs() < 1e-6 * a.abs(), "{a} {b}");
    Ok(())
}

#[test]
fn leaving_out_clusters_agrees_with_fitting_without_them() -> Result<(), Refusal> {
    let (e, covariates, tank) = mixed(150);
    let input = CoxInput { episodes: &e, covariates: &covariates, strata: None, cluster: Some(&tank) };
    let whole = cox(&input, &CoxOptions::default())?;
    let found = jackknife::jackknife(&input, &whole)?;
    let mut want = [0.0; 2];
    for out in 0..15 {
        let keep: Vec<usize> = (0..150).filter(|row| tank[*row] != out).collect();
        let rest: Vec<Covariate> = covariates
            .iter()
            .map(|c| column(&c.name, &keep.iter().map(|&row| c.values[row]).collect::<Vec<f64>>()))
            .collect();
        let without = fit(&e.subset(&keep), &rest)?;
        for (j, want) in want.iter_mut().enumerate() {
            let (a, b) = (without.coefficients[j].coef, whole.coefficients[j].coef);
            *want += 14.0 / 15.0 * (a.unwrap_or(f64::NAN) - b.unwrap_or(f64::NAN)).powi(2);
        }
    }
    for (j, want) in want.iter().enumerate() {
        assert!((found[j][j] - want).abs() < 1e-6 * want, "{} {want}", found[j][j]);
    }
    let nine: Vec<u32> = tank.iter().map(|t| t % 9).collect();
    let few = CoxInput { cluster: Some(&nine), ..input };
    assert_eq!(code(jackknife::jackknife(&few, &whole)), Some(RefusalCode::TooFewClusters));
    let none = CoxInput { cluster: None, ..input };
    assert_eq!(code(jackknife::jackknife(&none, &whole)), Some(RefusalCode::InvalidInput));
    Ok(())
}

#[test]
fn residuals_sum_to_nothing_and_rows_without_deaths_add_nothing() -> Result<(), Refusal> {
    let (mut e, mut covariates, _) = mixed(60);
    e.start.push(700.0);
    e.stop.push(701.0);
    e.event.push(false);
    covariates.iter_mut().for_each(|c| c.values.push(5.0));
    let input = CoxInput { episodes: &e, covariates: &covariates, strata: None, cluster: None };
    let whole = cox(&input, &CoxOptions::default())?;
    let found = residuals::residuals(&input, &whole)?;
    assert!(found.martingale.iter().sum::<f64>().abs() < 1e-10);
    for j in 0..2 {
        assert!(found.score.iter().map(|row| row[j]).sum::<f64>().abs() < 1e-9);
    }
    assert_eq!((found.martingale[60], found.score[60].clone()), (0.0, vec![0.0, 0.0]));
    assert_eq!(found.schoenfeld.len() as u64, whole.deaths);
    Ok(())
}

#[test]
fn proportionality_of_terms_and_what_cannot_be_tested() -> Result<(), Refusal> {
    let (e, covariates, _) = mixed(90);
    let input = CoxInput { episodes: &e, covariates: &covariates, strata: None, cluster: None };
    let whole = cox(&input, &CoxOptions::default())?;
    let both = [("both".to_string(), vec![0, 1])];
    let tests = proportionality_of(&input, &whole, Transform::Km, &both)?;
    assert_eq!((tests[0].df, tests[0].statistic), (tests[1].df, tests[1].statistic));
    let logs = proportionality(&input, &whole, Transform::Log)?;
    assert!(logs.iter().all(|t| t.statistic.is_finite() && t.p > 0.0));
    let nothing = [("nothing".to_string(), vec![])];
    assert_eq!(code(proportionality_of(&input, &whole, Transform::Km, &nothing)), Some(RefusalCode::InvalidInput));
    let other = CoxInput { covariates: &covariates[..1], ..input };
    assert_eq!(code(proportionality(&other, &whole, Transform::Km)), Some(RefusalCode::InvalidInput));

    let once = from_zero(&[4.0, 4.0, 4.0, 9.0, 9.0], &[1, 1, 1, 0, 0]);
    let x = [column("x", &[1.0, 0.0, 1.0, 0.0, 1.0])];
    let input = CoxInput { episodes: &once, covariates: &x, strata: None, cluster: None };
    let at_once = cox(&input, &CoxOptions::default())?;
    assert_eq!(code(proportionality(&input, &at_once, Transform::Km)), Some(RefusalCode::Singular));
    let early = rows(&[-5.0; 4], &[-1.0, 2.0, 3.0, 4.0], &[1; 4]);
    let x = [column("x", &[1.0, 0.0, 1.0, 0.0])];
    let input = CoxInput { episodes: &early, covariates: &x, strata: None, cluster: None };
    let early = cox(&input, &CoxOptions::default())?;
    assert_eq!(code(proportionality(&input, &early, Transform::Log)), Some(RefusalCode::InvalidInput));
    Ok(())
}

#[test]
fn a_separated_fit_has_no_residuals_baseline_or_test_of_time() -> Result<(), Refusal> {
    let e = from_zero(&[1.0, 2.0, 3.0, 4.0], &[1, 1, 0, 0]);
    let x = [column("x", &[1.0, 1.0, 0.0, 0.0])];
    let input = CoxInput { episodes: &e, covariates: &x, strata: None, cluster: None };
    let found = cox(&input, &CoxOptions::default())?;
    let separated = Some(RefusalCode::Separation);
    assert_eq!(code(residuals::residuals(&input, &found)), separated);
    assert_eq!(code(baseline::baseline_hazard(&input, &found)), separated);
    assert_eq!(code(proportionality(&input, &found, Transform::Km)), separated);
    Ok(())
}

#[test]
fn few_deaths_shrink_towards_no_difference_with_a_penalty() -> Result<(), Refusal> {
    let e = from_zero(&[1.0, 2.0, 3.0, 4.0, 5.0, 6.0], &[1, 1, 1, 0, 1, 0]);
    let x = [column("x", &[1.0, 1.0, 0.0, 0.0, 1.0, 0.0])];
    let plain = fit(&e, &x)?.coefficients[0].coef.unwrap_or(f64::NAN);
    let input = CoxInput { episodes: &e, covariates: &x, strata: None, cluster: None };
    let penalised = firth(&input, &CoxOptions::default())?;
    assert!(penalised.coefficients[0].coef.abs() < plain.abs());
    let limits = firth::profile_limits(&input, &CoxOptions::default())?;
    let (lower, upper) = (limits[0].lower.unwrap_or(0.0), limits[0].upper.unwrap_or(f64::INFINITY));
    assert!(lower < penalised.coefficients[0].hazard_ratio && penalised.coefficients[0].hazard_ratio < upper);
    Ok(())
}
