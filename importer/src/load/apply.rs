//! The fold's rows → tables, by difference: equal rows keep their number and are not touched.
//!
//! Rows go up as JSON of many rows in one statement, which the database takes apart by its own column types;
//! floating-point numbers survive that to the last digit.

use std::borrow::Cow;
use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::fmt::Write as _;

use chrono::NaiveDate;
use diesel::connection::SimpleConnection;
use diesel::pg::PgConnection;
use diesel::prelude::*;
use diesel::sql_types::{Array, BigInt, Binary, Text};
use migrations::schema::{keeper, log, reading, record_source};
use serde::Deserialize;

use super::LoadError;
use super::copy::{self, Lines};
use super::stored::Months;
use crate::fold::row::{ReadingRow, Row, SpecimenRow, content};
use crate::fold::{Current, LogFacts, Rows, Source, Tests};
use crate::record::packed::Month;

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

/// What the tests of tanks need of the other tables once these are written.
pub struct Written {
    /// How the tables changed.
    pub changes: Changes,
    /// A kit or probe is another than before: any test can be another's now.
    pub kits_changed: bool,
    numbers: Numbers,
    tanks: Vec<i64>,
    /// Nothing is known of tests of tanks yet.
    no_tests: bool,
}

/// Makes the keeper's tables equal to the fold, but for tests of tanks, which [`apply_tests`] writes.
pub fn apply_rest(connection: &mut PgConnection, keeper_id: i64, current: &Current) -> Result<Written, LoadError> {
    // A stay may take over days of one that is shortened in the same step.
    connection.batch_execute("SET CONSTRAINTS stay_one_tank_at_a_time DEFERRED")?;
    let mut changes = Changes::default();
    let mut numbers = Numbers::default();

    let tanks = Plan::of(connection, keeper_id, &current.tanks)?;
    let aliases = Plan::of(connection, keeper_id, &current.tank_aliases)?;
    let instruments = Plan::of(connection, keeper_id, &current.instruments)?;
    let specimens = Plan::of(connection, keeper_id, &current.specimens)?;
    let at_spots = known(connection, "reading WHERE keeper_id = $1 AND specimen_id IS NOT NULL", keeper_id)?;
    let plans = [
        Plan::beside(at_spots, &current.readings)?,
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
        plan.count(&mut changes);
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
    let stored = record_source::table
        .filter(record_source::keeper_id.eq(keeper_id))
        .filter(record_source::kind.ne("reading").or(record_source::record_key.like(AT_SPOT)))
        .select(StoredSource::as_select())
        .load(connection)?;
    sources(connection, keeper_id, &stored, &current.sources)?;
    logs(connection, keeper_id, &current.logs)?;
    if let Some(since) = current.keeping_since {
        diesel::update(keeper::table.find(keeper_id)).set(keeper::keeping_since.eq(since)).execute(connection)?;
    }
    let tanks = numbers.by_table.get("tank").map(|tanks| tanks.values().copied().collect()).unwrap_or_default();
    let tests = reading::table.filter(reading::keeper_id.eq(keeper_id).and(reading::specimen_id.is_null()));
    let no_tests = !diesel::select(diesel::dsl::exists(tests)).get_result::<bool>(connection)?;
    let kits_changed = !(instruments.gone.is_empty() && instruments.fresh.is_empty());
    Ok(Written { changes, kits_changed, numbers, tanks, no_tests })
}

/// Keys of tests at a coral's spot.
const AT_SPOT: &str = "@%";

/// Months in which the keeper has tests of tanks.
pub fn months(connection: &mut PgConnection, keeper_id: i64) -> Result<BTreeSet<Month>, LoadError> {
    #[derive(QueryableByName)]
    struct Day {
        #[diesel(sql_type = diesel::sql_types::Date)]
        day: NaiveDate,
    }
    let days: Vec<Day> = diesel::sql_query(
        "SELECT DISTINCT date_trunc('month', taken_on)::date AS day FROM reading
          WHERE keeper_id = $1 AND specimen_id IS NULL",
    )
    .bind::<BigInt, _>(keeper_id)
    .load(connection)?;
    Ok(days.into_iter().map(|one| Month::of(one.day)).collect())
}

/// Tests with the hash of each row.
pub struct Hashed {
    tests: Tests,
    digests: Vec<[u8; 16]>,
}

impl Hashed {
    /// Hashes rows.
    ///
    /// # Errors
    /// A number that is not finite.
    pub fn of(tests: Tests) -> Result<Self, LoadError> {
        let digests = tests.readings.values().map(|row| content(row).map(|(_, digest)| digest));
        let digests = digests.collect::<Result<_, _>>().map_err(packing)?;
        Ok(Hashed { tests, digests })
    }
}

/// Makes the tests of tanks of some months equal to the fold.
pub fn apply_tests(
    connection: &mut PgConnection,
    keeper_id: i64,
    written: &mut Written,
    (first, last): Months,
    hashed: &Hashed,
) -> Result<(), LoadError> {
    let (from, to) = (first.first_day(), last.next().first_day());
    let (mut known, stored) = if written.no_tests {
        (HashMap::new(), Vec::new())
    } else {
        let known: Vec<Known> = diesel::sql_query(
            "SELECT key, digest FROM reading
              WHERE keeper_id = $1 AND tank_id = ANY ($2) AND specimen_id IS NULL AND taken_on >= $3 AND taken_on < $4",
        )
        .bind::<BigInt, _>(keeper_id)
        .bind::<Array<BigInt>, _>(&written.tanks)
        .bind::<diesel::sql_types::Date, _>(from)
        .bind::<diesel::sql_types::Date, _>(to)
        .load(connection)?;
        // The day stands second in the key of a test.
        let of_months = diesel::dsl::sql::<diesel::sql_types::Bool>("split_part(record_key, '|', 2) >= ")
            .bind::<Text, _>(from.to_string())
            .sql(" AND split_part(record_key, '|', 2) < ")
            .bind::<Text, _>(to.to_string());
        let stored: Vec<StoredSource> = record_source::table
            .filter(record_source::keeper_id.eq(keeper_id).and(record_source::kind.eq("reading")))
            .filter(record_source::record_key.not_like(AT_SPOT))
            .filter(of_months)
            .select(StoredSource::as_select())
            .load(connection)?;
        (known.into_iter().map(|row| (row.key, row.digest)).collect::<HashMap<_, _>>(), stored)
    };
    let mut plan = Plan::empty::<ReadingRow>();
    let mut lines = Lines::default();
    let numbers = &written.numbers;
    let mut added = Vec::new();
    for ((key, row), digest) in hashed.tests.readings.iter().zip(&hashed.digests) {
        match known.remove(key) {
            Some(before) if before == digest => {}
            Some(_) => plan.fresh.push(Fresh { key, digest: *digest, row }),
            None => added.push((key, row, digest)),
        }
    }
    plan.gone = known.into_keys().collect();
    plan.remove(connection, keeper_id)?;
    plan.count(&mut written.changes);
    plan.write(connection, keeper_id, numbers)?;
    // Tests come by the hundred thousand: new ones go straight into their table.
    written.changes.added += added.len();
    for (key, row, digest) in added {
        row.line(keeper_id, key, digest, numbers, &mut lines);
        if lines.is_full() {
            copy::readings(connection, &mut lines)?;
        }
    }
    if !lines.is_empty() {
        copy::readings(connection, &mut lines)?;
    }
    sources(connection, keeper_id, &stored, &hashed.tests.sources)
}

impl ReadingRow {
    /// Appends the row as a line to be copied, in the order of [`copy::readings`].
    fn line(&self, keeper_id: i64, key: &str, digest: &[u8; 16], numbers: &Numbers, lines: &mut Lines) {
        let time = self.taken_time;
        let of = |table: &'static str, key: Option<&String>| key.and_then(|key| numbers.of(table, key));
        lines.begin();
        lines.plain(keeper_id);
        lines.text(key);
        lines.bytes(digest);
        lines.number(numbers.of("tank", &self.tank));
        lines.plain(self.parameter);
        lines.plain(self.taken_on);
        lines.number(time);
        lines.number(self.utc_offset_minutes);
        lines.plain(self.ordinal);
        lines.number(self.value);
        lines.number(self.lower);
        lines.number(self.upper);
        lines.plain(self.qualifier.as_str());
        lines.array(&self.flags);
        lines.plain(self.disputed);
        lines.text(&self.written);
        lines.optional(self.written_unit.as_deref());
        lines.number(of("instrument", self.instrument.as_ref()));
        lines.number(of("specimen", self.specimen.as_ref()));
        lines.number(self.log_id);
        lines.plain(self.upload_id);
        lines.optional(self.sheet.as_deref());
        lines.plain(self.row_number);
        lines.plain(self.column_number);
    }
}

fn packing(error: serde_json::Error) -> LoadError {
    LoadError::Packing(error.to_string())
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

/// Keys and hashes of the rows of a table, from what follows FROM.
fn known(connection: &mut PgConnection, from: &str, keeper_id: i64) -> Result<HashMap<String, Vec<u8>>, LoadError> {
    let known: Vec<Known> =
        diesel::sql_query(format!("SELECT key, digest FROM {from}")).bind::<BigInt, _>(keeper_id).load(connection)?;
    Ok(known.into_iter().map(|row| (row.key, row.digest)).collect())
}

/// What is to be done to one table.
struct Plan<'r> {
    table: &'static str,
    columns: &'static [&'static str],
    gone: Vec<String>,
    fresh: Vec<Fresh<'r>>,
    added: usize,
}

