//! What a kit or probe can show, answered once for every member who has it: previewed, given, taken back.

use actix_web::http::header;
use actix_web::{HttpRequest, HttpResponse, delete, get, post, web};
use chrono::{DateTime, Utc};
use importer::load::{KitAnswer, KitFacts, KitPreview};
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

use crate::access::Caller;
use crate::app::State;
use crate::body::Body;
use crate::pool;
use crate::problem::{Fault, Kind, Problem};
use crate::problems;
use crate::query::{Asked, Fields, Nothing, Query};
use crate::route::page::{self, Page};
use crate::upload::hand_in;

/// What is said of a kit.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct KitRequest {
    /// Code of what it measures.
    #[schema(example = "phosphate")]
    parameter: String,
    /// Its name; case and blanks aside, kits of one name are one kit.
    #[schema(max_length = 200, example = "Tidepool P2")]
    name: String,
    /// Smallest value it can show, in the parameter's unit.
    #[schema(example = 0.03)]
    limit: Option<f64>,
    /// Smallest step, in the parameter's unit.
    #[schema(example = 0.01)]
    step: Option<f64>,
    /// Reference temperatures of its gravities: `25/25`, `20/20`, `60/60F`, `15/15`, `20/4`; of nothing else.
    reference: Option<String>,
    /// What its numbers count, such as `N` or `P`.
    #[schema(example = "P")]
    basis: Option<String>,
}

/// What is said of a kit, as it was previewed.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct KitConfirmed {
    /// What is said.
    kit: KitRequest,
    /// From the preview: confirms what it showed and nothing else.
    #[schema(example = "9f86d081884c7d659a2feaa0c55ad015")]
    confirm: String,
}

/// An answer about a kit.
#[derive(Serialize, ToSchema)]
pub struct KitShown {
    /// Number.
    #[schema(example = 4)]
    id: i64,
    /// Code of what it measures.
    #[schema(example = "phosphate")]
    parameter: String,
    /// Its name.
    #[schema(example = "Tidepool P2")]
    name: String,
    /// Smallest value it can show.
    limit: Option<f64>,
    /// Smallest step.
    step: Option<f64>,
    /// Reference temperatures of its gravities.
    reference: Option<String>,
    /// What its numbers count.
    basis: Option<String>,
    /// When it was given.
    created_at: DateTime<Utc>,
    /// When it was taken back; `null` = it stands.
    undone_at: Option<DateTime<Utc>>,
}

impl From<KitAnswer> for KitShown {
    fn from(kept: KitAnswer) -> Self {
        KitShown {
            id: kept.id,
            parameter: kept.parameter,
            name: kept.name,
            limit: kept.limit,
            step: kept.step,
            reference: kept.reference,
            basis: kept.basis,
            created_at: kept.given_at,
            undone_at: kept.undone_at,
        }
    }
}

/// What a reading says.
#[derive(Serialize, ToSchema)]
pub struct ReadingSaid {
    /// Value; `null` for an interval.
    value: Option<f64>,
    /// Lower end.
    lower: Option<f64>,
    /// Upper end.
    upper: Option<f64>,
    /// The parameter's unit.
    #[schema(example = "mg/L")]
    unit: String,
}

impl From<importer::load::Said> for ReadingSaid {
    fn from(said: importer::load::Said) -> Self {
        ReadingSaid { value: said.value, lower: said.lower, upper: said.upper, unit: said.unit }
    }
}

/// A cell before and after.
#[derive(Serialize, ToSchema)]
pub struct CellChanged {
    /// Upload it stands in.
    #[schema(example = 17)]
    upload: i64,
    /// Sheet.
    sheet: Option<String>,
    /// Row from 1.
    #[schema(example = 3)]
    row: u32,
    /// Column from 1.
    #[schema(example = 3)]
    column: u32,
    /// As written.
    #[schema(example = "not detected")]
    written: String,
    /// What it says now; `null` = it waits for an answer.
    before: Option<ReadingSaid>,
    /// What it would say; `null` = it would wait.
    after: Option<ReadingSaid>,
}

