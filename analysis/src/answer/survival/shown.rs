//! What a restricted audience may see of an answer on survival: levels as unions of blocks, or nothing.
//!
//! The blocks are made from all records of the taxon and of the wider taxa its answers are tied to, whatever the year,
//! the edges and the condition asked, so that no two answers differ by less than a block.

use std::collections::{BTreeMap, BTreeSet};

use super::attempt::Attempt;
use super::by_age::ByAge;
use super::frame::{Framed, Levels};
use super::records::{Ages, Ended, Records, invalid};
use crate::answer::{Audience, By, ON_RECORD, Question};
use crate::disclosure::cells::{Block, Entry, tally};
use crate::disclosure::partition::Partition;
use crate::disclosure::plan::{self, AT_RISK, Division, HELD, NOT_KNOWN, Plan};
use crate::disclosure::tree::counted_once;
use crate::disclosure::{block_minimum, passes, suppressed};
use crate::exposure::condition::{finest, finest_edges};
use crate::exposure::{Condition, LevelName, Rules};
use crate::follow_up::{Population, Run, follow_up};
use crate::refusal::Refusal;

/// What of an answer is shown.
pub(super) struct Shown {
    /// The levels as printed.
    pub(super) levels: Levels,
    /// The records that it is made from; `None` = exact figures.
    pub(super) records: Option<Records>,
    /// What of them the whole answer is of, then each printed level, unknown last.
    pub(super) parts: Vec<Block>,
    /// Whether those left out are counted by reason.
    pub(super) left_out: bool,
    /// Whether the table of feeding by water is.
    pub(super) fed_by_water: bool,
    /// Whether the days left out by the condition that had to hold are told apart.
    pub(super) given_days: bool,
    /// Keepers with deaths by cause, for each set that could be found by subtraction from another answer.
    pub(super) deaths_beside: Vec<BTreeMap<u32, BTreeSet<u32>>>,
}

/// The question by whose levels rows are cut: for a restricted audience edges are unions of finest levels, so that a
/// value between two of them is unknown for every answer.
pub(super) fn framed_by(question: &Question, audience: Audience) -> Question {
    if block_minimum(audience).is_none() || question.edges.is_none() {
        return question.clone();
    }
    Question { edges: finest_edges(question.by), ..question.clone() }
}

/// A level of an answer: the levels of its rows, its name where it has one of its own, the block that it is.
type Told = (Vec<usize>, Option<LevelName>, Block);

/// The levels of a restricted answer from its partition; `None` = suppressed.
///
/// `known` are the levels that rows are cut by; `asked`, those of edges. Each with the block of the partition's cells
/// that it is.
pub(in crate::answer) fn blocks(
    records: &Records,
    partition: &Partition,
    question: &Question,
    known: &[LevelName],
    asked: Option<&[LevelName]>,
) -> Option<Vec<Told>> {
    let from = records.since(question.since)?;
    let all = records.years_from(from);
    let block = |levels: &[usize]| Block { split: partition.split, levels: levels.to_vec(), years: all.years.clone() };
    if question.by == By::None {
        return Some(vec![(vec![0], None, all)]);
    }
    if question.by == By::Year {
        let years = &partition.rows.first()?.years;
        let blocks = years.iter().filter(|block| block.start >= from).filter_map(|block| {
            let lies_inside = |name: &LevelName| {
                let year = name.code.parse::<i32>().ok().and_then(|year| year.checked_sub(records.first_year));
                year.and_then(|year| usize::try_from(year).ok()).is_some_and(|year| block.contains(&year))
            };
            let mut levels: Vec<usize> = (0..known.len()).filter(|&level| lies_inside(&known[level])).collect();
            let mut names: Vec<LevelName> = levels.first().zip(levels.last()).map_or_else(Vec::new, |(first, last)| {
                let (first, last) = (&known[*first], &known[*last]);
                vec![if first == last { first.clone() } else { LevelName::years(&first.code, &last.code) }]
            });
            if records.unknown_year.is_some_and(|year| block.contains(&year)) {
                levels.push(known.len());
                names.push(LevelName::unknown());
            }
            let name = match names.as_slice() {
                [] => return None,
                [_] if levels.len() == 1 => None,
                [years] => Some(years.clone()),
                several => Some(LevelName::joined(several)),
            };
            Some((levels, name, Block { years: block.clone(), ..all.clone() }))
        });
        let blocks: Vec<_> = blocks.collect();
        let one_of_several = blocks.len() < 2 && blocks.iter().any(|(_, name, _)| name.is_some());
        return (!one_of_several).then_some(blocks);
    }
    let unknown = known.len();
    let rows = partition.rows.iter().map(|row| row.levels.as_slice());
    let rows: Vec<(Vec<usize>, Block)> = match question.by {
        // The words of the widest taxon, of which this one has some.
        By::Identification | By::Form => {
            let place = |level: usize| match records.names.get(level) {
                Some(name) => known.iter().position(|own| own.code == name.code),
                None => Some(unknown),
            };
            rows.map(|row| (row.iter().filter_map(|&level| place(level)).collect(), block(row))).collect()
        }
        _ => rows.map(|row| (row.to_vec(), block(row))).collect(),
    };
    let rows: Vec<(Vec<usize>, Block)> = rows.into_iter().filter(|(row, _)| !row.is_empty()).collect();
    let Some(asked) = asked else {
        let one_of_several = rows.len() < 2 && rows.iter().any(|(row, _)| row.len() > 1);
        return (!one_of_several).then(|| rows.into_iter().map(|(row, block)| (row, None, block)).collect());
    };
    let cuts = finest(question.by);
    let edges = question.edges.as_deref().unwrap_or_default();
    let place = |level: usize| match level.checked_sub(1) {
        None => 0,
        Some(below) => edges.iter().filter(|edge| cuts.get(below).is_some_and(|cut| *edge <= cut)).count(),
    };
    let mut blocks = Vec::new();
    for (number, name) in asked.iter().enumerate() {
        let levels: Vec<usize> = (0..unknown).filter(|&level| place(level) == number).collect();
        if !partition.holds(&levels) && plan::holds!(Edges) {
            return None;
        }
        let block = block(&levels);
        blocks.push((levels, Some(name.clone()), block));
    }
    let of_unknown = rows.into_iter().filter(|(row, _)| row.as_slice() == [unknown]);
    blocks.extend(of_unknown.map(|(row, block)| (row, None, block)));
    Some(blocks)
}

