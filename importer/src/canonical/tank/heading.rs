//! A tank named inside a heading: "Korallen in Becken Reed", "Coraux du bac Tilleul", "Corals of the Alder tank",
//! "Acuario Fresno". The word for a tank and what stands beside it; a sentence names none.

use analysis::vocabulary::{HeaderRole, find_row_word, header_roles};

use crate::cell::fold;
use crate::dialect::guess::is_month_title;

/// Words a heading may have.
const WORDS: usize = 8;
/// Words a name may have.
const NAME: usize = 3;

/// Small words before a tank's name or its word.
const LINKS: [&str; 40] = [
    "in", "im", "the", "of", "for", "from", "my", "our", "de", "del", "du", "des", "la", "le", "les", "el", "los",
    "en", "dans", "mon", "notre", "mi", "van", "uit", "het", "mijn", "onze", "das", "dem", "des", "der", "den", "aus",
    "vom", "von", "mein", "meinem", "fur", "voor", "para",
];

/// Words for a tank that mean nothing else in a heading. "Reef", "system" and the like do so in small letters only:
/// "sample of reef Alder", but not "Notes for Reef Friends".
const TANKS: [&str; 10] =
    ["tank", "aquarium", "becken", "bac", "cuve", "acuario", "pecera", "tanque", "bak", "aquariums"];

fn is_tank_word(word: &str) -> bool {
    header_roles(word).first() == Some(&HeaderRole::Tank)
        && (word.starts_with(char::is_lowercase) || TANKS.contains(&analysis::vocabulary::text::fold(word).as_str()))
}

/// A word that may begin a name: a capital or a figure, and nothing that heads a column or sums up.
fn begins_name(word: &str) -> bool {
    let first = word.chars().next();
    first.is_some_and(|letter| letter.is_uppercase() || letter.is_ascii_digit())
        && !is_month_title(word)
        && find_row_word(word).is_none()
        && header_roles(word).is_empty()
}

/// The names a heading may give a tank, the likeliest first. `is_one` says whether a text is a tank already named.
pub(super) fn name_in(text: &str, is_one: impl Fn(&str) -> bool) -> Option<String> {
    let text = fold::plain(text);
    let head = text.split([':', ';', '(']).next().unwrap_or(&text);
    let mut words: Vec<&str> = head
        .split(|letter: char| letter.is_whitespace() || letter == ',' || letter == '/')
        .map(|word| word.trim_matches(|letter: char| "\"'.-–—!?".contains(letter)))
        .filter(|word| !word.is_empty())
        .collect();
    // "Tests of tank Alder 2024" and "…, March 2024".
    while words.last().is_some_and(|word| is_month_title(word)) {
        words.pop();
    }
    if words.len() > WORDS {
        return None;
    }
    // "Corals in the Long Reef tank": of two words for a tank the last one ends the heading.
    let ends = words
        .len()
        .checked_sub(1)
        .filter(|&last| is_tank_word(words[last]) && !words[last].starts_with(char::is_uppercase));
    let at = ends.or_else(|| words.iter().position(|word| is_tank_word(word)))?;
    let known = |name: &str| is_one(name).then(|| name.to_owned());
    let after: Vec<&str> =
        words[at + 1..].iter().copied().take_while(|word| begins_name(word) || is_one(word)).collect();
    if !after.is_empty() && after.len() <= NAME && at + 1 + after.len() == words.len() {
        let rest = after.join(" ");
        let whole = format!("{} {rest}", words[at]);
        let number = rest.bytes().all(|byte| byte.is_ascii_digit());
        // "Aquarium Tagebuch" is no tank called "Tagebuch": a small word leads to one that is named.
        let linked = number || at > 0 && is_link(words[at - 1]) || is_quoted(head, &rest);
        return known(&whole).or_else(|| known(&rest)).or(linked.then_some(if number { whole } else { rest }));
    }
    // "Corals of the Alder tank": the name stands before the word, and the word ends the heading.
    if at + 1 != words.len() {
        return None;
    }
    let may = |word: &str| {
        begins_name(word)
            || word.starts_with(char::is_uppercase) && header_roles(word).first() == Some(&HeaderRole::Tank)
    };
    let mut first = at;
    while first > 0 && at - first < NAME && may(words[first - 1]) && !is_link(words[first - 1]) {
        first -= 1;
    }
    let linked = first > 0 && is_link(words[first - 1]);
    let name = words[first..at].join(" ");
    (first < at && linked).then_some(name)
}

