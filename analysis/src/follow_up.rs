//! From records to the time each specimen was under observation: entry, end, and who is left out and why.
//!
//! Times here are calendar days as numbers ([`day_number`]); age is such a day less [`Follow::day0`]. A specimen
//! enters when its log would have shown its death, not when it was bought, so that corals known only because they
//! lived are not credited with the time before. It ends at its death, or at the last day it is known to have been
//! alive, never at the day of an upload. Nothing here knows conditions, groups or estimators.

use chrono::{Datelike, NaiveDate};

use crate::answer::{LeftOut, Outcome};
use crate::club::Club;
use crate::vocabulary::CauseGroup;

pub mod decline; // serious decline, known from looks
mod end; // how and when it ended
mod entry; // when it came under observation
pub mod looks; // whether the living were looked at
pub mod population; // which specimens a question is about
pub mod run; // the same figures under other rules
pub mod tank_event; // many losses in one tank in a short time

pub use decline::follow_up_for;
pub use population::Population;
pub use run::Run;

/// A day as a number: days since the start of the common era.
pub fn day_number(day: NaiveDate) -> f64 {
    f64::from(day.num_days_from_ce())
}

/// The day that holds a time; `None` outside the calendar.
pub fn day_of(time: f64) -> Option<NaiveDate> {
    NaiveDate::from_num_days_from_ce_opt(time.floor() as i32)
}

/// How the observation of a specimen ended; calendar days. "Died" is any event that ended it: where serious decline is
/// asked about, a decline too.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum End {
    /// Last known alive, or left the club's care alive.
    Alive(f64),
    /// Died on a known day, or within a week: its middle.
    Died(f64),
    /// Died in an interval of more than a week.
    DiedWithin {
        /// Known alive until then; not before entry.
        after: f64,
        /// Known dead by then.
        by: f64,
    },
}

impl End {
    /// Whether it is a death.
    pub fn is_death(self) -> bool {
        !matches!(self, End::Alive(_))
    }

    /// The day taken where one day is needed: the middle of an interval.
    pub fn middle(self) -> f64 {
        match self {
            End::Alive(day) | End::Died(day) => day,
            End::DiedWithin { after, by } => (after + by) / 2.0,
        }
    }

    /// The day at share `u` (0 < u <= 1) of the interval; the known day otherwise.
    pub fn drawn(self, u: f64) -> f64 {
        match self {
            End::Alive(day) | End::Died(day) => day,
            End::DiedWithin { after, by } => after + (by - after) * u,
        }
    }
}

/// One specimen under observation.
#[derive(Debug, Clone, PartialEq)]
pub struct Follow {
    /// Position in [`Club::specimens`].
    pub specimen: u32,
    /// Its keeper.
    pub keeper: u32,
    /// Calendar day of age 0.
    pub day0: f64,
    /// Calendar day from which it is under observation (not at risk on that day itself).
    pub entry: f64,
    /// How it ended.
    pub end: End,
    /// Group of the primary cause of a death.
    pub cause: CauseGroup,
    /// A death whose day is under question.
    pub date_held: bool,
    /// Acquired within up to 31 days: their middle is day 0.
    pub acquired_midpoint: bool,
    /// Its last evidence of life is an open row of a register.
    pub register_last: bool,
    /// A death that is a specimen not found again.
    pub missing: bool,
    /// Nobody has said since when its log is complete.
    pub entry_assumed: bool,
    /// The event is a serious decline, not a death.
    pub declined: bool,
    /// Calendar day after which nothing is seen of it any more; infinite where deaths are seen whenever they come.
    pub until: f64,
}

impl Follow {
    /// End of the time at risk when the end lies on `day`: half a day after entry for a death on the day of entry.
    pub fn stop(&self, day: f64) -> f64 {
        if day > self.entry { day } else { crate::episode::same_day_stop(self.entry) }
    }

    /// End of the time at risk when the end lies on `day`, and whether an event is seen there.
    pub fn ended(&self, day: f64) -> (f64, bool) {
        if day > self.until { (self.until, false) } else { (self.stop(day), self.end.is_death()) }
    }
}

