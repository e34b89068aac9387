//! What happened to a tank or in a keeper's care before a moment: incidents, many losses at once, earlier losses.

use std::collections::BTreeMap;

use super::MONTH_DAYS;
use super::steps::{Level, Steps};
use crate::club::{Club, Specimen, TankId};
use crate::follow_up::day_number;
use crate::follow_up::tank_event::known_on;
use crate::vocabulary::Fate;

/// Whether an incident of one of these kinds happened in the last `days`. Known from the first incident of any kind
/// that the tank's keeper ever logged: before it nobody can tell "none" from "not written down".
pub(super) fn incidents(club: &Club, tank: TankId, kinds: &[&str], days: f64, lag: f64) -> Steps {
    let keeper = club.tanks.get(tank as usize).map(|tank| tank.keeper);
    let of_keeper = |other: TankId| club.tanks.get(other as usize).map(|tank| tank.keeper) == keeper;
    let logs = club.incidents.iter().filter(|incident| of_keeper(incident.tank));
    let Some(first) = logs.map(|incident| day_number(incident.from)).min_by(f64::total_cmp) else {
        return Steps::default();
    };
    let happened: Vec<(f64, f64)> = club
        .incidents
        .iter()
        .filter(|incident| {
            incident.tank == tank && incident.specimen.is_none() && kinds.contains(&incident.kind.as_str())
        })
        .map(|incident| (day_number(incident.from), day_number(incident.to.unwrap_or(incident.from)) + days))
        .collect();
    within(&happened, first, lag)
}

/// Whether the tank lost many corals at once in the last `days`: counted over all its corals, known once enough of them
/// are lost, and none before it.
pub(super) fn many_losses(events: &[(TankId, f64)], tank: TankId, days: f64, lag: f64) -> Steps {
    let lost: Vec<(f64, f64)> =
        events.iter().filter(|(of, _)| *of == tank).map(|(_, day)| (*day, *day + days)).collect();
    within(&lost, f64::NEG_INFINITY, lag)
}

/// (tank, day) of every loss that made many at once with those before it, all taxa together, by the days on which the
/// losses were known: nothing is counted that was found out later.
pub(super) fn losses_of_many(club: &Club) -> Vec<(TankId, f64)> {
    let mut lost: BTreeMap<TankId, Vec<f64>> = BTreeMap::new();
    for specimen in &club.specimens {
        let Some(ending) = specimen.ending.as_ref().filter(|_| !specimen.held && !specimen.arrived_dead) else {
            continue;
        };
        if !matches!(ending.fate, Fate::Died | Fate::Missing) && !ending.all_died {
            continue;
        }
        let day = day_number(ending.latest);
        if let Some(stay) = specimen.stays.iter().rev().find(|stay| day_number(stay.from) <= day) {
            lost.entry(stay.tank).or_default().push(day);
        }
    }
    let mut events = Vec::new();
    for (tank, mut lost) in lost {
        lost.sort_by(f64::total_cmp);
        events.extend(known_on(&lost, |day| living(club, tank, day)).into_iter().map(|day| (tank, day)));
    }
    events
}

/// Specimens in a tank just before a day, none of them known to be lost by then.
fn living(club: &Club, tank: TankId, day: f64) -> usize {
    let there = |specimen: &&Specimen| {
        let ended = specimen.ending.as_ref().is_some_and(|ending| day_number(ending.latest) < day);
        let stays = specimen.stays.iter().any(|stay| {
            stay.tank == tank && day_number(stay.from) < day && stay.to.is_none_or(|to| day_number(to) >= day)
        });
        !ended && !specimen.arrived_dead && stays
    };
    club.specimens.iter().filter(there).count()
}

/// 1 within one of these stretches, 0 outside from `known` on.
fn within(stretches: &[(f64, f64)], known: f64, lag: f64) -> Steps {
    let mut instants: Vec<f64> = stretches.iter().flat_map(|(from, to)| [from + lag, to + lag]).collect();
    instants.push(known + lag);
    Steps::from_instants(instants, |instant| {
        let t = instant - lag;
        (t >= known).then(|| u16::from(stretches.iter().any(|(from, to)| *from <= t && t < *to)))
    })
}

/// Deaths a coral-month that an average keeper is taken to have had before anything is known: one in 50 months.
const PRIOR: (f64, f64) = (1.0, 50.0);
/// Losses per 100 coral-months above which a keeper's earlier losses count as many.
pub const MANY_LOSSES: f64 = 2.0;

/// By keeper: whether the losses known by then per 100 coral-months, drawn towards one in 50 months, are many. It adjusts
/// models and is shown to nobody.
pub(super) fn earlier_losses(club: &Club, lag: f64) -> BTreeMap<u32, Steps> {
    let mut lives: BTreeMap<u32, Vec<(f64, f64, bool)>> = BTreeMap::new();
    for specimen in club.specimens.iter().filter(|specimen| !specimen.held && !specimen.arrived_dead) {
        let Some(acquired) = specimen.acquired else { continue };
        let died = specimen.ending.as_ref().is_some_and(|ending| matches!(ending.fate, Fate::Died | Fate::Missing));
        let end = specimen.ending.as_ref().map_or(f64::INFINITY, |ending| day_number(ending.latest));
        lives.entry(specimen.keeper).or_default().push((day_number(acquired.latest), end, died));
    }
    let steps = |lives: &Vec<(f64, f64, bool)>| {
        let first = lives.iter().map(|life| life.0).fold(f64::INFINITY, f64::min);
        let last = lives.iter().map(|life| if life.1.is_finite() { life.1 } else { life.0 }).fold(first, f64::max);
        let months = ((last - first) / MONTH_DAYS).ceil() as usize + 24;
        let instants = (0..=months).map(|month| first + month as f64 * MONTH_DAYS + lag).collect();
        Steps::from_instants(instants, |instant| -> Level {
            let t = instant - lag;
            let kept: f64 = lives.iter().map(|(from, to, _)| (to.min(t) - from).max(0.0)).sum::<f64>() / MONTH_DAYS;
            let lost = lives.iter().filter(|(_, to, died)| *died && *to <= t).count() as f64;
            Some(u16::from(100.0 * (lost + PRIOR.0) / (kept + PRIOR.1) >= MANY_LOSSES + 1e-9))
        })
    };
    lives.iter().map(|(keeper, lives)| (*keeper, steps(lives))).collect()
}
