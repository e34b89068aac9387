//! Growth of many specimens at once: a linear mixed model by restricted likelihood.
//!
//! `y_ij = x_ij' b + u_tank + b0_i + b1_i t_ij + e_ij`: `y` ln size, `t` time since the specimen's first size (months of
//! 30.4375 days), `(b0, b1)` a specimen's own start and slope with any variances and covariance, `u` a tank's own level,
//! `e` what is left. Specimens that die stop being measured: growth is to be read beside survival.
//!
//! The criterion is `-2 ln L_R = ln|V| + ln|X' V^-1 X| + r' V^-1 r + (n - p) ln 2 pi`, least over the relative factors
//! `theta` of the variances, the residual variance being found beside them. A variance that cannot be told from 0, or a
//! correlation that cannot be told from 1, makes a fit that says nothing of its errors: the terms are then dropped one by
//! one and named.
//!
//! Bates, Mächler, Bolker & Walker 2015, J Stat Softw 67(1); Patterson & Thompson 1971, Biometrika 58: 545–554 (from
//! memory).

use super::satterthwaite::curvature;
use crate::numeric::minimise::{Minimum, minimise};
use crate::numeric::{Cholesky, distinct};
use crate::refusal::{Refusal, RefusalCode};
use crate::survival::Covariate;

mod sums; // sums by specimen and tank, and the likelihood they make
mod terms; // which random terms there are

pub use terms::{Dropped, Variances};

pub(in crate::growth) use sums::{Evaluated, Sums};
pub(in crate::growth) use terms::Terms;

/// Specimens that a model of growth needs …
pub const SPECIMENS: usize = 12;
/// … each with at least this many sizes …
pub const SIZES: usize = 3;
/// … over at least this many days …
pub const SPAN_DAYS: f64 = 60.0;
/// … in at least this many tanks.
pub const TANKS: usize = 4;

/// A relative factor below this is 0.
const SINGULAR: f64 = 1e-4;

/// Squares below this share of a plain regression's are rounding.
const EXACT: f64 = 1e-10;

/// Sizes of many specimens, one value per size in every column.
#[derive(Debug, Clone, Copy)]
pub struct MixedInput<'a> {
    /// What is modelled, usually ln size.
    pub y: &'a [f64],
    /// Fixed effects, a column of ones for the intercept among them if there is to be one.
    pub fixed: &'a [Covariate],
    /// Time since the specimen's first size.
    pub time: &'a [f64],
    /// The specimen.
    pub specimen: &'a [u32],
    /// Its tank, that of the first size where it moved; `None` for a model without tanks.
    pub tank: Option<&'a [u32]>,
}

/// A fitted model.
#[derive(Debug, Clone, PartialEq)]
pub struct MixedModel {
    /// Fixed effects in the order of the columns.
    pub coefficients: Vec<f64>,
    /// Their covariance.
    pub covariance: Vec<Vec<f64>>,
    /// Variances of the random terms.
    pub variances: Variances,
    /// `-2 ln L_R` at the fit.
    pub criterion: f64,
    /// Relative factors at the fit, in the order intercept, joint, slope, tank; those of dropped terms are 0.
    pub theta: [f64; 4],
    /// Terms that could not be told from 0, in the order in which they were dropped.
    pub dropped: Vec<Dropped>,
    /// Sizes.
    pub sizes: usize,
    /// Specimens.
    pub specimens: usize,
    /// Tanks, if they were given.
    pub tanks: Option<usize>,
    /// Columns that do not change within any tank (any specimen, without tanks).
    pub(in crate::growth) group_columns: usize,
    pub(in crate::growth) terms: Terms,
    pub(in crate::growth) sums: Sums,
    pub(in crate::growth) residual_variance: f64,
    /// Second derivatives of the criterion by the variance parameters.
    pub(in crate::growth) curvature: Option<Cholesky>,
}

