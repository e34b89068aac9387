//! Links to single questions: made, listed and withdrawn by a curator, so that whoever can answer one is sent it.

use actix_web::http::header;
use actix_web::{HttpRequest, HttpResponse, delete, get, post, web};
use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::access::{Caller, link};
use crate::app::State;
use crate::body::Body;
use crate::pool;
use crate::problem::{Fault, Kind, Problem};
use crate::problems;
use crate::query::{Nothing, Query, hint};
use crate::route::uploads::NoSuchUpload;
use crate::upload::hand_in;

/// A link to be made.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct LinkRequest {
    /// Key of the question.
    #[schema(example = "complete_since_missing")]
    key: String,
    /// Days until it expires, 1 to 60; without it 14.
    #[schema(minimum = 1, maximum = 60, example = 14)]
    expires_days: Option<u32>,
}

/// A link as lists show it.
#[derive(Serialize, ToSchema)]
pub struct LinkListed {
    /// Number.
    #[schema(example = 5)]
    id: i64,
    /// Key of the question.
    #[schema(example = "complete_since_missing")]
    key: String,
    /// When it was made.
    created_at: DateTime<Utc>,
    /// When it expires.
    expires_at: DateTime<Utc>,
    /// When it took its answer.
    used_at: Option<DateTime<Utc>>,
    /// When it was withdrawn.
    revoked_at: Option<DateTime<Utc>>,
}

impl From<link::Listed> for LinkListed {
    fn from(row: link::Listed) -> Self {
        let link::Listed { id, key, created_at, expires_at, used_at, revoked_at } = row;
        LinkListed { id, key, created_at, expires_at, used_at, revoked_at }
    }
}

/// A link just made.
#[derive(Serialize, ToSchema)]
pub struct LinkMade {
    /// The link: shown now and never again.
    #[schema(example = "https://club.example/questions/…")]
    url: String,
    /// What lists show of it.
    #[serde(flatten)]
    listed: LinkListed,
}

/// Links of an upload.
#[derive(Serialize, ToSchema)]
pub struct LinkList {
    /// In the order they were made.
    question_links: Vec<LinkListed>,
}

problems!(
    /// What making a link can meet.
    LinkProblems: InvalidBody, UnsupportedMediaType, TooLarge, TooSlow, InvalidValue
);
problems!(
    /// No such link.
    NoSuchLink: UnknownLink
);

/// Make a link to one question
///
/// Whoever holds the link sees that question with its cells and nothing else of the upload, and can answer it once. The
/// link is in this answer and nowhere else: only its SHA-256 is kept.
#[utoipa::path(
    tag = "uploads",
    security(("token" = ["admin"])),
    params(("id" = i64, Path, description = "Number of the upload", example = 17)),
    request_body = LinkRequest,
    responses((status = 201, description = "The link", body = LinkMade), LinkProblems, NoSuchUpload)
)]
#[post("/uploads/{id}/links")]
pub async fn create_link(
    request: HttpRequest,
    state: web::Data<State>,
    caller: Caller,
    path: web::Path<i64>,
    _: Query<Nothing>,
    body: Body<LinkRequest>,
) -> Result<HttpResponse, Problem> {
    let scope = caller.administers()?;
    let id = path.into_inner();
    let LinkRequest { key, expires_days } = body.0;
    let days = expires_days.unwrap_or(link::DAYS.0);
    if !(1..=link::DAYS.1).contains(&days) {
        let detail = format!("'expires_days' is not from 1 to {}", link::DAYS.1);
        return Err(Problem::of_fault(Kind::InvalidBody, Fault::pointer("/expires_days", "invalid", detail)));
    }
    let (listed, secret) = pool::with(&state.pool, move |connection| {
        let reached = scope.upload(connection, id)?;
        let findings = importer::load::findings(connection, reached.id()).map_err(|error| hand_in::problem(&error))?;
        let open = |finding: &&importer::finding::Finding| !finding.choices.is_empty();
        if !findings.iter().filter(open).any(|finding| finding.key == key) {
            let keys = findings.iter().filter(open).map(|finding| finding.key.as_str());
            let detail = format!("nothing is asked under '{key}'; {}", hint(&key, keys));
            return Err(Problem::of_fault(Kind::InvalidValue, Fault::pointer("/key", "unknown", detail)));
        }
        link::make(connection, reached, &key, days, &caller.name())
    })
    .await?;
    let here = request.connection_info();
    let url = format!("{}://{}/questions/{secret}", here.scheme(), here.host());
    Ok(HttpResponse::Created()
        .insert_header((header::CACHE_CONTROL, "no-store"))
        .json(LinkMade { url, listed: listed.into() }))
}

/// List the links to an upload's questions
///
/// Never the links themselves.
#[utoipa::path(
    tag = "uploads",
    security(("token" = ["admin"])),
    params(("id" = i64, Path, description = "Number of the upload", example = 17)),
    responses((status = 200, description = "The links", body = LinkList), NoSuchUpload)
)]
#[get("/uploads/{id}/links")]
pub async fn list_links(
    state: web::Data<State>,
    caller: Caller,
    path: web::Path<i64>,
    _: Query<Nothing>,
) -> Result<HttpResponse, Problem> {
    let scope = caller.administers()?;
    let id = path.into_inner();
    let rows = pool::with(&state.pool, move |connection| {
        let reached = scope.upload(connection, id)?;
        link::list(connection, reached)
    })
    .await?;
    let question_links = rows.into_iter().map(LinkListed::from).collect();
    Ok(HttpResponse::Ok().insert_header((header::CACHE_CONTROL, "no-store")).json(LinkList { question_links }))
}

/// Withdraw a link to a question
///
/// It leads nowhere from then on. Withdrawing it again changes nothing and gives the same answer.
#[utoipa::path(
    tag = "uploads",
    security(("token" = ["admin"])),
    params(
        ("id" = i64, Path, description = "Number of the upload", example = 17),
        ("link" = i64, Path, description = "Number of the link", example = 5)
    ),
    responses((status = 200, description = "The link, withdrawn", body = LinkListed), NoSuchUpload, NoSuchLink)
)]
#[delete("/uploads/{id}/links/{link}")]
pub async fn revoke_link(
    state: web::Data<State>,
    caller: Caller,
    path: web::Path<(i64, i64)>,
    _: Query<Nothing>,
) -> Result<HttpResponse, Problem> {
    let scope = caller.administers()?;
    let (id, number) = path.into_inner();
    let revoked = pool::with(&state.pool, move |connection| {
        let reached = scope.upload(connection, id)?;
        link::revoke(connection, reached, number, &caller.name())
    })
    .await?;
    Ok(HttpResponse::Ok().insert_header((header::CACHE_CONTROL, "no-store")).json(LinkListed::from(revoked)))
}
