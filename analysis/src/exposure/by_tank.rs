//! The levels of one parameter, tank by tank: a tank's tests are read, turned into its levels and let go again.

use std::collections::BTreeMap;

use super::band::Scale;
use super::carry::{Carry, levels};
use super::series::{Series, Test};
use super::steps::Steps;
use crate::club::{Club, Reading, TankId};
use crate::vocabulary::{ParameterCode, ZeroPolicy};

/// The levels of a parameter in each of these tanks (ascending), unknown throughout in a tank without a test.
///
/// One sweep over readings sorted by tank, as those of a club are; others are put in that order first. Beside the levels
/// it holds the tests of one tank only.
pub(super) fn levels_by_tank(
    club: &Club,
    parameter: ParameterCode,
    tanks: &[TankId],
    scale: &Scale,
    carry: &Carry,
) -> BTreeMap<TankId, Steps> {
    steps_by_tank(club, parameter, tanks, |tests| levels(tests, scale, carry))
}

/// The same for anything that is worked out from a tank's tests of a parameter.
pub(super) fn steps_by_tank(
    club: &Club,
    parameter: ParameterCode,
    tanks: &[TankId],
    made: impl Fn(&Series) -> Steps,
) -> BTreeMap<TankId, Steps> {
    let zero_is_limit = parameter.get().zero == ZeroPolicy::Limit;
    let mut by_tank: BTreeMap<TankId, Steps> = tanks.iter().map(|tank| (*tank, Steps::default())).collect();
    let mut of_tank = |tank: TankId, readings: &mut dyn Iterator<Item = &Reading>| {
        if let Some(steps) = by_tank.get_mut(&tank) {
            let own = readings.filter(|reading| reading.parameter == parameter);
            let tests: Vec<Test> = own.map(|reading| Test::of(reading, zero_is_limit)).collect();
            *steps = made(&Series::new(tests));
        }
    };
    if club.readings.is_sorted_by_key(|reading| reading.tank) {
        for readings in club.readings.chunk_by(|a, b| a.tank == b.tank) {
            of_tank(readings[0].tank, &mut readings.iter());
        }
    } else {
        let mut order: Vec<&Reading> = club.readings.iter().collect();
        order.sort_by_key(|reading| reading.tank);
        for readings in order.chunk_by(|a, b| a.tank == b.tank) {
            of_tank(readings[0].tank, &mut readings.iter().copied());
        }
    }
    by_tank
}
