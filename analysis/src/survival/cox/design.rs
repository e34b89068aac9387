//! Rows sorted once, and sums over risk sets at given coefficients.
//!
//! Every quantity of the model comes from one backward sweep over the deaths of each stratum: a row is added when its
//! end is passed and taken away when its start is. Subtraction only happens for late entry and split rows, and sums
//! that have lost digits by it are made anew from the rows at risk.

use crate::episode::Episodes;
use crate::numeric::{Matrix, neumaier};
use crate::refusal::{Refusal, RefusalCode};
use crate::survival::risk::RiskSets;

use super::{CoxInput, Ties};

/// Sums below this share of their peak have lost digits by subtraction and are made anew.
const CANCELLED: f64 = 1e-7;

/// Sums below this hold terms too small for a double's full precision; such coefficients are out of reach.
const SMALLEST: f64 = 1e-280;

/// A covariate whose spread among those at risk is below this share of its size is constant.
const CONSTANT: f64 = 1e-10;

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
    /// Places of the rows that enter at each death, except at the first of a stratum.
    entering: Vec<u32>,
    entering_places: Vec<u32>,
    /// Centred and scaled covariates, place by place.
    x: Vec<f64>,
    mean: Vec<f64>,
    scale: Vec<f64>,
    deaths: u64,
}

/// Sums of `r`, `r x`, `r x x'` and, if asked, third moments; `r = exp(x'b - c)`.
#[derive(Debug, Clone)]
pub(super) struct Moments {
    order: usize,
    p: usize,
    /// Sum of `r`.
    pub(super) s0: f64,
    /// Sum of `r x`.
    pub(super) s1: Vec<f64>,
    /// Sum of `r x_i x_j` at `i * p + j`, for `j <= i`.
    pub(super) s2: Vec<f64>,
    /// Sum of `r x_i x_j x_k` at `(i * p + j) * p + k`, for `k <= j <= i`.
    pub(super) s3: Vec<f64>,
}

impl Moments {
    fn new(p: usize, order: usize) -> Moments {
        Moments {
            order,
            p,
            s0: 0.0,
            s1: vec![0.0; p],
            s2: vec![0.0; if order >= 2 { p * p } else { 0 }],
            s3: vec![0.0; if order >= 3 { p * p * p } else { 0 }],
        }
    }

    fn clear(&mut self) {
        self.s0 = 0.0;
        self.s1.fill(0.0);
        self.s2.fill(0.0);
        self.s3.fill(0.0);
    }

    fn add(&mut self, r: f64, x: &[f64]) {
        let p = self.p;
        self.s0 += r;
        for (i, (xi, s1)) in x.iter().zip(&mut self.s1).enumerate() {
            let ri = r * xi;
            *s1 += ri;
            if self.order < 2 {
                continue;
            }
            for (sum, xj) in self.s2[i * p..=i * p + i].iter_mut().zip(x) {
                *sum += ri * xj;
            }
            if self.order < 3 {
                continue;
            }
            for (j, xj) in x[..=i].iter().enumerate() {
                let first = (i * p + j) * p;
                for (sum, xk) in self.s3[first..=first + j].iter_mut().zip(x) {
                    *sum += ri * xj * xk;
                }
            }
        }
    }

    /// `risk - share * dying`, into `self`.
    fn difference(&mut self, risk: &Moments, share: f64, dying: &Moments) {
        let less = |to: &mut [f64], a: &[f64], b: &[f64]| {
            for ((to, a), b) in to.iter_mut().zip(a).zip(b) {
                *to = a - share * b;
            }
        };
        self.s0 = risk.s0 - share * dying.s0;
        less(&mut self.s1, &risk.s1, &dying.s1);
        less(&mut self.s2, &risk.s2, &dying.s2);
        less(&mut self.s3, &risk.s3, &dying.s3);
    }
}

