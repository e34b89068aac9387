//! When they are lost.

use actix_web::{HttpRequest, HttpResponse, get, web};
use analysis::answer::{Audience, TaxonQuestion, UNDIVIDED};
use serde::Serialize;

use crate::access::Caller;
use crate::answer::Snapshot;
use crate::app::State;
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
        (status = 200, description = "The answer; as CSV one row a line of its list", content((HazardAnswer = "application/json"), (String = "text/csv"))),
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
    taxon_question::answer(&request, &state, caller, taxon, query.0, &LINES, answer).await
}

/// The answer itself.
pub fn answer(
    snapshot: &Snapshot,
    question: &TaxonQuestion,
    audience: Audience,
) -> Result<impl Serialize + use<>, Problem> {
    Ok(analysis::answer::hazard(&snapshot.club, question, audience, &snapshot.stamp()))
}
