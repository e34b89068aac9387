//! The one clock by which secrets expire: the database's. Servers and their clocks may differ; it does not.

use chrono::{DateTime, Utc};
use diesel::prelude::*;

diesel::define_sql_function! {
    /// The time at this moment, not that at which the transaction began.
    fn clock_timestamp() -> Timestamptz;
}

/// The time.
pub fn now(connection: &mut PgConnection) -> QueryResult<DateTime<Utc>> {
    diesel::select(clock_timestamp()).get_result(connection)
}
