//! One backward pass over the deaths: relative hazards, and the sums that every death is compared with.

use std::ops::Range;

use super::Design;
use super::moments::{Moments, Shape};
use crate::survival::cox::Ties;

/// Sums below this share of their peak have lost digits by subtraction and are made anew.
const CANCELLED: f64 = 1e-7;

/// Sums below this hold terms too small for a double's full precision; such coefficients are out of reach.
const SMALLEST: f64 = 1e-280;

/// One death of several that share a time: the sums it is compared with.
pub(in crate::survival::cox) struct Compared<'a> {
    /// Number of the death time.
    pub(in crate::survival::cox) death: usize,
    /// `l / d` with Efron's ties, 0 with Breslow's.
    pub(in crate::survival::cox) share: f64,
    /// Sums over those at risk, less `share` of those dying.
    pub(in crate::survival::cox) sums: &'a Moments,
    /// Offset of the linear predictor in this stratum.
    pub(in crate::survival::cox) offset: f64,
}

impl Design {
    /// Per place its weight times `exp(x'b - c)`, and per stratum `c`, the largest `x'b` in it.
    pub(in crate::survival::cox) fn relative_hazards(&self, b: &[f64]) -> (Vec<f64>, Vec<f64>) {
        if b.iter().all(|b| *b == 0.0) {
            let r = self.weights.clone().unwrap_or_else(|| vec![1.0; self.places()]);
            return (r, vec![0.0; self.risk.strata.len()]);
        }
        let mut r: Vec<f64> = self.x.chunks_exact(self.p).map(|x| x.iter().zip(b).map(|(x, b)| x * b).sum()).collect();
        let mut offsets = Vec::with_capacity(self.risk.strata.len());
        for stratum in &self.risk.strata {
            if stratum.is_empty() {
                offsets.push(0.0);
                continue;
            }
            let places = self.leaving[stratum.start] as usize..self.leaving[stratum.end] as usize;
            let offset = r[places.clone()].iter().copied().fold(f64::NEG_INFINITY, f64::max);
            r[places].iter_mut().for_each(|eta| *eta = (*eta - offset).exp());
            offsets.push(offset);
        }
        if let Some(weights) = &self.weights {
            r.iter_mut().zip(weights).for_each(|(r, weight)| *r *= weight);
        }
        (r, offsets)
    }

    /// Visits every death with the sums it is compared with, up to moments of `order` (1 to 3). Strata come in turn,
    /// deaths within a stratum backwards, deaths at one time with rising `share`. Returns the log partial likelihood,
    /// not a number where hazards differ by more than a double can hold.
    pub(in crate::survival::cox) fn sweep(&self, b: &[f64], order: usize, visit: impl FnMut(&Compared)) -> f64 {
        let (r, offsets) = self.relative_hazards(b);
        self.sweep_hazards(b, &r, &offsets, order, visit)
    }

    /// [`Design::sweep`] with the relative hazards at `b` at hand.
    pub(in crate::survival::cox) fn sweep_hazards(
        &self,
        b: &[f64],
        r: &[f64],
        offsets: &[f64],
        order: usize,
        mut visit: impl FnMut(&Compared),
    ) -> f64 {
        let shape = Shape { p: self.p, order };
        let width = shape.cell();
        let mut entering = Vec::new();
        let by_death = self.entering_places.is_none();
        if by_death {
            entering.resize(self.risk.times.len() * width, 0.0);
            shape.scatter(&mut entering, &self.entry, r, &self.x, &self.first_of_stratum);
        }
        let mut risk = Moments::new(shape);
        let mut dying = risk.clone();
        let mut compared = risk.clone();
        let mut log_likelihood = 0.0;
        for (stratum, &offset) in self.risk.strata.iter().zip(offsets) {
            risk.clear();
            let mut count = 0usize;
            let mut peak = 0.0f64;
            for death in stratum.clone().rev() {
                let leaving = self.leaving[death] as usize..self.leaving[death + 1] as usize;
                count += leaving.len();
                risk.add_all(&r[leaving.clone()], &self.x[leaving.start * self.p..leaving.end * self.p]);
                peak = peak.max(risk.s0());
                if risk.s0() < CANCELLED * peak {
                    self.sums_anew(&mut risk, r, stratum, death);
                    peak = risk.s0();
                }
                let dead = self.dying(death);
                let d: f64 = dead.clone().map(|place| self.weight(place)).sum();
                if d > 1.0 && self.ties == Ties::Efron {
                    dying.clear();
                    dying.add_all(&r[dead.clone()], &self.x[dead.start * self.p..dead.end * self.p]);
                }
                for place in dead {
                    let eta: f64 = self.x(place).iter().zip(b).map(|(x, b)| x * b).sum();
                    log_likelihood += self.weight(place) * (eta - offset);
                }
                // Weights are whole numbers wherever there are deaths to be counted one by one.
                for l in 0..d.round() as usize {
                    let share = if self.ties == Ties::Efron { l as f64 / d } else { 0.0 };
                    let sums = if share > 0.0 {
                        compared.difference(&risk, share, &dying);
                        &compared
                    } else {
                        &risk
                    };
                    log_likelihood -= if sums.s0() > SMALLEST { sums.s0().ln() } else { f64::NAN };
                    visit(&Compared { death, share, sums, offset });
                }
                count -= self.entering[death] as usize;
                if count == 0 {
                    risk.clear();
                    peak = 0.0;
                } else if by_death {
                    risk.subtract(&entering[death * width..(death + 1) * width]);
                } else if let Some(places) = &self.entering_places {
                    for &place in places.of(death) {
                        let place = place as usize;
                        risk.add(-r[place], self.x(place));
                    }
                }
            }
        }
        log_likelihood
    }

    /// The sums at one death straight from the rows at risk there.
    fn sums_anew(&self, sums: &mut Moments, r: &[f64], stratum: &Range<usize>, death: usize) {
        sums.clear();
        let still_there = self.leaving[death] as usize..self.leaving[stratum.end] as usize;
        for place in still_there {
            if self.entry[place] as usize <= death {
                sums.add(r[place], self.x(place));
            }
        }
    }
}
