//! Levels side by side, in words that speak of what went together.

use super::lead::OutOf;
use crate::answer::{AtHorizon, CoxCoefficient, Outcome, RatePart};

/// One level as said.
#[derive(Debug, Clone, PartialEq)]
pub struct Side {
    /// After "corals": "with nitrate 5 to 15 mg/L, both included".
    pub phrase: String,
    /// Day from which its curve runs; 0 = from acquisition.
    pub start_time: f64,
    /// Share alive, if given.
    pub at_horizon: Option<AtHorizon>,
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

/// Two levels: shares alive of the same number, or rates where shares cannot stand side by side: where one has limits that
/// say nothing, where the middles are equal, or where the curves begin on different days. `varies`: corals join and leave
/// the levels.
pub fn sides(outcome: Outcome, reference: &Side, level: &Side, horizon: f64, varies: bool) -> Option<String> {
    if let Some((first, second)) = shares(reference, level) {
        let start = reference.start_time;
        let (started, without) = if start > 0.0 {
            (format!(" {}", outcome.at_start(start)), outcome.without_it(horizon, true))
        } else {
            (String::new(), outcome.without_it_beside(horizon))
        };
        return Some(format!(
            "{} corals{started} {}, {} of 10 {without} ({} to {}); of those {}, {} of 10 ({} to {}).",
            if varies { "If the present condition were kept: of" } else { "Of" },
            reference.phrase,
            first.in_words(),
            first.lower,
            first.upper,
            level.phrase,
            second.in_words(),
            second.lower,
            second.upper
        ));
    }
    let (one, other) = (reference.rate.as_ref()?, level.rate.as_ref()?);
    Some(format!(
        "Corals {}: {} {} per 100 coral-months ({} to {}); corals {}: {} ({} to {}), limits not allowing for tanks.",
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

/// The shares of two levels out of ten, where they can stand side by side.
fn shares(one: &Side, other: &Side) -> Option<(OutOf, OutOf)> {
    let of_ten = |side: &Side| {
        let at = side.at_horizon.as_ref()?;
        let (lower, upper) = limits(at)?;
        Some(OutOf::new(10, at.survival, lower, upper)).filter(OutOf::tells)
    };
    let (first, second) = (of_ten(one)?, of_ten(other)?);
    (one.start_time == other.start_time && first.middle != second.middle).then_some((first, second))
}

fn limits(at: &AtHorizon) -> Option<(f64, f64)> {
    Some((at.lower?, at.upper?))
}

/// The ratio of a level in words; `None` if it has none.
pub fn ratio(outcome: Outcome, phrase: &str, coefficient: &CoxCoefficient) -> Option<String> {
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
        format!("The {rate} was higher among corals {phrase}: {numbers}.")
    } else if upper < 1.0 {
        format!("The {rate} was lower among corals {phrase}: {numbers}.")
    } else {
        format!("These records cannot tell whether {losses} went with the condition: {numbers}.")
    })
}

/// A ratio under other rules, as a sentence: "With …, hazard ratio 1.3 (0.8 to 2.1)."
pub fn under(rules: &str, hazard_ratio: f64, limits: Option<(f64, f64)>) -> String {
    let limits =
        limits.map_or_else(String::new, |(lower, upper)| format!(" ({} to {})", two_digits(lower), two_digits(upper)));
    format!("With {rules}, hazard ratio {}{limits}.", two_digits(hazard_ratio))
}
