//! From a written number to a value: decimal marks, zeros, slipped digits, hard limits, unusual values.

use analysis::vocabulary::ZeroPolicy;

use crate::canonical::Work;
use crate::canonical::test::{Group, State, Test, Value, about_cell, leave, median, put, refuse};
use crate::cell::mark::{Number, Says, Shape};
use crate::cell::number::Figures;
use crate::doubt::desk::{Doubt, Settled};
use crate::doubt::mark::floor;
use crate::doubt::unit::each;

/// Gives every pending cell its value, a question or a refusal.
pub(crate) fn settle(work: &mut Work, group: &mut Group) {
    each(group, |group, test| decimals(work, group, test));
    each(group, |group, test| zeros(work, group, test));
    probe_buffers(work, group);
    slipped_digits(work, group);
    each(group, |group, test| value(work, group, test));
    unusual(work, group);
}

/// Chooses between the two readings of "1,310" by the hard limits; asks where both fit.
fn decimals(work: &mut Work, group: &Group, test: &mut Test) {
    let Some(Number { shape, .. }) = test.number().cloned() else { return };
    let settle_one = |work: &mut Work, test: &mut Test, figures: Figures| -> Option<Figures> {
        let fits = |value: f64| group.canonical(test, value).is_some_and(|value| group.parameter.is_possible(value));
        let first = fits(figures.first);
        let second = figures.second.filter(|second| fits(*second));
        let take = |work: &mut Work, test: &Test, value: f64, told: bool| {
            if told {
                work.desk.raise(
                    about_cell("decimal_other", group, test)
                        .about(&group.about)
                        .fill("value", format!("{value}"))
                        .cell(test.spot, "value"),
                );
            }
            Some(Figures { first: value, second: None, other_mark: false, decimals: figures.decimals })
        };
        match (first, second) {
            (true, Some(thousands)) if figures.other_mark => {
                // The cell's mark is not the file's decimal mark: as in the rest of the file it parts thousands.
                let doubt = about_cell("decimal_unclear", group, test)
                    .fill("first", format!("{}", figures.first))
                    .fill("second", format!("{thousands}"))
                    .propose("second", None);
                match put(work, test, &group.about, doubt) {
                    Settled::Choice("first", _) => take(work, test, figures.first, false),
                    Settled::Choice(..) => take(work, test, thousands, false),
                    _ => None,
                }
            }
            (true, _) => take(work, test, figures.first, figures.other_mark),
            (false, Some(thousands)) => take(work, test, thousands, true),
            (false, None) => Some(figures),
        }
    };
    let shape = match shape {
        Shape::Is(figures) => settle_one(work, test, figures).map(Shape::Is),
        Shape::Below(figures) => settle_one(work, test, figures).map(Shape::Below),
        Shape::Above(figures) => settle_one(work, test, figures).map(Shape::Above),
        Shape::Span(lower, upper) => match settle_one(work, test, lower) {
            Some(lower) => settle_one(work, test, upper).map(|upper| Shape::Span(lower, upper)),
            None => None,
        },
    };
    if let (Some(shape), Says::Number(number)) = (shape, &mut test.says) {
        number.shape = shape;
    }
}

/// A written 0: below the limit, a real 0, or impossible.
fn zeros(work: &mut Work, group: &Group, test: &mut Test) {
    let zero = matches!(test.number(), Some(Number { shape: Shape::Is(figures), .. }) if figures.first == 0.0);
    if !zero {
        return;
    }
    match group.parameter.zero {
        ZeroPolicy::Limit => test.flags.push("zero_reported"),
        ZeroPolicy::Real => {}
        ZeroPolicy::NotPossible => {
            let doubt = about_cell("zero_not_possible", group, test);
            match put(work, test, &group.about, doubt) {
                Settled::Choice("not_tested", _) => leave(work, test),
                Settled::Choice(..) => refuse(work, test, outside(group, test)),
                _ => {}
            }
        }
    }
}

/// A pH meter left in a buffer solution.
fn probe_buffers(work: &mut Work, group: &mut Group) {
    if group.parameter.code.as_str() != "ph" {
        return;
    }
    let Some(usual) = median(group.canonical_values().into_iter().map(|(_, value)| value)) else { return };
    let about = group.about.clone();
    each(group, |group, test| {
        let Some(value) = test.figures().map(|figures| figures.first) else { return };
        if [4.0, 7.0, 10.01].contains(&value)
            && (value - usual).abs() > 0.4
            && let Settled::Choice("fault", _) = put(work, test, &about, about_cell("probe_fault", group, test))
        {
            leave(work, test);
        }
    });
}

