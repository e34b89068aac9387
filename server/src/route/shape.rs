//! The documented shapes of answers. The core's own types, which know nothing of HTTP, are what is sent; that
//! both say the same is a test, which reads real answers strictly into these and writes them again.

mod common; // parts that answers share
mod growth; // how fast they grew
mod survival; // how long they lived
mod taxon; // conditions, hazard, lead-up, bands, plan, casebook, claims

pub use common::{CensusCounts, Part};
pub use growth::GrowthAnswer;
pub use survival::SurvivalAnswer;
pub use taxon::{BandsAnswer, CasebookAnswer, ClaimsAnswer, ConditionsAnswer, HazardAnswer, LeadUpAnswer, PlanAnswer};
