//! Several conditions in one model: each ratio with the others held.
//!
//! Rows are cut wherever any condition changes. A condition enters as one column for its contrast, one for a level that
//! is neither of the two and one for time at which it is unknown, as far as anybody died there; time at which nobody
//! died says nothing of a ratio and is left out.

use super::contrast::REFERENCE_LEVEL;
use super::curve::{between, mean, pooled_limits};
use super::{ClusterBy, Rows, Sets};
use crate::episode::Episodes;
use crate::exposure::{Condition, Level};
use crate::follow_up::FollowUp;
use crate::refusal::{Refusal, RefusalCode};
use crate::survival::cox::cox_near;
use crate::survival::{Covariate, CoxFit, CoxInput, CoxOptions};

/// Correlation of two conditions over the days at which both are known from which they cannot be separated.
pub const INSEPARABLE: f64 = 0.8;

/// Rows with the levels of several conditions.
#[derive(Debug, Clone)]
pub struct JointRows {
    rows: Rows,
    /// One list a condition, one level a row.
    levels: Vec<Vec<Level>>,
}

impl JointRows {
    /// The rows, cut at every change of these conditions.
    ///
    /// # Errors
    /// `InvalidInput` if the records contradict themselves.
    pub fn new(follow_up: &FollowUp, rows: &Rows, conditions: &[&Condition]) -> Result<JointRows, Refusal> {
        let mut cut = Rows::default();
        let mut levels: Vec<Vec<Level>> = vec![Vec::new(); conditions.len()];
        let (mut start, mut stop, mut event) = (Vec::new(), Vec::new(), Vec::new());
        for row in 0..rows.len() {
            let Some(follow) = follow_up.follows.get(rows.specimen[row] as usize) else { continue };
            let (from, to) = (follow.day0 + rows.episodes.start[row], follow.day0 + rows.episodes.stop[row]);
            let of: Vec<_> = conditions
                .iter()
                .map(|condition| condition.between(follow.specimen, follow.keeper, rows.tank[row], from, to))
                .collect();
            let mut instants: Vec<f64> = of.iter().flatten().map(|segment| segment.stop).collect();
            instants.sort_by(f64::total_cmp);
            instants.dedup();
            let mut at = from;
            for instant in instants {
                let last = instant == to;
                start.push(at - follow.day0);
                // The row's own end, to the last bit.
                stop.push(if last { rows.episodes.stop[row] } else { instant - follow.day0 });
                event.push(last && rows.episodes.event[row]);
                cut.specimen.push(rows.specimen[row]);
                cut.tank.push(rows.tank[row]);
                cut.keeper.push(rows.keeper[row]);
                cut.level.push(rows.level[row]);
                cut.cause.push(if last { rows.cause[row] } else { 0 });
                for (list, segments) in levels.iter_mut().zip(&of) {
                    let there = segments.iter().find(|segment| segment.start <= at && at < segment.stop);
                    list.push(there.and_then(|segment| segment.level));
                }
                at = instant;
            }
        }
        cut.episodes = Episodes::validated(start, stop, event).map_err(|error| {
            Refusal::plain(RefusalCode::InvalidInput, format!("The records contradict themselves: {error}."))
        })?;
        Ok(JointRows { rows: cut, levels })
    }

    /// Correlation of two conditions' contrasts over the days at which both are known; `None` if one of them is constant
    /// there. Weighted by days.
    pub fn correlation(&self, one: usize, other: usize) -> Option<f64> {
        let (mut n, mut x, mut y, mut xy) = (0.0, 0.0, 0.0, 0.0);
        for row in 0..self.rows.len() {
            let (Some(a), Some(b)) = (self.levels[one][row], self.levels[other][row]) else { continue };
            let days = self.rows.episodes.stop[row] - self.rows.episodes.start[row];
            let (a, b) = (f64::from(u8::from(a != REFERENCE_LEVEL)), f64::from(u8::from(b != REFERENCE_LEVEL)));
            n += days;
            x += days * a;
            y += days * b;
            xy += days * a * b;
        }
        let variance = |sum: f64| sum / n * (1.0 - sum / n);
        let spread = (variance(x) * variance(y)).sqrt();
        (n > 0.0 && spread > 0.0).then(|| (xy / n - x / n * (y / n)) / spread)
    }

