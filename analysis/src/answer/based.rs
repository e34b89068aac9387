//! Answers that start from the plain one on survival: which taxon answers, what stands behind it, what to bear in mind.

use super::question::{Audience, By, Outcome, Question, Stamp};
use super::shape::{PlacedRefusal, SurvivalAnswer, TaxonAnswer};
use super::{survival, taxon};
use crate::club::Club;
use crate::disclosure::suppressed;
use crate::follow_up::Population;
use crate::refusal::{Part, Refusal};
use crate::vocabulary::TaxonSlug;

/// A question about one taxon that is not split.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TaxonQuestion {
    /// Species, genus or group.
    pub taxon: TaxonSlug,
    /// What ends the follow-up.
    pub outcome: Outcome,
    /// Only corals acquired on or after 1 January of this year.
    pub since: Option<i32>,
}

/// The horizon of the plain answer, in days.
const HORIZON_DAYS: f64 = 365.0;

impl TaxonQuestion {
    /// The plain question on survival.
    pub fn plain(&self) -> Question {
        Question {
            taxon: self.taxon,
            outcome: self.outcome,
            by: By::None,
            edges: None,
            given: None,
            horizon_days: HORIZON_DAYS,
            since: self.since,
        }
    }

    /// The question as one text, after the name of what is asked.
    pub fn canonical(&self, about: &str) -> String {
        let since = self.since.map(|year| year.to_string()).unwrap_or_default();
        format!("{about}?taxon={}&outcome={}&since={since}", self.taxon, self.outcome.as_str())
    }
}

/// The plain answer and the population it is about.
pub(super) struct Based {
    pub(super) plain: SurvivalAnswer,
    /// The specimens that answer; `None` if no taxon does.
    pub(super) population: Option<Population>,
    /// The plain answer stands in this release, and what is asked does not.
    withheld: Option<Refusal>,
}

impl Based {
    /// `made_of`: the split that the answer is made of, or [`crate::club::SEVERAL`].
    pub(super) fn new(
        club: &Club,
        question: &TaxonQuestion,
        made_of: &str,
        audience: Audience,
        stamp: &Stamp,
    ) -> Based {
        let plain = survival(club, &question.plain(), audience, stamp);
        let answered = plain.result.given().is_some();
        let same = |population: &Population| {
            population.taxon.as_str() == plain.taxon.answered
                && population.without.iter().map(|genus| genus.as_str()).eq(plain.taxon.without.iter())
        };
        let population =
            answered.then(|| taxon::candidates(club, question.taxon, question.since).into_iter().find(same)).flatten();
        let told = population.as_ref().is_none_or(|population| club.stands.has(&population.subject(), made_of));
        Based { plain, population: population.filter(|_| told), withheld: (!told).then(|| suppressed(audience)) }
    }

    /// The refusal of the plain answer, where no taxon answers.
    pub(super) fn refusal(&self) -> Option<Refusal> {
        match &self.plain.result {
            Part::Refused { refused } => Some(refused.clone()),
            Part::Given(_) => self.withheld.clone(),
        }
    }

    /// An answer of another kind about the same specimens.
    pub(super) fn answer<R>(
        self,
        about: &'static str,
        id: &'static str,
        result: Result<R, Refusal>,
        refusals: Vec<PlacedRefusal>,
    ) -> TaxonAnswer<R> {
        let SurvivalAnswer { state, mut question, taxon, evidence, cautions, mut method, .. } = self.plain;
        question.about = about;
        question.horizon_days = None;
        method.id = id;
        let refusals = match &result {
            Err(refusal) => super::refusals::whole(refusal),
            Ok(_) => refusals,
        };
        TaxonAnswer {
            state,
            question,
            taxon,
            evidence,
            result: Part::from(result),
            refusals,
            cautions,
            method,
            sensitivity: Vec::new(),
        }
    }
}
