//! Members who keep records, as the curator's desk sees them: what they handed in, never what they lost.

use actix_web::{HttpRequest, HttpResponse, delete, get, patch, post, web};
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

use crate::access::withdrawal::Withdrawn;
use crate::access::{Caller, keeper as members};
use crate::app::State;
use crate::body::Body;
use crate::desk::keepers::{self, KeeperShown};
use crate::pool;
use crate::problem::{Fault, Kind, Problem};
use crate::problems;
use crate::query::{Asked, Fields, Nothing, Query};
use crate::route::page::{self, Page};

/// A page of members.
#[derive(Serialize, ToSchema)]
pub struct KeeperPage {
    /// In the order in which they were made known.
    keepers: Vec<KeeperShown>,
    /// The next page.
    links: page::Links,
}

/// Parameters of the list.
#[derive(IntoParams)]
#[into_params(parameter_in = Query)]
pub struct KeeperQuery {
    /// Items a page, 1 to 1000.
    #[param(minimum = 1, maximum = 1000, example = 50)]
    limit: i64,
    /// Where the page begins: from `links.next` of the page before.
    #[param(value_type = Option<String>)]
    cursor: Option<i64>,
}

impl Asked for KeeperQuery {
    fn read(fields: &mut Fields) -> Self {
        KeeperQuery { limit: page::limit(fields), cursor: page::cursor(fields, "keepers", &[]) }
    }
}

/// A member to be made known.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct KeeperRequest {
    /// Name in the club, 1 to 80 characters; unique whatever its case.
    #[schema(example = "sanderling", min_length = 1, max_length = 80)]
    handle: String,
    /// Year since when this member keeps reefs.
    #[schema(example = 2016, minimum = 1900, maximum = 2200)]
    keeping_since: Option<i32>,
}

/// What of a member changes.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct KeeperChange {
    /// Year since when this member keeps reefs; `null` = not known.
    #[schema(example = 2016, minimum = 1900, maximum = 2200)]
    keeping_since: Option<i32>,
}

/// Parameters of a withdrawal.
#[derive(IntoParams)]
#[into_params(parameter_in = Query)]
pub struct Confirmed {
    /// The member's handle once more: nothing brings the records back.
    #[param(value_type = String, example = "osprey")]
    pub confirm: Option<String>,
}

impl Asked for Confirmed {
    fn read(fields: &mut Fields) -> Self {
        Confirmed { confirm: fields.text("confirm") }
    }
}

problems!(
    /// What making a member known can meet.
    NewKeeperProblems: InvalidBody, UnsupportedMediaType, TooLarge, TooSlow, InvalidValue
);
problems!(
    /// What changing a member can meet.
    KeeperProblems: UnknownKeeper, InvalidBody, UnsupportedMediaType, TooLarge, TooSlow
);
problems!(
    /// What a withdrawal can meet.
    WithdrawalProblems: UnknownKeeper
);

fn year(year: Option<i32>) -> Option<Fault> {
    year.filter(|year| !(1900..=2200).contains(year)).map(|year| {
        Fault::pointer("/keeping_since", "invalid", format!("{year} is no year from 1900 to 2200; give one, or null"))
    })
}

/// List members
///
/// Who keeps records, what was handed in, and how many questions are open. Nobody's losses are counted here.
#[utoipa::path(
    tag = "desk",
    security(("token" = ["admin"])),
    params(KeeperQuery),
    responses((status = 200, description = "A page of members", body = KeeperPage))
)]
#[get("/keepers")]
pub async fn list_keepers(
    request: HttpRequest,
    state: web::Data<State>,
    caller: Caller,
    query: Query<KeeperQuery>,
) -> Result<HttpResponse, Problem> {
    let scope = caller.administers()?;
    let KeeperQuery { limit, cursor } = query.0;
    let rows =
        pool::with(&state.pool, move |connection| keepers::list(connection, &scope, cursor.unwrap_or(0), limit + 1))
            .await?;
    let page = Page::of(rows, limit, |(id, _)| *id);
    let links = page.links(&request, "keepers", &[]);
    let keepers = page.items.into_iter().map(|(_, keeper)| keeper).collect();
    Ok(page::send(&links).json(KeeperPage { keepers, links }))
}

