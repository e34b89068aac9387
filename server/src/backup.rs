//! The whole club in one file, and back: an archive of the PostgreSQL programs' own form, written whole or not at all, and
//! taken for good only when answers made from it are those of the club, byte for byte.

use std::fs::{self, File, OpenOptions};
use std::io::Read;
use std::os::unix::fs::OpenOptionsExt;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use analysis::answer::{Audience, Outcome, TaxonQuestion, census, listed, survival};
use diesel::prelude::*;
use diesel::sql_types::BigInt;
use sha2::{Digest, Sha256};

use crate::access::Scope;
use crate::answer;
use crate::pool::password_apart;

/// A backup could not be written or read back.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum BackupError {
    /// The file is there already.
    #[error("{0} is there already: choose another name, or move it away")]
    Exists(PathBuf),
    /// The file or its folder.
    #[error("cannot write or read ({error}), {path}: choose another place or change its permissions", path = .path.display())]
    File {
        /// Which.
        path: PathBuf,
        /// Why.
        error: std::io::Error,
    },
    /// One of the PostgreSQL programs is not there.
    #[error("there is no program {name} beside the others, {dir}: install the client programs of PostgreSQL, or name their folder with PG_BIN", dir = .dir.display())]
    NoProgram {
        /// Its name.
        name: &'static str,
        /// Where it was looked for.
        dir: PathBuf,
    },
    /// One of the PostgreSQL programs failed.
    #[error("{name} failed ({said}): see that the database runs and that the programs are as new as its server")]
    Program {
        /// Its name.
        name: &'static str,
        /// The last line that it said.
        said: String,
    },
    /// The database holds a club.
    #[error("this database holds records already: restore into an empty one, such as a new directory (--data)")]
    NotEmpty,
    /// The database refused.
    #[error("the database failed ({0}): see that it runs, then try again")]
    Database(#[from] diesel::result::Error),
    /// No connection.
    #[error("no connection ({0}): see that the database runs")]
    Connection(#[from] diesel::ConnectionError),
    /// The archive does not give the same answers.
    #[error(
        "answers made from the backup are not those of the club: the file is not kept; this is a fault of the program or of the disk"
    )]
    Differs,
    /// An answer could not be made.
    #[error("an answer could not be made ({0})")]
    Answer(String),
}

/// What tells whether two databases hold the same club.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fingerprint {
    /// State of the records.
    pub edition: i64,
    /// Answers that went into it.
    pub answers: usize,
    /// SHA-256 of their bytes.
    pub digest: [u8; 32],
}

/// A backup that was written.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Written {
    /// Size in bytes.
    pub bytes: u64,
    /// SHA-256 of the file.
    pub sha256: [u8; 32],
    /// The club in it; `None` if it was not compared, with the reason.
    pub compared: Result<Fingerprint, String>,
}

/// The programs of a folder.
#[derive(Debug, Clone)]
pub struct Programs {
    dir: PathBuf,
}

impl Programs {
    /// Those of this folder.
    pub fn of(dir: PathBuf) -> Programs {
        Programs { dir }
    }

    fn run(&self, name: &'static str, url: &str, arguments: &[&str]) -> Result<(), BackupError> {
        let program = self.dir.join(name);
        if !program.is_file() {
            return Err(BackupError::NoProgram { name, dir: self.dir.clone() });
        }
        // A password on the command line would be everybody's.
        let (url, password) = password_apart(url);
        let mut command = Command::new(&program);
        command.args(arguments).arg(format!("--dbname={url}")).stdin(Stdio::null());
        if let Some(password) = password {
            command.env("PGPASSWORD", password);
        }
        let output = command.output().map_err(|error| BackupError::File { path: program, error })?;
        if output.status.success() {
            return Ok(());
        }
        let said = String::from_utf8_lossy(&output.stderr);
        let said = said.lines().rev().find(|line| !line.trim().is_empty()).unwrap_or("it said nothing").to_owned();
        Err(BackupError::Program { name, said })
    }
}

/// Writes the club into a file that is not there yet, and compares answers made from it where a second database can be
/// made beside the first.
///
/// # Errors
/// See [`BackupError`]; the file is not there then.
pub fn write(programs: &Programs, url: &str, file: &Path) -> Result<Written, BackupError> {
    if file.exists() {
        return Err(BackupError::Exists(file.to_owned()));
    }
    let mut name = file.file_name().unwrap_or_default().to_owned();
    name.push(".partial");
    let partial = file.with_file_name(name);
    let failed = |error| BackupError::File { path: partial.clone(), error };
    // Nobody else reads a club's records.
    OpenOptions::new().write(true).create(true).truncate(true).mode(0o600).open(&partial).map_err(failed)?;
    let done = dumped(programs, url, &partial).and_then(|written| {
        // Unlike renaming, a second name never takes the place of a file that came meanwhile.
        fs::hard_link(&partial, file).map_err(failed)?;
        Ok(written)
    });
    // That the first name cannot be removed changes nothing about the outcome.
    let _ = fs::remove_file(&partial);
    done
}

