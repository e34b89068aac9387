//! `strandline import FILE|FOLDER…`: files of a keeper into the club's records, all or nothing a file.

use std::path::{Path, PathBuf};

use chrono::NaiveDate;
use clap::Args;
use diesel::PgConnection;
use importer::finding::{Answer, Finding, Severity};
use importer::load::{self, LoadError, NewUpload, State};
use importer::saved_layout::SavedLayout;
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

use crate::config::Config;

use super::failure::Failure;
use super::output::put;
use super::{database, import_remote, read};

/// Arguments of `strandline import`.
#[derive(Args)]
pub struct ImportArgs {
    /// Files, or folders with files, of one keeper
    #[arg(required = true, value_name = "FILE|FOLDER")]
    paths: Vec<PathBuf>,
    /// The keeper whose logs these are
    #[arg(long, value_name = "HANDLE")]
    pub keeper: String,
    /// Make the keeper if there is none of that handle
    #[arg(long)]
    create: bool,
    /// The tank the files are about
    #[arg(long, value_name = "NAME")]
    pub tank: Option<String>,
    /// The log that the files are versions of
    #[arg(long, value_name = "NAME")]
    pub log: Option<String>,
    /// The day on which the lists were true
    #[arg(long, value_name = "DAY")]
    pub as_of: Option<NaiveDate>,
    /// The layout of a file of the same columns, as exported: its answers are used
    #[arg(long, value_name = "FILE")]
    pub layout: Option<PathBuf>,
    /// Load what is certain, hold the rest
    #[arg(long)]
    pub yes: bool,
    /// Take the proposed remedy of this finding
    #[arg(long, value_name = "CODE")]
    pub accept: Vec<String>,
    /// A running strandline to send the files to [env: STRANDLINE_SERVER]
    #[arg(long, value_name = "URL")]
    pub server: Option<String>,
}

/// Extensions looked for in folders. A file named on the command line is read whatever it is called.
const EXTENSIONS: [&str; 6] = ["csv", "tsv", "txt", "xlsx", "xls", "ods"];

/// Who imports, in the audit.
const BY: &str = "command";

/// What became of one file.
pub struct Done {
    /// As named.
    pub file: String,
    /// `committed`, `held`, `refused`, `unchanged`, `not loaded`, `unreadable`.
    pub result: &'static str,
    /// Records that were loaded.
    pub records: u64,
    /// Findings, without the noted ones.
    pub doubtful: u64,
}

impl Done {
    /// The share of this file in the exit code: 0 all loaded or nothing new, 1 held or refused, 3 unreadable.
    pub fn code(&self) -> u8 {
        match self.result {
            "unreadable" => 3,
            _ if self.doubtful > 0 => 1,
            _ => 0,
        }
    }
}

/// Imports.
pub fn run(config: &Config, args: &ImportArgs) -> Result<u8, Failure> {
    let files = gather(&args.paths)?;
    if let Some(code) = args.accept.iter().find(|code| analysis::vocabulary::FindingCode::parse(code).is_none()) {
        return Err(Failure::usage(format!(
            "no finding is called that, --accept {code}: `strandline read` prints the codes of a file"
        )));
    }
    let done = match &config.server {
        Some(server) => import_remote::run(server, config.token.as_deref(), args, &files)?,
        None => local(config, args, &files)?,
    };
    print_table(&done)?;
    Ok(done.iter().map(Done::code).max().unwrap_or(0))
}

fn local(config: &Config, args: &ImportArgs, files: &[PathBuf]) -> Result<Vec<Done>, Failure> {
    let database = database::open(config)?;
    let mut connection = database.connection()?;
    let keeper = keeper(&mut connection, args)?;
    let layout = read::layout(args.layout.as_ref())?;
    let bar = progress(files.len());
    let mut done = Vec::new();
    for path in files {
        bar.set_message(path.display().to_string());
        done.push(one(&mut connection, keeper, path, args, layout.as_ref())?);
        bar.inc(1);
    }
    bar.finish_and_clear();
    drop(connection);
    database.close()?;
    Ok(done)
}

fn keeper(connection: &mut PgConnection, args: &ImportArgs) -> Result<i64, Failure> {
    let found = if args.create {
        load::ensure_keeper(connection, &args.keeper).map(Some)
    } else {
        load::find_keeper(connection, &args.keeper)
    };
    found.map_err(|error| Failure::place(error.to_string()))?.ok_or_else(|| {
        Failure::usage(format!(
            "no keeper is called that, {}: correct the name, or add --create to make the keeper",
            args.keeper
        ))
    })
}

