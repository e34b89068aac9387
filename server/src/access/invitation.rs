//! Links with which somebody makes an account, or chooses a new password for one. The secret is in the link and nowhere
//! else; a link that is wrong, used, expired or withdrawn is the same to whoever holds it.

use chrono::{DateTime, Duration, Utc};
use diesel::prelude::*;
use migrations::schema::{account as accounts, invitation, keeper};

use super::check::{check, check_row};
use super::client::Client;
use super::guess::{self, Counter};
use super::holder::account_name;
use super::secret::{self, Secret};
use super::session::{self, Made};
use super::{Role, Scope, account, clock, password, scope};
use crate::pool::{self, Pool};
use crate::problem::{Fault, Kind, Problem};

/// Days that an invitation lasts if nothing is said, and at most.
pub const DAYS: (u32, u32) = (7, 60);

/// Whom to invite.
#[derive(Debug, Clone)]
pub enum Invited {
    /// Somebody new, with a role; a keeper by handle, who is made on acceptance if there is none.
    New(Role, Option<String>),
    /// The holder of an account, who chooses a new password.
    Account(i64),
}

/// An invitation as lists show it: never its secret.
#[derive(Debug, Clone, Queryable)]
pub struct Listed {
    /// Number.
    pub id: i64,
    /// Role of the account.
    pub role: String,
    /// Handle of the keeper whose records will be the account's own.
    pub keeper: Option<String>,
    /// Handle of a keeper who is still to be made.
    pub new_keeper: Option<String>,
    /// The account that was made, or that gets a new password.
    pub account: Option<i64>,
    /// Who invites.
    pub made_by: String,
    /// When it was made.
    pub created_at: DateTime<Utc>,
    /// When it expires.
    pub expires_at: DateTime<Utc>,
    /// When it was used.
    pub accepted_at: Option<DateTime<Utc>>,
    /// When it was withdrawn.
    pub revoked_at: Option<DateTime<Utc>>,
}

macro_rules! listed {
    () => {
        (
            invitation::id,
            invitation::role,
            keeper::handle.nullable(),
            invitation::new_keeper,
            invitation::account_id,
            invitation::made_by,
            invitation::created_at,
            invitation::expires_at,
            invitation::accepted_at,
            invitation::revoked_at,
        )
    };
}

fn note(connection: &mut PgConnection, by: &str, action: &str, id: i64) -> QueryResult<()> {
    scope::note(connection, by, action, &format!("invitation {id}"))
}

/// The refusal that tells nothing.
fn unknown() -> Problem {
    Problem::new(
        Kind::UnknownInvitation,
        "This invitation is not valid: it was used, has expired or was withdrawn. Ask whoever sent it for a new one.",
    )
}

/// Makes an invitation; gives it and its secret, which is shown now and never again.
///
/// # Errors
/// [`Kind::UnknownAccount`]; [`Kind::InvalidValue`] for a handle that is missing, cannot be one, or has no use.
pub fn make(
    connection: &mut PgConnection,
    desk: &Scope,
    (invited, days): (&Invited, u32),
    by: &str,
) -> Result<(Listed, String), Problem> {
    desk.administers()?;
    let secret = secret::random()?;
    connection.transaction(|connection| {
        let now = clock::now(connection)?;
        let (role, keeper_id, new_keeper, account_id) = match invited {
            Invited::Account(id) => {
                let of = accounts::table.find(*id).select((accounts::role, accounts::keeper_id));
                let (role, keeper_id): (String, Option<i64>) = of
                    .first(connection)
                    .optional()?
                    .ok_or_else(|| Problem::new(Kind::UnknownAccount, format!("There is no account {id}.")))?;
                (role, keeper_id, None, Some(*id))
            }
            Invited::New(role, handle) => {
                let (keeper_id, new_keeper) = keeper_of(connection, *role, handle.as_deref())?;
                (role.as_str().to_owned(), keeper_id, new_keeper, None)
            }
        };
        let id = diesel::insert_into(invitation::table)
            .values((
                invitation::hash.eq(secret::digest(&secret)),
                invitation::role.eq(role),
                invitation::keeper_id.eq(keeper_id),
                invitation::new_keeper.eq(new_keeper),
                invitation::account_id.eq(account_id),
                invitation::made_by.eq(by),
                invitation::created_at.eq(now),
                invitation::expires_at.eq(now + Duration::days(i64::from(days))),
            ))
            .returning(invitation::id)
            .get_result(connection)?;
        note(connection, by, "invite", id)?;
        let made = one(connection, id)?.ok_or_else(|| Problem::internal("an invitation vanished"))?;
        Ok((made, secret))
    })
}

