//! Where a long text is cut: before which days.

use std::collections::BTreeMap;

use chrono::{Datelike, NaiveDate};

use super::Sizes;

/// Where a text may be cut: before which days, with the cells of each.
pub(super) struct Cuts {
    days: Vec<(NaiveDate, u64)>,
    /// Whether the text may be cut before each day.
    allowed: Vec<bool>,
}

impl Cuts {
    pub fn of(days: &[NaiveDate], cells: &[u16], head: u32) -> Self {
        let mut sums: BTreeMap<NaiveDate, u64> = BTreeMap::new();
        for (day, cells) in days.iter().zip(cells).skip(head as usize) {
            *sums.entry(*day).or_default() += u64::from(*cells);
        }
        let days: Vec<(NaiveDate, u64)> = sums.into_iter().collect();
        Cuts { allowed: vec![true; days.len()], days }
    }

    /// Runs of equal values of a probe are not parted, as far as a cut is left.
    pub fn without(mut self, stuck: &[(u32, u32)], days: &[NaiveDate], timed: bool) -> Self {
        if !timed {
            return self;
        }
        let position = |day: NaiveDate| self.days.partition_point(|(own, _)| *own < day);
        let mut crossed = vec![0_i64; self.days.len() + 1];
        for (first, last) in stuck {
            let (first, last) = (days[*first as usize], days[*last as usize]);
            crossed[position(first.min(last)) + 1] += 1;
            crossed[position(first.max(last)) + 1] -= 1;
        }
        let mut over = 0;
        for (allowed, step) in self.allowed.iter_mut().zip(&crossed) {
            over += step;
            *allowed = over == 0;
        }
        self
    }

    /// The first day of each part. `None` if it makes no two parts, or one that is too large to be read at once.
    pub fn parts(&self, sizes: Sizes) -> Option<Vec<NaiveDate>> {
        let month = |at: usize| (self.days[at].0.year(), self.days[at].0.month());
        let mut firsts = vec![self.days.first()?.0];
        let (mut from, mut cells, mut best): (usize, u64, Option<(usize, bool)>) = (0, 0, None);
        let mut at = 0;
        while at < self.days.len() {
            if at > from && self.allowed[at] {
                let turn = month(at) != month(at - 1);
                // The turn of a month is best, since months are kept one by one.
                if turn || best.is_none_or(|(_, turn)| !turn) {
                    best = Some((at, turn));
                }
            }
            cells += self.days[at].1;
            if cells > sizes.part
                && let Some((cut, _)) = best.take()
            {
                firsts.push(self.days[cut].0);
                (from, cells, at) = (cut, 0, cut);
                continue;
            }
            if cells > sizes.whole {
                return None;
            }
            at += 1;
        }
        (firsts.len() > 1).then_some(firsts)
    }
}
