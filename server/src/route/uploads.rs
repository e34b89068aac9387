//! Uploads: a file comes in, and what has become of it.

use std::collections::BTreeMap;

use actix_web::http::header;
use actix_web::{HttpRequest, HttpResponse, HttpResponseBuilder, get, post, web};
use chrono::{DateTime, NaiveDate, Utc};
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

use crate::access::{Caller, Right};
use crate::app::State;
use crate::pool;
use crate::problem::Problem;
use crate::problems;
use crate::query::{Asked, Fields, Nothing, Query, hint};
use crate::represent::hex;
use crate::route::page::{self, Page};
use crate::upload::hand_in::{self, Beside, Idempotency};
use crate::upload::{self, Filter, KINDS, Row, STATES};

/// Non-empty cells of a file; each is counted once, so the parts add up to the total.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct CellCounts {
    /// All.
    #[schema(example = 412)]
    pub total: u64,
    /// Used by a record that loads.
    #[schema(example = 371)]
    pub recorded: u64,
    /// Titles, headers, units, words for "no reading".
    #[schema(example = 33)]
    pub labels: u64,
    /// Refused or questioned.
    #[schema(example = 8)]
    pub findings: u64,
}

/// Findings by severity.
#[derive(Debug, Clone, Default, Serialize, Deserialize, ToSchema)]
pub struct FindingCounts {
    /// Not loaded.
    #[schema(example = 1)]
    pub refused: i64,
    /// Held until answered.
    #[schema(example = 2)]
    pub questioned: i64,
    /// Loaded, worth a look.
    #[schema(example = 3)]
    pub noted: i64,
}

/// Where to go on from an upload.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct UploadLinks {
    /// The upload itself.
    #[serde(rename = "self")]
    #[schema(example = "/api/v1/uploads/17")]
    pub this: String,
    /// What could not be taken as it stands.
    #[schema(example = "/api/v1/uploads/17/findings")]
    pub findings: String,
    /// What loads.
    #[schema(example = "/api/v1/uploads/17/preview")]
    pub preview: String,
    /// Where answers go.
    #[schema(example = "/api/v1/uploads/17/answers")]
    pub answers: String,
    /// Where the commit goes.
    #[schema(example = "/api/v1/uploads/17/commit")]
    pub commit: String,
}

/// What a column of a file was taken for, and how surely.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct UploadColumn {
    /// Sheet; `null` in a text file.
    pub sheet: Option<String>,
    /// Row of its header cell, from 1; of its first row where it has none.
    #[schema(example = 1)]
    pub row: i64,
    /// Column of its header cell, from 1.
    #[schema(example = 3)]
    pub column: i64,
    /// Header as written; `null` where it has none.
    #[schema(example = "Alk")]
    pub header: Option<String>,
    /// Code of a parameter, of a role (`date`, `tank`, `remark`, …) or of a measure; `label`: kept as written. While it is
    /// asked about, the likeliest.
    #[schema(example = "alkalinity")]
    pub meaning: String,
    /// By what it is known: `word`, `spelling`, `unit`, `values`, `cells`, `code` or `answer`.
    #[schema(example = "word")]
    pub by: String,
    /// How surely, 0 to 1: of columns stated at 0.9 about nine of ten are right.
    #[schema(example = 0.998, minimum = 0, maximum = 1)]
    pub confidence: f64,
    /// It is asked about, and its cells wait.
    #[schema(example = false)]
    pub asked: bool,
}

