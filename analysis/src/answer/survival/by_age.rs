//! At which ages of the corals a restricted answer is told: curves, shares alive and losses by age.
//!
//! As the corals grow older, fewer are at risk, and who takes the levels of a split, later years or a species from a wider
//! answer finds the corals of one or two keepers. So at each age the blocks of answers are joined further, as they are over all
//! ages, until each holds nobody or keepers enough; what is then no union of whole blocks is not told at that age.

use std::collections::BTreeMap;

use super::records::{Ages, Records, layer_of};
use crate::answer::{Audience, Question};
use crate::disclosure::cells::Block;
use crate::disclosure::partition::Partition;
use crate::disclosure::plan::{Division, Plan, holds};

/// What is told of an answer at which ages.
pub(in crate::answer) struct ByAge<'a> {
    /// The records and the plan of all ages; `None` = exact figures.
    of: Option<(&'a Records, Plan<'a>)>,
    audience: Audience,
    division: Division,
    layer: usize,
    known: BTreeMap<(Division, [u64; 2]), Option<Partition>>,
}

impl<'a> ByAge<'a> {
    /// Of an answer to a question; without records, every age is told.
    pub(in crate::answer) fn new(records: Option<&'a Records>, question: &Question, audience: Audience) -> ByAge<'a> {
        ByAge {
            of: records.filter(|_| holds!(Ages)).map(|records| (records, Plan::new(&records.ground))),
            audience,
            division: records.map_or(Division::Years, |records| records.division(question)),
            layer: layer_of(question),
            known: BTreeMap::new(),
        }
    }

    /// Whether a part of the answer is told at some ages.
    pub(in crate::answer) fn tells(&mut self, part: &Block, ages: Ages) -> bool {
        let Some((records, plan)) = &mut self.of else { return true };
        let division = if part.split.is_none() { Division::Years } else { self.division };
        let key = match ages {
            Ages::At(age) => [age.to_bits(), age.to_bits()],
            Ages::Between(from, to) => [from.to_bits(), to.to_bits()],
        };
        let (layer, audience) = (self.layer, self.audience);
        let partition = self.known.entry((division, key)).or_insert_with(|| {
            // The blocks of all ages are worked out once, and known to every plan of some.
            plan.partition(division, layer, audience);
            let ground = records.at_ages(ages);
            plan.at_ages(&ground).partition(division, layer, audience)
        });
        // A level that is not cut at the year would be what the others leave of all corals since.
        partition.as_ref().is_some_and(|partition| partition.has(part) && partition.is_cut_at(part.years.start))
    }
}