/// Ten or a hundred times, or a tenth of, what the column shows elsewhere.
fn slipped_digits(work: &mut Work, group: &mut Group) {
    let values = group.canonical_values();
    // Nutrients do rise tenfold; there only what is impossible is asked about.
    let steady = group.parameter.zero == ZeroPolicy::NotPossible;
    let possible: Vec<f64> =
        values.iter().map(|(_, value)| *value).filter(|value| group.parameter.is_possible(*value)).collect();
    let Some(usual) = median(possible.iter().copied()).filter(|usual| *usual > 0.0) else {
        return;
    };
    let inside = |value: f64| (value - usual).abs() <= 0.15 * usual;
    let mut slips = Vec::new();
    for (at, value) in values {
        let test = &group.tests[at];
        if !test.pending()
            || test.confirmed
            || group.parameter.is_plausible(value)
            || (!steady && group.parameter.is_possible(value))
            || inside(value)
            // One other reading makes no series: beside it only what cannot be is a slip.
            || possible.len() < 2 && group.parameter.is_possible(value)
        {
            continue;
        }
        let Some(Number { shape: Shape::Is(figures), .. }) = test.number() else { continue };
        let meant =
            [(figures.first / 10.0), (figures.first / 100.0), (figures.first * 10.0)].into_iter().find(|meant| {
                group.canonical(test, *meant).is_some_and(|value| inside(value) && group.parameter.is_possible(value))
            });
        if let Some(meant) = meant {
            slips.push((at, meant));
        }
    }
    for (at, meant) in slips {
        let mut test = group.tests[at].clone();
        let name = format!("{}:{}", group.about, test.written);
        let doubt = about_cell("digit_shifted", group, &test).fill("value", format!("{meant}"));
        if let Settled::Choice("yes", _) = put(work, &mut test, &name, doubt) {
            test.put(meant);
        }
        group.tests[at] = test;
    }
}

/// The value in the catalogue's unit, inside the hard limits.
fn value(work: &mut Work, group: &Group, test: &mut Test) {
    let Some(Number { shape, .. }) = test.number().cloned() else { return };
    let canonical =
        |figures: Figures| group.canonical(test, figures.first).filter(|value| group.parameter.is_possible(*value));
    let settled = match shape {
        Shape::Is(figures) => canonical(figures).map(Value::is),
        Shape::Below(figures) => canonical(figures).map(|limit| Value::below(limit, floor(group))),
        Shape::Above(figures) => canonical(figures).map(Value::above),
        Shape::Span(lower, upper) => match (canonical(lower), canonical(upper)) {
            (Some(lower), Some(upper)) if lower <= upper => Some(Value::between(lower, upper)),
            (Some(lower), Some(upper)) => Some(Value::between(upper, lower)),
            _ => None,
        },
    };
    match settled {
        Some(settled) => test.settled = Some(settled),
        None => {
            let doubt = outside(group, test);
            refuse(work, test, doubt);
        }
    }
}

/// A value that cannot be.
pub(crate) fn outside(group: &Group, test: &Test) -> Doubt {
    let (low, high) = group.parameter.hard.unwrap_or((f64::NEG_INFINITY, f64::INFINITY));
    let unit = group.parameter.unit.get().printed;
    about_cell("outside_limits", group, test)
        .about(format!("{}:{}", group.about, test.written))
        .fill("low", format!("{low}"))
        .fill("high", format!("{high} {unit}"))
}

/// Loaded, worth a look: outside the plausible range, or far from this series.
fn unusual(work: &mut Work, group: &Group) {
    let values = group.canonical_values();
    let usual = median(values.iter().map(|(_, value)| *value));
    let spread = usual.and_then(|usual| median(values.iter().map(|(_, value)| (value - usual).abs())));
    for (at, value) in &values {
        let test = &group.tests[*at];
        let exact = test.settled.is_some_and(|settled| settled.qualifier == crate::record::Qualifier::Equal)
            && test.own_scale.is_none()
            && test.state == State::Pending;
        if !exact || test.flags.contains(&"zero_reported") {
            continue;
        }
        let far = match (usual, spread) {
            (Some(usual), Some(spread)) if values.len() >= 8 && spread > 0.0 => {
                (value - usual).abs() > 12.0 * spread && (value - usual).abs() > 0.2 * usual.abs()
            }
            _ => false,
        };
        if !group.parameter.is_plausible(*value) || far {
            work.desk.raise(about_cell("value_unusual", group, test).about(&group.about).cell(test.spot, "value"));
        }
    }
}
