//! Who did what.

use actix_web::{HttpRequest, HttpResponse, get, web};
use chrono::NaiveDate;
use serde::Serialize;
use utoipa::{IntoParams, ToSchema};

use crate::access::Caller;
use crate::app::State;
use crate::desk::audit::{self, Done};
use crate::pool;
use crate::problem::Problem;
use crate::query::{Asked, Fields, Query};
use crate::route::page::{self, Page};

/// A page of the audit.
#[derive(Serialize, ToSchema)]
pub struct AuditPage {
    /// The newest first.
    audit: Vec<Done>,
    /// The next page.
    links: page::Links,
}

/// Parameters of the list.
#[derive(IntoParams)]
#[into_params(parameter_in = Query)]
pub struct AuditQuery {
    /// Only what this actor did.
    #[param(example = "token strand_3f9a1c")]
    actor: Option<String>,
    /// Only this action.
    #[param(example = "commit upload")]
    action: Option<String>,
    /// Only from this day on, UTC.
    #[param(example = "2025-03-04")]
    from: Option<NaiveDate>,
    /// Items a page, 1 to 1000.
    #[param(minimum = 1, maximum = 1000, example = 50)]
    limit: i64,
    /// Where the page begins: from `links.next` of the page before.
    #[param(value_type = Option<String>)]
    cursor: Option<i64>,
}

impl AuditQuery {
    fn filters(actor: Option<&String>, action: Option<&String>, from: Option<NaiveDate>) -> Vec<String> {
        [actor.cloned(), action.cloned(), from.map(|day| day.to_string())].map(Option::unwrap_or_default).to_vec()
    }
}

impl Asked for AuditQuery {
    fn read(fields: &mut Fields) -> Self {
        let (actor, action, from) = (fields.text("actor"), fields.text("action"), fields.day("from"));
        let filters = AuditQuery::filters(actor.as_ref(), action.as_ref(), from);
        AuditQuery { limit: page::limit(fields), cursor: page::cursor(fields, "audit", &filters), actor, action, from }
    }
}

/// List what was done
///
/// Uploads, answers, undos, tokens, settings and withdrawals, the newest first.
#[utoipa::path(
    tag = "desk",
    security(("token" = ["admin"])),
    params(AuditQuery),
    responses((status = 200, description = "A page of the audit", body = AuditPage))
)]
#[get("/audit")]
pub async fn list_audit(
    request: HttpRequest,
    state: web::Data<State>,
    caller: Caller,
    query: Query<AuditQuery>,
) -> Result<HttpResponse, Problem> {
    let scope = caller.administers()?;
    let AuditQuery { actor, action, from, limit, cursor } = query.0;
    let filters = AuditQuery::filters(actor.as_ref(), action.as_ref(), from);
    let asked = audit::Asked { actor, action, from, before: cursor };
    let rows = pool::with(&state.pool, move |connection| audit::list(connection, &scope, asked, limit + 1)).await?;
    let page = Page::of(rows, limit, |row| row.id);
    let links = page.links(&request, "audit", &filters);
    Ok(page::send(&links).json(AuditPage { audit: page.items, links }))
}