/// One thing handed in: a file, a single edit, a roll call.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct UploadShown {
    /// Number.
    #[schema(example = 17)]
    pub id: i64,
    /// Handle of the member whose records it holds.
    #[schema(example = "osprey")]
    pub keeper: String,
    /// `file`, `edit` or `roll_call`.
    #[schema(example = "file")]
    pub kind: String,
    /// File name as given.
    #[schema(example = "lagoon tests.xlsx")]
    pub name: String,
    /// `received`, `reading`, `failed`, `questions`, `ready`, `committing`, `committed`, `undone` or `discarded`.
    #[schema(example = "questions")]
    pub state: String,
    /// Why it failed.
    pub message: Option<String>,
    /// Size in bytes.
    #[schema(example = 20480)]
    pub bytes: i64,
    /// SHA-256 of the bytes.
    #[schema(example = "9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08")]
    pub sha256: String,
    /// Name of the log it is a version of; `null` until known.
    #[schema(example = "lagoon tests")]
    pub log: Option<String>,
    /// The tank named beside the file.
    pub tank: Option<String>,
    /// The day on which its register was true: named beside the file, or said in it.
    pub as_of: Option<NaiveDate>,
    /// The day it was read as of; later days are in the future.
    pub read_on: Option<NaiveDate>,
    /// When it came.
    pub received_at: DateTime<Utc>,
    /// Last commit.
    pub committed_at: Option<DateTime<Utc>>,
    /// When it was taken back.
    pub undone_at: Option<DateTime<Utc>>,
    /// Its cells; `null` until read, and for what is no file.
    pub cells: Option<CellCounts>,
    /// Records that load, or have loaded, by kind.
    #[schema(example = json!({"reading": 104, "specimen": 9, "tank": 1}))]
    pub records: BTreeMap<String, i64>,
    /// Findings by severity.
    pub findings: FindingCounts,
    /// Questions that wait for an answer.
    #[schema(example = 2)]
    pub open_questions: i32,
    /// What each column was taken for, in the order of the file. Empty in lists, and until read.
    pub columns: Vec<UploadColumn>,
    /// Where to go on.
    pub links: UploadLinks,
}

/// An upload that came in.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct UploadReceived {
    /// The same bytes of this member were here already and count once: this is that upload, and nothing is new.
    #[schema(example = false)]
    pub already: bool,
    /// The upload.
    #[serde(flatten)]
    pub upload: UploadShown,
}

/// A page of uploads.
#[derive(Serialize, ToSchema)]
pub struct UploadPage {
    /// Newest first.
    uploads: Vec<UploadShown>,
    /// The next page.
    links: page::Links,
}

/// Parameters beside a file. In a form they may be parts of the same names.
#[derive(IntoParams)]
#[into_params(parameter_in = Query)]
pub struct UploadQuery {
    /// Name of the file; needed for raw bodies, the part's own file name for forms.
    #[param(example = "lagoon tests.xlsx")]
    name: Option<String>,
    /// Handle of the member whose file it is: needed from curators; from a member only their own.
    #[param(example = "osprey")]
    keeper: Option<String>,
    /// The tank it is about, where the file names none.
    #[param(example = "Lagoon")]
    tank: Option<String>,
    /// The log it is a version of, by name; without it that is found out.
    #[param(example = "lagoon tests")]
    log: Option<String>,
    /// The day on which its register was true, where the file does not say.
    #[param(example = "2025-03-04")]
    as_of: Option<NaiveDate>,
    /// Number of an upload by whose layout it is read; a form may hold the layout itself, as exported. A file of another
    /// shape is refused at once, naming what differs.
    #[param(example = "12")]
    layout: Option<String>,
}

impl Asked for UploadQuery {
    fn read(fields: &mut Fields) -> Self {
        UploadQuery {
            name: fields.text("name"),
            keeper: fields.text("keeper"),
            tank: fields.text("tank"),
            log: fields.text("log"),
            as_of: fields.day("as_of"),
            layout: fields.text("layout"),
        }
    }
}

/// Parameters of the list.
#[derive(IntoParams)]
#[into_params(parameter_in = Query)]
pub struct ListQuery {
    /// Only in these states, separated by commas.
    #[param(value_type = Option<String>, example = "questions,ready")]
    state: Vec<String>,
    /// Only of these kinds, separated by commas: `file`, `edit`, `roll_call`.
    #[param(value_type = Option<String>, example = "file")]
    kind: Vec<String>,
    /// Only of this member.
    #[param(example = "osprey")]
    keeper: Option<String>,
    /// Items a page, 1 to 1000.
    #[param(minimum = 1, maximum = 1000, example = 50)]
    limit: i64,
    /// Where the page begins: from `links.next` of the page before.
    #[param(value_type = Option<String>)]
    cursor: Option<i64>,
}

