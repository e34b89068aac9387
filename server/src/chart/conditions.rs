//! Conditions side by side: ratios with their limits on an axis of ratios, and how firm each is.

use analysis::answer::{ConditionLine, ConditionsResult, Grade, TaxonAnswer};
use analysis::refusal::Part;
use analysis::wording::comparison::two_digits;

use super::bands::finish;
use super::curve::with_limits;
use super::rows::{Axis, Estimate, Row};
use super::sheet::Words;
use super::{Size, Source, fallback};

/// Rows drawn at most.
const MOST: usize = 20;

/// The picture of an answer on conditions.
pub fn conditions(answer: &TaxonAnswer<ConditionsResult>, source: &Source, size: Size) -> String {
    let about = format!("conditions of {}", answer.taxon.asked);
    let mut words = Words {
        title: format!("{}: which conditions went with losses", answer.taxon.name),
        source: source.line(answer.state, &about, &answer.evidence),
        notes: fallback(&answer.taxon),
        ..Words::default()
    };
    let mut rows = Vec::new();
    match &answer.result {
        Part::Refused { refused } => words.sentence = format!("No figure. {}", refused.message),
        Part::Given(result) => {
            words.sentence.clone_from(&result.sentence);
            let told: Vec<&ConditionLine> =
                result.conditions.iter().filter(|line| line.hazard_ratio.is_some()).collect();
            rows.extend(told.iter().take(MOST).map(|line| row(line)));
            let untold = result.conditions.len() - told.len();
            if !told.is_empty() {
                words.notes.push(
                    "Ratios compare all corals together; only those compared within one keeper's tanks can be called, and q is of these."
                        .to_owned(),
                );
            }
            if told.len() > MOST {
                words.notes.push(format!("{} more are in the answer.", told.len() - MOST));
            }
            words
                .notes
                .push(format!("Of {} conditions on the list {untold} cannot be told yet.", result.conditions.len()));
        }
    }
    let axis = Axis {
        is_log: true,
        title: "hazard ratio (each step of the axis multiplies)".to_owned(),
        figures: "ratio (95 %), grade".to_owned(),
        ends: Some(("← fewer losses".to_owned(), "more losses →".to_owned())),
        reference: Some(1.0),
    };
    finish(words, rows, &axis, &answer.cautions, size)
}

fn row(line: &ConditionLine) -> Row {
    let ratio = line.hazard_ratio.unwrap_or(1.0);
    let grade = match line.grade {
        Grade::None => "no grade",
        Grade::Thin => "thin",
        Grade::Moderate => "moderate",
        Grade::Strong => "strong",
    };
    let q = match &line.q {
        Part::Given(q) => format!("; q {}", two_digits(*q)),
        Part::Refused { .. } => "; q not given".to_owned(),
    };
    Row {
        label: format!(
            "{}: {} beside {}",
            line.name,
            bare(&line.contrast.level_label, &line.name),
            bare(&line.contrast.reference_label, &line.name)
        ),
        estimate: Some(Estimate { value: ratio, lower: line.lower, upper: line.upper }),
        figures: format!("{}; {grade}{q}", with_limits(ratio, line.lower, line.upper)),
        ..Row::default()
    }
}

/// A level without the name of its condition, which stands before it.
fn bare<'l>(label: &'l str, name: &str) -> &'l str {
    let label = label.trim_end_matches(", both included");
    let label = label.strip_prefix("with ").unwrap_or(label);
    label.strip_prefix(name).map_or(label, str::trim_start)
}
