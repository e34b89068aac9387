//! What cells say besides plain numbers: nothing, a word, "not detected", "trace", two numbers, a doubt.

use crate::canonical::Work;
use crate::canonical::test::{Group, State, Test, Value, about_written, leave, put, refuse};
use crate::cell::mark::{Number, Says, Shape};
use crate::doubt::desk::{Doubt, Settled};
use crate::grid::Raw;

/// Parameters of which a written span is a day's course or a range: asked about.
const DAY_SPAN: &[&str] = &["temperature", "ph", "orp"];

/// Settles every cell of a group that holds no plain number.
pub(crate) fn settle(work: &mut Work, group: &mut Group) {
    let mut tests = std::mem::take(&mut group.tests);
    for test in tests.iter_mut().filter(|test| test.state == State::Pending) {
        one(work, group, test);
    }
    group.tests = tests;
}

fn one(work: &mut Work, group: &Group, test: &mut Test) {
    let doubt = |code: &'static str, test: &Test| about_written(code, &group.header, group.parameter, test);
    match test.says.clone() {
        Says::Nothing => leave(work, test),
        Says::Fault => refuse(work, test, doubt("formula_error", test)),
        Says::Word => {
            let about = test.written.to_lowercase();
            refuse(work, test, doubt("word_in_numbers", test).about(about));
        }
        Says::NotDetected => not_detected(work, group, test),
        Says::Trace => trace(work, group, test),
        Says::Letter(number) => {
            let about = format!("{}:{}", group.about, test.written);
            let question = doubt("letter_in_number", test).fill("value", shown(&number));
            match put(work, test, &about, question) {
                Settled::Choice("yes", _) => test.says = Says::Number(number),
                Settled::Choice(..) => {
                    refuse(work, test, doubt("word_in_numbers", test).about(test.written.to_lowercase()))
                }
                _ => {}
            }
        }
        Says::Two { first, second } => two(work, group, test, *first, *second),
        Says::Number(number) => number_with_marks(work, group, test, number),
    }
}

fn number_with_marks(work: &mut Work, group: &Group, test: &mut Test, number: Number) {
    if number.doubted {
        let question = about_written("number_doubted", &group.header, group.parameter, test);
        match put(work, test, &group.about, question) {
            Settled::Choice("approximate", _) => test.flags.push("approximate"),
            Settled::Choice(..) => leave(work, test),
            _ => {}
        }
        if test.state != State::Pending {
            return;
        }
    }
    if number.approximate {
        work.desk.raise(
            about_written("number_approximate", &group.header, group.parameter, test)
                .about(&group.about)
                .fill("value", shown(&number))
                .cell(test.spot, "value"),
        );
        test.flags.push("approximate");
    }
    if let Shape::Span(lower, upper) = number.shape
        && DAY_SPAN.contains(&group.parameter.code.as_str())
        && test.settled.is_none()
    {
        let question = about_written("span_or_interval", &group.header, group.parameter, test);
        match put(work, test, &group.about, question) {
            Settled::Choice("interval", _) => {}
            Settled::Choice(..) => {
                // Two readings of the day: its lowest and its highest.
                let low = group.canonical(test, lower.first);
                let high = group.canonical(test, upper.first);
                if let (Some(low), Some(high)) = (low, high)
                    && group.parameter.is_possible(low)
                    && group.parameter.is_possible(high)
                {
                    test.settled = Some(Value::is(low));
                    test.second = Some(Box::new(Value::is(high)));
                    test.flags.push("day_range");
                }
            }
            _ => {}
        }
    }
}

fn not_detected(work: &mut Work, group: &Group, test: &mut Test) {
    let limit =
        group.limit.and_then(|limit| group.canonical(test, limit)).or_else(|| instrument_limit(work, group, test));
    if let Some(limit) = limit {
        test.settled = Some(Value::below(limit, floor(group)));
        return;
    }
    if work.desk.ask("limit_missing", &group.about) == Settled::DontKnow {
        // Loads without a band: nothing is known above it.
        test.settled = Some(Value {
            value: None,
            lower: floor(group),
            upper: None,
            qualifier: crate::record::Qualifier::Interval,
        });
        test.flags.push("limit_unknown");
        return;
    }
    let question = about_written("limit_missing", &group.header, group.parameter, test);
    let settled = put(work, test, &group.about, question);
    if let Settled::Choice(..) = settled {
        match settled.number().filter(|limit| *limit > 0.0).and_then(|limit| group.canonical(test, limit)) {
            Some(limit) => test.settled = Some(Value::below(limit, floor(group))),
            None => hold(work, group, test, "limit_missing"),
        }
    }
}

/// An answer that does not fit its question leaves the cell waiting.
fn hold(work: &mut Work, group: &Group, test: &mut Test, code: &'static str) {
    let doubt: Doubt = about_written(code, &group.header, group.parameter, test).about(&group.about);
    work.desk.raise(doubt.cells(test.cells()));
    test.state = State::Held;
}

