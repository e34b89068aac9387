//! Prints the tables that the container, dialect and layout stages see in a file, as RFC 4180 text: header row, data
//! rows, cells as written. Findings and labels go to stderr.
//!
//! `cargo run --release --example grid -- FILE`

use std::io::Write;

use importer::{container, layout};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let path = std::env::args_os().nth(1).ok_or("usage: grid FILE")?;
    let bytes = std::fs::read(&path).map_err(|error| format!("{}: {error}", path.display()))?;
    let (grids, mut findings) = container::open(&path.to_string_lossy(), &bytes);
    let mut writer = csv::WriterBuilder::new()
        .flexible(true)
        .terminator(csv::Terminator::CRLF)
        .from_writer(std::io::stdout().lock());
    let mut errors = std::io::stderr().lock();
    for grid in &grids {
        let (tables, more, labels) = layout::tables(grid);
        findings.extend(more);
        for table in &tables {
            let place = table.sheet.as_deref().map(|sheet| format!(" on \"{sheet}\"")).unwrap_or_default();
            writeln!(errors, "{:?}{place}: {} rows", table.kind, table.rows.len())?;
            let last = table
                .rows
                .iter()
                .flat_map(|row| &row.cells)
                .map(|cell| cell.column)
                .chain(table.header.iter().map(|column| column.column))
                .max()
                .unwrap_or(0);
            let first = table
                .rows
                .iter()
                .flat_map(|row| &row.cells)
                .map(|cell| cell.column)
                .chain(table.header.iter().map(|column| column.column))
                .min()
                .unwrap_or(1);
            let mut cells = vec![String::new(); (last + 1 - first) as usize];
            for column in &table.header {
                cells[(column.column - first) as usize].clone_from(&column.text);
            }
            writer.write_record(&cells)?;
            for row in &table.rows {
                cells.iter_mut().for_each(String::clear);
                for cell in &row.cells {
                    cells[(cell.column - first) as usize] = cell.raw.written();
                }
                writer.write_record(&cells)?;
            }
            for (what, kept) in [("title", &table.titles), ("unit", &table.units), ("label", &table.labels)] {
                for cell in kept {
                    writeln!(errors, "{what} at row {}, column {}: {}", cell.row, cell.column, cell.raw.written())?;
                }
            }
        }
        for cell in &labels {
            writeln!(errors, "label at row {}, column {}: {}", cell.row, cell.column, cell.raw.written())?;
        }
    }
    writer.flush()?;
    for finding in &findings {
        writeln!(errors, "{:?} {}: {} {}", finding.severity, finding.code, finding.message, finding.remedy)?;
    }
    Ok(())
}
