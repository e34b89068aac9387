//! Keys for programs: 256 random bits behind a prefix that secret scanners know, shown once, kept as SHA-256.

use std::collections::BTreeSet;

use chrono::{DateTime, Duration, Utc};
use diesel::prelude::*;
use sha2::{Digest, Sha256};

use migrations::schema::{audit, keeper, token};

use crate::access::{Right, Role};
use crate::problem::Problem;
use crate::represent::hex;

/// What every token begins with.
pub const PREFIX: &str = "strand_";
/// Characters of a token that lists show.
const SHOWN: usize = PREFIX.len() + 6;

/// A token that is to be made.
#[derive(Debug, Clone)]
pub struct NewToken {
    /// Its role.
    pub role: Role,
    /// Its rights; empty = all of the role.
    pub rights: Vec<Right>,
    /// Handle of the keeper whose records it opens; needed for keepers.
    pub keeper: Option<String>,
    /// Make the keeper if there is none of that handle.
    pub create_keeper: bool,
    /// What it is for, in its owner's words.
    pub label: Option<String>,
    /// Days until it expires; `None` = never.
    pub expires_days: Option<u32>,
}

/// A token just made: the only moment at which it can be read.
#[derive(Debug, Clone)]
pub struct Issued {
    /// Number of the token.
    pub id: i64,
    /// The token.
    pub secret: String,
}

/// A token could not be made.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum IssueError {
    /// A keeper's token without a keeper.
    #[error("token, role keeper: whose records it opens is missing; name the keeper")]
    KeeperMissing,
    /// No such keeper.
    #[error("keeper, '{0}': not known; check the spelling, or say that the keeper is to be made")]
    KeeperUnknown(String),
    /// A handle that cannot be one.
    #[error("keeper, '{0}': not a handle; use 1 to 80 characters without spaces at either end")]
    HandleInvalid(String),
    /// A right beyond the role.
    #[error("scope, '{right}': a {role} cannot hold it; a {role} can hold {allowed}", right = .0.as_str(), role = .1.as_str(), allowed = words(.1.rights()))]
    RightBeyondRole(Right, Role),
    /// The database failed.
    #[error("database, token: {0}")]
    Database(#[from] diesel::result::Error),
    /// The system gave no random numbers.
    #[error("random numbers, this machine: {0}")]
    Random(String),
}

fn words(rights: &[Right]) -> String {
    rights.iter().map(|right| right.as_str()).collect::<Vec<_>>().join(", ")
}

/// Makes a token and writes it into the audit; `by` is who asked for it.
///
/// # Errors
/// See [`IssueError`]; nothing is made then.
pub fn issue(
    connection: &mut PgConnection,
    new: &NewToken,
    by: &str,
    now: DateTime<Utc>,
) -> Result<Issued, IssueError> {
    if let Some(right) = new.rights.iter().find(|right| !new.role.rights().contains(right)) {
        return Err(IssueError::RightBeyondRole(*right, new.role));
    }
    let rights = if new.rights.is_empty() { new.role.rights().to_vec() } else { new.rights.clone() };
    let rights: BTreeSet<Right> = rights.into_iter().collect();
    if new.role == Role::Keeper && new.keeper.is_none() {
        return Err(IssueError::KeeperMissing);
    }
    let mut random = [0u8; 32];
    getrandom::fill(&mut random).map_err(|error| IssueError::Random(error.to_string()))?;
    let secret = format!("{PREFIX}{}", hex(&random));
    connection.transaction(|connection| {
        let keeper_id = match &new.keeper {
            None => None,
            Some(handle) => Some(keeper_of(connection, handle, new.create_keeper)?),
        };
        let id: i64 = diesel::insert_into(token::table)
            .values((
                token::hash.eq(digest(&secret)),
                token::prefix.eq(&secret[..SHOWN]),
                token::label.eq(&new.label),
                token::role.eq(new.role.as_str()),
                token::scopes.eq(rights.iter().map(|right| right.as_str()).collect::<Vec<_>>()),
                token::keeper_id.eq(keeper_id),
                token::created_at.eq(now),
                token::expires_at.eq(new.expires_days.map(|days| now + Duration::days(i64::from(days)))),
            ))
            .returning(token::id)
            .get_result(connection)?;
        note(connection, by, "issue token", id)?;
        Ok(Issued { id, secret })
    })
}

fn keeper_of(connection: &mut PgConnection, handle: &str, create: bool) -> Result<i64, IssueError> {
    if !super::keeper::is_handle(handle) {
        return Err(IssueError::HandleInvalid(handle.to_owned()));
    }
    if let Some(known) = super::keeper::find(connection, handle)? {
        return Ok(known.id);
    }
    if !create {
        return Err(IssueError::KeeperUnknown(handle.to_owned()));
    }
    Ok(diesel::insert_into(keeper::table)
        .values(keeper::handle.eq(handle))
        .returning(keeper::id)
        .get_result(connection)?)
}

