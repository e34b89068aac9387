//! What the club teaches, beside its records.

use actix_web::{HttpRequest, HttpResponse, get, web};
use analysis::answer::Audience;
use analysis::club::SEVERAL;

use crate::access::Caller;
use crate::answer::{Snapshot, taught};
use crate::app::State;
use crate::problem::Problem;
use crate::problems;
use crate::query::Query;
use crate::represent::{self, Cell, Form, Made, Sheet};
use crate::route::representation::Representation;
use crate::route::shape::ClaimsAnswer;
use crate::route::statistics;

problems!(
    /// What a list of claims can meet.
    ClaimsProblems: NotPublished, NotAcceptable
);

/// Ask what the records say of what is taught
///
/// Each thing taught, for each taxon with records enough, in one of five words: supported, points the other way, mixed,
/// cannot tell yet, never looked at. "Cannot tell yet" is not "makes no difference".
#[utoipa::path(
    tag = "answers",
    security((), ("token" = ["read"])),
    params(Representation),
    responses(
        (status = 200, description = "The claims; as CSV and Parquet one row a claim, taxon and comparison", content((ClaimsAnswer = "application/json"), (String = "text/csv"), (Vec<u8> = "application/vnd.apache.parquet"))),
        (status = 304, description = "The caller holds this answer already"),
        ClaimsProblems
    )
)]
#[get("/claims")]
pub async fn get_claims(
    request: HttpRequest,
    state: web::Data<State>,
    caller: Caller,
    query: Query<Representation>,
) -> Result<HttpResponse, Problem> {
    let form = query.0.form(&request, Made::Table)?;
    let asked = asked(form);
    statistics::answer(&request, &state, caller, asked, move |snapshot, audience| bytes(snapshot, audience, form)).await
}

/// The question as answers are kept by.
pub fn asked(form: Form) -> statistics::Question {
    let canonical = "claims?".to_owned();
    statistics::Question { canonical, form, stem: "claims".to_owned(), taxon: None, made_of: SEVERAL }
}

/// The bytes of the answer.
pub fn bytes(snapshot: &Snapshot, audience: Audience, form: Form) -> Result<Vec<u8>, Problem> {
    represent::json_or_sheet(&taught::claims(snapshot, audience)?, form, sheet)
}

fn sheet(answer: &serde_json::Value) -> Sheet {
    let mut sheet = Sheet::new([
        "edition",
        "claim",
        "wording",
        "signed_by",
        "since",
        "taxon",
        "verdict",
        "condition",
        "outcome",
        "hazard_ratio",
        "lower",
        "upper",
        "growth_ratio_per_month",
        "q",
        "grade",
        "refused",
        "message",
    ]);
    let state = Cell::json(answer.get("release").unwrap_or(&answer["edition"]));
    for claim in answer["claims"].as_array().into_iter().flatten() {
        for taxon in claim["taxa"].as_array().into_iter().flatten() {
            let lead = [
                state.clone(),
                Cell::json(&claim["claim"]),
                Cell::json(&claim["wording"]),
                Cell::json(&claim["club"]["signed_by"]),
                Cell::json(&claim["club"]["since"]),
                Cell::json(&taxon["taxon"]),
                Cell::json(&taxon["verdict"]),
            ];
            let tests = taxon["looked_at"].as_array().map_or(&[][..], Vec::as_slice);
            if tests.is_empty() {
                let mut row = lead.to_vec();
                row.extend(vec![Cell::Empty; 10]);
                sheet.rows.push(row);
            }
            for test in tests {
                let mut row = lead.to_vec();
                row.extend(
                    ["condition", "outcome", "hazard_ratio", "lower", "upper", "growth_ratio_per_month"]
                        .map(|name| Cell::json(&test[name])),
                );
                row.push(if test["q"].is_number() { Cell::json(&test["q"]) } else { Cell::Empty });
                row.push(Cell::json(&test["grade"]));
                row.extend([Cell::json(&test["refused"]["code"]), Cell::json(&test["refused"]["message"])]);
                sheet.rows.push(row);
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
        let answer = json!({"edition": 3, "claims": [{"claim": "a", "wording": "w", "taxa": [
            {"taxon": "lps", "verdict": "never_looked_at", "looked_at": []},
            {"taxon": "sps", "verdict": "cannot_tell_yet", "looked_at": [{"condition": "nitrate", "q": {"refused": {}}}]}
        ]}]});
        let sheet = sheet(&answer);
        assert_eq!(sheet.rows.len(), 2);
        assert!(sheet.rows.iter().all(|row| row.len() == sheet.columns.len()));
    }
}
