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

/// Predictors that lie within so much of each other need not be known beforehand: no sum under- or overflows.
const NARROW: f64 = 100.0;

/// Places whose relative hazards are worked out together.
const BLOCK: usize = 1024;

impl Design {
    /// Number that `x'b` of a stratum is taken relative to, the largest or a bound of it.
    fn offset(&self, b: &[f64], stratum: &Range<usize>) -> f64 {
        let ends = b.iter().zip(&self.range).map(|(b, (low, high))| (b * low, b * high));
        let (low, high) = ends.fold((0.0, 0.0), |(low, high), (a, b)| (low + a.min(b), high + a.max(b)));
        if stratum.is_empty() || b.iter().all(|b| *b == 0.0) {
            0.0
        } else if high - low < NARROW {
            high
        } else {
            let places = self.leaving[stratum.start] as usize..self.leaving[stratum.end] as usize;
            places.map(|place| self.predictor(b, place)).fold(f64::NEG_INFINITY, f64::max)
        }
    }

    fn predictor(&self, b: &[f64], place: usize) -> f64 {
        self.x(place).iter().zip(b).map(|(x, b)| x * b).sum()
    }

    /// Weight times `exp(x'b - offset)` of these places.
    fn relative_hazards(&self, b: &[f64], offset: f64, places: Range<usize>, r: &mut [f64]) {
        if b.iter().all(|b| *b == 0.0) {
            r[places.clone()].fill(1.0);
        } else {
            for place in places.clone() {
                r[place] = (self.predictor(b, place) - offset).exp();
            }
        }
        if let Some(weights) = &self.weights {
            r[places.clone()].iter_mut().zip(&weights[places]).for_each(|(r, weight)| *r *= weight);
        }
    }

    /// Visits every death with the sums it is compared with, up to moments of `order` (1 to 3). Strata come in turn,
    /// deaths within a stratum backwards, deaths at one time with rising `share`. Returns the log partial likelihood,
    /// not a number where hazards differ by more than a double can hold.
    pub(in crate::survival::cox) fn sweep(&self, b: &[f64], order: usize, visit: impl FnMut(&Compared)) -> f64 {
        let mut r = self.kept.hazards.take(self.places());
        let log_likelihood = self.sweep_hazards(b, &mut r, order, visit);
        self.kept.hazards.give_back(r);
        log_likelihood
    }

    /// [`Design::sweep`] that leaves the relative hazards at `b` in `r`, one a place. Covariates are read once.
    pub(in crate::survival::cox) fn sweep_hazards(
        &self,
        b: &[f64],
        r: &mut [f64],
        order: usize,
        mut visit: impl FnMut(&Compared),
    ) -> f64 {
        let shape = Shape { p: self.p, order };
        let width = shape.cell();
        let by_death = self.entering_places.is_none();
        let mut entering = self.kept.table.take(if by_death { self.ring * width } else { 0 });
        let place_in_ring = |death: usize| death & (self.ring - 1);
        let mut risk = Moments::new(shape);
        let mut dying = risk.clone();
        let mut compared = risk.clone();
        let mut log_likelihood = 0.0;
        for stratum in &self.risk.strata {
            let offset = self.offset(b, stratum);
            let mut from = self.leaving[stratum.end] as usize;
            risk.clear();
            let mut count = 0usize;
            let mut peak = 0.0f64;
            for death in stratum.clone().rev() {
                let leaving = self.leaving[death] as usize..self.leaving[death + 1] as usize;
                count += leaving.len();
                while leaving.start < from {
                    let block = from.saturating_sub(BLOCK).max(self.leaving[stratum.start] as usize)..from;
                    from = block.start;
                    self.relative_hazards(b, offset, block, r);
                }
                let x = &self.x[leaving.start * self.p..leaving.end * self.p];
                risk.add_all(&r[leaving.clone()], x);
                if by_death {
                    // What leaves here enters at a death that is still to come, and its place in the ring is free.
                    let entry = self.entry[leaving.clone()].iter().map(|&death| {
                        let death = death as usize;
                        (!self.first_of_stratum[death]).then(|| place_in_ring(death))
                    });
                    shape.scatter(&mut entering, entry, &r[leaving], x);
                }
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
                    log_likelihood += self.weight(place) * (self.predictor(b, place) - offset);
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
                if by_death {
                    let cell = place_in_ring(death) * width;
                    risk.subtract(&mut entering[cell..cell + width]);
                }
                if count == 0 {
                    risk.clear();
                    peak = 0.0;
                } else if let Some(places) = &self.entering_places {
                    for &place in places.of(death) {
                        let place = place as usize;
                        risk.add(-r[place], self.x(place));
                    }
                }
            }
        }
        self.kept.table.give_back(entering);
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
