//! How fast they grew.

use actix_web::{HttpRequest, HttpResponse, get, web};
use analysis::answer::{Audience, By, GrowthQuestion};
use analysis::club::SEVERAL;
use serde_json::Value;
use utoipa::IntoParams;

use crate::access::Caller;
use crate::answer::Snapshot;
use crate::app::State;
use crate::problem::Problem;
use crate::query::{Asked, Fields, Query};
use crate::represent::{self, Cell, Form, Made, Sheet};
use crate::route::representation::Representation;
use crate::route::shape::GrowthAnswer;
use crate::route::statistics;
use crate::route::survival::AnswerProblems;

/// Parameters of a question about growth.
#[derive(IntoParams)]
#[into_params(parameter_in = Query)]
pub struct GrowthQuery {
    /// What the corals are split by; as for survival.
    #[param(value_type = Option<String>, example = "origin")]
    by: By,
    /// Cut points in the parameter's unit, separated by commas.
    #[param(value_type = Option<String>, example = "5,15")]
    edges: Option<Vec<f64>>,
    /// Only corals acquired on or after 1 January of this year.
    #[param(minimum = 1900, maximum = 2200, example = 2020)]
    since: Option<i32>,
    /// `json`, `csv` or `parquet`; wins over `Accept`.
    #[param(example = "json")]
    format: Option<String>,
    /// `excel` for semicolons and decimal commas; implies `format=csv`.
    #[param(example = "excel")]
    csv: Option<String>,
}

impl Asked for GrowthQuery {
    fn read(fields: &mut Fields) -> Self {
        let by = statistics::by(fields);
        let edges = statistics::edges(fields);
        let since = statistics::since(fields);
        let Representation { format, csv } = Representation::of(fields);
        GrowthQuery { by, edges, since, format, csv }
    }
}

/// Ask how fast they grew
///
/// Growth of a taxon as change of the logarithm of a size a month, split by a condition. Sizes of open tissue follow the
/// animal's mood and are used for nothing; a cut is neither death nor shrinkage.
#[utoipa::path(
    tag = "answers",
    security((), ("token" = ["read"])),
    params(("slug" = String, Path, description = "Species, genus or group", example = "goniopora"), GrowthQuery),
    responses(
        (status = 200, description = "The answer; as CSV and Parquet one row per group", content((GrowthAnswer = "application/json"), (String = "text/csv"), (Vec<u8> = "application/vnd.apache.parquet"))),
        (status = 304, description = "The caller holds this answer already"),
        AnswerProblems
    )
)]
#[get("/taxa/{slug}/growth")]
pub async fn get_growth(
    request: HttpRequest,
    state: web::Data<State>,
    caller: Caller,
    path: web::Path<String>,
    query: Query<GrowthQuery>,
) -> Result<HttpResponse, Problem> {
    let taxon = statistics::taxon(&path)?;
    let GrowthQuery { by, edges, since, format, csv } = query.0;
    let form = Representation { format, csv }.form(&request, Made::Table)?;
    let question = GrowthQuestion { taxon, by, edges, since };
    let asked = asked(&question, form);
    statistics::answer(&request, &state, caller, asked, move |snapshot, audience| {
        bytes(snapshot, &question, audience, form)
    })
    .await
}

/// The question as answers are kept by.
pub fn asked(question: &GrowthQuestion, form: Form) -> statistics::Question {
    statistics::Question {
        canonical: question.canonical(),
        form,
        stem: format!("{}-growth-by-{}", question.taxon, question.by.as_str()),
        taxon: Some(question.taxon),
        made_of: SEVERAL,
    }
}

/// The bytes of the answer.
pub fn bytes(
    snapshot: &Snapshot,
    question: &GrowthQuestion,
    audience: Audience,
    form: Form,
) -> Result<Vec<u8>, Problem> {
    statistics::allowed(question.faults(audience))?;
    let answer = analysis::answer::growth(&snapshot.club, question, audience, &snapshot.stamp());
    represent::json_or_sheet(&answer, form, sheet)
}

/// One row per group, or one row with the reason.
fn sheet(answer: &Value) -> Sheet {
    let mut sheet = Sheet::new([
        "edition",
        "taxon_asked",
        "taxon_answered",
        "by",
        "since",
        "method",
        "measure",
        "group",
        "specimens",
        "tanks",
        "slope_per_month",
        "std_error",
        "df",
        "lower",
        "upper",
        "ratio_per_month",
        "refused",
        "message",
    ]);
    let head = [
        Cell::json(answer.get("release").unwrap_or(&answer["edition"])),
        Cell::json(&answer["taxon"]["asked"]),
        Cell::json(&answer["taxon"]["answered"]),
        Cell::json(&answer["question"]["by"]),
        Cell::json(&answer["question"]["since"]),
        Cell::json(&answer["method"]["id"]),
        Cell::json(&answer["result"]["measure"]),
    ];
    let mut refuse = |reason: &Value| {
        let mut row = head.to_vec();
        row.extend(vec![Cell::Empty; 9]);
        row.extend([Cell::json(&reason["code"]), Cell::json(&reason["message"])]);
        sheet.rows.push(row);
    };
    if let Some(reason) = answer["result"].get("refused") {
        refuse(reason);
        return sheet;
    }
    for group in answer["result"]["groups"].as_array().into_iter().flatten() {
        if let Some(reason) = group.get("refused") {
            refuse(reason);
        }
    }
    for group in
        answer["result"]["groups"].as_array().into_iter().flatten().filter(|group| group.get("refused").is_none())
    {
        let mut row = head.to_vec();
        row.extend(
            ["group", "specimens", "tanks", "slope_per_month", "std_error", "df", "lower", "upper", "ratio_per_month"]
                .map(|name| Cell::json(&group[name])),
        );
        row.extend([Cell::Empty, Cell::Empty]);
        sheet.rows.push(row);
    }
    sheet
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    #[test]
    fn every_row_is_as_long_as_the_header() {
        let answer = json!({
            "edition": 7, "question": {"by": "origin"}, "taxon": {"asked": "a", "answered": "a"}, "method": {"id": "m"},
            "result": {"measure": "max_diameter", "groups": [
                {"group": "wild_collected", "specimens": 12, "tanks": 6, "slope_per_month": 0.01, "std_error": 0.002, "df": 5.0, "lower": 0.005, "upper": 0.015, "ratio_per_month": 1.01},
                {"refused": {"code": "TooFewSpecimens", "message": "needs 8 more"}}
            ]}
        });
        let sheet = sheet(&answer);
        assert_eq!(sheet.rows.len(), 2);
        assert!(sheet.rows.iter().all(|row| row.len() == sheet.columns.len()));
    }
}