/// Concentrations end at 0.
pub(crate) fn floor(group: &Group) -> Option<f64> {
    group.parameter.hard.map(|(lowest, _)| lowest).filter(|lowest| *lowest >= 0.0).map(|_| 0.0)
}

/// Smallest value of the keeper's instrument, in the catalogue's unit.
fn instrument_limit(work: &Work, group: &Group, test: &Test) -> Option<f64> {
    instrument(work, group, test, |instrument| instrument.limit)
}

/// A fact of the instrument for the test's tank, or for all tanks.
pub(crate) fn instrument<T>(
    work: &Work,
    group: &Group,
    test: &Test,
    fact: impl Fn(&crate::context::KnownInstrument) -> Option<T>,
) -> Option<T> {
    let tank = match &*test.when.tank {
        crate::canonical::tank::TankOf::Named(name) => Some(crate::cell::fold::name(name)),
        _ => None,
    };
    let fits = |instrument: &&crate::context::KnownInstrument| instrument.parameter == group.parameter.code.as_str();
    let own = work
        .instruments
        .iter()
        .rev()
        .filter(fits)
        .filter(|instrument| instrument.tank.as_deref().map(crate::cell::fold::name) == tank && tank.is_some())
        .find_map(&fact);
    own.or_else(|| {
        work.instruments.iter().rev().filter(fits).filter(|instrument| instrument.tank.is_none()).find_map(&fact)
    })
}

fn trace(work: &mut Work, group: &Group, test: &mut Test) {
    let question = about_written("trace_word", &group.header, group.parameter, test);
    match put(work, test, &group.about, question) {
        Settled::Choice("below", _) => {
            let step = instrument(work, group, test, |instrument| instrument.step.or(instrument.limit))
                .or(group.parameter.step);
            match step {
                Some(step) => test.settled = Some(Value::below(step, floor(group))),
                None => leave(work, test),
            }
        }
        Settled::Choice(..) => leave(work, test),
        _ => {}
    }
}

fn two(work: &mut Work, group: &Group, test: &mut Test, first: Number, second: Number) {
    let (Some(one), Some(other)) = (plain(&first), plain(&second)) else {
        let about = test.written.to_lowercase();
        return refuse(work, test, about_written("word_in_numbers", &group.header, group.parameter, test).about(about));
    };
    if test.unit.is_none()
        && let Some(found) = first.unit.as_deref().and_then(analysis::vocabulary::find_unit)
    {
        test.unit = Some(found.unit);
        test.basis = test.basis.or(found.basis);
    }
    let question = about_written("two_numbers", &group.header, group.parameter, test);
    match put(work, test, &group.about, question) {
        Settled::Choice("corrected", _) => test.says = Says::Number(second),
        Settled::Choice("span", _) => {
            let (Shape::Is(a), Shape::Is(b)) = (first.shape, second.shape) else { return leave(work, test) };
            let shape = if a.first <= b.first { Shape::Span(a, b) } else { Shape::Span(b, a) };
            test.says = Says::Number(Number { shape, ..first });
        }
        Settled::Choice(..) => {
            // Two tests of one day: both are kept, side by side.
            match (group.canonical(test, one), group.canonical(test, other)) {
                (Some(a), Some(b)) if group.parameter.is_possible(a) && group.parameter.is_possible(b) => {
                    test.settled = Some(Value::is(a));
                    test.second = Some(Box::new(Value::is(b)));
                    test.flags.push("replicate");
                }
                _ => refuse(work, test, crate::doubt::limit::outside(group, test)),
            }
        }
        _ => {}
    }
}

fn plain(number: &Number) -> Option<f64> {
    match number.shape {
        Shape::Is(figures) => Some(figures.first),
        _ => None,
    }
}

fn shown(number: &Number) -> String {
    match number.shape {
        Shape::Is(figures) => format!("{}", figures.first),
        _ => String::new(),
    }
}

/// A date in a number column of a workbook: "5-10" typed, and the program made a day of it. `None` = no such thing.
pub(crate) fn became_date(work: &mut Work, group: &Group, test: &mut Test, raw: &Raw) {
    let Raw::Date(at) = raw else { return };
    use chrono::Datelike;
    let (day, month) = (at.date().day(), at.date().month());
    let (low, high) = (f64::from(day.min(month)), f64::from(day.max(month)));
    let question = about_written("number_became_date", &group.header, group.parameter, test)
        .fill("span", format!("{low}-{high}"))
        .fill("written", at.date().format("%-d %b").to_string())
        .fill("low", low.to_string())
        .fill("high", high.to_string());
    match put(work, test, &group.about, question) {
        Settled::Choice("between", _) => {
            let figures = crate::cell::number::Figures::certain;
            test.says = Says::Number(Number {
                shape: Shape::Span(figures(low), figures(high)),
                unit: None,
                approximate: false,
                doubted: false,
            });
        }
        Settled::Choice(..) => {
            let about = test.written.to_lowercase();
            refuse(work, test, about_written("word_in_numbers", &group.header, group.parameter, test).about(about));
        }
        _ => {}
    }
}
