//! The database a command works on: `DATABASE_URL`, or the private Postgres, which is started for the command or,
//! if a running strandline holds it, shared with that one.

use std::fs;
use std::path::PathBuf;

use crate::config::Config;
use crate::pool::{self, Pool, Pooled};
use crate::private_postgres::{PostgresError, PrivatePostgres};

use super::failure::Failure;

/// Where the holder of the private Postgres writes its address, for commands beside it.
const ADDRESS_FILE: &str = "database.url";

/// An open, migrated database.
pub struct Database {
    pool: Pool,
    url: String,
    // Dropped last: the pool's connections close before the server stops.
    postgres: Option<(PrivatePostgres, PathBuf)>,
}

impl Database {
    /// A connection.
    pub fn connection(&self) -> Result<Pooled, Failure> {
        self.pool.get().map_err(|error| {
            Failure::place(format!(
                "no connection ({error}), {}: check that the database runs",
                pool::without_password(&self.url)
            ))
        })
    }

    /// The pool.
    pub fn pool(&self) -> &Pool {
        &self.pool
    }

    /// The address.
    pub fn url(&self) -> &str {
        &self.url
    }

    /// Migrates it, and brings the vocabulary of this version into it.
    pub fn prepare(&self) -> Result<(), Failure> {
        importer::load::prepare(&mut *self.connection()?).map_err(|error| Failure::place(error.to_string()))
    }

    /// Closes the connections and stops the private Postgres, if this command started it.
    pub fn close(self) -> Result<(), Failure> {
        drop(self.pool);
        if let Some((postgres, address)) = self.postgres {
            // Gone already if somebody cleaned up; the server stops all the same.
            let _ = fs::remove_file(address);
            postgres.stop()?;
        }
        Ok(())
    }
}

/// Opens and migrates the configured database.
pub fn open(config: &Config) -> Result<Database, Failure> {
    let database = bare(config)?;
    database.prepare()?;
    Ok(database)
}

/// Opens and migrates the private Postgres, whatever `DATABASE_URL` says.
pub fn private(config: &Config) -> Result<Database, Failure> {
    let database = bare_private(config)?;
    database.prepare()?;
    Ok(database)
}

/// Opens the configured database as it is.
pub fn bare(config: &Config) -> Result<Database, Failure> {
    match &config.database_url {
        Some(url) => opened(url.clone(), None),
        None => bare_private(config),
    }
}

fn bare_private(config: &Config) -> Result<Database, Failure> {
    let address = config.data.join(ADDRESS_FILE);
    match PrivatePostgres::start(&config.data.join("postgres"), config.pg_bin.as_deref()) {
        Ok(postgres) => {
            let url = postgres.url();
            fs::write(&address, &url).map_err(|error| Failure::unwritable(&address, &error))?;
            opened(url, Some((postgres, address)))
        }
        Err(busy @ PostgresError::Busy { .. }) => match fs::read_to_string(&address) {
            Ok(url) => opened(url, None),
            Err(_) => Err(busy.into()),
        },
        Err(error) => Err(error.into()),
    }
}

fn opened(url: String, postgres: Option<(PrivatePostgres, PathBuf)>) -> Result<Database, Failure> {
    let pool = pool::open(&url, 8)?;
    Ok(Database { pool, url, postgres })
}
