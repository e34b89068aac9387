//! The numbers of an answer in one line, for a terminal.

use analysis::answer::{RunOutcome, SurvivalAnswer, SurvivalGroup};
use analysis::refusal::Part;

use crate::chart::percent;

/// "Goniopora: 117 specimens of 38 keepers, 52 deaths; 62 % (52 to 71) …", or the refusal.
pub fn one_year(answer: &SurvivalAnswer) -> String {
    let counts = match &answer.evidence {
        Part::Given(evidence) => {
            format!("{} specimens of {} keepers, {} deaths", evidence.specimens, evidence.keepers, evidence.deaths)
        }
        Part::Refused { refused } => refused.message.clone(),
    };
    let figure = match &answer.result {
        Part::Refused { refused } => refused.message.clone(),
        Part::Given(result) => match result.groups.first() {
            None => "no group".to_owned(),
            Some(group) => at_horizon(group),
        },
    };
    if answer.taxon.asked == answer.taxon.answered {
        return format!("  {}: {counts}; {figure}", answer.taxon.name);
    }
    let refused: Vec<&str> = answer.taxon.fallback.iter().take(1).map(|step| step.refused.message.as_str()).collect();
    format!(
        "  {}: cannot tell. {} Answered for {} instead: {counts}; {figure}",
        answer.taxon.asked,
        refused.join(" "),
        answer.taxon.name
    )
}

fn at_horizon(group: &SurvivalGroup) -> String {
    match &group.at_horizon {
        Part::Given(point) => match (point.lower, point.upper) {
            (Some(lower), Some(upper)) => {
                format!("{} alive ({} to {})", percent(point.survival), percent(lower), percent(upper))
            }
            _ => format!("{} alive", percent(point.survival)),
        },
        Part::Refused { refused } => refused.message.clone(),
    }
}

/// The same figure without open register rows as sightings.
pub fn without_register(answer: &SurvivalAnswer) -> String {
    let runs: Vec<String> = answer
        .sensitivity
        .iter()
        .filter(|run| run.run == "no_register_sightings" && run.result_key.ends_with("at_horizon"))
        .map(|run| match &run.outcome {
            RunOutcome::Same { .. } => "the same".to_owned(),
            RunOutcome::Refused { refused } => refused.message.clone(),
            RunOutcome::Estimate { estimate, lower: Some(lower), upper: Some(upper), .. } => {
                format!("{} ({} to {})", percent(*estimate), percent(*lower), percent(*upper))
            }
            RunOutcome::Estimate { estimate, .. } => percent(*estimate),
        })
        .collect();
    if runs.is_empty() {
        "without register sightings: no figure".to_owned()
    } else {
        format!("without register sightings: {}", runs.join("; "))
    }
}

/// The taught band against outside: each hazard ratio with its limits, or the refusal.
pub fn band(answer: &SurvivalAnswer) -> String {
    let band = answer.method.band.as_deref().unwrap_or("none taught");
    let by = answer.question.by;
    let result = match &answer.result {
        Part::Given(result) => result,
        Part::Refused { refused } => return format!("{by}, band {band}: {}", refused.message),
    };
    let cox = match &result.cox {
        Part::Given(cox) => cox,
        Part::Refused { refused } => return format!("{by}, band {band}: {}", refused.message),
    };
    let lines: Vec<String> = cox
        .coefficients
        .iter()
        .map(|coefficient| {
            match (coefficient.hazard_ratio, coefficient.lower, coefficient.upper, &coefficient.refused) {
                (Some(ratio), Some(lower), Some(upper), _) => {
                    format!(
                        "{} against {}: hazard ratio {ratio:.2} ({lower:.2} to {upper:.2})",
                        coefficient.name, coefficient.reference
                    )
                }
                (_, _, _, Some(refused)) => {
                    format!("{} against {}: {}", coefficient.name, coefficient.reference, refused.message)
                }
                _ => format!("{} against {}: no figure", coefficient.name, coefficient.reference),
            }
        })
        .collect();
    format!(
        "{by}, band {band}: {}",
        if lines.is_empty() { "no two levels to compare".to_owned() } else { lines.join("; ") }
    )
}
