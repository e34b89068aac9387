//! HTTP API, the `strandline` command, the private Postgres.
//!
//! Requests reach records only through [`access`]; statistics are the `analysis` crate's, files the `importer`'s.

pub mod access; // who may see and do what
pub mod answer; // records in Postgres → an answer
pub mod app; // the application, built from values
pub mod backup; // the whole club in one file, and back
pub mod body; // JSON bodies as typed values
pub mod chart; // answers as pictures
pub mod check; // whether a database holds what it says
pub mod client; // the API as a program of Rust calls it
pub mod command; // the words of the command
pub mod config; // flags, variables, defaults
pub mod demo; // the invented club
pub mod desk; // the curator's desk
pub mod document; // the OpenAPI document
pub mod edit; // one record made, changed or taken out by hand
pub mod export; // everything of one member in one archive
pub mod front; // answers to everybody, kept as they were sent
pub mod hand_over; // the page for the next records secretary
pub mod jobs; // files waiting to be read
pub mod limit; // how often one caller may ask
pub mod listen; // what other servers changed
pub mod metrics; // what an operator watches
pub mod newsletter; // what an issue says, and what was printed
pub mod once; // a request that is repeated gives the first answer
pub mod pool; // connections to Postgres
pub mod private_postgres; // a Postgres of our own
pub mod problem; // everything that can go wrong with a request
pub mod query; // query parameters as typed values
pub mod records; // the current records row by row
pub mod release; // what public and members read
pub mod represent; // one answer, several representations
pub mod route; // the one list of routes
pub mod upload; // uploads as a caller reaches them
