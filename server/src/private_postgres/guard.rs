//! A small watcher that stops Postgres when strandline is killed without a chance to do so itself.
//!
//! It is a shell that waits on a pipe whose other end only strandline holds: however strandline ends, the pipe closes.
//! It signals nobody but the process that the cluster's own `postmaster.pid` still names.

use super::{error::PostgresError, owner::Owner};
use std::{
    path::Path,
    process::{Child, Stdio},
};

/// `$1` is the pid file, `$2` the process number expected in it.
const SCRIPT: &str = r#"read -r line
{ read -r pid < "$1" && [ "$pid" = "$2" ] && kill -INT "$2"; } 2>/dev/null"#;

/// The watcher of one server. It ends by itself when this process does.
#[derive(Debug)]
pub(super) struct Guard {
    child: Child,
}

impl Guard {
    /// Watches over the server `pid` on behalf of this process.
    pub(super) fn watch(owner: &Owner, pid_file: &Path, pid: u32) -> Result<Self, PostgresError> {
        let shell = Path::new("/bin/sh");
        owner
            .command(shell)
            .args(["-c", SCRIPT, "strandline-guard"])
            .arg(pid_file)
            .arg(pid.to_string())
            .stdin(Stdio::piped())
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .map(|child| Self { child })
            .map_err(|source| PostgresError::File {
                action: "start the watcher of the private PostgreSQL",
                path: shell.to_owned(),
                source,
                remedy: "see that the machine has memory and process numbers left",
            })
    }

    /// Lets the watcher go; the server has ended already, so it finds nothing to do.
    pub(super) fn dismiss(&mut self) {
        drop(self.child.stdin.take());
        if let Err(error) = self.child.wait() {
            tracing::warn!(%error, "the watcher of the private PostgreSQL cannot be waited for");
        }
    }
}

impl Drop for Guard {
    fn drop(&mut self) {
        self.dismiss();
    }
}
