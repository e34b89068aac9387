//! Which corals a remark says were lost. Only what stands beside the word of fate is taken; where a loss and a coral stand
//! in one sentence and nobody can tell that they belong together, the sentence is asked about.

use std::ops::Range;

use analysis::vocabulary::text::words;
use analysis::vocabulary::{NameMatch, is_no_reading, yes_or_no};

pub(super) use crate::layout::coral_row::tells_a_loss as ends;

const ARTICLES: &[&str] = &[
    "the", "my", "our", "a", "one", "der", "die", "das", "den", "mein", "meine", "unser", "unsere", "eine", "ein",
    "le", "la", "les", "l", "mon", "ma", "notre", "el", "los", "las", "mi", "mis", "un", "una", "une", "de", "het",
    "een", "mijn", "onze",
];
const AND: &[&str] = &["and", "und", "et", "y", "e", "en", "&", "+", "also", "auch", "aussi", "también", "ook"];
/// What stands behind one of these is a place, and not what died.
const PLACES: &[&str] = &[
    "near",
    "next",
    "beside",
    "by",
    "behind",
    "under",
    "over",
    "above",
    "below",
    "between",
    "beneath",
    "from",
    "around",
    "on",
    "in",
    "at",
    "to",
    "neben",
    "bei",
    "beim",
    "hinter",
    "unter",
    "uber",
    "über",
    "zwischen",
    "von",
    "vom",
    "an",
    "am",
    "auf",
    "nahe",
    "près",
    "pres",
    "côté",
    "cote",
    "derrière",
    "derriere",
    "sous",
    "sur",
    "entre",
    "du",
    "dans",
    "cerca",
    "junto",
    "detrás",
    "detras",
    "debajo",
    "sobre",
    "lado",
    "bajo",
    "naast",
    "achter",
    "onder",
    "boven",
    "tussen",
    "van",
    "op",
];
const BUT: &[&str] =
    &["but", "aber", "mais", "pero", "maar", "because", "weil", "parce", "porque", "omdat", "while", "während"];

/// What a sentence says.
#[derive(Debug, PartialEq)]
pub(super) enum Loss {
    /// A coral by its label, or by a name that nobody has a label for.
    Of(String),
    /// Something died, and a coral is named, and they may belong together: the sentence.
    Unsure(String),
}

fn is(word: &str, of: &[&str]) -> bool {
    of.contains(&word)
}

/// The losses told in a remark, by the labels of the keeper's corals.
pub(super) fn losses<'l>(labels: impl Iterator<Item = &'l str>, text: &str) -> Vec<Loss> {
    if !ends(text) {
        return Vec::new();
    }
    let labels: Vec<(&str, Vec<String>)> =
        labels.map(|label| (label, words(label))).filter(|(_, said)| !said.is_empty()).collect();
    sentences(text, &labels).iter().flat_map(|sentence| of_sentence(sentence, &labels)).collect()
}

const NONE: [&str; 15] = [
    "0", "none", "nothing", "keine", "keiner", "keins", "nichts", "aucun", "aucune", "rien", "ninguno", "ninguna",
    "nada", "geen", "niets",
];

/// The losses in a cell under a header that tells an end ("Coraux perdus", "Deaths"); a word for none says nothing.
pub(super) fn under<'l>(labels: impl Iterator<Item = &'l str>, text: &str) -> Vec<Loss> {
    let said = words(text);
    let none = yes_or_no(text) == Some(false) || said.first().is_some_and(|word| is(word, &NONE));
    if said.is_empty() || is_no_reading(text) || none {
        return Vec::new();
    }
    let labels: Vec<(&str, Vec<String>)> =
        labels.map(|label| (label, words(label))).filter(|(_, said)| !said.is_empty()).collect();
    let taken = found(&said, &labels);
    if taken.is_empty() {
        let named = (1..=3.min(said.len()))
            .rev()
            .map(|length| said[..length].join(" "))
            .find(|name| !matches!(crate::canonical::kind::of(name), NameMatch::Near(_) | NameMatch::Unknown));
        return vec![named.map_or_else(|| Loss::Unsure(text.trim().to_owned()), Loss::Of)];
    }
    taken.into_iter().map(|(label, _)| Loss::Of(label.to_owned())).collect()
}

