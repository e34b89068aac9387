//! Clubs with eight conditions: how often one that does not act is called, and how often the one that acts is first.

use serde::Serialize;

use super::club::{Plan, conditions, draw};
use super::coverage::{CORRELATION, HAZARD_RATIO};
use super::estimate::{Estimate, Model, Observed};
use super::{Options, Share, Verdict, each_club, mean, seed_of};
use crate::club::Club;
use crate::comparison::ClusterBy;
use crate::follow_up::Run;
use crate::numeric::false_discovery::{Dependence, q_values};

const CONDITIONS: usize = 8;
const KEEPERS: usize = 40;
/// A condition is called at this q or below.
const CALLED: f64 = 0.05;
/// The acting condition is first at least in this share of what the club as it was would allow.
const OF_ORACLE_CRUDE: f64 = 0.8;
const OF_ORACLE_WITHIN: f64 = 0.5;

/// Clubs in which no condition acts.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Calls {
    /// Correlation of keepers' skill with their mean of the first condition.
    pub correlation: f64,
    /// Clubs with any call, from estimates within keepers.
    pub within_keeper: Share,
    /// The same from crude estimates, which are shown but never called.
    pub crude: Share,
    /// Single tests of the first condition with p at or below 0.05, crude.
    pub single_crude: Share,
    /// The same within keepers.
    pub single_within_keeper: Share,
    /// Geometric mean of the first condition's crude hazard ratio.
    pub crude_ratio: Option<f64>,
}

/// Clubs in which the first condition acts.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct RankedFirst {
    /// Clubs in which it is first, crude.
    pub crude: Share,
    /// The same, of clubs of which everything is known, by the same model.
    pub crude_oracle: Share,
    /// The same without the lag, which the true condition has not.
    pub crude_oracle_lag_0: Share,
    /// Within keepers.
    pub within_keeper: Share,
    /// Within keepers, of clubs of which everything is known, by the same model.
    pub within_keeper_oracle: Share,
    /// The same without the lag.
    pub within_keeper_oracle_lag_0: Share,
}

fn plan(options: &Options, report: u64, club: usize, hazard_ratio: f64, correlation: f64) -> Plan {
    let seed = seed_of(options, report, club);
    Plan { seed, keepers: KEEPERS, conditions: CONDITIONS, hazard_ratio, correlation, drift: false }
}

/// The estimates of every condition, crude and within keepers; `None` where refused.
fn estimates(club: &Club, run: Run) -> [Vec<Option<Estimate>>; 2] {
    let observed = Observed::new(club, run);
    let mut found = [Vec::new(), Vec::new()];
    for (code, cut) in conditions(CONDITIONS) {
        let split = observed.as_ref().and_then(|observed| observed.split(code, cut));
        let models = [Model::Crude(ClusterBy::Keeper), Model::WithinKeeper];
        for (found, model) in found.iter_mut().zip(models) {
            found.push(split.as_ref().and_then(|split| split.ratio(model)));
        }
    }
    found
}

/// Whether any q of the family is at or below the bound; refused ones count with p = 1.
fn any_called(estimates: &[Option<Estimate>]) -> bool {
    let p: Vec<f64> = estimates.iter().map(|estimate| estimate.map_or(1.0, |estimate| estimate.p)).collect();
    q_values(&p, p.len(), Dependence::Positive).is_ok_and(|q| q.iter().any(|q| *q <= CALLED))
}

/// Position of the condition that the list of an answer would name first: by q over the club's list, the larger ratio
/// first of equals; `None` if all are refused.
fn first(estimates: &[Option<Estimate>]) -> Option<usize> {
    let p: Vec<f64> = estimates.iter().map(|estimate| estimate.map_or(1.0, |estimate| estimate.p)).collect();
    let q = q_values(&p, p.len(), Dependence::Positive).ok()?;
    let known = estimates.iter().zip(q).enumerate().filter_map(|(at, (estimate, q))| Some((at, q, (*estimate)?)));
    known
        .min_by(|(_, p, a), (_, q, b)| p.total_cmp(q).then(b.log_ratio.abs().total_cmp(&a.log_ratio.abs())))
        .map(|(at, ..)| at)
}

/// Clubs in which nothing acts.
pub fn null(options: &Options, correlation: f64) -> Calls {
    let report = if correlation == 0.0 { 100 } else { 101 };
    let found =
        each_club(options, |club| estimates(&draw(&plan(options, report, club, 1.0, correlation)).recorded, Run::Main));
    let single = |at: usize| {
        Share::of(
            found.iter().filter_map(|club| club[at].first().copied().flatten()).map(|estimate| estimate.p <= 0.05),
        )
    };
    let logs: Vec<f64> =
        found.iter().filter_map(|club| club[0].first().copied().flatten()).map(|one| one.log_ratio).collect();
    Calls {
        correlation,
        within_keeper: Share::of(found.iter().map(|club| any_called(&club[1]))),
        crude: Share::of(found.iter().map(|club| any_called(&club[0]))),
        single_crude: single(0),
        single_within_keeper: single(1),
        crude_ratio: mean(&logs).map(f64::exp),
    }
}

/// Clubs in which the first condition acts.
pub fn ranked_first(options: &Options) -> RankedFirst {
    let found = each_club(options, |club| {
        let drawn = draw(&plan(options, 102, club, HAZARD_RATIO, CORRELATION));
        let recorded = estimates(&drawn.recorded, Run::Main).map(|estimates| first(&estimates) == Some(0));
        let of_known = |run| estimates(&drawn.known, run).map(|estimates| first(&estimates) == Some(0));
        [recorded, of_known(Run::Main), of_known(Run::Lag0)]
    });
    let share = |club: usize, model: usize| Share::of(found.iter().map(|one| one[club][model]));
    RankedFirst {
        crude: share(0, 0),
        crude_oracle: share(1, 0),
        crude_oracle_lag_0: share(2, 0),
        within_keeper: share(0, 1),
        within_keeper_oracle: share(1, 1),
        within_keeper_oracle_lag_0: share(2, 1),
    }
}

impl Calls {
    /// At most 5 % of null clubs have a call, plus two Monte-Carlo errors.
    pub fn verdict(&self) -> Verdict {
        let bound = CALLED + self.within_keeper.two_errors(CALLED);
        Verdict {
            what: format!("at most 5 % of clubs in which nothing acts have a call (r = {})", self.correlation),
            holds: self.within_keeper.share.is_some_and(|share| share <= bound),
        }
    }
}

impl RankedFirst {
    /// The shares of the oracle's that must be reached, less two Monte-Carlo errors of the difference.
    pub fn verdicts(&self) -> Vec<Verdict> {
        let verdict = |what: &str, own: &Share, oracle: &Share, part: f64| {
            let errors = match (own.error, oracle.error) {
                (Some(own), Some(oracle)) => own.hypot(part * oracle),
                _ => f64::NAN,
            };
            let holds = own.share.zip(oracle.share).is_some_and(|(a, b)| a >= part * b - 2.0 * errors);
            Verdict {
                what: format!("the acting condition is first in {:.0} % of what could be, {what}", 100.0 * part),
                holds,
            }
        };
        vec![
            verdict("crude", &self.crude, &self.crude_oracle, OF_ORACLE_CRUDE),
            verdict("within keepers", &self.within_keeper, &self.within_keeper_oracle, OF_ORACLE_WITHIN),
        ]
    }
}
