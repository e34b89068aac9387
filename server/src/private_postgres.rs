//! The private Postgres: installed PostgreSQL programs run on a directory of strandline's own.
//!
//! It speaks over a Unix socket only, never as root, with fsync on. A killed server or a killed strandline is cleaned
//! up after at the next start; a second strandline on the same directory is turned away. It never installs anything,
//! never touches a cluster that it did not make, and never deletes data.
//!
//! ```no_run
//! # fn main() -> Result<(), server::private_postgres::PostgresError> {
//! let postgres = server::private_postgres::PrivatePostgres::start("/var/lib/strandline/postgres".as_ref(), None)?;
//! println!("{}", postgres.url());
//! postgres.stop()
//! # }
//! ```

mod cluster;
mod ending;
mod error;
mod guard;
mod home;
mod launch;
mod owner;
mod process;
mod programs;

pub use error::PostgresError;

use diesel::{
    Connection, PgConnection, QueryableByName, RunQueryDsl, sql_query,
    sql_types::{Bool, Text},
};
use guard::Guard;
use home::Home;
use owner::Owner;
use programs::Programs;
use std::{
    fs,
    os::unix::ffi::OsStrExt,
    path::{Path, PathBuf},
    process::Child,
};

/// The database that strandline keeps its records in, and the role that owns it.
const NAME: &str = "strandline";

/// The folder of the installed programs that fit a data directory: those of `pg_bin`, or the ones found.
///
/// # Errors
/// As [`PrivatePostgres::start`].
pub fn programs_dir(pg_bin: Option<&Path>, data_dir: &Path) -> Result<PathBuf, PostgresError> {
    let cluster = home::cluster_of(data_dir);
    Ok(programs::find(pg_bin, home::version_of(&cluster)?, &cluster)?.dir)
}

/// How the server treats its data.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Options {
    /// Whether a commit is on disk when it returns. `false` is for the throw-away databases of tests; no command and
    /// no variable reaches it.
    pub durable: bool,
}

impl Default for Options {
    fn default() -> Self {
        Self { durable: true }
    }
}

/// A running private Postgres. Dropping it stops it.
#[derive(Debug)]
pub struct PrivatePostgres {
    home: Home,
    owner: Owner,
    programs: Programs,
    options: Options,
    socket_dir: PathBuf,
    child: Child,
    guard: Guard,
    stopped: bool,
}

impl PrivatePostgres {
    /// Starts a server on `data_dir`, making the directory and the database `strandline` where they are missing.
    ///
    /// `pg_bin` names the folder of the programs; without it they are searched for. Returns once the server answers.
    ///
    /// # Errors
    /// Each [`PostgresError`] says what is wrong, where, and the remedy.
    pub fn start(data_dir: &Path, pg_bin: Option<&Path>) -> Result<Self, PostgresError> {
        Self::start_with(data_dir, pg_bin, Options::default())
    }

    /// As [`PrivatePostgres::start`], with other options.
    ///
    /// # Errors
    /// As [`PrivatePostgres::start`].
    pub fn start_with(data_dir: &Path, pg_bin: Option<&Path>, options: Options) -> Result<Self, PostgresError> {
        let home = Home::open(data_dir)?;
        let cluster = home.cluster();
        let owner = Owner::of(&cluster)?;
        let programs = programs::find(pg_bin, home.data_version()?, &cluster)?;
        owner
            .reaches(&programs.dir, |_| "name programs that everybody may run with PG_BIN, or leave it unset".into())?;
        owner.reaches(home.dir(), |blocked| {
            format!(
                "choose a directory elsewhere with STRANDLINE_DATA, such as /var/lib/strandline, or run `chmod o+x {}`",
                blocked.display()
            )
        })?;
        if !cluster.exists() {
            cluster::make(&home, &owner, &programs, options)?;
        }
        let socket_dir = home.socket_dir(&owner)?;
        let (child, guard) = launch::launch(&home, &owner, &programs, options, &socket_dir)?;
        let postgres = Self { home, owner, programs, options, socket_dir, child, guard, stopped: false };
        postgres.make_database(NAME)?;
        Ok(postgres)
    }

    /// The libpq address of the database `strandline`. It holds no password and works on this machine only.
    pub fn url(&self) -> String {
        self.url_of(NAME)
    }

