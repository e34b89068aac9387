//! Fahrenheit among Celsius: the two ranges of a living tank never overlap.

use analysis::vocabulary::UnitCode;

use crate::canonical::Work;
use crate::canonical::test::{Group, about_cell, put, refuse};
use crate::doubt::desk::Settled;
use crate::doubt::unit::{each, written};

const FAHRENHEIT: std::ops::RangeInclusive<f64> = 65.0..=90.0;
const CELSIUS: std::ops::RangeInclusive<f64> = 15.0..=35.0;

/// Values that a failing digital sensor shows, in °C; from memory.
const SENSOR_FAULTS: [f64; 2] = [85.0, -127.0];

pub(super) fn settle(work: &mut Work, group: &mut Group) {
    if group.unit.is_none() {
        let values = written(work, group);
        let fahrenheit = values.iter().filter(|value| FAHRENHEIT.contains(value)).count();
        let celsius = values.iter().filter(|value| CELSIUS.contains(value)).count();
        group.unit = UnitCode::parse(if fahrenheit > celsius { "degF" } else { "Cel" });
    }
    let about = group.about.clone();
    each(group, |group, test| {
        let Some(value) = test.figures().map(|figures| figures.first) else { return };
        if test.number().is_some_and(|number| number.unit.is_some()) {
            return;
        }
        let unit = group.unit_of(test).0.map_or("Cel", |unit| unit.as_str());
        if unit == "Cel" && SENSOR_FAULTS.contains(&value) {
            match put(work, test, &about, about_cell("probe_fault", group, test)) {
                Settled::Choice("fault", _) => crate::canonical::test::leave(work, test),
                Settled::Choice(..) if !group.parameter.is_possible(value) => {
                    refuse(work, test, crate::doubt::limit::outside(group, test))
                }
                _ => {}
            }
            return;
        }
        let other = match unit {
            "Cel" if FAHRENHEIT.contains(&value) => "degF",
            "degF" if CELSIUS.contains(&value) => "Cel",
            _ => return,
        };
        let shown = if other == "degF" { (value - 32.0) / 1.8 } else { value };
        let doubt = about_cell("fahrenheit_or_celsius", group, test)
            .fill("value", format!("{shown:.2}"))
            .fill("unit", UnitCode::parse(other).map_or("", |unit| unit.get().printed));
        if let Settled::Choice("yes", _) = put(work, test, &about, doubt) {
            test.unit = UnitCode::parse(other);
            test.basis = None;
        }
    });
}
