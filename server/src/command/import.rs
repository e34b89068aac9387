//! `strandline import FILE|FOLDER…`: files of one keeper, or of a folder of keepers, into the club's records; all or
//! nothing a file.

use std::path::{Path, PathBuf};

use chrono::NaiveDate;
use clap::Args;

use crate::config::Config;

use super::failure::Failure;

mod bulk; // many files at once, each keeper's in turn
mod local; // into the database
mod progress; // a bar each and one in all
mod remote; // through a running server
mod table; // what became of each file

/// Arguments of `strandline import`.
#[derive(Args)]
pub struct ImportArgs {
    /// Files, or folders with files
    #[arg(required = true, value_name = "FILE|FOLDER")]
    paths: Vec<PathBuf>,
    /// The keeper whose logs these are
    #[arg(long, value_name = "HANDLE", required_unless_present = "keeper_by_folder")]
    keeper: Option<String>,
    /// The folder that a file lies in is named for its keeper: FOLDER/HANDLE/tests.csv
    #[arg(long, conflicts_with = "keeper")]
    keeper_by_folder: bool,
    /// Make a keeper if there is none of that handle
    #[arg(long)]
    create: bool,
    /// The tank the files are about
    #[arg(long, value_name = "NAME")]
    tank: Option<String>,
    /// The log that the files are versions of
    #[arg(long, value_name = "NAME")]
    log: Option<String>,
    /// The day on which the lists were true
    #[arg(long, value_name = "DAY")]
    as_of: Option<NaiveDate>,
    /// The layout of a file of the same columns, as exported: its answers are used
    #[arg(long, value_name = "FILE")]
    layout: Option<PathBuf>,
    /// Write how the file was read, with the answers given, for further files of the same columns
    #[arg(long, value_name = "FILE")]
    save_layout: Option<PathBuf>,
    /// Load what is certain, hold the rest
    #[arg(long)]
    yes: bool,
    /// Take the proposed remedy of this finding
    #[arg(long, value_name = "CODE")]
    accept: Vec<String>,
    /// A running strandline to send the files to [env: STRANDLINE_SERVER]
    #[arg(long, value_name = "URL")]
    pub server: Option<String>,
}

/// Extensions looked for in folders. A file named on the command line is read whatever it is called.
const EXTENSIONS: [&str; 6] = ["csv", "tsv", "txt", "xlsx", "xls", "ods"];

/// A file to import.
struct Item {
    path: PathBuf,
    /// As named on the command line or found in a folder.
    shown: String,
    /// Without folders.
    name: String,
    /// Handle of the keeper whose it is.
    keeper: String,
}

/// Imports.
pub fn run(config: &Config, args: &ImportArgs) -> Result<u8, Failure> {
    let items = gather(args)?;
    if args.save_layout.is_some() && items.len() != 1 {
        return Err(Failure::usage(format!(
            "a layout is of one file and {} are named, --save-layout: import the file it is of alone",
            items.len()
        )));
    }
    if let Some(code) = args.accept.iter().find(|code| analysis::vocabulary::FindingCode::parse(code).is_none()) {
        return Err(Failure::usage(format!(
            "no finding is called that, --accept {code}: `strandline read` prints the codes of a file"
        )));
    }
    let done = match &config.server {
        Some(server) => remote::run(server, config.token.as_deref(), args, &items)?,
        None => local::run(config, args, &items)?,
    };
    table::print(&done)?;
    Ok(done.iter().map(table::Done::code).max().unwrap_or(0))
}

/// The files in the order in which they are named, folders' in the order of their names.
fn gather(args: &ImportArgs) -> Result<Vec<Item>, Failure> {
    let mut files = Vec::new();
    for path in &args.paths {
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
    files.into_iter().map(|path| item(path, args)).collect()
}

fn item(path: PathBuf, args: &ImportArgs) -> Result<Item, Failure> {
    let shown = path.display().to_string();
    let name = path.file_name().map_or_else(|| shown.clone(), |name| name.to_string_lossy().into_owned());
    let keeper = match &args.keeper {
        Some(keeper) => keeper.clone(),
        None => folder_of(&path).ok_or_else(|| {
            Failure::usage(format!(
                "the file lies in no folder that could name its keeper, {shown}: put it in a folder named for its \
                 keeper, or name the keeper by --keeper"
            ))
        })?,
    };
    Ok(Item { path, shown, name, keeper })
}

fn folder_of(path: &Path) -> Option<String> {
    // "." and ".." have names too, once the path is whole.
    let whole = std::fs::canonicalize(path).ok()?;
    whole.parent()?.file_name().map(|name| name.to_string_lossy().into_owned())
}

fn walk(folder: &Path, files: &mut Vec<PathBuf>) -> Result<(), Failure> {
    let mut entries = std::fs::read_dir(folder)
        .and_then(|entries| entries.map(|entry| entry.map(|entry| entry.path())).collect::<Result<Vec<_>, _>>())
        .map_err(|error| Failure::unreadable(folder, &error))?;
    entries.sort();
    for path in entries {
        if path.is_dir() {
            walk(&path, files)?;
        } else if is_spreadsheet(&path) {
            files.push(path);
        }
    }
    Ok(())
}

/// By its ending; not the lock files that spreadsheet programs lay beside an open file.
fn is_spreadsheet(path: &Path) -> bool {
    let name = path.file_name().map(|name| name.to_string_lossy()).unwrap_or_default();
    let ending = path.extension().and_then(|ending| ending.to_str()).map(str::to_ascii_lowercase);
    !name.starts_with("~$")
        && !name.starts_with(".~lock.")
        && ending.is_some_and(|ending| EXTENSIONS.contains(&ending.as_str()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_a_folder_holds() {
        for (name, expected) in [
            ("tests.csv", true),
            ("Corals 2024.XLSX", true),
            ("old.xls", true),
            ("~$Corals 2024.xlsx", false),
            (".~lock.tests.csv#", false),
            (".~lock.tests.csv", false),
            ("reef.jpg", false),
            ("notes", false),
        ] {
            assert_eq!(is_spreadsheet(Path::new(name)), expected, "{name}");
        }
    }
}
