//! A genus and its species (a group and its genera) are tied by subtraction: what is left of the whole when the
//! published parts are taken away must pass as a block too.

use std::collections::{BTreeMap, BTreeSet};

use super::passes;
use crate::answer::Audience;
use crate::club::{Club, TankId};
use crate::evidence::Tally;
use crate::follow_up::population::latest_name;
use crate::follow_up::{Population, Run, follow_up};
use crate::vocabulary::{Rank, TaxonSlug};

/// One specimen of a block.
#[derive(Debug, Clone, PartialEq)]
pub struct Member {
    /// Its keeper.
    pub keeper: u32,
    /// Tanks it stood in.
    pub tanks: Vec<TankId>,
    /// Its weight in a keeper's share: days at risk, or 1 for a plain count.
    pub weight: f64,
}

/// The tally of a block of specimens; its deaths are not counted.
pub fn tally<'a>(members: impl Iterator<Item = &'a Member>) -> Tally {
    let (mut specimens, mut weight) = (0, 0.0);
    let mut tanks = BTreeSet::new();
    let mut of_keeper: BTreeMap<u32, f64> = BTreeMap::new();
    for member in members {
        specimens += 1;
        weight += member.weight;
        tanks.extend(member.tanks.iter().copied());
        *of_keeper.entry(member.keeper).or_default() += member.weight;
    }
    let largest = of_keeper.values().copied().fold(0.0, f64::max);
    Tally {
        specimens,
        keepers: of_keeper.len() as u64,
        tanks: tanks.len() as u64,
        deaths: 0,
        days: weight,
        largest_share: if weight > 0.0 { largest / weight } else { 0.0 },
    }
}

/// The parts of a whole that may be shown beside it: those that pass, less the smallest ones until what is left of the
/// whole passes or is empty. `rest` belongs to no part.
pub fn shown_parts(
    parts: &BTreeMap<TaxonSlug, Vec<Member>>,
    rest: &[Member],
    audience: Audience,
) -> BTreeSet<TaxonSlug> {
    let mut shown: BTreeSet<TaxonSlug> =
        parts.iter().filter(|(_, members)| passes(&tally(members.iter()), audience)).map(|(name, _)| *name).collect();
    loop {
        let hidden = parts.iter().filter(|(name, _)| !shown.contains(*name)).flat_map(|(_, members)| members);
        let left = tally(rest.iter().chain(hidden));
        if left.specimens == 0 || passes(&left, audience) {
            return shown;
        }
        let smallest = shown.iter().min_by_key(|name| (parts.get(*name).map_or(0, Vec::len), **name)).copied();
        match smallest {
            Some(smallest) => shown.remove(&smallest),
            None => return shown,
        };
    }
}

/// The wider taxon whose answer a taxon's own is tied to.
fn wider(taxon: TaxonSlug) -> Option<TaxonSlug> {
    let row = taxon.get();
    match row.rank {
        Rank::Species => row.genus,
        Rank::Genus => Some(row.group_slug),
        Rank::Group => None,
    }
}

/// Whether the specimens of a taxon under observation may be shown beside the answers of its wider taxa.
pub fn may_stand_beside(club: &Club, taxon: TaxonSlug, since: Option<i32>, audience: Audience) -> bool {
    if super::block_minimum(audience).is_none() {
        return true;
    }
    let mut part = taxon;
    while let Some(whole) = wider(part) {
        let population = Population::of(club, whole, since);
        let under_observation = follow_up(club, &population, Run::Main);
        let mut parts: BTreeMap<TaxonSlug, Vec<Member>> = BTreeMap::new();
        let mut rest = Vec::new();
        for follow in &under_observation.follows {
            let Some(specimen) = club.specimens.get(follow.specimen as usize) else { continue };
            let member = Member {
                keeper: follow.keeper,
                tanks: specimen.stays.iter().map(|stay| stay.tank).collect(),
                weight: follow.stop(follow.end.middle()) - follow.entry,
            };
            match latest_name(specimen).and_then(|name| part_of(name, whole)) {
                Some(name) => parts.entry(name).or_default().push(member),
                None => rest.push(member),
            }
        }
        if !shown_parts(&parts, &rest, audience).contains(&part) {
            return false;
        }
        part = whole;
    }
    true
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
