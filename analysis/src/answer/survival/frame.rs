//! Rows of a population under the rules of a run, and the levels they are printed by.

use crate::answer::{Given, Question};
use crate::club::{Club, TankId};
use crate::comparison::sets::{IMPUTATIONS, IMPUTATIONS_BESIDE};
use crate::comparison::{Frame, Rows, Sets};
use crate::evidence::{Tally, tallies};
use crate::exposure::given::WaterInBand;
use crate::exposure::{Condition, LevelName, Rules};
use crate::follow_up::{FollowUp, Population, Run, follow_up_for};
use crate::numeric::distinct;
use crate::refusal::{Refusal, RefusalCode};

/// Everything that rows come from, and the rows, by the levels of the condition itself.
pub(super) struct Framed {
    pub(super) follow_up: FollowUp,
    pub(super) condition: Condition,
    pub(super) given: Option<WaterInBand>,
    pub(super) sets: Sets,
}

pub(super) fn unusable(error: impl std::fmt::Display) -> Refusal {
    Refusal::plain(RefusalCode::InvalidInput, format!("The records contradict themselves: {error}."))
}

impl Framed {
    pub(super) fn new(club: &Club, question: &Question, population: &Population, run: Run) -> Result<Framed, Refusal> {
        let rules = Rules::of(run);
        let follow_up = follow_up_for(club, population, question.outcome, run);
        let condition = Condition::new(club, population, question.by, question.edges.as_deref(), rules)
            .map_err(|fault| Refusal::plain(RefusalCode::InvalidInput, format!("{fault}.")))?;
        let given = question.given.map(|given| match given {
            Given::WaterInBand => water(club, population, rules),
        });
        let frame = Frame { club, follow_up: &follow_up, condition: &condition, given: given.as_ref() };
        let draws = if run == Run::Main { IMPUTATIONS } else { IMPUTATIONS_BESIDE };
        let sets = Sets::new(&frame, draws).map_err(unusable)?;
        Ok(Framed { follow_up, condition, given, sets })
    }
}

/// The water of the population's tanks against the bands of its taxon.
pub(super) fn water(club: &Club, population: &Population, rules: Rules) -> WaterInBand {
    WaterInBand::new(club, population.taxon, &tanks(club, population), rules)
}

/// Tanks in which a specimen of the population ever stood.
pub(super) fn tanks(club: &Club, population: &Population) -> Vec<TankId> {
    let specimens = population.members.iter().filter_map(|&id| club.specimens.get(id as usize));
    distinct(specimens.flat_map(|specimen| specimen.stays.iter().map(|stay| stay.tank)))
}

/// The levels as printed: each a block of the condition's own.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Levels {
    /// Known blocks, in order.
    pub(super) names: Vec<LevelName>,
    /// Block of each of the condition's levels, unknown last; `None` = unknown as printed.
    block_of: Vec<Option<u16>>,
}

impl Levels {
    /// Blocks of the condition's levels; the unknown level is the one after the known.
    pub(super) fn new(condition: &Condition, blocks: &[Vec<usize>]) -> Levels {
        let known = condition.levels.len();
        let mut names = Vec::new();
        let mut block_of = vec![None; known + 1];
        for block in blocks.iter().filter(|block| block.as_slice() != [known]) {
            let parts: Vec<LevelName> = block
                .iter()
                .map(|&level| condition.levels.get(level).cloned().unwrap_or_else(LevelName::unknown))
                .collect();
            for &level in block {
                block_of[level] = Some(names.len() as u16);
            }
            names.push(if parts.len() == 1 { parts[0].clone() } else { LevelName::joined(&parts) });
        }
        Levels { names, block_of }
    }

    /// The same levels under other names, in order.
    pub(super) fn named(self, names: Vec<LevelName>) -> Levels {
        Levels { names, ..self }
    }

    /// The rows by printed level.
    pub(super) fn apply(&self, sets: &Sets) -> Sets {
        let mut sets = sets.clone();
        for rows in std::iter::once(&mut sets.middle).chain(&mut sets.drawn) {
            for level in &mut rows.level {
                let own = level.map_or(self.block_of.len() - 1, usize::from);
                *level = self.block_of.get(own).copied().flatten();
            }
        }
        sets
    }

    /// Number of printed levels that are known.
    pub(super) fn known(&self) -> usize {
        self.names.len()
    }

    /// Code, label and phrase of a printed level; the one after the known is unknown.
    pub(super) fn name(&self, level: usize) -> LevelName {
        self.names.get(level).cloned().unwrap_or_else(LevelName::unknown)
    }

    /// The tally of each printed level, then of unknown.
    pub(super) fn tallies(&self, rows: &Rows) -> Result<Vec<Tally>, Refusal> {
        tallies(rows, &self.groups(rows), self.known() + 1)
    }

    fn groups(&self, rows: &Rows) -> Vec<u32> {
        rows.level.iter().map(|level| level.map_or(self.known() as u32, u32::from)).collect()
    }

    /// The rows of one printed level.
    pub(super) fn of(&self, sets: &Sets, level: usize) -> Sets {
        sets.filter(|rows, row| rows.level[row].map_or(self.known(), usize::from) == level)
    }
}
