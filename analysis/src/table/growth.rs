//! Growth rates of a table of repeated sizes, by specimen and by group.
//!
//! All sizes must be of one measure and basis; a piece that was cut is a specimen of its own from the cut on. With enough
//! specimens and named tanks one mixed model gives each group its slope; otherwise it is the median of its specimens' median
//! slopes, with limits from drawing whole tanks.

use std::collections::BTreeMap;

use chrono::NaiveDate;

use super::column::{Kept, Table, shown};
use super::error::{Notice, TableError};
use super::shape::{Day, TableGrowth, TableGrowthGroup, TableSpecimen};
use super::survival::dropped;
use super::{EVERYONE, LEVEL};
use crate::answer::{GrowthModel, PlacedRefusal};
use crate::growth::{
    Contrast, GroupModel, Series, SpecificGrowthRate, group_model, group_slope, specific_growth_rate, theil_sen,
    unexplained_falls,
};
use crate::refusal::{Part, Refusal};

/// Days of a month.
const MONTH_DAYS: f64 = 30.4375;

/// What is asked of a table of sizes. Columns are given by name.
#[derive(Debug, Clone, PartialEq)]
pub struct GrowthRequest {
    /// Whose size it is.
    pub specimen: String,
    /// When: a number of days, or a calendar day as 2025-03-04.
    pub day: String,
    /// Size, in any one unit.
    pub size: String,
    /// In which tank.
    pub tank: Option<String>,
    /// Groups.
    pub by: Option<String>,
}

/// The growth of every specimen and group.
///
/// # Errors
/// A column that does not exist; a cell that cannot be read, a size that is not above 0, a specimen in two groups, a
/// table without a usable row. A rate that cannot be given is `null`, and a refusal says why.
pub fn table_growth(table: &Table, request: &GrowthRequest) -> Result<TableGrowth, TableError> {
    let maybe = |name: &Option<String>| name.as_deref().map(|name| table.column(name)).transpose();
    let (specimen, day, size) =
        (table.column(&request.specimen)?, table.column(&request.day)?, table.column(&request.size)?);
    let (tank, by) = (maybe(&request.tank)?, maybe(&request.by)?);
    let used: Vec<usize> = [Some(specimen), Some(day), Some(size), tank, by].into_iter().flatten().collect();
    let kept = table.complete(&used)?;
    let days = days(table, day, &kept.rows)?;
    let sizes = sizes(table, size, &kept.rows)?;
    let mut growth = Growth { refusals: Vec::new(), notices: Vec::new() };
    if kept.dropped > 0 {
        growth.notices.push(dropped(&kept));
    }
    let groups = by.map_or_else(|| vec![EVERYONE.to_owned()], |by| table.levels(by, 0..table.rows()));
    let followed = growth.follow(table, &Named { specimen, tank, by }, &kept, &days, &sizes)?;
    // Without tanks a model could not tell a tank's level from its specimens'.
    let fitted = if tank.is_some() { growth.fit(&groups, &followed) } else { None };
    let group_part = |(at, name): (usize, &String)| {
        let slope = fitted.as_ref().and_then(|fitted| fitted.slopes[at]);
        growth.group(name, &followed, tank.is_some(), slope.as_ref())
    };
    let group_parts = groups.iter().enumerate().map(group_part).collect();
    let specimens = followed
        .into_iter()
        .map(|one| TableSpecimen {
            n: one.n,
            first: one.first,
            last: one.last,
            sgr_percent_per_day: one.rate.map(|rate| rate.sgr_percent_per_day),
            lower: one.rate.and_then(|rate| rate.lower),
            upper: one.rate.and_then(|rate| rate.upper),
            specimen: one.name,
            group: one.group,
        })
        .collect();
    Ok(TableGrowth {
        specimens,
        groups: group_parts,
        model: fitted.as_ref().map_or_else(|| GrowthModel::plain("theil_sen"), GrowthModel::reml),
        refusals: growth.refusals,
        notices: growth.notices,
    })
}

/// Positions of the columns that name things.
struct Named {
    specimen: usize,
    tank: Option<usize>,
    by: Option<usize>,
}

/// One specimen with its sizes in the order of days.
struct Followed {
    name: String,
    group: String,
    /// Number of the tank of its first size, or its own number.
    tank: u32,
    n: u64,
    first: Day,
    last: Day,
    rate: Option<SpecificGrowthRate>,
    /// Median slope of ln size per month, where there is a rate.
    slope: Option<f64>,
    days: Vec<f64>,
    sizes: Vec<f64>,
}

/// What is said beside the figures while they are made.
struct Growth {
    refusals: Vec<PlacedRefusal>,
    notices: Vec<Notice>,
}

