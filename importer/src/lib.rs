//! A member's file becomes normalised records, and the records become the club's.
//!
//! Stages, in reading order, each pure on typed data and each returning *(value, findings)*:
//! bytes → container → encoding, dialect → grid → tables and their layout → column meanings → cells →
//! canonical records → doubts. Only [`load`] touches a database. Nothing here knows of HTTP or of a clock.

pub mod canonical; // tables with meanings → records
pub mod cell; // what a cell says
pub mod container; // bytes → sheets of cells
pub mod context; // what the reader is told beside the bytes: day, tanks, corals, answers
pub mod dialect; // text → cells: separator, quotes, decimal mark
pub mod doubt; // contradictions seen only over whole columns and files
pub mod encoding; // bytes → text
pub mod finding; // what could not be taken as it stands: code, place, as written, remedy
pub mod fold; // live uploads of a keeper → the current records
pub mod formula_guard; // text that a spreadsheet program would run, written as text and read back
pub mod grid; // one sheet as a grid of raw cells with their places
pub mod layout; // tables in a grid, and what kind of table each is
pub mod load; // records → Postgres: uploads, answers, commit, undo
pub mod log_sheet; // the ready-made sheet, blank or pre-filled
pub mod meaning; // what a column is
pub(crate) mod parts; // a long text, some months at a time
pub mod read; // the pipeline on one page
pub mod record; // what a file says, in the catalogue's words and units
pub mod saved_layout; // how files of one shape are read, as a document
