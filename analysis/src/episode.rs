//! Who is at risk when: rows `(start, stop]` with a death at `stop` or none. The one input of every estimator.
//!
//! Time is in days on one axis, usually days since the member acquired the specimen. A row is at risk at `t` if
//! `start < t <= stop`: who enters at `t` is not yet at risk, who is censored at `t` still is. A specimen may give
//! several rows, one after the other. Nothing here knows specimens, tanks or dates; groups, strata and clusters
//! are columns beside the rows.

use std::collections::BTreeMap;

use crate::numeric::distinct;
use crate::numeric::order::sort_times;

/// Rows `(start, stop]`, stored as columns of equal length.
///
/// Build it by [`Episodes::validated`]: the estimators rely on finite times with `start < stop`, and on equal times
/// being equal to the last bit.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Episodes {
    /// Start of each row, not included.
    pub start: Vec<f64>,
    /// End of each row, included.
    pub stop: Vec<f64>,
    /// Whether the specimen died at `stop`.
    pub event: Vec<bool>,
}

/// What is wrong with a row.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum RowFault {
    /// A time is missing, not a number or infinite.
    #[error("its start {start} or end {stop} is not a finite number of days")]
    NotFinite {
        /// Start as given.
        start: f64,
        /// End as given.
        stop: f64,
    },
    /// Nothing can be at risk in it.
    #[error("it ends on day {stop}, which is not after its start on day {start}")]
    EndsBeforeStart {
        /// Start as given.
        start: f64,
        /// End as given.
        stop: f64,
    },
    /// The columns differ in length: this is the first row that is not complete.
    #[error("its start, end or event is missing")]
    Incomplete,
}

/// A row that cannot be used, and why.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
#[error("row {}: {reason}", row + 1)]
pub struct InvalidRow {
    /// Position of the row, from 0.
    pub row: usize,
    /// What is wrong with it.
    pub reason: RowFault,
}

/// Two rows of one specimen that cover the same time.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("specimen {specimen} is counted twice: rows {} and {} overlap", first + 1, second + 1)]
pub struct OverlappingRows {
    /// The specimen's number in the column given.
    pub specimen: u32,
    /// Position of the earlier row, from 0.
    pub first: usize,
    /// Position of the later row, from 0.
    pub second: usize,
}

/// The end of a row whose specimen entered and died on the same day: half a day after its start.
pub fn same_day_stop(start: f64) -> f64 {
    start + 0.5
}

/// Fractional times closer than this share of `max(1, |t|)` are one time.
pub const SAME_TIME: f64 = 1e-9;

impl Episodes {
    /// Rows from columns, checked, with nearly equal fractional times made equal.
    ///
    /// Whole days are never moved: a fractional time within `1e-9 * max(1, |t|)` of one becomes that day.
    ///
    /// # Errors
    /// The first row that is not finite, does not end after its start, or is incomplete.
    pub fn validated(start: Vec<f64>, stop: Vec<f64>, event: Vec<bool>) -> Result<Episodes, InvalidRow> {
        let rows = start.len().max(stop.len()).max(event.len());
        let complete = start.len().min(stop.len()).min(event.len());
        if complete < rows {
            return Err(InvalidRow { row: complete, reason: RowFault::Incomplete });
        }
        let mut episodes = Episodes { start, stop, event };
        episodes.check()?;
        if episodes.unify_times() {
            episodes.check()?;
        }
        Ok(episodes)
    }

    /// Whether every row is finite and ends after its start.
    ///
    /// # Errors
    /// The first row that is not.
    pub fn check(&self) -> Result<(), InvalidRow> {
        let rows = self.start.len().max(self.stop.len()).max(self.event.len());
        let complete = self.start.len().min(self.stop.len()).min(self.event.len());
        if complete < rows {
            return Err(InvalidRow { row: complete, reason: RowFault::Incomplete });
        }
        for (row, (&start, &stop)) in self.start.iter().zip(&self.stop).enumerate() {
            if !start.is_finite() || !stop.is_finite() {
                return Err(InvalidRow { row, reason: RowFault::NotFinite { start, stop } });
            }
            if stop <= start {
                return Err(InvalidRow { row, reason: RowFault::EndsBeforeStart { start, stop } });
            }
        }
        Ok(())
    }

