//! Who sends a request: nobody in particular, or the holder of a token or a session.

use std::future::Future;
use std::pin::Pin;

use actix_web::dev::Payload;
use actix_web::http::header;
use actix_web::{FromRequest, HttpRequest, web};

use analysis::answer::Audience;

use super::check::check;
#[cfg(feature = "access-mutation")]
use super::check::mutation::{self, Mode};
use super::client::Client;
use super::holder::{Credential, Holder};
use super::{Scope, session, token};
use crate::app::State;
use crate::pool;
use crate::problem::{Kind, Problem};

/// What a caller is to the club.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Role {
    /// Nobody in particular.
    Public,
    /// A member without records.
    Reader,
    /// A member with records.
    Keeper,
    /// The club's records secretary.
    Curator,
}

impl Role {
    /// Roles that a token can have.
    pub const OF_TOKENS: &'static [Role] = &[Role::Reader, Role::Keeper, Role::Curator];

    /// The word as stored and printed.
    pub const fn as_str(self) -> &'static str {
        match self {
            Role::Public => "public",
            Role::Reader => "reader",
            Role::Keeper => "keeper",
            Role::Curator => "curator",
        }
    }

    /// A token's role by its word.
    pub fn parse(word: &str) -> Option<Role> {
        Role::OF_TOKENS.iter().copied().find(|role| role.as_str() == word)
    }

    /// The rights that a token of this role can carry.
    pub const fn rights(self) -> &'static [Right] {
        match self {
            Role::Public => &[],
            Role::Reader => &[Right::Read],
            Role::Keeper => &[Right::Read, Right::Upload],
            Role::Curator => &[Right::Read, Right::Upload, Right::Admin],
        }
    }
}

/// What a token may be used for: its scopes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Right {
    /// Reading.
    Read,
    /// Handing in, answering, committing, undoing.
    Upload,
    /// The curator's desk.
    Admin,
}

impl Right {
    /// All rights.
    pub const ALL: &'static [Right] = &[Right::Read, Right::Upload, Right::Admin];

    /// The word as stored and printed.
    pub const fn as_str(self) -> &'static str {
        match self {
            Right::Read => "read",
            Right::Upload => "upload",
            Right::Admin => "admin",
        }
    }

    /// A right by its word.
    pub fn parse(word: &str) -> Option<Right> {
        Right::ALL.iter().copied().find(|right| right.as_str() == word)
    }
}

/// The sender of a request.
#[derive(Debug, Clone)]
pub struct Caller {
    holder: Option<Holder>,
}

impl Caller {
    /// Nobody in particular.
    pub const fn public() -> Self {
        Caller { holder: None }
    }

    pub(crate) fn of_holder(holder: Holder) -> Self {
        Caller { holder: Some(holder) }
    }

    /// What the caller is to the club.
    pub fn role(&self) -> Role {
        self.holder.as_ref().map_or(Role::Public, |holder| holder.role)
    }

    /// Who showed a token or a session, if anybody.
    pub fn holder(&self) -> Option<&Holder> {
        self.holder.as_ref()
    }

    /// How the caller is named in the audit.
    pub fn name(&self) -> String {
        self.holder.as_ref().map_or_else(|| "public".to_owned(), Holder::name)
    }

    /// Whether rows of a keeper are the caller's own.
    pub fn is(&self, keeper_id: i64) -> bool {
        let own = self.holder.as_ref().and_then(|holder| holder.keeper_id) == Some(keeper_id);
        check!("caller: rows of another", own)
    }

    /// The audience of statistics: public callers only if the club publishes.
    ///
    /// # Errors
    /// [`Kind::NotPublished`], or [`Kind::Forbidden`] for a token without the right to read.
    #[cfg_attr(feature = "access-mutation", track_caller)]
    pub fn audience(&self, publishes: bool) -> Result<(Scope, Audience), Problem> {
        let audience = match self.role() {
            Role::Public if check!("audience: the club does not publish", publishes) => Audience::Public,
            Role::Public => {
                return Err(Problem::new(
                    Kind::NotPublished,
                    "This club shows its answers to members only. Send a member's token, or ask the club.",
                ));
            }
            Role::Reader | Role::Keeper => Audience::Member,
            Role::Curator => Audience::Curator,
        };
        if self.holder.is_some() {
            self.holds(Right::Read)?;
        }
        Ok((Scope::pooled(), audience))
    }

