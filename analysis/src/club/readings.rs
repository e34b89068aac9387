//! Water tests in the order in which answers look for them.

use std::ops::Deref;

use serde::{Deserialize, Serialize};

use super::{Reading, TankId};
use crate::vocabulary::ParameterCode;

mod packed; // as bytes

pub use packed::{NotPacked, Places, Unpacked};

/// Water tests sorted by (tank, parameter, day); those of one day keep the order in which they came. Nothing but this
/// type can order them otherwise, so that a tank's tests of a parameter are found without a look at the others.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(from = "Vec<Reading>")]
pub struct Readings(Vec<Reading>);

impl From<Vec<Reading>> for Readings {
    fn from(mut readings: Vec<Reading>) -> Readings {
        readings.sort_by_key(|reading| (reading.tank, reading.parameter, reading.on));
        Readings(readings)
    }
}

impl Deref for Readings {
    type Target = [Reading];

    fn deref(&self) -> &[Reading] {
        &self.0
    }
}

impl<'a> IntoIterator for &'a Readings {
    type Item = &'a Reading;
    type IntoIter = std::slice::Iter<'a, Reading>;

    fn into_iter(self) -> Self::IntoIter {
        self.0.iter()
    }
}

impl Readings {
    /// The tests of a tank.
    pub fn of_tank(&self, tank: TankId) -> &[Reading] {
        let from = self.0.partition_point(|reading| reading.tank < tank);
        let own = &self.0[from..];
        &own[..own.partition_point(|reading| reading.tank == tank)]
    }

    /// The tests of a parameter in a tank.
    pub fn of(&self, tank: TankId, parameter: ParameterCode) -> &[Reading] {
        let of_tank = self.of_tank(tank);
        let own = &of_tank[of_tank.partition_point(|reading| reading.parameter < parameter)..];
        &own[..own.partition_point(|reading| reading.parameter == parameter)]
    }

    /// Drops those of which this is false.
    pub fn retain(&mut self, keep: impl FnMut(&Reading) -> bool) {
        self.0.retain(keep);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn reading(tank: TankId, parameter: &str, on: &str, value: f64) -> Reading {
        Reading {
            tank,
            parameter: ParameterCode::parse(parameter).unwrap(),
            on: on.parse().unwrap(),
            value: Some(value),
            lower: value,
            upper: value,
            exact: true,
            zero_reported: false,
            limit: None,
            step: None,
            log: 0,
        }
    }

    #[test]
    fn a_tanks_tests_of_a_parameter_are_found_whatever_order_they_came_in() {
        let readings = Readings::from(vec![
            reading(2, "nitrate", "2024-03-02", 1.0),
            reading(1, "salinity", "2024-03-01", 35.0),
            reading(1, "nitrate", "2024-03-05", 2.0),
            reading(1, "nitrate", "2024-03-01", 3.0),
            reading(1, "nitrate", "2024-03-05", 4.0),
            reading(1, "calcium", "2024-03-09", 420.0),
        ]);
        let values = |of: &[Reading]| of.iter().filter_map(|reading| reading.value).collect::<Vec<_>>();
        let nitrate = ParameterCode::parse("nitrate").unwrap();
        assert_eq!(values(readings.of(1, nitrate)), [3.0, 2.0, 4.0]);
        assert_eq!(values(readings.of(2, nitrate)), [1.0]);
        assert_eq!(values(readings.of_tank(1)), [420.0, 3.0, 2.0, 4.0, 35.0]);
        assert!(readings.of(0, nitrate).is_empty() && readings.of_tank(3).is_empty());
    }
}
