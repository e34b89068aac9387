//! What the club itself teaches: taught and withdrawn. `claims` lists it beside the catalogue's.

use actix_web::http::header;
use actix_web::{HttpResponse, delete, post, web};

use crate::access::Caller;
use crate::app::State;
use crate::body::Body;
use crate::desk::claims::{self, ClaimRequest, ClubClaimShown};
use crate::pool;
use crate::problem::{Kind, Problem};
use crate::problems;
use crate::query::{Nothing, Query};

problems!(
    /// What teaching something can meet.
    TeachingProblems: InvalidBody, UnsupportedMediaType, TooLarge, TooSlow, InvalidValue
);
problems!(
    /// No such claim of the club.
    NoSuchClaim: UnknownClaim
);

/// Teach something
///
/// It stands beside the catalogue's claims, signed and dated, and the records are asked about it in the same five words; in
/// releases from the next one on.
#[utoipa::path(
    tag = "desk",
    security(("token" = ["admin"])),
    request_body = ClaimRequest,
    responses((status = 201, description = "The claim", body = ClubClaimShown), TeachingProblems)
)]
#[post("/claims")]
pub async fn create_claim(
    state: web::Data<State>,
    caller: Caller,
    _: Query<Nothing>,
    body: Body<ClaimRequest>,
) -> Result<HttpResponse, Problem> {
    let scope = caller.administers()?;
    let new = body.0.read((state.today)()).map_err(|faults| Problem::of_faults(Kind::InvalidValue, faults))?;
    let made =
        pool::with(&state.pool, move |connection| claims::teach(connection, &scope, new, &caller.name())).await?;
    Ok(HttpResponse::Created().insert_header((header::CACHE_CONTROL, "no-store")).json(made))
}

/// Withdraw something taught
///
/// One of the club's own; the catalogue's stay. Withdrawing it again changes nothing and gives the same answer.
#[utoipa::path(
    tag = "desk",
    security(("token" = ["admin"])),
    params(("id" = i64, Path, description = "Number of the claim", example = 3)),
    responses((status = 200, description = "The claim, withdrawn", body = ClubClaimShown), NoSuchClaim)
)]
#[delete("/claims/{id}")]
pub async fn withdraw_claim(
    state: web::Data<State>,
    caller: Caller,
    path: web::Path<i64>,
    _: Query<Nothing>,
) -> Result<HttpResponse, Problem> {
    let scope = caller.administers()?;
    let id = path.into_inner();
    let gone =
        pool::with(&state.pool, move |connection| claims::withdraw(connection, &scope, id, &caller.name())).await?;
    Ok(HttpResponse::Ok().insert_header((header::CACHE_CONTROL, "no-store")).json(gone))
}
