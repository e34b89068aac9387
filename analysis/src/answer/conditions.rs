//! Conditions side by side: each alone, within keepers, with others held, drawn towards other taxa, and on growth.
//!
//! The list of conditions is [`Factor::list`], written before any record is looked at. The p of a condition is that of
//! the comparison within keepers: keepers chose their water, so a comparison of all corals together is shown with its
//! limits and never called. q is over every taxon with ten specimens by every condition of its list (Benjamini & Hochberg
//! 1995); what is refused or may not be shown counts with p = 1.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use super::based::{Based, TaxonQuestion};
use super::question::{Audience, Outcome, Stamp};
use super::shape::{ConditionLine, ConditionsResult, Family, PlacedRefusal, TaxonAnswer};
use crate::club::{Club, SEVERAL};
use crate::disclosure::block_minimum;
use crate::exposure::{Factor, LAG_DAYS};
use crate::follow_up::Population;
use crate::numeric::false_discovery::{Dependence, q_values};
use crate::numeric::parallel;
use crate::refusal::{Part, Refusal, RefusalCode};
use crate::vocabulary::{TaxonSlug, catalogue};
use crate::wording::conditions as words;

mod adjusted; // with other conditions held
pub(super) mod line; // one condition
mod pooled; // drawn towards other taxa
pub(super) mod shown; // whether a restricted audience sees a line

use line::{Crude, Making, Tested};
use pooled::Pooling;

/// q up to which a comparison is called.
pub const CALLED: f64 = 0.05;
/// Fewest specimens of a taxon on the list of comparisons.
const SPECIMENS: usize = 10;
/// Stable id of the method: changes when a figure made by the same records would.
const METHOD_ID: &str = "conditions-1";

/// q values of a release, over its whole list of comparisons.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Called {
    /// Comparisons on the list.
    pub comparisons: u64,
    lines: BTreeMap<(TaxonSlug, String), CalledLine>,
}

/// What a release knows of one comparison.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
pub struct CalledLine {
    /// q of the comparison within keepers; `None` if it has no p.
    pub q: Option<f64>,
    /// q of the comparison of growth, over the comparisons of growth: a family of its own.
    pub growth_q: Option<f64>,
    /// The log hazard ratio of all corals together and its variance.
    pub crude: Option<(f64, f64)>,
}

impl Called {
    /// What is known, by taxon and condition, to be kept.
    pub fn entries(&self) -> impl Iterator<Item = (TaxonSlug, &str, CalledLine)> {
        self.lines.iter().map(|((taxon, condition), line)| (*taxon, condition.as_str(), *line))
    }

    /// What was kept.
    pub fn kept(comparisons: u64, entries: impl IntoIterator<Item = (TaxonSlug, String, CalledLine)>) -> Called {
        let lines = entries.into_iter().map(|(taxon, condition, line)| ((taxon, condition), line)).collect();
        Called { comparisons, lines }
    }

    fn line(&self, taxon: TaxonSlug, condition: &str) -> CalledLine {
        self.lines.get(&(taxon, condition.to_owned())).copied().unwrap_or_default()
    }

    /// The q of a condition of a taxon; `None` if it has no p.
    pub fn q(&self, taxon: TaxonSlug, condition: &str) -> Option<f64> {
        self.line(taxon, condition).q
    }

    /// The q of growth under a condition of a taxon; `None` if it has no p.
    pub fn growth_q(&self, taxon: TaxonSlug, condition: &str) -> Option<f64> {
        self.line(taxon, condition).growth_q
    }

    fn crude(&self, taxon: TaxonSlug, condition: &str) -> Option<Crude> {
        self.line(taxon, condition).crude.map(|(coef, variance)| Crude { coef, variance })
    }
}

/// Taxa on the list of comparisons: those that may be asked about and have at least ten specimens on record.
pub fn listed(club: &Club) -> Vec<TaxonSlug> {
    let asked = |slug: TaxonSlug| crate::disclosure::tree::is_asked(slug);
    let rows = catalogue().taxa().iter().map(|row| row.slug).filter(|slug| asked(*slug));
    rows.filter(|slug| Population::of(club, *slug, None).members.len() >= SPECIMENS).collect()
}

