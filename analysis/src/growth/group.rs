//! The usual slope of a group of specimens, and the difference of two groups.
//!
//! Specimens of one tank are not independent: limits come from drawing whole tanks, and groups are compared by their
//! tanks' medians. Hodges & Lehmann 1963, Ann Math Stat 34: 598–611.

use crate::numeric::bootstrap::{BootstrapLimits, REPLICATES, cluster_limits};
use crate::numeric::{distinct, median};
use crate::refusal::{Part, Refusal, RefusalCode};

/// The median slope of a group.
#[derive(Debug, Clone, PartialEq)]
pub struct GroupSlope {
    /// Specimens.
    pub specimens: usize,
    /// Tanks.
    pub tanks: usize,
    /// Median of the specimens' slopes.
    pub slope: f64,
    /// Limits by drawing whole tanks.
    pub limits: Part<BootstrapLimits>,
}

/// By how much the slopes of one group lie above those of another.
#[derive(Debug, Clone, PartialEq)]
pub struct SlopeDifference {
    /// Median over all pairs of tanks of first less second, each tank standing for the median of its specimens.
    pub shift: f64,
    /// Limits by drawing whole tanks; a tank with specimens of both groups is drawn with both.
    pub limits: Part<BootstrapLimits>,
}

/// The median slope of a group; one slope and one tank number per specimen.
///
/// # Errors
/// `EmptyGroup` without specimens, `InvalidInput` for a slope that is not finite or columns of unlike length.
pub fn group_slope(slopes: &[f64], tank: &[u32], seed: u64, level: f64) -> Result<GroupSlope, Refusal> {
    let tanks = Tanks::new(&[(slopes, tank)])?;
    let usual = median(slopes).ok_or_else(empty)?;
    let limits = cluster_limits(tanks.len(), REPLICATES, seed, level, |drawn| {
        let values: Vec<f64> = drawn.iter().flat_map(|&at| tanks.of_group(at, 0)).copied().collect();
        median(&values)
    });
    Ok(GroupSlope { specimens: slopes.len(), tanks: tanks.len(), slope: usual, limits: limits.into() })
}

/// The difference of two groups, each given as slopes with a tank number per specimen.
///
/// # Errors
/// As [`group_slope`].
pub fn slope_difference(
    first: (&[f64], &[u32]),
    second: (&[f64], &[u32]),
    seed: u64,
    level: f64,
) -> Result<SlopeDifference, Refusal> {
    let tanks = Tanks::new(&[first, second])?;
    let everything: Vec<usize> = (0..tanks.len()).collect();
    let shift = tanks.shift(&everything).ok_or_else(empty)?;
    let limits = cluster_limits(tanks.len(), REPLICATES, seed, level, |drawn| tanks.shift(drawn));
    Ok(SlopeDifference { shift, limits: limits.into() })
}

fn empty() -> Refusal {
    Refusal::counted(RefusalCode::EmptyGroup, 0.0, 1.0, "a group has no specimen with a slope")
}

/// Slopes by tank and group.
struct Tanks {
    slopes: Vec<[Vec<f64>; 2]>,
    medians: Vec<[Option<f64>; 2]>,
}

impl Tanks {
    fn new(groups: &[(&[f64], &[u32])]) -> Result<Tanks, Refusal> {
        let mut ids: Vec<u32> = Vec::new();
        for (slopes, tank) in groups {
            if slopes.len() != tank.len() || slopes.iter().any(|slope| !slope.is_finite()) {
                return Err(Refusal::plain(
                    RefusalCode::InvalidInput,
                    "each specimen needs a finite slope and a tank number",
                ));
            }
            ids.extend_from_slice(tank);
        }
        let ids = distinct(ids);
        let mut slopes = vec![[Vec::new(), Vec::new()]; ids.len()];
        for (group, (values, tank)) in groups.iter().enumerate() {
            for (value, id) in values.iter().zip(*tank) {
                slopes[ids.partition_point(|other| other < id)][group].push(*value);
            }
        }
        let medians = slopes.iter().map(|[a, b]| [median(a), median(b)]).collect();
        Ok(Tanks { slopes, medians })
    }

    fn len(&self) -> usize {
        self.slopes.len()
    }

    fn of_group(&self, tank: usize, group: usize) -> &[f64] {
        &self.slopes[tank][group]
    }

    fn shift(&self, drawn: &[usize]) -> Option<f64> {
        let of = |group: usize| drawn.iter().filter_map(move |&at| self.medians[at][group]);
        let second: Vec<f64> = of(1).collect();
        let differences: Vec<f64> = of(0).flat_map(|a| second.iter().map(move |b| a - b)).collect();
        median(&differences)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn median_of_specimens_and_limits_from_enough_tanks() -> Result<(), Refusal> {
        let slopes: Vec<f64> = (0..24).map(f64::from).collect();
        let tank: Vec<u32> = (0..24).map(|i| i / 2).collect();
        let group = group_slope(&slopes, &tank, 3, 0.95)?;
        assert_eq!((group.specimens, group.tanks, group.slope), (24, 12, 11.5));
        let limits = group.limits.given().copied();
        assert!(limits.is_some_and(|l| l.lower < 11.5 && 11.5 < l.upper && l.failed == 0.0));
        let few = group_slope(&slopes[..4], &tank[..4], 3, 0.95)?;
        assert!(matches!(few.limits, Part::Refused { ref refused } if refused.code == RefusalCode::TooFewClusters));
        Ok(())
    }

    #[test]
    fn groups_are_compared_by_their_tanks() -> Result<(), Refusal> {
        // Tank medians 1, 2 against 0, 5: differences 1, -4, 2, -3 have the median -1.
        let shift = slope_difference((&[1.0, 2.0, 2.0, 2.0], &[1, 2, 2, 2]), (&[0.0, 5.0], &[3, 4]), 1, 0.95)?.shift;
        assert_eq!(shift, -1.0);
        Ok(())
    }

    #[test]
    fn what_cannot_be_compared_says_why() {
        assert_eq!(group_slope(&[], &[], 1, 0.95).map_err(|r| r.code), Err(RefusalCode::EmptyGroup));
        assert_eq!(group_slope(&[f64::NAN], &[1], 1, 0.95).map_err(|r| r.code), Err(RefusalCode::InvalidInput));
        let lonely = slope_difference((&[1.0], &[1]), (&[], &[]), 1, 0.95);
        assert_eq!(lonely.map_err(|r| r.code), Err(RefusalCode::EmptyGroup));
    }
}
