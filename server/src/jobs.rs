//! Files waiting to be read. A few threads take one at a time, woken when one comes and looking anyway every
//! few seconds, so that what another server of this database left behind is read too. `SKIP LOCKED` keeps two
//! readers from one file.

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Condvar, Mutex, PoisonError};
use std::thread::JoinHandle;
use std::time::Duration;

use diesel::prelude::*;
use migrations::schema::upload;

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
    /// Starts `count` threads. The first takes up what an ended process left half done.
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
                    take_up(&pool);
                }
                while !bell.stop.load(Ordering::SeqCst) {
                    if !read_one(&pool, &today) {
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

/// Reads again what was being read and commits again what was being committed when a process ended.
fn take_up(pool: &Pool) {
    let taken = match pool.get() {
        Ok(mut connection) => importer::load::resume(&mut connection),
        Err(error) => {
            tracing::error!(%error, "uploads left half done are not taken up: no connection");
            return;
        }
    };
    match taken {
        Err(error) => tracing::error!(%error, "uploads left half done could not be looked for"),
        Ok(taken) => {
            for (upload, outcome) in taken {
                match outcome {
                    Ok(state) => tracing::info!(upload, %state, "an upload left half done was taken up"),
                    Err(error) => tracing::error!(upload, %error, "an upload left half done could not be taken up"),
                }
            }
        }
    }
}

/// Takes one waiting upload and reads it; `false` if there was none or none could be had.
fn read_one(pool: &Pool, today: &Today) -> bool {
    let mut connection = match pool.get() {
        Ok(connection) => connection,
        Err(error) => {
            tracing::warn!(%error, "no connection for reading files; trying again");
            return false;
        }
    };
    match take(&mut connection) {
        Ok(None) => false,
        Ok(Some(id)) => {
            // A file that makes the reader panic must not end the thread that reads all others.
            match catch_unwind(AssertUnwindSafe(|| importer::load::stage(&mut connection, id, today()))) {
                Ok(Ok(_)) => {}
                Ok(Err(error)) => {
                    tracing::error!(upload = id, %error, "an upload could not be read");
                    give_up(pool, id);
                }
                Err(_) => {
                    tracing::error!(upload = id, "an upload made the reader panic");
                    // The panic may have left a transaction open: the connection is not used again.
                    drop(connection);
                    give_up(pool, id);
                }
            }
            true
        }
        Err(error) => {
            tracing::warn!(%error, "waiting uploads could not be looked for; trying again");
            false
        }
    }
}

/// The upload that has waited longest, marked as being read.
fn take(connection: &mut PgConnection) -> QueryResult<Option<i64>> {
    connection.transaction(|connection| {
        let id: Option<i64> = upload::table
            .filter(upload::state.eq("received"))
            .order(upload::id)
            .select(upload::id)
            .for_update()
            .skip_locked()
            .first(connection)
            .optional()?;
        if let Some(id) = id {
            diesel::update(upload::table.find(id)).set(upload::state.eq("reading")).execute(connection)?;
        }
        Ok(id)
    })
}

/// An upload that cannot be read must not be taken again and again.
fn give_up(pool: &Pool, id: i64) {
    let mark = |connection: &mut PgConnection| {
        diesel::update(upload::table.find(id).filter(upload::state.eq("reading")))
            .set((upload::state.eq("failed"), upload::state_message.eq(GIVEN_UP)))
            .execute(connection)
    };
    let marked = pool
        .get()
        .map_err(|error| error.to_string())
        .and_then(|mut connection| mark(&mut connection).map_err(|error| error.to_string()));
    if let Err(error) = marked {
        tracing::error!(upload = id, %error, "an upload that could not be read could not be marked as failed either");
    }
}

const GIVEN_UP: &str =
    "The server failed while reading this file. Nothing was loaded. Upload it again, or tell the operator its number.";