/// The q values of every comparison of a club's list, for an outcome and an audience. Deaths, each other
/// outcome, and growth are families of their own.
pub fn family(club: &Club, outcome: Outcome, audience: Audience) -> Called {
    let mut lines: Vec<((TaxonSlug, String), Tested)> = Vec::new();
    for taxon in listed(club) {
        let population = Population::of(club, taxon, None);
        let making = Making::new(club, &population, (outcome, None), audience);
        let factors = Factor::list(taxon);
        let tested = parallel::map(&factors, |factor| making.tested(*factor));
        lines.extend(factors.iter().zip(tested).map(|(factor, tested)| ((taxon, factor.code()), tested)));
    }
    let q = |p: fn(&Tested) -> Option<f64>| -> BTreeMap<usize, f64> {
        let known: Vec<(usize, f64)> =
            lines.iter().enumerate().filter_map(|(at, (_, tested))| Some((at, p(tested)?))).collect();
        let values: Vec<f64> = known.iter().map(|(_, p)| *p).collect();
        // The p are probabilities and no more than the comparisons, so that nothing is refused here.
        let q = q_values(&values, lines.len(), Dependence::Positive).unwrap_or_default();
        known.into_iter().map(|(at, _)| at).zip(q).collect()
    };
    let (of_outcome, of_growth) = (q(|tested| tested.p), q(|tested| tested.growth));
    let comparisons = lines.len() as u64;
    let called = lines.into_iter().enumerate().map(|(at, (key, tested))| {
        let crude = tested.crude.map(|crude| (crude.coef, crude.variance));
        let line = CalledLine { q: of_outcome.get(&at).copied(), growth_q: of_growth.get(&at).copied(), crude };
        (key, line)
    });
    Called { comparisons, lines: called.filter(|(_, line)| *line != CalledLine::default()).collect() }
}

/// The conditions of a taxon for an audience. `called`: the q values of the release; without them q awaits one.
pub fn conditions(
    club: &Club,
    question: &TaxonQuestion,
    audience: Audience,
    stamp: &Stamp,
    called: Option<&Called>,
) -> TaxonAnswer<ConditionsResult> {
    let based = Based::new(club, question, SEVERAL, audience, stamp);
    let result = match (&based.population, based.refusal()) {
        (Some(population), None) => Ok(result(club, population, question, audience, called)),
        (_, refusal) => Err(refusal.unwrap_or_else(|| {
            Refusal::counted(RefusalCode::EmptyGroup, 0.0, 1.0, "No coral of this taxon is on record.")
        })),
    };
    let refusals = result.as_ref().map(refusals).unwrap_or_default();
    let mut answer = based.answer("conditions", METHOD_ID, result, refusals);
    answer.method.lag_days = LAG_DAYS;
    super::round::conditions(&mut answer, audience);
    answer
}

/// One condition of a population without what other taxa show: no q and nothing drawn together.
pub(super) fn one(making: &Making, factor: Factor) -> ConditionLine {
    making.line(factor, &Pooling::Alone, None)
}

fn result(
    club: &Club,
    population: &Population,
    question: &TaxonQuestion,
    audience: Audience,
    called: Option<&Called>,
) -> ConditionsResult {
    let making = Making::new(club, population, (question.outcome, question.since), audience);
    let others = pooled::others(club, population.taxon);
    let populations: Vec<Population>;
    let pooling = match called {
        Some(called) => Pooling::Released { called, others },
        None if block_minimum(audience).is_some() => Pooling::Alone,
        None => {
            populations = others.into_iter().map(|taxon| Population::of(club, taxon, None)).collect();
            Pooling::of_edition(&populations, club, question)
        }
    };
    // q is over whole periods and deaths: anything else is in no family of a release.
    let called = called.filter(|_| question.since.is_none());
    let mut lines: Vec<ConditionLine> =
        parallel::map(&Factor::list(population.taxon), |factor| making.line(*factor, &pooling, called));
    let tested = lines.iter().filter(|line| line.p.is_some()).count() as u64;
    let passes = |line: &&ConditionLine| line.q.given().is_some_and(|q| *q <= CALLED);
    let family = Family {
        comparisons: called.map_or(lines.len() as u64, |called| called.comparisons),
        tested,
        called: called.map(|_| lines.iter().filter(passes).count() as u64),
    };
    lines.sort_by(|a, b| order(a).partial_cmp(&order(b)).unwrap_or(std::cmp::Ordering::Equal));
    let sentence = words::clearest(question.outcome, lines.first().filter(passes), called.is_some());
    ConditionsResult { family, sentence, conditions: lines }
}

/// By q, or by p where q awaits a release; equal ones by the size of the ratio as drawn towards other taxa; those without
/// either last.
fn order(line: &ConditionLine) -> (f64, f64) {
    let size = line.shrunken.given().map(|shrunken| shrunken.ratio.hazard_ratio).or(line.hazard_ratio);
    let called = line.q.given().copied().or(line.p).unwrap_or(2.0);
    (called, size.map_or(f64::INFINITY, |ratio| -ratio.ln().abs()))
}

fn refusals(result: &ConditionsResult) -> Vec<PlacedRefusal> {
    let mut list = Vec::new();
    for line in &result.conditions {
        let mut add = |part: &str, refused: Option<&Refusal>| {
            if let Some(refusal) = refused {
                list.push(PlacedRefusal { key: format!("{}{part}", line.condition), refusal: refusal.clone() });
            }
        };
        add("", line.refused.as_ref());
        add("/within_keeper", refused(&line.within_keeper));
        add("/adjusted", refused(&line.adjusted));
        add("/shrunken", refused(&line.shrunken));
        add("/growth", refused(&line.growth));
        add("/q", refused(&line.q));
        add("/sentence", refused(&line.sentence));
    }
    list
}

fn refused<T>(part: &Part<T>) -> Option<&Refusal> {
    match part {
        Part::Refused { refused } => Some(refused),
        Part::Given(_) => None,
    }
}
