//! Bytes → a received upload.

use diesel::pg::PgConnection;
use diesel::prelude::*;
use migrations::schema::{keeper, upload, upload_file};
use sha2::{Digest, Sha256};

use super::LoadError;
use super::store::{State, json, without_nul};
use crate::saved_layout::SavedLayout;

/// A file as it comes in.
#[derive(Debug, Clone, Default)]
pub struct NewUpload<'a> {
    /// Whose records.
    pub keeper_id: i64,
    /// File name as given.
    pub name: &'a str,
    /// Its bytes.
    pub bytes: &'a [u8],
    /// The tank named beside the file.
    pub tank: Option<&'a str>,
    /// The log named beside the file; one of this name is made if the keeper has none.
    pub log: Option<&'a str>,
    /// The day named beside the file on which its register was true.
    pub as_of: Option<chrono::NaiveDate>,
    /// The layout that it is to be read by.
    pub layout: Option<&'a SavedLayout>,
    /// Who sends it, for the audit.
    pub received_by: &'a str,
    /// Token it comes with.
    pub token_id: Option<i64>,
    /// Account it comes from.
    pub account_id: Option<i64>,
    /// The sender's own key of the request.
    pub idempotency_key: Option<&'a str>,
}

/// What became of a file that came in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Received {
    /// The upload to go on with: the new one, or the one that holds these bytes already.
    pub upload_id: i64,
    /// The same bytes are live for this keeper: nothing new.
    pub already: Option<i64>,
}

/// Stores the bytes as they came. Waits for no commit of the keeper: the unique index decides a race.
pub fn receive(connection: &mut PgConnection, new: &NewUpload<'_>) -> Result<Received, LoadError> {
    let hash = Sha256::digest(new.bytes).to_vec();
    if let Some(layout) = new.layout {
        // Told at once: a file of another shape is not even stored.
        layout.fits(new.name, new.bytes)?;
    }
    connection.transaction(|connection| {
        let known: Option<i64> =
            keeper::table.find(new.keeper_id).select(keeper::id).for_key_share().first(connection).optional()?;
        known.ok_or_else(|| LoadError::NoKeeper(new.keeper_id.to_string()))?;
        if let Some(live) = live(connection, new.keeper_id, &hash)? {
            return Ok(Received { upload_id: live, already: Some(live) });
        }
        let name = without_nul(new.name.trim());
        let made: Option<i64> = diesel::insert_into(upload::table)
            .values((
                upload::keeper_id.eq(new.keeper_id),
                upload::kind.eq("file"),
                upload::name.eq(if name.is_empty() { "unnamed".into() } else { name }),
                upload::sha256.eq(&hash),
                upload::byte_count.eq(i64::try_from(new.bytes.len()).unwrap_or(i64::MAX)),
                upload::tank_hint.eq(new.tank.map(without_nul)),
                upload::log_hint.eq(new.log.map(without_nul)),
                upload::as_of.eq(new.as_of),
                upload::layout.eq(new.layout.map(|layout| json(layout.document())).transpose()?),
                upload::received_by.eq(without_nul(new.received_by)),
                upload::token_id.eq(new.token_id),
                upload::account_id.eq(new.account_id),
                upload::idempotency_key.eq(new.idempotency_key.map(without_nul)),
            ))
            .on_conflict_do_nothing()
            .returning(upload::id)
            .get_result(connection)
            .optional()?;
        let Some(upload_id) = made else {
            // Somebody was faster, with these bytes or with this key.
            let live = live(connection, new.keeper_id, &hash)?.ok_or_else(|| LoadError::Rejected {
                table: "upload".to_owned(),
                rule: "upload_idempotency".to_owned(),
                message: "another request came with this key".to_owned(),
            })?;
            return Ok(Received { upload_id: live, already: Some(live) });
        };
        diesel::insert_into(upload_file::table)
            .values((upload_file::upload_id.eq(upload_id), upload_file::content.eq(new.bytes)))
            .execute(connection)?;
        Ok(Received { upload_id, already: None })
    })
}

/// The keeper's live upload of these bytes.
fn live(connection: &mut PgConnection, keeper_id: i64, hash: &[u8]) -> Result<Option<i64>, LoadError> {
    let closed = [State::Failed, State::Undone, State::Discarded].map(State::as_str);
    Ok(upload::table
        .filter(upload::keeper_id.eq(keeper_id).and(upload::sha256.eq(hash)))
        .filter(upload::kind.eq("file").and(upload::state.ne_all(closed)))
        .select(upload::id)
        .first(connection)
        .optional()?)
}

/// The keeper's revision: raised by every commit and undo.
pub fn revision(connection: &mut PgConnection, keeper_id: i64) -> Result<i64, LoadError> {
    Ok(keeper::table.find(keeper_id).select(keeper::revision).first(connection)?)
}