/// "Willow tank", "Bac du salon", "Becken im Büro 2025": a tank already named, beside the word for a tank, small words, and
/// nothing else. `is_one` as for [`name_in`].
pub(super) fn known_in(text: &str, is_one: impl Fn(&str) -> bool) -> Option<String> {
    let text = fold::plain(text);
    let head = text.split([':', ';', '(']).next().unwrap_or(&text);
    let mut words: Vec<&str> = head
        .split(|letter: char| letter.is_whitespace() || letter == ',' || letter == '/')
        .map(|word| word.trim_matches(|letter: char| "\"'.-–—!?".contains(letter)))
        // "de l'entrée", "d'angle".
        .map(|word| ["l'", "L'", "d'", "D'"].iter().find_map(|article| word.strip_prefix(article)).unwrap_or(word))
        .filter(|word| !word.is_empty())
        .collect();
    while words.last().is_some_and(|word| is_month_title(word)) {
        words.pop();
    }
    if words.len() > WORDS || !words.iter().any(|word| is_tank_word(word)) {
        return None;
    }
    // The name may hold a small word itself: the fewest that must go are taken off, at the ends.
    let beside = |word: &&str| is_tank_word(word) || is_link(word);
    let first = words.iter().take_while(|word| beside(word)).count();
    let last = words.iter().rev().take_while(|word| beside(word)).count();
    (0..=first)
        .flat_map(|first| (0..=last).map(move |last| (first, last)))
        .filter(|(first, last)| first + last > 0 && first + last < words.len())
        .map(|(first, last)| words[first..words.len() - last].join(" "))
        .find(|name| is_one(name))
}

/// In words that say what a log is, and name no tank: "Aquarium Tagebuch", "Tank Survey".
const LOGS: [&str; 48] = [
    "tagebuch",
    "buch",
    "log",
    "book",
    "boek",
    "diary",
    "journal",
    "carnet",
    "cahier",
    "cuaderno",
    "diario",
    "libreta",
    "wert",
    "test",
    "survey",
    "note",
    "notiz",
    "data",
    "daten",
    "record",
    "history",
    "ubersicht",
    "overview",
    "list",
    "tabel",
    "table",
    "parameter",
    "parametr",
    "wasser",
    "water",
    "agua",
    "eau",
    "maintenance",
    "pflege",
    "entretien",
    "mantenimiento",
    "onderhoud",
    "mess",
    "mesure",
    "measure",
    "medicion",
    "meting",
    "report",
    "bericht",
    "rapport",
    "informe",
    "verslag",
    "update",
];

/// The name that a title may give a tank without a small word between: "Becken Linde", "Korallenliste Becken Ahorn, Stand
/// 31.05.2025". Nobody knows whether it does.
pub(super) fn may_name(text: &str) -> Option<String> {
    let text = fold::plain(text);
    // What follows may say the day on which a list is true.
    let text = match text.split_once(',') {
        Some((head, rest)) if crate::canonical::as_of::is_stated(rest.trim()) => head,
        _ => text.as_str(),
    };
    let mut words: Vec<&str> = text.split_whitespace().collect();
    while words.last().is_some_and(|word| is_month_title(word)) {
        words.pop();
    }
    let says = |word: &&str| {
        let folded = analysis::vocabulary::text::fold(word);
        LOGS.iter().any(|log| folded.contains(log))
    };
    let lead = words.iter().take_while(|word| !is_tank_word(word)).count();
    let (before, rest) = words.split_at(lead);
    let (_, name) = rest.split_first()?;
    let named = (1..=2).contains(&name.len())
        && name.iter().all(|word| begins_name(word) && word.chars().all(char::is_alphabetic) && !says(word));
    (named && before.len() <= 3 && before.iter().all(says)).then(|| name.join(" "))
}

/// Words that may stand right before a tank which a title is not about: "Moved from Alder".
const ELSEWHERE: [&str; 30] = [
    "from", "to", "with", "and", "than", "like", "near", "after", "before", "without", "und", "mit", "ohne", "nach",
    "aus", "wie", "et", "avec", "sans", "depuis", "vers", "con", "sin", "desde", "hacia", "met", "zonder", "uit",
    "naar", "of",
];

/// "Water tests Willow", "Willow, spring 2025": a short title that begins or ends in the name of a tank the keeper has.
pub(super) fn ends_in<'n>(text: &str, names: impl Iterator<Item = &'n str>) -> Option<&'n str> {
    let said: Vec<String> = analysis::vocabulary::text::words(text);
    if said.len() > WORDS - 2 || text.trim_end().ends_with(['.', '!', '?']) {
        return None;
    }
    let is = |word: Option<&String>, list: &[&str]| word.is_some_and(|word| list.contains(&word.as_str()));
    let mut found = names.filter(|name| {
        let name = analysis::vocabulary::text::words(name);
        let letters: usize = name.iter().map(|word| word.chars().count()).sum();
        if letters < 3 || name.len() >= said.len() {
            return false;
        }
        let begins = said.starts_with(&name) && !is(said.get(name.len()), &ELSEWHERE[..]);
        let before = said.len() - name.len();
        let ends = said.ends_with(&name) && !is(said.get(before - 1), &ELSEWHERE[..]);
        begins || ends
    });
    let first = found.next()?;
    found.next().is_none().then_some(first)
}

