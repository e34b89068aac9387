//! Releases: what public and members read. A release freezes the records of an edition; its answers are worked out from
//! those once, kept, and given again as they were.
//!
//! A taxon keeps the figures of an older release while one or two members have changed a block of its answers, so that the
//! difference of two releases is never the doing of so few; where one of them withdrew it is withheld until three have
//! changed. Answers by one split stand split by split, those made of several together, and lines on cells of their own are
//! withheld alone (`succession`). The first release is made when the first reader comes, later ones when their time has
//! come or at once when a member withdraws.

use std::collections::{BTreeMap, BTreeSet};

use analysis::answer::UNDIVIDED;
use analysis::club::{Club, SEVERAL, Stands};
use analysis::vocabulary::TaxonSlug;
use chrono::{DateTime, Utc};
use diesel::dsl::{exists, now, select};
use diesel::prelude::*;
use diesel::sql_types::Text;
use migrations::schema::{club_setting, edition, release, release_answer, release_due, release_taxon};

use crate::access::Scope;
use crate::answer;
use crate::problem::Problem;

mod contributions; // what each member contributes to a taxon
mod families; // q values of a release
mod packed; // records and answers, compressed
mod succession; // which release's figures stand in a new one
mod worker; // making those that are due

pub use families::called;
pub use worker::Releases;

/// Days between releases where the club has not decided otherwise.
pub const DAYS: i64 = 7;
/// Everything together: what is asked of no taxon.
const EVERYTHING: &str = "*";

/// A release.
#[derive(Debug, Clone, Copy, Queryable)]
pub struct Release {
    /// Its number.
    pub number: i64,
    /// When it was made.
    pub made_at: DateTime<Utc>,
}

/// From which release a question is answered.
#[derive(Debug, Clone, Copy)]
pub struct Standing {
    /// The current release.
    pub current: Release,
    /// The one whose figures stand for the taxon; `None` = withheld.
    pub answered_from: Option<Release>,
}

/// The current release and the one that a taxon is answered from, by what the answer is made of: the code of a piece, or
/// [`SEVERAL`]. Makes the first release, or one that a withdrawal forces, at once.
///
/// # Errors
/// The database refused, or the records do not pack.
pub fn standing(connection: &mut PgConnection, taxon: Option<TaxonSlug>, made_of: &str) -> Result<Standing, Problem> {
    let forced = withdrawal_is_due(connection)?;
    let current = match latest(connection)? {
        Some(current) if !forced => current,
        known => {
            ask_for(connection, if known.is_none() { "first" } else { "withdrawal" })?;
            worker::make_due(connection)?;
            latest(connection)?.ok_or_else(|| Problem::internal(&"a release was made and is not there"))?
        }
    };
    let slug = taxon.map_or(EVERYTHING, |taxon| taxon.as_str());
    let rows: Vec<(String, Option<i64>)> = release_taxon::table
        .filter(release_taxon::release.eq(current.number).and(release_taxon::taxon.eq(slug)))
        .filter(release_taxon::split.eq_any([made_of, SEVERAL]))
        .select((release_taxon::split, release_taxon::answered_from))
        .load(connection)?;
    // A split without a row of its own stands as everything else does.
    let from = rows.iter().find(|(of, _)| of != SEVERAL).or(rows.first()).map(|(_, from)| *from);
    // A taxon without any record has no row: there is nothing to withhold.
    let answered_from = match from {
        None => Some(current),
        Some(None) => None,
        Some(Some(number)) if number == current.number => Some(current),
        Some(Some(number)) => {
            Some(release::table.find(number).select((release::number, release::made_at)).first::<Release>(connection)?)
        }
    };
    Ok(Standing { current, answered_from })
}

fn latest(connection: &mut PgConnection) -> QueryResult<Option<Release>> {
    release::table
        .order(release::number.desc())
        .select((release::number, release::made_at))
        .first(connection)
        .optional()
}

/// Keys of all members, which name nobody: what releases know them by.
///
/// # Errors
/// The database refused.
pub fn member_keys(connection: &mut PgConnection) -> QueryResult<Vec<String>> {
    contributions::members(connection)
}

