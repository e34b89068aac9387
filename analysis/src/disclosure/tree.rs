//! A genus and its species (a group and its genera) are tied by subtraction: what is left of the whole when the
//! published parts are taken away must pass as a block too.

use std::collections::{BTreeMap, BTreeSet};

use super::cells::{Entry, tally};
use super::plan::Passes;
use crate::answer::Audience;
use crate::club::Club;
use crate::follow_up::Population;
use crate::follow_up::population::latest_name;
use crate::vocabulary::{Fallback, Rank, TaxonSlug, catalogue};

/// The parts of a whole that may be shown beside it: those that pass, less the smallest ones until what is left of the
/// whole passes or is empty. `rest` belongs to no part.
pub fn shown_parts<K: Ord + Copy>(
    parts: &BTreeMap<K, Vec<&Entry>>,
    rest: &[&Entry],
    audience: Audience,
    passes: Passes,
) -> BTreeSet<K> {
    let alone: BTreeMap<K, _> = parts.iter().map(|(name, part)| (*name, tally(part.iter().copied()))).collect();
    let mut shown: BTreeSet<K> =
        alone.iter().filter(|(_, tally)| passes(tally, audience)).map(|(name, _)| *name).collect();
    loop {
        let hidden = parts.iter().filter(|(name, _)| !shown.contains(name)).flat_map(|(_, part)| part);
        let left = tally(rest.iter().chain(hidden).copied());
        if left.specimens == 0 || passes(&left, audience) || !super::plan::holds!(Parts) {
            return shown;
        }
        let smallest = shown.iter().min_by_key(|name| (alone.get(name).map_or(0, |tally| tally.specimens), **name));
        match smallest.copied() {
            Some(smallest) => shown.remove(&smallest),
            None => return shown,
        };
    }
}

/// Specimens as entries of one cell, each of weight 1.
pub fn counted_once(club: &Club, ids: impl Iterator<Item = u32>) -> Vec<Entry> {
    let mut entries = Vec::new();
    for id in ids {
        let Some(specimen) = club.specimens.get(id as usize) else { continue };
        let of = |tank, days| Entry { specimen: id, keeper: specimen.keeper, tank, days, marks: 0 };
        entries.push(of(specimen.stays.first().map(|stay| stay.tank), 1.0));
        entries.extend(specimen.stays.iter().skip(1).map(|stay| of(Some(stay.tank), 0.0)));
    }
    entries
}

/// Whether a taxon has answers of its own: some groups are asked by genus.
pub fn is_asked(taxon: TaxonSlug) -> bool {
    !catalogue().groups().iter().any(|group| group.by_genus && group.slug == taxon)
}

/// The direct part of `whole` that a name lies in: its species in a genus, its genus in a group.
pub fn part_of(name: TaxonSlug, whole: TaxonSlug) -> Option<TaxonSlug> {
    let row = name.get();
    match whole.get().rank {
        Rank::Genus => (row.rank == Rank::Species).then_some(name),
        Rank::Group => row.genus,
        Rank::Species => None,
    }
}

/// Specimens, by position in the club, that must pass in every block of an answer.
#[derive(Debug, Clone)]
pub struct Beside {
    specimens: Vec<bool>,
    /// A block without any of them will do too.
    pub may_be_empty: bool,
}

impl Beside {
    /// Whether an entry is of one of them.
    pub fn holds(&self, entry: &Entry) -> bool {
        self.specimens.get(entry.specimen as usize).copied().unwrap_or(false)
    }
}

/// A taxon, or a group without some genera, with what its answers can be subtracted from.
#[derive(Debug, Clone)]
pub struct Node {
    /// The taxon.
    pub taxon: TaxonSlug,
    members: Vec<bool>,
    part: Vec<Option<TaxonSlug>>,
    /// It stands as a direct part of the node before it.
    pub is_part: bool,
    /// Other sets that it is tied to.
    pub beside: Vec<Beside>,
}

