//! The many rows: a member's water tests are read packed, or one by one where no pack of them stands.

use std::collections::{HashMap, HashSet};

use analysis::club::{Placement, Places, Reading, Readings, Specimen, Unpacked};
use analysis::vocabulary::ParameterCode;
use chrono::{NaiveDate, NaiveTime};
use diesel::dsl::exists;
use diesel::pg::PgRowByRowLoadingMode;
use diesel::prelude::*;
use diesel::result::Error;
use migrations::schema::{instrument, keeper, log, reading, reading_pack};
use serde::{Deserialize, Serialize};

use super::load::{Positions, within};
use crate::access::Scope;

/// Of packs that this program makes and reads: another number once it chooses or sorts rows otherwise.
const FORMAT: i32 = 1;

/// Of a test in a pack, mostly.
const BYTES: usize = 19;

#[derive(Queryable, Selectable)]
#[diesel(table_name = reading)]
struct Row {
    tank_id: i64,
    parameter: String,
    taken_on: NaiveDate,
    taken_time: Option<NaiveTime>,
    ordinal: i32,
    value: Option<f64>,
    lower: Option<f64>,
    upper: Option<f64>,
    qualifier: String,
    flags: Vec<String>,
    instrument_id: Option<i64>,
    specimen_id: Option<i64>,
    log_id: Option<i64>,
}

/// What an instrument says about every value it showed.
#[derive(Clone, Copy)]
struct Instrument {
    step: Option<f64>,
    limit: Option<f64>,
}

/// A light measured at a coral's spot.
#[derive(Debug, PartialEq, Serialize, Deserialize)]
struct Spot {
    specimen_id: i64,
    on: NaiveDate,
    par: f64,
}

/// A test with what it is sorted by.
struct Sorted {
    tank_id: i64,
    log_id: Option<i64>,
    time: Option<NaiveTime>,
    ordinal: i32,
    reading: Reading,
}

/// What the numbers in a pack mean.
#[derive(Debug, PartialEq, Serialize, Deserialize)]
struct Refers {
    tanks: Vec<i64>,
    /// `None` = single edits.
    logs: Vec<Option<i64>>,
    spots: Vec<Spot>,
}

/// A member's water tests.
struct Pack {
    refers: Refers,
    readings: Vec<u8>,
}

impl Pack {
    /// From the rows.
    fn of(connection: &mut PgConnection, keeper_id: i64) -> QueryResult<Pack> {
        let instruments: HashMap<i64, Instrument> = instrument::table
            .filter(instrument::keeper_id.eq(keeper_id))
            .select((instrument::id, instrument::step, instrument::limit_value))
            .load::<(i64, Option<f64>, Option<f64>)>(connection)?
            .into_iter()
            .map(|(id, step, limit)| (id, Instrument { step, limit }))
            .collect();
        let mut codes: HashMap<String, Option<ParameterCode>> = HashMap::new();
        let mut spots = Vec::new();
        let mut sorted: Vec<Sorted> = Vec::new();
        let rows = reading::table
            .filter(reading::keeper_id.eq(keeper_id))
            .select(Row::as_select())
            .load_iter::<Row, PgRowByRowLoadingMode>(connection)?;
        for row in rows {
            let row = row?;
            let code = *codes.entry(row.parameter).or_insert_with_key(|code| ParameterCode::parse(code));
            let Some(parameter) = code else { continue };
            // Values on a scale of the keeper's own are kept, and compared with nobody's.
            if row.flags.iter().any(|flag| flag == "own_scale") {
                continue;
            }
            if let Some(specimen_id) = row.specimen_id {
                if let Some(par) = row.value.filter(|_| parameter.as_str() == "par") {
                    spots.push(Spot { specimen_id, on: row.taken_on, par });
                }
                continue;
            }
            let instrument = row.instrument_id.and_then(|id| instruments.get(&id));
            sorted.push(Sorted {
                tank_id: row.tank_id,
                log_id: row.log_id,
                time: row.taken_time,
                ordinal: row.ordinal,
                reading: Reading {
                    tank: 0,
                    parameter,
                    on: row.taken_on,
                    value: row.value,
                    lower: row.lower.unwrap_or(0.0),
                    upper: row.upper.unwrap_or(f64::INFINITY),
                    exact: row.qualifier == "=",
                    zero_reported: row.flags.iter().any(|flag| flag == "zero_reported"),
                    limit: instrument.and_then(|instrument| instrument.limit),
                    step: instrument.and_then(|instrument| instrument.step),
                    log: 0,
                },
            });
        }
        let mut tanks: Vec<i64> = sorted.iter().map(|of| of.tank_id).collect();
        tanks.sort_unstable();
        tanks.dedup();
        let place_of_tank: HashMap<i64, u32> = tanks.iter().copied().zip(0..).collect();
        let mut names: Vec<(String, i64)> =
            log::table.filter(log::keeper_id.eq(keeper_id)).select((log::name, log::id)).load(connection)?;
        names.sort();
        let used: HashSet<Option<i64>> = sorted.iter().map(|of| of.log_id).collect();
        // Single edits are a log of their own, after all files.
        let logs = names.into_iter().map(|(_, id)| Some(id)).chain([None]);
        let logs: Vec<Option<i64>> = logs.filter(|id| used.contains(id)).collect();
        let place_of_log: HashMap<Option<i64>, u32> = logs.iter().copied().zip(0..).collect();
        for Sorted { tank_id, log_id, reading, .. } in &mut sorted {
            let places = (place_of_tank.get(tank_id), place_of_log.get(log_id));
            let (Some(&tank), Some(&log)) = places else {
                return Err(Error::DeserializationError("a test of a log that is not its keeper's".into()));
            };
            (reading.tank, reading.log) = (tank, log);
        }
        sorted.sort_by(|of_a, of_b| {
            let (a, b) = (&of_a.reading, &of_b.reading);
            (a.tank, a.parameter, a.on, of_a.time, a.log, of_a.ordinal)
                .cmp(&(b.tank, b.parameter, b.on, of_b.time, b.log, of_b.ordinal))
                .then(a.lower.total_cmp(&b.lower))
                .then(a.upper.total_cmp(&b.upper))
        });
        spots.sort_by(|a: &Spot, b| (a.specimen_id, a.on).cmp(&(b.specimen_id, b.on)).then(a.par.total_cmp(&b.par)));
        let readings = Readings::from(sorted.into_iter().map(|of| of.reading).collect::<Vec<_>>());
        let readings =
            readings.pack().ok_or_else(|| Error::SerializationError("a member with too many instruments".into()))?;
        Ok(Pack { refers: Refers { tanks, logs, spots }, readings })
    }

