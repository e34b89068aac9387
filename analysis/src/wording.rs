//! Sentences that cannot claim more than the figures.
//!
//! Every sentence is made from unrounded figures, with limits rounded outward; what the figures do not bear is refused
//! in words. [`forbidden`] is the list of words that no generated text holds: it is run over all of them in tests.

pub mod bands; // ranges of values
pub mod casebook; // single losses
pub mod caution; // what to bear in mind
pub mod comparison; // levels side by side
pub mod conditions; // conditions side by side
pub mod hazard; // when corals are lost
pub mod interaction; // fed or not, in water within the bands or outside
pub mod lead; // of 10 bought, how many were alive
pub mod lead_up; // the weeks before losses
pub mod outcome; // what an outcome is called
pub mod plan; // what to record

pub use lead::{Lead, Started, lead_sentence};

use crate::refusal::RefusalCode;

/// Words that generated text never holds, lower case. They promise what records cannot show.
pub const FORBIDDEN: &[&str] = &[
    "causes",
    "caused",
    "protects",
    "kills",
    "safe",
    "easy",
    "beginner",
    "optimal",
    "ideal",
    "best",
    "recommended",
    "proves",
    "no effect",
    "what kept them alive",
    "you should",
];

/// The forbidden words in a text, as whole words.
pub fn forbidden(text: &str) -> Vec<&'static str> {
    let words: Vec<String> = text
        .to_lowercase()
        .split(|letter: char| !letter.is_alphanumeric())
        .filter(|word| !word.is_empty())
        .map(str::to_owned)
        .collect();
    let plain = format!(" {} ", words.join(" "));
    FORBIDDEN.iter().copied().filter(|word| plain.contains(&format!(" {word} "))).collect()
}

/// A horizon in words: "a year", "90 days".
pub fn horizon(days: f64) -> String {
    match days {
        365.0 => "a year".to_owned(),
        730.0 => "two years".to_owned(),
        days => format!("{days} days"),
    }
}

/// A refusal in a few words, for a table cell.
pub fn refusal(code: RefusalCode) -> &'static str {
    match code {
        RefusalCode::NoEvents => "no death here",
        RefusalCode::TooFewEvents => "too few deaths",
        RefusalCode::EmptyGroup => "nothing to compare",
        RefusalCode::TooFewSpecimens => "too few corals",
        RefusalCode::TooFewTanks => "too few tanks",
        RefusalCode::TooFewKeepers => "too few keepers",
        RefusalCode::TooFewClusters => "too few tanks for limits",
        RefusalCode::RiskSetTooSmall => "too few still followed",
        RefusalCode::BeyondFollowUp => "not followed so long",
        RefusalCode::Separation => "deaths on one side only",
        RefusalCode::Singular => "cannot be told apart",
        RefusalCode::NotConverged => "no figure fits",
        RefusalCode::DifferentDefinitions => "defined differently",
        RefusalCode::Suppressed => "too few to show",
        RefusalCode::NoLooks => "living corals not looked at",
        RefusalCode::LooksTooRare => "looked at too rarely",
        RefusalCode::UnknownExposure => "condition mostly unknown",
        RefusalCode::OneTankEvent => "one tank's story",
        RefusalCode::AwaitsRelease => "with the next release",
        RefusalCode::NotAsked => "not a split we give",
        RefusalCode::InvalidInput => "cannot be read",
    }
}

#[cfg(test)]
mod no_more_than_the_figures; // laws of every sentence, over generated figures
#[cfg(test)]
mod tests;
