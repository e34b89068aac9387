//! The search for the masses: Newton steps on the boxes in use, which change until the condition for the maximum holds.
//!
//! With the multiplier of the sum known to be the number of observations n, `sum ln(mass covered) - n sum w` is to be made
//! largest over `w >= 0`. Around masses `w` with `g` as in the condition and `G` the sum over observations of ones on the
//! boxes they cover, over their squared mass, its quadratic form is largest where `G x = n (2g - 1)`. Boxes in use are those
//! with mass and, between any two of them, the one with the largest `g` above 1; boxes that the solution would make negative
//! leave, one by one. A step is halved while the likelihood falls. Sums over runs of boxes are prefix sums: a step is
//! O(n + boxes + used³).
//!
//! Wang 2007, J R Stat Soc B 69: 185–198 (constrained Newton steps; from memory).

use crate::numeric::{Cholesky, Sum};
use crate::refusal::{Refusal, RefusalCode};

/// Most steps.
const STEPS: usize = 1000;
/// How far above 1 the largest `g` may lie at the maximum.
const GRADIENT: f64 = 1e-9;
/// Relative change of the likelihood that is rounding.
const ROUNDING: f64 = 1e-14;
/// Halvings of a step.
const HALVINGS: usize = 40;
/// Share added to the diagonal of `G`, which boxes covered alike would make singular.
const RIDGE: f64 = 1e-9;

/// The search for the masses.
pub(super) struct Search<'a> {
    /// Run of boxes of each observation: first, and one past the last.
    covered: &'a [(usize, usize)],
    pub(super) mass: Vec<f64>,
    gradient: Vec<f64>,
    /// `prefix[k]`: mass of the first `k` boxes.
    prefix: Vec<f64>,
}

