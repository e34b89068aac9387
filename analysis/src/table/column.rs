//! Names and cells, and the few things a cell can be: a number, a yes or no, a day, a level.

use std::collections::{BTreeMap, BTreeSet};

use super::error::{Place, TableError};

/// Names over columns of cells. Cells are kept without blanks around them; an empty one is missing.
#[derive(Debug, Clone, PartialEq)]
pub struct Table {
    names: Vec<String>,
    /// Whether the cells of each column are kept.
    kept: Vec<bool>,
    /// Cells, column by column; none of a column that is not kept.
    columns: Vec<Vec<String>>,
    /// Line of the file on which each row starts.
    lines: Vec<u64>,
    decimal_comma: bool,
}

/// Rows that have every used cell, and how many do not.
pub(super) struct Kept {
    /// Positions of the rows, from 0.
    pub(super) rows: Vec<usize>,
    /// Rows left out.
    pub(super) dropped: u64,
    /// Names of the columns with an empty cell in such a row.
    pub(super) empty_in: Vec<String>,
}

impl Table {
    /// A table from its column names and its rows, each with the line on which it starts.
    ///
    /// `decimal_comma`: numbers are written 8,2.
    ///
    /// # Errors
    /// As [`Table::push`].
    pub fn new(names: Vec<String>, rows: Vec<(u64, Vec<String>)>, decimal_comma: bool) -> Result<Table, TableError> {
        let mut table = Table::keeping(names, |_| true);
        table.set_decimal_comma(decimal_comma);
        for (line, cells) in &rows {
            table.push(*line, cells.iter().map(String::as_str))?;
        }
        Ok(table)
    }

    /// A table without rows that will keep the cells of some of its columns; those of the others count as empty.
    pub fn keeping(names: Vec<String>, keep: impl Fn(&str) -> bool) -> Table {
        let names: Vec<String> = names.iter().map(|name| name.trim().to_owned()).collect();
        let kept = names.iter().map(|name| keep(name)).collect();
        Table {
            columns: names.iter().map(|_| Vec::new()).collect(),
            names,
            kept,
            lines: Vec::new(),
            decimal_comma: false,
        }
    }

