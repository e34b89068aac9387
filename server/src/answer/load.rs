//! Records → a club of plain values. Rows are ordered by names that survive re-imports, never by row numbers,
//! so that the same records give the same answer after any history.

use std::collections::HashMap;

use analysis::club::{
    Club, Days, Ending, Identification, Keeper, Placement, Sighting, SightingSource, Sizing, Specimen, Stands, Stay,
    Tank,
};
use analysis::vocabulary::{CauseGroup, Fate, FateMatch, Origin, OriginBasis, TaxonSlug, find_fate};
use chrono::NaiveDate;
use diesel::prelude::*;
use migrations::schema::{ending, identification, keeper, log, placement, sighting, sizing, specimen, stay, tank};

use super::{care, readings};
use crate::access::Scope;
use crate::desk::{bands, claims};

/// Row numbers → positions in the club.
pub(super) struct Positions {
    pub(super) keepers: HashMap<i64, u32>,
    pub(super) tanks: HashMap<i64, u32>,
    pub(super) logs: HashMap<i64, u32>,
    pub(super) specimens: HashMap<i64, u32>,
}

/// What a log says about all its specimens.
#[derive(Clone, Copy, Default)]
struct LogFacts {
    complete_since: Option<NaiveDate>,
    first_day: Option<NaiveDate>,
    losses_listed: bool,
}

/// Narrows a query on records to what a scope reaches.
macro_rules! within {
    ($table:ident, $scope:expr) => {{
        let query = $table::table.into_boxed();
        match $scope.keeper() {
            Some(keeper_id) => query.filter($table::keeper_id.eq(keeper_id)),
            None => query,
        }
    }};
}
pub(super) use within;

/// Reads everything that a scope reaches.
pub(super) fn club(connection: &mut PgConnection, scope: &Scope) -> QueryResult<Club> {
    let mut keepers: Vec<(i64, String, Option<i32>)> = {
        let query = keeper::table.select((keeper::id, keeper::handle, keeper::keeping_since)).into_boxed();
        match scope.keeper() {
            Some(id) => query.filter(keeper::id.eq(id)).load(connection)?,
            None => query.load(connection)?,
        }
    };
    keepers.sort_by(|a, b| a.1.cmp(&b.1));
    let handles: HashMap<i64, String> = keepers.iter().map(|(id, handle, _)| (*id, handle.clone())).collect();
    let mut positions = Positions {
        keepers: numbered(keepers.iter().map(|row| row.0)),
        tanks: HashMap::new(),
        logs: HashMap::new(),
        specimens: HashMap::new(),
    };
    let keeper_of = |positions: &Positions, id: i64| positions.keepers.get(&id).copied().unwrap_or(u32::MAX);

    type TankRow = (i64, i64, String, Option<f64>, Option<NaiveDate>, Option<NaiveDate>, Option<String>);
    type LogRow = (i64, i64, String, Option<NaiveDate>, Option<NaiveDate>, Option<bool>, Option<NaiveDate>);
    let mut tanks: Vec<TankRow> = within!(tank, scope)
        .select((tank::id, tank::keeper_id, tank::key, tank::litres, tank::started, tank::closed, tank::closed_why))
        .load(connection)?;
    tanks.sort_by(|a, b| (keeper_of(&positions, a.1), &a.2).cmp(&(keeper_of(&positions, b.1), &b.2)));
    positions.tanks = numbered(tanks.iter().map(|row| row.0));
    let all_died: Vec<bool> = tanks.iter().map(|row| row.6.as_deref() == Some("all_died")).collect();

    let mut logs: Vec<LogRow> = within!(log, scope)
        .select((
            log::id,
            log::keeper_id,
            log::name,
            log::complete_since,
            log::first_day,
            log::losses_listed,
            log::prompt_since,
        ))
        .load(connection)?;
    logs.sort_by(|a, b| (keeper_of(&positions, a.1), &a.2).cmp(&(keeper_of(&positions, b.1), &b.2)));
    positions.logs = numbered(logs.iter().map(|row| row.0));
    let facts: HashMap<i64, LogFacts> = logs
        .iter()
        .map(|row| {
            // "Don't know": from when the versions of the log show that entries were made promptly.
            let complete_since = row.3.or(row.6);
            (row.0, LogFacts { complete_since, first_day: row.4, losses_listed: row.5.unwrap_or(false) })
        })
        .collect();
    // A coral entered by hand belongs to no log: it counts if any log of its keeper lists losses.
    let mut any_losses: HashMap<i64, bool> = HashMap::new();
    for row in &logs {
        *any_losses.entry(row.1).or_default() |= row.5.unwrap_or(false);
    }

    let mut rows: Vec<SpecimenRow> = within!(specimen, scope).select(SpecimenRow::as_select()).load(connection)?;
    rows.sort_by(|a, b| {
        (keeper_of(&positions, a.keeper_id), &a.key).cmp(&(keeper_of(&positions, b.keeper_id), &b.key))
    });
    positions.specimens = numbered(rows.iter().map(|row| row.id));
    let mut specimens: Vec<Specimen> = rows
        .into_iter()
        .map(|row| {
            let facts = row.log_id.and_then(|id| facts.get(&id)).copied().unwrap_or(LogFacts {
                losses_listed: any_losses.get(&row.keeper_id).copied().unwrap_or(false),
                ..LogFacts::default()
            });
            let handle = handles.get(&row.keeper_id).map_or("", String::as_str);
            bare(row, handle, facts, &positions)
        })
        .collect();

    identifications(connection, scope, &positions, &mut specimens)?;
    stays(connection, scope, &positions, &mut specimens)?;
    sightings(connection, scope, &positions, &mut specimens)?;
    sizings(connection, scope, &positions, &mut specimens)?;
    placements(connection, scope, &positions, &mut specimens)?;
    endings(connection, scope, &positions, &mut specimens, &all_died)?;
    let readings = readings::load(connection, scope, &positions, &mut specimens)?;
    let litres: Vec<Option<f64>> = tanks.iter().map(|row| row.3).collect();
    let events = care::events(connection, scope, &positions, &mut specimens, &litres)?;
    let routines = care::routines(connection, scope, &positions, &specimens)?;
    let incidents = care::incidents(connection, scope, &positions, &specimens)?;
    Ok(Club {
        keepers: keepers.into_iter().map(|row| Keeper { keeping_since: row.2 }).collect(),
        tanks: tanks
            .into_iter()
            .map(|row| Tank { keeper: keeper_of(&positions, row.1), started: row.4, litres: row.3, closed: row.5 })
            .collect(),
        readings,
        specimens,
        routines,
        events,
        incidents,
        bands: bands::in_force(connection)?,
        claims: claims::in_force(connection)?,
        withheld: false,
        stands: Stands::default(),
    })
}

