//! The unit of each number: stated, shown by the values, or asked about. Also the parameter's own traps: Fahrenheit
//! among Celsius, gravities among salinities, alkalinity in three units, micrograms among milligrams.

use analysis::vocabulary::{ParameterKind, UnitCode, find_unit};

use crate::canonical::Work;
use crate::canonical::test::{Group, State, Test, Value, about_cell, median, put};
use crate::cell::mark::{Number, Says, Shape};
use crate::doubt::desk::{Doubt, Settled};
use crate::finding::Choice;

mod alkalinity; // three disjoint bands
mod gravity; // salinity in four dresses
mod scale; // micrograms among milligrams, carbonate hardness, saturation
mod temperature; // Fahrenheit among Celsius

/// Finds the unit of every cell of a group.
pub(crate) fn settle(work: &mut Work, group: &mut Group) {
    cell_units(work, group);
    own_scales(work, group);
    if group.unit.is_none() {
        column_unit(work, group);
    }
    match group.parameter.code.as_str() {
        "temperature" => temperature::settle(work, group),
        "salinity" => gravity::settle(work, group),
        "alkalinity" => alkalinity::settle(work, group),
        "oxygen" => scale::saturation(work, group),
        _ => {}
    }
    kit_basis(work, group);
    if group.parameter.code.as_str() == "calcium" {
        scale::calcium_as_carbonate(work, group);
    }
    if group.parameter.code.as_str() == "ammonia" {
        scale::kind_of_ammonia(work, group);
    }
    scale::bare_phosphorus(work, group);
    scale::phosphate_or_trace(work, group);
    contradictions(work, group);
    if let Some(whole) = work.whole.as_mut().filter(|_| !group.tests.is_empty()) {
        whole.agrees(&group.about, (group.unit.map(UnitCode::as_str), group.basis));
    }
}

/// A basis as written on a kit ("NO3-N", "as P"), as the catalogue has it; `None` where the parameter has no such basis.
pub fn basis_of(parameter: &analysis::vocabulary::Parameter, written: &str) -> Option<&'static str> {
    let known = |wanted: &str| {
        parameter.accepts.iter().filter_map(|accepted| accepted.basis).find(|basis| basis.eq_ignore_ascii_case(wanted))
    };
    let plain = written.trim().trim_start_matches("as ").trim();
    known(plain).or_else(|| plain.rsplit_once('-').and_then(|(_, last)| known(last)))
}

/// What the kit's numbers count, where neither header nor cell says.
fn kit_basis(work: &mut Work, group: &mut Group) {
    if group.basis.is_some() || group.parameter.code.as_str() == "salinity" {
        return;
    }
    each(group, |group, test| {
        let stated = test.basis.is_some() || test.unit.is_some_and(|unit| Some(unit) != group.unit);
        if stated {
            return;
        }
        let written = crate::doubt::mark::instrument(work, group, test, |instrument| instrument.basis.clone());
        test.basis = written.as_deref().and_then(|basis| basis_of(group.parameter, basis));
    });
}

/// Runs something over the pending cells of a group that hold a number.
pub(crate) fn each(group: &mut Group, mut run: impl FnMut(&Group, &mut Test)) {
    let mut tests = std::mem::take(&mut group.tests);
    for test in tests.iter_mut().filter(|test| test.pending() && test.number().is_some()) {
        run(group, test);
    }
    group.tests = tests;
}

/// The written numbers of pending cells, and in a part of a long file a sample of the whole column beside them.
pub(crate) fn written(work: &Work, group: &Group) -> Vec<f64> {
    let own = group.tests.iter().filter(|test| test.pending()).filter_map(Test::figures).map(|figures| figures.first);
    let whole = work.whole.as_ref().map_or(&[][..], |whole| whole.sample(&group.about));
    own.chain(whole.iter().copied()).collect()
}

