//! Who sends a request: nobody in particular, or the holder of a token.

use std::future::Future;
use std::pin::Pin;

use actix_web::dev::Payload;
use actix_web::http::header;
use actix_web::{FromRequest, HttpRequest, web};

use analysis::answer::Audience;

use crate::access::{Scope, token};
use crate::app::State;
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
    holder: Option<token::Holder>,
}

impl Caller {
    /// Nobody in particular.
    pub const fn public() -> Self {
        Caller { holder: None }
    }

    pub(super) fn of_token(holder: token::Holder) -> Self {
        Caller { holder: Some(holder) }
    }

    /// What the caller is to the club.
    pub fn role(&self) -> Role {
        self.holder.as_ref().map_or(Role::Public, |holder| holder.role)
    }

    /// The token that came, if any.
    pub fn holder(&self) -> Option<&token::Holder> {
        self.holder.as_ref()
    }

    /// How the caller is named in the audit.
    pub fn name(&self) -> String {
        self.holder.as_ref().map_or_else(|| "public".to_owned(), |holder| format!("token {}", holder.prefix))
    }

    /// The audience of statistics: public callers only if the club publishes.
    ///
    /// # Errors
    /// [`Kind::NotPublished`], or [`Kind::Forbidden`] for a token without the right to read.
    pub fn audience(&self, publishes: bool) -> Result<(Scope, Audience), Problem> {
        let audience = match self.role() {
            Role::Public if publishes => Audience::Public,
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
    pub fn records(&self, right: Right) -> Result<Scope, Problem> {
        let holder = self.holds(right)?;
        match (holder.role, holder.keeper_id) {
            (Role::Curator, _) => Ok(Scope::everyone()),
            (Role::Keeper, Some(keeper_id)) => Ok(Scope::own(keeper_id)),
            _ => Err(forbidden()),
        }
    }

    /// The curator's desk.
    ///
    /// # Errors
    /// As [`Caller::records`]; only curators with the right `admin` pass.
    pub fn administers(&self) -> Result<Scope, Problem> {
        let holder = self.holds(Right::Admin)?;
        if holder.role == Role::Curator { Ok(Scope::everyone()) } else { Err(forbidden()) }
    }

    /// The token, if it carries a right.
    ///
    /// # Errors
    /// [`Kind::Unauthorised`] without a token, [`Kind::Forbidden`] without the right.
    pub fn holds(&self, right: Right) -> Result<&token::Holder, Problem> {
        let Some(holder) = &self.holder else {
            return Err(Problem::unauthorised(
                "This address needs a token. Send it in the header 'Authorization: Bearer strand_…'.",
                None,
            ));
        };
        if holder.rights.contains(&right) && holder.role.rights().contains(&right) {
            Ok(holder)
        } else {
            Err(forbidden())
        }
    }
}

/// The refusal that gives no hints.
pub(super) fn forbidden() -> Problem {
    Problem::new(Kind::Forbidden, "This token may not do that. 'GET /api/v1/me' says what it may do.")
}

impl FromRequest for Caller {
    type Error = Problem;
    type Future = Pin<Box<dyn Future<Output = Result<Self, Problem>>>>;

    fn from_request(request: &HttpRequest, _: &mut Payload) -> Self::Future {
        let state = request.app_data::<web::Data<State>>().cloned();
        let written: Vec<Option<String>> = request
            .headers()
            .get_all(header::AUTHORIZATION)
            .map(|value| value.to_str().ok().map(str::to_owned))
            .collect();
        Box::pin(async move {
            let written = match written.as_slice() {
                [] => return Ok(Caller::public()),
                [Some(one)] => one.trim(),
                _ => {
                    return Err(Problem::unauthorised(
                        "The header 'Authorization' must come once, as plain text.",
                        Some("invalid_request"),
                    ));
                }
            };
            let secret = match written.split_once(' ') {
                Some((scheme, secret)) if scheme.eq_ignore_ascii_case("bearer") && !secret.trim().is_empty() => {
                    secret.trim().to_owned()
                }
                _ => {
                    return Err(Problem::unauthorised(
                        "Only 'Authorization: Bearer strand_…' is taken.",
                        Some("invalid_request"),
                    ));
                }
            };
            let Some(state) = state else { return Err(Problem::internal("the application has no state")) };
            let now = chrono::Utc::now();
            let holder =
                crate::pool::with(&state.pool, move |connection| token::find(connection, &secret, now)).await?;
            holder.map(Caller::of_token).ok_or_else(|| {
                Problem::unauthorised("This token is unknown, expired or withdrawn.", Some("invalid_token"))
            })
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;

    fn caller(role: Role, rights: &[Right], keeper_id: Option<i64>) -> Caller {
        let rights: BTreeSet<Right> = rights.iter().copied().collect();
        Caller::of_token(token::Holder {
            token_id: 1,
            prefix: "strand_abc".into(),
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
