//! The rows of an answer, once with deaths known to an interval at its middle, and as often as needed drawn.

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use super::rows::{Frame, GivenTally, Rows};
use crate::answer::Outcome;
use crate::episode::InvalidRow;
use crate::exposure::Level;
use crate::follow_up::End;

/// Draws for deaths known to more than a week.
pub const IMPUTATIONS: usize = 20;
/// Draws of the runs beside the main one, which show a direction and not a last digit.
pub const IMPUTATIONS_BESIDE: usize = 5;
/// Seed of the draws, to which each specimen's own key is added: the same coral dies on the same days in every answer.
pub const SEED: u64 = 20;

/// The rows of an answer.
#[derive(Debug, Clone, PartialEq)]
pub struct Sets {
    /// Deaths known to an interval at its middle: counts, rates, causes and pieces of age come from these.
    pub middle: Rows,
    /// Drawn sets, for curves and ratios; empty if no death is known to more than a week.
    pub drawn: Vec<Rows>,
    /// Days kept by a condition that had to hold.
    pub given: GivenTally,
    /// What the events are.
    pub outcome: Outcome,
}

impl Sets {
    /// Cuts the rows of a frame, with this many draws if any death is known to more than a week only.
    ///
    /// # Errors
    /// A row without length: the records contradict themselves.
    pub fn new(frame: &Frame, draws: usize) -> Result<Sets, InvalidRow> {
        let lives = frame.lives();
        let (middle, given) = frame.middle_of(&lives)?;
        let drawn = shares(frame, draws).iter().map(|shares| frame.drawn(&lives, shares)).collect::<Result<_, _>>()?;
        Ok(Sets { middle, drawn, given, outcome: frame.follow_up.outcome })
    }

    /// The same for all rows by level and by the condition that has to hold, as `Frame::crossed` does; the coral that
    /// dies on a day in one dies on it in the other.
    ///
    /// # Errors
    /// As [`Sets::new`].
    pub fn crossed(frame: &Frame, draws: usize, cell: fn(Level, Level) -> u16) -> Result<Sets, InvalidRow> {
        let lives = frame.lives();
        let middle = frame.crossed(&lives, None, cell)?;
        let drawn = shares(frame, draws)
            .iter()
            .map(|shares| frame.crossed(&lives, Some(shares), cell))
            .collect::<Result<_, _>>()?;
        Ok(Sets { middle, drawn, given: GivenTally::default(), outcome: frame.follow_up.outcome })
    }

    /// The sets that curves and ratios are made from.
    pub fn all(&self) -> &[Rows] {
        if self.drawn.is_empty() { std::slice::from_ref(&self.middle) } else { &self.drawn }
    }

    /// The same with the first draws only, as the runs beside the main one have.
    pub fn beside(&self) -> Sets {
        Sets { drawn: self.drawn.iter().take(IMPUTATIONS_BESIDE).cloned().collect(), ..self.clone() }
    }

    /// The same, each row kept or not by its place in its set.
    pub fn filter(&self, keep: impl Fn(&Rows, usize) -> bool) -> Sets {
        let pick = |rows: &Rows| {
            let kept: Vec<usize> = (0..rows.len()).filter(|&row| keep(rows, row)).collect();
            rows.subset(&kept)
        };
        Sets { middle: pick(&self.middle), drawn: self.drawn.iter().map(pick).collect(), ..*self }
    }
}

/// Shares of the intervals of deaths, one list a draw and one value a specimen, 1 where nothing is drawn; none if no
/// interval is wide.
fn shares(frame: &Frame, draws: usize) -> Vec<Vec<f64>> {
    if !frame.follow_up.has_wide_intervals() {
        return Vec::new();
    }
    let follows = &frame.follow_up.follows;
    let mut all = vec![vec![1.0; follows.len()]; draws];
    for (position, follow) in follows.iter().enumerate() {
        if !matches!(follow.end, End::DiedWithin { .. }) {
            continue;
        }
        let key = frame.club.specimens.get(follow.specimen as usize).map_or("", |s| s.key.as_str());
        let mut source = ChaCha8Rng::seed_from_u64(SEED ^ stable_hash(key));
        for shares in &mut all {
            // 1 - u: the interval is open on the left and closed on the right.
            shares[position] = 1.0 - source.random::<f64>();
        }
    }
    all
}

/// FNV-1a: the same on every machine and in every version.
pub(crate) fn stable_hash(key: &str) -> u64 {
    key.bytes().fold(0xcbf2_9ce4_8422_2325, |hash, byte| (hash ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3))
}

#[cfg(test)]
mod tests {
    use super::stable_hash;

    #[test]
    fn the_hash_is_the_published_one() {
        // Test vectors of the FNV-1a 64-bit hash (Fowler, Noll, Vo), from memory.
        assert_eq!(stable_hash(""), 0xcbf2_9ce4_8422_2325);
        assert_eq!(stable_hash("a"), 0xaf63_dc4c_8601_ec8c);
    }
}
