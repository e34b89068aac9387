//! Whether a restricted audience sees a line: its losses pass as a block, and so does, or is empty, what can be found by
//! taking it from another line: from that of a wider taxon, alone or together with those of its other parts, or from that of
//! another outcome.

use std::collections::{BTreeMap, BTreeSet};

use super::looked_back::LookedBack;
use super::losses::{Loss, Moment, losses};
use super::{Against, Valued, valued};
use crate::answer::conditions::shown::beyond;
use crate::answer::{Audience, Outcome};
use crate::club::Club;
use crate::disclosure::cells::{Entry, tally};
use crate::disclosure::{block_minimum, passes, tree};
use crate::follow_up::Population;
use crate::follow_up::population::latest_name;
use crate::refusal::Refusal;
use crate::vocabulary::TaxonSlug;

/// What a line's losses are tied to.
pub(super) struct Ties {
    wider: Vec<Wider>,
    /// Losses by the outcomes written before the one asked.
    outcomes: Vec<Vec<Loss>>,
    /// Specimens of the widest taxon; `None` where nothing is tied.
    widest: Option<Vec<u32>>,
}

/// A wider taxon.
struct Wider {
    losses: Vec<Loss>,
    /// The specimens that it has beyond the taxon asked.
    beyond: BTreeSet<u32>,
    /// The part of it that each lost coral lies in, by its direct parts; `None` = the taxon asked is none of these.
    parts: Option<BTreeMap<u32, Option<TaxonSlug>>>,
}

/// The losses as entries of one cell.
fn entries<'m>(moments: impl Iterator<Item = &'m Moment>) -> Vec<Entry> {
    moments
        .map(|at| Entry { specimen: at.specimen, keeper: at.keeper, tank: at.tank, days: 1.0, marks: 0, ended: false })
        .collect()
}

/// Whether the corals of these moments pass as a block.
pub(super) fn pass<'m>(moments: impl Iterator<Item = &'m Moment>, audience: Audience) -> bool {
    passes(&tally(entries(moments).iter()), audience)
}

impl Ties {
    /// # Errors
    /// The records contradict themselves.
    pub(super) fn new(
        club: &Club,
        population: &Population,
        outcome: Outcome,
        audience: Audience,
    ) -> Result<Ties, Refusal> {
        let mut ties = Ties { wider: Vec::new(), outcomes: Vec::new(), widest: None };
        if block_minimum(audience).is_none() {
            return Ok(ties);
        }
        for taxon in population.taxon.ancestors().into_iter().filter(|taxon| tree::is_asked(*taxon)) {
            let wider = Population::of(club, taxon, None);
            ties.widest = Some(wider.members.clone());
            let beyond = beyond(club, population, wider.clone()).members;
            if !beyond.is_empty() {
                let losses = losses(club, &wider, outcome)?;
                let name = |id: u32| club.specimens.get(id as usize).and_then(latest_name);
                let part = |id: u32| name(id).and_then(|name| tree::part_of(name, taxon));
                let is_part = population.without.is_empty()
                    && population.members.iter().any(|id| part(*id) == Some(population.taxon));
                let parts = losses.iter().map(|loss| (loss.case.specimen, part(loss.case.specimen))).collect();
                let parts = is_part.then_some(parts);
                ties.wider.push(Wider { losses, beyond: beyond.into_iter().collect(), parts });
            }
        }
        let before = Outcome::ALL.iter().take_while(|other| **other != outcome);
        ties.outcomes = before.map(|other| losses(club, population, *other)).collect::<Result<_, _>>()?;
        Ok(ties)
    }

    /// The specimens whose conditions are asked for.
    pub(super) fn everyone(&self, population: &Population) -> Population {
        match &self.widest {
            Some(members) => Population::of_members(population.taxon, members.clone()),
            None => population.clone(),
        }
    }

    /// Whether an audience may see a line; `with`: its losses.
    pub(super) fn may_be_shown(
        &self,
        club: &Club,
        what: &LookedBack,
        against: Against,
        with: &[Valued],
        audience: Audience,
    ) -> bool {
        if block_minimum(audience).is_none() {
            return true;
        }
        let or_empty = |left: &[&Moment]| left.is_empty() || pass(left.iter().copied(), audience);
        if !pass(with.iter().map(|valued| valued.case), audience) {
            return false;
        }
        let wider = self.wider.iter().all(|wider| {
            let there = valued(club, &wider.losses, what, against);
            let left = there.iter().map(|valued| valued.case).filter(|at| wider.beyond.contains(&at.specimen));
            or_empty(&left.collect::<Vec<_>>()) && wider.shows(&there, with, audience)
        });
        wider
            && self.outcomes.iter().all(|losses| {
                let there = valued(club, losses, what, against);
                let (mine, theirs) = (with.iter().map(|valued| valued.case), there.iter().map(|valued| valued.case));
                !pass(theirs.clone(), audience)
                    || (or_empty(&less(mine.clone(), theirs.clone())) && or_empty(&less(theirs, mine)))
            })
    }
}

impl Wider {
    /// Whether the losses of the taxon asked may be told beside those of all parts of this one.
    fn shows(&self, there: &[Valued], with: &[Valued], audience: Audience) -> bool {
        let Some(part_of) = &self.parts else { return true };
        let entries = entries(there.iter().map(|valued| valued.case));
        let mut parts: BTreeMap<TaxonSlug, Vec<&Entry>> = BTreeMap::new();
        let mut rest = Vec::new();
        for entry in &entries {
            match part_of.get(&entry.specimen).copied().flatten() {
                Some(part) => parts.entry(part).or_default().push(entry),
                None => rest.push(entry),
            }
        }
        let own = with.first().and_then(|valued| part_of.get(&valued.case.specimen).copied().flatten());
        let shown = tree::shown_parts(&parts, &rest, audience, passes);
        own.is_none_or(|own| shown.contains(&own))
    }
}

/// Those whose specimens are none of the others'.
fn less<'m>(some: impl Iterator<Item = &'m Moment>, others: impl Iterator<Item = &'m Moment>) -> Vec<&'m Moment> {
    let others: BTreeSet<u32> = others.map(|at| at.specimen).collect();
    some.filter(|at| !others.contains(&at.specimen)).collect()
}