/// Whether a release that a withdrawal forces is owed.
///
/// # Errors
/// The database refused.
pub fn withdrawal_is_due(connection: &mut PgConnection) -> QueryResult<bool> {
    // One that could not be made yet, or was given up, is owed all the same: what stands holds the withdrawn records.
    select(exists(
        release_due::table.filter(release_due::state.ne("done")).filter(release_due::reason.eq("withdrawal")),
    ))
    .get_result(connection)
}

/// Says that a release is due, unless one is already for this reason.
///
/// # Errors
/// The database refused.
pub fn ask_for(connection: &mut PgConnection, reason: &str) -> QueryResult<()> {
    // Of many first readers at once one may come when the first release has just been made: there is no other first.
    diesel::sql_query(
        "INSERT INTO release_due (reason) SELECT $1 WHERE $1 <> 'first' OR NOT EXISTS (SELECT FROM release) \
         ON CONFLICT DO NOTHING",
    )
    .bind::<Text, _>(reason)
    .execute(connection)
    .map(drop)
}

/// Makes every release that is due now.
///
/// # Errors
/// A release could not be made; it is tried again later.
pub fn make_those_due(connection: &mut PgConnection) -> Result<(), Problem> {
    worker::make_due(connection)
}

/// Asks for a release whose time has come: the records have changed since the last, and it is old enough.
///
/// # Errors
/// The database refused.
pub fn ask_if_old(connection: &mut PgConnection) -> QueryResult<()> {
    let days: Option<serde_json::Value> =
        club_setting::table.find("release_days").select(club_setting::value).first(connection).optional()?;
    let days = days.and_then(|days| days.as_i64()).unwrap_or(DAYS).max(0);
    let last: Option<(i64, DateTime<Utc>)> = release::table
        .order(release::number.desc())
        .select((release::edition, release::made_at))
        .first(connection)
        .optional()?;
    let at: i64 = edition::table.select(edition::number).first(connection)?;
    match last {
        Some((of, made_at)) if at != of && Utc::now() - made_at >= chrono::Duration::days(days) => {
            ask_for(connection, "scheduled")
        }
        _ => Ok(()),
    }
}

/// The records that a release froze; an empty club where they are withheld.
///
/// # Errors
/// The database refused, or what was kept cannot be read.
pub fn records(connection: &mut PgConnection, from: Option<Release>) -> Result<Club, Problem> {
    let Some(from) = from else { return Ok(Club { withheld: true, ..Club::default() }) };
    let packed: Option<Vec<u8>> = release::table.find(from.number).select(release::records).first(connection)?;
    let packed = packed.ok_or_else(|| Problem::internal(&format!("release {} has no records", from.number)))?;
    let rows: Vec<(String, String, Option<i64>)> = release_taxon::table
        .filter(release_taxon::release.eq(from.number))
        .select((release_taxon::taxon, release_taxon::split, release_taxon::answered_from))
        .load(connection)?;
    let mut stands = Stands::default();
    for (subject, piece, of) in rows {
        stands.say(&subject, &piece, of == Some(from.number));
    }
    Ok(Club { stands, ..packed::unpack(&packed)? })
}

/// From which release each taxon is answered in the current one, by what the answer is made of; `None` = withheld. A taxon
/// without a row is answered from the current one.
///
/// # Errors
/// The database refused.
pub fn standing_of_taxa(
    connection: &mut PgConnection,
    made_of: &str,
) -> Result<BTreeMap<String, Option<Release>>, Problem> {
    let current = standing(connection, None, SEVERAL)?.current;
    let mut rows: Vec<(String, String, Option<i64>)> = release_taxon::table
        .filter(release_taxon::release.eq(current.number))
        .filter(release_taxon::split.eq_any([made_of, SEVERAL]))
        .select((release_taxon::taxon, release_taxon::split, release_taxon::answered_from))
        .load(connection)?;
    let releases: Vec<Release> =
        release::table.select((release::number, release::made_at)).load::<Release>(connection)?;
    let release = |number: i64| releases.iter().copied().find(|release| release.number == number);
    // The row of the piece itself comes last and wins.
    rows.sort_by_key(|(_, piece, _)| piece != SEVERAL);
    Ok(rows.into_iter().map(|(taxon, _, from)| (taxon, from.and_then(release))).collect())
}

