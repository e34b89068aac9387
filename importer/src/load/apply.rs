//! The fold's rows → tables, by difference: equal rows keep their number and are not touched.
//!
//! Rows go up as JSON of many rows in one statement, which the database takes apart by its own column types;
//! floating-point numbers survive that to the last digit.

use std::borrow::Cow;
use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::fmt::Write as _;

use diesel::connection::SimpleConnection;
use diesel::pg::PgConnection;
use diesel::prelude::*;
use diesel::sql_types::{Array, BigInt, Binary, Text};
use migrations::schema::{keeper, log, record_source};
use serde::Deserialize;

use super::LoadError;
use super::copy::{self, Lines};
use crate::fold::row::{Row, SpecimenRow, content};
use crate::fold::{Current, LogFacts, Rows, Source};

/// How the tables changed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Changes {
    /// Rows that were not there.
    pub added: usize,
    /// Rows with another content.
    pub changed: usize,
    /// Rows that are gone.
    pub removed: usize,
}

/// Rows per statement: some hundred kilobytes of JSON.
const CHUNK: usize = 2000;

/// Makes the keeper's tables equal to the fold.
pub fn apply(connection: &mut PgConnection, keeper_id: i64, current: &Current) -> Result<Changes, LoadError> {
    // A stay may take over days of one that is shortened in the same step.
    connection.batch_execute("SET CONSTRAINTS stay_one_tank_at_a_time DEFERRED")?;
    let mut changes = Changes::default();
    let mut numbers = Numbers::default();

    let tanks = Plan::of(connection, keeper_id, &current.tanks)?;
    let aliases = Plan::of(connection, keeper_id, &current.tank_aliases)?;
    let instruments = Plan::of(connection, keeper_id, &current.instruments)?;
    let specimens = Plan::of(connection, keeper_id, &current.specimens)?;
    let plans = [
        Plan::of(connection, keeper_id, &current.readings)?,
        Plan::of(connection, keeper_id, &current.specimen_names)?,
        Plan::of(connection, keeper_id, &current.identifications)?,
        Plan::of(connection, keeper_id, &current.stays)?,
        Plan::of(connection, keeper_id, &current.placements)?,
        Plan::of(connection, keeper_id, &current.sightings)?,
        Plan::of(connection, keeper_id, &current.sizings)?,
        Plan::of(connection, keeper_id, &current.endings)?,
        Plan::of(connection, keeper_id, &current.routines)?,
        Plan::of(connection, keeper_id, &current.events)?,
        Plan::of(connection, keeper_id, &current.incidents)?,
    ];
    // Children go before parents and come after them.
    for plan in plans.iter().chain([&specimens, &instruments, &aliases, &tanks]) {
        plan.remove(connection, keeper_id)?;
        changes.removed += plan.gone.len();
        changes.added += plan.added;
        changes.changed += plan.fresh.len() - plan.added;
    }
    tanks.write(connection, keeper_id, &numbers)?;
    numbers.read(connection, keeper_id, "tank")?;
    aliases.write(connection, keeper_id, &numbers)?;
    instruments.write(connection, keeper_id, &numbers)?;
    numbers.read(connection, keeper_id, "instrument")?;
    specimens.write(connection, keeper_id, &numbers)?;
    numbers.read(connection, keeper_id, "specimen")?;
    parents(connection, &current.specimens, &numbers)?;
    for plan in &plans {
        plan.write(connection, keeper_id, &numbers)?;
    }
    sources(connection, keeper_id, &current.sources)?;
    logs(connection, keeper_id, &current.logs)?;
    if let Some(since) = current.keeping_since {
        diesel::update(keeper::table.find(keeper_id)).set(keeper::keeping_since.eq(since)).execute(connection)?;
    }
    Ok(changes)
}

/// Keys to the database's numbers, by table.
#[derive(Default)]
struct Numbers {
    by_table: BTreeMap<&'static str, HashMap<String, i64>>,
}

#[derive(QueryableByName)]
struct Numbered {
    #[diesel(sql_type = BigInt)]
    id: i64,
    #[diesel(sql_type = Text)]
    key: String,
}

