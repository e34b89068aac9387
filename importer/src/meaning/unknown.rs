//! Columns whose header names nothing known, or whose values contradict it: read by what else tells, or asked about with
//! the likeliest meanings first. Never loads what it is not sure of.

use std::collections::BTreeSet;

use analysis::vocabulary::{
    HeaderRole, Measure, ParameterCode, ParameterKind, UnitMatch, find_substance_without_code, find_unit,
};

use super::confidence::{ASK_BELOW, calibrated};
use super::likely::{self, Candidate, Evidence, Sample, Speaks};
use super::trust::{By, Trust};
use super::{Meaning, Quantity, SAMPLE};
use crate::canonical::{View, Work};
use crate::cell::mark::{Says, Shape, says};
use crate::dialect::guess::Look;
use crate::doubt::desk::{Doubt, Settled};
use crate::finding::Choice;
use crate::grid::Raw;
use crate::layout::row::look_of;

/// Candidates offered at most.
const MOST_OFFERED: usize = 8;
/// Share of the weight from which a parameter is worth offering.
const WORTH_OFFERING: f64 = 0.004;
/// Numbers a column needs to be read by its values alone.
const ENOUGH: usize = 3;

/// Choices of a question about a column, by code.
pub(crate) fn choices(codes: &[(&str, &str)]) -> Vec<Choice> {
    codes
        .iter()
        .map(|(code, label)| Choice { code: (*code).to_owned(), label: (*label).to_owned(), needs: None })
        .collect()
}

/// Asks what a column is; its cells wait.
pub(crate) fn ask(work: &mut Work, view: &View, column: u32, choices: Vec<Choice>) -> Meaning {
    let cells: Vec<_> = view.filled(column).map(|spot| (spot, "value")).collect();
    work.desk.raise(
        Doubt::of("column_unknown")
            .about(view.about(column))
            .at(view.header_spot(column), view.header(column))
            .fill("column", view.header(column))
            .fill("header", view.header(column))
            .cells(cells)
            .choices(choices)
            .propose_nothing(),
    );
    Meaning::Waiting
}

/// Days of a register under a word that nobody knows.
pub(super) fn days(work: &mut Work, view: &View, column: u32) -> Meaning {
    match work.desk.ask("column_unknown", &view.about(column)) {
        Settled::Choice("acquired", _) => Meaning::Role(HeaderRole::Acquired),
        Settled::Choice("ended", _) => Meaning::Role(HeaderRole::Ended),
        Settled::Choice("last_seen", _) => Meaning::Role(HeaderRole::LastSeen),
        Settled::Choice(..) | Settled::LeaveOut => Meaning::Label,
        Settled::Open | Settled::DontKnow => {
            let days = [
                ("acquired", "the day it came"),
                ("ended", "the day it ended"),
                ("last_seen", "the day it was last seen alive"),
                ("remark", "a remark"),
            ];
            ask(work, view, column, choices(&days))
        }
    }
}

/// Looks at a coral in a table that names none: whose they are cannot be told.
pub(super) fn words(work: &mut Work, view: &View, column: u32) -> Meaning {
    match work.desk.ask("column_unknown", &view.about(column)) {
        Settled::Choice(..) | Settled::LeaveOut => Meaning::Label,
        Settled::Open | Settled::DontKnow => ask(work, view, column, choices(&[("remark", "a remark")])),
    }
}

/// Numbers of a diary under a word that nobody knows.
pub(super) fn sizes(work: &mut Work, view: &View, column: u32) -> Meaning {
    if sample(view, column).found == 0 {
        return Meaning::Label;
    }
    match work.desk.ask("column_unknown", &view.about(column)) {
        Settled::Choice("remark", _) | Settled::LeaveOut => Meaning::Label,
        Settled::Choice(choice, _) if Measure::parse(choice).is_some() => Meaning::Measure(choice.to_owned()),
        _ => {
            let mut known: Vec<(&str, &str)> = MEASURES
                .iter()
                .filter_map(|code| Measure::parse(code))
                .map(|measure| (measure.code, measure.name))
                .collect();
            known.push(("remark", "a remark"));
            ask(work, view, column, choices(&known))
        }
    }
}

/// Measures offered where a diary's column is unknown.
const MEASURES: [&str; 7] =
    ["max_diameter", "height", "head_count", "branch_count", "planar_area", "shell_length", "buoyant_weight"];

/// Numbers of a column, and how many cells hold one.
pub(super) struct Numbers {
    pub sample: Sample,
    pub found: usize,
}

