//! Findings of comparing, in the catalogue's words.

use analysis::vocabulary::{FindingCode, Severity as Grade, fill};

use crate::finding::{Choice, Finding, Severity};

/// A finding of a code with its sentence filled in; its place and cells are the caller's.
pub fn found(code: &'static str, key: String, values: &[(&str, &str)]) -> Finding {
    let kind = FindingCode::parse(code).map(FindingCode::get);
    let severity = match kind.map(|kind| kind.severity) {
        Some(Grade::Refused) => Severity::Refused,
        Some(Grade::Questioned) => Severity::Questioned,
        Some(Grade::Noted) | None => Severity::Noted,
    };
    let answers = kind.map(|kind| kind.all_answers()).unwrap_or_default();
    Finding {
        severity,
        code: code.to_owned(),
        key,
        sheet: None,
        row: None,
        column: None,
        written: String::new(),
        message: kind.map_or_else(|| code.to_owned(), |kind| kind.sentence(values)),
        remedy: kind.map(|kind| fill(kind.remedy, values)).unwrap_or_default(),
        choices: answers
            .into_iter()
            .map(|answer| Choice { code: answer.code.to_owned(), label: fill(answer.label, values), needs: None })
            .collect(),
        proposed: None,
        held: Vec::new(),
        cells: Vec::new(),
        answered: None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_codes_of_comparing_are_the_catalogues() {
        for (code, severity, choices) in [
            ("log_unclear", Severity::Questioned, &["newer", "another", "leave_out", "dont_know"][..]),
            ("logs_disagree", Severity::Questioned, &["two_tests", "first", "second", "leave_out", "dont_know"]),
            ("rows_gone", Severity::Noted, &["take_out"]),
            ("value_changed", Severity::Noted, &[]),
        ] {
            let finding = found(code, code.to_owned(), &[]);
            assert_eq!(finding.severity, severity, "{code}");
            let codes: Vec<&str> = finding.choices.iter().map(|choice| choice.code.as_str()).collect();
            assert_eq!(codes, choices, "{code}");
            assert!(!finding.remedy.is_empty(), "{code}");
        }
    }
}