    /// The uploads and records that the caller may use with a right: its own, or everybody's for a curator.
    ///
    /// # Errors
    /// [`Kind::Unauthorised`] without a token, [`Kind::Forbidden`] if the role or the scopes do not reach.
    #[cfg_attr(feature = "access-mutation", track_caller)]
    pub fn records(&self, right: Right) -> Result<Scope, Problem> {
        #[cfg(feature = "access-mutation")]
        if let Some(scope) = self.without_asking() {
            return Ok(scope);
        }
        let holder = self.holder_with(right)?;
        match (holder.role, holder.keeper_id) {
            (Role::Curator, _) => Ok(Scope::everyone()),
            (Role::Keeper, Some(keeper_id)) => Ok(Scope::own(keeper_id)),
            _ if check!("records: a role without records", false) => Ok(Scope::everyone()),
            _ => Err(forbidden()),
        }
    }

    /// The curator's desk.
    ///
    /// # Errors
    /// As [`Caller::records`]; only curators with the right `admin` pass.
    #[cfg_attr(feature = "access-mutation", track_caller)]
    pub fn administers(&self) -> Result<Scope, Problem> {
        #[cfg(feature = "access-mutation")]
        if let Some(scope) = self.without_asking() {
            return Ok(scope);
        }
        let holder = self.holder_with(Right::Admin)?;
        if check!("desk: no curator", holder.role == Role::Curator) { Ok(Scope::everyone()) } else { Err(forbidden()) }
    }

    /// The holder, if it carries a right.
    ///
    /// # Errors
    /// [`Kind::Unauthorised`] without a token, [`Kind::Forbidden`] without the right.
    #[cfg_attr(feature = "access-mutation", track_caller)]
    pub fn holds(&self, right: Right) -> Result<&Holder, Problem> {
        #[cfg(feature = "access-mutation")]
        if mutation::here() != Mode::Kept
            && let Some(holder) = &self.holder
        {
            return Ok(holder);
        }
        self.holder_with(right)
    }

    fn holder_with(&self, right: Right) -> Result<&Holder, Problem> {
        let holder = self.somebody()?;
        let of_role = check!("right: beyond the role", holder.role.rights().contains(&right));
        if check!("right: not among the scopes", holder.rights.contains(&right)) & of_role {
            Ok(holder)
        } else {
            Err(forbidden())
        }
    }

    /// Whoever showed a token or a session.
    ///
    /// # Errors
    /// [`Kind::Unauthorised`] for nobody in particular.
    pub fn somebody(&self) -> Result<&Holder, Problem> {
        self.holder.as_ref().ok_or_else(|| {
            Problem::unauthorised(
                "This address needs a token or a session. Send 'Authorization: Bearer strand_…', or sign in with \
                 'POST /api/v1/session'.",
                None,
            )
        })
    }

    /// The account that is signed in, and its session: what concerns the account itself is not for tokens, which may lie
    /// in a script.
    ///
    /// # Errors
    /// [`Kind::Unauthorised`] for nobody in particular, [`Kind::Forbidden`] for a token.
    #[cfg_attr(feature = "access-mutation", track_caller)]
    pub fn signed_in(&self) -> Result<SignedIn, Problem> {
        let holder = self.somebody()?;
        #[cfg(feature = "access-mutation")]
        if mutation::here() != Mode::Kept && holder.token_id.is_some() {
            return Ok(SignedIn { account_id: holder.account_id.unwrap_or(0), session_id: 0 });
        }
        match (holder.account_id, &holder.credential) {
            (Some(account_id), Credential::Session { session_id, .. }) => {
                Ok(SignedIn { account_id, session_id: *session_id })
            }
            _ => Err(Problem::new(Kind::Forbidden, "This is for a person who signed in, not for a token.")),
        }
    }

    /// What is in reach where a test took this check out.
    #[cfg(feature = "access-mutation")]
    #[track_caller]
    fn without_asking(&self) -> Option<Scope> {
        match mutation::here() {
            Mode::Kept => None,
            Mode::Deleted => Some(Scope::everyone()),
            Mode::Weakened => Some(match self.holder.as_ref() {
                Some(Holder { role: Role::Curator, .. }) => Scope::everyone(),
                Some(Holder { keeper_id: Some(keeper_id), .. }) => Scope::own(*keeper_id),
                _ => Scope::pooled(),
            }),
        }
    }
}

/// An account and the session in which it is signed in.
#[derive(Debug, Clone, Copy)]
pub struct SignedIn {
    /// The account.
    pub account_id: i64,
    /// The session.
    pub session_id: i64,
}

/// The refusal that gives no hints.
pub(super) fn forbidden() -> Problem {
    Problem::new(Kind::Forbidden, "This token or session may not do that. 'GET /api/v1/me' says what it may do.")
}

