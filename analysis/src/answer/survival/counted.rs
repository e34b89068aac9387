//! Evidence of the whole and of each level.

use std::collections::BTreeSet;

use super::frame::Framed;
use super::shown::Shown;
use crate::answer::{Evidence, GivenDays, Period};
use crate::comparison::Rows;
use crate::evidence::{Graded, Tally, grade};
use crate::follow_up::day_of;
use crate::follow_up::tank_event::TankEvent;

/// What is counted.
pub(super) struct Counted<'a> {
    pub(super) framed: &'a Framed,
    pub(super) events: &'a [TankEvent],
    /// Share of all days on which the condition is unknown.
    pub(super) unknown_share: f64,
    pub(super) shown: &'a Shown,
}

impl Counted<'_> {
    /// The evidence of some rows. `whole`: of all of them, with those left out.
    pub(super) fn evidence(&self, rows: &Rows, tally: &Tally, whole: bool, given: bool) -> Evidence {
        let ids: BTreeSet<u32> = rows.specimen.iter().copied().collect();
        let follows = |ids: &BTreeSet<u32>, is: fn(&crate::follow_up::Follow) -> bool| {
            ids.iter().filter_map(|&id| self.framed.follow_up.follows.get(id as usize)).filter(|f| is(f)).count() as u64
        };
        let ended: BTreeSet<u32> =
            (0..rows.len()).filter(|&row| rows.cause[row] > 0).map(|row| rows.specimen[row]).collect();
        let declines = follows(&ended, |follow| follow.declined);
        let calendar = |row: usize, age: f64| {
            self.framed.follow_up.follows.get(rows.specimen[row] as usize).map(|follow| follow.day0 + age)
        };
        let from = (0..rows.len()).filter_map(|row| calendar(row, rows.episodes.start[row])).min_by(f64::total_cmp);
        let to = (0..rows.len()).filter_map(|row| calendar(row, rows.episodes.stop[row])).max_by(f64::total_cmp);
        // Folded from 0: the sum of nothing is -0.
        let unknown = (0..rows.len())
            .filter(|&row| rows.level[row].is_none())
            .fold(0.0, |sum, row| sum + rows.episodes.stop[row] - rows.episodes.start[row]);
        let events = self.events.iter().filter(|event| event.lost.iter().any(|&lost| ended.contains(&(lost as u32))));
        let kept = self.framed.sets.given;
        Evidence {
            specimens: tally.specimens,
            keepers: tally.keepers,
            tanks: tally.tanks,
            deaths: ended.len() as u64 - declines,
            declines: self.framed.follow_up.outcome.counts_declines().then_some(declines),
            specimen_days: tally.days,
            days_unknown: unknown,
            period: Period { from: from.and_then(day_of), to: to.and_then(day_of) },
            grade: grade(&Graded {
                deaths: tally.deaths,
                keepers: tally.keepers,
                tanks: tally.tanks,
                unknown: self.unknown_share,
                given,
            }),
            left_out: (whole && self.shown.left_out).then_some(self.framed.follow_up.left_out),
            date_held: follows(&ended, |follow| follow.date_held),
            acquired_midpoint: follows(&ids, |follow| follow.acquired_midpoint),
            register_sightings: follows(&ids, |follow| follow.register_last && !follow.end.is_death()),
            missing: follows(&ended, |follow| follow.missing),
            tank_events: events.count() as u64,
            given: (whole && self.framed.given.is_some() && self.shown.given_days).then_some(GivenDays {
                kept: kept.kept,
                outside: kept.outside,
                unknown: kept.unknown,
            }),
        }
    }
}
