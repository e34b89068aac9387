//! The curator's desk: every query of it takes the reach of a caller who may administer.

pub mod audit; // who did what
pub mod keepers; // members who keep records
pub mod releases; // what public and members read
pub mod settings; // decisions of the club
