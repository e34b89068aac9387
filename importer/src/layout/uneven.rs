//! Rows of a text file with more cells than the header has columns: an unquoted separator in a note, or a decimal
//! comma in a comma-separated file. Words beyond the last column belong to the note; a number there means that the
//! row may have slid, and is asked about rather than read into the wrong columns.

use std::collections::BTreeMap;

use analysis::vocabulary::{HeaderRole, header_roles, is_no_reading};

use super::row::look_of;
use super::unclear::about;
use super::{DataRow, Kind, Placed, Table};
use crate::container::verdict::{self, chosen};
use crate::dialect::guess::Look;
use crate::finding::{Answer, Finding, Held};
use crate::grid::{Grid, Raw};
use crate::record::CellRef;

const CODE: &str = "row_uneven";
/// Share of rows with cells beyond the header from which they are a column that nobody headed.
const A_COLUMN: f64 = 0.3;
/// Rows looked at for what a column holds.
const SAMPLE_ROWS: usize = 500;

/// What a column holds in the rows of the right length.
struct Usual {
    numbers: usize,
    dates: usize,
    words: usize,
    middle: Option<f64>,
}

impl Usual {
    /// Whether a cell looks like the others of its column.
    fn takes(&self, raw: &Raw) -> bool {
        let filled = self.numbers + self.dates + self.words;
        match look_of(raw) {
            Look::Number => self.words * 10 < filled * 8 && self.dates * 10 < filled * 8 && self.near(raw),
            Look::Date | Look::Time => self.dates * 10 >= filled * 2,
            Look::Word => self.words * 10 >= filled * 2 || matches!(raw, Raw::Text(text) if is_no_reading(text)),
            Look::Blank => true,
        }
    }

    /// A number of the column's size; one that cannot be read says nothing.
    fn near(&self, raw: &Raw) -> bool {
        match (plain_number(&raw.written()), self.middle) {
            (Some(number), Some(middle)) if middle > 0.0 => number == 0.0 || (0.3..3.3).contains(&(number / middle)),
            _ => true,
        }
    }
}

fn plain_number(text: &str) -> Option<f64> {
    text.trim().trim_start_matches(['<', '>', '~']).replace(',', ".").parse().ok()
}

/// Settles the rows of a table that are too long: joins a note that was cut, asks about rows that may have slid.
/// The rows asked about leave the table and wait in the finding.
pub fn settle(grid: &Grid, table: &mut Table, answers: &[Answer]) -> Option<Finding> {
    let delimiter = grid.delimiter?;
    if matches!(table.kind, Kind::LogSheet(_)) {
        return None;
    }
    let last = table.header.iter().map(|column| column.column).max()?;
    let too_long = |row: &DataRow| row.cells.last().is_some_and(|cell| cell.column > last);
    let units = table.header.iter().find(|column| header_roles(&column.text).first() == Some(&HeaderRole::Unit));
    let units = units.filter(|_| table.kind == Kind::Long && delimiter == b',').map(|column| column.column);
    let slid_unit = |row: &DataRow| units.is_some_and(|column| number_for_unit(row, column));
    let count = table.rows.iter().filter(|row| too_long(row)).count();
    if count == 0 && !table.rows.iter().any(slid_unit) {
        return None;
    }
    let notes_last = table
        .header
        .iter()
        .find(|column| column.column == last)
        .is_some_and(|column| header_roles(&column.text).contains(&HeaderRole::Remark));
    let many = count as f64 > A_COLUMN * table.rows.len() as f64 && table.rows.len() > 3;
    if many {
        // Many notes may hold the separator; with values among what stands beyond it is a column.
        let beyond = table.rows.iter().flat_map(|row| &row.cells).filter(|cell| cell.column > last);
        if !table.rows.iter().any(slid_unit)
            && (!notes_last || beyond.into_iter().any(|cell| look_of(&cell.raw).is_value()))
        {
            return None;
        }
    }
    let mut usual = usual(table.rows.iter().filter(|row| !too_long(row) && !slid_unit(row)).take(SAMPLE_ROWS));
    if table.kind == Kind::Long {
        // In a list of tests the values of a column have no common size.
        usual.values_mut().for_each(|usual| usual.middle = None);
    }
    let mut slid: Vec<(usize, Option<Vec<Placed>>)> = Vec::new();
    for (at, row) in table.rows.iter_mut().enumerate().filter(|(_, row)| too_long(row) || slid_unit(row)) {
        if slid_unit(row) {
            slid.push((at, mend(row, last, &usual)));
            continue;
        }
        let beyond = row.cells.iter().position(|cell| cell.column > last).unwrap_or(row.cells.len());
        let words_at_last = row.cells[..beyond].last().is_some_and(|cell| {
            cell.column == last && (look_of(&cell.raw) == Look::Word || notes_last && says_more(&cell.raw))
        });
        let fits = row
            .cells
            .iter()
            .filter(|cell| cell.column < last || cell.column == last && !words_at_last)
            .all(|cell| usual.get(&cell.column).is_none_or(|usual| usual.takes(&cell.raw)));
        if fits && words_at_last && notes_last {
            table.labels.extend(join_note(row, beyond, delimiter));
        } else if !(many || fits && row.cells[beyond..].iter().all(|cell| look_of(&cell.raw) == Look::Word)) {
            let mended = (delimiter == b',').then(|| mend(row, last, &usual)).flatten();
            slid.push((at, mended));
        }
    }
    ask(grid, table, answers, last, slid)
}

