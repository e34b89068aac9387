//! Rows sorted once, and sums over risk sets at given coefficients.
//!
//! Every quantity of the model comes from one backward sweep over the deaths of each stratum: a row is added when its
//! end is passed and taken away when its start is. Subtraction only happens for late entry and split rows, and sums
//! that have lost digits by it are made anew from the rows at risk.
//!
//! Rows stand in the order in which they leave, so that adding reads them one after the other, and once a sweep. What
//! enters at a death is summed as it leaves, in a ring of as many deaths as a row is at risk at, and looked up row by row
//! where that would take much memory.

use std::sync::{Mutex, PoisonError};

use crate::episode::Episodes;
use crate::numeric::order::Grouped;
use crate::numeric::{Matrix, Sum};
use crate::refusal::{Refusal, RefusalCode};
use crate::survival::risk::RiskSets;

use super::{CoxInput, Ties};
use moments::Shape;

pub(super) use sweep::Compared;

mod moments; // sums over rows
mod sweep; // the pass over the deaths

/// A covariate whose spread among those at risk is below this share of its size is constant.
const CONSTANT: f64 = 1e-10;

/// Sums of entering rows take at most so many numbers: 32 MB.
const CELLS: usize = 1 << 22;

/// Rows summed plainly before their sum joins one that keeps its digits.
const CHUNK: usize = 1024;

/// Rows at risk at a death, in the order of the deaths at which they leave.
#[derive(Debug, Clone)]
pub(super) struct Design {
    /// Death times and strata.
    pub(super) risk: RiskSets,
    ties: Ties,
    p: usize,
    /// Row in the input, per place.
    rows: Vec<u32>,
    /// First death and one past the last, per place.
    entry: Vec<u32>,
    exit: Vec<u32>,
    /// Places of the rows that leave at each death: those that die come first.
    leaving: Vec<u32>,
    /// Number of rows that die, per death.
    dying: Vec<u32>,
    /// Number of rows that enter, per death.
    entering: Vec<u32>,
    /// Whether a death is the first of its stratum: what enters there need not be taken away.
    first_of_stratum: Vec<bool>,
    /// Places of the rows that enter at each death; absent where they are summed by death.
    entering_places: Option<Grouped>,
    /// Deaths whose entering rows are summed at any one time: as many as a row is at risk at, or more; a power of 2.
    ring: usize,
    /// How often each place counts; `None`: once.
    weights: Option<Vec<f64>>,
    /// Centred and scaled covariates, place by place.
    x: Vec<f64>,
    mean: Vec<f64>,
    scale: Vec<f64>,
    /// Least and largest of each.
    range: Vec<(f64, f64)>,
    /// Sum of the covariates of those that die, each as often as its row counts.
    of_deaths: Vec<f64>,
    kept: Kept,
}

/// Memory kept from one pass to the next: the system takes its time to hand out much of it anew.
#[derive(Debug, Clone, Default)]
struct Kept {
    /// Sums of entering rows by death, in a ring; all 0 between two passes.
    table: Buffer,
    /// Relative hazards.
    hazards: Buffer,
}

#[derive(Debug, Default)]
struct Buffer(Mutex<Vec<f64>>);

impl Clone for Buffer {
    fn clone(&self) -> Buffer {
        Buffer::default()
    }
}

impl Buffer {
    /// So many numbers, 0 where they are new.
    fn take(&self, length: usize) -> Vec<f64> {
        let mut numbers = std::mem::take(&mut *self.0.lock().unwrap_or_else(PoisonError::into_inner));
        numbers.resize(length, 0.0);
        numbers
    }

    fn give_back(&self, numbers: Vec<f64>) {
        *self.0.lock().unwrap_or_else(PoisonError::into_inner) = numbers;
    }
}