/// Sentences: at stops, strokes and words such as "but"; at commas too, unless what stands before is a coral of a list
/// ("Torch, Gonio and Hammer died").
fn sentences(text: &str, labels: &[(&str, Vec<String>)]) -> Vec<String> {
    let mut sentences: Vec<String> = Vec::new();
    let mut open = String::new();
    let mut close = |open: &mut String| {
        if !open.trim().is_empty() {
            sentences.push(std::mem::take(open));
        }
        open.clear();
    };
    let mut end = 0;
    for piece in text.split_inclusive([',', ';', '.', '\n', '\r', '!', '|']) {
        end += piece.len();
        let listed = {
            let said: Vec<String> = words(&format!("{open} {piece}"));
            let taken = found(&said, labels);
            !taken.is_empty()
                && (0..said.len()).all(|at| {
                    taken.iter().any(|(_, range)| range.contains(&at)) || is(&said[at], ARTICLES) || is(&said[at], AND)
                })
        };
        // "No. 3", "4.8.": a stop within a word ends nothing.
        let within = piece.ends_with(['.', ',']) && text[end..].starts_with(|next: char| !next.is_whitespace());
        open.push_str(piece);
        if !listed && !within {
            close(&mut open);
        }
    }
    close(&mut open);
    sentences
        .iter()
        .flat_map(|sentence| {
            let mut parts: Vec<String> = vec![String::new()];
            for word in sentence.split_whitespace() {
                if is(&word.to_lowercase(), BUT) {
                    parts.push(String::new());
                } else if let Some(last) = parts.last_mut() {
                    last.push(' ');
                    last.push_str(word);
                }
            }
            parts
        })
        .filter(|part| !part.trim().is_empty())
        .collect()
}

/// Labels in the words of a sentence, the longest first: "Goni 1" holds "Goni".
fn found<'l>(said: &[String], labels: &[(&'l str, Vec<String>)]) -> Vec<(&'l str, Range<usize>)> {
    let mut taken: Vec<(&str, Range<usize>)> = Vec::new();
    let mut by_length: Vec<&(&str, Vec<String>)> = labels.iter().collect();
    by_length.sort_by_key(|(_, label)| std::cmp::Reverse(label.len()));
    for (label, spelt) in by_length {
        for at in 0..(said.len() + 1).saturating_sub(spelt.len()) {
            let range = at..at + spelt.len();
            let free = taken.iter().all(|(_, other)| other.end <= range.start || range.end <= other.start);
            if free && said[range.clone()] == spelt[..] {
                taken.push((label, range));
            }
        }
    }
    taken.sort_by_key(|(_, range)| range.start);
    taken
}

fn of_sentence(sentence: &str, labels: &[(&str, Vec<String>)]) -> Vec<Loss> {
    if !ends(sentence) {
        return Vec::new();
    }
    let said = words(sentence);
    let taken = found(&said, labels);
    if taken.is_empty() {
        return by_name(&said).map(Loss::Of).into_iter().collect();
    }
    // Corals joined by "and" share what is said of them.
    let mut runs: Vec<Vec<(&str, Range<usize>)>> = Vec::new();
    for (label, range) in taken {
        let joined = runs.last().and_then(|run| run.last()).is_some_and(|(_, before)| {
            said[before.end..range.start].iter().all(|word| is(word, AND) || is(word, ARTICLES))
        });
        match runs.last_mut().filter(|_| joined) {
            Some(run) => run.push((label, range)),
            None => runs.push(vec![(label, range)]),
        }
    }
    let alone = runs.len() == 1;
    // "†Pavona": the sign stands beside what died.
    if alone && sentence.contains(['†', '✝']) {
        return runs.iter().flatten().map(|(label, _)| Loss::Of((*label).to_owned())).collect();
    }
    let mut lost = Vec::new();
    let mut unsure = false;
    for (at, run) in runs.iter().enumerate() {
        let (Some((_, first)), Some((_, last))) = (run.first(), run.last()) else { continue };
        let until = runs.get(at + 1).and_then(|next| next.first()).map_or(said.len(), |(_, range)| range.start);
        let place =
            said[..first.start].iter().rev().find(|word| !is(word, ARTICLES)).is_some_and(|word| is(word, PLACES));
        if follows(&said[last.end..until]) && !place || alone && ends_in_fate(&said[..first.start]) {
            lost.extend(run.iter().map(|(label, _)| Loss::Of((*label).to_owned())));
        } else {
            unsure |= !place;
        }
    }
    if lost.is_empty() && unsure {
        lost.push(Loss::Unsure(sentence.trim().to_owned()));
    }
    lost
}