fn is_quoted(head: &str, name: &str) -> bool {
    const QUOTES: [char; 9] = ['"', '\'', '“', '”', '„', '«', '»', '‘', '’'];
    head.match_indices(name).any(|(at, _)| {
        head[..at].trim_end().ends_with(QUOTES) && head[at + name.len()..].trim_start().starts_with(QUOTES)
    })
}

fn is_link(word: &str) -> bool {
    LINKS.contains(&analysis::vocabulary::text::fold(word).as_str())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_in_headings() {
        for (text, expected) in [
            ("Korallen in Becken Reed", Some("Reed")),
            ("Koralen in bak Hollow", Some("Hollow")),
            ("Coraux du bac Tilleul", Some("Tilleul")),
            ("Corales del acuario Fresno", Some("Fresno")),
            ("Corals in tank Alder", Some("Alder")),
            ("Corals of the Alder tank", Some("Alder")),
            ("Corals in the Long Reef tank", Some("Long Reef")),
            ("Becken 2: Korallen", Some("Becken 2")),
            ("Korallen im Becken 2", Some("Becken 2")),
            ("Wassertests Becken \"Hollow\" 2024", Some("Hollow")),
            ("Tests of tank Alder, March 2024", Some("Alder")),
            ("Corals in my tank", None),
            ("Tank 2024", None),
            ("All corals in the tank since 2020", None),
            ("Korallen im Becken seit 2020", None),
            ("Aquarium Tagebuch", None),
            ("Tank Survey", None),
            ("Notes for Reef Friends", None),
            ("Sample of reef Alder", Some("Alder")),
            ("Corals", None),
            ("Tank notes", None),
            ("The tank was moved in May and nothing died", None),
        ] {
            assert_eq!(name_in(text, |_| false).as_deref(), expected, "{text}");
        }
        for (text, expected) in [
            ("Willow tank", Some("Willow")),
            ("The Willow tank", Some("Willow")),
            ("Bac du salon", Some("salon")),
            ("Bac de l'entrée", Some("entrée")),
            ("Le bac de l’entrée 2025", Some("entrée")),
            ("Aquarium im Büro", Some("Büro")),
            ("Acuario del pasillo", Some("pasillo")),
            ("De bak in de gang", Some("gang")),
            ("Becken Long Reef", Some("Long Reef")),
            ("Willow", None),
            ("Tank", None),
            ("Bac du couloir", None),
            ("Willow tank was moved", None),
        ] {
            let known = ["willow", "salon", "entrée", "büro", "pasillo", "gang", "long reef"];
            let is_one = |name: &str| known.contains(&name.to_lowercase().as_str());
            assert_eq!(known_in(text, is_one).as_deref(), expected, "{text}");
        }
        for (text, expected) in [
            ("Becken Linde", Some("Linde")),
            ("Bak Linde 2025", Some("Linde")),
            ("Acuario Pasillo Norte", Some("Pasillo Norte")),
            ("Korallenliste Becken Ahorn, Stand 31.05.2025", Some("Ahorn")),
            ("Wasserwerte Aquarium Büro", Some("Büro")),
            ("Water tests tank Alder", Some("Alder")),
            ("Aquarium Tagebuch", None),
            ("Tank Survey", None),
            ("Tank notes", None),
            ("Neues Becken Linde", None),
            ("Becken läuft", None),
            ("Becken", None),
            ("Linde", None),
        ] {
            assert_eq!(may_name(text).as_deref(), expected, "{text}");
        }
        let names = || ["Willow", "Long Reef", "Al"].into_iter();
        for (text, expected) in [
            ("Water tests Willow", Some("Willow")),
            ("Willow – Messwerte 2025", Some("Willow")),
            ("Messungen Long Reef", Some("Long Reef")),
            ("Moved from Willow", None),
            ("Willow and Long Reef", None),
            ("Notes of Al", None),
            ("Willow", None),
            ("Long Reef, as Willow", None),
            ("The new pump came from the keeper of Willow", None),
        ] {
            assert_eq!(ends_in(text, names()), expected, "{text}");
        }
        assert_eq!(name_in("corals in tank alder", |name| name == "alder").as_deref(), Some("alder"));
        assert_eq!(name_in("Korallen in Becken Reed", |name| name == "Becken Reed").as_deref(), Some("Becken Reed"));
    }
}
