//! A log says the same in whatever form it comes: other encodings, separators, line ends, decimal marks, styles of
//! dates, containers. Every text log of the corpus, rewritten by the test, gives the same records and the same questions.

#[path = "support/records.rs"]
mod records;
#[allow(dead_code, reason = "what changes single cells is for another test")]
#[path = "support/rewrite.rs"]
mod rewrite;
#[allow(dead_code, reason = "what the cells mean is for another test")]
#[path = "support/statements.rs"]
mod statements;

use std::collections::BTreeMap;
use std::io::{Cursor, Write};
use std::path::{Path, PathBuf};

use encoding_rs::WINDOWS_1252;
use importer::context::{Context, Outcome};
use importer::finding::Severity;
use importer::grid::{Grid, Raw};
use importer::read::read;
use zip::write::SimpleFileOptions;

/// Cells of a log that is rewritten; larger ones show no more.
const MOST_CELLS: usize = 2_500;

struct Log {
    name: String,
    grid: Grid,
    context: Context,
    outcome: Outcome,
}

fn logs() -> Vec<Log> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/logs/corpus");
    let mut paths: Vec<PathBuf> = std::fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| PathBuf::from(format!("{}.expected", path.display())).exists())
        .collect();
    paths.sort();
    paths
        .into_iter()
        .filter_map(|path| {
            let name = path.file_name().unwrap().to_string_lossy().into_owned();
            let bytes = std::fs::read(&path).unwrap();
            let mut grids = rewrite::grids(&name, &bytes)?;
            let cells: usize = grids.iter().flat_map(|grid| &grid.rows).map(|row| row.cells.len()).sum();
            if grids.len() != 1 || grids[0].sheet.is_some() || cells > MOST_CELLS {
                return None;
            }
            let context = statements::context(&statements::statements(&path));
            let (file, text) = rewrite::file(&grids);
            let outcome = read(file, &text, &context);
            Some(Log { name, grid: grids.remove(0), context, outcome })
        })
        .collect()
}

fn text_of(grid: &Grid) -> String {
    String::from_utf8(rewrite::file(std::slice::from_ref(grid)).1).unwrap()
}

fn separated(grid: &Grid, separator: u8) -> Vec<u8> {
    let grid = Grid { delimiter: Some(separator), ..grid.clone() };
    text_of(&grid).into_bytes()
}

/// Texts of cells changed, if all of them can be.
fn changed(grid: &Grid, change: impl Fn(&str) -> String) -> Grid {
    let mut grid = grid.clone();
    for cell in grid.rows.iter_mut().flat_map(|row| &mut row.cells) {
        if let Raw::Text(text) = &mut cell.raw {
            *text = change(text);
        }
    }
    grid
}

fn texts(grid: &Grid) -> impl Iterator<Item = &str> {
    grid.rows.iter().flat_map(|row| &row.cells).filter_map(|cell| match &cell.raw {
        Raw::Text(text) => Some(text.as_str()),
        _ => None,
    })
}

fn is_decimal(text: &str, mark: char) -> bool {
    text.trim().split_once(mark).is_some_and(|(whole, rest)| {
        let digits = |part: &str| !part.is_empty() && part.bytes().all(|byte| byte.is_ascii_digit());
        digits(whole) && digits(rest) && whole.len() <= 4 && rest.len() != 3
    })
}

/// Decimal commas in place of points, where no cell has a comma that could be taken for one.
fn with_commas(grid: &Grid) -> Option<Vec<u8>> {
    let points = texts(grid).filter(|text| is_decimal(text, '.')).count();
    let numbers_with_commas =
        texts(grid).any(|text| text.contains(',') && text.bytes().any(|byte| byte.is_ascii_digit()));
    // Every point in a number must go with them.
    let other_points = texts(grid).any(|text| {
        !is_decimal(text, '.')
            && text
                .as_bytes()
                .windows(3)
                .any(|three| three[0].is_ascii_digit() && three[1] == b'.' && three[2].is_ascii_digit())
    });
    if points < 3 || numbers_with_commas || other_points {
        return None;
    }
    let swapped = |text: &str| if is_decimal(text, '.') { text.replace('.', ",") } else { text.to_owned() };
    Some(separated(&changed(grid, swapped), b';'))
}

/// Days written day first in place of year first, where each column proves the order.
fn day_first(grid: &Grid) -> Option<Vec<u8>> {
    let iso = |text: &str| {
        let text = text.trim();
        chrono::NaiveDate::parse_from_str(text, "%Y-%m-%d").ok().filter(|_| text.len() == 10)
    };
    let mut columns: BTreeMap<u32, bool> = BTreeMap::new();
    for cell in grid.rows.iter().flat_map(|row| &row.cells) {
        if let Raw::Text(text) = &cell.raw
            && let Some(day) = iso(text)
        {
            *columns.entry(cell.column).or_default() |= chrono::Datelike::day(&day) > 12;
        }
    }
    if columns.is_empty() || columns.values().any(|proved| !proved) {
        return None;
    }
    let written = |text: &str| iso(text).map_or_else(|| text.to_owned(), |day| day.format("%d.%m.%Y").to_string());
    Some(text_of(&changed(grid, written)).into_bytes())
}

fn utf_16(text: &str, big: bool) -> Vec<u8> {
    let units = std::iter::once(0xfeff).chain(text.encode_utf16());
    units.flat_map(|unit| if big { unit.to_be_bytes() } else { unit.to_le_bytes() }).collect()
}

