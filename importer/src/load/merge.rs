//! Two names of a keeper's that are one tank or one coral: previewed, joined, taken apart again.
//!
//! A join is no change of what files say: it stands beside the keeper's uploads, and the fold takes what is said under the
//! one name as said under the other ([`crate::fold::same`]). It holds for files to come, and taking it back, or undoing
//! any upload, gives what the uploads that live give without it.

use std::collections::BTreeMap;

use chrono::{DateTime, NaiveDate, Utc};
use diesel::pg::PgConnection;
use diesel::prelude::*;
use diesel::sql_types::{BigInt, Binary, Text};
use migrations::schema::{audit, club_merge, ending, keeper, specimen, stay, tank};
use serde_json::json;
use sha2::{Digest, Sha256};

use super::LoadError;
use super::commit::raise_edition;
use super::keeper::lock_keeper;
use super::receive::revision;
use super::refold::refold;
use super::store;
use crate::fold::key::{Kind, folded};
use crate::fold::same::{Named, SameNames};

/// Keys shown of each kind in a preview.
const SHOWN: usize = 5;

/// Two names to be joined.
#[derive(Debug, Clone, PartialEq)]
pub struct MergeAsked {
    /// Whose.
    pub keeper_id: i64,
    /// What they name.
    pub named: Named,
    /// The name given up.
    pub from: String,
    /// The name that stays.
    pub into: String,
}

/// A join as kept.
#[derive(Debug, Clone, PartialEq, Queryable)]
pub struct Merge {
    /// Number.
    pub id: i64,
    /// Whose.
    pub keeper: String,
    /// `tank` or `specimen`.
    pub kind: String,
    /// The name given up.
    pub from: String,
    /// The name that stays.
    pub into: String,
    /// Who answers for it.
    pub signed_by: String,
    /// Why.
    pub note: Option<String>,
    /// When it was entered.
    pub created_at: DateTime<Utc>,
    /// When it was taken back.
    pub withdrawn_at: Option<DateTime<Utc>>,
}

/// How the current records of a kind would change.
#[derive(Debug, Clone, PartialEq)]
pub struct KindChange {
    /// The kind.
    pub kind: &'static str,
    /// Records that would come.
    pub added: usize,
    /// Records that would say something else.
    pub changed: usize,
    /// Records that would go.
    pub removed: usize,
    /// Keys of some of them, those that go first.
    pub examples: Vec<String>,
}

/// Something that both names say, and not alike.
#[derive(Debug, Clone, PartialEq)]
pub struct Conflict {
    /// What: `litres`, `started`, `closed`, `taxon`, `acquired`, `origin`, `ending`, `stay`.
    pub about: &'static str,
    /// Under the name given up.
    pub from: String,
    /// Under the name that stays.
    pub into: String,
}

/// What a join would change.
#[derive(Debug, Clone, PartialEq)]
pub struct MergePreview {
    /// By kind of record; kinds in which nothing changes are left out.
    pub kinds: Vec<KindChange>,
    /// What both say and not alike: the fold's rules decide then, the later word before the earlier.
    pub conflicts: Vec<Conflict>,
    /// Confirms exactly this: another value once the keeper's records, or other joins, say otherwise.
    pub confirm: String,
}

const fn code(named: Named) -> &'static str {
    match named {
        Named::Tank => "tank",
        Named::Specimen => "specimen",
    }
}

/// The keeper's joined names.
pub(super) fn standing(connection: &mut PgConnection, keeper_id: i64) -> Result<SameNames, LoadError> {
    let mut same = SameNames::default();
    for (kind, from, into) in joined(connection, keeper_id)? {
        same.join(if kind == code(Named::Tank) { Named::Tank } else { Named::Specimen }, &from, &into);
    }
    Ok(same)
}

/// Kind, name given up and name that stays of each join that stands.
pub(super) fn joined(
    connection: &mut PgConnection,
    keeper_id: i64,
) -> Result<Vec<(String, String, String)>, LoadError> {
    Ok(club_merge::table
        .filter(club_merge::keeper_id.eq(keeper_id).and(club_merge::withdrawn_at.is_null()))
        .order(club_merge::id)
        .select((club_merge::kind, club_merge::from_name, club_merge::into_name))
        .load(connection)?)
}

