//! The ranges that the club teaches in place of the catalogue's: previewed, taught, withdrawn.

use actix_web::http::header;
use actix_web::{HttpRequest, HttpResponse, delete, get, post, web};
use serde::Serialize;
use utoipa::{IntoParams, ToSchema};

use crate::access::Caller;
use crate::answer;
use crate::app::State;
use crate::body::Body;
use crate::desk::band_preview::{self, BandPreviewed};
use crate::desk::bands::{self, BandRequest, ClubBandShown, TaughtShown};
use crate::pool;
use crate::problem::{Kind, Problem};
use crate::problems;
use crate::query::{Asked, Fields, Nothing, Query};
use crate::route::page::{self, Page};

problems!(
    /// What teaching a range can meet.
    BandProblems: InvalidBody, UnsupportedMediaType, TooLarge, TooSlow, InvalidValue
);
problems!(
    /// No such band.
    NoSuchBand: UnknownBand
);

/// A page of the club's ranges.
#[derive(Serialize, ToSchema)]
pub struct BandPage {
    /// In the order in which they were entered; those withdrawn, and those that a later one took the place of, too.
    bands: Vec<ClubBandShown>,
    /// What the catalogue starts with: taught for a taxon wherever no band of the club is in force for it.
    catalogue: Vec<TaughtShown>,
    /// The next page.
    links: page::Links,
}

/// Parameters of the list.
#[derive(IntoParams)]
#[into_params(parameter_in = Query)]
pub struct BandQuery {
    /// Items a page, 1 to 1000.
    #[param(minimum = 1, maximum = 1000, example = 50)]
    limit: i64,
    /// Where the page begins: from `links.next` of the page before.
    #[param(value_type = Option<String>)]
    cursor: Option<i64>,
}

impl Asked for BandQuery {
    fn read(fields: &mut Fields) -> Self {
        BandQuery { limit: page::limit(fields), cursor: page::cursor(fields, "bands", &[]) }
    }
}

/// List the ranges that the club teaches
///
/// Its own, dated and signed, with all that was taught before, beside those of the catalogue. The one with the latest day is in
/// force, of two of one day that entered last.
#[utoipa::path(
    tag = "desk",
    security(("token" = ["admin"])),
    params(BandQuery),
    responses((status = 200, description = "A page of bands", body = BandPage))
)]
#[get("/bands")]
pub async fn list_bands(
    request: HttpRequest,
    state: web::Data<State>,
    caller: Caller,
    query: Query<BandQuery>,
) -> Result<HttpResponse, Problem> {
    let scope = caller.administers()?;
    let BandQuery { limit, cursor } = query.0;
    let rows =
        pool::with(&state.pool, move |connection| bands::list(connection, &scope, cursor.unwrap_or(0), limit + 1))
            .await?;
    let page = Page::of(rows, limit, |row| row.id);
    let links = page.links(&request, "bands", &[]);
    Ok(page::send(&links).json(BandPage { bands: page.items, catalogue: bands::starting(None), links }))
}

/// Preview another range
///
/// What it would change in answers about the records as they are: levels with what is in them, as each reader sees them, and
/// whether a release would tell them at once. Saves nothing.
#[utoipa::path(
    tag = "desk",
    security(("token" = ["admin"])),
    request_body = BandRequest,
    responses((status = 200, description = "What would change", body = BandPreviewed), BandProblems)
)]
#[post("/bands/preview")]
pub async fn preview_band(
    state: web::Data<State>,
    caller: Caller,
    _: Query<Nothing>,
    body: Body<BandRequest>,
) -> Result<HttpResponse, Problem> {
    let scope = caller.administers()?;
    let new = read(&state, body)?;
    let edition = pool::with(&state.pool, |connection| Ok(answer::current_edition(connection)?)).await?;
    let shared = state.clone();
    let worked = web::block(move || {
        let snapshot = shared.answers.snapshot(&shared.pool, &scope, edition.number)?;
        Ok::<_, Problem>(band_preview::preview(&snapshot, &new.band))
    });
    let previewed = worked.await.map_err(|error| Problem::internal(&error))??;
    Ok(HttpResponse::Ok().insert_header((header::CACHE_CONTROL, "no-store")).json(previewed))
}

/// Teach another range
///
/// In force at once for answers about the records as they are; in releases, answers follow where their blocks fit those told
/// before. The range before it stays in the list.
#[utoipa::path(
    tag = "desk",
    security(("token" = ["admin"])),
    request_body = BandRequest,
    responses((status = 201, description = "The band", body = ClubBandShown), BandProblems)
)]
#[post("/bands")]
pub async fn create_band(
    state: web::Data<State>,
    caller: Caller,
    _: Query<Nothing>,
    body: Body<BandRequest>,
) -> Result<HttpResponse, Problem> {
    let scope = caller.administers()?;
    let new = read(&state, body)?;
    let made =
        pool::with(&state.pool, move |connection| bands::teach(connection, &scope, &new, &caller.name())).await?;
    Ok(HttpResponse::Created().insert_header((header::CACHE_CONTROL, "no-store")).json(made))
}

fn read(state: &State, body: Body<BandRequest>) -> Result<bands::NewBand, Problem> {
    body.0.read((state.today)()).map_err(|faults| Problem::of_faults(Kind::InvalidValue, faults))
}

/// Withdraw a range
///
/// The one taught before it is in force again, or the catalogue's where there is none. It stays in the list. Withdrawing it
/// again changes nothing and gives the same answer.
#[utoipa::path(
    tag = "desk",
    security(("token" = ["admin"])),
    params(("id" = i64, Path, description = "Number of the band", example = 2)),
    responses((status = 200, description = "The band, withdrawn", body = ClubBandShown), NoSuchBand)
)]
#[delete("/bands/{id}")]
pub async fn withdraw_band(
    state: web::Data<State>,
    caller: Caller,
    path: web::Path<i64>,
    _: Query<Nothing>,
) -> Result<HttpResponse, Problem> {
    let scope = caller.administers()?;
    let id = path.into_inner();
    let gone =
        pool::with(&state.pool, move |connection| bands::withdraw(connection, &scope, id, &caller.name())).await?;
    Ok(HttpResponse::Ok().insert_header((header::CACHE_CONTROL, "no-store")).json(gone))
}
