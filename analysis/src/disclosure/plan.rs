//! The blocks that every answer about a taxon and a split is a union of: one partition for each reader.
//!
//! A partition starts from that of the wider taxon, and the public's from the members', so that the difference of any
//! two answers is a union of blocks that pass. All splits of a taxon are cut at the same years: those of the taxon
//! undivided. Where a band is taught, its levels are a partition of their own, made first; the ladder's blocks are then
//! joined until each has with each of those nothing or enough in common. Answers about a part of the time (days on
//! which something held) have a layer of their own, whose blocks are unions of those of the whole, and in which what is
//! kept passes, and what is left out passes or is nothing. Blocks that are no parts of each other (a level of the whole, a genus
//! since a year) may bound what is in both by their counts alone: where all of the one were lost, no more can be in both than were
//! lost in the other. They are joined further until that leaves five corals open.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use super::cells::{Block, Cells, Entry, tally};
use super::partition::Partition;
use super::tree::{Narrower, Node};
use crate::answer::Audience;
use crate::evidence::Tally;

#[cfg(test)]
pub(crate) mod switches; // rules switched off, to see that they are needed

/// Whether a rule holds: always, but in tests of what comes of it without.
macro_rules! holds {
    ($rule:ident) => {{
        #[cfg(test)]
        let holds = !$crate::disclosure::plan::switches::is_off($crate::disclosure::plan::switches::Rule::$rule);
        #[cfg(not(test))]
        let holds = true;
        holds
    }};
}
pub(crate) use holds;

/// Whether a block may be shown to an audience.
pub type Passes = fn(&Tally, Audience) -> bool;

/// A complement of what a layer keeps, which passes or is empty in every block.
#[derive(Debug, Clone, Copy)]
pub struct LeftOut {
    /// Whether time with these marks may be of it.
    pub of: fn(u32) -> bool,
    /// Only that of specimens of which nothing is kept in the block.
    pub whole_specimens: bool,
}

/// A part of the time that answers are about.
#[derive(Debug, Clone, Copy)]
pub struct Layer {
    /// The layers it is a part of; none = it is no part of another.
    pub part_of: &'static [usize],
    /// Whether time with these marks is kept.
    pub kept: fn(u32) -> bool,
    /// What it leaves out of those.
    pub left_out: &'static [LeftOut],
}

/// The mark of days on which the condition that had to hold did.
pub const HELD: u32 = 1;
/// The mark of days on which it is not known whether it did.
pub const NOT_KNOWN: u32 = 2;
/// The mark of time at risk of an outcome that fewer specimens are at risk of than of death.
pub const AT_RISK: u32 = 4;

/// All of the time at risk of death.
const WHOLE: Layer = Layer { part_of: &[], kept: |marks| marks & AT_RISK == 0, left_out: &[] };
/// The days of it on which the condition that had to hold did.
const GIVEN: Layer = Layer {
    part_of: &[0],
    kept: |marks| marks & (AT_RISK | HELD) == HELD,
    left_out: &[LeftOut { of: |marks| marks & (AT_RISK | HELD) == 0, whole_specimens: false }],
};
/// The time at risk of another outcome.
const OUTCOME: Layer = Layer {
    part_of: &[0],
    kept: |marks| marks & AT_RISK != 0,
    left_out: &[LeftOut { of: |marks| marks & AT_RISK == 0, whole_specimens: true }],
};
/// The days of that on which the condition that had to hold did.
const OUTCOME_GIVEN: Layer = Layer {
    part_of: &[0, 1, 2],
    kept: |marks| marks & (AT_RISK | HELD) == AT_RISK | HELD,
    left_out: &[
        LeftOut { of: |marks| marks & (AT_RISK | HELD) == AT_RISK, whole_specimens: false },
        LeftOut { of: |marks| marks & (AT_RISK | HELD) == HELD, whole_specimens: true },
    ],
};
/// Corals that figures have to leave open of what may not be told.
const LEFT_OPEN: u64 = 5;

