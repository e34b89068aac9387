//! An attack by subtraction: every two published figures of one split, of which one holds the other, differ by nothing or
//! by what may be shown itself. It must succeed once a rule is switched off. Figures of different splits are not held
//! against each other here: whether all corals of one lie in a level of the other is not published.

use std::collections::{BTreeMap, BTreeSet};

use super::*;
use crate::disclosure::cells::Block;
use crate::disclosure::plan::switches::{Rule, is_off, without};
use crate::vocabulary::TaxonSlug;

#[path = "../../../../tests/support/random_club.rs"]
mod random_club;
#[path = "../../../../tests/support/club_builder.rs"]
mod support;

use random_club::{Size, random_club};

const SLUGS: &[&str] = &["acropora-millepora", "acropora-tenuis", "acropora-millepora", "montipora-digitata"];
const TAXA: &[&str] = &["acropora-millepora", "acropora-tenuis", "acropora", "montipora-digitata", "sps"];

/// What one published count is of: the time of a specimen at one finest level, held or not.
type Unit = (u32, usize, bool);
type Published = ((Division, String), BTreeMap<Unit, Entry>);

/// Every count that an audience is shown about one taxon: each level and each answer as a whole, since each year.
fn published(club: &Club, taxon: TaxonSlug, by: By, given: Option<Given>, audience: Audience) -> Vec<Published> {
    let population = Population::of(club, taxon, None);
    let records = Records::new(club, &population, by, given).expect("records");
    let own = records.own().expect("a taxon").clone();
    let mut found = Vec::new();
    let mut plan = Plan::new(&records.ground);
    for layer in 0..records.ground.layers.len() {
        for division in [Division::Years, Division::Finest] {
            let Some(partition) = plan.partition(division, layer, audience) else { continue };
            for from in
                (0..records.ground.undivided.years()).filter(|from| is_off(Rule::Years) || partition.is_cut_at(*from))
            {
                for row in &partition.rows {
                    let block = Block {
                        split: partition.split,
                        levels: row.levels.clone(),
                        years: from..records.ground.undivided.years(),
                    };
                    let name = format!("{} layer {layer}, levels {:?}, from {from}", taxon.as_str(), row.levels);
                    found.push(((division, name), count(&records, &own, &block, layer)));
                }
            }
        }
    }
    found.retain(|(_, published): &Published| !published.is_empty());
    found
}

fn count(records: &Records, own: &Node, block: &Block, layer: usize) -> BTreeMap<Unit, Entry> {
    let mut published = BTreeMap::new();
    let split = 0;
    let known = records.ground.splits.first().map_or(0, |split| split.known);
    for level in 0..=known {
        let finest = Block { split: Some(split), levels: vec![level], years: block.years.clone() };
        let blocks = [block, &finest];
        for entry in records.ground.divided.within(&blocks).filter(|entry| own.holds(entry)) {
            let held = entry.marks & HELD != 0;
            if layer > 0 && !held {
                continue;
            }
            let unit = published.entry((entry.specimen, level, held)).or_insert(Entry { days: 0.0, ..*entry });
            unit.days += entry.days;
        }
    }
    published
}

/// Differences that may not be shown, and all differences looked at.
fn attack(club: &Club, audience: Audience) -> (usize, usize) {
    let (mut broken, mut all) = (0, 0);
    for by in [By::Parameter(support::parameter("nitrate")), By::Origin] {
        let figures: Vec<Published> = TAXA
            .iter()
            .flat_map(|slug| published(club, support::taxon(slug), by, Some(Given::WaterInBand), audience))
            .collect();
        let keys: Vec<BTreeSet<&Unit>> = figures.iter().map(|(_, figure)| figure.keys().collect()).collect();
        for (((split, more_name), more), more_keys) in figures.iter().zip(&keys) {
            let within =
                |(_, less): &(&Published, &BTreeSet<&Unit>)| less.len() < more_keys.len() && less.is_subset(more_keys);
            for (((of, less_name), _), less) in figures.iter().zip(&keys).filter(within) {
                if of != split {
                    continue;
                }
                let left: Vec<&Entry> =
                    more.iter().filter(|(unit, _)| !less.contains(unit)).map(|(_, entry)| entry).collect();
                all += 1;
                // The same corals at other times are no cell of their own: what is left is judged by its corals.
                let left = tally(left.into_iter());
                if !passes(&left, audience) {
                    broken += 1;
                    eprintln!("{audience:?}: {more_name} less {less_name}: {left:?}");
                }
            }
        }
    }
    (broken, all)
}

/// Clubs around the minimums.
fn club(seed: u64) -> Club {
    let keepers = [14, 8, 10, 7, 12, 9][seed as usize % 6];
    random_club(seed, &Size { keepers, corals_per_tank: 5 + (seed % 5) as i64, slugs: SLUGS })
}

#[test]
fn no_difference_of_two_published_figures_is_a_cell_that_may_not_be_shown() {
    let mut looked_at = 0;
    for club in (0..6).map(club) {
        for audience in [Audience::Member, Audience::Public] {
            let (broken, all) = attack(&club, audience);
            assert_eq!(broken, 0, "{audience:?}: {broken} of {all}");
            looked_at += all;
        }
    }
    assert!(looked_at > 100, "{looked_at} differences only");
}

#[test]
fn the_attack_succeeds_without_each_rule() {
    // For each rule, a club in which it is what keeps a cell from being found.
    for (rule, seed) in [(Rule::Years, 0), (Rule::Tree, 0), (Rule::Given, 36)] {
        let club = club(seed);
        let found = without(Some(rule), || [Audience::Member, Audience::Public].map(|to| attack(&club, to).0));
        assert!(found.iter().sum::<usize>() > 0, "{rule:?} is not needed");
        let kept = [Audience::Member, Audience::Public].map(|to| attack(&club, to).0);
        assert_eq!(kept, [0, 0], "{rule:?}");
    }
}
