//! Tables of which nothing says what they hold: one question each, with the kinds that are read. Their cells are
//! kept in the finding, so that nothing is lost while it waits.

use super::segment::Piece;
use super::{Kind, Placed};
use crate::finding::{Answer, Choice, Finding, Held, Severity};
use crate::grid::Grid;
use crate::record::CellRef;

const CODE: &str = "table_kind_unclear";

/// The choices: code, words, kind.
const CHOICES: [(&str, &str, Option<Kind>); 5] = [
    ("wide", "tests side by side: one row a day, one column a parameter", Some(Kind::Wide)),
    ("long", "tests one a line: day, parameter, value", Some(Kind::Long)),
    ("register", "list of corals", Some(Kind::Register)),
    ("diary", "sizes and looks of corals", Some(Kind::Diary)),
    ("not_data", "not data", None),
];

/// The key of a table's question: the same header on the same sheet has the same key in the next copy of the file.
fn key(grid: &Grid, piece: &Piece) -> String {
    let mut words: Vec<String> = piece.header.iter().map(|column| column.text.clone()).collect();
    if words.is_empty() {
        words = piece.rows.first().map(|row| row.cells.iter().map(|cell| cell.raw.written()).collect()).unwrap_or_default();
    }
    let words: String = words.join(" | ").chars().take(80).collect();
    match &grid.sheet {
        Some(sheet) => format!("{CODE}:{sheet}:{words}"),
        None => format!("{CODE}:{words}"),
    }
}

/// The kind that an answer gives a table without one.
pub fn answered(grid: &Grid, piece: &Piece, answers: &[Answer]) -> Option<Kind> {
    let key = key(grid, piece);
    let answer = answers.iter().rev().find(|answer| answer.key == key)?;
    CHOICES.iter().find(|(code, ..)| *code == answer.choice).and_then(|(.., kind)| *kind)
}

/// Asks what a table holds. Its titles and header are labels; its rows wait in the finding, or are labels once
/// somebody has said that they are no data.
pub fn question(grid: &Grid, piece: Piece, answers: &[Answer], labels: &mut Vec<Placed>) -> Option<Finding> {
    let key = key(grid, &piece);
    let answer = answers.iter().rev().find(|answer| answer.key == key);
    let header_row = piece.header.first().map(|column| column.row);
    labels.extend(piece.titles);
    labels.extend(piece.header.iter().map(|column| Placed { row: column.row, column: column.column, raw: crate::grid::Raw::Text(column.text.clone()) }));
    labels.extend(piece.units);
    labels.extend(piece.labels);
    if answer.is_some_and(|answer| matches!(answer.choice.as_str(), "not_data" | "leave_out")) || piece.rows.is_empty() {
        labels.extend(piece.rows.into_iter().flat_map(|row| row.cells));
        return None;
    }
    let first = piece.rows.first()?;
    let written = match header_row {
        Some(_) => piece.header.iter().map(|column| column.text.as_str()).collect::<Vec<_>>().join(" | "),
        None => first.cells.iter().map(|cell| cell.raw.written()).collect::<Vec<_>>().join(" | "),
    };
    let what = if piece.transposed { "Days seem to run across and parameters down." } else { "Nothing says what its columns hold." };
    let mut rows: Vec<[u32; 2]> = Vec::new();
    for row in &piece.rows {
        match rows.last_mut() {
            Some(run) if run[1] + 1 == row.row => run[1] = row.row,
            _ => rows.push([row.row, row.row]),
        }
    }
    let proposed = piece.likely.and_then(|likely| CHOICES.iter().find(|(.., kind)| *kind == Some(likely))).map(|(code, ..)| Answer { key: key.clone(), choice: (*code).to_owned(), value: None });
    let mut choices: Vec<Choice> = CHOICES.iter().map(|(code, label, _)| Choice { code: (*code).to_owned(), label: (*label).to_owned(), needs: None }).collect();
    choices.extend([("leave_out", "leave it out"), ("dont_know", "don't know")].map(|(code, label)| Choice { code: code.to_owned(), label: label.to_owned(), needs: None }));
    Some(Finding {
        severity: Severity::Questioned,
        code: CODE.to_owned(),
        key,
        sheet: grid.sheet.clone(),
        row: Some(header_row.unwrap_or(first.row)),
        column: None,
        written: written.chars().take(200).collect(),
        message: format!("What does this table hold? {what}"),
        remedy: "Choose what it holds, or put a header over it: a day and one column for each test, or label, name, got and ended for corals.".to_owned(),
        choices,
        proposed,
        held: vec![Held { sheet: grid.sheet.clone(), column: None, rows }],
        cells: piece.rows.iter().flat_map(|row| &row.cells).map(|cell| CellRef { sheet: grid.sheet.clone(), row: cell.row, column: cell.column, role: "data".to_owned() }).collect(),
        answered: answer.filter(|answer| answer.choice == "dont_know").map(|answer| answer.choice.clone()),
    })
}
