//! Single losses.

use actix_web::{HttpRequest, HttpResponse, get, web};
use analysis::answer::{Audience, ON_RECORD, TaxonQuestion};
use serde::Serialize;

use crate::access::Caller;
use crate::answer::Snapshot;
use crate::app::State;
use crate::problem::Problem;
use crate::query::Query;
use crate::route::shape::CasebookAnswer;
use crate::route::statistics;
use crate::route::survival::AnswerProblems;
use crate::route::taxon_question::{self, Lines, TaxonQuery};

/// The answer as a list.
pub const LINES: Lines = Lines {
    about: "casebook",
    made_of: ON_RECORD,
    list: "/result/losses",
    columns: &[
        ("name", "/name"),
        ("age_months", "/age_months"),
        ("on", "/on"),
        ("fate", "/fate"),
        ("cause_group", "/cause_group"),
        ("cause", "/cause"),
        ("origin", "/origin"),
        ("last_condition", "/last_condition"),
        ("one_of_many", "/one_of_many"),
        ("sentence", "/sentence"),
    ],
};

/// Ask for single losses
///
/// One line a loss of the taxon asked: its age, its last tests, what happened. Curators see days, members ages in months where
/// the block of the taxon may be shown, the public nothing. No line names a keeper or a tank.
#[utoipa::path(
    tag = "answers",
    security((), ("token" = ["read"])),
    params(("slug" = String, Path, description = "Species, genus or group", example = "goniopora"), TaxonQuery),
    responses(
        (status = 200, description = "The answer; as CSV and Parquet one row a line of its list", content((CasebookAnswer = "application/json"), (String = "text/csv"), (Vec<u8> = "application/vnd.apache.parquet"))),
        (status = 304, description = "The caller holds this answer already"),
        AnswerProblems
    )
)]
#[get("/taxa/{slug}/casebook")]
pub async fn get_casebook(
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
    Ok(analysis::answer::casebook(&snapshot.club, question, audience, &snapshot.stamp()))
}