/// One death of several that share a time: the sums it is compared with.
pub(super) struct Compared<'a> {
    /// Number of the death time.
    pub(super) death: usize,
    /// `l / d` with Efron's ties, 0 with Breslow's.
    pub(super) share: f64,
    /// Sums over those at risk, less `share` of those dying.
    pub(super) sums: &'a Moments,
    /// Offset of the linear predictor in this stratum.
    pub(super) offset: f64,
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
        let mut rows: Vec<u32> =
            (0..episodes.len() as u32).filter(|&r| risk.entry[r as usize] < risk.exit[r as usize]).collect();
        rows.sort_by_key(|&row| (risk.exit[row as usize], !episodes.event[row as usize], row));
        let entry: Vec<u32> = rows.iter().map(|&row| risk.entry[row as usize]).collect();
        let exit: Vec<u32> = rows.iter().map(|&row| risk.exit[row as usize]).collect();
        let leaving: Vec<u32> =
            (0..=deaths).map(|death| exit.partition_point(|&e| e as usize <= death) as u32).collect();
        let mut dying = vec![0u32; deaths];
        for (&row, &end) in rows.iter().zip(&exit) {
            dying[end as usize - 1] += u32::from(episodes.event[row as usize]);
        }
        let mut first_of_stratum = vec![false; deaths];
        for stratum in risk.strata.iter().filter(|stratum| !stratum.is_empty()) {
            first_of_stratum[stratum.start] = true;
        }
        let mut entering_places: Vec<u32> =
            (0..rows.len() as u32).filter(|&place| !first_of_stratum[entry[place as usize] as usize]).collect();
        entering_places.sort_by_key(|&place| (entry[place as usize], place));
        let entering: Vec<u32> = (0..=deaths)
            .map(|death| entering_places.partition_point(|&place| (entry[place as usize] as usize) < death) as u32)
            .collect();
        let p = input.covariates.len();
        // Weighted by the deaths a row is at risk at, so that cutting rows in two moves neither centre nor spread.
        let weights: Vec<f64> = entry.iter().zip(&exit).map(|(a, b)| f64::from(b - a)).collect();
        let whole = neumaier(weights.iter().copied());
        let average = |values: &[f64], of: &dyn Fn(f64) -> f64| {
            neumaier(values.iter().zip(&weights).map(|(&v, w)| w * of(v))) / whole
        };
        let mut x = vec![0.0; rows.len() * p];
        let mut mean = vec![0.0; p];
        let mut scale = vec![1.0; p];
        for (j, covariate) in input.covariates.iter().enumerate() {
            let own = rows.iter().map(|&row| covariate.values[row as usize]);
            let largest = own.clone().fold(f64::MIN_POSITIVE, |most, v| most.max(v.abs()));
            let mut values: Vec<f64> = own.map(|v| v / largest).collect();
            let centre = average(&values, &|v| v);
            let spread = average(&values, &|v| (v - centre) * (v - centre)).sqrt();
            if spread.is_nan() || spread <= CONSTANT {
                return Err(Refusal::plain(
                    RefusalCode::Singular,
                    format!("{} is the same for all that were at risk when somebody died", covariate.name),
                ));
            }
            values.iter_mut().for_each(|v| *v = (*v - centre) / spread);
            for (place, value) in values.into_iter().enumerate() {
                x[place * p + j] = value;
            }
            mean[j] = centre * largest;
            scale[j] = spread * largest;
        }
        let total = dying.iter().map(|&d| u64::from(d)).sum();
        Ok(Design {
            risk,
            ties,
            p,
            rows,
            entry,
            exit,
            leaving,
            dying,
            entering,
            entering_places,
            x,
            mean,
            scale,
            deaths: total,
        })
    }

    pub(super) fn covariates(&self) -> usize {
        self.p
    }

    pub(super) fn deaths(&self) -> u64 {
        self.deaths
    }

    pub(super) fn mean(&self) -> &[f64] {
        &self.mean
    }

    pub(super) fn scale(&self) -> &[f64] {
        &self.scale
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

    /// Linear predictor per place, and per stratum its largest value, to be taken off before `exp`.
    pub(super) fn predictor(&self, b: &[f64]) -> (Vec<f64>, Vec<f64>) {
        let eta: Vec<f64> =
            (0..self.places()).map(|place| self.x(place).iter().zip(b).map(|(x, b)| x * b).sum()).collect();
        let offsets = self
            .risk
            .strata
            .iter()
            .map(|stratum| {
                if stratum.is_empty() {
                    return 0.0;
                }
                let (first, end) = (self.leaving[stratum.start] as usize, self.leaving[stratum.end] as usize);
                eta[first..end].iter().copied().fold(f64::NEG_INFINITY, f64::max)
            })
            .collect();
        (eta, offsets)
    }

    /// Visits every death with the sums it is compared with, up to moments of `order` (1 to 3). Strata come in turn,
    /// deaths within a stratum backwards, deaths at one time with rising `share`. Returns the log partial likelihood,
    /// not a number where hazards differ by more than a double can hold.
    pub(super) fn sweep(&self, b: &[f64], order: usize, mut visit: impl FnMut(&Compared)) -> f64 {
        let (eta, offsets) = self.predictor(b);
        let mut risk = Moments::new(self.p, order);
        let mut dying = risk.clone();
        let mut compared = risk.clone();
        let mut log_likelihood = 0.0;
        for (stratum, &offset) in self.risk.strata.iter().zip(&offsets) {
            risk.clear();
            let mut count = 0usize;
            let mut peak = 0.0f64;
            for death in stratum.clone().rev() {
                let leaving = self.leaving[death] as usize..self.leaving[death + 1] as usize;
                for place in leaving.clone() {
                    risk.add((eta[place] - offset).exp(), self.x(place));
                }
                count += leaving.len();
                peak = peak.max(risk.s0);
                if risk.s0 < CANCELLED * peak {
                    self.sums_anew(&mut risk, &eta, offset, stratum, death);
                    peak = risk.s0;
                }
                let dead = self.dying(death);
                let d = dead.len();
                if d > 1 && self.ties == Ties::Efron {
                    dying.clear();
                    for place in dead.clone() {
                        dying.add((eta[place] - offset).exp(), self.x(place));
                    }
                }
                for place in dead {
                    log_likelihood += eta[place] - offset;
                }
                for l in 0..d {
                    let share = if self.ties == Ties::Efron { l as f64 / d as f64 } else { 0.0 };
                    let sums = if share > 0.0 {
                        compared.difference(&risk, share, &dying);
                        &compared
                    } else {
                        &risk
                    };
                    log_likelihood -= if sums.s0 > SMALLEST { sums.s0.ln() } else { f64::NAN };
                    visit(&Compared { death, share, sums, offset });
                }
                let entering = self.entering[death] as usize..self.entering[death + 1] as usize;
                count -= entering.len();
                if count == 0 {
                    risk.clear();
                    peak = 0.0;
                } else {
                    for &place in &self.entering_places[entering] {
                        let place = place as usize;
                        risk.add(-(eta[place] - offset).exp(), self.x(place));
                    }
                }
            }
        }
        log_likelihood
    }

    /// The sums at one death straight from the rows at risk there.
    fn sums_anew(&self, sums: &mut Moments, eta: &[f64], offset: f64, stratum: &std::ops::Range<usize>, death: usize) {
        sums.clear();
        let still_there = self.leaving[death] as usize..self.leaving[stratum.end] as usize;
        for place in still_there {
            if self.entry[place] as usize <= death {
                sums.add((eta[place] - offset).exp(), self.x(place));
            }
        }
    }
}
