//! Names compared letter by letter: misspellings, short forms of a genus, an epithet alone, and candidates by nearness.

use super::{NameMatch, Names, trade_match};
use crate::vocabulary::text::words;
use crate::vocabulary::{Rank, TaxonSlug, catalogue};

/// Shortest name that is compared letter by letter.
const SHORTEST: usize = 6;
/// From this length on two letters may differ, below it one.
const LONG: usize = 9;
/// Letters of the shortest form of a genus that is read.
const SHORTEST_GENUS: usize = 5;
/// Nearness (0–1) from which a name is offered, and how many are.
const OFFERED: f64 = 0.82;
const MOST_OFFERED: usize = 8;
/// What nearness to one word of several counts.
const OF_ONE_WORD: f64 = 0.95;

/// Words of a name that can name a kind, in comparable form: without colours, sizes, numbers, "frag", "sp." and what
/// stands behind a comma or in brackets. The whole text where nothing is left.
///
/// ```
/// assert_eq!(analysis::vocabulary::kind_words("Small green Blorp frag #2 (from the swap)"), "blorp");
/// ```
pub fn kind_words(text: &str) -> String {
    let left = significant(&catalogue().taxa.names, text).join(" ");
    if left.is_empty() { words(text).join(" ") } else { left }
}

fn significant(names: &Names, text: &str) -> Vec<String> {
    let head = text.split([',', ';', '(', '"', '“', '„']).find(|part| !part.trim().is_empty()).unwrap_or_default();
    words(head).into_iter().filter(|word| !names.is_remark(word)).collect()
}

fn allowed(length: usize) -> usize {
    if length < LONG { 1 } else { 2 }
}

fn length(text: &str) -> usize {
    text.chars().count()
}

/// A name near a written one.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
struct Near {
    distance: usize,
    taxon: TaxonSlug,
    name: &'static str,
    /// The trade name of several kinds that it is.
    ambiguous: Option<usize>,
    close: bool,
}

/// The last resort: a short form, an epithet alone, the one name that is near.
pub(super) fn by_letters(names: &Names, text: &str) -> NameMatch {
    let left = significant(names, text);
    if let [word] = left.as_slice()
        && let Some(found) = short_genus(names, word).or_else(|| epithet(names, word))
    {
        return found;
    }
    let whole = left.join(" ");
    let mut near = near(names, &whole, 3);
    // One of several words, or two, misspelt: "Gonipora from the swap".
    if near.iter().all(|near| !near.close) {
        for size in [2, 1] {
            let mut found: Vec<Near> = Vec::new();
            for window in left.windows(size).filter(|window| window.len() < left.len()) {
                let written = window.join(" ");
                let initial = written.chars().next();
                found.extend(
                    self::near(names, &written, 2)
                        .into_iter()
                        .filter(|near| near.close && words(near.name).concat().chars().next() == initial),
                );
            }
            if !found.is_empty() {
                near = found;
                break;
            }
        }
    }
    near.sort_unstable();
    let mut close: Vec<Near> = near.iter().filter(|near| near.close).copied().collect();
    // A slip hardly ever falls on the first letter: "Gonipora" is not Montipora.
    let initials: Vec<char> = left.iter().filter_map(|word| word.chars().next()).collect();
    let same_initial = |near: &Near| {
        words(near.name).first().and_then(|word| word.chars().next()).is_some_and(|c| initials.contains(&c))
    };
    if close.iter().any(same_initial) {
        close.retain(same_initial);
    }
    if let Some(first) = close.first() {
        // A misspelt ambiguous name asks the same question.
        if let Some(row) = first.ambiguous
            && close.iter().all(|other| other.ambiguous == Some(row))
        {
            return trade_match(row);
        }
        if first.ambiguous.is_none()
            && close.iter().all(|other| other.taxon == first.taxon && other.ambiguous.is_none())
        {
            return NameMatch::Spelling { taxon: first.taxon, written: first.name, distance: first.distance };
        }
    }
    let mut taxa: Vec<TaxonSlug> = Vec::new();
    for near in near {
        if !taxa.contains(&near.taxon) && taxa.len() < 5 {
            taxa.push(near.taxon);
        }
    }
    if taxa.is_empty() { NameMatch::Unknown } else { NameMatch::Near(taxa) }
}

/// The letters that occur in a text, a bit each. A slip changes two of them at most.
fn letters(text: &str) -> u32 {
    text.bytes().fold(0, |bits, byte| bits | 1 << (byte % 32))
}

