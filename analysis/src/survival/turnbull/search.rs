//! The search for the masses: self-consistent steps, leaps in their direction, and boxes emptied on the way.

use crate::numeric::Sum;
use crate::refusal::{Refusal, RefusalCode};

/// Most cycles of the search.
const CYCLES: usize = 50_000;
/// Share of its mass that a box keeps at least in one leap.
const KEPT: f64 = 0.01;
/// Relative change of the log-likelihood that is rounding.
const ROUNDING: f64 = 1e-14;
/// How far above 1 the largest `g` may lie at the maximum.
const GRADIENT: f64 = 1e-9;
/// A box up to this light may be emptied before it has shrunk to nothing.
const LIGHT: f64 = 1e-4;
/// Cycles after which that is tried.
const PATIENCE: usize = 20;
/// Mass with which an emptied box starts anew.
const SEED: f64 = 1e-6;
/// A box this light …
const VANISHED: f64 = 1e-13;
/// … with `g` this far below 1 is empty.
const SLACK: f64 = 1e-6;

/// The search for the masses.
pub(super) struct Search<'a> {
    covered: &'a [(usize, usize)],
    pub(super) mass: Vec<f64>,
    gradient: Vec<f64>,
    /// `prefix[k]`: mass of the first `k` boxes.
    prefix: Vec<f64>,
}

impl Search<'_> {
    pub(super) fn new(boxes: usize, covered: &[(usize, usize)]) -> Search<'_> {
        Search {
            covered,
            mass: vec![1.0 / boxes as f64; boxes],
            gradient: vec![0.0; boxes],
            prefix: vec![0.0; boxes + 1],
        }
    }

    /// Cycles of two steps and a leap until the condition for the maximum holds.
    pub(super) fn run(&mut self, tolerance: f64) -> Result<usize, Refusal> {
        let mut waited = 0;
        for cycle in 0..CYCLES {
            self.derive();
            if self.largest() <= 1.0 + GRADIENT {
                let settled = |(w, g): (&f64, &f64)| *w == 0.0 || (g - 1.0).abs() < tolerance;
                if self.mass.iter().zip(&self.gradient).all(settled) {
                    return Ok(cycle);
                }
                waited += 1;
                if waited % PATIENCE == 0 && self.empties(tolerance) {
                    continue;
                }
            } else {
                self.refill();
            }
            let before = self.mass.clone();
            self.step();
            let once = self.mass.clone();
            self.derive();
            self.step();
            self.leap(&before, &once);
        }
        Err(Refusal::plain(
            RefusalCode::NotConverged,
            format!("the shares between looks did not settle in {CYCLES} cycles"),
        ))
    }

    /// One step of self-consistency.
    fn step(&mut self) {
        for (w, g) in self.mass.iter_mut().zip(&self.gradient) {
            *w *= g;
            if *w < VANISHED && *g < 1.0 - SLACK {
                *w = 0.0;
            }
        }
        self.normalise();
    }

    /// Goes on in the direction of the last two steps, as far as their change of length allows, unless that is worse:
    /// where a box empties at the edge of need, steps alone would shrink ever more slowly.
    fn leap(&mut self, before: &[f64], once: &[f64]) {
        let (mut first, mut change) = (0.0, 0.0);
        for ((&w0, &w1), &w2) in before.iter().zip(once).zip(&self.mass) {
            first += (w1 - w0).powi(2);
            change += (w2 - 2.0 * w1 + w0).powi(2);
        }
        let twice = self.mass.clone();
        self.add_up();
        let reached = self.log_likelihood();
        let far = (first / change).sqrt();
        // Not a number when nothing moved.
        if far.is_nan() || far <= 1.0 || far.is_infinite() {
            return;
        }
        for (w, (&w0, &w1)) in self.mass.iter_mut().zip(before.iter().zip(once)) {
            let leapt = w0 + 2.0 * far * (w1 - w0) + far * far * (*w - 2.0 * w1 + w0);
            *w = leapt.max(KEPT * *w);
        }
        self.normalise();
        self.add_up();
        // Near the maximum the likelihood only rounds.
        let better = self.log_likelihood() >= reached - ROUNDING * (1.0 + reached.abs());
        if !better {
            self.mass = twice;
        }
    }

    pub(super) fn largest(&self) -> f64 {
        self.gradient.iter().copied().fold(0.0, f64::max)
    }

    /// Empties the light boxes that are still on their way to 0 if the condition for the maximum holds without them.
    fn empties(&mut self, tolerance: f64) -> bool {
        let before = self.mass.clone();
        for (w, g) in self.mass.iter_mut().zip(&self.gradient) {
            if *w <= LIGHT && *g < 1.0 - tolerance {
                *w = 0.0;
            }
        }
        let changed = self.mass != before;
        self.normalise();
        self.derive();
        let kept = changed && self.largest() <= 1.0 + GRADIENT;
        if !kept {
            self.mass = before;
            self.derive();
        }
        kept
    }

    /// Gives empty boxes that the condition for the maximum wants filled a little mass again.
    fn refill(&mut self) {
        let wanted = |(w, g): (&f64, &f64)| *w == 0.0 && *g > 1.0 + GRADIENT;
        if self.mass.iter().zip(&self.gradient).any(wanted) {
            for (w, g) in self.mass.iter_mut().zip(&self.gradient) {
                if wanted((w, g)) {
                    *w = SEED;
                }
            }
            self.normalise();
            self.derive();
        }
    }

    fn normalise(&mut self) {
        let total: f64 = self.mass.iter().sum();
        self.mass.iter_mut().for_each(|w| *w /= total);
    }

    fn add_up(&mut self) {
        for (at, w) in self.mass.iter().enumerate() {
            self.prefix[at + 1] = self.prefix[at] + w;
        }
    }

    fn derive(&mut self) {
        self.add_up();
        self.gradient.iter_mut().for_each(|g| *g = 0.0);
        for &(first, past) in self.covered {
            let share = 1.0 / (self.prefix[past] - self.prefix[first]);
            self.gradient[first] += share;
            if let Some(next) = self.gradient.get_mut(past) {
                *next -= share;
            }
        }
        let n = self.covered.len() as f64;
        let mut sum = Sum::default();
        for g in &mut self.gradient {
            sum.add(*g);
            *g = sum.value() / n;
        }
    }

    pub(super) fn log_likelihood(&self) -> f64 {
        let mut sum = Sum::default();
        for &(first, past) in self.covered {
            sum.add((self.prefix[past] - self.prefix[first]).ln());
        }
        sum.value()
    }
}