/// Every layer, by position.
const LAYERS: [Layer; 4] = [WHOLE, GIVEN, OUTCOME, OUTCOME_GIVEN];

/// The position of the layer of an answer: with a condition that had to hold, about another outcome than death.
pub const fn layer(given: bool, outcome: bool) -> usize {
    given as usize + 2 * outcome as usize
}

/// Whether an answer of a layer is about time with these marks.
pub fn is_kept(layer: usize, marks: u32) -> bool {
    LAYERS.get(layer).is_some_and(|layer| (layer.kept)(marks))
}

/// A split of the cells.
#[derive(Debug, Clone)]
pub struct Split {
    /// Number of known levels; unknown is the next.
    pub known: usize,
    /// Levels without any entry are levels still: steps of a ladder are, words are not.
    pub keeps_empty: bool,
}

/// How an answer is divided.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Division {
    /// By years of purchase alone, or not at all.
    Years,
    /// By the band taught for the taxon.
    Taught,
    /// By the finest levels.
    Finest,
    /// By levels that are never joined: those of a table that stands whole or not at all.
    Fixed,
}

/// Everything that partitions are made from.
#[derive(Debug, Clone)]
pub struct Ground {
    /// Cells of the widest taxon, for blocks of years alone.
    pub undivided: Cells,
    /// Cells of the widest taxon, by split; the same years.
    pub divided: Cells,
    /// The splits of `divided`, by position.
    pub splits: Vec<Split>,
    /// Position of the finest split.
    pub finest: Option<usize>,
    /// Position of the split whose levels are never joined.
    pub fixed: Option<usize>,
    /// For each node, the position of the split by the band that is taught for it.
    pub taught: Vec<Option<usize>>,
    /// From the widest taxon to the one asked.
    pub nodes: Arc<[Node]>,
    /// The other taxa within the widest: their own answers bound parts of the blocks of wider ones.
    pub narrower: Arc<[Narrower]>,
}

impl Ground {
    /// The same splits and taxa with other entries.
    pub fn with(&self, undivided: Cells, divided: Cells) -> Ground {
        let (splits, taught, nodes) = (self.splits.clone(), self.taught.clone(), self.nodes.clone());
        Ground { undivided, divided, splits, taught, nodes, narrower: self.narrower.clone(), ..*self }
    }

    /// A node by its number: those of the chain, then the narrower ones.
    fn node(&self, number: usize) -> Option<&Node> {
        let narrower = || self.narrower.get(number.checked_sub(self.nodes.len())?).map(Narrower::node);
        self.nodes.get(number).or_else(narrower)
    }

    /// The numbers of the nodes that one can be subtracted from, widest first.
    fn above(&self, number: usize) -> Vec<usize> {
        let narrower = number.checked_sub(self.nodes.len()).and_then(|at| self.narrower.get(at));
        narrower.map_or_else(|| (0..number).collect(), |of| of.within.clone())
    }

    /// The numbers of the taxa that are parts of a node of the chain.
    fn below(&self, number: usize) -> Vec<usize> {
        let chain = (number + 1..self.nodes.len()).filter(|at| self.nodes.get(*at).is_some_and(|node| node.is_part));
        let narrower = self.narrower.iter().enumerate().filter(|(_, of)| of.part_of.contains(&number));
        chain.chain(narrower.map(|(at, _)| self.nodes.len() + at)).collect()
    }
}

type Key = (usize, Division, usize, Audience);

/// Partitions as they are needed.
#[derive(Clone)]
pub struct Plan<'a> {
    ground: &'a Ground,
    made: BTreeMap<Key, Option<Partition>>,
    /// The plan of all ages, of whose blocks those of some ages are unions.
    whole: Option<Box<Plan<'a>>>,
    passes: Passes,
}

