//! Levels in words, each with its own limits.

use crate::answer::By;
use crate::exposure::Band;
use crate::vocabulary::Origin;

/// A level: its code, and the same in words.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LevelName {
    /// As printed in data: `within`, `[5,15)`, `wild_collected`.
    pub code: String,
    /// As printed in a table: "5 to 15 mg/L, both included".
    pub label: String,
    /// After "corals": "with nitrate 5 to 15 mg/L, both included".
    pub phrase: String,
}

impl LevelName {
    /// A level by code and label.
    pub fn new(code: &str, label: &str) -> LevelName {
        LevelName { code: code.to_owned(), label: label.to_owned(), phrase: label.to_owned() }
    }

    /// Everything together.
    pub fn all() -> LevelName {
        LevelName::new("all", "all")
    }

    /// What is not known.
    pub fn unknown() -> LevelName {
        LevelName::new("unknown", "not known")
    }

    /// Neighbouring levels as one.
    pub fn joined(levels: &[LevelName]) -> LevelName {
        let codes: Vec<&str> = levels.iter().map(|level| level.code.as_str()).collect();
        let labels: Vec<&str> = levels.iter().map(|level| level.label.as_str()).collect();
        let phrases: Vec<&str> = levels.iter().map(|level| level.phrase.as_str()).collect();
        LevelName { code: codes.join("+"), label: labels.join(", or "), phrase: phrases.join(", or ") }
    }

    /// Years of purchase from the first to the last as one.
    pub fn years(first: &str, last: &str) -> LevelName {
        let years = format!("{first} to {last}");
        LevelName::new(&years, &format!("acquired in {years}"))
    }

    /// The level with what it says of corals of this split.
    pub(super) fn spoken(self, by: By) -> LevelName {
        let label = &self.label;
        let phrase = match by {
            By::None => "of all".to_owned(),
            By::Origin | By::Year | By::Feeding => label.clone(),
            By::Identification => format!("named {label}"),
            By::Form => format!("of the form {label}"),
            By::TankAge => format!("in tanks of an age of {label}"),
            By::KeeperExperience => format!("of keepers with {label} of reef-keeping"),
            By::Light => format!("in light of {label}"),
            By::Flow => format!("in {label} flow"),
            By::Carbon => format!("with carbon {label}"),
            By::WaterChange => format!("with {label} of the water changed"),
            By::Neighbours => format!("beside {label}"),
            By::Parameter(code) => format!("with {} {label}", code.get().name.to_lowercase()),
        };
        LevelName { phrase, ..self }
    }

    pub(super) fn origin(origin: Origin) -> LevelName {
        let label = match origin {
            Origin::WildCollected => "collected in the sea",
            Origin::Maricultured => "farmed in the sea",
            Origin::CaptiveGrown => "grown from cuttings of captive stock",
            Origin::CaptiveBred => "bred in captivity",
            Origin::FarmedUnclear => "said to be farmed, where is not clear",
            Origin::Unknown => "not known",
        };
        LevelName::new(origin.as_str(), label)
    }

    pub(super) fn taught(band: &Band) -> Vec<LevelName> {
        let unit =
            crate::vocabulary::find_unit(&band.unit).map_or(band.unit.as_str(), |found| found.unit.get().printed);
        let unit = if unit == "1" { "" } else { unit };
        let with_unit = |number: String| format!("{number} {unit}").trim_end().to_owned();
        vec![
            LevelName::new("below", &format!("below {}", with_unit(band.lower.to_string()))),
            LevelName::new(
                "within",
                &format!("{}, both included", with_unit(format!("{} to {}", band.lower, band.upper))),
            ),
            LevelName::new("above", &format!("above {}", with_unit(band.upper.to_string()))),
        ]
    }

    /// Steps between cuts: "under 5", "5 up to 15", "15 and more".
    pub(super) fn ladder(cuts: &[f64], unit: &str) -> Vec<LevelName> {
        let mut names = Vec::with_capacity(cuts.len() + 1);
        if let Some(first) = cuts.first() {
            names.push(LevelName::new(&format!("<{first}"), &format!("under {first} {unit}")));
        }
        for pair in cuts.windows(2) {
            let (from, to) = (pair[0], pair[1]);
            names.push(LevelName::new(&format!("[{from},{to})"), &format!("{from} up to {to} {unit}")));
        }
        if let Some(last) = cuts.last() {
            names.push(LevelName::new(&format!(">={last}"), &format!("{last} {unit} and more")));
        }
        names
    }

    /// Steps of a count of whole things between cuts: "no", "1 or 2", "6 or more"; codes as of [`LevelName::ladder`].
    pub(super) fn counts(cuts: &[f64], things: &str) -> Vec<LevelName> {
        let mut names = Self::ladder(cuts, things);
        if cuts.iter().any(|cut| cut.fract() != 0.0 || *cut < 1.0) {
            return names;
        }
        let bounds: Vec<i64> = std::iter::once(0).chain(cuts.iter().map(|cut| *cut as i64)).collect();
        for (at, name) in names.iter_mut().enumerate() {
            let label = match (bounds[at], bounds.get(at + 1).map(|next| next - 1)) {
                (0, Some(0)) => format!("no {things}"),
                (from, Some(to)) if from == to => format!("{from} {things}"),
                (from, Some(to)) if from + 1 == to => format!("{from} or {to} {things}"),
                (from, Some(to)) => format!("{from} to {to} {things}"),
                (from, None) => format!("{from} or more {things}"),
            };
            *name = LevelName::new(&name.code, &label);
        }
        names
    }

    pub(super) fn feeding() -> Vec<LevelName> {
        [
            ("0", "not fed"),
            ("(0,1)", "fed less than once a week"),
            ("[1,2)", "fed once a week"),
            ("[2,4)", "fed two or three times a week"),
            (">=4", "fed four times a week or more"),
        ]
        .map(|(code, label)| LevelName::new(code, label))
        .to_vec()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn counts_are_named_as_a_person_counts() {
        let labels = |cuts: &[f64]| -> Vec<(String, String)> {
            LevelName::counts(cuts, "corals").into_iter().map(|name| (name.code, name.label)).collect()
        };
        let pair = |code: &str, label: &str| (code.to_owned(), label.to_owned());
        assert_eq!(
            labels(&[1.0, 3.0, 6.0]),
            [
                pair("<1", "no corals"),
                pair("[1,3)", "1 or 2 corals"),
                pair("[3,6)", "3 to 5 corals"),
                pair(">=6", "6 or more corals")
            ]
        );
        assert_eq!(labels(&[2.0, 3.0])[..2], [pair("<2", "0 or 1 corals"), pair("[2,3)", "2 corals")]);
        assert_eq!(labels(&[1.5])[0], pair("<1.5", "under 1.5 corals"));
    }
}