/// The secret of a bearer token, if the header is there.
fn bearer(request: &HttpRequest) -> Result<Option<String>, Problem> {
    let refused = |detail: &str| Err(Problem::unauthorised(detail, Some("invalid_request")));
    let written: Vec<Option<&str>> =
        request.headers().get_all(header::AUTHORIZATION).map(|value| value.to_str().ok()).collect();
    let written = match written.as_slice() {
        [] => return Ok(None),
        [Some(one)] => one.trim(),
        _ => return refused("The header 'Authorization' must come once, as plain text."),
    };
    match written.split_once(' ') {
        Some((scheme, secret)) if scheme.eq_ignore_ascii_case("bearer") && !secret.trim().is_empty() => {
            Ok(Some(secret.trim().to_owned()))
        }
        _ => refused("Only 'Authorization: Bearer strand_…' is taken."),
    }
}

/// Who sends a request: a token goes before a session, and a cookie of a session that is over is as good as none.
async fn who(state: Option<web::Data<State>>, bearer: Option<String>, client: Client) -> Result<Caller, Problem> {
    let Some(state) = state else { return Err(Problem::internal("the application has no state")) };
    if let Some(secret) = bearer {
        let holder = pool::with(&state.pool, move |connection| token::find(connection, &secret)).await?;
        return holder.map(Caller::of_holder).ok_or_else(|| {
            Problem::unauthorised("This token is unknown, expired or withdrawn.", Some("invalid_token"))
        });
    }
    let Some(cookie) = client.cookie().map(str::to_owned) else { return Ok(Caller::public()) };
    let holder = pool::with(&state.pool, move |connection| session::find(connection, &cookie)).await?;
    let Some(holder) = holder else { return Ok(Caller::public()) };
    if let Credential::Session { csrf, .. } = &holder.credential {
        client.defends(csrf)?;
    }
    Ok(Caller::of_holder(holder))
}

impl FromRequest for Caller {
    type Error = Problem;
    type Future = Pin<Box<dyn Future<Output = Result<Self, Problem>>>>;

    fn from_request(request: &HttpRequest, _: &mut Payload) -> Self::Future {
        let state = request.app_data::<web::Data<State>>().cloned();
        let bearer = bearer(request);
        let client = Client::of(request);
        Box::pin(async move {
            let bearer = bearer?;
            if bearer.is_none() && client.cookie().is_none() {
                Ok(Caller::public())
            } else {
                who(state, bearer, client).await
            }
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;

    fn caller(role: Role, rights: &[Right], keeper_id: Option<i64>) -> Caller {
        let rights: BTreeSet<Right> = rights.iter().copied().collect();
        Caller::of_holder(Holder {
            credential: Credential::Token { prefix: "strand_abc".into() },
            token_id: Some(1),
            account_id: None,
            role,
            rights,
            keeper_id,
            keeper: keeper_id.map(|id| format!("keeper {id}")),
            expires_at: None,
        })
    }

    #[test]
    fn each_role_reaches_its_own() {
        let public = Caller::public();
        assert_eq!(public.records(Right::Read).unwrap_err().kind(), Kind::Unauthorised);
        assert_eq!(public.audience(false).unwrap_err().kind(), Kind::NotPublished);
        assert!(public.audience(true).is_ok());

        let reader = caller(Role::Reader, &[Right::Read], None);
        assert_eq!(reader.records(Right::Read).unwrap_err().kind(), Kind::Forbidden);
        assert!(reader.audience(false).is_ok());

        let keeper = caller(Role::Keeper, &[Right::Read, Right::Upload], Some(4));
        assert_eq!(keeper.records(Right::Upload).unwrap().keeper(), Some(4));
        assert_eq!(keeper.administers().unwrap_err().kind(), Kind::Forbidden);
        assert_eq!(keeper.records(Right::Upload).unwrap().administers().unwrap_err().kind(), Kind::Forbidden);

        let curator = caller(Role::Curator, Right::ALL, None);
        assert_eq!(curator.records(Right::Upload).unwrap().keeper(), None);
        assert!(curator.administers().unwrap().administers().is_ok());
    }

    #[test]
    fn scopes_narrow_a_role_and_never_widen_it() {
        let narrow = caller(Role::Curator, &[Right::Read], None);
        assert_eq!(narrow.records(Right::Upload).unwrap_err().kind(), Kind::Forbidden);
        let wide = caller(Role::Reader, Right::ALL, None);
        assert_eq!(wide.administers().unwrap_err().kind(), Kind::Forbidden);
        let uploader = caller(Role::Keeper, &[Right::Upload], Some(1));
        assert_eq!(uploader.audience(true).unwrap_err().kind(), Kind::Forbidden);
    }
}
