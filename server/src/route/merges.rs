//! Two names of a member's that are one tank or one coral: previewed, joined, taken apart again.

use actix_web::http::header;
use actix_web::{HttpRequest, HttpResponse, delete, get, post, web};
use chrono::{DateTime, Utc};
use diesel::PgConnection;
use importer::fold::same::Named;
use importer::load::{LoadError, Merge, MergeAsked, MergePreview};
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

use crate::access::{Caller, keeper};
use crate::app::State;
use crate::body::Body;
use crate::desk::signed;
use crate::pool;
use crate::problem::{Fault, Kind, Problem};
use crate::problems;
use crate::query::{Asked, Fields, Nothing, Query};
use crate::route::page::{self, Page};
use crate::upload::hand_in;

/// What names are of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum MergeKind {
    /// Two tanks.
    Tank,
    /// Two labels of a coral.
    Specimen,
}

/// Two names that are one thing.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct MergeRequest {
    /// Whose names they are.
    #[schema(example = "osprey")]
    keeper: String,
    /// `tank`, or `specimen` for labels of corals.
    #[schema(example = "tank")]
    kind: MergeKind,
    /// The name given up, as it stands on record.
    #[schema(example = "Lagon")]
    from: String,
    /// The name that stays.
    #[schema(example = "Lagoon")]
    into: String,
}

/// Two names to be joined as it was previewed.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct MergeConfirmed {
    /// The names.
    merge: MergeRequest,
    /// From the preview: confirms what it showed and nothing else.
    #[schema(example = "9f86d081884c7d659a2feaa0c55ad015")]
    confirm: String,
    /// Who answers for it, as it is printed.
    #[schema(min_length = 1, max_length = 120, example = "husbandry group")]
    signed_by: String,
    /// Why.
    #[schema(max_length = 1000, example = "its keeper says they are one")]
    note: Option<String>,
}

/// Joined names.
#[derive(Serialize, ToSchema)]
pub struct MergeShown {
    /// Number.
    #[schema(example = 2)]
    id: i64,
    /// Whose.
    #[schema(example = "osprey")]
    keeper: String,
    /// `tank` or `specimen`.
    #[schema(example = "tank")]
    kind: String,
    /// The name given up.
    #[schema(example = "Lagon")]
    from: String,
    /// The name that stays.
    #[schema(example = "Lagoon")]
    into: String,
    /// Who answers for it.
    #[schema(example = "husbandry group")]
    signed_by: String,
    /// Why.
    note: Option<String>,
    /// When it was entered.
    created_at: DateTime<Utc>,
    /// When it was taken back; `null` = it stands.
    withdrawn_at: Option<DateTime<Utc>>,
}

impl From<Merge> for MergeShown {
    fn from(kept: Merge) -> Self {
        let Merge { id, keeper, kind, from, into, signed_by, note, created_at, withdrawn_at } = kept;
        MergeShown { id, keeper, kind, from, into, signed_by, note, created_at, withdrawn_at }
    }
}

/// How the current records of a kind would change.
#[derive(Serialize, ToSchema)]
pub struct RecordsChanged {
    /// The kind.
    #[schema(example = "reading")]
    kind: &'static str,
    /// Records that would come.
    #[schema(example = 14)]
    added: usize,
    /// Records that would say something else.
    #[schema(example = 0)]
    changed: usize,
    /// Records that would go.
    #[schema(example = 14)]
    removed: usize,
    /// Names of some of them, those that go first.
    examples: Vec<String>,
}

/// Something that both names say, and not alike.
#[derive(Serialize, ToSchema)]
pub struct MergeConflict {
    /// `litres`, `started`, `closed`; `taxon`, `acquired`, `origin`, `ending`, `stay` (at one time in two tanks).
    #[schema(example = "litres")]
    about: &'static str,
    /// Under the name given up.
    #[schema(example = "200")]
    from: String,
    /// Under the name that stays.
    #[schema(example = "300")]
    into: String,
}

