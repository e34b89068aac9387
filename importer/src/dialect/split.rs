//! Rows and cells of a text in a given dialect. Linear in the text; never fails: a quote that does not fit is a letter.

use std::borrow::Cow;

use memchr::{memchr, memchr3};

use super::Dialect;
use super::guess::look;

/// Line breaks a quoted cell may hold; an unclosed quote swallows no more.
const LINES_IN_A_CELL: usize = 200;

/// One cell.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Field<'t> {
    /// Its text, quotes off.
    pub text: Cow<'t, str>,
    /// It stood between quotes.
    pub quoted: bool,
    /// A stray or unclosed quote was read as a letter.
    pub repaired: bool,
}

/// One row; blank lines are rows with one empty cell.
#[derive(Debug)]
pub struct Record<'r, 't> {
    /// Line on which it starts, from 1.
    pub line: u32,
    /// Cells, left to right.
    pub fields: &'r [Field<'t>],
}

/// Walks over the rows of a text.
pub struct Records<'t> {
    text: &'t str,
    dialect: Dialect,
    at: usize,
    line: u32,
    fields: Vec<Field<'t>>,
}

/// The separator named by a first line `sep=…`.
pub fn sep_line(text: &str) -> Option<u8> {
    let line = text.split(['\n', '\r']).next()?;
    let inner = line.trim_start_matches('"');
    let rest = inner.get(..4).filter(|head| head.eq_ignore_ascii_case("sep=")).map(|_| &inner[4..])?;
    let byte = *rest.as_bytes().first()?;
    (byte.is_ascii()
        && !byte.is_ascii_alphanumeric()
        && rest.trim_end_matches('"').len() <= 1 + rest.matches(char::from(byte)).count())
    .then_some(byte)
}

impl<'t> Records<'t> {
    /// Starts at the top.
    pub fn new(text: &'t str, dialect: Dialect) -> Self {
        let text = text.trim_end_matches('\u{1a}');
        Records { text, dialect, at: 0, line: 1, fields: Vec::new() }
    }

    /// Starts at a row that was passed before: at [`Records::position`].
    pub fn from(text: &'t str, dialect: Dialect, (at, line): (usize, u32)) -> Self {
        Records { at, line, ..Records::new(text, dialect) }
    }

    /// Byte and line at which the next row starts.
    pub const fn position(&self) -> (usize, u32) {
        (self.at, self.line)
    }

    /// The next row, or `None` at the end.
    pub fn next_record(&mut self) -> Option<Record<'_, 't>> {
        let bytes = self.text.as_bytes();
        if self.at >= bytes.len() {
            return None;
        }
        self.fields.clear();
        let line = self.line;
        if self.dialect.sep_line && self.at == 0 {
            let end = memchr::memchr2(b'\n', b'\r', bytes).unwrap_or(bytes.len());
            self.fields.push(plain(&self.text[..end]));
            self.end_line(end);
            return Some(Record { line, fields: &self.fields });
        }
        loop {
            let (field, end) = self.field(self.at);
            self.fields.push(field);
            match bytes.get(end) {
                Some(b'\n' | b'\r') | None => {
                    self.end_line(end);
                    break;
                }
                Some(_) => self.at = end + 1,
            }
        }
        Some(Record { line, fields: &self.fields })
    }

    fn end_line(&mut self, end: usize) {
        let bytes = self.text.as_bytes();
        self.at = match (bytes.get(end), bytes.get(end + 1)) {
            (None, _) => end,
            (Some(b'\r'), Some(b'\n')) => end + 2,
            (Some(_), _) => end + 1,
        };
        self.line += 1;
    }

    /// The cell that starts at `start`, and where it ends: at a separator, a line end or the end of the text.
    fn field(&mut self, start: usize) -> (Field<'t>, usize) {
        let bytes = self.text.as_bytes();
        let mut open = start;
        while bytes.get(open) == Some(&b' ') {
            open += 1;
        }
        let mut repaired = false;
        if let Some(quote) = self.dialect.quote
            && bytes.get(open) == Some(&quote)
        {
            if let Some((field, end)) = self.quoted(open, quote) {
                self.line += line_ends(&self.text[open..end]) as u32;
                return (field, end);
            }
            repaired = true;
        }
        let start = if self.dialect.runs { open } else { start };
        let end = match self.dialect.delimiter {
            Some(delimiter) => memchr3(delimiter, b'\n', b'\r', &bytes[start..]),
            None => memchr::memchr2(b'\n', b'\r', &bytes[start..]),
        }
        .map_or(bytes.len(), |offset| start + offset);
        let field = Field { repaired, ..plain(&self.text[start..end]) };
        (field, self.skip_run(end))
    }

