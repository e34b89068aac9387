//! Releases made so far, and one made because a curator asks.

use chrono::{DateTime, Utc};
use diesel::prelude::*;
use migrations::schema::release;
use serde::Serialize;
use utoipa::ToSchema;

use crate::access::{Scope, scope};
use crate::problem::Problem;

/// A release.
#[derive(Queryable, Serialize, ToSchema)]
pub struct ReleaseShown {
    /// Number.
    #[schema(example = 4)]
    number: i64,
    /// When it was made.
    made_at: DateTime<Utc>,
    /// `first`, `scheduled`, `asked` or `withdrawal`.
    #[schema(example = "scheduled")]
    reason: String,
    /// State of the records that it froze.
    #[schema(example = 41)]
    edition: i64,
}

/// Releases.
#[derive(Serialize, ToSchema)]
pub struct ReleaseList {
    /// The newest first; at most 50.
    releases: Vec<ReleaseShown>,
}

/// Releases shown at most: older ones are answered from no more.
const SHOWN: i64 = 50;

/// The releases.
///
/// # Errors
/// The database refused.
pub fn list(connection: &mut PgConnection, desk: &Scope) -> Result<ReleaseList, Problem> {
    desk.administers()?;
    all(connection)
}

fn all(connection: &mut PgConnection) -> Result<ReleaseList, Problem> {
    let columns = (release::number, release::made_at, release::reason, release::edition);
    let releases = release::table.order(release::number.desc()).limit(SHOWN).select(columns).load(connection)?;
    Ok(ReleaseList { releases })
}

/// Makes a release now.
///
/// # Errors
/// The database refused; it is tried again later.
pub fn make(connection: &mut PgConnection, desk: &Scope, by: &str) -> Result<ReleaseList, Problem> {
    desk.administers()?;
    crate::release::ask_for(connection, "asked")?;
    crate::release::make_those_due(connection)?;
    let list = all(connection)?;
    let subject = list.releases.first().map_or_else(String::new, |release| format!("release {}", release.number));
    scope::note(connection, by, "make release", &subject)?;
    Ok(list)
}
