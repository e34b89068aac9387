//! By what a column's meaning is known, and how surely; as it is told to those who handed the file in.

use std::collections::BTreeMap;

use analysis::vocabulary::{HeaderRole, ParameterCode};

use super::{Meaning, confidence};
use crate::canonical::View;
use crate::context::ColumnRead;

/// Share of columns that are what a word of their header says, where that is a date, a tank, a remark and the like. On
/// made-up tables all were; a hundredth is left for what nobody made up.
const BY_WORD: f64 = 0.99;
/// The same where only their cells say so.
const BY_CELLS: f64 = 0.99;

/// By what a meaning is known.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum By {
    /// A header word.
    Word,
    /// A header word with a slip in it, and the values.
    Spelling,
    /// The unit, and the values.
    Unit,
    /// The values, their decimals and the columns beside it.
    Values,
    /// The cells: days, names, fates.
    Cells,
    /// The code of the ready-made sheet.
    Code,
    /// Somebody's answer.
    Answer,
}

impl By {
    const fn code(self) -> &'static str {
        match self {
            By::Word => "word",
            By::Spelling => "spelling",
            By::Unit => "unit",
            By::Values => "values",
            By::Cells => "cells",
            By::Code => "code",
            By::Answer => "answer",
        }
    }

    /// Within a sentence: "… is read as calcium, by its unit and values".
    pub(super) const fn sentence(self) -> &'static str {
        match self {
            By::Spelling => "a word spelt nearly so and its values",
            By::Unit => "its unit and values",
            _ => "its values",
        }
    }
}

/// How a column's meaning is known.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Trust {
    /// By what.
    pub by: By,
    /// How surely, 0 to 1.
    pub confidence: f64,
    /// It is asked about.
    pub asked: bool,
    /// The likeliest parameter, where it is one.
    pub likely: Option<ParameterCode>,
}

impl Trust {
    /// Known in this way, for what is no parameter.
    pub const fn of(by: By) -> Self {
        let confidence = match by {
            By::Code | By::Answer => 1.0,
            By::Word => BY_WORD,
            _ => BY_CELLS,
        };
        Trust { by, confidence, asked: false, likely: None }
    }

    /// By its header word.
    pub const fn word() -> Self {
        Trust::of(By::Word)
    }

    /// By an answer.
    pub const fn answer() -> Self {
        Trust::of(By::Answer)
    }

    /// Asked about; this is the likeliest.
    pub const fn asked(likely: ParameterCode, confidence: f64) -> Self {
        Trust { by: By::Values, confidence, asked: true, likely: Some(likely) }
    }
}

/// What is told of the columns of a table.
pub(super) fn told(view: &View, meanings: &BTreeMap<u32, Meaning>, trusts: &BTreeMap<u32, Trust>) -> Vec<ColumnRead> {
    let mut told = Vec::with_capacity(meanings.len());
    for (column, meaning) in meanings {
        let trust = trusts.get(column).copied().unwrap_or(Trust::of(By::Cells));
        let spot = view.header_spot(*column);
        told.push(ColumnRead {
            sheet: view.table.sheet.clone(),
            row: spot.row,
            column: spot.column,
            header: view.table.header.iter().find(|header| header.column == *column).map(|header| header.text.clone()),
            meaning: match (meaning, trust.likely) {
                (Meaning::Role(role), _) => code_of(*role),
                (Meaning::Quantity(quantity), _) => quantity.parameter.as_str().to_owned(),
                (Meaning::Measure(code) | Meaning::Coded(code), _) => code.clone(),
                (Meaning::Waiting, Some(likely)) => likely.as_str().to_owned(),
                (Meaning::Label | Meaning::Waiting, _) => "label".to_owned(),
            },
            by: trust.by.code().to_owned(),
            confidence: confidence::stated(trust.confidence),
            asked: trust.asked || *meaning == Meaning::Waiting,
        });
    }
    told
}

/// `last_seen` of [`HeaderRole::LastSeen`].
fn code_of(role: HeaderRole) -> String {
    let mut code = String::new();
    for letter in format!("{role:?}").chars() {
        if letter.is_ascii_uppercase() && !code.is_empty() {
            code.push('_');
        }
        code.push(letter.to_ascii_lowercase());
    }
    code
}
