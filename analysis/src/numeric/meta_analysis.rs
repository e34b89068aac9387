//! Partial pooling: estimates of several units (taxa) with their variances, one mean, and each unit drawn towards it.
//!
//! `y_i = mu + u_i + e_i`, `u_i` of variance tau² between units, `e_i` of the known variance `v_i` within. With weights
//! `w_i = 1/(v_i + tau²)`: `mu = sum w y / sum w`, `std_error = (sum w)^-1/2`. Methods differ in tau². A few units say
//! little of tau²: limits then come from Student's t and the spread seen (Knapp & Hartung), never narrower than the
//! normal ones.
//!
//! DerSimonian & Laird 1986, Control Clin Trials 7: 177–188; Paule & Mandel 1982, J Res Natl Bur Stand 87: 377–385;
//! Viechtbauer 2005, J Educ Behav Stat 30: 261–293; Knapp & Hartung 2003, Stat Med 22: 2693–2710; Röver, Knapp & Friede
//! 2015, BMC Med Res Methodol 15: 99; Raudenbush & Bryk 1985, J Educ Stat 10: 75–98; Higgins, Thompson & Spiegelhalter
//! 2009, J R Stat Soc A 172: 137–159 (all from memory).

use super::neumaier;
use super::root::brent;
use super::tail::{chi_squared_upper, normal_multiplier, normal_two_sided, student_multiplier, student_two_sided};
use crate::refusal::{Refusal, RefusalCode};

/// Fewest units that are pooled.
pub const UNITS: usize = 3;
/// Below this many units tau² is badly known.
pub const UNITS_FOR_TAU: usize = 5;
/// Most steps of the iteration for the restricted likelihood.
const STEPS: usize = 1000;
/// Relative change of tau² at which it stops.
const TOLERANCE: f64 = 1e-10;

/// How the variance between units is found.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Between {
    /// None: one common effect.
    Common,
    /// DerSimonian and Laird's moments.
    DerSimonianLaird,
    /// Restricted likelihood.
    Reml,
    /// Paule and Mandel's: the weighted sum of squares is as large as expected.
    PauleMandel,
}

/// Limits of a mean.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MeanLimits {
    /// Standard error.
    pub std_error: f64,
    /// Lower limit.
    pub lower: f64,
    /// Upper limit.
    pub upper: f64,
    /// Two-sided p of a mean of 0.
    pub p: f64,
}

/// A unit drawn towards the mean.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shrunken {
    /// The estimate.
    pub estimate: f64,
    /// Its standard error, tau² taken as known.
    pub std_error: f64,
}

/// Several units pooled.
#[derive(Debug, Clone, PartialEq)]
pub struct Pooled {
    /// How tau² was found: DerSimonian and Laird's where the restricted likelihood did not settle.
    pub between: Between,
    /// Number of units.
    pub units: usize,
    /// Variance between units.
    pub tau_squared: f64,
    /// The mean.
    pub mean: f64,
    /// Normal limits of the mean.
    pub normal: MeanLimits,
    /// Knapp and Hartung's, t with one degree of freedom less than there are units.
    pub knapp_hartung: MeanLimits,
    /// Cochran's Q, with weights of tau² = 0.
    pub q: f64,
    /// Its upper tail, chi-squared with one degree of freedom less than there are units.
    pub q_p: f64,
    /// Share of the spread that lies between units, 0 to 1.
    pub i_squared: f64,
    /// Spread over the spread within units; 1 if there is none between.
    pub h_squared: f64,
    /// Units in the order given.
    pub shrunken: Vec<Shrunken>,
    level: f64,
}

