//! Pictures of answers, in the manner of a printed tide almanac: paper, ink-blue rules, serif letters with figures of one
//! width. Each says its title, its units, where the figures come from and what is to be read with care, in words too for
//! those who do not see it; what cannot be told is drawn as the sentence that says so. Nothing rests on colour alone.
//!
//! A picture is a function of an answer and a [`Source`]: the same bytes everywhere, as the font ships with the program.

use analysis::answer::{Caution, Evidence, State, TaxonAnswered};
use analysis::refusal::Part;
use chrono::NaiveDate;

mod bands; // taught bands beside what was seen
mod canvas; // rules, marks and texts
mod conditions; // conditions side by side
mod curve; // shares alive in steps
mod hazard; // when they are lost
mod letters; // the font, and how wide a text is
mod pixels; // SVG as PNG
mod rows; // estimates with limits, one a row
mod sheet; // title, notes and source around a drawing

pub use bands::bands;
pub use conditions::conditions;
pub use curve::{percent, survival};
pub use hazard::hazard;
pub use pixels::png;

/// What a picture is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Size {
    /// The column of a newsletter: as high as it must be.
    Column,
    /// A slide, 16 to 9.
    Slide,
}

impl Size {
    /// The words that `size` takes.
    pub const WORDS: [&'static str; 2] = ["column", "slide"];

    /// The size of a word.
    pub fn parse(word: &str) -> Option<Self> {
        match word {
            "column" => Some(Size::Column),
            "slide" => Some(Size::Slide),
            _ => None,
        }
    }
}

/// Where figures come from, beside what the answer itself says.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Source {
    /// The club's name, where it has one.
    pub club: Option<String>,
    /// The day of the release or edition.
    pub day: NaiveDate,
}

impl Source {
    /// The source line of a picture.
    fn line(&self, state: State, about: &str, evidence: &Part<Evidence>) -> String {
        let club = self.club.as_deref().unwrap_or("A reef club");
        let state = match state {
            State::Edition(number) => format!("edition {number}"),
            State::Release(number) => format!("release {number}"),
        };
        let behind = match evidence {
            Part::Given(of) => format!(
                " {} corals of {} keepers in {} tanks, {} deaths{}.",
                of.specimens,
                of.keepers,
                of.tanks,
                of.deaths,
                of.period.from.zip(of.period.to).map_or(String::new(), |(from, to)| format!(", {from} to {to}"))
            ),
            Part::Refused { .. } => String::new(),
        };
        format!("{club}, {state} of {}: {about}.{behind} Limits of 95 %.", self.day)
    }
}

/// Cautions as short as a picture needs them: the first sentence of each, and of that on associations the last too.
fn short_cautions(cautions: &[Caution]) -> Vec<String> {
    cautions
        .iter()
        .map(|caution| {
            let mut sentences = caution.sentence.split_inclusive(". ").map(str::trim);
            let first = sentences.next().unwrap_or_default().to_owned();
            match sentences.last() {
                Some(last) if caution.code == "association" => format!("{first} {last}"),
                _ => first,
            }
        })
        .collect()
}

/// Which taxon is meant, where a wider one had to answer.
fn fallback(taxon: &TaxonAnswered) -> Vec<String> {
    taxon.fallback.iter().map(|step| format!("Not answered for {}: {}", step.taxon, step.refused.message)).collect()
}

#[cfg(test)]
mod tests;
