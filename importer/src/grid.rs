//! One sheet as a grid of raw cells with their places. Nothing is interpreted here.

use chrono::NaiveDateTime;

/// A cell as the container holds it.
#[derive(Debug, Clone, PartialEq)]
pub enum Raw {
    /// Text, as written; never empty and never only white space.
    Text(String),
    /// A number of a workbook, with its text in the workbook's general format.
    Number(f64),
    /// A date or time of a workbook; the fraction of the serial is the time.
    Date(NaiveDateTime),
    /// A truth value of a workbook.
    Bool(bool),
    /// A spreadsheet error value or a formula without a stored value (`#DIV/0!`).
    Error(Box<str>),
}

impl Raw {
    /// A cell of text: an error value of a spreadsheet is one in whatever container it stands.
    pub fn of_text(text: String) -> Self {
        if crate::cell::mark::is_error_value(&text) { Raw::Error(text.into()) } else { Raw::Text(text) }
    }

    /// The cell as a person would write it.
    pub fn written(&self) -> String {
        match self {
            Raw::Text(text) => text.clone(),
            Raw::Number(number) => general(*number),
            Raw::Date(at) if at.time() == chrono::NaiveTime::MIN => at.date().format("%Y-%m-%d").to_string(),
            Raw::Date(at) => at.format("%Y-%m-%dT%H:%M").to_string(),
            Raw::Bool(value) => if *value { "TRUE" } else { "FALSE" }.to_owned(),
            Raw::Error(text) => text.to_string(),
        }
    }
}

/// A number with the fifteen digits that a spreadsheet keeps, without closing zeros: 25.4, not 25.400000000000002.
pub(crate) fn general(number: f64) -> String {
    let rounded: f64 = format!("{number:.14e}").parse().unwrap_or(number);
    if rounded != 0.0 && !(1e-9..1e15).contains(&rounded.abs()) { format!("{rounded:e}") } else { format!("{rounded}") }
}

/// A non-empty cell with its place.
#[derive(Debug, Clone, PartialEq)]
pub struct Cell {
    /// Column from 1.
    pub column: u32,
    /// What it holds.
    pub raw: Raw,
}

/// One row that holds at least one non-empty cell.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    /// Row from 1 as a person sees the sheet, blank rows counted.
    pub number: u32,
    /// Line in a text file, from 1.
    pub line: Option<u32>,
    /// Non-empty cells, left to right.
    pub cells: Vec<Cell>,
}

impl Row {
    /// The cell in a column, if not empty.
    pub fn at(&self, column: u32) -> Option<&Raw> {
        self.cells.binary_search_by_key(&column, |cell| cell.column).ok().map(|i| &self.cells[i].raw)
    }
}

/// A range of merged cells, both ends included; its value stands in the first.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Merged {
    /// First row, from 1.
    pub first_row: u32,
    /// Last row.
    pub last_row: u32,
    /// First column, from 1.
    pub first_column: u32,
    /// Last column.
    pub last_column: u32,
}

/// A cell with a fill of its own.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Fill {
    /// Row from 1.
    pub row: u32,
    /// Column from 1.
    pub column: u32,
    /// Number of the colour, as met in the file.
    pub colour: u16,
}

/// One sheet, or a text file.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Grid {
    /// Sheet name; `None` for text files.
    pub sheet: Option<String>,
    /// Rows, top to bottom.
    pub rows: Vec<Row>,
    /// The decimal mark of a text file is a comma (decided over all its cells).
    pub decimal_comma: bool,
    /// Cells of hidden rows and columns: kept as labels and not read.
    pub aside: Vec<Row>,
    /// Merged ranges of a workbook.
    pub merged: Vec<Merged>,
    /// Filled cells of a workbook, in reading order.
    pub fills: Vec<Fill>,
    /// A hidden sheet of a workbook: its cells are kept as labels and not read.
    pub hidden: bool,
    /// An open question holds the whole sheet: its cells are in that finding and in no table.
    pub held: bool,
    /// Separator of a text file; `None` for workbooks and for files of one cell a line.
    pub delimiter: Option<u8>,
}