/// What a join would change.
#[derive(Serialize, ToSchema)]
pub struct MergePreviewed {
    /// By kind of record; kinds in which nothing changes are left out.
    kinds: Vec<RecordsChanged>,
    /// What both names say and not alike: joined, the later word stands before the earlier.
    conflicts: Vec<MergeConflict>,
    /// Send it with the join.
    #[schema(example = "9f86d081884c7d659a2feaa0c55ad015")]
    confirm: String,
}

impl From<MergePreview> for MergePreviewed {
    fn from(preview: MergePreview) -> Self {
        let kinds = preview.kinds.into_iter().map(|of| {
            let importer::load::KindChange { kind, added, changed, removed, examples } = of;
            RecordsChanged { kind, added, changed, removed, examples }
        });
        let conflicts = preview.conflicts.into_iter().map(|of| {
            let importer::load::Conflict { about, from, into } = of;
            MergeConflict { about, from, into }
        });
        MergePreviewed { kinds: kinds.collect(), conflicts: conflicts.collect(), confirm: preview.confirm }
    }
}

/// A page of joins.
#[derive(Serialize, ToSchema)]
pub struct MergePage {
    /// In the order in which they were made; those taken back too.
    merges: Vec<MergeShown>,
    /// The next page.
    links: page::Links,
}

/// Parameters of the list.
#[derive(IntoParams)]
#[into_params(parameter_in = Query)]
pub struct MergeQuery {
    /// Items a page, 1 to 1000.
    #[param(minimum = 1, maximum = 1000, example = 50)]
    limit: i64,
    /// Where the page begins: from `links.next` of the page before.
    #[param(value_type = Option<String>)]
    cursor: Option<i64>,
}

impl Asked for MergeQuery {
    fn read(fields: &mut Fields) -> Self {
        MergeQuery { limit: page::limit(fields), cursor: page::cursor(fields, "merges", &[]) }
    }
}

problems!(
    /// What previewing a join can meet.
    MergeProblems: InvalidBody, UnsupportedMediaType, TooLarge, TooSlow, InvalidValue
);
problems!(
    /// What joining can meet.
    JoinProblems: InvalidBody, UnsupportedMediaType, TooLarge, TooSlow, InvalidValue, PreviewOutdated
);
problems!(
    /// No such join.
    NoSuchMerge: UnknownMerge
);

/// The names of a member that is there; faults stand under a place of the body.
fn asked(connection: &mut PgConnection, request: MergeRequest, under: &str) -> Result<MergeAsked, Problem> {
    let MergeRequest { keeper, kind, from, into } = request;
    let Some(known) = keeper::find(connection, &keeper)? else {
        let fault = Fault::pointer(format!("{under}/keeper"), "unknown", format!("There is no member '{keeper}'."));
        return Err(Problem::of_fault(Kind::InvalidValue, fault));
    };
    let named = match kind {
        MergeKind::Tank => Named::Tank,
        MergeKind::Specimen => Named::Specimen,
    };
    Ok(MergeAsked { keeper_id: known.id, named, from, into })
}

/// Preview a join of two names
///
/// Which of the member's records would come, go or say something else, and what both names say and not alike. Changes nothing.
#[utoipa::path(
    tag = "desk",
    security(("token" = ["admin"])),
    request_body = MergeRequest,
    responses((status = 200, description = "What would change", body = MergePreviewed), MergeProblems)
)]
#[post("/merges/preview")]
pub async fn preview_merge(
    state: web::Data<State>,
    caller: Caller,
    _: Query<Nothing>,
    body: Body<MergeRequest>,
) -> Result<HttpResponse, Problem> {
    caller.administers()?;
    let preview = pool::with(&state.pool, move |connection| {
        let asked = asked(connection, body.0, "")?;
        importer::load::preview_merge(connection, &asked).map_err(|error| hand_in::problem(&error))
    })
    .await?;
    Ok(HttpResponse::Ok().insert_header((header::CACHE_CONTROL, "no-store")).json(MergePreviewed::from(preview)))
}

