//! Who stands behind a credential: a token, or a session of an account.

use std::collections::BTreeSet;

use chrono::{DateTime, Utc};

use super::{Right, Role};

/// How a holder showed who it is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Credential {
    /// A key for programs.
    Token {
        /// Its first characters.
        prefix: String,
    },
    /// A browser that is signed in.
    Session {
        /// Row of the session.
        session_id: i64,
        /// Name of the account.
        name: String,
        /// The token that unsafe requests of this session have to carry.
        csrf: String,
    },
}

/// The holder of a valid credential.
#[derive(Debug, Clone)]
pub struct Holder {
    /// How it showed who it is.
    pub credential: Credential,
    /// Number of the token, for tokens.
    pub token_id: Option<i64>,
    /// The account, for sessions and for tokens of an account.
    pub account_id: Option<i64>,
    /// Its role.
    pub role: Role,
    /// Its rights.
    pub rights: BTreeSet<Right>,
    /// Whose records it opens.
    pub keeper_id: Option<i64>,
    /// That keeper's handle.
    pub keeper: Option<String>,
    /// When it expires.
    pub expires_at: Option<DateTime<Utc>>,
}

impl Holder {
    /// How the holder is named in the audit: an account by its number, since names of people do not belong there.
    pub fn name(&self) -> String {
        match (&self.credential, self.account_id) {
            (Credential::Session { .. }, Some(account_id)) => account_name(account_id),
            (Credential::Session { session_id, .. }, None) => format!("session {session_id}"),
            (Credential::Token { prefix }, _) => format!("token {prefix}"),
        }
    }
}

/// How an account is named in the audit.
pub fn account_name(account_id: i64) -> String {
    format!("account {account_id}")
}
