//! Tables of which nothing says what they hold: one question each, with the kinds that are read. Their cells are
//! kept in the finding, so that nothing is lost while it waits.

use analysis::vocabulary::find_parameter_by_word;

use super::row::look_of;
use super::segment::Piece;
use super::{DataRow, Kind, Placed};
use crate::container::verdict::{self, chosen};
use crate::dialect::guess::Look;
use crate::finding::{Answer, Finding, Held};
use crate::grid::{Grid, Raw};
use crate::record::CellRef;

const CODE: &str = "table_kind_unclear";

/// The answers that name a kind which is read.
const KINDS: [(&str, Kind); 4] =
    [("wide", Kind::Wide), ("long", Kind::Long), ("register", Kind::Register), ("diary", Kind::Diary)];
/// Cells of a sheet without tables that are looked at for days and readings.
const LOOKED_AT: usize = 20_000;
/// The answer that says a table holds no data.
const NO_DATA: &str = "none";

/// What tells a table from others: the same header on the same sheet has the same question in the next copy of the
/// file.
pub(super) fn about(sheet: Option<&str>, words: impl Iterator<Item = String>) -> String {
    let words: String = words.collect::<Vec<_>>().join(" | ").chars().take(80).collect();
    match sheet {
        Some(sheet) => format!("{sheet}:{words}"),
        None => words,
    }
}

fn about_piece(grid: &Grid, piece: &Piece) -> String {
    let sheet = grid.sheet.as_deref();
    if piece.header.is_empty() {
        about(sheet, piece.rows.first().into_iter().flat_map(|row| &row.cells).map(|cell| cell.raw.written()))
    } else {
        about(sheet, piece.header.iter().map(|column| column.text.clone()))
    }
}

/// A sheet without any table that holds days or readings all the same, such as a diary in sentences: it is asked
/// about as a whole, so that nobody takes it for read.
pub fn prose_with_days(labels: &mut Vec<Placed>) -> Option<Piece> {
    let says_something = |cell: &&Placed| match &cell.raw {
        Raw::Text(text) => {
            look_of(&cell.raw) == Look::Date
                || text.len() <= 200
                    && text.split([',', ';']).any(|part| {
                        part.bytes().any(|byte| byte.is_ascii_digit())
                            && !find_parameter_by_word(part.trim_matches(|letter: char| !letter.is_alphabetic()))
                                .is_empty()
                    })
        }
        Raw::Date(_) => true,
        _ => false,
    };
    if labels.iter().take(LOOKED_AT).filter(says_something).take(2).count() < 2 {
        return None;
    }
    let mut rows: Vec<DataRow> = Vec::new();
    for cell in labels.drain(..) {
        match rows.last_mut() {
            Some(row) if row.row == cell.row => row.cells.push(cell),
            _ => rows.push(DataRow { row: cell.row, line: None, cells: vec![cell] }),
        }
    }
    Some(Piece { rows, ..Piece::default() })
}

/// The kind that an answer gives a table without one.
pub fn answered(grid: &Grid, piece: &Piece, answers: &[Answer]) -> Option<Kind> {
    let choice = chosen(answers, &format!("{CODE}:{}", about_piece(grid, piece)))?;
    KINDS.iter().find(|(code, _)| *code == choice).map(|(_, kind)| *kind)
}

/// Asks what a table holds. Its titles and header are labels; its rows wait in the finding, or are labels once
/// somebody has said that they are no data.
pub fn question(grid: &Grid, piece: Piece, answers: &[Answer], labels: &mut Vec<Placed>) -> Option<Finding> {
    let mut finding = verdict::finding(CODE, &about_piece(grid, &piece), &[]);
    let answer = chosen(answers, &finding.key);
    let header: Vec<&str> = piece.header.iter().map(|column| column.text.as_str()).collect();
    let header_row = piece.header.first().map(|column| column.row);
    let header_written = header.join(" | ");
    labels.extend(piece.titles);
    labels.extend(piece.header.iter().map(|column| Placed {
        row: column.row,
        column: column.column,
        raw: Raw::Text(column.text.clone()),
    }));
    labels.extend(piece.units);
    labels.extend(piece.labels);
    if matches!(answer, Some(NO_DATA | "leave_out")) || piece.rows.is_empty() {
        labels.extend(piece.rows.into_iter().flat_map(|row| row.cells));
        return None;
    }
    let first = piece.rows.first()?;
    let mut written = header_written;
    if written.is_empty() {
        written = first.cells.iter().map(|cell| cell.raw.written()).collect::<Vec<_>>().join(" | ");
    }
    finding.written = written.chars().take(200).collect();
    finding.message.push_str(if piece.transposed {
        " Days seem to run across and parameters down."
    } else {
        " Nothing says what its columns hold."
    });
    finding.choices.retain(|choice| {
        KINDS.iter().any(|(code, _)| *code == choice.code)
            || [NO_DATA, "leave_out", "dont_know"].contains(&choice.code.as_str())
    });
    if let Some((code, _)) = KINDS.iter().find(|(_, kind)| Some(*kind) == piece.likely) {
        finding.propose(code);
    }
    let mut rows: Vec<[u32; 2]> = Vec::new();
    for row in &piece.rows {
        match rows.last_mut() {
            Some(run) if run[1] + 1 == row.row => run[1] = row.row,
            _ => rows.push([row.row, row.row]),
        }
    }
    finding.sheet.clone_from(&grid.sheet);
    finding.row = Some(header_row.unwrap_or(first.row));
    finding.held = vec![Held { sheet: grid.sheet.clone(), column: None, rows }];
    finding.cells = piece
        .rows
        .iter()
        .flat_map(|row| &row.cells)
        .map(|cell| CellRef { sheet: grid.sheet.clone(), row: cell.row, column: cell.column, role: "data".to_owned() })
        .collect();
    finding.answered = answer.filter(|choice| *choice == "dont_know").map(str::to_owned);
    Some(finding)
}
