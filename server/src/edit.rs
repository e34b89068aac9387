//! Single edits: one record made, changed or taken out by hand. Each is an upload of its own and is taken back like one.
//!
//! A change is laid over the files so that they go on being heard: of tanks and corals it completes what lists say, of tests,
//! looks and deeds it stands in for the wording it corrects, and gives way where a later file says a third thing.

use std::collections::BTreeSet;

use diesel::prelude::*;
use diesel::sql_types::{BigInt, Text};
use importer::context::{How, Laid};
use importer::fold::key::{Kind, folded, same, slot};
use importer::load::LoadError;
use importer::record::Record;
use migrations::schema::{specimen, tank, tank_alias};
use serde_json::{Map, Value};

use crate::access::{Caller, Scope, keeper};
use crate::problem::{Fault, Kind as ProblemKind, Problem};
use crate::records;
use crate::upload::hand_in;

mod corals; // what is a coral's
pub mod field; // members of a body
mod tanks; // what is a tank's

use field::{Field, Known, Values, What};

/// A kind of records that can be edited one by one.
pub trait Editable: records::Kind {
    /// Its kind.
    const KIND: Kind;
    /// Members of its body.
    const FIELDS: &'static [Field];
    /// Members by which files and other records call it: they cannot be changed.
    const NAME: &'static [&'static str] = &[];
    /// It can be taken out alone.
    const REMOVABLE: bool = true;

    /// The record that members say, with whatever does not fit together; `base` is what is changed. `None` only with a fault.
    fn record(values: &Values, base: Option<&Record>, faults: &mut Vec<Fault>) -> Option<Record>;

    /// The members of a record.
    fn members(record: &Record) -> Map<String, Value>;

    /// Of a kind that several lists complete: a record that says the changed facts alone. `None` where all must be said anew.
    fn changed(_record: &Record, _base: &Record) -> Option<Record> {
        None
    }
}

/// A member that a new record needs.
pub(crate) const fn field(name: &'static str, about: &'static str, what: What, example: &'static str) -> Field {
    Field { name, about, what, needed: true, example }
}

/// A member that can be left out.
pub(crate) const fn optional(name: &'static str, about: &'static str, what: What, example: &'static str) -> Field {
    Field { name, about, what, needed: false, example }
}

/// The members of an object.
pub(crate) fn members(object: Value) -> Map<String, Value> {
    match object {
        Value::Object(members) => members,
        _ => Map::new(),
    }
}

/// What is said now, if it differs.
pub(crate) fn differ<T: Clone + PartialEq>(new: &Option<T>, old: &Option<T>) -> Option<T> {
    new.clone().filter(|_| new != old)
}

/// A record after an edit, and the upload that is the edit: none if nothing changed.
#[derive(Debug)]
pub struct Edited<K> {
    /// The record as it stands now; `None` where it was taken out.
    pub record: Option<K>,
    /// Number of the upload.
    pub upload: Option<i64>,
}

/// Makes a record of the caller's, or of the member that a curator names.
///
/// # Errors
/// As [`keeper::handed_in_for`]; [`ProblemKind::InvalidValue`] with every fault; [`ProblemKind::AlreadyRecorded`].
pub fn create<K: Editable>(
    connection: &mut PgConnection,
    caller: &Caller,
    scope: &Scope,
    owner: &keeper::Known,
    body: &Map<String, Value>,
    today: chrono::NaiveDate,
) -> Result<Edited<K>, Problem> {
    connection.transaction(|connection| {
        lock(connection, owner.id)?;
        let known = known(connection, owner.id, today)?;
        let record = record::<K>(body, body, None, &known)?;
        let there = rows(connection, owner.id, &record)?;
        if let Some(id) = there.first().filter(|_| !K::KIND.repeats()) {
            return Err(already(K::KIND, *id));
        }
        let laid = Laid { how: How::Beside, takes: Vec::new() };
        let upload = change(connection, owner.id, &record, laid, "made", caller)?;
        let id = made(connection, owner.id, K::KIND, upload)?.ok_or_else(|| not_shown(K::KIND))?;
        if there.contains(&id) {
            return Err(already(K::KIND, id));
        }
        Ok(Edited { record: Some(records::one(connection, scope, id)?), upload: Some(upload) })
    })
}

