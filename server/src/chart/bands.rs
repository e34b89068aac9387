//! Losses inside and outside what is taught, one parameter after the other.

use analysis::answer::{BandsResult, TaxonAnswer};
use analysis::refusal::Part;

use super::curve::with_limits;
use super::rows::{self, Axis, Estimate, Row};
use super::sheet::{Words, compose};
use super::{Size, Source, fallback, short_cautions};

/// The picture of an answer on bands.
pub fn bands(answer: &TaxonAnswer<BandsResult>, source: &Source, size: Size) -> String {
    let about = format!("taught bands of {}", answer.taxon.asked);
    let mut words = Words {
        title: format!("{}: losses inside and outside the taught bands", answer.taxon.name),
        source: source.line(answer.state, &about, &answer.evidence),
        notes: fallback(&answer.taxon),
        ..Words::default()
    };
    let mut rows = Vec::new();
    match &answer.result {
        Part::Refused { refused } => words.sentence = format!("No figure. {}", refused.message),
        Part::Given(result) => {
            let mut untold = Vec::new();
            for band in &result.bands {
                let Part::Given(sides) = &band.comparison else {
                    untold.push(band);
                    continue;
                };
                rows.push(Row {
                    label: format!("{}, taught {}: {}", band.name, band.taught.as_taught, band.claim.in_words()),
                    is_heading: true,
                    ..Row::default()
                });
                for (kind, side) in sides.iter().enumerate() {
                    rows.push(match &side.rates {
                        Part::Given(rate) => Row {
                            label: side.label.clone(),
                            estimate: Some(Estimate {
                                value: rate.per_100_months,
                                lower: Some(rate.lower),
                                upper: Some(rate.upper),
                            }),
                            figures: format!(
                                "{}, {} lost",
                                with_limits(rate.per_100_months, Some(rate.lower), Some(rate.upper)),
                                side.evidence.deaths
                            ),
                            kind,
                            ..Row::default()
                        },
                        Part::Refused { refused } => {
                            Row { label: side.label.clone(), figures: refused.message.clone(), kind, ..Row::default() }
                        }
                    });
                }
            }
            if rows.is_empty() {
                words.sentence = "These records cannot tell yet whether losses went with any taught band.".to_owned();
            }
            // One sentence for all that lack the same.
            let mut reasons: Vec<(String, Vec<&str>)> = Vec::new();
            for band in untold {
                let Part::Refused { refused } = &band.comparison else { continue };
                match reasons.iter_mut().find(|(message, _)| *message == refused.message) {
                    Some((_, names)) => names.push(&band.name),
                    None => reasons.push((refused.message.clone(), vec![band.name.as_str()])),
                }
            }
            words.notes.extend(reasons.iter().map(|(message, names)| format!("{}: {message}", names.join(", "))));
        }
    }
    let axis = Axis {
        is_log: false,
        title: "losses per 100 coral-months".to_owned(),
        figures: "per 100 coral-months (95 %)".to_owned(),
        ends: None,
        reference: None,
    };
    finish(words, rows, &axis, &answer.cautions, size)
}

/// The picture of rows, with what its marks mean and its cautions.
pub fn finish(
    mut words: Words,
    rows: Vec<Row>,
    axis: &Axis,
    cautions: &[analysis::answer::Caution],
    size: Size,
) -> String {
    let said = |row: &Row| {
        if row.is_heading {
            format!("{}.", row.label)
        } else {
            format!("{}: {}.", row.label, row.figures.trim_end_matches('.'))
        }
    };
    words.alternative = rows.iter().map(said).collect::<Vec<_>>().join(" ");
    if rows::has_arrows(&rows, axis) {
        words.notes.insert(0, "An arrow: the limit lies beyond the axis; it stands in the figures.".to_owned());
    }
    words.notes.extend(short_cautions(cautions));
    compose(&words, size, |canvas, room| if rows.is_empty() { room.top } else { rows::draw(canvas, room, &rows, axis) })
}
