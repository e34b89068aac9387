//! The weeks before losses: what differed from corals of the same age that lived on, and from the same coral earlier.
//!
//! For each loss up to five corals of the same taxon, at risk at the same age in other tanks, are drawn by a seeded rule
//! from those at risk (incidence density sampling: one drawn may be lost later; Langholz & Goldstein 1996, Stat Sci 11:
//! 35–53, from memory). The same corals' earlier months are a second comparison (case–crossover, Maclure 1991, Am J
//! Epidemiol 133: 144–153, from memory). How a coral looks may be the loss itself beginning: signs and conditions are
//! marked apart and never ranked together.

use std::collections::BTreeMap;

use super::based::{Based, TaxonQuestion};
use super::hazard::no_coral;
use super::question::{Audience, InvalidQuestion, Stamp};
use super::round;
use super::shape::{Estimate, LeadUpLine, LeadUpResult, TaxonAnswer, WithinSpecimenLine};
use crate::club::{Club, SEVERAL, TankId};
use crate::comparison::curve::LEVEL;
use crate::disclosure::{block_minimum, suppressed};
use crate::evidence::minimums;
use crate::follow_up::Population;
use crate::numeric::bootstrap::{REPLICATES, cluster_limits};
use crate::refusal::{Part, Refusal, RefusalCode};
use crate::survival::Covariate;
use crate::survival::matched_sets::{MatchedInput, conditional_logistic};
use crate::wording;

pub mod held; // who is in each line
mod looked_back; // a condition or sign over a window
mod losses; // losses and their controls
mod shown; // what of it a restricted audience sees

use looked_back::LookedBack;
use losses::{Loss, Moment, losses};
use shown::{Ties, pass};

/// Stable id of the method: changes when a figure made by the same records would.
const METHOD_ID: &str = "lead-up-2";
/// Seed of the draws of controls and tanks.
const SEED: u64 = 11;
/// Windows before the loss, in days, both ends included.
pub const WINDOWS: [[u32; 2]; 4] = [[1, 14], [15, 30], [31, 60], [61, 120]];
/// The last window of a coral that is set against earlier ones of its own.
const LAST: [u32; 2] = [1, 30];
/// The earlier ones.
const EARLIER: [[u32; 2]; 3] = [[31, 60], [61, 90], [91, 120]];

/// Why a question may not be asked by an audience: losses of some years could be taken from those of all.
pub fn lead_up_faults(question: &TaxonQuestion, audience: Audience) -> Vec<InvalidQuestion> {
    let over_some = question.since.is_some() && block_minimum(audience).is_some();
    let message = "the weeks before losses are told over all years: leave 'since' out".to_owned();
    over_some.then_some(InvalidQuestion { parameter: "since", message }).into_iter().collect()
}

/// The weeks before the losses of a taxon, for an audience.
pub fn lead_up(club: &Club, question: &TaxonQuestion, audience: Audience, stamp: &Stamp) -> TaxonAnswer<LeadUpResult> {
    let based = Based::new(club, question, SEVERAL, audience, stamp);
    let result = match (&based.population, based.refusal()) {
        (Some(population), None) => Back::new(club, population, question, audience).and_then(|back| back.result()),
        (_, refusal) => Err(refusal.unwrap_or_else(no_coral)),
    };
    let mut answer = based.answer("lead_up", METHOD_ID, result, Vec::new());
    // Looking back from the day itself, a test speaks from its own day.
    answer.method.lag_days = 0.0;
    answer.method.seed = Some(SEED);
    round::lead_up(&mut answer, audience);
    answer
}

/// What is set against the days before a loss.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Against {
    /// The same days of controls, in one window.
    Controls([u32; 2]),
    /// Earlier months of the same coral.
    Earlier,
}

impl Against {
    fn all() -> impl Iterator<Item = Against> {
        WINDOWS.into_iter().map(Against::Controls).chain([Against::Earlier])
    }
}