/// Relative factors, time in the sums' own unit: `Lambda = [[intercept, 0], [joint, slope]]`, and the tank's.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(in crate::growth) struct Theta {
    pub(in crate::growth) intercept: f64,
    pub(in crate::growth) joint: f64,
    pub(in crate::growth) slope: f64,
    pub(in crate::growth) tank: f64,
}

/// Whether there is enough for a model: the days of the sizes of each specimen, and the number of tanks.
///
/// # Errors
/// `TooFewSpecimens`, `TooFewTanks`.
pub fn enough_sizes<'a>(days: impl Iterator<Item = &'a [f64]>, tanks: usize) -> Result<(), Refusal> {
    let span = |days: &[f64]| {
        let ends = days.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), &day| (a.min(day), b.max(day)));
        ends.1 - ends.0
    };
    let have = days.filter(|days| days.len() >= SIZES && span(days) >= SPAN_DAYS).count();
    if have < SPECIMENS {
        return Err(Refusal::counted(
            RefusalCode::TooFewSpecimens,
            have as f64,
            SPECIMENS as f64,
            format!(
                "a model of growth needs {SPECIMENS} specimens with {SIZES} sizes over {SPAN_DAYS} days; {have} have them"
            ),
        ));
    }
    if tanks < TANKS {
        return Err(Refusal::counted(
            RefusalCode::TooFewTanks,
            tanks as f64,
            TANKS as f64,
            format!("a model of growth needs {TANKS} tanks; there are {tanks}"),
        ));
    }
    Ok(())
}

/// Fits the model.
///
/// # Errors
/// `InvalidInput` (columns of unlike length, a value that is not finite), `TooFewSpecimens` if there are no more sizes than
/// columns or only one specimen, `Singular` (a column that follows from the others; named), `NotConverged`.
pub fn mixed_model(input: &MixedInput) -> Result<MixedModel, Refusal> {
    check(input)?;
    let sums = Sums::new(input)?;
    let (mut terms, mut dropped) = (Terms::all(sums.tanks() > 1), Vec::new());
    if input.time.iter().all(|time| *time == 0.0) {
        // Slopes would be told apart from nothing.
        (terms, dropped) = (terms.without_slope(), vec![Dropped::SlopeCorrelation, Dropped::SpecimenSlope]);
    }
    let (theta, at) = loop {
        let theta = settle(&sums, terms)?;
        match terms.without_singular(&theta, SINGULAR) {
            Some((fewer, gone)) => {
                terms = fewer;
                dropped.push(gone);
            }
            None => {
                let at = sums.at(&theta).ok_or_else(not_settled)?;
                // Sizes without any error have no least criterion.
                if at.squares <= EXACT * sums.plain_squares() {
                    return Err(not_settled());
                }
                break (theta, at);
            }
        }
    };
    let freedom = (sums.rows - sums.p) as f64;
    let residual_variance = at.squares / freedom;
    let unit = |j: usize| -> Vec<f64> { (0..sums.p).map(|k| if j == k { 1.0 } else { 0.0 }).collect() };
    let spread = |contrast: &[f64]| residual_variance * sums.spread(&at, contrast);
    let own: Vec<f64> = (0..sums.p).map(|j| spread(&unit(j))).collect();
    let joint = |j: usize, k: usize| {
        let both: Vec<f64> = unit(j).iter().zip(unit(k)).map(|(a, b)| a + b).collect();
        0.5 * (spread(&both) - own[j] - own[k])
    };
    let entry = |j: usize, k: usize| if j == k { own[j] } else { joint(j.max(k), j.min(k)) };
    let covariance = (0..sums.p).map(|j| (0..sums.p).map(|k| entry(j, k)).collect()).collect();
    let scale = sums.time_scale;
    Ok(MixedModel {
        coefficients: at.coefficients.clone(),
        covariance,
        variances: terms.variances(&theta, residual_variance, scale),
        criterion: criterion(&sums, &at),
        theta: [theta.intercept, theta.joint / scale, theta.slope / scale, theta.tank],
        dropped,
        sizes: sums.rows,
        specimens: sums.specimens(),
        tanks: input.tank.map(|_| sums.tanks()),
        group_columns: group_columns(input),
        curvature: curvature(&sums, terms, &theta, residual_variance),
        terms,
        residual_variance,
        sums,
    })
}

