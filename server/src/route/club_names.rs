//! What names of corals mean in the club: previewed, agreed on, withdrawn.

use actix_web::http::header;
use actix_web::{HttpRequest, HttpResponse, delete, get, post, web};
use serde::Serialize;
use utoipa::{IntoParams, ToSchema};

use crate::access::Caller;
use crate::app::State;
use crate::body::Body;
use crate::desk::names::{self, ClubNameShown, NamePreviewed, NameRequest};
use crate::pool;
use crate::problem::{Kind, Problem};
use crate::problems;
use crate::query::{Asked, Fields, Nothing, Query};
use crate::route::page::{self, Page};

problems!(
    /// What agreeing on a name can meet.
    NameProblems: InvalidBody, UnsupportedMediaType, TooLarge, TooSlow, InvalidValue
);
problems!(
    /// No such name.
    NoSuchName: UnknownName
);

/// A page of the club's names.
#[derive(Serialize, ToSchema)]
pub struct NamePage {
    /// In the order in which they were entered; those withdrawn, and those that a later one took the place of, too.
    names: Vec<ClubNameShown>,
    /// The next page.
    links: page::Links,
}

/// Parameters of the list.
#[derive(IntoParams)]
#[into_params(parameter_in = Query)]
pub struct NameQuery {
    /// Items a page, 1 to 1000.
    #[param(minimum = 1, maximum = 1000, example = 50)]
    limit: i64,
    /// Where the page begins: from `links.next` of the page before.
    #[param(value_type = Option<String>)]
    cursor: Option<i64>,
}

impl Asked for NameQuery {
    fn read(fields: &mut Fields) -> Self {
        NameQuery { limit: page::limit(fields), cursor: page::cursor(fields, "names", &[]) }
    }
}

/// List what names mean in the club
///
/// What was agreed, dated and signed, with all that was agreed before. Of one name the row with the latest day is in force, of two of
/// one day that entered last.
#[utoipa::path(
    tag = "desk",
    security(("token" = ["admin"])),
    params(NameQuery),
    responses((status = 200, description = "A page of names", body = NamePage))
)]
#[get("/names")]
pub async fn list_names(
    request: HttpRequest,
    state: web::Data<State>,
    caller: Caller,
    query: Query<NameQuery>,
) -> Result<HttpResponse, Problem> {
    let scope = caller.administers()?;
    let NameQuery { limit, cursor } = query.0;
    let rows =
        pool::with(&state.pool, move |connection| names::list(connection, &scope, cursor.unwrap_or(0), limit + 1))
            .await?;
    let page = Page::of(rows, limit, |row| row.id);
    let links = page.links(&request, "names", &[]);
    Ok(page::send(&links).json(NamePage { names: page.items, links }))
}

/// Preview a name
///
/// What it means now, and which corals on record were written so. Saves nothing.
#[utoipa::path(
    tag = "desk",
    security(("token" = ["admin"])),
    request_body = NameRequest,
    responses((status = 200, description = "What would change", body = NamePreviewed), NameProblems)
)]
#[post("/names/preview")]
pub async fn preview_name(
    state: web::Data<State>,
    caller: Caller,
    _: Query<Nothing>,
    body: Body<NameRequest>,
) -> Result<HttpResponse, Problem> {
    let scope = caller.administers()?;
    let new = read(&state, body)?;
    let previewed = pool::with(&state.pool, move |connection| names::preview(connection, &scope, &new)).await?;
    Ok(HttpResponse::Ok().insert_header((header::CACHE_CONTROL, "no-store")).json(previewed))
}

/// Agree on a name
///
/// Later files of all members are read by it, without a question; what a member answered about an own file holds over it. What was
/// agreed before stays in the list.
#[utoipa::path(
    tag = "desk",
    security(("token" = ["admin"])),
    request_body = NameRequest,
    responses((status = 201, description = "The name", body = ClubNameShown), NameProblems)
)]
#[post("/names")]
pub async fn create_name(
    state: web::Data<State>,
    caller: Caller,
    _: Query<Nothing>,
    body: Body<NameRequest>,
) -> Result<HttpResponse, Problem> {
    let scope = caller.administers()?;
    let new = read(&state, body)?;
    let made =
        pool::with(&state.pool, move |connection| names::agree(connection, &scope, &new, &caller.name())).await?;
    Ok(HttpResponse::Created().insert_header((header::CACHE_CONTROL, "no-store")).json(made))
}

fn read(state: &State, body: Body<NameRequest>) -> Result<names::NewName, Problem> {
    body.0.read((state.today)()).map_err(|faults| Problem::of_faults(Kind::InvalidValue, faults))
}

/// Withdraw a name
///
/// The one agreed on before it is in force again, or the catalogue where there is none. It stays in the list, and files read by it stay
/// read. Withdrawing it again changes nothing and gives the same answer.
#[utoipa::path(
    tag = "desk",
    security(("token" = ["admin"])),
    params(("id" = i64, Path, description = "Number of the name", example = 2)),
    responses((status = 200, description = "The name, withdrawn", body = ClubNameShown), NoSuchName)
)]
#[delete("/names/{id}")]
pub async fn withdraw_name(
    state: web::Data<State>,
    caller: Caller,
    path: web::Path<i64>,
    _: Query<Nothing>,
) -> Result<HttpResponse, Problem> {
    let scope = caller.administers()?;
    let id = path.into_inner();
    let gone =
        pool::with(&state.pool, move |connection| names::withdraw(connection, &scope, id, &caller.name())).await?;
    Ok(HttpResponse::Ok().insert_header((header::CACHE_CONTROL, "no-store")).json(gone))
}
