//! The levels of one parameter, tank by tank: a tank's tests are read, turned into its levels and let go again.

use std::collections::BTreeMap;

use super::band::Scale;
use super::carry::{Carry, levels};
use super::series::{Series, Test};
use super::steps::Steps;
use crate::club::{Club, TankId};
use crate::vocabulary::{ParameterCode, ZeroPolicy};

/// The levels of a parameter in each of these tanks (ascending), unknown throughout in a tank without a test.
///
/// Readings are found by their order. Beside the levels it holds the tests of one tank only.
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
    let steps = |tank: TankId| {
        let tests = club.readings.of(tank, parameter).iter().map(|reading| Test::of(reading, zero_is_limit));
        made(&Series::new(tests.collect()))
    };
    tanks.iter().map(|tank| (*tank, steps(*tank))).collect()
}
