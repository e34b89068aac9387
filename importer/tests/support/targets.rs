//! What is run on arbitrary bytes: plain functions, for seeded mutations on any toolchain and for coverage-guided
//! fuzzing alike. Each must end without a panic and keep the laws that hold for every file.

use importer::context::Context;
use importer::{cell, container, dialect, encoding, read};

/// A name and what is run.
pub type Target = (&'static str, fn(&[u8]));

/// All targets.
pub const TARGETS: [Target; 5] = [
    ("container", target_container),
    ("encoding", target_encoding),
    ("dialect", target_dialect),
    ("cell", target_cell),
    ("read", target_read),
];

/// Bytes to sheets; every row in order, every cell in order.
pub fn target_container(bytes: &[u8]) {
    let (grids, findings) = container::open("any", bytes);
    assert!(!grids.is_empty() || !findings.is_empty(), "neither a sheet nor a reason");
    for grid in grids {
        assert!(grid.rows.windows(2).all(|pair| pair[0].number < pair[1].number));
        assert!(grid.rows.iter().all(|row| row.cells.windows(2).all(|pair| pair[0].column < pair[1].column)));
    }
}

/// Bytes to letters.
pub fn target_encoding(bytes: &[u8]) {
    if let Ok(decoded) = encoding::decode(bytes, None) {
        assert!(!decoded.text.contains('\0'));
    }
}

/// Letters to rows: no letter of a cell is made up.
pub fn target_dialect(bytes: &[u8]) {
    let Ok(text) = std::str::from_utf8(bytes) else { return };
    let dialect = dialect::detect(text).dialect;
    let mut records = dialect::split::Records::new(text, dialect);
    let mut letters = 0;
    while let Some(record) = records.next_record() {
        letters += record.fields.iter().map(|field| field.text.len()).sum::<usize>();
    }
    assert!(letters <= text.len());
}

/// A cell by itself.
pub fn target_cell(bytes: &[u8]) {
    let text = String::from_utf8_lossy(&bytes[..bytes.len().min(200)]);
    for comma in [false, true] {
        let _ = cell::mark::says(&text, comma);
        if let Some(figures) = cell::number::numeral(&text, comma) {
            assert!(figures.first.is_finite());
        }
    }
    let _ = cell::date::date(&text);
    let _ = cell::clock::clock(&text);
}

/// The whole pipeline: counts add up, and what was read is finite.
pub fn target_read(bytes: &[u8]) {
    let context = Context { today: chrono::NaiveDate::from_ymd_opt(2026, 1, 1), ..Context::default() };
    let outcome = read::read("any", bytes, &context);
    let cells = outcome.cells;
    assert_eq!(cells.total, cells.recorded + cells.labels + cells.findings, "cells add up");
    for record in &outcome.records {
        assert!(serde_json::to_string(record).is_ok());
    }
}