/// Changes members of a record within reach (RFC 7396: what is not sent stays, `null` clears).
///
/// # Errors
/// [`ProblemKind::UnknownRecord`]; [`ProblemKind::InvalidValue`] with every fault; [`ProblemKind::AlreadyRecorded`] where the
/// change makes it the same as another.
pub fn alter<K: Editable>(
    connection: &mut PgConnection,
    caller: &Caller,
    scope: &Scope,
    id: i64,
    patch: &Map<String, Value>,
    today: chrono::NaiveDate,
) -> Result<Edited<K>, Problem> {
    connection.transaction(|connection| {
        let owner = records::owner::<K>(connection, scope, id)?;
        lock(connection, owner)?;
        let row: K = records::one(connection, scope, id)?;
        let (stated, wordings) = stated(connection, owner, K::KIND, id)?;
        let known = known(connection, owner, today)?;
        let base = match stated {
            Some(base) => with_day(base, &row)?,
            // It only follows from others, as the first stay follows from a coral's own row.
            None => {
                let shown = serde_json::to_value(&row).map_err(|error| Problem::internal(&error))?;
                let mut shown = members(shown);
                shown.retain(|name, _| K::FIELDS.iter().any(|field| field.name == name));
                record::<K>(&shown, &Map::new(), None, &known)?
            }
        };
        let mut body = K::members(&base);
        for (name, value) in patch {
            body.insert(name.clone(), value.clone());
        }
        if K::KIND == Kind::Reading && patch.contains_key("value") && !patch.contains_key("qualifier") {
            body.insert("qualifier".to_owned(), Value::Null);
            body.insert("lower".to_owned(), Value::Null);
            body.insert("upper".to_owned(), Value::Null);
        }
        let new = record::<K>(&body, patch, Some(&base), &known)?;
        let renamed: Vec<Fault> = K::NAME
            .iter()
            .filter(|name| {
                let of = |record: &Record| K::members(record).get(**name).and_then(Value::as_str).map(folded);
                of(&new) != of(&base)
            })
            .map(|name| {
                let detail = format!("'{name}' is what files and other records call it by, and cannot be changed here");
                Fault::pointer(field::pointer(name), "conflict", detail)
            })
            .collect();
        if !renamed.is_empty() {
            return Err(Problem::of_faults(ProblemKind::InvalidValue, renamed));
        }
        if same(&new, &base) {
            return Ok(Edited { record: Some(row), upload: None });
        }
        let moved = slot(&new) != slot(&base);
        let there = rows(connection, owner, &new)?;
        if let Some(other) = there.iter().find(|other| **other != id).filter(|_| moved && !K::KIND.repeats()) {
            return Err(already(K::KIND, *other));
        }
        let (new, laid) = match K::changed(&new, &base) {
            Some(facts) => (facts, Laid { how: How::Completes, takes: Vec::new() }),
            None if K::KIND.repeats() => (new, Laid { how: How::Beside, takes: wordings }),
            None if moved => (new, Laid { how: How::Over, takes: wordings }),
            None => (new, Laid { how: How::Over, takes: Vec::new() }),
        };
        let upload = change(connection, owner, &new, laid, "changed", caller)?;
        let now = made(connection, owner, K::KIND, upload)?.ok_or_else(|| not_shown(K::KIND))?;
        if now != id && there.contains(&now) {
            return Err(already(K::KIND, now));
        }
        Ok(Edited { record: Some(records::one(connection, scope, now)?), upload: Some(upload) })
    })
}

/// Takes a record within reach out.
///
/// # Errors
/// [`ProblemKind::UnknownRecord`]; [`ProblemKind::NotStated`] for what only follows from others.
pub fn remove<K: Editable>(
    connection: &mut PgConnection,
    caller: &Caller,
    scope: &Scope,
    id: i64,
) -> Result<Edited<K>, Problem> {
    connection.transaction(|connection| {
        let owner = records::owner::<K>(connection, scope, id)?;
        lock(connection, owner)?;
        let facts = importer::load::statements(connection, owner, K::KIND, id).map_err(problem)?;
        let upload = importer::load::take_out(connection, owner, &facts, &caller.name()).map_err(problem)?;
        Ok(Edited { record: None, upload: Some(upload) })
    })
}

fn problem(error: LoadError) -> Problem {
    match error {
        LoadError::NoFact { .. } => Problem::new(
            ProblemKind::NotStated,
            "This record stands in no file and no edit: it follows from others, as a coral's first stay follows from its own \
             row. Change those instead.",
        ),
        error => hand_in::problem(&error),
    }
}

fn lock(connection: &mut PgConnection, owner: i64) -> Result<(), Problem> {
    importer::load::lock(connection, owner).map_err(problem)
}

fn change(
    connection: &mut PgConnection,
    owner: i64,
    record: &Record,
    laid: Laid,
    done: &str,
    caller: &Caller,
) -> Result<i64, Problem> {
    let name = format!("{} {done}", Kind::of(record).as_str());
    let records = std::slice::from_ref(record);
    importer::load::change(connection, owner, records, laid, &name, &caller.name()).map_err(problem)
}

