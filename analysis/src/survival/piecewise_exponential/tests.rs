use super::*;
use crate::episode::Episodes;

fn ones(n: usize) -> Covariate {
    Covariate { name: "all".into(), values: vec![1.0; n] }
}

fn column(name: &str, values: &[f64]) -> Covariate {
    Covariate { name: name.into(), values: values.to_vec() }
}

fn close(got: f64, want: f64) {
    assert!((got - want).abs() <= 1e-12 * want.abs().max(1.0), "{got} is not {want}");
}

#[test]
fn one_rate_is_deaths_over_days() {
    let covariates = [ones(3)];
    let cells = Cells { deaths: &[3, 0, 4], time: &[100.0, 50.0, 200.0], covariates: &covariates, cluster: None };
    let fit = piecewise_exponential(&cells, 0.95).expect("a rate");
    let rate = &fit.coefficients[0];
    close(rate.rate_ratio, 7.0 / 350.0);
    // The information of a log rate is its deaths.
    close(rate.std_error, 1.0 / 7f64.sqrt());
    close(fit.log_likelihood, 7.0 * 0.02f64.ln() + 3.0 * 100f64.ln() + 4.0 * 200f64.ln() - 7.0);
    assert_eq!((fit.deaths, fit.time, fit.cells), (7, 350.0, 3));
}

#[test]
fn two_groups_have_the_ratio_of_their_rates() {
    let covariates = [ones(4), column("second", &[0.0, 1.0, 0.0, 1.0])];
    let (deaths, time) = ([2, 9, 4, 3], [100.0, 80.0, 500.0, 120.0]);
    let cells = Cells { deaths: &deaths, time: &time, covariates: &covariates, cluster: None };
    let fit = piecewise_exponential(&cells, 0.95).expect("a ratio");
    close(fit.coefficients[1].rate_ratio, (12.0 / 200.0) / (6.0 / 600.0));
    close(fit.coefficients[1].std_error, (1.0f64 / 12.0 + 1.0 / 6.0).sqrt());
    let test = fit.wald(&[1]).expect("a test");
    close(test.statistic, 6f64.ln().powi(2) / 0.25);
    // A saturated model has no deviance.
    let cells =
        Cells { deaths: &deaths[..2], time: &time[..2], covariates: &[ones(2), column("b", &[0.0, 1.0])], ..cells };
    assert!(piecewise_exponential(&cells, 0.95).expect("a fit").deviance.abs() < 1e-12);
}

#[test]
fn the_sandwich_by_hand() {
    // One rate, 12 tanks: the variance of its logarithm is the sum of squared (D - rate T) over D squared.
    let deaths: Vec<u64> = (0..12).map(|i| i % 4).collect();
    let time: Vec<f64> = (0..12).map(|i| 50.0 + 10.0 * f64::from(i)).collect();
    let tank: Vec<u32> = (0..12).collect();
    let covariates = [ones(12)];
    let cells = Cells { deaths: &deaths, time: &time, covariates: &covariates, cluster: Some(&tank) };
    let fit = piecewise_exponential(&cells, 0.95).expect("a rate");
    let all: u64 = deaths.iter().sum();
    let rate = all as f64 / time.iter().sum::<f64>();
    let squares: f64 = deaths.iter().zip(&time).map(|(&d, t)| (d as f64 - rate * t).powi(2)).sum();
    close(fit.coefficients[0].robust_std_error.expect("clusters"), squares.sqrt() / all as f64);
    assert!(fit.coefficients[0].limits.is_ok());
    let pairs: Vec<u32> = tank.iter().map(|t| t / 2).collect();
    let few = piecewise_exponential(&Cells { cluster: Some(&pairs), ..cells }, 0.95).expect("a rate");
    assert_eq!(few.coefficients[0].limits.as_ref().map_err(|r| r.code), Err(RefusalCode::TooFewClusters));
}

