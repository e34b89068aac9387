//! The core of Strandline: what the trade's words mean and what the records say.
//!
//! Pure: no files, no database, no HTTP, no clock. Everything a function needs comes in as a value.

// The clubs of the tests name this crate by its name, inside it too.
#[cfg(test)]
extern crate self as analysis;

pub mod answer; // question to answer: the shapes that are printed
pub mod club; // the records of a club as plain values: what every answer starts from
pub mod comparison; // groups of a split: bands, origins, years
pub mod disclosure; // what may be shown to whom
pub mod episode; // who is at risk when: the one input of every estimator
pub mod evidence; // counts behind a figure, and its grade
pub mod exposure; // the conditions at each moment, from the past only
pub mod follow_up; // from records to the time each specimen was under observation
pub mod growth; // growth rates from repeated sizes
pub mod numeric; // small dense linear algebra, sums, tails of distributions
pub mod readings; // summaries of readings some of which are limits
pub mod refusal; // what cannot be said, and what is lacking
pub mod seawater; // conversions that are curves, not lines
pub mod simulation; // clubs with a known truth
pub mod survival; // one estimator, one file
pub mod table;
pub mod vocabulary; // the trade's words as typed data
pub mod wording; // sentences that cannot claim more than the figures // any table of episodes or sizes: the figures of the commands survival and growth
