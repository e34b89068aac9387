//! Salinity in four dresses: practical salinity, specific gravity with and without its point, conductivity.

use analysis::seawater;
use analysis::vocabulary::UnitCode;

use crate::canonical::Work;
use crate::canonical::test::{Group, State, Test, Value, about_cell, put};
use crate::cell::mark::Shape;
use crate::doubt::desk::Settled;
use crate::doubt::mark::instrument;
use crate::doubt::unit::{each, reread, written};

/// What a number in a salinity column looks like.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Looks {
    Salinity,
    Gravity,
    /// 1025 for 1.025.
    WithoutPoint,
    /// 1.25, 1.0026, 102.5: the gravity it would be.
    Digits(f64),
    /// mS/cm.
    Conductivity,
    /// 53 000 for 53.
    MicroSiemens,
    Other,
}

fn looks(value: f64) -> Looks {
    match value {
        v if (1.010..=1.040).contains(&v) => Looks::Gravity,
        v if v.fract() == 0.0 && (1018.0..=1035.0).contains(&v) => Looks::WithoutPoint,
        v if (1.15..=1.35).contains(&v) => Looks::Digits(rounded(1.0 + (v - 1.0) / 10.0)),
        v if (1.0015..=1.0035).contains(&v) => Looks::Digits(rounded(1.0 + (v - 1.0) * 10.0)),
        v if (101.5..=103.5).contains(&v) => Looks::Digits(rounded(v / 100.0)),
        v if (0.0..45.0).contains(&v) => Looks::Salinity,
        v if (45.0..=58.0).contains(&v) => Looks::Conductivity,
        v if (45_000.0..=58_000.0).contains(&v) => Looks::MicroSiemens,
        _ => Looks::Other,
    }
}

/// Six decimals are more than any scale shows.
fn rounded(value: f64) -> f64 {
    (value * 1e6).round() / 1e6
}

pub(super) fn settle(work: &mut Work, group: &mut Group) {
    let values = written(work, group);
    let count = |wanted: fn(&Looks) -> bool| values.iter().map(|value| looks(*value)).filter(wanted).count();
    let gravities = count(|looks| matches!(looks, Looks::Gravity | Looks::WithoutPoint | Looks::Digits(_)));
    let salinities = count(|looks| matches!(looks, Looks::Salinity));
    if group.unit.is_none() {
        group.unit = UnitCode::parse(if gravities > salinities { "SG" } else { "PSU" });
    }
    let about = group.about.clone();
    each(group, |group, test| one(work, group, test, &about));
    each(group, |group, test| conductivities(work, group, test, &about));
    each(group, |group, test| reference(work, group, test, &about));
}

fn one(work: &mut Work, group: &Group, test: &mut Test, about: &str) {
    let Some(value) = test.figures().map(|figures| figures.first) else { return };
    let Some(unit) = group.unit_of(test).0.map(|unit| unit.as_str()) else { return };
    let own_unit = test.number().is_some_and(|number| number.unit.is_some());
    if matches!(unit, "mS/cm" | "uS/cm" | "g/kg") {
        return;
    }
    let gravity = unit == "SG";
    let sg = UnitCode::parse("SG");
    let basis = if gravity { group.unit_of(test).1 } else { None };
    match looks(value) {
        Looks::WithoutPoint => {
            let doubt = about_cell("gravity_without_point", group, test).fill("value", format!("{}", value / 1000.0));
            if let Settled::Choice("yes", _) = put(work, test, about, doubt) {
                reread(test, value / 1000.0, sg, basis);
            }
        }
        Looks::Digits(meant) if gravity => {
            let name = format!("{about}:{}", test.written);
            let doubt = about_cell("gravity_digits", group, test).fill("value", format!("{meant}"));
            if let Settled::Choice("yes", _) = put(work, test, &name, doubt) {
                reread(test, meant, sg, basis);
            }
        }
        Looks::Salinity if gravity && !own_unit && value >= 20.0 => {
            let doubt = about_cell("gravity_or_salinity", group, test).fill("kind", "salinity (PSU), not a gravity");
            if let Settled::Choice("yes", _) = put(work, test, about, doubt) {
                reread(test, value, UnitCode::parse("PSU"), None);
            }
        }
        Looks::Gravity if !gravity && !own_unit => {
            let name = format!("{about}:SG");
            let doubt = about_cell("gravity_or_salinity", group, test).fill("kind", "specific gravity, not a salinity");
            if let Settled::Choice("yes", _) = put(work, test, &name, doubt) {
                reread(test, value, sg, None);
            }
        }
        _ => {}
    }
}