    /// Adds its tests under the club's positions.
    fn add(
        &self,
        keeper_id: i64,
        positions: &Positions,
        to: &mut Unpacked,
        spots: &mut Vec<(u32, NaiveDate, f64)>,
    ) -> QueryResult<()> {
        let strange = || Error::DeserializationError("a pack of tests names what the club does not have".into());
        let tanks = self.refers.tanks.iter().map(|id| positions.tanks.get(id).copied());
        let tanks: Vec<u32> = tanks.collect::<Option<_>>().ok_or_else(strange)?;
        // Logs of single edits are numbered after all files, by keeper.
        let own = positions.keepers.get(&keeper_id).copied().unwrap_or(0);
        let of_edits = u32::try_from(positions.logs.len()).unwrap_or(u32::MAX).saturating_add(own);
        let logs = self.refers.logs.iter().map(|id| id.map_or(Some(of_edits), |id| positions.logs.get(&id).copied()));
        let logs: Vec<u32> = logs.collect::<Option<_>>().ok_or_else(strange)?;
        to.add(&self.readings, Places::Of(&tanks, &logs))
            .map_err(|error| Error::DeserializationError(Box::new(error)))?;
        let placed = self.refers.spots.iter().filter_map(|spot| {
            positions.specimens.get(&spot.specimen_id).map(|&position| (position, spot.on, spot.par))
        });
        spots.extend(placed);
        Ok(())
    }
}

/// Reads the water tests that a scope reaches, sorted by tank, parameter and day. Tests of one coral's spot
/// become placements of that coral.
pub(super) fn load(
    connection: &mut PgConnection,
    scope: &Scope,
    positions: &Positions,
    specimens: &mut [Specimen],
) -> QueryResult<Readings> {
    let mut packs: HashMap<i64, (serde_json::Value, Vec<u8>)> = within!(reading_pack, scope)
        .filter(reading_pack::format.eq(FORMAT))
        .select((reading_pack::keeper_id, reading_pack::refers, reading_pack::readings))
        .load::<(i64, serde_json::Value, Vec<u8>)>(connection)?
        .into_iter()
        .map(|(id, refers, readings)| (id, (refers, readings)))
        .collect();
    let mut all = Unpacked::default();
    all.reserve(packs.values().map(|(_, readings)| readings.len() / BYTES).sum());
    let mut spots: Vec<(u32, NaiveDate, f64)> = Vec::new();
    // In the order in which they stay: there is little left to sort.
    let mut keepers: Vec<(u32, i64)> = positions.keepers.iter().map(|(id, position)| (*position, *id)).collect();
    keepers.sort_unstable();
    for (_, keeper_id) in keepers {
        if let Some((refers, readings)) = packs.remove(&keeper_id) {
            let pack = serde_json::from_value(refers).map(|refers| Pack { refers, readings });
            match pack.map(|pack| pack.add(keeper_id, positions, &mut all, &mut spots)) {
                Ok(Ok(())) => continue,
                // The rows are there; `strandline check` says of which member.
                _ => tracing::error!("packed tests of a member cannot be read: run `strandline check --repair`"),
            }
        }
        Pack::of(connection, keeper_id)?.add(keeper_id, positions, &mut all, &mut spots)?;
    }
    place(spots, specimens);
    Ok(all.readings())
}

