//! Who is at risk at which death: every row as a run of numbered death times.
//!
//! The distinct death times of each stratum are numbered once, one stratum after the other. A row is at risk at the
//! deaths numbered `entry..exit`; rows that meet no death have `entry == exit`. All estimators read these numbers,
//! none compares times again.

use std::ops::Range;

use crate::episode::Episodes;
use crate::numeric::distinct;
use crate::numeric::order::sort_times;

/// Death times by stratum, and each row's run of them.
#[derive(Debug, Clone, PartialEq)]
pub struct RiskSets {
    /// Numbers of the death times of each stratum, in the order of the stratum ids.
    pub strata: Vec<Range<usize>>,
    /// Distinct death times, rising within each stratum.
    pub times: Vec<f64>,
    /// Per row: the number of the first death at which it is at risk.
    pub entry: Vec<u32>,
    /// Per row: one past the last death at which it is at risk.
    pub exit: Vec<u32>,
}

impl RiskSets {
    /// Numbers the deaths at `from` or later (all, if `None`). Rows of one stratum id compare only with each other.
    ///
    /// O(n + D log D) for n rows and D distinct death times that do not all crowd together.
    pub fn new(episodes: &Episodes, strata: Option<&[u32]>, from: Option<f64>) -> RiskSets {
        let from = from.unwrap_or(f64::NEG_INFINITY);
        let n = episodes.len();
        let (ids, stratum_of) = dense(strata, n);
        let mut deaths: Vec<Vec<f64>> = vec![Vec::new(); ids];
        for row in (0..n).filter(|&row| episodes.event[row] && episodes.stop[row] >= from) {
            deaths[stratum_of(row) as usize].push(episodes.stop[row]);
        }
        let mut ranges = Vec::with_capacity(ids);
        let mut times = Vec::new();
        for own in &mut deaths {
            sort_times(own);
            own.dedup();
            ranges.push(times.len()..times.len() + own.len());
            times.append(own);
        }
        let ladders: Vec<Ladder> = ranges.iter().map(|range| Ladder::new(&times, range)).collect();
        let mut entry = Vec::with_capacity(n);
        let mut exit = Vec::with_capacity(n);
        for row in 0..n {
            let ladder = &ladders[stratum_of(row) as usize];
            entry.push(ladder.past(&times, episodes.start[row]));
            exit.push(ladder.past(&times, episodes.stop[row]));
        }
        // A row that ends before `from` meets no counted death.
        RiskSets { strata: ranges, times, entry, exit }
    }

    /// Number of the death at which this row dies, if it does and that death is counted.
    pub fn own_death(&self, episodes: &Episodes, row: usize) -> Option<usize> {
        let met = self.entry[row] < self.exit[row];
        (episodes.event[row] && met).then(|| self.exit[row] as usize - 1)
    }

    /// Per numbered death: how many rows are at risk, and how many of them die.
    pub fn counts(&self, episodes: &Episodes) -> (Vec<u64>, Vec<u64>) {
        let mut change = vec![0i64; self.times.len() + 1];
        let mut events = vec![0u64; self.times.len()];
        for row in 0..episodes.len() {
            change[self.entry[row] as usize] += 1;
            change[self.exit[row] as usize] -= 1;
            if let Some(death) = self.own_death(episodes, row) {
                events[death] += 1;
            }
        }
        let mut now = 0i64;
        let at_risk = change[..self.times.len()]
            .iter()
            .map(|step| {
                now += step;
                now.max(0) as u64
            })
            .collect();
        (at_risk, events)
    }
}

/// The death times of a stratum, cut into cells of equal width, so that a number is found without searching them all.
struct Ladder {
    /// Where the stratum's times stand.
    range: Range<usize>,
    low: f64,
    cells_per_day: f64,
    /// Number of the first time of each cell, and one past the last.
    first: Vec<u32>,
}

