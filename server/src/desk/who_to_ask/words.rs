//! Questions to a member, and a letter of the first of them: plain, and without a word on how well anybody keeps corals.

use std::fmt::Write;

use analysis::answer::{AskedOfMember, By};
use chrono::NaiveDate;

use super::AskShown;

/// Questions in a letter at most: more are not answered in one evening.
const IN_A_LETTER: usize = 5;
/// Names in a sentence at most.
const IN_A_SENTENCE: usize = 8;

/// What a question is about.
pub struct About<'a> {
    /// Names of corals.
    pub corals: &'a [String],
    /// How many they are.
    pub coral_count: usize,
    /// Names of tanks.
    pub tanks: &'a [String],
    /// The last test.
    pub last: Option<NaiveDate>,
}

impl About<'_> {
    fn corals(&self) -> String {
        list(self.corals, self.coral_count)
    }

    fn tanks(&self) -> String {
        list(self.tanks, self.tanks.len())
    }
}

/// "a, b and 4 more".
fn list(names: &[String], all: usize) -> String {
    let named = names.len().min(IN_A_SENTENCE);
    let (shown, more) = (&names[..named], all - named);
    match (shown, more) {
        (_, 1..) => format!("{} and {more} more", shown.join(", ")),
        ([], _) => "all".to_owned(),
        ([one], _) => one.clone(),
        ([first @ .., last], _) => format!("{} and {last}", first.join(", ")),
    }
}

/// The question.
pub fn question(asked: AskedOfMember, about: &About) -> String {
    let (corals, tanks) = (about.corals(), about.tanks());
    match asked {
        AskedOfMember::CompleteSince => {
            "From which day on would your list of corals show every loss? A year is enough, or \"do not know\"."
                .to_owned()
        }
        AskedOfMember::LossesListed => {
            "Does your list also name corals that are no longer there? If it does, since when?".to_owned()
        }
        AskedOfMember::Acquired => format!("When did you get these, at least to the month: {corals}?"),
        AskedOfMember::DeathDay => {
            format!("Do you remember when these were gone, or last seen alive; a week or a month will do: {corals}?")
        }
        AskedOfMember::Unseen => format!("Are these alive and still with you: {corals}? A roll call takes one tap."),
        AskedOfMember::Origin => {
            format!("Were these collected in the sea, farmed, or grown in a tank, and how do you know: {corals}?")
        }
        AskedOfMember::Known(By::Flow) => {
            format!("Does the water at these stand still, sway them, or thrash them, and since when: {corals}?")
        }
        AskedOfMember::Known(By::Feeding) => {
            format!("How often a week did you feed corals in {tanks}, and since when? \"Never\" is an answer too.")
        }
        AskedOfMember::Known(By::Carbon) => {
            format!("Was activated carbon in use in {tanks}, from when to when? \"Never\" is an answer too.")
        }
        AskedOfMember::Known(By::WaterChange) => {
            format!("How much water did you change in {tanks}, how often, and since when?")
        }
        AskedOfMember::Known(By::Parameter(code)) if code.as_str() == "par" => {
            format!("Did you ever measure the light at these, when, and with what result: {corals}?")
        }
        AskedOfMember::Known(by) => {
            let name = match by {
                By::Parameter(code) => code.get().name.to_lowercase(),
                by => by.as_str().replace('_', " "),
            };
            match about.last {
                Some(last) => format!(
                    "Have you tests of {name} in {tanks} that we do not have: between those on record, or after {last}? A photo of a \
                     notebook will do."
                ),
                None => {
                    format!("Have you any test of {name} in {tanks}? None is on record. A photo of a notebook will do.")
                }
            }
        }
    }
}

/// The first questions as a letter.
pub fn letter(keeper: &str, asks: &[AskShown]) -> String {
    let mut text = format!(
        "Hello {keeper},\n\nthank you for your records. A few things that only you may know would let the club answer more. \
         Whatever you can say helps, and \"I do not know\" is an answer too.\n"
    );
    for (number, ask) in (1..).zip(asks.iter().take(IN_A_LETTER)) {
        // Writing to a text cannot fail.
        let _ = write!(text, "\n{number}. {}", ask.question);
    }
    text.push_str("\n\nThank you!\n");
    text
}

#[cfg(test)]
mod tests {
    use super::*;
    use analysis::wording::forbidden;

    #[test]
    fn no_question_says_what_answers_may_not() {
        let corals: Vec<String> = (1..=12).map(|number| format!("C{number}")).collect();
        let about = About { corals: &corals, coral_count: 12, tanks: &corals[..2], last: None };
        let splits = By::codes().into_iter().filter_map(By::parse).map(AskedOfMember::Known);
        let asked = [
            AskedOfMember::CompleteSince,
            AskedOfMember::LossesListed,
            AskedOfMember::Acquired,
            AskedOfMember::DeathDay,
            AskedOfMember::Unseen,
            AskedOfMember::Origin,
        ];
        for asked in asked.into_iter().chain(splits) {
            let sentence = question(asked, &about);
            assert!(forbidden(&sentence).is_empty(), "{sentence}");
            assert!(sentence.contains('?'), "{sentence}");
        }
        assert!(question(AskedOfMember::Origin, &about).contains("C8 and 4 more"));
    }
}
