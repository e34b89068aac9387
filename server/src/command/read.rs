//! `strandline read FILE…`: parse and normalise only; no database.

use std::path::{Path, PathBuf};

use chrono::NaiveDate;
use clap::Args;
use importer::context::{Context, Outcome};
use importer::finding::Severity;
use importer::record::Record;
use importer::saved_layout::{Columns, OtherShape, SavedLayout};
use serde_json::Value;

use super::failure::Failure;
use super::output::put;

/// Arguments of `strandline read`.
#[derive(Args)]
pub struct ReadArgs {
    /// Files to read
    #[arg(required = true, value_name = "FILE")]
    files: Vec<PathBuf>,
    /// One JSON object a line and file
    #[arg(long)]
    json: bool,
    /// The day on which the files are read; later days in them are in the future
    #[arg(long, value_name = "DAY")]
    today: Option<NaiveDate>,
    /// The tank the files are about
    #[arg(long, value_name = "NAME")]
    tank: Option<String>,
    /// The layout of a file of the same columns, as exported: its answers are used
    #[arg(long, value_name = "FILE")]
    layout: Option<PathBuf>,
    /// Write how the file was read, for further files of the same columns
    #[arg(long, value_name = "FILE")]
    save_layout: Option<PathBuf>,
}

/// The layout of a file.
pub fn layout(path: Option<&PathBuf>) -> Result<Option<SavedLayout>, Failure> {
    let Some(path) = path else { return Ok(None) };
    let text = std::fs::read(path).map_err(|error| Failure::unreadable(path, &error))?;
    let read = SavedLayout::parse(&text).map_err(|error| {
        let said = error.to_string();
        let (what, remedy) = said.split_once(": ").unwrap_or((&said, "send a layout as it was exported"));
        Failure::input(format!("{what}, {}: {remedy}", path.display()))
    })?;
    Ok(Some(read))
}

/// Writes a layout, whole or not at all.
pub fn write_layout(path: &Path, document: &Value) -> Result<(), Failure> {
    let text = serde_json::to_string_pretty(document)
        .map_err(|error| Failure::place(format!("cannot write ({error}), {}: report this", path.display())))?;
    let beside = path.with_added_extension("part");
    std::fs::write(&beside, text + "\n")
        .and_then(|()| std::fs::rename(&beside, path))
        .map_err(|error| Failure::unwritable(path, &error))
}

/// What is said of a file that is not of the layout's shape.
pub fn other_shape(error: &OtherShape, path: &std::path::Path) -> Failure {
    Failure::input(format!(
        "the layout does not fit ({}), {}: name the layout of a file with these columns, or read it without one",
        error.0.join("; "),
        path.display()
    ))
}

/// The bytes of a log. One that is longer than what is read is refused before any of it is taken into memory.
pub fn bytes_of(path: &Path) -> Result<Vec<u8>, Failure> {
    let limit = importer::container::limit::BYTES;
    let about = std::fs::metadata(path).map_err(|error| Failure::unreadable(path, &error))?;
    if about.len() > limit {
        return Err(Failure::input(format!(
            "the file holds {} bytes and {limit} are read, {}: split it by year or by sheet",
            about.len(),
            path.display()
        )));
    }
    std::fs::read(path).map_err(|error| Failure::unreadable(path, &error))
}