/// Plain numbers among the first filled cells of a column; a column without any there is looked through to its end.
pub(super) fn sample(view: &View, column: u32) -> Numbers {
    let mut numbers = Numbers { sample: Sample::default(), found: 0 };
    let filled = view.table.rows.iter().filter_map(|row| view.raw(row, column));
    for (at, raw) in filled.enumerate() {
        if at >= SAMPLE && numbers.found > 0 {
            break;
        }
        let figures = match raw {
            Raw::Number(number) => crate::cell::number::Figures::certain(*number),
            Raw::Text(text) => match says(text, view.table.decimal_comma) {
                Says::Number(number) => match number.shape {
                    Shape::Is(figures) | Shape::Below(figures) | Shape::Above(figures) | Shape::Span(figures, _) => {
                        figures
                    }
                },
                _ => continue,
            },
            _ => continue,
        };
        numbers.found += 1;
        if figures.first != 0.0 && figures.first.is_finite() {
            numbers.sample.sorted.push(figures.first);
            numbers.sample.decimals = numbers.sample.decimals.max(figures.decimals);
        }
    }
    numbers.sample.sorted.sort_by(f64::total_cmp);
    numbers
}

/// The unit that a header or the row of units states. "Mo" and "V" are units too, unless they name what is measured.
fn unit_of(view: &View, column: u32, header: &str, named: &[Quantity]) -> Option<UnitMatch> {
    let row = || {
        let cell = view.table.units.iter().find(|cell| cell.column == column)?;
        find_unit(&cell.raw.written())
    };
    let bracket = || {
        let inner = header.split_once(['(', '['])?.1.trim_end_matches([')', ']', ' ']);
        find_unit(inner)
    };
    let last = || {
        let word = header.rsplit(char::is_whitespace).next().filter(|word| word.chars().count() >= 2)?;
        find_unit(word)
    };
    if !named.is_empty() {
        return bracket().or_else(row);
    }
    find_unit(header).or_else(bracket).or_else(row).or_else(last)
}

/// A wide table's column of numbers whose header names nothing, or more than one thing: read by its unit, its spelling or
/// its values where they leave no doubt, otherwise asked about.
pub(super) fn numbers(
    work: &mut Work,
    view: &View,
    column: u32,
    header: &str,
    named: &[Quantity],
    taken: &BTreeSet<ParameterCode>,
) -> (Meaning, Trust) {
    if let Some(substance) = find_substance_without_code(header) {
        let cells = view.table.rows.iter().filter(|row| view.raw(row, column).is_some());
        let cells: Vec<_> = cells.map(|row| view.spot(row.row, column)).collect();
        work.desk.raise(
            Doubt::of("column_without_code")
                .about(view.about(column))
                .at(view.header_spot(column), header)
                .fill("column", header)
                .fill("substance", substance),
        );
        work.labels.extend(cells);
        return (Meaning::Label, Trust::word());
    }
    let numbers = sample(view, column);
    if numbers.found == 0 {
        return (Meaning::Label, Trust::of(By::Cells));
    }
    let unit = unit_of(view, column, header, named);
    let about = view.about(column);
    match work.desk.ask("column_unknown", &about) {
        settled @ Settled::Choice(choice, _) => {
            let code = settled.text().unwrap_or_else(|| choice.to_owned());
            if let Some(parameter) = ParameterCode::parse(&code) {
                let told = named.iter().find(|quantity| quantity.parameter == parameter).cloned();
                return (Meaning::Quantity(told.unwrap_or_else(|| plain(parameter, unit))), Trust::answer());
            }
            if choice == "remark" {
                return (Meaning::Label, Trust::answer());
            }
        }
        Settled::LeaveOut => return (Meaning::Label, Trust::answer()),
        Settled::Open | Settled::DontKnow => {}
    }
    let evidence = Evidence { header, named, unit, taken, sample: &numbers.sample };
    let ranked = likely::rank(&evidence);
    let Some(best) = ranked.first().copied() else { return (Meaning::Label, Trust::of(By::Cells)) };
    let confidence = calibrated(best.weight);
    let by = by_what(&evidence, best);
    if let Some(by) = by.filter(|_| confidence >= ASK_BELOW && numbers.sample.sorted.len() >= ENOUGH) {
        let parameter = best.parameter.get();
        work.desk.raise(
            Doubt::of("column_understood")
                .about(about)
                .at(view.header_spot(column), header)
                .fill("column", view.header(column))
                .fill("parameter", parameter.name)
                .fill("evidence", by.sentence()),
        );
        let told = named.iter().find(|quantity| quantity.parameter == best.parameter).cloned();
        let quantity = told.unwrap_or_else(|| plain(best.parameter, unit));
        return (Meaning::Quantity(quantity), Trust { by, confidence, asked: false, likely: Some(best.parameter) });
    }
    (offer(work, view, column, &ranked), Trust::asked(best.parameter, confidence))
}

/// No cell of a column is a number other than 0.
pub(super) fn holds_no_number(view: &View, column: u32) -> bool {
    let mut cells = view.table.rows.iter().filter_map(|row| view.raw(row, column));
    cells.all(|raw| look_of(raw) != Look::Number || matches!(raw.written().trim(), "0" | "0,0" | "0.0"))
}

