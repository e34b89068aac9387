//! The figures of any table of episodes or sizes, as `strandline survival` and `strandline growth` print them.
//!
//! A table is names and cells; the columns that hold times, events, groups and sizes are named by the caller. Nothing
//! here knows taxa, keepers or bands, and nothing is rounded. A cell that cannot be read is an error with its column,
//! row and line, never a row that silently disappears; only rows with an empty used cell are left out, and counted.
//!
//! ```
//! use analysis::table::{SurvivalRequest, Table, table_survival};
//!
//! let cells = [["5", "1"], ["8", "0"], ["9", "1"]];
//! let rows = (2..).zip(cells).map(|(line, row)| (line, row.map(str::to_owned).to_vec())).collect();
//! let table = Table::new(vec!["days".into(), "died".into()], rows, false)?;
//! let figures = table_survival(&table, &SurvivalRequest::new("days", "died"))?;
//! assert_eq!((figures.groups[0].n, figures.groups[0].events), (3, 2));
//! # Ok::<(), analysis::table::TableError>(())
//! ```

mod column; // names, cells, numbers and levels
mod error; // what is wrong with a table or a request, and where
mod growth; // growth rates by specimen and group
mod shape; // what is printed
mod survival; // curves, log-rank test and hazard ratios

pub use column::Table;
pub use error::{Fault, Notice, Place, TableError};
pub use growth::{GrowthRequest, table_growth};
pub use shape::{
    Day, TableChiSquared, TableCoefficient, TableCox, TableFirth, TableFirthCoefficient, TableGroup, TableGrowth,
    TableGrowthGroup, TableMean, TablePoint, TableProportionality, TableSpecimen, TableSurvival,
};
pub use survival::{SurvivalRequest, table_survival};

/// The group of all rows, where the table is not split.
pub const EVERYONE: &str = "all";

/// Coverage of all limits.
pub const LEVEL: f64 = 0.95;
