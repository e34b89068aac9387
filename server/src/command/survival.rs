//! `strandline survival TABLE`: curves, log-rank test and hazard ratios of anyone's table of episodes; no database.

use std::fmt::Write;
use std::path::PathBuf;

use analysis::refusal::{Part, Refusal};
use analysis::survival::Interval;
use analysis::table::{SurvivalRequest, TableCox, TableGroup, TableSurvival, table_survival};
use clap::{Args, ValueEnum};

use super::failure::Failure;
use super::table::{self, aligned, decimals, p_value, plain, short};

/// Arguments of `strandline survival`.
#[derive(Args)]
pub struct SurvivalArgs {
    /// Delimited text; its first row names the columns, each further row is one episode
    #[arg(value_name = "TABLE")]
    table: PathBuf,
    /// Column of the time at which each row starts, not included (late entry, changing conditions) [default: all start at 0]
    #[arg(long, value_name = "COLUMN")]
    start: Option<String>,
    /// Column of the time at which each row ends, included
    #[arg(long, value_name = "COLUMN")]
    stop: String,
    /// Column that says whether the row ends in death: 1, 0, true or false
    #[arg(long, value_name = "COLUMN")]
    event: String,
    /// Column of groups: a curve for each, and the log-rank test
    #[arg(long, value_name = "COLUMN")]
    by: Option<String>,
    /// Columns of the model of hazard ratios; words become categories
    #[arg(long, value_name = "COLUMN,…", value_delimiter = ',')]
    covariates: Vec<String>,
    /// Column of strata: hazards are compared within them only
    #[arg(long, value_name = "COLUMN")]
    strata: Option<String>,
    /// Column of clusters (tanks, keepers), whose rows may depend on each other
    #[arg(long, value_name = "COLUMN")]
    cluster: Option<String>,
    /// Print the mean time alive up to this time
    #[arg(long, value_name = "TIME", allow_negative_numbers = true)]
    horizon: Option<f64>,
    /// Let the curves begin at this time, among those alive then [default: the first entry]
    #[arg(long, value_name = "TIME", allow_negative_numbers = true)]
    from: Option<f64>,
    /// Scale of the curves' limits
    #[arg(long, value_enum, default_value_t = Scale::LogLog)]
    interval: Scale,
    /// Reference level of a category; makes a column of numbers a category [default: the first level, sorted]
    #[arg(long, value_name = "COLUMN=LEVEL", value_parser = parse_reference, requires = "covariates")]
    reference: Vec<(String, String)>,
    /// Refuse what rests on few rows, as for a club's answers
    #[arg(long)]
    minimums: bool,
    /// One JSON object
    #[arg(long)]
    json: bool,
}

#[derive(Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Scale {
    /// Within 0 and 1 by ln(-ln S)
    LogLog,
    /// By ln S
    Log,
    /// By S
    Plain,
}

impl Scale {
    const fn interval(self) -> Interval {
        match self {
            Scale::LogLog => Interval::LogLog,
            Scale::Log => Interval::Log,
            Scale::Plain => Interval::Plain,
        }
    }

    const fn name(self) -> &'static str {
        match self {
            Scale::LogLog => "log-log",
            Scale::Log => "log",
            Scale::Plain => "plain",
        }
    }
}

fn parse_reference(text: &str) -> Result<(String, String), String> {
    match text.split_once('=') {
        Some((column, level)) if !column.trim().is_empty() && !level.trim().is_empty() => {
            Ok((column.trim().to_owned(), level.trim().to_owned()))
        }
        _ => Err("write it as COLUMN=LEVEL".to_owned()),
    }
}