fn keeper_of(
    connection: &mut PgConnection,
    role: Role,
    handle: Option<&str>,
) -> Result<(Option<i64>, Option<String>), Problem> {
    let fault = |code: &str, detail: &str| {
        Err(Problem::of_fault(Kind::InvalidValue, Fault::pointer("/keeper", code, detail.to_owned())))
    };
    match (role, handle) {
        (Role::Keeper, None) => {
            fault("missing", "'keeper' is missing; name the member whose records the account opens")
        }
        (Role::Keeper, Some(handle)) if !super::keeper::is_handle(handle) => {
            fault("invalid", "a handle has 1 to 80 characters without spaces at either end")
        }
        (Role::Keeper, Some(handle)) => Ok(match super::keeper::find(connection, handle)? {
            Some(known) => (Some(known.id), None),
            None => (None, Some(handle.to_owned())),
        }),
        (_, Some(_)) => fault("not_allowed", "only a keeper's account opens a member's records; leave 'keeper' out"),
        (_, None) => Ok((None, None)),
    }
}

fn one(connection: &mut PgConnection, id: i64) -> QueryResult<Option<Listed>> {
    let rows = invitation::table.left_join(keeper::table).filter(invitation::id.eq(id));
    rows.select(listed!()).first(connection).optional()
}

/// Invitations in the order they were made, after a number.
///
/// # Errors
/// The database refused.
pub fn list(connection: &mut PgConnection, desk: &Scope, after: i64, limit: i64) -> Result<Vec<Listed>, Problem> {
    desk.administers()?;
    let rows = invitation::table.left_join(keeper::table).filter(invitation::id.gt(after));
    Ok(rows.order(invitation::id).limit(limit).select(listed!()).load(connection)?)
}

/// Withdraws an invitation. Withdrawing it again, or one that was used, changes nothing.
///
/// # Errors
/// [`Kind::UnknownInvitation`].
pub fn revoke(connection: &mut PgConnection, desk: &Scope, id: i64, by: &str) -> Result<Listed, Problem> {
    desk.administers()?;
    connection.transaction(|connection| {
        let now = clock::now(connection)?;
        let unused = invitation::revoked_at.is_null().and(invitation::accepted_at.is_null());
        let changed = diesel::update(invitation::table.find(id).filter(unused))
            .set(invitation::revoked_at.eq(now))
            .execute(connection)?;
        if changed > 0 {
            note(connection, by, "withdraw invitation", id)?;
        }
        one(connection, id)?
            .ok_or_else(|| Problem::new(Kind::UnknownInvitation, format!("There is no invitation {id}.")))
    })
}

struct Open {
    id: i64,
    role: Role,
    keeper_id: Option<i64>,
    new_keeper: Option<String>,
    account_id: Option<i64>,
}

type Row = (i64, String, Option<i64>, Option<String>, Option<i64>);

/// The invitation of a secret, if it is valid; `lock` keeps it from being used twice at once.
fn open(connection: &mut PgConnection, given: &str, lock: bool) -> Result<Open, Problem> {
    let hash = secret::digest(given);
    if lock {
        let row = invitation::table.filter(invitation::hash.eq(&hash)).select(invitation::id).for_update();
        row.first::<i64>(connection).optional()?;
    }
    let row: Option<Row> = invitation::table
        .filter(check_row!("invitation: unknown", invitation::hash.eq(&hash)))
        .filter(check_row!("invitation: used", invitation::accepted_at.is_null()))
        .filter(check_row!("invitation: withdrawn", invitation::revoked_at.is_null()))
        .filter(check_row!("invitation: expired", invitation::expires_at.gt(clock::clock_timestamp())))
        .select((
            invitation::id,
            invitation::role,
            invitation::keeper_id,
            invitation::new_keeper,
            invitation::account_id,
        ))
        .first(connection)
        .optional()?;
    let Some((id, role, keeper_id, new_keeper, account_id)) = row else { return Err(unknown()) };
    let role = Role::parse(&role)
        .ok_or_else(|| Problem::internal(&format!("invitation {id} has the unknown role '{role}'")))?;
    Ok(Open { id, role, keeper_id, new_keeper, account_id })
}

