//! Keepers, and the roll call: "all seen alive today, except …".

use std::collections::BTreeMap;

use analysis::vocabulary::{CauseGroup, Fate};
use chrono::NaiveDate;
use diesel::pg::PgConnection;
use diesel::prelude::*;
use migrations::schema::{ending, keeper, specimen, stay, tank};

use super::{LoadError, commit};
use crate::context::About;
use crate::record::{Ending, Place, Record, Sighting};

/// The keeper of a handle, whatever its case.
///
/// # Errors
/// The database's.
pub fn find_keeper(connection: &mut PgConnection, handle: &str) -> Result<Option<i64>, LoadError> {
    diesel::define_sql_function! {
        /// Lower case, as the unique index has it.
        fn lower(text: diesel::sql_types::Text) -> diesel::sql_types::Text;
    }
    let handle = handle.trim();
    Ok(keeper::table.filter(lower(keeper::handle).eq(lower(handle))).select(keeper::id).first(connection).optional()?)
}

/// The keeper of a handle, made if there is none.
///
/// # Errors
/// [`LoadError::Rejected`] for an empty or overlong handle; the database's.
pub fn ensure_keeper(connection: &mut PgConnection, handle: &str) -> Result<i64, LoadError> {
    if let Some(found) = find_keeper(connection, handle)? {
        return Ok(found);
    }
    let made: Option<i64> = diesel::insert_into(keeper::table)
        .values(keeper::handle.eq(handle.trim()))
        .on_conflict_do_nothing()
        .returning(keeper::id)
        .get_result(connection)
        .optional()?;
    // Another connection may have made it between the two statements.
    match made {
        Some(id) => Ok(id),
        None => find_keeper(connection, handle)?.ok_or_else(|| LoadError::NoKeeper(handle.to_owned())),
    }
}

/// Locks the keeper's row until the transaction ends: commits of one keeper take turns. Its key stays readable, so
/// that files are received meanwhile.
pub(super) fn lock_keeper(connection: &mut PgConnection, keeper_id: i64) -> Result<(), LoadError> {
    let found: Option<i64> =
        keeper::table.find(keeper_id).select(keeper::id).for_no_key_update().first(connection).optional()?;
    found.map(|_| ()).ok_or_else(|| LoadError::NoKeeper(keeper_id.to_string()))
}

/// A specimen that was not simply alive.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RollCallException {
    /// The specimen's number.
    pub specimen_id: i64,
    /// `open`, `off`, `poor`, `dead`, `left`, `not_found`, or `not_looked` (nothing is recorded).
    pub status: String,
}

const STATUSES: [&str; 8] = ["alive", "open", "off", "poor", "dead", "left", "not_found", "not_looked"];

/// See [`super::roll_call`].
pub fn roll_call(
    connection: &mut PgConnection,
    keeper_id: i64,
    on: NaiveDate,
    tank_id: Option<i64>,
    except: &[RollCallException],
    by: &str,
) -> Result<i64, LoadError> {
    connection.transaction(|connection| {
        lock_keeper(connection, keeper_id)?;
        let living = living(connection, keeper_id, on, tank_id)?;
        let mut statuses: BTreeMap<i64, &str> = living.keys().map(|id| (*id, "alive")).collect();
        for exception in except {
            let status = STATUSES.iter().find(|status| **status == exception.status).ok_or_else(|| {
                let options = STATUSES.join(", ");
                LoadError::BadRollCall(format!("'{}' is no status; choose from {options}", exception.status))
            })?;
            let place = statuses.get_mut(&exception.specimen_id).ok_or_else(|| {
                let place = if tank_id.is_some() { "in this tank" } else { "with this keeper" };
                LoadError::BadRollCall(format!(
                    "specimen {} is not living {place} on {on}; list the specimens for their numbers",
                    exception.specimen_id
                ))
            })?;
            *place = status;
        }
        let records: Vec<Record> =
            statuses.iter().filter_map(|(id, status)| said(living.get(id)?, status, on)).collect();
        let about = About { as_of: Some(on), first_day: Some(on), last_day: Some(on), ..About::default() };
        commit::at_once(connection, keeper_id, "roll_call", "roll call", &records, &about, by)
    })
}

/// Labels of specimens got by the day, not ended, and in the tank if one is named.
fn living(
    connection: &mut PgConnection,
    keeper_id: i64,
    on: NaiveDate,
    tank_id: Option<i64>,
) -> Result<BTreeMap<i64, String>, LoadError> {
    let ended = ending::table.filter(ending::keeper_id.eq(keeper_id)).select(ending::specimen_id);
    let mut living: BTreeMap<i64, String> = specimen::table
        .filter(specimen::keeper_id.eq(keeper_id))
        .filter(specimen::id.ne_all(ended))
        .filter(specimen::acquired_earliest.is_null().or(specimen::acquired_earliest.le(on)))
        .select((specimen::id, specimen::label))
        .load::<(i64, String)>(connection)?
        .into_iter()
        .collect();
    if let Some(tank_id) = tank_id {
        let own: Option<i64> = tank::table
            .find(tank_id)
            .filter(tank::keeper_id.eq(keeper_id))
            .select(tank::id)
            .first(connection)
            .optional()?;
        own.ok_or_else(|| {
            LoadError::BadRollCall(format!("tank {tank_id} is not this keeper's; list the tanks for their numbers"))
        })?;
        let there: Vec<i64> = stay::table
            .filter(stay::keeper_id.eq(keeper_id).and(stay::tank_id.eq(tank_id)))
            .filter(stay::from_day.is_null().or(stay::from_day.le(on)))
            .filter(stay::to_day.is_null().or(stay::to_day.gt(on)))
            .select(stay::specimen_id)
            .load(connection)?;
        living.retain(|id, _| there.contains(id));
    }
    Ok(living)
}

/// The record of one specimen's status; none if nobody looked.
fn said(label: &str, status: &str, on: NaiveDate) -> Option<Record> {
    let look = |status: &str, condition: Option<i16>| {
        Some(Record::Sighting(Sighting {
            specimen: label.to_owned(),
            on,
            status: status.to_owned(),
            source: "roll_call".to_owned(),
            condition,
            polyp_extension: None,
            tissue_cover: None,
            colour: None,
            remark: None,
            place: Place::default(),
        }))
    };
    let end = |fate: Fate, earliest: Option<NaiveDate>| {
        Some(Record::Ending(Ending {
            specimen: label.to_owned(),
            fate: Some(fate),
            cause_group: CauseGroup::Unknown,
            cause: None,
            other_causes: Vec::new(),
            manner: Vec::new(),
            leaving: None,
            condition: "not_said".to_owned(),
            earliest,
            latest: Some(on),
            written_day: false,
            date_held: false,
            written: status.to_owned(),
            place: Place::default(),
        }))
    };
    match status {
        "alive" => look("alive", None),
        "open" => look("open", Some(4)),
        "off" => look("off", Some(3)),
        "poor" => look("poor", Some(2)),
        // Found so between the last look and this one.
        "dead" => end(Fate::Died, None),
        "not_found" => end(Fate::Missing, None),
        "left" => end(Fate::Left, Some(on)),
        _ => None,
    }
}
