//! Every published case at its own tolerance: curves, tests, hazard ratios, causes, rates and slopes.
//!
//! The sources and licences of the numbers and data stand in `reference/README.md`.

#[path = "support/case.rs"]
mod case;

#[path = "support/case_table.rs"]
mod case_table;
#[path = "support/cox_cases.rs"]
mod cox_cases;
#[path = "support/curve_cases.rs"]
mod curve_cases;
#[path = "support/disclosure_cases.rs"]
mod disclosure_cases;
#[path = "support/growth_cases.rs"]
mod growth_cases;
#[path = "support/interval_cases.rs"]
mod interval_cases;
#[path = "support/rate_cases.rs"]
mod rate_cases;
#[path = "support/small_cases.rs"]
mod small_cases;
#[path = "support/test_cases.rs"]
mod test_cases;