#[test]
fn summed_cells_say_what_their_rows_say() {
    let rows = Episodes::validated(
        vec![0.0, 10.0, 0.0, 40.0, 0.0, 95.0, 0.0, 5.0],
        vec![25.0, 120.0, 30.0, 200.0, 91.0, 130.0, 100.0, 60.0],
        vec![true, true, true, false, true, true, false, true],
    )
    .expect("sound rows");
    let exposed = [0.0, 1.0, 0.0, 1.0, 1.0, 0.0, 0.0, 1.0];
    let pieces = age_pieces(&rows, &[30.0, 90.0]);
    close(pieces.iter().map(|p| p.time).sum(), rows.time_at_risk());
    assert_eq!(pieces.iter().filter(|p| p.died).count() as u64, rows.deaths());
    // A death on the day of a cut belongs to the piece that ends there.
    assert!(
        pieces.iter().any(|p| p.row == 2 && p.piece == 0 && p.died)
            && !pieces.iter().any(|p| p.row == 2 && p.piece == 1)
    );
    let fit = |cells: &[(usize, f64, u64, f64)]| {
        let level: Vec<usize> = cells.iter().map(|c| c.0).collect();
        let mut covariates = vec![ones(cells.len())];
        covariates.extend(indicators("piece", &level, 3, 0));
        covariates.push(column("exposed", &cells.iter().map(|c| c.1).collect::<Vec<f64>>()));
        let deaths: Vec<u64> = cells.iter().map(|c| c.2).collect();
        let time: Vec<f64> = cells.iter().map(|c| c.3).collect();
        let cells = Cells { deaths: &deaths, time: &time, covariates: &covariates, cluster: None };
        piecewise_exponential(&cells, 0.95).expect("a fit").coefficients
    };
    let single: Vec<(usize, f64, u64, f64)> =
        pieces.iter().map(|p| (p.piece, exposed[p.row], u64::from(p.died), p.time)).collect();
    let mut summed: BTreeMap<(usize, u64), (u64, f64)> = BTreeMap::new();
    for &(piece, x, deaths, time) in &single {
        let cell = summed.entry((piece, x as u64)).or_default();
        *cell = (cell.0 + deaths, cell.1 + time);
    }
    let summed: Vec<(usize, f64, u64, f64)> =
        summed.into_iter().map(|((piece, x), (deaths, time))| (piece, x as f64, deaths, time)).collect();
    for (a, b) in fit(&single).iter().zip(&fit(&summed)) {
        assert!((a.coef - b.coef).abs() < 1e-10 && (a.std_error - b.std_error).abs() < 1e-10, "{a:?} {b:?}");
    }
}

#[test]
fn what_has_no_rate_says_why() {
    let code = |deaths: &[u64], time: &[f64], columns: &[Covariate]| {
        piecewise_exponential(&Cells { deaths, time, covariates: columns, cluster: None }, 0.95).map_err(|r| r.code)
    };
    assert_eq!(code(&[0, 0], &[1.0, 2.0], &[ones(2)]).map(|_| ()), Err(RefusalCode::NoEvents));
    assert_eq!(code(&[1, 2], &[1.0, 0.0], &[ones(2)]).map(|_| ()), Err(RefusalCode::InvalidInput));
    assert_eq!(code(&[1, 2], &[1.0, f64::NAN], &[ones(2)]).map(|_| ()), Err(RefusalCode::InvalidInput));
    assert_eq!(code(&[1, 2], &[1.0], &[ones(2)]).map(|_| ()), Err(RefusalCode::InvalidInput));
    let two = [ones(2), column("x", &[0.0, 1.0])];
    assert_eq!(code(&[4, 0], &[10.0, 10.0], &two).map(|_| ()), Err(RefusalCode::Separation));
    let same = [ones(2), column("x", &[2.0, 2.0])];
    assert_eq!(code(&[4, 1], &[10.0, 10.0], &same).map(|_| ()), Err(RefusalCode::Singular));
    // A cell without time says nothing.
    let with_empty = [ones(3), column("x", &[0.0, 1.0, 5.0])];
    assert!(code(&[4, 1, 0], &[10.0, 10.0, 0.0], &with_empty).is_ok());
}

