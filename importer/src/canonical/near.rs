//! How near two names of a keeper's tanks or corals are. Equal but for case and blanks is the same name; everything here
//! is only a reason to ask.

use analysis::vocabulary::text::{compact, words};
use analysis::vocabulary::{NameMatch, TaxonSlug, kind_words};

/// Words that say "tank" and nothing else; common practice, no source.
const TANK_WORDS: &[&str] = &[
    "tank", "tanks", "t", "aquarium", "aquaria", "aqua", "no", "nr", "number", "the", "my", "our", "display", "system",
    "becken", "das", "mein", "bac", "cuve", "le", "mon", "acuario", "urna", "el", "mi", "bak", "het", "mijn",
];

/// Letters of the shortest word that may be misspelt (a letter less if one was dropped), and of those with two slips.
const WORDY: usize = 4;
const LONG: usize = 9;

/// How near, the nearest first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Nearness {
    /// The same letters and digits: "Reef-1", "reef 1", "Réef1".
    Signs,
    /// The same but for words that say "tank": "Tank 1", "T1"; "Alder tank", "Alder".
    Generic,
    /// One word with a slip, or its plural.
    Letters,
    /// Words of one are missing in the other: "Big Alder", "Alder".
    Words,
}

/// Words and numbers of a name, cut where letters meet digits; numbers without leading zeros.
fn parts(name: &str) -> Vec<String> {
    let mut parts: Vec<String> = Vec::new();
    for word in words(name) {
        let mut part = String::new();
        for letter in word.chars() {
            let turn = part.chars().last().is_some_and(|last| last.is_ascii_digit() != letter.is_ascii_digit());
            if turn {
                parts.push(std::mem::take(&mut part));
            }
            part.push(letter);
        }
        parts.push(part);
    }
    for part in &mut parts {
        if is_number(part) {
            let figures = part.trim_start_matches('0');
            *part = if figures.is_empty() { "0".to_owned() } else { figures.to_owned() };
        }
    }
    parts
}

fn is_number(part: &str) -> bool {
    part.starts_with(|letter: char| letter.is_ascii_digit())
}

/// Numbers and single letters tell things of one name apart.
fn marks(parts: &[String]) -> Vec<&String> {
    parts.iter().filter(|part| is_number(part) || part.chars().count() == 1).collect()
}

/// A slip in a word: one letter, two neighbours changed about, the plural; two letters in a long word.
fn slip(one: &str, other: &str) -> bool {
    let (own, others) = (one.chars().count(), other.chars().count());
    let (shorter, longer) = (own.min(others), own.max(others));
    let wordy = |word: &str| word.chars().all(char::is_alphabetic);
    longer >= WORDY
        && shorter >= WORDY - 1
        && wordy(one)
        && wordy(other)
        && strsim::osa_distance(one, other) <= if shorter >= LONG { 2 } else { 1 }
}

/// The one pair of words in which two names of as many words differ, if it is a slip.
fn one_slip(left: &[String], right: &[String]) -> bool {
    let differing: Vec<_> = left.iter().zip(right).filter(|(a, b)| a != b).collect();
    left.len() == right.len() && matches!(differing.as_slice(), [(a, b)] if slip(a, b))
}

/// How near two names of tanks are; `None` if they are equal but for case and blanks, or not near.
pub(crate) fn tanks(one: &str, other: &str) -> Option<Nearness> {
    if crate::cell::fold::name(one) == crate::cell::fold::name(other) {
        return None;
    }
    let key = compact(one);
    if !key.is_empty() && key == compact(other) {
        return Some(Nearness::Signs);
    }
    let (left, right) = (parts(one), parts(other));
    let misspelt = one_slip(&left, &right);
    let bare = |parts: &[String]| -> Vec<String> {
        parts.iter().filter(|part| !TANK_WORDS.contains(&part.as_str())).cloned().collect()
    };
    let (left, right) = (bare(&left), bare(&right));
    if !left.is_empty() && left == right {
        return Some(Nearness::Generic);
    }
    if misspelt || one_slip(&left, &right) {
        return Some(Nearness::Letters);
    }
    if left.is_empty() || right.is_empty() {
        return None;
    }
    if marks(&left) != marks(&right) {
        return None;
    }
    let holds = |whole: &[String], part: &[String]| {
        part.iter().any(|word| word.chars().count() >= WORDY - 1) && part.iter().all(|word| whole.contains(word))
    };
    (holds(&left, &right) || holds(&right, &left)).then_some(Nearness::Words)
}

/// A label without signs and blanks, numbers apart: "C-03", "c 3" and "C3" are alike.
pub(crate) fn signless(label: &str) -> String {
    joined(&parts(label))
}

/// Parts in one word; two numbers stay apart.
fn joined(parts: &[String]) -> String {
    let mut whole = String::new();
    for part in parts {
        if is_number(part) && whole.ends_with(|last: char| last.is_ascii_digit()) {
            whole.push(' ');
        }
        whole.push_str(part);
    }
    whole
}

/// Whether two labels differ by a slip in one word.
pub(crate) fn misspelt(one: &str, other: &str) -> bool {
    one_slip(&parts(one), &parts(other))
}

/// A name in a diary: its parts, and the kinds that it can mean.
pub(crate) struct Said {
    parts: Vec<String>,
    kinds: Vec<TaxonSlug>,
}

