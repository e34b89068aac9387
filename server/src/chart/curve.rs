//! Shares alive in steps, with their limits, the ends of follow-up and the numbers at risk under the axis.

use analysis::answer::{CurvePoint, SurvivalAnswer, SurvivalGroup};
use analysis::refusal::Part;
use analysis::wording::comparison::two_digits;

use super::canvas::{At, Canvas, INK, RULE, STROKES, Set, WORDS};
use super::sheet::{Room, Words, compose};
use super::{Size, Source, fallback, letters, short_cautions};

/// Mean days of a month.
const MONTH: f64 = 30.4375;
/// Limits are drawn as areas for so many groups; of more, at the horizon only.
const AREAS: usize = 2;

/// A group with a curve, and its place among the strokes.
struct Drawn<'a> {
    stroke: usize,
    group: &'a SurvivalGroup,
    curve: &'a [CurvePoint],
}

/// The picture of an answer on survival.
pub fn survival(answer: &SurvivalAnswer, source: &Source, size: Size) -> String {
    let split =
        if answer.question.by == "none" { String::new() } else { format!(", by {}", spoken(answer.question.by)) };
    let ends = match answer.question.outcome {
        None | Some("death") => "share alive since purchase".to_owned(),
        Some(outcome) => format!("share without {} since purchase", spoken(outcome).replace("first ", "a first ")),
    };
    let about = format!("survival of {}{split}", answer.taxon.asked);
    let mut words = Words {
        title: format!("{}: {ends}{split}", answer.taxon.name),
        source: source.line(answer.state, &about, &answer.evidence),
        notes: fallback(&answer.taxon),
        ..Words::default()
    };
    let result = match &answer.result {
        Part::Refused { refused } => {
            words.sentence = format!("No figure. {}", refused.message);
            words.notes.extend(short_cautions(&answer.cautions));
            return compose(&words, size, |_, room| room.top);
        }
        Part::Given(result) => result,
    };
    let mut drawn = Vec::new();
    for group in &result.groups {
        match &group.curve {
            Part::Given(curve) if !curve.is_empty() => drawn.push(Drawn { stroke: drawn.len(), group, curve }),
            Part::Given(_) => words.notes.push(format!("{}: no curve.", called(group))),
            Part::Refused { refused } => words.notes.push(format!("{}: no curve. {}", called(group), refused.message)),
        }
    }
    words.sentence = match (&result.sentence, result.groups.as_slice()) {
        (Part::Given(sentence), _) => sentence.clone(),
        (_, [only]) => match &only.sentence {
            Part::Given(sentence) => sentence.clone(),
            Part::Refused { refused } => refused.message.clone(),
        },
        _ => String::new(),
    };
    words.alternative = alternative(&drawn);
    if drawn.is_empty() {
        words.notes.extend(short_cautions(&answer.cautions));
        return compose(&words, size, |_, room| room.top);
    }
    let mut key = if drawn.len() <= AREAS {
        "Shaded: limits of 95 %.".to_owned()
    } else {
        "Bars at the horizon: limits of 95 %.".to_owned()
    };
    if drawn.iter().any(|of| of.curve.iter().any(|point| point.censored > 0)) {
        key += " Short strokes: corals whose follow-up ended alive.";
    }
    if answer.question.audience != analysis::answer::Audience::Curator {
        key += " Corals whose follow-up ends leave the numbers at risk; the curve ends where too few are left to show.";
    }
    words.notes.push(key);
    words.notes.extend(short_cautions(&answer.cautions));
    let horizon = answer.question.horizon_days.unwrap_or(365.0);
    compose(&words, size, |canvas, room| draw(canvas, room, &drawn, horizon))
}

fn spoken(code: &str) -> String {
    code.replace('_', " ")
}

fn called(group: &SurvivalGroup) -> String {
    if group.group == "all" { "All corals".to_owned() } else { group.label.clone() }
}

