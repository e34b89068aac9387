//! What went wrong, and the exit code: 2 usage; 3 input unreadable or over a limit; 4 database, port, directory,
//! server. Codes 0 and 1 are outcomes, not failures.

use std::path::Path;

use crate::config::ConfigError;
use crate::private_postgres::PostgresError;

/// A failure of the command: `what, where: remedy`.
#[derive(Debug, thiserror::Error)]
#[error("{text}")]
pub struct Failure {
    text: String,
    code: u8,
}

impl Failure {
    /// The command was called wrongly.
    pub fn usage(text: impl Into<String>) -> Self {
        Failure { text: text.into(), code: 2 }
    }

    /// The input cannot be read.
    pub fn input(text: impl Into<String>) -> Self {
        Failure { text: text.into(), code: 3 }
    }

    /// Database, port, directory or server.
    pub fn place(text: impl Into<String>) -> Self {
        Failure { text: text.into(), code: 4 }
    }

    /// A file or directory that should be read.
    pub fn unreadable(path: &Path, error: &std::io::Error) -> Self {
        Self::input(format!("cannot read the file ({error}), {}: check its name and permissions", path.display()))
    }

    /// A file or directory that should be written.
    pub fn unwritable(path: &Path, error: &std::io::Error) -> Self {
        Self::place(format!(
            "cannot write ({error}), {}: choose another place or change its permissions",
            path.display()
        ))
    }

    /// The same, saying which file it is about.
    pub fn about(self, file: &str) -> Self {
        Failure { text: format!("{file}: {}", self.text), code: self.code }
    }

    /// The exit code.
    pub fn exit_code(&self) -> u8 {
        self.code
    }
}

impl From<ConfigError> for Failure {
    fn from(error: ConfigError) -> Self {
        Failure { text: error.to_string(), code: ConfigError::EXIT_CODE }
    }
}

impl From<PostgresError> for Failure {
    fn from(error: PostgresError) -> Self {
        Failure { text: error.to_string(), code: PostgresError::EXIT_CODE }
    }
}

impl From<crate::pool::PoolError> for Failure {
    fn from(error: crate::pool::PoolError) -> Self {
        Failure::place(error.to_string())
    }
}

impl From<diesel::result::Error> for Failure {
    fn from(error: diesel::result::Error) -> Self {
        Failure::place(format!(
            "the database failed ({error}), while reading records: see that it runs, then try again"
        ))
    }
}
