//! Averages over a life: no condition acts, all tanks drift into the band, and what each way of counting says.
//!
//! A coral that dies early never saw the later, better water: its average condemns the water it died in. The report fails
//! if the wrong ways are not biased, for then its clubs have gone soft.

use serde::Serialize;

use super::club::{Plan, conditions, draw};
use super::estimate::{Lives, Model, Observed};
use super::{Options, Share, Verdict, each_club, mean, seed_of};
use crate::comparison::ClusterBy;
use crate::follow_up::Run;

const KEEPERS: usize = 40;
/// The right way must stay within this of 1; the wrong one must not.
const NEAR_ONE: f64 = 1.15;
const FAR_FROM_ONE: f64 = 1.5;

/// One way of counting.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Way {
    /// Geometric mean of the hazard ratio.
    pub ratio: Option<f64>,
    /// Clubs with p at or below 0.05.
    pub significant: Share,
}

/// The report.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Lifetime {
    /// By the state at each moment.
    pub at_the_moment: Way,
    /// By "mostly out of the band over its life".
    pub mostly_out: Way,
    /// By the share of its life out of the band, from none to all.
    pub lifetime_share: Way,
}

/// The report.
pub fn run(options: &Options) -> Lifetime {
    let found = each_club(options, |club| {
        let seed = seed_of(options, 103, club);
        let plan = Plan { seed, keepers: KEEPERS, conditions: 1, hazard_ratio: 1.0, correlation: 0.0, drift: true };
        let drawn = draw(&plan);
        let observed = Observed::new(&drawn.recorded, Run::Main)?;
        let (code, cut) = conditions(1).first().copied()?;
        let split = observed.split(code, cut)?;
        let moment = split.ratio(Model::Crude(ClusterBy::Keeper)).map(|estimate| (estimate.log_ratio, estimate.p));
        let lives = Lives::of(&split.sets.middle);
        Some([moment, lives.ratio(true), lives.ratio(false)])
    });
    let way = |at: usize| {
        let own: Vec<(f64, f64)> = found.iter().flatten().filter_map(|club| club[at]).collect();
        let logs: Vec<f64> = own.iter().map(|(log, _)| *log).collect();
        Way { ratio: mean(&logs).map(f64::exp), significant: Share::of(own.iter().map(|(_, p)| *p <= 0.05)) }
    };
    Lifetime { at_the_moment: way(0), mostly_out: way(1), lifetime_share: way(2) }
}

impl Lifetime {
    /// The right way is near 1, the wrong ones are not.
    pub fn verdicts(&self) -> Vec<Verdict> {
        let far = |way: &Way| way.ratio.is_some_and(|ratio| ratio >= FAR_FROM_ONE);
        let right = self.at_the_moment.ratio.is_some_and(|ratio| (1.0 / NEAR_ONE..=NEAR_ONE).contains(&ratio));
        vec![
            Verdict { what: "the state at each moment shows no effect where there is none".to_owned(), holds: right },
            Verdict {
                what: "averages over a life show one".to_owned(),
                holds: far(&self.mostly_out) && far(&self.lifetime_share),
            },
        ]
    }
}
