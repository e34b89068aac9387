//! Question to answer: what can be asked, and the shapes that are printed.
//!
//! An answer is a function of the club's records, the question, the audience and the stamp, and of nothing else:
//! the same four give the same bytes. Every part of a result is its object or a refusal with what is lacking;
//! absent numbers are `None` (`null`), never 0 and never NaN. Rounding for an audience is the last step.

mod asks; // what only members can say
pub(crate) mod bands; // what is taught beside what was seen
mod based; // answers that start from the plain one on survival
mod canonical; // the one text of a question
mod casebook; // one line a loss
mod census; // counts of every taxon
mod check; // whether a question may be asked
mod claims; // what the club teaches
mod conditions; // conditions side by side
mod growth; // a question about growth
mod hazard; // when they are lost
mod held; // who is in the pieces that a release decides on
mod lead_up; // the weeks before losses
mod origin; // how the origins of corals are known
mod plan; // what to record to know
pub mod question; // what can be asked
mod refusals; // what was refused, with its place
mod round; // figures as an audience sees them
pub mod shape; // what is printed
mod survival; // a question about survival
mod taxon; // taxon asked, taxon answered

pub use asks::{Ask, Asked as AskedOfMember, Lacks, Lifted};
pub use bands::{RangesCalled, bands, ranges};
pub use based::TaxonQuestion;
pub use casebook::casebook;
pub use census::census;
pub use check::HORIZONS;
pub use claims::{Families, TaxonRecords, claims};
pub use conditions::{Called, CalledLine, conditions, family, listed};
pub use growth::growth;
pub use hazard::hazard;
pub use held::{Held, MEMBERS, ON_RECORD, Piece, Records, UNDIVIDED, teaches_otherwise};
pub use lead_up::{lead_up, lead_up_faults};
pub use plan::{POWER, PlanQuestion, RATIOS, plan};
pub use question::{Audience, By, Given, GrowthQuestion, InvalidQuestion, Outcome, Question, Stamp};
pub use shape::*;
pub use survival::holdings::code_of_split;
pub use survival::survival;