    /// Runs of blanks count as one separator; blanks before a line end as none.
    fn skip_run(&self, end: usize) -> usize {
        let bytes = self.text.as_bytes();
        if !self.dialect.runs || bytes.get(end) != self.dialect.delimiter.as_ref() {
            return end;
        }
        let mut after = end;
        while bytes.get(after) == Some(&b' ') {
            after += 1;
        }
        if matches!(bytes.get(after), None | Some(b'\n' | b'\r')) { after } else { after - 1 }
    }

    /// The quoted cell that opens at `open`, or `None` if the quote is no quote.
    fn quoted(&self, open: usize, quote: u8) -> Option<(Field<'t>, usize)> {
        let bytes = self.text.as_bytes();
        let ends_cell = |at: usize| match bytes.get(at) {
            None | Some(b'\n' | b'\r') => true,
            Some(byte) => Some(*byte) == self.dialect.delimiter,
        };
        let mut from = open + 1;
        let (mut doubled, mut stray, mut checked, mut lines) = (false, false, open + 1, 0);
        loop {
            let at = from + memchr(quote, &bytes[from..])?;
            lines += line_ends(&self.text[checked..at]);
            checked = at;
            if lines > LINES_IN_A_CELL {
                return None;
            }
            if self.dialect.backslash && bytes[at - 1] == b'\\' && at - 1 > open {
                doubled = true;
                from = at + 1;
                continue;
            }
            if bytes.get(at + 1) == Some(&quote) {
                doubled = true;
                from = at + 2;
                continue;
            }
            let mut after = at + 1;
            while bytes.get(after) == Some(&b' ') && self.dialect.delimiter != Some(b' ') {
                after += 1;
            }
            if ends_cell(after) {
                let inner = &self.text[open + 1..at];
                if lines > 0 && self.swallows_rows(inner) {
                    return None;
                }
                let text = if doubled { Cow::Owned(self.unescape(inner, quote)) } else { Cow::Borrowed(inner) };
                return Some((Field { text, quoted: true, repaired: stray }, self.skip_run(after)));
            }
            // A quote that opens the next cell: the first one was never closed.
            let before =
                bytes[open + 1..at].iter().rposition(|&byte| byte != b' ').map(|offset| bytes[open + 1 + offset]);
            if at > open + 1
                && before.is_some_and(|byte| Some(byte) == self.dialect.delimiter || byte == b'\n' || byte == b'\r')
            {
                return None;
            }
            stray = true;
            from = at + 1;
        }
    }

    /// A cell of several lines of which one looks like a whole row, as many cells and half of them values, is no
    /// cell: its quote was never closed.
    fn swallows_rows(&self, inner: &str) -> bool {
        let Some(delimiter) = self.dialect.delimiter else { return false };
        let is_row = |line: &str| {
            let mut cells = 0;
            let mut values = 0;
            for cell in line.split(char::from(delimiter)) {
                cells += 1;
                values += usize::from(look(cell).is_value());
            }
            cells >= self.dialect.width && values * 2 >= cells
        };
        self.dialect.width >= 3 && inner.split(['\n', '\r']).skip(1).any(is_row)
    }

    fn unescape(&self, inner: &str, quote: u8) -> String {
        let mark = char::from(quote);
        let mut text = String::with_capacity(inner.len());
        let mut letters = inner.chars().peekable();
        while let Some(letter) = letters.next() {
            if letter == mark && letters.peek() == Some(&mark) {
                letters.next();
            } else if self.dialect.backslash && letter == '\\' && letters.peek() == Some(&mark) {
                continue;
            }
            text.push(letter);
        }
        text
    }
}

fn plain(text: &str) -> Field<'_> {
    Field { text: Cow::Borrowed(text), quoted: false, repaired: false }
}

