use super::rounding::{count, days, two_digits};
use super::*;

fn cell(keepers: u64, specimens: u64) -> Tally {
    Tally { specimens, keepers, tanks: keepers, deaths: 0, days: 100.0, largest_share: 0.5 }
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