/// Pools estimates `y` with variances `v`.
///
/// # Errors
/// `InvalidInput` for columns of unlike length, a value that is not finite, a variance that is not above 0 or a level
/// outside 0 to 1; `TooFewClusters` below three units: list them; `NotConverged` if Paule and Mandel's equation has no
/// root in reach.
pub fn pool(y: &[f64], v: &[f64], between: Between, level: f64) -> Result<Pooled, Refusal> {
    check(y, v, level)?;
    let units = Units { y, v };
    let k = y.len() as f64;
    let common = units.at(0.0);
    let q = units.squares(0.0, common.mean);
    let (tau_squared, between) = match between {
        Between::Common => (0.0, between),
        Between::DerSimonianLaird => (units.moments(q), between),
        Between::PauleMandel => (units.paule_mandel(q)?, between),
        Between::Reml => match units.restricted(units.moments(q)) {
            Some(tau_squared) => (tau_squared, between),
            None => (units.moments(q), Between::DerSimonianLaird),
        },
    };
    let own = units.at(tau_squared);
    let std_error = own.sum.recip().sqrt();
    let z = normal_multiplier(level);
    let normal = limits(own.mean, std_error, z, normal_two_sided(own.mean / std_error));
    let spread = (units.squares(tau_squared, own.mean) / (k - 1.0) / own.sum).sqrt();
    let t = student_multiplier(level, k - 1.0)
        .ok_or_else(|| Refusal::plain(RefusalCode::NotConverged, "the multiplier of the limits was not found"))?;
    let knapp_hartung = limits(own.mean, spread, t, student_two_sided(own.mean / spread, k - 1.0));
    // The variance of a typical unit, of which I² is the rest.
    let typical = (k - 1.0) * common.sum / (common.sum * common.sum - common.squares);
    let (i_squared, h_squared) = match between {
        Between::Common => (((q - (k - 1.0)) / q).max(0.0), q / (k - 1.0)),
        _ => (tau_squared / (tau_squared + typical), tau_squared / typical + 1.0),
    };
    let shrunken = y
        .iter()
        .zip(v)
        .map(|(y, v)| {
            let kept = tau_squared / (tau_squared + v);
            let lost = 1.0 - kept;
            Shrunken { estimate: kept * y + lost * own.mean, std_error: (kept * v + lost * lost / own.sum).sqrt() }
        })
        .collect();
    Ok(Pooled {
        between,
        units: y.len(),
        tau_squared,
        mean: own.mean,
        normal,
        knapp_hartung,
        q,
        q_p: chi_squared_upper(q, k - 1.0),
        i_squared,
        h_squared,
        shrunken,
        level,
    })
}

impl Pooled {
    /// The limits to publish: Knapp and Hartung's, or the normal ones where those are wider.
    pub fn published(&self) -> MeanLimits {
        let width = |limits: &MeanLimits| limits.upper - limits.lower;
        if width(&self.knapp_hartung) >= width(&self.normal) { self.knapp_hartung } else { self.normal }
    }

    /// Where a further unit is to be expected: `mean ± t sqrt(tau² + std_error²)`, t with two degrees of freedom less than
    /// there are units.
    pub fn prediction(&self) -> Option<(f64, f64)> {
        student_multiplier(self.level, self.units as f64 - 2.0).map(|t| self.prediction_with(t))
    }

    /// The same with another multiplier; the normal one is what other software prints.
    pub fn prediction_with(&self, multiplier: f64) -> (f64, f64) {
        let half = multiplier * (self.tau_squared + self.normal.std_error.powi(2)).sqrt();
        (self.mean - half, self.mean + half)
    }

    /// Whether there are too few units to know tau² well.
    pub fn tau_badly_known(&self) -> bool {
        self.units < UNITS_FOR_TAU
    }

    /// Whether no difference between units could be seen: all shrunken estimates are the mean.
    pub fn no_difference_seen(&self) -> bool {
        self.tau_squared == 0.0
    }
}

fn limits(mean: f64, std_error: f64, multiplier: f64, p: f64) -> MeanLimits {
    MeanLimits { std_error, lower: mean - multiplier * std_error, upper: mean + multiplier * std_error, p }
}

fn check(y: &[f64], v: &[f64], level: f64) -> Result<(), Refusal> {
    let invalid = |message: String| Err(Refusal::plain(RefusalCode::InvalidInput, message));
    if y.len() != v.len() {
        return invalid(format!("{} estimates but {} variances", y.len(), v.len()));
    }
    let sound = |(y, v): (&f64, &f64)| y.is_finite() && v.is_finite() && *v > 0.0;
    if let Some(at) = y.iter().zip(v).position(|unit| !sound(unit)) {
        return invalid(format!("unit {}: estimate {} with variance {}", at + 1, y[at], v[at]));
    }
    if level.is_nan() || level <= 0.0 || level >= 1.0 {
        return invalid(format!("the level of the limits must lie between 0 and 1, not {level}"));
    }
    if y.len() < UNITS {
        return Err(Refusal::counted(
            RefusalCode::TooFewClusters,
            y.len() as f64,
            UNITS as f64,
            format!("pooling needs {UNITS} estimates; these are to be listed one by one"),
        ));
    }
    Ok(())
}

