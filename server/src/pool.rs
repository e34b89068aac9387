//! Connections to Postgres, and the one way in which a request uses one.

use std::time::Duration;

use diesel::PgConnection;
use diesel::r2d2::{ConnectionManager, PooledConnection};

use crate::problem::Problem;

/// A pool of connections.
pub type Pool = diesel::r2d2::Pool<ConnectionManager<PgConnection>>;
/// One connection of the pool.
pub type Pooled = PooledConnection<ConnectionManager<PgConnection>>;

/// The pool could not be made or gave no connection in time.
#[derive(Debug, thiserror::Error)]
#[error("database, {place}: {cause}; check that it runs and that DATABASE_URL names it")]
pub struct PoolError {
    place: String,
    cause: String,
}

/// Opens a pool of at most `size` connections to a database.
///
/// # Errors
/// The database does not answer, or not within ten seconds. A password inside the address is not repeated.
pub fn open(url: &str, size: u32) -> Result<Pool, PoolError> {
    diesel::r2d2::Pool::builder()
        .max_size(size)
        .min_idle(Some(1))
        .connection_timeout(Duration::from_secs(10))
        .test_on_check_out(true)
        .build(ConnectionManager::new(url))
        .map_err(|error| PoolError { place: without_password(url), cause: one_line(&error.to_string()) })
}

/// The client library writes several lines; an error of ours is one.
fn one_line(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// The address with its password replaced.
pub fn without_password(url: &str) -> String {
    parted(url).map_or_else(|| url.to_owned(), |(before, _, after)| format!("{before}:***@{after}"))
}

/// An address without its password, and the password as it is.
pub fn password_apart(url: &str) -> (String, Option<String>) {
    parted(url).map_or_else(
        || (url.to_owned(), None),
        |(before, password, after)| {
            let password = percent_encoding::percent_decode_str(password).decode_utf8_lossy();
            (format!("{before}@{after}"), Some(password.into_owned()))
        },
    )
}

/// What stands before a password, the password as written, and what stands after it; `None` without one.
fn parted(url: &str) -> Option<(&str, &str, &str)> {
    let begin = url.find("://")? + 3;
    let end = url[begin..].find(['/', '?']).map_or(url.len(), |at| begin + at);
    let host = begin + url[begin..end].rfind('@')?;
    let colon = begin + url[begin..host].find(':')?;
    Some((&url[..colon], &url[colon + 1..host], &url[host + 1..]))
}

/// Runs `work` with a connection on a thread that may block.
///
/// # Errors
/// What `work` returns, or a problem when no connection can be had.
pub async fn with<T, F>(pool: &Pool, work: F) -> Result<T, Problem>
where
    T: Send + 'static,
    F: FnOnce(&mut PgConnection) -> Result<T, Problem> + Send + 'static,
{
    let pool = pool.clone();
    actix_web::web::block(move || {
        let mut connection = pool.get().map_err(|error| Problem::database_unavailable(&error))?;
        work(&mut connection)
    })
    .await
    .map_err(|error| Problem::internal(&error))?
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_password_is_never_printed() {
        assert_eq!(without_password("postgres://reef:se@cret@db/club?x=1"), "postgres://reef:***@db/club?x=1");
        assert_eq!(without_password("postgres://reef@db/club"), "postgres://reef@db/club");
        assert_eq!(without_password("host=/var/run dbname=club"), "host=/var/run dbname=club");
        assert_eq!(
            password_apart("postgres://reef:s%40e@db:5433/club?sslmode=require"),
            ("postgres://reef@db:5433/club?sslmode=require".to_owned(), Some("s@e".to_owned()))
        );
        let plain = "postgresql://strandline@/strandline?host=%2Fdata&port=5432";
        assert_eq!(password_apart(plain), (plain.to_owned(), None));
    }
}
