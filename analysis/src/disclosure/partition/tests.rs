use super::*;
use proptest::prelude::*;

/// Counts by level and year; a block passes with at least `least` in it.
fn merged(counts: &[Vec<u32>], unknown: usize, least: u32) -> Option<Partition> {
    let years: Vec<Range<usize>> = (0..counts[0].len()).map(|year| year..year + 1).collect();
    let levels: Vec<usize> = (0..counts.len()).collect();
    Partition::of_levels(0, &levels, unknown, &years).merged(|block| count(counts, block) >= least)
}

fn count(counts: &[Vec<u32>], block: &Block) -> u32 {
    block.levels.iter().map(|&level| counts[level][block.years.clone()].iter().sum::<u32>()).sum()
}

type Rows = Vec<(Vec<usize>, Vec<(usize, usize)>)>;

fn rows(partition: Option<Partition>) -> Option<Rows> {
    let years = |row: &Row| row.years.iter().map(|years| (years.start, years.end)).collect();
    Some(partition?.rows.iter().map(|row| (row.levels.clone(), years(row))).collect())
}

#[test]
fn along_years_first_then_along_the_ladder_lowest_first() {
    let counts = [vec![2, 2, 2], vec![5, 1, 7], vec![1, 0, 1], vec![9, 9, 9]];
    // Level 0: 2, then 4, then 6 over all years. Level 1: 5 stands, 1 joins 7. Level 2: 2 over all years, and the next
    // is unknown: it joins level 1, and both start again from 6, 1, 8.
    let by_hand =
        vec![(vec![0], vec![(0, 3)]), (vec![1, 2], vec![(0, 1), (1, 3)]), (vec![3], vec![(0, 1), (1, 2), (2, 3)])];
    assert_eq!(rows(merged(&counts, 3, 5)), Some(by_hand));
}

#[test]
fn a_failing_last_year_joins_the_one_before() {
    assert_eq!(rows(merged(&[vec![6, 6, 1]], 1, 5)), Some(vec![(vec![0], vec![(0, 1), (1, 3)])]));
}

#[test]
fn unknown_is_joined_with_a_level_only_when_nothing_else_is_left() {
    assert_eq!(rows(merged(&[vec![1], vec![9]], 1, 5)), Some(vec![(vec![0, 1], vec![(0, 1)])]));
    // A failing unknown joins the last known level.
    let joined = vec![(vec![0], vec![(0, 1)]), (vec![1, 2], vec![(0, 1)])];
    assert_eq!(rows(merged(&[vec![6], vec![7], vec![2]], 2, 5)), Some(joined));
}

#[test]
fn the_last_block_left_may_fail() {
    assert_eq!(merged(&[vec![1, 1], vec![1, 1]], 1, 5), None);
}

#[test]
fn an_answer_since_a_year_wants_a_cut_there_in_every_row() {
    let partition = merged(&[vec![5, 5, 5], vec![9, 1, 9]], 2, 5).expect("a partition");
    assert_eq!([0, 1, 2].map(|year| partition.is_cut_at(year)), [true, true, false]);
    assert!(partition.holds(&[0]) && partition.holds(&[0, 1]) && partition.holds(&[]));
}

proptest! {
    #[test]
    fn blocks_pass_and_hold_every_cell_once(
        counts in (1_usize..5).prop_flat_map(|years| prop::collection::vec(prop::collection::vec(0_u32..12, years), 1..6)),
        least in 1_u32..15,
    ) {
        let unknown = counts.len() - 1;
        let all: u32 = counts.iter().flatten().sum();
        let Some(partition) = merged(&counts, unknown, least) else {
            prop_assert!(all < least, "nothing is refused that could stand as one block");
            return Ok(());
        };
        let mut seen = vec![vec![0; counts[0].len()]; counts.len()];
        for block in partition.blocks() {
            prop_assert!(count(&counts, &block) >= least);
            for &level in &block.levels {
                block.years.clone().for_each(|year| seen[level][year] += 1);
            }
        }
        prop_assert!(seen.iter().flatten().all(|times| *times == 1));
        // Started from it, a stricter reader's blocks are unions of it.
        if let Some(stricter) = partition.merged(|block| count(&counts, block) >= 2 * least) {
            for block in partition.blocks() {
                let holding = stricter.blocks().filter(|wider| {
                    wider.levels.iter().any(|level| block.levels.contains(level))
                        && wider.years.start < block.years.end && block.years.start < wider.years.end
                });
                for wider in holding {
                    prop_assert!(block.levels.iter().all(|level| wider.levels.contains(level)));
                    prop_assert!(wider.years.start <= block.years.start && block.years.end <= wider.years.end);
                }
            }
        }
    }
}