/// Rows whose starts and ends all lie on days of a death.
fn on_days_of_deaths() -> (Episodes, [Vec<f64>; 2]) {
    let stop: Vec<f64> = (0..24).map(|i| f64::from(2 + i * 5 % 8)).collect();
    let start: Vec<f64> =
        stop.iter().enumerate().map(|(i, stop)| if i % 5 == 0 && *stop > 2.0 { stop - 1.0 } else { 0.0 }).collect();
    let event = (0..24).map(|i| i % 3 != 1).collect();
    let x = (0..24).map(|i| f64::from(i * 7 % 5)).collect();
    let z = (0..24).map(|i| f64::from(i * 11 % 7 / 4)).collect();
    (Episodes::validated(start, stop, event).expect("sound rows"), [x, z])
}

fn fit_at_every_death(rows: &Episodes, columns: &[Vec<f64>]) -> RateFit {
    let cuts: Vec<f64> = (2..9).map(f64::from).collect();
    let pieces = age_pieces(rows, &cuts);
    let level: Vec<usize> = pieces.iter().map(|own| own.piece).collect();
    let mut covariates: Vec<Covariate> = columns
        .iter()
        .enumerate()
        .map(|(at, own)| column(["x", "z"][at], &pieces.iter().map(|piece| own[piece.row]).collect::<Vec<f64>>()))
        .collect();
    covariates.push(ones(pieces.len()));
    covariates.extend(indicators("piece", &level, 8, 0));
    let deaths: Vec<u64> = pieces.iter().map(|own| u64::from(own.died)).collect();
    let time: Vec<f64> = pieces.iter().map(|own| own.time).collect();
    let cells = Cells { deaths: &deaths, time: &time, covariates: &covariates, cluster: None };
    piecewise_exponential(&cells, 0.95).expect("a fit")
}

#[test]
fn a_piece_between_any_two_deaths_gives_the_proportional_hazards_model() {
    use crate::survival::cox::{CoxInput, CoxOptions, Ties, cox};
    let (rows, columns) = on_days_of_deaths();
    let covariates = [column("x", &columns[0]), column("z", &columns[1])];
    let input = CoxInput { episodes: &rows, covariates: &covariates, strata: None, cluster: None };
    let hazards = cox(&input, &CoxOptions { ties: Ties::Breslow, ..CoxOptions::default() }).expect("a fit");
    let rates = fit_at_every_death(&rows, &columns);
    for (a, b) in hazards.coefficients.iter().zip(&rates.coefficients) {
        assert!((a.coef.expect("a ratio") - b.coef).abs() < 1e-8, "{a:?} {b:?}");
        assert!((a.std_error.expect("an error") - b.std_error).abs() < 1e-8, "{a:?} {b:?}");
    }
}

#[test]
fn scale_and_repetition_do_what_they_must() {
    let (rows, columns) = on_days_of_deaths();
    let once = fit_at_every_death(&rows, &columns);
    let tenfold: Vec<Vec<f64>> = columns.iter().map(|own| own.iter().map(|x| 10.0 * x + 3.0).collect()).collect();
    let scaled = fit_at_every_death(&rows, &tenfold);
    let all: Vec<usize> = (0..24).chain((0..24).rev()).collect();
    let twice = fit_at_every_death(
        &rows.subset(&all),
        &columns.iter().map(|own| all.iter().map(|&row| own[row]).collect()).collect::<Vec<Vec<f64>>>(),
    );
    for at in 0..2 {
        let (own, scaled, twice) = (&once.coefficients[at], &scaled.coefficients[at], &twice.coefficients[at]);
        assert!((own.coef - 10.0 * scaled.coef).abs() < 1e-9 && (own.coef - twice.coef).abs() < 1e-9);
        assert!((own.std_error - 2f64.sqrt() * twice.std_error).abs() < 1e-9);
    }
    assert!((once.deviance - scaled.deviance).abs() < 1e-8);
}
