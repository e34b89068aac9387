//! A written name to a taxon, or to the question that settles it.

use std::collections::HashMap;

use super::Candidate;
use crate::vocabulary::text::words;
use crate::vocabulary::{TaxonSlug, catalogue};

/// What a written name can mean.
#[derive(Debug, Clone, PartialEq)]
pub enum NameMatch {
    /// The accepted name of a species or genus. A species that the catalogue does not hold gives its genus.
    Accepted {
        /// It.
        taxon: TaxonSlug,
    },
    /// A name it went by, followed.
    Older {
        /// What it is called now.
        taxon: TaxonSlug,
        /// The older name.
        was: &'static str,
    },
    /// A trade name that only one kind carries.
    Trade {
        /// It, at the rank the name can bear.
        taxon: TaxonSlug,
    },
    /// A trade name of several kinds: a question.
    Ambiguous {
        /// The name.
        name: &'static str,
        /// The kinds, each with the character to look for.
        candidates: Vec<Candidate>,
        /// What is certain while the question is open.
        common: Option<TaxonSlug>,
    },
    /// The one name within two letters.
    Spelling {
        /// It.
        taxon: TaxonSlug,
        /// As it is spelt.
        written: &'static str,
        /// Letters between.
        distance: usize,
    },
    /// Several taxa are named or nearly so: a question.
    Near(Vec<TaxonSlug>),
    /// Nothing fits.
    Unknown,
}

impl NameMatch {
    /// The taxon, where no question is needed.
    pub fn taxon(&self) -> Option<TaxonSlug> {
        match self {
            NameMatch::Accepted { taxon }
            | NameMatch::Older { taxon, .. }
            | NameMatch::Trade { taxon }
            | NameMatch::Spelling { taxon, .. } => Some(*taxon),
            NameMatch::Ambiguous { .. } | NameMatch::Near(_) | NameMatch::Unknown => None,
        }
    }

    /// `true` if a scientific name was written, in its present or an older form.
    pub fn is_scientific(&self) -> bool {
        matches!(self, NameMatch::Accepted { .. } | NameMatch::Older { .. })
    }
}

/// Index of all names.
#[derive(Debug, Default)]
pub(super) struct Names {
    /// Folded scientific name → accepted or older.
    scientific: HashMap<String, Scientific>,
    /// Genus words that stand in a text: accepted genera, older genera and genera of older species names.
    genera: HashMap<String, Option<TaxonSlug>>,
    /// Folded trade name → position in the list of trade names.
    trade: HashMap<String, usize>,
    longest_trade: usize,
    unclear_alone: Vec<String>,
}

#[derive(Debug, Clone, Copy)]
struct Scientific {
    taxon: TaxonSlug,
    older: bool,
    name: &'static str,
}

impl Names {
    pub(super) fn add_accepted(&mut self, name: &'static str, taxon: TaxonSlug) -> Result<(), String> {
        self.add(name, taxon, false)
    }

    pub(super) fn add_older(&mut self, name: &'static str, taxon: TaxonSlug) -> Result<(), String> {
        let first = words(name).swap_remove(0);
        // A genus of older names only ("Scolymia") is known, though alone it names no taxon.
        self.genera.entry(first).or_insert(None);
        self.add(name, taxon, true)
    }

    fn add(&mut self, name: &'static str, taxon: TaxonSlug, older: bool) -> Result<(), String> {
        let key = words(name).join(" ");
        if older && !key.contains(' ') {
            self.genera.insert(key.clone(), Some(taxon));
        }
        match self.scientific.insert(key, Scientific { taxon, older, name }) {
            Some(other) if other.taxon != taxon => Err(format!("`{name}` names {} and {taxon}", other.taxon)),
            _ => Ok(()),
        }
    }

    pub(super) fn add_genus(&mut self, name: &str, genus: TaxonSlug, unclear_alone: bool) {
        let key = words(name).join(" ");
        if unclear_alone {
            self.unclear_alone.push(key.clone());
        }
        self.genera.insert(key, Some(genus));
    }