/// The names on record: what cannot be joined is said of every name at once.
fn on_record(connection: &mut PgConnection, asked: &MergeAsked) -> Result<(String, String), LoadError> {
    let names: BTreeMap<String, String> = match asked.named {
        Named::Tank => tank::table
            .filter(tank::keeper_id.eq(asked.keeper_id))
            .select((tank::key, tank::name))
            .load::<(String, String)>(connection)?,
        Named::Specimen => specimen::table
            .filter(specimen::keeper_id.eq(asked.keeper_id))
            .select((specimen::key, specimen::label))
            .load::<(String, String)>(connection)?,
    }
    .into_iter()
    .collect();
    let (from, into) = (folded(&asked.from), folded(&asked.into));
    let mut faults = Vec::new();
    for (field, key, written) in [("from", &from, &asked.from), ("into", &into, &asked.into)] {
        if !names.contains_key(key) {
            let near = names
                .values()
                .max_by(|a, b| strsim::jaro_winkler(&folded(a), key).total_cmp(&strsim::jaro_winkler(&folded(b), key)));
            let hint = near.map_or_else(String::new, |near| format!("; the nearest is '{near}'"));
            faults.push((field, format!("'{written}' is no {} of this member's on record{hint}", code(asked.named))));
        }
    }
    if from == into {
        faults.push(("into", format!("'{}' and '{}' are one name already", asked.from, asked.into)));
    }
    match (names.get(&from), names.get(&into)) {
        (Some(from), Some(into)) if faults.is_empty() => Ok((from.clone(), into.clone())),
        _ => Err(LoadError::BadMerge(faults)),
    }
}

/// What confirms a preview: the names, the keeper's state, and the joins that stand.
fn confirm(connection: &mut PgConnection, asked: &MergeAsked) -> Result<String, LoadError> {
    let joined = joined(connection, asked.keeper_id)?;
    let state = revision(connection, asked.keeper_id)?;
    let said = json!([code(asked.named), asked.keeper_id, folded(&asked.from), folded(&asked.into), state, joined]);
    let hash = Sha256::digest(said.to_string());
    Ok(hash.iter().take(16).map(|byte| format!("{byte:02x}")).collect())
}

#[derive(QueryableByName)]
struct Digested {
    #[diesel(sql_type = Text)]
    key: String,
    #[diesel(sql_type = Binary)]
    digest: Vec<u8>,
}

/// Every current record of a keeper, by kind and key.
fn digests(connection: &mut PgConnection, keeper_id: i64) -> Result<Vec<BTreeMap<String, Vec<u8>>>, LoadError> {
    let of = |kind: &Kind| {
        let rows: Vec<Digested> =
            diesel::sql_query(format!("SELECT key, digest FROM {} WHERE keeper_id = $1", kind.as_str()))
                .bind::<BigInt, _>(keeper_id)
                .load(connection)?;
        Ok(rows.into_iter().map(|row| (row.key, row.digest)).collect())
    };
    Kind::ALL.iter().map(of).collect()
}

fn differences(kind: Kind, before: &BTreeMap<String, Vec<u8>>, after: &BTreeMap<String, Vec<u8>>) -> KindChange {
    let removed: Vec<&String> = before.keys().filter(|key| !after.contains_key(*key)).collect();
    let added: Vec<&String> = after.keys().filter(|key| !before.contains_key(*key)).collect();
    let changed: Vec<&String> = after
        .iter()
        .filter(|(key, now)| before.get(*key).is_some_and(|then| then != *now))
        .map(|(key, _)| key)
        .collect();
    KindChange {
        kind: kind.as_str(),
        added: added.len(),
        changed: changed.len(),
        removed: removed.len(),
        examples: removed.iter().chain(&changed).chain(&added).take(SHOWN).map(|key| (*key).clone()).collect(),
    }
}

fn insert(
    connection: &mut PgConnection,
    asked: &MergeAsked,
    (from, into): (&str, &str),
    (signed_by, note): (&str, Option<&str>),
) -> Result<i64, LoadError> {
    Ok(diesel::insert_into(club_merge::table)
        .values((
            club_merge::keeper_id.eq(asked.keeper_id),
            club_merge::kind.eq(code(asked.named)),
            club_merge::from_key.eq(folded(from)),
            club_merge::from_name.eq(from),
            club_merge::into_key.eq(folded(into)),
            club_merge::into_name.eq(into),
            club_merge::signed_by.eq(signed_by),
            club_merge::note.eq(note),
        ))
        .returning(club_merge::id)
        .get_result(connection)?)
}

/// Folds a keeper anew, every month of tests too.
fn fold_all(connection: &mut PgConnection, keeper_id: i64) -> Result<(), LoadError> {
    let live = store::live(connection, keeper_id)?;
    refold(connection, keeper_id, &live, None)?;
    Ok(())
}

/// How a trial ends: everything is as before, whatever it found.
enum Trial {
    Over,
    Failed(LoadError),
}

