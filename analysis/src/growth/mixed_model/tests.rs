use super::*;

fn column(name: &str, values: &[f64]) -> Covariate {
    Covariate { name: name.into(), values: values.to_vec() }
}

fn pattern(a: u32, b: u32) -> f64 {
    f64::from((a * 7 + b * 5) % 11) / 11.0 - 0.45
}

/// Specimens with four sizes at times 0 to 3: starts, slopes, tanks and errors of the given size.
struct Made {
    y: Vec<f64>,
    time: Vec<f64>,
    specimen: Vec<u32>,
    tank: Vec<u32>,
}

fn made(start: f64, slope: f64, of_tank: f64, error: f64) -> Made {
    let mut made = Made { y: vec![], time: vec![], specimen: vec![], tank: vec![] };
    for own in 0..20u32 {
        for look in 0..4u32 {
            let t = f64::from(look);
            let line = 3.0 + start * pattern(own, 1) + (0.05 + slope * pattern(own * own, 4)) * t;
            made.y.push(line + of_tank * pattern(own % 5, 2) + error * pattern(own * 3 + look * look, look + 3));
            made.time.push(t);
            made.specimen.push(own);
            made.tank.push(own % 5);
        }
    }
    made
}

fn fitted(made: &Made) -> MixedModel {
    let fixed = [column("all", &vec![1.0; made.y.len()]), column("time", &made.time)];
    let Made { y, time, specimen, tank } = made;
    mixed_model(&MixedInput { y, fixed: &fixed, time, specimen, tank: Some(tank) }).expect("a fit")
}

#[test]
fn a_balanced_one_way_layout_has_the_variances_of_its_mean_squares() {
    // Six specimens, four values each, time without any effect: between them MSB, within MSW, and the restricted likelihood
    // has its maximum at residual MSW and specimen variance (MSB - MSW)/4.
    let values = [
        [1.0, 2.0, 1.5, 2.5],
        [3.0, 3.5, 2.0, 3.5],
        [0.0, 1.0, 0.5, 0.5],
        [5.0, 4.0, 4.5, 5.5],
        [2.0, 2.5, 3.5, 3.0],
        [1.0, 0.0, 0.5, 1.5],
    ];
    let y: Vec<f64> = values.iter().flatten().copied().collect();
    let specimen: Vec<u32> = (0..24).map(|i| i / 4).collect();
    let fixed = [column("all", &[1.0; 24])];
    let input = MixedInput { y: &y, fixed: &fixed, time: &[0.0; 24], specimen: &specimen, tank: None };
    let model = mixed_model(&input).expect("a fit");
    let means: Vec<f64> = values.iter().map(|own| own.iter().sum::<f64>() / 4.0).collect();
    let mean = means.iter().sum::<f64>() / 6.0;
    let between = means.iter().map(|m| 4.0 * (m - mean).powi(2)).sum::<f64>() / 5.0;
    let within =
        values.iter().zip(&means).flat_map(|(own, m)| own.iter().map(move |v| (v - m).powi(2))).sum::<f64>() / 18.0;
    let near = |got: f64, want: f64| assert!((got - want).abs() < 1e-8 * want, "{got} is not {want}");
    near(model.coefficients[0], mean);
    near(model.variances.residual, within);
    near(model.variances.specimen_intercept.expect("specimens differ"), (between - within) / 4.0);
    near(model.covariance[0][0], between / 24.0);
    // Without different times there are no slopes: said, not invented.
    assert_eq!(model.dropped, [Dropped::SlopeCorrelation, Dropped::SpecimenSlope]);
    assert_eq!(model.variances.specimen_slope, None);
}

#[test]
fn terms_that_are_not_there_are_dropped_one_by_one_and_named() {
    let all = fitted(&made(0.5, 0.1, 0.5, 0.02));
    assert!(all.dropped.is_empty(), "{:?} {:?}", all.dropped, all.theta);
    let no_slope = fitted(&made(0.5, 0.0, 0.5, 0.2));
    assert!(no_slope.dropped.ends_with(&[Dropped::SpecimenSlope]), "{:?} {:?}", no_slope.dropped, no_slope.theta);
    assert_eq!((no_slope.variances.specimen_slope, no_slope.variances.covariance), (None, None));
    assert!(no_slope.variances.tank.is_some());
}

#[test]
fn the_unit_of_time_and_the_order_of_the_sizes_change_nothing_else() {
    let sizes = made(0.5, 0.1, 0.5, 0.05);
    let a = fitted(&sizes);
    let in_days = Made { time: sizes.time.iter().map(|t| 30.0 * t).collect(), ..made(0.5, 0.1, 0.5, 0.05) };
    let b = fitted(&in_days);
    let near = |got: f64, want: f64| assert!((got - want).abs() < 1e-6 * want.abs().max(1e-3), "{got} is not {want}");
    near(b.coefficients[1], a.coefficients[1] / 30.0);
    near(b.variances.specimen_slope.expect("slopes"), a.variances.specimen_slope.expect("slopes") / 900.0);
    near(b.variances.tank.expect("tanks"), a.variances.tank.expect("tanks"));
    let backwards = Made {
        y: sizes.y.iter().rev().copied().collect(),
        time: sizes.time.iter().rev().copied().collect(),
        specimen: sizes.specimen.iter().rev().copied().collect(),
        tank: sizes.tank.iter().rev().copied().collect(),
    };
    near(fitted(&backwards).criterion, a.criterion);
    // A constant added to every size moves the start alone.
    let shifted = Made { y: sizes.y.iter().map(|y| y + 100.0).collect(), ..made(0.5, 0.1, 0.5, 0.05) };
    let c = fitted(&shifted);
    near(c.coefficients[0], a.coefficients[0] + 100.0);
    near(c.coefficients[1], a.coefficients[1]);
    near(c.criterion, a.criterion);
}

