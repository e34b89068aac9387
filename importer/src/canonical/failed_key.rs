//! Rows whose tank or coral is a failed formula, and rows below that leave it blank: nobody knows what they are about,
//! so nothing of them is read.

use std::collections::BTreeSet;

use analysis::vocabulary::{HeaderRole, header_roles};

use crate::canonical::Work;
use crate::doubt::desk::{Doubt, Spot};
use crate::grid::Raw;
use crate::layout::Table;

/// Takes such rows out of a table; each is refused by name.
pub(crate) fn refuse_rows(work: &mut Work, sheet: u16, table: &mut Table) {
    let key = |text: &str| {
        matches!(header_roles(text).first(), Some(HeaderRole::Tank | HeaderRole::Label | HeaderRole::Name))
    };
    let keys: Vec<u32> = table.header.iter().filter(|header| key(&header.text)).map(|header| header.column).collect();
    if keys.is_empty() {
        return;
    }
    let spot = |row: u32, column: u32| {
        let (row, column) = table.place(row, column);
        Spot { sheet, row, column }
    };
    let mut refused: BTreeSet<u32> = BTreeSet::new();
    let mut failed: Option<(u32, Doubt)> = None;
    for row in &table.rows {
        let own = row.cells.iter().find(|cell| keys.contains(&cell.column) && matches!(cell.raw, Raw::Error(_)));
        // A blank below may stand for what failed above.
        let goes_on = failed.as_ref().is_some_and(|(column, _)| row.cells.iter().all(|cell| cell.column != *column));
        if (own.is_some() || !goes_on)
            && let Some((_, doubt)) = failed.take()
        {
            work.desk.raise(doubt);
        }
        if let Some(own) = own {
            let written = own.raw.written();
            let at = spot(row.row, own.column);
            failed = Some((own.column, Doubt::of("formula_error").at(at, &written).fill("written", &written)));
        }
        failed = failed.map(|(column, doubt)| {
            refused.insert(row.row);
            (column, doubt.cells(row.cells.iter().map(|cell| (spot(row.row, cell.column), "row"))))
        });
    }
    if let Some((_, doubt)) = failed {
        work.desk.raise(doubt);
    }
    table.rows.retain(|row| !refused.contains(&row.row));
}
