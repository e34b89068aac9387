//! Starts the server and waits until it answers.

use super::{Options, ending, error::PostgresError, guard::Guard, home::Home, owner::Owner, programs::Programs, url};
use diesel::{Connection, PgConnection, RunQueryDsl, sql_query};
use std::{
    fs::File,
    io::{self, Read, Seek, SeekFrom},
    path::Path,
    process::{Child, Stdio},
    thread::sleep,
    time::{Duration, Instant},
};

/// How long a start is tried again while processes of a killed server still end.
const RETRY: Duration = Duration::from_secs(20);

/// How long recovery from a crash may take before the start is given up.
const READY: Duration = Duration::from_secs(300);

/// Ends or clears away what an earlier run left, then starts the server and waits until it answers.
pub(super) fn launch(
    home: &Home,
    owner: &Owner,
    programs: &Programs,
    options: Options,
    socket_dir: &Path,
) -> Result<(Child, Guard), PostgresError> {
    let deadline = Instant::now() + RETRY;
    loop {
        ending::settle_previous(&home.cluster(), socket_dir)?;
        let (log, from) = home.open_log()?;
        let mut child = spawn(home, owner, programs, options, socket_dir, log)?;
        match wait_until_ready(&mut child, home, socket_dir) {
            Ok(true) => {
                let pid_file = home.cluster().join("postmaster.pid");
                return match Guard::watch(owner, &pid_file, child.id()) {
                    Ok(guard) => Ok((child, guard)),
                    Err(error) => {
                        ending::end_child(&mut child, home)?;
                        Err(error)
                    }
                };
            }
            Ok(false) => {
                let said = log_since(&home.log(), from);
                if Instant::now() > deadline || !passes_by_itself(&said) {
                    return Err(PostgresError::DidNotStart { log: home.log(), said: last_lines(&said) });
                }
                sleep(Duration::from_millis(100));
            }
            Err(error) => {
                ending::end_child(&mut child, home)?;
                return Err(error);
            }
        }
    }
}

fn spawn(
    home: &Home,
    owner: &Owner,
    programs: &Programs,
    options: Options,
    socket_dir: &Path,
    log: File,
) -> Result<Child, PostgresError> {
    let did_not_start = |source: io::Error| PostgresError::DidNotStart { log: home.log(), said: source.to_string() };
    let mut command = owner.command(&programs.path("postgres"));
    command.arg("-D").arg(home.cluster()).arg("-k").arg(socket_dir);
    let durable = if options.durable { "on" } else { "off" };
    for setting in [
        "listen_addresses=",
        "port=5432",
        "unix_socket_permissions=0700",
        "logging_collector=off",
        "log_destination=stderr",
        "log_line_prefix=%m [%p] ",
        "log_timezone=UTC",
        "timezone=UTC",
        "lc_messages=C",
        "shared_buffers=256MB",
        "max_wal_size=2GB",
        &format!("fsync={durable}"),
        &format!("synchronous_commit={durable}"),
        &format!("full_page_writes={durable}"),
    ] {
        command.arg("-c").arg(setting);
    }
    let errors = log.try_clone().map_err(did_not_start)?;
    command.stdin(Stdio::null()).stdout(log).stderr(errors).spawn().map_err(did_not_start)
}

/// Waits for an answer to a query. `false` when the server ended instead.
fn wait_until_ready(child: &mut Child, home: &Home, socket_dir: &Path) -> Result<bool, PostgresError> {
    let address = format!("{}&connect_timeout=5", url(socket_dir, "postgres"));
    let started = Instant::now();
    let mut told = false;
    loop {
        if child.try_wait().map_err(|source| ending::child_lost(home, source))?.is_some() {
            return Ok(false);
        }
        let refusal = match PgConnection::establish(&address) {
            Ok(mut connection) => match sql_query("SELECT 1").execute(&mut connection) {
                Ok(_) => return Ok(true),
                Err(error) => error.to_string(),
            },
            Err(error) => error.to_string(),
        };
        let waited = started.elapsed();
        if waited > READY {
            return Err(PostgresError::NoAnswer {
                seconds: READY.as_secs(),
                said: last_lines(&refusal),
                log: home.log(),
            });
        }
        if !told && waited > Duration::from_secs(3) {
            told = true;
            tracing::info!(log = %home.log().display(), "waiting for PostgreSQL to recover from an unclean end");
        }
        sleep(Duration::from_millis(if waited.as_secs() < 1 { 10 } else { 100 }));
    }
}

/// Whether a refusal to start is only the last moments of a killed server.
fn passes_by_itself(said: &str) -> bool {
    said.contains("pre-existing shared memory block") || said.contains("\" already exists")
}

/// What the log has gained beyond `from` bytes; what cannot be read is said instead.
fn log_since(path: &Path, from: u64) -> String {
    let read = || -> io::Result<String> {
        let mut file = File::open(path)?;
        file.seek(SeekFrom::Start(from))?;
        let mut bytes = Vec::new();
        file.take(64 * 1024).read_to_end(&mut bytes)?;
        Ok(String::from_utf8_lossy(&bytes).into_owned())
    };
    read().unwrap_or_else(|error| format!("its log cannot be read: {error}"))
}

/// The last three lines that say something, on one line.
pub(super) fn last_lines(text: &str) -> String {
    let lines: Vec<&str> = text.lines().map(str::trim).filter(|line| !line.is_empty()).collect();
    if lines.is_empty() {
        return "it said nothing".into();
    }
    lines[lines.len().saturating_sub(3)..].join("; ")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_a_dying_server_is_waited_for() {
        assert!(passes_by_itself("FATAL:  pre-existing shared memory block (key 1, ID 2) is still in use"));
        assert!(passes_by_itself("FATAL:  lock file \"postmaster.pid\" already exists"));
        assert!(!passes_by_itself("FATAL:  could not write lock file: No space left on device"));
    }

    #[test]
    fn the_last_lines_are_joined() {
        assert_eq!(last_lines("a\n\nb\nc\n d \n"), "b; c; d");
        assert_eq!(last_lines("\n"), "it said nothing");
    }
}
