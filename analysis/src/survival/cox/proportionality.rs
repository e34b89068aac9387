//! Does a hazard ratio change with time: the score test of a slope of the coefficient in a transform of time.
//!
//! It treats specimens as independent. Few deaths or late changes can go unseen.
//!
//! Grambsch & Therneau 1994, Biometrika 81: 515–526; the exact score test, not that paper's approximation.

use crate::numeric::tail::chi_squared_upper;
use crate::numeric::{Cholesky, Matrix};
use crate::refusal::{Refusal, RefusalCode};
use crate::survival::risk::RiskSets;

use super::fit::add_information;
use super::{CoxFit, CoxInput, same_design};

/// The scale of time on which a slope is looked for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Transform {
    /// One less the survival curve of all rows just before: spreads the deaths evenly, the default.
    #[default]
    Km,
    /// Average ranks of the ends of all rows.
    Rank,
    /// Time itself.
    Identity,
    /// Natural logarithm of time; all deaths must come after time 0.
    Log,
}

/// One test.
#[derive(Debug, Clone, PartialEq)]
pub struct ProportionalityTest {
    /// Covariate, or `GLOBAL` for all together.
    pub name: String,
    /// Chi-squared statistic.
    pub statistic: f64,
    /// Degrees of freedom.
    pub df: usize,
    /// Upper tail.
    pub p: f64,
}

/// One test per covariate, then `GLOBAL`.
///
/// # Errors
/// As [`proportionality_of`].
pub fn proportionality(
    input: &CoxInput,
    fit: &CoxFit,
    transform: Transform,
) -> Result<Vec<ProportionalityTest>, Refusal> {
    let single: Vec<(String, Vec<usize>)> =
        input.covariates.iter().enumerate().map(|(j, covariate)| (covariate.name.clone(), vec![j])).collect();
    proportionality_of(input, fit, transform, &single)
}

/// One test per term, a term being a name and the positions of its covariates (the levels of a category), then
/// `GLOBAL`.
///
/// # Errors
/// `InvalidInput` if the input is not that of the fit, a term names no covariate, or a death comes too early for the
/// logarithm; `Separation` if a coefficient was refused; `Singular` if the deaths do not spread over time.
pub fn proportionality_of(
    input: &CoxInput,
    fit: &CoxFit,
    transform: Transform,
    terms: &[(String, Vec<usize>)],
) -> Result<Vec<ProportionalityTest>, Refusal> {
    let design = same_design(input, fit)?;
    let p = design.covariates();
    if fit.is_separated() {
        return Err(Refusal::plain(
            RefusalCode::Separation,
            "whether a ratio changes with time cannot be tested in a fit with a refused coefficient",
        ));
    }
    if let Some((name, _)) = terms.iter().find(|(_, at)| at.is_empty() || at.iter().any(|&j| j >= p)) {
        return Err(Refusal::plain(RefusalCode::InvalidInput, format!("{name} is not a covariate of the fit")));
    }
    let scale = TimeScale::new(input, transform);
    let mut g: Vec<f64> = design.risk.times.iter().map(|&t| scale.at(t)).collect();
    if g.iter().any(|value| !value.is_finite()) {
        return Err(Refusal::plain(RefusalCode::InvalidInput, "a death at time 0 or before has no logarithm"));
    }
    let mean = (0..g.len()).map(|d| g[d] * design.dying(d).len() as f64).sum::<f64>() / design.deaths();
    g.iter_mut().for_each(|value| *value -= mean);
    let mut slope = vec![0.0; p];
    let mut sums = [vec![0.0; p * p], vec![0.0; p * p], vec![0.0; p * p]];
    let mut one = vec![0.0; p * p];
    design.sweep(&fit.scaled, 2, |compared| {
        let weight = g[compared.death];
        one.fill(0.0);
        add_information(compared, p, &mut one);
        for (power, sum) in sums.iter_mut().enumerate() {
            let weight = weight.powi(power as i32);
            sum.iter_mut().zip(&one).for_each(|(sum, v)| *sum += weight * v);
        }
        for (slope, s1) in slope.iter_mut().zip(compared.sums.s1()) {
            *slope -= weight * s1 / compared.sums.s0();
        }
    });
    for (death, weight) in g.iter().enumerate() {
        for place in design.dying(death) {
            for (slope, x) in slope.iter_mut().zip(design.x(place)) {
                *slope += weight * x;
            }
        }
    }
    let [a, b, c] = sums;
    let rest = Cholesky::new(&a, p).map(|factor| {
        let mut rest = vec![vec![0.0; p]; p];
        for j in 0..p {
            let column: Vec<f64> = (0..p).map(|i| b[i.max(j) * p + i.min(j)]).collect();
            let solved = factor.solve(&column);
            for (i, row) in rest.iter_mut().enumerate() {
                let product: f64 = (0..p).map(|k| b[i.max(k) * p + i.min(k)] * solved[k]).sum();
                row[j] = c[i.max(j) * p + i.min(j)] - product;
            }
        }
        rest
    });
    let not_spread =
        || Refusal::plain(RefusalCode::Singular, "the deaths do not spread enough over time for this test");
    let rest: Matrix = rest.map_err(|_| not_spread())?;
    let whole = ("GLOBAL".to_string(), (0..p).collect::<Vec<usize>>());
    terms
        .iter()
        .chain(std::iter::once(&whole))
        .map(|(name, at)| {
            let rows: Matrix = at.iter().map(|&i| at.iter().map(|&j| rest[i][j]).collect()).collect();
            let values: Vec<f64> = at.iter().map(|&j| slope[j]).collect();
            let large = at.iter().all(|&j| rest[j][j] > 1e-10 * c[j * p + j]);
            let factor = Cholesky::of_rows(&rows).ok().filter(|_| large).ok_or_else(not_spread)?;
            let statistic = factor.quadratic(&values);
            let df = at.len();
            Ok(ProportionalityTest { name: name.clone(), statistic, df, p: chi_squared_upper(statistic, df as f64) })
        })
        .collect()
}

/// The transform as a lookup by death time, over all rows regardless of strata.
enum TimeScale {
    Km { times: Vec<f64>, before: Vec<f64> },
    Rank { stops: Vec<f64> },
    Identity,
    Log,
}

impl TimeScale {
    fn new(input: &CoxInput, transform: Transform) -> TimeScale {
        match transform {
            Transform::Km => {
                let risk = RiskSets::new(input.episodes, None, None);
                let (at_risk, events) = risk.counts(input.episodes);
                let mut survival = 1.0;
                let before = at_risk
                    .iter()
                    .zip(&events)
                    .map(|(&n, &d)| {
                        let before = survival;
                        survival *= (n - d) as f64 / n as f64;
                        before
                    })
                    .collect();
                TimeScale::Km { times: risk.times, before }
            }
            Transform::Rank => {
                let mut stops = input.episodes.stop.clone();
                stops.sort_by(f64::total_cmp);
                TimeScale::Rank { stops }
            }
            Transform::Identity => TimeScale::Identity,
            Transform::Log => TimeScale::Log,
        }
    }

    fn at(&self, t: f64) -> f64 {
        match self {
            TimeScale::Km { times, before } => {
                1.0 - before.get(times.partition_point(|time| *time < t)).copied().unwrap_or(0.0)
            }
            TimeScale::Rank { stops } => {
                let below = stops.partition_point(|stop| *stop < t);
                let up_to = stops.partition_point(|stop| *stop <= t);
                0.5 * (below + up_to + 1) as f64
            }
            TimeScale::Identity => t,
            TimeScale::Log => t.ln(),
        }
    }
}
