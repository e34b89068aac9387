//! What the club teaches and what its records say of it: supported, points the other way, mixed, cannot tell yet, never
//! looked at.

use super::based::TaxonQuestion;
use super::conditions::line::{Making, awaits_release};
use super::question::{Audience, Outcome, Stamp};
use super::shape::{ClaimForTaxon, ClaimLine, ClaimSigned, ClaimTest, ClaimsAnswer, ConditionLine, Grade};
use super::{Called, conditions, hazard, round};
use crate::club::{Club, ClubClaim};
use crate::disclosure::tree;
use crate::evidence::verdict::{Taught, Tried, Verdict, verdict};
use crate::exposure::Factor;
use crate::follow_up::Population;
use crate::numeric::parallel;
use crate::refusal::Part;
use crate::vocabulary::claim::{Claim, ClaimOutcome, claims as catalogue_claims};
use crate::vocabulary::{Rank, TaxonSlug};

/// The q values of a release, by what they are of; without them nothing is more than "cannot tell yet" or "mixed".
#[derive(Debug, Clone, Copy, Default)]
pub struct Families<'a> {
    /// Deaths; growth stands beside them.
    pub death: Option<&'a Called>,
    /// First serious declines.
    pub decline: Option<&'a Called>,
}

impl<'a> Families<'a> {
    fn of(self, outcome: ClaimOutcome) -> Option<&'a Called> {
        if outcome == ClaimOutcome::Decline { self.decline } else { self.death }
    }
}

/// A taxon with the records that it is answered from.
#[derive(Debug, Clone, Copy)]
pub struct TaxonRecords<'a> {
    /// The taxon.
    pub taxon: TaxonSlug,
    /// The records.
    pub club: &'a Club,
    /// The q values of their release.
    pub families: Families<'a>,
}

/// A claim of the catalogue or of the club.
struct Said<'a> {
    code: &'a str,
    wording: &'a str,
    basis: &'a str,
    looked_at_as: String,
    taxa: &'a [TaxonSlug],
    by_genus: bool,
    /// It is about when corals are lost.
    by_age: bool,
    outcomes: &'a [ClaimOutcome],
    conditions: Vec<&'a str>,
    /// On which side of 1 the ratio is taught to lie.
    side: Taught,
    own: Option<&'a ClubClaim>,
}

