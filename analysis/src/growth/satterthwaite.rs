//! How sure a fixed effect of a mixed model is: degrees of freedom after Satterthwaite.
//!
//! The variance `f = l' C l` of a contrast is itself estimated. With its gradient `g` by the variance parameters and their
//! covariance `A = 2 H^-1`, `H` the second derivatives of `-2 ln L_R`, `df = 2 f² / (g' A g)`: for a comparison between
//! tanks near the number of tanks, not of sizes.
//!
//! Satterthwaite 1946, Biometrics Bulletin 2: 110–114; Kuznetsova, Brockhoff & Christensen 2017, J Stat Softw 82(13).

use super::mixed_model::{Evaluated, MixedModel, Sums, Terms, Theta};
use crate::numeric::derivatives::{gradient, hessian};
use crate::numeric::matrix::Cholesky;
use crate::numeric::tail::{student_multiplier, student_two_sided};
use crate::refusal::{Refusal, RefusalCode};

/// A weighted sum of fixed effects.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Contrast {
    /// The sum.
    pub estimate: f64,
    /// Its standard error.
    pub std_error: f64,
    /// Degrees of freedom.
    pub df: f64,
    /// Whether `df` is the number of tanks (of specimens, without tanks) less that of the effects between them, as the
    /// criterion is too flat for Satterthwaite's.
    pub df_counted: bool,
    /// Lower limit by Student's t.
    pub lower: f64,
    /// Upper limit.
    pub upper: f64,
    /// Two-sided p of a sum of 0.
    pub p: f64,
}

/// The contrast with these weights, one per fixed effect, and limits of the given level.
///
/// # Errors
/// `InvalidInput` for another number of weights, none but 0, or a level outside 0 to 1; `NotConverged` if the errors cannot
/// be worked out; `TooFewTanks` if no degree of freedom is left.
pub fn contrast(model: &MixedModel, weights: &[f64], level: f64) -> Result<Contrast, Refusal> {
    let sound = weights.len() == model.coefficients.len()
        && weights.iter().all(|weight| weight.is_finite())
        && weights.iter().any(|weight| *weight != 0.0);
    if !sound || level.is_nan() || level <= 0.0 || level >= 1.0 {
        return Err(Refusal::plain(
            RefusalCode::InvalidInput,
            "a contrast needs one weight per effect, not all 0, and a level between 0 and 1",
        ));
    }
    let estimate: f64 = model.coefficients.iter().zip(weights).map(|(b, weight)| b * weight).sum();
    let (variance, df) = model.variance_and_df(weights)?;
    let counted = model.counted_df();
    let (df, df_counted) = df.map_or((counted, true), |df| (df, false));
    let std_error = variance.sqrt();
    let Some(t) = student_multiplier(level, df) else {
        return Err(Refusal::counted(
            RefusalCode::TooFewTanks,
            df.max(0.0),
            1.0,
            "no degree of freedom is left for the limits",
        ));
    };
    Ok(Contrast {
        estimate,
        std_error,
        df,
        df_counted,
        lower: estimate - t * std_error,
        upper: estimate + t * std_error,
        p: student_two_sided(estimate / std_error, df),
    })
}

impl MixedModel {
    /// Tanks (specimens, without tanks) less the effects between them.
    fn counted_df(&self) -> f64 {
        self.tanks.unwrap_or(self.specimens) as f64 - self.group_columns as f64
    }

    /// The variance of a contrast and its degrees of freedom; `None` where the second derivatives are not those of a
    /// least value.
    fn variance_and_df(&self, weights: &[f64]) -> Result<(f64, Option<f64>), Refusal> {
        let scale = self.sums.time_scale;
        let [intercept, joint, slope, tank] = self.theta;
        let here = Theta { intercept, joint: joint * scale, slope: slope * scale, tank };
        let at = parameters(self.terms, &here, self.residual_variance);
        let variance = |x: &[f64]| {
            split(&self.sums, self.terms, x)
                .map_or(f64::NAN, |(ln_residual, at)| ln_residual.exp() * self.sums.spread(&at, weights))
        };
        let f = variance(&at);
        if f.is_nan() || f <= 0.0 {
            return Err(Refusal::plain(RefusalCode::NotConverged, "the error of an effect was not found"));
        }
        let df = self.curvature.as_ref().and_then(|curvature| {
            let df = f * f / curvature.quadratic(&gradient(variance, &at));
            df.is_finite().then_some(df)
        });
        Ok((f, df))
    }
}

