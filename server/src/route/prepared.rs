//! The answers of a release that are worked out before anybody asks, for each of its readers: those that are asked for by
//! an address alone. They are worked out once, one after the other, and kept; what nobody may read is not worked out.

use std::collections::BTreeSet;

use analysis::answer::{Audience, By, GrowthQuestion, Outcome, Question, TaxonQuestion, listed};
use analysis::club::SEVERAL;
use analysis::vocabulary::{ParameterCode, TaxonSlug};
use serde::Serialize;

use crate::answer::{self, Answers, Snapshot};
use crate::pool::Pool;
use crate::problem::Problem;
use crate::release::{self, Standing};
use crate::represent::Form;
use crate::route::taxon_question::Lines;
use crate::route::{
    bands, casebook, claims, conditions, growth, hazard, lead_up, statistics, survival, taxon_question,
};

/// Works out what the current release lacks until told to stop; `true` if it lacks nothing any more.
///
/// # Errors
/// The database refused; what was worked out is kept.
pub fn prepare(pool: &Pool, answers: &Answers, stopped: &dyn Fn() -> bool) -> Result<bool, Problem> {
    let (standing, publishes) = {
        let mut connection = pool.get().map_err(|error| Problem::database_unavailable(&error))?;
        (release::standing(&mut connection, None, SEVERAL)?, answer::publishes(&mut connection)?)
    };
    // What to work out is listed by the newest records, also where they are withheld from answers about everything.
    let newest = Standing { answered_from: Some(standing.current), ..standing };
    let club = answers.released(pool, &newest)?.club;
    let taxa = listed(&club);
    // Nobody looks for a split by what nobody tests.
    let tested: BTreeSet<ParameterCode> = club.readings.iter().map(|reading| reading.parameter).collect();
    let splits: Vec<By> = By::codes()
        .into_iter()
        .filter_map(By::parse)
        .filter(|by| if let By::Parameter(code) = by { tested.contains(code) } else { true })
        .collect();
    let readers = [Some(Audience::Member), publishes.then_some(Audience::Public)];
    for audience in readers.into_iter().flatten() {
        let preparing = Preparing { pool, answers, audience };
        let mut steps: Vec<Step> = taxa.iter().flat_map(|taxon| preparing.of_taxon(*taxon, &splits)).collect();
        steps.push(Box::new(|| {
            preparing.one(&claims::asked(Form::Json), |snapshot| claims::bytes(snapshot, audience, Form::Json))
        }));
        for step in steps {
            if stopped() {
                return Ok(false);
            }
            step()?;
        }
    }
    Ok(true)
}

struct Preparing<'a> {
    pool: &'a Pool,
    answers: &'a Answers,
    audience: Audience,
}

type Step<'a> = Box<dyn Fn() -> Result<(), Problem> + 'a>;

impl Preparing<'_> {
    fn one(
        &self,
        question: &statistics::Question,
        compute: impl FnOnce(&Snapshot) -> Result<Vec<u8>, Problem>,
    ) -> Result<(), Problem> {
        let mut connection = self.pool.get().map_err(|error| Problem::database_unavailable(&error))?;
        let standing = release::standing(&mut connection, question.taxon, question.made_of)?;
        drop(connection);
        if standing.answered_from.is_none() {
            return Ok(());
        }
        statistics::released(self.pool, self.answers, &standing, question, self.audience, |snapshot, _| {
            compute(snapshot)
        })
        .map(drop)
    }

    /// Everything about a taxon, by each of these splits that this reader may ask for.
    fn of_taxon(&self, taxon: TaxonSlug, splits: &[By]) -> Vec<Step<'_>> {
        let mut steps: Vec<Step> = Vec::new();
        let of = TaxonQuestion { taxon, outcome: Outcome::Death, since: None };
        for &by in splits {
            let question = Question { by, ..of.plain() };
            if question.faults(self.audience).is_empty() {
                steps.push(Box::new(move || {
                    let asked = survival::asked(&question, Form::Json);
                    self.one(&asked, |snapshot| survival::bytes(snapshot, &question, self.audience, Form::Json))
                }));
            }
            let question = GrowthQuestion { taxon, by, edges: None, since: None };
            if question.faults(self.audience).is_empty() {
                steps.push(Box::new(move || {
                    let asked = growth::asked(&question, Form::Json);
                    self.one(&asked, |snapshot| growth::bytes(snapshot, &question, self.audience, Form::Json))
                }));
            }
        }
        steps.push(self.lines(of, &conditions::LINES, conditions::answer));
        steps.push(self.lines(of, &bands::LINES, bands::answer));
        steps.push(self.lines(of, &hazard::LINES, hazard::answer));
        steps.push(self.lines(of, &lead_up::LINES, lead_up::answer));
        steps.push(self.lines(of, &casebook::LINES, casebook::answer));
        steps
    }

    fn lines<A: Serialize>(
        &self,
        question: TaxonQuestion,
        lines: &'static Lines,
        compute: impl Fn(&Snapshot, &TaxonQuestion, Audience) -> Result<A, Problem> + 'static,
    ) -> Step<'_> {
        Box::new(move || {
            self.one(&taxon_question::asked(&question, lines, Form::Json), |snapshot| {
                taxon_question::bytes(&compute(snapshot, &question, self.audience)?, Form::Json, lines)
            })
        })
    }
}