    /// Number of rows.
    pub fn len(&self) -> usize {
        self.stop.len()
    }

    /// Whether there is no row.
    pub fn is_empty(&self) -> bool {
        self.stop.is_empty()
    }

    /// Number of deaths.
    pub fn deaths(&self) -> u64 {
        self.event.iter().filter(|&&died| died).count() as u64
    }

    /// Days at risk, summed over the rows.
    pub fn time_at_risk(&self) -> f64 {
        crate::numeric::neumaier(self.start.iter().zip(&self.stop).map(|(start, stop)| stop - start))
    }

    /// The smallest start; `None` without rows.
    pub fn first_entry(&self) -> Option<f64> {
        self.start.iter().copied().min_by(f64::total_cmp)
    }

    /// The rows marked `true`; rows beyond the end of `keep` are left out.
    pub fn filter(&self, keep: &[bool]) -> Episodes {
        let rows: Vec<usize> = keep.iter().take(self.len()).enumerate().filter(|(_, k)| **k).map(|(i, _)| i).collect();
        self.subset(&rows)
    }

    /// The rows at these positions, in this order; positions that do not exist are left out.
    pub fn subset(&self, rows: &[usize]) -> Episodes {
        let rows = rows.iter().copied().filter(|&row| row < self.len());
        let mut subset = Episodes::default();
        for row in rows {
            subset.start.push(self.start[row]);
            subset.stop.push(self.stop[row]);
            subset.event.push(self.event[row]);
        }
        subset
    }

    /// Whether the rows of each specimen follow each other without overlap.
    ///
    /// # Errors
    /// The first specimen (by number) with two rows that cover the same time.
    pub fn check_overlaps(&self, specimen: &[u32]) -> Result<(), OverlappingRows> {
        let mut order: Vec<usize> = (0..self.len().min(specimen.len())).collect();
        order.sort_by(|&a, &b| {
            specimen[a].cmp(&specimen[b]).then(self.start[a].total_cmp(&self.start[b])).then(a.cmp(&b))
        });
        for pair in order.windows(2) {
            let (first, second) = (pair[0], pair[1]);
            if specimen[first] == specimen[second] && self.start[second] < self.stop[first] {
                return Err(OverlappingRows { specimen: specimen[first], first, second });
            }
        }
        Ok(())
    }

    /// Makes nearly equal fractional times equal; `false` if nothing had to move.
    fn unify_times(&mut self) -> bool {
        if self.start.iter().chain(&self.stop).all(|t| t.fract() == 0.0) {
            return false;
        }
        let mut times: Vec<f64> = self.start.iter().chain(&self.stop).copied().collect();
        sort_times(&mut times);
        times.dedup();
        // Runs of times that are one time stand for their whole day, else for their first: each time that moves, and where.
        let mut moves: Vec<(f64, f64)> = Vec::new();
        let mut first = 0;
        while first < times.len() {
            let tolerance = SAME_TIME * times[first].abs().max(1.0);
            let mut end = first + 1;
            while end < times.len() && times[end] - times[first] <= tolerance {
                end += 1;
            }
            let run = &times[first..end];
            let value = run.iter().copied().find(|t| t.fract() == 0.0).unwrap_or(run[0]);
            moves.extend(run.iter().filter(|t| **t != value).map(|t| (*t, value)));
            first = end;
        }
        if !moves.is_empty() {
            for t in self.start.iter_mut().chain(self.stop.iter_mut()) {
                if let Ok(at) = moves.binary_search_by(|probe| probe.0.total_cmp(t)) {
                    *t = moves[at].1;
                }
            }
        }
        !moves.is_empty()
    }
}

/// One cluster per specimen: each row takes the cluster of its specimen's first row, so that a specimen that moved
/// tank stays with the tank it entered in.
pub fn settled_clusters(episodes: &Episodes, specimen: &[u32], cluster: &[u32]) -> Vec<u32> {
    let mut first: BTreeMap<u32, (f64, u32)> = BTreeMap::new();
    for ((&id, &start), &group) in specimen.iter().zip(&episodes.start).zip(cluster) {
        let entry = first.entry(id).or_insert((start, group));
        if start < entry.0 {
            *entry = (start, group);
        }
    }
    specimen.iter().zip(cluster).map(|(id, &own)| first.get(id).map_or(own, |&(_, group)| group)).collect()
}

