//! The `strandline` command: one module a word. Data go to standard output; progress and errors go to standard
//! error as `strandline: what, where: remedy`.

mod answer_text; // the numbers of an answer in one line
mod backup; // strandline backup FILE, strandline restore FILE
mod check; // strandline check
mod database; // the database a command works on
mod demo; // strandline demo
mod failure; // what went wrong, and the exit code
mod growth; // strandline growth TABLE
mod hand_over; // strandline hand-over
mod import; // strandline import FILE|FOLDER…
mod log_sheet; // strandline log-sheet
mod openapi; // strandline openapi
mod output; // standard output
mod read; // strandline read FILE…
mod report; // strandline report TAXON
mod serve; // strandline serve
mod simulate; // strandline simulate
mod survival; // strandline survival TABLE
mod table; // a table of anyone's as columns
mod token; // strandline token new

use std::ffi::OsString;
use std::path::PathBuf;
use std::process::ExitCode;

use clap::error::ErrorKind;
use clap::{Args, Parser, Subcommand};

use crate::config::{Config, Overrides};
use failure::Failure;

/// Pools a reef-keeping club's husbandry logs and shows which conditions went with survival and growth.
#[derive(Parser)]
#[command(name = "strandline", version, disable_help_subcommand = true)]
struct Command {
    #[command(flatten)]
    place: PlaceArgs,
    #[command(subcommand)]
    word: Word,
}

#[derive(Args, Clone)]
struct PlaceArgs {
    /// Directory for the private Postgres and its files [env: STRANDLINE_DATA]
    #[arg(long, global = true, value_name = "DIRECTORY")]
    data: Option<PathBuf>,
    /// Database to use in place of the private Postgres [env: DATABASE_URL]
    #[arg(long, global = true, value_name = "URL")]
    database_url: Option<String>,
    /// Folder of the PostgreSQL programs [env: PG_BIN]
    #[arg(long, global = true, value_name = "FOLDER")]
    pg_bin: Option<PathBuf>,
}

#[derive(Subcommand)]
enum Word {
    /// Write the demo club's spreadsheets, import them, print what was learned, serve
    Demo(demo::DemoArgs),
    /// Serve the API and its documentation
    Serve(serve::ServeArgs),
    /// Parse and normalise files; needs no database
    Read(read::ReadArgs),
    /// Import files or folders of a keeper
    Import(import::ImportArgs),
    /// Survival curves, log-rank and Cox model of any table
    Survival(survival::SurvivalArgs),
    /// Growth rates of any table
    Growth(growth::GrowthArgs),
    /// What the club's records say of a taxon
    Report(report::ReportArgs),
    /// Make the log sheet, blank or pre-filled
    LogSheet(log_sheet::LogSheetArgs),
    /// How far the statistics hold, on simulated clubs with a known truth
    Simulate(simulate::SimulateArgs),
    /// Write the whole club into one file, and compare answers made from it
    Backup(backup::BackupArgs),
    /// Read a backup into an empty database
    Restore(backup::BackupArgs),
    /// Look whether the database holds what it says
    Check(check::CheckArgs),
    /// Print the page for the next records secretary: what runs, who may do what, what waits
    HandOver(hand_over::HandOverArgs),
    /// Print the OpenAPI document
    Openapi,
    /// Make access tokens
    Token(token::TokenArgs),
}

/// Runs the command with its arguments, the program's name first.
pub fn run(arguments: impl IntoIterator<Item = OsString>) -> ExitCode {
    let command = match Command::try_parse_from(arguments) {
        Ok(command) => command,
        Err(usage) => {
            // Help and version are no mistakes; everything else is a usage error.
            let code = if usage.use_stderr() { 2 } else { 0 };
            match usage.kind() {
                ErrorKind::DisplayHelp
                | ErrorKind::DisplayVersion
                | ErrorKind::DisplayHelpOnMissingArgumentOrSubcommand => {
                    // A closed pipe is the reader's choice.
                    let _ = usage.print();
                }
                _ => eprintln!("strandline: {}", one_line(&usage.to_string())),
            }
            return ExitCode::from(code);
        }
    };
    let outcome = crate::config::check_names().map_err(Failure::from).and_then(|()| dispatch(command));
    match outcome {
        Ok(code) => ExitCode::from(code),
        Err(failure) => {
            eprintln!("strandline: {failure}");
            ExitCode::from(failure.exit_code())
        }
    }
}

/// A mistake in the arguments as `what, where: remedy`.
fn one_line(usage: &str) -> String {
    let said = usage.split("\n\nUsage:").next().unwrap_or(usage).split("\n\nFor more").next().unwrap_or(usage);
    let said = said.strip_prefix("error: ").unwrap_or(said);
    let words: Vec<&str> = said.split_whitespace().collect();
    format!(
        "{}, command line: `strandline --help`, or --help after the command's word, says what can be written",
        words.join(" ")
    )
}

fn dispatch(command: Command) -> Result<u8, Failure> {
    let place = command.place;
    match command.word {
        Word::Demo(args) => demo::run(&place.config(args.listen.clone(), None, None)?, &args),
        Word::Serve(args) => serve::run(&place.config(args.listen.clone(), None, None)?, &args),
        Word::Read(args) => read::run(&args),
        Word::Import(args) => import::run(&place.config(None, args.server.clone(), None)?, &args),
        Word::Survival(args) => survival::run(&args),
        Word::Growth(args) => growth::run(&args),
        Word::Report(args) => report::run(&place.config(None, None, None)?, &args),
        Word::LogSheet(args) => log_sheet::run(&place, &args),
        Word::Simulate(args) => simulate::run(&args),
        Word::Backup(args) => backup::write(&place.config(None, None, None)?, &args),
        Word::Restore(args) => backup::restore(&place.config(None, None, None)?, &args),
        Word::Check(args) => check::run(&place.config(None, None, None)?, &args),
        Word::HandOver(args) => hand_over::run(&place.config(None, None, None)?, &args),
        Word::Openapi => openapi::run(),
        Word::Token(args) => token::run(&place.config(None, None, None)?, &args),
    }
}

impl PlaceArgs {
    fn config(&self, listen: Option<String>, server: Option<String>, token: Option<String>) -> Result<Config, Failure> {
        let overrides = Overrides {
            database_url: self.database_url.clone(),
            data: self.data.clone(),
            listen,
            server,
            token,
            pg_bin: self.pg_bin.clone(),
        };
        Ok(crate::config::from_process(&overrides)?)
    }
}
