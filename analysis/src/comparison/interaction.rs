//! Fed or not, in water within the taught bands or outside: whether one went with losses more where the other held.
//!
//! The state is that of the moment: corals pass from cell to cell. The model is `unfed + in + unfed:in`, so that the
//! ratio of not fed to fed outside is `exp(a)`, within the bands `exp(a + c)`, and the second is the first times
//! `exp(c)`, the ratio of the two. Rows with either unknown are counted and not compared.
//!
//! Cox 1972, J R Stat Soc B 34: 187–220; Lin & Wei 1989, J Am Stat Assoc 84: 1074–1078.

use std::collections::BTreeMap;

use super::contrast::keepers_have;
use super::curve::{ClusterBy, LEVEL, between, mean, pooled_limits};
use super::rows::Rows;
use super::sets::Sets;
use crate::answer::{FirthCoefficient, InteractionRatio, InteractionRatios};
use crate::evidence::{Tally, minimums};
use crate::exposure::Level;
use crate::exposure::given::{FAILED, HELD};
use crate::numeric::Matrix;
use crate::refusal::{Refusal, RefusalCode};
use crate::survival::cox::{FirthFit, firth, model_limits};
use crate::survival::{Covariate, CoxFit, CoxInput, CoxOptions, cox};

/// Feeds a week from which a coral is fed.
pub const FED_FROM: f64 = 1.0;

/// A cell: feeding by water, each of them possibly unknown.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Cell {
    /// Fed at least [`FED_FROM`] times a week.
    pub fed: Option<bool>,
    /// Water within the taught bands.
    pub within: Option<bool>,
}

impl Cell {
    /// All nine.
    pub fn all() -> impl Iterator<Item = Cell> {
        let known = [Some(false), Some(true), None];
        known.into_iter().flat_map(move |fed| known.into_iter().map(move |within| Cell { fed, within }))
    }

    /// The four that are compared, in the order printed.
    pub const COMPARED: [Cell; 4] = [
        Cell { fed: Some(false), within: Some(true) },
        Cell { fed: Some(true), within: Some(true) },
        Cell { fed: Some(false), within: Some(false) },
        Cell { fed: Some(true), within: Some(false) },
    ];

    /// Its number, as the level of a row.
    pub fn number(self) -> u16 {
        let place = |of: Option<bool>| of.map_or(2, u16::from);
        3 * place(self.fed) + place(self.within)
    }

    /// The cell of a level of feeding (0 not fed, 1 fed) and of the water.
    pub fn of(feeding: Level, water: Level) -> u16 {
        let within = match water {
            Some(HELD) => Some(true),
            Some(FAILED) => Some(false),
            _ => None,
        };
        Cell { fed: feeding.map(|level| level > 0), within }.number()
    }

    fn has(self, rows: &Rows, row: usize) -> bool {
        rows.level[row] == Some(self.number())
    }
}

/// What is compared.
#[derive(Debug, Clone, Copy)]
pub struct Interaction<'a> {
    /// Rows whose levels are cells.
    pub sets: &'a Sets,
    /// Tally of each cell of [`Cell::COMPARED`].
    pub tallies: &'a [Tally; 4],
    /// Of the deaths in each, those that fell in one tank event.
    pub event_deaths: &'a [u64; 4],
    /// What corals share.
    pub cluster: ClusterBy,
    /// Only corals of one keeper are compared with each other.
    pub within_keeper: bool,
}

/// Weights of the coefficients `unfed`, `in`, `unfed:in` in a ratio.
type Weights = [f64; 3];
const AMONG_IN: Weights = [1.0, 0.0, 1.0];
const AMONG_OUT: Weights = [1.0, 0.0, 0.0];
const RATIO: Weights = [0.0, 0.0, 1.0];
const COEFFICIENTS: u64 = 3;

