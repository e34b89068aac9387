//! Simulated rows of specimens in tanks: late entries, conditions that change every few weeks, ties on whole days or none.

use std::fmt::Write;

use analysis::episode::Episodes;
use analysis::survival::Covariate;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

pub const COVARIATES: usize = 5;
pub const BANDS: usize = 5;
const SEED: u64 = 7;
const ROWS_PER_TANK: usize = 160;

pub struct Rows {
    pub episodes: Episodes,
    pub covariates: Vec<Covariate>,
    pub tank: Vec<u32>,
    pub band: Vec<u32>,
}

/// So many rows, with times on whole days or not.
pub fn simulated(rows: usize, whole_days: bool) -> Rows {
    another(rows, whole_days, 0)
}

/// Rows made alike, others for each number.
pub fn another(rows: usize, whole_days: bool, number: usize) -> Rows {
    let mut random = ChaCha8Rng::seed_from_u64(SEED + number as u64);
    let mut unit = move || random.random::<f64>();
    let covariate = |j: usize| Covariate { name: format!("x{}", j + 1), values: Vec::with_capacity(rows) };
    let mut covariates: Vec<Covariate> = (0..COVARIATES).map(covariate).collect();
    let mut episodes = Episodes::default();
    let (mut tank, mut band) = (Vec::with_capacity(rows), Vec::with_capacity(rows));
    let tanks = (rows / ROWS_PER_TANK).max(20) as f64;
    while episodes.len() < rows {
        let own_tank = (unit() * tanks) as u32;
        let late = if unit() < 0.3 { unit() * 400.0 } else { 0.0 };
        let mut at = if whole_days { late.floor() } else { late };
        let end = (at + 100.0 + unit() * 900.0).ceil();
        let own: Vec<f64> = (0..COVARIATES).map(|_| unit() * 2.0 - 1.0).collect();
        while episodes.len() < rows {
            let x: Vec<f64> = own.iter().map(|own| own + unit() - 0.5).collect();
            let hazard = 0.0006 * (0.4 * x[0] - 0.3 * x[1] + 0.2 * x[2]).exp();
            let changes = at + 20.0 + unit() * 140.0;
            let dies = at - (1.0 - unit()).ln() / hazard;
            let (changes, dies) = if whole_days { (changes.floor(), dies.ceil()) } else { (changes, dies) };
            let stop = changes.min(end).min(dies);
            episodes.start.push(at);
            episodes.stop.push(stop);
            episodes.event.push(dies <= stop);
            tank.push(own_tank);
            band.push(((x[0] + 1.5) / 0.6).floor().clamp(0.0, BANDS as f64 - 1.0) as u32);
            covariates.iter_mut().zip(&x).for_each(|(column, x)| column.values.push(*x));
            if dies <= stop || stop >= end {
                break;
            }
            at = stop;
        }
    }
    Rows { episodes, covariates, tank, band }
}

impl Rows {
    /// The rows as if each had begun at 0: what a test without late entry takes.
    pub fn right_censored(&self) -> Episodes {
        let e = &self.episodes;
        let stop = e.start.iter().zip(&e.stop).map(|(start, stop)| stop - start).collect();
        Episodes { start: vec![0.0; e.len()], stop, event: e.event.clone() }
    }

    pub fn csv(&self) -> String {
        let e = &self.episodes;
        let mut text = String::from("start,stop,event,x1,x2,x3,x4,x5,tank,band\n");
        for row in 0..e.len() {
            let _ = write!(text, "{},{},{}", e.start[row], e.stop[row], u8::from(e.event[row]));
            for covariate in &self.covariates {
                let _ = write!(text, ",{}", covariate.values[row]);
            }
            let _ = writeln!(text, ",{},{}", self.tank[row], self.band[row]);
        }
        text
    }
}