#[test]
fn the_arrow_says_what_the_whole_matrix_says() {
    // The criterion written out with the full variance of all sizes, at the factors of the fit.
    let sizes = made(0.5, 0.1, 0.5, 0.05);
    let model = fitted(&sizes);
    let n = sizes.y.len();
    let [l11, l21, l22, lu] = model.theta;
    let s2 = model.variances.residual;
    // The factor is lower triangular: (1, t) Lambda = (l11 + l21 t, l22 t).
    let of_pair = |i: usize, j: usize| {
        let (a, b) = (sizes.time[i], sizes.time[j]);
        let lines = (l11 + l21 * a) * (l11 + l21 * b) + l22 * l22 * a * b;
        let specimen = if sizes.specimen[i] == sizes.specimen[j] { lines } else { 0.0 };
        let tank = if sizes.tank[i] == sizes.tank[j] { lu * lu } else { 0.0 };
        s2 * (specimen + tank + if i == j { 1.0 } else { 0.0 })
    };
    let variance: Vec<Vec<f64>> = (0..n).map(|i| (0..n).map(|j| of_pair(i, j)).collect()).collect();
    let factor = crate::numeric::Cholesky::of_rows(&variance).expect("positive definite");
    let columns = [vec![1.0; n], sizes.time.clone()];
    let dot = |a: &[f64], b: &[f64]| -> f64 { a.iter().zip(b).map(|(a, b)| a * b).sum() };
    let normal: Vec<Vec<f64>> =
        columns.iter().map(|a| columns.iter().map(|b| dot(a, &factor.solve(b))).collect()).collect();
    let fixed = crate::numeric::Cholesky::of_rows(&normal).expect("positive definite");
    let right: Vec<f64> = columns.iter().map(|a| dot(a, &factor.solve(&sizes.y))).collect();
    let b = fixed.solve(&right);
    let rest: Vec<f64> = (0..n).map(|i| sizes.y[i] - b[0] - b[1] * sizes.time[i]).collect();
    let want = factor.ln_determinant()
        + fixed.ln_determinant()
        + factor.quadratic(&rest)
        + (n as f64 - 2.0) * (2.0 * std::f64::consts::PI).ln();
    assert!((model.criterion - want).abs() < 1e-8 * want.abs(), "{} is not {want}", model.criterion);
    assert!((model.coefficients[1] - b[1]).abs() < 1e-10);
    let inverse = fixed.inverse();
    assert!((model.covariance[1][0] - inverse[1][0]).abs() < 1e-10 * inverse[1][1].sqrt());
}

#[test]
fn what_cannot_be_fitted_says_why() {
    let code = |y: &[f64], columns: &[Covariate], time: &[f64], specimen: &[u32]| {
        mixed_model(&MixedInput { y, fixed: columns, time, specimen, tank: None }).map(|_| ()).map_err(|r| r.code)
    };
    let one = [column("all", &[1.0; 4])];
    let (y, t) = ([1.0, 2.0, 3.0, 4.5], [0.0, 1.0, 0.0, 1.0]);
    assert_eq!(code(&y, &one, &t, &[1; 4]), Err(RefusalCode::TooFewSpecimens));
    assert_eq!(code(&y, &one, &t[..3], &[1, 1, 2, 2]), Err(RefusalCode::InvalidInput));
    assert_eq!(code(&[1.0, f64::NAN, 3.0, 4.0], &one, &t, &[1, 1, 2, 2]), Err(RefusalCode::InvalidInput));
    let twice = [column("all", &[1.0; 4]), column("again", &[2.0; 4])];
    assert_eq!(code(&y, &twice, &t, &[1, 1, 2, 2]), Err(RefusalCode::Singular));
    // Points on lines without any error: there is no residual to compare with.
    assert_eq!(
        code(&[0.0, 1.0, 0.0, 1.0], &[column("all", &[1.0; 4]), column("t", &t)], &t, &[1, 1, 2, 2]),
        Err(RefusalCode::NotConverged)
    );
}

#[test]
fn enough_is_counted() {
    let days = [0.0, 30.0, 60.0];
    let short = [0.0, 30.0, 59.0];
    let of = |n: usize, days: &'static [f64], tanks: usize| {
        enough_sizes(std::iter::repeat_n(days, n), tanks).map_err(|refused| (refused.code, refused.have))
    };
    let (days, short): (&'static [f64], &'static [f64]) = (Box::leak(Box::new(days)), Box::leak(Box::new(short)));
    assert_eq!(of(12, days, 4), Ok(()));
    assert_eq!(of(11, days, 4), Err((RefusalCode::TooFewSpecimens, Some(11.0))));
    assert_eq!(of(12, short, 4), Err((RefusalCode::TooFewSpecimens, Some(0.0))));
    assert_eq!(of(12, days, 3), Err((RefusalCode::TooFewTanks, Some(3.0))));
}