/// Make a member known
///
/// The handle is how the club names the member; it stands in no answer about records.
#[utoipa::path(
    tag = "desk",
    security(("token" = ["admin"])),
    request_body = KeeperRequest,
    responses((status = 201, description = "The member", body = KeeperShown), NewKeeperProblems)
)]
#[post("/keepers")]
pub async fn create_keeper(
    state: web::Data<State>,
    caller: Caller,
    _: Query<Nothing>,
    body: Body<KeeperRequest>,
) -> Result<HttpResponse, Problem> {
    let scope = caller.administers()?;
    let KeeperRequest { handle, keeping_since } = body.0;
    let mut faults: Vec<Fault> = year(keeping_since).into_iter().collect();
    if !members::is_handle(&handle) {
        let detail = format!("'{handle}' is no handle; use 1 to 80 characters without spaces at either end");
        faults.push(Fault::pointer("/handle", "invalid", detail));
    }
    if !faults.is_empty() {
        return Err(Problem::of_faults(Kind::InvalidBody, faults));
    }
    let by = caller.name();
    let made =
        pool::with(&state.pool, move |connection| keepers::make(connection, &scope, (&handle, keeping_since), &by))
            .await?;
    Ok(HttpResponse::Created().insert_header(("cache-control", "private, no-cache")).json(made))
}

/// Change a member
///
/// The year since when the member keeps reefs.
#[utoipa::path(
    tag = "desk",
    security(("token" = ["admin"])),
    params(("handle" = String, Path, description = "The member", example = "osprey")),
    request_body = KeeperChange,
    responses((status = 200, description = "The member, changed", body = KeeperShown), KeeperProblems)
)]
#[patch("/keepers/{handle}")]
pub async fn change_keeper(
    state: web::Data<State>,
    caller: Caller,
    path: web::Path<String>,
    _: Query<Nothing>,
    body: Body<KeeperChange>,
) -> Result<HttpResponse, Problem> {
    let scope = caller.administers()?;
    let KeeperChange { keeping_since } = body.0;
    if let Some(fault) = year(keeping_since) {
        return Err(Problem::of_fault(Kind::InvalidBody, fault));
    }
    let by = caller.name();
    let changed =
        pool::with(&state.pool, move |connection| keepers::change(connection, &scope, (&path, keeping_since), &by))
            .await?;
    Ok(HttpResponse::Ok().insert_header(("cache-control", "private, no-cache")).json(changed))
}

/// Withdraw a member
///
/// For a member who asked to: every record, file, consent and token of theirs is deleted, and what members and the public
/// read is made anew without them. Backups made from then on no longer hold it.
#[utoipa::path(
    tag = "desk",
    security(("token" = ["admin"])),
    params(("handle" = String, Path, description = "The member", example = "osprey"), Confirmed),
    responses((status = 200, description = "What was deleted", body = Withdrawn), WithdrawalProblems)
)]
#[delete("/keepers/{handle}")]
pub async fn withdraw_keeper(
    state: web::Data<State>,
    caller: Caller,
    path: web::Path<String>,
    query: Query<Confirmed>,
) -> Result<HttpResponse, Problem> {
    let scope = caller.administers()?;
    let by = caller.name();
    let withdrawn = pool::with(&state.pool, move |connection| {
        keepers::withdraw(connection, &scope, &path, |handle| confirmed(&query.0, handle), &by)
    })
    .await?;
    Ok(HttpResponse::Ok().insert_header(("cache-control", "no-store")).json(withdrawn))
}

/// Refuses a withdrawal that does not name the member once more.
pub fn confirmed(asked: &Confirmed, handle: &str) -> Result<(), Problem> {
    if asked.confirm.as_deref() == Some(handle) {
        return Ok(());
    }
    let detail = format!("say 'confirm={handle}' to delete every record of {handle}: nothing brings them back");
    Err(Problem::of_fault(Kind::InvalidQuery, Fault::parameter("confirm", "missing", detail)))
}
