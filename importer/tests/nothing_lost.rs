//! Nothing is lost: every non-empty cell counts once, whatever the file holds, and what a record or a finding names is
//! a cell of the file.

use std::collections::BTreeSet;
use std::path::Path;

use chrono::NaiveDate;
use importer::container;
use importer::context::{Context, KnownTank, Outcome};
use importer::finding::Severity;
use importer::read::read;
use importer::record::CellRef;
use proptest::prelude::*;

fn today() -> Option<NaiveDate> {
    NaiveDate::from_ymd_opt(2025, 6, 1)
}

type Place = (Option<String>, u32, u32);

fn place(cell: &CellRef) -> Place {
    (cell.sheet.clone(), cell.row, cell.column)
}

/// Non-empty cells, counted without the reader.
fn cells(name: &str, bytes: &[u8]) -> BTreeSet<Place> {
    let (grids, _) = container::open(name, bytes);
    grids
        .iter()
        .flat_map(|grid| {
            grid.rows.iter().flat_map(|row| row.cells.iter().map(|cell| (grid.sheet.clone(), row.number, cell.column)))
        })
        .collect()
}

fn check(name: &str, bytes: &[u8], outcome: &Outcome) -> Result<(), TestCaseError> {
    let file = cells(name, bytes);
    let count = outcome.cells;
    prop_assert_eq!(count.total, count.recorded + count.labels + count.findings);
    prop_assert_eq!(count.total, file.len() as u64);
    let recorded: BTreeSet<Place> =
        outcome.records.iter().flat_map(|record| &record.place().cells).map(place).collect();
    prop_assert!(
        recorded.is_subset(&file),
        "a record names a cell that the file has not: {:?}",
        recorded.difference(&file).next()
    );
    prop_assert_eq!(count.recorded, recorded.len() as u64);
    let held: BTreeSet<Place> = outcome
        .findings
        .iter()
        .filter(|finding| finding.severity != Severity::Noted)
        .flat_map(|finding| &finding.cells)
        .map(place)
        .collect();
    prop_assert!(
        held.is_subset(&file),
        "a finding names a cell that the file has not: {:?}",
        held.difference(&file).next()
    );
    prop_assert_eq!(count.findings, held.difference(&recorded).count() as u64);
    let keys: BTreeSet<&str> = outcome.findings.iter().map(|finding| finding.key.as_str()).collect();
    prop_assert_eq!(keys.len(), outcome.findings.len(), "two findings of one key");
    for record in &outcome.records {
        if let importer::record::Record::Reading(reading) = record {
            let (low, high) = (reading.lower.unwrap_or(0.0), reading.upper.unwrap_or(f64::INFINITY));
            prop_assert!(low <= high && reading.value.is_none_or(f64::is_finite), "{:?}", reading);
        }
    }
    Ok(())
}

/// A cell of some log, plain or odd.
fn cell() -> impl Strategy<Value = String> {
    let words = prop::sample::select(vec![
        "",
        "",
        "",
        "-",
        "n/a",
        "not tested",
        "ND",
        "trace",
        "<0.02",
        ">50",
        "5-10",
        "8?",
        "~8",
        "8.1/8.3",
        "8.O",
        "forgot",
        "0",
        "25,4",
        "1,310",
        "252",
        "77.4",
        "1025",
        "1.0255",
        "35",
        "53.1",
        "98%",
        "#DIV/0!",
        "=B2",
        "12 tentacles",
        "Goniopora",
        "Goniopora sp.",
        "Favia",
        "millepora",
        "flowerpot",
        "hammer",
        "torch",
        "wild",
        "frag swap",
        "dead",
        "gone",
        "RTN",
        "alive",
        "sold",
        "fragged into 3",
        "saved 3 frags",
        "vanished",
        "died on holiday",
        "heater stuck on",
        "before 2020",
        "June 2022",
        "?",
        "last week",
        "31/02/2024",
        "03/04/2024",
        "19/02/2024",
        "1/21/2024",
        "2024-03-05",
        "2024-03-05T19:30",
        "05/01",
        "45352",
        "Alder",
        "alder ",
        "Brook",
        "Tank: Alder",
        "as of 2024-05-01",
        "Average",
        "mg/L",
        "dKH",
        "3.2 cm",
        "34",
        "2 1/2 in",
        "open",
        "closed",
        "poor",
        "dia",
        "heads",
        "20 L",
        "30 gal",
        "cup",
        "yes",
        "no",
        "é",
        "\u{1F41F}",
        "a\nb",
        "\"",
        "2199-01-01",
    ]);
    prop_oneof![
        8 => words.prop_map(str::to_owned),
        2 => (0.0f64..500.0).prop_map(|value| format!("{value:.2}")),
        1 => (1u32..29, 1u32..13, 2019i32..2026).prop_map(|(day, month, year)| format!("{day:02}.{month:02}.{year}")),
        1 => "[ -~]{0,6}",
    ]
}

fn header() -> impl Strategy<Value = String> {
    prop::sample::select(vec![
        "Date",
        "Day",
        "Datum",
        "Time",
        "Tank",
        "Temp C",
        "Temp",
        "Salinity",
        "SG",
        "SG 25/25",
        "KH",
        "Alk ppm",
        "NO3",
        "Nitrate-N",
        "PO4",
        "PO4 ppb",
        "P",
        "Ca",
        "Mg",
        "pH",
        "NH3",
        "Cu",
        "O2",
        "PAR",
        "Flow",
        "Water change",
        "Feeding",
        "Carbon",
        "Notes",
        "Widgets",
        "",
        "No",
        "Label",
        "Coral",
        "Species",
        "Trade name",
        "Got",
        "Acquired",
        "From",
        "Origin",
        "Gone",
        "Died",
        "Ended",
        "What happened",
        "Cause",
        "Test",
        "Parameter",
        "Value",
        "Result",
        "Unit",
        "What",
        "Reading",
        "Diameter mm",
        "Height",
        "Heads",
        "Measured on",
        "Condition",
        "Size",
        "Last seen",
        "Status",
    ])
    .prop_map(str::to_owned)
}

