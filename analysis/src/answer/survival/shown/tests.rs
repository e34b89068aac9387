//! An attack by subtraction: every two published figures of one split, of which one holds the other, differ by nothing or
//! by what may be shown itself. It must succeed once a rule is switched off. Figures of different splits are not held
//! against each other here: whether all corals of one lie in a level of the other is not published.

use std::collections::{BTreeMap, BTreeSet};

use super::*;
use crate::answer::{Given, Outcome};
use crate::club::Club;
use crate::disclosure::cells::Block;
use crate::disclosure::plan::switches::{Rule, is_off, without};
use crate::disclosure::tree::Node;
use crate::vocabulary::TaxonSlug;

use super::super::attack::clubs::random_club::{Size, random_club};
use super::super::attack::clubs::support;

const SLUGS: &[&str] = &["acropora-millepora", "acropora-tenuis", "acropora-millepora", "montipora-digitata"];
const TAXA: &[&str] = &["acropora-millepora", "acropora-tenuis", "acropora", "montipora-digitata", "sps"];

/// What one published count is of: the time of a specimen at one set of finest levels, by its marks.
type Unit = (u32, usize, u32);

/// A published count.
struct Figure {
    taxon: TaxonSlug,
    division: Division,
    layer: usize,
    block: Block,
    name: String,
    of: BTreeMap<Unit, Entry>,
}

/// The split attacked.
#[derive(Clone, Copy)]
struct Menu {
    by: By,
    given: Option<Given>,
    outcome: Outcome,
}

/// Whether time with these marks is of a layer.
fn kept(marks: u32, layer: usize) -> bool {
    (marks & AT_RISK != 0) == (layer >= 2) && (layer.is_multiple_of(2) || marks & HELD != 0)
}

/// Every count that an audience is shown about one taxon: each level, each union of neighbours that edges ask for, and
/// each answer as a whole, since each year.
fn published(club: &Club, taxon: TaxonSlug, menu: Menu, audience: Audience) -> Vec<Figure> {
    let population = Population::of(club, taxon, None);
    let records = Records::new(club, &population, menu.by, menu.given, menu.outcome).expect("records");
    let own = records.own().expect("a taxon").clone();
    let years = records.ground.undivided.years();
    let mut found = Vec::new();
    let mut plan = Plan::new(&records.ground);
    let layers = (0..4_usize).filter(|layer| {
        (layer.is_multiple_of(2) || menu.given.is_some()) && (*layer < 2 || menu.outcome != Outcome::Death)
    });
    for layer in layers {
        for division in [Division::Years, Division::Taught, Division::Finest, Division::Fixed] {
            let Some(partition) = plan.partition(division, layer, audience) else { continue };
            let cut_at = |from: &usize| is_off(Rule::Years) || partition.is_cut_at(*from);
            for from in (0..years).filter(cut_at) {
                let rows = &partition.rows;
                let last = |first: usize| if division == Division::Finest { rows.len() } else { first + 1 };
                for (first, end) in
                    (0..rows.len()).flat_map(|first| (first + 1..=last(first)).map(move |end| (first, end)))
                {
                    let levels: Vec<usize> = rows[first..end].iter().flat_map(|row| row.levels.clone()).collect();
                    let name = format!("{} {division:?} layer {layer}, levels {levels:?}, from {from}", taxon.as_str());
                    let block = Block { split: partition.split, levels, years: from..years };
                    let of = units(&records, &own, &block, layer);
                    found.push(Figure { taxon, division, layer, block, name, of });
                }
            }
        }
    }
    found.retain(|figure| !figure.of.is_empty());
    found
}

fn units(records: &Records, own: &Node, block: &Block, layer: usize) -> BTreeMap<Unit, Entry> {
    let mut units: BTreeMap<Unit, Entry> = BTreeMap::new();
    for (at, entry) in records.ground.divided.placed(block) {
        if own.holds(entry) && kept(entry.marks, layer) {
            let unit = units.entry((entry.specimen, at, entry.marks)).or_insert(Entry { days: 0.0, ..*entry });
            unit.days += entry.days;
        }
    }
    units
}

