//! Prints every non-empty cell of a file with its place, as RFC 4180 text: sheet, row, column, as written. Rows and
//! columns count from 1 as a person sees them.
//!
//! `cargo run --release --example cells -- FILE`

use importer::container;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let path = std::env::args_os().nth(1).ok_or("usage: cells FILE")?;
    let bytes = std::fs::read(&path).map_err(|error| format!("{}: {error}", path.display()))?;
    let (grids, findings) = container::open(&path.to_string_lossy(), &bytes);
    let mut writer = csv::WriterBuilder::new().terminator(csv::Terminator::CRLF).from_writer(std::io::stdout().lock());
    writer.write_record(["sheet", "row", "column", "written"])?;
    for grid in &grids {
        let sheet = grid.sheet.as_deref().unwrap_or_default();
        for row in &grid.rows {
            for cell in &row.cells {
                let (number, column) = (row.number.to_string(), cell.column.to_string());
                writer.write_record([sheet, &number, &column, &cell.raw.written()])?;
            }
        }
    }
    writer.flush()?;
    for finding in &findings {
        eprintln!("{:?} {}: {} {}", finding.severity, finding.code, finding.message, finding.remedy);
    }
    Ok(())
}
