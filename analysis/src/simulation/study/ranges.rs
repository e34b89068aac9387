//! How stable ranges with fewest losses are: how often one is shown where nothing acts, and where one acts, whether it lies
//! in the band, and how well ranges of other clubs of the same truth agree with it.

use std::ops::Range;

use serde::Serialize;

use super::club::{Plan, TAXON, conditions, draw};
use super::coverage::{CORRELATION, HAZARD_RATIO};
use super::{Options, Share, Verdict, each_club, mean, seed_of};
use crate::answer::Outcome;
use crate::answer::bands::cells;
use crate::follow_up::Population;
use crate::survival::fewest_losses::{COVERED, Found, Q, bin_test, fewest_losses};
use crate::vocabulary::TaxonSlug;

const KEEPERS: usize = 40;
/// Cuts of the ladder, as parts of the value at which the condition leaves its band.
const CUTS: [f64; 5] = [0.8, 0.9, 1.0, 1.1, 1.2];
/// Steps of the ladder inside the band.
const INSIDE: usize = 3;
const SEED: u64 = 8;

/// The report.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Ranges {
    /// Clubs in which nothing acts, and a range is shown all the same.
    pub shown_in_vain: Share,
    /// Clubs in which the condition acts, and a range is shown.
    pub shown: Share,
    /// Of these, those with no step outside the band.
    pub inside: Share,
    /// Of these, the mean stability that stands beside the range.
    pub stability: Option<f64>,
    /// Of pairs of these clubs, those in which the one's range covers half of the other's days.
    pub agree: Share,
}

/// A range as steps of the ladder, its stability, and the days at each step.
struct Shown {
    steps: Range<usize>,
    stability: f64,
    days: Vec<f64>,
}

fn shown(plan: &Plan) -> Option<Shown> {
    let club = draw(plan).recorded;
    let population = Population::of(&club, TaxonSlug::parse(TAXON)?, None);
    let (code, band) = conditions(1).first().copied()?;
    let cells = cells(&club, &population, code, &CUTS.map(|part| part * band), Outcome::Death).ok()?;
    let p = bin_test(&cells.losses, &cells.cuts).ok()?.test.p;
    let Found::Range(range) = fewest_losses(&cells.losses, &cells.cuts, p, SEED).ok()?.found else { return None };
    let place = |edge: Option<f64>, without: usize| {
        edge.and_then(|edge| cells.cuts.iter().position(|cut| *cut == edge)).map_or(without, |cut| cut + 1)
    };
    let steps = place(range.lower.at, 0)..place(range.upper.at, CUTS.len() + 1);
    let mut days = vec![0.0; CUTS.len() + 1];
    for cell in &cells.losses {
        days[cell.step as usize] += cell.days;
    }
    Some(Shown { steps, stability: range.stability, days })
}

fn covers(one: &Shown, other: &Shown) -> bool {
    let days = |steps: Range<usize>| other.days[steps].iter().sum::<f64>();
    let (from, to) = (one.steps.start.max(other.steps.start), one.steps.end.min(other.steps.end));
    from < to && days(from..to) >= COVERED * days(other.steps.clone())
}

/// The report.
pub fn run(options: &Options) -> Ranges {
    let plan = |report, club, hazard_ratio, correlation| {
        let seed = seed_of(options, report, club);
        Plan { seed, keepers: KEEPERS, conditions: 1, hazard_ratio, correlation, drift: false }
    };
    let in_vain = each_club(options, |club| shown(&plan(105, club, 1.0, 0.0)).is_some());
    let found = each_club(options, |club| shown(&plan(106, club, HAZARD_RATIO, CORRELATION)));
    let known: Vec<&Shown> = found.iter().flatten().collect();
    let stability: Vec<f64> = known.iter().map(|shown| shown.stability).collect();
    Ranges {
        shown_in_vain: Share::of(in_vain),
        shown: Share::of(found.iter().map(Option::is_some)),
        inside: Share::of(known.iter().map(|shown| shown.steps.end <= INSIDE)),
        stability: mean(&stability),
        agree: Share::of(known.chunks_exact(2).map(|pair| covers(pair[0], pair[1]))),
    }
}

impl Ranges {
    /// A range is shown where nothing acts no more often than its test says.
    pub fn verdict(&self) -> Verdict {
        let bound = Q + self.shown_in_vain.two_errors(Q);
        Verdict {
            what: "a range is shown in at most 10 % of clubs in which nothing acts".to_owned(),
            holds: self.shown_in_vain.share.is_some_and(|share| share <= bound),
        }
    }
}
