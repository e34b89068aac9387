//! One tank event: losses of at least three specimens, or of at least half of a tank's living ones (two or more),
//! within 14 days. One line in words, counted with and without. Where serious decline is asked about, declines are
//! losses too.
//!
//! Only the specimens under observation in the answer are looked at, so that records of other taxa change nothing.

use std::collections::BTreeMap;

use super::{End, Follow, FollowUp};
use crate::club::{Club, TankId};

/// Days from the first to the last loss of one window.
pub const WINDOW_DAYS: f64 = 14.0;

/// One event.
#[derive(Debug, Clone, PartialEq)]
pub struct TankEvent {
    /// Where.
    pub tank: TankId,
    /// Day of the first loss.
    pub from: f64,
    /// Day of the last loss.
    pub to: f64,
    /// Positions of the lost in [`FollowUp::follows`].
    pub lost: Vec<usize>,
}

/// The tank a specimen is in on a day (`from < day <= to` of a stay); `None` if no stay says.
pub fn tank_on(club: &Club, follow: &Follow, day: f64) -> Option<TankId> {
    let stays = &club.specimens.get(follow.specimen as usize)?.stays;
    stays
        .iter()
        .rev()
        .find(|stay| super::day_number(stay.from) < day && stay.to.is_none_or(|to| day <= super::day_number(to)))
        .or_else(|| stays.iter().rev().find(|stay| super::day_number(stay.from) <= day))
        .map(|stay| stay.tank)
}

/// All events, by tank, then day.
pub fn tank_events(club: &Club, follow_up: &FollowUp) -> Vec<TankEvent> {
    let mut deaths: BTreeMap<TankId, Vec<(f64, usize)>> = BTreeMap::new();
    for (position, follow) in follow_up.follows.iter().enumerate() {
        let (day, lost) = follow.ended(follow.end.middle());
        if lost && let Some(tank) = tank_on(club, follow, day) {
            deaths.entry(tank).or_default().push((day, position));
        }
    }
    let mut events = Vec::new();
    for (tank, mut lost) in deaths {
        lost.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
        let windows = windows(&lost, |day| living(club, follow_up, tank, day));
        for (first, last) in windows {
            events.push(TankEvent {
                tank,
                from: lost[first].0,
                to: lost[last].0,
                lost: lost[first..=last].iter().map(|(_, position)| *position).collect(),
            });
        }
    }
    events
}

/// Runs of losses `first..=last` that make one event; overlapping windows are joined.
fn windows(lost: &[(f64, usize)], living_before: impl Fn(f64) -> usize) -> Vec<(usize, usize)> {
    let mut joined: Vec<(usize, usize)> = Vec::new();
    for first in 0..lost.len() {
        let last = lost.partition_point(|(day, _)| *day <= lost[first].0 + WINDOW_DAYS) - 1;
        if !is_event(last - first + 1, || living_before(lost[first].0)) {
            continue;
        }
        match joined.last_mut() {
            Some(previous) if first <= previous.1 => previous.1 = previous.1.max(last),
            _ => joined.push((first, last)),
        }
    }
    joined
}

/// Whether so many losses within the window are one event, where so many lived before it.
fn is_event(lost: usize, living_before: impl Fn() -> usize) -> bool {
    lost >= 3 || (lost >= 2 && 2 * lost >= living_before())
}

/// The days of the losses, in order, that made enough for an event with those of the days before: what comes later is
/// not looked at.
pub(crate) fn known_on(lost: &[f64], living_before: impl Fn(f64) -> usize) -> Vec<f64> {
    let knows = |last: &usize| {
        let earliest = lost.partition_point(|day| day + WINDOW_DAYS < lost[*last]);
        (earliest..=*last).any(|first| is_event(last - first + 1, || living_before(lost[first])))
    };
    (0..lost.len()).filter(knows).map(|last| lost[last]).collect()
}

/// Specimens under observation in the tank just before `day`, those lost on it included.
fn living(club: &Club, follow_up: &FollowUp, tank: TankId, day: f64) -> usize {
    follow_up
        .follows
        .iter()
        .filter(|follow| follow.entry < day && follow.ended(follow.end.middle()).0 >= day)
        .filter(|follow| tank_on(club, follow, day) == Some(tank))
        .count()
}

/// Ends the observation of the lost at their loss without counting it.
pub(super) fn censor(club: &Club, follow_up: &mut FollowUp) {
    for event in tank_events(club, follow_up) {
        for position in event.lost {
            let follow = &mut follow_up.follows[position];
            follow.end = End::Alive(follow.ended(follow.end.middle()).0);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_event_is_known_on_the_loss_that_makes_enough() {
        // Two of three within two weeks; the third loss adds to them and changes no day before it.
        assert_eq!(known_on(&[71.0, 77.0], |_| 3), [77.0]);
        assert_eq!(known_on(&[71.0, 77.0, 83.0], |_| 3), [77.0, 83.0]);
        // Of ten: the third within 14 days, and none where the last lies beyond them.
        assert_eq!(known_on(&[0.0, 7.0, 14.0], |_| 10), [14.0]);
        assert!(known_on(&[0.0, 8.0, 16.0], |_| 10).is_empty());
        assert!(known_on(&[5.0], |_| 1).is_empty());
    }
}
