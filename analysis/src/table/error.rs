//! What is wrong with a table or a request, and where: what, where and remedy are kept apart, so that the caller can
//! add the file's name.

use std::fmt;

/// Who has to mend it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Fault {
    /// The request: a column, level or number that was asked for.
    Request,
    /// The table: a cell or a row.
    Data,
}

/// A place in a table, as far as known.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Place {
    /// Column's name.
    pub column: Option<String>,
    /// Row of data, from 1, the header not counted.
    pub row: Option<u64>,
    /// Line of the file on which the row starts, from 1.
    pub line: Option<u64>,
}

impl fmt::Display for Place {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mut parts = Vec::new();
        if let Some(column) = &self.column {
            parts.push(format!("column {column}"));
        }
        match (self.row, self.line) {
            (Some(row), Some(line)) => parts.push(format!("row {row} (line {line})")),
            (Some(row), None) => parts.push(format!("row {row}")),
            (None, _) => {}
        }
        f.write_str(&parts.join(", "))
    }
}

/// A sentence in three parts.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Notice {
    /// What is so.
    pub what: String,
    /// Where; may be empty.
    pub place: Place,
    /// What to do about it.
    pub remedy: String,
}

impl Notice {
    /// A notice about the table as a whole.
    pub(super) fn new(what: impl Into<String>, remedy: impl Into<String>) -> Notice {
        Notice { what: what.into(), place: Place::default(), remedy: remedy.into() }
    }

    /// What, then the place after `file`, then the remedy.
    pub fn of_file(&self, file: &str) -> String {
        let place = self.place.to_string();
        let comma = if file.is_empty() || place.is_empty() { "" } else { ", " };
        let place = format!("{file}{comma}{place}");
        if place.is_empty() {
            format!("{}: {}", self.what, self.remedy)
        } else {
            format!("{}, {place}: {}", self.what, self.remedy)
        }
    }
}

impl fmt::Display for Notice {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.of_file(""))
    }
}

/// Why there are no figures at all.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{notice}")]
pub struct TableError {
    /// Who has to mend it.
    pub fault: Fault,
    /// What is wrong, where, and the remedy.
    pub notice: Notice,
}

impl TableError {
    pub(super) fn request(what: impl Into<String>, remedy: impl Into<String>) -> TableError {
        TableError { fault: Fault::Request, notice: Notice::new(what, remedy) }
    }

    pub(super) fn data(what: impl Into<String>, place: Place, remedy: impl Into<String>) -> TableError {
        TableError { fault: Fault::Data, notice: Notice { what: what.into(), place, remedy: remedy.into() } }
    }
}