impl Numbers {
    fn read(&mut self, connection: &mut PgConnection, keeper_id: i64, table: &'static str) -> Result<(), LoadError> {
        let rows: Vec<Numbered> = diesel::sql_query(format!("SELECT id, key FROM {table} WHERE keeper_id = $1"))
            .bind::<BigInt, _>(keeper_id)
            .load(connection)?;
        self.by_table.insert(table, rows.into_iter().map(|row| (row.key, row.id)).collect());
        Ok(())
    }

    fn of(&self, table: &str, key: &str) -> Option<i64> {
        self.by_table.get(table)?.get(key).copied()
    }
}

#[derive(QueryableByName)]
struct Known {
    #[diesel(sql_type = Text)]
    key: String,
    #[diesel(sql_type = Binary)]
    digest: Vec<u8>,
}

/// What is to be done to one table.
struct Plan {
    table: &'static str,
    columns: &'static [&'static str],
    gone: Vec<String>,
    fresh: Vec<Fresh>,
    added: usize,
}

/// A row to be written.
struct Fresh {
    key: String,
    digest: [u8; 16],
    /// Nothing of this key was there.
    added: bool,
    /// Its columns as JSON, with the keys of what it refers to.
    json: String,
}

/// The keys of what a row refers to.
#[derive(Deserialize)]
struct References<'a> {
    #[serde(borrow, default)]
    tank: Option<Cow<'a, str>>,
    #[serde(borrow, default)]
    specimen: Option<Cow<'a, str>>,
    #[serde(borrow, default)]
    instrument: Option<Cow<'a, str>>,
}

impl Fresh {
    /// Appends the row as a line to be copied.
    fn copied(
        &self,
        keeper_id: i64,
        columns: &[&str],
        numbers: &Numbers,
        lines: &mut Lines,
    ) -> Result<(), serde_json::Error> {
        let row: serde_json::Map<String, serde_json::Value> = serde_json::from_str(&self.json)?;
        lines.begin();
        lines.plain(keeper_id);
        lines.text(&self.key);
        let mut digest = String::from("\\x");
        for byte in self.digest {
            let _ = write!(digest, "{byte:02x}");
        }
        lines.text(&digest);
        for column in columns {
            let value = row.get(*column);
            match value.and_then(serde_json::Value::as_str).filter(|_| is_reference(column)) {
                Some(key) => lines.number(numbers.of(column, key)),
                None => lines.value(value),
            }
        }
        Ok(())
    }

    /// Appends the row as an object of the table's own columns; what is no column is passed over by the database.
    fn put(&self, columns: &[&str], numbers: &Numbers, text: &mut String) -> Result<(), serde_json::Error> {
        let key = serde_json::to_string(&self.key)?;
        let _ = write!(text, "{{\"key\":{key},\"digest\":\"\\\\x");
        for byte in self.digest {
            let _ = write!(text, "{byte:02x}");
        }
        text.push('"');
        if columns.iter().any(|column| is_reference(column)) {
            let named: References<'_> = serde_json::from_str(&self.json)?;
            for (column, key) in [("tank", named.tank), ("specimen", named.specimen), ("instrument", named.instrument)]
            {
                if let Some(number) = key.and_then(|key| numbers.of(column, &key)) {
                    let _ = write!(text, ",\"{column}_id\":{number}");
                }
            }
        }
        text.push(',');
        text.push_str(self.json.trim_start_matches('{'));
        Ok(())
    }
}

impl Plan {
    fn of<R: Row>(connection: &mut PgConnection, keeper_id: i64, rows: &Rows<R>) -> Result<Self, LoadError> {
        let known: Vec<Known> = diesel::sql_query(format!("SELECT key, digest FROM {} WHERE keeper_id = $1", R::TABLE))
            .bind::<BigInt, _>(keeper_id)
            .load(connection)?;
        let mut known: HashMap<String, Vec<u8>> = known.into_iter().map(|row| (row.key, row.digest)).collect();
        let packing = |error: serde_json::Error| LoadError::Packing(error.to_string());
        let (mut fresh, mut added) = (Vec::new(), 0);
        for (key, row) in rows {
            let (json, digest) = content(row).map_err(packing)?;
            let before = known.remove(key);
            if before.as_deref() == Some(&digest[..]) {
                continue;
            }
            let is_new = before.is_none();
            added += usize::from(is_new);
            fresh.push(Fresh { key: key.clone(), digest, added: is_new, json });
        }
        Ok(Plan { table: R::TABLE, columns: R::COLUMNS, gone: known.into_keys().collect(), fresh, added })
    }

