//! Tail areas and quantiles of the normal, chi-squared, Student and beta distributions.
//!
//! Small tails are computed as such, never as one minus the other side, so that p = 1e-12 keeps its digits.

use statrs::function::{beta, erf, gamma};

use super::root::brent;

/// Both tails of the standard normal beyond `|z|`.
pub fn normal_two_sided(z: f64) -> f64 {
    // The error function at hand is good to 11 digits only; the incomplete gamma function to 14.
    chi_squared_upper(z * z, 1.0)
}

/// The standard normal quantile of `p`, for `0 < p < 1`; infinite at the ends.
pub fn normal_quantile(p: f64) -> f64 {
    if p > 0.5 {
        return -normal_quantile(1.0 - p);
    }
    let mut z = -std::f64::consts::SQRT_2 * erf::erfc_inv(2.0 * p);
    if z.is_finite() {
        // One Newton step on the lower tail restores the last digits.
        let density = (-0.5 * z * z).exp() / (2.0 * std::f64::consts::PI).sqrt();
        let tail = 0.5 * normal_two_sided(z);
        if density > 0.0 {
            z -= (tail - p) / density;
        }
    }
    z
}

/// The `z` with which two-sided limits of this level are built (0.95: 1.959963984540054).
pub fn normal_multiplier(level: f64) -> f64 {
    -normal_quantile(0.5 * (1.0 - level))
}

/// Upper tail of chi-squared beyond `x`; 1 for `x <= 0`, and `NaN` only for `NaN`.
pub fn chi_squared_upper(x: f64, df: f64) -> f64 {
    if x <= 0.0 {
        return 1.0;
    }
    if x == f64::INFINITY {
        return 0.0;
    }
    gamma::checked_gamma_ur(0.5 * df, 0.5 * x).unwrap_or(f64::NAN)
}

/// Lower tail of chi-squared up to `x`.
pub fn chi_squared_lower(x: f64, df: f64) -> f64 {
    if x <= 0.0 {
        return 0.0;
    }
    if x == f64::INFINITY {
        return 1.0;
    }
    gamma::checked_gamma_lr(0.5 * df, 0.5 * x).unwrap_or(f64::NAN)
}

/// The chi-squared quantile of `p`, `0 <= p < 1`, `df > 0`; `None` outside.
pub fn chi_squared_quantile(p: f64, df: f64) -> Option<f64> {
    if !(0.0..1.0).contains(&p) || df <= 0.0 {
        return None;
    }
    if p == 0.0 {
        return Some(0.0);
    }
    let upper = 1.0 - p;
    let distance = |x: f64| {
        if p <= 0.5 { chi_squared_lower(x, df) - p } else { upper - chi_squared_upper(x, df) }
    };
    let mut high = df.max(1.0);
    while distance(high) < 0.0 {
        high *= 2.0;
        if !high.is_finite() {
            return None;
        }
    }
    let mut low = high;
    while distance(low) >= 0.0 {
        low *= 0.5;
        if low < f64::MIN_POSITIVE {
            return Some(0.0);
        }
    }
    brent(distance, low, high, 0.0)
}

/// Both tails of Student's t beyond `|t|`.
pub fn student_two_sided(t: f64, df: f64) -> f64 {
    if t == 0.0 {
        return 1.0;
    }
    if t.is_infinite() {
        return 0.0;
    }
    let square = t * t;
    if square > df {
        beta::checked_beta_reg(0.5 * df, 0.5, df / (df + square)).unwrap_or(f64::NAN)
    } else {
        // Near the middle the share of t itself is the small number.
        1.0 - beta::checked_beta_reg(0.5, 0.5 * df, square / (df + square)).unwrap_or(f64::NAN)
    }
}

/// The `t` with which two-sided limits of this level are built; `None` unless `df > 0` and `0 < level < 1`.
pub fn student_multiplier(level: f64, df: f64) -> Option<f64> {
    if df <= 0.0 || level <= 0.0 || level >= 1.0 {
        return None;
    }
    let outside = 1.0 - level;
    let mut high = 2.0;
    while student_two_sided(high, df) > outside {
        high *= 2.0;
        if !high.is_finite() {
            return None;
        }
    }
    brent(|t| outside - student_two_sided(t, df), 0.0, high, 0.0)
}

/// The quantile of the beta distribution of `p`; `None` unless `0 <= p <= 1` and both shapes are positive.
pub fn beta_quantile(p: f64, a: f64, b: f64) -> Option<f64> {
    if !(0.0..=1.0).contains(&p) || a <= 0.0 || b <= 0.0 {
        return None;
    }
    brent(|x| beta::checked_beta_reg(a, b, x).unwrap_or(f64::NAN) - p, 0.0, 1.0, 0.0)
}

