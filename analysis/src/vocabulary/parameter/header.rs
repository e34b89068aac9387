//! A column's header to a parameter: "NO3 (ppm)", "Nitrate-N", "Temp C", "KH meq/L", "SG 25/25".

use crate::vocabulary::text::{compact, words};
use crate::vocabulary::unit::{find_unit, is_link};
use crate::vocabulary::{ParameterCode, UnitCode, catalogue};

/// What a word means.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Meaning {
    pub(super) parameter: ParameterCode,
    pub(super) basis: Option<&'static str>,
    pub(super) unit: Option<UnitCode>,
}

/// Words of a header that say nothing of what is measured.
fn is_filler(word: &str) -> bool {
    matches!(
        word,
        "water"
            | "tank"
            | "level"
            | "levels"
            | "value"
            | "values"
            | "reading"
            | "readings"
            | "test"
            | "tests"
            | "result"
            | "results"
            | "measured"
            | "concentration"
            | "conc"
            | "dissolved"
            | "wert"
            | "werte"
            | "valeur"
            | "valor"
            | "waarde"
            | "aquarium"
            | "the"
            | "kit"
            | "my"
            | "our"
            | "display"
            | "gehalt"
            | "gehalte"
            | "niveau"
            | "taux"
            | "teneur"
            | "nivel"
            | "contenido"
            | "de"
            | "du"
            | "del"
            | "eau"
            | "leau"
            | "agua"
    )
}

/// Ends of compound words that say nothing of what is measured: "Kaliumwert", "Nitraatgehalte".
const TAILS: [&str; 8] = ["wert", "werte", "gehalt", "gehalte", "waarde", "waarden", "messung", "meting"];

/// A word without such an end.
fn without_tail(word: &str) -> &str {
    let head = TAILS.iter().filter_map(|tail| word.strip_suffix(tail)).min_by_key(|head| head.len());
    head.filter(|head| head.len() >= 3).unwrap_or(word)
}

/// Words for a place: the letter beside one is its name. "Tank B" is no boron, "Display K" no potassium.
fn is_place(word: &str) -> bool {
    matches!(word, "tank" | "aquarium" | "display")
}

/// Beside a word for a place only what the words without the single letters name too.
fn without_letters(found: Vec<Meaning>, telling: &[String]) -> Vec<Meaning> {
    let long: Vec<String> = telling.iter().filter(|word| word.chars().count() > 1).cloned().collect();
    let named = split(&long, &long.join(" "));
    found.into_iter().filter(|meaning| named.iter().any(|other| other.parameter == meaning.parameter)).collect()
}

/// The parameters that a header or test name can mean, each with the basis and the unit if the header says so.
/// Compared without case, accents and punctuation. Empty if the header names none, or names more than a
/// parameter; more than one for a word like "S" (sulfur in a laboratory's report, salinity in a log).
pub fn find_parameter_by_word(text: &str) -> Vec<(ParameterCode, Option<&'static str>, Option<UnitCode>)> {
    let words = words(text);
    let found = split(&words, text);
    let found = if found.is_empty() && words.iter().any(|word| without_tail(word) != word) {
        let heads: Vec<String> = words.iter().map(|word| without_tail(word).to_owned()).collect();
        split(&heads, &heads.join(" "))
    } else {
        found
    };
    let found = if found.is_empty() {
        let telling: Vec<String> = words.iter().filter(|word| !is_filler(word)).cloned().collect();
        let found = if telling.len() < words.len() && !telling.is_empty() {
            split(&telling, &telling.join(" "))
        } else {
            found
        };
        if words.iter().any(|word| is_place(word)) { without_letters(found, &telling) } else { found }
    } else {
        found
    };
    found.into_iter().map(|meaning| (meaning.parameter, meaning.basis, meaning.unit)).collect()
}

/// A known substance that has no code ("Cl", "rubidium"): kept as written.
pub fn find_substance_without_code(text: &str) -> Option<&'static str> {
    let index = &catalogue().parameters.without_code;
    let words = words(text);
    (1..=words.len()).rev().find_map(|end| {
        let found = index.get(&words[..end].concat())?;
        let rest = &words[end..];
        (rest.is_empty() || is_tail(rest) || index.get(&rest.concat()) == Some(found)).then_some(*found)
    })
}