fn alternative(drawn: &[Drawn<'_>]) -> String {
    let mut said = Vec::new();
    for of in drawn {
        let at = |point: &CurvePoint| {
            let limits = match point.lower.zip(point.upper) {
                Some((lower, upper)) => format!(" ({} to {})", percent(lower), percent(upper)),
                None => String::new(),
            };
            format!("{} after {:.0} days{limits}", percent(point.survival), point.time)
        };
        let last = of.curve.last().map(at).unwrap_or_default();
        let year = of.curve.iter().rev().find(|point| point.time <= 366.0).map(at).unwrap_or_default();
        let year = if year == last { String::new() } else { format!("{year}, ") };
        said.push(format!("{}: {year}{last}.", called(of.group)));
    }
    said.join(" ")
}

/// A share in percent, without decimals.
pub fn percent(share: f64) -> String {
    format!("{:.0} %", 100.0 * share)
}

/// Months between two marks of the axis so that at most eight stand on it.
fn every(months: f64) -> f64 {
    [1.0, 2.0, 3.0, 6.0, 12.0, 24.0].into_iter().find(|step| months / step <= 8.0).unwrap_or(48.0)
}

fn draw(canvas: &mut Canvas, room: &Room, drawn: &[Drawn<'_>], horizon: f64) -> f64 {
    let words = Set { size: room.letters, bold: false, ink: WORDS, at: At::Start };
    let figures = Set { ink: INK, at: At::End, ..words };
    let small = Set { size: room.letters - 1.0, ..words };
    let name_room = room.width * 0.24;
    let names: Vec<Vec<String>> = drawn
        .iter()
        .map(|of| {
            let mut lines = letters::lines(&called(of.group), words.size, false, name_room);
            lines.extend(letters::lines(
                &format!("{} corals, {} lost", of.group.n, of.group.events),
                small.size,
                false,
                name_room,
            ));
            lines
        })
        .collect();
    let widest = names.iter().flatten().map(|line| letters::width(line, words.size, false)).fold(0.0, f64::max);
    let (left, right) = (room.left + 44.0, room.left + room.width - widest - 30.0);
    let table = 15.0 * (drawn.len() as f64 + 1.0) + 40.0;
    let high = room.height.map_or(0.42 * room.width, |height| (height - table - 12.0).max(90.0));
    let (top, bottom) = (room.top + 4.0, room.top + 4.0 + high);
    let last = drawn.iter().filter_map(|of| of.curve.last()).map(|point| point.time).fold(0.0, f64::max);
    let step = every(last.max(MONTH) / MONTH);
    let end = ((last / MONTH / step - 0.02).ceil().max(1.0)) * step * MONTH;
    let x = |days: f64| left + (right - left) * (days / end).min(1.0);
    let y = |share: f64| bottom - (bottom - top) * share;

    for quarter in 0..=4 {
        let share = f64::from(quarter) / 4.0;
        canvas.rule((left, y(share)), (right, y(share)), if quarter == 0 { INK } else { RULE }, 0.6);
        canvas.text(left - 6.0, y(share) + 4.0, figures, &percent(share));
    }
    canvas.rule((left, top), (left, bottom), INK, 0.8);
    let ticks: Vec<f64> = (0..=(end / MONTH / step).round() as u32).map(|n| f64::from(n) * step).collect();
    for months in &ticks {
        let at = x(months * MONTH);
        canvas.rule((at, bottom), (at, bottom + 4.0), INK, 0.8);
        canvas.text(at, bottom + 16.0, Set { at: At::Middle, ..figures }, &format!("{months:.0}"));
    }
    canvas.text((left + right) / 2.0, bottom + 30.0, Set { at: At::Middle, ..words }, "months since purchase");

    if drawn.len() <= AREAS {
        for of in drawn {
            limits(canvas, of, &x, &y);
        }
    }
    for of in drawn {
        let mut points = vec![(x(of.group.start_time), y(1.0))];
        let mut height = 1.0;
        for point in of.curve {
            points.push((x(point.time), y(height)));
            points.push((x(point.time), y(point.survival)));
            height = point.survival;
        }
        canvas.line(&points, of.stroke, 1.8);
        for point in of.curve.iter().filter(|point| point.censored > 0) {
            let at = (x(point.time), y(point.survival));
            canvas.rule((at.0, at.1 - 3.5), (at.0, at.1 + 0.5), STROKES[of.stroke % STROKES.len()].1, 0.9);
        }
    }
    if drawn.len() > AREAS {
        bars(canvas, drawn, horizon, &x, &y);
    }
    label(canvas, drawn, &names, (right + 8.0, top, bottom), words, &y);

    // The table of numbers at risk, under the marks of the axis.
    let mut row = bottom + 48.0;
    canvas.text(room.left, row, Set { bold: true, ink: INK, ..small }, "At risk");
    canvas.rule((room.left, row + 4.0), (right, row + 4.0), RULE, 0.6);
    for of in drawn {
        row += 15.0;
        canvas.line(&[(room.left, row - 3.5), (room.left + 26.0, row - 3.5)], of.stroke, 1.8);
        for months in &ticks {
            let days = months * MONTH;
            // Just before this day: what the next point says, as long as one comes.
            let at_risk = of.curve.iter().find(|point| point.time >= days - 0.5).map(|point| point.at_risk);
            let shown = if days < of.group.start_time { None } else { at_risk };
            let text = shown.map_or("–".to_owned(), |count| count.to_string());
            canvas.text(x(days), row, Set { at: At::Middle, ink: INK, ..small }, &text);
        }
    }
    row + 2.0
}

/// The area between the limits, where both are known.
fn limits(canvas: &mut Canvas, of: &Drawn<'_>, x: &impl Fn(f64) -> f64, y: &impl Fn(f64) -> f64) {
    let (mut above, mut below) = (Vec::new(), Vec::new());
    let mut before: Option<(f64, f64)> = None;
    for point in of.curve {
        if let Some((lower, upper)) = before {
            above.push((x(point.time), y(upper)));
            below.push((x(point.time), y(lower)));
        }
        before = point.lower.zip(point.upper);
        if let Some((lower, upper)) = before {
            above.push((x(point.time), y(upper)));
            below.push((x(point.time), y(lower)));
        }
    }
    above.extend(below.into_iter().rev());
    if above.len() > 3 {
        canvas.area(&above, STROKES[of.stroke % STROKES.len()].1, 0.13);
    }
}

/// Limits at the horizon side by side.
fn bars(canvas: &mut Canvas, drawn: &[Drawn<'_>], horizon: f64, x: &impl Fn(f64) -> f64, y: &impl Fn(f64) -> f64) {
    for (n, of) in drawn.iter().enumerate() {
        let Part::Given(point) = &of.group.at_horizon else { continue };
        let (Some(lower), Some(upper)) = (point.lower, point.upper) else { continue };
        let at = x(horizon) + 5.0 * (n as f64 - (drawn.len() as f64 - 1.0) / 2.0);
        let ink = STROKES[of.stroke % STROKES.len()].1;
        canvas.rule((at, y(lower)), (at, y(upper)), ink, 1.2);
        canvas.rule((at - 2.0, y(lower)), (at + 2.0, y(lower)), ink, 1.2);
        canvas.rule((at - 2.0, y(upper)), (at + 2.0, y(upper)), ink, 1.2);
        canvas.mark(at, y(point.survival), n, 2.2, ink);
    }
}

/// The groups' names beside the ends of their lines, apart from each other.
fn label(
    canvas: &mut Canvas,
    drawn: &[Drawn<'_>],
    names: &[Vec<String>],
    (left, top, bottom): (f64, f64, f64),
    set: Set,
    y: &impl Fn(f64) -> f64,
) {
    let step = set.size * 1.15;
    let mut order: Vec<usize> = (0..drawn.len()).collect();
    let height = |n: usize| drawn[n].curve.last().map_or(1.0, |point| point.survival);
    order.sort_by(|a, b| height(*b).total_cmp(&height(*a)));
    let mut free = top + set.size * 0.7;
    let all: f64 = names.iter().map(|lines| lines.len() as f64 * step + 5.0).sum();
    for n in order {
        let needed: f64 = names[n].len() as f64 * step + 5.0;
        let wanted = y(height(n)) + 4.0;
        // Not so low that those that follow would not fit.
        let mut at = wanted.max(free).min((bottom + set.size - all).max(free));
        canvas.line(&[(left, at - 3.5), (left + 16.0, at - 3.5)], drawn[n].stroke, 1.8);
        free = at + needed;
        for (i, line) in names[n].iter().enumerate() {
            let is_count = i + 1 == names[n].len();
            let size = if is_count { set.size - 1.0 } else { set.size };
            canvas.text(left + 20.0, at, Set { size, ink: if is_count { WORDS } else { INK }, ..set }, line);
            at += step;
        }
    }
}

/// A rate with its limits.
pub fn with_limits(estimate: f64, lower: Option<f64>, upper: Option<f64>) -> String {
    match lower.zip(upper) {
        Some((lower, upper)) => format!("{} ({} to {})", two_digits(estimate), two_digits(lower), two_digits(upper)),
        None => format!("{} (no limits)", two_digits(estimate)),
    }
}