fn numbered(ids: impl Iterator<Item = i64>) -> HashMap<i64, u32> {
    ids.zip(0u32..).collect()
}

#[derive(Queryable, Selectable)]
#[diesel(table_name = specimen)]
struct SpecimenRow {
    id: i64,
    keeper_id: i64,
    key: String,
    taxon: Option<String>,
    confidence: Option<String>,
    origin: Option<String>,
    origin_basis: Option<String>,
    source_kind: Option<String>,
    form: Option<String>,
    condition: Option<String>,
    acquired_earliest: Option<NaiveDate>,
    acquired_latest: Option<NaiveDate>,
    lineage: String,
    held: Vec<String>,
    log_id: Option<i64>,
}

/// The score of how it looked when got: open, off (at least half alive), poor (less).
fn score_when_got(word: &str) -> Option<u8> {
    match word {
        "open" => Some(4),
        "off" => Some(3),
        "poor" => Some(2),
        _ => None,
    }
}

/// The specimen without what is written about it elsewhere.
fn bare(row: SpecimenRow, handle: &str, facts: LogFacts, positions: &Positions) -> Specimen {
    let at_purchase = row.taxon.as_deref().and_then(TaxonSlug::parse).map(|taxon| Identification {
        taxon,
        on: None,
        guessed: row.confidence.as_deref() == Some("guess"),
    });
    Specimen {
        key: format!("{handle}/{}", row.key),
        keeper: positions.keepers.get(&row.keeper_id).copied().unwrap_or(u32::MAX),
        identifications: at_purchase.into_iter().collect(),
        acquired: row.acquired_latest.map(|latest| Days { earliest: row.acquired_earliest, latest }),
        origin: row.origin.as_deref().and_then(Origin::parse),
        origin_basis: row.origin_basis.as_deref().and_then(OriginBasis::parse),
        source_kind: row.source_kind,
        form: row.form,
        condition_when_got: row.condition.as_deref().and_then(score_when_got),
        complete_since: facts.complete_since,
        log_first_day: facts.first_day,
        losses_listed: facts.losses_listed,
        stays: Vec::new(),
        sightings: Vec::new(),
        sizings: Vec::new(),
        care_days: Vec::new(),
        rescue_cuts: Vec::new(),
        ending: None,
        held: !row.held.is_empty(),
        held_fate: None,
        arrived_dead: false,
        // A line card goes from keeper to keeper; any other mother is known by her keeper's key.
        lineage: Some(if row.lineage.starts_with("line:") { row.lineage } else { format!("{handle}/{}", row.lineage) }),
        placements: Vec::new(),
    }
}

