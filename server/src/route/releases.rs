//! What public and members read: releases made so far, and one asked for now.

use crate::access::Caller;
use crate::app::State;
use crate::desk::releases::{self, ReleaseList};
use crate::pool;
use crate::problem::Problem;
use crate::query::{Nothing, Query};
use actix_web::{HttpResponse, get, post, web};

/// List releases
///
/// What the public and members read was frozen when the first of these was made. A taxon keeps older figures while one or
/// two members have changed them.
#[utoipa::path(
    tag = "desk",
    security(("token" = ["admin"])),
    responses((status = 200, description = "The releases", body = ReleaseList))
)]
#[get("/releases")]
pub async fn list_releases(
    state: web::Data<State>,
    caller: Caller,
    _: Query<Nothing>,
) -> Result<HttpResponse, Problem> {
    let scope = caller.administers()?;
    let list = pool::with(&state.pool, move |connection| releases::list(connection, &scope)).await?;
    Ok(HttpResponse::Ok().insert_header(("cache-control", "private, no-cache")).json(list))
}

/// Make a release
///
/// Freezes the records as they are now, without waiting for `release_days`. Its answers are worked out afterwards.
#[utoipa::path(
    tag = "desk",
    security(("token" = ["admin"])),
    responses((status = 201, description = "The releases, the new one first", body = ReleaseList))
)]
#[post("/releases")]
pub async fn create_release(
    state: web::Data<State>,
    caller: Caller,
    _: Query<Nothing>,
) -> Result<HttpResponse, Problem> {
    let scope = caller.administers()?;
    let by = caller.name();
    let list = pool::with(&state.pool, move |connection| releases::make(connection, &scope, &by)).await?;
    Ok(HttpResponse::Created().insert_header(("cache-control", "no-store")).json(list))
}
