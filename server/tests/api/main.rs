//! The API over HTTP, on the application that the command serves and a real Postgres.

#[path = "../support/api.rs"]
mod api_support;
#[path = "../support/legible.rs"]
mod legible;

mod answers; // questions to the records
mod check; // whether a database holds what it says
mod decline; // outcomes that are known from looks
mod degenerate; // clubs whose records bear no figure
mod desk; // the curator's desk, a member's own things
mod document; // what is documented
mod examples; // the examples of the document
mod formulas; // tables that no program runs
mod links; // links to one question, layouts, kits
mod metrics; // what an operator watches
mod newsletter; // reports and issues
mod problems; // what can go wrong
mod records; // the current records row by row
mod releases; // what public and members read
mod representations; // the same answer in other forms
mod tokens; // keys for programs
mod uploads; // from a file to the records, and back
mod vocabulary; // what is measured