    /// Adds a row that starts on a line of the file.
    ///
    /// # Errors
    /// More or fewer cells than there are names (empty cells beyond the last column do not count).
    pub fn push<'c>(&mut self, line: u64, cells: impl Iterator<Item = &'c str>) -> Result<(), TableError> {
        let (mut found, mut beyond) = (0, false);
        for cell in cells {
            let cell = cell.trim();
            match self.columns.get_mut(found) {
                Some(column) if self.kept[found] => column.push(cell.to_owned()),
                Some(_) => {}
                None => beyond |= !cell.is_empty(),
            }
            found += 1;
        }
        if found < self.names.len() || beyond {
            return Err(TableError::data(
                format!("{found} cells under {} column names", self.names.len()),
                Place { row: Some(self.rows() as u64 + 1), line: Some(line), column: None },
                "give each row a cell for each column, and put quotes around a cell that holds the separator",
            ));
        }
        self.lines.push(line);
        Ok(())
    }

    /// Whether numbers are written 8,2.
    pub fn set_decimal_comma(&mut self, decimal_comma: bool) {
        self.decimal_comma = decimal_comma;
    }

    /// Names of the columns, in order.
    pub fn names(&self) -> &[String] {
        &self.names
    }

    /// Number of rows.
    pub fn rows(&self) -> usize {
        self.lines.len()
    }

    /// The column of this name.
    ///
    /// # Errors
    /// There is none, or two; the nearest name is told.
    pub(super) fn column(&self, name: &str) -> Result<usize, TableError> {
        let mut found = self.names.iter().enumerate().filter(|(_, own)| *own == name.trim());
        match (found.next(), found.next()) {
            (Some((at, _)), None) => Ok(at),
            (Some(_), Some(_)) => Err(TableError::request(
                format!("two columns are called '{}'", name.trim()),
                "rename one of them in the header",
            )),
            (None, _) => {
                let names = self.names.iter().map(String::as_str);
                Err(TableError::request(
                    format!("there is no column '{}'", name.trim()),
                    format!("{}the columns are {}", did_you_mean(name, names), listed(&self.names)),
                ))
            }
        }
    }

    pub(super) fn name(&self, column: usize) -> &str {
        &self.names[column]
    }

    pub(super) fn cell(&self, column: usize, row: usize) -> &str {
        self.columns[column].get(row).map_or("", String::as_str)
    }

    /// The place of a cell.
    pub(super) fn place(&self, column: usize, row: usize) -> Place {
        Place { column: Some(self.names[column].clone()), ..self.row_place(row) }
    }

    pub(super) fn row_place(&self, row: usize) -> Place {
        Place { column: None, row: Some(row as u64 + 1), line: Some(self.lines[row]) }
    }

    /// The rows in which none of these columns is empty.
    ///
    /// # Errors
    /// There is no such row.
    pub(super) fn complete(&self, used: &[usize]) -> Result<Kept, TableError> {
        let mut kept = Kept { rows: Vec::new(), dropped: 0, empty_in: Vec::new() };
        let mut empty = BTreeSet::new();
        for row in 0..self.rows() {
            let gaps: Vec<usize> = used.iter().copied().filter(|&column| self.cell(column, row).is_empty()).collect();
            if gaps.is_empty() {
                kept.rows.push(row);
            } else {
                kept.dropped += 1;
                empty.extend(gaps);
            }
        }
        kept.empty_in = empty.into_iter().map(|column| self.names[column].clone()).collect();
        if kept.rows.is_empty() {
            let (what, remedy) = if self.rows() == 0 {
                ("there is a header and no row".to_owned(), "give rows below the header".to_owned())
            } else {
                (
                    format!("each of the {} rows has an empty cell", self.rows()),
                    format!("fill in {}", listed(&kept.empty_in)),
                )
            };
            return Err(TableError::data(what, Place::default(), remedy));
        }
        Ok(kept)
    }

    /// A cell as a number, finite or not.
    pub(super) fn parse(&self, cell: &str) -> Option<f64> {
        let Some(at) = cell.find(',').filter(|_| self.decimal_comma) else {
            return cell.parse().ok();
        };
        let point = format!("{}.{}", &cell[..at], &cell[at + 1..]);
        // 1.310,5: the thousands mark would pass for a decimal one.
        if cell.contains('.') { None } else { point.parse().ok() }
    }

    /// The numbers of a column in some rows.
    ///
    /// # Errors
    /// The first cell that is no finite number.
    pub(super) fn numbers(&self, column: usize, rows: &[usize]) -> Result<Vec<f64>, TableError> {
        rows.iter()
            .map(|&row| {
                let cell = self.cell(column, row);
                let wrong = |what: &str| {
                    TableError::data(
                        format!("'{}' is not {what}", shown(cell)),
                        self.place(column, row),
                        "correct the cell, or leave it empty to leave the row out",
                    )
                };
                match self.parse(cell) {
                    Some(value) if value.is_finite() => Ok(value),
                    Some(_) => Err(wrong("a finite number")),
                    None => Err(wrong("a number")),
                }
            })
            .collect()
    }

    /// The levels of a column in some rows: sorted as numbers if all are numbers, otherwise as text.
    pub(super) fn levels(&self, column: usize, rows: impl Iterator<Item = usize>) -> Vec<String> {
        let unique: BTreeSet<&str> = rows.map(|row| self.cell(column, row)).filter(|cell| !cell.is_empty()).collect();
        let numbers: Option<Vec<f64>> =
            unique.iter().map(|level| self.parse(level).filter(|value| value.is_finite())).collect();
        let mut order: Vec<usize> = (0..unique.len()).collect();
        if let Some(numbers) = numbers {
            order.sort_by(|&a, &b| numbers[a].total_cmp(&numbers[b]).then(a.cmp(&b)));
        }
        let unique: Vec<&str> = unique.into_iter().collect();
        order.into_iter().map(|at| unique[at].to_owned()).collect()
    }

    /// The number of each row's level, and the levels.
    pub(super) fn coded(&self, column: usize, rows: &[usize]) -> (Vec<u32>, Vec<String>) {
        let levels = self.levels(column, rows.iter().copied());
        (self.codes(column, rows, &levels), levels)
    }

    /// The position of each row's cell among levels that hold it.
    pub(super) fn codes(&self, column: usize, rows: &[usize], levels: &[String]) -> Vec<u32> {
        let position: BTreeMap<&str, u32> = levels.iter().map(String::as_str).zip(0..).collect();
        rows.iter().map(|&row| position.get(self.cell(column, row)).copied().unwrap_or(0)).collect()
    }
}

/// A cell for print: not without end.
pub(super) fn shown(cell: &str) -> String {
    const LONGEST: usize = 40;
    if cell.chars().count() <= LONGEST {
        cell.to_owned()
    } else {
        format!("{}…", cell.chars().take(LONGEST).collect::<String>())
    }
}