/// A list of words of a closed set.
pub fn words(fields: &mut Fields, name: &str, known: &[&str]) -> Vec<String> {
    let given = fields.list(name);
    for word in given.iter().filter(|word| !word.is_empty() && !known.contains(&word.as_str())) {
        let detail = format!("'{word}' in '{name}' is not taken; {}", hint(word, known.iter().copied()));
        fields.fault(name, "invalid", detail);
    }
    given
}

impl Asked for ListQuery {
    fn read(fields: &mut Fields) -> Self {
        let state = words(fields, "state", STATES);
        let kind = words(fields, "kind", KINDS);
        let keeper = fields.text("keeper");
        let filters = filters(&state, &kind, keeper.as_deref());
        ListQuery { limit: page::limit(fields), cursor: page::cursor(fields, "uploads", &filters), state, kind, keeper }
    }
}

fn filters(state: &[String], kind: &[String], keeper: Option<&str>) -> Vec<String> {
    vec![state.join(","), kind.join(","), keeper.unwrap_or_default().to_owned()]
}

/// The upload as it is shown.
pub fn shown(row: Row, counts: &[(i64, String, i64)]) -> UploadShown {
    let of =
        |severity: &str| counts.iter().find(|row_of| row_of.0 == row.id && row_of.1 == severity).map_or(0, |row| row.2);
    let findings = FindingCounts { refused: of("refused"), questioned: of("questioned"), noted: of("noted") };
    let this = format!("/api/v1/uploads/{}", row.id);
    let links = UploadLinks {
        findings: format!("{this}/findings"),
        preview: format!("{this}/preview"),
        answers: format!("{this}/answers"),
        commit: format!("{this}/commit"),
        this,
    };
    let said = row.about.as_ref().and_then(|about| about["as_of"].as_str()).and_then(|day| day.parse().ok());
    UploadShown {
        id: row.id,
        keeper: row.keeper,
        kind: row.kind,
        name: row.name,
        state: row.state,
        message: row.state_message,
        bytes: row.byte_count,
        sha256: hex(&row.sha256),
        log: row.log,
        tank: row.tank,
        as_of: row.as_of.or(said),
        read_on: row.read_on,
        received_at: row.received_at,
        committed_at: row.committed_at,
        undone_at: row.undone_at,
        cells: row.cells.and_then(|cells| serde_json::from_value(cells).ok()),
        records: row.counts.and_then(|counts| serde_json::from_value(counts).ok()).unwrap_or_default(),
        findings,
        open_questions: row.question_count,
        columns: Vec::new(),
        links,
    }
}

/// The upload as it stands now.
pub fn load(connection: &mut diesel::PgConnection, reached: crate::access::Reached) -> Result<UploadShown, Problem> {
    let row = upload::row(connection, reached)?;
    let counts = upload::finding_counts(connection, std::slice::from_ref(&row))?;
    let columns = match row.about.as_ref().and_then(|about| about.get("columns")) {
        Some(columns) => serde_json::from_value(columns.clone()).map_err(|error| Problem::internal(&error))?,
        None => Vec::new(),
    };
    Ok(UploadShown { columns, ..shown(row, &counts) })
}

/// A response about an upload; while it changes by itself it says when to ask again.
pub fn about(mut response: HttpResponseBuilder, upload: &UploadShown) -> HttpResponseBuilder {
    response.insert_header((header::CACHE_CONTROL, "private, no-cache"));
    if upload::moves(&upload.state) {
        response.insert_header((header::RETRY_AFTER, "1"));
    }
    response
}

problems!(
    /// What handing in a file can meet.
    HandInProblems: BadRequest, TooLarge, TooSlow, UnsupportedMediaType, KeyReused, InvalidValue, UnknownUpload
);
problems!(
    /// No such upload for this caller.
    NoSuchUpload: UnknownUpload
);