impl Said {
    /// Of a name as written.
    pub fn of(written: &str) -> Self {
        let kinds = match crate::canonical::kind::of(&kind_words(written)) {
            NameMatch::Ambiguous { candidates, .. } => candidates.iter().map(|candidate| candidate.taxon).collect(),
            NameMatch::Near(several) => several,
            found => found.taxon().into_iter().collect(),
        };
        Said { parts: parts(written), kinds }
    }

    /// Whether it is a name of a coral's kind.
    pub fn means(&self, taxon: Option<TaxonSlug>) -> bool {
        taxon.is_some_and(|taxon| self.kinds.iter().any(|kind| kind.is_within(taxon) || taxon.is_within(*kind)))
    }
}

/// How well a name in a diary fits a coral: 0 = the same letters and digits; `None` = not at all.
pub(crate) fn coral(said: &Said, label: &str, taxon: Option<TaxonSlug>) -> Option<u32> {
    let (left, right) = (said.parts.clone(), parts(label));
    if left.is_empty() {
        return None;
    }
    if joined(&left) == joined(&right) {
        return Some(0);
    }
    let numbers = |parts: &[String]| -> Vec<String> { parts.iter().filter(|part| is_number(part)).cloned().collect() };
    let (own, others) = (numbers(&left), numbers(&right));
    let kind = said.means(taxon);
    if own != others && !own.is_empty() && !others.is_empty() {
        // Of the same kind, with another number: offered last.
        return kind.then_some(8);
    }
    let unnumbered = u32::from(own != others);
    let word = |parts: &[String]| -> Vec<String> { parts.iter().filter(|part| !is_number(part)).cloned().collect() };
    let (left, right) = (word(&left), word(&right));
    let alike = |a: &String, b: &String| {
        let short = a.chars().count().min(b.chars().count());
        a == b || short >= 3 && (a.starts_with(b.as_str()) || b.starts_with(a.as_str())) || slip(a, b)
    };
    let all_in = |part: &[String], whole: &[String]| {
        !part.is_empty() && part.iter().all(|word| whole.iter().any(|other| alike(word, other)))
    };
    if left.len() == right.len() && all_in(&left, &right) && all_in(&right, &left) {
        return Some(1 + unnumbered);
    }
    if kind {
        return Some(2 + unnumbered);
    }
    if all_in(&left, &right) || all_in(&right, &left) {
        return Some(4 + unnumbered);
    }
    let (one, other) = (left.concat(), right.concat());
    let size = one.chars().count().min(other.chars().count());
    let slips = if size >= 5 { 2 } else { 1 };
    (size >= 3 && strsim::osa_distance(&one, &other) <= slips).then_some(5 + unnumbered)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn near_tanks() {
        for (one, other, want) in [
            ("Alders", "Alder", Some(Nearness::Letters)),
            ("Adler", "Alder", Some(Nearness::Letters)),
            ("Aldar reef", "Alder reef", Some(Nearness::Letters)),
            ("Tank1", "Tank 1", Some(Nearness::Signs)),
            ("Reef-1", "Reef 1", Some(Nearness::Signs)),
            ("Réef", "Reef", Some(Nearness::Signs)),
            ("T1", "Tank 1", Some(Nearness::Generic)),
            ("Becken 01", "Tank 1", Some(Nearness::Generic)),
            ("Tnk 1", "Tank 1", Some(Nearness::Letters)),
            ("Alder tank", "Alder", Some(Nearness::Generic)),
            ("Big Alder tank", "Alder", Some(Nearness::Words)),
            ("alder ", "Alder", None),
            ("Tank 1", "Tank 2", None),
            ("Tank 1", "Tank 11", None),
            ("Reef A", "Reef B", None),
            ("Alder", "Alder 2", None),
            ("Alder", "Brook", None),
            ("Tank", "Alder", None),
            ("", "Alder", None),
        ] {
            assert_eq!(tanks(one, other), want, "{one} / {other}");
            assert_eq!(tanks(other, one), want, "{other} / {one}");
        }
    }

    #[test]
    fn near_labels() {
        assert_eq!(signless("Goni1"), signless("goni 1"));
        assert_eq!(signless("C-03"), signless("C3"));
        assert!(misspelt("Torch gren", "Torch green"));
        for (one, other) in [("Goni 1", "Goni 2"), ("A", "B"), ("Red cap", "Red milli"), ("11", "1.1")] {
            assert_ne!(signless(one), signless(other));
            assert!(!misspelt(one, other), "{one} / {other}");
        }
    }

    #[test]
    fn corals_by_nearness() {
        let goniopora = TaxonSlug::parse("goniopora");
        let hammer = TaxonSlug::parse("fimbriaphyllia-ancora");
        let at = |written, label, taxon| coral(&Said::of(written), label, taxon);
        assert_eq!(at("Goni1", "Goni 1", goniopora), Some(0));
        assert_eq!(at("goniopora 1", "Goni 1", goniopora), Some(1));
        assert_eq!(at("hammer (left)", "Hammer", hammer), Some(2));
        assert_eq!(at("Goniopora", "C03", goniopora), Some(3));
        assert_eq!(at("Kap", "Cap", None), Some(5));
        assert_eq!(at("Goni 2", "Goni 1", goniopora), None);
        assert_eq!(at("Goniopora 2", "Goni 1", goniopora), Some(8));
        assert_eq!(at("Torch", "Goni 1", goniopora), None);
    }
}
