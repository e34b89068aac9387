//! Who did what.

use chrono::{DateTime, NaiveDate, NaiveTime, Utc};
use diesel::prelude::*;
use migrations::schema::audit;
use serde::Serialize;
use serde_json::Value;
use utoipa::ToSchema;

use crate::access::Scope;
use crate::problem::Problem;

/// One thing that was done.
#[derive(Queryable, Serialize, ToSchema)]
pub struct Done {
    /// Number.
    #[schema(example = 12)]
    pub id: i64,
    /// When.
    occurred_at: DateTime<Utc>,
    /// Who: a token by its first characters, or the command line.
    #[schema(example = "token strand_3f9a1c")]
    actor: String,
    /// What.
    #[schema(example = "commit upload")]
    action: String,
    /// To what.
    #[schema(example = "upload 7")]
    subject: String,
    /// Particulars; never what a record says.
    detail: Option<Value>,
}

/// Which of it is asked for.
#[derive(Debug, Default)]
pub struct Asked {
    /// Only what this actor did.
    pub actor: Option<String>,
    /// Only this action.
    pub action: Option<String>,
    /// Only from this day on, UTC.
    pub from: Option<NaiveDate>,
    /// Only what stands before this one.
    pub before: Option<i64>,
}

/// What was done, the newest first, at most so much.
///
/// # Errors
/// The database refused.
pub fn list(connection: &mut PgConnection, desk: &Scope, asked: Asked, limit: i64) -> Result<Vec<Done>, Problem> {
    desk.administers()?;
    let mut rows = audit::table.order(audit::id.desc()).limit(limit).into_boxed();
    if let Some(actor) = asked.actor {
        rows = rows.filter(audit::actor.eq(actor));
    }
    if let Some(action) = asked.action {
        rows = rows.filter(audit::action.eq(action));
    }
    if let Some(day) = asked.from {
        rows = rows.filter(audit::occurred_at.ge(day.and_time(NaiveTime::MIN).and_utc()));
    }
    if let Some(before) = asked.before {
        rows = rows.filter(audit::id.lt(before));
    }
    let columns = (audit::id, audit::occurred_at, audit::actor, audit::action, audit::subject, audit::detail);
    Ok(rows.select(columns).load(connection)?)
}
