//! Text files to a grid: encoding, then dialect, then cells with their rows and lines.

use super::{limit, verdict};
use crate::dialect::decimal::Marks;
use crate::dialect::split::Records;
use crate::dialect::{self, Dialect};
use crate::encoding;
use crate::finding::{Answer, Finding};
use crate::grid::{Cell, Grid, Raw, Row};
use crate::record::CellRef;

/// Rows shown as a picture in a question.
const PREVIEW_ROWS: usize = 4;

/// Reads a text file.
pub fn open(bytes: &[u8], answers: &[Answer]) -> Result<(Vec<Grid>, Vec<Finding>), Box<Finding>> {
    let chosen = |code: &str| answers.iter().rev().find(|answer| answer.key == code).map(|answer| answer.choice.as_str());
    let mut findings = Vec::new();
    let decoded = match encoding::decode(bytes, chosen("encoding_unclear")) {
        Ok(decoded) => decoded,
        Err(encoding::NotText) => return Err(Box::new(verdict::kind_unknown("a binary file"))),
    };
    if let Some(rival) = decoded.other.as_ref().filter(|_| chosen("encoding_unclear").is_none()) {
        findings.push(encoding_unclear(decoded.encoding, rival));
    }
    let text = decoded.text.as_str();
    if text.split([',', ';', '|', '"']).all(is_blank) {
        return Err(Box::new(verdict::empty("No cell of the file holds anything.")));
    }
    let detected = dialect::detect(text);
    let dialect = match chosen("separator_unclear").and_then(|name| dialect_named(name, text)) {
        Some(dialect) => dialect,
        None => {
            if let Some(rival) = detected.rival.filter(|_| chosen("separator_unclear").is_none()) {
                findings.push(separator_unclear(text, detected.dialect, rival));
            }
            detected.dialect
        }
    };
    let mut grid = read(text, dialect, &mut findings)?;
    grid.delimiter = dialect.delimiter;
    Ok((vec![grid], findings))
}

/// Cuts a text into a grid.
fn read(text: &str, dialect: Dialect, findings: &mut Vec<Finding>) -> Result<Grid, Box<Finding>> {
    let mut grid = Grid::default();
    let mut meter = limit::Meter::default();
    let mut marks = Marks::default();
    let mut repaired = Vec::new();
    let mut lost = Vec::new();
    let mut records = Records::new(text, dialect);
    let mut number = 0_u32;
    while let Some(record) = records.next_record() {
        number = number.saturating_add(1);
        let mut cells = Vec::with_capacity(record.fields.len().min(64));
        for (column, field) in (1_u32..).zip(record.fields) {
            if is_blank(&field.text) {
                continue;
            }
            meter.cell(u64::from(number), u64::from(column), field.text.len())?;
            marks.see(&field.text);
            if field.repaired {
                repaired.push((number, column, field.text.to_string()));
            }
            if field.text.contains('\u{fffd}') {
                lost.push((number, column, field.text.to_string()));
            }
            cells.push(Cell { column, raw: Raw::Text(field.text.to_string()) });
        }
        if !cells.is_empty() {
            grid.rows.push(Row { number, line: Some(record.line), cells });
        }
    }
    grid.decimal_comma = marks.decimal_comma(dialect.delimiter != Some(b','));
    if let Some(finding) = noted("quote_repaired", &repaired, "A quotation mark that opens or closes nothing was read as a letter.", "Look at these cells.") {
        findings.push(finding);
    }
    if let Some(finding) = noted("letters_lost", &lost, "Letters of these cells were lost before the file came here.", "Save the log as .xlsx or as UTF-8 text and send it again.") {
        findings.push(finding);
    }
    Ok(grid)
}

/// White space of any kind, and signs without width.
pub(super) fn is_blank(text: &str) -> bool {
    text.chars().all(|letter| letter.is_whitespace() || matches!(letter, '\u{200b}'..='\u{200f}' | '\u{2060}' | '\u{feff}'))
}

fn noted(code: &str, cells: &[(u32, u32, String)], message: &str, remedy: &str) -> Option<Finding> {
    let (row, column, written) = cells.first()?;
    let mut finding = verdict::note(code, None, message, remedy);
    finding.row = Some(*row);
    finding.column = Some(*column);
    finding.written = written.clone();
    finding.cells = cells.iter().map(|(row, column, _)| CellRef { sheet: None, row: *row, column: *column, role: "text".to_owned() }).collect();
    Some(finding)
}

fn encoding_unclear(taken: &'static str, rival: &encoding::Rival) -> Finding {
    let mut finding = verdict::question(
        "encoding_unclear",
        &format!("Which line is spelt right: \"{}\" or \"{}\"?", rival.line, rival.other_line),
        "Choose the right spelling, or save the log as .xlsx or as UTF-8 text.",
        &[(taken, &rival.line), (rival.encoding, &rival.other_line)],
    );
    finding.written = rival.line.clone();
    finding.proposed = Some(Answer { key: "encoding_unclear".to_owned(), choice: taken.to_owned(), value: None });
    finding
}

fn separator_unclear(text: &str, taken: Dialect, rival: Dialect) -> Finding {
    let pictures = [picture(text, taken), picture(text, rival)];
    let names = [taken.name(), rival.name()];
    let mut finding = verdict::question(
        "separator_unclear",
        &format!("Which picture of the first rows is right?\n{}\nor\n{}", pictures[0], pictures[1]),
        "Choose the right picture, or save the log as .xlsx.",
        &[(&names[0], &pictures[0]), (&names[1], &pictures[1])],
    );
    finding.proposed = Some(Answer { key: "separator_unclear".to_owned(), choice: names[0].clone(), value: None });
    finding
}

/// The first rows with bars between the cells.
fn picture(text: &str, dialect: Dialect) -> String {
    let mut lines = Vec::new();
    let mut records = Records::new(text, dialect);
    while let Some(record) = records.next_record() {
        if lines.len() >= PREVIEW_ROWS {
            break;
        }
        if record.fields.iter().any(|field| !is_blank(&field.text)) {
            lines.push(record.fields.iter().take(12).map(|field| field.text.trim().chars().take(40).collect::<String>()).collect::<Vec<_>>().join(" ┃ "));
        }
    }
    lines.join("\n")
}

/// The dialect somebody has chosen by its name.
fn dialect_named(name: &str, text: &str) -> Option<Dialect> {
    let delimiter = match name {
        "tab" => b'\t',
        "blanks" => b' ',
        other if other.len() == 1 => other.as_bytes()[0],
        _ => return None,
    };
    Some(dialect::finish(text, Dialect { runs: delimiter == b' ', ..Dialect::of(Some(delimiter)) }))
}
