//! Who holds what in the cells that answers about a taxon are made of, and whether the figures of a later release may follow
//! those of an older one.
//!
//! They may where every block of the older and of the later answers rests on what nobody, or at least three members,
//! changed; where what nobody changed was told before, so that it cannot be taken from older figures of a wider taxon, the
//! rest of which was too small then; and where each part that a block of the one has in common with a block of the other passes by itself: who
//! takes one release from the other then finds no figure of fewer (Hundepool et al. 2012, from memory).

use std::collections::{BTreeMap, BTreeSet};

use serde::{Deserialize, Serialize};

use super::records::{Divided, TimeAtRisk};
use crate::answer::census::shows;
use crate::answer::held::MEMBERS;
use crate::answer::{Audience, By, Given, Outcome, Question};
use crate::club::{Club, ClubBand};
use crate::comparison::sets::stable_hash;
use crate::disclosure::passes;
use crate::disclosure::plan::holds;
use crate::evidence::Tally;
use crate::exposure::condition::finest_edges;
use crate::follow_up::Population;
use crate::vocabulary::TaxonSlug;

/// What one member holds in one cell, or in several together.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Share {
    /// Each specimen, by the hash of its key.
    lives: BTreeMap<u64, Life>,
    /// Tanks, by position.
    tanks: BTreeSet<u32>,
}

/// What figures take from one specimen.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
struct Life {
    /// Days at risk.
    days: f64,
    /// How the time ended, hashed.
    end: u64,
    /// The sizes, hashed; 0 without any.
    sizes: u64,
}

impl Share {
    fn add(&mut self, specimen: u64, life: Life) {
        let own = self.lives.entry(specimen).or_default();
        own.days += life.days;
        // The order does not matter.
        own.end = own.end.wrapping_add(life.end);
        own.sizes = life.sizes;
    }

    fn join(&mut self, other: &Share) {
        for (specimen, life) in &other.lives {
            self.add(*specimen, *life);
        }
        self.tanks.extend(&other.tanks);
    }

    fn days(&self) -> f64 {
        self.lives.values().map(|life| life.days).sum()
    }

    /// Whether figures on survival are made from the same as another's, and those on growth. Time moved within a share
    /// changes none.
    fn is(&self, other: &Share) -> [bool; 2] {
        let (mut survival, mut growth) = (self.lives.len() == other.lives.len(), true);
        for specimen in self.lives.keys().chain(other.lives.keys()) {
            let of = |share: &Share| share.lives.get(specimen).copied().unwrap_or_default();
            let (one, two) = (of(self), of(other));
            survival &= (one.days - two.days).abs() < DAYS_APART && one.end == two.end;
            growth &= one.sizes == two.sizes;
        }
        [survival, growth]
    }
}

/// Days that sums in another order may differ by.
const DAYS_APART: f64 = 1e-6;

/// The cell of all that is on record.
const ALL: &str = "all";
/// A cell of nobody: it stands in the block of what is on record where that is told.
const TOLD: &str = "told";

/// What members hold of a taxon by one split or condition, and the blocks of the answers; members by a key that names nobody.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Holdings {
    /// Cell, member, share.
    cells: BTreeMap<String, BTreeMap<String, Share>>,
    /// Cells of each block, of the public's answers and of the members'.
    public: BTreeSet<BTreeSet<String>>,
    member: BTreeSet<BTreeSet<String>>,
    /// The bands that cells are cut by; `None` = not written down.
    #[serde(default)]
    cut_by: Option<BTreeSet<String>>,
}

/// The splits that answers about a taxon are divided by, each once.
pub fn splits() -> Vec<By> {
    let mut splits: Vec<By> = By::codes().into_iter().filter_map(By::parse).map(super::records::split_of).collect();
    let mut seen = BTreeSet::new();
    splits.retain(|by| seen.insert(by.as_str()));
    splits
}

/// The code of a split; splits of the same cells have the same.
pub fn code_of_split(by: By) -> &'static str {
    super::records::split_of(by).as_str()
}

/// What is on record of a taxon, to be divided by any split or condition.
pub struct OnRecord<'a> {
    club: &'a Club,
    taxon: TaxonSlug,
    /// `None` = nothing that answers could be made from.
    at_risk: Option<TimeAtRisk<'a>>,
    specimens: BTreeMap<u32, Hashed>,
}

/// A specimen, hashed.
struct Hashed {
    keeper: u32,
    key: u64,
    /// 0 without any.
    sizes: u64,
    /// How it ended, and whether its records can be counted.
    end: u64,
}