impl Node {
    fn new(club: &Club, taxon: TaxonSlug, without: &[TaxonSlug]) -> Node {
        let names: Vec<Option<TaxonSlug>> = club.specimens.iter().map(latest_name).collect();
        let belongs = |name: TaxonSlug| name.is_within(taxon) && !without.iter().any(|genus| name.is_within(*genus));
        Node {
            taxon,
            members: names.iter().map(|name| name.is_some_and(belongs)).collect(),
            part: names.iter().map(|name| name.and_then(|name| part_of(name, taxon))).collect(),
            is_part: true,
            beside: Vec::new(),
        }
    }

    /// Whether an entry is of one of its specimens.
    pub fn holds(&self, entry: &Entry) -> bool {
        self.members.get(entry.specimen as usize).copied().unwrap_or(false)
    }

    /// Whether a part of it may be shown beside it, or is nothing, where these are all entries of a block.
    pub fn shows(&self, part: TaxonSlug, entries: &[&Entry], audience: Audience, passes: Passes) -> bool {
        let mut parts: BTreeMap<TaxonSlug, Vec<&Entry>> = BTreeMap::new();
        let mut rest = Vec::new();
        for &entry in entries.iter().filter(|entry| self.holds(entry)) {
            match self.part.get(entry.specimen as usize).copied().flatten() {
                Some(part) => parts.entry(part).or_default().push(entry),
                None => rest.push(entry),
            }
        }
        !parts.contains_key(&part) || shown_parts(&parts, &rest, audience, passes).contains(&part)
    }

    /// This node less another one.
    fn less(&self, other: &[bool], may_be_empty: bool) -> Beside {
        let specimens = self.members.iter().zip(other).map(|(own, other)| *own && !other).collect();
        Beside { specimens, may_be_empty }
    }
}

/// The taxa whose answers a population's own are tied to, widest first, itself last.
pub fn chain(club: &Club, population: &Population) -> Vec<Node> {
    let taxon = population.taxon;
    let whole = |taxon| Node::new(club, taxon, &[]);
    if population.without.is_empty() {
        let mut wider = taxon.ancestors();
        wider.reverse();
        return wider.into_iter().filter(|wider| *wider == taxon || is_asked(*wider)).map(whole).collect();
    }
    let group = whole(taxon);
    let mut fallback = Node { is_part: false, ..Node::new(club, taxon, &population.without) };
    // It says more than any one of its genera says, and what it leaves out of wider answers passes.
    let genera: BTreeSet<TaxonSlug> =
        fallback.part.iter().zip(&fallback.members).filter(|(_, own)| **own).filter_map(|(part, _)| *part).collect();
    if genera.len() > 1 {
        for genus in genera {
            let lesser = fallback.less(&whole(genus).members, false);
            fallback.beside.push(lesser);
        }
    }
    for wider in without_fewer(club, population) {
        let more = Node::new(club, taxon, &wider).less(&fallback.members, true);
        fallback.beside.push(more);
    }
    let mut nodes = Vec::new();
    if is_asked(taxon) {
        fallback.beside.push(group.less(&fallback.members, true));
        nodes.push(group);
    }
    nodes.push(fallback);
    nodes
}

/// What other fallbacks to the same group leave out, where that is less.
fn without_fewer(club: &Club, population: &Population) -> BTreeSet<Vec<TaxonSlug>> {
    let genera = catalogue().taxa().iter().filter(|row| row.rank == Rank::Genus);
    let steps = genera.filter(|row| row.group_slug == population.taxon).flat_map(|row| row.slug.fallback());
    let left_out = steps.filter(|step| matches!(step, Fallback::GroupWithout { .. }));
    left_out
        .map(|step| Population::of_fallback(club, &step, None).without)
        .filter(|without| !without.is_empty() && without.len() < population.without.len())
        .filter(|without| without.iter().all(|genus| population.without.contains(genus)))
        .collect()
}
