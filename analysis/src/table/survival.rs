//! Curves, log-rank test and hazard ratios of a table of episodes.
//!
//! What is small is only refused on request (`minimums`); what cannot be computed is always refused. Clusters enter the
//! limits and p of hazard ratios, not those of curves or of the log-rank test.

use std::collections::BTreeSet;

use super::EVERYONE;
use super::column::{Kept, Table, listed, shown};
use super::error::{Notice, TableError};
use super::shape::{TableChiSquared, TableSurvival};
use crate::episode::{Episodes, RowFault};
use crate::evidence::minimums;
use crate::refusal::{Part, Refusal, RefusalCode};
use crate::survival::{Interval, log_rank};

mod curve; // one group: curve, median, restricted mean
mod model; // columns to covariates, hazard ratios, proportionality

use curve::Curves;

/// What is asked of a table of episodes. Columns are given by name.
#[derive(Debug, Clone, PartialEq)]
pub struct SurvivalRequest {
    /// Start of each row, not included; 0 if absent.
    pub start: Option<String>,
    /// End of each row, included.
    pub stop: String,
    /// Whether the row ends in death: 1, 0, true or false.
    pub event: String,
    /// Groups of the curves and of the log-rank test.
    pub by: Option<String>,
    /// Covariates of the model.
    pub covariates: Vec<String>,
    /// Hazards are compared within strata only, in the log-rank test and in the model.
    pub strata: Option<String>,
    /// Rows of one cluster may depend on each other.
    pub cluster: Option<String>,
    /// Horizon of the restricted mean.
    pub horizon: Option<f64>,
    /// Start of the curves; the first entry of each group if absent.
    pub from: Option<f64>,
    /// Scale of the curves' limits.
    pub interval: Interval,
    /// Reference levels of categories, as (column, level); the first sorted level otherwise. Naming one makes a column of
    /// numbers a category.
    pub references: Vec<(String, String)>,
    /// Refuse what rests on few rows.
    pub minimums: bool,
}

impl SurvivalRequest {
    /// Curves of all rows.
    pub fn new(stop: impl Into<String>, event: impl Into<String>) -> SurvivalRequest {
        SurvivalRequest {
            start: None,
            stop: stop.into(),
            event: event.into(),
            by: None,
            covariates: Vec::new(),
            strata: None,
            cluster: None,
            horizon: None,
            from: None,
            interval: Interval::LogLog,
            references: Vec::new(),
            minimums: false,
        }
    }
}

/// The usable rows of a table.
struct Rows {
    episodes: Episodes,
    kept: Kept,
    /// Group of each row and names of the groups, also of those without a usable row.
    group: Vec<u32>,
    groups: Vec<String>,
    strata: Option<Vec<u32>>,
    cluster: Option<Vec<u32>>,
}

/// The figures that are asked for.
///
/// # Errors
/// A column or level that does not exist, a number out of range; a cell that cannot be read, a row that does not end
/// after its start, a table without a usable row. A figure that cannot be given is a refusal in its place, not an error.
pub fn table_survival(table: &Table, request: &SurvivalRequest) -> Result<TableSurvival, TableError> {
    check_numbers(request)?;
    let columns = Columns::find(table, request)?;
    let rows = read(table, &columns)?;
    let mut notices = Vec::new();
    if rows.kept.dropped > 0 {
        notices.push(dropped(&rows.kept));
    }
    if rows.strata.is_some() && request.by.is_none() && request.covariates.is_empty() {
        notices.push(unused("strata", "groups or covariates"));
    }
    if rows.cluster.is_some() && request.covariates.is_empty() {
        notices.push(unused("clusters", "covariates"));
    }
    let curves = Curves::new(&rows, request, &mut notices);
    let test = columns.by.map(|_| log_rank_part(&rows, request, &mut notices));
    let model = if columns.covariates.is_empty() {
        None
    } else {
        let design = model::design(table, request, &columns.covariates, &rows.kept.rows)?;
        Some(model::fit(&design, &rows, request.minimums, &mut notices))
    };
    let (cox, proportionality) =
        model.map_or((None, None), |(cox, proportionality)| (Some(cox), Some(proportionality)));
    Ok(TableSurvival {
        groups: curves.parts(request),
        log_rank: test.map(Part::from),
        cox,
        proportionality,
        dropped_rows: rows.kept.dropped,
        notices,
    })
}

