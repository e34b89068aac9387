//! Findings of an upload: what could not be taken as it stands, in the order of the file.

use diesel::prelude::*;
use migrations::schema::finding;
use serde_json::Value;

use crate::access::Reached;
use crate::problem::Problem;

/// One finding.
#[derive(Debug, Clone, Queryable)]
pub struct Row {
    /// Place in the file's order, from 0.
    pub position: i32,
    /// Stable name of the doubt.
    pub key: String,
    /// What kind of doubt.
    pub code: String,
    /// `refused`, `questioned`, `noted`.
    pub severity: String,
    /// Sheet of the first cell.
    pub sheet: Option<String>,
    /// Row of the first cell, from 1.
    pub row: Option<i32>,
    /// Column of the first cell, from 1.
    pub column: Option<i32>,
    /// The first cell as written.
    pub written: String,
    /// What is seen, or the question.
    pub message: String,
    /// What to do.
    pub remedy: String,
    /// Ways to answer.
    pub choices: Value,
    /// The answer proposed.
    pub proposed: Option<Value>,
    /// Runs of rows that wait.
    pub held: Value,
    /// Every cell it covers.
    pub cells: Value,
    /// The choice that was answered.
    pub answered: Option<String>,
}

/// Findings after a place; empty lists of severities or codes let all pass.
pub fn list(
    connection: &mut PgConnection,
    reached: Reached,
    severities: &[String],
    codes: &[String],
    after: Option<i64>,
    limit: i64,
) -> Result<Vec<Row>, Problem> {
    let mut query = finding::table
        .filter(finding::upload_id.eq(reached.id()))
        .order(finding::position)
        .limit(limit)
        .select((
            finding::position,
            finding::key,
            finding::code,
            finding::severity,
            finding::sheet,
            finding::row_number,
            finding::column_number,
            finding::written,
            finding::message,
            finding::remedy,
            finding::choices,
            finding::proposed,
            finding::held,
            finding::cells,
            finding::answered,
        ))
        .into_boxed();
    if !severities.is_empty() {
        query = query.filter(finding::severity.eq_any(severities.to_vec()));
    }
    if !codes.is_empty() {
        query = query.filter(finding::code.eq_any(codes.to_vec()));
    }
    if let Some(after) = after {
        query = query.filter(finding::position.gt(i32::try_from(after).unwrap_or(i32::MAX)));
    }
    Ok(query.load(connection)?)
}