/// Two-sided p of `successes` in `trials` at chance `share`: the sum of all point probabilities that are not
/// larger than the observed one (times 1 + 1e-7 against rounding).
pub fn binomial_two_sided(successes: u64, trials: u64, share: f64) -> f64 {
    if share <= 0.0 || share >= 1.0 {
        return if (share <= 0.0 && successes == 0) || (share >= 1.0 && successes == trials) { 1.0 } else { 0.0 };
    }
    let whole = gamma::ln_gamma(trials as f64 + 1.0);
    let point = |k: u64| {
        let (k, rest) = (k as f64, (trials - k) as f64);
        (whole - gamma::ln_gamma(k + 1.0) - gamma::ln_gamma(rest + 1.0) + k * share.ln() + rest * (-share).ln_1p())
            .exp()
    };
    let observed = point(successes.min(trials)) * (1.0 + 1e-7);
    let mut total = super::Sum::default();
    for k in 0..=trials {
        let chance = point(k);
        if chance <= observed {
            total.add(chance);
        }
    }
    total.value().min(1.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn close(got: f64, want: f64, relative: f64) {
        assert!((got - want).abs() <= relative * want.abs(), "{got} is not {want}");
    }

    #[test]
    fn chi_squared_of_two_degrees_is_an_exponential_down_to_tiny_tails() {
        for x in [0.1, 1.0, 10.0, 55.262_042_231_857_1, 600.0] {
            close(chi_squared_upper(x, 2.0), (-0.5 * x).exp(), 1e-12);
        }
        // x = 2 ln 1e12 has the tail 1e-12 exactly.
        close(chi_squared_upper(24.0 * 10f64.ln(), 2.0), 1e-12, 1e-12);
        // Four degrees: exp(-x/2) (1 + x/2).
        close(chi_squared_upper(60.0, 4.0), (-30f64).exp() * 31.0, 1e-12);
    }

    #[test]
    fn normal_tails_are_those_of_the_error_function() {
        // erfc(1), erfc(2) and erfc(5) as the C library's `erfc` gives them.
        for (x, erfc) in
            [(1.0, 0.157_299_207_050_285_13), (2.0, 0.004_677_734_981_047_266), (5.0, 1.537_459_794_428_035e-12)]
        {
            close(normal_two_sided(x * std::f64::consts::SQRT_2), erfc, 1e-13);
        }
    }

    #[test]
    fn student_of_one_and_two_degrees_has_closed_tails() {
        for t in [0.01f64, 0.5, 1.0, 3.0, 50.0, 1e6] {
            close(student_two_sided(t, 1.0), 2.0 / std::f64::consts::PI * (1.0 / t).atan(), 1e-12);
            let root = (2.0 + t * t).sqrt();
            close(student_two_sided(t, 2.0), 2.0 / (root * (root + t)), 1e-12);
        }
    }

    #[test]
    fn quantiles_undo_tails() {
        close(normal_multiplier(0.95), 1.959_963_984_540_054, 1e-15);
        for p in [1e-12, 0.025, 0.3, 0.5, 0.8, 0.975] {
            let z = normal_quantile(p);
            let tail = 0.5 * normal_two_sided(z);
            close(if z < 0.0 { tail } else { 1.0 - tail }, p, 1e-12);
            for df in [1.0, 2.0, 7.0, 50.0, 4000.0] {
                let x = chi_squared_quantile(p, df).unwrap_or(f64::NAN);
                close(chi_squared_lower(x, df), p, 1e-12);
            }
        }
        close(chi_squared_quantile(0.975, 2.0).unwrap_or(f64::NAN), -2.0 * 0.025f64.ln(), 1e-13);
        close(student_multiplier(0.95, 1.0).unwrap_or(f64::NAN), (0.475 * std::f64::consts::PI).tan(), 1e-12);
    }

    #[test]
    fn beta_quantiles_with_a_closed_form() {
        // Beta(a, 1) has F(x) = x^a, and Beta(1, b) has 1 - F(x) = (1 - x)^b.
        close(beta_quantile(0.025, 12.0, 1.0).unwrap_or(f64::NAN), 0.025f64.powf(1.0 / 12.0), 1e-13);
        close(beta_quantile(0.975, 1.0, 9.0).unwrap_or(f64::NAN), 1.0 - 0.025f64.powf(1.0 / 9.0), 1e-13);
    }

    #[test]
    fn binomial_p_by_hand() {
        // 1 of 4 at 1/2: (1 + 4 + 4 + 1) / 16.
        close(binomial_two_sided(1, 4, 0.5), 10.0 / 16.0, 1e-13);
        assert_eq!(binomial_two_sided(0, 4, 0.0), 1.0);
    }

    #[test]
    fn arguments_without_meaning_have_no_quantile() {
        assert_eq!(chi_squared_quantile(1.0, 2.0), None);
        assert_eq!(student_multiplier(0.95, 0.0), None);
        assert_eq!(beta_quantile(0.5, 0.0, 1.0), None);
    }
}