/// All names within so many letters, a third of the name at most.
fn near(names: &Names, written: &str, most: usize) -> Vec<Near> {
    let own = length(written);
    if own < SHORTEST {
        return Vec::new();
    }
    let own_letters = letters(written);
    let mut found = Vec::new();
    let scientific = names.scientific.iter().map(|(key, row)| (key, row.taxon, row.name, None));
    let trade = names.trade.iter().flat_map(|(key, row)| {
        let trade = &catalogue().trade_names()[*row];
        let ambiguous = trade.is_ambiguous().then_some(*row);
        trade.candidates.iter().map(move |candidate| (key, candidate.taxon, trade.words[0], ambiguous))
    });
    let genera = names.genera.iter().filter_map(|(key, genus)| {
        let genus = (*genus)?;
        Some((key, genus, genus.get().name, None))
    });
    for (key, taxon, name, ambiguous) in scientific.chain(trade).chain(genera) {
        let size = length(key);
        if size < SHORTEST || size.abs_diff(own) > most {
            continue;
        }
        // Most names have quite other letters, and need not be laid beside one another.
        let other_letters = (letters(key) ^ own_letters).count_ones() as usize > 2 * most;
        if other_letters && own == written.len() && size == key.len() {
            continue;
        }
        let distance = strsim::osa_distance(written, key);
        if distance <= most && distance * 3 <= size {
            found.push(Near { distance, taxon, name, ambiguous, close: distance <= allowed(size.min(own)) });
        }
    }
    found
}

/// "Alveo" for Alveopora: the beginning of one genus, and within a letter of no other's.
fn short_genus(names: &Names, word: &str) -> Option<NameMatch> {
    let size = length(word);
    if size < SHORTEST_GENUS {
        return None;
    }
    let mut begun = false;
    let mut taxa: Vec<TaxonSlug> = Vec::new();
    for (genus, taxon) in &names.genera {
        if length(genus) <= size {
            continue;
        }
        let beginning: String = genus.chars().take(size).collect();
        let distance = strsim::osa_distance(&beginning, word);
        begun |= distance == 0;
        if distance <= 1 {
            // Of a genus of older names every kind that bore it.
            let named = names.scientific.iter().filter(|(key, _)| key.split(' ').next() == Some(genus.as_str()));
            match taxon {
                Some(taxon) => taxa.push(*taxon),
                None => taxa.extend(named.map(|(_, row)| row.taxon.get().genus.unwrap_or(row.taxon))),
            }
        }
    }
    taxa.sort();
    taxa.dedup();
    match taxa.as_slice() {
        _ if !begun => None,
        [taxon] => {
            let name = taxon.get().name;
            Some(NameMatch::Spelling { taxon: *taxon, written: name, distance: length(name).saturating_sub(size) })
        }
        _ => Some(NameMatch::Near(taxa)),
    }
}

/// "stokesi": an epithet that one species bears.
fn epithet(names: &Names, word: &str) -> Option<NameMatch> {
    if length(word) < SHORTEST_GENUS {
        return None;
    }
    let mut taxa: Vec<TaxonSlug> = names
        .scientific
        .iter()
        .filter(|(key, row)| {
            row.taxon.get().rank == Rank::Species && key.split_once(' ').is_some_and(|(_, epithet)| epithet == word)
        })
        .map(|(_, row)| row.taxon)
        .collect();
    taxa.sort();
    taxa.dedup();
    match taxa.as_slice() {
        [] => None,
        [taxon] => Some(NameMatch::Trade { taxon: *taxon }),
        _ => Some(NameMatch::Near(taxa)),
    }
}

/// Kinds whose names look like a written one, the nearest first, with their nearness (0–1, Jaro and Winkler's).
pub fn rank_names(text: &str) -> Vec<(TaxonSlug, f64)> {
    let names = &catalogue().taxa.names;
    let left = significant(names, text);
    let mut written = vec![(left.join(" "), 1.0)];
    if left.len() > 1 {
        written.extend(left.iter().filter(|word| length(word) >= 4).map(|word| (word.clone(), OF_ONE_WORD)));
    }
    let scientific = names.scientific.iter().map(|(key, row)| (key, row.taxon));
    let trade = names.trade.iter().flat_map(|(key, row)| {
        catalogue().trade_names()[*row].candidates.iter().map(move |candidate| (key, candidate.taxon))
    });
    let mut best: std::collections::BTreeMap<TaxonSlug, f64> = std::collections::BTreeMap::new();
    for (key, taxon) in scientific.chain(trade).filter(|(_, taxon)| taxon.get().rank != Rank::Group) {
        for (text, weight) in &written {
            let score = strsim::jaro_winkler(text, key) * weight;
            let known = best.entry(taxon).or_insert(0.0);
            *known = known.max(score);
        }
    }
    let mut ranked: Vec<(TaxonSlug, f64)> = best.into_iter().filter(|(_, score)| *score > OFFERED).collect();
    ranked.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.0.cmp(&b.0)));
    ranked.truncate(MOST_OFFERED);
    ranked
}
