//! Browsers that are signed in: a random secret in a cookie, its SHA-256 in the database.
//!
//! A session rests at most 7 days and lasts at most 30 (NIST SP 800-63B-4 §2.1.3, as remembered: at most 30 days at
//! the first level of assurance). Signing in always makes a new one: what a cookie said before is not taken over.

use chrono::{DateTime, Duration, Utc};
use diesel::prelude::*;
use migrations::schema::{account, keeper, session};

use super::check::check_row;
use super::holder::{Credential, Holder, account_name};
use super::{Role, clock, scope, secret};
use crate::problem::Problem;

/// How long a session lasts at most.
pub const LONGEST: Duration = Duration::days(30);
/// How long it may rest.
pub const RESTS: Duration = Duration::days(7);

/// A session just made.
#[derive(Debug)]
pub struct Made {
    /// Row.
    pub id: i64,
    /// What goes into the cookie.
    pub secret: String,
}

/// The token that unsafe requests of a session carry. It follows from the cookie's secret, which does not follow from it.
pub fn csrf(secret: &str) -> String {
    crate::represent::hex(&secret::digest(&format!("csrf {secret}")))
}

/// Signs an account in: a new session, and the one whose cookie came ends.
///
/// # Errors
/// The database refused, or the system gave no random numbers.
pub fn begin(connection: &mut PgConnection, account_id: i64, cookie: Option<&str>) -> Result<Made, Problem> {
    let now = clock::now(connection)?;
    let made = secret::random()?;
    if let Some(cookie) = cookie {
        diesel::delete(session::table.filter(session::hash.eq(secret::digest(cookie)))).execute(connection)?;
    }
    // Nobody asks for those that are over; they go when somebody signs in.
    let over = session::expires_at.le(now).or(session::last_used_at.le(now - RESTS));
    diesel::delete(session::table.filter(over)).execute(connection)?;
    diesel::update(account::table.find(account_id)).set(account::signed_in_at.eq(now)).execute(connection)?;
    let id = diesel::insert_into(session::table)
        .values((
            session::hash.eq(secret::digest(&made)),
            session::account_id.eq(account_id),
            session::created_at.eq(now),
            session::last_used_at.eq(now),
            session::expires_at.eq(now + LONGEST),
        ))
        .returning(session::id)
        .get_result(connection)?;
    Ok(Made { id, secret: made })
}

type Row = (i64, i64, String, String, Option<i64>, Option<String>, DateTime<Utc>, DateTime<Utc>, DateTime<Utc>);

/// The holder of a session, if it is known and not over, and its account in use. Its last use is kept to the minute.
///
/// # Errors
/// The database refused.
pub fn find(connection: &mut PgConnection, cookie: &str) -> Result<Option<Holder>, Problem> {
    let now = clock::clock_timestamp();
    let rested = session::last_used_at.gt(clock::now(connection)? - RESTS);
    let row: Option<Row> = session::table
        .inner_join(account::table.left_join(keeper::table))
        .filter(check_row!("session: unknown", session::hash.eq(secret::digest(cookie))))
        .filter(check_row!("session: over", session::expires_at.gt(now)))
        .filter(check_row!("session: rested too long", rested))
        .filter(check_row!("session: account disabled", account::disabled_at.is_null()))
        .select((
            session::id,
            account::id,
            account::handle,
            account::role,
            account::keeper_id,
            keeper::handle.nullable(),
            session::expires_at,
            session::last_used_at,
            now,
        ))
        .first(connection)
        .optional()?;
    let Some((session_id, account_id, name, role, keeper_id, keeper, expires_at, used, now)) = row else {
        return Ok(None);
    };
    if now - used >= Duration::seconds(60) {
        diesel::update(session::table.find(session_id)).set(session::last_used_at.eq(now)).execute(connection)?;
    }
    let Some(role) = Role::parse(&role) else {
        return Err(Problem::internal(&format!("account {account_id} has the unknown role '{role}'")));
    };
    Ok(Some(Holder {
        credential: Credential::Session { session_id, name, csrf: csrf(cookie) },
        token_id: None,
        account_id: Some(account_id),
        role,
        rights: role.rights().iter().copied().collect(),
        keeper_id,
        keeper,
        expires_at: Some(expires_at),
    }))
}

/// Ends one session.
///
/// # Errors
/// The database refused.
pub fn end(connection: &mut PgConnection, session_id: i64, by: &str) -> Result<(), Problem> {
    diesel::delete(session::table.find(session_id)).execute(connection)?;
    Ok(scope::note(connection, by, "sign out", &format!("session {session_id}"))?)
}

/// Ends all sessions of an account; how many there were.
///
/// # Errors
/// The database refused.
pub fn end_all(connection: &mut PgConnection, account_id: i64, by: &str) -> Result<i64, Problem> {
    let ended = diesel::delete(session::table.filter(session::account_id.eq(account_id))).execute(connection)?;
    if ended > 0 {
        scope::note(connection, by, "end sessions", &account_name(account_id))?;
    }
    i64::try_from(ended).map_err(|error| Problem::internal(&error))
}
