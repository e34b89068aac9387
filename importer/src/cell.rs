//! What a cell says, taken alone: numbers, days, clock times and the marks people put beside them.
//!
//! Knows spelling, not meaning: "5-10" is a range here, whether of nitrate or of pH is decided by the caller.
//! Never guesses: what fits twice is returned twice.

pub mod clock; // times of day
pub mod date; // days, months, years, spans, as written
pub mod fold; // text made comparable
pub mod mark; // everything a number cell can say
pub mod number; // decimal marks and groups of thousands