/// A number with three significant digits.
pub(super) fn significant(value: f64) -> String {
    let digits = (2.0 - value.abs().log10().floor()).clamp(0.0, 12.0);
    if digits < 12.0 { format!("{value:.0$}", digits as usize) } else { format!("{value:.2e}") }
}

/// Up to twenty names in a row.
pub(super) fn listed(names: &[String]) -> String {
    const MOST: usize = 20;
    let shown: Vec<String> = names.iter().take(MOST).map(|name| shown(name)).collect();
    let more = names.len().saturating_sub(MOST);
    if more == 0 { shown.join(", ") } else { format!("{} and {more} more", shown.join(", ")) }
}

/// "did you mean 'time'? " if a name is near.
pub(super) fn did_you_mean<'a>(asked: &str, names: impl Iterator<Item = &'a str>) -> String {
    let asked = asked.trim().to_lowercase();
    let likeness = |name: &str| strsim::normalized_damerau_levenshtein(&asked, &name.to_lowercase());
    let nearest = names.map(|name| (likeness(name), name)).max_by(|a, b| a.0.total_cmp(&b.0).then(b.1.cmp(a.1)));
    match nearest {
        Some((likeness, name)) if likeness >= 0.5 => format!("did you mean '{name}'? "),
        _ => String::new(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn table(decimal_comma: bool, cells: &[&str]) -> Result<Table, TableError> {
        let rows = (2..).zip(cells).map(|(line, cell)| (line, vec![(*cell).to_owned()])).collect();
        Table::new(vec!["size".into()], rows, decimal_comma)
    }

    #[test]
    fn a_wrong_number_is_named_with_its_place() -> Result<(), TableError> {
        let table = table(false, &["5", " 6 ", "abc", "NaN", "inf", "8,2"])?;
        assert_eq!(table.numbers(0, &[0, 1]), Ok(vec![5.0, 6.0]));
        let said = |row: usize| table.numbers(0, &[row]).map_err(|e| e.to_string());
        let remedy = "correct the cell, or leave it empty to leave the row out";
        assert_eq!(said(2), Err(format!("'abc' is not a number, column size, row 3 (line 4): {remedy}")));
        assert_eq!(said(3), Err(format!("'NaN' is not a finite number, column size, row 4 (line 5): {remedy}")));
        assert!(said(4).is_err() && said(5).is_err());
        Ok(())
    }

    #[test]
    fn a_decimal_comma_is_read_where_it_is_one() -> Result<(), TableError> {
        let table = table(true, &["8,2", "0,125", "7", "1.310,5"])?;
        assert_eq!(table.numbers(0, &[0, 1, 2]), Ok(vec![8.2, 0.125, 7.0]));
        assert!(table.numbers(0, &[3]).is_err());
        Ok(())
    }

    #[test]
    fn levels_are_sorted_as_numbers_if_they_are_numbers() -> Result<(), TableError> {
        assert_eq!(table(false, &["10", "9", "", "9", "100"])?.levels(0, 0..5), ["9", "10", "100"]);
        assert_eq!(table(false, &["10", "9", "b"])?.levels(0, 0..3), ["10", "9", "b"]);
        Ok(())
    }

    #[test]
    fn rows_of_another_width_are_not_shifted() {
        let uneven = |cells: &[&str]| {
            let row = cells.iter().map(|cell| (*cell).to_owned()).collect();
            Table::new(vec!["a".into(), "b".into()], vec![(2, row)], false).map_err(|e| e.notice.place.row)
        };
        assert_eq!(uneven(&["1"]).map(|_| ()), Err(Some(1)));
        assert_eq!(uneven(&["1", "2", "3"]).map(|_| ()), Err(Some(1)));
        assert_eq!(uneven(&["1", "2", ""]).map(|table| table.rows()), Ok(1));
    }

    #[test]
    fn the_nearest_column_is_offered() -> Result<(), TableError> {
        let table = Table::new(vec!["time".into(), "status".into(), "sex".into(), "sex".into()], Vec::new(), false)?;
        let said = |name: &str| table.column(name).map_err(|e| e.to_string());
        assert_eq!(
            said("Tiem"),
            Err("there is no column 'Tiem': did you mean 'time'? the columns are time, status, sex, sex".into())
        );
        assert_eq!(said("sex"), Err("two columns are called 'sex': rename one of them in the header".into()));
        assert_eq!(said(" status "), Ok(1));
        Ok(())
    }
}