/// [`settled_clusters`] as positions from 0, one a row, and how many clusters there are.
pub fn settled_positions(episodes: &Episodes, specimen: &[u32], cluster: &[u32]) -> (Vec<usize>, usize) {
    let settled = settled_clusters(episodes, specimen, cluster);
    let ids = distinct(settled.iter().copied());
    (settled.iter().map(|id| ids.partition_point(|other| other < id)).collect(), ids.len())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rows(start: &[f64], stop: &[f64]) -> Result<Episodes, InvalidRow> {
        Episodes::validated(start.to_vec(), stop.to_vec(), vec![true; stop.len()])
    }

    #[test]
    fn rows_that_cannot_be_used_say_which_and_why() {
        let fault = |result: Result<Episodes, InvalidRow>| result.err().map(|e| (e.row, e.reason));
        assert_eq!(
            fault(rows(&[0.0, 5.0], &[3.0, 5.0])),
            Some((1, RowFault::EndsBeforeStart { start: 5.0, stop: 5.0 }))
        );
        assert!(matches!(fault(rows(&[f64::NAN], &[3.0])), Some((0, RowFault::NotFinite { .. }))));
        assert!(matches!(fault(rows(&[0.0], &[f64::INFINITY])), Some((0, RowFault::NotFinite { .. }))));
        assert_eq!(fault(rows(&[0.0], &[3.0, 4.0])), Some((1, RowFault::Incomplete)));
        let message = rows(&[9.0], &[4.0]).err().map(|e| e.to_string());
        assert_eq!(message.as_deref(), Some("row 1: it ends on day 4, which is not after its start on day 9"));
    }

    #[test]
    fn nearly_equal_fractional_times_become_one_time_and_whole_days_stay() -> Result<(), InvalidRow> {
        let e = rows(&[0.0, 0.0, 0.0, 0.0], &[0.1 + 0.2, 0.3, 2.0, 2.0 - 1e-12])?;
        assert_eq!(e.stop[0], e.stop[1]);
        assert_eq!(e.stop[2], 2.0);
        assert_eq!(e.stop[3], 2.0);
        let apart = rows(&[0.0, 0.0], &[0.3, 0.3 + 1e-8])?;
        assert!(apart.stop[0] < apart.stop[1]);
        Ok(())
    }

    #[test]
    fn a_row_shorter_than_the_tolerance_is_refused() {
        assert!(rows(&[0.3], &[0.3 + 1e-12]).is_err());
    }

    #[test]
    fn a_death_on_the_day_of_entry_is_half_a_day_at_risk() {
        assert_eq!(same_day_stop(40.0), 40.5);
    }

    #[test]
    fn overlapping_rows_of_one_specimen_are_named() -> Result<(), InvalidRow> {
        let e = rows(&[0.0, 5.0, 9.0], &[10.0, 9.0, 12.0])?;
        assert_eq!(e.check_overlaps(&[1, 2, 2]), Ok(()));
        assert_eq!(e.check_overlaps(&[7, 1, 7]), Err(OverlappingRows { specimen: 7, first: 0, second: 2 }));
        Ok(())
    }

    #[test]
    fn a_specimen_that_moved_keeps_the_tank_it_entered_in() -> Result<(), InvalidRow> {
        let e = rows(&[8.0, 0.0, 0.0], &[20.0, 8.0, 4.0])?;
        assert_eq!(settled_clusters(&e, &[1, 1, 2], &[5, 3, 9]), vec![3, 3, 9]);
        Ok(())
    }

    #[test]
    fn filter_and_subset_keep_order_and_ignore_what_is_not_there() -> Result<(), InvalidRow> {
        let e = rows(&[0.0, 1.0, 2.0], &[3.0, 4.0, 5.0])?;
        assert_eq!(e.filter(&[true, false, true]).stop, vec![3.0, 5.0]);
        assert_eq!(e.subset(&[2, 0, 9]).stop, vec![5.0, 3.0]);
        assert_eq!(e.time_at_risk(), 9.0);
        Ok(())
    }
}