fn check_numbers(request: &SurvivalRequest) -> Result<(), TableError> {
    if let Some(horizon) = request.horizon.filter(|horizon| !(horizon.is_finite() && *horizon > 0.0)) {
        return Err(TableError::request(
            format!("the horizon {horizon} is not a time after 0"),
            "give a number above 0",
        ));
    }
    if let Some(from) = request.from.filter(|from| !(from.is_finite() && *from >= 0.0)) {
        return Err(TableError::request(
            format!("the start {from} of the curves is not a time"),
            "give a number from 0 on",
        ));
    }
    Ok(())
}

/// Positions of the named columns.
struct Columns {
    start: Option<usize>,
    stop: usize,
    event: usize,
    by: Option<usize>,
    covariates: Vec<usize>,
    strata: Option<usize>,
    cluster: Option<usize>,
}

impl Columns {
    fn find(table: &Table, request: &SurvivalRequest) -> Result<Columns, TableError> {
        let maybe = |name: &Option<String>| name.as_deref().map(|name| table.column(name)).transpose();
        let covariates: Vec<usize> =
            request.covariates.iter().map(|name| table.column(name)).collect::<Result<_, _>>()?;
        let mut seen = BTreeSet::new();
        if let Some(&twice) = covariates.iter().find(|column| !seen.insert(**column)) {
            return Err(TableError::request(
                format!("the covariate '{}' is named twice", table.name(twice)),
                "name it once",
            ));
        }
        Ok(Columns {
            start: maybe(&request.start)?,
            stop: table.column(&request.stop)?,
            event: table.column(&request.event)?,
            by: maybe(&request.by)?,
            covariates,
            strata: maybe(&request.strata)?,
            cluster: maybe(&request.cluster)?,
        })
    }

    fn used(&self) -> Vec<usize> {
        [self.start, Some(self.stop), Some(self.event), self.by, self.strata, self.cluster]
            .into_iter()
            .flatten()
            .chain(self.covariates.iter().copied())
            .collect()
    }
}

fn read(table: &Table, columns: &Columns) -> Result<Rows, TableError> {
    let kept = table.complete(&columns.used())?;
    let start = match columns.start {
        Some(column) => times(table, column, &kept.rows)?,
        None => vec![0.0; kept.rows.len()],
    };
    let stop = times(table, columns.stop, &kept.rows)?;
    let event = events(table, columns.event, &kept.rows)?;
    let episodes = Episodes::validated(start, stop, event).map_err(|invalid| {
        let row = kept.rows[invalid.row];
        let what = match invalid.reason {
            RowFault::EndsBeforeStart { start, stop } if start == stop => {
                format!("the row starts and ends at {stop}, so that nothing can happen in it")
            }
            RowFault::EndsBeforeStart { start, stop } => format!("the row ends at {stop}, before its start at {start}"),
            other => other.to_string(),
        };
        let remedy = "correct start or end; let a death on the day of entry end half a day after its start";
        TableError::data(what, table.place(columns.stop, row), remedy)
    })?;
    // Levels of rows that are left out stay groups, without rows: what vanished is said.
    let (group, groups) = match columns.by {
        Some(column) => {
            let levels = table.levels(column, 0..table.rows());
            (table.codes(column, &kept.rows, &levels), levels)
        }
        None => (vec![0; kept.rows.len()], vec![EVERYONE.to_owned()]),
    };
    let coded = |column: Option<usize>| column.map(|column| table.coded(column, &kept.rows).0);
    Ok(Rows { episodes, group, groups, strata: coded(columns.strata), cluster: coded(columns.cluster), kept })
}