    fn remove(&self, connection: &mut PgConnection, keeper_id: i64) -> Result<(), LoadError> {
        if !self.gone.is_empty() {
            diesel::sql_query(format!("DELETE FROM {} WHERE keeper_id = $1 AND key = ANY ($2)", self.table))
                .bind::<BigInt, _>(keeper_id)
                .bind::<Array<Text>, _>(&self.gone)
                .execute(connection)?;
        }
        Ok(())
    }

    fn write(&self, connection: &mut PgConnection, keeper_id: i64, numbers: &Numbers) -> Result<(), LoadError> {
        // A mother is filled in when all specimens have their numbers.
        let names: Vec<String> = self
            .columns
            .iter()
            .filter(|column| **column != "parent")
            .map(|column| if is_reference(column) { format!("{column}_id") } else { (*column).to_owned() })
            .collect();
        let list = names.join(", ");
        let taken: Vec<String> = names.iter().map(|name| format!("r.{name}")).collect();
        let set: Vec<String> = names.iter().map(|name| format!("{name} = excluded.{name}")).collect();
        let statement = format!(
            "INSERT INTO {table} (keeper_id, key, digest, {list})
             SELECT $1, r.key, r.digest, {taken} FROM json_populate_recordset(NULL::{table}, $2::json) r
             ON CONFLICT (keeper_id, key) DO UPDATE SET digest = excluded.digest, {set}",
            table = self.table,
            taken = taken.join(", "),
            set = set.join(", "),
        );
        // Readings come by the hundred thousand: new ones go straight into their table.
        let (straight, others): (Vec<&Fresh>, Vec<&Fresh>) =
            self.fresh.iter().partition(|row| row.added && self.table == "reading");
        let mut lines = Lines::default();
        for row in straight {
            row.copied(keeper_id, self.columns, numbers, &mut lines)
                .map_err(|error| LoadError::Packing(error.to_string()))?;
            if lines.is_full() {
                copy::readings(connection, &mut lines)?;
            }
        }
        if !lines.is_empty() {
            copy::readings(connection, &mut lines)?;
        }
        for chunk in others.chunks(CHUNK) {
            let mut json = String::from("[");
            for (at, row) in chunk.iter().enumerate() {
                if at > 0 {
                    json.push(',');
                }
                row.put(self.columns, numbers, &mut json).map_err(|error| LoadError::Packing(error.to_string()))?;
            }
            json.push(']');
            diesel::sql_query(&statement).bind::<BigInt, _>(keeper_id).bind::<Text, _>(json).execute(connection)?;
        }
        Ok(())
    }
}

fn is_reference(column: &str) -> bool {
    matches!(column, "tank" | "specimen" | "instrument")
}

/// Mothers: a specimen refers to one of its own table.
fn parents(connection: &mut PgConnection, specimens: &Rows<SpecimenRow>, numbers: &Numbers) -> Result<(), LoadError> {
    let (children, mothers): (Vec<i64>, Vec<i64>) = specimens
        .iter()
        .filter_map(|(key, row)| Some((numbers.of("specimen", key)?, numbers.of("specimen", row.parent.as_ref()?)?)))
        .unzip();
    let all: Vec<i64> = specimens.keys().filter_map(|key| numbers.of("specimen", key)).collect();
    diesel::sql_query(
        "UPDATE specimen SET parent_id = NULL WHERE parent_id IS NOT NULL AND id = ANY ($1) AND NOT id = ANY ($2)",
    )
    .bind::<Array<BigInt>, _>(&all)
    .bind::<Array<BigInt>, _>(&children)
    .execute(connection)?;
    diesel::sql_query(
        "UPDATE specimen SET parent_id = r.mother FROM unnest($1, $2) AS r (child, mother)
          WHERE specimen.id = r.child AND specimen.parent_id IS DISTINCT FROM r.mother",
    )
    .bind::<Array<BigInt>, _>(&children)
    .bind::<Array<BigInt>, _>(&mothers)
    .execute(connection)?;
    Ok(())
}