    pub(super) fn add_trade(&mut self, word: &str, row: usize) -> Result<(), String> {
        let words = words(word);
        self.longest_trade = self.longest_trade.max(words.len());
        match self.trade.insert(words.join(" "), row) {
            Some(other) if other != row => Err(format!("trade name `{word}` stands twice")),
            _ => Ok(()),
        }
    }

    fn scientific(&self, words: &[String]) -> Option<Scientific> {
        self.scientific.get(&words.join(" ")).copied()
    }

    /// A trade name in these very words, in the singular or plural, with or without "coral".
    fn trade(&self, words: &[String]) -> Option<usize> {
        let phrase = words.join(" ");
        let shorter = phrase.strip_suffix(" corals").or_else(|| phrase.strip_suffix(" coral")).unwrap_or(&phrase);
        [phrase.as_str(), shorter]
            .into_iter()
            .flat_map(|phrase| [Some(phrase), phrase.strip_suffix('s'), phrase.strip_suffix("es")])
            .flatten()
            .find_map(|phrase| self.trade.get(phrase).copied())
    }
}

fn matched(found: Scientific) -> NameMatch {
    if found.older {
        NameMatch::Older { taxon: found.taxon, was: found.name }
    } else {
        NameMatch::Accepted { taxon: found.taxon }
    }
}

fn trade_match(row: usize) -> NameMatch {
    let trade = &catalogue().trade_names()[row];
    if trade.is_ambiguous() {
        NameMatch::Ambiguous { name: trade.words[0], candidates: trade.candidates.clone(), common: trade.common }
    } else {
        NameMatch::Trade { taxon: trade.candidates[0].taxon }
    }
}

/// Shortest name that is compared letter by letter.
const SHORTEST_SPELLING: usize = 6;
/// Letters that a misspelt name may differ by.
const SPELLING_DISTANCE: usize = 2;

/// The taxon of a written name. Scientific names settle, wherever in the text they stand; "sp.", "cf.",
/// authorities and remarks after them are passed over. Compared without case, accents and punctuation.
pub fn resolve_name(text: &str) -> NameMatch {
    let names = &catalogue().taxa.names;
    let all = words(text);
    if all.is_empty() {
        return NameMatch::Unknown;
    }
    if let Some(found) = names.scientific(&all) {
        return matched(found);
    }
    if let Some(row) = names.trade(&all) {
        return trade_match(row);
    }
    if let Some(found) = scientific_within(names, &all) {
        return found;
    }
    if let Some(found) = initial_and_epithet(names, text) {
        return found;
    }
    trade_within(names, &all).unwrap_or_else(|| by_letters(names, text))
}

/// A scientific name and a trade name written side by side: the scientific one settles; otherwise the first that
/// says anything.
pub fn resolve_names(name: &str, trade_name: &str) -> NameMatch {
    let (first, second) = (resolve_name(name), resolve_name(trade_name));
    if first.is_scientific() {
        return first;
    }
    if second.is_scientific() {
        return second;
    }
    match (&first, &second) {
        // A clear name beside an ambiguous one of which it is a candidate.
        (NameMatch::Ambiguous { .. }, NameMatch::Trade { .. }) => second,
        (NameMatch::Unknown, _) => second,
        _ => first,
    }
}