/// "2 samples": a number in a note, not of a test.
fn says_more(raw: &Raw) -> bool {
    let Raw::Text(text) = raw else { return false };
    let word = text.split_whitespace().nth(1).unwrap_or_default();
    word.chars().filter(|letter| letter.is_alphabetic()).count() >= 4 && analysis::vocabulary::find_unit(word).is_none()
}

fn usual<'r>(rows: impl Iterator<Item = &'r DataRow>) -> BTreeMap<u32, Usual> {
    let mut numbers: BTreeMap<u32, Vec<f64>> = BTreeMap::new();
    let mut all: BTreeMap<u32, Usual> = BTreeMap::new();
    for cell in rows.flat_map(|row| &row.cells) {
        let usual = all.entry(cell.column).or_insert(Usual { numbers: 0, dates: 0, words: 0, middle: None });
        match look_of(&cell.raw) {
            Look::Number => {
                usual.numbers += 1;
                numbers.entry(cell.column).or_default().extend(plain_number(&cell.raw.written()));
            }
            Look::Date | Look::Time => usual.dates += 1,
            Look::Word => usual.words += 1,
            Look::Blank => {}
        }
    }
    for (column, mut values) in numbers {
        values.sort_by(f64::total_cmp);
        if let Some(usual) = all.get_mut(&column) {
            usual.middle = values.get(values.len() / 2).copied();
        }
    }
    all
}

/// Puts the pieces of a note together again; the places of the pieces become labels.
fn join_note(row: &mut DataRow, beyond: usize, delimiter: u8) -> Vec<Placed> {
    let pieces = row.cells.split_off(beyond);
    if let Some(note) = row.cells.last_mut() {
        let mut text = note.raw.written();
        for piece in &pieces {
            text.push(char::from(delimiter));
            text.push_str(&piece.raw.written());
        }
        note.raw = Raw::Text(text);
    }
    pieces
}

/// The one way to read two neighbouring cells as one number with a decimal comma after which every cell looks like
/// its column; `None` if there is no such way or more than one.
fn mend(row: &DataRow, last: u32, usual: &BTreeMap<u32, Usual>) -> Option<Vec<Placed>> {
    if row.cells.last().is_none_or(|cell| cell.column > last + 1) {
        return None;
    }
    let mut found = None;
    for at in 0..row.cells.len() - 1 {
        let (left, right) = (&row.cells[at], &row.cells[at + 1]);
        if right.column != left.column + 1
            || !digits(&left.raw)
            || !digits(&right.raw)
            || right.raw.written().trim().len() > 2
        {
            continue;
        }
        let mut cells: Vec<Placed> = row.cells[..at].to_vec();
        cells.push(Placed {
            raw: Raw::Text(format!("{}.{}", left.raw.written().trim(), right.raw.written().trim())),
            ..left.clone()
        });
        cells.extend(row.cells[at + 2..].iter().map(|cell| Placed { column: cell.column - 1, ..cell.clone() }));
        if cells.iter().all(|cell| usual.get(&cell.column).is_some_and(|usual| usual.takes(&cell.raw))) {
            if found.is_some() {
                return None;
            }
            found = Some(cells);
        }
    }
    found
}

fn digits(raw: &Raw) -> bool {
    matches!(raw, Raw::Text(text) if !text.trim().is_empty() && text.trim().bytes().all(|byte| byte.is_ascii_digit()))
}

/// "4 | 4 | mg/l" in a list of tests: decimals stand under the units, and the unit right of them.
fn number_for_unit(row: &DataRow, units: u32) -> bool {
    let at = |column: u32| row.cells.iter().find(|cell| cell.column == column).map(|cell| &cell.raw);
    units > 1
        && at(units).is_some_and(digits)
        && at(units - 1).is_some_and(digits)
        && at(units + 1).is_some_and(|raw| analysis::vocabulary::find_unit(&raw.written()).is_some())
}

