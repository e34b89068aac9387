//! Alkalinity in three units whose ranges in a reef tank do not overlap: dKH 5–14, meq/L 2–5, ppm CaCO3 100–250.

use analysis::vocabulary::UnitCode;

use crate::canonical::Work;
use crate::canonical::test::{Group, about_cell, median, put};
use crate::doubt::desk::Settled;
use crate::doubt::unit::{each, written};

/// The unit in whose range a number lies.
fn band(value: f64) -> Option<&'static str> {
    match value {
        value if (2.0..5.0).contains(&value) => Some("meq/L"),
        value if (5.0..=14.0).contains(&value) => Some("dKH"),
        value if (100.0..=250.0).contains(&value) => Some("mg/L"),
        _ => None,
    }
}

pub(super) fn settle(work: &mut Work, group: &mut Group) {
    if group.unit.is_none() {
        let values = written(work, group);
        let count = |unit: &str| values.iter().filter(|value| band(**value) == Some(unit)).count();
        let best =
            ["dKH", "mg/L", "meq/L"].into_iter().max_by_key(|unit| (count(unit), std::cmp::Reverse(*unit == "meq/L")));
        group.unit = UnitCode::parse(best.filter(|unit| count(unit) > 0).unwrap_or("dKH"));
    }
    let usual = median(
        group
            .canonical_values()
            .into_iter()
            .map(|(_, value)| value)
            .filter(|value| group.parameter.is_possible(*value)),
    );
    let about = group.about.clone();
    each(group, |group, test| {
        let Some(value) = test.figures().map(|figures| figures.first) else { return };
        if test.number().is_some_and(|number| number.unit.is_some()) {
            return;
        }
        let Some(unit) = group.unit_of(test).0 else { return };
        let Some(fits) =
            band(value).filter(|fits| *fits != unit.as_str() && !(unit.as_str() == "mmol/L" && *fits == "meq/L"))
        else {
            return;
        };
        let as_stated = group.canonical(test, value);
        let as_fitting = group.parameter.convert(value, fits, None).ok();
        // A low reading stays low if the tank's other readings are low too.
        let cannot_be_usual = as_stated.is_some_and(|stated| !group.parameter.is_plausible(stated))
            && as_fitting.is_some_and(|fitting| group.parameter.is_plausible(fitting));
        let nearer = match (as_stated, as_fitting, usual) {
            // Two readings make no series: what only the other unit explains is asked about.
            (Some(_), Some(_), Some(_)) if cannot_be_usual && group.tests.len() < 4 => true,
            (Some(stated), Some(fitting), Some(usual)) => (fitting / usual).ln().abs() < (stated / usual).ln().abs(),
            (Some(stated), _, None) => !group.parameter.is_plausible(stated),
            _ => true,
        };
        if !nearer {
            return;
        }
        let Some(other) = UnitCode::parse(fits) else { return };
        let name = format!("{about}:{fits}");
        let printed = if fits == "mg/L" { "ppm CaCO3" } else { other.get().printed };
        let doubt = about_cell("alkalinity_unit", group, test)
            .fill("unit", printed)
            .fill("value", as_fitting.map_or_else(String::new, |value| format!("{value:.2}")));
        if let Settled::Choice("yes", _) = put(work, test, &name, doubt) {
            test.unit = Some(other);
            test.basis = None;
        }
    });
}