fn identifications(
    connection: &mut PgConnection,
    scope: &Scope,
    positions: &Positions,
    specimens: &mut [Specimen],
) -> QueryResult<()> {
    type Row = (i64, Option<NaiveDate>, String, String, Option<String>);
    let mut rows: Vec<Row> = within!(identification, scope)
        .select((
            identification::specimen_id,
            identification::on_day,
            identification::key,
            identification::taxon,
            identification::confidence,
        ))
        .load(connection)?;
    rows.sort_by(|a, b| (a.1, &a.2).cmp(&(b.1, &b.2)));
    for (specimen_id, on, _, taxon, confidence) in rows {
        if let (Some(specimen), Some(taxon)) = (of(positions, specimens, specimen_id), TaxonSlug::parse(&taxon)) {
            let guessed = confidence.as_deref() == Some("guess");
            specimen.identifications.push(Identification { taxon, on, guessed });
        }
    }
    Ok(())
}

fn of<'s>(positions: &Positions, specimens: &'s mut [Specimen], id: i64) -> Option<&'s mut Specimen> {
    positions.specimens.get(&id).and_then(|position| specimens.get_mut(*position as usize))
}

fn stays(
    connection: &mut PgConnection,
    scope: &Scope,
    positions: &Positions,
    specimens: &mut [Specimen],
) -> QueryResult<()> {
    type Row = (i64, i64, Option<NaiveDate>, Option<NaiveDate>, String);
    let mut rows: Vec<Row> = within!(stay, scope)
        .select((stay::specimen_id, stay::tank_id, stay::from_day, stay::to_day, stay::key))
        .load(connection)?;
    rows.sort_by(|a, b| (a.2, a.3, &a.4).cmp(&(b.2, b.3, &b.4)));
    for (specimen_id, tank_id, from, to, _) in rows {
        // A stay whose beginning is not known says nothing about any one day.
        if let (Some(specimen), Some(&tank), Some(from)) =
            (of(positions, specimens, specimen_id), positions.tanks.get(&tank_id), from)
        {
            specimen.stays.push(Stay { tank, from, to });
        }
    }
    Ok(())
}

fn sightings(
    connection: &mut PgConnection,
    scope: &Scope,
    positions: &Positions,
    specimens: &mut [Specimen],
) -> QueryResult<()> {
    type Row = (i64, NaiveDate, String, String, Option<i16>, Option<f64>, Option<i16>);
    let mut rows: Vec<Row> = within!(sighting, scope)
        .select((
            sighting::specimen_id,
            sighting::on_day,
            sighting::key,
            sighting::source,
            sighting::condition,
            sighting::tissue_cover,
            sighting::polyp_extension,
        ))
        .load(connection)?;
    rows.sort_by(|a, b| (a.1, &a.2).cmp(&(b.1, &b.2)));
    for (specimen_id, on, _, source, condition, tissue_cover, polyps) in rows {
        if let Some(specimen) = of(positions, specimens, specimen_id) {
            let source = match source.as_str() {
                "register" => SightingSource::Register,
                "roll_call" => SightingSource::RollCall,
                _ => SightingSource::Look,
            };
            let condition = condition.and_then(|condition| u8::try_from(condition).ok());
            let polyp_extension = polyps.and_then(|polyps| u8::try_from(polyps).ok());
            specimen.sightings.push(Sighting { on, source, condition, tissue_cover, polyp_extension });
        }
    }
    Ok(())
}

