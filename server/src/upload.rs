//! Uploads as a caller reaches them. Everything here takes the scope that the caller was given, or an upload
//! that was found through one; what an upload does to the records is `importer::load`'s alone.

use chrono::{DateTime, NaiveDate, Utc};
use diesel::prelude::*;
use migrations::schema::{finding, keeper, log, upload};
use serde_json::Value;

use crate::access::{Reached, Scope};
use crate::problem::Problem;

pub mod answers; // answers, looked over
pub mod findings; // what could not be taken as it stands
pub mod hand_in; // a file comes in, once
pub mod question; // one question, as its link shows it
pub mod roll_call; // all seen alive today, except …

/// States of an upload, in the order in which it goes through them.
pub const STATES: &[&str] =
    &["received", "reading", "failed", "questions", "ready", "committing", "committed", "undone", "discarded"];
/// Kinds of uploads.
pub const KINDS: &[&str] = &["file", "edit", "roll_call"];

/// Will the upload change by itself?
pub fn moves(state: &str) -> bool {
    matches!(state, "received" | "reading" | "committing")
}

/// An upload with what is known of it.
#[derive(Debug, Clone, Queryable)]
pub struct Row {
    /// Number.
    pub id: i64,
    /// Handle of the member whose records it holds.
    pub keeper: String,
    /// `file`, `edit`, `roll_call`.
    pub kind: String,
    /// File name as given.
    pub name: String,
    /// Size.
    pub byte_count: i64,
    /// SHA-256 of the bytes.
    pub sha256: Vec<u8>,
    /// State.
    pub state: String,
    /// Why it failed.
    pub state_message: Option<String>,
    /// Name of the log it is a version of.
    pub log: Option<String>,
    /// The tank named beside the file.
    pub tank: Option<String>,
    /// The day named beside the file on which its register was true.
    pub as_of: Option<NaiveDate>,
    /// The day it was read as of.
    pub read_on: Option<NaiveDate>,
    /// When it came.
    pub received_at: DateTime<Utc>,
    /// Last commit.
    pub committed_at: Option<DateTime<Utc>>,
    /// When it was taken back.
    pub undone_at: Option<DateTime<Utc>>,
    /// Open questions.
    pub question_count: i32,
    /// Counts of cells.
    pub cells: Option<Value>,
    /// Records by kind.
    pub counts: Option<Value>,
    /// What the file says about itself.
    pub about: Option<Value>,
}

macro_rules! row {
    () => {
        (
            upload::id,
            keeper::handle,
            upload::kind,
            upload::name,
            upload::byte_count,
            upload::sha256,
            upload::state,
            upload::state_message,
            log::name.nullable(),
            upload::tank_hint,
            upload::as_of,
            upload::read_on,
            upload::received_at,
            upload::committed_at,
            upload::undone_at,
            upload::question_count,
            upload::cells,
            upload::counts,
            upload::about,
        )
    };
}

/// One upload.
pub fn row(connection: &mut PgConnection, reached: Reached) -> Result<Row, Problem> {
    Ok(upload::table
        .inner_join(keeper::table)
        .left_join(log::table)
        .filter(upload::id.eq(reached.id()))
        .select(row!())
        .first(connection)?)
}

/// Which uploads a list shows.
#[derive(Debug, Clone, Default)]
pub struct Filter {
    /// In any of these states; empty = all.
    pub states: Vec<String>,
    /// Of any of these kinds; empty = all.
    pub kinds: Vec<String>,
    /// Of the member of this handle, whatever its case.
    pub keeper: Option<String>,
    /// Older than this number.
    pub before: Option<i64>,
}

/// Uploads within reach, newest first.
pub fn list(connection: &mut PgConnection, scope: &Scope, filter: &Filter, limit: i64) -> Result<Vec<Row>, Problem> {
    let ids = scope.uploads().select(upload::id);
    let mut query = upload::table
        .inner_join(keeper::table)
        .left_join(log::table)
        .filter(upload::id.eq_any(ids))
        .select(row!())
        .order(upload::id.desc())
        .limit(limit)
        .into_boxed();
    if !filter.states.is_empty() {
        query = query.filter(upload::state.eq_any(filter.states.clone()));
    }
    if !filter.kinds.is_empty() {
        query = query.filter(upload::kind.eq_any(filter.kinds.clone()));
    }
    if let Some(handle) = &filter.keeper {
        let known = crate::access::keeper::find(connection, handle)?.map(|known| known.id);
        query = query.filter(upload::keeper_id.eq(known.unwrap_or(0)));
    }
    if let Some(before) = filter.before {
        query = query.filter(upload::id.lt(before));
    }
    Ok(query.load(connection)?)
}

/// Findings of each severity, of several uploads: `(upload, severity, count)`.
pub fn finding_counts(connection: &mut PgConnection, rows: &[Row]) -> Result<Vec<(i64, String, i64)>, Problem> {
    let ids: Vec<i64> = rows.iter().map(|row| row.id).collect();
    Ok(finding::table
        .filter(finding::upload_id.eq_any(ids))
        .group_by((finding::upload_id, finding::severity))
        .select((finding::upload_id, finding::severity, diesel::dsl::count_star()))
        .load(connection)?)
}