/// A row without gaps pushed against the last column, and the cells that fall out on the left, each of which takes
/// one of the places freed on the right. `None` for a row with gaps.
fn from_the_right(row: &DataRow, last: u32) -> Option<(Vec<Placed>, Vec<Placed>)> {
    let end = row.cells.last()?.column;
    if row.cells.len() as u32 != end || end <= last {
        return None;
    }
    let shift = end - last;
    let (out, stay) = row.cells.split_at(shift as usize);
    let stay = stay.iter().map(|cell| Placed { column: cell.column - shift, ..cell.clone() }).collect();
    Some((stay, out.iter().map(|cell| Placed { column: cell.column + last, ..cell.clone() }).collect()))
}

/// One question for all slid rows of a table; an answer settles them.
fn ask(
    grid: &Grid,
    table: &mut Table,
    answers: &[Answer],
    last: u32,
    slid: Vec<(usize, Option<Vec<Placed>>)>,
) -> Option<Finding> {
    let first = &table.rows[slid.first()?.0];
    let row = first.row;
    let mut finding = verdict::finding(
        CODE,
        &about(table.sheet.as_deref(), table.header.iter().map(|column| column.text.clone())),
        &[("row", &row.to_string())],
    );
    let answer = chosen(answers, &finding.key);
    let picture = |cells: &[Placed]| cells.iter().map(|cell| cell.raw.written()).collect::<Vec<_>>().join(" | ");
    let pictures = [
        ("left", Some(picture(&first.cells))),
        ("right", from_the_right(first, last).map(|(cells, _)| picture(&cells))),
        ("joined", slid[0].1.as_deref().map(picture)),
    ];
    let all_pushed = slid.iter().all(|(at, _)| from_the_right(&table.rows[*at], last).is_some());
    let all_mended = slid.iter().all(|(_, mended)| mended.is_some());
    finding.written = picture(&first.cells).chars().take(200).collect();
    let mut rows_held: Vec<[u32; 2]> = Vec::new();
    let mut slid = slid.into_iter().peekable();
    let rows = std::mem::take(&mut table.rows);
    table.rows.reserve(rows.len());
    for (at, mut row) in rows.into_iter().enumerate() {
        let mended = slid.next_if(|(slid, _)| *slid == at).map(|(_, mended)| mended);
        match (answer, mended) {
            (_, None) | (Some("left"), Some(_)) => table.rows.push(row),
            (Some("joined"), Some(Some(mended))) => {
                // The place that is left over once two cells are one.
                table.labels.extend(row.cells.pop());
                table.rows.push(DataRow { cells: mended, ..row });
            }
            (Some("right"), Some(_)) if all_pushed => {
                let (cells, out) = from_the_right(&row, last).unwrap_or_default();
                table.labels.extend(out);
                table.rows.push(DataRow { cells, ..row });
            }
            (Some("leave_out"), Some(_)) => table.labels.extend(row.cells),
            (_, Some(_)) => {
                rows_held.push([row.row, row.row]);
                finding.cells.extend(row.cells.iter().map(|cell| CellRef {
                    sheet: table.sheet.clone(),
                    row: cell.row,
                    column: cell.column,
                    role: "data".to_owned(),
                }));
            }
        }
    }
    finding.row = Some(rows_held.first()?[0]);
    finding.choices.retain_mut(|choice| {
        let picture = pictures.iter().find(|(code, _)| *code == choice.code).map(|(_, picture)| picture);
        if let Some(Some(picture)) = picture {
            choice.label.push_str(&format!(": {picture}"));
        }
        picture.is_none_or(Option::is_some)
            && (choice.code != "joined" || all_mended)
            && (choice.code != "right" || all_pushed)
    });
    if all_mended {
        finding.propose("joined");
    }
    finding.sheet.clone_from(&grid.sheet);
    finding.held = vec![Held { sheet: grid.sheet.clone(), column: None, rows: rows_held }];
    finding.answered = answer.filter(|choice| *choice == "dont_know").map(str::to_owned);
    Some(finding)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{container, layout};

    fn read(text: &str, answers: &[Answer]) -> (Vec<Table>, Vec<Finding>) {
        let (grids, _) = container::open("log.csv", text.as_bytes());
        let (tables, findings, _) = layout::tables_with(&grids[0], answers);
        (tables, findings)
    }

    fn written(table: &Table, row: usize) -> Vec<String> {
        table.rows[row].cells.iter().map(|cell| cell.raw.written()).collect()
    }

    const SLID: &str = "Date,Temp,KH,NO3\n2024-03-02,25.1,8.2,5\n2024-03-03,25,4,8.1,5\n2024-03-04,25.3,8.0,5\n2024-03-05,25.0,8.0,6\n2024-03-06,25.2,7.9,6\n";

    #[test]
    fn a_note_that_was_cut_is_joined() {
        let text = "Date,KH,Notes\n2024-03-02,8.2,fine\n2024-03-03,8.1,moved it, then 2 heads open, all well\n2024-03-04,8.1,fine\n2024-03-05,8.1,fine\n2024-03-06,8.1,\n";
        let (tables, findings) = read(text, &[]);
        assert_eq!(findings, []);
        assert_eq!(written(&tables[0], 1), ["2024-03-03", "8.1", "moved it, then 2 heads open, all well"]);
        assert_eq!(tables[0].labels.len(), 2);
    }

    #[test]
    fn notes_of_a_list_of_tests_are_joined_whatever_the_size_of_the_values() {
        let text = "Element,Result,Unit,Notes\nCalcium,421,mg/l,\nBoron,4.6,mg/l,measured twice, alike\nIodine,62,ug/l,2 samples, one day\nSodium,10650,mg/l,\nTin,0.2,ug/l,\nZinc,3.1,ug/l,\nBarium,11,ug/l,\n";
        let (tables, findings) = read(text, &[]);
        assert_eq!(findings, []);
        assert_eq!(written(&tables[0], 1), ["Boron", "4.6", "mg/l", "measured twice, alike"]);
        assert_eq!(written(&tables[0], 2), ["Iodine", "62", "ug/l", "2 samples, one day"]);
        let slid = text.replace("Boron,4.6,mg/l,measured twice, alike", "Boron,4,6,mg/l,measured twice");
        assert_eq!(read(&slid, &[]).1.iter().map(|finding| finding.code.as_str()).collect::<Vec<_>>(), ["row_uneven"]);
    }

    #[test]
    fn decimals_under_the_units_of_a_list_are_asked_about() {
        let text =
            "Element,Result,Unit,Notes\nCalcium,420,mg/l,\nBoron,4,4,mg/l,\nStrontium,8,1,mg/l\nSodium,10650,mg/l,\n";
        let (tables, findings) = read(text, &[]);
        assert_eq!((tables[0].rows.len(), findings[0].code.as_str()), (2, "row_uneven"));
        let answer = findings[0].proposed.clone();
        let (tables, none) = read(text, answer.as_slice());
        assert_eq!(none, []);
        assert_eq!(written(&tables[0], 1), ["Boron", "4.4", "mg/l"]);
    }

    #[test]
    fn words_beyond_the_header_stay_beside_the_row() {
        let text = "Date,KH,NO3\n2024-03-02,8.2,5\n2024-03-03,8.1,5,new bulb\n2024-03-04,8.1,5\n2024-03-05,8.1,6\n";
        let (tables, findings) = read(text, &[]);
        assert_eq!(findings, []);
        assert_eq!(written(&tables[0], 1), ["2024-03-03", "8.1", "5", "new bulb"]);
    }

    #[test]
    fn a_row_that_has_slid_is_asked_about_and_mended_when_told() {
        let (tables, findings) = read(SLID, &[]);
        assert_eq!((tables[0].rows.len(), findings.len()), (4, 1));
        assert_eq!((findings[0].code.as_str(), findings[0].row, findings[0].cells.len()), ("row_uneven", Some(3), 5));
        assert_eq!(findings[0].proposed.as_ref().map(|answer| answer.choice.as_str()), Some("joined"));
        let answer = |choice: &str| Answer { key: findings[0].key.clone(), choice: choice.to_owned(), value: None };
        let (tables, none) = read(SLID, &[answer("joined")]);
        assert_eq!(none, []);
        assert_eq!(written(&tables[0], 1), ["2024-03-03", "25.4", "8.1", "5"]);
        assert_eq!(tables[0].labels.len(), 1);
        let (tables, none) = read(SLID, &[answer("right")]);
        assert_eq!(none, []);
        assert_eq!(written(&tables[0], 1), ["25", "4", "8.1", "5"]);
        assert_eq!(
            tables[0].labels.iter().map(|cell| (cell.column, cell.raw.written())).collect::<Vec<_>>(),
            [(5, "2024-03-03".to_owned())]
        );
        let (tables, none) = read(SLID, &[answer("leave_out")]);
        assert_eq!((none.len(), tables[0].rows.len(), tables[0].labels.len()), (0, 4, 5));
        let (tables, none) = read(SLID, &[answer("left")]);
        assert_eq!((none.len(), tables[0].rows.len()), (0, 5));
        let (tables, asked) = read(SLID, &[answer("dont_know")]);
        assert_eq!((asked[0].answered.as_deref(), tables[0].rows.len()), (Some("dont_know"), 4));
    }

    #[test]
    fn a_column_that_nobody_headed_is_no_slip() {
        let text = "Date,KH,NO3\n2024-03-02,8.2,5,1\n2024-03-03,8.1,5,2\n2024-03-04,8.1,5,3\n2024-03-05,8.1,6,4\n";
        let (tables, findings) = read(text, &[]);
        assert_eq!((findings.len(), tables[0].rows[0].cells.len()), (0, 4));
    }
}
