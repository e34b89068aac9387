//! Keys for the programs of whoever is signed in: never more than they may do themselves.

use actix_web::{HttpRequest, HttpResponse, delete, get, post, web};
use serde::Deserialize;
use utoipa::ToSchema;

use crate::access::token::{self, Of};
use crate::access::{Caller, NewToken, Right};
use crate::app::State;
use crate::body::Body;
use crate::pool;
use crate::problem::{Kind, Problem};
use crate::query::{Nothing, Query};
use crate::route::page::{self, Page};
use crate::route::tokens::{self, NoSuchToken, TokenListed, TokenMade, TokenPage, TokenProblems, TokenQuery};

/// A token of one's own to be made: of one's own role, for one's own records.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct OwnTokenRequest {
    /// `read`, `upload`, `admin`; without it all that one's role can hold.
    #[schema(example = json!(["read"]))]
    scopes: Option<Vec<String>>,
    /// Days until it expires, 1 to 3650; without it a year.
    #[schema(minimum = 1, maximum = 3650, default = 365, example = 90)]
    expires_days: Option<u32>,
    /// What it is for.
    #[schema(max_length = 200, example = "spreadsheet")]
    label: Option<String>,
}

/// Days that a token of one's own lasts if nothing is said.
const DAYS: u32 = 365;

/// Make a token of one's own
///
/// For somebody who is signed in; a token makes no tokens. It ends with the account. It is in the answer and nowhere
/// else: only its SHA-256 is kept.
#[utoipa::path(
    tag = "people",
    security(("session" = [])),
    request_body = OwnTokenRequest,
    responses((status = 201, description = "The token", body = TokenMade), TokenProblems)
)]
#[post("/me/tokens")]
pub async fn create_own_token(
    state: web::Data<State>,
    caller: Caller,
    _: Query<Nothing>,
    body: Body<OwnTokenRequest>,
) -> Result<HttpResponse, Problem> {
    let account_id = caller.signed_in()?.account_id;
    let OwnTokenRequest { scopes, expires_days, label } = body.0;
    let mut faults = Vec::new();
    let asked: Vec<Right> = tokens::rights(scopes.as_deref(), &mut faults);
    faults.extend(tokens::marks(expires_days, label.as_deref()));
    if !faults.is_empty() {
        return Err(Problem::of_faults(Kind::InvalidBody, faults));
    }
    let holder = caller.somebody()?;
    let new = NewToken {
        role: holder.role,
        rights: asked,
        keeper: holder.keeper.clone(),
        create_keeper: false,
        label,
        expires_days: Some(expires_days.unwrap_or(DAYS)),
        account_id: Some(account_id),
    };
    let by = caller.name();
    let made =
        pool::with(&state.pool, move |connection| tokens::made(connection, &new, Of::Account(account_id), &by)).await?;
    Ok(HttpResponse::Created().insert_header(("cache-control", "no-store")).json(made))
}

/// List one's own tokens
///
/// Those that the account made, with their last use, never the tokens themselves.
#[utoipa::path(
    tag = "people",
    security(("session" = [])),
    params(TokenQuery),
    responses((status = 200, description = "A page of tokens", body = TokenPage))
)]
#[get("/me/tokens")]
pub async fn list_own_tokens(
    request: HttpRequest,
    state: web::Data<State>,
    caller: Caller,
    query: Query<TokenQuery>,
) -> Result<HttpResponse, Problem> {
    let of = Of::Account(caller.signed_in()?.account_id);
    let TokenQuery { limit, cursor } = query.0;
    let rows =
        pool::with(&state.pool, move |connection| token::list(connection, of, cursor.unwrap_or(0), limit + 1)).await?;
    let page = Page::of(rows, limit, |row| row.id);
    let links = page.links(&request, "tokens", &[]);
    let tokens = page.items.into_iter().map(TokenListed::from).collect();
    Ok(page::send(&links).json(TokenPage { tokens, links }))
}

/// Withdraw a token of one's own
///
/// It is not valid from then on. Withdrawing it again changes nothing and gives the same answer.
#[utoipa::path(
    tag = "people",
    security(("session" = [])),
    params(("id" = i64, Path, description = "Number of the token", example = 3)),
    responses((status = 200, description = "The token, withdrawn", body = TokenListed), NoSuchToken)
)]
#[delete("/me/tokens/{id}")]
pub async fn revoke_own_token(
    state: web::Data<State>,
    caller: Caller,
    path: web::Path<i64>,
    _: Query<Nothing>,
) -> Result<HttpResponse, Problem> {
    let of = Of::Account(caller.signed_in()?.account_id);
    let (id, by) = (path.into_inner(), caller.name());
    let revoked = pool::with(&state.pool, move |connection| {
        token::revoke(connection, of, id, &by)?
            .ok_or_else(|| Problem::new(Kind::UnknownToken, format!("There is no token {id} of this account.")))
    })
    .await?;
    Ok(HttpResponse::Ok().insert_header(("cache-control", "private, no-cache")).json(TokenListed::from(revoked)))
}