/// Units written in the cells: another than the column's wins, with a note.
fn cell_units(work: &mut Work, group: &mut Group) {
    each(group, |group, test| {
        let Some(found) = test.number().and_then(|number| number.unit.as_deref()).and_then(find_unit) else { return };
        if test.unit.is_some_and(|unit| unit == found.unit) {
            return;
        }
        // "8.2 h" under a parameter that knows no hours is a word, not a unit.
        let known = group.parameter.accepts.iter().any(|accepted| accepted.unit == found.unit)
            || group.parameter.is_own_scale(found.unit);
        if !known {
            let about = test.written.to_lowercase();
            let doubt = about_cell("word_in_numbers", group, test).about(about);
            crate::canonical::test::refuse(work, test, doubt);
            return;
        }
        test.unit = Some(found.unit);
        test.basis = test.basis.or(found.basis);
        if group.stated && group.unit != Some(found.unit) && group.unit.is_some() {
            work.desk.raise(about_cell("unit_from_cell", group, test).about(&group.about).cell(test.spot, "value"));
        }
    });
}

/// Watts, lux, pump rates: kept as this tank's own scale.
fn own_scales(work: &mut Work, group: &mut Group) {
    each(group, |group, test| {
        let Some(unit) = group.unit_of(test).0.filter(|unit| group.parameter.is_own_scale(*unit)) else { return };
        let Some(number) = test.number() else { return };
        let value = match number.shape {
            Shape::Is(figures) => Value::is(figures.first),
            Shape::Below(figures) => Value::below(figures.first, Some(0.0)),
            Shape::Above(figures) => Value::above(figures.first),
            Shape::Span(lower, upper) => Value::between(lower.first, upper.first),
        };
        work.desk.raise(
            about_cell("unit_own_scale", group, test)
                .about(&group.about)
                .fill("unit", unit.get().printed)
                .cell(test.spot, "value"),
        );
        let written = number.unit.clone().unwrap_or_else(|| unit.get().printed.to_owned());
        test.settled = Some(value);
        test.flags.push("own_scale");
        test.own_scale = Some(Box::new((unit, written)));
    });
}

/// The unit of a column that states none: the parameter's own by convention, unless the values fit another only.
fn column_unit(work: &mut Work, group: &mut Group) {
    let parameter = group.parameter;
    if parameter.kind == ParameterKind::Trace {
        return ask_unit(work, group, &[]);
    }
    let special = matches!(parameter.code.as_str(), "temperature" | "salinity" | "alkalinity" | "phosphate" | "oxygen");
    let middle = median(written(work, group).into_iter().filter(|value| *value != 0.0));
    if special || middle.is_none() {
        return;
    }
    let middle = middle.unwrap_or_default();
    let near = |value: f64| match parameter.plausible {
        Some((low, high)) => {
            parameter.is_possible(value) && value >= low / 10.0 && value <= (high * 10.0).max(high + 1.0)
        }
        None => parameter.is_possible(value),
    };
    if near(middle) {
        return;
    }
    let fitting: Vec<UnitCode> = parameter
        .accepts
        .iter()
        .filter(|accepted| accepted.unit != parameter.unit && matches!(accepted.unit.as_str(), "ug/L" | "mg/L"))
        .filter(|accepted| parameter.convert(middle, accepted.unit.as_str(), accepted.basis).is_ok_and(near))
        .map(|accepted| accepted.unit)
        .collect();
    let mut fitting_once = fitting;
    fitting_once.dedup();
    if !fitting_once.is_empty() {
        ask_unit(work, group, &fitting_once);
    }
}