impl<'a> OnRecord<'a> {
    /// Every record of a population.
    pub fn of(club: &'a Club, population: &Population) -> OnRecord<'a> {
        // The time at risk of every outcome: that of deaths, and that of declines beside it.
        let at_risk = TimeAtRisk::new(club, population, Outcome::DeathOrDecline).ok();
        let specimens = population.members.iter().filter_map(|id| Some((*id, club.specimens.get(*id as usize)?)));
        let hashes = specimens.map(|(id, specimen)| {
            let sizes = if specimen.sizings.is_empty() { 0 } else { stable_hash(&format!("{:?}", specimen.sizings)) };
            let end = stable_hash(&format!("{:?} {}", specimen.ending, specimen.held));
            (id, Hashed { keeper: specimen.keeper, key: stable_hash(&specimen.key), sizes, end })
        });
        OnRecord { club, taxon: population.taxon, at_risk, specimens: hashes.collect() }
    }

    /// The same, cut at the edges of another release's bands too.
    pub(in crate::answer) fn beside(self, bands: &'a [ClubBand]) -> OnRecord<'a> {
        OnRecord { at_risk: self.at_risk.map(|at_risk| at_risk.beside(bands)), ..self }
    }
}

impl Holdings {
    /// What members hold of a taxon by a split or a condition; `key` gives a member's key. Empty where nothing is on
    /// record.
    pub(in crate::answer) fn of(
        on_record: &OnRecord,
        divided: Divided,
        key: &dyn Fn(u32) -> Option<String>,
    ) -> Holdings {
        let mut holdings = Holdings::default();
        // Answers about the days on which the water was within its bands are made of cells of their own.
        let given: &[Option<Given>] = match divided {
            Divided::By(_) => &[None, Some(Given::WaterInBand)],
            Divided::Factor(_) => &[None],
        };
        for &given in given {
            holdings.add(on_record, (divided, given), key);
        }
        holdings
    }

    /// What members hold of a population altogether, corals that were never under observation included.
    pub(in crate::answer) fn of_all(on_record: &OnRecord, key: &dyn Fn(u32) -> Option<String>) -> Holdings {
        let mut holdings = Holdings::of(on_record, Divided::By(By::None), key);
        let all = holdings.cells.entry(ALL.to_owned()).or_default();
        for specimen in on_record.specimens.values() {
            if let Some(member) = key(specimen.keeper) {
                let life = Life { days: 1.0, end: specimen.end, sizes: 0 };
                all.entry(member).or_default().add(specimen.key, life);
            }
        }
        for (audience, blocks) in [(Audience::Public, &mut holdings.public), (Audience::Member, &mut holdings.member)] {
            blocks.insert(BTreeSet::from([ALL.to_owned()]));
            if shows(on_record.club, on_record.taxon, audience) {
                holdings.cells.entry(TOLD.to_owned()).or_default();
                blocks.insert(BTreeSet::from([ALL.to_owned(), TOLD.to_owned()]));
            }
        }
        holdings
    }

    /// The same without anything that those who are no members any more had written: only that they held something.
    pub(in crate::answer) fn without_the_gone(mut self, is_member: impl Fn(&str) -> bool) -> Holdings {
        for (member, share) in self.cells.values_mut().flatten() {
            if !is_member(member) {
                let measured = share.lives.values().any(|life| life.sizes != 0);
                let held = Life { days: 0.0, end: 1, sizes: u64::from(measured) };
                *share = Share { lives: BTreeMap::from([(0, held)]), tanks: BTreeSet::new() };
            }
        }
        self
    }

    fn add(
        &mut self,
        on_record: &OnRecord,
        (divided, given): (Divided, Option<Given>),
        key: &dyn Fn(u32) -> Option<String>,
    ) {
        let Some(Ok(records)) = on_record.at_risk.as_ref().map(|at_risk| at_risk.by(divided, given)) else { return };
        let by = if let Divided::By(by) = divided { by } else { By::None };
        self.cut_by.get_or_insert_default().extend(records.cut_by());
        let named = |cell: String| format!("{}|{cell}", given.map_or("", Given::as_str));
        let causes: BTreeMap<(u32, u64, u32), u64> = records
            .ends
            .iter()
            .map(|end| {
                let at = (end.entry.specimen, end.entry.days.to_bits(), end.entry.marks);
                (at, stable_hash(&end.cause.to_string()))
            })
            .collect();
        for (cell, entries) in records.own_cells() {
            let shares = self.cells.entry(named(cell)).or_default();
            for entry in entries {
                let (Some(member), Some(specimen)) = (key(entry.keeper), on_record.specimens.get(&entry.specimen))
                else {
                    continue;
                };
                let share = shares.entry(member).or_default();
                share.tanks.extend(entry.tank);
                let end = causes.get(&(entry.specimen, entry.days.to_bits(), entry.marks)).copied().unwrap_or(0);
                // Sizes stand in every cell in which their specimen has time.
                share.add(specimen.key, Life { days: entry.days, end, sizes: specimen.sizes });
            }
        }
        let question = |outcome, edges| Question {
            taxon: on_record.taxon,
            outcome,
            by,
            edges,
            given,
            horizon_days: 365.0,
            since: None,
        };
        let questions = [Outcome::Death, Outcome::DeathOrDecline]
            .into_iter()
            .flat_map(|outcome| [None, finest_edges(by)].map(|edges| question(outcome, edges)))
            .collect::<Vec<_>>();
        let blocks = records.blocks_by_cell(&questions, &[Audience::Public, Audience::Member]);
        for (of_reader, blocks) in [&mut self.public, &mut self.member].into_iter().zip(blocks) {
            of_reader.extend(blocks.into_iter().map(|block| block.into_iter().map(named).collect()));
        }
    }

    /// Whether these figures may follow older ones.
    pub(in crate::answer) fn may_follow(&self, older: &Holdings) -> bool {
        // Cells by bands that the other was not cut by have no part in common that can be told.
        if self.cut_by.as_ref().zip(older.cut_by.as_ref()).is_some_and(|(now, then)| now != then) {
            return false;
        }
        let pairs = [(Audience::Public, &older.public, &self.public), (Audience::Member, &older.member, &self.member)];
        pairs.into_iter().all(|(audience, old, new)| {
            let enough = |block: &BTreeSet<String>| {
                !holds!(Enough)
                    || self.changed(older, block).into_iter().all(|changed| changed == 0 || changed >= MEMBERS)
            };
            let fits = |block: &BTreeSet<String>| {
                old.iter().all(|other| {
                    let common: BTreeSet<String> = block.intersection(other).cloned().collect();
                    common.is_empty()
                        || !holds!(Fits)
                        || common == *block
                        || common == *other
                        || [self, older].into_iter().all(|of| of.passes(&common, audience))
                })
            };
            let told = |block: &BTreeSet<String>| {
                !holds!(Told) || self.changed(older, block)[0] > 0 || self.is_told_by(older, old, block)
            };
            old.iter().chain(new).all(enough) && new.iter().all(|block| fits(block) && told(block))
        })
    }

    /// Whether a block is a union of older ones, as far as anybody has anything there.
    fn is_told_by(&self, older: &Holdings, old: &BTreeSet<BTreeSet<String>>, block: &BTreeSet<String>) -> bool {
        let is_own = |cell: &&String| self.cells.contains_key(*cell) || older.cells.contains_key(*cell);
        let own: BTreeSet<&String> = block.iter().filter(is_own).collect();
        let parts = old.iter().map(|other| other.iter().filter(is_own).collect::<BTreeSet<&String>>());
        parts.filter(|part| part.is_subset(&own)).flatten().collect::<BTreeSet<&String>>() == own
    }

    /// What each member holds of some cells together.
    fn together(&self, cells: &BTreeSet<String>) -> BTreeMap<&String, Share> {
        let mut by_member: BTreeMap<&String, Share> = BTreeMap::new();
        for (member, share) in cells.iter().filter_map(|cell| self.cells.get(cell)).flatten() {
            by_member.entry(member).or_default().join(share);
        }
        by_member
    }

    /// Members whose shares of some cells together are other ones than they were, for figures on survival and on growth.
    fn changed(&self, older: &Holdings, block: &BTreeSet<String>) -> [usize; 2] {
        let (before, now) = (older.together(block), self.together(block));
        let members: BTreeSet<&&String> = before.keys().chain(now.keys()).collect();
        let nothing = Share::default();
        let mut changed = [0; 2];
        for member in members {
            let same = before.get(*member).unwrap_or(&nothing).is(now.get(*member).unwrap_or(&nothing));
            changed.iter_mut().zip(same).for_each(|(changed, same)| *changed += usize::from(!same));
        }
        changed
    }

    /// Whether some cells pass together.
    fn passes(&self, cells: &BTreeSet<String>, audience: Audience) -> bool {
        let by_member = self.together(cells);
        let days: f64 = by_member.values().map(Share::days).sum();
        let largest = by_member.values().map(Share::days).fold(0.0, f64::max);
        let tally = Tally {
            specimens: by_member.values().map(|share| share.lives.len() as u64).sum(),
            keepers: by_member.len() as u64,
            tanks: by_member.values().map(|share| share.tanks.len() as u64).sum(),
            deaths: 0,
            days,
            largest_share: if days > 0.0 { largest / days } else { 1.0 },
        };
        tally.specimens == 0 || passes(&tally, audience)
    }
}

#[cfg(test)]
mod tests;