impl Shown {
    /// At which ages it is told.
    pub(super) fn by_age(&self, question: &Question, audience: Audience) -> ByAge<'_> {
        ByAge::new(self.records.as_ref(), question, audience)
    }

    /// Whether a printed level is told at some ages; the one after the known is unknown.
    pub(super) fn tells(&self, by_age: &mut ByAge, level: usize, ages: Ages) -> bool {
        self.records.is_none() || self.parts.get(level + 1).is_some_and(|part| by_age.tells(part, ages))
    }

    /// Whether the answer as a whole is.
    pub(super) fn tells_whole(&self, by_age: &mut ByAge, ages: Ages) -> bool {
        self.records.is_none() || self.parts.first().is_some_and(|part| by_age.tells(part, ages))
    }
}

impl Attempt<'_> {
    /// What may be shown of the answer: nothing that is no union of blocks, so that no part of it can be found by
    /// taking it from another answer.
    ///
    /// # Errors
    /// `Suppressed`.
    pub(super) fn may_be_shown(&self, framed: &Framed, unknown_has_rows: bool) -> Result<Shown, Refusal> {
        let known = framed.condition.levels.len();
        if block_minimum(self.audience).is_none() {
            let mut singles: Vec<Vec<usize>> = (0..known).map(|level| vec![level]).collect();
            singles.extend(unknown_has_rows.then(|| vec![known]));
            let levels = Levels::new(&framed.condition, &singles);
            return Ok(Shown {
                levels,
                records: None,
                parts: Vec::new(),
                left_out: true,
                fed_by_water: true,
                given_days: true,
                deaths_beside: Vec::new(),
            });
        }
        let refused = || suppressed(self.audience);
        let records = Records::new(self.club, self.population, self.asked.by, self.asked.given, self.asked.outcome)?;
        let partition = records.partition(self.asked, self.audience).ok_or_else(refused)?;
        let asked = match &self.asked.edges {
            Some(edges) => Some(
                Condition::new(self.club, self.population, self.asked.by, Some(edges), Rules::of(Run::Main))
                    .map_err(invalid)?
                    .levels,
            ),
            None => None,
        };
        let blocks =
            blocks(&records, &partition, self.asked, &framed.condition.levels, asked.as_deref()).ok_or_else(refused)?;
        let of_unknown: Vec<Block> =
            blocks.iter().filter(|(of, ..)| of.as_slice() == [known]).map(|b| b.2.clone()).collect();
        let of_known = blocks.iter().filter(|(of, ..)| of.as_slice() != [known]).map(|(_, _, block)| block.clone());
        let from = records.since(self.asked.since).ok_or_else(refused)?;
        let parts = std::iter::once(records.years_from(from)).chain(of_known).chain(of_unknown).collect();
        let (levels, names): (Vec<Vec<usize>>, Vec<Option<LevelName>>) =
            blocks.into_iter().map(|(levels, name, _)| (levels, name)).unzip();
        let plain = Levels::new(&framed.condition, &levels);
        let known_names = levels.iter().zip(names).filter(|(levels, _)| levels.as_slice() != [known]);
        let names = plain.names.iter().zip(known_names).map(|(plain, (_, name))| name.unwrap_or_else(|| plain.clone()));
        let names = names.collect();
        let levels = plain.named(names);
        let tallies = levels.tallies(&levels.apply(&framed.sets).middle)?;
        // What is printed is counted again from the rows of the answer itself.
        let fails = |tally: &crate::evidence::Tally| tally.specimens > 0 && !passes(tally, self.audience);
        if tallies.iter().all(|tally| tally.specimens == 0) || tallies.iter().any(fails) {
            return Err(refused());
        }
        Ok(Shown {
            levels,
            left_out: !self.asked.outcome.needs_looks()
                && self.club.stands.has(&self.population.subject(), ON_RECORD)
                && self.left_out_passes(&records),
            fed_by_water: records.fixed_stands(self.asked, self.audience),
            given_days: self.given_days_pass(&records),
            deaths_beside: self.deaths_beside(&records),
            parts,
            records: Some(records),
        })
    }

    /// Whether each group of corals left out, and what wider taxa have of it beyond these, passes or is none.
    fn left_out_passes(&self, records: &Records) -> bool {
        if self.asked.since.is_some() {
            return false;
        }
        let followed: BTreeSet<u32> = records.follow_up.follows.iter().map(|follow| follow.specimen).collect();
        let mut by_reason: BTreeMap<Vec<u64>, Vec<u32>> = BTreeMap::new();
        for &id in records.everyone.members.iter().filter(|id| !followed.contains(id)) {
            let alone = Population { members: vec![id], ..records.everyone.clone() };
            let out = follow_up(self.club, &alone, Run::Main).left_out;
            let reason = [
                out.acquired_unknown,
                out.held,
                out.losses_not_listed,
                out.ended_before_entry,
                out.arrived_dead,
                out.no_follow_up,
            ];
            by_reason.entry(reason.to_vec()).or_default().push(id);
        }
        let Some(own) = records.own() else { return false };
        by_reason.into_values().all(|ids| {
            let entries = counted_once(self.club, ids.into_iter());
            let or_none = |is: &dyn Fn(&Entry) -> bool| {
                let tally = tally(entries.iter().filter(|entry| is(entry)));
                tally.specimens == 0 || passes(&tally, self.audience)
            };
            or_none(&|entry| own.holds(entry))
                && records.ground.nodes.iter().all(|wider| or_none(&|entry| wider.holds(entry) && !own.holds(entry)))
        })
    }

    /// Whether the days outside and the unknown days of the condition that had to hold each pass or are none.
    fn given_days_pass(&self, records: &Records) -> bool {
        let (Some(own), Some(from)) = (records.own(), records.since(self.asked.since)) else { return false };
        let cells = &records.ground.undivided;
        let at_risk = if self.asked.outcome.needs_looks() { AT_RISK } else { 0 };
        [at_risk, at_risk | NOT_KNOWN].into_iter().all(|mark| {
            let (block, whole) = (records.years_from(from), records.years_from(0));
            [[&block], [&whole]].iter().all(|blocks| {
                let entries = cells.within(blocks).filter(|entry| own.holds(entry) && entry.marks == mark);
                let left = tally(entries);
                left.specimens == 0 || passes(&left, self.audience)
            })
        })
    }

    /// Keepers with deaths by cause in what is left of wider answers: of all years, of all days, of wider taxa.
    fn deaths_beside(&self, records: &Records) -> Vec<BTreeMap<u32, BTreeSet<u32>>> {
        let (Some(own), Some(from)) = (records.own(), records.since(self.asked.since)) else { return Vec::new() };
        let kept = |death: &Ended| self.asked.given.is_none() || death.entry.marks & HELD != 0;
        let other = self.asked.outcome.needs_looks();
        let keepers = |is: &dyn Fn(&Ended) -> bool| {
            let mut by_cause: BTreeMap<u32, BTreeSet<u32>> = BTreeMap::new();
            let of_outcome = |death: &&Ended| (death.entry.marks & AT_RISK != 0) == other && is(death);
            for death in records.ends.iter().filter(of_outcome) {
                by_cause.entry(death.cause).or_default().insert(death.entry.keeper);
            }
            by_cause
        };
        let mut beside = Vec::new();
        if self.asked.since.is_some() {
            let layer = plan::layer(self.asked.given.is_some(), other);
            let eras = Plan::new(&records.ground).partition(Division::Years, layer, self.audience);
            beside.extend(eras.iter().flat_map(Partition::blocks).map(|block| {
                keepers(&|death| own.holds(&death.entry) && kept(death) && block.years.contains(&death.year))
            }));
        }
        if self.asked.given.is_some() {
            beside.push(keepers(&|death| own.holds(&death.entry) && death.year >= from && !kept(death)));
        }
        beside.extend(records.ground.nodes.iter().map(|wider| {
            let left = |entry: &Entry| wider.holds(entry) && !own.holds(entry);
            keepers(&|death| left(&death.entry) && kept(death) && death.year >= from)
        }));
        beside
    }
}

#[cfg(test)]
mod tests;
