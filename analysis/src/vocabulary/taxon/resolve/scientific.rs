//! Scientific names within a text: in full, with the genus shortened ("A. millepora", "Acro millepora"), with "cf." and
//! "aff." (the genus only), side by side as alternatives.

use std::collections::BTreeSet;

use super::{NameMatch, Names, Scientific, matched};
use crate::vocabulary::TaxonSlug;

/// What a text says, and which of its words say it.
pub(super) struct Said {
    pub(super) name: NameMatch,
    pub(super) used: Vec<bool>,
}

/// Letters of the shortest form of a genus that needs no point before an epithet.
const SHORTEST_GENUS: usize = 3;
/// Letters of the shortest epithet that is compared letter by letter.
const SHORTEST_EPITHET: usize = 6;

/// The scientific names of a text; `None` if it holds none.
pub(super) fn within(names: &Names, all: &[String], text: &str) -> Option<Said> {
    let initials = initials(text);
    let mut used = vec![false; all.len()];
    let mut found: Vec<NameMatch> = Vec::new();
    let mut at = 0;
    while at < all.len() {
        let taken = match names.genera.get(&all[at]) {
            Some(genus) => full(names, all, at, *genus, text.contains('/'), &mut found),
            None => shortened(names, all, at, &initials, &mut found),
        };
        for word in used.iter_mut().skip(at).take(taken) {
            *word = true;
        }
        at += taken.max(1);
    }
    let mut taxa: Vec<TaxonSlug> = found.iter().filter_map(NameMatch::taxon).collect();
    for name in &found {
        if let NameMatch::Near(several) = name {
            taxa.extend(several);
        }
    }
    taxa.sort();
    taxa.dedup();
    let name = match taxa.as_slice() {
        [] => None,
        [_] => found.into_iter().next(),
        // A genus and one of its species: the species.
        [a, b] if a.get().genus == Some(*b) => found.into_iter().find(|name| name.taxon() == Some(*a)),
        [a, b] if b.get().genus == Some(*a) => found.into_iter().find(|name| name.taxon() == Some(*b)),
        _ => Some(NameMatch::Near(taxa)),
    }?;
    Some(Said { name, used })
}

/// A genus word and what stands behind it. Returns how many words were read.
fn full(
    names: &Names,
    all: &[String],
    at: usize,
    genus: Option<TaxonSlug>,
    slash: bool,
    found: &mut Vec<NameMatch>,
) -> usize {
    let word = |offset: usize| all.get(at + offset).map(String::as_str);
    let pair = |epithet: &str| names.scientific.get(&format!("{} {epithet}", all[at])).copied();
    if let Some(species) = word(1).and_then(pair) {
        found.push(matched(species));
        let mut taken = 2;
        // "Acropora tenuis or millepora", "Acropora tenuis/millepora".
        loop {
            let or = usize::from(matches!(word(taken), Some("or" | "oder" | "ou" | "o" | "of" | "x")));
            let Some(other) = word(taken + or).filter(|_| or > 0 || slash).and_then(pair) else { break };
            found.push(matched(other));
            taken += or + 1;
        }
        return taken;
    }
    if let Some(misspelt) = word(1).and_then(|next| misspelt_epithet(names, &all[at], next)) {
        found.push(misspelt);
        return 2;
    }
    if let Some(single) = names.scientific(&all[at..at + 1]) {
        found.push(matched(single));
    } else if let Some(genus) = genus {
        // A name that is also a trade name of something else counts only with a word of its own behind it.
        let bare = names.unclear_alone.contains(&all[at]);
        let followed = matches!(word(1), Some("sp" | "spp"));
        if !bare || followed {
            found.push(NameMatch::Accepted { taxon: genus });
        }
    } else {
        return 0;
    }
    let mut taken = 1;
    // "cf. millepora" is to be compared with it, "aff. millepora" near it: neither is said to be it.
    if matches!(word(taken), Some("sp" | "spp" | "cf" | "aff" | "nr")) {
        taken += 1 + usize::from(matches!(word(taken), Some("cf" | "aff" | "nr")) && word(taken + 1).is_some());
    }
    // The epithet is no second name: "Dipsastraea favus", "Acropora millepora".
    if word(taken).is_some_and(|next| names.unclear_alone.iter().any(|unclear| unclear == next)) {
        taken += 1;
    }
    taken
}

