//! A genus and its species (a group and its genera) are tied by subtraction: what is left of the whole when the
//! published parts are taken away must pass as a block too.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::{Arc, OnceLock};

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
        let of = |tank, days| Entry { specimen: id, keeper: specimen.keeper, tank, days, marks: 0, ended: false };
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

/// A taxon within the widest one, beside those of the chain.
#[derive(Debug, Clone)]
pub struct Narrower {
    taxon: TaxonSlug,
    names: Arc<[Option<TaxonSlug>]>,
    /// Made when it is first asked for: most never are.
    node: OnceLock<Node>,
    /// What its answers can be subtracted from, widest first: numbers in the chain, and after these in the list of the
    /// narrower ones.
    pub within: Vec<usize>,
    /// The nodes of the chain that it is a part of, also of what is no taxon.
    pub part_of: Vec<usize>,
}

impl Narrower {
    /// Its specimens.
    pub fn node(&self) -> &Node {
        self.node.get_or_init(|| Node::named(&self.names, self.taxon, &[]))
    }
}

impl Node {
    fn new(club: &Club, taxon: TaxonSlug, without: &[TaxonSlug]) -> Node {
        Node::named(&club.specimens.iter().map(latest_name).collect::<Vec<_>>(), taxon, without)
    }

    fn named(names: &[Option<TaxonSlug>], taxon: TaxonSlug, without: &[TaxonSlug]) -> Node {
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

/// The taxa within the widest one of a chain, without those of the chain itself, that specimens are of and that are asked by
/// themselves, widest first.
pub fn narrower(club: &Club, population: &Population, chain: &[Node]) -> Vec<Narrower> {
    let Some(widest) = chain.first() else { return Vec::new() };
    let names: Arc<[Option<TaxonSlug>]> = club.specimens.iter().map(latest_name).collect();
    let present: BTreeSet<TaxonSlug> = names.iter().flatten().copied().collect();
    // A group without some genera is no taxon: nothing is subtracted from it by way of its parts.
    let number_of = |taxon: TaxonSlug| chain.iter().position(|node| node.is_part && node.taxon == taxon);
    let within: BTreeSet<TaxonSlug> = present
        .into_iter()
        .flat_map(TaxonSlug::ancestors)
        .filter(|taxon| taxon.is_within(widest.taxon) && is_asked(*taxon) && number_of(*taxon).is_none())
        .collect();
    let mut taxa: Vec<TaxonSlug> = within.into_iter().collect();
    taxa.sort_by_key(|taxon| (taxon.ancestors().len(), *taxon));
    let narrower = taxa.iter().map(|&taxon| {
        let mut wider = taxon.ancestors();
        wider.reverse();
        let number = |wider: TaxonSlug| {
            number_of(wider).or_else(|| taxa.iter().position(|other| *other == wider).map(|at| chain.len() + at))
        };
        let within = wider.into_iter().filter(|wider| *wider != taxon).filter_map(number).collect();
        let left_out = population.without.iter().any(|genus| taxon.is_within(*genus));
        let holds = |node: &Node| taxon.is_within(node.taxon) && (node.is_part || !left_out);
        let part_of = (0..chain.len()).filter(|at| chain.get(*at).is_some_and(holds)).collect();
        Narrower { taxon, names: names.clone(), node: OnceLock::new(), within, part_of }
    });
    narrower.collect()
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