/// A row to be written.
struct Fresh<'r> {
    key: &'r str,
    digest: [u8; 16],
    row: &'r dyn Json,
}

/// A row of any table.
trait Json {
    /// Its columns as JSON, with the keys of what it refers to.
    fn json(&self) -> Result<String, serde_json::Error>;
}

impl<R: Row> Json for R {
    fn json(&self) -> Result<String, serde_json::Error> {
        content(self).map(|(json, _)| json)
    }
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

impl Fresh<'_> {
    /// Appends the row as an object of the table's own columns; what is no column is passed over by the database.
    fn put(&self, columns: &[&str], numbers: &Numbers, text: &mut String) -> Result<(), serde_json::Error> {
        let key = serde_json::to_string(&self.key)?;
        let _ = write!(text, "{{\"key\":{key},\"digest\":\"\\\\x");
        for byte in self.digest {
            let _ = write!(text, "{byte:02x}");
        }
        text.push('"');
        let json = self.row.json()?;
        if columns.iter().any(|column| is_reference(column)) {
            let named: References<'_> = serde_json::from_str(&json)?;
            for (column, key) in [("tank", named.tank), ("specimen", named.specimen), ("instrument", named.instrument)]
            {
                if let Some(number) = key.and_then(|key| numbers.of(column, &key)) {
                    let _ = write!(text, ",\"{column}_id\":{number}");
                }
            }
        }
        text.push(',');
        text.push_str(json.trim_start_matches('{'));
        Ok(())
    }
}