impl Design {
    /// Sorts the rows; covariates are centred and scaled by their spread among rows at risk at a death.
    ///
    /// # Errors
    /// `NoEvents`; `Singular` for a covariate that is constant among those rows.
    pub(super) fn new(input: &CoxInput, ties: Ties) -> Result<Design, Refusal> {
        let episodes: &Episodes = input.episodes;
        let risk = RiskSets::new(episodes, input.strata, None);
        let deaths = risk.times.len();
        if deaths == 0 {
            return Err(Refusal::counted(
                RefusalCode::NoEvents,
                0.0,
                1.0,
                "nobody died: there is no hazard to compare",
            ));
        }
        let met = (0..episodes.len()).filter(|&row| risk.entry[row] < risk.exit[row]);
        // Two numbers a death: those that die there, then those that leave after it.
        let number = |row: usize| 2 * (risk.exit[row] - 1) + u32::from(!episodes.event[row]);
        let grouped = Grouped::new(2 * deaths, met.map(|row| (number(row), row as u32)));
        let leaving = grouped.first.iter().step_by(2).copied().collect();
        let dying = (0..deaths).map(|death| grouped.range(2 * death).len() as u32).collect();
        let rows = grouped.items;
        let entry: Vec<u32> = rows.iter().map(|&row| risk.entry[row as usize]).collect();
        let exit: Vec<u32> = rows.iter().map(|&row| risk.exit[row as usize]).collect();
        let mut first_of_stratum = vec![false; deaths];
        for stratum in risk.strata.iter().filter(|stratum| !stratum.is_empty()) {
            first_of_stratum[stratum.start] = true;
        }
        let mut entering = vec![0u32; deaths];
        for &death in &entry {
            entering[death as usize] += 1;
        }
        let p = input.covariates.len();
        let met = entry.iter().zip(&exit).filter(|(entry, _)| !first_of_stratum[**entry as usize]);
        let longest = met.map(|(entry, exit)| exit - entry).max().unwrap_or(1) as usize;
        let ring = longest.next_power_of_two();
        let summed = ring * Shape { p, order: 2 }.cell() <= CELLS;
        let entering_places = (!summed).then(|| by_entry(&entry, &first_of_stratum));
        // Row by row of the input: one place far off is written, instead of one number of each covariate read far off.
        let mut x = vec![0.0; rows.len() * p];
        let mut place_of = vec![u32::MAX; episodes.len()];
        (0..).zip(&rows).for_each(|(place, &row)| place_of[row as usize] = place);
        for (row, place) in place_of.iter().enumerate().filter(|(_, place)| **place != u32::MAX) {
            let own = &mut x[*place as usize * p..][..p];
            own.iter_mut().zip(input.covariates).for_each(|(x, covariate)| *x = covariate.values[row]);
        }
        drop(place_of);
        let mut design = Design {
            risk,
            ties,
            p,
            rows,
            entry,
            exit,
            leaving,
            dying,
            entering,
            first_of_stratum,
            entering_places,
            ring,
            weights: None,
            x,
            mean: vec![0.0; p],
            scale: vec![1.0; p],
            range: Vec::new(),
            of_deaths: Vec::new(),
            kept: Kept::default(),
        };
        design.centre_and_scale(input)?;
        Ok(design)
    }

    /// Weighted by the deaths a row is at risk at, so that cutting rows in two moves neither centre nor spread.
    fn centre_and_scale(&mut self, input: &CoxInput) -> Result<(), Refusal> {
        let p = self.p;
        let mut largest = vec![f64::MIN_POSITIVE; p];
        for x in self.x.chunks_exact(p) {
            for (most, x) in largest.iter_mut().zip(x) {
                *most = most.max(x.abs());
            }
        }
        let whole = self.sums_over_places(|sums, weight, _| sums[0] += weight)[0];
        let centre = self.sums_over_places(|sums, weight, x| {
            for ((sum, x), most) in sums.iter_mut().zip(x).zip(&largest) {
                *sum += weight * (x / most);
            }
        });
        let centre: Vec<f64> = centre.iter().map(|sum| sum / whole).collect();
        let spread = self.sums_over_places(|sums, weight, x| {
            for (((sum, x), most), centre) in sums.iter_mut().zip(x).zip(&largest).zip(&centre) {
                let off = x / most - centre;
                *sum += weight * (off * off);
            }
        });
        let spread: Vec<f64> = spread.iter().map(|sum| (sum / whole).sqrt()).collect();
        if let Some(j) = spread.iter().position(|spread| spread.is_nan() || *spread <= CONSTANT) {
            return Err(Refusal::plain(
                RefusalCode::Singular,
                format!("{} is the same for all that were at risk when somebody died", input.covariates[j].name),
            ));
        }
        self.range = vec![(f64::INFINITY, f64::NEG_INFINITY); p];
        for x in self.x.chunks_exact_mut(p) {
            let of_covariates = largest.iter().zip(&centre).zip(&spread).zip(&mut self.range);
            for (x, (((most, centre), spread), range)) in x.iter_mut().zip(of_covariates) {
                *x = (*x / most - centre) / spread;
                *range = (range.0.min(*x), range.1.max(*x));
            }
        }
        for j in 0..p {
            self.mean[j] = centre[j] * largest[j];
            self.scale[j] = spread[j] * largest[j];
        }
        self.of_deaths = self.sum_of_deaths();
        Ok(())
    }

    fn sum_of_deaths(&self) -> Vec<f64> {
        let mut sum = vec![0.0; self.p];
        for place in (0..self.risk.times.len()).flat_map(|death| self.dying(death)) {
            let weight = self.weight(place);
            sum.iter_mut().zip(self.x(place)).for_each(|(sum, x)| *sum += weight * x);
        }
        sum
    }

    /// Sums over the places, `add` being given the number of deaths each is at risk at and its covariates.
    fn sums_over_places(&self, add: impl Fn(&mut [f64], f64, &[f64])) -> Vec<f64> {
        let mut total = vec![Sum::default(); self.p];
        let mut chunk = vec![0.0; self.p];
        for first in (0..self.places()).step_by(CHUNK) {
            chunk.fill(0.0);
            for place in first..(first + CHUNK).min(self.places()) {
                add(&mut chunk, f64::from(self.exit[place] - self.entry[place]), self.x(place));
            }
            for (total, part) in total.iter_mut().zip(&chunk) {
                total.add(*part);
            }
        }
        total.iter().map(Sum::value).collect()
    }

