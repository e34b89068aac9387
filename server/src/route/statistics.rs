//! What the answers on survival and growth share: who may read, what was computed before, the bytes.

use actix_web::{HttpRequest, HttpResponse, web};
use analysis::answer::{Audience, By, InvalidQuestion};
use analysis::vocabulary::{TaxonSlug, catalogue};
use std::sync::Arc;
use std::time::Instant;

use crate::access::Caller;
use crate::answer::{self, Answers, Edition, Snapshot};
use crate::app::State;
use crate::pool::{self, Pool};
use crate::problem::{Fault, Kind, Problem};
use crate::query::{Fields, hint};
use crate::release::{self, Standing};
use crate::represent::{self, Form, Held, Keep, Validator};

/// What is asked, apart from who asks.
pub struct Question {
    /// The question as one text: equal questions have equal texts.
    pub canonical: String,
    /// The representation.
    pub form: Form,
    /// Name of the file, for representations that are files.
    pub stem: String,
    /// The taxon it is about; `None` = everything together.
    pub taxon: Option<TaxonSlug>,
    /// What it is made of, by which a release's figures stand: the code of a piece, or [`analysis::club::SEVERAL`].
    pub made_of: &'static str,
}

/// What a question is answered from.
#[derive(Clone, Copy)]
enum From {
    /// The records as they are.
    Edition(Edition),
    /// What a release froze.
    Release(Standing),
}

impl From {
    /// The validators of an answer: whatever its bytes depend on.
    fn validator(&self, audience: Audience, question: &Question) -> Validator {
        let (state, since) = match self {
            From::Edition(edition) => (edition.number.to_string(), edition.raised_at),
            From::Release(Standing { current, answered_from: Some(from) }) => {
                (format!("release {}", from.number), current.made_at)
            }
            From::Release(Standing { current, answered_from: None }) => {
                (format!("release {} withheld", current.number), current.made_at)
            }
        };
        let etag = represent::etag(&[
            &state,
            audience.as_str(),
            &question.canonical,
            question.form.word(),
            env!("CARGO_PKG_VERSION"),
        ]);
        Validator::of_records(etag, since)
    }
}

/// Answers a question about the club's records, by `compute`, which gives the bytes of the answer, or from what was
/// computed before: for curators in this edition, for public and members in the release that stands for the taxon.
pub async fn answer<F>(
    request: &HttpRequest,
    state: &web::Data<State>,
    caller: Caller,
    question: Question,
    compute: F,
) -> Result<HttpResponse, Problem>
where
    F: FnOnce(&Snapshot, Audience) -> Result<Vec<u8>, Problem> + Send + 'static,
{
    answer_as(request, state, caller, None, question, compute).await
}

/// The same from the release with the figures of the public, whoever asks that may read answers at all.
pub async fn of_release<F>(
    request: &HttpRequest,
    state: &web::Data<State>,
    caller: Caller,
    question: Question,
    compute: F,
) -> Result<HttpResponse, Problem>
where
    F: FnOnce(&Snapshot, Audience) -> Result<Vec<u8>, Problem> + Send + 'static,
{
    answer_as(request, state, caller, Some(Audience::Public), question, compute).await
}

async fn answer_as<F>(
    request: &HttpRequest,
    state: &web::Data<State>,
    caller: Caller,
    reader: Option<Audience>,
    question: Question,
    compute: F,
) -> Result<HttpResponse, Problem>
where
    F: FnOnce(&Snapshot, Audience) -> Result<Vec<u8>, Problem> + Send + 'static,
{
    let held = Held::of(request);
    let shared = state.clone();
    let (taxon, made_of) = (question.taxon, question.made_of);
    let first = pool::with(&state.pool, move |connection| {
        let publishes = answer::publishes(connection)?;
        let (scope, own) = caller.audience(publishes)?;
        let audience = reader.unwrap_or(own);
        let keep = if caller.holder().is_some() { Keep::Private } else { Keep::Public };
        let from = match audience {
            Audience::Public | Audience::Member => From::Release(release::standing(connection, taxon, made_of)?),
            Audience::Curator | Audience::Keeper => From::Edition(answer::current_edition(connection)?),
        };
        Ok((scope, audience, keep, from))
    });
    let (scope, audience, keep, from) = first.await?;
    let validator = from.validator(audience, &question);
    if held.holds(&validator) {
        return Ok(represent::not_modified(&validator, keep));
    }
    if let Some(body) = known(&state.answers, from, &validator) {
        return Ok(represent::found(body.as_ref().clone(), question.form, &question.stem, &validator, keep));
    }
    // Computing takes its time and no connection.
    let computed = web::block(move || {
        // Whoever asks meanwhile waits, and finds it there.
        let _working = shared.answers.begin(&validator.etag);
        if let Some(body) = known(&shared.answers, from, &validator) {
            return Ok((body, validator, question));
        }
        shared.metrics.computed();
        match from {
            From::Edition(edition) => {
                let began = Instant::now();
                let snapshot = shared.answers.snapshot(&shared.pool, &scope, edition.number)?;
                let read = began.elapsed();
                // The edition may have been raised since it was looked at.
                let from = From::Edition(Edition { number: snapshot.edition, raised_at: snapshot.raised_at });
                let validator = from.validator(audience, &question);
                let body = Arc::new(compute(&snapshot, audience)?);
                tracing::debug!(stage = "records", ms = read.as_millis());
                tracing::debug!(stage = "answer", ms = (began.elapsed() - read).as_millis());
                shared.answers.keep(snapshot.edition, &validator.etag, body.clone());
                Ok::<_, Problem>((body, validator, question))
            }
            From::Release(standing) => {
                let body = Arc::new(released(&shared.pool, &shared.answers, &standing, &question, audience, compute)?);
                shared.answers.keep_released(&validator.etag, body.clone());
                Ok((body, validator, question))
            }
        }
    });
    let (body, validator, question) = computed.await.map_err(|error| Problem::internal(&error))??;
    Ok(represent::found(body.as_ref().clone(), question.form, &question.stem, &validator, keep))
}

