//! Tanks, instruments, water tests, habits and happenings.

use std::collections::{BTreeMap, BTreeSet};

use super::{numbered, of, source, statements, without_place};
use crate::fold::between::Facts;
use crate::fold::key::{Kind, folded, tanks_of};
use crate::fold::row::{EventRow, IncidentRow, InstrumentRow, ReadingRow, RoutineRow, TankAliasRow, TankRow};
use crate::fold::{Current, Missing, Rows, Source, Unplaced};
use crate::record::{Record, Tank};

/// Tanks as described, and tanks that are only named.
pub fn tanks(facts: &Facts<'_>, named: &BTreeSet<String>, current: &mut Current) {
    for (key, entries) in of(facts, Kind::Tank) {
        let whole = statements!(entries, Tank).cloned().reduce(|whole, next| complete(whole, &next));
        let row = whole.map(|tank| TankRow {
            name: tank.name.trim().to_owned(),
            litres: tank.litres,
            started: tank.started,
            closed: tank.closed,
            closed_why: tank.closed_why,
        });
        if let Some(row) = row {
            current.tanks.insert(key.clone(), row);
            current.written_at(Kind::Tank, key, entries);
        }
    }
    let mut spellings: BTreeMap<String, BTreeSet<String>> = BTreeMap::new();
    let entries = facts.values().flat_map(BTreeMap::values).flatten();
    let of_facts = entries.flat_map(|entry| &entry.sources).filter_map(|stated| tanks_of(stated.record));
    for name in of_facts.chain(named.iter().map(String::as_str)) {
        let key = folded(name);
        if !key.is_empty() {
            spellings.entry(key).or_default().insert(name.trim().to_owned());
        }
    }
    for (key, names) in spellings {
        // Without a description, the first spelling in the order of letters stands: it does not depend on time.
        let first = names.first().cloned().unwrap_or_default();
        let tank = current.tanks.entry(key.clone()).or_insert(TankRow {
            name: first,
            litres: None,
            started: None,
            closed: None,
            closed_why: None,
        });
        for alias in names {
            if alias != tank.name {
                current.tank_aliases.insert(format!("{key}|{alias}"), TankAliasRow { tank: key.clone(), alias });
            }
        }
    }
}

/// An earlier statement completed by a later one; the first spelling of the name stands.
pub fn complete(earlier: Tank, later: &Tank) -> Tank {
    Tank {
        litres: later.litres.or(earlier.litres),
        started: later.started.or(earlier.started),
        closed: later.closed.or(earlier.closed),
        closed_why: later.closed_why.clone().or(earlier.closed_why),
        ..earlier
    }
}

/// Kits and probes: of several statements the last stands.
pub fn instruments(facts: &Facts<'_>, current: &mut Current) {
    for (key, entries) in of(facts, Kind::Instrument) {
        let Some(kit) = statements!(entries, Instrument).last() else {
            continue;
        };
        current.instruments.insert(
            key.clone(),
            InstrumentRow {
                tank: kit.tank.as_deref().map(folded),
                parameter: kit.parameter.as_str(),
                name: kit.name.clone(),
                step: kit.step,
                limit_value: kit.limit,
                reference: kit.reference.clone(),
                basis: kit.basis.clone(),
                calibrated_on: kit.calibrated_on,
                from_day: kit.from,
            },
        );
        current.written_at(Kind::Instrument, key, entries);
    }
}

/// Rows of water tests, and what goes with them.
#[derive(Default)]
pub struct Tests {
    /// By key.
    pub rows: Rows<ReadingRow>,
    /// Where each is written besides the place in its row.
    pub sources: BTreeSet<Source>,
    /// Tests that wait for something to be about.
    pub unplaced: BTreeSet<Unplaced>,
}

/// Water tests, each with its tank and the instrument in use that day.
pub fn readings(facts: &Facts<'_>, current: &Current) -> Tests {
    let mut tests = Tests::default();
    for (slot, entries) in of(facts, Kind::Reading) {
        for (at, entry) in entries.iter().enumerate() {
            let Record::Reading(reading) = entry.record() else {
                continue;
            };
            let key = numbered(slot, at);
            let only = std::slice::from_ref(entry);
            let specimen = reading.specimen.as_deref().map(folded);
            if specimen.as_ref().is_some_and(|specimen| !current.specimens.contains_key(specimen)) {
                tests.unplaced.extend(without_place(Kind::Reading, &key, only, Missing::Specimen));
                continue;
            }
            let stands_in = || specimen.as_deref().and_then(|specimen| tank_of(current, specimen, reading.taken.on));
            let Some(tank) = reading.tank.as_deref().map(folded).filter(|tank| !tank.is_empty()).or_else(stands_in)
            else {
                tests.unplaced.extend(without_place(Kind::Reading, &key, only, Missing::Tank));
                continue;
            };
            let mut flags = reading.flags.clone();
            if entry.replicate && !flags.iter().any(|flag| flag == "replicate") {
                flags.push("replicate".to_owned());
            }
            let stated = &entry.sources[0];
            let place = stated.record.place();
            let row = ReadingRow {
                instrument: instrument_of(current, &tank, reading.parameter.as_str(), reading.taken.on),
                tank,
                parameter: reading.parameter.as_str(),
                taken_on: reading.taken.on,
                taken_time: reading.taken.time,
                utc_offset_minutes: reading.taken.offset_minutes,
                ordinal: u32::try_from(at + 1).unwrap_or(u32::MAX),
                value: reading.value,
                lower: reading.lower,
                upper: reading.upper,
                qualifier: reading.qualifier,
                flags,
                disputed: entry.disputed,
                written: reading.written.clone(),
                written_unit: reading.written_unit.clone(),
                specimen,
                log_id: entry.log,
                upload_id: stated.upload,
                sheet: place.sheet.clone(),
                row_number: place.row,
                column_number: place.column,
            };
            tests.sources.extend(entry.sources[1..].iter().map(|stated| source(Kind::Reading, &key, stated)));
            tests.rows.insert(key, row);
        }
    }
    tests
}