/// A row of the table of sources, in its own columns.
#[derive(Clone, Copy, PartialEq, Eq, Hash)]
struct Written<'a> {
    kind: &'a str,
    record_key: &'a str,
    upload_id: i64,
    log_id: Option<i64>,
    sheet: Option<&'a str>,
    row_number: i32,
    column_number: i32,
}

type StoredSource = (i64, String, String, i64, Option<i64>, Option<String>, i32, i32);

/// Places where the current records are written.
fn sources(connection: &mut PgConnection, keeper_id: i64, sources: &BTreeSet<Source>) -> Result<(), LoadError> {
    let stored: Vec<StoredSource> = record_source::table
        .filter(record_source::keeper_id.eq(keeper_id))
        .select((
            record_source::id,
            record_source::kind,
            record_source::record_key,
            record_source::upload_id,
            record_source::log_id,
            record_source::sheet,
            record_source::row_number,
            record_source::column_number,
        ))
        .load(connection)?;
    let mut known: HashMap<Written<'_>, i64> = stored
        .iter()
        .map(|(id, kind, key, upload, log, sheet, row, column)| {
            let written = Written {
                kind,
                record_key: key,
                upload_id: *upload,
                log_id: *log,
                sheet: sheet.as_deref(),
                row_number: *row,
                column_number: *column,
            };
            (written, *id)
        })
        .collect();
    let number = |place: u32| i32::try_from(place).unwrap_or(i32::MAX);
    let fresh: Vec<Written<'_>> = sources
        .iter()
        .map(|source| Written {
            kind: source.kind.as_str(),
            record_key: &source.key,
            upload_id: source.upload,
            log_id: source.log,
            sheet: source.sheet.as_deref(),
            row_number: number(source.row),
            column_number: number(source.column),
        })
        .filter(|written| known.remove(written).is_none())
        .collect();
    let mut gone: Vec<i64> = known.into_values().collect();
    gone.sort_unstable();
    diesel::sql_query("DELETE FROM record_source WHERE id = ANY ($1)")
        .bind::<Array<BigInt>, _>(&gone)
        .execute(connection)?;
    let mut lines = Lines::default();
    for source in fresh {
        lines.begin();
        lines.plain(keeper_id);
        lines.text(source.kind);
        lines.text(source.record_key);
        lines.plain(source.upload_id);
        lines.number(source.log_id);
        match source.sheet {
            Some(sheet) => lines.text(sheet),
            None => lines.null(),
        }
        lines.plain(source.row_number);
        lines.plain(source.column_number);
        if lines.is_full() {
            copy::sources(connection, &mut lines)?;
        }
    }
    if !lines.is_empty() {
        copy::sources(connection, &mut lines)?;
    }
    Ok(())
}

/// What follows for the keeper's logs; a log without live versions says nothing.
fn logs(connection: &mut PgConnection, keeper_id: i64, facts: &BTreeMap<i64, LogFacts>) -> Result<(), LoadError> {
    let ids: Vec<i64> = log::table.filter(log::keeper_id.eq(keeper_id)).select(log::id).load(connection)?;
    for id in ids {
        let facts = facts.get(&id).copied().unwrap_or_default();
        diesel::update(log::table.find(id))
            .set((
                log::complete_since.eq(facts.complete_since.day()),
                log::complete_since_state.eq(facts.complete_since.as_str()),
                log::prompt_since.eq(facts.prompt_since),
                log::losses_listed.eq(facts.losses_listed),
                log::first_day.eq(facts.first_day),
                log::last_day.eq(facts.last_day),
                log::as_of.eq(facts.as_of),
            ))
            .execute(connection)?;
    }
    Ok(())
}