fn one(
    connection: &mut PgConnection,
    keeper: i64,
    path: &Path,
    args: &ImportArgs,
    layout: Option<&SavedLayout>,
) -> Result<Done, Failure> {
    let file = path.display().to_string();
    let outcome = |result, records, doubtful| Ok(Done { file: file.clone(), result, records, doubtful });
    let bytes = match std::fs::read(path) {
        Ok(bytes) => bytes,
        Err(error) => {
            eprintln!("strandline: {}", Failure::unreadable(path, &error));
            return outcome("unreadable", 0, 0);
        }
    };
    let failed = |error: LoadError| Failure::place(format!("{error}, {}", path.display()));
    let name = path.file_name().map_or_else(|| file.clone(), |name| name.to_string_lossy().into_owned());
    let new = NewUpload {
        keeper_id: keeper,
        name: &name,
        bytes: &bytes,
        log: args.log.as_deref(),
        tank: args.tank.as_deref(),
        as_of: args.as_of,
        layout,
        received_by: BY,
        token_id: None,
        account_id: None,
        idempotency_key: None,
    };
    let received = match load::receive(connection, &new) {
        Err(LoadError::OtherShape(error)) => {
            eprintln!("strandline: {}", read::other_shape(&error, path));
            return outcome("unreadable", 0, 0);
        }
        other => other.map_err(failed)?,
    };
    if received.already.is_some() {
        return outcome("unchanged", 0, 0);
    }
    let upload = received.upload_id;
    let today = chrono::Local::now().date_naive();
    let mut state = load::stage(connection, upload, today).map_err(failed)?.state;
    // A remedy taken may bring up the next doubt of the same code; each round settles at least one.
    loop {
        let findings = load::findings(connection, upload).map_err(failed)?;
        let answers: Vec<Answer> = findings
            .iter()
            .filter(|finding| args.accept.contains(&finding.code))
            .filter_map(|finding| finding.proposed.clone())
            .collect();
        if answers.is_empty() {
            break;
        }
        state = load::answer(connection, upload, &answers, BY).map_err(failed)?.state;
    }
    let findings = load::findings(connection, upload).map_err(failed)?;
    let doubtful = findings.iter().filter(|finding| finding.severity != Severity::Noted).count() as u64;
    for finding in &findings {
        print_finding(&file, finding);
    }
    if state == State::Failed {
        load::discard(connection, upload, BY).map_err(failed)?;
        return outcome("unreadable", 0, doubtful);
    }
    if doubtful > 0 && !args.yes {
        load::discard(connection, upload, BY).map_err(failed)?;
        return outcome("not loaded", 0, doubtful);
    }
    let summary = load::commit(connection, upload, args.yes).map_err(failed)?;
    outcome(if doubtful > 0 { "held" } else { "committed" }, summary.recorded as u64, doubtful)
}

/// One line a finding, on standard error.
pub fn print_finding(file: &str, finding: &Finding) {
    let word = match finding.severity {
        Severity::Refused => "refused",
        Severity::Questioned => "question",
        Severity::Noted => "noted",
    };
    eprintln!("{file}{}: {word} {}: {} {}", read::place_of(finding), finding.code, finding.message, finding.remedy);
}

fn progress(files: usize) -> ProgressBar {
    let bar = ProgressBar::with_draw_target(Some(files as u64), ProgressDrawTarget::stderr());
    if let Ok(style) = ProgressStyle::with_template("{bar:30} {pos}/{len} {msg}") {
        bar.set_style(style);
    }
    bar
}

fn gather(paths: &[PathBuf]) -> Result<Vec<PathBuf>, Failure> {
    let mut files = Vec::new();
    for path in paths {
        let about = std::fs::metadata(path).map_err(|error| Failure::unreadable(path, &error))?;
        if about.is_dir() {
            let before = files.len();
            walk(path, &mut files)?;
            if files.len() == before {
                return Err(Failure::input(format!(
                    "no spreadsheet in the folder, {}: name a folder with .csv, .tsv, .txt, .xlsx, .xls or .ods files",
                    path.display()
                )));
            }
        } else {
            files.push(path.clone());
        }
    }
    Ok(files)
}

fn walk(folder: &Path, files: &mut Vec<PathBuf>) -> Result<(), Failure> {
    let mut entries = std::fs::read_dir(folder)
        .and_then(|entries| entries.map(|entry| entry.map(|entry| entry.path())).collect::<Result<Vec<_>, _>>())
        .map_err(|error| Failure::unreadable(folder, &error))?;
    // Registers before tests and diaries would be luck; at least the order is always the same.
    entries.sort();
    for path in entries {
        if path.is_dir() {
            walk(&path, files)?;
        } else if path
            .extension()
            .and_then(|e| e.to_str())
            .is_some_and(|e| EXTENSIONS.contains(&e.to_ascii_lowercase().as_str()))
        {
            files.push(path);
        }
    }
    Ok(())
}

fn print_table(done: &[Done]) -> Result<(), Failure> {
    let width = done.iter().map(|done| done.file.chars().count()).max().unwrap_or(4).max(4);
    put(format!("{:width$}  {:>10}  {:>8}  result", "file", "records", "doubtful"))?;
    for line in done {
        put(format!("{:width$}  {:>10}  {:>8}  {}", line.file, line.records, line.doubtful, line.result))?;
    }
    Ok(())
}
