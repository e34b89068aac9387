//! Text of members in the tables that are written: a spreadsheet program runs none of it, and our own reader gives it
//! back as it was.

use std::path::{Path, PathBuf};

use importer::container;
use importer::log_sheet::{Prefill, PrefilledCoral, csv as sheet_csv};

/// Names that a program would run.
const NASTY: [&str; 12] = [
    "=1+1",
    "+1+1",
    "-1+1",
    "@SUM(A1)",
    "\"=1+1\"",
    "'=1+1",
    " =1",
    "=HYPERLINK(\"x\",\"y\")",
    "a;=1",
    "-Reef-",
    "=A1\n=B1",
    "＝1+1",
];

fn written(text: &str) -> Vec<String> {
    let (grids, findings) = container::open("sheet.csv", text.as_bytes());
    assert!(findings.is_empty(), "{findings:?}");
    grids[0].rows.iter().flat_map(|row| &row.cells).map(|cell| cell.raw.written()).collect()
}

#[test]
fn a_pre_filled_sheet_runs_nothing_and_is_read_as_it_was() {
    let prefill = Prefill {
        tanks: NASTY.iter().map(|name| format!("{name} tank")).collect(),
        corals: NASTY
            .iter()
            .map(|name| PrefilledCoral {
                label: (*name).to_owned(),
                written: format!("{name} coral"),
                tank: format!("{name} tank"),
                got: "2024-03-02".to_owned(),
            })
            .collect(),
        ..Prefill::default()
    };
    let text = String::from_utf8(sheet_csv(&prefill).expect("a sheet")).expect("text");
    let mut reader = csv::ReaderBuilder::new().has_headers(false).flexible(true).from_reader(text.as_bytes());
    let mut guarded = 0;
    for row in reader.records() {
        for cell in &row.expect("a row") {
            assert!(!cell.starts_with(['=', '+', '-', '@', '\t', '\r', '\n', '＝']), "{cell:?}");
            guarded += usize::from(cell.starts_with('\''));
        }
    }
    assert!(guarded >= 3 * NASTY.len(), "{guarded}");
    let read = written(&text);
    for name in NASTY {
        for wanted in [name.to_owned(), format!("{name} coral"), format!("{name} tank")] {
            assert!(read.contains(&wanted), "{wanted:?}");
        }
    }
}

#[test]
fn numbers_below_zero_stay_numbers() {
    let outcome = importer::read::read(
        "log.csv",
        b"Date,ORP mV,KH\r\n2024-03-02,-50,8.1\r\n2024-03-09,-45,8.2\r\n2024-03-16,'-40,8.1\r\n",
        &importer::context::Context::default(),
    );
    let low: Vec<f64> = outcome
        .records
        .iter()
        .filter_map(|record| match record {
            importer::record::Record::Reading(reading) if reading.parameter.as_str() == "orp" => reading.value,
            _ => None,
        })
        .collect();
    assert_eq!(low, [-50.0, -45.0, -40.0]);
}

fn sources(folder: &Path, found: &mut Vec<PathBuf>) {
    for entry in std::fs::read_dir(folder).expect("a folder") {
        let path = entry.expect("an entry").path();
        if path.is_dir() {
            sources(&path, found);
        } else if path.extension().is_some_and(|ending| ending == "rs") {
            found.push(path);
        }
    }
}

#[test]
fn whatever_writes_a_table_guards_its_text() {
    let importer = Path::new(env!("CARGO_MANIFEST_DIR"));
    let mut files = Vec::new();
    for folder in ["src", "../server/src", "../analysis/src"] {
        sources(&importer.join(folder), &mut files);
    }
    let mut writers = 0;
    for path in files {
        let text = std::fs::read_to_string(&path).expect("a source");
        if text.contains("csv::Writer") {
            writers += 1;
            assert!(text.contains("formula_guard"), "{} writes CSV past the guard", path.display());
        }
    }
    assert!(writers >= 3, "{writers}");
}