/// Join two names
///
/// What the member's files say of the one is taken as said of the other, of files to come too. The files stay as they are: taking the
/// join back gives everything as before.
#[utoipa::path(
    tag = "desk",
    security(("token" = ["admin"])),
    request_body = MergeConfirmed,
    responses((status = 201, description = "The join", body = MergeShown), JoinProblems)
)]
#[post("/merges")]
pub async fn create_merge(
    state: web::Data<State>,
    caller: Caller,
    _: Query<Nothing>,
    body: Body<MergeConfirmed>,
) -> Result<HttpResponse, Problem> {
    caller.administers()?;
    let MergeConfirmed { merge, confirm, signed_by, note } = body.0;
    let mut faults = Vec::new();
    let signed_by = signed::text("/signed_by", Some(signed_by), 120, &mut faults).unwrap_or_default();
    let note = signed::text("/note", note, 1000, &mut faults);
    if !faults.is_empty() {
        return Err(Problem::of_faults(Kind::InvalidValue, faults));
    }
    let made = pool::with(&state.pool, move |connection| {
        let asked = asked(connection, merge, "/merge")?;
        let signed = (signed_by.as_str(), note.as_deref());
        importer::load::merge(connection, &asked, &confirm, signed, &caller.name()).map_err(|error| match error {
            // The names stand a step further down than in a preview.
            LoadError::BadMerge(faults) => {
                let at = |(field, said)| Fault::pointer(format!("/merge/{field}"), "invalid", said);
                Problem::of_faults(Kind::InvalidValue, faults.into_iter().map(at).collect())
            }
            other => hand_in::problem(&other),
        })
    })
    .await?;
    Ok(HttpResponse::Created().insert_header((header::CACHE_CONTROL, "no-store")).json(MergeShown::from(made)))
}

/// List joins of names
///
/// Also those that were taken back.
#[utoipa::path(
    tag = "desk",
    security(("token" = ["admin"])),
    params(MergeQuery),
    responses((status = 200, description = "A page of joins", body = MergePage))
)]
#[get("/merges")]
pub async fn list_merges(
    request: HttpRequest,
    state: web::Data<State>,
    caller: Caller,
    query: Query<MergeQuery>,
) -> Result<HttpResponse, Problem> {
    caller.administers()?;
    let MergeQuery { limit, cursor } = query.0;
    let rows = pool::with(&state.pool, move |connection| {
        importer::load::merges(connection, cursor.unwrap_or(0), limit + 1).map_err(|error| hand_in::problem(&error))
    })
    .await?;
    let page = Page::of(rows, limit, |row| row.id);
    let links = page.links(&request, "merges", &[]);
    let merges = page.items.into_iter().map(MergeShown::from).collect();
    Ok(page::send(&links).json(MergePage { merges, links }))
}

/// Take a join of names back
///
/// The records become what they are without it. Taking it back again changes nothing and gives the same answer.
#[utoipa::path(
    tag = "desk",
    security(("token" = ["admin"])),
    params(("id" = i64, Path, description = "Number of the join", example = 2)),
    responses((status = 200, description = "The join, taken back", body = MergeShown), NoSuchMerge)
)]
#[delete("/merges/{id}")]
pub async fn undo_merge(
    state: web::Data<State>,
    caller: Caller,
    path: web::Path<i64>,
    _: Query<Nothing>,
) -> Result<HttpResponse, Problem> {
    caller.administers()?;
    let id = path.into_inner();
    let undone = pool::with(&state.pool, move |connection| {
        importer::load::undo_merge(connection, id, &caller.name()).map_err(|error| hand_in::problem(&error))
    })
    .await?;
    Ok(HttpResponse::Ok().insert_header((header::CACHE_CONTROL, "no-store")).json(MergeShown::from(undone)))
}
