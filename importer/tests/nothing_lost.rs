//! Nothing is lost: every non-empty cell counts once, whatever the file holds, and what a record or a finding names is
//! a cell of the file.

#[path = "support/odd_grids.rs"]
mod odd_grids;

use std::collections::BTreeSet;
use std::path::Path;

use importer::container;
use importer::context::{Context, Outcome};
use importer::read::read;
use odd_grids::*;
use proptest::prelude::*;

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
    counted(&cells(name, bytes), outcome)
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