/// Prints the figures; what cannot be said is part of them.
pub fn run(args: &SurvivalArgs) -> Result<u8, Failure> {
    let request = SurvivalRequest {
        start: args.start.clone(),
        stop: args.stop.clone(),
        event: args.event.clone(),
        by: args.by.clone(),
        covariates: args.covariates.clone(),
        strata: args.strata.clone(),
        cluster: args.cluster.clone(),
        horizon: args.horizon,
        from: args.from,
        interval: args.interval.interval(),
        references: args.reference.clone(),
        minimums: args.minimums,
    };
    let single = [&args.start, &args.by, &args.strata, &args.cluster].into_iter().flatten();
    let wanted: Vec<&str> =
        [&args.stop, &args.event].into_iter().chain(single).chain(&args.covariates).map(String::as_str).collect();
    let table = table::read(&args.table, &wanted)?;
    let figures = table_survival(&table, &request).map_err(|error| table::failure(&args.table, &error))?;
    table::say(&args.table, &figures.notices);
    if args.json {
        return table::print(&table::json(&args.table, &figures)?);
    }
    let mut text = String::new();
    // Writing to a string does not fail.
    let _ = write_text(&mut text, args, &figures);
    table::print(&text)
}

fn write_text(out: &mut String, args: &SurvivalArgs, figures: &TableSurvival) -> std::fmt::Result {
    let (n, events) = figures.groups.iter().fold((0, 0), |(n, events), group| (n + group.n, events + group.events));
    writeln!(
        out,
        "{}: {n} rows, {events} deaths, {} rows left out for an empty cell",
        args.table.display(),
        figures.dropped_rows
    )?;
    for group in &figures.groups {
        write_group(out, args, group)?;
    }
    match &figures.log_rank {
        Some(Part::Given(test)) => {
            writeln!(
                out,
                "\nLog-rank test: chi-squared {:.4}, {} df, p {}",
                test.statistic,
                test.df,
                p_value(Some(test.p))
            )?;
        }
        Some(Part::Refused { refused }) => not_given(out, "\nLog-rank test", refused)?,
        None => {}
    }
    match &figures.cox {
        Some(Part::Given(cox)) => write_cox(out, args, cox)?,
        Some(Part::Refused { refused }) => not_given(out, "\nHazard ratios", refused)?,
        None => {}
    }
    match &figures.proportionality {
        Some(Part::Given(tests)) => {
            writeln!(out, "\nDo the ratios change with time (score test)")?;
            let mut lines = vec![words(&["covariate", "chi-squared", "df", "p"])];
            lines.extend(tests.iter().map(|test| {
                vec![plain(&test.name), format!("{:.4}", test.statistic), test.df.to_string(), p_value(Some(test.p))]
            }));
            out.push_str(&aligned(&lines));
        }
        // One reason is enough where the model itself is refused.
        Some(Part::Refused { refused }) if figures.cox.as_ref().is_some_and(|cox| cox.given().is_some()) => {
            not_given(out, "\nDo the ratios change with time", refused)?;
        }
        _ => {}
    }
    writeln!(out, "\nThese rows show what went together, not what would happen if something were changed.")
}

fn words(words: &[&str]) -> Vec<String> {
    words.iter().map(|word| (*word).to_owned()).collect()
}

fn not_given(out: &mut String, what: &str, refused: &Refusal) -> std::fmt::Result {
    writeln!(out, "{what}: not given. {}", plain(&refused.message))
}

