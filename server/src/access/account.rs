//! People who sign in: by name and password, found, listed, disabled.

use chrono::{DateTime, Utc};
use diesel::prelude::*;
use migrations::schema::{account, club_setting, keeper, session};

use super::check::check;
use super::client::Client;
use super::guess::{self, Counter};
use super::holder::account_name;
use super::keeper::lower;
use super::secret::Secret;
use super::session::{self as sessions, Made};
use super::{Role, Scope, clock, password, scope};
use crate::pool::{self, Pool};
use crate::problem::{Fault, Kind, Problem};

/// An account as lists show it: never its password, not even hashed.
#[derive(Debug, Clone, Queryable)]
pub struct Listed {
    /// Number.
    pub id: i64,
    /// Name to sign in with.
    pub name: String,
    /// Role.
    pub role: String,
    /// Handle of the keeper whose records are its own.
    pub keeper: Option<String>,
    /// When it was made.
    pub created_at: DateTime<Utc>,
    /// Last sign-in.
    pub signed_in_at: Option<DateTime<Utc>>,
    /// When it was disabled.
    pub disabled_at: Option<DateTime<Utc>>,
}

macro_rules! listed {
    () => {
        (
            account::id,
            account::handle,
            account::role,
            keeper::handle.nullable(),
            account::created_at,
            account::signed_in_at,
            account::disabled_at,
        )
    };
}

/// The refusal of a sign-in: it does not tell whether there is such a name.
fn refused() -> Problem {
    Problem::new(Kind::WrongPassword, "Name and password do not fit. Whoever forgot a password asks a curator.")
        .header(actix_web::http::header::WWW_AUTHENTICATE, "Bearer realm=\"strandline\"")
}

/// The name of the club, by which nobody's password may be made alone.
pub(super) fn club_name(connection: &mut PgConnection) -> QueryResult<Option<String>> {
    let value: Option<serde_json::Value> =
        club_setting::table.find("name").select(club_setting::value).first(connection).optional()?;
    Ok(value.and_then(|value| value.as_str().map(str::to_owned)))
}

/// A new account.
pub(super) struct New<'a> {
    pub name: &'a str,
    pub password_hash: &'a str,
    pub role: Role,
    pub keeper_id: Option<i64>,
}

/// The fault of a name that is taken or cannot be one.
pub(super) fn name_fault(connection: &mut PgConnection, name: &str) -> QueryResult<Option<Fault>> {
    let at = |code, detail: &str| Some(Fault::pointer("/name", code, detail));
    if !super::keeper::is_handle(name) {
        return Ok(at("invalid", "a name has 1 to 80 characters without spaces at either end"));
    }
    let taken: bool =
        diesel::select(diesel::dsl::exists(account::table.filter(lower(account::handle).eq(lower(name)))))
            .get_result(connection)?;
    Ok(if taken { at("taken", "this name is taken, whatever the case of its letters; choose another") } else { None })
}

pub(super) fn make(connection: &mut PgConnection, new: &New) -> QueryResult<i64> {
    diesel::insert_into(account::table)
        .values((
            account::handle.eq(new.name),
            account::password.eq(new.password_hash),
            account::role.eq(new.role.as_str()),
            account::keeper_id.eq(new.keeper_id),
        ))
        .returning(account::id)
        .get_result(connection)
}

type Found = (i64, String, Option<DateTime<Utc>>);

/// Signs in by name and password: the account and its new session. Refusals look alike, whatever the reason, and
/// take as long.
///
/// # Errors
/// [`Kind::WrongPassword`]; [`Kind::QuotaExceeded`] after too many failures.
pub async fn sign_in(pool: &Pool, client: Client, name: String, given: Secret) -> Result<(i64, Made), Problem> {
    let counters = [Counter::name(&name), Counter::address(&client)];
    let counted = counters.clone();
    let found: Option<Found> = pool::with(pool, move |connection| {
        guess::begin(connection, &counted)?;
        let of = account::table.filter(lower(account::handle).eq(lower(name)));
        Ok(of.select((account::id, account::password, account::disabled_at)).first(connection).optional()?)
    })
    .await?;
    let fits = password::fits(given, found.as_ref().map(|(_, hash, _)| hash.clone())).await?;
    pool::with(pool, move |connection| {
        let Some((id, _, disabled_at)) = found else { return Err(refused()) };
        let enabled = check!("sign-in: account disabled", disabled_at.is_none());
        if !(check!("sign-in: wrong password", fits) && enabled) {
            scope::note(connection, "public", "fail to sign in", &account_name(id))?;
            return Err(refused());
        }
        connection.transaction(|connection| {
            guess::succeeded(connection, &counters)?;
            let made = sessions::begin(connection, id, client.cookie())?;
            scope::note(connection, &account_name(id), "sign in", &format!("session {}", made.id))?;
            Ok((id, made))
        })
    })
    .await
}