impl From<diesel::result::Error> for Trial {
    fn from(error: diesel::result::Error) -> Self {
        Trial::Failed(error.into())
    }
}

/// See [`super::preview_merge`].
pub fn preview(connection: &mut PgConnection, asked: &MergeAsked) -> Result<MergePreview, LoadError> {
    let mut found = None;
    let tried = connection.transaction(|connection| {
        found = Some(try_out(connection, asked).map_err(Trial::Failed)?);
        // What was tried is taken back.
        Err::<(), Trial>(Trial::Over)
    });
    match (tried, found) {
        (Err(Trial::Failed(error)), _) => Err(error),
        (_, Some(preview)) => Ok(preview),
        (_, None) => Err(LoadError::NoKeeper(asked.keeper_id.to_string())),
    }
}

fn try_out(connection: &mut PgConnection, asked: &MergeAsked) -> Result<MergePreview, LoadError> {
    lock_keeper(connection, asked.keeper_id)?;
    let (from, into) = on_record(connection, asked)?;
    let confirm = confirm(connection, asked)?;
    let conflicts = conflicts(connection, asked)?;
    let before = digests(connection, asked.keeper_id)?;
    insert(connection, asked, (&from, &into), ("preview", None))?;
    fold_all(connection, asked.keeper_id)?;
    let after = digests(connection, asked.keeper_id)?;
    let kinds = Kind::ALL.iter().zip(before.iter().zip(&after));
    let kinds = kinds.map(|(kind, (before, after))| differences(*kind, before, after));
    let kinds = kinds.filter(|of| of.added + of.changed + of.removed > 0).collect();
    Ok(MergePreview { kinds, conflicts, confirm })
}

/// See [`super::merge`].
pub fn merge(
    connection: &mut PgConnection,
    asked: &MergeAsked,
    confirmed: &str,
    signed: (&str, Option<&str>),
    by: &str,
) -> Result<Merge, LoadError> {
    connection.transaction(|connection| {
        lock_keeper(connection, asked.keeper_id)?;
        let (from, into) = on_record(connection, asked)?;
        let current = confirm(connection, asked)?;
        if current != confirmed {
            return Err(LoadError::PreviewOutdated { confirm: current });
        }
        let id = insert(connection, asked, (&from, &into), signed)?;
        changed(connection, asked.keeper_id, (by, "merge names", id))?;
        one(connection, id)
    })
}

/// See [`super::undo_merge`].
pub fn undo(connection: &mut PgConnection, id: i64, by: &str) -> Result<Merge, LoadError> {
    connection.transaction(|connection| {
        let owner: Option<i64> =
            club_merge::table.find(id).select(club_merge::keeper_id).first(connection).optional()?;
        let owner = owner.ok_or(LoadError::NoMerge(id))?;
        lock_keeper(connection, owner)?;
        let standing = club_merge::table.find(id).filter(club_merge::withdrawn_at.is_null());
        let gone = (club_merge::withdrawn_at.eq(diesel::dsl::now), club_merge::withdrawn_by.eq(by));
        if diesel::update(standing).set(gone).execute(connection)? > 0 {
            changed(connection, owner, (by, "undo merge", id))?;
        }
        one(connection, id)
    })
}

/// The tables become what the fold gives now; files that wait are read again before they are committed.
fn changed(
    connection: &mut PgConnection,
    keeper_id: i64,
    (by, action, id): (&str, &str, i64),
) -> Result<(), LoadError> {
    let sequence = revision(connection, keeper_id)? + 1;
    diesel::update(keeper::table.find(keeper_id)).set(keeper::revision.eq(sequence)).execute(connection)?;
    fold_all(connection, keeper_id)?;
    diesel::insert_into(audit::table)
        .values((audit::actor.eq(by), audit::action.eq(action), audit::subject.eq(format!("merge {id}"))))
        .execute(connection)?;
    raise_edition(connection)?;
    Ok(())
}

macro_rules! columns {
    () => {
        (
            club_merge::id,
            keeper::handle,
            club_merge::kind,
            club_merge::from_name,
            club_merge::into_name,
            club_merge::signed_by,
            club_merge::note,
            club_merge::created_at,
            club_merge::withdrawn_at,
        )
    };
}

fn one(connection: &mut PgConnection, id: i64) -> Result<Merge, LoadError> {
    let rows = club_merge::table.inner_join(keeper::table).filter(club_merge::id.eq(id));
    rows.select(columns!()).first(connection).optional()?.ok_or(LoadError::NoMerge(id))
}

/// See [`super::merges`].
pub fn list(connection: &mut PgConnection, after: i64, limit: i64) -> Result<Vec<Merge>, LoadError> {
    let rows = club_merge::table.inner_join(keeper::table).filter(club_merge::id.gt(after));
    Ok(rows.order(club_merge::id).limit(limit).select(columns!()).load(connection)?)
}