struct Units<'a> {
    y: &'a [f64],
    v: &'a [f64],
}

/// Sums over the units at one tau².
struct At {
    mean: f64,
    /// Of the weights.
    sum: f64,
    /// Of their squares.
    squares: f64,
}

impl Units<'_> {
    fn weights(&self, tau_squared: f64) -> impl Iterator<Item = f64> + '_ {
        self.v.iter().map(move |v| 1.0 / (v + tau_squared))
    }

    fn at(&self, tau_squared: f64) -> At {
        let sum = neumaier(self.weights(tau_squared));
        let squares = neumaier(self.weights(tau_squared).map(|w| w * w));
        let mean = neumaier(self.weights(tau_squared).zip(self.y).map(|(w, y)| w * y)) / sum;
        At { mean, sum, squares }
    }

    /// Weighted squared distances from a mean.
    fn squares(&self, tau_squared: f64, mean: f64) -> f64 {
        neumaier(self.weights(tau_squared).zip(self.y).map(|(w, y)| w * (y - mean).powi(2)))
    }

    fn moments(&self, q: f64) -> f64 {
        let common = self.at(0.0);
        ((q - (self.y.len() - 1) as f64) / (common.sum - common.squares / common.sum)).max(0.0)
    }

    fn paule_mandel(&self, q: f64) -> Result<f64, Refusal> {
        let expected = (self.y.len() - 1) as f64;
        let excess = |tau_squared: f64| self.squares(tau_squared, self.at(tau_squared).mean) - expected;
        if q <= expected {
            return Ok(0.0);
        }
        self.root_above(excess, self.moments(q))
            .ok_or_else(|| Refusal::plain(RefusalCode::NotConverged, "the variance between units was not found"))
    }

    /// The tau² above 0 at which a function that is positive at 0 vanishes, looked for from a guess upwards.
    fn root_above(&self, f: impl Fn(f64) -> f64, guess: f64) -> Option<f64> {
        let mut high = guess.max(self.v.iter().copied().fold(f64::INFINITY, f64::min));
        while f(high) > 0.0 {
            high *= 2.0;
            if !high.is_finite() {
                return None;
            }
        }
        brent(f, 0.0, high, 0.0)
    }

    /// Twice the derivative of the restricted log-likelihood by tau².
    fn score(&self, tau_squared: f64) -> f64 {
        let own = self.at(tau_squared);
        let far = neumaier(self.weights(tau_squared).zip(self.y).map(|(w, y)| (w * (y - own.mean)).powi(2)));
        far - own.sum + own.squares / own.sum
    }

    /// tau² of greatest restricted likelihood, from a start; `None` if the iteration does not settle.
    fn restricted(&self, start: f64) -> Option<f64> {
        let mut tau_squared = start;
        let mut settled = false;
        for _ in 0..STEPS {
            let own = self.at(tau_squared);
            let far = neumaier(
                self.weights(tau_squared)
                    .zip(self.y)
                    .zip(self.v)
                    .map(|((w, y), v)| w * w * ((y - own.mean).powi(2) - v)),
            );
            let next = ((far + own.squares / own.sum) / own.squares).max(0.0);
            settled = (next - tau_squared).abs() <= TOLERANCE * (next + 1e-8);
            tau_squared = next;
            if settled {
                break;
            }
        }
        if !settled {
            return None;
        }
        if tau_squared == 0.0 || self.score(0.0) <= 0.0 && tau_squared < 1e-12 {
            return Some(0.0);
        }
        // The iteration creeps where the likelihood is flat: the score's own root, close by.
        let (low, high) = (tau_squared * (1.0 - 1e-3), tau_squared * (1.0 + 1e-3));
        Some(brent(|t| self.score(t), low, high, 0.0).unwrap_or(tau_squared))
    }
}

#[cfg(test)]
mod tests;