/// Conductivities, stated or not: at 25 °C, or raw at the water's temperature?
fn conductivities(work: &mut Work, group: &Group, test: &mut Test, about: &str) {
    let Some(value) = test.figures().map(|figures| figures.first) else { return };
    let (unit, basis) = group.unit_of(test);
    let stated = unit.is_some_and(|unit| matches!(unit.as_str(), "mS/cm" | "uS/cm"));
    if stated && value == 0.0 {
        // A cell in air.
        match put(work, test, about, about_cell("probe_fault", group, test)) {
            Settled::Choice("fault", _) => crate::canonical::test::leave(work, test),
            Settled::Choice(..) => {
                crate::canonical::test::refuse(work, test, crate::doubt::limit::outside(group, test))
            }
            _ => {}
        }
        return;
    }
    let fits = match looks(value) {
        Looks::Conductivity => true,
        Looks::MicroSiemens => true,
        _ => stated,
    };
    if !fits || basis.is_some() && stated {
        return;
    }
    let micro =
        if stated { unit.is_some_and(|unit| unit.as_str() == "uS/cm") } else { looks(value) == Looks::MicroSiemens };
    let unit = UnitCode::parse(if micro { "uS/cm" } else { "mS/cm" });
    let doubt = about_cell("conductivity_in_salinity", group, test).fill("unit", if micro { "µS/cm" } else { "mS/cm" });
    match put(work, test, about, doubt) {
        Settled::Choice("yes_25", _) => {
            test.unit = unit;
            test.basis = Some("25C");
        }
        Settled::Choice("yes_raw", _) => {
            test.unit = unit;
            test.basis = Some("raw");
            if test.water.temperature.is_none() {
                // Without the water's temperature a raw conductivity has no salinity: it waits.
                let waiting = about_cell("conductivity_in_salinity", group, test).about(about).cells(test.cells());
                work.desk.raise(waiting);
                test.state = State::Held;
            }
        }
        Settled::Choice(..) if stated => crate::canonical::test::leave(work, test),
        _ => {}
    }
}

/// A gravity's reference temperatures: header, instrument, or one question a column.
fn reference(work: &mut Work, group: &Group, test: &mut Test, about: &str) {
    let (unit, basis) = group.unit_of(test);
    let gravity = test.figures().is_some_and(|figures| (0.98..1.06).contains(&figures.first));
    if unit.is_none_or(|unit| unit.as_str() != "SG") || basis.is_some() || !gravity {
        return;
    }
    if let Some(reference) =
        instrument(work, group, test, |instrument| instrument.reference.clone()).as_deref().and_then(known_reference)
    {
        test.unit = unit;
        test.basis = Some(reference);
        return;
    }
    let settled = work.desk.ask("gravity_reference_missing", about);
    if settled == Settled::DontKnow {
        test.settled = test.number().and_then(|number| unsure(number.shape));
        if test.settled.is_some() {
            test.flags.push("reference_unknown");
            return;
        }
    }
    let doubt = about_cell("gravity_reference_missing", group, test);
    let chosen =
        settled.choice().and_then(known_reference).or_else(|| settled.text().as_deref().and_then(known_reference));
    match chosen {
        Some(reference) => {
            test.unit = unit;
            test.basis = Some(reference);
        }
        None => super::put_or_hold(work, test, about, doubt),
    }
}

/// A gravity read on any of the scales from 15/15 to 25/25.
fn unsure(shape: Shape) -> Option<Value> {
    let interval = |gravity: f64| (1.0..=1.045).contains(&gravity).then(|| seawater::gravity_interval(gravity));
    Some(match shape {
        Shape::Is(figures) => {
            let (low, high) = interval(figures.first)?;
            Value::between(low, high)
        }
        Shape::Below(figures) => Value::below(interval(figures.first)?.1, Some(0.0)),
        Shape::Above(figures) => Value::above(interval(figures.first)?.0),
        Shape::Span(lower, upper) => Value::between(interval(lower.first)?.0, interval(upper.first)?.1),
    })
}

/// The catalogue's name of a reference as written.
fn known_reference(text: &str) -> Option<&'static str> {
    let compact: String =
        text.to_lowercase().chars().filter(|c| c.is_ascii_digit() || *c == '/' || *c == '_' || *c == 'f').collect();
    match compact.replace('_', "/").as_str() {
        "25/25" | "77/77f" | "77/77" => Some("25/25"),
        "20/20" | "68/68f" | "68/68" => Some("20/20"),
        "60/60f" | "60/60" => Some("60/60F"),
        "15/15" | "59/59f" => Some("15/15"),
        "20/4" => Some("20/4"),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_in_a_salinity_column() {
        assert_eq!(looks(35.0), Looks::Salinity);
        assert_eq!(looks(1.0255), Looks::Gravity);
        assert_eq!(looks(1025.0), Looks::WithoutPoint);
        assert_eq!(looks(53.1), Looks::Conductivity);
        assert_eq!(looks(53_100.0), Looks::MicroSiemens);
        assert_eq!(looks(1.25), Looks::Digits(1.025));
        assert_eq!(looks(1.0026), Looks::Digits(1.026));
        assert_eq!(looks(102.5), Looks::Digits(1.025));
    }

    #[test]
    fn references_as_written() {
        assert_eq!(known_reference("60_60F"), Some("60/60F"));
        assert_eq!(known_reference("25/25 °C"), Some("25/25"));
        assert_eq!(known_reference("30/30"), None);
    }
}