fn write_group(out: &mut String, args: &SurvivalArgs, group: &TableGroup) -> std::fmt::Result {
    let name = match &args.by {
        Some(by) => format!("{} = {}", plain(by), plain(&group.group)),
        None => "All rows".to_owned(),
    };
    let smallest =
        group.smallest_risk_set.map_or_else(String::new, |n| format!(", at least {n} at risk at each death"));
    writeln!(
        out,
        "\n{name}: {} rows, {} deaths. Curve from {}, {} limits of 95 %{smallest}",
        group.n,
        group.events,
        short(group.start_time),
        args.interval.name()
    )?;
    match &group.curve {
        Part::Refused { refused } => not_given(out, "  Curve", refused)?,
        Part::Given(points) => {
            let mut lines = vec![words(&["time", "at risk", "deaths", "survival", "std error", "lower", "upper"])];
            lines.extend(points.iter().map(|point| {
                vec![
                    short(point.time),
                    point.at_risk.to_string(),
                    point.events.to_string(),
                    format!("{:.4}", point.survival),
                    decimals(point.std_error, 4),
                    decimals(point.lower, 4),
                    decimals(point.upper, 4),
                ]
            }));
            out.push_str(&aligned(&lines));
        }
    }
    // A curve that cannot be shown says why for the rest as well.
    let Part::Given(_) = &group.curve else { return Ok(()) };
    let time = |value: Option<f64>| value.map_or_else(|| "not reached".to_owned(), short);
    match &group.median {
        Part::Refused { refused } => not_given(out, "  Median", refused)?,
        Part::Given(median) => {
            writeln!(
                out,
                "  Median {} (95 %: {} to {})",
                time(median.estimate),
                time(median.lower),
                time(median.upper)
            )?;
        }
    }
    match &group.rmst {
        None => Ok(()),
        Some(Part::Refused { refused }) => not_given(out, "  Mean time alive", refused),
        Some(Part::Given(mean)) => {
            let std_error = decimals(mean.std_error, 4);
            writeln!(
                out,
                "  Mean time alive up to {}: {:.4} (std error {std_error})",
                short(mean.horizon),
                mean.estimate
            )?;
            let Some(less) = &mean.difference else { return Ok(()) };
            writeln!(
                out,
                "  Less that of {}: {:.4} (95 %: {:.4} to {:.4})",
                plain(&less.reference),
                less.estimate,
                less.lower,
                less.upper
            )
        }
    }
}

fn write_cox(out: &mut String, args: &SurvivalArgs, cox: &TableCox) -> std::fmt::Result {
    let limits = match &args.cluster {
        Some(cluster) => format!("limits and p allow for clusters of {}", plain(cluster)),
        None => "limits and p take rows as independent".to_owned(),
    };
    writeln!(out, "\nHazard ratios (Efron's ties, {limits})")?;
    let mut lines = vec![words(&["covariate", "ratio", "lower", "upper", "p", "coef", "std error"])];
    if args.cluster.is_some() {
        lines[0].push("robust".to_owned());
    }
    for own in &cox.coefficients {
        let mut line = vec![
            plain(&own.name),
            decimals(own.hazard_ratio, 4),
            decimals(own.lower, 4),
            decimals(own.upper, 4),
            p_value(own.p),
            decimals(own.coef, 4),
            decimals(own.std_error, 4),
        ];
        if args.cluster.is_some() {
            line.push(decimals(own.robust_std_error, 4));
        }
        lines.push(line);
    }
    out.push_str(&aligned(&lines));
    for own in &cox.coefficients {
        if let Some(refused) = &own.refused {
            not_given(out, &format!("  {}", plain(&own.name)), refused)?;
        }
    }
    writeln!(
        out,
        "  Log likelihood {:.4} at ratios of 1, {:.4} fitted, {} steps",
        cox.log_likelihood.at_zero, cox.log_likelihood.fitted, cox.iterations
    )?;
    match &cox.firth {
        None => Ok(()),
        Some(Part::Refused { refused }) => not_given(out, "\nPenalised hazard ratios", refused),
        Some(Part::Given(firth)) => {
            writeln!(out, "\nPenalised hazard ratios (Firth; crude limits, no clusters)")?;
            let mut lines = vec![words(&["covariate", "ratio", "lower", "upper", "p", "coef", "std error"])];
            lines.extend(firth.coefficients.iter().map(|own| {
                vec![
                    plain(&own.name),
                    format!("{:.4}", own.hazard_ratio),
                    format!("{:.4}", own.lower),
                    format!("{:.4}", own.upper),
                    p_value(Some(own.p)),
                    format!("{:.4}", own.coef),
                    format!("{:.4}", own.std_error),
                ]
            }));
            out.push_str(&aligned(&lines));
            Ok(())
        }
    }
}
