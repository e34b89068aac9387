//! The weeks before losses.

use actix_web::{HttpRequest, HttpResponse, get, web};
use analysis::answer::{Audience, TaxonQuestion};
use analysis::club::SEVERAL;
use serde::Serialize;

use crate::access::Caller;
use crate::answer::Snapshot;
use crate::app::State;
use crate::problem::Problem;
use crate::query::Query;
use crate::route::shape::LeadUpAnswer;
use crate::route::statistics;
use crate::route::survival::AnswerProblems;
use crate::route::taxon_question::{self, Lines, TaxonQuery};

/// The answer as a list.
pub const LINES: Lines = Lines {
    about: "lead_up",
    made_of: SEVERAL,
    list: "/result/lines",
    columns: &[
        ("condition", "/condition"),
        ("kind", "/kind"),
        ("name", "/name"),
        ("from_day_before", "/window/0"),
        ("to_day_before", "/window/1"),
        ("difference", "/difference"),
        ("lower", "/lower"),
        ("upper", "/upper"),
        ("odds_ratio", "/odds_ratio/estimate"),
        ("odds_ratio_lower", "/odds_ratio/lower"),
        ("odds_ratio_upper", "/odds_ratio/upper"),
        ("cases", "/cases"),
        ("controls", "/controls"),
    ],
};

/// Ask what differed in the weeks before losses
///
/// Each loss beside corals of the same taxon and age in other tanks, and beside its own earlier months. How a coral looked
/// may be the loss itself beginning: signs and conditions are marked apart. `since` is for curators: losses are few, and
/// those of some years could be taken from those of all.
#[utoipa::path(
    tag = "answers",
    security((), ("token" = ["read"])),
    params(("slug" = String, Path, description = "Species, genus or group", example = "goniopora"), TaxonQuery),
    responses(
        (status = 200, description = "The answer; as CSV and Parquet one row a line of its list", content((LeadUpAnswer = "application/json"), (String = "text/csv"), (Vec<u8> = "application/vnd.apache.parquet"))),
        (status = 304, description = "The caller holds this answer already"),
        AnswerProblems
    )
)]
#[get("/taxa/{slug}/lead-up")]
pub async fn get_lead_up(
    request: HttpRequest,
    state: web::Data<State>,
    caller: Caller,
    path: web::Path<String>,
    query: Query<TaxonQuery>,
) -> Result<HttpResponse, Problem> {
    let taxon = statistics::taxon(&path)?;
    taxon_question::answer(&request, &state, caller, taxon, query.0, &LINES, None, answer).await
}

/// The answer itself.
pub fn answer(
    snapshot: &Snapshot,
    question: &TaxonQuestion,
    audience: Audience,
) -> Result<impl Serialize + use<>, Problem> {
    statistics::allowed(analysis::answer::lead_up_faults(question, audience))?;
    Ok(analysis::answer::lead_up(&snapshot.club, question, audience, &snapshot.stamp()))
}
