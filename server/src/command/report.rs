//! `strandline report TAXON`: what the club's records say of a taxon, as Markdown or JSON.

use std::fmt::Write;

use analysis::answer::{self, Audience, By, GrowthAnswer, GrowthQuestion, Outcome, Question, SurvivalAnswer};
use analysis::refusal::Part;
use analysis::vocabulary::{ParameterCode, TaxonSlug, catalogue};
use clap::{Args, ValueEnum};
use serde::Serialize;

use crate::access::Scope;
use crate::config::Config;

use super::answer_text::percent;
use super::database;
use super::failure::Failure;
use super::output::{put, put_text};

/// Arguments of `strandline report`.
#[derive(Args)]
pub struct ReportArgs {
    /// The taxon: a slug such as goniopora or acropora-millepora
    taxon: String,
    /// Form of the report
    #[arg(long, value_enum, default_value_t = Form::Md)]
    format: Form,
    /// Conditions to compare inside the taught band with outside
    #[arg(long, value_delimiter = ',', default_value = "nitrate,phosphate,alkalinity,temperature,salinity")]
    by: Vec<String>,
}

#[derive(Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Form {
    Md,
    Json,
}

/// The answers a report is made of. Curators' figures: not for passing on as they stand.
#[derive(Serialize)]
struct Report {
    survival: SurvivalAnswer,
    conditions: Vec<SurvivalAnswer>,
    feeding: SurvivalAnswer,
    growth: GrowthAnswer,
    cautions: Vec<&'static str>,
}

/// Prints the report.
pub fn run(config: &Config, args: &ReportArgs) -> Result<u8, Failure> {
    let taxon = TaxonSlug::parse(&args.taxon).ok_or_else(|| unknown_taxon(&args.taxon))?;
    let conditions = args
        .by
        .iter()
        .map(|code| {
            ParameterCode::parse(code).ok_or_else(|| {
                Failure::usage(format!("no parameter is called that, --by {code}: see /api/v1/parameters"))
            })
        })
        .collect::<Result<Vec<_>, _>>()?;
    let database = database::open(config)?;
    let snapshot = crate::answer::club(&mut *database.connection()?, &Scope::of_operator())?;
    database.close()?;
    let stamp = snapshot.stamp();
    let asked = |by| {
        let question =
            Question { taxon, outcome: Outcome::Death, by, edges: None, given: None, horizon_days: 365.0, since: None };
        answer::survival(&snapshot.club, &question, Audience::Curator, &stamp)
    };
    let growth = GrowthQuestion { taxon, by: By::None, edges: None, since: None };
    let report = Report {
        survival: asked(By::None),
        conditions: conditions.into_iter().map(|code| asked(By::Parameter(code))).collect(),
        feeding: asked(By::Feeding),
        growth: answer::growth(&snapshot.club, &growth, Audience::Curator, &stamp),
        cautions: CAUTIONS.to_vec(),
    };
    match args.format {
        Form::Md => put_text(&markdown(&report))?,
        Form::Json => put(serde_json::to_string(&report)
            .map_err(|error| Failure::place(format!("cannot print ({error}), report: report this")))?)?,
    }
    Ok(0)
}

const CAUTIONS: [&str; 3] = [
    "Members chose their water, their corals and what they wrote down; what went together need not be cause and effect.",
    "Never change water, dose or buy corals to fill a gap in the records.",
    "For sick animals ask a vet with aquatic practice; local rules and licensed practice go before anything printed here.",
];

fn unknown_taxon(asked: &str) -> Failure {
    let nearest = catalogue()
        .taxa()
        .iter()
        .map(|taxon| taxon.slug.as_str())
        .max_by(|a, b| strsim::jaro_winkler(a, asked).total_cmp(&strsim::jaro_winkler(b, asked)));
    Failure::usage(format!("no taxon is called that, {asked}: did you mean {}?", nearest.unwrap_or("goniopora")))
}

fn markdown(report: &Report) -> String {
    let mut text = String::new();
    // Writing to a string cannot fail.
    let _ = write_markdown(&mut text, report);
    text
}

