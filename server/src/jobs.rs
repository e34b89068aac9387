//! Files waiting to be read or committed. A few threads take one at a time, woken when one comes, by whichever server of this
//! database, and looking anyway every few seconds.
//!
//! `SKIP LOCKED` keeps two from taking one upload at once, an advisory lock as long as it is read tells the others that
//! its reader lives: a server that ends lets go of it, and the next one goes on. Every taking counts as an attempt; after a
//! failure that is not the file's own it waits longer each time, and after the last it is given up, visibly.

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Condvar, Mutex, PoisonError};
use std::thread::JoinHandle;
use std::time::Duration;

use diesel::prelude::*;
use diesel::result::Error;
use diesel::sql_types::{BigInt, Bool, Double, Integer, Text};
use importer::load::LoadError;
use migrations::schema::{job, upload};

use crate::app::Today;
use crate::pool::Pool;

/// How long a thread sleeps when nobody wakes it.
const LOOK_EVERY: Duration = Duration::from_secs(2);

/// Threads that read files. Dropping it lets each finish the file it reads.
pub struct Jobs {
    bell: Arc<Bell>,
    threads: Vec<JoinHandle<()>>,
}

#[derive(Default)]
struct Bell {
    rung: Mutex<bool>,
    wake: Condvar,
    stop: AtomicBool,
}

impl Jobs {
    /// Starts `count` threads.
    ///
    /// # Errors
    /// The system gives no thread.
    pub fn start(pool: Pool, today: Today, count: usize) -> std::io::Result<Self> {
        let bell = Arc::new(Bell::default());
        let mut threads = Vec::new();
        for number in 0..count.max(1) {
            let (bell, pool, today) = (bell.clone(), pool.clone(), today.clone());
            let name = format!("reader-{number}");
            threads.push(std::thread::Builder::new().name(name).spawn(move || {
                if number == 0 {
                    at_once(&pool);
                }
                while !bell.stop.load(Ordering::SeqCst) {
                    if !work_one(&pool, &today) {
                        bell.sleep();
                    }
                }
            })?);
        }
        Ok(Jobs { bell, threads })
    }

    /// Wakes the readers: a file has come.
    pub fn wake(&self) {
        self.bell.ring();
    }

    /// What wakes them, for whoever hears of files that came to other servers.
    pub fn waker(&self) -> impl Fn() + Send + use<> {
        let bell = self.bell.clone();
        move || bell.ring()
    }
}

impl Drop for Jobs {
    fn drop(&mut self) {
        self.bell.stop.store(true, Ordering::SeqCst);
        self.bell.ring();
        for thread in self.threads.drain(..) {
            if thread.join().is_err() {
                tracing::error!("a reader of files panicked");
            }
        }
    }
}

impl Bell {
    fn ring(&self) {
        *self.rung.lock().unwrap_or_else(PoisonError::into_inner) = true;
        self.wake.notify_all();
    }

    fn sleep(&self) {
        let rung = self.rung.lock().unwrap_or_else(PoisonError::into_inner);
        let waited = self.wake.wait_timeout_while(rung, LOOK_EVERY, |rung| !*rung && !self.stop.load(Ordering::SeqCst));
        let (mut rung, _) = waited.unwrap_or_else(PoisonError::into_inner);
        *rung = false;
    }
}

/// What a request was committing when its server ended waits for no grace.
fn at_once(pool: &Pool) {
    let taken = pool.get().map_err(|error| error.to_string()).and_then(|mut connection| {
        diesel::sql_query(
            "UPDATE job SET not_before = now() FROM upload WHERE upload.id = job.upload_id AND upload.state = 'committing' \
             AND job.attempts = 0 AND job.not_before <= now() + make_interval(secs => $1)",
        )
        .bind::<Double, _>(f64::from(importer::load::COMMIT_GRACE - GRACE))
        .execute(&mut connection)
        .map_err(|error| error.to_string())
    });
    if let Err(error) = taken {
        tracing::warn!(%error, "commits left half done wait for their time");
    }
}

/// Attempts after which an upload is given up.
const ATTEMPTS: i32 = 5;
/// How long a request that commits is left alone with it.
const GRACE: i32 = 2;
/// Advisory locks of uploads that are being read lie above this.
const LOCKS: i64 = 0x5354_5200_0000_0000;

/// An upload taken.
struct Taken {
    id: i64,
    commits: bool,
    leave_open: bool,
    attempts: i32,
}

/// Takes one waiting upload and reads or commits it; `false` if there was none or none could be had.
fn work_one(pool: &Pool, today: &Today) -> bool {
    let mut connection = match pool.get() {
        Ok(connection) => connection,
        Err(error) => {
            tracing::warn!(%error, "no connection for reading files; trying again");
            return false;
        }
    };
    let taken = match take(&mut connection) {
        Ok(Some(taken)) => taken,
        Ok(None) => return false,
        Err(error) => {
            tracing::warn!(%error, "waiting uploads could not be looked for; trying again");
            return false;
        }
    };
    let id = taken.id;
    // A file that makes the reader panic must not end the thread that reads all others.
    let done = catch_unwind(AssertUnwindSafe(|| {
        if taken.commits {
            importer::load::commit(&mut connection, id, taken.leave_open).map(drop)
        } else {
            importer::load::stage_waiting(&mut connection, id, today()).map(drop)
        }
    }));
    match done {
        // Questions that a commit meets are the file's own: it stands where they are asked.
        Ok(Ok(()) | Err(LoadError::QuestionsOpen { .. } | LoadError::WrongState { .. })) => {
            let finished = release(&mut connection, id)
                .and_then(|()| diesel::delete(job::table.find(id)).execute(&mut connection).map(drop));
            if let Err(error) = finished {
                tracing::warn!(upload = id, %error, "an upload that is done could not be let go; its connection is");
            }
        }
        Ok(Err(error)) => {
            tracing::error!(upload = id, %error, attempt = taken.attempts, "an upload could not be worked on");
            put_off(pool, &taken);
            if let Err(error) = release(&mut connection, id) {
                tracing::warn!(upload = id, %error, "its lock goes with the connection");
            }
        }
        Err(_) => {
            tracing::error!(upload = id, attempt = taken.attempts, "an upload made its reader panic");
            put_off(pool, &taken);
            // A transaction may be open: the connection is closed, and its lock with it.
            if release(&mut connection, id).is_err() {
                tracing::info!(upload = id, "the reader's connection is closed");
            }
        }
    }
    true
}

