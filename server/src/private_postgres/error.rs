//! What can go wrong with the private Postgres, each with its place and what to do about it.
//!
//! Every message reads `what, where: remedy`. None of them ever holds a password: the private server has none.

use std::{fmt, io, path::PathBuf};

/// A failure of the private Postgres. The command ends with [`PostgresError::EXIT_CODE`] for all of them.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum PostgresError {
    /// No folder with both `postgres` and `initdb` was found.
    #[error(
        "PostgreSQL is not installed, looked in {looked}: run `apt-get install postgresql` as root, \
         or set PG_BIN to the folder that holds postgres and initdb, or DATABASE_URL to a server you already have"
    )]
    NoPrograms {
        /// The places that were searched, for the message.
        looked: String,
    },
    /// `PG_BIN` names a folder without the programs, or with programs that do not run.
    #[error(
        "{reason}, {dir}: set PG_BIN to the folder that holds postgres and initdb, or leave it unset",
        dir = .dir.display()
    )]
    UnusablePrograms {
        /// The folder that was named.
        dir: PathBuf,
        /// What is wrong with it.
        reason: String,
    },
    /// All installed versions are older than the schema needs.
    #[error("PostgreSQL {needed} or newer is needed, found {found}: install a newer one, or set DATABASE_URL to one")]
    TooOld {
        /// Versions found, with their folders.
        found: String,
        /// The oldest major version that serves.
        needed: u32,
    },
    /// The data were written by another major version than those installed.
    #[error(
        "these data belong to PostgreSQL {data}, {dir}, but only {found} is installed: \
         run `apt-get install postgresql-{data}` as root; the data are left untouched",
        dir = .dir.display()
    )]
    OtherVersion {
        /// Major version that wrote the data.
        data: u32,
        /// Versions found, with their folders.
        found: String,
        /// The cluster.
        dir: PathBuf,
    },
    /// A directory or file could not be made, opened, or changed.
    #[error("cannot {action} ({source}), {path}: {remedy}", path = .path.display())]
    File {
        /// What was tried, as a verb phrase.
        action: &'static str,
        /// On what.
        path: PathBuf,
        /// The system's reason.
        source: io::Error,
        /// What the person can do.
        remedy: &'static str,
    },
    /// The unprivileged user that runs Postgres cannot reach a directory.
    #[error(
        "the user {user}, who runs PostgreSQL here, may not enter a directory on the way to {to}, {blocked}: \
         {remedy}",
        to = .to.display(), blocked = .blocked.display()
    )]
    Untraversable {
        /// The directory that stops the user.
        blocked: PathBuf,
        /// What has to be reached.
        to: PathBuf,
        /// The unprivileged user.
        user: String,
        /// What the person can do.
        remedy: String,
    },
    /// The data belong to another user of this machine.
    #[error(
        "these data belong to the user {owner}, {dir}: run strandline as {owner}, \
         or choose another directory with STRANDLINE_DATA",
        dir = .dir.display()
    )]
    NotOwner {
        /// The owner's name or number.
        owner: String,
        /// The directory.
        dir: PathBuf,
    },
    /// As root, the cluster itself is owned by root, whom Postgres refuses.
    #[error(
        "these data belong to root, whom PostgreSQL refuses, {dir}: run `chown -R {user} {dir}`",
        dir = .dir.display()
    )]
    OwnedByRoot {
        /// The user who would run it.
        user: String,
        /// The directory.
        dir: PathBuf,
    },
    /// There is neither a `postgres` nor a `nobody` user to drop to.
    #[error(
        "PostgreSQL refuses to run as root and there is no user postgres or nobody, /etc/passwd: \
         run strandline as an ordinary user, or set DATABASE_URL"
    )]
    NoUser,
    /// Another strandline holds the directory.
    #[error(
        "another strandline is using these data{}, {}: stop it first, or choose another directory with STRANDLINE_DATA",
        holder(.pid), .dir.display()
    )]
    Busy {
        /// The directory.
        dir: PathBuf,
        /// The other process, where it said so.
        pid: Option<u32>,
    },
    /// A directory for the socket exists but cannot be trusted.
    #[error("{reason}, {dir}: remove it, or set XDG_RUNTIME_DIR to a directory of your own", dir = .dir.display())]
    UnsafeSocketDirectory {
        /// The directory.
        dir: PathBuf,
        /// What is wrong with it.
        reason: String,
    },
    /// A PostgreSQL that may be using the data runs, but cannot be shown to be ours.
    #[error(
        "process {pid} may be using these data and cannot be inspected, {dir}: \
         stop it, or run strandline as the user who started it",
        dir = .dir.display()
    )]
    UnknownHolder {
        /// The process.
        pid: u32,
        /// The cluster.
        dir: PathBuf,
    },
    /// `initdb` failed.
    #[error("initdb could not make a database ({said}), {dir}: correct this and start again", dir = .dir.display())]
    Initdb {
        /// Where the cluster was to be.
        dir: PathBuf,
        /// The last lines it wrote.
        said: String,
    },
    /// The server ended while starting.
    #[error("PostgreSQL did not start ({said}), {log}: correct what the log says and start again", log = .log.display())]
    DidNotStart {
        /// The log file.
        log: PathBuf,
        /// The last lines it wrote.
        said: String,
    },
    /// The server runs but does not answer.
    #[error("PostgreSQL did not answer within {seconds} s ({said}), {log}: see the log and start again", log = .log.display())]
    NoAnswer {
        /// How long was waited.
        seconds: u64,
        /// The last refusal.
        said: String,
        /// The log file.
        log: PathBuf,
    },
    /// The server did not end when told to.
    #[error("PostgreSQL (process {pid}) did not stop within {seconds} s, {dir}: see whether its disk is stuck", dir = .dir.display())]
    DidNotStop {
        /// The process.
        pid: u32,
        /// How long was waited.
        seconds: u64,
        /// The cluster.
        dir: PathBuf,
    },
    /// The database itself could not be made.
    #[error("cannot make the database {name} ({source}), {dir}: see postgres.log there", dir = .dir.display())]
    Database {
        /// Its name.
        name: String,
        /// The data directory.
        dir: PathBuf,
        /// The server's or the client library's reason.
        source: Box<dyn std::error::Error + Send + Sync>,
    },
}

impl PostgresError {
    /// The exit code of the command for each of these: the database or a directory is at fault.
    pub const EXIT_CODE: u8 = 4;
}

fn holder(pid: &Option<u32>) -> impl fmt::Display {
    pid.map_or_else(String::new, |pid| format!(" (process {pid})"))
}