fn write_markdown(out: &mut String, report: &Report) -> std::fmt::Result {
    let answer = &report.survival;
    writeln!(out, "# {}\n", answer.taxon.name)?;
    for step in &answer.taxon.fallback {
        writeln!(out, "Not answered for {}: {}\n", step.taxon, step.refused.message)?;
    }
    let mix: Vec<String> = answer.taxon.mix.iter().map(|line| format!("{} {}", line.specimens, line.name)).collect();
    if !mix.is_empty() {
        writeln!(out, "On record: {}.\n", mix.join(", "))?;
    }
    match &answer.evidence {
        Part::Given(evidence) => writeln!(
            out,
            "In the figures: {} specimens in {} tanks of {} keepers, {} deaths in {:.0} coral-days. Left out: {}.\n",
            evidence.specimens,
            evidence.tanks,
            evidence.keepers,
            evidence.deaths,
            evidence.specimen_days,
            evidence.left_out.map_or(0, |out| out.total())
        )?,
        Part::Refused { refused } => writeln!(out, "{}\n", refused.message)?,
    }
    match &answer.result {
        Part::Refused { refused } => writeln!(out, "**No figure on survival.** {}\n", refused.message)?,
        Part::Given(result) => {
            for group in &result.groups {
                if let Part::Given(sentence) = &group.sentence {
                    writeln!(out, "**{sentence}**\n")?;
                }
                match &group.at_horizon {
                    Part::Given(point) => {
                        let limits = match (point.lower, point.upper) {
                            (Some(lower), Some(upper)) => {
                                format!(" (95 % interval {} to {})", percent(lower), percent(upper))
                            }
                            _ => String::new(),
                        };
                        writeln!(out, "Alive after {:.0} days: {}{limits}.\n", point.time, percent(point.survival))?;
                    }
                    Part::Refused { refused } => writeln!(out, "At the horizon: {}\n", refused.message)?,
                }
            }
            if let Part::Given(pieces) = &result.hazard {
                writeln!(
                    out,
                    "| days since purchase | losses | coral-days | losses per 100 coral-months | 95 % interval |\n|---|---|---|---|---|"
                )?;
                for piece in pieces {
                    let to = piece.to_day.map_or("on".to_owned(), |day| format!("{day:.0}"));
                    writeln!(
                        out,
                        "| {:.0} to {to} | {} | {:.0} | {:.2} | {:.2} to {:.2} |",
                        piece.from_day, piece.events, piece.specimen_days, piece.rate, piece.lower, piece.upper
                    )?;
                }
                writeln!(out)?;
            }
        }
    }
    for condition in &report.conditions {
        let band = condition.method.band.as_deref().unwrap_or("none taught");
        writeln!(out, "## {}: taught band {band}\n", condition.question.by)?;
        match &condition.result {
            Part::Refused { refused } => writeln!(out, "{}\n", refused.message)?,
            Part::Given(result) => {
                writeln!(
                    out,
                    "| level | specimens | losses | coral-days | losses per 100 coral-months |\n|---|---|---|---|---|"
                )?;
                for group in &result.groups {
                    let rate = match &group.rates {
                        Part::Given(rate) => {
                            format!("{:.2} ({:.2} to {:.2})", rate.per_100_months, rate.lower, rate.upper)
                        }
                        Part::Refused { refused } => refused.message.clone(),
                    };
                    writeln!(
                        out,
                        "| {} | {} | {} | {:.0} | {rate} |",
                        group.label, group.n, group.events, group.evidence.specimen_days
                    )?;
                }
                writeln!(out, "\n{}\n", super::answer_text::band(condition))?;
                if let Part::Given(sentence) = &result.sentence {
                    writeln!(out, "{sentence}\n")?;
                }
            }
        }
    }
    writeln!(out, "## Fed or not, in water within the taught bands or outside\n")?;
    write_fed_by_water(out, &report.feeding)?;
    writeln!(out, "## Growth\n")?;
    match &report.growth.result {
        Part::Refused { refused } => writeln!(out, "{}\n", refused.message)?,
        Part::Given(result) => {
            for group in &result.groups {
                match group {
                    Part::Given(group) => {
                        let limits = match (group.lower, group.upper) {
                            (Some(lower), Some(upper)) => {
                                format!(" (95 % interval of the slope {lower:.4} to {upper:.4})")
                            }
                            _ => String::new(),
                        };
                        writeln!(
                            out,
                            "{} by {}: {:.1} % a month{limits}, {} specimens.\n",
                            result.measure,
                            result.bases.join(", "),
                            100.0 * (group.ratio_per_month - 1.0),
                            group.specimens
                        )?;
                    }
                    Part::Refused { refused } => writeln!(out, "{}\n", refused.message)?,
                }
            }
        }
    }
    writeln!(out, "## Read with care\n")?;
    for caution in &answer.cautions {
        writeln!(out, "- {}", caution.sentence)?;
    }
    for caution in &report.cautions {
        writeln!(out, "- {caution}")?;
    }
    writeln!(
        out,
        "\nMethod {}, {} clusters by {}, program {}.",
        answer.method.id, answer.method.clusters, answer.method.cluster, answer.method.program_version
    )
}

fn write_fed_by_water(out: &mut String, answer: &SurvivalAnswer) -> std::fmt::Result {
    let table = match &answer.result {
        Part::Refused { refused } => return writeln!(out, "{}\n", refused.message),
        Part::Given(result) => match &result.interaction {
            None => return Ok(()),
            Some(Part::Refused { refused }) => return writeln!(out, "{}\n", refused.message),
            Some(Part::Given(table)) => table,
        },
    };
    writeln!(out, "| corals | specimens | losses | coral-days | losses per 100 coral-months |\n|---|---|---|---|---|")?;
    for cell in &table.cells {
        let rate = match &cell.rates {
            Part::Given(rate) => format!("{:.2} ({:.2} to {:.2})", rate.per_100_months, rate.lower, rate.upper),
            Part::Refused { refused } => refused.message.clone(),
        };
        let of = &cell.evidence;
        writeln!(out, "| {} | {} | {} | {:.0} | {rate} |", cell.label, of.specimens, of.deaths, of.specimen_days)?;
    }
    writeln!(out, "\nFeeding or water unknown: {:.0} coral-days.\n", table.days_unknown)?;
    match &table.sentence {
        Part::Given(sentence) => writeln!(out, "{sentence}\n"),
        Part::Refused { refused } => writeln!(out, "{}\n", refused.message),
    }
}
