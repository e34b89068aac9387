//! Text files to a grid: encoding, then dialect, then cells with their rows and lines.

use std::borrow::Cow;

use super::verdict::chosen;
use super::{limit, verdict};
use crate::dialect::decimal::Marks;
use crate::dialect::split::{Field, Record, Records};
use crate::dialect::{self, Dialect};
use crate::encoding;
use crate::finding::{Answer, Finding, Held};
use crate::formula_guard::unguarded;
use crate::grid::{Cell, Grid, Raw, Row};
use crate::record::CellRef;

/// Rows shown as a picture in a question.
const PREVIEW_ROWS: usize = 4;

/// The two encodings that can fit alike, by the codes of the answers.
const ENCODINGS: [(&str, &str); 2] = [("first", "windows-1252"), ("second", "macintosh")];
/// The separators that can fit alike, by the codes of the answers.
const SEPARATORS: [(&str, u8); 4] = [("comma", b','), ("semicolon", b';'), ("tab", b'\t'), ("bar", b'|')];

/// A text file before it is cut into cells.
#[derive(Debug, Clone)]
pub struct Text<'b> {
    /// Its letters.
    pub letters: Cow<'b, str>,
    /// How it is cut.
    pub dialect: Dialect,
    /// What is asked of the whole of it, with what was answered that does not settle it.
    questions: Vec<(Finding, Option<String>)>,
}

/// Tells encoding and dialect of a text file.
///
/// # Errors
/// If it is no text, or holds nothing.
pub fn begin<'b>(bytes: &'b [u8], answers: &[Answer]) -> Result<Text<'b>, Box<Finding>> {
    let mut questions = Vec::new();
    let encoding = chosen(answers, "encoding_unclear");
    let wanted = encoding.and_then(|choice| ENCODINGS.iter().find(|(code, _)| *code == choice)).map(|(_, name)| *name);
    let Ok(decoded) = encoding::decode(bytes, wanted) else {
        return Err(Box::new(verdict::kind_unknown("a binary file")));
    };
    if let Some(rival) = &decoded.other {
        questions.push((encoding_unclear(decoded.encoding, rival), encoding.map(str::to_owned)));
    }
    let letters = decoded.text;
    if letters.split([',', ';', '|', '"']).all(is_blank) {
        return Err(Box::new(verdict::empty()));
    }
    let detected = dialect::detect(&letters);
    let mut dialect = detected.dialect;
    if let Some(rival) = detected.rival {
        let separator = chosen(answers, "separator_unclear");
        let wanted =
            separator.and_then(|choice| SEPARATORS.iter().find(|(code, _)| *code == choice)).map(|(_, byte)| *byte);
        if wanted.is_some() && wanted == rival.delimiter {
            dialect = rival;
        } else if wanted != dialect.delimiter {
            questions.push((separator_unclear(&letters, dialect, rival), separator.map(str::to_owned)));
        }
    }
    Ok(Text { letters, dialect, questions })
}

impl Text<'_> {
    /// Whether nothing is asked of the whole of it.
    pub fn is_clear(&self) -> bool {
        self.questions.is_empty()
    }

    /// What is asked of the whole of it, without its cells: nothing if it is to be left out.
    pub fn asked(self) -> Vec<Finding> {
        let open = self.questions.into_iter().filter(|(_, answer)| answer.as_deref() != Some("leave_out"));
        open.map(|(finding, answer)| Finding { answered: answer.filter(|choice| choice == "dont_know"), ..finding })
            .collect()
    }

    /// Its rows from the top; a line that names the separator is none.
    pub fn records(&self) -> Records<'_> {
        let mut records = Records::new(&self.letters, self.dialect);
        // A program that knows the line "sep=;" does not show it as a row, and it is no cell.
        if self.dialect.sep_line {
            records.next_record();
        }
        records
    }

    /// Cuts it into a grid.
    ///
    /// # Errors
    /// If it is over a limit.
    pub fn cut(self) -> Result<(Vec<Grid>, Vec<Finding>), Box<Finding>> {
        let mut notes = Notes::default();
        let mut grid = Grid { delimiter: self.dialect.delimiter, ..Grid::default() };
        let mut records = self.records();
        let mut number = 0_u32;
        while let Some(record) = records.next_record() {
            number = number.saturating_add(1);
            notes.see(number, record.fields)?;
            grid.rows.extend(row(number, &record));
        }
        grid.decimal_comma = notes.decimal_comma(self.dialect);
        let mut findings = notes.findings();
        for (finding, answer) in self.questions {
            findings.extend(hold(&mut grid, finding, answer.as_deref()));
        }
        Ok((vec![grid], findings))
    }
}

/// A row of cells; `None` if all are blank.
pub(crate) fn row(number: u32, record: &Record) -> Option<Row> {
    let mut cells = Vec::with_capacity(record.fields.len().min(64));
    for (column, field) in (1_u32..).zip(record.fields) {
        if !is_blank(&field.text) {
            cells.push(Cell { column, raw: Raw::of_text(unguarded(&field.text).to_owned()) });
        }
    }
    (!cells.is_empty()).then_some(Row { number, line: Some(record.line), cells })
}

