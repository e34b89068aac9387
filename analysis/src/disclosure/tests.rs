use super::blocks::blocks;
use super::rounding::{count, days, two_digits};
use super::*;

fn cell(keepers: u64, specimens: u64) -> Tally {
    Tally { specimens, keepers, tanks: keepers, deaths: 0, days: 100.0, largest_share: 0.5 }
}

fn union(cells: &[Tally], levels: &[usize]) -> Result<Tally, Refusal> {
    let mut sum = Tally { largest_share: 0.5, ..Tally::default() };
    for &level in levels {
        sum.specimens += cells[level].specimens;
        sum.keepers += cells[level].keepers;
        sum.tanks += cells[level].tanks;
    }
    Ok(sum)
}

#[test]
fn levels_that_fail_are_joined_along_the_ladder_unknown_last() -> Result<(), Refusal> {
    let cells = [cell(1, 3), cell(6, 20), cell(4, 9), cell(7, 30)];
    // Known levels 0..3, unknown = 3.
    let public = blocks(3, true, Audience::Public, |levels| union(&cells, levels))?;
    assert_eq!(public, vec![vec![0, 1, 2], vec![3]]);
    let member = blocks(3, true, Audience::Member, |levels| union(&cells, levels))?;
    assert_eq!(member, vec![vec![0, 1], vec![2], vec![3]]);
    let curator = blocks(3, true, Audience::Curator, |levels| union(&cells, levels))?;
    assert_eq!(curator, vec![vec![0], vec![1], vec![2], vec![3]]);
    Ok(())
}

#[test]
fn a_split_with_one_block_left_is_suppressed() {
    let cells = [cell(3, 6), cell(3, 6)];
    let refused = blocks(2, false, Audience::Public, |levels| union(&cells, levels)).err();
    assert_eq!(refused.map(|refusal| refusal.code), Some(RefusalCode::Suppressed));
}

#[test]
fn one_keeper_may_not_hold_more_than_four_fifths() {
    let mut tally = cell(6, 30);
    tally.largest_share = 0.8;
    assert!(passes(&tally, Audience::Public));
    tally.largest_share = 0.81;
    assert!(!passes(&tally, Audience::Public) && !passes(&tally, Audience::Member));
    assert!(passes(&tally, Audience::Curator));
}

#[test]
fn rounding() {
    assert_eq!([0, 2, 3, 7, 8, 12].map(count), [0, 0, 5, 5, 10, 10]);
    assert_eq!([24.9, 25.0, 74.0, 1_689.5].map(days), [0.0, 50.0, 50.0, 1_700.0]);
    assert_eq!(
        [0.6789, 0.005_449, 12_345.0, -1.25, 0.0, 0.995].map(two_digits),
        [0.68, 0.0054, 12_000.0, -1.3, 0.0, 1.0]
    );
}

#[test]
fn a_public_refusal_says_no_count() {
    let exact = Refusal::counted(RefusalCode::TooFewEvents, 7.0, 10.0, "Needs 3 more deaths on record.");
    let shown = rounding::refusal(&exact);
    assert_eq!((shown.have, shown.need, shown.message.as_str()), (None, Some(10.0), "Too few deaths."));
}