/// What a record's members say, or every fault in them.
fn record<K: Editable>(
    body: &Map<String, Value>,
    sent: &Map<String, Value>,
    base: Option<&Record>,
    known: &Known,
) -> Result<Record, Problem> {
    let sent: BTreeSet<String> = sent.keys().cloned().collect();
    let mut faults = Vec::new();
    let values = field::check(K::FIELDS, body, &sent, known, &mut faults);
    let record = K::record(&values, base, &mut faults);
    match record {
        Some(record) if faults.is_empty() => Ok(record),
        _ if faults.is_empty() => Err(Problem::internal(&"members that passed make no record")),
        _ => Err(Problem::of_faults(ProblemKind::InvalidValue, faults)),
    }
}

/// An end whose day follows from its list is changed with that day.
fn with_day<K: Editable>(base: Record, row: &K) -> Result<Record, Problem> {
    let Record::Ending(mut ending) = base else { return Ok(base) };
    if ending.latest.is_none() {
        let row = serde_json::to_value(row).map_err(|error| Problem::internal(&error))?;
        ending.latest = row["latest"].as_str().and_then(|day| day.parse().ok());
    }
    Ok(Record::Ending(ending))
}

/// What is stated for a record as one, and the wordings that a correction stands in for.
fn stated(
    connection: &mut PgConnection,
    owner: i64,
    kind: Kind,
    id: i64,
) -> Result<(Option<Record>, Vec<Record>), Problem> {
    match importer::load::wordings(connection, owner, kind, id) {
        Ok((facts, wordings)) => Ok((importer::fold::whole(&facts), wordings)),
        Err(LoadError::NoFact { .. }) => Ok((None, Vec::new())),
        Err(error) => Err(problem(error)),
    }
}

/// What a member's records can refer to.
fn known(connection: &mut PgConnection, owner: i64, today: chrono::NaiveDate) -> Result<Known, Problem> {
    let named: Vec<String> = tank::table.filter(tank::keeper_id.eq(owner)).select(tank::name).load(connection)?;
    let aliases: Vec<(String, String)> = tank_alias::table
        .inner_join(tank::table.on(tank::id.eq(tank_alias::tank_id)))
        .filter(tank::keeper_id.eq(owner))
        .select((tank_alias::alias, tank::name))
        .load(connection)?;
    let specimens = specimen::table
        .filter(specimen::keeper_id.eq(owner))
        .order(specimen::label)
        .select(specimen::label)
        .load(connection)?;
    Ok(Known { tanks: named.into_iter().map(|name| (name.clone(), name)).chain(aliases).collect(), specimens, today })
}

#[derive(QueryableByName)]
struct Id {
    #[diesel(sql_type = BigInt)]
    id: i64,
}

/// Rows that are about the same as a record.
fn rows(connection: &mut PgConnection, owner: i64, record: &Record) -> Result<Vec<i64>, Problem> {
    let kind = Kind::of(record);
    let slot = slot(record);
    // Of kinds that share a slot the key ends in a number.
    let of_key = if kind.repeats() { "regexp_replace(key, '[|][0-9]+$', '')" } else { "key" };
    let rows: Vec<Id> = diesel::sql_query(format!(
        "SELECT id FROM {} WHERE keeper_id = $1 AND {of_key} = $2 ORDER BY id",
        kind.as_str()
    ))
    .bind::<BigInt, _>(owner)
    .bind::<Text, _>(slot)
    .load(connection)?;
    Ok(rows.into_iter().map(|row| row.id).collect())
}

/// The row that an upload of one record made.
fn made(connection: &mut PgConnection, owner: i64, kind: Kind, upload: i64) -> Result<Option<i64>, Problem> {
    let table = kind.as_str();
    // A test keeps the first place where it is written in its own row.
    let of_row = if kind == Kind::Reading { "OR of_row.upload_id = $2" } else { "" };
    let rows: Vec<Id> = diesel::sql_query(format!(
        "SELECT of_row.id FROM {table} AS of_row WHERE of_row.keeper_id = $1 AND (EXISTS (SELECT 1 FROM record_source \
         WHERE record_source.keeper_id = $1 AND record_source.kind = '{table}' AND record_source.upload_id = $2 \
         AND record_source.record_key = of_row.key) {of_row}) ORDER BY of_row.id LIMIT 1"
    ))
    .bind::<BigInt, _>(owner)
    .bind::<BigInt, _>(upload)
    .load(connection)?;
    Ok(rows.first().map(|row| row.id))
}

fn already(kind: Kind, id: i64) -> Problem {
    let detail = format!("The same is recorded already, as {} {id}: change that one instead.", kind.as_str());
    Problem::new(ProblemKind::AlreadyRecorded, detail).with("record", serde_json::json!(id))
}

fn not_shown(kind: Kind) -> Problem {
    let detail = format!(
        "This {} would not stand beside the coral's other records: its days leave no room for it. Look at the others of the \
         coral, and correct their days first.",
        kind.as_str()
    );
    Problem::of_fault(ProblemKind::InvalidValue, Fault::pointer("", "conflict", detail))
}