/// Asks for the unit of a column.
fn ask_unit(work: &mut Work, group: &mut Group, fitting: &[UnitCode]) {
    let settled = work.desk.ask("unit_missing", &group.about);
    if let Some(unit) = settled.choice().and_then(|choice| unit_of_answer(group, choice, settled)) {
        group.unit = Some(unit);
        return;
    }
    let mut units: Vec<UnitCode> = group.parameter.accepts.iter().map(|accepted| accepted.unit).collect();
    if group.parameter.kind == ParameterKind::Trace {
        units.extend(["ug/L", "mg/L"].into_iter().filter_map(UnitCode::parse));
    }
    units.sort();
    units.dedup();
    let choices: Vec<Choice> = units
        .iter()
        .map(|unit| Choice { code: unit.as_str().to_owned(), label: unit.get().printed.to_owned(), needs: None })
        .collect();
    let proposed = match fitting {
        [only] => Some(*only),
        _ => None,
    };
    let about = group.about.clone();
    each(group, |group, test| {
        if test.unit.is_some() {
            return;
        }
        let mut doubt = about_cell("unit_missing", group, test).choices(choices.clone());
        doubt = match proposed {
            Some(unit) => doubt.propose(unit.as_str(), None),
            None => doubt.propose_nothing(),
        };
        put_or_hold(work, test, &about, doubt);
    });
}

/// Puts a question; an answer that does not fit it leaves the cell waiting.
pub(crate) fn put_or_hold(work: &mut Work, test: &mut Test, about: &str, doubt: Doubt) {
    if let Settled::Choice(..) = put(work, test, about, doubt.clone()) {
        work.desk.raise(doubt.about(about).cells(test.cells()));
        test.state = State::Held;
    }
}

/// The unit that an answer names, by its code or its value.
fn unit_of_answer(group: &Group, choice: &str, settled: Settled) -> Option<UnitCode> {
    let known = |text: &str| {
        UnitCode::parse(text)
            .or_else(|| find_unit(text).map(|found| found.unit))
            .filter(|unit| group.parameter.accepts.iter().any(|accepted| accepted.unit == *unit))
    };
    known(choice).or_else(|| settled.text().and_then(|text| known(&text)))
}

/// A number outside the hard limits under its stated unit that another unit of the parameter would explain.
fn contradictions(work: &mut Work, group: &mut Group) {
    let usual = median(
        group
            .canonical_values()
            .into_iter()
            .map(|(_, value)| value)
            .filter(|value| group.parameter.is_plausible(*value)),
    );
    let about = group.about.clone();
    each(group, |group, test| {
        let Some(figures) = test.figures().filter(|_| !test.confirmed) else { return };
        let possible = |value: Option<f64>| value.is_some_and(|value| group.parameter.is_possible(value));
        if possible(group.canonical(test, figures.first))
            || figures.second.is_some_and(|second| possible(group.canonical(test, second)))
        {
            return;
        }
        let (own, _) = group.unit_of(test);
        let fits: Vec<(UnitCode, Option<&'static str>)> = group
            .parameter
            .accepts
            .iter()
            .filter(|accepted| Some(accepted.unit) != own.or(Some(group.parameter.unit)))
            .filter(|accepted| accepted.basis.is_none() || accepted.assumed)
            .filter(|accepted| {
                group.parameter.convert(figures.first, accepted.unit.as_str(), accepted.basis).is_ok_and(|value| {
                    group.parameter.is_plausible(value)
                        && usual.is_none_or(|usual| usual == 0.0 || (0.2..5.0).contains(&(value / usual)))
                })
            })
            .map(|accepted| (accepted.unit, accepted.basis))
            .collect();
        let [(unit, basis)] = fits.as_slice() else { return };
        let stated = own.unwrap_or(group.parameter.unit);
        let name = format!("{about}:{}", unit.as_str());
        let doubt = about_cell("unit_contradicts", group, test)
            .fill("unit", stated.get().printed)
            .fill("fits", unit.get().printed)
            .propose("unit", None);
        if let Settled::Choice("unit", _) = put(work, test, &name, doubt) {
            (test.unit, test.basis) = (Some(*unit), *basis);
        }
    });
}

/// Rewrites a cell as a plain number in a unit: an answer said what was meant.
pub(crate) fn reread(test: &mut Test, value: f64, unit: Option<UnitCode>, basis: Option<&'static str>) {
    test.put(value);
    if let Says::Number(Number { unit: written, .. }) = &mut test.says {
        *written = None;
    }
    if unit.is_some() {
        test.unit = unit;
        test.basis = basis;
    }
}