impl Interaction<'_> {
    /// The three ratios.
    ///
    /// # Errors
    /// `TooFewEvents` with fewer than five deaths in a cell, `OneTankEvent`, `TooFewKeepers` within keepers, and those
    /// of the model.
    pub fn ratios(&self) -> Result<InteractionRatios, Refusal> {
        self.comparable()?;
        let compared = |rows: &Rows| {
            let keep: Vec<usize> =
                (0..rows.len()).filter(|&row| Cell::COMPARED.iter().any(|cell| cell.has(rows, row))).collect();
            rows.subset(&keep)
        };
        let sets: Vec<Rows> = self.sets.all().iter().map(compared).collect();
        let options = CoxOptions::default();
        let fits = self.each(&sets, |input| cox(input, &options))?;
        if let Some(refused) = fits.iter().flat_map(|fit| &fit.coefficients).find(|c| c.coef.is_none()) {
            let plain = || Refusal::plain(RefusalCode::Separation, "All deaths lie on one side: no finite ratio fits.");
            return Err(refused.refused.clone().unwrap_or_else(plain));
        }
        let deaths = sets.iter().map(|rows| rows.episodes.deaths()).min().unwrap_or(0);
        let few = (deaths as f64) < minimums::DEATHS_PER_COEFFICIENT * COEFFICIENTS as f64;
        let penalised = if few { self.each(&sets, |input| firth(input, &options)).ok() } else { None };
        let ratio = |weights: Weights| InteractionRatio {
            firth: penalised.as_deref().map(|fits| penalised_sum(fits, &weights)),
            ..sum(&fits, &weights)
        };
        Ok(InteractionRatios { among_in: ratio(AMONG_IN), among_out: ratio(AMONG_OUT), ratio: ratio(RATIO) })
    }

    fn comparable(&self) -> Result<(), Refusal> {
        let words = self.sets.outcome.words();
        for (cell, tally) in Cell::COMPARED.iter().zip(self.tallies) {
            if tally.deaths < minimums::CELL_DEATHS {
                return Err(Refusal::counted(
                    RefusalCode::TooFewEvents,
                    tally.deaths as f64,
                    minimums::CELL_DEATHS as f64,
                    format!(
                        "Corals {}: {} {} on record, {} are needed in each cell.",
                        in_words(*cell),
                        tally.deaths,
                        if tally.deaths == 1 { words.one } else { words.many },
                        minimums::CELL_DEATHS
                    ),
                ));
            }
        }
        for (cell, (tally, of_event)) in Cell::COMPARED.iter().zip(self.tallies.iter().zip(self.event_deaths)) {
            if 2 * of_event > tally.deaths {
                return Err(Refusal::counted(
                    RefusalCode::OneTankEvent,
                    (tally.deaths - of_event) as f64,
                    tally.deaths.div_ceil(2) as f64,
                    format!(
                        "{of_event} of the {} {} among corals {} fell in one tank within two weeks: that is the \
                         story of one tank.",
                        tally.deaths,
                        words.many,
                        in_words(*cell)
                    ),
                ));
            }
        }
        if self.within_keeper { self.enough_keepers() } else { Ok(()) }
    }

    /// Within keepers each row of the table needs keepers with losses in both of its cells.
    fn enough_keepers(&self) -> Result<(), Refusal> {
        let rows = &self.sets.middle;
        let mut lost: BTreeMap<u32, [bool; 4]> = BTreeMap::new();
        for row in (0..rows.len()).filter(|&row| rows.episodes.event[row]) {
            if let Some(at) = Cell::COMPARED.iter().position(|cell| cell.has(rows, row)) {
                lost.entry(rows.keeper[row]).or_default()[at] = true;
            }
        }
        let both = |one: usize, other: usize| lost.values().filter(|at| at[one] && at[other]).count() as u64;
        let keepers = both(0, 1).min(both(2, 3));
        if keepers >= minimums::WITHIN_KEEPERS {
            return Ok(());
        }
        Err(Refusal::counted(
            RefusalCode::TooFewKeepers,
            keepers as f64,
            minimums::WITHIN_KEEPERS as f64,
            format!(
                "{} {} both fed and not fed in the same water; a comparison within keepers needs \
                 {}.",
                keepers_have(keepers),
                self.sets.outcome.words().many,
                minimums::WITHIN_KEEPERS
            ),
        ))
    }

    fn each<T>(&self, sets: &[Rows], f: impl Fn(&CoxInput) -> Result<T, Refusal>) -> Result<Vec<T>, Refusal> {
        sets.iter()
            .map(|rows| {
                let column = |name: &str, is: &dyn Fn(Cell) -> bool| Covariate {
                    name: name.to_owned(),
                    values: (0..rows.len())
                        .map(|row| {
                            let cell = Cell::COMPARED.iter().find(|cell| cell.has(rows, row));
                            f64::from(u8::from(cell.is_some_and(|cell| is(*cell))))
                        })
                        .collect(),
                };
                let unfed = |cell: Cell| cell.fed == Some(false);
                let within = |cell: Cell| cell.within == Some(true);
                let covariates = [
                    column("unfed", &unfed),
                    column("in", &within),
                    column("unfed:in", &|cell| unfed(cell) && within(cell)),
                ];
                let clusters = if self.within_keeper { rows.keeper.clone() } else { self.cluster.column(rows) };
                let strata = self.within_keeper.then_some(rows.keeper.as_slice());
                f(&CoxInput { episodes: &rows.episodes, covariates: &covariates, strata, cluster: Some(&clusters) })
            })
            .collect()
    }
}