impl Growth {
    fn follow(
        &mut self,
        table: &Table,
        columns: &Named,
        kept: &Kept,
        days: &[Dated],
        sizes: &[f64],
    ) -> Result<Vec<Followed>, TableError> {
        let (specimen, names) = table.coded(columns.specimen, &kept.rows);
        let tanks = columns.tank.map(|tank| table.coded(tank, &kept.rows).0);
        let mut by_specimen: BTreeMap<u32, Vec<usize>> = BTreeMap::new();
        for (at, code) in specimen.iter().enumerate() {
            by_specimen.entry(*code).or_default().push(at);
        }
        let mut moved = 0u64;
        let mut followed = Vec::with_capacity(names.len());
        for (code, mut at) in by_specimen {
            at.sort_by(|&a, &b| days[a].number.total_cmp(&days[b].number).then(a.cmp(&b)));
            let group = one_group(table, columns, kept, &at, &names[code as usize])?;
            let tank = tanks.as_ref().map(|tanks| tanks[at[0]]);
            moved += u64::from(tanks.as_ref().is_some_and(|tanks| at.iter().any(|&at| Some(tanks[at]) != tank)));
            let name = &names[code as usize];
            let own_days: Vec<f64> = at.iter().map(|&at| days[at].number).collect();
            let own_sizes: Vec<f64> = at.iter().map(|&at| sizes[at]).collect();
            for fall in unexplained_falls(&own_sizes) {
                self.notices.push(Notice {
                    what: format!(
                        "the size of {} falls from {} to {}",
                        shown(name),
                        own_sizes[fall - 1],
                        own_sizes[fall]
                    ),
                    place: table.row_place(kept.rows[at[fall]]),
                    remedy: "if it was cut or broken, give the piece that is left a name of its own from then on"
                        .into(),
                });
            }
            let rate = specific_growth_rate(&own_days, &own_sizes, LEVEL)
                .map_err(|refused| self.refuse(format!("specimens/{name}"), named(name, refused)))
                .ok();
            let slope = rate.and_then(|_| self.median_slope(name, &own_days, &own_sizes));
            followed.push(Followed {
                name: name.clone(),
                group,
                tank: tank.unwrap_or(code),
                n: at.len() as u64,
                first: days[at[0]].day,
                last: days[at[at.len() - 1]].day,
                rate,
                slope,
                days: own_days,
                sizes: own_sizes,
            });
        }
        if moved > 0 {
            self.notices.push(Notice::new(
                format!("specimens that changed tank ({moved}) count in the tank of their first size"),
                "give a specimen another name in its new tank to count it there",
            ));
        }
        Ok(followed)
    }

    /// Median slope of ln size per month, days counted from the first size.
    fn median_slope(&mut self, name: &str, days: &[f64], sizes: &[f64]) -> Option<f64> {
        let months: Vec<f64> = days.iter().map(|day| (day - days[0]) / MONTH_DAYS).collect();
        let logs: Vec<f64> = sizes.iter().map(|size| size.ln()).collect();
        match theil_sen(&months, &logs, LEVEL) {
            Ok(line) => Some(line.slope),
            Err(refused) => {
                self.refuse(format!("specimens/{name}"), named(name, refused));
                None
            }
        }
    }

    /// One mixed model of all specimens with a rate; where there are too few, it is said what is lacking.
    fn fit(&mut self, groups: &[String], followed: &[Followed]) -> Option<GroupModel> {
        let series: Vec<Series> = followed
            .iter()
            .filter(|one| one.slope.is_some())
            .filter_map(|one| {
                let group = groups.iter().position(|name| *name == one.group)?;
                Some(Series { group, tank: one.tank, days: &one.days, sizes: &one.sizes })
            })
            .collect();
        match group_model(&series, groups.len(), LEVEL) {
            Ok(fitted) => Some(fitted),
            Err(refused) => {
                let message = format!("Slopes of groups are medians: {}.", refused.message);
                self.refuse("model".into(), Refusal { message, ..refused });
                None
            }
        }
    }

