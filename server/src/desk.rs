//! The curator's desk: every query of it takes the reach of a caller who may administer.

pub mod audit; // who did what
pub mod band_preview; // what another range would change
pub mod bands; // the ranges that the club teaches
pub mod claims; // what the club itself teaches
pub mod keepers; // members who keep records
pub mod names; // what names of corals mean in the club
pub mod releases; // what public and members read
pub mod settings;
pub mod signed; // who answers for what the club says
pub mod who_to_ask; // what only members can say, and whom it helps to ask // decisions of the club