impl Ladder {
    fn new(times: &[f64], range: &Range<usize>) -> Ladder {
        let own = &times[range.clone()];
        let (low, high) = (own.first().copied().unwrap_or(0.0), own.last().copied().unwrap_or(0.0));
        let cells = 2 * own.len();
        // A width too small for a double leaves one cell, which is searched.
        let cells_per_day = Some((cells as f64 - 1.0) / (high - low)).filter(|rate| rate.is_finite()).unwrap_or(0.0);
        let mut ladder = Ladder { range: range.clone(), low, cells_per_day, first: vec![0; cells + 1] };
        for &t in own {
            let cell = ladder.cell(t);
            ladder.first[cell + 1] += 1;
        }
        let mut number = range.start as u32;
        for first in &mut ladder.first {
            number += *first;
            *first = number;
        }
        ladder
    }

    /// The cell of a time from `low` on; it never falls as the time grows.
    fn cell(&self, t: f64) -> usize {
        (((t - self.low) * self.cells_per_day) as usize).min(self.first.len().saturating_sub(2))
    }

    /// One past the number of the last death at or before `t`.
    fn past(&self, times: &[f64], t: f64) -> u32 {
        if t < self.low || self.range.is_empty() {
            return self.range.start as u32;
        }
        let cell = self.cell(t);
        let (mut past, end) = (self.first[cell], self.first[cell + 1]);
        if end - past > 8 {
            return past + times[past as usize..end as usize].partition_point(|time| *time <= t) as u32;
        }
        while past < end && times[past as usize] <= t {
            past += 1;
        }
        past
    }
}

/// Number of distinct ids and a function from row to its position among the sorted ids.
fn dense(strata: Option<&[u32]>, rows: usize) -> (usize, impl Fn(usize) -> u32) {
    let positions: Vec<u32> = match strata {
        None => Vec::new(),
        Some(ids) => {
            let sorted = distinct(ids.iter().take(rows).copied());
            ids.iter().map(|id| sorted.partition_point(|other| other < id) as u32).collect()
        }
    };
    let count = positions.iter().max().map_or(1, |&most| most as usize + 1);
    (count, move |row: usize| positions.get(row).copied().unwrap_or(0))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rows_become_runs_of_numbered_deaths() {
        let rows = Episodes {
            start: vec![0.0, 5.0, 0.0, 5.0],
            stop: vec![5.0, 9.0, 7.0, 5.5],
            event: vec![true, true, false, false],
        };
        let risk = RiskSets::new(&rows, None, None);
        assert_eq!(risk.times, vec![5.0, 9.0]);
        assert_eq!(risk.entry, vec![0, 1, 0, 1]);
        assert_eq!(risk.exit, vec![1, 2, 1, 1]);
        assert_eq!(risk.counts(&rows), (vec![2, 1], vec![1, 1]));
    }

    #[test]
    fn numbers_are_those_of_a_search_also_where_times_crowd() {
        let stop: Vec<f64> = (0..400).map(|i| if i < 300 { 1e-9 * f64::from(i) } else { f64::from(i) * 1e5 }).collect();
        let start: Vec<f64> = stop.iter().map(|t| t - 0.75e-9 - 0.3 * t).collect();
        let event: Vec<bool> = (0..400).map(|i| i % 3 != 1).collect();
        let rows = Episodes { start, stop, event };
        let risk = RiskSets::new(&rows, None, None);
        for row in 0..rows.len() {
            assert_eq!(risk.entry[row] as usize, risk.times.partition_point(|t| *t <= rows.start[row]), "row {row}");
            assert_eq!(risk.exit[row] as usize, risk.times.partition_point(|t| *t <= rows.stop[row]), "row {row}");
        }
    }

    #[test]
    fn strata_number_their_deaths_apart() {
        let rows = Episodes { start: vec![0.0; 3], stop: vec![5.0, 5.0, 9.0], event: vec![true; 3] };
        let risk = RiskSets::new(&rows, Some(&[40, 7, 7]), None);
        assert_eq!(risk.strata, vec![0..2, 2..3]);
        assert_eq!(risk.times, vec![5.0, 9.0, 5.0]);
        assert_eq!(risk.counts(&rows).0, vec![2, 1, 1]);
    }
}
