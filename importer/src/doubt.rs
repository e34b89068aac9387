//! Contradictions and gaps, as questions, refusals and notes: within a cell, over a column, over the file.
//!
//! Nothing here changes a number in silence: a value is reinterpreted by an answer, or loaded with a note.

pub mod desk; // raises findings, looks up answers
pub(crate) mod limit; // hard limits, decimal marks, slipped digits
pub(crate) mod mark; // what cells say besides plain numbers
pub mod order; // day first or month first
pub(crate) mod same; // repeated and conflicting readings
pub(crate) mod series; // what only the whole series shows
pub mod spots; // places, each once
pub(crate) mod unit; // the unit of each number
