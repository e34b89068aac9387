//! New rows straight into their tables: what nothing in a table answers to needs no look for conflicts.
//!
//! Text in the CSV form of `COPY`; the database checks types, constraints and references as ever.

use std::io::Write;

use diesel::pg::{CopyFormat, PgConnection};
use diesel::prelude::*;
use migrations::schema::{reading, record_source};

use super::LoadError;

/// Bytes of rows that are sent at once.
const CHUNK: usize = 8 * 1024 * 1024;

/// Rows as they are sent, in the order of a table's columns.
#[derive(Default)]
pub(super) struct Lines(Vec<u8>);

impl Lines {
    /// Begins a row.
    pub fn begin(&mut self) {
        if !self.0.is_empty() {
            self.0.push(b'\n');
        }
    }

    fn separate(&mut self) {
        if !matches!(self.0.last(), None | Some(b'\n')) {
            self.0.push(b',');
        }
    }

    /// A number, truth value or other word without quotes.
    pub fn plain(&mut self, value: impl std::fmt::Display) {
        self.separate();
        // Writing to memory does not fail.
        let _ = write!(self.0, "{value}");
    }

    /// No value.
    pub fn null(&mut self) {
        self.0.push(b',');
    }

    /// A number, or none.
    pub fn number(&mut self, value: Option<impl std::fmt::Display>) {
        match value {
            Some(value) => self.plain(value),
            None => self.null(),
        }
    }

    /// A text, also an empty one.
    pub fn text(&mut self, text: &str) {
        self.separate();
        self.0.push(b'"');
        for byte in text.bytes() {
            if byte == b'"' {
                self.0.push(b'"');
            }
            self.0.push(byte);
        }
        self.0.push(b'"');
    }

    /// A text, or none.
    pub fn optional(&mut self, text: Option<&str>) {
        match text {
            Some(text) => self.text(text),
            None => self.null(),
        }
    }

    /// Bytes.
    pub fn bytes(&mut self, bytes: &[u8]) {
        const DIGITS: &[u8; 16] = b"0123456789abcdef";
        self.separate();
        self.0.extend_from_slice(b"\\x");
        for byte in bytes {
            self.0.push(DIGITS[usize::from(byte >> 4)]);
            self.0.push(DIGITS[usize::from(byte & 15)]);
        }
    }

    /// Texts as an array.
    pub fn array(&mut self, texts: &[String]) {
        if texts.is_empty() {
            return self.plain("{}");
        }
        let quoted = texts.iter().map(|text| format!("\"{}\"", text.replace('\\', "\\\\").replace('"', "\\\"")));
        self.text(&format!("{{{}}}", quoted.collect::<Vec<_>>().join(",")));
    }

    /// Whether enough is gathered to be sent.
    pub fn is_full(&self) -> bool {
        self.0.len() >= CHUNK
    }

    /// Whether nothing is gathered.
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    fn take(&mut self) -> Vec<u8> {
        std::mem::take(&mut self.0)
    }
}

/// What goes wrong while rows are sent.
#[derive(Debug, thiserror::Error)]
enum Broken {
    #[error(transparent)]
    Database(#[from] diesel::result::Error),
    #[error(transparent)]
    Stream(std::io::Error),
}

impl From<Broken> for LoadError {
    fn from(error: Broken) -> Self {
        match error {
            Broken::Database(error) => error.into(),
            Broken::Stream(error) => LoadError::Packing(error.to_string()),
        }
    }
}

macro_rules! copy {
    ($name:ident, $doc:literal, $table:ident, [$($column:ident),+ $(,)?]) => {
        #[doc = $doc]
        pub(super) fn $name(connection: &mut PgConnection, lines: &mut Lines) -> Result<(), LoadError> {
            let rows = lines.take();
            diesel::copy_from($table::table)
                .from_raw_data(($($table::$column,)+), |copy| copy.write_all(&rows).map_err(Broken::Stream))
                .with_format(CopyFormat::Csv)
                .execute(connection)
                .map_err(LoadError::from)?;
            Ok(())
        }
    };
}

copy!(
    readings,
    "Sends new readings: keeper, key, digest, then the columns of a row.",
    reading,
    [
        keeper_id,
        key,
        digest,
        tank_id,
        parameter,
        taken_on,
        taken_time,
        utc_offset_minutes,
        ordinal,
        value,
        lower,
        upper,
        qualifier,
        flags,
        disputed,
        written,
        written_unit,
        instrument_id,
        specimen_id,
        log_id,
        upload_id,
        sheet,
        row_number,
        column_number,
    ]
);

copy!(
    sources,
    "Sends places where records are written.",
    record_source,
    [keeper_id, kind, record_key, upload_id, log_id, sheet, row_number, column_number]
);

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rows_in_the_form_of_copy() {
        let mut lines = Lines::default();
        let flags = ["zero_reported".to_owned(), "x".to_owned()];
        for (key, flags) in [("a \"b\"", &flags[..]), ("", &[])] {
            lines.begin();
            lines.plain(7);
            lines.text(key);
            lines.null();
            lines.array(flags);
            lines.optional(None);
            lines.number(Some(0.05));
            lines.bytes(&[0, 0xab]);
        }
        let expected =
            "7,\"a \"\"b\"\"\",,\"{\"\"zero_reported\"\",\"\"x\"\"}\",,0.05,\\x00ab\n7,\"\",,{},,0.05,\\x00ab";
        assert_eq!(String::from_utf8(lines.take()).unwrap(), expected);
    }
}
