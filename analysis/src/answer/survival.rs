//! A question about survival, from records to the printed answer.

use super::question::{Audience, By, Given, Outcome, Question, Stamp};
use super::shape::{Asked, FallbackStep, Method, SurvivalAnswer, TaxonAnswered};
use super::taxon::MixOf;
use super::{refusals, taxon};
use crate::club::Club;
use crate::disclosure::rounding::{self, sentence_of};
use crate::disclosure::{block_minimum, suppressed};
use crate::exposure::LAG_DAYS;
use crate::follow_up::{Population, Run, follow_up};
use crate::refusal::{Part, Refusal, RefusalCode};
use crate::wording;

#[cfg(test)]
mod attack; // what published figures leave open of cells that may not be shown
mod attempt; // one taxon tried
pub(super) mod by_age; // at which ages it is told
mod causes; // what they died of
mod counted; // evidence of the whole and of each level
mod frame; // rows under the rules of a run
mod groups; // the figures of each level
pub mod holdings; // who holds what in the cells of answers
mod interaction; // fed or not, in water within the bands or outside
pub(super) mod records; // the records that blocks are made from
mod said; // cautions and sentences
mod sensitivity; // the same figures under other rules
pub(super) mod shown; // what of it a restricted audience sees

pub(super) use attempt::events_by_level;
use attempt::{Attempt, Refused};

/// The answer to a question for an audience.
///
/// It is a function of its arguments alone. A taxon that is refused is answered by its genus, then by its group without
/// look-alike genera, under the same minimums; both names and every refusal on the way are printed. A question that may
/// not be asked in this form (see [`Question::faults`]) is refused with the first fault.
pub fn survival(club: &Club, question: &Question, audience: Audience, stamp: &Stamp) -> SurvivalAnswer {
    let asked = asked(question, audience);
    if let Some(fault) = question.faults(audience).into_iter().next() {
        let code = if fault.parameter == "taxon" { RefusalCode::NotAsked } else { RefusalCode::InvalidInput };
        let refusal = Refusal::plain(code, format!("{fault}."));
        let population = Population::of_members(question.taxon, Vec::new());
        let taxon = taxon::answered(club, question.taxon, &population, &MixOf::nobody(), Vec::new(), audience);
        return refused(stamp, asked, taxon, Refused { refusal, evidence: None });
    }
    if club.withheld {
        let population = Population::of_members(question.taxon, Vec::new());
        let taxon = taxon::answered(club, question.taxon, &population, &MixOf::nobody(), Vec::new(), audience);
        let mut answer = refused(stamp, asked, taxon, Refused { refusal: suppressed(audience), evidence: None });
        round(&mut answer, question.outcome, audience);
        return answer;
    }
    let framed_by = shown::framed_by(question, audience);
    let mut fallback: Vec<FallbackStep> = Vec::new();
    let mut first: Option<(Population, Refused)> = None;
    for population in taxon::candidates(club, question.taxon, question.since) {
        let attempt = Attempt { club, asked: question, question: &framed_by, population: &population, audience };
        // Of a fallback, an older release may stand by this split.
        let told = club.stands.has(&population.subject(), holdings::code_of_split(question.by));
        match if told { attempt.figures() } else { Err(suppressed(audience).into()) } {
            Ok(figures) => {
                let beyond = taxon::beyond(club, &population, |whole| followed(club, whole));
                let of = MixOf { ids: &figures.specimens, beyond: &beyond, since: question.since };
                let taxon = taxon::answered(club, question.taxon, &population, &of, fallback, audience);
                let mut answer = SurvivalAnswer {
                    state: stamp.state,
                    question: asked,
                    taxon,
                    evidence: Part::Given(figures.evidence),
                    refusals: refusals::of_survival(&figures.result),
                    result: Part::Given(figures.result),
                    cautions: figures.cautions,
                    method: Method { program_version: stamp.program_version.clone(), ..figures.method },
                    sensitivity: figures.sensitivity,
                };
                round(&mut answer, question.outcome, audience);
                return answer;
            }
            Err(refused) => {
                fallback.push(FallbackStep {
                    taxon: population.taxon.as_str().to_owned(),
                    refused: refused.refusal.clone(),
                });
                first.get_or_insert((population, refused));
            }
        }
    }
    let (population, whole) = first.unwrap_or_else(|| {
        let population = Population::of_members(question.taxon, Vec::new());
        let refusal = Refusal::counted(RefusalCode::EmptyGroup, 0.0, 1.0, "No coral of this taxon is on record.");
        (population, Refused { refusal, evidence: None })
    });
    let ids = match &whole.evidence {
        None => Vec::new(),
        Some(_) if block_minimum(audience).is_none() => population.members.clone(),
        Some(_) => followed(club, &population),
    };
    let beyond = taxon::beyond(club, &population, |whole| followed(club, whole));
    let of = MixOf { ids: &ids, beyond: &beyond, since: question.since };
    // The first refusal is the answer's own; the others were tried for it.
    let taxon = taxon::answered(club, question.taxon, &population, &of, fallback, audience);
    let mut answer = refused(stamp, asked, taxon, whole);
    round(&mut answer, question.outcome, audience);
    answer
}

/// The last step; refusals without counts say the outcome asked about.
fn round(answer: &mut SurvivalAnswer, outcome: Outcome, audience: Audience) {
    rounding::survival(answer, audience);
    if audience != Audience::Public || !outcome.counts_declines() {
        return;
    }
    refusals::each_of_survival(answer, &mut |refusal| {
        if refusal.message == sentence_of(wording::refusal(refusal.code)) {
            refusal.message = sentence_of(wording::outcome::refusal(refusal.code, outcome));
        }
    });
}

/// The specimens of a population under observation.
fn followed(club: &Club, population: &Population) -> Vec<u32> {
    follow_up(club, population, Run::Main).follows.iter().map(|follow| follow.specimen).collect()
}

fn asked(question: &Question, audience: Audience) -> Asked {
    Asked {
        about: "survival",
        taxon: question.taxon.as_str().to_owned(),
        outcome: Some(question.outcome.as_str()),
        by: question.by.as_str(),
        edges: question.edges.clone(),
        given: question.given.map(Given::as_str),
        horizon_days: Some(question.horizon_days),
        since: question.since,
        audience,
    }
}

fn refused(stamp: &Stamp, question: Asked, taxon: TaxonAnswered, whole: Refused) -> SurvivalAnswer {
    let lagged = By::parse(question.by).is_some_and(By::varies_in_time);
    let refusal = whole.refusal;
    SurvivalAnswer {
        state: stamp.state,
        question,
        taxon,
        evidence: match whole.evidence {
            Some(evidence) => Part::Given(*evidence),
            None => Part::Refused { refused: refusal.clone() },
        },
        refusals: refusals::whole(&refusal),
        result: Part::Refused { refused: refusal },
        cautions: Vec::new(),
        method: Method {
            id: METHOD_ID,
            program_version: stamp.program_version.clone(),
            start_time: None,
            interval: "log-log",
            cluster: "tank",
            clusters: 0,
            variance: "cr0_g",
            lag_days: if lagged { LAG_DAYS } else { 0.0 },
            carry_days: None,
            step_tolerance: None,
            band: None,
            given: Vec::new(),
            imputations: 0,
            seed: None,
            bands_dated: None,
            e_values: Vec::new(),
        },
        sensitivity: Vec::new(),
    }
}

/// Stable id of the method: changes when a figure made by the same records would.
const METHOD_ID: &str = "survival-2";
