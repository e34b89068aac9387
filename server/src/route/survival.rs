//! How long they lived: curves, rates and ratios of a taxon, split by a condition.

use actix_web::{HttpRequest, HttpResponse, get, web};
use analysis::answer::{Audience, By, Given, Outcome, Question, code_of_split};
use serde_json::Value;
use utoipa::IntoParams;

use crate::access::Caller;
use crate::answer::Snapshot;
use crate::app::State;
use crate::chart::{self, Size};
use crate::problem::Problem;
use crate::problems;
use crate::query::{Asked, Fields, Query, hint};
use crate::represent::{self, Cell, Form, Made, Sheet};
use crate::route::picture::{self, Pictured};
use crate::route::representation::Representation;
use crate::route::shape::SurvivalAnswer;
use crate::route::statistics;

/// Parameters of a question about survival.
#[derive(IntoParams)]
#[into_params(parameter_in = Query)]
pub struct SurvivalQuery {
    /// What the corals, or their days, are split by: `none`, `origin`, `identification`, `form`, `year`, `tank_age`, `keeper_experience`, `feeding`, `light`, `flow`, `carbon`, `water_change`, `neighbours`, or the code of a parameter (below, within or above the taught band).
    #[param(value_type = Option<String>, example = "nitrate")]
    by: By,
    /// Cut points in the parameter's unit, separated by commas; steps of its ladder, free for curators. Without them the taught band is used.
    #[param(value_type = Option<String>, example = "5,15")]
    edges: Option<Vec<f64>>,
    /// Only the days on which a condition held: `water_in_band`.
    #[param(value_type = Option<String>, example = "water_in_band")]
    given: Option<Given>,
    /// What ends the follow-up: `death`; `first_serious_decline` (less than half alive, half its heads gone or a rescue cut, known from looks; death without one counts apart); `death_or_decline`, whichever is first; `death_after_decline` (in days since the first poor look).
    #[param(value_type = Option<String>, example = "death")]
    outcome: Outcome,
    /// Day since acquisition at which survival is said: 90, 180, 365 or 730; free for curators.
    #[param(value_type = Option<f64>, minimum = 1, maximum = 36525, example = 365)]
    horizon_days: f64,
    /// Only corals acquired on or after 1 January of this year.
    #[param(minimum = 1900, maximum = 2200, example = 2020)]
    since: Option<i32>,
    /// `json`, `csv`, `parquet`, `svg` or `png`; wins over `Accept`.
    #[param(example = "json")]
    format: Option<String>,
    /// `excel` for semicolons and decimal commas; implies `format=csv`.
    #[param(example = "excel")]
    csv: Option<String>,
    /// Of a picture: `column` for the column of a newsletter, `slide` for 16 to 9.
    #[param(value_type = Option<String>, example = "column")]
    size: Option<Size>,
}

impl Asked for SurvivalQuery {
    fn read(fields: &mut Fields) -> Self {
        let by = statistics::by(fields);
        let edges = statistics::edges(fields);
        let given = fields.value("given", |text| {
            Given::parse(text).ok_or_else(|| {
                format!("'given={text}' is no condition; {}", hint(text, Given::ALL.iter().map(|given| given.as_str())))
            })
        });
        let outcome = fields.value("outcome", |text| {
            Outcome::parse(text).ok_or_else(|| {
                format!("'outcome={text}' is not offered; {}", hint(text, Outcome::ALL.iter().map(|one| one.as_str())))
            })
        });
        let horizon_days = fields.value("horizon_days", |text| match text.parse::<f64>() {
            Ok(days) if (1.0..=36_525.0).contains(&days) => Ok(days),
            _ => Err(format!(
                "'horizon_days={text}' is not a number of days from 1 to 36525; usual are 90, 180, 365, 730"
            )),
        });
        let since = statistics::since(fields);
        let Representation { format, csv } = Representation::of(fields);
        SurvivalQuery {
            by,
            edges,
            given,
            outcome: outcome.unwrap_or_default(),
            horizon_days: horizon_days.unwrap_or(365.0),
            since,
            format,
            csv,
            size: picture::size(fields),
        }
    }
}

problems!(
    /// What a question about a taxon can meet.
    AnswerProblems: UnknownTaxon, NotPublished, NotAcceptable
);

/// Ask how long they lived
///
/// Survival of a taxon from the day it was got, split by a condition, with what stands behind every figure, what it
/// would look like under other rules, and a refusal with its reason where the records cannot tell. These are
/// associations among keepers who chose their water and their corals, not effects: do not change a tank on them alone.
#[utoipa::path(
    tag = "answers",
    security((), ("token" = ["read"])),
    params(("slug" = String, Path, description = "Species, genus or group", example = "goniopora"), SurvivalQuery),
    responses(
        (status = 200, description = "The answer; as CSV and Parquet one row per group and step of its curve; as SVG and PNG a picture", content((SurvivalAnswer = "application/json"), (String = "text/csv"), (Vec<u8> = "application/vnd.apache.parquet"), (String = "image/svg+xml"), (Vec<u8> = "image/png"))),
        (status = 304, description = "The caller holds this answer already"),
        AnswerProblems
    )
)]
#[get("/taxa/{slug}/survival")]
pub async fn get_survival(
    request: HttpRequest,
    state: web::Data<State>,
    caller: Caller,
    path: web::Path<String>,
    query: Query<SurvivalQuery>,
) -> Result<HttpResponse, Problem> {
    let taxon = statistics::taxon(&path)?;
    let SurvivalQuery { by, edges, given, outcome, horizon_days, since, format, csv, size } = query.0;
    let pictured = Pictured::of(&request, &state, Representation { format, csv }, size, Made::Chart).await?;
    let question = Question { taxon, outcome, by, edges, given, horizon_days, since };
    let asked = pictured.asked(asked(&question, pictured.form));
    statistics::answer(&request, &state, caller, asked, move |snapshot, audience| {
        pictured.bytes(&answer(snapshot, &question, audience)?, snapshot, Some(chart::survival), sheet)
    })
    .await
}