fn sizings(
    connection: &mut PgConnection,
    scope: &Scope,
    positions: &Positions,
    specimens: &mut [Specimen],
) -> QueryResult<()> {
    type Row = (i64, NaiveDate, String, String, String, f64, i32);
    let mut rows: Vec<Row> = within!(sizing, scope)
        .select((
            sizing::specimen_id,
            sizing::on_day,
            sizing::key,
            sizing::measure,
            sizing::basis,
            sizing::value,
            sizing::segment,
        ))
        .load(connection)?;
    rows.sort_by(|a, b| (a.1, &a.2).cmp(&(b.1, &b.2)));
    for (specimen_id, on, _, measure, basis, value, segment) in rows {
        if let Some(specimen) = of(positions, specimens, specimen_id) {
            let segment = u32::try_from(segment).unwrap_or(0);
            specimen.sizings.push(Sizing { on, measure, basis, value, segment });
        }
    }
    Ok(())
}

fn placements(
    connection: &mut PgConnection,
    scope: &Scope,
    positions: &Positions,
    specimens: &mut [Specimen],
) -> QueryResult<()> {
    type Row = (i64, Option<NaiveDate>, String, Option<f64>, Option<String>, Option<bool>);
    let mut rows: Vec<Row> = within!(placement, scope)
        .select((
            placement::specimen_id,
            placement::from_day,
            placement::key,
            placement::par,
            placement::flow,
            placement::stinging_neighbour,
        ))
        .load(connection)?;
    rows.sort_by(|a, b| (a.1, &a.2).cmp(&(b.1, &b.2)));
    for (specimen_id, from, _, par, flow, stinging_within_reach) in rows {
        let Some(specimen) = of(positions, specimens, specimen_id) else { continue };
        // "Since it was got": the earliest day on which it can have stood there, or else none at all.
        let got = specimen.acquired.map(|days| days.earliest.unwrap_or(days.latest));
        if let Some(from) = from.or(got) {
            specimen.placements.push(Placement { from, par, flow, stinging_within_reach });
        }
    }
    for specimen in specimens {
        specimen.placements.sort_by_key(|placement| placement.from);
    }
    Ok(())
}

#[derive(Queryable, Selectable)]
#[diesel(table_name = ending)]
struct EndingRow {
    specimen_id: i64,
    fate: Option<String>,
    cause_group: String,
    cause: Option<String>,
    condition: String,
    earliest: NaiveDate,
    latest: NaiveDate,
    written_day: bool,
    date_held: bool,
    written: String,
}

fn endings(
    connection: &mut PgConnection,
    scope: &Scope,
    positions: &Positions,
    specimens: &mut [Specimen],
    all_died: &[bool],
) -> QueryResult<()> {
    let rows: Vec<EndingRow> = within!(ending, scope).select(EndingRow::as_select()).load(connection)?;
    for row in rows {
        let Some(specimen) = of(positions, specimens, row.specimen_id) else { continue };
        let Some(fate) = row.fate.as_deref().and_then(Fate::parse) else {
            specimen.held = true;
            specimen.held_fate = Some(Days { earliest: Some(row.earliest), latest: row.latest });
            continue;
        };
        if is_rescue_cut(&row.written) {
            specimen.rescue_cuts.push(row.latest);
        }
        let last_tank = specimen.stays.last().map(|stay| stay.tank as usize);
        specimen.arrived_dead = fate == Fate::ArrivedDead;
        specimen.ending = Some(Ending {
            fate,
            cause_group: CauseGroup::parse(&row.cause_group).unwrap_or(CauseGroup::Unknown),
            cause: row.cause,
            earliest: row.earliest,
            latest: row.latest,
            written_day: row.written_day,
            date_held: row.date_held,
            poor_at_exit: row.condition == "poor",
            all_died: fate == Fate::TankClosed
                && last_tank.and_then(|tank| all_died.get(tank)).copied().unwrap_or(false),
        });
    }
    Ok(())
}

/// Whether what was written says that pieces were cut off to save them.
pub(super) fn is_rescue_cut(written: &str) -> bool {
    matches!(find_fate(written), FateMatch::RescueCut { .. })
}