/// Hand in a file
///
/// The file as it is, raw or as the part `file` of a form: text with any separator, or a workbook. It is stored and
/// read in the background; follow `Location` until `state` is `questions` or `ready`. Nothing counts before the commit.
///
/// The same bytes of the same member are one upload: sending them again gives the first one, with status 200. With
/// `Idempotency-Key`, a quoted string of your own, a request can be repeated safely; keys are kept for 24 hours per token.
#[utoipa::path(
    tag = "uploads",
    security(("token" = ["upload"])),
    params(
        UploadQuery,
        ("Idempotency-Key" = Option<String>, Header, description = "A key of your own for this request, as a quoted string", example = "\"2f6b1c9e\"")
    ),
    request_body(
        description = "The file",
        content(
            (Vec<u8> = "application/octet-stream"),
            (String = "text/csv"),
            (hand_in::Form = "multipart/form-data")
        )
    ),
    responses(
        (status = 200, description = "The same bytes were here already", body = UploadReceived),
        (status = 202, description = "Stored; it is being read", body = UploadReceived, headers(
            ("Location" = String, description = "Address of the upload"),
            ("Retry-After" = i64, description = "Seconds until it is worth asking")
        )),
        HandInProblems
    )
)]
#[post("/uploads")]
pub async fn create_upload(
    request: HttpRequest,
    state: web::Data<State>,
    caller: Caller,
    query: Query<UploadQuery>,
    payload: web::Payload,
) -> Result<HttpResponse, Problem> {
    // Asked before the body is read: a stranger's file is not received.
    let scope = caller.records(Right::Upload)?;
    let key = Idempotency::of(&request)?;
    let UploadQuery { name, keeper, tank, log, as_of, layout } = query.0;
    let beside = Beside { name, keeper, tank, log, as_of, layout };
    let file = hand_in::receive(&request, payload, beside, state.largest_upload).await?;
    let received = pool::with(&state.pool, move |connection| {
        let (reached, already) = hand_in::store(connection, &caller, &scope, file, key.as_ref())?;
        Ok(UploadReceived { already, upload: load(connection, reached)? })
    })
    .await?;
    state.jobs.wake();
    let response = if received.already { HttpResponse::Ok() } else { HttpResponse::Accepted() };
    let mut response = about(response, &received.upload);
    response.insert_header((header::LOCATION, received.upload.links.this.clone()));
    Ok(response.json(received))
}

/// List uploads
///
/// A member's own, or everybody's for a curator; newest first.
#[utoipa::path(
    tag = "uploads",
    security(("token" = ["read"])),
    params(ListQuery),
    responses((status = 200, description = "A page of uploads", body = UploadPage))
)]
#[get("/uploads")]
pub async fn list_uploads(
    request: HttpRequest,
    state: web::Data<State>,
    caller: Caller,
    query: Query<ListQuery>,
) -> Result<HttpResponse, Problem> {
    let scope = caller.records(Right::Read)?;
    let ListQuery { state: states, kind, keeper, limit, cursor } = query.0;
    let of = filters(&states, &kind, keeper.as_deref());
    let filter = Filter { states, kinds: kind, keeper, before: cursor };
    let (rows, counts) = pool::with(&state.pool, move |connection| {
        let rows = upload::list(connection, &scope, &filter, limit + 1)?;
        let counts = upload::finding_counts(connection, &rows)?;
        Ok((rows, counts))
    })
    .await?;
    let page = Page::of(rows, limit, |row| row.id);
    let links = page.links(&request, "uploads", &of);
    let uploads = page.items.into_iter().map(|row| shown(row, &counts)).collect();
    Ok(page::send(&links).json(UploadPage { uploads, links }))
}

/// Get an upload
///
/// Its state, what of it loads, and what could not be taken as it stands. Another member's upload is not there.
#[utoipa::path(
    tag = "uploads",
    security(("token" = ["read"])),
    params(("id" = i64, Path, description = "Number of the upload", example = 17)),
    responses((status = 200, description = "The upload", body = UploadShown), NoSuchUpload)
)]
#[get("/uploads/{id}")]
pub async fn get_upload(
    state: web::Data<State>,
    caller: Caller,
    path: web::Path<i64>,
    _: Query<Nothing>,
) -> Result<HttpResponse, Problem> {
    let scope = caller.records(Right::Read)?;
    let id = path.into_inner();
    let upload = pool::with(&state.pool, move |connection| {
        let reached = scope.upload(connection, id)?;
        load(connection, reached)
    })
    .await?;
    Ok(about(HttpResponse::Ok(), &upload).json(upload))
}