fn times(table: &Table, column: usize, rows: &[usize]) -> Result<Vec<f64>, TableError> {
    let times = table.numbers(column, rows)?;
    match times.iter().position(|time| *time < 0.0) {
        None => Ok(times),
        Some(at) => Err(TableError::data(
            format!("the time {} is before 0", times[at]),
            table.place(column, rows[at]),
            "count times from the day on which each specimen came, or from another first day",
        )),
    }
}

fn events(table: &Table, column: usize, rows: &[usize]) -> Result<Vec<bool>, TableError> {
    rows.iter()
        .map(|&row| {
            let cell = table.cell(column, row);
            let number = table.parse(cell);
            if number == Some(1.0) || cell.eq_ignore_ascii_case("true") {
                Ok(true)
            } else if number == Some(0.0) || cell.eq_ignore_ascii_case("false") {
                Ok(false)
            } else {
                Err(TableError::data(
                    format!("'{}' is not 0, 1, true or false", shown(cell)),
                    table.place(column, row),
                    "write 1 or true for a row that ends in death, 0 or false for one that does not",
                ))
            }
        })
        .collect()
}

/// Says how many rows are left out, and for which columns.
pub(super) fn dropped(kept: &Kept) -> Notice {
    let rows = if kept.dropped == 1 {
        "1 row with an empty cell is left out".to_owned()
    } else {
        format!("{} rows with an empty cell are left out", kept.dropped)
    };
    Notice::new(rows, format!("fill in {} to count them", listed(&kept.empty_in)))
}

fn unused(what: &str, lacking: &str) -> Notice {
    Notice::new(format!("the {what} change nothing here"), format!("name {lacking} too, or leave them out"))
}

/// A refusal for fewer deaths than a figure should have.
fn too_few_deaths(have: u64, need: u64, figure: &str) -> Refusal {
    let code = if have == 0 { RefusalCode::NoEvents } else { RefusalCode::TooFewEvents };
    Refusal::counted(code, have as f64, need as f64, format!("{figure} needs {need} deaths; there are {have}."))
}

fn log_rank_part(
    rows: &Rows,
    request: &SurvivalRequest,
    notices: &mut Vec<Notice>,
) -> Result<TableChiSquared, Refusal> {
    let deaths = rows.episodes.deaths();
    if request.minimums && deaths < minimums::TEST_DEATHS {
        return Err(too_few_deaths(deaths, minimums::TEST_DEATHS, "The log-rank test"));
    }
    let test = log_rank(&rows.episodes, &rows.group, rows.groups.len(), rows.strata.as_deref(), 0.0)
        .map_err(|refused| in_words(refused, rows))?;
    for &group in &test.never_at_risk {
        notices.push(Notice::new(
            format!("group {} is not in the log-rank test", shown(&rows.groups[group])),
            "none of its rows was at risk when somebody died",
        ));
    }
    if request.minimums {
        let few = test.groups.iter().zip(&rows.groups).find(|(group, _)| group.expected < minimums::TEST_EXPECTED);
        if let Some((group, name)) = few {
            return Err(Refusal::counted(
                RefusalCode::TooFewEvents,
                group.expected,
                minimums::TEST_EXPECTED,
                format!(
                    "The log-rank test needs {} expected deaths in each group; group {} has {:.2}.",
                    minimums::TEST_EXPECTED,
                    shown(name),
                    group.expected
                ),
            ));
        }
    }
    Ok(TableChiSquared { statistic: test.statistic, df: test.df as u64, p: test.p })
}

/// The test knows numbers of groups only.
fn in_words(refused: Refusal, rows: &Rows) -> Refusal {
    let message = match refused.code {
        RefusalCode::NoEvents => "Nobody died: there is nothing to compare.".to_owned(),
        RefusalCode::EmptyGroup if rows.groups.len() < 2 => {
            format!("There is one group only, {}: there is nothing to compare it with.", listed(&rows.groups))
        }
        RefusalCode::EmptyGroup => "Fewer than two groups had a row at risk when somebody died.".to_owned(),
        RefusalCode::Singular => {
            "At every death one group alone was at risk, or all at risk died: the groups cannot be compared.".to_owned()
        }
        _ => refused.message,
    };
    Refusal { message, ..refused }
}
