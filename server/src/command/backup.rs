//! `strandline backup FILE` and `strandline restore FILE`: the whole club in one file, and back.

use std::path::PathBuf;

use clap::Args;

use crate::backup::{self, BackupError};
use crate::config::Config;
use crate::private_postgres;
use crate::represent::hex;

use super::database;
use super::failure::Failure;
use super::output::put;

/// Arguments of both.
#[derive(Args)]
pub struct BackupArgs {
    /// The file
    #[arg(value_name = "FILE")]
    file: PathBuf,
}

impl From<BackupError> for Failure {
    fn from(error: BackupError) -> Self {
        match error {
            BackupError::File { .. } => Failure::input(error.to_string()),
            error => Failure::place(error.to_string()),
        }
    }
}

fn programs(config: &Config) -> Result<backup::Programs, Failure> {
    Ok(backup::Programs::of(private_postgres::programs_dir(config.pg_bin.as_deref(), &config.data.join("postgres"))?))
}

/// Writes a backup.
pub fn write(config: &Config, args: &BackupArgs) -> Result<u8, Failure> {
    let programs = programs(config)?;
    let database = database::open(config)?;
    let written = backup::write(&programs, database.url(), &args.file);
    database.close()?;
    let written = written?;
    match &written.compared {
        Ok(club) => eprintln!(
            "strandline: {} answers made from the backup are those of the club, byte for byte (edition {})",
            club.answers, club.edition
        ),
        Err(why) => eprintln!("strandline: answers were not compared: {why}"),
    }
    put(format!("{}  {}  {} bytes", hex(&written.sha256), args.file.display(), written.bytes))?;
    Ok(0)
}

/// Reads a backup into an empty database.
pub fn restore(config: &Config, args: &BackupArgs) -> Result<u8, Failure> {
    let programs = programs(config)?;
    let database = database::bare(config)?;
    // Answers are made of what this version has migrated.
    let restored = backup::restore(&programs, database.url(), &args.file)
        .map_err(Failure::from)
        .and_then(|()| database.prepare())
        .and_then(|()| Ok(backup::fingerprint(&mut *database.connection()?)?));
    database.close()?;
    let club = restored?;
    put(format!("edition {}, {} answers, {}", club.edition, club.answers, hex(&club.digest)))?;
    Ok(0)
}