/// All specimens of a population: those under observation, and the others counted by reason.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct FollowUp {
    /// Under observation, in the order of [`Club::specimens`].
    pub follows: Vec<Follow>,
    /// The others.
    pub left_out: LeftOut,
    /// What their events are.
    pub outcome: Outcome,
}

impl FollowUp {
    /// Whether any death is known only to more than a week.
    pub fn has_wide_intervals(&self) -> bool {
        self.follows.iter().any(|follow| matches!(follow.end, End::DiedWithin { .. }))
    }
}

/// Why a specimen is in no figure.
enum Out {
    AcquiredUnknown,
    Held,
    LossesNotListed,
    EndedBeforeEntry,
    ArrivedDead,
    NoFollowUp,
    /// Not of this run's records at all.
    NotInRun,
}

/// Entry and end of every specimen of a population, under the rules of a run.
///
/// Every specimen of the population is either under observation or counted once in [`FollowUp::left_out`], except in
/// runs that look at fewer records ([`Run::NoAssumedEntry`], [`Run::NoGuessedNames`]).
pub fn follow_up(club: &Club, population: &Population, run: Run) -> FollowUp {
    let mut result = FollowUp::default();
    for &id in &population.members {
        match one(club, id, run) {
            Ok(follow) => result.follows.push(follow),
            Err(out) => {
                let left = &mut result.left_out;
                match out {
                    Out::AcquiredUnknown => left.acquired_unknown += 1,
                    Out::Held => left.held += 1,
                    Out::LossesNotListed => left.losses_not_listed += 1,
                    Out::EndedBeforeEntry => left.ended_before_entry += 1,
                    Out::ArrivedDead => left.arrived_dead += 1,
                    Out::NoFollowUp => left.no_follow_up += 1,
                    Out::NotInRun => {}
                }
            }
        }
    }
    if run == Run::WithoutTankEvents {
        tank_event::censor(club, &mut result);
    }
    result
}

fn one(club: &Club, id: u32, run: Run) -> Result<Follow, Out> {
    let specimen = club.specimens.get(id as usize).ok_or(Out::NotInRun)?;
    if specimen.arrived_dead || specimen.ending.as_ref().is_some_and(end::arrived_dead) {
        return Err(Out::ArrivedDead);
    }
    if run == Run::NoGuessedNames && specimen.identifications.last().is_some_and(|name| name.guessed) {
        return Err(Out::NotInRun);
    }
    if run == Run::NoAssumedEntry && specimen.complete_since.is_none() {
        return Err(Out::NotInRun);
    }
    let held_death = if specimen.held {
        if run != Run::HeldAsDeaths {
            return Err(Out::Held);
        }
        Some(specimen.held_fate.ok_or(Out::Held)?)
    } else {
        None
    };
    let acquired = entry::acquired(specimen).ok_or(Out::AcquiredUnknown)?;
    if !specimen.losses_listed {
        return Err(Out::LossesNotListed);
    }
    let ended = match held_death {
        Some(days) => end::held(specimen, days),
        None => end::ended(specimen, run),
    }
    .ok_or(Out::NoFollowUp)?;
    let day0 = acquired.day0_before(ended.end);
    let entry = entry::observed_from(specimen, day0);
    let end = match ended.end {
        End::Alive(day) if day < entry && ended.from_ending => return Err(Out::EndedBeforeEntry),
        End::Alive(day) if day <= entry => return Err(Out::NoFollowUp),
        End::Died(day) | End::DiedWithin { by: day, .. } if day < entry => return Err(Out::EndedBeforeEntry),
        End::DiedWithin { by, .. } if by == entry => End::Died(by),
        // The death came after the entry: the part of its interval that lies there, of which the middle may be taken.
        End::DiedWithin { after, by } => end::within(after.max(entry), by),
        known => known,
    };
    Ok(Follow {
        specimen: id,
        keeper: specimen.keeper,
        day0,
        entry,
        end,
        cause: ended.cause,
        date_held: ended.date_held && end.is_death(),
        acquired_midpoint: acquired.is_interval(),
        register_last: ended.register_last,
        missing: ended.missing && end.is_death(),
        entry_assumed: specimen.complete_since.is_none(),
        declined: false,
        until: f64::INFINITY,
    })
}

#[cfg(test)]
mod tests;