/// What both names say, and not alike.
fn conflicts(connection: &mut PgConnection, asked: &MergeAsked) -> Result<Vec<Conflict>, LoadError> {
    let (from, into) = (folded(&asked.from), folded(&asked.into));
    match asked.named {
        Named::Tank => of_tanks(connection, asked.keeper_id, [&from, &into]),
        Named::Specimen => of_specimens(connection, asked.keeper_id, [&from, &into]),
    }
}

fn unlike(conflicts: &mut Vec<Conflict>, about: &'static str, said: [Option<String>; 2]) {
    if let [Some(from), Some(into)] = said
        && from != into
    {
        conflicts.push(Conflict { about, from, into });
    }
}

fn of_tanks(connection: &mut PgConnection, keeper_id: i64, keys: [&str; 2]) -> Result<Vec<Conflict>, LoadError> {
    type Row = (Option<f64>, Option<NaiveDate>, Option<NaiveDate>);
    let mut rows: Vec<Row> = Vec::new();
    for key in keys {
        let of = tank::table.filter(tank::keeper_id.eq(keeper_id).and(tank::key.eq(key)));
        rows.push(of.select((tank::litres, tank::started, tank::closed)).first(connection)?);
    }
    let mut conflicts = Vec::new();
    if let [from, into] = rows.as_slice() {
        let day = |day: Option<NaiveDate>| day.map(|day| day.to_string());
        unlike(&mut conflicts, "litres", [from.0, into.0].map(|litres| litres.map(|litres| litres.to_string())));
        unlike(&mut conflicts, "started", [from.1, into.1].map(day));
        unlike(&mut conflicts, "closed", [from.2, into.2].map(day));
    }
    Ok(conflicts)
}

type Ended = (Option<String>, NaiveDate);
type Stood = (i64, Option<NaiveDate>, Option<NaiveDate>);

fn of_specimens(connection: &mut PgConnection, keeper_id: i64, keys: [&str; 2]) -> Result<Vec<Conflict>, LoadError> {
    type Row = (i64, Option<String>, Option<NaiveDate>, Option<NaiveDate>, Option<String>);
    let mut rows: Vec<(Row, Option<Ended>, Vec<Stood>)> = Vec::new();
    for key in keys {
        let row: Row = specimen::table
            .filter(specimen::keeper_id.eq(keeper_id).and(specimen::key.eq(key)))
            .select((
                specimen::id,
                specimen::taxon,
                specimen::acquired_earliest,
                specimen::acquired_latest,
                specimen::origin,
            ))
            .first(connection)?;
        let ended = ending::table.filter(ending::specimen_id.eq(row.0)).select((ending::fate, ending::latest));
        let stood =
            stay::table.filter(stay::specimen_id.eq(row.0)).select((stay::tank_id, stay::from_day, stay::to_day));
        let (ended, stood) = (ended.first(connection).optional()?, stood.load(connection)?);
        rows.push((row, ended, stood));
    }
    let mut conflicts = Vec::new();
    if let [(from, ended, stood), (into, other_ended, other_stood)] = rows.as_slice() {
        unlike(&mut conflicts, "taxon", [from.1.clone(), into.1.clone()]);
        let acquired = |row: &Row| row.3.map(|latest| format!("{} to {latest}", row.2.unwrap_or(latest)));
        unlike(&mut conflicts, "acquired", [acquired(from), acquired(into)]);
        unlike(&mut conflicts, "origin", [from.4.clone(), into.4.clone()]);
        let said = |ended: &Option<Ended>| {
            ended.as_ref().map(|(fate, on)| format!("{} by {on}", fate.as_deref().unwrap_or("unclear")))
        };
        unlike(&mut conflicts, "ending", [said(ended), said(other_ended)]);
        let days = |of: &Stood| {
            let day = |day: Option<NaiveDate>, open: &str| day.map_or_else(|| open.to_owned(), |day| day.to_string());
            format!("tank {} from {} to {}", of.0, day(of.1, "an unknown day"), day(of.2, "now"))
        };
        let begins = |of: &Stood| of.1.unwrap_or(NaiveDate::MIN);
        let ends = |of: &Stood| of.2.unwrap_or(NaiveDate::MAX);
        for one in stood {
            for other in other_stood {
                if one.0 != other.0 && begins(one) < ends(other) && begins(other) < ends(one) {
                    conflicts.push(Conflict { about: "stay", from: days(one), into: days(other) });
                }
            }
        }
    }
    Ok(conflicts)
}
