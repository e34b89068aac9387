//! Whether a database holds what it says: every invariant that can be looked at without changing anything.

use std::collections::BTreeMap;

use diesel::prelude::*;
use diesel::sql_types::{BigInt, Binary, Nullable, Text};
use importer::load::{Changes, LoadError, fold_anew};
use migrations::schema::{keeper, reading_pack, release, release_taxon, upload};
use sha2::{Digest, Sha256};

/// What was looked at.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Checked {
    /// In a few words.
    pub what: &'static str,
    /// How many were looked at.
    pub looked_at: usize,
    /// What is not as it should be, each with its place; by number, never by a member's name.
    pub faults: Vec<String>,
}

/// Looks at everything; `repair` folds members' uploads anew where the records are not what they should be, and changes
/// nothing else.
///
/// # Errors
/// The database refused.
pub fn check(connection: &mut PgConnection, repair: bool) -> Result<Vec<Checked>, LoadError> {
    Ok(vec![
        records(connection, repair)?,
        packs(connection, repair)?,
        files(connection)?,
        cells(connection)?,
        references(connection)?,
        releases(connection)?,
    ])
}

/// The current records are the fold of the live uploads.
fn records(connection: &mut PgConnection, repair: bool) -> Result<Checked, LoadError> {
    let keepers: Vec<i64> = keeper::table.order(keeper::id).select(keeper::id).load(connection)?;
    let mut faults = Vec::new();
    for &id in &keepers {
        let Changes { added, changed, removed } =
            if repair { fold_anew(connection, id)? } else { would_change(connection, id)? };
        if added + changed + removed > 0 {
            let remedy = if repair { "put right" } else { "run `strandline check --repair`" };
            faults.push(format!(
                "keeper {id}: {added} rows are missing, {changed} say something else, {removed} are too many: {remedy}"
            ));
        }
    }
    Ok(Checked { what: "records are the fold of what was handed in", looked_at: keepers.len(), faults })
}

/// What folding anew would change; it is not kept.
fn would_change(connection: &mut PgConnection, keeper_id: i64) -> Result<Changes, LoadError> {
    let mut found = None;
    let outcome = connection.transaction::<(), LoadError, _>(|connection| {
        found = Some(fold_anew(connection, keeper_id)?);
        Err(diesel::result::Error::RollbackTransaction.into())
    });
    match (found, outcome) {
        (Some(changes), _) => Ok(changes),
        (None, Err(error)) => Err(error),
        (None, Ok(())) => Err(diesel::result::Error::NotFound.into()),
    }
}

/// Packed water tests are those of the rows.
fn packs(connection: &mut PgConnection, repair: bool) -> Result<Checked, LoadError> {
    let (looked_at, wrong) = crate::answer::packs_not_of_rows(connection)?;
    if repair {
        // They are made anew from the rows.
        diesel::delete(reading_pack::table.filter(reading_pack::keeper_id.eq_any(&wrong))).execute(connection)?;
    }
    let remedy = if repair { "put right" } else { "run `strandline check --repair`" };
    let faults =
        wrong.iter().map(|id| format!("keeper {id}: packed tests are not those of the rows: {remedy}")).collect();
    Ok(Checked { what: "packed tests are those of the rows", looked_at, faults })
}

/// Files are those that came.
fn files(connection: &mut PgConnection) -> Result<Checked, LoadError> {
    #[derive(QueryableByName)]
    struct Kept {
        #[diesel(sql_type = Binary)]
        sha256: Vec<u8>,
        #[diesel(sql_type = BigInt)]
        byte_count: i64,
        #[diesel(sql_type = Nullable<Binary>)]
        content: Option<Vec<u8>>,
    }
    let ids: Vec<i64> =
        upload::table.filter(upload::kind.eq("file")).order(upload::id).select(upload::id).load(connection)?;
    let mut faults = Vec::new();
    for &id in &ids {
        // One at a time: files together may be more than memory holds.
        let kept: Kept = diesel::sql_query(
            "SELECT sha256, byte_count, content FROM upload LEFT JOIN upload_file ON upload_id = id WHERE id = $1",
        )
        .bind::<BigInt, _>(id)
        .get_result(connection)?;
        match kept.content {
            None => faults.push(format!("upload {id}: its file is not there: restore it from a backup")),
            Some(content) => {
                let same = Sha256::digest(&content)[..] == kept.sha256[..] && content.len() as i64 == kept.byte_count;
                if !same {
                    faults.push(format!("upload {id}: its file is not the one that came: restore it from a backup"));
                }
            }
        }
    }
    Ok(Checked { what: "files are those that came", looked_at: ids.len(), faults })
}