/// The question as answers are kept by.
pub fn asked(question: &Question, form: Form) -> statistics::Question {
    statistics::Question {
        canonical: question.canonical(),
        form,
        stem: format!("{}-survival-by-{}", question.taxon, question.by.as_str()),
        taxon: Some(question.taxon),
        made_of: code_of_split(question.by),
    }
}

/// The bytes of the answer.
pub fn bytes(snapshot: &Snapshot, question: &Question, audience: Audience, form: Form) -> Result<Vec<u8>, Problem> {
    represent::json_or_sheet(&answer(snapshot, question, audience)?, form, sheet)
}

fn answer(
    snapshot: &Snapshot,
    question: &Question,
    audience: Audience,
) -> Result<analysis::answer::SurvivalAnswer, Problem> {
    statistics::allowed(question.faults(audience))?;
    Ok(analysis::answer::survival(&snapshot.club, question, audience, &snapshot.stamp()))
}

/// One row per group and step of its curve; a group without a curve has one row with the reason.
fn sheet(answer: &Value) -> Sheet {
    let mut sheet = Sheet::new([
        "edition",
        "taxon_asked",
        "taxon_answered",
        "by",
        "given",
        "outcome",
        "since",
        "method",
        "group",
        "label",
        "specimens",
        "keepers",
        "tanks",
        "deaths",
        "grade",
        "time_days",
        "at_risk",
        "events",
        "censored",
        "survival",
        "std_error",
        "lower",
        "upper",
        "refused",
        "message",
    ]);
    let head = [
        Cell::json(answer.get("release").unwrap_or(&answer["edition"])),
        Cell::json(&answer["taxon"]["asked"]),
        Cell::json(&answer["taxon"]["answered"]),
        Cell::json(&answer["question"]["by"]),
        Cell::json(&answer["question"]["given"]),
        Cell::json(&answer["question"]["outcome"]),
        Cell::json(&answer["question"]["since"]),
        Cell::json(&answer["method"]["id"]),
    ];
    let refused = |reason: &Value| [Cell::json(&reason["code"]), Cell::json(&reason["message"])];
    if let Some(reason) = answer["result"].get("refused") {
        let mut row = head.to_vec();
        row.extend(vec![Cell::Empty; 15]);
        row.extend(refused(reason));
        sheet.rows.push(row);
        return sheet;
    }
    for group in answer["result"]["groups"].as_array().into_iter().flatten() {
        let mut lead = head.to_vec();
        lead.extend([Cell::json(&group["group"]), Cell::json(&group["label"])]);
        lead.extend(
            ["specimens", "keepers", "tanks", "deaths", "grade"].map(|name| Cell::json(&group["evidence"][name])),
        );
        match group["curve"].as_array() {
            Some(steps) => {
                for step in steps {
                    let mut row = lead.clone();
                    row.extend(
                        ["time", "at_risk", "events", "censored", "survival", "std_error", "lower", "upper"]
                            .map(|name| Cell::json(&step[name])),
                    );
                    row.extend([Cell::Empty, Cell::Empty]);
                    sheet.rows.push(row);
                }
            }
            None => {
                lead.extend(vec![Cell::Empty; 8]);
                lead.extend(refused(&group["curve"]["refused"]));
                sheet.rows.push(lead);
            }
        }
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
            "edition": 7, "question": {"by": "nitrate", "outcome": "death", "given": null, "since": null},
            "taxon": {"asked": "goniopora", "answered": "goniopora"}, "method": {"id": "m"},
            "result": {"groups": [
                {"group": "within", "label": "1 to 10", "evidence": {"specimens": 12, "keepers": 5, "tanks": 6, "deaths": 3, "grade": "thin"},
                 "curve": [{"time": 12.0, "at_risk": 12, "events": 1, "censored": 0, "survival": 0.9166, "std_error": 0.08, "lower": null, "upper": 1.0}]},
                {"group": "above", "label": "above 10", "evidence": {},
                 "curve": {"refused": {"code": "TooFewSpecimens", "have": 2, "need": 10, "message": "needs 8 more"}}}
            ]}
        });
        let sheet = sheet(&answer);
        assert_eq!(sheet.rows.len(), 2);
        assert!(sheet.rows.iter().all(|row| row.len() == sheet.columns.len()));
        assert_eq!(sheet.rows[1][23], Cell::Text("TooFewSpecimens".into()));
        let refused =
            super::sheet(&json!({"edition": 7, "result": {"refused": {"code": "Suppressed", "message": "too few"}}}));
        assert_eq!(refused.rows.len(), 1);
        assert_eq!(refused.rows[0].len(), refused.columns.len());
    }

    #[test]
    fn a_question_is_read_with_all_its_faults() {
        let problem = crate::query::read::<SurvivalQuery>("by=nitrat&edges=5,x&horizon_days=0&given=rain&since=20")
            .err()
            .unwrap();
        let at: Vec<&str> = problem.errors.iter().filter_map(|fault| fault.parameter.as_deref()).collect();
        assert_eq!(at, ["by", "edges", "given", "horizon_days", "since"]);
        assert!(problem.errors[0].detail.contains("'nitrate'"), "{}", problem.errors[0].detail);
    }
}