    /// The libpq address of another database of this server.
    pub fn url_of(&self, database: &str) -> String {
        url(&self.socket_dir, database)
    }

    /// Process number of the server.
    pub fn pid(&self) -> u32 {
        self.child.id()
    }

    /// Starts the server again if it has ended by itself (killed, out of memory). Says whether it had to.
    ///
    /// # Errors
    /// As [`PrivatePostgres::start`].
    pub fn ensure_running(&mut self) -> Result<bool, PostgresError> {
        if self.ended()? {
            tracing::warn!(log = %self.home.log().display(), "PostgreSQL ended by itself; starting it again");
            let (child, guard) =
                launch::launch(&self.home, &self.owner, &self.programs, self.options, &self.socket_dir)?;
            self.child = child;
            self.guard = guard;
            return Ok(true);
        }
        Ok(false)
    }

    /// Stops the server: running transactions are rolled back, everything committed is on disk. Returns when it has
    /// ended.
    ///
    /// # Errors
    /// [`PostgresError::DidNotStop`] when neither a fast nor an immediate stop ended it.
    pub fn stop(mut self) -> Result<(), PostgresError> {
        self.shut_down()
    }

    fn shut_down(&mut self) -> Result<(), PostgresError> {
        if self.stopped {
            return Ok(());
        }
        self.stopped = true;
        ending::end_child(&mut self.child, &self.home)?;
        self.guard.dismiss();
        if self.socket_dir.parent() != Some(self.home.dir())
            && let Err(error) = fs::remove_dir(&self.socket_dir)
        {
            tracing::warn!(dir = %self.socket_dir.display(), %error, "the socket's directory was left behind");
        }
        Ok(())
    }

    fn ended(&mut self) -> Result<bool, PostgresError> {
        self.child.try_wait().map(|status| status.is_some()).map_err(|source| ending::child_lost(&self.home, source))
    }

    fn make_database(&self, name: &str) -> Result<(), PostgresError> {
        let fail = |source: Box<dyn std::error::Error + Send + Sync>| PostgresError::Database {
            name: name.to_owned(),
            dir: self.home.dir().to_owned(),
            source,
        };
        let mut connection = PgConnection::establish(&self.url_of("postgres")).map_err(|error| fail(error.into()))?;
        let database = sql_query("SELECT EXISTS (SELECT FROM pg_database WHERE datname = $1) AS present")
            .bind::<Text, _>(name)
            .get_result::<Database>(&mut connection)
            .map_err(|error| fail(error.into()))?;
        if !database.present {
            sql_query(format!("CREATE DATABASE \"{}\"", name.replace('"', "\"\"")))
                .execute(&mut connection)
                .map_err(|error| fail(error.into()))?;
        }
        Ok(())
    }
}

impl Drop for PrivatePostgres {
    fn drop(&mut self) {
        if let Err(error) = self.shut_down() {
            tracing::error!("{error}");
        }
    }
}

#[derive(QueryableByName)]
struct Database {
    #[diesel(sql_type = Bool)]
    present: bool,
}

/// `postgresql://strandline@/database?host=…&port=5432`; the port is named so that PGPORT cannot change it.
fn url(socket_dir: &Path, database: &str) -> String {
    format!(
        "postgresql://{NAME}@/{}?host={}&port=5432",
        percent_encoded(database.as_bytes()),
        percent_encoded(socket_dir.as_os_str().as_bytes())
    )
}

fn percent_encoded(bytes: &[u8]) -> String {
    bytes
        .iter()
        .map(|&byte| match byte {
            b'A'..=b'Z' | b'a'..=b'z' | b'0'..=b'9' | b'-' | b'_' | b'.' | b'~' => char::from(byte).to_string(),
            _ => format!("%{byte:02X}"),
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_address_is_safe_for_any_path() {
        assert_eq!(
            url(Path::new("/data/reef club/ü?&run"), "strandline"),
            "postgresql://strandline@/strandline?host=%2Fdata%2Freef%20club%2F%C3%BC%3F%26run&port=5432"
        );
        assert!(url(Path::new("/run"), "a/b c").contains("@/a%2Fb%20c?"));
    }
}