impl<'a> Plan<'a> {
    /// A plan without any partition yet.
    pub fn new(ground: &'a Ground) -> Plan<'a> {
        Plan { ground, made: BTreeMap::new(), whole: None, passes: super::passes }
    }

    /// The plan of figures about some ages, from the time at these: each block is of nobody or of keepers enough.
    pub fn at_ages<'b>(&self, ground: &'b Ground) -> Plan<'b>
    where
        'a: 'b,
    {
        Plan { ground, made: BTreeMap::new(), whole: Some(Box::new(self.clone())), passes: super::passes_there }
    }

    /// The partition of the taxon asked for a division, a layer and a restricted audience; `None` = suppressed.
    pub fn partition(&mut self, division: Division, layer: usize, audience: Audience) -> Option<Partition> {
        self.of((self.ground.nodes.len().checked_sub(1)?, division, layer, audience))
    }

    fn of(&mut self, key: Key) -> Option<Partition> {
        if let Some(made) = self.made.get(&key) {
            return made.clone();
        }
        let partition = self.make(key);
        self.made.insert(key, partition.clone());
        partition
    }

    fn make(&mut self, (node, division, layer, audience): Key) -> Option<Partition> {
        let ground = self.ground;
        let all_above = ground.above(node);
        let mut wider = all_above.last().copied();
        if let Some(above) = wider
            && self.of((above, Division::Years, 0, audience)).is_none()
        {
            // One that fails by itself is never shown: nothing is tied to it. One that is withheld for the sake of a
            // third takes its parts with it.
            if self.is_shown_above(above, audience) {
                return None;
            }
            wider = None;
        }
        let mut start = self.start((node, division, layer, audience))?;
        if audience == Audience::Public && holds!(Public) {
            start = start.joined(&self.of((node, division, layer, Audience::Member))?);
        }
        let of_layer = LAYERS.get(layer)?;
        let mut whole_blocks: Vec<Block> = Vec::new();
        for &whole in of_layer.part_of.iter().filter(|_| holds!(Layers)) {
            let partition = self.of((node, division, whole, audience))?;
            start = start.joined(&partition);
            whole_blocks.extend(partition.blocks());
        }
        // Every wider taxon that is shown is tied, also past one between that is not.
        let mut tied = Vec::new();
        let mut wider_blocks: Vec<(usize, Block)> = Vec::new();
        for &above in &all_above {
            if self.of((above, Division::Years, layer, audience)).is_some() {
                tied.push(above);
            }
            if holds!(Wider)
                && self.split_of(above, division) == self.split_of(node, division)
                && let Some(partition) = self.of((above, division, layer, audience))
            {
                start = start.joined(&partition);
                wider_blocks.extend(partition.blocks().map(|block| (above, block)));
            }
        }
        let taught = match division {
            Division::Finest if holds!(Across) && ground.taught.get(node).copied().flatten().is_some() => {
                self.of((node, Division::Taught, layer, audience))
            }
            _ => None,
        };
        let across: Vec<Block> = taught.iter().flat_map(Partition::blocks).collect();
        let cells = if division == Division::Years { &ground.undivided } else { &ground.divided };
        let check = Check {
            ground,
            cells,
            node,
            wider,
            tied,
            wider_blocks,
            whole_blocks,
            layer: of_layer,
            audience,
            may: self.passes,
        };
        let passes =
            |block: &Block| check.passes(block) && across.iter().all(|other| check.passes_or_is_empty(block, other));
        let rows = start.rows.len();
        let mut made = start.merged(passes);
        let is_few = |partition: &Partition| partition.blocks().any(|block| check.has_few_of_any(&block));
        if self.whole.is_none() && holds!(Alike) && made.as_ref().is_some_and(is_few) {
            let crossed = self.crossed((node, division, layer, audience), &check);
            made = start.merged(|block| passes(block) && check.leaves_open(block, &crossed));
        }
        made.filter(|partition| division != Division::Fixed || partition.rows.len() == rows)
    }