impl<'r> Plan<'r> {
    const fn empty<R: Row>() -> Self {
        Plan { table: R::TABLE, columns: R::COLUMNS, gone: Vec::new(), fresh: Vec::new(), added: 0 }
    }

    fn of<R: Row>(connection: &mut PgConnection, keeper_id: i64, rows: &'r Rows<R>) -> Result<Self, LoadError> {
        Self::beside(known(connection, &format!("{} WHERE keeper_id = $1", R::TABLE), keeper_id)?, rows)
    }

    fn beside<R: Row>(mut known: HashMap<String, Vec<u8>>, rows: &'r Rows<R>) -> Result<Self, LoadError> {
        let mut plan = Plan::empty::<R>();
        for (key, row) in rows {
            let (_, digest) = content(row).map_err(packing)?;
            let before = known.remove(key);
            if before.as_deref() == Some(&digest[..]) {
                continue;
            }
            plan.added += usize::from(before.is_none());
            plan.fresh.push(Fresh { key, digest, row });
        }
        plan.gone = known.into_keys().collect();
        Ok(plan)
    }

    fn count(&self, changes: &mut Changes) {
        changes.removed += self.gone.len();
        changes.added += self.added;
        changes.changed += self.fresh.len() - self.added;
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
        for chunk in self.fresh.chunks(CHUNK) {
            let mut json = String::from("[");
            for (at, row) in chunk.iter().enumerate() {
                if at > 0 {
                    json.push(',');
                }
                row.put(self.columns, numbers, &mut json).map_err(packing)?;
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
struct WrittenAt<'a> {
    kind: &'a str,
    record_key: &'a str,
    upload_id: i64,
    log_id: Option<i64>,
    sheet: Option<&'a str>,
    row_number: i32,
    column_number: i32,
}

/// A source as stored.
#[derive(Queryable, Selectable)]
#[diesel(table_name = record_source)]
struct StoredSource {
    id: i64,
    kind: String,
    record_key: String,
    upload_id: i64,
    log_id: Option<i64>,
    sheet: Option<String>,
    row_number: i32,
    column_number: i32,
}

/// Places where the current records are written, beside those that are stored.
fn sources(
    connection: &mut PgConnection,
    keeper_id: i64,
    stored: &[StoredSource],
    sources: &BTreeSet<Source>,
) -> Result<(), LoadError> {
    let mut known: HashMap<WrittenAt<'_>, i64> = stored
        .iter()
        .map(|stored| {
            let written = WrittenAt {
                kind: &stored.kind,
                record_key: &stored.record_key,
                upload_id: stored.upload_id,
                log_id: stored.log_id,
                sheet: stored.sheet.as_deref(),
                row_number: stored.row_number,
                column_number: stored.column_number,
            };
            (written, stored.id)
        })
        .collect();
    let number = |place: u32| i32::try_from(place).unwrap_or(i32::MAX);
    let fresh: Vec<WrittenAt<'_>> = sources
        .iter()
        .map(|source| WrittenAt {
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
    if !gone.is_empty() {
        diesel::sql_query("DELETE FROM record_source WHERE id = ANY ($1)")
            .bind::<Array<BigInt>, _>(&gone)
            .execute(connection)?;
    }
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
