//! Bytes to sheets of cells. The kind of a file is told by its content, never by its name.
//!
//! Nothing is interpreted here. Everything is bounded before it is unpacked: see [`limit`].
//!
//! ```
//! let (grids, findings) = importer::container::open("tests.csv", b"date,KH\n2024-03-02,8.2\n");
//! assert_eq!((grids.len(), grids[0].rows.len(), findings.len()), (1, 2, 0));
//! ```

pub mod archive; // zip containers: sizes before anything is unpacked
pub mod delimited; // text files
pub mod limit; // how much is read, and the words when it is too much
pub mod look; // hidden rows, merged cells, fills
pub mod verdict; // findings about a whole file
pub mod workbook; // xlsx, xls and ods

use analysis::vocabulary::finding::fill;

use crate::finding::{Answer, Finding};
use crate::grid::Grid;

/// What a file is, by its content.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// Text of any dialect.
    Text,
    /// Office Open XML workbook.
    Xlsx,
    /// Binary workbook of the older format.
    Xls,
    /// OpenDocument spreadsheet.
    Ods,
}

/// Opens a file: its sheets in order, and what could not be taken as it stands.
pub fn open(name: &str, bytes: &[u8]) -> (Vec<Grid>, Vec<Finding>) {
    open_with(name, bytes, &[])
}

/// Opens a file with the answers given to earlier questions about it.
///
/// `encoding_unclear` and `separator_unclear` are asked here; their answers name the encoding or the separator.
pub fn open_with(name: &str, bytes: &[u8], answers: &[Answer]) -> (Vec<Grid>, Vec<Finding>) {
    match begin(name, bytes, answers) {
        Begun::Text(text) => cut(name, text),
        Begun::Sheets(grids, findings) => (grids, findings),
    }
}

/// A file whose kind is known: a text is not cut into cells yet, since a long one is read in parts.
pub(crate) enum Begun<'b> {
    /// A text file.
    Text(delimited::Text<'b>),
    /// Sheets of a workbook, or what is said of a file that cannot be opened.
    Sheets(Vec<Grid>, Vec<Finding>),
}

/// Tells what a file is, and opens all but texts.
pub(crate) fn begin<'b>(name: &str, bytes: &'b [u8], answers: &[Answer]) -> Begun<'b> {
    let sheets = |(grids, findings)| Begun::Sheets(grids, findings);
    if bytes.len() as u64 > limit::BYTES {
        return sheets(refused(name, verdict::over_limit("bytes", limit::BYTES, bytes.len() as u64)));
    }
    if bytes.is_empty() {
        return sheets(refused(name, verdict::empty()));
    }
    let opened = match sniff(bytes) {
        Ok(Kind::Text) => match delimited::begin(bytes, answers) {
            Ok(text) => return Begun::Text(text),
            Err(finding) => Err(finding),
        },
        Ok(kind) => workbook::open(kind, bytes, answers),
        Err(finding) => Err(finding),
    };
    sheets(settled(name, opened))
}

/// Cuts a text into cells.
pub(crate) fn cut(name: &str, text: delimited::Text) -> (Vec<Grid>, Vec<Finding>) {
    settled(name, text.cut())
}

fn settled(name: &str, opened: Result<(Vec<Grid>, Vec<Finding>), Box<Finding>>) -> (Vec<Grid>, Vec<Finding>) {
    match opened {
        Err(finding) => refused(name, *finding),
        Ok((grids, _)) if grids.iter().all(|grid| grid.rows.is_empty() && grid.aside.is_empty()) => {
            refused(name, verdict::empty())
        }
        Ok(opened) => opened,
    }
}

pub(crate) fn refused(name: &str, mut finding: Finding) -> (Vec<Grid>, Vec<Finding>) {
    finding.message = fill(&finding.message, &[("file", name)]);
    (Vec::new(), vec![finding])
}

/// Whether the directory of a compound file names a part.
fn holds_part(bytes: &[u8], name: &str) -> bool {
    // A name stands at the beginning of its entry of 128 bytes, in UTF-16, closed by a zero.
    let name: Vec<u8> = name.encode_utf16().chain([0]).flat_map(u16::to_le_bytes).collect();
    memchr::memmem::find_iter(bytes, &name).any(|at| at % 128 == 0)
}

/// Tells the kind of a file by its first bytes and, for a zip container, by its parts.
pub fn sniff(bytes: &[u8]) -> Result<Kind, Box<Finding>> {
    if bytes.starts_with(b"PK\x03\x04") || bytes.starts_with(b"PK\x05\x06") {
        return archive::kind(bytes);
    }
    if bytes.starts_with(b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1") {
        return if workbook::is_protected(bytes) {
            Err(Box::new(verdict::locked()))
        } else if holds_part(bytes, "Workbook") || holds_part(bytes, "Book") {
            Ok(Kind::Xls)
        } else {
            Err(Box::new(verdict::kind_unknown("another program's document")))
        };
    }
    const OTHER: [(&[u8], &str); 12] = [
        (b"%PDF", "a PDF document"),
        (b"\x89PNG", "a picture"),
        (b"\xff\xd8\xff", "a picture"),
        (b"GIF8", "a picture"),
        (b"RIFF", "a sound, film or picture"),
        (b"{\\rtf", "a word processor's document"),
        (b"\x1f\x8b", "a compressed file"),
        (b"BZh", "a compressed file"),
        (b"\xfd7zXZ", "a compressed file"),
        (b"7z\xbc\xaf", "a compressed file"),
        (b"Rar!", "a compressed file"),
        (b"SQLite format 3\0", "a database"),
    ];
    if let Some((_, what)) = OTHER.iter().find(|(mark, _)| bytes.starts_with(mark)) {
        return Err(Box::new(verdict::kind_unknown(what)));
    }
    Ok(Kind::Text)
}
