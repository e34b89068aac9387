//! The trade's words as typed data: parameters, units, taxa, outcomes, findings, bands, signs, claims.
//!
//! The data are the files of `catalogue/`, compiled in. A code can only be obtained by looking it up, so a
//! value of a code type always names a row that exists.

pub mod code; // codes that can only be obtained by lookup
pub mod outcome; // what can happen to a specimen
pub mod header; // words over columns that name no parameter

pub use code::{ParameterCode, TaxonSlug, UnitCode};
pub use header::{HeaderRole, RowWord, find_header_word, find_row_word, header_roles};
pub use outcome::{CauseGroup, Fate, Origin, OriginBasis};
