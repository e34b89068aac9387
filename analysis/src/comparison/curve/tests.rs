//! Clusters of corals that moved, and curves whose risk set empties and fills again, by hand.

use super::*;
use crate::comparison::rows::GivenTally;

/// Rows of `(specimen, tank, start, stop, died)`, one keeper a tank.
fn rows(of: &[(u32, u32, f64, f64, bool)]) -> Rows {
    Rows {
        episodes: Episodes {
            start: of.iter().map(|row| row.2).collect(),
            stop: of.iter().map(|row| row.3).collect(),
            event: of.iter().map(|row| row.4).collect(),
        },
        specimen: of.iter().map(|row| row.0).collect(),
        tank: of.iter().map(|row| Some(row.1)).collect(),
        keeper: of.iter().map(|row| row.1).collect(),
        level: vec![Some(0); of.len()],
        cause: of.iter().map(|row| u32::from(row.4)).collect(),
    }
}

fn sets(middle: Rows) -> Sets {
    Sets { middle, drawn: Vec::new(), given: GivenTally::default(), outcome: Outcome::Death }
}

#[test]
fn all_rows_of_a_coral_that_moved_are_in_the_cluster_of_its_first_tank() {
    let moved = rows(&[(0, 3, 8.0, 20.0, true), (0, 7, 0.0, 8.0, false), (1, 3, 0.0, 30.0, false)]);
    assert_eq!(ClusterBy::Tank.column(&moved), vec![7, 7, 3]);
}

#[test]
fn no_share_is_given_beyond_a_death_with_fewer_than_five_at_risk() {
    // Seven from day 0: two die on days 10 and 20, one leaves on day 15, two on day 40, one dies on day 50, one stays.
    let mut of = vec![(0, 0, 0.0, 10.0, true), (1, 1, 0.0, 20.0, true), (2, 2, 0.0, 50.0, true)];
    of.extend([(3, 15.0), (4, 40.0), (5, 40.0), (6, 400.0)].map(|(coral, stop)| (coral, coral, 0.0, stop, false)));
    // On day 60 ten others come under observation.
    of.extend((7..17).map(|coral| (coral, coral, 60.0, 400.0, false)));
    let sets = sets(rows(&of));
    let curves = GroupCurves::new(&sets, Some(0.0));
    assert_eq!(curves.last_time, 20.0);
    let at = |horizon| curves.at_horizon(&sets, ClusterBy::Tank, horizon);
    assert!(at(20.0).is_ok_and(|at| (at.survival - 6.0 / 7.0 * 4.0 / 5.0).abs() < 1e-15));
    let refused = at(90.0).err();
    assert_eq!(
        refused.as_ref().map(|r| (r.code, r.have, r.need)),
        Some((RefusalCode::RiskSetTooSmall, Some(2.0), Some(5.0)))
    );
    // The printed curve stops there too, and so does every other figure.
    assert!(curves.points().is_ok_and(|points| points.iter().all(|point| point.time <= 20.0)));
}
