//! What is taught beside what was seen.

use actix_web::{HttpRequest, HttpResponse, get, web};
use analysis::answer::{Audience, BandsResult, TaxonAnswer, TaxonQuestion};
use analysis::club::SEVERAL;

use crate::access::Caller;
use crate::answer::Snapshot;
use crate::app::State;
use crate::chart;
use crate::problem::Problem;
use crate::query::Query;
use crate::route::shape::BandsAnswer;
use crate::route::statistics;
use crate::route::survival::AnswerProblems;
use crate::route::taxon_question::{self, Lines, TaxonQuery};

/// The answer as a list.
pub const LINES: Lines = Lines {
    about: "bands",
    made_of: SEVERAL,
    list: "/result/bands",
    columns: &[
        ("parameter", "/parameter"),
        ("taught", "/taught/as_taught"),
        ("lower", "/taught/lower"),
        ("upper", "/taught/upper"),
        ("unit", "/taught/unit"),
        ("claim", "/claim"),
        ("sentence", "/sentence"),
        ("seen_lower", "/seen/lower/estimate"),
        ("seen_upper", "/seen/upper/estimate"),
        ("stability", "/seen/stability"),
    ],
};

/// Ask whether the taught bands are where ours did well
///
/// Each band that is taught for a taxon: losses below, within and above it, and, in a release, the range with fewest losses
/// in our tanks so far with its limits over draws of tanks. It is no advice: do not change a tank on it.
#[utoipa::path(
    tag = "answers",
    security((), ("token" = ["read"])),
    params(("slug" = String, Path, description = "Species, genus or group", example = "goniopora"), TaxonQuery),
    responses(
        (status = 200, description = "The answer; as CSV and Parquet one row a line of its list; as SVG and PNG a picture", content((BandsAnswer = "application/json"), (String = "text/csv"), (Vec<u8> = "application/vnd.apache.parquet"), (String = "image/svg+xml"), (Vec<u8> = "image/png"))),
        (status = 304, description = "The caller holds this answer already"),
        AnswerProblems
    )
)]
#[get("/taxa/{slug}/bands")]
pub async fn get_bands(
    request: HttpRequest,
    state: web::Data<State>,
    caller: Caller,
    path: web::Path<String>,
    query: Query<TaxonQuery>,
) -> Result<HttpResponse, Problem> {
    let taxon = statistics::taxon(&path)?;
    taxon_question::answer(&request, &state, caller, taxon, query.0, &LINES, Some(chart::bands), answer).await
}

/// The answer itself.
pub fn answer(
    snapshot: &Snapshot,
    question: &TaxonQuestion,
    audience: Audience,
) -> Result<TaxonAnswer<BandsResult>, Problem> {
    let called = snapshot.called(question.outcome, audience)?;
    let ranges = snapshot.ranges(question.outcome, audience);
    let stamp = snapshot.stamp();
    Ok(analysis::answer::bands(&snapshot.club, question, audience, &stamp, called.as_deref(), ranges.as_deref()))
}
