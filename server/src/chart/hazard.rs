//! When they are lost.

use analysis::answer::{HazardResult, TaxonAnswer};
use analysis::refusal::Part;

use super::bands::finish;
use super::curve::with_limits;
use super::rows::{Axis, Estimate, Row};
use super::sheet::Words;
use super::{Size, Source, fallback};

/// The picture of an answer on losses by age.
pub fn hazard(answer: &TaxonAnswer<HazardResult>, source: &Source, size: Size) -> String {
    let about = format!("losses of {} by time since purchase", answer.taxon.asked);
    let mut words = Words {
        title: format!("{}: when they are lost", answer.taxon.name),
        source: source.line(answer.state, &about, &answer.evidence),
        notes: fallback(&answer.taxon),
        ..Words::default()
    };
    let mut rows = Vec::new();
    let mut overall = None;
    match &answer.result {
        Part::Refused { refused } => words.sentence = format!("No figure. {}", refused.message),
        Part::Given(result) => {
            words.sentence.clone_from(&result.sentence);
            overall = Some(result.overall.per_100_months);
            words.notes.push(format!(
                "The upright rule: over all ages, {}.",
                with_limits(result.overall.per_100_months, Some(result.overall.lower), Some(result.overall.upper))
            ));
            let mut is_exact = false;
            for age in &result.pieces {
                let piece = &age.piece;
                let (lower, upper) = match &age.clustered {
                    Part::Given(limits) => (limits.lower, limits.upper),
                    Part::Refused { .. } => {
                        is_exact = true;
                        (piece.lower, piece.upper)
                    }
                };
                let from = piece.from_day;
                rows.push(Row {
                    label: match piece.to_day {
                        Some(to) => format!("{from:.0} to {to:.0} days"),
                        None => format!("{from:.0} days and later"),
                    },
                    estimate: Some(Estimate { value: piece.rate, lower: Some(lower), upper: Some(upper) }),
                    figures: format!("{}, {} lost", with_limits(piece.rate, Some(lower), Some(upper)), piece.events),
                    ..Row::default()
                });
            }
            words.notes.push(if is_exact {
                "Limits where tanks are too few do not allow for corals that share a tank.".to_owned()
            } else {
                "Limits allow for corals that share a tank.".to_owned()
            });
        }
    }
    let axis = Axis {
        is_log: false,
        title: "losses per 100 coral-months".to_owned(),
        figures: "per 100 coral-months (95 %)".to_owned(),
        ends: None,
        reference: overall,
    };
    finish(words, rows, &axis, &answer.cautions, size)
}
