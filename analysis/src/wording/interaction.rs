//! Fed by water in words: of the corals in water within the bands; of a difference only where its limits exclude 1.

use super::comparison::two_digits;
use crate::answer::{InteractionRatio, InteractionRatios, Outcome};

/// The sentence of a two-by-two table.
pub fn sentence(ratios: &InteractionRatios, outcome: Outcome) -> String {
    let within = &ratios.among_in;
    let (rate, losses) = (outcome.words().rate, outcome.words().losses);
    let mut said = match (within.lower, within.upper) {
        (Some(lower), _) if lower > 1.0 => format!(
            "In water within the taught bands, the {rate} was higher among corals fed less than once a week than among \
             those fed at least once: {}.",
            numbers("hazard ratio", within)
        ),
        (_, Some(upper)) if upper < 1.0 => format!(
            "In water within the taught bands, the {rate} was lower among corals fed less than once a week than among \
             those fed at least once: {}.",
            numbers("hazard ratio", within)
        ),
        (Some(_), Some(_)) => format!(
            "In water within the taught bands, these records cannot tell whether {losses} went with feeding: {}.",
            numbers("hazard ratio", within)
        ),
        _ => format!(
            "In water within the taught bands, these records cannot tell whether {losses} went with feeding: too few \
             tanks for limits."
        ),
    };
    let than = match (ratios.ratio.lower, ratios.ratio.upper) {
        (Some(lower), _) if lower > 1.0 => "larger",
        (_, Some(upper)) if upper < 1.0 => "smaller",
        _ => return said,
    };
    said.push_str(&format!(
        " That ratio was {than} than in water outside the bands: {}.",
        numbers("ratio of the two", &ratios.ratio)
    ));
    said
}

fn numbers(name: &str, ratio: &InteractionRatio) -> String {
    let limits = |lower: f64, upper: f64| format!(" ({} to {})", two_digits(lower), two_digits(upper));
    let limits = ratio.lower.zip(ratio.upper).map_or_else(String::new, |(lower, upper)| limits(lower, upper));
    format!("{name} {}{limits}", two_digits(ratio.hazard_ratio))
}