/// Whether words behind a coral say its end, with no place between: "was found dead", not "next to a dead snail".
fn follows(after: &[String]) -> bool {
    (1..=after.len()).find(|&length| ends(&after[..length].join(" "))).is_some_and(|length| {
        let fate = (0..length).rev().find(|&from| ends(&after[from..length].join(" "))).unwrap_or(0);
        !after[..fate].iter().any(|word| is(word, PLACES))
    })
}

/// Whether words end in a word of fate, articles apart: "we lost the", not "removed a dead snail near the".
fn ends_in_fate(before: &[String]) -> bool {
    let articles = before.iter().rev().take_while(|word| is(word, ARTICLES)).count();
    let before = &before[..before.len() - articles];
    (1..=3.min(before.len())).any(|length| {
        let last = &before[before.len() - length..];
        ends(&last.join(" ")) && !ends(&last[..length - 1].join(" "))
    })
}

/// A name at the beginning, "the torch died", or right behind the word of fate, "murió la Goniopora".
fn by_name(said: &[String]) -> Option<String> {
    let skipped = said.iter().take_while(|word| is(word, ARTICLES)).count();
    let begins = (1..said.len()).filter(|&at| !is(&said[at], ARTICLES) && ends_in_fate(&said[..at]));
    std::iter::once(skipped).chain(begins).find_map(|from| {
        let most = if from == skipped { said.len().saturating_sub(skipped + 1) } else { said.len() - from };
        (1..=3.min(most)).rev().find_map(|length| {
            let name = said[from..from + length].join(" ");
            (!matches!(crate::canonical::kind::of(&name), NameMatch::Near(_) | NameMatch::Unknown)).then_some(name)
        })
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn told(text: &str) -> Vec<String> {
        let labels = ["Torch", "Goni", "Goni 1", "Antorcha", "Hammer"];
        losses(labels.into_iter(), text)
            .into_iter()
            .map(|loss| match loss {
                Loss::Of(label) => label,
                Loss::Unsure(sentence) => format!("? {sentence}"),
            })
            .collect()
    }

    #[test]
    fn cells_under_a_header_of_losses() {
        for header in ["Coraux perdus", "Losses", "Died", "Corales perdidos", "Gestorben"] {
            assert!(ends(header), "{header}");
        }
        for header in ["Remarks", "Notes", "Observaciones", "Look"] {
            assert!(!ends(header), "{header}");
        }
        let told = |text: &str| under(["Torch", "Goni"].into_iter(), text);
        assert_eq!(told("Torch"), [Loss::Of("Torch".to_owned())]);
        assert_eq!(told("Torch + Goni"), [Loss::Of("Torch".to_owned()), Loss::Of("Goni".to_owned())]);
        assert_eq!(told("Pavona cactus"), [Loss::Of("pavona cactus".to_owned())]);
        assert_eq!(told("the big one"), [Loss::Unsure("the big one".to_owned())]);
        for none in ["", "-", "none", "0", "no"] {
            assert!(told(none).is_empty(), "{none}");
        }
    }

    #[test]
    fn what_stands_beside_the_word_of_fate() {
        for (text, lost) in [
            ("Torch died", &["Torch"][..]),
            ("the Torch was found dead this morning", &["Torch"]),
            ("Torch and Goni 1 died", &["Torch", "Goni 1"]),
            ("Torch, Goni und Hammer gestorben", &["Torch", "Goni", "Hammer"]),
            ("Torch died, Goni fine", &["Torch"]),
            ("moved Torch because Goni 1 died", &["Goni 1"]),
            ("heater stuck, Torch dead", &["Torch"]),
            ("dead: Torch", &["Torch"]),
            ("murió la Antorcha", &["Antorcha"]),
            ("quité un caracol muerto cerca de la Antorcha", &[]),
            ("removed dead snail near Torch", &[]),
            ("Torch beside the dead one", &["? Torch beside the dead one"]),
            ("Torch in the tank where it died", &["? Torch in the tank where it died"]),
            ("Torch fine", &[]),
            ("lost power for 3 hours", &[]),
            ("the goniopora died", &["goniopora"]),
            ("perdu la goniopora", &["goniopora"]),
            ("†Torch", &["Torch"]),
            ("Torch † (too warm)", &["Torch"]),
        ] {
            assert_eq!(told(text), lost, "{text}");
        }
    }
}
