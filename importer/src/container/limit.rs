//! How much is read. Checked before memory is taken, so that no file can exhaust the machine.

use super::verdict::over_limit;
use crate::finding::Finding;

/// Bytes of a file.
pub const BYTES: u64 = 64 * 1024 * 1024;
/// Bytes of a container's parts, unpacked.
pub const UNPACKED: u64 = 512 * 1024 * 1024;
/// Sheets of a workbook.
pub const SHEETS: u64 = 200;
/// Row number of the last row.
pub const ROWS: u64 = 1_100_000;
/// Column number of the last column.
pub const COLUMNS: u64 = 16_384;
/// Non-empty cells of a file.
pub const CELLS: u64 = 10_000_000;
/// Bytes of one cell.
pub const CELL_BYTES: u64 = 1024 * 1024;

/// Counts rows, columns and cells of a file while they are read.
#[derive(Debug, Default)]
pub struct Meter {
    cells: u64,
}

impl Meter {
    /// Non-empty cells so far.
    pub const fn cells(&self) -> u64 {
        self.cells
    }

    /// Takes note of a non-empty cell; rows and columns count from 1.
    pub fn cell(&mut self, row: u64, column: u64, bytes: usize) -> Result<(), Box<Finding>> {
        self.cells += 1;
        if self.cells > CELLS {
            Err(Box::new(over_limit("cells", CELLS, self.cells)))
        } else if row > ROWS {
            Err(Box::new(over_limit("rows", ROWS, row)))
        } else if column > COLUMNS {
            Err(Box::new(over_limit("columns", COLUMNS, column)))
        } else if bytes as u64 > CELL_BYTES {
            Err(Box::new(over_limit("bytes in one cell", CELL_BYTES, bytes as u64)))
        } else {
            Ok(())
        }
    }
}
