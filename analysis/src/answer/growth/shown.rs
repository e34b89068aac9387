//! What a restricted audience may see of an answer on growth: levels as unions of blocks, or nothing. The blocks are
//! counted from the time between the sizes of each coral, and tied to wider taxa that are answered by the same measure.

use super::attempt::Attempt;
use super::lines::Lines;
use crate::answer::survival::records::{Records, Span};
use crate::answer::survival::shown::blocks;
use crate::answer::{Outcome, Question};
use crate::disclosure::tree::{Node, chain};
use crate::disclosure::{block_minimum, passes, suppressed};
use crate::exposure::condition::finest_edges;
use crate::exposure::{Condition, LevelName, Rules};
use crate::follow_up::{Population, Run};
use crate::refusal::{Refusal, RefusalCode};

/// Levels that are printed as one, with another name than their own where they have one.
pub(super) type Printed = Vec<(Vec<usize>, Option<LevelName>)>;

fn invalid(fault: impl std::fmt::Display) -> Refusal {
    Refusal::plain(RefusalCode::InvalidInput, format!("{fault}."))
}

impl Attempt<'_> {
    /// The edges by which levels are cut: for a restricted audience the finest, of which those asked are unions.
    pub(super) fn cut_by(&self) -> Option<Vec<f64>> {
        match &self.question.edges {
            Some(_) if block_minimum(self.audience).is_some() => finest_edges(self.question.by),
            edges => edges.clone(),
        }
    }

    /// The levels as printed, of those of a condition. `unknown`: corals were measured at unknown conditions too.
    ///
    /// # Errors
    /// `Suppressed`.
    pub(super) fn printed(&self, condition: &Condition, unknown: bool) -> Result<Printed, Refusal> {
        let known = condition.levels.len();
        if block_minimum(self.audience).is_none() {
            let levels = (0..known).chain(unknown.then_some(known));
            return Ok(levels.map(|level| (vec![level], None)).collect());
        }
        let question = Question {
            taxon: self.question.taxon,
            outcome: Outcome::Death,
            by: self.question.by,
            edges: self.question.edges.clone(),
            given: None,
            horizon_days: 365.0,
            since: self.question.since,
        };
        let own = Lines::new(self.club, self.population);
        let nodes = self.tied(&own);
        let widest = nodes.first().map_or(self.population.taxon, |node| node.taxon);
        let spans: Vec<Span> = own
            .alike(self.club, &Population::of(self.club, widest, None))
            .lines
            .iter()
            .flat_map(|line| {
                // Each in the tank the coral was in at the time, under whose water its levels are read.
                line.stretches(self.club).into_iter().map(|at| Span {
                    specimen: line.specimen,
                    keeper: line.keeper,
                    tank: at.tank,
                    from: at.from,
                    to: at.to,
                    // Nothing is told of growth by age.
                    day0: at.from,
                    end: None,
                    other: false,
                })
            })
            .collect();
        let records = Records::of_spans(self.club, self.population, nodes, self.question.by, spans)?;
        let refused = || suppressed(self.audience);
        let partition = records.partition(&question, self.audience).ok_or_else(refused)?;
        let asked = match &self.question.edges {
            Some(edges) => {
                let rules = Rules::of(Run::Main);
                let asked = Condition::new(self.club, self.population, self.question.by, Some(edges), rules);
                Some(asked.map_err(invalid)?.levels)
            }
            None => None,
        };
        let blocks =
            blocks(&records, &partition, &question, &condition.levels, asked.as_deref()).ok_or_else(refused)?;
        Ok(blocks.into_iter().map(|(levels, name, _)| (levels, name)).collect())
    }

    /// The taxa whose answers this one's can be taken from: those that are answered by the same measure.
    fn tied(&self, own: &Lines) -> Vec<Node> {
        let mut nodes = chain(self.club, self.population);
        let last = nodes.pop();
        nodes.retain(|node| {
            let wider = Lines::new(self.club, &Population::of(self.club, node.taxon, None));
            (&wider.measure, &wider.basis) == (&own.measure, &own.basis)
        });
        nodes.extend(last);
        nodes
    }

    /// Whether what is printed of a level may be shown, counted again from what it is made of.
    pub(super) fn may_be_shown(&self, tally: &crate::evidence::Tally) -> Result<(), Refusal> {
        if tally.specimens == 0 || passes(tally, self.audience) { Ok(()) } else { Err(suppressed(self.audience)) }
    }
}
