//! What keepers did: habits with a rate, and single feedings, changes and treatments.

use analysis::club::{CareEvent, Incident, Routine, Specimen};
use chrono::NaiveDate;
use diesel::prelude::*;
use migrations::schema::{event, incident, routine};

use super::load::{Positions, is_rescue_cut, within};
use crate::access::Scope;

/// Single events, and the days on which something was done to one specimen in particular.
pub(super) fn events(
    connection: &mut PgConnection,
    scope: &Scope,
    positions: &Positions,
    specimens: &mut [Specimen],
    litres: &[Option<f64>],
) -> QueryResult<Vec<CareEvent>> {
    type Row = (i64, String, Option<i64>, Option<i64>, String, NaiveDate, Option<f64>, Option<String>, String);
    let mut rows: Vec<Row> = within!(event, scope)
        .select((
            event::keeper_id,
            event::key,
            event::tank_id,
            event::specimen_id,
            event::kind,
            event::on_day,
            event::amount,
            event::unit,
            event::written,
        ))
        .load(connection)?;
    rows.sort_by(|a, b| (positions.keepers.get(&a.0), a.5, &a.1).cmp(&(positions.keepers.get(&b.0), b.5, &b.1)));
    let mut events = Vec::new();
    for (_, _, tank_id, specimen_id, kind, on, amount, unit, written) in rows {
        let specimen = specimen_id.and_then(|id| positions.specimens.get(&id)).copied();
        let cared = specimen.and_then(|position| specimens.get_mut(position as usize));
        let there = cared.and_then(|specimen| {
            specimen.care_days.push(on);
            if kind == "cut" && is_rescue_cut(&written) {
                specimen.rescue_cuts.push(on);
            }
            tank_of(specimen, on)
        });
        let Some(tank) = tank_id.and_then(|id| positions.tanks.get(&id)).copied().or(there) else { continue };
        let volume = litres.get(tank as usize).copied().flatten();
        let amount = in_unit(&kind, amount, unit.as_deref(), volume);
        events.push(CareEvent { tank, specimen, kind, on, amount });
    }
    for specimen in specimens {
        specimen.care_days.sort();
        specimen.care_days.dedup();
        specimen.rescue_cuts.sort();
        specimen.rescue_cuts.dedup();
    }
    Ok(events)
}

/// The amount in the kind's unit: a change of water is a share of the volume in %.
fn in_unit(kind: &str, amount: Option<f64>, unit: Option<&str>, litres: Option<f64>) -> Option<f64> {
    match (kind, unit) {
        ("water_change", Some("%")) => amount,
        ("water_change", Some("L")) => {
            litres.filter(|litres| *litres > 0.0).and_then(|litres| amount.map(|amount| 100.0 * amount / litres))
        }
        ("water_change", _) => None,
        _ => amount,
    }
}

/// The tank in which a specimen was on a day, or else its first.
fn tank_of(specimen: &Specimen, on: NaiveDate) -> Option<u32> {
    specimen.stays.iter().rfind(|stay| stay.from <= on).or(specimen.stays.first()).map(|stay| stay.tank)
}

/// Habits with a rate.
pub(super) fn routines(
    connection: &mut PgConnection,
    scope: &Scope,
    positions: &Positions,
    specimens: &[Specimen],
) -> QueryResult<Vec<Routine>> {
    type Row = (i64, String, Option<i64>, Option<i64>, String, Option<f64>, NaiveDate, Option<NaiveDate>, NaiveDate);
    let mut rows: Vec<Row> = within!(routine, scope)
        .select((
            routine::keeper_id,
            routine::key,
            routine::tank_id,
            routine::specimen_id,
            routine::kind,
            routine::per_week,
            routine::from_day,
            routine::to_day,
            routine::confirmed_on,
        ))
        .load(connection)?;
    rows.sort_by(|a, b| (positions.keepers.get(&a.0), &a.1).cmp(&(positions.keepers.get(&b.0), &b.1)));
    let read = |row: Row| {
        let (_, _, tank_id, specimen_id, kind, per_week, from, to, confirmed) = row;
        let specimen = specimen_id.and_then(|id| positions.specimens.get(&id)).copied();
        // A habit with one coral stands in the tank in which that coral was when the habit began.
        let there =
            specimen.and_then(|position| specimens.get(position as usize)).and_then(|specimen| tank_of(specimen, from));
        let tank = tank_id.and_then(|id| positions.tanks.get(&id)).copied().or(there)?;
        Some(Routine { tank, specimen, kind, per_week, from, to, confirmed })
    };
    Ok(rows.into_iter().filter_map(read).collect())
}

/// What happened to tanks: power cuts, overdoses, new fish, pests.
pub(super) fn incidents(
    connection: &mut PgConnection,
    scope: &Scope,
    positions: &Positions,
    specimens: &[Specimen],
) -> QueryResult<Vec<Incident>> {
    type Row = (i64, String, Option<i64>, Option<i64>, String, NaiveDate, Option<NaiveDate>);
    let mut rows: Vec<Row> = within!(incident, scope)
        .select((
            incident::keeper_id,
            incident::key,
            incident::tank_id,
            incident::specimen_id,
            incident::kind,
            incident::from_day,
            incident::to_day,
        ))
        .load(connection)?;
    rows.sort_by(|a, b| (positions.keepers.get(&a.0), a.5, &a.1).cmp(&(positions.keepers.get(&b.0), b.5, &b.1)));
    let read = |row: Row| {
        let (_, _, tank_id, specimen_id, kind, from, to) = row;
        let specimen = specimen_id.and_then(|id| positions.specimens.get(&id)).copied();
        let there =
            specimen.and_then(|position| specimens.get(position as usize)).and_then(|specimen| tank_of(specimen, from));
        let tank = tank_id.and_then(|id| positions.tanks.get(&id)).copied().or(there)?;
        Some(Incident { tank, specimen, kind, from, to })
    };
    Ok(rows.into_iter().filter_map(read).collect())
}

#[cfg(test)]
mod tests {
    use super::in_unit;

    #[test]
    fn a_change_of_water_is_a_share_of_the_volume() {
        assert_eq!(in_unit("water_change", Some(40.0), Some("L"), Some(200.0)), Some(20.0));
        assert_eq!(in_unit("water_change", Some(15.0), Some("%"), None), Some(15.0));
        assert_eq!(in_unit("water_change", Some(40.0), Some("L"), None), None);
        assert_eq!(in_unit("carbon", Some(50.0), Some("g"), None), Some(50.0));
    }
}