/// What is left of one figure when another is taken from it; `None` if it does not hold the other.
fn left<'a>(more: &'a Figure, less: &Figure) -> Option<Vec<&'a Entry>> {
    if less.division != more.division || !less.taxon.is_within(more.taxon) {
        return None;
    }
    if less.layer / 2 == more.layer / 2 {
        let holds = less.of.len() < more.of.len() && less.of.keys().all(|unit| more.of.contains_key(unit));
        return holds.then(|| more.of.iter().filter(|(unit, _)| !less.of.contains_key(unit)).map(|(_, e)| e).collect());
    }
    // Of another outcome fewer corals are at risk in the same block: those that are not are what is left.
    let corals = |figure: &Figure| figure.of.keys().map(|(coral, _, _)| *coral).collect::<BTreeSet<u32>>();
    let (own, all) = (corals(less), corals(more));
    let same = less.block == more.block && less.layer % 2 == more.layer % 2;
    let holds = same && less.layer > more.layer && own.len() < all.len();
    (holds && own.is_subset(&all))
        .then(|| more.of.iter().filter(|((coral, _, _), _)| !own.contains(coral)).map(|(_, e)| e).collect())
}

/// Differences that may not be shown, and all differences looked at.
fn attack(club: &Club, menu: Menu, audience: Audience) -> (usize, usize) {
    let (mut broken, mut all) = (0, 0);
    let figures: Vec<Figure> =
        TAXA.iter().flat_map(|slug| published(club, support::taxon(slug), menu, audience)).collect();
    for more in &figures {
        assert!(passes(&tally(more.of.values()), audience) || is_off_at_all(), "{audience:?}: {}", more.name);
        for less in &figures {
            let Some(left) = left(more, less) else { continue };
            all += 1;
            let left = tally(left.into_iter());
            if !passes(&left, audience) {
                broken += 1;
                eprintln!("{audience:?}: {} less {}: {left:?}", more.name, less.name);
            }
        }
    }
    (broken, all)
}

fn is_off_at_all() -> bool {
    [Rule::Years, Rule::Tree, Rule::Given, Rule::Outcome].into_iter().any(is_off)
}

fn menus() -> Vec<Menu> {
    let nitrate = By::Parameter(support::parameter("nitrate"));
    let menu = |by, given, outcome| Menu { by, given, outcome };
    vec![
        menu(nitrate, Some(Given::WaterInBand), Outcome::Death),
        menu(By::Origin, Some(Given::WaterInBand), Outcome::FirstSeriousDecline),
        menu(nitrate, None, Outcome::FirstSeriousDecline),
        menu(By::Feeding, None, Outcome::FirstSeriousDecline),
    ]
}

/// Clubs around the minimums.
fn club(seed: u64) -> Club {
    let keepers = [14, 8, 10, 7, 12, 9][seed as usize % 6];
    random_club(seed, &Size { keepers, corals_per_tank: 5 + (seed % 5) as i64, slugs: SLUGS })
}

/// Differences found, by reader.
fn attacks(club: &Club) -> usize {
    let readers = [Audience::Member, Audience::Public];
    menus().into_iter().flat_map(|menu| readers.map(|to| attack(club, menu, to).0)).sum()
}

#[test]
fn no_difference_of_two_published_figures_is_a_cell_that_may_not_be_shown() {
    let mut looked_at = 0;
    for seed in 0..6 {
        let club = club(seed);
        for (number, menu) in menus().into_iter().enumerate() {
            for audience in [Audience::Member, Audience::Public] {
                let (broken, all) = attack(&club, menu, audience);
                assert_eq!(broken, 0, "club {seed}, menu {number}, {audience:?}: {broken} of {all}");
                looked_at += all;
            }
        }
    }
    assert!(looked_at > 1_000, "{looked_at} differences only");
}

#[test]
fn the_attack_succeeds_without_each_rule() {
    // For each rule, a club in which it is what keeps a cell from being found.
    for (rule, seed) in [(Rule::Years, 0), (Rule::Tree, 0), (Rule::Given, 23), (Rule::Outcome, 0)] {
        let club = club(seed);
        assert!(without(Some(rule), || attacks(&club)) > 0, "{rule:?} is not needed");
        assert_eq!(attacks(&club), 0, "{rule:?}");
    }
}
