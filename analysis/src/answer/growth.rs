//! A question about growth, from sizes to the printed answer.
//!
//! Sizes of unlike measure or basis are never mixed: the answer is about the measure and basis with most specimens.
//! Tissue follows the animal's mood and is used for nothing. For a split that a coral keeps for life, one mixed model gives
//! each level its slope; with too few corals, sizes or tanks for it each coral has one median slope and a level the median
//! of its corals. For conditions that change, each increment between two looks
//! is weighed by the share of it spent under each level.

use super::question::{Audience, GrowthQuestion, Stamp};
use super::shape::{
    Asked, Caution, FallbackStep, GrowthAnswer, GrowthEvidence, GrowthResult, Method, SensitivityRun, TaxonAnswered,
};
use super::taxon::MixOf;
use super::{refusals, taxon};
use crate::club::{Club, SEVERAL};
use crate::disclosure::{rounding, suppressed};
use crate::exposure::LAG_DAYS;
use crate::follow_up::Population;
use crate::refusal::{Part, Refusal, RefusalCode};

mod attempt; // one taxon tried
pub(super) mod contrast; // one level of a condition against another
mod falls; // the same figures without sudden losses of size
mod increments; // conditions that change between looks
mod lines; // the sizes of each coral
mod shown; // what of it a restricted audience sees

use attempt::Attempt;

/// The answer to a question for an audience; see [`super::survival`] for fallback and refusals.
pub fn growth(club: &Club, question: &GrowthQuestion, audience: Audience, stamp: &Stamp) -> GrowthAnswer {
    let asked = Asked {
        about: "growth",
        taxon: question.taxon.as_str().to_owned(),
        outcome: None,
        by: question.by.as_str(),
        edges: question.edges.clone(),
        given: None,
        horizon_days: None,
        since: question.since,
        audience,
    };
    let nobody = || Population::of_members(question.taxon, Vec::new());
    if let Some(fault) = question.faults(audience).into_iter().next() {
        let code = if fault.parameter == "taxon" { RefusalCode::NotAsked } else { RefusalCode::InvalidInput };
        let refusal = Refusal::plain(code, format!("{fault}."));
        let taxon = taxon::answered(club, question.taxon, &nobody(), &MixOf::nobody(), Vec::new(), audience);
        return refused(stamp, asked, taxon, Refused { refusal, evidence: None });
    }
    if club.withheld {
        let taxon = taxon::answered(club, question.taxon, &nobody(), &MixOf::nobody(), Vec::new(), audience);
        let mut answer = refused(stamp, asked, taxon, Refused { refusal: suppressed(audience), evidence: None });
        rounding::growth(&mut answer, audience);
        return answer;
    }
    let mut fallback: Vec<FallbackStep> = Vec::new();
    let mut first: Option<(Population, Refused)> = None;
    for population in taxon::candidates(club, question.taxon, question.since) {
        // Of a fallback, an older release may stand.
        let told = club.stands.has(&population.subject(), SEVERAL);
        let attempt = Attempt { club, question, population: &population, audience };
        match if told { attempt.figures() } else { Err(suppressed(audience).into()) } {
            Ok(figures) => {
                let beyond = taxon::beyond(club, &population, |whole| measured(club, whole));
                let of = MixOf { ids: &figures.specimens, beyond: &beyond, since: question.since };
                let taxon = taxon::answered(club, question.taxon, &population, &of, fallback, audience);
                let mut answer = GrowthAnswer {
                    state: stamp.state,
                    question: asked,
                    taxon,
                    evidence: Part::Given(figures.evidence),
                    refusals: refusals::of_growth(&figures.result, &figures.names),
                    result: Part::Given(figures.result),
                    cautions: figures.cautions,
                    method: Method { program_version: stamp.program_version.clone(), ..figures.method },
                    sensitivity: figures.sensitivity,
                };
                rounding::growth(&mut answer, audience);
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
        let refusal = Refusal::counted(RefusalCode::EmptyGroup, 0.0, 1.0, "No coral of this taxon is on record.");
        (nobody(), Refused { refusal, evidence: None })
    });
    let taxon = taxon::answered(club, question.taxon, &population, &MixOf::nobody(), fallback, audience);
    let mut answer = refused(stamp, asked, taxon, whole);
    rounding::growth(&mut answer, audience);
    answer
}

/// The figures of a taxon that answers.
struct Figures {
    specimens: Vec<u32>,
    evidence: GrowthEvidence,
    result: GrowthResult,
    /// Codes of the levels, in the order of the groups.
    names: Vec<String>,
    cautions: Vec<Caution>,
    method: Method,
    sensitivity: Vec<SensitivityRun>,
}

/// A taxon that does not answer; its counts stand beside where they may be shown.
struct Refused {
    refusal: Refusal,
    evidence: Option<Box<GrowthEvidence>>,
}

impl From<Refusal> for Refused {
    fn from(refusal: Refusal) -> Self {
        Refused { refusal, evidence: None }
    }
}

/// Stable id of the method: changes when a figure made by the same records would.
const METHOD_ID: &str = "growth-3";

fn method(lagged: bool) -> Method {
    Method {
        id: METHOD_ID,
        program_version: String::new(),
        start_time: None,
        interval: "percentile",
        cluster: "tank",
        clusters: 0,
        variance: "bootstrap",
        lag_days: if lagged { LAG_DAYS } else { 0.0 },
        carry_days: None,
        step_tolerance: None,
        band: None,
        given: Vec::new(),
        imputations: 0,
        seed: None,
        bands_dated: None,
        e_values: Vec::new(),
    }
}

/// The specimens of a population with sizes of the measure that answers for it.
fn measured(club: &Club, population: &Population) -> Vec<u32> {
    lines::Lines::new(club, population).longest().iter().map(|line| line.specimen).collect()
}

fn refused(stamp: &Stamp, question: Asked, taxon: TaxonAnswered, whole: Refused) -> GrowthAnswer {
    let refusal = whole.refusal;
    GrowthAnswer {
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
        method: Method { program_version: stamp.program_version.clone(), ..method(false) },
        sensitivity: Vec::new(),
    }
}
