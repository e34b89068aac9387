//! Keys for programs: 256 random bits behind a prefix that secret scanners know, shown once, kept as SHA-256.

use std::collections::BTreeSet;

use chrono::{DateTime, Duration, Utc};
use diesel::prelude::*;

use migrations::schema::{account, keeper, token};

use super::check::{check, check_row};
use super::holder::{Credential, Holder};
use super::secret::{self, digest};
use super::{Right, Role, clock};
use crate::problem::Problem;

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
    /// The account whose it is: it ends with the account.
    pub account_id: Option<i64>,
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
pub fn issue(connection: &mut PgConnection, new: &NewToken, by: &str) -> Result<Issued, IssueError> {
    if let Some(right) = new.rights.iter().find(|right| !new.role.rights().contains(right)) {
        return Err(IssueError::RightBeyondRole(*right, new.role));
    }
    let rights = if new.rights.is_empty() { new.role.rights().to_vec() } else { new.rights.clone() };
    let rights: BTreeSet<Right> = rights.into_iter().collect();
    if new.role == Role::Keeper && new.keeper.is_none() {
        return Err(IssueError::KeeperMissing);
    }
    let random = secret::random().map_err(|problem| IssueError::Random(problem.detail.clone()))?;
    let secret = format!("{PREFIX}{random}");
    connection.transaction(|connection| {
        let now = clock::now(connection)?;
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
                token::account_id.eq(new.account_id),
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
    super::scope::note(connection, by, action, &format!("token {id}"))
}

type Row = (
    (i64, String, String, Vec<String>, Option<i64>, Option<String>, Option<i64>),
    (Option<DateTime<Utc>>, Option<DateTime<Utc>>, DateTime<Utc>),
);

/// The holder of a token, if it is known, not expired and not withdrawn, and its account, if it has one, in use. Its last
/// use is kept to the minute.
///
/// # Errors
/// The database refused.
pub fn find(connection: &mut PgConnection, secret: &str) -> Result<Option<Holder>, Problem> {
    let now = clock::clock_timestamp();
    let lasts = token::expires_at.is_null().or(token::expires_at.gt(now.nullable()));
    let row: Option<Row> = token::table
        .left_join(keeper::table)
        .left_join(account::table)
        .filter(check_row!("token: unknown", token::hash.eq(digest(secret))))
        .filter(check_row!("token: withdrawn", token::revoked_at.is_null()))
        .filter(check_row!("token: expired", lasts))
        .filter(check_row!("token: account disabled", account::disabled_at.is_null()))
        .select((
            (
                token::id,
                token::prefix,
                token::role,
                token::scopes,
                token::keeper_id,
                keeper::handle.nullable(),
                token::account_id,
            ),
            (token::expires_at, token::last_used_at, now),
        ))
        .first(connection)
        .optional()?;
    let Some((of, (expires_at, last_used_at, now))) = row else { return Ok(None) };
    let (token_id, prefix, role, scopes, keeper_id, keeper, account_id) = of;
    if last_used_at.is_none_or(|used| now - used >= Duration::seconds(60)) {
        diesel::update(token::table.find(token_id)).set(token::last_used_at.eq(now)).execute(connection)?;
    }
    let Some(role) = Role::parse(&role) else {
        return Err(Problem::internal(&format!("token {token_id} has the unknown role '{role}'")));
    };
    let rights = scopes.iter().filter_map(|scope| Right::parse(scope)).collect();
    let credential = Credential::Token { prefix };
    Ok(Some(Holder { credential, token_id: Some(token_id), account_id, role, rights, keeper_id, keeper, expires_at }))
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

/// Whose tokens are meant.
#[derive(Debug, Clone, Copy)]
pub enum Of {
    /// Everybody's: the scope proves that the caller may administer.
    Everybody(super::Scope),
    /// One account's own.
    Account(i64),
}

/// Tokens in the order they were made, after a number.
///
/// # Errors
/// The database refused.
pub fn list(connection: &mut PgConnection, of: Of, after: i64, limit: i64) -> Result<Vec<Listed>, Problem> {
    let rows = within(of)?.filter(token::id.gt(after)).order(token::id).limit(limit);
    Ok(rows.select(listed!()).load(connection)?)
}

/// One token as lists show it.
///
/// # Errors
/// The database refused.
pub fn listed(connection: &mut PgConnection, of: Of, id: i64) -> Result<Option<Listed>, Problem> {
    Ok(within(of)?.filter(token::id.eq(id)).select(listed!()).first(connection).optional()?)
}

type Joined = diesel::dsl::IntoBoxed<'static, diesel::dsl::LeftJoin<token::table, keeper::table>, diesel::pg::Pg>;

fn within(of: Of) -> Result<Joined, Problem> {
    let rows = token::table.left_join(keeper::table).into_boxed();
    match of {
        Of::Everybody(scope) => scope.administers().map(|()| rows),
        Of::Account(_) if check!("own tokens: another's", false) => Ok(rows),
        Of::Account(account_id) => Ok(rows.filter(token::account_id.eq(account_id))),
    }
}

/// Withdraws a token. Withdrawing it again changes nothing; `None` if there is none.
///
/// # Errors
/// The database refused.
pub fn revoke(connection: &mut PgConnection, of: Of, id: i64, by: &str) -> Result<Option<Listed>, Problem> {
    connection.transaction(|connection| {
        if listed(connection, of, id)?.is_none() {
            return Ok(None);
        }
        let now = clock::now(connection)?;
        let changed = diesel::update(token::table.find(id).filter(token::revoked_at.is_null()))
            .set(token::revoked_at.eq(now))
            .execute(connection)?;
        if changed > 0 {
            note(connection, by, "revoke token", id)?;
        }
        listed(connection, of, id)
    })
}
