//! The many rows: water tests are read one by one, so that the memory they take is that of the club alone.

use std::collections::HashMap;

use analysis::club::{Placement, Reading, Readings, Specimen};
use analysis::vocabulary::ParameterCode;
use chrono::{NaiveDate, NaiveTime};
use diesel::pg::PgRowByRowLoadingMode;
use diesel::prelude::*;
use migrations::schema::{instrument, reading};

use super::load::{Positions, within};
use crate::access::Scope;

#[derive(Queryable, Selectable)]
#[diesel(table_name = reading)]
struct Row {
    keeper_id: i64,
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

/// Reads the water tests that a scope reaches, sorted by tank, parameter and day. Tests of one coral's spot
/// become placements of that coral.
pub(super) fn load(
    connection: &mut PgConnection,
    scope: &Scope,
    positions: &Positions,
    specimens: &mut [Specimen],
) -> QueryResult<Readings> {
    let instruments: HashMap<i64, Instrument> = within!(instrument, scope)
        .select((instrument::id, instrument::step, instrument::limit_value))
        .load::<(i64, Option<f64>, Option<f64>)>(connection)?
        .into_iter()
        .map(|(id, step, limit)| (id, Instrument { step, limit }))
        .collect();
    let mut codes: HashMap<String, Option<ParameterCode>> = HashMap::new();
    let mut spots: Vec<(u32, NaiveDate, f64)> = Vec::new();
    let mut sorted: Vec<(Option<NaiveTime>, i32, Reading)> = Vec::new();
    let rows = within!(reading, scope).select(Row::as_select()).load_iter::<Row, PgRowByRowLoadingMode>(connection)?;
    for row in rows {
        let row = row?;
        let code = *codes.entry(row.parameter).or_insert_with_key(|code| ParameterCode::parse(code));
        let (Some(parameter), Some(&tank)) = (code, positions.tanks.get(&row.tank_id)) else { continue };
        // Values on a scale of the keeper's own are kept, and compared with nobody's.
        if row.flags.iter().any(|flag| flag == "own_scale") {
            continue;
        }
        if let Some(specimen_id) = row.specimen_id {
            if let (Some(&specimen), Some(value)) = (positions.specimens.get(&specimen_id), row.value)
                && parameter.as_str() == "par"
            {
                spots.push((specimen, row.taken_on, value));
            }
            continue;
        }
        let instrument = row.instrument_id.and_then(|id| instruments.get(&id));
        // Single edits are a log of their own per keeper, numbered after all files.
        let log = row.log_id.and_then(|id| positions.logs.get(&id)).copied().unwrap_or_else(|| {
            let keeper = positions.keepers.get(&row.keeper_id).copied().unwrap_or(0);
            u32::try_from(positions.logs.len()).unwrap_or(u32::MAX).saturating_add(keeper)
        });
        sorted.push((
            row.taken_time,
            row.ordinal,
            Reading {
                tank,
                parameter,
                on: row.taken_on,
                value: row.value,
                lower: row.lower.unwrap_or(0.0),
                upper: row.upper.unwrap_or(f64::INFINITY),
                exact: row.qualifier == "=",
                zero_reported: row.flags.iter().any(|flag| flag == "zero_reported"),
                limit: instrument.and_then(|instrument| instrument.limit),
                step: instrument.and_then(|instrument| instrument.step),
                log,
            },
        ));
    }
    sorted.sort_by(|(time_a, ordinal_a, a), (time_b, ordinal_b, b)| {
        (a.tank, a.parameter, a.on, time_a, a.log, ordinal_a)
            .cmp(&(b.tank, b.parameter, b.on, time_b, b.log, ordinal_b))
            .then(a.lower.total_cmp(&b.lower))
            .then(a.upper.total_cmp(&b.upper))
    });
    place(spots, specimens);
    Ok(sorted.into_iter().map(|(_, _, reading)| reading).collect::<Vec<_>>().into())
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