fn workbook(grid: &Grid) -> Vec<u8> {
    let sheet = Grid { sheet: Some("Sheet1".to_owned()), ..grid.clone() };
    rewrite::file(&[sheet]).1
}

/// The smallest OpenDocument spreadsheet that holds the cells as text.
fn open_document(grid: &Grid) -> Vec<u8> {
    let escaped = |text: &str| {
        text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;").replace('\n', "</text:p><text:p>")
    };
    let mut content = String::from(
        "<?xml version=\"1.0\"?><office:document-content xmlns:office=\"urn:oasis:names:tc:opendocument:xmlns:office:1.0\" \
         xmlns:table=\"urn:oasis:names:tc:opendocument:xmlns:table:1.0\" \
         xmlns:text=\"urn:oasis:names:tc:opendocument:xmlns:text:1.0\"><office:body><office:spreadsheet>\
         <table:table table:name=\"Sheet1\">",
    );
    let mut number = 0;
    for row in &grid.rows {
        while number + 1 < row.number {
            content.push_str("<table:table-row><table:table-cell/></table:table-row>");
            number += 1;
        }
        number = row.number;
        content.push_str("<table:table-row>");
        let mut column = 1;
        for cell in &row.cells {
            while column < cell.column {
                content.push_str("<table:table-cell/>");
                column += 1;
            }
            column += 1;
            let text = escaped(&cell.raw.written());
            content.push_str(&format!(
                "<table:table-cell office:value-type=\"string\"><text:p>{text}</text:p></table:table-cell>"
            ));
        }
        content.push_str("</table:table-row>");
    }
    content.push_str("</table:table></office:spreadsheet></office:body></office:document-content>");
    let mut zip = zip::ZipWriter::new(Cursor::new(Vec::new()));
    let kind = "application/vnd.oasis.opendocument.spreadsheet";
    let manifest = format!(
        "<?xml version=\"1.0\"?><manifest:manifest xmlns:manifest=\"urn:oasis:names:tc:opendocument:xmlns:manifest:1.0\">\
         <manifest:file-entry manifest:full-path=\"/\" manifest:media-type=\"{kind}\"/></manifest:manifest>"
    );
    for (name, text) in [("mimetype", kind), ("META-INF/manifest.xml", &manifest), ("content.xml", &content)] {
        zip.start_file(name, SimpleFileOptions::default()).unwrap();
        zip.write_all(text.as_bytes()).unwrap();
    }
    zip.finish().unwrap().into_inner()
}

/// All forms that a log can take.
fn forms(grid: &Grid) -> Vec<(&'static str, Vec<u8>)> {
    let text = text_of(grid);
    let mut forms = vec![
        ("UTF-8 with mark", [b"\xef\xbb\xbf".to_vec(), text.clone().into_bytes()].concat()),
        ("UTF-16 little endian", utf_16(&text, false)),
        ("UTF-16 big endian", utf_16(&text, true)),
        ("Windows line ends", text.replace('\n', "\r\n").into_bytes()),
        ("carriage returns", text.replace('\n', "\r").into_bytes()),
        ("tabs", separated(grid, b'\t')),
        ("semicolons", separated(grid, b';')),
        ("bars", separated(grid, b'|')),
        ("xlsx", workbook(grid)),
        ("ods", open_document(grid)),
    ];
    let (western, _, lost) = WINDOWS_1252.encode(&text);
    if !lost && !text.is_ascii() {
        forms.push(("Windows-1252", western.into_owned()));
    }
    if !grid.decimal_comma {
        forms.push(("commas", separated(grid, b',')));
    }
    forms.extend(with_commas(grid).map(|bytes| ("decimal commas", bytes)));
    forms.extend(day_first(grid).map(|bytes| ("days first", bytes)));
    forms
}

fn questions(outcome: &Outcome) -> Vec<String> {
    let mut codes: Vec<String> = outcome
        .findings
        .iter()
        .filter(|finding| finding.severity != Severity::Noted)
        .map(|finding| finding.code.clone())
        .collect();
    codes.sort();
    codes
}

#[test]
fn every_form_says_the_same() {
    let logs = logs();
    assert!(logs.len() >= 40, "{} text logs", logs.len());
    let mut counts: BTreeMap<&str, (usize, usize)> = BTreeMap::new();
    let mut differ = Vec::new();
    for log in &logs {
        for (form, bytes) in forms(&log.grid) {
            let outcome = read("log", &bytes, &log.context);
            let lost = records::without_like(&log.outcome.records, &outcome.records, 1e-9);
            let new = records::without_like(&outcome.records, &log.outcome.records, 1e-9);
            let count = counts.entry(form).or_default();
            count.0 += 1;
            if lost.is_empty() && new.is_empty() && questions(&outcome) == questions(&log.outcome) {
                count.1 += 1;
            } else {
                differ.push(format!(
                    "{} as {form}: lost {:?}, new {:?}, asks {:?} and not {:?}",
                    log.name,
                    lost.first().map(ToString::to_string),
                    new.first().map(ToString::to_string),
                    questions(&outcome),
                    questions(&log.outcome)
                ));
            }
        }
    }
    println!("{:24}{:>6}{:>6}", "form", "logs", "same");
    for (form, (all, same)) in &counts {
        println!("{form:24}{all:>6}{same:>6}");
    }
    assert!(differ.is_empty(), "{} differ:\n{}", differ.len(), differ.join("\n"));
}
