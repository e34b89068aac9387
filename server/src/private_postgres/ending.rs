//! Ends a server: our own, or one that an earlier strandline left behind.

use super::{
    error::PostgresError,
    home::{self, Home},
    process::{self, Process},
};
use nix::{
    sys::signal::{Signal, kill},
    unistd::Pid,
};
use std::{
    fs, io,
    path::Path,
    process::Child,
    thread::sleep,
    time::{Duration, Instant},
};

/// How long a fast stop may take (it writes a checkpoint) before an immediate one is asked for.
const FAST_STOP: Duration = Duration::from_secs(60);

/// How long an immediate stop may take.
const IMMEDIATE_STOP: Duration = Duration::from_secs(10);

/// Stops a server that outlived its strandline, and removes a process number and a socket that mean nothing any more.
///
/// The data directory's lock is held, so no strandline is behind any of them.
pub(super) fn settle_previous(cluster: &Path, socket_dir: &Path) -> Result<(), PostgresError> {
    let pid_file = cluster.join("postmaster.pid");
    if let Some(pid) = recorded_pid(&pid_file)? {
        match process::look(pid, cluster) {
            Process::Gone | Process::Stranger => home::remove(&pid_file)?,
            Process::Ours => end_orphan(pid, cluster)?,
            Process::Unknown => {
                return Err(PostgresError::UnknownHolder { pid, dir: cluster.to_owned() });
            }
        }
    }
    home::clear_socket(socket_dir)
}

/// The first line of `postmaster.pid`; a file without a number (cut off by a crash) is as good as none.
fn recorded_pid(pid_file: &Path) -> Result<Option<u32>, PostgresError> {
    match fs::read_to_string(pid_file) {
        Ok(text) => match text.lines().next().and_then(|line| line.trim().parse::<u32>().ok()) {
            Some(pid) => Ok(Some(pid)),
            None => home::remove(pid_file).map(|()| None),
        },
        Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(None),
        Err(source) => Err(PostgresError::File {
            action: "read the server's process number",
            path: pid_file.to_owned(),
            source,
            remedy: "run strandline as the user who owns the data",
        }),
    }
}

fn end_orphan(pid: u32, cluster: &Path) -> Result<(), PostgresError> {
    tracing::info!(pid, "stopping a PostgreSQL that outlived its strandline");
    for (signal, patience) in [(Signal::SIGINT, FAST_STOP), (Signal::SIGQUIT, IMMEDIATE_STOP)] {
        send(pid, signal);
        let since = Instant::now();
        while since.elapsed() < patience {
            if process::look(pid, cluster) != Process::Ours {
                return home::remove(&cluster.join("postmaster.pid"));
            }
            sleep(Duration::from_millis(20));
        }
    }
    Err(did_not_stop(pid, cluster))
}

pub(super) fn end_child(child: &mut Child, home: &Home) -> Result<(), PostgresError> {
    for (signal, patience) in [(Signal::SIGINT, FAST_STOP), (Signal::SIGQUIT, IMMEDIATE_STOP)] {
        let since = Instant::now();
        let mut sent = false;
        while since.elapsed() < patience {
            if child.try_wait().map_err(|source| child_lost(home, source))?.is_some() {
                return Ok(());
            }
            // Only while it is known not to be reaped: its number cannot be somebody else's.
            if !sent {
                send(child.id(), signal);
                sent = true;
            }
            sleep(Duration::from_millis(5));
        }
    }
    Err(did_not_stop(child.id(), &home.cluster()))
}

/// A process that is gone already needs no signal; one that may not be signalled is found out by waiting for it.
fn send(pid: u32, signal: Signal) {
    if let Ok(number) = i32::try_from(pid)
        && let Err(error) = kill(Pid::from_raw(number), signal)
    {
        tracing::debug!(pid, %signal, %error, "the signal did not arrive");
    }
}

fn did_not_stop(pid: u32, cluster: &Path) -> PostgresError {
    PostgresError::DidNotStop { pid, seconds: (FAST_STOP + IMMEDIATE_STOP).as_secs(), dir: cluster.to_owned() }
}

pub(super) fn child_lost(home: &Home, source: io::Error) -> PostgresError {
    PostgresError::DidNotStart { log: home.log(), said: format!("its process cannot be waited for: {source}") }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_cut_off_process_number_is_cleared_away() {
        let root = tempfile::tempdir().unwrap();
        let file = root.path().join("postmaster.pid");
        assert_eq!(recorded_pid(&file).unwrap(), None);
        fs::write(&file, "").unwrap();
        assert_eq!(recorded_pid(&file).unwrap(), None);
        assert!(!file.exists());
        fs::write(&file, "4711\n/data\n").unwrap();
        assert_eq!(recorded_pid(&file).unwrap(), Some(4711));
    }
}
