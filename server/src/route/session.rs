//! Signing in and out, one's own password, and the first curator.

use actix_web::cookie::Cookie;
use actix_web::http::StatusCode;
use actix_web::{HttpResponse, delete, get, post, web};
use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::access::client::Client;
use crate::access::secret::Secret;
use crate::access::session::{self, Made};
use crate::access::setup::{self, First};
use crate::access::{Caller, Credential, account};
use crate::app::State;
use crate::body::Body;
use crate::pool;
use crate::problem::Problem;
use crate::problems;
use crate::query::{Nothing, Query};

/// Name and password.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct SignIn {
    /// Name of the account, whatever the case of its letters.
    #[schema(example = "osprey", min_length = 1, max_length = 80)]
    name: String,
    /// Its password.
    #[schema(value_type = String, format = "password", example = "a tern fishes at dusk", max_length = 1024)]
    password: Secret,
}

/// The present password and a new one.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PasswordChange {
    /// The present password.
    #[schema(value_type = String, format = "password", example = "a tern fishes at dusk", max_length = 1024)]
    present: Secret,
    /// The new one, 15 to 256 characters of any kind.
    #[schema(value_type = String, format = "password", example = "kelp sways, limpets stay", min_length = 15, max_length = 256)]
    new: Secret,
}

/// The first curator.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct SetupRequest {
    /// The code from the console of the server.
    #[schema(value_type = String, format = "password", example = "7Q2M-9XKD-44TZ-A0PR-HN6C", max_length = 100)]
    code: Secret,
    /// Name of the club.
    #[schema(example = "Tidepool Reef Circle", min_length = 1, max_length = 120)]
    club: String,
    /// Name to sign in with.
    #[schema(example = "sanderling", min_length = 1, max_length = 80)]
    name: String,
    /// Password to sign in with, 15 to 256 characters of any kind.
    #[schema(value_type = String, format = "password", example = "a tern fishes at dusk", min_length = 15, max_length = 256)]
    password: Secret,
}

/// Who is signed in.
#[derive(Serialize, ToSchema)]
pub struct SessionShown {
    /// Number of the account.
    #[schema(example = 2)]
    account: i64,
    /// Name of the account.
    #[schema(example = "osprey")]
    name: String,
    /// `reader`, `keeper` or `curator`.
    #[schema(example = "keeper")]
    role: &'static str,
    /// `read`, `upload`, `admin`.
    #[schema(example = json!(["read", "upload"]))]
    scopes: Vec<&'static str>,
    /// Handle of the member whose records are the account's own.
    #[schema(example = "osprey")]
    keeper: Option<String>,
    /// What requests of this session that change something carry in the header `X-CSRF-Token`.
    #[schema(example = "0123456789abcdef0123456789abcdef0123456789abcdef0123456789abcdef")]
    csrf: String,
    /// When the session ends, however much it is used.
    expires_at: Option<DateTime<Utc>>,
}

/// What a sign-out did.
#[derive(Serialize, ToSchema)]
pub struct SignedOut {
    /// Always true: a sign-out without a session is refused.
    #[schema(example = true)]
    signed_out: bool,
}

problems!(
    /// What signing in can meet.
    SignInProblems: WrongPassword, CrossSite, HttpsNeeded, InvalidBody, UnsupportedMediaType, TooLarge, TooSlow
);
problems!(
    /// What changing a password can meet.
    PasswordProblems: WrongPassword, Unauthorised, Forbidden, CrossSite, HttpsNeeded, InvalidBody, UnsupportedMediaType, TooLarge, TooSlow, InvalidValue
);
problems!(
    /// What setting up can meet.
    SetupProblems: AlreadySetUp, CrossSite, HttpsNeeded, InvalidBody, UnsupportedMediaType, TooLarge, TooSlow, InvalidValue
);

fn shown(caller: &Caller) -> Result<SessionShown, Problem> {
    let account = caller.signed_in()?.account_id;
    let holder = caller.somebody()?;
    let Credential::Session { name, csrf, .. } = &holder.credential else {
        return Err(Problem::internal("a session without a session"));
    };
    Ok(SessionShown {
        account,
        name: name.clone(),
        role: holder.role.as_str(),
        scopes: holder.rights.iter().map(|right| right.as_str()).collect(),
        keeper: holder.keeper.clone(),
        csrf: csrf.clone(),
        expires_at: holder.expires_at,
    })
}

fn sent(status: StatusCode, cookie: Option<Cookie>) -> actix_web::HttpResponseBuilder {
    let mut response = HttpResponse::build(status);
    response.insert_header(("cache-control", "no-store"));
    if let Some(cookie) = cookie {
        response.cookie(cookie);
    }
    response
}