fn dumped(programs: &Programs, url: &str, partial: &Path) -> Result<Written, BackupError> {
    let before = fingerprint(&mut PgConnection::establish(url)?)?;
    let to = format!("--file={}", partial.display());
    programs.run("pg_dump", url, &["--format=custom", "--no-owner", "--no-privileges", &to])?;
    let failed = |error| BackupError::File { path: partial.to_owned(), error };
    let file = File::open(partial).map_err(failed)?;
    file.sync_all().map_err(failed)?;
    let bytes = file.metadata().map_err(failed)?.len();
    let sha256 = digest_of(file).map_err(failed)?;
    Ok(Written { bytes, sha256, compared: compared(programs, url, partial, &before)? })
}

fn digest_of(mut file: File) -> std::io::Result<[u8; 32]> {
    let (mut hash, mut part) = (Sha256::new(), vec![0; 1 << 16]);
    loop {
        match file.read(&mut part)? {
            0 => return Ok(hash.finalize().into()),
            read => hash.update(&part[..read]),
        }
    }
}

/// Reads a backup into a database of its own, makes the same answers, and drops it again.
fn compared(
    programs: &Programs,
    url: &str,
    file: &Path,
    before: &Fingerprint,
) -> Result<Result<Fingerprint, String>, BackupError> {
    let scratch = format!("strandline_compared_{}", std::process::id());
    let mut connection = PgConnection::establish(url)?;
    if let Err(error) = diesel::sql_query(format!("CREATE DATABASE {scratch}")).execute(&mut connection) {
        return Ok(Err(format!("no second database could be made ({error})")));
    }
    let of_scratch = with_database(url, &scratch);
    let read =
        restored(programs, &of_scratch, file).and_then(|()| fingerprint(&mut PgConnection::establish(&of_scratch)?));
    diesel::sql_query(format!("DROP DATABASE {scratch}")).execute(&mut connection)?;
    let read = read?;
    if read == *before {
        return Ok(Ok(read));
    }
    if read.edition != before.edition {
        return Ok(Err(
            "records changed while it was written: it is whole, and of a later state than the answers".into()
        ));
    }
    Err(BackupError::Differs)
}

/// Reads a backup into an empty database, as it was written: one of an older program has to be migrated then.
///
/// # Errors
/// See [`BackupError`]; nothing is in the database then.
pub fn restore(programs: &Programs, url: &str, file: &Path) -> Result<(), BackupError> {
    File::open(file).map_err(|error| BackupError::File { path: file.to_owned(), error })?;
    #[derive(QueryableByName)]
    struct Tables {
        #[diesel(sql_type = BigInt)]
        n: i64,
    }
    let tables: Tables = diesel::sql_query(
        "SELECT count(*) AS n FROM pg_class JOIN pg_namespace ON pg_namespace.oid = relnamespace \
         WHERE relkind IN ('r', 'p') AND nspname NOT LIKE 'pg\\_%' AND nspname <> 'information_schema'",
    )
    .get_result(&mut PgConnection::establish(url)?)?;
    if tables.n > 0 {
        return Err(BackupError::NotEmpty);
    }
    restored(programs, url, file)
}

fn restored(programs: &Programs, url: &str, file: &Path) -> Result<(), BackupError> {
    let from = file.display().to_string();
    // All of it or nothing.
    let how = ["--exit-on-error", "--single-transaction", "--no-owner", "--no-privileges", &from];
    programs.run("pg_restore", url, &how)
}

/// Counts and survival of every taxon with records enough, as a curator reads them.
///
/// # Errors
/// The database refused, or an answer could not be made.
pub fn fingerprint(connection: &mut PgConnection) -> Result<Fingerprint, BackupError> {
    let snapshot = answer::club(connection, &Scope::of_operator())?;
    let said = |error: serde_json::Error| BackupError::Answer(error.to_string());
    let mut hash = Sha256::new();
    hash.update(serde_json::to_vec(&census(&snapshot.club, Audience::Curator)).map_err(said)?);
    let taxa = listed(&snapshot.club);
    for &taxon in &taxa {
        let question = TaxonQuestion { taxon, outcome: Outcome::Death, since: None }.plain();
        let answer = survival(&snapshot.club, &question, Audience::Curator, &snapshot.stamp());
        hash.update(serde_json::to_vec(&answer).map_err(said)?);
    }
    Ok(Fingerprint { edition: snapshot.edition, answers: taxa.len() + 1, digest: hash.finalize().into() })
}

/// The address of another database of the same server.
fn with_database(url: &str, name: &str) -> String {
    let Some((scheme, rest)) = url.split_once("://") else { return format!("{url} dbname={name}") };
    let end = rest.find('?').unwrap_or(rest.len());
    let authority = &rest[..rest.find('/').unwrap_or(end).min(end)];
    format!("{scheme}://{authority}/{name}{}", &rest[end..])
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_address_of_another_database_differs_in_its_name() {
        let plain = "postgresql://strandline@/strandline?host=%2Fdata&port=5432";
        assert_eq!(with_database(plain, "x"), "postgresql://strandline@/x?host=%2Fdata&port=5432");
        assert_eq!(with_database("postgres://reef@db", "x"), "postgres://reef@db/x");
        assert_eq!(with_database("host=db dbname=club", "x"), "host=db dbname=club dbname=x");
    }
}
