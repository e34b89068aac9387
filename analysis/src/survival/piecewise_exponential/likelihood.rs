//! The maximum of the Poisson likelihood, and scores by cluster.

use std::collections::BTreeMap;

use super::Cells;
use crate::numeric::{Cholesky, Matrix};
use crate::refusal::{Refusal, RefusalCode};

/// Most steps.
const STEPS: usize = 60;
/// Relative change of the deviance at which the search stops.
const TOLERANCE: f64 = 1e-10;
/// What a step may still promise when it stops, in units of the log-likelihood: the step itself is then below the digits.
const PROMISE: f64 = 1e-16;
/// Halvings of a step.
const HALVINGS: usize = 30;

/// Cells with time at risk, and the columns.
pub(super) struct Design<'a> {
    input: &'a Cells<'a>,
    pub(super) cells: Vec<usize>,
}

/// The likelihood at some coefficients.
pub(super) struct State {
    pub(super) mu: Vec<f64>,
    score: Vec<f64>,
    /// Row by row.
    pub(super) information: Vec<f64>,
    pub(super) log_likelihood: f64,
    pub(super) deviance: f64,
}

impl<'a> Design<'a> {
    pub(super) fn new(input: &'a Cells<'a>) -> Result<Design<'a>, Refusal> {
        let cells = (0..input.time.len()).filter(|&at| input.time[at] > 0.0).collect();
        let design = Design { input, cells };
        for j in 0..input.covariates.len() {
            design.check_separation(j)?;
        }
        Ok(design)
    }

    fn x(&self, j: usize, cell: usize) -> f64 {
        self.input.covariates[j].values[cell]
    }

    /// All deaths at the least or greatest value of a column that has others: the likelihood rises without end, given an
    /// intercept or what sums to one.
    fn check_separation(&self, j: usize) -> Result<(), Refusal> {
        let range = |only_deaths: bool| {
            let used = self.cells.iter().filter(|&&cell| !only_deaths || self.input.deaths[cell] > 0);
            used.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), &cell| {
                (low.min(self.x(j, cell)), high.max(self.x(j, cell)))
            })
        };
        let ((low, high), (low_dead, high_dead)) = (range(false), range(true));
        let separated = low < high && low_dead == high_dead && (low_dead == low || low_dead == high);
        if separated { Err(self.separation(j)) } else { Ok(()) }
    }

    pub(super) fn separation(&self, j: usize) -> Refusal {
        let name = &self.input.covariates[j].name;
        Refusal::plain(RefusalCode::Separation, format!("all deaths lie on one side of {name}: no finite ratio fits"))
    }

    pub(super) fn singular(&self, j: usize) -> Refusal {
        let name = &self.input.covariates[j].name;
        Refusal::plain(RefusalCode::Singular, format!("{name} follows from the other columns"))
    }

    /// Standard deviation of a column over the cells, each counted once.
    pub(super) fn spread(&self, j: usize) -> f64 {
        let n = self.cells.len() as f64;
        let mean = self.cells.iter().map(|&cell| self.x(j, cell)).sum::<f64>() / n;
        (self.cells.iter().map(|&cell| (self.x(j, cell) - mean).powi(2)).sum::<f64>() / n).sqrt()
    }

    pub(super) fn at(&self, b: &[f64]) -> State {
        let p = b.len();
        let mut state = State {
            mu: Vec::with_capacity(self.cells.len()),
            score: vec![0.0; p],
            information: vec![0.0; p * p],
            log_likelihood: 0.0,
            deviance: 0.0,
        };
        let mut x = vec![0.0; p];
        for &cell in &self.cells {
            let mut eta = 0.0;
            for (j, x) in x.iter_mut().enumerate() {
                *x = self.x(j, cell);
                eta += *x * b[j];
            }
            let (deaths, time) = (self.input.deaths[cell] as f64, self.input.time[cell]);
            let mu = time * eta.exp();
            // ln mu from the predictor, so that it does not lose digits.
            let ln_mu = time.ln() + eta;
            state.log_likelihood += deaths * ln_mu - mu;
            let own = if deaths > 0.0 { deaths * (deaths.ln() - ln_mu) } else { 0.0 };
            state.deviance += 2.0 * (own - (deaths - mu));
            for j in 0..p {
                state.score[j] += (deaths - mu) * x[j];
                for k in 0..=j {
                    state.information[j * p + k] += mu * x[j] * x[k];
                }
            }
            state.mu.push(mu);
        }
        state
    }

    /// The coefficients of greatest likelihood, and the steps taken.
    pub(super) fn maximise(&self) -> Result<(Vec<f64>, usize), Refusal> {
        let mut b = self.start()?;
        let p = b.len();
        let mut now = self.at(&b);
        for step in 1..=STEPS {
            let factor = Cholesky::new(&now.information, p).map_err(|at| self.singular(at.0))?;
            let change = factor.solve(&now.score);
            let promise: f64 = change.iter().zip(&now.score).map(|(a, b)| a * b).sum();
            let mut share = 1.0;
            let mut next = None;
            for _ in 0..HALVINGS {
                let tried: Vec<f64> = b.iter().zip(&change).map(|(b, by)| b + share * by).collect();
                let there = self.at(&tried);
                // Near the maximum the deviance only rounds.
                if there.deviance.is_finite() && there.deviance <= now.deviance * (1.0 + 1e-13) + 1e-12 {
                    next = Some((tried, there));
                    break;
                }
                share *= 0.5;
            }
            let Some((tried, there)) = next else { break };
            let moved = (now.deviance - there.deviance).abs() / (there.deviance.abs() + 0.1);
            (b, now) = (tried, there);
            if moved < TOLERANCE && promise < PROMISE {
                return Ok((b, step));
            }
        }
        Err(Refusal::plain(RefusalCode::NotConverged, format!("the rates did not settle in {STEPS} steps")))
    }

    /// Coefficients from least squares of the logarithms of rates, each cell's drawn towards the common one and weighed
    /// by the deaths that one lets expect.
    fn start(&self) -> Result<Vec<f64>, Refusal> {
        let p = self.input.covariates.len();
        let deaths: u64 = self.input.deaths.iter().sum();
        let time: f64 = self.cells.iter().map(|&cell| self.input.time[cell]).sum();
        let common = deaths as f64 / time;
        let (mut normal, mut right) = (vec![0.0; p * p], vec![0.0; p]);
        for &cell in &self.cells {
            let weight = common * self.input.time[cell];
            let working = common.ln() + (self.input.deaths[cell] as f64 - weight) / weight.max(1.0);
            for j in 0..p {
                right[j] += weight * self.x(j, cell) * working;
                for k in 0..=j {
                    normal[j * p + k] += weight * self.x(j, cell) * self.x(k, cell);
                }
            }
        }
        let factor = Cholesky::new(&normal, p).map_err(|at| self.singular(at.0))?;
        Ok(factor.solve(&right))
    }

    /// Scores summed by cluster.
    pub(super) fn scores(&self, cluster: &[u32], state: &State) -> BTreeMap<u32, Vec<f64>> {
        let p = self.input.covariates.len();
        let mut scores: BTreeMap<u32, Vec<f64>> = BTreeMap::new();
        for (&cell, mu) in self.cells.iter().zip(&state.mu) {
            let rest = self.input.deaths[cell] as f64 - mu;
            let own = scores.entry(cluster[cell]).or_insert_with(|| vec![0.0; p]);
            for (j, own) in own.iter_mut().enumerate() {
                *own += rest * self.x(j, cell);
            }
        }
        scores
    }
}

pub(super) fn products(scores: &BTreeMap<u32, Vec<f64>>, p: usize) -> Matrix {
    let mut products = vec![vec![0.0; p]; p];
    for score in scores.values() {
        for (row, a) in products.iter_mut().zip(score) {
            for (value, b) in row.iter_mut().zip(score) {
                *value += a * b;
            }
        }
    }
    products
}