/// Answers with a new session and its cookie.
pub async fn begun(
    state: &State,
    client: &Client,
    status: StatusCode,
    (_, made): (i64, Made),
) -> Result<HttpResponse, Problem> {
    let cookie = client.session_cookie(&made.secret);
    let caller = pool::with(&state.pool, move |connection| {
        let holder = session::find(connection, &made.secret)?;
        holder.map(Caller::of_holder).ok_or_else(|| Problem::internal("a session vanished"))
    })
    .await?;
    Ok(sent(status, Some(cookie)).json(shown(&caller)?))
}

/// Sign in
///
/// Name and password for a session: its cookie comes with the answer, and in the answer the token that requests of the
/// session that change something carry in `X-CSRF-Token`. A name that nobody has and a wrong password are refused
/// alike; each failure beyond a few makes the next attempt wait longer.
#[utoipa::path(
    tag = "people",
    security(()),
    request_body = SignIn,
    responses((status = 201, description = "The session, its cookie in `Set-Cookie`", body = SessionShown), SignInProblems)
)]
#[post("/session")]
pub async fn create_session(
    state: web::Data<State>,
    client: Client,
    _: Query<Nothing>,
    body: Body<SignIn>,
) -> Result<HttpResponse, Problem> {
    client.from_our_page()?;
    client.private_line()?;
    let SignIn { name, password } = body.0;
    let made = account::sign_in(&state.pool, client.clone(), name, password).await?;
    begun(&state, &client, StatusCode::CREATED, made).await
}

/// Say who is signed in
///
/// The account of the session, and the token for `X-CSRF-Token`.
#[utoipa::path(
    tag = "people",
    security(("session" = [])),
    responses((status = 200, description = "Who is signed in", body = SessionShown))
)]
#[get("/session")]
pub async fn get_session(caller: Caller, _: Query<Nothing>) -> Result<HttpResponse, Problem> {
    Ok(sent(StatusCode::OK, None).json(shown(&caller)?))
}

/// Sign out
///
/// The session ends at once, and the answer takes its cookie away.
#[utoipa::path(
    tag = "people",
    security(("session" = [])),
    responses((status = 200, description = "The session is over", body = SignedOut))
)]
#[delete("/session")]
pub async fn delete_session(
    state: web::Data<State>,
    caller: Caller,
    client: Client,
    _: Query<Nothing>,
) -> Result<HttpResponse, Problem> {
    let signed_in = caller.signed_in()?;
    let by = caller.name();
    pool::with(&state.pool, move |connection| session::end(connection, signed_in.session_id, &by)).await?;
    Ok(sent(StatusCode::OK, Some(client.no_cookie())).json(SignedOut { signed_out: true }))
}

/// Change one's password
///
/// Every session of the account ends, this one too; a new one begins with the answer. There are no rules on what a
/// password is made of, and it need never be changed without a reason.
#[utoipa::path(
    tag = "people",
    security(("session" = [])),
    request_body = PasswordChange,
    responses((status = 200, description = "The new session, its cookie in `Set-Cookie`", body = SessionShown), PasswordProblems)
)]
#[post("/me/password")]
pub async fn change_password(
    state: web::Data<State>,
    caller: Caller,
    client: Client,
    _: Query<Nothing>,
    body: Body<PasswordChange>,
) -> Result<HttpResponse, Problem> {
    let signed_in = caller.signed_in()?;
    client.private_line()?;
    let PasswordChange { present, new } = body.0;
    let made = account::change_password(&state.pool, client.clone(), signed_in.account_id, present, new).await?;
    begun(&state, &client, StatusCode::OK, made).await
}

/// Set the club up
///
/// Makes the first curator's account and names the club. The code stands on the console of a server whose database has no
/// account yet; it works once, for a day. Once there is an account this answers 409.
#[utoipa::path(
    tag = "people",
    security(()),
    request_body = SetupRequest,
    responses((status = 201, description = "The curator's session, its cookie in `Set-Cookie`", body = SessionShown), SetupProblems)
)]
#[post("/setup")]
pub async fn create_curator(
    state: web::Data<State>,
    client: Client,
    _: Query<Nothing>,
    body: Body<SetupRequest>,
) -> Result<HttpResponse, Problem> {
    client.from_our_page()?;
    client.private_line()?;
    let SetupRequest { code, club, name, password } = body.0;
    let made = setup::first_curator(&state.pool, client.clone(), First { code, club, name, password }).await?;
    begun(&state, &client, StatusCode::CREATED, made).await
}
