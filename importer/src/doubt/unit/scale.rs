//! Factors that slip between a kit and a list: micrograms among milligrams, hardness as CaCO3, phosphorus for
//! phosphate, per cent of saturation for milligrams of oxygen.

use analysis::vocabulary::UnitCode;

use crate::canonical::Work;
use crate::canonical::test::{Group, State, about_cell, leave, median, put};
use crate::doubt::desk::Settled;
use crate::doubt::unit::{each, put_or_hold, written};

/// Micrograms among milligrams and the reverse, for parameters written in both.
pub(super) fn phosphate_or_trace(work: &mut Work, group: &mut Group) {
    let accepts = |unit: &str| group.parameter.accepts.iter().any(|accepted| accepted.unit.as_str() == unit);
    if !accepts("mg/L") || !accepts("ug/L") {
        return;
    }
    let phosphate = group.parameter.code.as_str() == "phosphate";
    let unit = group.unit.unwrap_or(group.parameter.unit);
    let values = written(work, group);
    match unit.as_str() {
        "mg/L" if phosphate => phosphate_scale(work, group, &values),
        "mg/L" | "ug/L" => trace_scale(work, group, &values, unit),
        _ => {}
    }
}

/// Whole numbers from 3 on among 0.0x in a phosphate column.
fn phosphate_scale(work: &mut Work, group: &mut Group, values: &[f64]) {
    let whole = |value: f64| value >= 3.0 && value.fract() == 0.0;
    let small = values.iter().filter(|value| **value > 0.0 && **value < 1.0).count();
    let whole_ones = values.iter().filter(|value| whole(**value)).count();
    if whole_ones == 0 || small == 0 && values.iter().any(|value| !whole(*value) && *value != 0.0) {
        return;
    }
    let about = group.about.clone();
    each(group, |group, test| {
        let Some(value) = test.figures().map(|figures| figures.first).filter(|value| whole(*value)) else { return };
        if test.number().is_some_and(|number| number.unit.is_some())
            || test.unit.is_some_and(|unit| Some(unit) != group.unit)
        {
            return;
        }
        let doubt = about_cell("phosphate_scale", group, test).fill("value", format!("{value}"));
        let Settled::Choice(choice, _) = put(work, test, &about, doubt) else { return };
        if choice != "yes" {
            return;
        }
        test.unit = UnitCode::parse("ug/L");
        if group.basis.is_some_and(|basis| basis == "P") {
            test.basis = Some("P");
            return;
        }
        // A kit that counts in ppb may count phosphorus; it is asked unless the kit is known.
        if test.basis.is_some() {
            return;
        }
        let name = format!("{about}:ppb");
        let settled = work.desk.ask("basis_unclear", &name);
        match settled.choice() {
            Some("first") => test.basis = Some("PO4"),
            Some("second") => test.basis = Some("P"),
            _ => put_or_hold(
                work,
                test,
                &name,
                about_cell("basis_unclear", group, test)
                    .fill("first", "phosphate (PO4)")
                    .fill("second", "phosphorus (P)"),
            ),
        }
    });
}

/// A bare "P" or "phosphorus": a laboratory's is total phosphorus, a kit's may be either.
pub(super) fn bare_phosphorus(work: &mut Work, group: &mut Group) {
    if group.parameter.code.as_str() != "phosphate" {
        return;
    }
    let words = analysis::vocabulary::text::words(&group.header);
    let first = words.first().map(String::as_str);
    let bare = matches!(first, Some("p" | "phosphorus" | "phosphor" | "phosphore" | "fosforo" | "fosfor"))
        && !words.iter().any(|word| word.starts_with("po4") || word.starts_with("phosphat"));
    if !bare {
        return;
    }
    let about = group.about.clone();
    each(group, |group, test| {
        if test.basis.is_some() {
            // The kit says it.
            return;
        }
        let doubt =
            about_cell("basis_unclear", group, test).fill("first", "phosphate (PO4)").fill("second", "phosphorus (P)");
        match put(work, test, &about, doubt) {
            Settled::Choice("first", _) => (test.unit, test.basis) = (test.unit.or(group.unit), Some("PO4")),
            Settled::Choice(..) => (test.unit, test.basis) = (test.unit.or(group.unit), Some("P")),
            _ => {}
        }
    });
}

