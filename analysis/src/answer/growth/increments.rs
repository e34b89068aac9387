//! Growth under conditions that change: each increment between two looks, weighed by its length squared, on the share
//! of it spent under each level. Limits allow for corals sharing a tank.

use std::collections::BTreeMap;

use super::lines::{LEVEL, Line};
use crate::club::Club;
use crate::exposure::{Condition, MONTH_DAYS};
use crate::numeric::matrix::Cholesky;
use crate::numeric::tail::{student_multiplier, student_two_sided};
use crate::refusal::{Refusal, RefusalCode};

/// Fewest clusters for limits.
const CLUSTERS: usize = 10;
/// Largest share of an increment that may be unknown.
const UNKNOWN_SHARE: f64 = 0.5;

/// One increment.
#[derive(Debug, Clone)]
pub(super) struct Increment {
    pub(super) specimen: u32,
    pub(super) keeper: u32,
    pub(super) tank: Option<u32>,
    /// Change of ln size a month.
    pub(super) slope: f64,
    pub(super) months: f64,
    /// Share of the known days spent in each level.
    pub(super) share: Vec<f64>,
}

/// The slope of one level.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct LevelSlope {
    pub(super) slope: f64,
    pub(super) std_error: Option<f64>,
    pub(super) df: Option<f64>,
    pub(super) lower: Option<f64>,
    pub(super) upper: Option<f64>,
}

impl LevelSlope {
    /// p of no slope, where there are limits.
    pub(super) fn p(&self) -> Option<f64> {
        let (std_error, df) = self.std_error.zip(self.df)?;
        (std_error > 0.0).then(|| student_two_sided(self.slope / std_error, df))
    }
}

/// The increments of lines whose condition is known on at least half of the days; levels as `level_of` maps them.
pub(super) fn increments(
    club: &Club,
    lines: &[Line],
    condition: &Condition,
    levels: usize,
    level_of: impl Fn(usize) -> Option<usize>,
) -> Vec<Increment> {
    let mut list = Vec::new();
    for line in lines {
        for (days, sizes) in line.days.windows(2).zip(line.sizes.windows(2)) {
            let length = days[1] - days[0];
            if length <= 0.0 {
                continue;
            }
            let mut share = vec![0.0; levels];
            for segment in line.levels(club, condition, days[0], days[1]) {
                if let Some(level) = segment.level.and_then(|level| level_of(usize::from(level))) {
                    share[level] += segment.stop - segment.start;
                }
            }
            let known: f64 = share.iter().sum();
            if known <= 0.0 || known < (1.0 - UNKNOWN_SHARE) * length {
                continue;
            }
            share.iter_mut().for_each(|days| *days /= known);
            let months = length / MONTH_DAYS;
            list.push(Increment {
                specimen: line.specimen,
                keeper: line.keeper,
                tank: line.tank,
                slope: (sizes[1] / sizes[0]).ln() / months,
                months,
                share,
            });
        }
    }
    list
}

/// The slope of each level with any time in it; `None` for the others.
///
/// # Errors
/// `Singular` if levels always go together.
pub(super) fn slopes(increments: &[Increment], levels: usize) -> Result<Vec<Option<LevelSlope>>, Refusal> {
    let fit = Fit::new(increments, levels)?;
    let mut result = vec![None; levels];
    for (at, &level) in fit.used.iter().enumerate() {
        let mut weights = vec![0.0; fit.used.len()];
        weights[at] = 1.0;
        result[level] = Some(fit.combined(&weights));
    }
    Ok(result)
}

/// The slope of one level less that of another.
///
/// # Errors
/// `EmptyGroup` if one of them has no time in it; `Singular` if levels always go together.
pub(super) fn difference(
    increments: &[Increment],
    levels: usize,
    level: usize,
    reference: usize,
) -> Result<LevelSlope, Refusal> {
    let fit = Fit::new(increments, levels)?;
    let place = |level: usize| fit.used.iter().position(|used| *used == level);
    let (Some(one), Some(other)) = (place(level), place(reference)) else {
        return Err(Refusal::plain(RefusalCode::EmptyGroup, "No coral was measured under this condition."));
    };
    let mut weights = vec![0.0; fit.used.len()];
    (weights[one], weights[other]) = (1.0, -1.0);
    Ok(fit.combined(&weights))
}

/// Least squares over the increments.
struct Fit {
    /// Levels with any time in them.
    used: Vec<usize>,
    slope: Vec<f64>,
    bread: Vec<Vec<f64>>,
    /// One sum of scores a cluster.
    scores: Vec<Vec<f64>>,
}

impl Fit {
    fn new(increments: &[Increment], levels: usize) -> Result<Fit, Refusal> {
        let used: Vec<usize> = (0..levels).filter(|&k| increments.iter().any(|i| i.share[k] > 0.0)).collect();
        let p = used.len();
        if p == 0 {
            return Ok(Fit { used, slope: Vec::new(), bread: Vec::new(), scores: Vec::new() });
        }
        let mut normal = vec![vec![0.0; p]; p];
        let mut right = vec![0.0; p];
        for increment in increments {
            let weight = increment.months * increment.months;
            for (a, &level) in used.iter().enumerate() {
                right[a] += weight * increment.share[level] * increment.slope;
                for (b, &other) in used.iter().enumerate() {
                    normal[a][b] += weight * increment.share[level] * increment.share[other];
                }
            }
        }
        let solved = Cholesky::of_rows(&normal).map_err(|_| {
            Refusal::plain(RefusalCode::Singular, "Levels that always go together cannot be told apart.")
        })?;
        let slope = solved.solve(&right);
        let bread = solved.inverse();
        let mut scores: BTreeMap<(Option<u32>, u32), Vec<f64>> = BTreeMap::new();
        for increment in increments {
            let fitted: f64 = used.iter().zip(&slope).map(|(&level, slope)| increment.share[level] * slope).sum();
            let weight = increment.months * increment.months * (increment.slope - fitted);
            // Corals of no known tank are a cluster by keeper.
            let cluster = (increment.tank, if increment.tank.is_some() { 0 } else { increment.keeper });
            let of_cluster = scores.entry(cluster).or_insert_with(|| vec![0.0; p]);
            for (a, &level) in used.iter().enumerate() {
                of_cluster[a] += weight * increment.share[level];
            }
        }
        Ok(Fit { used, slope, bread, scores: scores.into_values().collect() })
    }

    /// A weighted sum of the slopes.
    fn combined(&self, weights: &[f64]) -> LevelSlope {
        let clusters = self.scores.len();
        let df = clusters.saturating_sub(1) as f64;
        let t = student_multiplier(LEVEL, df).filter(|_| clusters >= CLUSTERS);
        let slope = self.slope.iter().zip(weights).map(|(slope, weight)| slope * weight).sum();
        let row: Vec<f64> = (0..self.used.len())
            .map(|b| self.bread.iter().zip(weights).map(|(bread, weight)| weight * bread[b]).sum())
            .collect();
        let variance: f64 =
            self.scores.iter().map(|score| row.iter().zip(score).map(|(b, s)| b * s).sum::<f64>().powi(2)).sum();
        let std_error = (clusters > 1).then(|| (variance * clusters as f64 / df).sqrt());
        let half = t.zip(std_error).map(|(t, se)| t * se);
        LevelSlope {
            slope,
            std_error,
            df: half.map(|_| df),
            lower: half.map(|half| slope - half),
            upper: half.map(|half| slope + half),
        }
    }
}
