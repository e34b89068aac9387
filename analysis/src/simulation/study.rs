//! How far the statistics hold: clubs with a known truth, through the real follow-up, exposure and comparison.
//!
//! Pure and seeded: the same numbers come from the same number of clubs and seed, on any number of threads. Each report
//! stands in a file of its own; [`club`] says what the clubs are.

use serde::Serialize;

use crate::numeric::parallel;

pub mod calls; // how often a condition that does not act is called, and how often the one that acts is first
pub mod club; // the clubs
pub mod coverage; // how often limits hold what they should
mod estimate; // what the analysis says of a club
pub mod lifetime; // what averages over a life would say
pub mod print; // the reports in words
pub mod ranges; // how stable ranges with fewest losses are
pub mod sightings; // what a register shows of survival beside looks

pub use calls::{Calls, RankedFirst};
pub use coverage::Coverage;
pub use lifetime::Lifetime;
pub use ranges::Ranges;
pub use sightings::Sightings;

/// Clubs of the full study.
pub const CLUBS: usize = 1000;
/// Seed of the study as published.
pub const SEED: u64 = 1;

/// What is studied.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Options {
    /// Clubs behind each figure.
    pub clubs: usize,
    /// Seed of all clubs.
    pub seed: u64,
    /// Threads to work on; they change no figure.
    pub threads: usize,
}

/// A share of clubs with its Monte-Carlo standard error.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Share {
    /// Clubs counted.
    pub clubs: usize,
    /// Those in which it was so.
    pub yes: usize,
    /// `yes / clubs`; `None` without clubs.
    pub share: Option<f64>,
    /// `sqrt(share (1 - share) / clubs)`.
    pub error: Option<f64>,
}

impl Share {
    /// The share of those that are `true`.
    pub fn of(yes: impl IntoIterator<Item = bool>) -> Share {
        let (mut clubs, mut count) = (0, 0);
        for one in yes {
            clubs += 1;
            count += usize::from(one);
        }
        let share = (clubs > 0).then(|| count as f64 / clubs as f64);
        let error = share.map(|share| (share * (1.0 - share) / clubs as f64).sqrt());
        Share { clubs, yes: count, share, error }
    }

    /// Two Monte-Carlo errors of a share that is truly this.
    pub fn two_errors(&self, truly: f64) -> f64 {
        2.0 * (truly * (1.0 - truly) / self.clubs.max(1) as f64).sqrt()
    }
}

/// A floor or ceiling, and whether it holds.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Verdict {
    /// What has to hold.
    pub what: String,
    /// It does.
    pub holds: bool,
}

/// All reports.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Study {
    /// Clubs behind each figure.
    pub clubs: usize,
    /// Seed.
    pub seed: u64,
    /// Coverage of the limits, by model, clusters and variance.
    pub coverage: Coverage,
    /// Clubs in which no condition acts.
    pub calls: Vec<Calls>,
    /// Clubs in which one does.
    pub ranked: RankedFirst,
    /// Ranges with fewest losses.
    pub ranges: Ranges,
    /// Averages over a life.
    pub lifetime: Lifetime,
    /// Registers beside looks.
    pub sightings: Sightings,
    /// What has to hold.
    pub verdicts: Vec<Verdict>,
}

/// Runs all of it.
pub fn run(options: &Options) -> Study {
    let coverage = coverage::run(options);
    let calls = [0.0, 0.5].map(|correlation| calls::null(options, correlation)).to_vec();
    let ranked = calls::ranked_first(options);
    let ranges = ranges::run(options);
    let lifetime = lifetime::run(options);
    let sightings = sightings::run(options);
    let verdicts = [
        coverage.verdicts(),
        calls.iter().map(Calls::verdict).collect(),
        ranked.verdicts(),
        vec![ranges.verdict()],
        lifetime.verdicts(),
        sightings.verdicts(),
    ];
    Study {
        clubs: options.clubs,
        seed: options.seed,
        coverage,
        calls,
        ranked,
        ranges,
        lifetime,
        sightings,
        verdicts: verdicts.into_iter().flatten().collect(),
    }
}

/// Seed of a club: no two reports share clubs by chance.
fn seed_of(options: &Options, report: u64, club: usize) -> u64 {
    options.seed.wrapping_mul(0x9e37_79b9_7f4a_7c15) ^ (report << 40) ^ club as u64
}

/// `f` of each club, in order.
fn each_club<T: Send>(options: &Options, f: impl Fn(usize) -> T + Sync) -> Vec<T> {
    parallel::each(options.clubs, options.threads, f)
}

/// Mean of some values; `None` without any.
fn mean(values: &[f64]) -> Option<f64> {
    (!values.is_empty()).then(|| values.iter().sum::<f64>() / values.len() as f64)
}
