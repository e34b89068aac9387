//! Making the releases that are due: one at a time, by whichever server comes first, tried again later where it failed.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

use diesel::prelude::*;
use diesel::sql_types::{BigInt, Integer, Text};
use migrations::schema::release_due;

use crate::pool::Pool;
use crate::problem::Problem;

/// How often is looked for a release whose time has come.
const LOOK_EVERY: Duration = Duration::from_secs(60);
/// How finely the thread looks whether it is to end.
const STEP: Duration = Duration::from_millis(200);
/// Attempts after which a release is given up until somebody asks again.
const ATTEMPTS: i32 = 5;

/// Works out the answers that the current release lacks, until told to stop; `true` if it lacks none any more.
type Prepare = dyn Fn(&Pool, &dyn Fn() -> bool) -> Result<bool, Problem> + Send;

/// The thread that makes releases. Dropping it lets it finish the one it makes.
pub struct Releases {
    stop: Arc<AtomicBool>,
    asked: Arc<AtomicBool>,
    thread: Option<JoinHandle<()>>,
}

impl Releases {
    /// Starts the thread. `prepare` is called for each release, again where it did not come to its end.
    ///
    /// # Errors
    /// The system gives no thread.
    pub fn start(
        pool: Pool,
        prepare: impl Fn(&Pool, &dyn Fn() -> bool) -> Result<bool, Problem> + Send + 'static,
    ) -> std::io::Result<Releases> {
        let (stop, asked) = (Arc::new(AtomicBool::new(false)), Arc::new(AtomicBool::new(false)));
        let (stopped, looks) = (stop.clone(), asked.clone());
        let thread = std::thread::Builder::new().name("releases".to_owned()).spawn(move || {
            let (mut waited, mut prepared) = (LOOK_EVERY, None);
            while !stopped.load(Ordering::SeqCst) {
                if looks.swap(false, Ordering::SeqCst) || waited >= LOOK_EVERY {
                    waited = Duration::ZERO;
                    look(&pool, &prepare, &mut prepared, &|| stopped.load(Ordering::SeqCst));
                }
                std::thread::sleep(STEP);
                waited += STEP;
            }
        })?;
        Ok(Releases { stop, asked, thread: Some(thread) })
    }

    /// What makes the thread look at once, for whoever hears that something changed.
    pub fn waker(&self) -> impl Fn() + Send + use<> {
        let asked = self.asked.clone();
        move || asked.store(true, Ordering::SeqCst)
    }
}

impl Drop for Releases {
    fn drop(&mut self) {
        self.stop.store(true, Ordering::SeqCst);
        if self.thread.take().is_some_and(|thread| thread.join().is_err()) {
            tracing::error!("the maker of releases panicked");
        }
    }
}

/// Packs the water tests that changed, makes what is due and prepares the current release, unless that is the one that
/// `prepared` is.
fn look(pool: &Pool, prepare: &Prepare, prepared: &mut Option<i64>, stopped: &dyn Fn() -> bool) {
    // Asked for once: where there is no database, whoever ends the server does not wait twice.
    let mut connection = match pool.get() {
        Ok(connection) => connection,
        Err(error) => {
            tracing::warn!(%error, "no connection for making releases; trying again");
            return;
        }
    };
    let packed = crate::answer::pack_those_changed(&mut connection, stopped);
    drop(connection);
    match packed {
        Ok(0) => {}
        Ok(members) => tracing::debug!(members, "water tests are packed"),
        // They are read row by row until then.
        Err(error) => tracing::warn!(%error, "water tests could not be packed; trying again"),
    }
    if !stopped() {
        make_and_prepare(pool, prepare, prepared, stopped);
    }
}

fn make_and_prepare(pool: &Pool, prepare: &Prepare, prepared: &mut Option<i64>, stopped: &dyn Fn() -> bool) {
    let current = match pool.get() {
        Ok(mut connection) => super::ask_if_old(&mut connection)
            .map_err(Problem::from)
            .and_then(|()| make_due(&mut connection))
            .and_then(|()| Ok(super::latest(&mut connection)?.map(|release| release.number))),
        Err(error) => {
            tracing::warn!(%error, "no connection for making releases; trying again");
            return;
        }
    };
    let current = match current {
        Ok(current) => current,
        Err(problem) => {
            tracing::error!(problem = %problem.detail, "a release could not be made; it is tried again");
            return;
        }
    };
    if current.is_none() || current == *prepared {
        return;
    }
    let begun = Instant::now();
    match prepare(pool, stopped) {
        Ok(true) => {
            let seconds = begun.elapsed().as_secs_f64();
            tracing::info!(release = current, seconds, "the answers of a release are worked out");
            *prepared = current;
        }
        Ok(false) => {}
        Err(problem) => {
            tracing::error!(problem = %problem.detail, "answers of a release could not be worked out; trying again");
        }
    }
}

#[derive(QueryableByName)]
struct Due {
    #[diesel(sql_type = BigInt)]
    id: i64,
    #[diesel(sql_type = Text)]
    reason: String,
}

/// Held while releases are made, so that two servers take turns.
const LOCK: i64 = 0x5354_5245_4c45;

/// Makes every release that is due. A second caller waits for the first and finds nothing left. One that a withdrawal
/// forces is tried by every caller, however often it failed.
///
/// # Errors
/// The release could not be made: it is put off, longer each time.
pub(super) fn make_due(connection: &mut PgConnection) -> Result<(), Problem> {
    // Waiting, not skipping: whoever asks must find the release there when this returns.
    diesel::sql_query("SELECT pg_advisory_lock($1)").bind::<BigInt, _>(LOCK).execute(connection)?;
    let done = connection.build_transaction().repeatable_read().run(due);
    diesel::sql_query("SELECT pg_advisory_unlock($1)").bind::<BigInt, _>(LOCK).execute(connection)?;
    if let Err(problem) = &done {
        put_off(connection, &problem.detail)?;
    }
    done
}

fn due(connection: &mut PgConnection) -> Result<(), Problem> {
    let due: Vec<Due> = diesel::sql_query(
        "SELECT id, reason FROM release_due WHERE (state = 'waiting' AND not_before <= now()) \
         OR (state <> 'done' AND reason = 'withdrawal') ORDER BY id",
    )
    .load(connection)?;
    let Some(first) = due.iter().find(|due| due.reason == "withdrawal").or(due.first()) else { return Ok(()) };
    super::make(connection, &first.reason)?;
    let ids: Vec<i64> = due.iter().map(|due| due.id).collect();
    diesel::update(release_due::table.filter(release_due::id.eq_any(ids)))
        .set(release_due::state.eq("done"))
        .execute(connection)?;
    Ok(())
}

/// After a failure: two minutes, four, eight, …; given up after the last attempt.
fn put_off(connection: &mut PgConnection, message: &str) -> QueryResult<()> {
    diesel::sql_query(
        "UPDATE release_due SET attempts = attempts + 1, message = $1, \
         state = CASE WHEN attempts + 1 >= $2 THEN 'failed' ELSE state END, \
         not_before = now() + make_interval(mins => (2 ^ (attempts + 1))::integer) WHERE state = 'waiting'",
    )
    .bind::<Text, _>(message)
    .bind::<Integer, _>(ATTEMPTS)
    .execute(connection)
    .map(drop)
}