/// What would change for one member.
#[derive(Serialize, ToSchema)]
pub struct KeeperChanged {
    /// Handle.
    #[schema(example = "osprey")]
    keeper: String,
    /// Uploads in which something changes.
    uploads: Vec<i64>,
    /// Readings that would say something else.
    #[schema(example = 0)]
    changed: u64,
    /// Readings that wait and would load.
    #[schema(example = 2)]
    loaded: u64,
    /// Loaded readings that would wait.
    #[schema(example = 0)]
    held: u64,
    /// Open questions now.
    #[schema(example = 1)]
    questions_before: u64,
    /// Open questions then.
    #[schema(example = 0)]
    questions_after: u64,
    /// Some of the cells.
    examples: Vec<CellChanged>,
}

/// What an answer about a kit would change.
#[derive(Serialize, ToSchema)]
pub struct KitPreviewed {
    /// Members who have the kit and in whose records something changes.
    keepers: Vec<KeeperChanged>,
    /// Send it with the answer.
    #[schema(example = "9f86d081884c7d659a2feaa0c55ad015")]
    confirm: String,
}

impl From<KitPreview> for KitPreviewed {
    fn from(preview: KitPreview) -> Self {
        let keepers = preview.keepers.into_iter().map(|change| KeeperChanged {
            keeper: change.keeper,
            uploads: change.uploads,
            changed: change.changed,
            loaded: change.loaded,
            held: change.held,
            questions_before: change.questions_before,
            questions_after: change.questions_after,
            examples: change
                .examples
                .into_iter()
                .map(|cell| CellChanged {
                    upload: cell.upload,
                    sheet: cell.sheet,
                    row: cell.row,
                    column: cell.column,
                    written: cell.written,
                    before: cell.before.map(ReadingSaid::from),
                    after: cell.after.map(ReadingSaid::from),
                })
                .collect(),
        });
        KitPreviewed { keepers: keepers.collect(), confirm: preview.confirm }
    }
}

/// A page of answers about kits.
#[derive(Serialize, ToSchema)]
pub struct KitPage {
    /// In the order they were given; those taken back too.
    kits: Vec<KitShown>,
    /// The next page.
    links: page::Links,
}

/// Parameters of the list.
#[derive(IntoParams)]
#[into_params(parameter_in = Query)]
pub struct KitQuery {
    /// Items a page, 1 to 1000.
    #[param(minimum = 1, maximum = 1000, example = 50)]
    limit: i64,
    /// Where the page begins: from `links.next` of the page before.
    #[param(value_type = Option<String>)]
    cursor: Option<i64>,
}

impl Asked for KitQuery {
    fn read(fields: &mut Fields) -> Self {
        KitQuery { limit: page::limit(fields), cursor: page::cursor(fields, "kits", &[]) }
    }
}

problems!(
    /// What saying something of a kit can meet.
    KitProblems: InvalidBody, UnsupportedMediaType, TooLarge, TooSlow, InvalidValue
);
problems!(
    /// What confirming it can meet.
    ConfirmProblems: InvalidBody, UnsupportedMediaType, TooLarge, TooSlow, InvalidValue, PreviewOutdated
);
problems!(
    /// No such answer.
    NoSuchKit: UnknownKit
);

fn facts(request: KitRequest, under: &str) -> Result<KitFacts, Problem> {
    let KitRequest { parameter, name, limit, step, reference, basis } = request;
    let facts = KitFacts { parameter, name, limit, step, reference, basis };
    let faults: Vec<Fault> = facts
        .faults()
        .into_iter()
        .map(|(field, detail)| {
            let at = if field.is_empty() { under.to_owned() } else { format!("{under}/{field}") };
            Fault::pointer(at, "invalid", detail)
        })
        .collect();
    if faults.is_empty() { Ok(facts) } else { Err(Problem::of_faults(Kind::InvalidValue, faults)) }
}

