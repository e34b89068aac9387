//! The share still alive when deaths are only known to lie between two looks.
//!
//! Each death is seen in an interval `(left, right]`: last seen alive, then found dead. The estimate is the one of greatest
//! likelihood without any assumption on its shape. It puts its mass into innermost intervals, those with a left end
//! directly followed by a right end among all ends sorted; where in such a box the deaths fell the records cannot say, so
//! a box is drawn, not a step.
//!
//! At the maximum the masses `w` are self-consistent: with `g` of a box the mean over observations that cover it of one over
//! the mass they cover, `g <= 1` everywhere and `g = 1` where there is mass, and only the maximum fulfils that. The search
//! stops there, not where its steps become short.
//!
//! Greenwood's formula does not hold for this estimate; limits come from drawing whole tanks. Late entry is refused: the
//! estimate under truncation is fragile, and curves of dates drawn within the intervals are to be used instead.
//!
//! Turnbull 1976, J R Stat Soc B 38: 290–295; Gentleman & Geyer 1994, Biometrika 81: 618–623 (the condition for the
//! maximum; from memory).

use crate::numeric::Sum;
use crate::refusal::{Refusal, RefusalCode};

mod limits; // drawing whole tanks
mod search; // the masses of greatest likelihood

pub use limits::{SurvivalLimits, turnbull_limits};
use search::Search;

/// How far from 1 the `g` of a box with mass may lie for the printed curve.
const FINE: f64 = 1e-10;
/// The same for a draw of the bootstrap.
const COARSE: f64 = 1e-7;

/// An innermost interval with its mass.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TurnbullBox {
    /// Left end, in the unit of the rows; outside the box unless `left_closed`.
    pub left: f64,
    /// Whether the left end belongs to it: a death known to the day, `left = right`.
    pub left_closed: bool,
    /// Right end, inside the box; `None` without end: those still alive at the last look.
    pub right: Option<f64>,
    /// Share of all deaths that fell into it; 0 in a box that no death needs.
    pub mass: f64,
    /// Share still alive after it; 0 after the box without end.
    pub surv_after: f64,
}

/// The estimated curve.
#[derive(Debug, Clone, PartialEq)]
pub struct Turnbull {
    /// Boxes from left to right, those without mass too. Between them the curve is flat.
    pub boxes: Vec<TurnbullBox>,
    /// Log-likelihood at the maximum.
    pub log_likelihood: f64,
    /// Largest `g`: 1 at the maximum.
    pub largest_gradient: f64,
    /// Steps of the search.
    pub iterations: usize,
    /// Observations.
    pub observations: usize,
    /// Observations that end in a death, whether its day is known or not.
    pub deaths: usize,
}

/// The lowest and highest share alive that the curve allows at one time; equal outside boxes with mass.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Survival {
    /// If all deaths of the box fell before.
    pub lowest: f64,
    /// If all fell after.
    pub highest: f64,
}

/// The curve of observations `(left, right]`, one per specimen.
///
/// `left = right` is a death on that day, `right = f64::INFINITY` a specimen last seen alive at `left`. `entry`, if given,
/// is the age from which each specimen was watched.
///
/// # Errors
/// `InvalidInput` for columns of unlike length, ends that are not numbers or are the wrong way round, or any entry after 0
/// (late entry); `EmptyGroup` without observations; `NoEvents` if all were alive at the last look; `NotConverged`.
pub fn turnbull(left: &[f64], right: &[f64], entry: Option<&[f64]>) -> Result<Turnbull, Refusal> {
    if let Some(entry) = entry {
        check_entry(entry, left.len())?;
    }
    fit(left, right, FINE)
}

fn check_entry(entry: &[f64], observations: usize) -> Result<(), Refusal> {
    if entry.len() != observations {
        return Err(Refusal::plain(RefusalCode::InvalidInput, "each observation needs an entry"));
    }
    let late = entry.iter().filter(|&&entry| entry.is_nan() || entry > 0.0).count();
    if late > 0 {
        return Err(Refusal::counted(
            RefusalCode::InvalidInput,
            late as f64,
            0.0,
            format!(
                "{late} specimens were watched only from some age on; with deaths between looks the curve is then taken \
                 from days drawn within the intervals"
            ),
        ));
    }
    Ok(())
}

