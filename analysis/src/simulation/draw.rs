//! Seeded draws. One generator for a whole club, so that a design and its seed say everything.

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

/// A seeded source of draws.
#[derive(Debug, Clone)]
pub struct Draw(ChaCha8Rng);

impl Draw {
    /// The source of a seed.
    pub fn seeded(seed: u64) -> Self {
        Draw(ChaCha8Rng::seed_from_u64(seed))
    }

    /// Uniform on [0, 1).
    pub fn unit(&mut self) -> f64 {
        self.0.random::<f64>()
    }

    /// `true` with a probability.
    pub fn chance(&mut self, probability: f64) -> bool {
        self.unit() < probability
    }

    /// A whole number from `low` to `high`, both included.
    pub fn whole(&mut self, low: i32, high: i32) -> i32 {
        self.0.random_range(low..=high.max(low))
    }

    /// A position below `n` (0 for an empty list).
    pub fn below(&mut self, n: usize) -> usize {
        if n == 0 { 0 } else { self.0.random_range(0..n) }
    }

    /// Standard normal, by Box and Muller.
    pub fn normal(&mut self) -> f64 {
        self.normal_pair()[0]
    }

    /// Two independent standard normal numbers for the price of one.
    pub fn normal_pair(&mut self) -> [f64; 2] {
        let radius = (-2.0 * (1.0 - self.unit()).ln()).sqrt();
        let (sin, cos) = (std::f64::consts::TAU * self.unit()).sin_cos();
        [radius * cos, radius * sin]
    }

    /// Gamma with mean 1 and the given variance, by Marsaglia and Tsang (2000); variance 0 gives 1.
    pub fn gamma_mean_one(&mut self, variance: f64) -> f64 {
        if variance <= 0.0 {
            return 1.0;
        }
        let shape = 1.0 / variance;
        let boost = if shape < 1.0 { (1.0 - self.unit()).powf(1.0 / shape) } else { 1.0 };
        let d = if shape < 1.0 { shape + 1.0 } else { shape } - 1.0 / 3.0;
        let c = 1.0 / (9.0 * d).sqrt();
        loop {
            let x = self.normal();
            let v = (1.0 + c * x).powi(3);
            if v > 0.0 && (1.0 - self.unit()).ln() < 0.5 * x * x + d - d * v + d * v.ln() {
                return boost * d * v / shape;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn gamma_has_mean_one_and_its_variance() {
        let mut draw = Draw::seeded(7);
        for variance in [0.3, 2.0] {
            let n = 40_000;
            let values: Vec<f64> = (0..n).map(|_| draw.gamma_mean_one(variance)).collect();
            let mean = values.iter().sum::<f64>() / f64::from(n);
            let spread = values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / f64::from(n);
            assert!((mean - 1.0).abs() < 0.03, "mean {mean}");
            assert!((spread / variance - 1.0).abs() < 0.12, "variance {spread} for {variance}");
        }
    }
}