    fn group(
        &mut self,
        name: &str,
        followed: &[Followed],
        has_tanks: bool,
        modelled: Option<&Contrast>,
    ) -> TableGrowthGroup {
        let of_group = followed.iter().filter(|one| one.group == name);
        let (slopes, tanks): (Vec<f64>, Vec<u32>) =
            of_group.filter_map(|one| one.slope.map(|slope| (slope, one.tank))).unzip();
        let mut part = TableGrowthGroup {
            group: name.to_owned(),
            specimens: slopes.len() as u64,
            tanks: has_tanks.then_some(0),
            slope_per_month: None,
            std_error: None,
            df: None,
            lower: None,
            upper: None,
            ratio_per_month: None,
        };
        if let Some(slope) = modelled {
            let mut of_group = tanks.clone();
            of_group.sort_unstable();
            of_group.dedup();
            part.tanks = Some(of_group.len() as u64);
            part.slope_per_month = Some(slope.estimate);
            part.std_error = Some(slope.std_error);
            part.df = Some(slope.df);
            part.lower = Some(slope.lower);
            part.upper = Some(slope.upper);
            part.ratio_per_month = Some(slope.estimate.exp());
            return part;
        }
        let usual = match group_slope(&slopes, &tanks, seed(&slopes, &tanks), LEVEL) {
            Ok(usual) => usual,
            Err(refused) => {
                self.refuse(format!("groups/{name}"), named(name, refused));
                return part;
            }
        };
        part.tanks = has_tanks.then_some(usual.tanks as u64);
        part.slope_per_month = Some(usual.slope);
        part.ratio_per_month = Some(usual.slope.exp());
        match usual.limits {
            Part::Given(limits) => {
                part.lower = Some(limits.lower);
                part.upper = Some(limits.upper);
                if !has_tanks {
                    self.notices.push(Notice::new(
                        format!(
                            "the limits of {} do not allow for specimens that share a tank, and may be too narrow",
                            shown(name)
                        ),
                        "name the column of tanks, with --tank",
                    ));
                }
            }
            Part::Refused { refused } => self.refuse(format!("groups/{name}/limits"), named(name, refused)),
        }
        part
    }

    fn refuse(&mut self, key: String, refusal: Refusal) {
        self.refusals.push(PlacedRefusal { key, refusal });
    }
}

/// The refusal with the name of what it is about.
fn named(name: &str, refused: Refusal) -> Refusal {
    Refusal { message: format!("{}: {}.", shown(name), refused.message), ..refused }
}

/// The group of a specimen.
///
/// # Errors
/// Its rows are in two groups.
fn one_group(table: &Table, columns: &Named, kept: &Kept, at: &[usize], name: &str) -> Result<String, TableError> {
    let Some(by) = columns.by else { return Ok(EVERYONE.to_owned()) };
    let cell = |at: usize| table.cell(by, kept.rows[at]);
    let group = cell(at[0]);
    match at.iter().find(|&&at| cell(at) != group) {
        None => Ok(group.to_owned()),
        Some(&odd) => Err(TableError::data(
            format!(
                "specimen {} is in group '{}' here and in group '{}' before",
                shown(name),
                shown(cell(odd)),
                shown(group)
            ),
            table.place(by, kept.rows[odd]),
            "give each specimen one group, or another name from the change on",
        )),
    }
}

/// A day as printed, and as a number of days.
struct Dated {
    day: Day,
    number: f64,
}

/// The days of a column: calendar days if every cell is one, else numbers.
fn days(table: &Table, column: usize, rows: &[usize]) -> Result<Vec<Dated>, TableError> {
    let date = |row: usize| NaiveDate::parse_from_str(table.cell(column, row), "%Y-%m-%d").ok();
    let looks_like_dates = rows.iter().any(|&row| date(row).is_some());
    if looks_like_dates {
        let epoch = NaiveDate::default();
        return rows
            .iter()
            .map(|&row| match date(row) {
                Some(day) => Ok(Dated { day: Day::Date(day), number: (day - epoch).num_days() as f64 }),
                None => Err(TableError::data(
                    format!(
                        "'{}' is not a day like 2025-03-04, as other cells of the column are",
                        shown(table.cell(column, row))
                    ),
                    table.place(column, row),
                    "write all days alike, or leave the cell empty to leave the row out",
                )),
            })
            .collect();
    }
    let numbers = table.numbers(column, rows)?;
    Ok(numbers.into_iter().map(|number| Dated { day: Day::Number(number), number }).collect())
}

fn sizes(table: &Table, column: usize, rows: &[usize]) -> Result<Vec<f64>, TableError> {
    let sizes = table.numbers(column, rows)?;
    match sizes.iter().position(|size| *size <= 0.0) {
        None => Ok(sizes),
        Some(at) => Err(TableError::data(
            format!("the size {} is not above 0", sizes[at]),
            table.place(column, rows[at]),
            "correct the size; leave it empty for a specimen that was not measured or is dead",
        )),
    }
}

/// A seed that depends on the figures only: the same table gives the same limits (FNV-1a over the bits).
fn seed(slopes: &[f64], tanks: &[u32]) -> u64 {
    let numbers = slopes.iter().map(|slope| slope.to_bits()).chain(tanks.iter().map(|tank| u64::from(*tank)));
    numbers
        .flat_map(u64::to_le_bytes)
        .fold(0xcbf2_9ce4_8422_2325, |hash, byte| (hash ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3))
}
