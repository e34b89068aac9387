//! A report as Markdown.

use std::fmt::Write;

use analysis::answer::{
    BandsResult, CasebookResult, ConditionsResult, GrowthRatio, HazardResult, LeadUpResult, PlanResult, Ratio,
    SurvivalAnswer, TaxonAnswer,
};
use analysis::refusal::Part;
use analysis::wording::comparison::two_digits;

use super::Report;
use crate::chart::percent;

/// The report as Markdown.
pub fn markdown(report: &Report) -> String {
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
            write_hazard(out, &report.hazard)?;
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
                writeln!(out)?;
                if let Part::Given(sentence) = &result.sentence {
                    writeln!(out, "{sentence}\n")?;
                }
            }
        }
    }
    writeln!(out, "## Fed or not, in water within the taught bands or outside\n")?;
    write_fed_by_water(out, &report.feeding)?;
    write_conditions(out, &report.associations)?;
    write_bands(out, &report.bands)?;
    write_lead_up(out, &report.lead_up)?;
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
    write_plan(out, &report.plan)?;
    write_casebook(out, &report.casebook)?;
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

/// A ratio of sizes after a month as per cent more or less, with its limits.
fn percent_a_month(growth: &GrowthRatio) -> String {
    let percent = |ratio: f64| 100.0 * (ratio - 1.0);
    match growth.lower.zip(growth.upper) {
        Some((lower, upper)) => {
            format!("{:.1} ({:.1} to {:.1})", percent(growth.ratio_per_month), percent(lower), percent(upper))
        }
        None => format!("{:.1} (no limits)", percent(growth.ratio_per_month)),
    }
}

/// A figure with its limits, two digits.
fn with_limits(estimate: f64, lower: Option<f64>, upper: Option<f64>) -> String {
    match lower.zip(upper) {
        Some((lower, upper)) => format!("{} ({} to {})", two_digits(estimate), two_digits(lower), two_digits(upper)),
        None => format!("{} (no limits)", two_digits(estimate)),
    }
}

fn write_hazard(out: &mut String, answer: &TaxonAnswer<HazardResult>) -> std::fmt::Result {
    let Part::Given(result) = &answer.result else { return Ok(()) };
    writeln!(
        out,
        "| days since purchase | losses | coral-days | losses per 100 coral-months | exact limits | limits allowing for tanks |\n|---|---|---|---|---|---|"
    )?;
    for age in &result.pieces {
        let piece = &age.piece;
        let from = piece.from_day;
        let ages = piece.to_day.map_or_else(|| format!("{from:.0} and later"), |to| format!("{from:.0} to {to:.0}"));
        let clustered = match &age.clustered {
            Part::Given(limits) => format!("{:.2} to {:.2}", limits.lower, limits.upper),
            Part::Refused { refused } => refused.message.clone(),
        };
        writeln!(
            out,
            "| {ages} | {} | {:.0} | {:.2} | {:.2} to {:.2} | {clustered} |",
            piece.events, piece.specimen_days, piece.rate, piece.lower, piece.upper
        )?;
    }
    writeln!(out, "\n{}\n", result.sentence)
}

/// Lines printed at most; all are in the JSON.
const MOST_LINES: usize = 20;

