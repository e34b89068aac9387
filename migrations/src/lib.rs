//! What the database holds: the SQL that makes it and its mirror for the query builder.
//!
//! [`migrate`] brings a database up to this program's schema, [`synchronise`] fills the small tables of codes
//! from data handed in by the caller. Never a query on records, never a rule of the trade.

pub mod schema; // printed from a migrated database, never edited; a test prints it again and compares
mod synchronise; // codes of the compiled catalogue → the tables that foreign keys point to

pub use synchronise::{FindingKindRow, ParameterRow, TaxonRow, Vocabulary, synchronise};

use diesel::pg::PgConnection;
use diesel::prelude::*;
use diesel_migrations::{EmbeddedMigrations, MigrationHarness, embed_migrations};

const STEPS: EmbeddedMigrations = embed_migrations!("sql");

/// Lock taken while the schema or the vocabulary changes, so that two servers starting together take turns.
const LOCK: i64 = 0x5354_5241_4e44;

/// What can go wrong with the database's schema; each says what, where and what to do.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum MigrationError {
    /// The database was made or changed by a later program.
    #[error(
        "the schema is newer than this program, step {step}: start the newer program, or restore a backup made by this one"
    )]
    FutureVersion {
        /// Latest step in the database that this program does not know.
        step: String,
    },
    /// A step failed; its transaction was rolled back.
    #[error(
        "a step of the schema failed, {message}: the database stands as before this step; give the role the right to create tables, or start from an empty database"
    )]
    Step {
        /// What the database said.
        message: String,
    },
    /// The database refused a statement.
    #[error("the database refused a statement, {0}: check that it is reachable and that the role owns the schema")]
    Database(#[from] diesel::result::Error),
}

/// How far a database's schema is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Level {
    /// Steps taken.
    pub applied: Vec<String>,
    /// Steps of this program that are still to be taken.
    pub pending: Vec<String>,
    /// Steps in the database that this program does not know.
    pub unknown: Vec<String>,
}

/// Reads how far the schema is, changing nothing but the (empty) list of steps of a new database.
///
/// # Errors
/// [`MigrationError`] when the database does not answer.
pub fn level(connection: &mut PgConnection) -> Result<Level, MigrationError> {
    let applied: Vec<String> =
        connection.applied_migrations().map_err(step)?.iter().map(ToString::to_string).rev().collect();
    let pending: Vec<String> = connection
        .pending_migrations(STEPS)
        .map_err(step)?
        .iter()
        .map(|migration| migration.name().version().to_string())
        .collect();
    let own: std::collections::BTreeSet<String> = steps()?.into_iter().collect();
    let unknown = applied.iter().filter(|version| !own.contains(*version)).cloned().collect();
    Ok(Level { applied, pending, unknown })
}

/// Takes all missing steps and returns them. Safe to call from several processes at once.
///
/// # Errors
/// [`MigrationError::FutureVersion`] before anything is changed, if a later program has been here;
/// [`MigrationError::Step`] if a step fails.
pub fn migrate(connection: &mut PgConnection) -> Result<Vec<String>, MigrationError> {
    under_lock(connection, |connection| {
        let level = level(connection)?;
        if let Some(step) = level.unknown.into_iter().max() {
            return Err(MigrationError::FutureVersion { step });
        }
        let taken = connection.run_pending_migrations(STEPS).map_err(step)?;
        Ok(taken.iter().map(ToString::to_string).collect())
    })
}

/// Takes all steps back; the database is empty afterwards, all records gone.
///
/// # Errors
/// As [`migrate`].
pub fn revert_all(connection: &mut PgConnection) -> Result<Vec<String>, MigrationError> {
    under_lock(connection, |connection| {
        let level = level(connection)?;
        if let Some(step) = level.unknown.into_iter().max() {
            return Err(MigrationError::FutureVersion { step });
        }
        let taken = connection.revert_all_migrations(STEPS).map_err(step)?;
        Ok(taken.iter().map(ToString::to_string).collect())
    })
}

fn steps() -> Result<Vec<String>, MigrationError> {
    use diesel::migration::MigrationSource;
    let steps = MigrationSource::<diesel::pg::Pg>::migrations(&STEPS).map_err(step)?;
    Ok(steps.iter().map(|migration| migration.name().version().to_string()).collect())
}

fn step(error: Box<dyn std::error::Error + Send + Sync>) -> MigrationError {
    MigrationError::Step { message: error.to_string() }
}

/// Runs `work` under the session lock; the lock goes with the connection if the process dies.
fn under_lock<T>(
    connection: &mut PgConnection,
    work: impl FnOnce(&mut PgConnection) -> Result<T, MigrationError>,
) -> Result<T, MigrationError> {
    diesel::sql_query("SELECT pg_advisory_lock($1)").bind::<diesel::sql_types::BigInt, _>(LOCK).execute(connection)?;
    let result = work(connection);
    let unlocked = diesel::sql_query("SELECT pg_advisory_unlock($1)")
        .bind::<diesel::sql_types::BigInt, _>(LOCK)
        .execute(connection);
    let value = result?;
    unlocked?;
    Ok(value)
}
