//! When corals are lost, in words.

use super::comparison::two_digits;
use crate::answer::{HazardAtAge, Outcome};

/// Which piece of age has the highest rate: said only if its clustered limits lie above the rate of all ages together.
pub fn highest(outcome: Outcome, pieces: &[HazardAtAge], overall: f64) -> String {
    let losses = outcome.words().losses;
    let above = pieces
        .iter()
        .filter(|piece| piece.clustered.given().is_some_and(|limits| limits.lower > overall))
        .max_by(|a, b| a.piece.rate.total_cmp(&b.piece.rate));
    match above {
        None => format!(
            "These records cannot tell at which age {losses} come most often: {} per 100 coral-months over all ages.",
            two_digits(overall)
        ),
        Some(HazardAtAge { piece, clustered }) => {
            let ages = match piece.to_day {
                Some(to) => format!("from day {} to day {to}", piece.from_day),
                None => format!("after day {}", piece.from_day),
            };
            let limits = clustered.given().map_or_else(String::new, |limits| {
                format!(" ({} to {})", two_digits(limits.lower), two_digits(limits.upper))
            });
            format!(
                "Highest {ages} since {}: {} {losses} per 100 coral-months{limits}, against {} over all ages.",
                outcome.words().since,
                two_digits(piece.rate),
                two_digits(overall)
            )
        }
    }
}