fn write_conditions(out: &mut String, answer: &TaxonAnswer<ConditionsResult>) -> std::fmt::Result {
    writeln!(out, "## Conditions side by side\n")?;
    let result = match &answer.result {
        Part::Refused { refused } => return writeln!(out, "{}\n", refused.message),
        Part::Given(result) => result,
    };
    writeln!(out, "{}\n", result.sentence)?;
    writeln!(
        out,
        "| condition | corals compared | losses | hazard ratio | within one keeper's tanks | others held | drawn towards other kinds | growth a month, % more or less | p |\n|---|---|---|---|---|---|---|---|---|"
    )?;
    let given = result.conditions.iter().filter(|line| line.hazard_ratio.is_some());
    let none = "–".to_owned();
    for line in given.clone().take(MOST_LINES) {
        let crude = line.hazard_ratio.map_or(none.clone(), |ratio| with_limits(ratio, line.lower, line.upper));
        let ratio = |ratio: Option<&Ratio>| {
            ratio.map_or(none.clone(), |ratio| with_limits(ratio.hazard_ratio, ratio.lower, ratio.upper))
        };
        let growth = line.growth.given();
        writeln!(
            out,
            "| {} | {} against {} | {} and {} | {crude} | {} | {} | {} | {} | {} |",
            line.name,
            line.contrast.level_label,
            line.contrast.reference_label,
            line.evidence.level.given().map_or(0, |level| level.events),
            line.evidence.reference.given().map_or(0, |level| level.events),
            ratio(line.within_keeper.given()),
            ratio(line.adjusted.given().map(|adjusted| &adjusted.ratio)),
            ratio(line.shrunken.given().map(|shrunken| &shrunken.ratio)),
            growth.map_or(none.clone(), percent_a_month),
            line.p.map_or(none.clone(), two_digits),
        )?;
    }
    let refused = result.conditions.len() - given.count();
    writeln!(out, "\nOf {} conditions on the list {refused} cannot be told yet.\n", result.conditions.len())
}

fn write_bands(out: &mut String, answer: &TaxonAnswer<BandsResult>) -> std::fmt::Result {
    let Part::Given(result) = &answer.result else { return Ok(()) };
    writeln!(out, "## What is taught\n")?;
    writeln!(out, "| parameter | taught | the records say | range with fewest losses so far |\n|---|---|---|---|")?;
    for band in &result.bands {
        let seen = match &band.seen {
            Part::Given(seen) => seen.sentence.clone(),
            Part::Refused { refused } => refused.message.clone(),
        };
        writeln!(out, "| {} | {} | {} | {seen} |", band.name, band.taught.as_taught, band.claim.in_words())?;
    }
    writeln!(out)
}

fn write_lead_up(out: &mut String, answer: &TaxonAnswer<LeadUpResult>) -> std::fmt::Result {
    writeln!(out, "## The weeks before losses\n")?;
    let result = match &answer.result {
        Part::Refused { refused } => return writeln!(out, "{}\n", refused.message),
        Part::Given(result) => result,
    };
    writeln!(out, "{}\n", result.sentence)?;
    writeln!(out, "| what | days before | losses less controls | losses | controls |\n|---|---|---|---|---|")?;
    let apart = result.lines.iter().filter(|line| line.lower.zip(line.upper).is_some_and(|(l, u)| l > 0.0 || u < 0.0));
    for line in apart.take(MOST_LINES) {
        let difference = line.difference.given().copied().unwrap_or_default();
        let count = |part: &Part<u64>| part.given().map_or("–".to_owned(), u64::to_string);
        writeln!(
            out,
            "| {} ({}) | {} to {} | {} | {} | {} |",
            line.name,
            line.kind,
            line.window[0],
            line.window[1],
            with_limits(difference, line.lower, line.upper),
            count(&line.cases),
            count(&line.controls)
        )?;
    }
    writeln!(out)
}

fn write_plan(out: &mut String, answer: &TaxonAnswer<PlanResult>) -> std::fmt::Result {
    writeln!(out, "## What to record to know\n")?;
    match &answer.result {
        Part::Refused { refused } => writeln!(out, "{}\n", refused.message),
        Part::Given(plan) => writeln!(out, "Corals {}: {}\n", plan.contrast.level_label, plan.sentence),
    }
}

fn write_casebook(out: &mut String, answer: &TaxonAnswer<CasebookResult>) -> std::fmt::Result {
    writeln!(out, "## Single losses\n")?;
    let result = match &answer.result {
        Part::Refused { refused } => return writeln!(out, "{}\n", refused.message),
        Part::Given(result) => result,
    };
    writeln!(out, "{}\n", result.sentence)?;
    for line in result.losses.iter().take(MOST_LINES) {
        writeln!(out, "- {}", line.sentence)?;
    }
    writeln!(out)
}
