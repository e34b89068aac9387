//! Logs about corals read with answers, and what came of them.

use chrono::NaiveDate;
use importer::context::{Context, KnownSpecimen, Outcome};
use importer::finding::{Answer, Severity};
use importer::read::read;
use importer::record::{Ending, Record, Sighting, Sizing, Specimen};
use serde_json::Value;

/// A day.
pub fn day(text: &str) -> NaiveDate {
    text.parse().unwrap()
}

/// A log read on the first day of 2025, with answers.
pub fn read_with(log: &str, answers: &[(&str, &str, Option<Value>)]) -> Outcome {
    read(
        "log.csv",
        log.as_bytes(),
        &Context { today: Some(day("2025-01-01")), answers: given(answers), ..Context::default() },
    )
}

/// Answers.
pub fn given(answers: &[(&str, &str, Option<Value>)]) -> Vec<Answer> {
    answers
        .iter()
        .map(|(key, choice, value)| Answer { key: (*key).into(), choice: (*choice).into(), value: value.clone() })
        .collect()
}

/// A coral by its label.
pub fn specimen<'o>(outcome: &'o Outcome, label: &str) -> &'o Specimen {
    outcome
        .records
        .iter()
        .find_map(|record| match record {
            Record::Specimen(specimen) if specimen.label == label => Some(specimen),
            _ => None,
        })
        .unwrap_or_else(|| panic!("no {label}"))
}

/// The end of a coral.
pub fn ending<'o>(outcome: &'o Outcome, label: &str) -> Option<&'o Ending> {
    outcome.records.iter().find_map(|record| match record {
        Record::Ending(ending) if ending.specimen == label => Some(ending),
        _ => None,
    })
}

/// Looks at a coral.
pub fn sightings<'o>(outcome: &'o Outcome, label: &str) -> Vec<&'o Sighting> {
    outcome
        .records
        .iter()
        .filter_map(|record| match record {
            Record::Sighting(sighting) if sighting.specimen == label => Some(sighting),
            _ => None,
        })
        .collect()
}

/// All sizes.
pub fn sizes(outcome: &Outcome) -> Vec<&Sizing> {
    outcome
        .records
        .iter()
        .filter_map(|record| match record {
            Record::Sizing(sizing) => Some(sizing),
            _ => None,
        })
        .collect()
}

/// How many died.
pub fn deaths(outcome: &Outcome) -> usize {
    let died = Some(analysis::vocabulary::Fate::Died);
    outcome.records.iter().filter(|record| matches!(record, Record::Ending(ending) if ending.fate == died)).count()
}

/// Keys of the questions.
pub fn keys(outcome: &Outcome) -> Vec<&str> {
    let open = outcome.findings.iter().filter(|finding| finding.severity == Severity::Questioned);
    open.map(|finding| finding.key.as_str()).collect()
}

/// A keeper with three corals.
pub fn known() -> Context {
    let coral = |label: &str, taxon: &str| KnownSpecimen {
        label: label.to_owned(),
        taxon: analysis::vocabulary::TaxonSlug::parse(taxon),
        tank: None,
        alive: true,
        ended: None,
    };
    Context {
        today: Some(day("2025-01-01")),
        keeper_known: true,
        specimens: vec![
            coral("Goni 1", "goniopora"),
            coral("Cap", "montipora-capricornis"),
            coral("Hammer", "fimbriaphyllia-ancora"),
        ],
        ..Context::default()
    }
}
