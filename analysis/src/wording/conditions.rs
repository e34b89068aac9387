//! Conditions side by side, in words that speak of what went together.

use super::comparison::{ratio, two_digits};
use crate::answer::{ConditionLine, CoxCoefficient, Outcome};

/// The clearest association of a list, or that there is none. `released`: q values are known.
pub fn clearest(outcome: Outcome, first: Option<&ConditionLine>, released: bool) -> String {
    match first {
        None if !released => {
            "Which association is clearest is told with the next release, over its whole list of comparisons."
                .to_owned()
        }
        None => format!(
            "Clearest association: none. No condition passes; these records cannot tell yet which of them went with {}.",
            outcome.words().losses
        ),
        Some(line) => {
            let text = match line.sentence.given() {
                Some(sentence) => sentence.clone(),
                None => format!("{} among corals {}.", outcome.words().losses, line.contrast.level_label),
            };
            format!("Clearest association: {}. {text}", line.name)
        }
    }
}

/// One line in words: all corals together, within keepers, and with other conditions held.
pub fn line(outcome: Outcome, phrase: &str, crude: &CoxCoefficient, line: &ConditionLine) -> Option<String> {
    let mut text = ratio(outcome, phrase, crude)?;
    let limits = |lower: Option<f64>, upper: Option<f64>| match (lower, upper) {
        (Some(lower), Some(upper)) => format!(" ({} to {})", two_digits(lower), two_digits(upper)),
        _ => String::new(),
    };
    if let Some(within) = line.within_keeper.given() {
        text.push_str(&format!(
            " Within one keeper's tanks: hazard ratio {}{}.",
            two_digits(within.hazard_ratio),
            limits(within.lower, within.upper)
        ));
    }
    if let Some(adjusted) = line.adjusted.given() {
        text.push_str(&format!(
            " With other conditions held: hazard ratio {}{}.",
            two_digits(adjusted.ratio.hazard_ratio),
            limits(adjusted.ratio.lower, adjusted.ratio.upper)
        ));
    }
    Some(text)
}
