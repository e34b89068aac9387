//! A table of anyone's: reads delimited text or Parquet into names and cells, and prints lines in columns.
//!
//! The separator is the one of `,` `;` tab `|` under which the named columns stand in the header. Nothing is guessed
//! about the rows: a row of another width or a quote without an end is an error, so that no cell slides into another
//! column.

use std::fs::File;
use std::io::{Read, Write};
use std::path::Path;

use analysis::table::{Fault, Notice, Table, TableError};
use importer::container::limit;
use importer::dialect::decimal::Marks;
use importer::dialect::split;
use importer::encoding;
use importer::formula_guard::unguarded;

use super::failure::Failure;

mod parquet; // tables in Parquet

const SEPARATORS: [u8; 4] = [b',', b';', b'\t', b'|'];

/// Reads a table in which the `wanted` columns are expected.
///
/// # Errors
/// Input that is no text, too large or uneven.
pub fn read(path: &Path, wanted: &[&str]) -> Result<Table, Failure> {
    let bytes = bytes(path)?;
    if parquet::is(&bytes) {
        return parquet::read(path, bytes, wanted);
    }
    let text = text(path, &bytes)?;
    let (text, above) = match split::sep_line(&text) {
        Some(_) => (text.find('\n').map_or("", |end| &text[end + 1..]), 1),
        None => (text.as_str(), 0),
    };
    let separator = separator(text, wanted);
    let mut reader = reader(text, separator);
    let damaged = |error: csv::Error| {
        Failure::input(format!("the rows cannot be read ({error}), {}: save it as CSV", path.display()))
    };
    let mut record = csv::StringRecord::new();
    if !reader.read_record(&mut record).map_err(damaged)? {
        return Err(Failure::input(format!("there is nothing in it, {}: give a header and rows", path.display())));
    }
    let names = record.iter().map(|name| unguarded(name).to_owned()).collect();
    let mut table = Table::keeping(names, |name| wanted.iter().any(|wanted| wanted.trim() == name));
    let mut marks = Marks::default();
    let (mut last_line, mut last_spills) = (0, false);
    while reader.read_record(&mut record).map_err(damaged)? {
        if table.rows() as u64 == limit::ROWS {
            return Err(Failure::input(format!(
                "the table has more than {} rows, {}: take a part of it",
                limit::ROWS,
                path.display()
            )));
        }
        if separator != b',' {
            record.iter().for_each(|cell| marks.see(cell));
        }
        last_line = above + line(text, &record);
        last_spills = record.iter().any(|cell| cell.contains('\n'));
        table.push(last_line, record.iter().map(unguarded)).map_err(|error| failure(path, &error))?;
    }
    if last_spills && text.matches('"').count() % 2 == 1 {
        return Err(Failure::input(format!(
            "a quote opens here and is never closed, {}, line {last_line}: close it, or take it away",
            path.display()
        )));
    }
    if marks.decimal_comma(true) {
        table.set_decimal_comma(true);
        eprintln!(
            "strandline: numbers are read with a decimal comma, {}: if that is wrong, write them with a point",
            path.display()
        );
    }
    Ok(table)
}

fn bytes(path: &Path) -> Result<Vec<u8>, Failure> {
    let unreadable = |error: std::io::Error| Failure::unreadable(path, &error);
    let mut bytes = Vec::new();
    let file = File::open(path).map_err(unreadable)?;
    file.take(limit::BYTES + 1).read_to_end(&mut bytes).map_err(unreadable)?;
    if bytes.len() as u64 > limit::BYTES {
        return Err(Failure::input(format!(
            "the table has more than {} MiB, {}: leave out columns and rows that are not needed",
            limit::BYTES / (1024 * 1024),
            path.display()
        )));
    }
    Ok(bytes)
}

fn text(path: &Path, bytes: &[u8]) -> Result<String, Failure> {
    let decoded = encoding::decode(bytes, None)
        .map_err(|_| Failure::input(format!("it is no text, {}: save the sheet as CSV first", path.display())))?;
    Ok(decoded.text.into_owned())
}

fn reader(text: &str, separator: u8) -> csv::Reader<&[u8]> {
    csv::ReaderBuilder::new().delimiter(separator).has_headers(false).flexible(true).from_reader(text.as_bytes())
}

/// The line on which a record starts: blank lines before it are passed over by the reader, and counted here.
fn line(text: &str, record: &csv::StringRecord) -> u64 {
    record.position().map_or(0, |position| {
        let before = text.as_bytes().get(position.byte() as usize..).unwrap_or_default();
        let blank =
            before.iter().take_while(|byte| matches!(byte, b'\n' | b'\r')).filter(|byte| **byte == b'\n').count();
        position.line() + blank as u64
    })
}