    /// Lets every row count as often as the weight of its row in the input says: 0 leaves it out, 2 stands for two rows.
    pub(super) fn weigh(&mut self, weight_of_row: impl Fn(usize) -> f64) {
        self.weights = Some(self.rows.iter().map(|&row| weight_of_row(row as usize)).collect());
        self.of_deaths = self.sum_of_deaths();
    }

    /// How often the row at this place counts.
    pub(super) fn weight(&self, place: usize) -> f64 {
        self.weights.as_ref().map_or(1.0, |weights| weights[place])
    }

    pub(super) fn covariates(&self) -> usize {
        self.p
    }

    /// Deaths, each as often as its row counts.
    pub(super) fn deaths(&self) -> f64 {
        (0..self.risk.times.len()).flat_map(|death| self.dying(death)).map(|place| self.weight(place)).sum()
    }

    pub(super) fn mean(&self) -> &[f64] {
        &self.mean
    }

    pub(super) fn scale(&self) -> &[f64] {
        &self.scale
    }

    /// Sum of the scaled covariates of those that die, each as often as its row counts.
    pub(super) fn of_deaths(&self) -> &[f64] {
        &self.of_deaths
    }

    /// Number of rows at risk at a death.
    pub(super) fn places(&self) -> usize {
        self.rows.len()
    }

    /// Row of the input at this place.
    pub(super) fn row(&self, place: usize) -> usize {
        self.rows[place] as usize
    }

    /// First death, and one past the last, at which the row at this place is at risk.
    pub(super) fn span(&self, place: usize) -> (usize, usize) {
        (self.entry[place] as usize, self.exit[place] as usize)
    }

    /// Scaled covariates at this place.
    pub(super) fn x(&self, place: usize) -> &[f64] {
        &self.x[place * self.p..(place + 1) * self.p]
    }

    /// Places of the rows that die at this death.
    pub(super) fn dying(&self, death: usize) -> std::ops::Range<usize> {
        let first = self.leaving[death] as usize;
        first..first + self.dying[death] as usize
    }

    /// Whether the row at this place dies at the end of its span.
    pub(super) fn dies(&self, place: usize) -> bool {
        self.dying(self.exit[place] as usize - 1).contains(&place)
    }

    /// A variance of scaled coefficients in the covariates' own units.
    pub(super) fn unscale(&self, variance: &[Vec<f64>]) -> Matrix {
        variance
            .iter()
            .zip(&self.scale)
            .map(|(row, a)| row.iter().zip(&self.scale).map(|(v, b)| v / (a * b)).collect())
            .collect()
    }
}

/// Places by the death at which they enter, without those that enter at the first of a stratum.
fn by_entry(entry: &[u32], first_of_stratum: &[bool]) -> Grouped {
    let late = entry.iter().enumerate().filter(|(_, death)| !first_of_stratum[**death as usize]);
    Grouped::new(first_of_stratum.len(), late.map(|(place, &death)| (death, place as u32)))
}

#[cfg(test)]
mod tests {
    use super::super::fit::evaluate;
    use super::super::tests::mixed;
    use super::moments::Moments;
    use super::*;

    #[test]
    fn entering_rows_summed_by_death_or_looked_up_give_the_same() -> Result<(), Refusal> {
        let (e, covariates, tank) = mixed(200);
        let strata: Vec<u32> = tank.iter().map(|tank| tank % 3).collect();
        for strata in [None, Some(strata.as_slice())] {
            let input = CoxInput { episodes: &e, covariates: &covariates, strata, cluster: None };
            let summed = Design::new(&input, Ties::Efron)?;
            let mut looked_up = summed.clone();
            looked_up.entering_places = Some(by_entry(&summed.entry, &summed.first_of_stratum));
            let (a, b) = (evaluate(&summed, &[0.3, -0.2]), evaluate(&looked_up, &[0.3, -0.2]));
            assert!((a.log_likelihood - b.log_likelihood).abs() < 1e-10 * a.log_likelihood.abs());
            for (a, b) in a.score.iter().chain(&a.information).zip(b.score.iter().chain(&b.information)) {
                assert!((a - b).abs() < 1e-10 * a.abs().max(1.0), "{a} {b}");
            }
        }
        Ok(())
    }

    #[test]
    fn loops_for_few_and_for_any_number_of_covariates_agree() {
        let x: Vec<f64> = (0..100).map(|i| f64::from(i * 7 % 11) - 4.0).collect();
        for p in 1..=25 {
            let rows = x.len() / p;
            let r: Vec<f64> = (0..rows).map(|i| 0.5 + i as f64 / 8.0).collect();
            let mut fast = Moments::new(Shape { p, order: 2 });
            let mut slow = fast.clone();
            fast.add_all(&r, &x[..rows * p]);
            r.iter().zip(x.chunks_exact(p)).for_each(|(&r, x)| slow.add(r, x));
            assert_eq!((fast.s0(), fast.s1()), (slow.s0(), slow.s1()));
            for i in 0..p {
                assert_eq!(fast.s2()[i * p..=i * p + i], slow.s2()[i * p..=i * p + i], "{p}");
            }
        }
    }
}
