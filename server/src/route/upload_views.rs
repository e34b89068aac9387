//! What an upload holds: findings and preview.

use std::collections::BTreeMap;

use actix_web::{HttpRequest, HttpResponse, get, web};
use importer::load::Stage;
use serde::Serialize;
use serde_json::Value;
use utoipa::{IntoParams, ToSchema};

use crate::access::{Caller, Right};
use crate::app::State;
use crate::pool;
use crate::problem::Problem;
use crate::query::{Asked, Fields, Query};
use crate::route::page::{self, Page};
use crate::route::uploads::{NoSuchUpload, words};
use crate::upload::{self, findings, hand_in};

/// Severities, the gravest first.
const SEVERITIES: &[&str] = &["refused", "questioned", "noted"];
/// Kinds of records.
const RECORD_KINDS: &[&str] = &[
    "tank",
    "reading",
    "specimen",
    "identification",
    "stay",
    "placement",
    "sighting",
    "sizing",
    "ending",
    "routine",
    "event",
    "incident",
    "instrument",
];

/// Parameters of the list.
#[derive(IntoParams)]
#[into_params(parameter_in = Query)]
pub struct FindingQuery {
    /// Only of these severities, separated by commas: `refused`, `questioned`, `noted`.
    #[param(value_type = Option<String>, example = "questioned")]
    severity: Vec<String>,
    /// Only of these codes, separated by commas.
    #[param(value_type = Option<String>, example = "name_ambiguous")]
    code: Vec<String>,
    /// Items a page, 1 to 1000.
    #[param(minimum = 1, maximum = 1000, example = 50)]
    limit: i64,
    /// Where the page begins: from `links.next` of the page before.
    #[param(value_type = Option<String>)]
    cursor: Option<i64>,
}

fn filters(severity: &[String], code: &[String]) -> Vec<String> {
    vec![severity.join(","), code.join(",")]
}

impl Asked for FindingQuery {
    fn read(fields: &mut Fields) -> Self {
        let severity = words(fields, "severity", SEVERITIES);
        let known: Vec<&str> =
            analysis::vocabulary::catalogue().findings().iter().map(|kind| kind.code.as_str()).collect();
        let code = words(fields, "code", &known);
        let filters = filters(&severity, &code);
        FindingQuery { limit: page::limit(fields), cursor: page::cursor(fields, "findings", &filters), severity, code }
    }
}

/// A cell of the file.
#[derive(ToSchema)]
#[allow(dead_code)] // documents a part of stored JSON
pub struct FindingCell {
    /// Sheet, for workbooks.
    sheet: Option<String>,
    /// Row from 1, blank and title rows counted.
    #[schema(example = 14)]
    row: u32,
    /// Column from 1.
    #[schema(example = 3)]
    column: u32,
    /// What the cell gave: `value`, `date`, `tank`, `unit`, `label`, `taxon`, …
    #[schema(example = "date")]
    role: String,
}

/// One way to answer a question.
#[derive(ToSchema)]
#[allow(dead_code)] // documents a part of stored JSON
pub struct FindingChoice {
    /// Sent back as `choice`.
    #[schema(example = "day_first")]
    code: String,
    /// As a person reads it.
    #[schema(example = "4 March")]
    label: String,
    /// What must come with it as `value`: `day`, `days`, `number`, `text`, `parameter`, `tank`, `taxon`; absent = nothing.
    needs: Option<String>,
}

/// An answer to a question.
#[derive(ToSchema)]
#[allow(dead_code)] // documents a part of stored JSON
pub struct FindingAnswer {
    /// Key of the finding.
    #[schema(example = "date_order:Date")]
    key: String,
    /// Code of the choice.
    #[schema(example = "day_first")]
    choice: String,
    /// What the choice needs.
    value: Option<Value>,
}

/// Cells that wait for an answer.
#[derive(ToSchema)]
#[allow(dead_code)] // documents a part of stored JSON
pub struct FindingHeld {
    /// Sheet.
    sheet: Option<String>,
    /// Column from 1; `null` = whole rows.
    column: Option<u32>,
    /// Runs of rows, first and last, both included.
    #[schema(example = json!([[2, 104]]))]
    rows: Vec<[u32; 2]>,
}

/// What could not be taken as it stands.
#[derive(Serialize, ToSchema)]
pub struct FindingShown {
    /// Stable name of the doubt within the upload: answers refer to it.
    #[schema(example = "date_order:Date")]
    key: String,
    /// What kind of doubt.
    #[schema(example = "date_order_unclear")]
    code: String,
    /// `refused` (not loaded), `questioned` (held until answered; one answer settles all alike) or `noted` (loaded).
    #[schema(example = "questioned")]
    severity: String,
    /// Sheet of the first cell.
    sheet: Option<String>,
    /// Row of the first cell, from 1; `null` for the whole file.
    #[schema(example = 2)]
    row: Option<i32>,
    /// Column of the first cell, from 1; `null` for a whole row or table.
    #[schema(example = 1)]
    column: Option<i32>,
    /// The first cell as written.
    #[schema(example = "04/03/2025")]
    written: String,
    /// What is seen, or the question, in one sentence.
    message: String,
    /// What to do.
    remedy: String,
    /// Ways to answer; empty unless questioned.
    #[schema(value_type = Vec<FindingChoice>)]
    choices: Value,
    /// The answer that is proposed; `null` if none may be.
    #[schema(value_type = Option<FindingAnswer>)]
    proposed: Option<Value>,
    /// What waits.
    #[schema(value_type = Vec<FindingHeld>)]
    held: Value,
    /// Every cell it covers.
    #[schema(value_type = Vec<FindingCell>)]
    cells: Value,
    /// The choice that was answered, where the answer left the cells waiting ("don't know"); `null` while it is open.
    answered: Option<String>,
}

