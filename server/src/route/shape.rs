//! The documented shapes of answers. The core's own types, which know nothing of HTTP, are what is sent; that
//! both say the same is a test, which reads real answers strictly into these and writes them again.

mod bands; // what is taught beside what was seen
mod casebook; // single losses
mod claims; // what the club teaches
mod common; // parts that answers share
mod conditions; // conditions side by side
mod growth; // how fast they grew
mod hazard; // when they are lost
mod lead_up; // the weeks before losses
mod plan; // what to record to know
mod survival; // how long they lived

pub use bands::BandsAnswer;
pub use casebook::CasebookAnswer;
pub use claims::ClaimsAnswer;
pub use common::{CensusCounts, Part};
pub use conditions::ConditionsAnswer;
pub use growth::GrowthAnswer;
pub use hazard::HazardAnswer;
pub use lead_up::LeadUpAnswer;
pub use plan::PlanAnswer;
pub use survival::SurvivalAnswer;
