//! Names under the headers of columns: two header rows, the upper with the parameters ("KH" over two columns, "NO3" over
//! the next two), the lower with the tanks ("Alder", "Brook", "Alder", "Brook"). The parameter stands over each of its
//! columns, or over the first of them, merged or not.
//!
//! Whether the names are tanks is not known here: only that they tell columns of one parameter apart.

use std::collections::{BTreeMap, BTreeSet};

use analysis::vocabulary::text::fold;

use super::over::{Names, Over, is_name};
use super::{Column, Kind, Placed, Table};
use crate::grid::Raw;

/// Takes a first row of names under the header out of the data: each becomes the name over its column, and the column is
/// headed by the parameter over it. Anything else is left as it is.
pub fn take(table: &mut Table) {
    let Some(names) = names(table) else { return };
    table.rows.remove(0);
    let mut over = Vec::new();
    for (cell, header) in names {
        match header {
            Some(header) => {
                if table.header.iter().all(|column| column.column != cell.column) {
                    table.header.push(Column { column: cell.column, row: cell.row, text: header });
                }
                over.push(Over { title: table.titles.len(), first: cell.column, last: cell.column });
                table.titles.push(cell);
            }
            // "Date" a row lower than the parameters.
            None => {
                table.header.push(Column { column: cell.column, row: cell.row, text: cell.raw.written() });
            }
        }
    }
    table.header.sort_by_key(|column| column.column);
    table.names_over = Names { over, alike: true };
}

/// The cells of the row, each with the header of the parameter it stands under; without one it is a header itself.
fn names(table: &Table) -> Option<Vec<(Placed, Option<String>)>> {
    if table.kind != Kind::Wide || table.turned || !table.names_over.over.is_empty() || table.rows.len() < 2 {
        return None;
    }
    let row = table.rows.first()?;
    let last = table.header.iter().map(|column| column.row).max()?;
    if row.row != last + 1 {
        return None;
    }
    let measured = |column: &&Column| !crate::meaning::quantities(&column.text).is_empty();
    let first = table.header.iter().find(measured)?.column;
    let mut under: BTreeMap<String, Vec<String>> = BTreeMap::new();
    let mut cells = Vec::new();
    for cell in &row.cells {
        let Raw::Text(text) = &cell.raw else { return None };
        let own = table.header.iter().find(|column| column.column == cell.column);
        if cell.column < first && own.is_none() && !analysis::vocabulary::header_roles(text).is_empty() {
            cells.push((cell.clone(), None));
            continue;
        }
        // A blank header is that of the parameter to its left.
        let left =
            || table.header.iter().filter(|column| column.column < cell.column).max_by_key(|column| column.column);
        let header = own.or_else(left).filter(|column| measured(column))?;
        if !is_name(&cell.raw) {
            return None;
        }
        under.entry(fold(&header.text)).or_default().push(fold(text));
        cells.push((cell.clone(), Some(header.text.clone())));
    }
    let all: BTreeSet<&String> = under.values().flatten().collect();
    let distinct = under.values().all(|names| names.iter().collect::<BTreeSet<_>>().len() == names.len());
    let apart = under.values().filter(|names| names.len() > 1).count();
    // Words that no other parameter has again may be anything; under one parameter alone they are its columns.
    let again = under.values().filter(|names| names.iter().collect::<BTreeSet<_>>() == all).count();
    (distinct && apart > 0 && again * 2 > under.len() && all.len() > 1).then_some(cells)
}

#[cfg(test)]
mod tests {
    use crate::container;

    /// Per column: header and name.
    fn read(text: &str) -> Vec<(String, String)> {
        let (grids, _) = container::open("log.csv", text.as_bytes());
        let (tables, ..) = crate::layout::tables(&grids[0]);
        let table = &tables[0];
        table
            .header
            .iter()
            .map(|column| {
                let over = table.names_over.of(column.column).and_then(|over| table.titles.get(over.title));
                (column.text.clone(), over.map(|title| title.raw.written()).unwrap_or_default())
            })
            .collect()
    }

    fn pairs(pairs: &[(&str, &str)]) -> Vec<(String, String)> {
        pairs.iter().map(|(header, name)| ((*header).to_owned(), (*name).to_owned())).collect()
    }

    #[test]
    fn tanks_under_their_parameters() {
        let values = "2025-03-02,8.1,7.8,5,10\n2025-03-09,8.2,7.9,6,11\n";
        let expected = pairs(&[("Date", ""), ("KH", "Alder"), ("KH", "Brook"), ("NO3", "Alder"), ("NO3", "Brook")]);
        for head in [
            "Date,KH,,NO3,\n,Alder,Brook,Alder,Brook\n",
            "Date,KH,KH,NO3,NO3\n,Alder,Brook,Alder,Brook\n",
            ",KH,,NO3,\nDate,Alder,Brook,Alder,Brook\n",
        ] {
            assert_eq!(read(&format!("{head}{values}")), expected, "{head}");
        }
    }

    #[test]
    fn other_rows_of_words_stay_what_they_are() {
        let values = "2025-03-02,8.1,7.8,5\n2025-03-09,8.2,7.9,6\n";
        for head in [
            "Date,Temp,KH,NO3\n,forgot,forgot,\n",
            "Date,Temp,KH,NO3\n,°C,dKH,mg/l\n",
            "Date,KH,KH,NO3\n,morning,evening,\n",
            "Date,Temp,KH,NO3\n,Alder,Brook,Copse\n",
        ] {
            assert!(read(&format!("{head}{values}")).iter().all(|(_, name)| name.is_empty()), "{head}");
        }
    }
}