/// The bytes of an answer that was worked out before.
fn known(answers: &Answers, from: From, validator: &Validator) -> Option<Arc<Vec<u8>>> {
    match from {
        From::Edition(edition) => answers.body(edition.number, &validator.etag),
        From::Release(_) => answers.released_body(&validator.etag),
    }
}

/// The bytes of an answer of a release: as first given, or computed now and kept.
pub fn released(
    pool: &Pool,
    answers: &Answers,
    standing: &Standing,
    question: &Question,
    audience: Audience,
    compute: impl FnOnce(&Snapshot, Audience) -> Result<Vec<u8>, Problem>,
) -> Result<Vec<u8>, Problem> {
    let connect = || pool.get().map_err(|error| Problem::database_unavailable(&error));
    let asked = format!("{} {}", question.canonical, question.form.word());
    if let Some(from) = standing.answered_from
        && let Some(body) = release::kept(&mut *connect()?, from.number, audience.as_str(), &asked)?
    {
        return Ok(body);
    }
    let snapshot = answers.released(pool, standing)?;
    let body = compute(&snapshot, audience)?;
    match standing.answered_from {
        Some(from) => release::keep(&mut *connect()?, from.number, audience.as_str(), &asked, body),
        None => Ok(body),
    }
}

/// The taxon of an address.
pub fn taxon(slug: &str) -> Result<TaxonSlug, Problem> {
    TaxonSlug::parse(slug).ok_or_else(|| {
        let known = catalogue().taxa().iter().map(|taxon| taxon.slug.as_str());
        Problem::new(Kind::UnknownTaxon, format!("'{slug}' is no taxon; {}", hint(slug, known)))
    })
}

/// The split asked for; all together where none is.
pub fn by(fields: &mut Fields) -> By {
    fields
        .value("by", |text| {
            By::parse(text).ok_or_else(|| format!("'by={text}' is no split; {}", hint(text, By::codes().into_iter())))
        })
        .unwrap_or(By::None)
}

/// Cut points, ascending and each once.
pub fn edges(fields: &mut Fields) -> Option<Vec<f64>> {
    let written = fields.list("edges");
    let mut edges = Vec::new();
    for text in &written {
        match text.parse::<f64>() {
            Ok(edge) if edge.is_finite() => edges.push(edge),
            _ if text.is_empty() => {}
            _ => fields.fault(
                "edges",
                "invalid",
                format!("'{text}' in 'edges' is not a number; write cut points as 5,15"),
            ),
        }
    }
    edges.sort_by(f64::total_cmp);
    edges.dedup();
    if edges.is_empty() { None } else { Some(edges) }
}

/// A year of purchase.
pub fn since(fields: &mut Fields) -> Option<i32> {
    fields.whole("since", 1900, 2200).and_then(|year| i32::try_from(year).ok())
}

/// Refuses a question that may not be asked in its form, with every fault of it.
pub fn allowed(faults: Vec<InvalidQuestion>) -> Result<(), Problem> {
    if faults.is_empty() {
        return Ok(());
    }
    let fault = |fault: InvalidQuestion| {
        // The taxon stands in the address.
        let name = if fault.parameter == "taxon" { "slug" } else { fault.parameter };
        Fault::parameter(name, "not_allowed", fault.message)
    };
    Err(Problem::of_faults(Kind::InvalidQuery, faults.into_iter().map(fault).collect()))
}

/// The club's name and whether its answers are shown to everybody.
pub async fn club_facts(state: &web::Data<State>) -> Result<(Option<String>, bool), Problem> {
    pool::with(&state.pool, |connection| Ok((answer::club_name(connection)?, answer::publishes(connection)?))).await
}