    /// Blocks told beside a partition's that parts of these lie in: of wider taxa and, where it is divided, those of years of the
    /// taxon itself and of narrower ones, which do not depend on it.
    fn crossed(&mut self, (node, division, layer, audience): Key, check: &Check) -> Vec<Crossed> {
        let ground = self.ground;
        let mut numbers = ground.above(node);
        if division != Division::Years {
            numbers.push(node);
            numbers.extend(ground.below(node));
        }
        let mut blocks = check.wider_blocks.clone();
        for number in numbers {
            let partition = self.of((number, Division::Years, layer, audience));
            blocks.extend(partition.iter().flat_map(Partition::blocks).map(|block| (number, block)));
        }
        let tallied = blocks.into_iter().map(|(number, block)| {
            let tally = check.tally(&[&block], number);
            Crossed { number, block, tally }
        });
        tallied.collect()
    }

    /// Whether any taxon wider than this one is shown at all.
    fn is_shown_above(&mut self, node: usize, audience: Audience) -> bool {
        self.ground.above(node).into_iter().any(|above| self.of((above, Division::Years, 0, audience)).is_some())
    }

    fn split_of(&self, node: usize, division: Division) -> Option<usize> {
        match division {
            Division::Years => None,
            Division::Taught => self.ground.taught.get(node).copied().flatten(),
            Division::Finest => self.ground.finest,
            Division::Fixed => self.ground.fixed,
        }
    }

    /// Single cells: single years, or levels cut at the years of the taxon undivided.
    fn start(&mut self, (node, division, layer, audience): Key) -> Option<Partition> {
        let ground = self.ground;
        if let Some(whole) = &mut self.whole {
            let start = whole.of((node, division, layer, audience))?;
            if division == Division::Years || !holds!(Years) {
                return Some(start);
            }
            let eras = self.of((node, Division::Years, layer, audience))?;
            return Some(start.cut_as(&eras.rows.first()?.years));
        }
        if division == Division::Years {
            return Some(Partition::of_years(ground.undivided.years()));
        }
        let number = self.split_of(node, division)?;
        let split = ground.splits.get(number)?;
        let of_node = ground.node(node)?;
        let present = ground.divided.levels_of(number, |entry| of_node.holds(entry) && (WHOLE.kept)(entry.marks));
        let levels: Vec<usize> = (0..=split.known)
            .filter(|level| present.contains(level) || (split.keeps_empty && *level < split.known))
            .collect();
        let eras = self.of((node, Division::Years, layer, audience))?;
        let years = eras.rows.first()?.years.as_slice();
        #[cfg(test)]
        let all = 0..ground.undivided.years();
        #[cfg(test)]
        let years = if switches::is_off(switches::Rule::Years) { std::slice::from_ref(&all) } else { years };
        Some(Partition::of_levels(number, &levels, split.known, years))
    }
}

/// A block that is told beside others and that parts of these lie in.
struct Crossed {
    /// The node it is told of.
    number: usize,
    block: Block,
    tally: Tally,
}

/// Specimens that are counted together: of one taxon, without those of another.
struct Told<'a> {
    of: &'a Node,
    less: Option<&'a Node>,
    tally: Tally,
}

impl Told<'_> {
    fn holds(&self, entry: &Entry) -> bool {
        self.of.holds(entry) && !self.less.is_some_and(|less| less.holds(entry))
    }
}

/// The most corals that can be in two blocks: where all of the one ended, no more than ended in the other; where each is of a
/// keeper or in a tank of its own, no more than the other has keepers or tanks.
fn most_in_both(one: &Tally, other: &Tally) -> u64 {
    let counts: [fn(&Tally) -> u64; 4] =
        [|of| of.deaths, |of| of.specimens.saturating_sub(of.deaths), |of| of.keepers, |of| of.tanks];
    let bound = |count: fn(&Tally) -> u64, one: &Tally, other: &Tally| {
        count(one).saturating_add(other.specimens.saturating_sub(count(other)))
    };
    let both_ways = counts.into_iter().flat_map(|count| [bound(count, one, other), bound(count, other, one)]);
    both_ways.min().unwrap_or(u64::MAX)
}