fn text(rows: &[Vec<String>], separator: char) -> Vec<u8> {
    let quoted = |cell: &String| {
        if cell.contains([separator, '"', '\n', '\r']) {
            format!("\"{}\"", cell.replace('"', "\"\""))
        } else {
            cell.clone()
        }
    };
    rows.iter()
        .map(|row| row.iter().map(quoted).collect::<Vec<_>>().join(&separator.to_string()))
        .collect::<Vec<_>>()
        .join("\n")
        .into_bytes()
}

fn grid() -> impl Strategy<Value = Vec<Vec<String>>> {
    (2usize..8).prop_flat_map(|width| {
        let title = prop::collection::vec(cell(), 1..3);
        let head = prop::collection::vec(header(), width);
        let body = prop::collection::vec(prop::collection::vec(cell(), 0..=width + 1), 0..12);
        (prop::option::weighted(0.3, title), head, body)
            .prop_map(|(title, head, body)| title.into_iter().chain([head]).chain(body).collect())
    })
}

fn context() -> impl Strategy<Value = Context> {
    (any::<bool>(), 0usize..3).prop_map(|(keeper_known, tanks)| Context {
        today: today(),
        keeper_known,
        tanks: ["Alder", "Brook"][..tanks]
            .iter()
            .map(|name| KnownTank { name: (*name).to_owned(), aliases: Vec::new() })
            .collect(),
        ..Context::default()
    })
}

/// Answers every question with one of its choices, over and over, as a patient keeper would.
fn answered(name: &str, bytes: &[u8], context: &Context, pick: usize) -> Outcome {
    let mut context = context.clone();
    let mut outcome = read(name, bytes, &context);
    for _ in 0..4 {
        let open: Vec<_> = outcome
            .findings
            .iter()
            .filter(|finding| finding.severity == Severity::Questioned && finding.answered.is_none())
            .collect();
        if open.is_empty() {
            break;
        }
        let answers: Vec<_> = open
            .iter()
            .enumerate()
            .map(|(at, finding)| {
                let choice = &finding.choices[(pick + at) % finding.choices.len()];
                let value = match choice.needs.as_deref() {
                    Some("day") => Some("2024-02-03".into()),
                    Some("days") => Some(serde_json::json!(["2024-02-03", "2024-02-13"])),
                    Some("number") => Some(2024.into()),
                    Some("parameter") => Some("nitrate".into()),
                    Some("taxon") => Some("goniopora".into()),
                    Some(_) => Some("Alder".into()),
                    None => None,
                };
                importer::finding::Answer { key: finding.key.clone(), choice: choice.code.clone(), value }
            })
            .collect();
        context.answers.extend(answers);
        outcome = read(name, bytes, &context);
    }
    outcome
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 400, ..ProptestConfig::default() })]

    #[test]
    fn of_any_grid(rows in grid(), separator in prop::sample::select(vec![',', ';', '\t']), context in context(), pick in 0usize..12) {
        let bytes = text(&rows, separator);
        let outcome = read("log.csv", &bytes, &context);
        check("log.csv", &bytes, &outcome)?;
        let after = answered("log.csv", &bytes, &context, pick);
        check("log.csv", &bytes, &after)?;
    }

    #[test]
    fn of_any_bytes(bytes in prop::collection::vec(any::<u8>(), 0..300)) {
        let outcome = read("log.csv", &bytes, &Context::default());
        check("log.csv", &bytes, &outcome)?;
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 300, ..ProptestConfig::default() })]

    /// The sample logs with a few cells, rows or letters changed.
    #[test]
    fn of_changed_logs(which in any::<prop::sample::Index>(), changes in prop::collection::vec((any::<prop::sample::Index>(), cell(), 0u8..4), 1..8), pick in 0usize..12) {
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/logs");
        let mut logs: Vec<_> = std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()).filter(|path| path.extension().is_some_and(|ext| ext == "csv")).collect();
        logs.sort();
        let original = std::fs::read_to_string(which.get(&logs)).unwrap();
        let mut lines: Vec<String> = original.lines().map(str::to_owned).collect();
        for (at, cell, how) in changes {
            let line = at.index(lines.len());
            match how {
                0 => drop(lines.remove(line)),
                1 => { let copy = lines[line].clone(); lines.insert(line, copy); }
                2 => lines[line].push_str(&format!(",{}", cell.replace(['"', '\n'], ""))),
                _ => {
                    let separator = if lines[line].contains(';') { ';' } else { ',' };
                    let mut cells: Vec<String> = lines[line].split(separator).map(str::to_owned).collect();
                    let target = at.index(cells.len());
                    cells[target] = cell.replace(['"', '\n', separator], "");
                    lines[line] = cells.join(&separator.to_string());
                }
            }
            if lines.is_empty() {
                lines.push(String::new());
            }
        }
        let bytes = lines.join("\r\n").into_bytes();
        let context = Context { today: today(), ..Context::default() };
        let outcome = read("log.csv", &bytes, &context);
        check("log.csv", &bytes, &outcome)?;
        check("log.csv", &bytes, &answered("log.csv", &bytes, &context, pick))?;
    }
}
