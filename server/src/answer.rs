//! From the records in Postgres to an answer: the only reader of records for statistics.
//!
//! Records are read once per edition into plain values and kept; a request costs one look at the edition's
//! number, and an answer computed before is sent again. What may be shown to whom is `analysis::disclosure`'s.

use std::collections::HashMap;
use std::sync::{Arc, Mutex, PoisonError};

use analysis::answer::{Stamp, State};
use analysis::club::Club;
use chrono::{DateTime, Utc};
use diesel::prelude::*;
use migrations::schema::{club_setting, edition};

use crate::access::Scope;
use crate::pool::Pool;
use crate::problem::Problem;

mod care; // what keepers did
mod load; // records → a club of plain values
mod readings;
pub mod totals; // counts of the club as a whole // the many rows: water tests, one by one

/// The records of one edition.
#[derive(Debug, Clone)]
pub struct Snapshot {
    /// State of everything an answer depends on.
    pub edition: i64,
    /// When that state was reached.
    pub raised_at: DateTime<Utc>,
    /// The records.
    pub club: Arc<Club>,
}

impl Snapshot {
    /// What answers computed from it are marked with.
    pub fn stamp(&self) -> Stamp {
        stamp(self.edition)
    }
}

/// The mark of answers of an edition by this program.
pub fn stamp(edition: i64) -> Stamp {
    Stamp { state: State::Edition(edition), program_version: env!("CARGO_PKG_VERSION").to_owned() }
}

/// Reads the records that a scope reaches, all as of one moment.
///
/// # Errors
/// The database refused.
pub fn club(connection: &mut PgConnection, scope: &Scope) -> QueryResult<Snapshot> {
    connection.build_transaction().repeatable_read().read_only().run(|connection| {
        let Edition { number, raised_at } = current_edition(connection)?;
        Ok(Snapshot { edition: number, raised_at, club: Arc::new(load::club(connection, scope)?) })
    })
}

/// A state of everything an answer depends on.
#[derive(Debug, Clone, Copy, Queryable)]
pub struct Edition {
    /// Its number.
    pub number: i64,
    /// When it was reached.
    pub raised_at: DateTime<Utc>,
}

/// The current edition.
///
/// # Errors
/// The database refused.
pub fn current_edition(connection: &mut PgConnection) -> QueryResult<Edition> {
    edition::table.select((edition::number, edition::raised_at)).first(connection)
}

/// Does the club show its answers to everybody? Off unless the setting `publish` is `true`.
///
/// # Errors
/// The database refused.
pub fn publishes(connection: &mut PgConnection) -> QueryResult<bool> {
    let value: Option<serde_json::Value> =
        club_setting::table.find("publish").select(club_setting::value).first(connection).optional()?;
    Ok(value == Some(serde_json::Value::Bool(true)))
}

/// The club's name; `None` until it is set.
///
/// # Errors
/// The database refused.
pub fn club_name(connection: &mut PgConnection) -> QueryResult<Option<String>> {
    let value: Option<serde_json::Value> =
        club_setting::table.find("name").select(club_setting::value).first(connection).optional()?;
    Ok(value.and_then(|value| value.as_str().map(str::to_owned)))
}

/// Answers kept at most.
const KEPT: usize = 512;

/// The records of the current edition and the answers computed from them.
#[derive(Default)]
pub struct Answers {
    records: Mutex<Option<Snapshot>>,
    bodies: Mutex<Bodies>,
}

#[derive(Default)]
struct Bodies {
    edition: i64,
    by_tag: HashMap<String, Arc<Vec<u8>>>,
}

impl Answers {
    /// The records for pooled statistics, of an edition or a later one: read anew only if the edition was raised.
    /// Callers that come meanwhile wait for the one reading, without a connection.
    ///
    /// # Errors
    /// The database refused or is not there.
    pub fn snapshot(&self, pool: &Pool, scope: &Scope, edition: i64) -> Result<Snapshot, Problem> {
        let read = || {
            let mut connection = pool.get().map_err(|error| Problem::database_unavailable(&error))?;
            club(&mut connection, scope).map_err(Problem::from)
        };
        if scope.keeper().is_some() {
            return read();
        }
        let mut records = self.records.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(known) = records.as_ref().filter(|known| known.edition >= edition) {
            return Ok(known.clone());
        }
        let fresh = read()?;
        *records = Some(fresh.clone());
        Ok(fresh)
    }

    /// The bytes of an answer computed before in this edition.
    pub fn body(&self, edition: i64, tag: &str) -> Option<Arc<Vec<u8>>> {
        let bodies = self.bodies.lock().unwrap_or_else(PoisonError::into_inner);
        if bodies.edition == edition { bodies.by_tag.get(tag).cloned() } else { None }
    }

    /// Keeps the bytes of an answer.
    pub fn keep(&self, edition: i64, tag: &str, body: Arc<Vec<u8>>) {
        let mut bodies = self.bodies.lock().unwrap_or_else(PoisonError::into_inner);
        if bodies.edition != edition || bodies.by_tag.len() >= KEPT {
            bodies.by_tag.clear();
            bodies.edition = edition;
        }
        bodies.by_tag.insert(tag.to_owned(), body);
    }
}