/// Changes an account's own password: every session of it ends, and a new one begins.
///
/// # Errors
/// [`Kind::WrongPassword`] for the present one; [`Kind::InvalidValue`] where the new one is not taken.
pub async fn change_password(
    pool: &Pool,
    client: Client,
    account_id: i64,
    present: Secret,
    wanted: Secret,
) -> Result<(i64, Made), Problem> {
    let address = client.clone();
    let checked = wanted.clone();
    let (name, hash) = pool::with(pool, move |connection| {
        let (name, hash): (String, String) =
            account::table.find(account_id).select((account::handle, account::password)).first(connection)?;
        let club = club_name(connection)?;
        let names: Vec<&str> = club.as_deref().into_iter().chain([name.as_str()]).collect();
        let faults = password::faults("/new", &checked, &names);
        if !faults.is_empty() {
            return Err(Problem::of_faults(Kind::InvalidValue, faults));
        }
        guess::begin(connection, &[Counter::name(&name), Counter::address(&address)])?;
        Ok((name, hash))
    })
    .await?;
    let fits = password::fits(present, Some(hash)).await?;
    if !check!("change of password: wrong password", fits) {
        let failed = move |connection: &mut PgConnection| {
            let by = account_name(account_id);
            Ok(scope::note(connection, &by, "fail to change password", &by)?)
        };
        pool::with(pool, failed).await?;
        return Err(refused());
    }
    let hash = password::hashed(wanted).await?;
    pool::with(pool, move |connection| {
        connection.transaction(|connection| {
            guess::succeeded(connection, &[Counter::name(&name), Counter::address(&client)])?;
            set_password(connection, account_id, &hash, &account_name(account_id))?;
            Ok((account_id, sessions::begin(connection, account_id, client.cookie())?))
        })
    })
    .await
}

/// An account of the demo: made, or given a new password, which is random and given back. For whoever runs the command
/// on the database itself.
///
/// # Errors
/// The database refused, or the system gave no random numbers.
pub fn of_demo(connection: &mut PgConnection, name: &str, role: Role, keeper: Option<&str>) -> Result<String, Problem> {
    let random = super::secret::random()?;
    let words: Vec<&str> = (0..4).map(|at| &random[at * 5..at * 5 + 5]).collect();
    let password = words.join(" ");
    let hash = password::hashed_now(&password).map_err(|error| Problem::internal(&error))?;
    connection.transaction(|connection| {
        let keeper_id = match keeper {
            Some(handle) => super::keeper::find(connection, handle)?.map(|known| known.id),
            None => None,
        };
        let of = account::table.filter(lower(account::handle).eq(lower(name))).select(account::id);
        match of.first::<i64>(connection).optional()? {
            Some(id) => set_password(connection, id, &hash, "demo")?,
            None => {
                make(connection, &New { name, password_hash: &hash, role, keeper_id })?;
            }
        }
        Ok(password)
    })
}

/// Writes a new password; every session of the account ends.
pub(super) fn set_password(connection: &mut PgConnection, id: i64, hash: &str, by: &str) -> Result<(), Problem> {
    let now = clock::now(connection)?;
    diesel::update(account::table.find(id))
        .set((account::password.eq(hash), account::password_set_at.eq(now)))
        .execute(connection)?;
    sessions::end_all(connection, id, by)?;
    Ok(scope::note(connection, by, "change password", &account_name(id))?)
}

/// Accounts in the order they were made, after a number.
///
/// # Errors
/// The database refused.
pub fn list(connection: &mut PgConnection, desk: &Scope, after: i64, limit: i64) -> Result<Vec<Listed>, Problem> {
    desk.administers()?;
    let rows = account::table.left_join(keeper::table).filter(account::id.gt(after)).order(account::id).limit(limit);
    Ok(rows.select(listed!()).load(connection)?)
}

/// One account.
///
/// # Errors
/// [`Kind::UnknownAccount`].
pub fn one(connection: &mut PgConnection, id: i64) -> Result<Listed, Problem> {
    let row = account::table.left_join(keeper::table).filter(account::id.eq(id)).select(listed!()).first(connection);
    row.optional()?.ok_or_else(|| Problem::new(Kind::UnknownAccount, format!("There is no account {id}.")))
}

/// Disables an account, or takes it into use again; ends its sessions. Ends of sessions are counted.
///
/// # Errors
/// [`Kind::UnknownAccount`]; [`Kind::InvalidValue`] for the last curator's account.
pub fn change(
    connection: &mut PgConnection,
    desk: &Scope,
    id: i64,
    (disabled, end_sessions): (Option<bool>, bool),
    by: &str,
) -> Result<(Listed, i64), Problem> {
    desk.administers()?;
    connection.transaction(|connection| {
        // Two curators who disable each other at once come one after the other.
        let curators = account::table.filter(account::role.eq("curator").and(account::disabled_at.is_null()));
        let curators: Vec<i64> = curators.select(account::id).order(account::id).for_update().load(connection)?;
        let before = one(connection, id)?;
        let now = clock::now(connection)?;
        let row = account::table.find(id);
        match disabled {
            Some(true) if curators == [id] => {
                let detail = "this is the only curator who can sign in; make another first";
                return Err(Problem::of_fault(Kind::InvalidValue, Fault::pointer("/disabled", "conflict", detail)));
            }
            Some(true) if before.disabled_at.is_none() => {
                diesel::update(row).set(account::disabled_at.eq(now)).execute(connection)?;
                scope::note(connection, by, "disable account", &account_name(id))?;
            }
            Some(false) if before.disabled_at.is_some() => {
                diesel::update(row).set(account::disabled_at.eq(None::<DateTime<Utc>>)).execute(connection)?;
                scope::note(connection, by, "enable account", &account_name(id))?;
            }
            _ => {}
        }
        let ended = if end_sessions || disabled == Some(true) { sessions::end_all(connection, id, by)? } else { 0 };
        Ok((one(connection, id)?, ended))
    })
}

/// Sessions of an account that are not over.
///
/// # Errors
/// The database refused.
pub fn sessions_of(connection: &mut PgConnection, ids: &[i64]) -> Result<Vec<(i64, i64)>, Problem> {
    let now = clock::now(connection)?;
    let open = session::expires_at.gt(now).and(session::last_used_at.gt(now - sessions::RESTS));
    let rows = session::table.filter(session::account_id.eq_any(ids)).filter(open).group_by(session::account_id);
    Ok(rows.select((session::account_id, diesel::dsl::count_star())).load(connection)?)
}
