//! Controls drawn from those at risk when a case was lost: incidence density sampling.
//!
//! A control may be drawn for several cases and may later be a case itself; that is what makes the odds ratio one of
//! hazards. The draw depends on the case, the candidates and the seed only, not on the order of the rows nor on other
//! cases: each candidate has a random number of its own for each case, and those with the lowest are taken, so that one
//! candidate more takes the place of one at most.
//!
//! Langholz & Goldstein 1996, Stat Sci 11: 35–53 (from memory).

use std::collections::BTreeMap;

use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};

use crate::episode::Episodes;
use crate::refusal::{Refusal, RefusalCode};

/// Controls of one case at most.
pub const CONTROLS: usize = 5;

/// How far a control's age may lie from the case's, in days.
pub const AGE_WINDOW_DAYS: f64 = 30.0;

/// Who is at risk at which age, one value per row in every column; a specimen may have several rows.
#[derive(Debug, Clone, Copy)]
pub struct RiskRows<'a> {
    /// Age under observation `(start, stop]`, with a death at `stop` or none.
    pub episodes: &'a Episodes,
    /// The specimen, by a number that stays the same whoever else is at risk.
    pub specimen: &'a [u64],
    /// Its species: controls are of the case's.
    pub species: &'a [u32],
    /// Its tank in this row: controls are in others than the case's.
    pub tank: &'a [u32],
}

/// A specimen that was alive and at risk.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Control {
    /// The row in which it was.
    pub row: usize,
    /// The age nearest to the case's at which it was at risk in it.
    pub age: f64,
}

/// A case with its controls.
#[derive(Debug, Clone, PartialEq)]
pub struct MatchedSet {
    /// The row that ends with the loss.
    pub case: usize,
    /// Age at the loss.
    pub age: f64,
    /// Specimens from which controls were drawn.
    pub candidates: usize,
    /// The controls, by specimen number.
    pub controls: Vec<Control>,
}

/// The matched set of every row that ends with a death, in the order of the rows: up to [`CONTROLS`] specimens of the same
/// species in other tanks that were at risk within [`AGE_WINDOW_DAYS`] of the case's age.
///
/// O(cases x rows of the species).
///
/// # Errors
/// `InvalidInput` for a bad row or columns of unlike length.
pub fn draw_controls(rows: &RiskRows, seed: u64) -> Result<Vec<MatchedSet>, Refusal> {
    let RiskRows { episodes, specimen, species, tank } = *rows;
    if let Err(row) = episodes.check() {
        return Err(Refusal::plain(RefusalCode::InvalidInput, row.to_string()));
    }
    let n = episodes.len();
    if [specimen.len(), species.len(), tank.len()].iter().any(|length| *length != n) {
        return Err(Refusal::plain(RefusalCode::InvalidInput, "each row needs a specimen, a species and a tank"));
    }
    let mut of_species: BTreeMap<u32, Vec<usize>> = BTreeMap::new();
    for (row, id) in species.iter().enumerate() {
        of_species.entry(*id).or_default().push(row);
    }
    let sets = (0..n).filter(|&row| episodes.event[row]).map(|case| {
        let age = episodes.stop[case];
        let mut nearest: BTreeMap<u64, Control> = BTreeMap::new();
        for &row in of_species.get(&species[case]).into_iter().flatten() {
            if specimen[row] == specimen[case] || tank[row] == tank[case] {
                continue;
            }
            if let Some(at) = nearest_age(episodes, row, age) {
                let far = |control: &Control| (control.age - age).abs();
                let own = Control { row, age: at };
                let kept = nearest.entry(specimen[row]).or_insert(own);
                // Of two equally near rows the younger one, whatever their order.
                if far(&own) < far(kept) || (far(&own) == far(kept) && own.age < kept.age) {
                    *kept = own;
                }
            }
        }
        let candidates = nearest.len();
        let controls = draw(nearest, seed, specimen[case]);
        MatchedSet { case, age, candidates, controls }
    });
    Ok(sets.collect())
}

/// The age nearest to `age`, at most [`AGE_WINDOW_DAYS`] away, at which a row was at risk and alive after it.
fn nearest_age(episodes: &Episodes, row: usize, age: f64) -> Option<f64> {
    let (start, stop) = (episodes.start[row], episodes.stop[row]);
    // A row is at risk after its start; whole days later there is a day to look back from. It is not alive after a death.
    let first = (start + 1.0).min(stop);
    let last = if episodes.event[row] { stop - 1.0 } else { stop };
    if last < first {
        return None;
    }
    let at = age.clamp(first, last);
    ((at - age).abs() <= AGE_WINDOW_DAYS).then_some(at)
}

/// Up to [`CONTROLS`] of the pool without replacement, in the order of specimens.
fn draw(pool: BTreeMap<u64, Control>, seed: u64, case: u64) -> Vec<Control> {
    let mut ranked: Vec<(u64, u64, Control)> =
        pool.into_iter().map(|(specimen, control)| (number(seed, case, specimen), specimen, control)).collect();
    ranked.sort_unstable_by_key(|(number, specimen, _)| (*number, *specimen));
    ranked.truncate(CONTROLS);
    ranked.sort_unstable_by_key(|(_, specimen, _)| *specimen);
    ranked.into_iter().map(|(_, _, control)| control).collect()
}

/// The random number of a candidate for a case.
fn number(seed: u64, case: u64, candidate: u64) -> u64 {
    let mut key = [0; 32];
    for (place, part) in key.chunks_exact_mut(8).zip([seed, case, candidate]) {
        place.copy_from_slice(&part.to_le_bytes());
    }
    ChaCha8Rng::from_seed(key).next_u64()
}
