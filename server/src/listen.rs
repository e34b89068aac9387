//! What other servers of the same database changed: heard on one connection, told to whoever keeps something in memory.
//!
//! While nobody listens (the connection broke and is not yet made anew) nothing may be kept: [`Changes::is_heard`] says so.

use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

use diesel::prelude::*;

use crate::pool::{Pool, Pooled};

/// How often the connection is looked at.
const LOOK_EVERY: Duration = Duration::from_millis(20);
/// How often it is tried whether the connection still stands.
const TRY_EVERY: Duration = Duration::from_secs(2);

/// How far the world has moved on, as far as this server knows.
#[derive(Debug, Default)]
pub struct Changes {
    number: AtomicU64,
    heard: AtomicBool,
}

impl Changes {
    /// The number of changes: whatever was worked out at a lower one may be out of date.
    pub fn number(&self) -> u64 {
        self.number.load(Ordering::SeqCst)
    }

    /// Something changed, here or elsewhere.
    pub fn happened(&self) {
        self.number.fetch_add(1, Ordering::SeqCst);
    }

    /// Whether changes of other servers are heard.
    pub fn is_heard(&self) -> bool {
        self.heard.load(Ordering::SeqCst)
    }
}

/// What is done when a thing of a kind changed.
pub type Told = dyn Fn(&str) + Send;

/// The thread that listens. Dropping it ends it.
pub struct Listener {
    stop: Arc<AtomicBool>,
    thread: Option<JoinHandle<()>>,
}

impl Listener {
    /// Starts to listen; `told` is called with the kind of each change: `upload`, `edition`, `setting`, `release` or `due`.
    ///
    /// # Errors
    /// The system gives no thread.
    pub fn start(pool: Pool, changes: Arc<Changes>, told: Box<Told>) -> std::io::Result<Self> {
        let stop = Arc::new(AtomicBool::new(false));
        let stopped = stop.clone();
        let told = Mutex::new(told);
        let thread = std::thread::Builder::new().name("changes".to_owned()).spawn(move || {
            let told = told.into_inner().unwrap_or_else(PoisonError::into_inner);
            while !stopped.load(Ordering::SeqCst) {
                match pool.get() {
                    Ok(connection) => {
                        if let Err(error) = hear(connection, &changes, &*told, &stopped) {
                            tracing::warn!(%error, "changes of other servers are not heard; trying again");
                        }
                    }
                    Err(error) => tracing::warn!(%error, "no connection for hearing of changes; trying again"),
                }
                changes.heard.store(false, Ordering::SeqCst);
                changes.happened();
                wait(&stopped, TRY_EVERY);
            }
        })?;
        Ok(Listener { stop, thread: Some(thread) })
    }
}

impl Drop for Listener {
    fn drop(&mut self) {
        self.stop.store(true, Ordering::SeqCst);
        if self.thread.take().is_some_and(|thread| thread.join().is_err()) {
            tracing::error!("the listener to changes panicked");
        }
    }
}

fn wait(stopped: &AtomicBool, time: Duration) {
    let began = Instant::now();
    while began.elapsed() < time && !stopped.load(Ordering::SeqCst) {
        std::thread::sleep(LOOK_EVERY);
    }
}

/// Hears until told to stop, or until the connection breaks.
fn hear(mut connection: Pooled, changes: &Changes, told: &Told, stopped: &AtomicBool) -> QueryResult<()> {
    diesel::sql_query("LISTEN strandline").execute(&mut connection)?;
    // What happened before is not heard.
    changes.happened();
    changes.heard.store(true, Ordering::SeqCst);
    for kind in ["upload", "due"] {
        told(kind);
    }
    let mut tried = Instant::now();
    while !stopped.load(Ordering::SeqCst) {
        if tried.elapsed() >= TRY_EVERY {
            diesel::sql_query("SELECT 1").execute(&mut connection)?;
            tried = Instant::now();
        }
        let heard: Vec<String> = connection
            .notifications_iter()
            .map(|notice| notice.map(|notice| notice.payload))
            .collect::<QueryResult<_>>()?;
        if !heard.is_empty() {
            changes.happened();
            heard.iter().for_each(|kind| told(kind));
        }
        std::thread::sleep(LOOK_EVERY);
    }
    diesel::sql_query("UNLISTEN *").execute(&mut connection).map(drop)
}