/// The separator whose header holds the most wanted columns; of several, the one that makes most columns.
fn separator(text: &str, wanted: &[&str]) -> u8 {
    let merit = |separator: u8| {
        let header = reader(text, separator).into_records().next().and_then(Result::ok).unwrap_or_default();
        let found = wanted.iter().filter(|name| header.iter().any(|own| own.trim() == name.trim())).count();
        (found, header.len())
    };
    // Of equals the first stays: the comma.
    SEPARATORS.into_iter().rev().max_by_key(|&separator| merit(separator)).unwrap_or(b',')
}

/// The failure of a command for what is wrong with its table or its request.
pub fn failure(path: &Path, error: &TableError) -> Failure {
    let text = error.notice.of_file(&path.display().to_string());
    match error.fault {
        Fault::Request => Failure::usage(text),
        Fault::Data => Failure::input(text),
    }
}

/// Says on standard error what a reader should know beside the figures.
pub fn say(path: &Path, notices: &[Notice]) {
    for notice in notices {
        eprintln!("strandline: {}", plain(&notice.of_file(&path.display().to_string())));
    }
}

/// Prints to standard output; whoever reads it may stop reading.
pub fn print(text: &str) -> Result<u8, Failure> {
    match writeln!(std::io::stdout().lock(), "{}", text.trim_end()) {
        Err(error) if error.kind() != std::io::ErrorKind::BrokenPipe => {
            Err(Failure::place(format!("cannot write ({error}), standard output: see where it goes")))
        }
        _ => Ok(0),
    }
}

/// The answer as one line of JSON.
pub fn json(path: &Path, answer: &impl serde::Serialize) -> Result<String, Failure> {
    serde_json::to_string(answer)
        .map_err(|error| Failure::place(format!("cannot print ({error}), {}: report this table", path.display())))
}

/// Text of a table without signs that steer a terminal.
pub fn plain(text: &str) -> String {
    text.chars().map(|sign| if sign.is_control() { char::REPLACEMENT_CHARACTER } else { sign }).collect()
}

/// Lines in columns two blanks apart: the first column to the left, the others to the right.
pub fn aligned(lines: &[Vec<String>]) -> String {
    let columns = lines.iter().map(Vec::len).max().unwrap_or(0);
    let width = |column: usize| lines.iter().filter_map(|line| line.get(column)).map(|cell| cell.chars().count()).max();
    let widths: Vec<usize> = (0..columns).map(|column| width(column).unwrap_or(0)).collect();
    let mut text = String::new();
    for line in lines {
        let cells: Vec<String> = line
            .iter()
            .zip(&widths)
            .enumerate()
            .map(
                |(column, (cell, &width))| {
                    if column == 0 { format!("{cell:<width$}") } else { format!("{cell:>width$}") }
                },
            )
            .collect();
        text.push_str("  ");
        text.push_str(cells.join("  ").trim_end());
        text.push('\n');
    }
    text
}

/// A number as short as it is, with at most four decimals.
pub fn short(value: f64) -> String {
    let text = format!("{value:.4}");
    if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.').to_owned() } else { text }
}

/// A number with this many decimals, or a dash.
pub fn decimals(value: Option<f64>, decimals: usize) -> String {
    value.map_or_else(|| "–".to_owned(), |value| format!("{value:.decimals$}"))
}

/// A p value: never 0.
pub fn p_value(p: Option<f64>) -> String {
    match p {
        None => "–".to_owned(),
        Some(p) if p < 0.0001 => "< 0.0001".to_owned(),
        Some(p) => format!("{p:.4}"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_separator_is_the_one_that_shows_the_named_columns() {
        assert_eq!(separator("a,b;c,d\n", &["b;c"]), b',');
        assert_eq!(separator("time;died, or not\n5;1\n", &["time"]), b';');
        assert_eq!(separator("time\tdied\n5\t1\n", &["time", "died"]), b'\t');
        assert_eq!(separator("time\n5\n", &["time"]), b',');
        assert_eq!(separator("", &["time"]), b',');
    }

    #[test]
    fn columns_are_lined_up() {
        let lines = [vec!["name".to_owned(), "ratio".to_owned()], vec!["größe".to_owned(), "2".to_owned()]];
        assert_eq!(aligned(&lines), "  name   ratio\n  größe      2\n");
    }

    #[test]
    fn numbers_for_people() {
        assert_eq!((short(12.0), short(0.25), short(1.0 / 3.0)), ("12".into(), "0.25".into(), "0.3333".into()));
        assert_eq!(
            (p_value(Some(1e-9)), p_value(Some(0.25)), p_value(None)),
            ("< 0.0001".into(), "0.2500".into(), "–".into())
        );
        assert_eq!(plain("a\u{1b}[31mb"), "a\u{fffd}[31mb");
    }
}