/// Taxa of which figures were withheld in a release after this one: a member took records back, and too few had changed
/// anything else.
///
/// # Errors
/// The database refused.
pub fn withheld_since(connection: &mut PgConnection, number: i64) -> QueryResult<BTreeSet<String>> {
    let taxa: Vec<String> = release_taxon::table
        .filter(release_taxon::release.gt(number).and(release_taxon::answered_from.is_null()))
        .filter(release_taxon::split.eq_any([UNDIVIDED, SEVERAL]).and(release_taxon::taxon.ne(EVERYTHING)))
        .select(release_taxon::taxon)
        .distinct()
        .load(connection)?;
    Ok(taxa.into_iter().collect())
}

/// An answer of a release as it was first given.
///
/// # Errors
/// The database refused, or what was kept cannot be read.
pub fn kept(
    connection: &mut PgConnection,
    release: i64,
    audience: &str,
    question: &str,
) -> Result<Option<Vec<u8>>, Problem> {
    let body: Option<Vec<u8>> = release_answer::table
        .find((release, audience, question))
        .select(release_answer::body)
        .first(connection)
        .optional()?;
    body.map(|body| packed::bytes(&body)).transpose()
}

/// Keeps an answer, and gives the one that is kept: another request may have been first.
///
/// # Errors
/// The database refused, or the answer does not pack.
pub fn keep(
    connection: &mut PgConnection,
    release: i64,
    audience: &str,
    question: &str,
    body: Vec<u8>,
) -> Result<Vec<u8>, Problem> {
    let inserted = diesel::insert_into(release_answer::table)
        .values((
            release_answer::release.eq(release),
            release_answer::audience.eq(audience),
            release_answer::question.eq(question),
            release_answer::body.eq(packed::pack_bytes(&body)?),
        ))
        .on_conflict_do_nothing()
        .execute(connection)?;
    if inserted == 1 {
        return Ok(body);
    }
    Ok(kept(connection, release, audience, question)?.unwrap_or(body))
}

/// Makes a release for a reason, within the transaction that holds the records still.
fn make(connection: &mut PgConnection, reason: &str) -> Result<i64, Problem> {
    let snapshot = answer::club_within(connection, &Scope::of_operator())?;
    let members = contributions::members(connection)?;
    let records = packed::pack(snapshot.club.as_ref())?;
    let before = latest(connection)?;
    let number: i64 = diesel::insert_into(release::table)
        .values((
            release::edition.eq(snapshot.edition),
            release::program_version.eq(env!("CARGO_PKG_VERSION")),
            release::reason.eq(reason),
            release::records.eq(records),
            release::members.eq(serde_json::json!(members)),
        ))
        .returning(release::number)
        .get_result(connection)?;
    succession::stand(
        connection,
        &succession::Making { number, reason, club: &snapshot.club, members: &members, before },
    )?;
    forget(connection, number)?;
    Ok(number)
}

/// Drops the records and answers of releases that no taxon is answered from any more.
fn forget(connection: &mut PgConnection, current: i64) -> QueryResult<()> {
    let used: Vec<Option<i64>> = release_taxon::table
        .filter(release_taxon::release.eq(current))
        .select(release_taxon::answered_from)
        .distinct()
        .load(connection)?;
    let used: Vec<i64> = used.into_iter().flatten().chain([current]).collect();
    diesel::update(release::table.filter(release::number.ne_all(&used)))
        .set((release::records.eq(None::<Vec<u8>>), release::members.eq(None::<serde_json::Value>)))
        .execute(connection)?;
    diesel::delete(release_answer::table.filter(release_answer::release.ne_all(&used))).execute(connection)?;
    diesel::delete(release_due::table.filter(release_due::state.eq("done")).filter(release_due::since.lt(now)))
        .execute(connection)
        .map(drop)
}
