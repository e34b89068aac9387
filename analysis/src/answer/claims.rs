//! What the club teaches and what its records say of it: supported, points the other way, mixed, cannot tell yet, never
//! looked at.

use super::based::TaxonQuestion;
use super::question::{Audience, Outcome, Stamp};
use super::shape::{ClaimForTaxon, ClaimLine, ClaimTest, ClaimsAnswer, ConditionLine};
use super::{Called, conditions, hazard, round};
use crate::club::Club;
use crate::disclosure::tree;
use crate::evidence::verdict::{Taught, Tried, Verdict, verdict};
use crate::exposure::Factor;
use crate::follow_up::Population;
use crate::refusal::Part;
use crate::vocabulary::claim::{Claim, ClaimOutcome, claims as taught};
use crate::vocabulary::{Rank, TaxonSlug};

/// Every claim for every taxon that it is taught for. `called`: the q values of the release; without them nothing is more
/// than "cannot tell yet" or "mixed".
pub fn claims(club: &Club, audience: Audience, stamp: &Stamp, called: Option<&Called>) -> ClaimsAnswer {
    let listed = conditions::listed(club);
    let lines = taught().iter().map(|claim| {
        let of = listed.iter().copied().filter(|taxon| is_taught_for(claim, *taxon));
        ClaimLine {
            claim: claim.code.to_owned(),
            wording: claim.wording.to_owned(),
            basis: claim.basis.to_owned(),
            looked_at_as: claim.looked_at_as.to_owned(),
            outcomes: claim.outcomes.iter().map(|outcome| outcome_code(*outcome).to_owned()).collect(),
            taxa: of.map(|taxon| for_taxon(club, claim, taxon, audience, stamp, called)).collect(),
        }
    });
    let claims = lines.collect();
    ClaimsAnswer { state: stamp.state, claims, program_version: stamp.program_version.clone() }
}

/// A claim is looked at for the taxa it names, and for the genera of a group that is asked by genus or where it says so.
fn is_taught_for(claim: &Claim, taxon: TaxonSlug) -> bool {
    claim.taxa.iter().any(|named| {
        let by_genus = claim.by_genus || !tree::is_asked(*named);
        if by_genus { taxon.get().rank == Rank::Genus && taxon.is_within(*named) } else { taxon == *named }
    })
}

fn outcome_code(outcome: ClaimOutcome) -> &'static str {
    match outcome {
        ClaimOutcome::Death => "death",
        ClaimOutcome::Decline => "decline",
        ClaimOutcome::Growth => "growth",
    }
}

fn for_taxon(
    club: &Club,
    claim: &Claim,
    taxon: TaxonSlug,
    audience: Audience,
    stamp: &Stamp,
    called: Option<&Called>,
) -> ClaimForTaxon {
    let population = Population::of(club, taxon, None);
    let mut looked_at = Vec::new();
    let mut verdicts = Vec::new();
    for outcome in claim.outcomes.iter().filter_map(|outcome| match outcome {
        ClaimOutcome::Death => Some(Outcome::Death),
        ClaimOutcome::Decline => Some(Outcome::FirstSeriousDecline),
        ClaimOutcome::Growth => None,
    }) {
        for factor in claim.conditions.iter().filter_map(|code| Factor::parse(code, taxon)) {
            let line = conditions::one(club, &population, outcome, audience, factor);
            // q values are of deaths; declines are a family of their own that no release has yet.
            let q = called.filter(|_| outcome == Outcome::Death).and_then(|called| called.q(taxon, &line.condition));
            verdicts.push(verdict(Taught::Higher, Some(&tried(&line, q))));
            looked_at.push(test(line, outcome, q));
        }
    }
    let by_age =
        (claim.conditions.is_empty() && !claim.look_alikes && claim.outcomes == [ClaimOutcome::Death]).then(|| {
            let question = TaxonQuestion { taxon, outcome: Outcome::Death, since: None };
            match hazard::hazard(club, &question, audience, stamp).result {
                Part::Given(result) => Part::Given(result.sentence),
                Part::Refused { refused } => Part::Refused { refused },
            }
        });
    let verdict = match (verdicts.is_empty(), &by_age) {
        (true, None) => Verdict::NeverLookedAt,
        (true, Some(_)) => Verdict::CannotTellYet,
        (false, _) => together(&verdicts),
    };
    let mut answer = ClaimForTaxon {
        taxon: taxon.as_str().to_owned(),
        name: taxon.get().name.to_owned(),
        verdict,
        verdict_in_words: verdict.in_words().to_owned(),
        looked_at,
        by_age,
    };
    round::claim(&mut answer, audience);
    answer
}

fn tried(line: &ConditionLine, q: Option<f64>) -> Tried {
    let beside = [
        line.within_keeper.given().map(|ratio| ratio.hazard_ratio),
        line.adjusted.given().map(|adjusted| adjusted.ratio.hazard_ratio),
    ];
    Tried {
        hazard_ratio: line.hazard_ratio,
        limits: line.lower.zip(line.upper),
        q,
        grade: line.grade,
        beside: beside.into_iter().flatten().collect(),
    }
}

/// Several comparisons of one claim: those that say something must not contradict each other.
fn together(verdicts: &[Verdict]) -> Verdict {
    let any = |word: Verdict| verdicts.contains(&word);
    match (any(Verdict::Supported), any(Verdict::PointsTheOtherWay)) {
        _ if any(Verdict::Mixed) => Verdict::Mixed,
        (true, true) => Verdict::Mixed,
        (true, false) => Verdict::Supported,
        (false, true) => Verdict::PointsTheOtherWay,
        (false, false) => Verdict::CannotTellYet,
    }
}

fn test(line: ConditionLine, outcome: Outcome, q: Option<f64>) -> ClaimTest {
    ClaimTest {
        condition: line.condition,
        outcome: outcome.as_str(),
        level_label: line.contrast.level_label,
        reference_label: line.contrast.reference_label,
        hazard_ratio: line.hazard_ratio,
        lower: line.lower,
        upper: line.upper,
        q: q.map_or(line.q, Part::Given),
        grade: line.grade,
        refused: line.refused,
    }
}
