//! Counts of every taxon on record.

use std::collections::{BTreeMap, BTreeSet};

use super::question::Audience;
use super::shape::{CensusCounts, TaxonCensus};
use super::taxon::{MixOf, mix};
use crate::club::Club;
use crate::disclosure::cells::{Entry, tally};
use crate::disclosure::tree::{counted_once, is_asked, part_of, shown_parts};
use crate::disclosure::{block_minimum, passes, rounding, suppressed};
use crate::follow_up::Population;
use crate::follow_up::population::latest_name;
use crate::refusal::Part;
use crate::vocabulary::{Fate, Rank, TaxonSlug};

/// A taxon, the widest first.
type Ranked = (std::cmp::Reverse<Rank>, TaxonSlug);

/// One line per taxon with a specimen on record: groups, then genera, then species, each by slug.
///
/// Groups that are asked by genus have no line. For a restricted audience a line is `Suppressed` if its block fails, or
/// if it could be found by subtraction from the lines above it.
pub fn census(club: &Club, audience: Audience) -> Vec<TaxonCensus> {
    let mut taxa: BTreeSet<Ranked> = BTreeSet::new();
    for name in club.specimens.iter().filter_map(latest_name) {
        for taxon in name.ancestors() {
            taxa.insert((std::cmp::Reverse(taxon.get().rank), taxon));
        }
    }
    let shown = shown(club, &taxa, audience);
    taxa.into_iter()
        .map(|(_, taxon)| taxon)
        .filter(|taxon| is_asked(*taxon))
        .map(|taxon| {
            let row = taxon.get();
            let counts = if shown.contains(&taxon) {
                Part::Given(counts(club, taxon, audience))
            } else {
                Part::Refused { refused: suppressed(audience) }
            };
            TaxonCensus {
                slug: taxon.as_str().to_owned(),
                name: row.name.to_owned(),
                rank: row.rank.as_str().to_owned(),
                counts,
            }
        })
        .collect()
}

/// Taxa that may be shown: from the widest down, each as a part of the one above it. What is withheld for the sake of
/// another taxon takes its own parts with it; above a taxon that is not asked, or fails by itself, nothing is tied.
fn shown(club: &Club, taxa: &BTreeSet<Ranked>, audience: Audience) -> BTreeSet<TaxonSlug> {
    if block_minimum(audience).is_none() {
        return taxa.iter().map(|(_, taxon)| *taxon).collect();
    }
    let mut shown = BTreeSet::new();
    let mut tied = BTreeSet::new();
    for (_, taxon) in taxa {
        let population = Population::of(club, *taxon, None);
        let entries = counted_once(club, population.members.iter().copied());
        if !tied.contains(taxon) && is_asked(*taxon) && passes(&tally(entries.iter()), audience) {
            shown.insert(*taxon);
        }
        let name = |entry: &Entry| club.specimens.get(entry.specimen as usize).and_then(latest_name);
        let mut parts: BTreeMap<TaxonSlug, Vec<&Entry>> = BTreeMap::new();
        let mut rest = Vec::new();
        for entry in &entries {
            match name(entry).and_then(|name| part_of(name, *taxon)) {
                Some(part) => parts.entry(part).or_default().push(entry),
                None => rest.push(entry),
            }
        }
        if shown.contains(taxon) {
            shown.extend(shown_parts(&parts, &rest, audience));
        }
        if shown.contains(taxon) || tied.contains(taxon) {
            tied.extend(parts.into_keys());
        }
    }
    shown
}

fn counts(club: &Club, taxon: TaxonSlug, audience: Audience) -> CensusCounts {
    let population = Population::of(club, taxon, None);
    let specimens: Vec<_> = population.members.iter().filter_map(|&id| club.specimens.get(id as usize)).collect();
    let keepers: BTreeSet<u32> = specimens.iter().map(|specimen| specimen.keeper).collect();
    let died = |specimen: &&&crate::club::Specimen| {
        specimen.arrived_dead
            || specimen.ending.as_ref().is_some_and(|ending| {
                matches!(ending.fate, Fate::Died | Fate::Missing | Fate::ArrivedDead) || ending.all_died
            })
    };
    let living = |specimen: &&&crate::club::Specimen| specimen.ending.is_none() && !specimen.arrived_dead;
    let mut counts = CensusCounts {
        specimens: specimens.len() as u64,
        keepers: keepers.len() as u64,
        deaths: specimens.iter().filter(died).count() as u64,
        living: specimens.iter().filter(living).count() as u64,
        mix: mix(club, &population, &MixOf { ids: &population.members, beyond: &[], since: None }, audience),
    };
    rounding::census(&mut counts, audience);
    counts
}
