//! Tables of anyone's: published figures at their own tolerance, and what cannot be said or read.
//!
//! The sources and licences of the numbers and data stand in `reference/README.md`.

#[path = "support/case.rs"]
#[expect(dead_code, reason = "other tests read more of a case")]
mod case;

#[path = "support/table_degenerate.rs"]
mod degenerate;
#[path = "support/table_growth.rs"]
mod growth;
#[path = "support/table_reference.rs"]
mod reference;

use analysis::table::{SurvivalRequest, Table, TableError, TableSurvival, table_survival};

/// A table of CSV text; no cell holds a separator.
fn table(text: &str) -> Result<Table, TableError> {
    let mut lines = (1..).zip(text.trim().lines());
    let split = |line: &str| line.trim().split(',').map(str::to_owned).collect::<Vec<_>>();
    let names = lines.next().map(|(_, header)| split(header)).unwrap_or_default();
    Table::new(names, lines.map(|(number, line)| (number, split(line))).collect(), false)
}

/// The figures of a request for the columns `time` and `died`, changed by `change`.
fn survival(text: &str, change: impl FnOnce(&mut SurvivalRequest)) -> Result<TableSurvival, TableError> {
    let mut request = SurvivalRequest::new("time", "died");
    change(&mut request);
    table_survival(&table(text)?, &request)
}