    /// Deaths by level of a condition, unknown as `None`.
    fn deaths_at(&self, condition: usize, level: Level) -> u64 {
        (0..self.rows.len())
            .filter(|&row| self.rows.episodes.event[row] && self.levels[condition][row] == level)
            .count() as u64
    }

    /// The columns that a condition takes in a model.
    pub fn columns(&self, condition: usize) -> Vec<Level> {
        let mut levels = self.levels[condition].clone();
        levels.sort_unstable();
        levels.dedup();
        levels.retain(|level| *level != Some(REFERENCE_LEVEL) && self.deaths_at(condition, *level) > 0);
        levels
    }
}

/// One ratio of a joint model.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct JointRatio {
    /// Log hazard ratio.
    pub coef: f64,
    /// Model-based standard error; of the clusters where there are enough.
    pub std_error: f64,
    /// Lower 95 % limit of the ratio, as published.
    pub lower: Option<f64>,
    /// Upper 95 % limit.
    pub upper: Option<f64>,
}

/// The ratio of the first condition's contrast with the others held; `columns` as of [`JointRows::columns`] for each
/// condition, decided once for all sets.
///
/// # Errors
/// `Separation`, `Singular` or `NotConverged` of the fit; `InvalidInput` as [`JointRows::new`].
pub fn adjusted(
    follow_up: &FollowUp,
    sets: &Sets,
    conditions: &[&Condition],
    columns: &[Vec<Level>],
    contrast: u16,
    cluster: ClusterBy,
) -> Result<JointRatio, Refusal> {
    let mut fits = Vec::new();
    for rows in sets.all() {
        let joint = JointRows::new(follow_up, rows, conditions)?;
        let used = |row: usize| {
            columns
                .iter()
                .zip(&joint.levels)
                .all(|(columns, levels)| levels[row] == Some(REFERENCE_LEVEL) || columns.contains(&levels[row]))
        };
        let kept: Vec<usize> = (0..joint.rows.len()).filter(|&row| used(row)).collect();
        let rows = joint.rows.subset(&kept);
        let mut covariates = Vec::new();
        let mut own = None;
        for (at, (columns, levels)) in columns.iter().zip(&joint.levels).enumerate() {
            for level in columns {
                if at == 0 && *level == Some(contrast) {
                    own = Some(covariates.len());
                }
                let values = kept.iter().map(|&row| f64::from(u8::from(levels[row] == *level))).collect();
                covariates.push(Covariate { name: format!("{at}:{level:?}"), values });
            }
        }
        let clusters = cluster.column(&rows);
        let input =
            CoxInput { episodes: &rows.episodes, covariates: &covariates, strata: None, cluster: Some(&clusters) };
        let last = fits.last().map(|(fit, _): &(CoxFit, usize)| fit);
        let fit = cox_near(&input, &CoxOptions::default(), last)?;
        let own = own.ok_or_else(|| {
            Refusal::plain(RefusalCode::Separation, "All losses lie on one side: no finite ratio fits.")
        })?;
        fits.push((fit, own));
    }
    let of: Vec<_> = fits.iter().map(|(fit, own)| &fit.coefficients[*own]).collect();
    if let Some(refused) = of.iter().find(|c| c.coef.is_none()).and_then(|c| c.refused.clone()) {
        return Err(refused);
    }
    let coefs: Vec<f64> = of.iter().filter_map(|c| c.coef).collect();
    let (coef, extra) = (mean(&coefs), between(&coefs));
    let squares = |errors: Vec<f64>| mean(&errors.iter().map(|se| se * se).collect::<Vec<_>>());
    let robust: Vec<f64> = of.iter().filter_map(|c| c.robust_std_error).collect();
    let plain: Vec<f64> = of.iter().filter_map(|c| c.std_error).collect();
    let published = of.iter().all(|c| c.lower.is_some()) && robust.len() == of.len();
    let clusters = fits.iter().filter_map(|(fit, _)| fit.clusters).min().unwrap_or(0);
    let limits = published.then(|| pooled_limits(coef, squares(robust.clone()), extra, clusters).ok()).flatten();
    let within = if published { squares(robust) } else { squares(plain) };
    Ok(JointRatio {
        coef,
        std_error: (within + extra).sqrt(),
        lower: limits.map(|limits| limits.lower),
        upper: limits.map(|limits| limits.upper),
    })
}
