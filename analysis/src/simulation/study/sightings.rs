//! What a register shows of survival beside looks: the same lives written down in three ways.
//!
//! A row of a register without an end says "alive" on the day the list was true. Left out, the living have no follow-up,
//! the dead have, and survival reads far too low.

use chrono::Days as Span;
use serde::Serialize;

use super::club::{DAYS, Plan, day, draw};
use super::estimate::Observed;
use super::{Options, Verdict, each_club, mean, seed_of};
use crate::club::{Club, Sighting, SightingSource};
use crate::follow_up::Run;
use crate::survival::{Interval, kaplan_meier};

const KEEPERS: usize = 40;
const YEAR: f64 = 365.0;
/// Days between looks.
const LOOKS: u64 = 30;
/// The registers' day and the looks must give the same share to within this; without them it must be off by more than
/// [`FAR`].
const NEAR: f64 = 0.02;
const FAR: f64 = 0.1;

/// Share alive after a year, mean over clubs.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Sightings {
    /// Of all corals, by what really became of them.
    pub truth: Option<f64>,
    /// A look a month.
    pub looks: Option<f64>,
    /// A register that was true on the last day.
    pub register: Option<f64>,
    /// The same register with its open rows not taken as sightings.
    pub register_left_out: Option<f64>,
}

fn one_year(club: &Club, run: Run) -> Option<f64> {
    let rows = Observed::new(club, run)?.together()?;
    kaplan_meier(&rows.episodes, Some(0.0), Interval::LogLog).survival_at(YEAR).map(|step| step.survival)
}

/// The living seen in another way; the dead as they are.
fn seen(club: &Club, sightings: impl Fn(chrono::NaiveDate) -> Vec<Sighting>) -> Club {
    let mut club = club.clone();
    for specimen in club.specimens.iter_mut().filter(|specimen| specimen.ending.is_none()) {
        specimen.sightings = specimen.acquired.map_or_else(Vec::new, |bought| sightings(bought.latest));
    }
    club
}

/// The report.
pub fn run(options: &Options) -> Sightings {
    let sighting = |on, source| Sighting { on, source, condition: None, tissue_cover: None, polyp_extension: None };
    let found = each_club(options, |club| {
        let seed = seed_of(options, 104, club);
        let plan = Plan { seed, keepers: KEEPERS, conditions: 1, hazard_ratio: 1.0, correlation: 0.0, drift: false };
        let known = draw(&plan).known;
        let by_looks = seen(&known, |bought| {
            let days = std::iter::successors(Some(bought), |day| day.checked_add_days(Span::new(LOOKS)));
            days.take_while(|on| *on <= day(DAYS)).map(|on| sighting(on, SightingSource::Look)).collect()
        });
        let by_register = seen(&known, |_| vec![sighting(day(DAYS), SightingSource::Register)]);
        [
            one_year(&known, Run::Main),
            one_year(&by_looks, Run::Main),
            one_year(&by_register, Run::Main),
            one_year(&by_register, Run::NoRegisterSightings),
        ]
    });
    let share = |at: usize| mean(&found.iter().filter_map(|club| club[at]).collect::<Vec<f64>>());
    Sightings { truth: share(0), looks: share(1), register: share(2), register_left_out: share(3) }
}

impl Sightings {
    /// Looks and a dated register agree with what was; a register without its day does not.
    pub fn verdicts(&self) -> Vec<Verdict> {
        let off = |share: Option<f64>| share.zip(self.truth).map_or(f64::NAN, |(share, truth)| (share - truth).abs());
        vec![
            Verdict {
                what: "a look a month and a dated register show the survival that was".to_owned(),
                holds: off(self.looks) <= NEAR && off(self.register) <= NEAR,
            },
            Verdict {
                what: "a register of which nobody says when it was true does not".to_owned(),
                holds: off(self.register_left_out) > FAR,
            },
        ]
    }
}