fn scientific_within(names: &Names, all: &[String]) -> Option<NameMatch> {
    let mut found: Vec<NameMatch> = Vec::new();
    let mut at = 0;
    while at < all.len() {
        let Some(genus) = names.genera.get(&all[at]) else {
            at += 1;
            continue;
        };
        let pair = all.get(at..at + 2).and_then(|pair| names.scientific(pair));
        if let Some(species) = pair {
            found.push(matched(species));
            at += 2;
            continue;
        }
        if let Some(misspelt) = all.get(at + 1).and_then(|next| misspelt_epithet(names, &all[at], next)) {
            found.push(misspelt);
            at += 1;
        } else if let Some(single) = names.scientific(&all[at..at + 1]) {
            found.push(matched(single));
        } else if let Some(genus) = genus {
            // A name that is also a trade name of something else counts only with a word of its own behind it.
            let bare = names.unclear_alone.contains(&all[at]);
            let followed = all.get(at + 1).is_some_and(|next| next == "sp" || next == "spp");
            if !bare || followed {
                found.push(NameMatch::Accepted { taxon: *genus });
            }
        }
        at += 1;
        // The epithet is no second name: "Acropora millepora", "Dipsastraea favus".
        if all.get(at).is_some_and(|next| names.unclear_alone.contains(next)) {
            at += 1;
        }
    }
    let mut taxa: Vec<TaxonSlug> = found.iter().filter_map(NameMatch::taxon).collect();
    taxa.sort();
    taxa.dedup();
    match taxa.as_slice() {
        [] => None,
        [_] => found.into_iter().next(),
        // A genus and one of its species: the species.
        [a, b] if a.get().genus == Some(*b) => found.into_iter().find(|name| name.taxon() == Some(*a)),
        [a, b] if b.get().genus == Some(*a) => found.into_iter().find(|name| name.taxon() == Some(*b)),
        _ => Some(NameMatch::Near(taxa)),
    }
}

/// The one species of a genus whose epithet is nearly the written one: "Acropora milepora".
fn misspelt_epithet(names: &Names, genus: &str, epithet: &str) -> Option<NameMatch> {
    let allowed = if epithet.chars().count() < 8 { 1 } else { SPELLING_DISTANCE };
    let mut fits = names.scientific.iter().filter_map(|(key, found)| {
        let own = key.strip_prefix(genus)?.strip_prefix(' ')?;
        let distance = strsim::osa_distance(own, epithet);
        (own.chars().count() >= SHORTEST_SPELLING && distance <= allowed).then_some((*found, distance))
    });
    match (fits.next(), fits.next()) {
        (Some((found, distance)), None) => {
            Some(NameMatch::Spelling { taxon: found.taxon, written: found.name, distance })
        }
        _ => None,
    }
}

/// "A. millepora", "E. ancora".
fn initial_and_epithet(names: &Names, text: &str) -> Option<NameMatch> {
    let head = text.split([',', ';', '(']).next()?.trim();
    let (initial, epithet) = head.split_once('.')?;
    let (initial, epithet) = (words(initial), words(epithet));
    let ([initial], [epithet, ..]) = (initial.as_slice(), epithet.as_slice()) else { return None };
    if initial.chars().count() != 1 {
        return None;
    }
    let mut fits: Vec<Scientific> = names
        .scientific
        .iter()
        .filter(|(name, _)| {
            name.split_once(' ').is_some_and(|(genus, own)| genus.starts_with(initial.as_str()) && own == epithet)
        })
        .map(|(_, found)| *found)
        .collect();
    fits.sort_by_key(|found| (found.older, found.name));
    let mut taxa: Vec<TaxonSlug> = fits.iter().map(|found| found.taxon).collect();
    taxa.sort();
    taxa.dedup();
    match taxa.as_slice() {
        [] => None,
        [_] => fits.first().map(|found| matched(*found)),
        _ => Some(NameMatch::Near(taxa)),
    }
}

/// The longest trade name among the words of a text: "red flowerpot from the swap".
fn trade_within(names: &Names, all: &[String]) -> Option<NameMatch> {
    for length in (1..=names.longest_trade.min(all.len())).rev() {
        let mut rows: Vec<usize> = all.windows(length).filter_map(|part| names.trade(part)).collect();
        rows.sort_unstable();
        rows.dedup();
        match rows.as_slice() {
            [] => {}
            [row] => return Some(trade_match(*row)),
            several => {
                let mut taxa: Vec<TaxonSlug> = several
                    .iter()
                    .flat_map(|row| &catalogue().trade_names()[*row].candidates)
                    .map(|candidate| candidate.taxon)
                    .collect();
                taxa.sort();
                taxa.dedup();
                return Some(NameMatch::Near(taxa));
            }
        }
    }
    None
}

