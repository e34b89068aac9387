//! When rows begin and end, sorted: how many are at risk at any time, gaps, and where a curve may start.

use crate::episode::Episodes;
use crate::numeric::order::{merged, sort_times};
use crate::survival::risk::RiskSets;

/// Sorted starts and ends of the rows that reach a start time.
#[derive(Debug, Clone, PartialEq, Default)]
pub(in crate::survival) struct FollowUp {
    entries: Vec<f64>,
    exits: Vec<f64>,
    /// Ends without death, sorted.
    censorings: Vec<f64>,
}

/// Rows that came and went between two deaths, each less those that did the other at the very same moment.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(in crate::survival) struct Change {
    pub(in crate::survival) censored: u64,
    pub(in crate::survival) entered: u64,
}

impl FollowUp {
    /// The rows that end at `start_time` or later.
    pub(in crate::survival) fn new(episodes: &Episodes, start_time: f64) -> FollowUp {
        let rows = episodes.len();
        let [mut entries, mut censorings, mut deaths] = [(); 3].map(|()| Vec::with_capacity(rows));
        for row in (0..rows).filter(|&row| episodes.stop[row] >= start_time) {
            entries.push(episodes.start[row]);
            let ends = if episodes.event[row] { &mut deaths } else { &mut censorings };
            ends.push(episodes.stop[row]);
        }
        for times in [&mut entries, &mut censorings, &mut deaths] {
            sort_times(times);
        }
        FollowUp { entries, exits: merged(&censorings, &deaths), censorings }
    }

    pub(in crate::survival) fn last_exit(&self) -> Option<f64> {
        self.exits.last().copied()
    }

    /// `start < t <= stop`.
    pub(in crate::survival) fn at_risk_at(&self, t: f64) -> u64 {
        let begun = self.entries.partition_point(|start| *start < t);
        let ended = self.exits.partition_point(|stop| *stop < t);
        begun.saturating_sub(ended) as u64
    }

    /// `start <= t < stop`.
    pub(in crate::survival) fn at_risk_after(&self, t: f64) -> u64 {
        let begun = self.entries.partition_point(|start| *start <= t);
        let ended = self.exits.partition_point(|stop| *stop <= t);
        begun.saturating_sub(ended) as u64
    }

    /// The first time at or after `from` from which nobody is at risk although somebody enters later.
    pub(in crate::survival) fn first_gap(&self, from: f64) -> Option<f64> {
        if self.exits.is_empty() || self.entries.iter().all(|start| *start <= from) {
            return None;
        }
        if self.at_risk_after(from) == 0 {
            return Some(from);
        }
        let mut begun = 0;
        for (index, &t) in self.exits.iter().enumerate() {
            let ended = index + 1;
            if self.exits.get(ended) == Some(&t) {
                continue;
            }
            while begun < self.entries.len() && self.entries[begun] <= t {
                begun += 1;
            }
            if begun == ended && ended < self.exits.len() && t >= from {
                return Some(t);
            }
        }
        None
    }

    /// The latest end at or before `limit` and before `before` at which at least `minimum` are at risk.
    pub(in crate::survival) fn last_exit_with(&self, minimum: u64, limit: f64, before: f64) -> Option<f64> {
        let candidates = self.exits.partition_point(|stop| *stop <= limit && *stop < before);
        self.exits[..candidates].iter().rev().copied().find(|&t| self.at_risk_at(t) >= minimum)
    }

    /// Changes from `from` up to the first death, then from each death up to the next, the last up to `end`.
    pub(in crate::survival) fn net_changes(&self, deaths: &[f64], from: f64, end: f64) -> Vec<Change> {
        let mut changes = vec![Change::default(); deaths.len() + 1];
        // A death at `from` itself takes what happens at `from`; otherwise that is part of the count at the origin.
        let counted = |t: f64| t <= end && (t > from || (t == from && deaths.first() == Some(&from)));
        let (mut entry, mut censoring, mut piece) = (0, 0, 0);
        loop {
            let next = match (self.entries.get(entry), self.censorings.get(censoring)) {
                (None, None) => break,
                (Some(&t), None) | (None, Some(&t)) => t,
                (Some(&a), Some(&b)) => a.min(b),
            };
            let (mut came, mut went) = (0u64, 0u64);
            while self.entries.get(entry).is_some_and(|t| *t == next) {
                came += 1;
                entry += 1;
            }
            while self.censorings.get(censoring).is_some_and(|t| *t == next) {
                went += 1;
                censoring += 1;
            }
            if counted(next) {
                while deaths.get(piece).is_some_and(|death| *death <= next) {
                    piece += 1;
                }
                let change = &mut changes[piece];
                change.entered += came.saturating_sub(went);
                change.censored += went.saturating_sub(came);
            }
        }
        changes
    }
}

/// Where a curve of late entrants may start: the smallest entry time from which the next three deaths (or all, if fewer
/// are left) each have at least five at risk. A lone early row could otherwise send the curve to 0 for ever.
///
/// The smallest entry if nobody died or no entry time will do; 0 without rows.
pub fn club_start_time(episodes: &Episodes) -> f64 {
    const DEATHS: usize = 3;
    const AT_RISK: u64 = 5;
    let Some(first) = episodes.first_entry() else {
        return 0.0;
    };
    let risk = RiskSets::new(episodes, None, None);
    let (at_risk, _) = risk.counts(episodes);
    let mut entries = episodes.start.clone();
    sort_times(&mut entries);
    entries.dedup();
    entries
        .into_iter()
        .find(|entry| {
            let from = risk.times.partition_point(|t| t < entry);
            let next = &at_risk[from..(from + DEATHS).min(at_risk.len())];
            !next.is_empty() && next.iter().all(|n| *n >= AT_RISK)
        })
        .unwrap_or(first)
}
