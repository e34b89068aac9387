//! Curves on a grid of weeks or months, cut where too few keepers are still followed.

use std::collections::BTreeSet;

use super::{keepers_needed, suppressed};
use crate::answer::{Audience, CurvePoint};
use crate::comparison::Rows;
use crate::evidence::minimums;
use crate::exposure::MONTH_DAYS;
use crate::refusal::Refusal;

const WEEK_DAYS: f64 = 7.0;

/// Keepers with a row at risk at `t`.
pub fn keepers_at_risk(rows: &Rows, t: f64) -> u64 {
    let at_risk = (0..rows.len()).filter(|&row| rows.episodes.start[row] < t && t <= rows.episodes.stop[row]);
    at_risk.map(|row| rows.keeper[row]).collect::<BTreeSet<u32>>().len() as u64
}

/// The last moment of the grid that may be shown: from the first with enough keepers at risk, and which is told beside all
/// other answers, until the first without. Infinity for exact figures, the start where no moment may be shown.
pub fn shown_until(
    rows: &Rows,
    start_time: f64,
    last_time: f64,
    audience: Audience,
    mut is_told: impl FnMut(f64) -> bool,
) -> f64 {
    let Some(step) = grid_step(audience) else { return f64::INFINITY };
    let mut until = start_time;
    let mut place = 1.0;
    while start_time + place * step <= last_time {
        let time = start_time + place * step;
        if keepers_at_risk(rows, time) >= keepers_needed(audience) && is_told(time) {
            until = time;
        } else if until > start_time {
            break;
        }
        place += 1.0;
    }
    until
}

fn grid_step(audience: Audience) -> Option<f64> {
    match audience {
        Audience::Public => Some(MONTH_DAYS),
        Audience::Member => Some(WEEK_DAYS),
        Audience::Curator | Audience::Keeper => None,
    }
}

/// A curve as an audience sees it. `rows` are those of the curve; `until` is [`shown_until`]; `is_told` says whether a
/// moment is told beside all other answers.
///
/// # Errors
/// `Suppressed` if not even the first point of the grid may be shown.
pub fn curve(
    points: Vec<CurvePoint>,
    rows: &Rows,
    start_time: f64,
    until: f64,
    audience: Audience,
    mut is_told: impl FnMut(f64) -> bool,
) -> Result<Vec<CurvePoint>, Refusal> {
    let Some(step) = grid_step(audience) else { return Ok(points) };
    let mut shown = Vec::new();
    let mut taken = 0;
    let mut place = 1.0;
    while start_time + place * step <= until {
        let time = start_time + place * step;
        let here = points.partition_point(|point| point.time <= time);
        let sum = |of: fn(&CurvePoint) -> u64| points[taken..here].iter().map(of).sum::<u64>();
        let last = here.checked_sub(1).map(|last| &points[last]);
        let at_risk = (0..rows.len())
            .filter(|&row| rows.episodes.start[row] < time && time <= rows.episodes.stop[row])
            .count() as u64;
        place += 1.0;
        // Before late entrants join, few may be at risk.
        let enough = at_risk >= minimums::POINT_AT_RISK && keepers_at_risk(rows, time) >= keepers_needed(audience);
        if !enough || !is_told(time) {
            continue;
        }
        shown.push(CurvePoint {
            time,
            at_risk,
            events: sum(|point| point.events),
            censored: sum(|point| point.censored),
            survival: last.map_or(1.0, |point| point.survival),
            std_error: last.and_then(|point| point.std_error),
            lower: last.and_then(|point| point.lower),
            upper: last.and_then(|point| point.upper),
        });
        taken = here;
    }
    if shown.is_empty() { Err(suppressed(audience)) } else { Ok(shown) }
}