/// The variance parameters: the free factors and the logarithm of the residual variance.
fn parameters(terms: Terms, theta: &Theta, residual_variance: f64) -> Vec<f64> {
    let mut at = terms.of(theta);
    at.push(residual_variance.ln());
    at
}

fn split(sums: &Sums, terms: Terms, x: &[f64]) -> Option<(f64, Evaluated)> {
    let (ln_residual, free) = x.split_last()?;
    Some((*ln_residual, sums.at(&terms.theta(free))?))
}

/// Second derivatives of `-2 ln L_R` by the variance parameters at a fit; `None` if they are not those of a least value.
pub(super) fn curvature(sums: &Sums, terms: Terms, theta: &Theta, residual_variance: f64) -> Option<Cholesky> {
    let freedom = (sums.rows - sums.p) as f64;
    let criterion = |x: &[f64]| {
        split(sums, terms, x).map_or(f64::NAN, |(ln_residual, at)| {
            at.ln_variance + at.ln_fixed + freedom * ln_residual + at.squares / ln_residual.exp()
        })
    };
    Cholesky::of_rows(&hessian(criterion, &parameters(terms, theta, residual_variance))).ok()
}

#[cfg(test)]
mod tests {
    use super::super::mixed_model::{MixedInput, mixed_model};
    use super::*;
    use crate::survival::Covariate;

    #[test]
    fn a_balanced_comparison_of_tanks_has_the_freedom_of_the_tanks() -> Result<(), Refusal> {
        // Eight tanks of three specimens, four sizes each, half the tanks of another kind: an analysis of variance of eight
        // tank means has six degrees of freedom.
        let (mut y, mut time, mut specimen, mut tank, mut kind) = (vec![], vec![], vec![], vec![], vec![]);
        let pattern = |a: u32, b: u32| f64::from((a * 7 + b * 5) % 11) / 11.0 - 0.45;
        for t in 0..8u32 {
            for s in 0..3u32 {
                for look in 0..4u32 {
                    let at = f64::from(look) - 1.5;
                    let own = 0.8 * pattern(t, 3) + 0.5 * pattern(3 * t + s, 1);
                    let slope = 0.1 + 0.1 * pattern(3 * t + s, 4);
                    y.push(3.0 + own + slope * at + 0.1 * pattern(12 * t + 4 * s, look * look + 2));
                    time.push(at);
                    specimen.push(3 * t + s);
                    tank.push(t);
                    kind.push(f64::from(t % 2));
                }
            }
        }
        let column = |name: &str, values: &[f64]| Covariate { name: name.into(), values: values.to_vec() };
        let fixed = [column("all", &vec![1.0; y.len()]), column("kind", &kind), column("time", &time)];
        let input = MixedInput { y: &y, fixed: &fixed, time: &time, specimen: &specimen, tank: Some(&tank) };
        let model = mixed_model(&input)?;
        assert!(model.dropped.is_empty(), "{:?} {:?}", model.dropped, model.theta);
        let kinds = contrast(&model, &[0.0, 1.0, 0.0], 0.95)?;
        assert!((kinds.df - 6.0).abs() < 0.02, "{kinds:?}");
        // The slopes' freedom is that of the specimens.
        let slope = contrast(&model, &[0.0, 0.0, 1.0], 0.95)?;
        assert!((slope.df - 23.0).abs() < 0.1, "{slope:?}");
        assert!(slope.lower < slope.estimate && slope.estimate < slope.upper);
        let code = |weights: &[f64]| contrast(&model, weights, 0.95).map(|_| ()).map_err(|refused| refused.code);
        assert_eq!(code(&[1.0, 0.0]), Err(RefusalCode::InvalidInput));
        assert_eq!(code(&[0.0; 3]), Err(RefusalCode::InvalidInput));
        Ok(())
    }
}
