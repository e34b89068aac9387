//! Who may see and do what, decided in this one place.
//!
//! A [`Caller`] is who sends a request. Asking it for a right gives a [`Scope`], or the problem to answer
//! with. Records are only reached through a scope, and only this module makes one, so a query on records
//! that forgot to ask cannot be written. Another member's upload does not exist for its caller.

pub mod caller; // who sends a request
pub mod keeper; // members by handle
pub mod link; // links to one question
pub mod scope; // which rows a caller reaches
pub mod token; // keys for programs: made, looked up, withdrawn
pub mod withdrawal; // a member leaves

pub use caller::{Caller, Right, Role};
pub use scope::{Reached, Scope};
pub use token::{IssueError, Issued, NewToken, issue};
