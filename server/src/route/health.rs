//! Health: does the process answer, and can it serve.

use actix_web::{HttpResponse, get, web};
use serde::Serialize;
use utoipa::ToSchema;

use crate::app::State;
use crate::problem::Problem;
use crate::query::{Nothing, Query};

/// The process answers.
#[derive(Serialize, ToSchema)]
struct Live {
    /// Always `ok`.
    #[schema(example = "ok")]
    status: &'static str,
    /// Version of the program.
    #[schema(example = "0.1.0")]
    version: &'static str,
}

/// Whether the server can serve.
#[derive(Serialize, ToSchema)]
struct Ready {
    /// `ok` or `not_ready`.
    #[schema(example = "ok")]
    status: &'static str,
    /// `ok`, or what is wrong in one word: `unreachable`.
    #[schema(example = "ok")]
    database: &'static str,
    /// `ok`, `pending` (steps to take) or `newer` (made by a later program); `null` if not known.
    #[schema(example = "ok")]
    schema: Option<&'static str>,
}

/// Does the process answer
///
/// Asks nothing of the database. For the supervisor that restarts a process.
#[utoipa::path(tag = "service", security(()), responses((status = 200, description = "It answers", body = Live)))]
#[get("/health/live")]
pub async fn get_live(_: Query<Nothing>) -> HttpResponse {
    HttpResponse::Ok()
        .insert_header(("cache-control", "no-store"))
        .json(Live { status: "ok", version: env!("CARGO_PKG_VERSION") })
}

/// Can it serve
///
/// Asks the database and compares the level of its schema with this program's. For the balancer that sends requests.
#[utoipa::path(
    tag = "service",
    security(()),
    responses(
        (status = 200, description = "It can", body = Ready),
        (status = 503, description = "It cannot: the database does not answer, or its schema is of another level", body = Ready)
    )
)]
#[get("/health/ready")]
pub async fn get_ready(state: web::Data<State>, _: Query<Nothing>) -> HttpResponse {
    let level = crate::pool::with(&state.pool, |connection| {
        migrations::level(connection).map_err(|error| Problem::database_unavailable(&error))
    })
    .await;
    let (database, schema) = match level {
        Err(_) => ("unreachable", None),
        Ok(level) if !level.unknown.is_empty() => ("ok", Some("newer")),
        Ok(level) if !level.pending.is_empty() => ("ok", Some("pending")),
        Ok(_) => ("ok", Some("ok")),
    };
    let ready = schema == Some("ok");
    let mut response = if ready { HttpResponse::Ok() } else { HttpResponse::ServiceUnavailable() };
    response.insert_header(("cache-control", "no-store"));
    if !ready {
        response.insert_header(("retry-after", "5"));
    }
    response.json(Ready { status: if ready { "ok" } else { "not_ready" }, database, schema })
}
