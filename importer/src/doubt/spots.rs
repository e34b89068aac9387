//! A set of places in a file. Most stand in runs down a column: up to 64 rows of a column share one word of bits.

use std::collections::BTreeMap;

use super::desk::Spot;

/// Rows that share a word.
const TOGETHER: u32 = 64;

/// Places, each once.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Spots {
    /// By sheet, column and run of rows.
    words: BTreeMap<(u16, u32, u32), u64>,
}

fn address(spot: &Spot) -> ((u16, u32, u32), u64) {
    ((spot.sheet, spot.column, spot.row / TOGETHER), 1 << (spot.row % TOGETHER))
}

impl Spots {
    /// Takes a place in; false if it was there.
    pub fn insert(&mut self, spot: Spot) -> bool {
        let (at, bit) = address(&spot);
        let word = self.words.entry(at).or_default();
        let new = *word & bit == 0;
        *word |= bit;
        new
    }

    /// Takes a place out; whether it was there.
    pub fn remove(&mut self, spot: &Spot) -> bool {
        let (at, bit) = address(spot);
        let Some(word) = self.words.get_mut(&at) else { return false };
        let there = *word & bit != 0;
        *word &= !bit;
        if *word == 0 {
            self.words.remove(&at);
        }
        there
    }

    /// Whether a place is in it.
    pub fn contains(&self, spot: &Spot) -> bool {
        let (at, bit) = address(spot);
        self.words.get(&at).is_some_and(|word| word & bit != 0)
    }

    /// Takes in all places of another set.
    pub fn join(&mut self, other: &Spots) {
        for (at, word) in &other.words {
            *self.words.entry(*at).or_default() |= word;
        }
    }

    /// Runs of rows, first and last, by sheet and column.
    pub fn runs(&self) -> BTreeMap<(u16, u32), Vec<[u32; 2]>> {
        let mut runs: BTreeMap<(u16, u32), Vec<[u32; 2]>> = BTreeMap::new();
        for ((sheet, column, at), word) in &self.words {
            let own = runs.entry((*sheet, *column)).or_default();
            for row in (0..TOGETHER).filter(|bit| word >> bit & 1 == 1).map(|bit| at * TOGETHER + bit) {
                match own.last_mut() {
                    Some(run) if run[1] + 1 == row => run[1] = row,
                    _ => own.push([row, row]),
                }
            }
        }
        runs
    }

    /// How many places there are.
    pub fn count(&self) -> u64 {
        self.words.values().map(|word| u64::from(word.count_ones())).sum()
    }

    /// How many of them are not in another set.
    pub fn count_without(&self, other: &Spots) -> u64 {
        let left = |(at, word): (&_, &u64)| word & !other.words.get(at).copied().unwrap_or_default();
        self.words.iter().map(|entry| u64::from(left(entry).count_ones())).sum()
    }
}

impl Extend<Spot> for Spots {
    fn extend<I: IntoIterator<Item = Spot>>(&mut self, spots: I) {
        for spot in spots {
            self.insert(spot);
        }
    }
}

impl FromIterator<Spot> for Spots {
    fn from_iter<I: IntoIterator<Item = Spot>>(spots: I) -> Self {
        let mut all = Spots::default();
        all.extend(spots);
        all
    }
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use proptest::prelude::*;

    use super::*;

    fn spots() -> impl Strategy<Value = Vec<Spot>> {
        let near = prop_oneof![0..200_u32, Just(u32::MAX)];
        prop::collection::vec(
            (0..3_u16, near, 0..5_u32).prop_map(|(sheet, row, column)| Spot { sheet, row, column }),
            0..300,
        )
    }

    proptest! {
        #[test]
        fn it_is_the_set_of_what_was_put_in(one in spots(), other in spots()) {
            let (plain, beside): (BTreeSet<Spot>, BTreeSet<Spot>) = (one.iter().copied().collect(), other.iter().copied().collect());
            let (mut set, rest): (Spots, Spots) = (one.iter().copied().collect(), other.iter().copied().collect());
            prop_assert_eq!(set.count(), plain.len() as u64);
            prop_assert_eq!(set.count_without(&rest), plain.difference(&beside).count() as u64);
            for spot in other {
                prop_assert_eq!(set.contains(&spot), plain.contains(&spot));
                prop_assert_eq!(set.clone().insert(spot), !plain.contains(&spot));
                let mut without = set.clone();
                prop_assert_eq!(without.remove(&spot), plain.contains(&spot));
                prop_assert!(!without.contains(&spot));
                without.insert(spot);
                set.insert(spot);
                prop_assert_eq!(&without, &set);
                if !plain.contains(&spot) {
                    set.remove(&spot);
                }
            }
            let mut joined = rest;
            joined.join(&set);
            prop_assert_eq!(joined.count(), plain.union(&beside).count() as u64);
            set.extend(one);
            prop_assert_eq!(set.count(), plain.len() as u64);
        }
    }
}