fn note(connection: &mut PgConnection, by: &str, action: &str, id: i64) -> QueryResult<()> {
    diesel::insert_into(audit::table)
        .values((audit::actor.eq(by), audit::action.eq(action), audit::subject.eq(format!("token {id}"))))
        .execute(connection)
        .map(drop)
}

fn digest(secret: &str) -> Vec<u8> {
    Sha256::digest(secret.as_bytes()).to_vec()
}

/// The holder of a valid token.
#[derive(Debug, Clone)]
pub struct Holder {
    /// Number of the token.
    pub token_id: i64,
    /// Its first characters.
    pub prefix: String,
    /// Its role.
    pub role: Role,
    /// Its rights.
    pub rights: BTreeSet<Right>,
    /// Whose records it opens.
    pub keeper_id: Option<i64>,
    /// That keeper's handle.
    pub keeper: Option<String>,
    /// When it expires.
    pub expires_at: Option<DateTime<Utc>>,
}

type Row =
    (i64, String, String, Vec<String>, Option<i64>, Option<String>, Option<DateTime<Utc>>, Option<DateTime<Utc>>);

/// The holder of a token, if it is known, not expired and not withdrawn. Its last use is kept to the minute.
pub fn find(connection: &mut PgConnection, secret: &str, now: DateTime<Utc>) -> Result<Option<Holder>, Problem> {
    let row: Option<Row> = token::table
        .left_join(keeper::table)
        .filter(token::hash.eq(digest(secret)))
        .filter(token::revoked_at.is_null())
        .filter(token::expires_at.is_null().or(token::expires_at.gt(now)))
        .select((
            token::id,
            token::prefix,
            token::role,
            token::scopes,
            token::keeper_id,
            keeper::handle.nullable(),
            token::expires_at,
            token::last_used_at,
        ))
        .first(connection)
        .optional()?;
    let Some((token_id, prefix, role, scopes, keeper_id, keeper, expires_at, last_used_at)) = row else {
        return Ok(None);
    };
    if last_used_at.is_none_or(|used| now - used >= Duration::seconds(60)) {
        diesel::update(token::table.find(token_id)).set(token::last_used_at.eq(now)).execute(connection)?;
    }
    let Some(role) = Role::parse(&role) else {
        return Err(Problem::internal(&format!("token {token_id} has the unknown role '{role}'")));
    };
    let rights = scopes.iter().filter_map(|scope| Right::parse(scope)).collect();
    Ok(Some(Holder { token_id, prefix, role, rights, keeper_id, keeper, expires_at }))
}

/// A token as lists show it: never the token itself.
#[derive(Debug, Clone, Queryable)]
pub struct Listed {
    /// Number.
    pub id: i64,
    /// First characters.
    pub prefix: String,
    /// What it is for.
    pub label: Option<String>,
    /// Role.
    pub role: String,
    /// Rights.
    pub scopes: Vec<String>,
    /// Handle of the keeper whose records it opens.
    pub keeper: Option<String>,
    /// When it was made.
    pub created_at: DateTime<Utc>,
    /// When it expires.
    pub expires_at: Option<DateTime<Utc>>,
    /// Last use, to the minute.
    pub last_used_at: Option<DateTime<Utc>>,
    /// When it was withdrawn.
    pub revoked_at: Option<DateTime<Utc>>,
}

macro_rules! listed {
    () => {
        (
            token::id,
            token::prefix,
            token::label,
            token::role,
            token::scopes,
            keeper::handle.nullable(),
            token::created_at,
            token::expires_at,
            token::last_used_at,
            token::revoked_at,
        )
    };
}

/// Tokens in the order they were made, after a number; `scope` proves that the caller may administer.
pub fn list(connection: &mut PgConnection, _: &super::Scope, after: i64, limit: i64) -> Result<Vec<Listed>, Problem> {
    Ok(token::table
        .left_join(keeper::table)
        .filter(token::id.gt(after))
        .order(token::id)
        .limit(limit)
        .select(listed!())
        .load(connection)?)
}

/// One token as lists show it.
pub fn listed(connection: &mut PgConnection, _: &super::Scope, id: i64) -> Result<Option<Listed>, Problem> {
    Ok(token::table.left_join(keeper::table).filter(token::id.eq(id)).select(listed!()).first(connection).optional()?)
}

/// Withdraws a token. Withdrawing it again changes nothing; `None` if there is none.
pub fn revoke(
    connection: &mut PgConnection,
    scope: &super::Scope,
    id: i64,
    by: &str,
    now: DateTime<Utc>,
) -> Result<Option<Listed>, Problem> {
    connection.transaction(|connection| {
        let changed = diesel::update(token::table.find(id).filter(token::revoked_at.is_null()))
            .set(token::revoked_at.eq(now))
            .execute(connection)?;
        if changed > 0 {
            note(connection, by, "revoke token", id)?;
        }
        listed(connection, scope, id)
    })
}
