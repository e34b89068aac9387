//! What the water was: temperature and salinity by row and by tank and day, for the tests that depend on them.

use std::collections::{BTreeMap, HashMap};

use analysis::vocabulary::Water;
use chrono::NaiveDate;

use crate::canonical::tank::TankOf;
use crate::canonical::test::{Group, State};
use crate::cell::fold;
use crate::doubt::desk::Spot;

/// Temperature and salinity of the water.
#[derive(Debug, Default)]
pub(crate) struct Waters {
    /// Tanks met, each with a number of its own and one that tanks of one name share.
    tanks: HashMap<TankOf, (u32, Option<u32>)>,
    names: HashMap<String, u32>,
    /// By sheet, row and tank: a row may hold the tests of several tanks.
    rows: BTreeMap<(u16, u32, u32), Water>,
    /// By the tank's name and day.
    days: BTreeMap<(u32, NaiveDate), Water>,
}

impl Waters {
    /// Takes over what a settled group says.
    pub fn learn(&mut self, group: &Group) {
        let temperature = group.parameter.code.as_str() == "temperature";
        for test in &group.tests {
            let Some(value) = test.settled.and_then(|settled| settled.value).filter(|_| test.state == State::Pending)
            else {
                continue;
            };
            let put = |water: &mut Water| {
                if temperature { water.temperature = Some(value) } else { water.salinity = Some(value) }
            };
            let (tank, name) = self.number(&test.when.tank);
            put(self.rows.entry((test.spot.sheet, test.spot.row, tank)).or_default());
            if let (Some(name), Some(day)) = (name, test.when.day.exact()) {
                put(self.days.entry((name, day)).or_default());
            }
        }
    }

    fn number(&mut self, tank: &TankOf) -> (u32, Option<u32>) {
        if let Some(known) = self.tanks.get(tank) {
            return *known;
        }
        let name = match tank {
            TankOf::Named(name) => {
                let next = self.names.len() as u32;
                Some(*self.names.entry(fold::name(name)).or_insert(next))
            }
            TankOf::Held(_) | TankOf::Left => None,
        };
        let numbers = (self.tanks.len() as u32, name);
        self.tanks.insert(tank.clone(), numbers);
        numbers
    }

    /// The water of a tank in a cell's own row.
    pub fn of_row(&self, spot: Spot, tank: &TankOf) -> Water {
        let number = self.tanks.get(tank).map(|(number, _)| *number);
        number.and_then(|number| self.rows.get(&(spot.sheet, spot.row, number))).copied().unwrap_or_default()
    }

    /// The water of a tank's day.
    pub fn of_day(&self, tank: &TankOf, day: Option<NaiveDate>) -> Water {
        match (tank, day) {
            (TankOf::Named(tank), Some(day)) => {
                let name = self.names.get(&fold::name(tank));
                name.and_then(|name| self.days.get(&(*name, day))).copied().unwrap_or_default()
            }
            _ => Water::default(),
        }
    }
}