/// Reads; 0, or 3 if a file could not be read.
pub fn run(args: &ReadArgs) -> Result<u8, Failure> {
    let today = args.today.unwrap_or_else(|| chrono::Local::now().date_naive());
    if args.save_layout.is_some() && args.files.len() != 1 {
        return Err(Failure::usage(format!(
            "a layout is of one file and {} are named, --save-layout: read the file it is of alone",
            args.files.len()
        )));
    }
    let layout = layout(args.layout.as_ref())?;
    let mut code = 0;
    for path in &args.files {
        let bytes = match bytes_of(path) {
            Ok(bytes) => bytes,
            Err(why) => {
                eprintln!("strandline: {why}");
                code = 3;
                continue;
            }
        };
        let name =
            path.file_name().map_or_else(|| path.display().to_string(), |name| name.to_string_lossy().into_owned());
        let mut context = Context { today: Some(today), tank: args.tank.clone(), ..Context::default() };
        if let Some(layout) = &layout {
            if let Err(error) = layout.fits(&name, &bytes) {
                eprintln!("strandline: {}", other_shape(&error, path));
                code = 3;
                continue;
            }
            context.answers = layout.answers().to_vec();
            context.tank = context.tank.or_else(|| layout.tank().map(str::to_owned));
        }
        let mut outcome = importer::read::read(&name, &bytes, &context);
        outcome.file = path.display().to_string();
        if importer::read::unreadable(&outcome) {
            code = 3;
            for finding in &outcome.findings {
                eprintln!("strandline: {}, {}: {}", finding.message, path.display(), finding.remedy);
            }
        }
        if let Some(to) = &args.save_layout {
            let mut columns = Columns::default();
            columns.see(&outcome.records);
            let made = SavedLayout::of(&name, &bytes, &context.answers, context.tank.as_deref(), &columns);
            match made {
                Some(made) => write_layout(to, made.document())?,
                None => eprintln!("strandline: the file holds no table, {}: it has no layout to save", path.display()),
            }
        }
        let text = if args.json { json(&outcome)? } else { summary(&outcome) };
        put(text)?;
    }
    Ok(code)
}

fn json(outcome: &Outcome) -> Result<String, Failure> {
    serde_json::to_string(outcome)
        .map_err(|error| Failure::place(format!("cannot print ({error}), {}: report this file", outcome.file)))
}

/// Counts of records by kind, in the order of the record model.
pub fn counts(records: &[Record]) -> Vec<(&'static str, usize)> {
    let mut counts: Vec<(&'static str, usize)> = Vec::new();
    for record in records {
        let kind = kind(record);
        match counts.iter_mut().find(|(name, _)| *name == kind) {
            Some((_, n)) => *n += 1,
            None => counts.push((kind, 1)),
        }
    }
    counts
}

fn kind(record: &Record) -> &'static str {
    match record {
        Record::Tank(_) => "tanks",
        Record::Reading(_) => "readings",
        Record::Specimen(_) => "specimens",
        Record::Identification(_) => "identifications",
        Record::Stay(_) => "stays",
        Record::Placement(_) => "placements",
        Record::Sighting(_) => "sightings",
        Record::Sizing(_) => "sizes",
        Record::Ending(_) => "endings",
        Record::Routine(_) => "routines",
        Record::Event(_) => "events",
        Record::Incident(_) => "incidents",
        Record::Instrument(_) => "instruments",
    }
}

fn summary(outcome: &Outcome) -> String {
    let mut lines = vec![format!("{}: {}", outcome.file, outcome.about.layouts.join(", "))];
    for (kind, n) in counts(&outcome.records) {
        lines.push(format!("  {n} {kind}"));
    }
    let cells = outcome.cells;
    lines.push(format!(
        "  cells: {} = {} recorded + {} labels + {} findings",
        cells.total, cells.recorded, cells.labels, cells.findings
    ));
    for finding in &outcome.findings {
        let word = match finding.severity {
            Severity::Refused => "refused",
            Severity::Questioned => "question",
            Severity::Noted => "noted",
        };
        let place = place_of(finding);
        lines.push(format!("  {word} {}{place}: {} {}", finding.code, finding.message, finding.remedy));
    }
    lines.join("\n")
}

/// " (sheet X, row 3, column 4)" as far as known.
pub fn place_of(finding: &importer::finding::Finding) -> String {
    let parts: Vec<String> = [
        finding.sheet.as_ref().map(|sheet| format!("sheet {sheet}")),
        finding.row.map(|row| format!("row {row}")),
        finding.column.map(|column| format!("column {column}")),
    ]
    .into_iter()
    .flatten()
    .collect();
    if parts.is_empty() { String::new() } else { format!(" ({})", parts.join(", ")) }
}