fn by_letters(names: &Names, text: &str) -> NameMatch {
    // Remarks stand behind a comma or in brackets.
    let head = text.split([',', ';', '(']).next().map(words).unwrap_or_default();
    let head: Vec<String> = head
        .into_iter()
        .filter(|word| !matches!(word.as_str(), "sp" | "spp" | "cf" | "aff" | "coral" | "corals"))
        .collect();
    let written = head.join(" ");
    if written.chars().count() < SHORTEST_SPELLING {
        return NameMatch::Unknown;
    }
    let mut near: Vec<(usize, TaxonSlug, &'static str, Option<usize>)> = Vec::new();
    let scientific = names.scientific.iter().map(|(key, found)| (key, found.taxon, found.name, None));
    let trade = names.trade.iter().flat_map(|(key, row)| {
        let trade = &catalogue().trade_names()[*row];
        let ambiguous = trade.is_ambiguous().then_some(*row);
        trade.candidates.iter().map(move |candidate| (key, candidate.taxon, trade.words[0], ambiguous))
    });
    for (key, taxon, name, ambiguous) in scientific.chain(trade) {
        if key.chars().count() >= SHORTEST_SPELLING {
            let distance = strsim::osa_distance(&written, key);
            if distance * 3 <= key.chars().count() {
                near.push((distance, taxon, name, ambiguous));
            }
        }
    }
    // "Gonipora stokesii blue": the genus alone, near enough.
    if near.is_empty()
        && let Some(first) = head.first().filter(|first| first.chars().count() >= SHORTEST_SPELLING)
    {
        for (key, genus) in &names.genera {
            if let Some(genus) = genus {
                let distance = strsim::osa_distance(first, key);
                if distance <= SPELLING_DISTANCE {
                    near.push((distance, *genus, genus.get().name, None));
                }
            }
        }
    }
    near.sort_by_key(|(distance, taxon, name, _)| (*distance, *taxon, *name));
    let mut close: Vec<_> = near.iter().filter(|(distance, ..)| *distance <= SPELLING_DISTANCE).collect();
    // A slip hardly ever falls on the first letter: "Gonipora" is not Montipora.
    let initial = written.chars().next();
    let same_initial = |name: &str| words(name).first().and_then(|word| word.chars().next()) == initial;
    if close.iter().any(|(_, _, name, _)| same_initial(name)) {
        close.retain(|(_, _, name, _)| same_initial(name));
    }
    // A misspelt ambiguous name asks the same question.
    if let Some((.., Some(row))) = close.first()
        && close.iter().all(|(.., other)| other == &Some(*row))
    {
        return trade_match(*row);
    }
    if let Some((distance, taxon, name, None)) = close.first()
        && close.iter().all(|(_, other, ..)| other == taxon)
    {
        return NameMatch::Spelling { taxon: *taxon, written: name, distance: *distance };
    }
    let mut taxa: Vec<TaxonSlug> = Vec::new();
    for (_, taxon, ..) in near {
        if !taxa.contains(&taxon) && taxa.len() < 5 {
            taxa.push(taxon);
        }
    }
    if taxa.is_empty() { NameMatch::Unknown } else { NameMatch::Near(taxa) }
}

/// Tentacles a polyp that a text states: "flowerpot, 12 tentacles". They settle a name or contradict it
/// ([`super::Taxon::tentacles`]).
pub fn tentacles_said(text: &str) -> Option<u32> {
    let all = words(text);
    let at = all.iter().position(|word| word.starts_with("tentac") || word.starts_with("tentak"))?;
    let number = |word: &String| match word.as_str() {
        "twelve" | "zwolf" | "douze" | "doce" | "twaalf" => Some(12),
        word => word.parse().ok(),
    };
    all[..at].iter().rev().take(2).find_map(number).or_else(|| all.get(at + 1).and_then(number))
}