/// What is gathered from all cells of a text.
#[derive(Debug, Default)]
pub(crate) struct Notes {
    meter: limit::Meter,
    marks: Marks,
    repaired: Vec<(u32, u32, String)>,
    lost: Vec<(u32, u32, String)>,
}

impl Notes {
    /// Takes note of a row.
    ///
    /// # Errors
    /// If the text is over a limit.
    pub fn see(&mut self, number: u32, fields: &[Field]) -> Result<(), Box<Finding>> {
        for (column, field) in (1_u32..).zip(fields).filter(|(_, field)| !is_blank(&field.text)) {
            self.meter.cell(u64::from(number), u64::from(column), field.text.len())?;
            self.marks.see(&field.text);
            if field.repaired {
                self.repaired.push((number, column, field.text.to_string()));
            }
            if field.text.contains('\u{fffd}') {
                self.lost.push((number, column, field.text.to_string()));
            }
        }
        Ok(())
    }

    /// Non-empty cells so far.
    pub const fn cells(&self) -> u64 {
        self.meter.cells()
    }

    /// Whether the decimal mark is a comma.
    pub fn decimal_comma(&self, dialect: Dialect) -> bool {
        self.marks.decimal_comma(dialect.delimiter != Some(b','))
    }

    /// One note on all cells alike.
    pub fn findings(&self) -> Vec<Finding> {
        [noted("quote_repaired", &self.repaired), noted("letters_lost", &self.lost)].into_iter().flatten().collect()
    }
}

/// A question about the whole file: its cells wait in the finding. "Leave it out" makes them labels.
fn hold(grid: &mut Grid, mut finding: Finding, answer: Option<&str>) -> Option<Finding> {
    if answer == Some("leave_out") {
        grid.hidden = true;
        return None;
    }
    finding.answered = answer.filter(|choice| *choice == "dont_know").map(str::to_owned);
    if !grid.held && !grid.hidden {
        grid.held = true;
        let cells = grid.rows.iter().flat_map(|row| row.cells.iter().map(move |cell| (row.number, cell.column)));
        finding.cells =
            cells.map(|(row, column)| CellRef { sheet: None, row, column, role: "text".to_owned() }).collect();
        finding.held = grid
            .rows
            .first()
            .zip(grid.rows.last())
            .map(|(first, last)| Held { sheet: None, column: None, rows: vec![[first.number, last.number]] })
            .into_iter()
            .collect();
    }
    Some(finding)
}

/// White space of any kind, and signs without width.
pub(crate) fn is_blank(text: &str) -> bool {
    text.chars()
        .all(|letter| letter.is_whitespace() || matches!(letter, '\u{200b}'..='\u{200f}' | '\u{2060}' | '\u{feff}'))
}

/// One note on all cells alike.
fn noted(code: &'static str, cells: &[(u32, u32, String)]) -> Option<Finding> {
    let (row, column, written) = cells.first()?;
    let mut finding = verdict::finding(code, "", &[("written", written)]);
    finding.row = Some(*row);
    finding.column = Some(*column);
    finding.written.clone_from(written);
    finding.cells = cells
        .iter()
        .map(|(row, column, _)| CellRef { sheet: None, row: *row, column: *column, role: "text".to_owned() })
        .collect();
    Some(finding)
}

fn encoding_unclear(taken: &str, rival: &encoding::Rival) -> Finding {
    let lines =
        if taken == ENCODINGS[0].1 { [&rival.line, &rival.other_line] } else { [&rival.other_line, &rival.line] };
    let mut finding = verdict::finding("encoding_unclear", "", &[("first", lines[0]), ("second", lines[1])]);
    finding.written.clone_from(&rival.line);
    if let Some((code, _)) = ENCODINGS.iter().find(|(_, name)| *name == taken) {
        finding.propose(code);
    }
    finding
}

fn separator_unclear(text: &str, taken: Dialect, rival: Dialect) -> Finding {
    let mut finding = verdict::finding("separator_unclear", "", &[]);
    let code_of =
        |dialect: Dialect| SEPARATORS.iter().find(|(_, byte)| Some(*byte) == dialect.delimiter).map(|(code, _)| *code);
    let pictures = [taken, rival].map(|dialect| (code_of(dialect), picture(text, dialect)));
    finding.choices.retain_mut(|choice| {
        let separator = SEPARATORS.iter().any(|(code, _)| *code == choice.code);
        let picture = pictures.iter().find(|(code, _)| *code == Some(&choice.code));
        if let Some((_, picture)) = picture {
            choice.label.push_str(&format!(":\n{picture}"));
        }
        !separator || picture.is_some()
    });
    if let Some(code) = code_of(taken) {
        finding.propose(code);
    }
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
            lines.push(
                record
                    .fields
                    .iter()
                    .take(12)
                    .map(|field| field.text.trim().chars().take(40).collect::<String>())
                    .collect::<Vec<_>>()
                    .join(" ┃ "),
            );
        }
    }
    lines.join("\n")
}
