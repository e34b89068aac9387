//! Whether a question may be asked in this form by this audience. Every fault is named at once.

use super::question::{Audience, By, GrowthQuestion, InvalidQuestion, Question};
use crate::exposure::condition::ladder;
use crate::vocabulary::TaxonSlug;
use crate::vocabulary::catalogue;

/// Horizons that anyone may ask, in days.
pub const HORIZONS: &[f64] = &[90.0, 180.0, 365.0, 730.0];
/// Longest horizon that a curator may ask, in days: a century.
const LONGEST_HORIZON: f64 = 36_525.0;
/// Years of purchase that may be asked.
const YEARS: std::ops::RangeInclusive<i32> = 1900..=2200;
/// Cut points of one question.
const MOST_EDGES: usize = 12;

impl By {
    /// The split of a code: a word, or a parameter.
    pub fn parse(code: &str) -> Option<By> {
        let word = By::WORDS.iter().find(|(word, _)| *word == code).map(|(_, by)| *by);
        word.or_else(|| crate::vocabulary::ParameterCode::parse(code).map(By::Parameter))
    }

    /// Every code that [`By::parse`] knows: words, then parameters.
    pub fn codes() -> Vec<&'static str> {
        let parameters = catalogue().parameters().iter().map(|parameter| parameter.code.as_str());
        let mut codes: Vec<&'static str> = By::WORDS.iter().map(|(word, _)| *word).chain(parameters).collect();
        let mut seen = std::collections::BTreeSet::new();
        codes.retain(|code| seen.insert(*code));
        codes
    }
}

fn exact(audience: Audience) -> bool {
    matches!(audience, Audience::Curator | Audience::Keeper)
}

fn check_edges(by: By, edges: Option<&[f64]>, audience: Audience) -> Result<(), InvalidQuestion> {
    let Some(edges) = edges else { return Ok(()) };
    let invalid = |message: String| Err(InvalidQuestion { parameter: "edges", message });
    let ladder = ladder(by);
    let steps = ladder.iter().map(f64::to_string).collect::<Vec<_>>().join(", ");
    if ladder.is_empty() {
        return invalid(format!("by={} has no cut points: leave edges out", by.as_str()));
    }
    if edges.is_empty() || edges.len() > MOST_EDGES || edges.iter().any(|edge| !edge.is_finite()) {
        return invalid(format!("give 1 to {MOST_EDGES} numbers, for by={} of {steps}", by.as_str()));
    }
    if edges.windows(2).any(|pair| pair[0] >= pair[1]) {
        return invalid("give the cut points in ascending order, each once".to_owned());
    }
    if !exact(audience)
        && let Some(off) = edges.iter().find(|edge| !ladder.contains(edge))
    {
        return invalid(format!("{off} is no step of by={}: use {steps}", by.as_str()));
    }
    Ok(())
}

fn check_since(since: Option<i32>) -> Result<(), InvalidQuestion> {
    match since {
        Some(year) if !YEARS.contains(&year) => Err(InvalidQuestion {
            parameter: "since",
            message: format!("{year} is no year of purchase: give one from {} to {}", YEARS.start(), YEARS.end()),
        }),
        _ => Ok(()),
    }
}

fn check_taxon(taxon: TaxonSlug) -> Result<(), InvalidQuestion> {
    let by_genus = catalogue().groups().iter().find(|group| group.by_genus && group.slug == taxon);
    match by_genus {
        None => Ok(()),
        Some(group) => {
            let genera: Vec<&str> = catalogue()
                .taxa()
                .iter()
                .filter(|row| row.group == group.code && row.genus == Some(row.slug))
                .map(|row| row.slug.as_str())
                .collect();
            Err(InvalidQuestion {
                parameter: "taxon",
                message: format!("{} are asked by genus: {}", group.name, genera.join(", ")),
            })
        }
    }
}

impl Question {
    /// Every fault of the question for an audience; none = it may be asked.
    pub fn faults(&self, audience: Audience) -> Vec<InvalidQuestion> {
        let horizon = if exact(audience) {
            (self.horizon_days > 0.0 && self.horizon_days <= LONGEST_HORIZON).then_some(()).ok_or_else(|| {
                InvalidQuestion {
                    parameter: "horizon_days",
                    message: format!("{} is no number of days from 1 to {LONGEST_HORIZON}", self.horizon_days),
                }
            })
        } else {
            HORIZONS.contains(&self.horizon_days).then_some(()).ok_or_else(|| InvalidQuestion {
                parameter: "horizon_days",
                message: format!("{} is not offered: use 90, 180, 365 or 730", self.horizon_days),
            })
        };
        [
            check_taxon(self.taxon),
            check_edges(self.by, self.edges.as_deref(), audience),
            horizon,
            check_since(self.since),
        ]
        .into_iter()
        .filter_map(Result::err)
        .collect()
    }
}

impl GrowthQuestion {
    /// Every fault of the question for an audience; none = it may be asked.
    pub fn faults(&self, audience: Audience) -> Vec<InvalidQuestion> {
        [check_taxon(self.taxon), check_edges(self.by, self.edges.as_deref(), audience), check_since(self.since)]
            .into_iter()
            .filter_map(Result::err)
            .collect()
    }
}
