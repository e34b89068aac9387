//! What the end-to-end tests share: the real command, a running server, a client that reads as a story.

pub mod client; // one method an endpoint
pub mod files; // fixtures and folders
pub mod program; // the strandline command as a child process
