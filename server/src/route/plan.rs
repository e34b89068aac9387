//! What to record to know.

use actix_web::{HttpRequest, HttpResponse, get, web};
use analysis::answer::{Outcome, POWER, PlanQuestion, TaxonQuestion};
use analysis::club::SEVERAL;
use analysis::exposure::Factor;
use utoipa::IntoParams;

use crate::access::Caller;
use crate::app::State;
use crate::problem::{Fault, Kind, Problem};
use crate::query::{Asked, Fields, Query, hint};
use crate::represent::Made;
use crate::route::representation::Representation;
use crate::route::shape::PlanAnswer;
use crate::route::statistics;
use crate::route::survival::AnswerProblems;
use crate::route::taxon_question::{self, Lines};

/// Parameters of a plan.
#[derive(IntoParams)]
#[into_params(parameter_in = Query)]
pub struct PlanQuery {
    /// The condition, by a code of the conditions of the taxon.
    #[param(example = "nitrate")]
    condition: Option<String>,
    /// The hazard ratio to be told from 1: 1.5, 2 or 3; any for curators.
    #[param(value_type = Option<f64>, example = 2.0)]
    hazard_ratio: f64,
    /// The share of clubs like this one that would tell it: 0.8; any for curators.
    #[param(value_type = Option<f64>, example = 0.8)]
    power: f64,
    /// What ends the follow-up: `death`, `first_serious_decline`, `death_or_decline`, `death_after_decline`.
    #[param(value_type = Option<String>, example = "death")]
    outcome: Outcome,
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

impl Asked for PlanQuery {
    fn read(fields: &mut Fields) -> Self {
        let condition = fields.text("condition");
        let number = |fields: &mut Fields, name: &str| {
            fields.value(name, |text| {
                text.parse::<f64>()
                    .ok()
                    .filter(|number| number.is_finite())
                    .ok_or_else(|| format!("'{name}={text}' is not a number"))
            })
        };
        let hazard_ratio = number(fields, "hazard_ratio").unwrap_or(2.0);
        let power = number(fields, "power").unwrap_or(POWER);
        let outcome = taxon_question::outcome(fields);
        let since = statistics::since(fields);
        let Representation { format, csv } = Representation::of(fields);
        PlanQuery { condition, hazard_ratio, power, outcome, since, format, csv }
    }
}

const LINES: Lines = Lines {
    about: "plan",
    made_of: SEVERAL,
    list: "/result/steps",
    columns: &[
        ("kind", "/kind"),
        ("count", "/count"),
        ("specimen_years", "/specimen_years"),
        ("sentence", "/sentence"),
    ],
};

/// Ask what the club would have to record to know
///
/// For one condition of a taxon: which open questions, which tests and how many coral-years more would tell a hazard ratio
/// from 1. The steps come in that order, and none of them is to change water or to buy corals.
#[utoipa::path(
    tag = "answers",
    security((), ("token" = ["read"])),
    params(("slug" = String, Path, description = "Species, genus or group", example = "goniopora"), PlanQuery),
    responses(
        (status = 200, description = "The answer; as CSV and Parquet one row a step", content((PlanAnswer = "application/json"), (String = "text/csv"), (Vec<u8> = "application/vnd.apache.parquet"))),
        (status = 304, description = "The caller holds this answer already"),
        AnswerProblems
    )
)]
#[get("/taxa/{slug}/plan")]
pub async fn get_plan(
    request: HttpRequest,
    state: web::Data<State>,
    caller: Caller,
    path: web::Path<String>,
    query: Query<PlanQuery>,
) -> Result<HttpResponse, Problem> {
    let taxon = statistics::taxon(&path)?;
    let PlanQuery { condition, hazard_ratio, power, outcome, since, format, csv } = query.0;
    let code = condition.unwrap_or_else(|| "nitrate".to_owned());
    let condition = Factor::parse(&code, taxon).ok_or_else(|| {
        let known: Vec<String> = Factor::list(taxon).into_iter().map(Factor::code).collect();
        let detail =
            format!("'condition={code}' is no condition of {taxon}; {}", hint(&code, known.iter().map(String::as_str)));
        Problem::of_faults(Kind::InvalidQuery, vec![Fault::parameter("condition", "invalid", detail)])
    })?;
    let form = Representation { format, csv }.form(&request, Made::Table)?;
    let question = PlanQuestion { of: TaxonQuestion { taxon, outcome, since }, condition, hazard_ratio, power };
    let asked = statistics::Question {
        canonical: question.canonical(),
        form,
        stem: format!("{taxon}-plan-{code}"),
        taxon: Some(taxon),
        made_of: SEVERAL,
    };
    statistics::answer(&request, &state, caller, asked, move |snapshot, audience| {
        statistics::allowed(question.faults(audience))?;
        let answer = analysis::answer::plan(&snapshot.club, &question, audience, &snapshot.stamp());
        taxon_question::bytes(&answer, form, &LINES)
    })
    .await
}