/// Line ends in a text: `\n`, `\r\n` and lone `\r` count one each.
fn line_ends(text: &str) -> usize {
    let bytes = text.as_bytes();
    memchr::memchr2_iter(b'\n', b'\r', bytes)
        .filter(|&at| !(bytes[at] == b'\n' && at > 0 && bytes[at - 1] == b'\r'))
        .count()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rows(text: &str, dialect: Dialect) -> Vec<(u32, Vec<String>)> {
        let mut records = Records::new(text, dialect);
        let mut all = Vec::new();
        while let Some(record) = records.next_record() {
            all.push((record.line, record.fields.iter().map(|field| field.text.clone().into_owned()).collect()));
        }
        all
    }

    fn comma(text: &str) -> Vec<(u32, Vec<String>)> {
        rows(text, Dialect { width: 3, ..Dialect::of(Some(b',')) })
    }

    fn row(line: u32, cells: &[&str]) -> (u32, Vec<String>) {
        (line, cells.iter().map(|cell| (*cell).to_owned()).collect())
    }

    #[test]
    fn quotes_line_breaks_and_line_ends() {
        let text = "a,b,c\r\n1,\"x, y\",\"two\nlines\"\n\"he said \"\"no\"\"\",,\r3, \"spaced\" ,4";
        assert_eq!(
            comma(text),
            [
                row(1, &["a", "b", "c"]),
                row(2, &["1", "x, y", "two\nlines"]),
                row(4, &["he said \"no\"", "", ""]),
                row(5, &["3", "spaced", "4"])
            ]
        );
    }

    #[test]
    fn a_stray_quote_stays_in_its_cell() {
        assert_eq!(comma("2 1/2\" pipe,b,c\n1,2,3\n"), [row(1, &["2 1/2\" pipe", "b", "c"]), row(2, &["1", "2", "3"])]);
        assert_eq!(comma("\"5\" hose,b,c\n1,2,3\n"), [row(1, &["\"5\" hose", "b", "c"]), row(2, &["1", "2", "3"])]);
        assert_eq!(comma("\"5\" hose\",b,c\n"), [row(1, &["5\" hose", "b", "c"])]);
    }

    #[test]
    fn an_unclosed_quote_swallows_no_rows() {
        let text = "1,\"never closed,3\n4,5,6\n7,\"closed\",9\n";
        assert_eq!(
            comma(text),
            [row(1, &["1", "\"never closed", "3"]), row(2, &["4", "5", "6"]), row(3, &["7", "closed", "9"])]
        );
        let text = "1,\"never closed,3\n4,5,6\n7,8,tall 5\"\n";
        assert_eq!(comma(text).len(), 3);
        assert_eq!(
            comma("1,2,\"open to the end\n4,5,6"),
            [row(1, &["1", "2", "\"open to the end"]), row(2, &["4", "5", "6"])]
        );
    }

    #[test]
    fn escapes_and_blank_lines_and_blanks() {
        let dialect = Dialect { backslash: true, ..Dialect::of(Some(b';')) };
        assert_eq!(
            rows("\"say \\\"hi\\\"\";2\n\n;\n", dialect),
            [row(1, &["say \"hi\"", "2"]), row(2, &[""]), row(3, &["", ""])]
        );
        let dialect = Dialect { runs: true, ..Dialect::of(Some(b' ')) };
        assert_eq!(rows("  a   b c  \nd e\n", dialect), [row(1, &["a", "b", "c"]), row(2, &["d", "e"])]);
    }

    #[test]
    fn sep_lines() {
        assert_eq!(sep_line("sep=;\na;b"), Some(b';'));
        assert_eq!(sep_line("SEP=,\r\n"), Some(b','));
        assert_eq!(sep_line("sep=;;;\n"), Some(b';'));
        assert_eq!(sep_line("sep=a\n"), None);
        assert_eq!(sep_line("sep=; but a sentence\n"), None);
        assert_eq!(sep_line("septum"), None);
        let dialect = Dialect { sep_line: true, ..Dialect::of(Some(b';')) };
        assert_eq!(rows("sep=;\na;b", dialect), [row(1, &["sep=;"]), row(2, &["a", "b"])]);
    }
}