impl<'a> Said<'a> {
    fn by_catalogue(claim: &'static Claim) -> Said<'a> {
        Said {
            code: claim.code,
            wording: claim.wording,
            basis: claim.basis,
            looked_at_as: claim.looked_at_as.to_owned(),
            taxa: &claim.taxa,
            by_genus: claim.by_genus,
            by_age: claim.conditions.is_empty() && !claim.look_alikes && claim.outcomes == [ClaimOutcome::Death],
            outcomes: &claim.outcomes,
            conditions: claim.conditions.clone(),
            side: Taught::Higher,
            own: None,
        }
    }

    fn by_club(claim: &'a ClubClaim) -> Said<'a> {
        let looked_at_as = match Factor::parse(&claim.condition, claim.taxon) {
            Some(factor) => factor.name(),
            None => "nothing that is recorded says this yet".to_owned(),
        };
        Said {
            code: &claim.code,
            wording: &claim.wording,
            basis: "taught by this club",
            looked_at_as,
            taxa: std::slice::from_ref(&claim.taxon),
            by_genus: false,
            by_age: false,
            outcomes: std::slice::from_ref(&claim.outcome),
            conditions: vec![&claim.condition],
            side: if claim.fewer { Taught::Lower } else { Taught::Higher },
            own: Some(claim),
        }
    }
}

/// Every claim of the catalogue, and every one of the club's own, for every one of these taxa that it is taught for.
pub fn claims(taxa: &[TaxonRecords], own: &[ClubClaim], audience: Audience, stamp: &Stamp) -> ClaimsAnswer {
    let said: Vec<Said> =
        catalogue_claims().iter().map(Said::by_catalogue).chain(own.iter().map(Said::by_club)).collect();
    let of_taxa: Vec<(usize, &TaxonRecords)> = said
        .iter()
        .enumerate()
        .flat_map(|(at, claim)| taxa.iter().filter(|of| is_taught_for(claim, of.taxon)).map(move |of| (at, of)))
        .collect();
    let found = parallel::map(&of_taxa, |(at, of)| for_taxon(of, &said[*at], audience, stamp));
    let mut by_claim = vec![Vec::new(); said.len()];
    for ((at, _), line) in of_taxa.iter().zip(found) {
        by_claim[*at].push(line);
    }
    let lines = said.into_iter().zip(by_claim).map(|(claim, taxa)| ClaimLine {
        claim: claim.code.to_owned(),
        wording: claim.wording.to_owned(),
        basis: claim.basis.to_owned(),
        looked_at_as: claim.looked_at_as,
        outcomes: claim.outcomes.iter().map(|outcome| outcome_code(*outcome).to_owned()).collect(),
        club: claim.own.map(|own| ClaimSigned {
            id: own.id,
            taxon: own.taxon.as_str().to_owned(),
            condition: own.condition.clone(),
            direction: if own.fewer { "fewer" } else { "more" },
            since: own.since,
            signed_by: own.signed_by.clone(),
            note: own.note.clone(),
        }),
        taxa,
    });
    let claims = lines.collect();
    ClaimsAnswer { state: stamp.state, claims, program_version: stamp.program_version.clone() }
}

/// A claim is looked at for the taxa it names, and for the genera of a group that is asked by genus or where it says so.
fn is_taught_for(claim: &Said, taxon: TaxonSlug) -> bool {
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

fn for_taxon(of: &TaxonRecords, claim: &Said, audience: Audience, stamp: &Stamp) -> ClaimForTaxon {
    let TaxonRecords { taxon, club, families } = *of;
    let population = Population::of(club, taxon, None);
    let mut looked_at = Vec::new();
    let mut verdicts = Vec::new();
    let factors: Vec<Factor> = claim.conditions.iter().filter_map(|code| Factor::parse(code, taxon)).collect();
    for &about in claim.outcomes {
        // Growth stands on every line, whatever its outcome.
        let outcome = if about == ClaimOutcome::Decline { Outcome::FirstSeriousDecline } else { Outcome::Death };
        let making = Making::new(club, &population, (outcome, None), audience);
        for &factor in &factors {
            let line = conditions::one(&making, factor);
            let called = families.of(about);
            if about == ClaimOutcome::Growth {
                let q = called.and_then(|called| called.growth_q(taxon, &line.condition));
                verdicts.push(verdict(claim.side, Some(&slower(&line, q))));
                looked_at.push(growth_test(line, q));
            } else {
                let q = called.and_then(|called| called.q(taxon, &line.condition));
                verdicts.push(verdict(claim.side, Some(&tried(&line, q))));
                looked_at.push(test(line, outcome, q));
            }
        }
    }
    let by_age = claim.by_age.then(|| {
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

/// Growth under the level as taught: slower growth stands where more losses would.
fn slower(line: &ConditionLine, q: Option<f64>) -> Tried {
    let growth = line.growth.given();
    Tried {
        hazard_ratio: growth.map(|growth| growth.ratio_per_month.recip()),
        limits: growth.and_then(|growth| Some((growth.upper?.recip(), growth.lower?.recip()))),
        q,
        grade: growth.map_or(Grade::None, |growth| growth.grade),
        beside: Vec::new(),
    }
}

fn growth_test(line: ConditionLine, q: Option<f64>) -> ClaimTest {
    let growth = line.growth.given().copied();
    let refused = match line.growth {
        Part::Refused { refused } => Some(refused),
        Part::Given(_) => None,
    };
    let awaits = || Part::Refused { refused: refused.clone().unwrap_or_else(awaits_release) };
    ClaimTest {
        condition: line.condition,
        outcome: outcome_code(ClaimOutcome::Growth),
        level_label: line.contrast.level_label,
        reference_label: line.contrast.reference_label,
        hazard_ratio: None,
        lower: growth.and_then(|growth| growth.lower),
        upper: growth.and_then(|growth| growth.upper),
        growth_ratio_per_month: growth.map(|growth| growth.ratio_per_month),
        q: q.map_or_else(awaits, Part::Given),
        grade: growth.map_or(Grade::None, |growth| growth.grade),
        refused,
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
        growth_ratio_per_month: None,
        q: q.map_or(line.q, Part::Given),
        grade: line.grade,
        refused: line.refused,
    }
}
