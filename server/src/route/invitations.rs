//! Invitations: made, listed and withdrawn by a curator, accepted by whoever holds the link.

use actix_web::http::StatusCode;
use actix_web::{HttpRequest, HttpResponse, delete, get, post, web};
use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

use crate::access::client::Client;
use crate::access::invitation::{self, DAYS, Invited};
use crate::access::secret::Secret;
use crate::access::{Caller, Role};
use crate::app::State;
use crate::body::Body;
use crate::pool;
use crate::problem::{Fault, Kind, Problem};
use crate::problems;
use crate::query::{Asked, Fields, Nothing, Query, hint};
use crate::route::page::{self, Page};
use crate::route::session::{SessionShown, begun};

/// Whom to invite: somebody new with a role, or the holder of an account who needs a new password.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct InvitationRequest {
    /// `reader`, `keeper` or `curator`, for somebody new.
    #[schema(example = "keeper")]
    role: Option<String>,
    /// Handle of the member whose records the account opens, needed for keepers; made on acceptance if there is none.
    #[schema(example = "sanderling")]
    keeper: Option<String>,
    /// Number of an account instead, whose holder chooses a new password.
    #[schema(example = json!(null))]
    account: Option<i64>,
    /// Days until it expires.
    #[schema(minimum = 1, maximum = 60, default = 7, example = 7)]
    expires_days: Option<u32>,
}

/// An invitation as lists show it.
#[derive(Serialize, ToSchema)]
pub struct InvitationListed {
    /// Number.
    #[schema(example = 5)]
    id: i64,
    /// Role of the account.
    #[schema(example = "keeper")]
    role: String,
    /// Handle of the member whose records the account opens.
    #[schema(example = "sanderling")]
    keeper: Option<String>,
    /// The account that was made with it, or that gets a new password.
    account: Option<i64>,
    /// Who invites.
    #[schema(example = "account 1")]
    made_by: String,
    /// When it was made.
    created_at: DateTime<Utc>,
    /// When it expires.
    expires_at: DateTime<Utc>,
    /// When it was used; it works once.
    accepted_at: Option<DateTime<Utc>>,
    /// When it was withdrawn.
    revoked_at: Option<DateTime<Utc>>,
}

impl From<invitation::Listed> for InvitationListed {
    fn from(row: invitation::Listed) -> Self {
        let keeper = row.keeper.or(row.new_keeper);
        let invitation::Listed { id, role, account, made_by, created_at, expires_at, accepted_at, revoked_at, .. } =
            row;
        InvitationListed { id, role, keeper, account, made_by, created_at, expires_at, accepted_at, revoked_at }
    }
}

/// An invitation just made.
#[derive(Serialize, ToSchema)]
pub struct InvitationMade {
    /// The link to send, to the one who is meant and nobody else: shown now and never again. What follows `/join/` is
    /// the secret.
    #[schema(example = "https://club.example/join/…")]
    url: String,
    /// What lists show of it.
    #[serde(flatten)]
    listed: InvitationListed,
}

/// A page of invitations.
#[derive(Serialize, ToSchema)]
pub struct InvitationPage {
    /// In the order they were made.
    invitations: Vec<InvitationListed>,
    /// The next page.
    links: page::Links,
}

/// Parameters of the list.
#[derive(IntoParams)]
#[into_params(parameter_in = Query)]
pub struct InvitationQuery {
    /// Items a page, 1 to 1000.
    #[param(minimum = 1, maximum = 1000, example = 50)]
    limit: i64,
    /// Where the page begins: from `links.next` of the page before.
    #[param(value_type = Option<String>)]
    cursor: Option<i64>,
}

impl Asked for InvitationQuery {
    fn read(fields: &mut Fields) -> Self {
        InvitationQuery { limit: page::limit(fields), cursor: page::cursor(fields, "invitations", &[]) }
    }
}

/// Accepting an invitation.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Acceptance {
    /// What follows `/join/` in the link.
    #[schema(value_type = String, format = "password", max_length = 100,
        example = "0123456789abcdef0123456789abcdef0123456789abcdef0123456789abcdef")]
    secret: Secret,
    /// Name to sign in with; left out where the invitation is for a new password.
    #[schema(example = "sanderling", min_length = 1, max_length = 80)]
    name: Option<String>,
    /// Password to sign in with, 15 to 256 characters of any kind.
    #[schema(value_type = String, format = "password", example = "a tern fishes at dusk", min_length = 15, max_length = 256)]
    password: Secret,
}

problems!(
    /// What inviting can meet.
    InviteProblems: UnknownAccount, InvalidBody, UnsupportedMediaType, TooLarge, TooSlow, InvalidValue
);
problems!(
    /// No such invitation.
    NoSuchInvitation: UnknownInvitation
);
problems!(
    /// What accepting can meet.
    AcceptProblems: UnknownInvitation, CrossSite, HttpsNeeded, InvalidBody, UnsupportedMediaType, TooLarge, TooSlow, InvalidValue
);