/// Preview an answer about a kit
///
/// Whose readings it would change, with some cells before and after. Changes nothing.
#[utoipa::path(
    tag = "uploads",
    security(("token" = ["admin"])),
    request_body = KitRequest,
    responses((status = 200, description = "What would change", body = KitPreviewed), KitProblems)
)]
#[post("/kits/preview")]
pub async fn preview_kit(
    state: web::Data<State>,
    caller: Caller,
    _: Query<Nothing>,
    body: Body<KitRequest>,
) -> Result<HttpResponse, Problem> {
    caller.administers()?;
    let facts = facts(body.0, "")?;
    let preview = pool::with(&state.pool, move |connection| {
        importer::load::preview_kit(connection, &facts).map_err(|error| hand_in::problem(&error))
    })
    .await?;
    Ok(HttpResponse::Ok().insert_header((header::CACHE_CONTROL, "no-store")).json(KitPreviewed::from(preview)))
}

/// Answer about a kit
///
/// It serves every member with a kit of this name, now and later, in one transaction; what a member says of an own kit
/// holds over it. An earlier answer about the kit is taken back by it.
#[utoipa::path(
    tag = "uploads",
    security(("token" = ["admin"])),
    request_body = KitConfirmed,
    responses((status = 201, description = "The answer", body = KitShown), ConfirmProblems)
)]
#[post("/kits")]
pub async fn answer_kit(
    state: web::Data<State>,
    caller: Caller,
    _: Query<Nothing>,
    body: Body<KitConfirmed>,
) -> Result<HttpResponse, Problem> {
    caller.administers()?;
    let KitConfirmed { kit, confirm } = body.0;
    let facts = facts(kit, "/kit")?;
    let made = pool::with(&state.pool, move |connection| {
        importer::load::answer_kit(connection, &facts, &confirm, &caller.name())
            .map_err(|error| hand_in::problem(&error))
    })
    .await?;
    Ok(HttpResponse::Created().insert_header((header::CACHE_CONTROL, "no-store")).json(KitShown::from(made.0)))
}

/// List answers about kits
///
/// Also those that were taken back.
#[utoipa::path(
    tag = "uploads",
    security(("token" = ["admin"])),
    params(KitQuery),
    responses((status = 200, description = "A page of answers", body = KitPage))
)]
#[get("/kits")]
pub async fn list_kits(
    request: HttpRequest,
    state: web::Data<State>,
    caller: Caller,
    query: Query<KitQuery>,
) -> Result<HttpResponse, Problem> {
    caller.administers()?;
    let KitQuery { limit, cursor } = query.0;
    let rows = pool::with(&state.pool, move |connection| {
        importer::load::kit_answers(connection, cursor.unwrap_or(0), limit + 1)
            .map_err(|error| hand_in::problem(&error))
    })
    .await?;
    let page = Page::of(rows, limit, |row| row.id);
    let links = page.links(&request, "kits", &[]);
    let kits = page.items.into_iter().map(KitShown::from).collect();
    Ok(page::send(&links).json(KitPage { kits, links }))
}

/// Take an answer about a kit back
///
/// The records become what they are without it. Taking it back again changes nothing and gives the same answer.
#[utoipa::path(
    tag = "uploads",
    security(("token" = ["admin"])),
    params(("id" = i64, Path, description = "Number of the answer", example = 4)),
    responses((status = 200, description = "The answer, taken back", body = KitShown), NoSuchKit)
)]
#[delete("/kits/{id}")]
pub async fn undo_kit(
    state: web::Data<State>,
    caller: Caller,
    path: web::Path<i64>,
    _: Query<Nothing>,
) -> Result<HttpResponse, Problem> {
    caller.administers()?;
    let id = path.into_inner();
    let undone = pool::with(&state.pool, move |connection| {
        importer::load::undo_kit(connection, id, &caller.name()).map_err(|error| hand_in::problem(&error))
    })
    .await?;
    Ok(HttpResponse::Ok().insert_header((header::CACHE_CONTROL, "no-store")).json(KitShown::from(undone)))
}
