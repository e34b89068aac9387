//! The range of a condition in which fewest were lost in these tanks so far.
//!
//! Not an optimum and no advice: who kept which corals at which values was chosen by keepers. The range stands beside the
//! taught one, and is given only if hazards differ at all, and if drawing other tanks would give nearly the same range.
//!
//! The rule: (1) a test that the bins differ, allowing for tanks, read as one of a family of such tests; (2) the bin of
//! lowest hazard among those with at least five deaths or a fifth of the days; (3) its neighbours join it while their
//! hazard is at most 1.25 times its own; (4) tanks are drawn 500 times and (2) and (3) repeated, the bins made anew;
//! (5) the edges with their percentiles, and the stability: the share of draws whose range covers at least half of this
//! one's specimen-days. Hazards are fitted beside pieces of age. The thresholds are choices, fixed before any data.
//!
//! Bins are made of a ladder's steps so that they hold nearly equal specimen-days; edges are therefore always cuts of the
//! ladder. An edge at the end of the days on record is no edge: it is said up to which cut values were seen. As the lowest
//! bin was picked for being lowest, a ratio to it is given with the limits of the draws only.

use std::ops::Range;

use super::piecewise_exponential::RateTest;
use crate::numeric::bootstrap::BootstrapLimits;
use crate::numeric::remembered_draws::{DrawOptions, RememberedDraws};
use crate::refusal::{Part, Refusal, RefusalCode};

mod bins; // steps joined into bins
mod proposal; // the lowest bin and how far it reaches
mod tanks; // counts by tank, and the test of all bins

pub use bins::{bins, wanted_bins};
use proposal::{Proposal, propose};
use tanks::Tanks;

/// Deaths without which no range is proposed.
pub const DEATHS: u64 = 30;
/// Tanks.
pub const TANKS: usize = 10;
/// Deaths in every bin.
pub const BIN_DEATHS: u64 = 5;
/// The q of the test at which bins differ.
pub const Q: f64 = 0.10;
/// Largest hazard ratio to the lowest bin inside the range.
pub const ALIKE: f64 = 1.25;
/// Deaths with which a bin may be the lowest …
pub const LOWEST_DEATHS: u64 = 5;
/// … or its share of the days.
pub const LOWEST_SHARE: f64 = 0.2;
/// Stability without which a range is not shown.
pub const STABILITY: f64 = 0.6;
/// Share of the proposed range's days that a draw's range covers to count as the same.
pub const COVERED: f64 = 0.5;
/// Draws of tanks.
pub const DRAWS: usize = 500;

/// Limits of the fits are not read; any level does.
const FIT_LEVEL: f64 = 0.95;

/// Deaths and days of one tank in one piece of age at one step of the ladder.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LossCell {
    /// The tank.
    pub tank: u32,
    /// The piece of age, from 0.
    pub age_piece: u32,
    /// The step: 0 below the first cut, `k` from cut `k - 1` up to but without cut `k`.
    pub step: u32,
    /// Deaths.
    pub deaths: u64,
    /// Specimen-days.
    pub days: f64,
}

/// A bin: some steps of the ladder.
#[derive(Debug, Clone, PartialEq)]
pub struct Bin {
    /// Its steps.
    pub steps: Range<usize>,
    /// Lower end, inside it; `None` without end.
    pub from: Option<f64>,
    /// Upper end, outside it; `None` without end.
    pub to: Option<f64>,
    /// Deaths.
    pub deaths: u64,
    /// Specimen-days.
    pub days: f64,
}

/// The test that the bins' hazards are equal, and the bins.
#[derive(Debug, Clone, PartialEq)]
pub struct BinTest {
    /// Bins from low to high.
    pub bins: Vec<Bin>,
    /// Wald test of all bins, allowing for tanks.
    pub test: RateTest,
    /// Tanks with days.
    pub tanks: usize,
    /// Deaths.
    pub deaths: u64,
    /// Specimen-days.
    pub days: f64,
}

/// What was found.
#[derive(Debug, Clone, PartialEq)]
pub struct FewestLosses {
    /// The bins and the test.
    pub tested: BinTest,
    /// The q that the test has in its family.
    pub q: f64,
    /// The range, or why there is none.
    pub found: Found,
}

/// A range, or why there is none.
#[derive(Debug, Clone, PartialEq)]
pub enum Found {
    /// The test's q is not below [`Q`]: these records show no difference between bins.
    NoDifference,
    /// Too few draws give nearly the same range: not shown.
    NotStable {
        /// Share of draws whose range covers at least half of the proposed one.
        stability: f64,
    },
    /// The range.
    Range(FewestRange),
}

/// The range with fewest losses.
#[derive(Debug, Clone, PartialEq)]
pub struct FewestRange {
    /// Its lower edge.
    pub lower: Edge,
    /// Its upper edge.
    pub upper: Edge,
    /// Share of draws whose range covers at least half of its days.
    pub stability: f64,
    /// Position of the bin of lowest hazard.
    pub lowest: usize,
    /// One per bin: its hazard against the lowest one's.
    pub ratios: Vec<BinRatio>,
}

