//! `strandline growth TABLE`: growth rates of anyone's table of repeated sizes; no database.

use std::fmt::Write;
use std::path::PathBuf;

use analysis::table::{Day, GrowthRequest, TableGrowth, table_growth};
use clap::Args;

use super::failure::Failure;
use super::table::{self, aligned, decimals, plain, short};

/// Arguments of `strandline growth`.
#[derive(Args)]
pub struct GrowthArgs {
    /// Delimited text; its first row names the columns, each further row is one size
    #[arg(value_name = "TABLE")]
    table: PathBuf,
    /// Column of the specimen; a piece that was cut has a name of its own from then on
    #[arg(long, value_name = "COLUMN")]
    specimen: String,
    /// Column of the day: a number of days, or days like 2025-03-04
    #[arg(long, value_name = "COLUMN")]
    day: String,
    /// Column of the size: one measure and one basis throughout
    #[arg(long, value_name = "COLUMN")]
    size: String,
    /// Column of the tank: limits then allow for specimens that share one
    #[arg(long, value_name = "COLUMN")]
    tank: Option<String>,
    /// Column of groups
    #[arg(long, value_name = "COLUMN")]
    by: Option<String>,
    /// One JSON object
    #[arg(long)]
    json: bool,
}

/// Prints the rates; what cannot be said is part of them.
pub fn run(args: &GrowthArgs) -> Result<u8, Failure> {
    let request = GrowthRequest {
        specimen: args.specimen.clone(),
        day: args.day.clone(),
        size: args.size.clone(),
        tank: args.tank.clone(),
        by: args.by.clone(),
    };
    let optional = [&args.tank, &args.by].into_iter().flatten();
    let wanted: Vec<&str> =
        [&args.specimen, &args.day, &args.size].into_iter().chain(optional).map(String::as_str).collect();
    let table = table::read(&args.table, &wanted)?;
    let rates = table_growth(&table, &request).map_err(|error| table::failure(&args.table, &error))?;
    table::say(&args.table, &rates.notices);
    if args.json {
        return table::print(&table::json(&args.table, &rates)?);
    }
    let mut text = String::new();
    // Writing to a string does not fail.
    let _ = write_text(&mut text, args, &rates);
    table::print(&text)
}

fn write_text(out: &mut String, args: &GrowthArgs, rates: &TableGrowth) -> std::fmt::Result {
    let sizes: u64 = rates.specimens.iter().map(|one| one.n).sum();
    writeln!(out, "{}: {sizes} sizes of {} specimens", args.table.display(), rates.specimens.len())?;
    writeln!(out, "\nSpecific growth rate (least squares of ln size, % a day, limits of 95 %)")?;
    let header = ["specimen", "group", "sizes", "first day", "last day", "% a day", "lower", "upper"];
    let mut lines = vec![header.map(str::to_owned).to_vec()];
    for one in &rates.specimens {
        lines.push(vec![
            plain(&one.specimen),
            plain(&one.group),
            one.n.to_string(),
            day(one.first),
            day(one.last),
            decimals(one.sgr_percent_per_day, 4),
            decimals(one.lower, 4),
            decimals(one.upper, 4),
        ]);
    }
    out.push_str(&aligned(&lines));
    let how = match rates.model.kind {
        "reml" => "mixed model by restricted likelihood, limits by Student's t",
        _ => "median of the specimens' median slopes, limits by drawing tanks",
    };
    writeln!(out, "\nSlope of ln size a month of 30.4375 days ({how})")?;
    if !rates.model.dropped.is_empty() {
        writeln!(out, "Terms that could not be told from 0 were dropped: {}", rates.model.dropped.join(", "))?;
    }
    let header =
        ["group", "specimens", "tanks", "slope a month", "std. error", "df", "lower", "upper", "size after a month"];
    let mut lines = vec![header.map(str::to_owned).to_vec()];
    for group in &rates.groups {
        lines.push(vec![
            plain(&group.group),
            group.specimens.to_string(),
            group.tanks.map_or_else(|| "–".to_owned(), |tanks| tanks.to_string()),
            decimals(group.slope_per_month, 4),
            decimals(group.std_error, 4),
            decimals(group.df, 1),
            decimals(group.lower, 4),
            decimals(group.upper, 4),
            group.ratio_per_month.map_or_else(|| "–".to_owned(), |ratio| format!("{:.2} %", 100.0 * ratio)),
        ]);
    }
    out.push_str(&aligned(&lines));
    if !rates.refusals.is_empty() {
        writeln!(out, "\nNot given")?;
        for refusal in &rates.refusals {
            writeln!(out, "  {}", plain(&refusal.refusal.message))?;
        }
    }
    writeln!(out, "\nSpecimens that die stop being measured: read growth beside survival.")
}

fn day(day: Day) -> String {
    match day {
        Day::Number(number) => short(number),
        Day::Date(date) => date.to_string(),
    }
}
