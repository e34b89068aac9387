//! Who is at risk at which death: every row as a run of numbered death times.
//!
//! The distinct death times of each stratum are numbered once, one stratum after the other. A row is at risk at the
//! deaths numbered `entry..exit`; rows that meet no death have `entry == exit`. All estimators read these numbers,
//! none compares times again.

use std::ops::Range;

use crate::episode::Episodes;

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
    /// O((n + D) log D) for n rows and D distinct death times.
    pub fn new(episodes: &Episodes, strata: Option<&[u32]>, from: Option<f64>) -> RiskSets {
        let from = from.unwrap_or(f64::NEG_INFINITY);
        let n = episodes.len();
        let (ids, stratum_of) = dense(strata, n);
        let mut deaths: Vec<(u32, f64)> = (0..n)
            .filter(|&row| episodes.event[row] && episodes.stop[row] >= from)
            .map(|row| (stratum_of(row), episodes.stop[row]))
            .collect();
        deaths.sort_by(|a, b| a.0.cmp(&b.0).then(a.1.total_cmp(&b.1)));
        deaths.dedup();
        let mut ranges = Vec::with_capacity(ids);
        let mut first = 0;
        for stratum in 0..ids as u32 {
            let end = first + deaths[first..].partition_point(|death| death.0 == stratum);
            ranges.push(first..end);
            first = end;
        }
        let times: Vec<f64> = deaths.into_iter().map(|death| death.1).collect();
        let mut entry = Vec::with_capacity(n);
        let mut exit = Vec::with_capacity(n);
        for row in 0..n {
            let range = ranges[stratum_of(row) as usize].clone();
            let own = &times[range.clone()];
            entry.push((range.start + own.partition_point(|t| *t <= episodes.start[row])) as u32);
            exit.push((range.start + own.partition_point(|t| *t <= episodes.stop[row])) as u32);
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

/// Number of distinct ids and a function from row to its position among the sorted ids.
fn dense(strata: Option<&[u32]>, rows: usize) -> (usize, impl Fn(usize) -> u32) {
    let positions: Vec<u32> = match strata {
        None => Vec::new(),
        Some(ids) => {
            let mut sorted: Vec<u32> = ids.iter().take(rows).copied().collect();
            sorted.sort_unstable();
            sorted.dedup();
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
    fn strata_number_their_deaths_apart() {
        let rows = Episodes { start: vec![0.0; 3], stop: vec![5.0, 5.0, 9.0], event: vec![true; 3] };
        let risk = RiskSets::new(&rows, Some(&[40, 7, 7]), None);
        assert_eq!(risk.strata, vec![0..2, 2..3]);
        assert_eq!(risk.times, vec![5.0, 9.0, 5.0]);
        assert_eq!(risk.counts(&rows).0, vec![2, 1, 1]);
    }
}