fn is_tail(words: &[String]) -> bool {
    find_unit(&words.join(" ")).is_some()
}

fn split(words: &[String], text: &str) -> Vec<Meaning> {
    let index = &catalogue().parameters.words;
    if words.is_empty() {
        return Vec::new();
    }
    if let Some(meanings) = index.get(&words.concat()) {
        return plural(words).unwrap_or_else(|| meanings.clone());
    }
    // A bare unit names no parameter: "mg/L" is not magnesium in litres.
    if find_unit(text).is_some_and(|unit| unit.basis.is_none()) {
        return Vec::new();
    }
    // The name first, then unit and basis; or the other way round.
    let splits = (1..words.len())
        .rev()
        .map(|at| (&words[..at], &words[at..]))
        .chain((1..words.len()).map(|at| (&words[at..], &words[..at])));
    for (name, rest) in splits {
        let Some(meanings) = index.get(&name.concat()) else { continue };
        let symbol = name.concat().chars().count() == 1;
        let told = meanings.iter().filter_map(|meaning| tell(*meaning, rest));
        // A letter is a symbol only beside a unit that its substance is written in: "B KH" is no boron.
        let told: Vec<Meaning> = told.filter(|meaning| !symbol || is_written_in(*meaning)).collect();
        if !told.is_empty() {
            return told;
        }
    }
    Vec::new()
}

/// "Nitraten" is several nitrates, though without its dash "nitrate-N" has the same letters.
fn plural(words: &[String]) -> Option<Vec<Meaning>> {
    let [word] = words else { return None };
    let one = word.strip_suffix('n').filter(|one| one.ends_with('e') && word.chars().all(char::is_alphabetic))?;
    let meanings = catalogue().parameters.words.get(one)?;
    meanings.iter().all(|meaning| meaning.basis.is_none()).then(|| meanings.clone())
}

fn is_written_in(meaning: Meaning) -> bool {
    let accepts = &meaning.parameter.get().accepts;
    meaning.unit.is_none_or(|unit| accepts.iter().any(|row| row.unit == unit))
}

/// A meaning with what the rest of the header adds; `None` if the rest says anything else.
fn tell(mut meaning: Meaning, rest: &[String]) -> Option<Meaning> {
    let units = &catalogue().units;
    let parameter = meaning.parameter.get();
    let mut at = 0;
    while at < rest.len() {
        let mut moved = false;
        for end in (at + 1..=rest.len()).rev() {
            let part = &rest[at..end];
            if let Some(basis) = units.bases(part).iter().copied().find(|basis| {
                parameter.basis == Some(*basis)
                    || *basis == "free NH3" && parameter.code.as_str() == "ammonia"
                    || parameter.accepts.iter().any(|row| row.basis == Some(*basis))
            }) {
                meaning.basis = Some(basis);
            } else if let Some(unit) = units.plain(part).filter(|unit| {
                // "Fluorine (F)" is not in degrees.
                parameter.accepts.iter().any(|row| row.unit == *unit) || !is_own_symbol(meaning, part)
            }) {
                meaning.unit = Some(unit);
            } else if is_own_symbol(meaning, part) {
                // "Boron (B)" says the same twice.
            } else {
                continue;
            }
            at = end;
            moved = true;
            break;
        }
        if !moved {
            if !is_link(&rest[at]) {
                return None;
            }
            at += 1;
        }
    }
    Some(meaning)
}

/// Another word for the same parameter: the symbol of an element behind its name, or the name behind its symbol.
fn is_own_symbol(meaning: Meaning, part: &[String]) -> bool {
    let [word] = part else { return false };
    let words = &catalogue().parameters.words;
    let same = |other: &Meaning| other.parameter == meaning.parameter && other.unit.is_none();
    words.get(word).is_some_and(|meanings| meanings.iter().any(same))
}

/// Key of a word in the index.
pub(super) fn key(word: &str) -> String {
    compact(word)
}