/// A loss with its value and those that it is set against.
struct Valued<'l> {
    case: &'l Moment,
    /// Its own.
    own: f64,
    /// At least one.
    others: Vec<f64>,
    /// Whose controls have data.
    controls: Vec<&'l Moment>,
}

/// The losses that have data for themselves and for something to be set against.
fn valued<'l>(club: &Club, losses: &'l [Loss], what: &LookedBack, against: Against) -> Vec<Valued<'l>> {
    let of = |at: &Moment, window| what.over(club, at.specimen, at.keeper, at.day, window);
    let mut with = Vec::new();
    for loss in losses {
        let case = &loss.case;
        let window = if let Against::Controls(window) = against { window } else { LAST };
        let Some(own) = of(case, window) else { continue };
        let (others, controls): (Vec<f64>, Vec<&Moment>) = match against {
            Against::Controls(window) => {
                loss.controls.iter().filter_map(|control| Some((of(control, window)?, control))).unzip()
            }
            Against::Earlier => (EARLIER.into_iter().filter_map(|window| of(case, window)).collect(), Vec::new()),
        };
        if !others.is_empty() {
            with.push(Valued { case, own, others, controls });
        }
    }
    with
}

struct Back<'a> {
    club: &'a Club,
    population: &'a Population,
    audience: Audience,
    losses: Vec<Loss>,
    ties: Ties,
}

impl<'a> Back<'a> {
    fn new(
        club: &'a Club,
        population: &'a Population,
        question: &TaxonQuestion,
        audience: Audience,
    ) -> Result<Back<'a>, Refusal> {
        let losses = losses(club, population, question.outcome)?;
        let ties = Ties::new(club, population, question.outcome, audience)?;
        Ok(Back { club, population, audience, losses, ties })
    }

    fn result(&self) -> Result<LeadUpResult, Refusal> {
        if self.losses.is_empty() {
            return Err(Refusal::counted(RefusalCode::NoEvents, 0.0, 1.0, "No loss to look back from."));
        }
        if !pass(self.losses.iter().map(|loss| &loss.case), self.audience) {
            return Err(suppressed(self.audience));
        }
        let looked = LookedBack::all(self.club, &self.ties.everyone(self.population));
        let subject = self.population.subject();
        let mut lines = Vec::new();
        let mut within_specimen = Vec::new();
        for what in &looked {
            let told = self.club.stands.has(&subject, &what.line_code());
            for window in WINDOWS {
                lines.extend(self.line(what, window, told));
            }
            within_specimen.extend(self.within(what, told));
        }
        let controls = self.losses.iter().map(|loss| loss.controls.len() as u64).sum();
        let sentence = wording::lead_up::read(&lines);
        Ok(LeadUpResult { losses: self.losses.len() as u64, controls, lines, within_specimen, sentence })
    }

    /// A line; `None` where no loss has data, or it may not be shown: which of the two, nobody is told.
    fn line(&self, what: &LookedBack, window: [u32; 2], told: bool) -> Option<LeadUpLine> {
        let against = Against::Controls(window);
        let with = valued(self.club, &self.losses, what, against);
        if with.is_empty() || !told || !self.ties.may_be_shown(self.club, what, against, &with, self.audience) {
            return None;
        }
        let (difference, lower, upper) = drawn(&differences(&with));
        Some(LeadUpLine {
            condition: what.code(),
            name: what.name(),
            kind: what.kind(),
            window,
            difference: Part::from(difference),
            lower,
            upper,
            odds_ratio: Part::from(odds(&with)),
            cases: Part::Given(with.len() as u64),
            controls: Part::Given(with.iter().map(|valued| valued.others.len() as u64).sum()),
        })
    }

    /// The last month of the lost corals against their own earlier months; `None` as for a line.
    fn within(&self, what: &LookedBack, told: bool) -> Option<WithinSpecimenLine> {
        let with = valued(self.club, &self.losses, what, Against::Earlier);
        let against = Against::Earlier;
        if with.is_empty() || !told || !self.ties.may_be_shown(self.club, what, against, &with, self.audience) {
            return None;
        }
        let (difference, lower, upper) = drawn(&differences(&with));
        Some(WithinSpecimenLine {
            condition: what.code(),
            name: what.name(),
            kind: what.kind(),
            window: LAST,
            difference: Part::from(difference),
            lower,
            upper,
            cases: Part::Given(with.len() as u64),
        })
    }
}