fn invited(request: InvitationRequest) -> Result<(Invited, u32), Problem> {
    let mut faults = Vec::new();
    let days = request.expires_days.unwrap_or(DAYS.0);
    if !(1..=DAYS.1).contains(&days) {
        let detail = format!("'expires_days' is not from 1 to {}", DAYS.1);
        faults.push(Fault::pointer("/expires_days", "invalid", detail));
    }
    let invited = match (request.account, request.role.as_deref()) {
        (Some(account), None) if request.keeper.is_none() => Some(Invited::Account(account)),
        (Some(_), _) => {
            let detail = "an account has its role and keeper; leave 'role' and 'keeper' out, or leave 'account' out";
            faults.push(Fault::pointer("/account", "conflict", detail));
            None
        }
        (None, None) => {
            faults.push(Fault::pointer("/role", "missing", "'role' is missing; give 'reader', 'keeper' or 'curator'"));
            None
        }
        (None, Some(word)) => {
            let role = Role::parse(word);
            if role.is_none() {
                let known = Role::OF_TOKENS.iter().map(|role| role.as_str());
                faults.push(Fault::pointer("/role", "unknown", format!("'{word}' is no role; {}", hint(word, known))));
            }
            role.map(|role| Invited::New(role, request.keeper))
        }
    };
    match invited {
        Some(invited) if faults.is_empty() => Ok((invited, days)),
        // Each member may stand so, and they do not go together.
        _ if faults.iter().all(|fault| ["conflict", "missing"].contains(&fault.code.as_str())) => {
            Err(Problem::of_faults(Kind::InvalidValue, faults))
        }
        _ => Err(Problem::of_faults(Kind::InvalidBody, faults)),
    }
}

/// Invite somebody
///
/// Gives a link with which one person makes an account, once, until it expires; or with which the holder of an account
/// who forgot the password chooses a new one.
#[utoipa::path(
    tag = "people",
    security(("token" = ["admin"])),
    request_body = InvitationRequest,
    responses((status = 201, description = "The invitation", body = InvitationMade), InviteProblems)
)]
#[post("/invitations")]
pub async fn create_invitation(
    request: HttpRequest,
    state: web::Data<State>,
    caller: Caller,
    _: Query<Nothing>,
    body: Body<InvitationRequest>,
) -> Result<HttpResponse, Problem> {
    let scope = caller.administers()?;
    let (whom, days) = invited(body.0)?;
    let by = caller.name();
    let (made, secret) =
        pool::with(&state.pool, move |connection| invitation::make(connection, &scope, (&whom, days), &by)).await?;
    let here = request.connection_info();
    let url = format!("{}://{}/join/{secret}", here.scheme(), here.host());
    Ok(HttpResponse::Created()
        .insert_header(("cache-control", "no-store"))
        .json(InvitationMade { url, listed: made.into() }))
}

/// List invitations
///
/// All of them with what became of them, never the links themselves.
#[utoipa::path(
    tag = "people",
    security(("token" = ["admin"])),
    params(InvitationQuery),
    responses((status = 200, description = "A page of invitations", body = InvitationPage))
)]
#[get("/invitations")]
pub async fn list_invitations(
    request: HttpRequest,
    state: web::Data<State>,
    caller: Caller,
    query: Query<InvitationQuery>,
) -> Result<HttpResponse, Problem> {
    let scope = caller.administers()?;
    let InvitationQuery { limit, cursor } = query.0;
    let rows =
        pool::with(&state.pool, move |connection| invitation::list(connection, &scope, cursor.unwrap_or(0), limit + 1))
            .await?;
    let page = Page::of(rows, limit, |row| row.id);
    let links = page.links(&request, "invitations", &[]);
    let invitations = page.items.into_iter().map(InvitationListed::from).collect();
    Ok(page::send(&links).json(InvitationPage { invitations, links }))
}

/// Withdraw an invitation
///
/// Its link is not valid from then on. Withdrawing it again, or one that was used, changes nothing and gives the same
/// answer.
#[utoipa::path(
    tag = "people",
    security(("token" = ["admin"])),
    params(("id" = i64, Path, description = "Number of the invitation", example = 5)),
    responses((status = 200, description = "The invitation", body = InvitationListed), NoSuchInvitation)
)]
#[delete("/invitations/{id}")]
pub async fn revoke_invitation(
    state: web::Data<State>,
    caller: Caller,
    path: web::Path<i64>,
    _: Query<Nothing>,
) -> Result<HttpResponse, Problem> {
    let scope = caller.administers()?;
    let (id, by) = (path.into_inner(), caller.name());
    let row = pool::with(&state.pool, move |connection| invitation::revoke(connection, &scope, id, &by)).await?;
    Ok(HttpResponse::Ok().insert_header(("cache-control", "private, no-cache")).json(InvitationListed::from(row)))
}

/// Accept an invitation
///
/// Makes the account with a name and a password, and signs in. A name or password that is not taken does not use the
/// invitation up.
#[utoipa::path(
    tag = "people",
    security(()),
    request_body = Acceptance,
    responses((status = 201, description = "The session, its cookie in `Set-Cookie`", body = SessionShown), AcceptProblems)
)]
#[post("/invitations/accept")]
pub async fn accept_invitation(
    state: web::Data<State>,
    client: Client,
    _: Query<Nothing>,
    body: Body<Acceptance>,
) -> Result<HttpResponse, Problem> {
    client.from_our_page()?;
    client.private_line()?;
    let Acceptance { secret, name, password } = body.0;
    let made = invitation::accept(&state.pool, client.clone(), secret, name, password).await?;
    begun(&state, &client, StatusCode::CREATED, made).await
}
