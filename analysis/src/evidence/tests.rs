use super::*;
use crate::answer::Outcome;
use crate::episode::Episodes;

fn rows() -> Rows {
    Rows {
        episodes: Episodes {
            start: vec![0.0, 10.0, 0.0, 0.0],
            stop: vec![10.0, 30.0, 40.0, 25.0],
            event: vec![false, true, false, true],
        },
        specimen: vec![0, 0, 1, 2],
        tank: vec![Some(4), Some(5), Some(4), None],
        keeper: vec![1, 1, 1, 2],
        level: vec![Some(0), Some(1), Some(0), None],
        cause: vec![0, 1, 0, 5],
    }
}

#[test]
fn specimens_keepers_tanks_deaths_and_days_are_counted_by_group() -> Result<(), Refusal> {
    let by_group = tallies(&rows(), &[0, 1, 0, 2], 4)?;
    assert_eq!((by_group[0].specimens, by_group[0].keepers, by_group[0].tanks, by_group[0].deaths), (2, 1, 1, 0));
    assert_eq!((by_group[1].specimens, by_group[1].tanks, by_group[1].deaths), (1, 1, 1));
    assert_eq!((by_group[2].specimens, by_group[2].tanks, by_group[2].days), (1, 0, 25.0));
    assert_eq!(by_group[3], Tally::default());
    let all = tally(&rows())?;
    assert_eq!((all.specimens, all.keepers, all.tanks, all.deaths, all.days), (3, 2, 2, 2, 95.0));
    assert_eq!(all.largest_share, 70.0 / 95.0);
    Ok(())
}

#[test]
fn keepers_at_risk_at_a_death() {
    let rows = rows();
    // Deaths on days 25 and 30: the first row (0–10) is at risk at neither, its specimen's second row at both.
    assert_eq!(at_risk_at_a_death(&rows, &[7, 8, 8, 9]), 2);
}

#[test]
fn a_grade_never_falls_when_a_count_grows() {
    let at = |deaths, keepers, tanks, unknown| grade(&Graded { deaths, keepers, tanks, unknown, given: true });
    for unknown in [0.0, 0.24, 0.25, 0.39, 0.4, 0.9] {
        for deaths in [0, 19, 20, 49, 50, 51] {
            for keepers in [0, 4, 5, 9, 10] {
                for tanks in [0, 9, 10, 19, 20] {
                    let here = at(deaths, keepers, tanks, unknown);
                    assert!(here <= at(deaths + 1, keepers, tanks, unknown));
                    assert!(here <= at(deaths, keepers + 1, tanks, unknown));
                    assert!(here <= at(deaths, keepers, tanks + 1, unknown));
                }
            }
        }
    }
    assert_eq!(at(50, 10, 20, 0.2), Grade::Strong);
    assert_eq!(at(20, 5, 10, 0.3), Grade::Moderate);
    assert_eq!(at(20, 5, 10, 0.4), Grade::Thin);
    assert_eq!(grade(&Graded { deaths: 90, keepers: 90, tanks: 90, unknown: 0.0, given: false }), Grade::None);
}

#[test]
fn a_refusal_says_all_that_is_lacking() {
    let few = Tally { specimens: 8, keepers: 1, tanks: 3, ..Tally::default() };
    let refused = minimums::curve(&few).err();
    assert_eq!(refused.as_ref().map(|r| r.code), Some(RefusalCode::TooFewSpecimens));
    assert_eq!(refused.map(|r| r.message).as_deref(), Some("Needs 2 more corals and 2 more keepers."));
    assert_eq!(
        minimums::events(4, 10, Outcome::Death).err().map(|r| r.message).as_deref(),
        Some("Needs 6 more deaths on record.")
    );
}
