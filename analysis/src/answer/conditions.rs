//! Conditions side by side: each alone, within keepers, with others held, drawn towards other taxa, and on growth.
//!
//! The list of conditions is [`Factor::list`], written before any record is looked at. The p of a condition is that of
//! the comparison within keepers: keepers chose their water, so a comparison of all corals together is shown with its
//! limits and never called. q is over every taxon with ten specimens by every condition of its list (Benjamini & Hochberg
//! 1995); what is refused or may not be shown counts with p = 1.

use std::collections::BTreeMap;

use super::based::{Based, TaxonQuestion};
use super::question::{Audience, Outcome, Stamp};
use super::shape::{ConditionLine, ConditionsResult, Family, PlacedRefusal, TaxonAnswer};
use crate::club::Club;
use crate::comparison::sets::IMPUTATIONS_BESIDE;
use crate::exposure::{Factor, LAG_DAYS};
use crate::follow_up::Population;
use crate::numeric::false_discovery::{Dependence, q_values};
use crate::refusal::{Part, Refusal, RefusalCode};
use crate::vocabulary::{TaxonSlug, catalogue};
use crate::wording::conditions as words;

mod adjusted; // with other conditions held
pub(super) mod line; // one condition
mod pooled; // drawn towards other taxa
pub(super) mod shown; // whether a restricted audience sees a line

use line::Making;

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
    q: BTreeMap<(TaxonSlug, String), f64>,
}

impl Called {
    /// The q values as (taxon, condition, q), to be kept.
    pub fn entries(&self) -> impl Iterator<Item = (TaxonSlug, &str, f64)> {
        self.q.iter().map(|((taxon, condition), q)| (*taxon, condition.as_str(), *q))
    }

    /// What was kept.
    pub fn kept(comparisons: u64, entries: impl IntoIterator<Item = (TaxonSlug, String, f64)>) -> Called {
        Called { comparisons, q: entries.into_iter().map(|(taxon, condition, q)| ((taxon, condition), q)).collect() }
    }

    /// The q of a condition of a taxon; `None` if it has no p.
    pub fn q(&self, taxon: TaxonSlug, condition: &str) -> Option<f64> {
        self.q.get(&(taxon, condition.to_owned())).copied()
    }
}

/// Taxa on the list of comparisons: those that may be asked about and have at least ten specimens on record.
pub fn listed(club: &Club) -> Vec<TaxonSlug> {
    let asked = |slug: TaxonSlug| crate::disclosure::tree::is_asked(slug);
    let rows = catalogue().taxa().iter().map(|row| row.slug).filter(|slug| asked(*slug));
    rows.filter(|slug| Population::of(club, *slug, None).members.len() >= SPECIMENS).collect()
}

/// The q values of every comparison of a club's list, for an outcome and an audience.
pub fn family(club: &Club, outcome: Outcome, audience: Audience) -> Called {
    let mut list: Vec<((TaxonSlug, String), f64)> = Vec::new();
    let mut comparisons = 0;
    for taxon in listed(club) {
        let population = Population::of(club, taxon, None);
        let making = Making::new(club, &population, outcome, audience);
        for factor in Factor::list(taxon) {
            comparisons += 1;
            if let Some(p) = making.p(factor) {
                list.push(((taxon, factor.code()), p));
            }
        }
    }
    let p: Vec<f64> = list.iter().map(|(_, p)| *p).collect();
    // The p are probabilities and no more than the comparisons, so that nothing is refused here.
    let q = q_values(&p, comparisons, Dependence::Positive).unwrap_or_default();
    Called { comparisons: comparisons as u64, q: list.into_iter().map(|(key, _)| key).zip(q).collect() }
}

/// The conditions of a taxon for an audience. `called`: the q values of the release; without them q awaits one.
pub fn conditions(
    club: &Club,
    question: &TaxonQuestion,
    audience: Audience,
    stamp: &Stamp,
    called: Option<&Called>,
) -> TaxonAnswer<ConditionsResult> {
    let based = Based::new(club, question, audience, stamp);
    let result = match (&based.population, based.refusal()) {
        (Some(population), None) => Ok(result(club, population, question, audience, called)),
        (_, refusal) => Err(refusal.unwrap_or_else(|| {
            Refusal::counted(RefusalCode::EmptyGroup, 0.0, 1.0, "No coral of this taxon is on record.")
        })),
    };
    let refusals = result.as_ref().map(refusals).unwrap_or_default();
    let mut answer = based.answer("conditions", METHOD_ID, result, refusals);
    answer.method.lag_days = LAG_DAYS;
    // Lines are made from the first draws only: a whole list of them from all would tell no more.
    answer.method.imputations = answer.method.imputations.min(IMPUTATIONS_BESIDE as u64);
    super::round::conditions(&mut answer, audience);
    answer
}

/// One condition of a population without what other taxa show: no q and nothing drawn together.
pub(super) fn one(
    club: &Club,
    population: &Population,
    outcome: Outcome,
    audience: Audience,
    factor: Factor,
) -> ConditionLine {
    let making = Making::new(club, population, outcome, audience);
    making.line(factor, &pooled::Pooling::alone(), None)
}

fn result(
    club: &Club,
    population: &Population,
    question: &TaxonQuestion,
    audience: Audience,
    called: Option<&Called>,
) -> ConditionsResult {
    let making = Making::new(club, population, question.outcome, audience);
    let others = pooled::others(club, population);
    let pooling = pooled::Pooling::new(&others, club, question);
    // q is over whole periods and deaths: anything else is in no family of a release.
    let called = called.filter(|_| question.since.is_none());
    let mut lines: Vec<ConditionLine> =
        Factor::list(population.taxon).into_iter().map(|factor| making.line(factor, &pooling, called)).collect();
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

/// By q, then p, then the size of the ratio as drawn towards other taxa; refused lines last.
fn order(line: &ConditionLine) -> (f64, f64, f64) {
    let size = line.shrunken.given().map(|shrunken| shrunken.ratio.hazard_ratio).or(line.hazard_ratio);
    (
        line.q.given().copied().unwrap_or(2.0),
        line.p.unwrap_or(2.0),
        size.map_or(f64::INFINITY, |ratio| -ratio.ln().abs()),
    )
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
