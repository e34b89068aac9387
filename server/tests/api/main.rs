//! The API over HTTP, on the application that the command serves and a real Postgres.

#[path = "../support/api.rs"]
mod api_support;
#[path = "../support/legible.rs"]
mod legible;
#[path = "../support/samples.rs"]
mod samples;

mod accounts; // people who sign in
mod answers; // questions to the records
mod as_described; // requests as the document has them
mod bands; // the ranges that the club teaches
mod check; // whether a database holds what it says
mod claims; // what the club itself teaches
mod decline; // outcomes that are known from looks
mod degenerate; // clubs whose records bear no figure
mod desk; // the curator's desk, a member's own things
mod document; // what is documented
mod edits; // single records, made and changed by hand
mod examples; // the examples of the document
mod formulas; // tables that no program runs
mod hand_over; // the page for the next records secretary
mod hostile; // requests that mean no good
mod life; // a club from its first account to a withdrawal
mod links; // links to one question, layouts, kits
mod merges; // two names that are one tank or one coral
mod metrics; // what an operator watches
mod names; // what names of corals mean in the club
mod newsletter; // reports and issues
mod packs; // water tests as answers read them
mod people; // people of the tests who sign in
mod problems; // what can go wrong
mod records; // the current records row by row
mod releases; // what public and members read
mod representations; // the same answer in other forms
mod servers; // several servers of one database
mod sessions; // cookies, other sites, passwords, guesses
mod tokens; // keys for programs
mod uploads; // from a file to the records, and back
mod vocabulary; // what is measured
mod who_to_ask; // what only members can say
