//! Levels side by side, in words that speak of what went together.

use super::lead::OutOf;
use crate::answer::{AtHorizon, CoxCoefficient, Grade, Outcome, RatePart};

/// One level as said.
#[derive(Debug, Clone, PartialEq)]
pub struct Side {
    /// After "corals": "with nitrate 5 to 15 mg/L, both included".
    pub phrase: String,
    /// Share alive, if given.
    pub at_horizon: Option<AtHorizon>,
    /// Grade of that figure.
    pub grade: Grade,
    /// Losses per 100 coral-months.
    pub rate: Option<RatePart>,
}

/// A ratio is little different from 1 only if its whole interval lies here.
const LITTLE: (f64, f64) = (0.8, 1.25);

/// A number with two significant digits, without an exponent.
pub fn two_digits(x: f64) -> String {
    if x == 0.0 || !x.is_finite() {
        return "0".to_owned();
    }
    let places = (1 - x.abs().log10().floor() as i32).max(0) as usize;
    format!("{x:.places$}")
}

/// The two levels of a ratio: shares alive of the same number, or rates where the middles are equal, then the ratio.
pub fn sentence(
    outcome: Outcome,
    level: &Side,
    reference: &Side,
    coefficient: &CoxCoefficient,
    horizon: f64,
) -> Option<String> {
    let ratio = ratio(outcome, level, coefficient)?;
    let sides = sides(outcome, level, reference, horizon);
    Some(match sides {
        Some(sides) => format!("{sides} {ratio}"),
        None => ratio,
    })
}

fn sides(outcome: Outcome, level: &Side, reference: &Side, horizon: f64) -> Option<String> {
    if let (Some(one), Some(other)) = (&reference.at_horizon, &level.at_horizon)
        && let (Some(a), Some(b)) = (limits(one), limits(other))
    {
        let (first, second) = (OutOf::new(10, one.survival, a.0, a.1), OutOf::new(10, other.survival, b.0, b.1));
        if first.middle != second.middle {
            return Some(format!(
                "Of corals {}, {} of 10 {} ({} to {}); of those {}, {} of 10 ({} to {}).",
                reference.phrase,
                first.in_words(),
                outcome.without_it_beside(horizon),
                first.lower,
                first.upper,
                level.phrase,
                second.in_words(),
                second.lower,
                second.upper
            ));
        }
    }
    let (one, other) = (reference.rate.as_ref()?, level.rate.as_ref()?);
    Some(format!(
        "Corals {}: {} {} per 100 coral-months ({} to {}); corals {}: {} ({} to {}).",
        reference.phrase,
        two_digits(one.per_100_months),
        outcome.words().losses,
        two_digits(one.lower),
        two_digits(one.upper),
        level.phrase,
        two_digits(other.per_100_months),
        two_digits(other.lower),
        two_digits(other.upper)
    ))
}

fn limits(at: &AtHorizon) -> Option<(f64, f64)> {
    Some((at.lower?, at.upper?))
}

fn ratio(outcome: Outcome, level: &Side, coefficient: &CoxCoefficient) -> Option<String> {
    let (losses, rate) = (outcome.words().losses, outcome.words().rate);
    let hazard_ratio = coefficient.hazard_ratio?;
    let (Some(lower), Some(upper)) = (coefficient.lower, coefficient.upper) else {
        return Some(format!(
            "These records cannot tell whether {losses} went with the condition: too few tanks for limits."
        ));
    };
    let numbers = format!("hazard ratio {} ({} to {})", two_digits(hazard_ratio), two_digits(lower), two_digits(upper));
    Some(if lower > LITTLE.0 && upper < LITTLE.1 {
        format!("Little difference seen: {numbers}.")
    } else if lower > 1.0 {
        format!("The {rate} was higher among corals {}: {numbers}.", level.phrase)
    } else if upper < 1.0 {
        format!("The {rate} was lower among corals {}: {numbers}.", level.phrase)
    } else {
        format!("These records cannot tell whether {losses} went with the condition: {numbers}.")
    })
}