/// An edge of the range.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Edge {
    /// The cut; `None`: no edge seen, as the range reaches the end of the days on record.
    pub at: Option<f64>,
    /// The outermost cut that the days on record reach on this side: what "no edge seen up to" is followed by.
    pub seen_up_to: f64,
    /// Lower limit over the draws; `None`: no edge.
    pub lower: Option<f64>,
    /// Upper limit over the draws; `None`: no edge.
    pub upper: Option<f64>,
}

/// A hazard ratio to the bin of lowest hazard.
#[derive(Debug, Clone, PartialEq)]
pub struct BinRatio {
    /// The ratio; 1 for the lowest bin itself.
    pub hazard_ratio: f64,
    /// Limits over the draws, each against its own lowest bin: that the lowest was picked is in them.
    pub limits: Part<BootstrapLimits>,
}

/// The bins of a ladder with these cuts and the test that their hazards are equal: what goes into the family.
///
/// # Errors
/// `InvalidInput` (cuts that do not rise, a step beyond the ladder, days that are not finite or below 0, deaths without
/// days), `TooFewEvents` below 30 deaths or five in a bin, `TooFewTanks` below ten, what the fit refuses.
pub fn bin_test(cells: &[LossCell], cuts: &[f64]) -> Result<BinTest, Refusal> {
    let tanks = Tanks::new(cells, cuts)?;
    tanks.test(cuts)
}

/// The range with fewest losses. `q` is that of [`bin_test`]'s p within its family; `seed` settles the draws.
///
/// # Errors
/// As [`bin_test`]; `InvalidInput` for a q that is no probability; `NotConverged` if more than 5 % of the draws propose
/// nothing.
pub fn fewest_losses(cells: &[LossCell], cuts: &[f64], q: f64, seed: u64) -> Result<FewestLosses, Refusal> {
    if !(0.0..=1.0).contains(&q) {
        return Err(Refusal::plain(RefusalCode::InvalidInput, format!("a q of {q} is not between 0 and 1")));
    }
    let tanks = Tanks::new(cells, cuts)?;
    let tested = tanks.test(cuts)?;
    if q >= Q {
        return Ok(FewestLosses { tested, q, found: Found::NoDifference });
    }
    let proposed = propose(&tanks.all)?;
    let options = DrawOptions { replicates: DRAWS, seed, level: 0.95 };
    let draws = RememberedDraws::new(tanks.counts.len(), options, |drawn| propose(&tanks.drawn(drawn)).ok())?;
    let days = tanks.all.days_by_step();
    let weight = |steps: Range<usize>| days[steps].iter().sum::<f64>();
    let needed = COVERED * weight(proposed.range.clone());
    let same = |draw: &&Proposal| {
        let (from, to) = (draw.range.start.max(proposed.range.start), draw.range.end.min(proposed.range.end));
        from < to && weight(from..to) >= needed
    };
    let stability = draws.values.iter().flatten().filter(same).count() as f64 / draws.values.len() as f64;
    if stability < STABILITY {
        return Ok(FewestLosses { tested, q, found: Found::NotStable { stability } });
    }
    let seen = Seen { cuts, first: tested.bins[0].steps.start, last: tested.bins[tested.bins.len() - 1].steps.end };
    let starts = draws.limits(|draw| Some(draw.range.start as f64))?;
    let ends = draws.limits(|draw| Some(draw.range.end as f64))?;
    let ratios = proposed
        .bins
        .iter()
        .zip(&proposed.log_ratio)
        .map(|(bin, ratio)| {
            let limits = draws.limits(|draw| mean_ratio(draw, bin, &days).map(f64::exp));
            BinRatio { hazard_ratio: ratio.exp(), limits: limits.into() }
        })
        .collect();
    let range = FewestRange {
        lower: seen.edge(proposed.range.start, &starts, true),
        upper: seen.edge(proposed.range.end, &ends, false),
        stability,
        lowest: proposed.lowest,
        ratios,
    };
    Ok(FewestLosses { tested, q, found: Found::Range(range) })
}

/// The log hazard ratio of a draw over the steps of a bin, weighed by days; `None` if the draw has none of them.
fn mean_ratio(draw: &Proposal, bin: &Range<usize>, days: &[f64]) -> Option<f64> {
    let (mut sum, mut weight) = (0.0, 0.0);
    for step in bin.clone() {
        if let Some(ratio) = draw.at_step(step) {
            sum += days[step] * ratio;
            weight += days[step];
        }
    }
    (weight > 0.0).then(|| sum / weight)
}

/// The steps with days, `first..last`.
struct Seen<'a> {
    cuts: &'a [f64],
    first: usize,
    last: usize,
}

impl Seen<'_> {
    /// The cut below step `boundary`; `None` at the end of the days on record.
    fn cut(&self, boundary: usize) -> Option<f64> {
        let inside = boundary > self.first && boundary < self.last;
        boundary.checked_sub(1).filter(|_| inside).and_then(|at| self.cuts.get(at)).copied()
    }

    fn edge(&self, boundary: usize, limits: &BootstrapLimits, lower: bool) -> Edge {
        // Days in the outermost step reach at least its inner cut.
        let inner = if lower { self.first } else { self.last - 2 };
        // Edges are cuts: a percentile between two of them is the one further out.
        Edge {
            at: self.cut(boundary),
            seen_up_to: self.cuts[inner],
            lower: self.cut(limits.lower.floor() as usize),
            upper: self.cut(limits.upper.ceil() as usize),
        }
    }
}

#[cfg(test)]
mod tests;
