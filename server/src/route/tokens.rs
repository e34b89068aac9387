//! Keys for programs: made, listed and withdrawn by a curator.

use actix_web::{HttpRequest, HttpResponse, delete, get, post, web};
use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

use crate::access::token::Of;
use crate::access::{Caller, IssueError, NewToken, Right, Role, token};
use crate::app::State;
use crate::body::Body;
use crate::pool;
use crate::problem::{Fault, Kind, Problem};
use crate::problems;
use crate::query::{Asked, Fields, Nothing, Query, hint};
use crate::route::page::{self, Page};

/// A token to be made.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct TokenRequest {
    /// `reader`, `keeper` or `curator`.
    #[schema(example = "keeper")]
    role: String,
    /// Handle of the member whose records it opens; needed for keepers.
    #[schema(example = "osprey")]
    keeper: Option<String>,
    /// Make the member if there is none of that handle.
    #[serde(default)]
    #[schema(default = false, example = true)]
    create: bool,
    /// `read`, `upload`, `admin`; without it all that the role can hold.
    #[schema(example = json!(["read", "upload"]))]
    scopes: Option<Vec<String>>,
    /// Days until it expires, 1 to 3650; without it never.
    #[schema(minimum = 1, maximum = 3650, example = 365)]
    expires_days: Option<u32>,
    /// What it is for.
    #[schema(max_length = 200, example = "phone")]
    label: Option<String>,
}

/// A token just made.
#[derive(Serialize, ToSchema)]
pub struct TokenMade {
    /// The token: shown now and never again.
    #[schema(example = "strand_…")]
    token: String,
    /// What lists show of it.
    #[serde(flatten)]
    listed: TokenListed,
}

/// A token as lists show it.
#[derive(Serialize, ToSchema)]
pub struct TokenListed {
    /// Number.
    #[schema(example = 3)]
    id: i64,
    /// First characters.
    #[schema(example = "strand_3f9a1c")]
    prefix: String,
    /// What it is for.
    label: Option<String>,
    /// Role.
    #[schema(example = "keeper")]
    role: String,
    /// Scopes.
    #[schema(example = json!(["read", "upload"]))]
    scopes: Vec<String>,
    /// Handle of the member whose records it opens.
    #[schema(example = "osprey")]
    keeper: Option<String>,
    /// When it was made.
    created_at: DateTime<Utc>,
    /// When it expires; `null` = never.
    expires_at: Option<DateTime<Utc>>,
    /// Last use, to the minute.
    last_used_at: Option<DateTime<Utc>>,
    /// When it was withdrawn.
    revoked_at: Option<DateTime<Utc>>,
}

impl From<token::Listed> for TokenListed {
    fn from(row: token::Listed) -> Self {
        TokenListed {
            id: row.id,
            prefix: row.prefix,
            label: row.label,
            role: row.role,
            scopes: row.scopes,
            keeper: row.keeper,
            created_at: row.created_at,
            expires_at: row.expires_at,
            last_used_at: row.last_used_at,
            revoked_at: row.revoked_at,
        }
    }
}

/// A page of tokens.
#[derive(Serialize, ToSchema)]
pub struct TokenPage {
    /// In the order they were made.
    pub tokens: Vec<TokenListed>,
    /// The next page.
    pub links: page::Links,
}

/// Parameters of the list.
#[derive(IntoParams)]
#[into_params(parameter_in = Query)]
pub struct TokenQuery {
    /// Items a page, 1 to 1000.
    #[param(minimum = 1, maximum = 1000, example = 50)]
    pub limit: i64,
    /// Where the page begins: from `links.next` of the page before.
    #[param(value_type = Option<String>)]
    pub cursor: Option<i64>,
}

impl Asked for TokenQuery {
    fn read(fields: &mut Fields) -> Self {
        TokenQuery { limit: page::limit(fields), cursor: page::cursor(fields, "tokens", &[]) }
    }
}

problems!(
    /// What making a token can meet.
    TokenProblems: InvalidBody, UnsupportedMediaType, TooLarge, TooSlow, InvalidValue
);
problems!(
    /// No such token.
    NoSuchToken: UnknownToken
);

/// The rights of the scopes that are named; none = all of the role.
pub fn rights(scopes: Option<&[String]>, faults: &mut Vec<Fault>) -> Vec<Right> {
    let mut rights = Vec::new();
    for (at, scope) in scopes.into_iter().flatten().enumerate() {
        match Right::parse(scope) {
            Some(right) => rights.push(right),
            None => {
                let known = Right::ALL.iter().map(|right| right.as_str());
                let detail = format!("'{scope}' is no scope; {}", hint(scope, known));
                faults.push(Fault::pointer(format!("/scopes/{at}"), "unknown", detail));
            }
        }
    }
    if scopes.is_some_and(<[String]>::is_empty) {
        faults.push(Fault::pointer("/scopes", "invalid", "'scopes' is empty; name at least one or leave it out"));
    }
    rights
}

