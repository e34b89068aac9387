//! What an operator watches, for this machine alone.

use actix_web::{HttpRequest, HttpResponse, get, web};

use crate::app::State;
use crate::metrics::MEDIA_TYPE;
use crate::pool;
use crate::problem::{Kind, Problem};
use crate::problems;
use crate::query::{Nothing, Query};

problems!(
    /// Asked from elsewhere.
    MetricsProblems: NotFound
);

/// Count what was answered and what waits
///
/// For a monitor on the same machine: from anywhere else, and through a proxy, there is nothing here.
#[utoipa::path(
    tag = "service",
    security(()),
    responses(
        (status = 200, description = "Counts (OpenMetrics text)", content_type = "application/openmetrics-text", body = String),
        MetricsProblems
    )
)]
#[get("/metrics")]
pub async fn get_metrics(
    request: HttpRequest,
    state: web::Data<State>,
    _: Query<Nothing>,
) -> Result<HttpResponse, Problem> {
    let near = request.peer_addr().is_some_and(|peer| peer.ip().is_loopback());
    let forwarded = ["forwarded", "x-forwarded-for"].iter().any(|name| request.headers().contains_key(*name));
    if !near || forwarded {
        return Err(Problem::new(Kind::NotFound, "There is nothing at this address."));
    }
    let shared = state.clone();
    let text = pool::with(&state.pool, move |connection| shared.metrics.text(&shared.pool, connection)).await?;
    Ok(HttpResponse::Ok().content_type(MEDIA_TYPE).insert_header(("cache-control", "no-store")).body(text))
}