/// `-2 ln L_R` at relative factors, the residual variance at its best.
fn criterion(sums: &Sums, at: &Evaluated) -> f64 {
    let freedom = (sums.rows - sums.p) as f64;
    let each = 2.0 * std::f64::consts::PI * at.squares / freedom;
    at.ln_variance + at.ln_fixed + freedom * (1.0 + each.ln())
}

/// The factors of least criterion with these terms, signs settled.
fn settle(sums: &Sums, terms: Terms) -> Result<Theta, Refusal> {
    let of = |free: &[f64]| {
        sums.at(&terms.theta(free)).filter(|at| at.squares > 0.0).map_or(f64::INFINITY, |at| criterion(sums, &at))
    };
    let singular = |found: &Minimum| terms.without_singular(&positive(terms.theta(&found.at)), SINGULAR).is_some();
    let mut found = minimise(of, &[terms.start(1.0)]).ok_or_else(not_settled)?;
    // A term is given up only if the search says so from other starts too.
    if singular(&found)
        && let Some(other) = minimise(of, &[terms.start(0.2), terms.start(4.0)])
        && other.value < found.value
    {
        found = other;
    }
    if !found.value.is_finite() {
        return Err(not_settled());
    }
    Ok(positive(terms.theta(&found.at)))
}

/// The same factors with the usual signs: the criterion does not change if a column of them changes sign.
fn positive(theta: Theta) -> Theta {
    let sign = if theta.intercept < 0.0 { -1.0 } else { 1.0 };
    Theta {
        intercept: sign * theta.intercept,
        joint: sign * theta.joint,
        slope: theta.slope.abs(),
        tank: theta.tank.abs(),
    }
}

fn not_settled() -> Refusal {
    Refusal::plain(RefusalCode::NotConverged, "the variances of the model of growth did not settle")
}

/// Columns with one value in every tank, or in every specimen without tanks.
fn group_columns(input: &MixedInput) -> usize {
    let group = input.tank.unwrap_or(input.specimen);
    let constant = |column: &&Covariate| {
        let mut first = std::collections::BTreeMap::new();
        group.iter().zip(&column.values).all(|(id, value)| *first.entry(*id).or_insert(*value) == *value)
    };
    input.fixed.iter().filter(constant).count()
}

fn check(input: &MixedInput) -> Result<(), Refusal> {
    let invalid = |message: String| Err(Refusal::plain(RefusalCode::InvalidInput, message));
    let n = input.y.len();
    let lengths = input.fixed.iter().map(|c| c.values.len());
    let mut others = lengths.chain([input.time.len(), input.specimen.len()]).chain(input.tank.map(<[u32]>::len));
    if input.fixed.is_empty() || others.any(|length| length != n) {
        return invalid("a model of growth needs columns with one value per size".into());
    }
    let columns = input.fixed.iter().map(|c| c.values.as_slice()).chain([input.y, input.time]);
    if columns.flatten().any(|value| !value.is_finite()) {
        return invalid("a size, a time or a column holds a value that is not a finite number".into());
    }
    let specimens = distinct(input.specimen.iter().copied());
    if specimens.len() < 2 || n <= input.fixed.len() {
        return Err(Refusal::counted(
            RefusalCode::TooFewSpecimens,
            specimens.len() as f64,
            2.0,
            "a model of growth needs at least two specimens and more sizes than columns",
        ));
    }
    Ok(())
}

#[cfg(test)]
mod tests;
