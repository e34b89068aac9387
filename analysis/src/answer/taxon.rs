//! Taxon asked, taxon answered, and what the specimens are named.

use std::collections::{BTreeMap, BTreeSet};

use super::held::ON_RECORD;
use super::question::Audience;
use super::shape::{FallbackStep, MixLine, TaxonAnswered};
use crate::club::Club;
use crate::disclosure::cells::{Entry, tally};
use crate::disclosure::tree::{counted_once, shown_parts};
use crate::disclosure::{block_minimum, passes};
use crate::follow_up::Population;
use crate::vocabulary::{Rank, TaxonSlug};

/// The populations that may answer a question: the taxon's own, then those of its fallback that hold more specimens.
pub(super) fn candidates(club: &Club, taxon: TaxonSlug, since: Option<i32>) -> Vec<Population> {
    let mut candidates = vec![Population::of(club, taxon, since)];
    for step in taxon.fallback() {
        let population = Population::of_fallback(club, &step, since);
        let more = candidates.last().is_none_or(|last| population.members.len() > last.members.len());
        if more {
            candidates.push(population);
        }
    }
    candidates
}

/// What a group without some genera lacks of the whole group, counted in the same way; nothing for other taxa.
pub(super) fn beyond(club: &Club, population: &Population, counted: impl Fn(&Population) -> Vec<u32>) -> Vec<u32> {
    if population.without.is_empty() {
        return Vec::new();
    }
    let whole = Population::of(club, population.taxon, None);
    counted(&whole).into_iter().filter(|id| population.members.binary_search(id).is_err()).collect()
}

/// The taxon part of an answer.
pub(super) fn answered(
    club: &Club,
    asked: TaxonSlug,
    population: &Population,
    of: &MixOf,
    fallback: Vec<FallbackStep>,
    audience: Audience,
) -> TaxonAnswered {
    let taxon = population.taxon.get();
    TaxonAnswered {
        asked: asked.as_str().to_owned(),
        answered: population.taxon.as_str().to_owned(),
        name: taxon.name.to_owned(),
        rank: taxon.rank.as_str().to_owned(),
        without: population.without.iter().map(|genus| genus.as_str().to_owned()).collect(),
        mix: mix(club, population, of, audience),
        fallback,
    }
}

/// The names of the specimens, most first. Names too few to be shown stand together as one line, or the whole mix does.
pub(super) fn mix(club: &Club, population: &Population, of: &MixOf, audience: Audience) -> Vec<MixLine> {
    let lines = population.mix(club, of.ids.iter().copied());
    let line =
        |(name, ids): &(TaxonSlug, Vec<u32>)| MixLine { name: population.mix_name(*name), specimens: ids.len() as u64 };
    if block_minimum(audience).is_none() {
        return lines.iter().map(line).collect();
    }
    let may_be_shown = |ids: &[u32]| passes(&tally(counted_once(club, ids.iter().copied()).iter()), audience);
    if !may_be_shown(of.ids) {
        return Vec::new();
    }
    let all = of.ids.len() as u64;
    let one_line = vec![MixLine { name: population.taxon.get().name.to_owned(), specimens: all }];
    // Names of some years could be taken from those of all.
    if of.since.is_some() {
        return one_line;
    }
    let beyond = population.mix(club, of.beyond.iter().copied());
    let mut shown = shown_names(club, population.taxon, lines.iter().chain(&beyond), audience);
    // Of a name by itself, an older release may stand.
    shown.retain(|name| *name == population.taxon || club.stands.has(name.as_str(), ON_RECORD));
    let hidden = |lines: &[(TaxonSlug, Vec<u32>)]| -> Vec<u32> {
        lines.iter().filter(|(name, _)| !shown.contains(name)).flat_map(|(_, ids)| ids.iter().copied()).collect()
    };
    let others = hidden(&lines);
    if [&others, &hidden(&beyond)].into_iter().any(|ids| !ids.is_empty() && !may_be_shown(ids)) {
        return one_line;
    }
    let mut printed: Vec<MixLine> = lines.iter().filter(|(name, _)| shown.contains(name)).map(line).collect();
    if printed.is_empty() {
        return one_line;
    }
    if !others.is_empty() {
        printed.push(MixLine { name: "others".to_owned(), specimens: others.len() as u64 });
    }
    printed
}

/// Which specimens a mix is of.
pub(super) struct MixOf<'a> {
    /// Positions in the club.
    pub(super) ids: &'a [u32],
    /// For a group without some genera: the specimens of those, counted in the same way.
    pub(super) beyond: &'a [u32],
    /// The first year of purchase asked.
    pub(super) since: Option<i32>,
}

impl MixOf<'_> {
    /// Of none.
    pub(super) const fn nobody() -> MixOf<'static> {
        MixOf { ids: &[], beyond: &[], since: None }
    }
}

/// Names that may be shown beside the total: genera beside their group, and names beside each genus that is shown.
fn shown_names<'a>(
    club: &Club,
    taxon: TaxonSlug,
    lines: impl Iterator<Item = &'a (TaxonSlug, Vec<u32>)>,
    audience: Audience,
) -> BTreeSet<TaxonSlug> {
    let entries: Vec<(TaxonSlug, Vec<Entry>)> =
        lines.map(|(name, ids)| (*name, counted_once(club, ids.iter().copied()))).collect();
    let parts = |whole: Option<TaxonSlug>, part: &dyn Fn(TaxonSlug) -> TaxonSlug| {
        let mut parts: BTreeMap<TaxonSlug, Vec<&Entry>> = BTreeMap::new();
        for (name, entries) in entries.iter().filter(|(name, _)| whole.is_none_or(|whole| name.is_within(whole))) {
            parts.entry(part(*name)).or_default().extend(entries);
        }
        shown_parts(&parts, &[], audience, passes)
    };
    if taxon.get().rank != Rank::Group {
        return parts(None, &|name| name);
    }
    let genera = parts(None, &|name| name.get().genus.unwrap_or(name));
    let mut shown = BTreeSet::new();
    for genus in genera {
        if genus == taxon {
            shown.insert(genus);
        } else {
            shown.extend(parts(Some(genus), &|name| name));
        }
    }
    shown
}