/// Uses an invitation: makes the account, or gives one a new password, and signs in.
///
/// # Errors
/// [`Kind::UnknownInvitation`]; [`Kind::InvalidValue`] for a name or password that is not taken, which uses nothing up.
pub async fn accept(
    pool: &Pool,
    client: Client,
    given: Secret,
    name: Option<String>,
    wanted: Secret,
) -> Result<(i64, Made), Problem> {
    let (checked, shown) = (wanted.clone(), given.clone());
    let (asked, address) = (name.clone(), client.clone());
    pool::with(pool, move |connection| {
        let counter = [Counter::address(&address)];
        guess::begin(connection, &counter)?;
        let open = open(connection, &shown.0, false)?;
        guess::succeeded(connection, &counter)?;
        let name = name_of(connection, &open, asked.as_deref())?;
        let club = account::club_name(connection)?;
        let names: Vec<&str> =
            [club.as_deref(), Some(&name), open.new_keeper.as_deref()].into_iter().flatten().collect();
        let faults = password::faults("/password", &checked, &names);
        if faults.is_empty() { Ok(()) } else { Err(Problem::of_faults(Kind::InvalidValue, faults)) }
    })
    .await?;
    let hash = password::hashed(wanted).await?;
    pool::with(pool, move |connection| {
        connection.transaction(|connection| {
            let open = open(connection, &given.0, true)?;
            let name = name_of(connection, &open, name.as_deref())?;
            let by = format!("invitation {}", open.id);
            let account_id = match open.account_id {
                Some(id) => {
                    account::set_password(connection, id, &hash, &by)?;
                    guess::succeeded(connection, &[Counter::name(&name)])?;
                    id
                }
                None => new_account(connection, &open, &name, &hash, &by)?,
            };
            let now = clock::now(connection)?;
            diesel::update(invitation::table.find(open.id))
                .set((invitation::accepted_at.eq(now), invitation::account_id.eq(account_id)))
                .execute(connection)?;
            note(connection, &account_name(account_id), "accept invitation", open.id)?;
            Ok((account_id, session::begin(connection, account_id, client.cookie())?))
        })
    })
    .await
}

/// The name of the account: the one that is asked for, or the one it has.
fn name_of(connection: &mut PgConnection, open: &Open, asked: Option<&str>) -> Result<String, Problem> {
    let fault = |fault| Err(Problem::of_fault(Kind::InvalidValue, fault));
    match (open.account_id, asked) {
        (Some(id), None) => {
            let row = accounts::table.find(id).select((accounts::handle, accounts::disabled_at));
            let (name, disabled): (String, Option<DateTime<Utc>>) = row.first(connection)?;
            if check!("invitation: account disabled", disabled.is_none()) { Ok(name) } else { Err(unknown()) }
        }
        (Some(_), Some(_)) => fault(Fault::pointer(
            "/name",
            "not_allowed",
            "this invitation is for an account that has its name; leave 'name' out",
        )),
        (None, None) => fault(Fault::pointer("/name", "missing", "'name' is missing; choose one to sign in with")),
        (None, Some(name)) => match account::name_fault(connection, name)? {
            Some(found) => fault(found),
            None => Ok(name.to_owned()),
        },
    }
}

fn new_account(
    connection: &mut PgConnection,
    open: &Open,
    name: &str,
    password_hash: &str,
    by: &str,
) -> Result<i64, Problem> {
    let keeper_id = match (&open.new_keeper, open.keeper_id) {
        (Some(handle), _) => Some(match super::keeper::find(connection, handle)? {
            Some(known) => known.id,
            None => {
                let made: i64 = diesel::insert_into(keeper::table)
                    .values(keeper::handle.eq(handle))
                    .returning(keeper::id)
                    .get_result(connection)?;
                scope::note(connection, by, "make keeper", &format!("keeper {made}"))?;
                made
            }
        }),
        (None, keeper_id) => keeper_id,
    };
    diesel::update(invitation::table.find(open.id))
        .set((invitation::keeper_id.eq(keeper_id), invitation::new_keeper.eq(None::<String>)))
        .execute(connection)?;
    let id = account::make(connection, &account::New { name, password_hash, role: open.role, keeper_id })?;
    scope::note(connection, by, "make account", &account_name(id))?;
    Ok(id)
}