/// What a block must keep.
struct Check<'a> {
    ground: &'a Ground,
    cells: &'a Cells,
    node: usize,
    /// The node it is shown beside.
    wider: Option<usize>,
    /// The wider nodes that are shown: what is left of each passes or is nothing.
    tied: Vec<usize>,
    /// Their blocks, where the split is the same.
    wider_blocks: Vec<(usize, Block)>,
    /// Those of the layers that this one is a part of.
    whole_blocks: Vec<Block>,
    layer: &'static Layer,
    audience: Audience,
    may: Passes,
}

impl Check<'_> {
    fn passes(&self, block: &Block) -> bool {
        let Some(own) = self.ground.node(self.node) else { return false };
        let blocks = [block];
        let entries: Vec<&Entry> = self.cells.within(&blocks).collect();
        let kept: Vec<&Entry> = entries.iter().copied().filter(|entry| (self.layer.kept)(entry.marks)).collect();
        let of =
            |entries: &[&Entry], is: &dyn Fn(&Entry) -> bool| tally(entries.iter().copied().filter(|entry| is(entry)));
        if !(self.may)(&of(&kept, &|entry| own.holds(entry)), self.audience) {
            return false;
        }
        let or_empty = |tally: Tally| tally.specimens == 0 || (self.may)(&tally, self.audience);
        let left_out = self.layer.left_out.iter();
        #[cfg(test)]
        let left_out = left_out.filter(|left_out| {
            let rule = if left_out.whole_specimens { switches::Rule::Outcome } else { switches::Rule::Given };
            !switches::is_off(rule)
        });
        let inside: BTreeSet<u32> = kept.iter().filter(|entry| own.holds(entry)).map(|entry| entry.specimen).collect();
        // It is left out of the block and, where all that is kept lies in one block of the whole, of that one.
        let all_lies_in = |whole: &&Block| {
            let blocks = [block, *whole];
            let within = self.cells.within(&blocks).filter(|entry| (self.layer.kept)(entry.marks) && own.holds(entry));
            within.count() == kept.iter().filter(|entry| own.holds(entry)).count()
        };
        let wholes: Vec<&Block> = self.whole_blocks.iter().filter(all_lies_in).collect();
        for left_out in left_out {
            let left = |entry: &Entry| {
                own.holds(entry)
                    && (left_out.of)(entry.marks)
                    && !(left_out.whole_specimens && inside.contains(&entry.specimen))
            };
            let in_one = |whole: &&Block| {
                let blocks = [*whole];
                or_empty(tally(self.cells.within(&blocks).filter(|entry| left(entry))))
            };
            if !or_empty(of(&entries, &left)) || !wholes.iter().all(in_one) {
                return false;
            }
        }
        #[cfg(test)]
        if switches::is_off(switches::Rule::Tree) {
            return true;
        }
        let ties = self.tied.iter().filter_map(|&above| self.ground.node(above));
        let mut left_of = ties.map(|above| of(&kept, &|entry| above.holds(entry) && !own.holds(entry)));
        if !left_of.all(or_empty) || !self.passes_where_it_all_lies(own, block) {
            return false;
        }
        own.beside.iter().all(|beside| {
            let left = of(&kept, &|entry| beside.holds(entry));
            if beside.may_be_empty { or_empty(left) } else { (self.may)(&left, self.audience) }
        }) && self
            .wider
            .and_then(|wider| self.ground.node(wider))
            .is_none_or(|wider| !own.is_part || wider.shows(own.taxon, &kept, self.audience, self.may))
    }

    /// A block can be taken from the one block of a wider taxon in which all of it lies, and from all of those together that it
    /// has a part in: what is left there passes or is nothing.
    fn passes_where_it_all_lies(&self, own: &Node, block: &Block) -> bool {
        let kept = |blocks: &[&Block], is: &dyn Fn(&Entry) -> bool| {
            let entries = self.cells.within(blocks).filter(|entry| (self.layer.kept)(entry.marks) && is(entry));
            entries.copied().collect::<Vec<Entry>>()
        };
        let all = kept(&[block], &|entry| own.holds(entry)).len();
        let or_nothing = |left: &[Entry]| left.is_empty() || (self.may)(&tally(left.iter()), self.audience);
        let mut beside: BTreeMap<usize, Vec<Entry>> = BTreeMap::new();
        for (number, wider) in self.wider_blocks.iter().filter(|_| all > 0) {
            let Some(above) = self.ground.node(*number) else { continue };
            let inside = kept(&[block, wider], &|entry| own.holds(entry)).len();
            if inside == 0 {
                continue;
            }
            let left = kept(&[wider], &|entry| above.holds(entry) && !own.holds(entry));
            if inside == all && !or_nothing(&left) {
                return false;
            }
            beside.entry(*number).or_default().extend(left);
        }
        beside.values().all(|left| or_nothing(left))
    }

    /// What is kept of a node in all of these blocks.
    fn tally(&self, blocks: &[&Block], number: usize) -> Tally {
        let Some(node) = self.ground.node(number) else { return tally([].iter()) };
        tally(self.cells.within(blocks).filter(|entry| (self.layer.kept)(entry.marks) && node.holds(entry)))
    }

    /// What is told of a block: it itself, and what is left of each wider taxon that is shown.
    fn told_of(&self, block: &Block) -> Vec<Told<'_>> {
        let Some(own) = self.ground.node(self.node) else { return Vec::new() };
        let left = self.tied.iter().filter_map(|&above| Some((self.ground.node(above)?, Some(own))));
        let told = std::iter::once((own, None)).chain(left).map(|(of, less)| {
            let mut told = Told { of, less, tally: Tally::default() };
            let blocks = [block];
            let inside = self.cells.within(&blocks).filter(|entry| (self.layer.kept)(entry.marks) && told.holds(entry));
            told.tally = tally(inside);
            told
        });
        told.filter(|told| told.tally.specimens > 0).collect()
    }

    /// Whether so little is counted of a block that it can bound what is in it and in another one.
    fn has_few_of_any(&self, block: &Block) -> bool {
        self.told_of(block).iter().any(|Told { tally, .. }| {
            let counts = [tally.deaths, tally.keepers, tally.tanks];
            counts.into_iter().any(|count| count < LEFT_OPEN || tally.specimens < LEFT_OPEN + count)
        })
    }

    /// Whether the counts of two blocks leave open how many corals are in both, where that may not be told.
    fn leaves_open(&self, block: &Block, crossed: &[Crossed]) -> bool {
        let told = self.told_of(block);
        crossed.iter().all(|other| {
            let Some(of) = self.ground.node(other.number) else { return true };
            told.iter().filter(|told| most_in_both(&told.tally, &other.tally) < LEFT_OPEN).all(|told| {
                let blocks = [block, &other.block];
                let both = self.cells.within(&blocks).filter(|entry| (self.layer.kept)(entry.marks));
                let both = tally(both.filter(|entry| told.holds(entry) && of.holds(entry)));
                both.specimens == 0 || (self.may)(&both, self.audience)
            })
        })
    }

    /// Whether what is kept in both blocks passes or is nothing.
    fn passes_or_is_empty(&self, block: &Block, other: &Block) -> bool {
        let Some(own) = self.ground.node(self.node) else { return false };
        let blocks = [block, other];
        let left = tally(self.cells.within(&blocks).filter(|entry| own.holds(entry) && (self.layer.kept)(entry.marks)));
        left.specimens == 0 || (self.may)(&left, self.audience)
    }
}
