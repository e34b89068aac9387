//! Who may see and do what, decided in this one place.
//!
//! A [`Caller`] is who sends a request. Asking it for a right gives a [`Scope`], or the problem to answer
//! with. Records are only reached through a scope, and only this module makes one, so a query on records
//! that forgot to ask cannot be written. Another member's upload does not exist for its caller.

pub mod account; // people who sign in
pub mod caller; // who sends a request
pub mod check; // checks that a test can take out one by one
pub mod client; // where a request comes from: its address, its cookie, whose page sent it
pub mod clock; // the clock by which secrets expire
pub mod guess; // how often secrets may be guessed
pub mod holder; // who stands behind a credential
pub mod invitation; // links with which accounts are made
pub mod keeper; // members by handle
pub mod link; // links to one question
pub mod password; // rules for passwords, and their hashes
pub mod scope; // which rows a caller reaches
pub mod secret; // random secrets, kept as hashes
pub mod session; // browsers that are signed in
pub mod setup; // the first curator
pub mod token; // keys for programs: made, looked up, withdrawn
pub mod withdrawal; // a member leaves

pub use caller::{Caller, Right, Role};
pub use holder::{Credential, Holder};
pub use scope::{Reached, Scope};
pub use token::{IssueError, Issued, NewToken, issue};