/// The corals of a cell, after "corals".
pub fn in_words(cell: Cell) -> &'static str {
    match (cell.fed, cell.within) {
        (Some(false), Some(true)) => "fed less than once a week, in water within the taught bands",
        (Some(true), Some(true)) => "fed at least once a week, in water within the taught bands",
        (Some(false), Some(false)) => "fed less than once a week, in water outside the taught bands",
        (Some(true), Some(false)) => "fed at least once a week, in water outside the taught bands",
        _ => "whose feeding or water is unknown",
    }
}

fn quadratic(matrix: &Matrix, weights: &Weights) -> f64 {
    let mut sum = 0.0;
    for (i, w) in weights.iter().enumerate() {
        for (j, v) in weights.iter().enumerate() {
            sum += w * v * matrix[i][j];
        }
    }
    sum
}

fn dot(values: impl Iterator<Item = f64>, weights: &Weights) -> f64 {
    values.zip(weights).map(|(value, weight)| value * weight).sum()
}

/// A sum of coefficients over the sets: of one set its own figures, of several those of Rubin's rules.
fn sum(fits: &[CoxFit], weights: &Weights) -> InteractionRatio {
    let estimates: Vec<f64> =
        fits.iter().map(|fit| dot(fit.coefficients.iter().filter_map(|c| c.coef), weights)).collect();
    let coef = mean(&estimates);
    let extra = between(&estimates);
    let model = mean(&fits.iter().map(|fit| quadratic(&fit.covariance, weights)).collect::<Vec<_>>()) + extra;
    let robust: Vec<f64> =
        fits.iter().filter_map(|fit| Some(quadratic(fit.robust_covariance.as_ref()?, weights))).collect();
    let used = |position: usize| weights[position] != 0.0;
    let refused = fits
        .iter()
        .flat_map(|fit| fit.coefficients.iter().enumerate())
        .find_map(|(position, c)| if used(position) { c.refused.clone() } else { None });
    let clusters = fits.iter().filter_map(|fit| fit.clusters).min().unwrap_or(0);
    let limits = match refused {
        Some(refused) => Err(refused),
        None => pooled_limits(coef, mean(&robust), extra, if robust.len() == fits.len() { clusters } else { 0 }),
    };
    InteractionRatio {
        coef,
        hazard_ratio: coef.exp(),
        std_error: model.sqrt(),
        robust_std_error: (robust.len() == fits.len()).then(|| (mean(&robust) + extra).sqrt()),
        lower: limits.as_ref().ok().map(|limits| limits.lower),
        upper: limits.as_ref().ok().map(|limits| limits.upper),
        p: limits.as_ref().ok().map(|limits| limits.p),
        firth: None,
        refused: limits.err(),
    }
}

/// The same sum of penalised coefficients. p is that of the penalised likelihood for one coefficient of one set, of the
/// standard error otherwise.
fn penalised_sum(fits: &[FirthFit], weights: &Weights) -> FirthCoefficient {
    let estimates: Vec<f64> = fits.iter().map(|fit| dot(fit.coefficients.iter().map(|c| c.coef), weights)).collect();
    let coef = mean(&estimates);
    let within = mean(&fits.iter().map(|fit| quadratic(&fit.covariance, weights)).collect::<Vec<_>>());
    let variance = within + between(&estimates);
    let limits = model_limits(coef, variance, LEVEL);
    let own = match (fits, weights.iter().filter(|weight| **weight != 0.0).count()) {
        ([only], 1) => weights.iter().position(|weight| *weight == 1.0).and_then(|at| only.coefficients.get(at)),
        _ => None,
    };
    FirthCoefficient {
        coef,
        hazard_ratio: coef.exp(),
        std_error: variance.sqrt(),
        lower: limits.lower,
        upper: limits.upper,
        p: own.map_or(limits.p, |own| own.p),
    }
}