/// The tank a specimen stands in on a day.
fn tank_of(current: &Current, specimen: &str, on: chrono::NaiveDate) -> Option<String> {
    current
        .stays
        .values()
        .filter(|stay| stay.specimen == specimen)
        .find(|stay| stay.from_day.is_none_or(|from| from <= on) && stay.to_day.is_none_or(|to| on < to))
        .map(|stay| stay.tank.clone())
}

/// The latest instrument in use, the tank's own before the keeper's for all tanks.
fn instrument_of(current: &Current, tank: &str, parameter: &str, on: chrono::NaiveDate) -> Option<String> {
    current
        .instruments
        .iter()
        .filter(|(_, kit)| kit.parameter == parameter && kit.from_day.is_none_or(|from| from <= on))
        .filter(|(_, kit)| kit.tank.as_deref().is_none_or(|own| own == tank))
        .max_by_key(|(key, kit)| (kit.tank.is_some(), kit.from_day, std::cmp::Reverse(*key)))
        .map(|(key, _)| key.clone())
}

/// Where a habit or happening belongs: a tank or a specimen that exists.
struct Whereabouts {
    tank: Option<String>,
    specimen: Option<String>,
}

fn whereabouts(current: &Current, tank: Option<&str>, specimen: Option<&str>) -> Result<Whereabouts, Missing> {
    let tank = tank.map(folded).filter(|tank| !tank.is_empty());
    let specimen = specimen.map(folded);
    match &specimen {
        Some(specimen) if !current.specimens.contains_key(specimen) => Err(Missing::Specimen),
        None if tank.is_none() => Err(Missing::Tank),
        _ => Ok(Whereabouts { tank, specimen }),
    }
}

/// Habits, with the last day on which a list still held them.
pub fn routines(facts: &Facts<'_>, current: &mut Current) {
    for (slot, entries) in of(facts, Kind::Routine) {
        for (at, entry) in entries.iter().enumerate() {
            let Record::Routine(habit) = entry.record() else {
                continue;
            };
            let (key, only) = (numbered(slot, at), std::slice::from_ref(entry));
            match whereabouts(current, habit.tank.as_deref(), habit.specimen.as_deref()) {
                Err(missing) => current.without_place(Kind::Routine, &key, only, missing),
                Ok(Whereabouts { tank, specimen }) => {
                    let confirmed = entry.sources.iter().filter_map(|stated| stated.confirmed).max();
                    let row = RoutineRow {
                        tank,
                        specimen,
                        kind: habit.routine.clone(),
                        rate: habit.rate.clone(),
                        per_week: habit.per_week,
                        from_day: habit.from,
                        to_day: habit.to,
                        confirmed_on: confirmed.unwrap_or(habit.from).max(habit.from),
                    };
                    current.written_at(Kind::Routine, &key, only);
                    current.routines.insert(key, row);
                }
            }
        }
    }
}

/// Deeds.
pub fn events(facts: &Facts<'_>, current: &mut Current) {
    for (slot, entries) in of(facts, Kind::Event) {
        for (at, entry) in entries.iter().enumerate() {
            let Record::Event(event) = entry.record() else {
                continue;
            };
            let (key, only) = (numbered(slot, at), std::slice::from_ref(entry));
            match whereabouts(current, event.tank.as_deref(), event.specimen.as_deref()) {
                Err(missing) => current.without_place(Kind::Event, &key, only, missing),
                Ok(Whereabouts { tank, specimen }) => {
                    let row = EventRow {
                        tank,
                        specimen,
                        kind: event.event.clone(),
                        on_day: event.taken.on,
                        on_time: event.taken.time,
                        utc_offset_minutes: event.taken.offset_minutes,
                        amount: event.amount,
                        unit: event.unit.clone(),
                        written: event.written.clone(),
                    };
                    current.written_at(Kind::Event, &key, only);
                    current.events.insert(key, row);
                }
            }
        }
    }
}

/// Happenings.
pub fn incidents(facts: &Facts<'_>, current: &mut Current) {
    for (slot, entries) in of(facts, Kind::Incident) {
        for (at, entry) in entries.iter().enumerate() {
            let Record::Incident(incident) = entry.record() else {
                continue;
            };
            let (key, only) = (numbered(slot, at), std::slice::from_ref(entry));
            match whereabouts(current, incident.tank.as_deref(), incident.specimen.as_deref()) {
                Err(missing) => current.without_place(Kind::Incident, &key, only, missing),
                Ok(Whereabouts { tank, specimen }) => {
                    let row = IncidentRow {
                        tank,
                        specimen,
                        kind: incident.incident.clone(),
                        from_day: incident.from,
                        to_day: incident.to,
                        written: incident.written.clone(),
                    };
                    current.written_at(Kind::Incident, &key, only);
                    current.incidents.insert(key, row);
                }
            }
        }
    }
}
