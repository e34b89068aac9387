//! Conditions side by side.

use actix_web::{HttpRequest, HttpResponse, get, web};
use analysis::answer::{Audience, ConditionsResult, TaxonAnswer, TaxonQuestion};
use analysis::club::SEVERAL;

use crate::access::Caller;
use crate::answer::Snapshot;
use crate::app::State;
use crate::chart;
use crate::problem::Problem;
use crate::query::Query;
use crate::route::shape::ConditionsAnswer;
use crate::route::statistics;
use crate::route::survival::AnswerProblems;
use crate::route::taxon_question::{self, Lines, TaxonQuery};

/// The answer as a list.
pub const LINES: Lines = Lines {
    about: "conditions",
    made_of: SEVERAL,
    list: "/result/conditions",
    columns: &[
        ("condition", "/condition"),
        ("name", "/name"),
        ("level", "/contrast/level_label"),
        ("reference", "/contrast/reference_label"),
        ("hazard_ratio", "/hazard_ratio"),
        ("std_error", "/std_error"),
        ("lower", "/lower"),
        ("upper", "/upper"),
        ("grade", "/grade"),
        ("within_keeper", "/within_keeper/hazard_ratio"),
        ("within_keeper_lower", "/within_keeper/lower"),
        ("within_keeper_upper", "/within_keeper/upper"),
        ("adjusted", "/adjusted/hazard_ratio"),
        ("adjusted_lower", "/adjusted/lower"),
        ("adjusted_upper", "/adjusted/upper"),
        ("shrunken", "/shrunken/hazard_ratio"),
        ("growth_ratio_per_month", "/growth/ratio_per_month"),
        ("growth_q", "/growth/q"),
        ("p", "/p"),
        ("q", "/q"),
        ("events", "/evidence/level/events"),
        ("specimen_days", "/evidence/level/specimen_days"),
        ("reference_events", "/evidence/reference/events"),
        ("reference_specimen_days", "/evidence/reference/specimen_days"),
    ],
};

/// Ask which conditions went with losses
///
/// Every condition of a written list for one taxon: all corals together, within one keeper's tanks, with other conditions
/// held, drawn towards other taxa, and on growth. Only comparisons within keepers are ever called, by their q over the
/// whole list of a release. These are associations among keepers who chose their water and their corals, not effects.
#[utoipa::path(
    tag = "answers",
    security((), ("token" = ["read"])),
    params(("slug" = String, Path, description = "Species, genus or group", example = "goniopora"), TaxonQuery),
    responses(
        (status = 200, description = "The answer; as CSV and Parquet one row a line of its list; as SVG and PNG a picture", content((ConditionsAnswer = "application/json"), (String = "text/csv"), (Vec<u8> = "application/vnd.apache.parquet"), (String = "image/svg+xml"), (Vec<u8> = "image/png"))),
        (status = 304, description = "The caller holds this answer already"),
        AnswerProblems
    )
)]
#[get("/taxa/{slug}/conditions")]
pub async fn get_conditions(
    request: HttpRequest,
    state: web::Data<State>,
    caller: Caller,
    path: web::Path<String>,
    query: Query<TaxonQuery>,
) -> Result<HttpResponse, Problem> {
    let taxon = statistics::taxon(&path)?;
    taxon_question::answer(&request, &state, caller, taxon, query.0, &LINES, Some(chart::conditions), answer).await
}

/// The answer itself.
pub fn answer(
    snapshot: &Snapshot,
    question: &TaxonQuestion,
    audience: Audience,
) -> Result<TaxonAnswer<ConditionsResult>, Problem> {
    let called = snapshot.called(question.outcome, audience)?;
    Ok(analysis::answer::conditions(&snapshot.club, question, audience, &snapshot.stamp(), called.as_deref()))
}
