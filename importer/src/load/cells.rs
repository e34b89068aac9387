//! Cells of a stored file, as written.

use std::collections::HashMap;

use diesel::pg::PgConnection;

use super::{LoadError, store};
use crate::container;
use crate::finding::Answer;
use crate::record::CellRef;

/// What stands in some cells of an upload's file, in their order; `None` for a cell that is empty.
///
/// # Errors
/// [`LoadError::NoUpload`]; the database's.
pub fn cells(connection: &mut PgConnection, upload: i64, wanted: &[CellRef]) -> Result<Vec<Option<String>>, LoadError> {
    let row = store::row(connection, upload)?;
    let bytes = store::original(connection, upload)?;
    let answers: Vec<Answer> = store::answers(connection, upload)?.into_iter().map(|stored| stored.answer).collect();
    let (grids, _) = container::open_with(&row.name, &bytes, &answers);
    let mut found: HashMap<(Option<&str>, u32, u32), String> = HashMap::new();
    for cell in wanted {
        let sheet = grids.iter().find(|grid| grid.sheet == cell.sheet);
        // A grid's rows stand in the order of their numbers.
        let row = sheet.and_then(|grid| {
            let at = grid.rows.binary_search_by_key(&cell.row, |row| row.number).ok()?;
            grid.rows.get(at)
        });
        if let Some(raw) = row.and_then(|row| row.at(cell.column)) {
            found.insert((cell.sheet.as_deref(), cell.row, cell.column), raw.written());
        }
    }
    Ok(wanted.iter().map(|cell| found.get(&(cell.sheet.as_deref(), cell.row, cell.column)).cloned()).collect())
}
