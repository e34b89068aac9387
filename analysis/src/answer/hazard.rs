//! When they are lost: deaths and coral-days by age, with limits that allow for corals sharing a tank.

use super::based::{Based, TaxonQuestion};
use super::held::UNDIVIDED;
use super::question::{Audience, By, Stamp};
use super::round;
use super::shape::{HazardAtAge, HazardPiece, HazardResult, TaxonAnswer};
use super::survival::by_age::ByAge;
use super::survival::records::{Ages, Records};
use crate::club::Club;
use crate::comparison::curve::{LEVEL, loss_rate};
use crate::comparison::pieces::hazard_by_age;
use crate::comparison::{ClusterBy, Frame, Rows};
use crate::disclosure::{block_minimum, keepers_needed};
use crate::exposure::{Condition, MONTH_DAYS, Rules};
use crate::follow_up::decline::follow_up_for;
use crate::follow_up::{Population, Run};
use crate::numeric::bootstrap::{REPLICATES, cluster_limits};
use crate::numeric::distinct;
use crate::refusal::{Part, Refusal, RefusalCode};
use crate::wording;

/// Stable id of the method: changes when a figure made by the same records would.
const METHOD_ID: &str = "hazard-1";
/// Seed of the draws of tanks.
const SEED: u64 = 16;

/// When the corals of a taxon are lost, for an audience.
pub fn hazard(club: &Club, question: &TaxonQuestion, audience: Audience, stamp: &Stamp) -> TaxonAnswer<HazardResult> {
    let based = Based::new(club, question, UNDIVIDED, audience, stamp);
    let result = match (&based.population, based.refusal()) {
        (Some(population), None) => result(club, population, question, audience),
        (_, refusal) => Err(refusal.unwrap_or_else(no_coral)),
    };
    let mut answer = based.answer("hazard", METHOD_ID, result, Vec::new());
    answer.method.seed = Some(SEED);
    round::hazard(&mut answer, audience);
    answer
}

pub(super) fn no_coral() -> Refusal {
    Refusal::counted(RefusalCode::EmptyGroup, 0.0, 1.0, "No coral of this taxon is on record.")
}

/// The rows of a population, not split.
pub(super) fn rows(club: &Club, population: &Population, question: &TaxonQuestion) -> Result<Rows, Refusal> {
    let unusable = |error: String| {
        Refusal::plain(RefusalCode::InvalidInput, format!("The records contradict themselves: {error}."))
    };
    let follow_up = follow_up_for(club, population, question.outcome, Run::Main);
    let all = Condition::new(club, population, By::None, None, Rules::of(Run::Main))
        .map_err(|error| unusable(error.to_string()))?;
    let frame = Frame { club, follow_up: &follow_up, condition: &all, given: None };
    Ok(frame.middle().map_err(|error| unusable(error.to_string()))?.0)
}

pub(super) fn result(
    club: &Club,
    population: &Population,
    question: &TaxonQuestion,
    audience: Audience,
) -> Result<HazardResult, Refusal> {
    let rows = rows(club, population, question)?;
    let records = match block_minimum(audience) {
        Some(_) => Some(Records::new(club, population, By::None, None, question.outcome)?),
        None => None,
    };
    let mut by_age = ByAge::new(records.as_ref(), &question.plain(), audience);
    let all = records.as_ref().and_then(|records| Some(records.years_from(records.since(question.since)?)));
    let is_told = |from, to: Option<f64>| {
        all.as_ref().is_none_or(|all| by_age.tells(all, Ages::Between(from, to.unwrap_or(f64::INFINITY))))
    };
    let pieces = hazard_by_age(&rows, keepers_needed(audience), is_told)?;
    let cluster = ClusterBy::of(&rows).column(&rows);
    let overall = loss_rate(rows.episodes.deaths(), rows.episodes.time_at_risk())?;
    let pieces: Vec<HazardAtAge> = pieces
        .into_iter()
        .map(|piece| {
            let limits = clustered(&rows, &cluster, &piece);
            HazardAtAge { piece, clustered: Part::from(limits) }
        })
        .collect();
    let sentence = wording::hazard::highest(question.outcome, &pieces, overall.per_100_months);
    Ok(HazardResult { pieces, overall, sentence })
}

/// Limits of a piece's rate by drawing whole tanks or keepers.
fn clustered(rows: &Rows, cluster: &[u32], piece: &HazardPiece) -> Result<super::shape::RateLimits, Refusal> {
    let to = piece.to_day.unwrap_or(f64::INFINITY);
    let ids = distinct(cluster.iter().copied());
    let mut cells = vec![(0.0, 0.0); ids.len()];
    for row in 0..rows.len() {
        let (start, stop) = (rows.episodes.start[row], rows.episodes.stop[row]);
        let cell = &mut cells[ids.partition_point(|id| *id < cluster[row])];
        cell.1 += (stop.min(to) - start.max(piece.from_day)).max(0.0);
        if rows.episodes.event[row] && stop > piece.from_day && stop <= to {
            cell.0 += 1.0;
        }
    }
    // Clusters without time in the piece are drawn too: how many hold any is part of what is uncertain.
    let limits = cluster_limits(ids.len(), REPLICATES, SEED, LEVEL, |drawn| {
        let (deaths, days) = drawn.iter().fold((0.0, 0.0), |sum, &at| (sum.0 + cells[at].0, sum.1 + cells[at].1));
        (days > 0.0).then(|| 100.0 * MONTH_DAYS * deaths / days)
    })?;
    Ok(super::shape::RateLimits { lower: limits.lower, upper: limits.upper })
}
