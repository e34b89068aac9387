//! Grids that members might send, their cells plain or odd, and the law that each of their cells counts once.
#![allow(dead_code, reason = "each test program uses its own part")]

use std::collections::BTreeSet;

use chrono::NaiveDate;
use importer::context::{Context, KnownTank, Outcome};
use importer::finding::Severity;
use importer::read::read;
use importer::record::CellRef;
use proptest::prelude::*;

/// The day of reading.
pub fn today() -> Option<NaiveDate> {
    NaiveDate::from_ymd_opt(2025, 6, 1)
}

/// Sheet, row, column.
pub type Place = (Option<String>, u32, u32);

/// Where a cell stands.
pub fn place(cell: &CellRef) -> Place {
    (cell.sheet.clone(), cell.row, cell.column)
}

/// Every cell of the file counts once, and what records and findings name are cells of it.
pub fn counted(file: &BTreeSet<Place>, outcome: &Outcome) -> Result<(), TestCaseError> {
    let count = outcome.cells;
    prop_assert_eq!(count.total, count.recorded + count.labels + count.findings);
    prop_assert_eq!(count.total, file.len() as u64);
    let recorded: BTreeSet<Place> =
        outcome.records.iter().flat_map(|record| &record.place().cells).map(place).collect();
    prop_assert!(
        recorded.is_subset(file),
        "a record names a cell that the file has not: {:?}",
        recorded.difference(file).next()
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
        held.is_subset(file),
        "a finding names a cell that the file has not: {:?}",
        held.difference(file).next()
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
pub fn cell() -> impl Strategy<Value = String> {
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

/// A word over a column.
pub fn header() -> impl Strategy<Value = String> {
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

/// Rows: perhaps a title, a header, and what stands below.
pub fn grid() -> impl Strategy<Value = Vec<Vec<String>>> {
    (2usize..8).prop_flat_map(|width| {
        let title = prop::collection::vec(cell(), 1..3);
        let head = prop::collection::vec(header(), width);
        let body = prop::collection::vec(prop::collection::vec(cell(), 0..=width + 1), 0..12);
        (prop::option::weighted(0.3, title), head, body)
            .prop_map(|(title, head, body)| title.into_iter().chain([head]).chain(body).collect())
    })
}

/// What the reader is told.
pub fn context() -> impl Strategy<Value = Context> {
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
pub fn answered(name: &str, bytes: &[u8], context: &Context, pick: usize) -> Outcome {
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
