//! Taxon asked, taxon answered, and what the specimens are named.

use std::collections::BTreeMap;

use super::question::Audience;
use super::shape::{FallbackStep, MixLine, TaxonAnswered};
use crate::club::Club;
use crate::disclosure::tree::{Member, shown_parts};
use crate::disclosure::{block_minimum, passes, tree};
use crate::follow_up::Population;
use crate::vocabulary::TaxonSlug;

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

/// The taxon part of an answer; `ids` are the specimens the mix is of.
pub(super) fn answered(
    club: &Club,
    asked: TaxonSlug,
    population: &Population,
    ids: &[u32],
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
        mix: mix(club, population, ids, audience),
        fallback,
    }
}

/// The names of the specimens, most first. Names too few to be shown stand together as one line, or the whole mix does.
pub(super) fn mix(club: &Club, population: &Population, ids: &[u32], audience: Audience) -> Vec<MixLine> {
    let lines = population.mix(club, ids.iter().copied());
    if block_minimum(audience).is_none() {
        return lines
            .into_iter()
            .map(|(name, ids)| MixLine { name: population.mix_name(name), specimens: ids.len() as u64 })
            .collect();
    }
    let parts: BTreeMap<TaxonSlug, Vec<Member>> = lines.iter().map(|(name, ids)| (*name, members(club, ids))).collect();
    let all: Vec<&Member> = parts.values().flatten().collect();
    if !passes(&tree::tally(all.iter().copied()), audience) {
        return Vec::new();
    }
    let shown = shown_parts(&parts, &[], audience);
    let mut printed: Vec<MixLine> = lines
        .iter()
        .filter(|(name, _)| shown.contains(name))
        .map(|(name, ids)| MixLine { name: population.mix_name(*name), specimens: ids.len() as u64 })
        .collect();
    let others: u64 = lines.iter().filter(|(name, _)| !shown.contains(name)).map(|(_, ids)| ids.len() as u64).sum();
    if others > 0 {
        let name = if printed.is_empty() { population.taxon.get().name.to_owned() } else { "others".to_owned() };
        printed.push(MixLine { name, specimens: others });
    }
    printed
}

/// Specimens as members of a block, each counting once.
pub(super) fn members(club: &Club, ids: &[u32]) -> Vec<Member> {
    ids.iter()
        .filter_map(|&id| club.specimens.get(id as usize))
        .map(|specimen| Member {
            keeper: specimen.keeper,
            tanks: specimen.stays.iter().map(|stay| stay.tank).collect(),
            weight: 1.0,
        })
        .collect()
}