/// Faults of how long a token lasts and of what it is for.
pub fn marks(expires_days: Option<u32>, label: Option<&str>) -> Vec<Fault> {
    let mut faults = Vec::new();
    if expires_days.is_some_and(|days| !(1..=3650).contains(&days)) {
        faults.push(Fault::pointer("/expires_days", "invalid", "'expires_days' is not from 1 to 3650"));
    }
    if label.is_some_and(|label| label.chars().count() > 200) {
        faults.push(Fault::pointer("/label", "invalid", "'label' is longer than 200 characters"));
    }
    faults
}

fn new_token(request: TokenRequest) -> Result<NewToken, Problem> {
    let mut faults = Vec::new();
    let role = Role::parse(&request.role);
    if role.is_none() {
        let known = Role::OF_TOKENS.iter().map(|role| role.as_str());
        let detail = format!("'{}' is no role; {}", request.role, hint(&request.role, known));
        faults.push(Fault::pointer("/role", "unknown", detail));
    }
    let rights = rights(request.scopes.as_deref(), &mut faults);
    faults.extend(marks(request.expires_days, request.label.as_deref()));
    match role {
        Some(role) if faults.is_empty() => Ok(NewToken {
            role,
            rights,
            keeper: request.keeper,
            create_keeper: request.create,
            label: request.label,
            expires_days: request.expires_days,
            account_id: None,
        }),
        _ => Err(Problem::of_faults(Kind::InvalidBody, faults)),
    }
}

fn not_issued(error: &IssueError) -> Problem {
    let at = match error {
        IssueError::KeeperMissing | IssueError::KeeperUnknown(_) | IssueError::HandleInvalid(_) => "/keeper",
        IssueError::RightBeyondRole(..) => "/scopes",
        _ => return Problem::internal(error),
    };
    Problem::of_fault(Kind::InvalidValue, Fault::pointer(at, "invalid", error.to_string()))
}

/// Makes a token and gives it with what lists show of it.
pub fn made(connection: &mut diesel::PgConnection, new: &NewToken, of: Of, by: &str) -> Result<TokenMade, Problem> {
    let issued = token::issue(connection, new, by).map_err(|error| not_issued(&error))?;
    let listed = token::listed(connection, of, issued.id)?.ok_or_else(|| Problem::internal("a token vanished"))?;
    Ok(TokenMade { token: issued.secret, listed: listed.into() })
}

/// Make a token
///
/// The token is in the answer and nowhere else: only its SHA-256 is kept.
#[utoipa::path(
    tag = "people",
    security(("token" = ["admin"])),
    request_body = TokenRequest,
    responses((status = 201, description = "The token", body = TokenMade), TokenProblems)
)]
#[post("/tokens")]
pub async fn create_token(
    state: web::Data<State>,
    caller: Caller,
    _: Query<Nothing>,
    body: Body<TokenRequest>,
) -> Result<HttpResponse, Problem> {
    let scope = caller.administers()?;
    let new = new_token(body.0)?;
    let made =
        pool::with(&state.pool, move |connection| made(connection, &new, Of::Everybody(scope), &caller.name())).await?;
    Ok(HttpResponse::Created().insert_header(("cache-control", "no-store")).json(made))
}

/// List tokens
///
/// All tokens with their last use, never the tokens themselves.
#[utoipa::path(
    tag = "people",
    security(("token" = ["admin"])),
    params(TokenQuery),
    responses((status = 200, description = "A page of tokens", body = TokenPage))
)]
#[get("/tokens")]
pub async fn list_tokens(
    request: HttpRequest,
    state: web::Data<State>,
    caller: Caller,
    query: Query<TokenQuery>,
) -> Result<HttpResponse, Problem> {
    let scope = caller.administers()?;
    let TokenQuery { limit, cursor } = query.0;
    let rows = pool::with(&state.pool, move |connection| {
        token::list(connection, Of::Everybody(scope), cursor.unwrap_or(0), limit + 1)
    })
    .await?;
    let page = Page::of(rows, limit, |row| row.id);
    let links = page.links(&request, "tokens", &[]);
    let tokens = page.items.into_iter().map(TokenListed::from).collect();
    Ok(page::send(&links).json(TokenPage { tokens, links }))
}

/// Withdraw a token
///
/// It is not valid from then on. Withdrawing it again changes nothing and gives the same answer.
#[utoipa::path(
    tag = "people",
    security(("token" = ["admin"])),
    params(("id" = i64, Path, description = "Number of the token", example = 3)),
    responses((status = 200, description = "The token, withdrawn", body = TokenListed), NoSuchToken)
)]
#[delete("/tokens/{id}")]
pub async fn revoke_token(
    state: web::Data<State>,
    caller: Caller,
    path: web::Path<i64>,
    _: Query<Nothing>,
) -> Result<HttpResponse, Problem> {
    let scope = caller.administers()?;
    let id = path.into_inner();
    let revoked = pool::with(&state.pool, move |connection| {
        token::revoke(connection, Of::Everybody(scope), id, &caller.name())?
            .ok_or_else(|| Problem::new(Kind::UnknownToken, format!("There is no token {id}.")))
    })
    .await?;
    Ok(HttpResponse::Ok().insert_header(("cache-control", "private, no-cache")).json(TokenListed::from(revoked)))
}
