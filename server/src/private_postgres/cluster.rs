//! Makes a new, empty database cluster with `initdb`.

use super::{NAME, Options, error::PostgresError, home::Home, launch::last_lines, owner::Owner, programs::Programs};
use std::{fs, fs::File, io, process::Stdio};

/// Makes the cluster beside its place and moves it there when it is whole: a killed initdb leaves none.
pub(super) fn make(home: &Home, owner: &Owner, programs: &Programs, options: Options) -> Result<(), PostgresError> {
    let new = home.dir().join("cluster.new");
    let fail = |action, source| PostgresError::File {
        action,
        path: new.clone(),
        source,
        remedy: "see that the directory is yours and its disk is not full",
    };
    match fs::remove_dir_all(&new) {
        Err(error) if error.kind() != io::ErrorKind::NotFound => {
            return Err(fail("remove an unfinished database", error));
        }
        _ => {}
    }
    fs::create_dir(&new).map_err(|error| fail("make a directory", error))?;
    owner.own(&new)?;
    let mut command = owner.command(&programs.path("initdb"));
    command
        .arg("-D")
        .arg(&new)
        .args(["-U", NAME, "--auth=trust", "--encoding=UTF8", "--locale=C.UTF-8"])
        .args(["--data-checksums", "--no-instructions"])
        .stdin(Stdio::null());
    if !options.durable {
        command.arg("--no-sync");
    }
    let answer = command
        .output()
        .map_err(|source| PostgresError::Initdb { dir: home.dir().to_owned(), said: source.to_string() })?;
    if !answer.status.success() {
        return Err(PostgresError::Initdb {
            dir: home.dir().to_owned(),
            said: last_lines(&String::from_utf8_lossy(&answer.stderr)),
        });
    }
    fs::rename(&new, home.cluster()).map_err(|error| fail("move the finished database to its place", error))?;
    if options.durable {
        // The move itself has to survive a power cut.
        File::open(home.dir())
            .and_then(|dir| dir.sync_all())
            .map_err(|error| fail("write the directory to disk", error))?;
    }
    Ok(())
}