/// The curve, its boxes with mass settled to within `tolerance` of the condition for the maximum.
fn fit(left: &[f64], right: &[f64], tolerance: f64) -> Result<Turnbull, Refusal> {
    check(left, right)?;
    let boxes = innermost(left, right);
    let covered: Vec<(usize, usize)> = left.iter().zip(right).map(|(&l, &r)| covers(&boxes, l, r)).collect();
    let mut search = Search::new(boxes.len(), &covered);
    let iterations = search.run(tolerance)?;
    let mut after = Sum::default();
    after.add(1.0);
    let log_likelihood = search.log_likelihood();
    let last = boxes.len() - 1;
    let boxes = boxes
        .iter()
        .zip(&search.mass)
        .enumerate()
        .map(|(at, (own, &mass))| {
            after.add(-mass);
            // Nothing is left after the last box; the sum would leave its last digits.
            let surv_after = if at == last { 0.0 } else { after.value().max(0.0) };
            TurnbullBox {
                left: own.left.0,
                left_closed: own.left.1 == Kind::ExactLeft,
                right: own.right.is_finite().then_some(own.right),
                mass,
                surv_after,
            }
        })
        .collect();
    Ok(Turnbull {
        boxes,
        log_likelihood,
        largest_gradient: search.largest(),
        iterations,
        observations: left.len(),
        deaths: right.iter().filter(|right| right.is_finite()).count(),
    })
}

impl Turnbull {
    /// What the curve says of the share alive at `time`.
    pub fn survival_at(&self, time: f64) -> Survival {
        let mut alive = 1.0;
        for own in &self.boxes {
            let begun = if own.left_closed { time >= own.left } else { time > own.left };
            if !begun {
                break;
            }
            if own.right.is_none_or(|right| time < right) && own.mass > 0.0 {
                return Survival { lowest: own.surv_after, highest: alive };
            }
            alive = own.surv_after;
        }
        Survival { lowest: alive, highest: alive }
    }
}

fn check(left: &[f64], right: &[f64]) -> Result<(), Refusal> {
    let invalid = |message: String| Err(Refusal::plain(RefusalCode::InvalidInput, message));
    if left.len() != right.len() {
        return invalid(format!("{} left ends but {} right ends", left.len(), right.len()));
    }
    let sound = |(left, right): (&f64, &f64)| left.is_finite() && right >= left && !right.is_nan();
    if let Some(at) = left.iter().zip(right).position(|ends| !sound(ends)) {
        return invalid(format!("observation {}: ({}, {}] is no interval", at + 1, left[at], right[at]));
    }
    if left.is_empty() {
        return Err(Refusal::counted(RefusalCode::EmptyGroup, 0.0, 1.0, "there is no observation"));
    }
    if right.iter().all(|right| right.is_infinite()) {
        return Err(Refusal::counted(RefusalCode::NoEvents, 0.0, 1.0, "all were alive at the last look"));
    }
    Ok(())
}

/// Kinds of ends in the order in which they stand at equal value.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Kind {
    /// Left end of a death known to the day, which belongs to it.
    ExactLeft,
    /// Right end, which belongs to it.
    Right,
    /// Left end that does not.
    OpenLeft,
}

#[derive(Debug, Clone, Copy, PartialEq)]
struct Innermost {
    left: (f64, Kind),
    right: f64,
}

fn left_end(left: f64, right: f64) -> (f64, Kind) {
    (left, if left == right { Kind::ExactLeft } else { Kind::OpenLeft })
}

fn order(a: &(f64, Kind), b: &(f64, Kind)) -> std::cmp::Ordering {
    a.0.total_cmp(&b.0).then(a.1.cmp(&b.1))
}

/// The intervals between a left end and the right end directly after it.
fn innermost(left: &[f64], right: &[f64]) -> Vec<Innermost> {
    let lefts = left.iter().zip(right).map(|(&l, &r)| left_end(l + 0.0, r + 0.0));
    let mut ends: Vec<(f64, Kind)> = lefts.chain(right.iter().map(|&r| (r + 0.0, Kind::Right))).collect();
    ends.sort_by(order);
    ends.windows(2)
        .filter(|pair| pair[0].1 != Kind::Right && pair[1].1 == Kind::Right)
        .map(|pair| Innermost { left: pair[0], right: pair[1].0 })
        .collect()
}

/// The run of boxes inside an observation: first, and one past the last. There is always one.
fn covers(boxes: &[Innermost], left: f64, right: f64) -> (usize, usize) {
    let end = left_end(left + 0.0, right + 0.0);
    let first = boxes.partition_point(|own| order(&own.left, &end).is_lt());
    let past = boxes.partition_point(|own| own.right <= right);
    (first, past)
}

#[cfg(test)]
mod tests;