/// Each loss's value less the mean of what it is set against, with its tank and keeper.
fn differences(with: &[Valued]) -> Vec<(Option<TankId>, u32, f64)> {
    let of = |valued: &Valued| {
        let mean = valued.others.iter().sum::<f64>() / valued.others.len() as f64;
        (valued.case.tank, valued.case.keeper, valued.own - mean)
    };
    with.iter().map(of).collect()
}

/// Mean difference with limits by drawing whole tanks.
fn drawn(differences: &[(Option<TankId>, u32, f64)]) -> (Result<f64, Refusal>, Option<f64>, Option<f64>) {
    if (differences.len() as u64) < minimums::CELL_DEATHS {
        let refusal = Refusal::counted(
            RefusalCode::TooFewEvents,
            differences.len() as f64,
            minimums::CELL_DEATHS as f64,
            format!("Needs {} losses with data.", minimums::CELL_DEATHS),
        );
        return (Err(refusal), None, None);
    }
    let mean = differences.iter().map(|(_, _, x)| x).sum::<f64>() / differences.len() as f64;
    let mut by_tank: BTreeMap<(Option<TankId>, u32), (f64, f64)> = BTreeMap::new();
    for (tank, keeper, x) in differences {
        // Corals of no known tank share one by keeper.
        let cell = by_tank.entry((*tank, if tank.is_some() { 0 } else { *keeper })).or_default();
        (cell.0, cell.1) = (cell.0 + x, cell.1 + 1.0);
    }
    let cells: Vec<(f64, f64)> = by_tank.into_values().collect();
    let limits = cluster_limits(cells.len(), REPLICATES, SEED, LEVEL, |drawn| {
        let (sum, n) = drawn.iter().fold((0.0, 0.0), |sum, &at| (sum.0 + cells[at].0, sum.1 + cells[at].1));
        (n > 0.0).then(|| sum / n)
    });
    let limits = limits.ok();
    (Ok(mean), limits.map(|limits| limits.lower), limits.map(|limits| limits.upper))
}

/// Odds ratio by conditional logistic regression over sets of (loss, controls), clustered by the loss's tank.
fn odds(sets: &[Valued]) -> Result<Estimate, Refusal> {
    let (mut set, mut case, mut values, mut cluster) = (Vec::new(), Vec::new(), Vec::new(), Vec::new());
    for (number, of) in (0u32..).zip(sets) {
        // Corals of no known tank share one by keeper.
        let tank = of.case.tank.unwrap_or(u32::MAX - of.case.keeper);
        let controls = of.others.iter().map(|value| (false, *value));
        for (is_case, value) in std::iter::once((true, of.own)).chain(controls) {
            set.push(number);
            case.push(is_case);
            values.push(value);
            cluster.push(tank);
        }
    }
    let covariates = [Covariate { name: "level".to_owned(), values }];
    let input = MatchedInput { set: &set, case: &case, covariates: &covariates, cluster: Some(&cluster) };
    let fit = conditional_logistic(&input)?;
    let none = || Refusal::plain(RefusalCode::NotConverged, "No odds ratio fits these sets.");
    let own = fit.odds_ratios.into_iter().next().ok_or_else(none)?;
    match own.odds_ratio {
        Some(ratio) => Ok(Estimate { estimate: Some(ratio), lower: own.lower, upper: own.upper }),
        None => Err(own.refused.unwrap_or_else(none)),
    }
}