/// Members without a pack of this format who have tests.
fn unpacked(connection: &mut PgConnection) -> QueryResult<Vec<i64>> {
    let packs = reading_pack::table.filter(reading_pack::keeper_id.eq(keeper::id).and(reading_pack::format.eq(FORMAT)));
    let tests = reading::table.filter(reading::keeper_id.eq(keeper::id));
    keeper::table
        .filter(diesel::dsl::not(exists(packs)).and(exists(tests)))
        .order(keeper::id)
        .select(keeper::id)
        .load(connection)
}

/// Packs the tests of members of whom no pack stands, until told to stop; returns of how many.
///
/// # Errors
/// The database refused.
pub fn pack_those_changed(connection: &mut PgConnection, stopped: &dyn Fn() -> bool) -> QueryResult<usize> {
    let mut packed = 0;
    for keeper_id in unpacked(connection)? {
        if stopped() {
            break;
        }
        packed += connection.transaction(|connection| {
            // Whoever changes tests holds this row: no pack of older tests comes after the change. One that is held will
            // have no pack when it is let go, and is packed the next time.
            let free: Option<i64> = keeper::table
                .find(keeper_id)
                .select(keeper::id)
                .for_no_key_update()
                .skip_locked()
                .first(connection)
                .optional()?;
            if free.is_none() {
                return Ok(0);
            }
            let Pack { refers, readings } = Pack::of(connection, keeper_id)?;
            let refers = serde_json::to_value(refers).map_err(|error| Error::SerializationError(error.into()))?;
            let row =
                (reading_pack::format.eq(FORMAT), reading_pack::refers.eq(refers), reading_pack::readings.eq(readings));
            diesel::insert_into(reading_pack::table)
                .values((reading_pack::keeper_id.eq(keeper_id), row.clone()))
                .on_conflict(reading_pack::keeper_id)
                .do_update()
                .set(row)
                .execute(connection)
        })?;
    }
    Ok(packed)
}

/// How many packs stand, and members whose pack is not that of the rows.
///
/// # Errors
/// The database refused.
pub fn packs_not_of_rows(connection: &mut PgConnection) -> QueryResult<(usize, Vec<i64>)> {
    let ids: Vec<i64> = reading_pack::table
        .filter(reading_pack::format.eq(FORMAT))
        .order(reading_pack::keeper_id)
        .select(reading_pack::keeper_id)
        .load(connection)?;
    let mut wrong = Vec::new();
    for &id in &ids {
        let same = connection.build_transaction().repeatable_read().read_only().run(|connection| {
            let kept: Option<(serde_json::Value, Vec<u8>)> = reading_pack::table
                .find(id)
                .select((reading_pack::refers, reading_pack::readings))
                .first(connection)
                .optional()?;
            let Some((refers, readings)) = kept else { return Ok(true) };
            let Pack { refers: own, readings: of_rows } = Pack::of(connection, id)?;
            Ok::<_, Error>(
                readings == of_rows && serde_json::from_value(refers).is_ok_and(|refers: Refers| refers == own),
            )
        })?;
        if !same {
            wrong.push(id);
        }
    }
    Ok((ids.len(), wrong))
}

/// A light measured at a coral's spot holds from that day; what else was known of the spot goes on.
fn place(mut spots: Vec<(u32, NaiveDate, f64)>, specimens: &mut [Specimen]) {
    spots.sort_by(|a, b| (a.0, a.1).cmp(&(b.0, b.1)).then(a.2.total_cmp(&b.2)));
    for (position, from, par) in spots {
        let Some(specimen) = specimens.get_mut(position as usize) else { continue };
        let before = specimen.placements.iter().rposition(|placement| placement.from <= from);
        let known = before.and_then(|at| specimen.placements.get(at));
        let (flow, stinging_within_reach) =
            known.map_or((None, None), |placement| (placement.flow.clone(), placement.stinging_within_reach));
        let placement = Placement { from, par: Some(par), flow, stinging_within_reach };
        specimen.placements.insert(before.map_or(0, |at| at + 1), placement);
    }
}
