use super::*;

const METHODS: [Between; 4] = [Between::Common, Between::DerSimonianLaird, Between::Reml, Between::PauleMandel];

fn close(got: f64, want: f64) {
    assert!((got - want).abs() <= 1e-10 * want.abs().max(1.0), "{got} is not {want}");
}

#[test]
fn equal_variances_by_hand() -> Result<(), Refusal> {
    // y = 0, 2, 4 with v = 1: the sample variance is 4, so tau² = 4 - 1 = 3 by every method.
    for between in &METHODS[1..] {
        let pooled = pool(&[0.0, 2.0, 4.0], &[1.0; 3], *between, 0.95)?;
        close(pooled.tau_squared, 3.0);
        close(pooled.mean, 2.0);
        close(pooled.normal.std_error, (4.0f64 / 3.0).sqrt());
        // The same from the spread seen; t is wider than the normal.
        close(pooled.knapp_hartung.std_error, (4.0f64 / 3.0).sqrt());
        assert_eq!(pooled.published(), pooled.knapp_hartung);
        close(pooled.i_squared, 0.75);
        close(pooled.h_squared, 4.0);
        close(pooled.q, 8.0);
        close(pooled.q_p, (-4f64).exp());
        // Three quarters of the distance are kept: 2 - 1.5, 2, 2 + 1.5.
        close(pooled.shrunken[0].estimate, 0.5);
        close(pooled.shrunken[0].std_error, (0.75f64 + 0.0625 * 4.0 / 3.0).sqrt());
        // t with one degree of freedom at 95 % is tan(0.475 pi).
        let half = (0.475 * std::f64::consts::PI).tan() * (3.0f64 + 4.0 / 3.0).sqrt();
        close(pooled.prediction().map_or(0.0, |p| p.1), 2.0 + half);
        assert!(pooled.tau_badly_known() && !pooled.no_difference_seen());
    }
    Ok(())
}

#[test]
fn units_closer_than_their_errors_are_one() -> Result<(), Refusal> {
    for between in METHODS {
        let pooled = pool(&[1.0, 1.1, 0.9, 1.0], &[1.0, 2.0, 1.0, 0.5], between, 0.95)?;
        assert_eq!(pooled.tau_squared, 0.0);
        assert!(pooled.no_difference_seen());
        assert!(pooled.shrunken.iter().all(|unit| unit.estimate == pooled.mean));
        // The spread seen would be far too sure of itself.
        assert!(pooled.knapp_hartung.std_error < pooled.normal.std_error);
        assert_eq!(pooled.published(), pooled.normal);
    }
    Ok(())
}

#[test]
fn shifting_and_scaling_the_estimates_does_the_same_to_all() -> Result<(), Refusal> {
    let (y, v) = ([0.3, -0.7, 1.9, 0.2, -2.1], [0.2, 0.4, 0.1, 0.3, 0.9]);
    let (scaled_y, scaled_v) = (y.map(|y| 5.0 - 3.0 * y), v.map(|v| 9.0 * v));
    for between in METHODS {
        let (a, b) = (pool(&y, &v, between, 0.9)?, pool(&scaled_y, &scaled_v, between, 0.9)?);
        let near = |got: f64, want: f64| assert!((got - want).abs() < 1e-7, "{between:?}: {got} is not {want}");
        near(b.tau_squared, 9.0 * a.tau_squared);
        near(b.mean, 5.0 - 3.0 * a.mean);
        near(b.knapp_hartung.lower, 5.0 - 3.0 * a.knapp_hartung.upper);
        near(b.i_squared, a.i_squared);
        for (a, b) in a.shrunken.iter().zip(&b.shrunken) {
            near(b.estimate, 5.0 - 3.0 * a.estimate);
            near(b.std_error, 3.0 * a.std_error);
        }
    }
    Ok(())
}

#[test]
fn the_restricted_likelihood_is_flat_at_its_estimate() -> Result<(), Refusal> {
    let (y, v) = ([0.3, -0.7, 1.9, 0.2, -2.1, 0.4], [0.2, 0.4, 0.1, 0.3, 0.9, 0.05]);
    let found = pool(&y, &v, Between::Reml, 0.95)?.tau_squared;
    let likelihood = |tau_squared: f64| {
        let units = Units { y: &y, v: &v };
        let own = units.at(tau_squared);
        let logs: f64 = v.iter().map(|v| (v + tau_squared).ln()).sum();
        -0.5 * (logs + own.sum.ln() + units.squares(tau_squared, own.mean))
    };
    let there = likelihood(found);
    for away in [0.9, 0.99, 1.01, 1.1] {
        assert!(likelihood(away * found) < there);
    }
    Ok(())
}

#[test]
fn what_is_not_pooled_says_why() {
    let code = |y: &[f64], v: &[f64]| pool(y, v, Between::Reml, 0.95).map(|_| ()).map_err(|refused| refused.code);
    assert_eq!(code(&[1.0, 2.0], &[1.0, 1.0]), Err(RefusalCode::TooFewClusters));
    assert_eq!(code(&[1.0, 2.0, 3.0], &[1.0, 1.0]), Err(RefusalCode::InvalidInput));
    assert_eq!(code(&[1.0, 2.0, f64::NAN], &[1.0; 3]), Err(RefusalCode::InvalidInput));
    assert_eq!(code(&[1.0, 2.0, 3.0], &[1.0, 0.0, 1.0]), Err(RefusalCode::InvalidInput));
}
