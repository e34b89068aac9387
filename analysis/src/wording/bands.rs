//! Ranges of values in words.

use super::comparison::two_digits;
use crate::answer::SeenEdge;

/// The range with fewest losses, in words that promise nothing.
pub fn seen(parameter: &str, unit: &str, lower: &SeenEdge, upper: &SeenEdge, stability: f64) -> String {
    let limits = |edge: &SeenEdge| match (edge.lower, edge.upper) {
        (Some(lower), Some(upper)) if lower != upper => format!(" ({lower} to {upper} over draws of tanks)"),
        _ => String::new(),
    };
    let side = |edge: &SeenEdge, word: &str, open: &str| match edge.estimate {
        Some(at) => format!("{word} {at} {unit}{}", limits(edge)),
        None => format!("with no edge seen {open} {} {unit}", edge.seen_up_to),
    };
    format!(
        "Range with fewest losses in our tanks so far, {}: {}, {}. {} of 100 draws of other tanks give nearly the same.",
        parameter.to_lowercase(),
        side(lower, "from", "down to"),
        side(upper, "up to", "up to"),
        two_digits(100.0 * stability)
    )
}