#[derive(QueryableByName)]
struct Waiting {
    #[diesel(sql_type = BigInt)]
    id: i64,
    #[diesel(sql_type = Text)]
    state: String,
    #[diesel(sql_type = Bool)]
    leave_open: bool,
    #[diesel(sql_type = Integer)]
    attempts: i32,
}

#[derive(QueryableByName)]
struct Locked {
    #[diesel(sql_type = Bool)]
    locked: bool,
}

/// The upload that has waited longest, with its attempt counted before it begins: one that ends the process counts too.
fn take(connection: &mut PgConnection) -> QueryResult<Option<Taken>> {
    connection.transaction(|connection| {
        let waiting: Vec<Waiting> = diesel::sql_query(
            "SELECT upload.id, upload.state, upload.leave_open, coalesce(job.attempts, 0) AS attempts FROM upload \
             LEFT JOIN job ON job.upload_id = upload.id WHERE upload.state IN ('received', 'reading', 'committing') \
             AND coalesce(job.not_before, '-infinity') <= now() ORDER BY upload.id LIMIT 64 FOR UPDATE OF upload SKIP LOCKED",
        )
        .load(connection)?;
        for Waiting { id, state, leave_open, attempts } in waiting {
            let Locked { locked } = diesel::sql_query("SELECT pg_try_advisory_lock($1) AS locked")
                .bind::<BigInt, _>(LOCKS + id)
                .get_result(connection)?;
            // Another server reads it.
            if !locked {
                continue;
            }
            let taken = Taken { id, commits: state == "committing", leave_open, attempts: attempts + 1 };
            diesel::sql_query(
                "INSERT INTO job (upload_id, attempts) VALUES ($1, $2) ON CONFLICT (upload_id) DO UPDATE SET attempts = $2",
            )
            .bind::<BigInt, _>(id)
            .bind::<Integer, _>(taken.attempts)
            .execute(connection)?;
            if taken.attempts > ATTEMPTS {
                give_up(connection, &taken)?;
                release(connection, id)?;
                continue;
            }
            if state == "received" {
                diesel::update(upload::table.find(id)).set(upload::state.eq("reading")).execute(connection)?;
            }
            return Ok(Some(taken));
        }
        Ok(None)
    })
}

fn release(connection: &mut PgConnection, id: i64) -> QueryResult<()> {
    diesel::sql_query("SELECT pg_advisory_unlock($1)").bind::<BigInt, _>(LOCKS + id).execute(connection).map(drop)
}

/// After a failure: two seconds, four, eight, …; given up after the last attempt.
fn put_off(pool: &Pool, taken: &Taken) {
    let mark = |connection: &mut PgConnection| {
        connection.transaction(|connection| {
            if taken.attempts >= ATTEMPTS {
                return give_up(connection, taken);
            }
            let seconds = 1 << taken.attempts;
            diesel::sql_query("UPDATE job SET not_before = now() + make_interval(secs => $2) WHERE upload_id = $1")
                .bind::<BigInt, _>(taken.id)
                .bind::<Double, _>(f64::from(seconds))
                .execute(connection)?;
            let again = upload::table.find(taken.id).filter(upload::state.eq_any(["reading", "committing"]));
            diesel::update(again).set(upload::state_message.eq(AGAIN)).execute(connection)?;
            Ok::<_, Error>(())
        })
    };
    let marked = pool
        .get()
        .map_err(|error| error.to_string())
        .and_then(|mut connection| mark(&mut connection).map_err(|error| error.to_string()));
    if let Err(error) = marked {
        // Its attempt is counted: whoever takes it next knows.
        tracing::error!(upload = taken.id, %error, "an upload that failed could not be put off");
    }
}

/// An upload that cannot be worked on must not be taken again and again: what could not be read has failed, what could not
/// be committed waits to be asked for again.
fn give_up(connection: &mut PgConnection, taken: &Taken) -> QueryResult<()> {
    let now = upload::table.find(taken.id).filter(upload::state.eq_any(["reading", "received", "committing"]));
    if taken.commits {
        let questions: i32 = upload::table.find(taken.id).select(upload::question_count).first(connection)?;
        let state = if questions > 0 { "questions" } else { "ready" };
        diesel::update(now)
            .set((upload::state.eq(state), upload::state_message.eq(NOT_COMMITTED)))
            .execute(connection)?;
    } else {
        diesel::update(now)
            .set((upload::state.eq("failed"), upload::state_message.eq(NOT_READ)))
            .execute(connection)?;
    }
    diesel::delete(job::table.find(taken.id)).execute(connection).map(drop)
}

const AGAIN: &str = "The server failed over this file and tries again in a few seconds.";
const NOT_READ: &str = "The server failed while reading this file, several times. Nothing was loaded. Upload it again, or tell the operator its number.";
const NOT_COMMITTED: &str = "The server failed while committing this file, several times. Nothing was loaded. Commit it again, or tell the operator its number.";
