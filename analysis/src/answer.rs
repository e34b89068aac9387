//! Question to answer: what can be asked, and the shapes that are printed.
//!
//! An answer is a function of the club's records, the question, the audience and the stamp, and of nothing else:
//! the same four give the same bytes. Every part of a result is its object or a refusal with what is lacking;
//! absent numbers are `None` (`null`), never 0 and never NaN. Rounding for an audience is the last step.

mod canonical; // the one text of a question
mod census; // counts of every taxon
mod check; // whether a question may be asked
mod growth; // a question about growth
mod origin; // how the origins of corals are known
pub mod question; // what can be asked
mod refusals; // what was refused, with its place
pub mod shape; // what is printed
mod survival; // a question about survival
mod taxon; // taxon asked, taxon answered

pub use census::census;
pub use check::HORIZONS;
pub use growth::growth;
pub use question::{Audience, By, Given, GrowthQuestion, InvalidQuestion, Outcome, Question, Stamp};
pub use shape::*;
pub use survival::survival;