impl Search<'_> {
    pub(super) fn new(boxes: usize, covered: &[(usize, usize)]) -> Search<'_> {
        Search { covered, mass: piercing(boxes, covered), gradient: vec![0.0; boxes], prefix: vec![0.0; boxes + 1] }
    }

    /// Steps until the condition for the maximum holds, `g` of boxes with mass to within `tolerance` of 1.
    pub(super) fn run(&mut self, tolerance: f64) -> Result<usize, Refusal> {
        for step in 0..STEPS {
            self.derive();
            let settled = |(w, g): (&f64, &f64)| *w == 0.0 || (g - 1.0).abs() < tolerance;
            if self.largest() <= 1.0 + GRADIENT && self.mass.iter().zip(&self.gradient).all(settled) {
                return Ok(step);
            }
            self.newton_step();
        }
        Err(Refusal::plain(
            RefusalCode::NotConverged,
            format!("the shares between looks did not settle in {STEPS} steps"),
        ))
    }

    pub(super) fn largest(&self) -> f64 {
        self.gradient.iter().copied().fold(0.0, f64::max)
    }

    pub(super) fn log_likelihood(&self) -> f64 {
        let mut sum = Sum::default();
        for &(first, past) in self.covered {
            sum.add((self.prefix[past] - self.prefix[first]).ln());
        }
        sum.value()
    }

    fn add_up(&mut self) {
        for (at, w) in self.mass.iter().enumerate() {
            self.prefix[at + 1] = self.prefix[at] + w;
        }
    }

    /// `g` at the masses.
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

    fn newton_step(&mut self) {
        let used = self.used();
        let target = self.solution(&used);
        let before = self.mass.clone();
        let reached = self.log_likelihood();
        let mut share = 1.0;
        for _ in 0..HALVINGS {
            for (&at, x) in used.iter().zip(&target) {
                // A box that leaves is to be exactly empty.
                self.mass[at] = if share == 1.0 { *x } else { before[at] + share * (x - before[at]) };
            }
            let total: f64 = self.mass.iter().sum();
            self.mass.iter_mut().for_each(|w| *w /= total);
            self.add_up();
            // Near the maximum the likelihood only rounds.
            if self.log_likelihood() >= reached - ROUNDING * (1.0 + reached.abs()) {
                return;
            }
            share *= 0.5;
        }
        self.mass = before;
    }

    /// Boxes with mass and, in every gap between them, the one with the largest `g` above 1.
    fn used(&self) -> Vec<usize> {
        let mut used = Vec::new();
        let mut best: Option<usize> = None;
        for (at, (&w, &g)) in self.mass.iter().zip(&self.gradient).enumerate() {
            if w > 0.0 {
                used.extend(best.take());
                used.push(at);
            } else if g > 1.0 + GRADIENT && best.is_none_or(|best| g > self.gradient[best]) {
                best = Some(at);
            }
        }
        used.extend(best);
        used
    }

    /// Where the quadratic form is largest over masses of these boxes that are not below 0, as far as leaving boxes one by one
    /// finds it.
    fn solution(&self, used: &[usize]) -> Vec<f64> {
        let n = self.covered.len() as f64;
        let curvature = self.curvature(used);
        let mut now: Vec<f64> = used.iter().map(|&at| self.mass[at]).collect();
        let mut kept: Vec<usize> = (0..used.len()).collect();
        while !kept.is_empty() {
            let size = kept.len();
            let mut matrix = vec![0.0; size * size];
            for (row, &j) in kept.iter().enumerate() {
                for (column, &k) in kept[..=row].iter().enumerate() {
                    matrix[row * size + column] = curvature[j * used.len() + k];
                }
                matrix[row * size + row] *= 1.0 + RIDGE;
            }
            let Ok(factor) = Cholesky::new(&matrix, size) else { break };
            // With the ridge the masses themselves are put in, so that the solution at the maximum stays the maximum.
            let right: Vec<f64> = kept
                .iter()
                .map(|&j| {
                    let ridge = RIDGE * curvature[j * used.len() + j] * self.mass[used[j]];
                    n * (2.0 * self.gradient[used[j]] - 1.0) + ridge
                })
                .collect();
            let solved = factor.solve(&right);
            let mut share = 1.0f64;
            for (&j, x) in kept.iter().zip(&solved) {
                if *x <= 0.0 {
                    share = share.min(now[j] / (now[j] - x));
                }
            }
            for (&j, x) in kept.iter().zip(&solved) {
                now[j] += share * (x - now[j]);
            }
            if share >= 1.0 {
                break;
            }
            let leaves = |j: &usize, x: &f64| *x <= 0.0 && now[*j] <= 1e-15;
            let left: Vec<usize> = kept.iter().zip(&solved).filter(|(j, x)| leaves(j, x)).map(|(j, _)| *j).collect();
            left.iter().for_each(|&j| now[j] = 0.0);
            kept.retain(|j| !left.contains(j));
        }
        now.iter_mut().for_each(|x| *x = x.max(0.0));
        now
    }

    /// `G` on these boxes, row by row: every observation adds a square of its weight, which two-dimensional prefix sums
    /// spread.
    fn curvature(&self, used: &[usize]) -> Vec<f64> {
        let k = used.len();
        let mut corners = vec![0.0; (k + 1) * (k + 1)];
        for &(first, past) in self.covered {
            let (a, b) = (used.partition_point(|at| *at < first), used.partition_point(|at| *at < past));
            let weight = (self.prefix[past] - self.prefix[first]).powi(-2);
            corners[a * (k + 1) + a] += weight;
            corners[a * (k + 1) + b] -= weight;
            corners[b * (k + 1) + a] -= weight;
            corners[b * (k + 1) + b] += weight;
        }
        let mut whole = vec![0.0; k * k];
        for row in 0..k {
            let mut along = 0.0;
            for column in 0..k {
                along += corners[row * (k + 1) + column];
                whole[row * k + column] = along + if row > 0 { whole[(row - 1) * k + column] } else { 0.0 };
            }
        }
        whole
    }
}

/// Equal masses on few boxes that every observation covers one of: the last box of each run that has none yet, from left to
/// right.
fn piercing(boxes: usize, covered: &[(usize, usize)]) -> Vec<f64> {
    let mut runs = covered.to_vec();
    runs.sort_by_key(|run| (run.1, run.0));
    let mut mass = vec![0.0; boxes];
    let mut last: Option<usize> = None;
    for (first, past) in runs {
        if last.is_none_or(|last| last < first) {
            last = Some(past - 1);
            mass[past - 1] = 1.0;
        }
    }
    let total: f64 = mass.iter().sum();
    mass.iter_mut().for_each(|w| *w /= total);
    mass
}
