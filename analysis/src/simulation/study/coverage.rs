//! How often 95 % limits hold what they should, by number of clusters.
//!
//! They should hold the estimator's own large-sample value: that of one club so large that chance is small. How far that
//! value lies from the ratio put in is printed beside: gaps between tests pull it towards 1, confounding pushes it away.

use serde::Serialize;

use super::club::{Plan, conditions, draw};
use super::estimate::{Estimate, Model, Observed};
use super::{Options, Share, Verdict, each_club, mean, seed_of};
use crate::comparison::ClusterBy;
use crate::follow_up::Run;

/// The ratio put in.
pub const HAZARD_RATIO: f64 = 1.6;
/// Correlation of keepers' skill with their water.
pub const CORRELATION: f64 = 0.5;
/// Coverage that limits must have, less two Monte-Carlo errors.
pub const FLOOR: f64 = 0.93;
/// Clusters at which coverage is looked at.
const CLUSTERS: [usize; 4] = [10, 20, 40, 80];
/// Keepers of the clubs that have so many tanks or keepers.
const KEEPERS: [usize; 5] = [5, 10, 20, 40, 80];
/// Keepers of the club that stands for large samples: twice as many tanks.
const LARGE: usize = 10_000;
/// Keepers of that club for every club of a study shorter than the full one.
const LARGE_PER_CLUB: usize = 25;

/// A model as printed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Fitted {
    /// All corals, clustered by tank.
    CrudeByTank,
    /// All corals, clustered by keeper.
    CrudeByKeeper,
    /// Corals of one keeper, clustered by keeper.
    WithinKeeper,
}

impl Fitted {
    const ALL: [Fitted; 3] = [Fitted::CrudeByTank, Fitted::CrudeByKeeper, Fitted::WithinKeeper];

    fn model(self) -> Model {
        match self {
            Fitted::CrudeByTank => Model::Crude(ClusterBy::Tank),
            Fitted::CrudeByKeeper => Model::Crude(ClusterBy::Keeper),
            Fitted::WithinKeeper => Model::WithinKeeper,
        }
    }

    /// Keepers of a club with so many clusters.
    fn keepers(self, clusters: usize) -> usize {
        if self == Fitted::CrudeByTank { clusters / 2 } else { clusters }
    }

    /// In words.
    pub const fn words(self) -> &'static str {
        match self {
            Fitted::CrudeByTank => "crude, by tank",
            Fitted::CrudeByKeeper => "crude, by keeper",
            Fitted::WithinKeeper => "within keeper",
        }
    }
}

/// Coverage at one number of clusters.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Line {
    /// Model.
    pub model: Fitted,
    /// Clusters in the club.
    pub clusters: usize,
    /// Mean of the log hazard ratio less its large-sample value.
    pub bias: Option<f64>,
    /// Clubs in which the comparison was refused.
    pub refused: usize,
    /// Limits from `G/(G-1)` times the sandwich, with t.
    pub sandwich: Share,
    /// Limits from leaving out one cluster at a time, with t.
    pub jackknife: Share,
}

/// The report.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Coverage {
    /// The ratio put in.
    pub hazard_ratio: f64,
    /// Tanks of the club of large samples.
    pub large_tanks: usize,
    /// Its hazard ratio, all corals with all.
    pub large_crude: Option<f64>,
    /// Its hazard ratio within keepers.
    pub large_within_keeper: Option<f64>,
    /// By model and clusters.
    pub lines: Vec<Line>,
}

fn plan(seed: u64, keepers: usize) -> Plan {
    Plan { seed, keepers, conditions: 1, hazard_ratio: HAZARD_RATIO, correlation: CORRELATION, drift: false }
}

/// What one club says by each model: the published estimate, and the one by jackknife.
fn estimates(plan: &Plan, models: &[Fitted], jackknife: bool) -> Vec<Option<(Estimate, Option<Estimate>)>> {
    let drawn = draw(plan);
    let observed = Observed::new(&drawn.recorded, Run::Main);
    let split =
        observed.as_ref().zip(conditions(1).first()).and_then(|(observed, (code, cut))| observed.split(*code, *cut));
    models
        .iter()
        .map(|model| {
            let split = split.as_ref()?;
            let published = split.ratio(model.model())?;
            Some((published, if jackknife { split.jackknifed(model.model(), &published) } else { None }))
        })
        .collect()
}

/// The report over every number of clusters.
pub(super) fn run(options: &Options) -> Coverage {
    run_at(options, &KEEPERS, LARGE.min(LARGE_PER_CLUB * options.clubs.max(1)))
}

/// The report over clubs of these numbers of keepers (5 to 80), against a club of `large` keepers.
pub fn run_at(options: &Options, keepers: &[usize], large: usize) -> Coverage {
    let whole = estimates(&plan(seed_of(options, 1, usize::MAX >> 30), large), &Fitted::ALL, false);
    let value = |model: Fitted| {
        let at = Fitted::ALL.iter().position(|other| *other == model)?;
        whole[at].map(|(estimate, _)| estimate.log_ratio)
    };
    let mut lines = Vec::new();
    for &keepers in keepers {
        let models: Vec<Fitted> =
            Fitted::ALL.into_iter().filter(|model| CLUSTERS.iter().any(|g| model.keepers(*g) == keepers)).collect();
        let report = 2 + keepers as u64;
        let found = each_club(options, |club| estimates(&plan(seed_of(options, report, club), keepers), &models, true));
        for (at, &model) in models.iter().enumerate() {
            let of_model: Vec<(Estimate, Option<Estimate>)> = found.iter().filter_map(|club| club[at]).collect();
            let Some(truth) = value(model) else { continue };
            let logs: Vec<f64> = of_model.iter().map(|(estimate, _)| estimate.log_ratio).collect();
            lines.push(Line {
                model,
                clusters: if model == Fitted::CrudeByTank { 2 * keepers } else { keepers },
                bias: mean(&logs).map(|mean| mean - truth),
                refused: options.clubs - of_model.len(),
                sandwich: Share::of(of_model.iter().map(|(estimate, _)| estimate.holds(truth))),
                jackknife: Share::of(of_model.iter().filter_map(|(_, other)| *other).map(|other| other.holds(truth))),
            });
        }
    }
    lines.sort_by_key(|line| (line.model as u8, line.clusters));
    Coverage {
        hazard_ratio: HAZARD_RATIO,
        large_tanks: 2 * large,
        large_crude: value(Fitted::CrudeByKeeper).map(f64::exp),
        large_within_keeper: value(Fitted::WithinKeeper).map(f64::exp),
        lines,
    }
}

/// Whether a coverage is at the floor, less two Monte-Carlo errors.
pub fn holds(share: &Share) -> bool {
    share.share.is_some_and(|found| found >= FLOOR - share.two_errors(FLOOR))
}

impl Coverage {
    /// Every number of clusters has limits that hold often enough, by the published variance.
    pub fn verdicts(&self) -> Vec<Verdict> {
        self.lines
            .iter()
            .filter(|line| line.sandwich.clubs > 0)
            .map(|line| Verdict {
                what: format!("limits of {} clusters ({}) hold in 93 %", line.clusters, line.model.words()),
                holds: holds(&line.sandwich),
            })
            .collect()
    }
}
