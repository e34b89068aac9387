//! When they are lost.

use actix_web::{HttpRequest, HttpResponse, get, web};
use analysis::answer::{Audience, HazardResult, TaxonAnswer, TaxonQuestion, UNDIVIDED};

use crate::access::Caller;
use crate::answer::Snapshot;
use crate::app::State;
use crate::chart;
use crate::problem::Problem;
use crate::query::Query;
use crate::route::shape::HazardAnswer;
use crate::route::statistics;
use crate::route::survival::AnswerProblems;
use crate::route::taxon_question::{self, Lines, TaxonQuery};

/// The answer as a list.
pub const LINES: Lines = Lines {
    about: "hazard",
    made_of: UNDIVIDED,
    list: "/result/pieces",
    columns: &[
        ("from_day", "/from_day"),
        ("to_day", "/to_day"),
        ("events", "/events"),
        ("specimen_days", "/specimen_days"),
        ("rate", "/rate"),
        ("lower", "/lower"),
        ("upper", "/upper"),
        ("clustered_lower", "/clustered/lower"),
        ("clustered_upper", "/clustered/upper"),
    ],
};

/// Ask when they are lost
///
/// Losses per 100 coral-months by time since purchase, with exact limits and with limits that allow for corals sharing a
/// tank or a keeper.
#[utoipa::path(
    tag = "answers",
    security((), ("token" = ["read"])),
    params(("slug" = String, Path, description = "Species, genus or group", example = "goniopora"), TaxonQuery),
    responses(
        (status = 200, description = "The answer; as CSV and Parquet one row a line of its list; as SVG and PNG a picture", content((HazardAnswer = "application/json"), (String = "text/csv"), (Vec<u8> = "application/vnd.apache.parquet"), (String = "image/svg+xml"), (Vec<u8> = "image/png"))),
        (status = 304, description = "The caller holds this answer already"),
        AnswerProblems
    )
)]
#[get("/taxa/{slug}/hazard")]
pub async fn get_hazard(
    request: HttpRequest,
    state: web::Data<State>,
    caller: Caller,
    path: web::Path<String>,
    query: Query<TaxonQuery>,
) -> Result<HttpResponse, Problem> {
    let taxon = statistics::taxon(&path)?;
    taxon_question::answer(&request, &state, caller, taxon, query.0, &LINES, Some(chart::hazard), answer).await
}

/// The answer itself.
pub fn answer(
    snapshot: &Snapshot,
    question: &TaxonQuestion,
    audience: Audience,
) -> Result<TaxonAnswer<HazardResult>, Problem> {
    Ok(analysis::answer::hazard(&snapshot.club, question, audience, &snapshot.stamp()))
}