/// Every filled cell of a file counts once.
fn cells(connection: &mut PgConnection) -> Result<Checked, LoadError> {
    let rows: Vec<(i64, Option<serde_json::Value>)> = upload::table
        .filter(upload::kind.eq("file").and(upload::cells.is_not_null()))
        .order(upload::id)
        .select((upload::id, upload::cells))
        .load(connection)?;
    let mut faults = Vec::new();
    for (id, cells) in &rows {
        let of = |name: &str| cells.as_ref().and_then(|cells| cells[name].as_u64());
        let parts = ["recorded", "labels", "findings"].map(of);
        let sum = parts.iter().copied().sum::<Option<u64>>();
        if of("total").is_none() || of("total") != sum {
            faults.push(format!("upload {id}: its cells do not add up: tell the authors of this program"));
        }
    }
    Ok(Checked { what: "every filled cell counts once", looked_at: rows.len(), faults })
}

/// Rows point to rows of the same member.
fn references(connection: &mut PgConnection) -> Result<Checked, LoadError> {
    #[derive(QueryableByName)]
    struct Constraint {
        #[diesel(sql_type = Text)]
        name: String,
        #[diesel(sql_type = Text)]
        on_table: String,
        #[diesel(sql_type = diesel::sql_types::Bool)]
        holds: bool,
    }
    let constraints: Vec<Constraint> = diesel::sql_query(
        "SELECT conname::text AS name, conrelid::regclass::text AS on_table, convalidated AS holds FROM pg_constraint \
         WHERE contype IN ('f', 'c', 'u', 'p') AND connamespace = current_schema()::regnamespace ORDER BY conname",
    )
    .load(connection)?;
    let faults = constraints
        .iter()
        .filter(|constraint| !constraint.holds)
        .map(|constraint| format!("{}: rule {} is not checked: validate it", constraint.on_table, constraint.name))
        .collect();
    Ok(Checked { what: "rules of the tables are in force", looked_at: constraints.len(), faults })
}

/// Releases that figures stand from have their records, and hold nobody who is no member any more.
fn releases(connection: &mut PgConnection) -> Result<Checked, LoadError> {
    let latest: Option<i64> =
        release::table.order(release::number.desc()).select(release::number).first(connection).optional()?;
    let Some(latest) = latest else {
        return Ok(Checked { what: "releases hold what they tell", looked_at: 0, faults: Vec::new() });
    };
    let kept: Vec<(i64, bool, Option<serde_json::Value>)> =
        release::table.select((release::number, release::records.is_not_null(), release::members)).load(connection)?;
    let has: BTreeMap<i64, bool> = kept.iter().map(|(number, has, _)| (*number, *has)).collect();
    let stands: Vec<(String, String, Option<i64>)> = release_taxon::table
        .filter(release_taxon::release.eq(latest))
        .select((release_taxon::taxon, release_taxon::split, release_taxon::answered_from))
        .load(connection)?;
    let mut faults: Vec<String> = stands
        .iter()
        .filter_map(|(taxon, piece, from)| Some((taxon, piece, (*from)?)))
        .filter(|(.., from)| !has.get(from).copied().unwrap_or(false))
        .map(|(taxon, piece, from)| format!("{taxon}, {piece}: release {from} has no records: make a release"))
        .collect();
    let members = crate::release::member_keys(connection)?;
    let waits = crate::release::withdrawal_is_due(connection)?;
    for (number, _, keys) in kept.iter().filter(|(_, has, _)| *has) {
        let keys: Vec<String> = keys.clone().and_then(|keys| serde_json::from_value(keys).ok()).unwrap_or_default();
        if !waits && keys.iter().any(|key| !members.contains(key)) {
            faults.push(format!("release {number}: it holds records of somebody who left: make a release"));
        }
    }
    Ok(Checked { what: "releases hold what they tell", looked_at: kept.len(), faults })
}