/// A page of findings.
#[derive(Serialize, ToSchema)]
pub struct FindingPage {
    /// State of the upload: findings are complete from `questions` or `ready` on.
    #[schema(example = "questions")]
    state: String,
    /// In the order of the file.
    findings: Vec<FindingShown>,
    /// The next page.
    links: page::Links,
}

/// List findings of an upload
///
/// What could not be taken as it stands, each with its place, as written, a plain sentence and what to do. One answer
/// to a questioned finding settles every cell it covers.
#[utoipa::path(
    tag = "uploads",
    security(("token" = ["read"])),
    params(("id" = i64, Path, description = "Number of the upload", example = 17), FindingQuery),
    responses((status = 200, description = "A page of findings", body = FindingPage), NoSuchUpload)
)]
#[get("/uploads/{id}/findings")]
pub async fn list_findings(
    request: HttpRequest,
    state: web::Data<State>,
    caller: Caller,
    path: web::Path<i64>,
    query: Query<FindingQuery>,
) -> Result<HttpResponse, Problem> {
    let scope = caller.records(Right::Read)?;
    let id = path.into_inner();
    let FindingQuery { severity, code, limit, cursor } = query.0;
    let of = filters(&severity, &code);
    let (state, rows) = pool::with(&state.pool, move |connection| {
        let reached = scope.upload(connection, id)?;
        let state = upload::row(connection, reached)?.state;
        Ok((state, findings::list(connection, reached, &severity, &code, cursor, limit + 1)?))
    })
    .await?;
    let page = Page::of(rows, limit, |row| i64::from(row.position));
    let links = page.links(&request, "findings", &of);
    let findings = page.items.into_iter().map(finding).collect();
    Ok(page::send(&links).json(FindingPage { state, findings, links }))
}

fn finding(row: findings::Row) -> FindingShown {
    FindingShown {
        key: row.key,
        code: row.code,
        severity: row.severity,
        sheet: row.sheet,
        row: row.row,
        column: row.column,
        written: row.written,
        message: row.message,
        remedy: row.remedy,
        choices: row.choices,
        proposed: row.proposed,
        held: row.held,
        cells: row.cells,
        answered: row.answered,
    }
}

/// Parameters of the preview.
#[derive(IntoParams)]
#[into_params(parameter_in = Query)]
pub struct PreviewQuery {
    /// Only records of these kinds, separated by commas.
    #[param(value_type = Option<String>, example = "reading")]
    kind: Vec<String>,
    /// Records shown, 0 to 1000.
    #[param(minimum = 0, maximum = 1000, example = 20)]
    limit: i64,
}

impl Asked for PreviewQuery {
    fn read(fields: &mut Fields) -> Self {
        PreviewQuery { kind: words(fields, "kind", RECORD_KINDS), limit: fields.whole("limit", 0, 1000).unwrap_or(20) }
    }
}

/// What of an upload loads.
#[derive(Serialize, ToSchema)]
pub struct Preview {
    /// State of the upload.
    #[schema(example = "ready")]
    state: String,
    /// Records that load if it is committed as it stands, by kind.
    #[schema(example = json!({"reading": 104, "tank": 1}))]
    counts: BTreeMap<String, i64>,
    /// The first of them, in the order of the file, each with the cells it came from.
    #[schema(value_type = Vec<Object>)]
    records: Vec<Value>,
}

/// Preview an upload
///
/// The records that load if it is committed as it stands: counts by kind, and the first ones with their cells. For a
/// committed upload with later answers: what the next commit would make of it.
#[utoipa::path(
    tag = "uploads",
    security(("token" = ["read"])),
    params(("id" = i64, Path, description = "Number of the upload", example = 17), PreviewQuery),
    responses((status = 200, description = "What loads", body = Preview), NoSuchUpload)
)]
#[get("/uploads/{id}/preview")]
pub async fn get_preview(
    state: web::Data<State>,
    caller: Caller,
    path: web::Path<i64>,
    query: Query<PreviewQuery>,
) -> Result<HttpResponse, Problem> {
    let scope = caller.records(Right::Read)?;
    let id = path.into_inner();
    let PreviewQuery { kind, limit } = query.0;
    let preview = pool::with(&state.pool, move |connection| {
        let reached = scope.upload(connection, id)?;
        let own = caller.is(reached.keeper_id());
        let row = upload::row(connection, reached)?;
        // An edit that takes facts out holds them, but loads nothing.
        let (counts, first) = match row.about.as_ref().is_some_and(|about| about["takes_out"] == true) {
            true => (BTreeMap::new(), Vec::new()),
            false => {
                let limit = usize::try_from(limit).unwrap_or(0);
                importer::load::first_records(connection, reached.id(), Stage::Staged, &kind, limit)
                    .map_err(|error| hand_in::problem(&error))?
            }
        };
        let mut shown = Vec::with_capacity(first.len());
        for record in &first {
            let mut value = serde_json::to_value(record).map_err(|error| Problem::internal(&error))?;
            // Where a coral was bought is its keeper's alone.
            if !own && let Some(name) = value.get_mut("source_name") {
                *name = Value::Null;
            }
            shown.push(value);
        }
        let count = |(kind, count): (&str, u64)| (kind.to_owned(), i64::try_from(count).unwrap_or(i64::MAX));
        let counts = counts.into_iter().map(count).collect();
        Ok(Preview { state: row.state, counts, records: shown })
    })
    .await?;
    Ok(HttpResponse::Ok().insert_header(("cache-control", "private, no-cache")).json(preview))
}