/// A factor of a thousand against the series.
fn trace_scale(work: &mut Work, group: &mut Group, values: &[f64], unit: UnitCode) {
    let positive: Vec<f64> = values.iter().copied().filter(|value| *value > 0.0).collect();
    let Some(middle) = median(positive.iter().copied()).filter(|_| positive.len() >= 2) else { return };
    // In a short series a slip moves the middle: what is usual is told by the others.
    let usual_beside = |own: f64| match positive.len() {
        2..=4 => {
            let mut others = positive.clone();
            if let Some(at) = others.iter().position(|value| *value == own) {
                others.swap_remove(at);
            }
            median(others).unwrap_or(middle)
        }
        _ => middle,
    };
    let other = if unit.as_str() == "mg/L" { "ug/L" } else { "mg/L" };
    let about = group.about.clone();
    each(group, |group, test| {
        let Some(value) = test.figures().map(|figures| figures.first).filter(|value| *value > 0.0) else { return };
        if test.unit.is_some_and(|own| own != unit) || test.number().is_some_and(|number| number.unit.is_some()) {
            return;
        }
        let usual = usual_beside(value);
        let ratio = if unit.as_str() == "mg/L" { value / usual } else { usual / value };
        if !(300.0..=3000.0).contains(&ratio) {
            return;
        }
        let printed = UnitCode::parse(other).map_or("", |unit| unit.get().printed);
        let name = format!("{about}:{other}");
        let doubt = about_cell("trace_scale", group, test).fill("unit", printed);
        if let Settled::Choice("yes", _) = put(work, test, &name, doubt) {
            test.unit = UnitCode::parse(other);
            test.basis = None;
        }
    });
}

/// Calcium hardness as CaCO3: 900 to 1200.
pub(super) fn calcium_as_carbonate(work: &mut Work, group: &mut Group) {
    if group.basis.is_some() || median(written(work, group)).is_none_or(|middle| !(900.0..=1200.0).contains(&middle)) {
        return;
    }
    let about = group.about.clone();
    each(group, |group, test| {
        let doubt = about_cell("calcium_as_carbonate", group, test);
        if let Settled::Choice("yes", _) = put(work, test, &about, doubt) {
            test.unit = group.unit.or(UnitCode::parse("mg/L"));
            test.basis = Some("CaCO3");
        }
    });
}

/// "NH3" or "free" without "total" or "NH4" beside it.
pub(super) fn kind_of_ammonia(work: &mut Work, group: &mut Group) {
    let words = analysis::vocabulary::text::words(&group.header);
    let has = |word: &str| words.iter().any(|own| own == word);
    let free = group.basis == Some("free NH3") || has("free");
    let bare = has("nh3") && !has("nh4") && !has("total") && !has("tan") && !has("n");
    if !free && !bare {
        return;
    }
    let about = group.about.clone();
    each(group, |group, test| {
        let doubt = about_cell("ammonia_kind_unclear", group, test);
        match put(work, test, &about, doubt) {
            Settled::Choice("total", _) => test.basis = Some("NH3"),
            Settled::Choice("total_n", _) => test.basis = Some("N"),
            Settled::Choice("total_nh4", _) => test.basis = Some("NH4"),
            // Free ammonia is kept as written, not loaded as total.
            Settled::Choice(..) => leave(work, test),
            _ => {}
        }
    });
    if group.basis == Some("free NH3") {
        group.basis = None;
    }
}

/// Per cent of saturation: needs temperature and salinity of the same row.
pub(super) fn saturation(work: &mut Work, group: &mut Group) {
    let about = group.about.clone();
    each(group, |group, test| {
        let per_cent = group.unit_of(test).0.is_some_and(|unit| unit.as_str() == "%");
        if !per_cent || test.water.temperature.is_some() && test.water.salinity.is_some() {
            return;
        }
        let doubt = about_cell("saturation_alone", group, test);
        if let Settled::Choice(..) = put(work, test, &about, doubt.clone()) {
            let day = work.waters.of_day(&test.when.tank, test.when.day.exact());
            test.water.temperature = test.water.temperature.or(day.temperature);
            test.water.salinity = test.water.salinity.or(day.salinity);
            if test.water.temperature.is_none() || test.water.salinity.is_none() {
                // The day has no such tests: the cell waits for them.
                work.desk.raise(doubt.about(&about).cells(test.cells()));
                test.state = State::Held;
            }
        }
    });
}
