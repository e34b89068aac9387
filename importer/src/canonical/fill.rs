//! Key cells written once and left blank below: the row above speaks for the rows under it, where the whole column is
//! kept so. A blank in a column that is otherwise full is a gap, and not filled.

use std::collections::BTreeMap;

use crate::canonical::View;

/// Rows of merged cells, which say themselves whose key they take.
pub(crate) fn merged(view: &View, column: u32) -> BTreeMap<u32, u32> {
    let rows = &view.table.rows;
    let mut sources = BTreeMap::new();
    for merged in &view.table.merged {
        if merged.first_column == column && merged.last_row > merged.first_row {
            let filled = rows.iter().any(|row| row.row == merged.first_row && view.raw(row, column).is_some());
            let below = rows.iter().filter(|row| row.row > merged.first_row && row.row <= merged.last_row);
            sources.extend(below.filter(|_| filled).map(|row| (row.row, merged.first_row)));
        }
    }
    sources
}

/// For each row whose key is blank, the row whose key it takes.
pub(crate) fn sources(view: &View, column: u32) -> BTreeMap<u32, u32> {
    let rows = &view.table.rows;
    let mut sources = merged(view, column);
    let (mut filled, mut blanks, mut repeats) = (0_usize, 0_usize, 0_usize);
    let mut last: Option<(u32, String)> = None;
    let mut candidates: Vec<(u32, u32)> = Vec::new();
    let mut adjacent = false;
    for row in rows {
        match (view.text(row, column), &last) {
            (Some(text), known) => {
                repeats += usize::from(adjacent && known.as_ref().is_some_and(|(_, before)| *before == text));
                filled += 1;
                adjacent = true;
                last = Some((row.row, text));
            }
            (None, Some((above, _))) => {
                blanks += 1;
                adjacent = false;
                candidates.push((row.row, *above));
            }
            (None, None) => {}
        }
    }
    if is_habit(filled, blanks, repeats) {
        for (row, above) in candidates {
            sources.entry(row).or_insert(above);
        }
    }
    sources
}

/// Whether a column is kept so: written anew only where it changes (but for a slip among many), and left blank often
/// enough; one blank is a gap.
pub(crate) const fn is_habit(filled: usize, blanks: usize, repeats: usize) -> bool {
    repeats * 4 <= blanks && blanks > 1 && blanks * 2 >= filled
}
