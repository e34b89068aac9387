//! Feeding, carbon and changes of water: habits with a rate, and single events while they are being logged.
//!
//! A habit counts from its first day until it is ended or 180 days after it was last confirmed. Events override it
//! while at least one of the kind was logged in the last 30 days: then what was done in the last 14 days counts.
//! Neither: unknown, never zero.

use super::steps::{Level, Steps};
use crate::club::{CareEvent, Club, Routine, TankId};
use crate::follow_up::day_number;

const CONFIRMED_FOR_DAYS: f64 = 180.0;
const LOGGED_WITHIN_DAYS: f64 = 30.0;
const COUNTED_WITHIN_DAYS: f64 = 14.0;
const WEEK_DAYS: f64 = 7.0;

/// What a habit comes to at a moment.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Doing {
    /// So much a week.
    PerWeek(f64),
    /// In use, at a rate that does not convert.
    InUse,
}

/// One kind of habit in one scope, by day.
#[derive(Debug, Clone, Default)]
struct Kind {
    /// (from, to or silent, rate), by first day.
    routines: Vec<(f64, f64, Option<f64>)>,
    /// (day, amount), by day.
    events: Vec<(f64, Option<f64>)>,
    counting: Counting,
}

/// What an event counts as.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(super) enum Counting {
    /// One each.
    #[default]
    Each,
    /// Its amount.
    Amount,
    /// In use, for as long as events override the habit.
    Use,
}

impl Kind {
    fn new<'a>(
        routines: impl Iterator<Item = &'a Routine>,
        events: impl Iterator<Item = &'a CareEvent>,
        counting: Counting,
    ) -> Kind {
        let mut kind = Kind {
            routines: routines
                .map(|routine| {
                    let silent = day_number(routine.confirmed) + CONFIRMED_FOR_DAYS;
                    (day_number(routine.from), routine.to.map_or(silent, day_number), routine.per_week)
                })
                .collect(),
            events: events.map(|event| (day_number(event.on), event.amount)).collect(),
            counting,
        };
        kind.routines.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.total_cmp(&b.1)));
        kind.events.sort_by(|a, b| a.0.total_cmp(&b.0));
        kind
    }

    fn instants(&self) -> impl Iterator<Item = f64> + '_ {
        let habits = self.routines.iter().flat_map(|(from, to, _)| [*from, *to]);
        let days = self.events.iter().map(|(day, _)| *day);
        habits.chain(days.flat_map(|day| [day, day + COUNTED_WITHIN_DAYS, day + LOGGED_WITHIN_DAYS]))
    }

    /// What is done just after `t`, from the records up to `t`.
    fn at(&self, t: f64) -> Option<Doing> {
        let known = self.events.partition_point(|(day, _)| *day <= t);
        let within = |days: f64| self.events[..known].iter().rev().take_while(move |(day, _)| *day > t - days);
        if within(LOGGED_WITHIN_DAYS).next().is_some() {
            let weeks = COUNTED_WITHIN_DAYS / WEEK_DAYS;
            let amounts: Option<Vec<f64>> = match self.counting {
                Counting::Use => None,
                Counting::Each => Some(within(COUNTED_WITHIN_DAYS).map(|_| 1.0).collect()),
                Counting::Amount => within(COUNTED_WITHIN_DAYS).map(|(_, amount)| *amount).collect(),
            };
            return Some(amounts.map_or(Doing::InUse, |all| Doing::PerWeek(all.iter().sum::<f64>() / weeks)));
        }
        let begun = self.routines.partition_point(|(from, _, _)| *from <= t);
        let (_, _, rate) = self.routines[..begun].iter().rev().find(|(_, to, _)| *to > t)?;
        Some(rate.map_or(Doing::InUse, Doing::PerWeek))
    }
}

/// The level of a habit at each moment in a tank, for a specimen with habits of its own or for the whole tank.
///
/// Each entry of `kinds` is a routine code; `of_specimen` looks at what is done to that specimen alone before what is
/// done to the tank. `level` turns what is done, one entry a kind, into a level.
pub(super) fn steps(
    club: &Club,
    tank: TankId,
    of_specimen: Option<u32>,
    kinds: &[&str],
    counting: Counting,
    lag: f64,
    level: impl Fn(&[Option<Doing>]) -> Level,
) -> Steps {
    let of = |code: &str, specimen: Option<u32>| {
        Kind::new(
            club.routines.iter().filter(|r| r.tank == tank && r.kind == code && r.specimen == specimen),
            club.events.iter().filter(|e| e.tank == tank && e.kind == code && e.specimen == specimen),
            counting,
        )
    };
    let scopes: Vec<(Option<Kind>, Kind)> =
        kinds.iter().map(|code| (of_specimen.map(|id| of(code, Some(id))), of(code, None))).collect();
    let instants = scopes
        .iter()
        .flat_map(|(own, tank)| own.iter().flat_map(Kind::instants).chain(tank.instants()))
        .map(|instant| instant + lag)
        .collect();
    Steps::from_instants(instants, |instant| {
        let t = instant - lag;
        let doing: Vec<Option<Doing>> =
            scopes.iter().map(|(own, tank)| own.as_ref().and_then(|own| own.at(t)).or_else(|| tank.at(t))).collect();
        level(&doing)
    })
}

/// Specimens with habits or events of their own, of these kinds.
pub(super) fn specimens_with_own(club: &Club, kinds: &[&str]) -> std::collections::BTreeSet<u32> {
    let routines = club.routines.iter().filter(|r| kinds.contains(&r.kind.as_str())).filter_map(|r| r.specimen);
    let events = club.events.iter().filter(|e| kinds.contains(&e.kind.as_str())).filter_map(|e| e.specimen);
    routines.chain(events).collect()
}
