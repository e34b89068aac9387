//! How often secrets may be guessed: failures in a row, by name and by address, kept in the database so that several
//! servers count together. Each failure beyond a few makes the next guess wait twice as long.
//!
//! NIST SP 800-63B-4 §3.2.2, as remembered: no more than 100 failures in a row on one account. After those no password
//! is looked at until a curator sends a link with which a new one is chosen.

use chrono::{DateTime, Duration, Utc};
use diesel::prelude::*;

use migrations::schema::guess;

use super::check::check;
use super::client::Client;
use super::clock;
use super::secret::digest;
use crate::problem::{Kind, Problem};

/// Seconds that a guess waits at most.
const LONGEST_WAIT: i64 = 15 * 60;
/// Failures in a row after which a name is closed.
const CLOSED: i32 = 100;
/// Days after which failures are forgotten, and with them what was guessed and from where.
const FORGOTTEN_DAYS: i64 = 30;

/// Whose guesses are counted together.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Counter {
    kind: &'static str,
    hash: Vec<u8>,
    /// Failures that cost nothing.
    free: i32,
}

impl Counter {
    /// Guesses of the password of a name, whether or not anybody has it.
    pub fn name(name: &str) -> Self {
        Counter { kind: "account", hash: digest(&name.to_lowercase()), free: 5 }
    }

    /// Guesses from an address: of an IPv6 address, from its network of 64 bits, which one customer has.
    pub fn address(client: &Client) -> Self {
        let address = match client.address {
            Some(std::net::IpAddr::V6(address)) => format!("{:x?}", &address.segments()[..4]),
            Some(address) => address.to_string(),
            None => String::new(),
        };
        Counter { kind: "address", hash: digest(&address), free: 20 }
    }

    /// Guesses of the setup code, wherever they come from.
    pub fn setup() -> Self {
        Counter { kind: "setup", hash: digest(""), free: 5 }
    }

    fn wait(&self, failures: i32) -> i64 {
        match failures - self.free {
            beyond if beyond < 0 => 0,
            beyond => (1_i64 << beyond.min(20)).min(LONGEST_WAIT),
        }
    }
}

/// Counts a guess as failed before it is looked at, so that guesses sent at once do not all pass; [`succeeded`]
/// takes it back.
///
/// # Errors
/// [`Kind::QuotaExceeded`] with `Retry-After` while one of the counters has to wait.
pub fn begin(connection: &mut PgConnection, counters: &[Counter]) -> Result<(), Problem> {
    let waits = connection.transaction(|connection| -> Result<Option<i64>, Problem> {
        let old = clock::now(connection)? - Duration::days(FORGOTTEN_DAYS);
        diesel::delete(guess::table.filter(guess::last_at.lt(old))).execute(connection)?;
        let mut longest = None;
        for counter in counters {
            // The row is locked until the end: guesses of one name come one after another here.
            let (failures, free_at): (i32, DateTime<Utc>) = diesel::insert_into(guess::table)
                .values((guess::kind.eq(counter.kind), guess::hash.eq(&counter.hash), guess::failures.eq(0)))
                .on_conflict((guess::kind, guess::hash))
                .do_update()
                .set(guess::failures.eq(guess::failures))
                .returning((guess::failures, guess::free_at))
                .get_result(connection)?;
            let now = clock::now(connection)?;
            let closed = counter.kind == "account" && failures >= CLOSED;
            let left =
                if closed { LONGEST_WAIT } else { (free_at - now).num_milliseconds().max(0).div_euclid(1000) + 1 };
            if !check!("guesses: one has to wait", !closed && free_at <= now) {
                longest = longest.max(Some(left));
            }
        }
        if longest.is_none() {
            for counter in counters {
                count(connection, counter)?;
            }
        }
        Ok(longest)
    })?;
    waits.map_or(Ok(()), |seconds| Err(too_many(seconds)))
}

fn count(connection: &mut PgConnection, counter: &Counter) -> QueryResult<()> {
    let now = clock::now(connection)?;
    let row = guess::table.find((counter.kind, counter.hash.clone()));
    let failures: i32 = diesel::update(row.clone())
        .set((guess::failures.eq(guess::failures + 1), guess::last_at.eq(now)))
        .returning(guess::failures)
        .get_result(connection)?;
    let free_at = now + Duration::seconds(counter.wait(failures));
    diesel::update(row).set(guess::free_at.eq(free_at)).execute(connection).map(drop)
}

/// A guess was right: the name begins anew, an address gets its one guess back and no more, so that somebody with an
/// account of their own does not clear what they guessed of others'.
pub fn succeeded(connection: &mut PgConnection, counters: &[Counter]) -> QueryResult<()> {
    for counter in counters {
        let row = guess::table.find((counter.kind, counter.hash.clone()));
        if counter.kind == "address" {
            diesel::update(row.filter(guess::failures.gt(0)))
                .set((guess::failures.eq(guess::failures - 1), guess::free_at.eq(diesel::dsl::now)))
                .execute(connection)?;
        } else {
            diesel::delete(row).execute(connection)?;
        }
    }
    Ok(())
}

/// Too many guesses.
pub fn too_many(seconds: i64) -> Problem {
    let detail =
        format!("Too many attempts that failed; wait {seconds} seconds. Whoever forgot a password asks a curator.");
    Problem::new(Kind::QuotaExceeded, detail).header(actix_web::http::header::RETRY_AFTER, &seconds.to_string())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn waiting_doubles_up_to_a_quarter_of_an_hour() {
        let counter = Counter::name("osprey");
        let waits: Vec<i64> = (1..=8).map(|failures| counter.wait(failures)).collect();
        assert_eq!(waits, [0, 0, 0, 0, 1, 2, 4, 8]);
        assert_eq!(counter.wait(99), LONGEST_WAIT);
        assert_eq!(Counter::name("Osprey"), counter);
        // 100 guesses take more than a day.
        assert!((1..100).map(|failures| counter.wait(failures)).sum::<i64>() > 20 * 3600);
    }
}
