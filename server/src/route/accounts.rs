//! Accounts as the curator's desk sees them.

use actix_web::{HttpRequest, HttpResponse, get, patch, web};
use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

use crate::access::{Caller, account};
use crate::app::State;
use crate::body::Body;
use crate::pool;
use crate::problem::Problem;
use crate::problems;
use crate::query::{Asked, Fields, Nothing, Query};
use crate::route::page::{self, Page};

/// An account.
#[derive(Serialize, ToSchema)]
pub struct AccountShown {
    /// Number, by which the audit names it.
    #[schema(example = 2)]
    id: i64,
    /// Name to sign in with.
    #[schema(example = "osprey")]
    name: String,
    /// `reader`, `keeper` or `curator`.
    #[schema(example = "keeper")]
    role: String,
    /// Handle of the member whose records are its own.
    #[schema(example = "osprey")]
    keeper: Option<String>,
    /// Sessions that are not over.
    #[schema(example = 1)]
    sessions: i64,
    /// When it was made.
    created_at: DateTime<Utc>,
    /// Last sign-in.
    signed_in_at: Option<DateTime<Utc>>,
    /// When it was disabled; `null` = in use.
    disabled_at: Option<DateTime<Utc>>,
}

fn shown(row: account::Listed, sessions: i64) -> AccountShown {
    let account::Listed { id, name, role, keeper, created_at, signed_in_at, disabled_at } = row;
    AccountShown { id, name, role, keeper, sessions, created_at, signed_in_at, disabled_at }
}

/// A page of accounts.
#[derive(Serialize, ToSchema)]
pub struct AccountPage {
    /// In the order they were made.
    accounts: Vec<AccountShown>,
    /// The next page.
    links: page::Links,
}

/// What of an account changes.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct AccountChange {
    /// `true`: nobody signs in, every session ends and no token of the account is valid; `false`: in use again.
    #[schema(example = true)]
    disabled: Option<bool>,
    /// Ends every session of the account.
    #[serde(default)]
    #[schema(default = false, example = true)]
    end_sessions: bool,
}

/// An account that was changed.
#[derive(Serialize, ToSchema)]
pub struct AccountChanged {
    /// Sessions that were ended just now.
    #[schema(example = 1)]
    sessions_ended: i64,
    /// The account.
    #[serde(flatten)]
    account: AccountShown,
}

/// Parameters of the list.
#[derive(IntoParams)]
#[into_params(parameter_in = Query)]
pub struct AccountQuery {
    /// Items a page, 1 to 1000.
    #[param(minimum = 1, maximum = 1000, example = 50)]
    limit: i64,
    /// Where the page begins: from `links.next` of the page before.
    #[param(value_type = Option<String>)]
    cursor: Option<i64>,
}

impl Asked for AccountQuery {
    fn read(fields: &mut Fields) -> Self {
        AccountQuery { limit: page::limit(fields), cursor: page::cursor(fields, "accounts", &[]) }
    }
}

problems!(
    /// What changing an account can meet.
    AccountProblems: UnknownAccount, InvalidBody, UnsupportedMediaType, TooLarge, TooSlow, InvalidValue
);

/// List accounts
///
/// Who may sign in, and who is signed in.
#[utoipa::path(
    tag = "desk",
    security(("token" = ["admin"])),
    params(AccountQuery),
    responses((status = 200, description = "A page of accounts", body = AccountPage))
)]
#[get("/accounts")]
pub async fn list_accounts(
    request: HttpRequest,
    state: web::Data<State>,
    caller: Caller,
    query: Query<AccountQuery>,
) -> Result<HttpResponse, Problem> {
    let scope = caller.administers()?;
    let AccountQuery { limit, cursor } = query.0;
    let (rows, open) = pool::with(&state.pool, move |connection| {
        let rows = account::list(connection, &scope, cursor.unwrap_or(0), limit + 1)?;
        let ids: Vec<i64> = rows.iter().map(|row| row.id).collect();
        let open = account::sessions_of(connection, &ids)?;
        Ok((rows, open))
    })
    .await?;
    let page = Page::of(rows, limit, |row| row.id);
    let links = page.links(&request, "accounts", &[]);
    let of = |id: i64| open.iter().find(|(of, _)| *of == id).map_or(0, |(_, open)| *open);
    let accounts = page.items.into_iter().map(|row| (of(row.id), row)).map(|(open, row)| shown(row, open)).collect();
    Ok(page::send(&links).json(AccountPage { accounts, links }))
}

/// Disable an account, or end its sessions
///
/// The only curator's account that can sign in cannot be disabled.
#[utoipa::path(
    tag = "desk",
    security(("token" = ["admin"])),
    params(("id" = i64, Path, description = "Number of the account", example = 2)),
    request_body = AccountChange,
    responses((status = 200, description = "The account", body = AccountChanged), AccountProblems)
)]
#[patch("/accounts/{id}")]
pub async fn change_account(
    state: web::Data<State>,
    caller: Caller,
    path: web::Path<i64>,
    _: Query<Nothing>,
    body: Body<AccountChange>,
) -> Result<HttpResponse, Problem> {
    let scope = caller.administers()?;
    let AccountChange { disabled, end_sessions } = body.0;
    let by = caller.name();
    let changed = pool::with(&state.pool, move |connection| {
        let (row, ended) = account::change(connection, &scope, *path, (disabled, end_sessions), &by)?;
        let open = account::sessions_of(connection, &[row.id])?;
        let open = open.first().map_or(0, |(_, open)| *open);
        Ok(AccountChanged { sessions_ended: ended, account: shown(row, open) })
    })
    .await?;
    Ok(HttpResponse::Ok().insert_header(("cache-control", "private, no-cache")).json(changed))
}
