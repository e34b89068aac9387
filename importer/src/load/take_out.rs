//! Single facts taken out: an edit like others, so that an undo brings them back.

use diesel::pg::PgConnection;
use diesel::prelude::*;
use diesel::sql_types::{BigInt, Text};

use super::{LoadError, commit, store};
use crate::context::About;
use crate::fold::key::Kind;
use crate::fold::{self, LiveUpload};
use crate::record::Record;

#[derive(QueryableByName)]
struct Named {
    #[diesel(sql_type = Text)]
    key: String,
}

/// See [`super::statements`].
pub fn statements(
    connection: &mut PgConnection,
    keeper_id: i64,
    kind: Kind,
    id: i64,
) -> Result<Vec<Record>, LoadError> {
    let none = || LoadError::NoFact { kind: kind.as_str(), id };
    let row: Option<Named> =
        diesel::sql_query(format!("SELECT key FROM {} WHERE keeper_id = $1 AND id = $2", kind.as_str()))
            .bind::<BigInt, _>(keeper_id)
            .bind::<BigInt, _>(id)
            .get_result(connection)
            .optional()?;
    let key = row.ok_or_else(none)?.key;
    let live = store::live(connection, keeper_id)?;
    let uploads: Vec<LiveUpload<'_>> = live.iter().map(store::Live::borrow).collect();
    let preferences = store::preferences(connection, keeper_id, None)?;
    let stated = fold::statements(&uploads, &preferences, kind, &key);
    if stated.is_empty() { Err(none()) } else { Ok(stated) }
}

/// See [`super::take_out`].
pub fn take_out(connection: &mut PgConnection, keeper_id: i64, facts: &[Record], by: &str) -> Result<i64, LoadError> {
    let parent = facts.iter().map(Kind::of).find(|kind| matches!(kind, Kind::Tank | Kind::Instrument | Kind::Specimen));
    if let Some(kind) = parent {
        return Err(LoadError::NotAlone { kind: kind.as_str() });
    }
    let about = About { takes_out: true, ..About::default() };
    commit::at_once(connection, keeper_id, "edit", "taken out", facts, &about, by)
}