/// "A. millepora", "E ancora", "Acro. millepora", "Monti capricornis".
fn shortened(names: &Names, all: &[String], at: usize, initials: &BTreeSet<char>, found: &mut Vec<NameMatch>) -> usize {
    let word = |offset: usize| all.get(at + offset).map(String::as_str);
    let short = all[at].as_str();
    let mut letters = short.chars();
    let single = match (letters.next(), letters.next()) {
        (Some(letter), None) => initials.contains(&letter),
        _ => false,
    };
    let doubted = usize::from(matches!(word(1), Some("cf" | "aff")));
    let Some(epithet) = word(1 + doubted).filter(|_| single || short.chars().count() >= SHORTEST_GENUS) else {
        return 0;
    };
    let of_genus = |name: &str, fits: &dyn Fn(&str) -> bool| {
        name.split_once(' ').is_some_and(|(genus, own)| genus.starts_with(short) && fits(own))
    };
    let collect = |fits: &dyn Fn(&str) -> bool| -> Vec<Scientific> {
        let rows = names.scientific.iter().filter(|(name, _)| of_genus(name, fits));
        rows.map(|(_, row)| *row).collect()
    };
    let mut fits = collect(&|own| own == epithet);
    let exact = !fits.is_empty();
    if !exact && epithet.chars().count() >= SHORTEST_EPITHET {
        fits = collect(&|own| own.chars().count() >= SHORTEST_EPITHET && strsim::osa_distance(own, epithet) == 1);
    }
    fits.sort_by_key(|row| (row.older, row.name));
    let mut taxa: Vec<TaxonSlug> = fits.iter().map(|row| row.taxon).collect();
    taxa.sort();
    taxa.dedup();
    match (taxa.as_slice(), fits.first()) {
        ([taxon], _) if doubted > 0 => {
            found.extend(taxon.get().genus.map(|genus| NameMatch::Accepted { taxon: genus }));
        }
        ([_], Some(row)) if exact => found.push(matched(*row)),
        ([_], Some(row)) => {
            found.push(NameMatch::Spelling { taxon: row.taxon, written: row.name, distance: 1 });
        }
        ([_, ..], _) => found.push(NameMatch::Near(taxa)),
        _ => return 0,
    }
    2 + doubted
}

/// Letters that stand alone as capitals or before a point: "A millepora", "e.ancora"; an article is none.
fn initials(text: &str) -> BTreeSet<char> {
    let letters: Vec<char> = text.chars().collect();
    let mut initials = BTreeSet::new();
    for (at, letter) in letters.iter().enumerate() {
        let before = at.checked_sub(1).and_then(|before| letters.get(before));
        let after = letters.get(at + 1);
        let alone =
            !before.is_some_and(|c| c.is_alphanumeric()) && !after.is_some_and(|c| c.is_alphanumeric() || *c == '\'');
        if alone && letter.is_alphabetic() && (letter.is_uppercase() || after == Some(&'.')) {
            initials.extend(letter.to_lowercase());
        }
    }
    initials
}

/// The one species of a genus whose epithet is nearly the written one: "Acropora milepora".
fn misspelt_epithet(names: &Names, genus: &str, epithet: &str) -> Option<NameMatch> {
    let allowed = if epithet.chars().count() < 8 { 1 } else { 2 };
    let mut fits = names.scientific.iter().filter_map(|(key, found)| {
        let own = key.strip_prefix(genus)?.strip_prefix(' ')?;
        let distance = strsim::osa_distance(own, epithet);
        (own.chars().count() >= SHORTEST_EPITHET && distance <= allowed).then_some((*found, distance))
    });
    match (fits.next(), fits.next()) {
        (Some((found, distance)), None) => {
            Some(NameMatch::Spelling { taxon: found.taxon, written: found.name, distance })
        }
        _ => None,
    }
}