/// A column of goals is no column of tests: kept as written, and said.
pub(super) fn goals(work: &mut Work, view: &View, column: u32, header: &str) -> Meaning {
    if view.table.rows.iter().any(|row| view.raw(row, column).is_some()) {
        work.desk.raise(
            Doubt::of("column_of_goals")
                .about(view.about(column))
                .at(view.header_spot(column), header)
                .fill("column", view.header(column)),
        );
    }
    Meaning::Label
}

/// What settles a column without a word for it: its unit where only one parameter has it, a near spelling, or, under a
/// header that says nothing, its values. A word that nobody knows may stand for anything: values alone do not settle it.
fn by_what(evidence: &Evidence, best: Candidate) -> Option<By> {
    if !evidence.named.is_empty() {
        return Some(By::Values);
    }
    let trace = best.parameter.get().kind == ParameterKind::Trace;
    if evidence.unit.is_some_and(|found| likely::is_telling(found.unit)) {
        return Some(By::Unit);
    }
    match likely::speaks(evidence.header) {
        Speaks::Nothing | Speaks::Unit if !trace => Some(By::Values),
        Speaks::Something if likely::is_misspelt(evidence.header, best.parameter) => Some(By::Spelling),
        _ => None,
    }
}

fn plain(parameter: ParameterCode, unit: Option<UnitMatch>) -> Quantity {
    Quantity {
        parameter,
        basis: unit.and_then(|found| found.basis),
        unit: unit.map(|found| found.unit),
        limit: None,
        other_tank: false,
    }
}

/// A column whose header names one parameter: asked about where its values say another of nearly the same name.
pub(super) fn named(
    work: &mut Work,
    view: &View,
    column: u32,
    header: &str,
    quantity: Quantity,
    taken: &BTreeSet<ParameterCode>,
) -> (Meaning, Trust) {
    let parameter = quantity.parameter;
    if parameter.get().kind == ParameterKind::Routine {
        return (Meaning::Quantity(quantity), Trust::word());
    }
    let about = view.about(column);
    let numbers = sample(view, column);
    let named = [quantity];
    let unit = unit_of(view, column, header, &named);
    let evidence = Evidence { header, named: &named, unit, taken, sample: &numbers.sample };
    let ranked = likely::rank(&evidence);
    let [quantity] = named;
    let own = ranked.iter().find(|candidate| candidate.parameter == parameter).map_or(0.0, |found| found.weight);
    let confidence = calibrated(own);
    let rival = ranked.iter().find(|candidate| candidate.parameter != parameter);
    let near = rival.is_some_and(|rival| likely::is_nearly(header, rival.parameter));
    if confidence >= ASK_BELOW || !near || numbers.sample.sorted.len() < ENOUGH {
        return (
            Meaning::Quantity(quantity),
            Trust { by: By::Word, confidence, asked: false, likely: Some(parameter) },
        );
    }
    match work.desk.ask("column_unknown", &about) {
        settled @ Settled::Choice(choice, _) => {
            let code = settled.text().unwrap_or_else(|| choice.to_owned());
            match ParameterCode::parse(&code) {
                Some(answered) if answered == parameter => (Meaning::Quantity(quantity), Trust::answer()),
                Some(answered) => (Meaning::Quantity(plain(answered, unit)), Trust::answer()),
                None if choice == "remark" => (Meaning::Label, Trust::answer()),
                None => (offer(work, view, column, &ranked), Trust::asked(parameter, confidence)),
            }
        }
        Settled::LeaveOut => (Meaning::Label, Trust::answer()),
        Settled::Open | Settled::DontKnow => {
            let best = ranked.first().map_or(parameter, |best| best.parameter);
            let confidence = calibrated(ranked.first().map_or(0.0, |best| best.weight));
            (offer(work, view, column, &ranked), Trust::asked(best, confidence))
        }
    }
}

/// Asks with the likeliest first.
fn offer(work: &mut Work, view: &View, column: u32, ranked: &[Candidate]) -> Meaning {
    let worth = ranked.iter().filter(|candidate| candidate.weight >= WORTH_OFFERING).take(MOST_OFFERED);
    ask(work, view, column, parameters_or_remark(worth.map(|candidate| candidate.parameter)))
}

/// What a column or a test nobody can name may be: these parameters, another one, or a remark.
pub(crate) fn parameters_or_remark(likely: impl Iterator<Item = ParameterCode>) -> Vec<Choice> {
    let choice = |code: &str, label: &str, needs: Option<&str>| Choice {
        code: code.to_owned(),
        label: label.to_owned(),
        needs: needs.map(str::to_owned),
    };
    let named = likely.map(|parameter| choice(parameter.as_str(), parameter.get().name, None));
    let others = [choice("parameter", "another parameter", Some("parameter")), choice("remark", "a remark", None)];
    named.chain(others).collect()
}
