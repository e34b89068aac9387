//! What only the whole series shows: a step by the factor of a basis, a probe that hung.

use crate::canonical::Work;
use crate::canonical::test::{Group, State, about_cell, median, put, taken};
use crate::doubt::desk::Settled;

/// Factors between two ways of expressing one number: parameter, the two bases, larger per smaller.
const STEPS: [(&str, &str, &str, f64); 2] =
    [("nitrate", "NO3", "N", 62.004 / 14.007), ("phosphate", "PO4", "P", 94.969761998 / 30.973761998)];

/// Looks at a settled group as a whole.
pub(crate) fn settle(work: &mut Work, group: &mut Group) {
    basis_step(work, group);
    probe_stuck(work, group);
}

/// The level of a column jumps once by ×4.43 (N and NO3) or ×3.07 (P and PO4) and stays there.
fn basis_step(work: &mut Work, group: &mut Group) {
    let Some((_, whole, part, factor)) = STEPS.into_iter().find(|(code, ..)| *code == group.parameter.code.as_str())
    else {
        return;
    };
    let values: Vec<(usize, f64)> = group
        .canonical_values()
        .into_iter()
        .filter(|(at, value)| *value > 0.0 && group.tests[*at].settled.is_some())
        .collect();
    if values.len() < 8 {
        return;
    }
    let level = |part: &[(usize, f64)]| median(part.iter().map(|(_, value)| *value)).unwrap_or_default();
    let steady = |part: &[(usize, f64)]| {
        let middle = level(part);
        part.iter().all(|(_, value)| (value / middle).ln().abs() < 0.18)
    };
    // One jump and only one: two level stretches have no other large step inside them.
    let mut jumps = (1..values.len()).filter(|&at| (values[at].1 / values[at - 1].1).ln().abs() > 0.6 * factor.ln());
    let fits = |ratio: f64| (ratio / factor).ln().abs() < 0.05;
    let is_step = |ratio: f64| fits(ratio) || fits(1.0 / ratio);
    let (cut, None) = (jumps.next(), jumps.next()) else { return };
    let Some(cut) = cut else {
        if let Some(whole) = work.whole.as_mut().filter(|_| steady(&values)) {
            whole.level(&group.about, level(&values), is_step);
        }
        return;
    };
    if cut < 4 || cut + 4 > values.len() {
        return;
    }
    let (before, after) = values.split_at(cut);
    let ratio = level(after) / level(before);
    if !steady(before) || !steady(after) || !is_step(ratio) {
        return;
    }
    // The lower side is the one counted as nitrogen or phosphorus.
    let lower: Vec<usize> =
        if level(after) > level(before) { before } else { after }.iter().map(|(at, _)| *at).collect();
    let about = format!("{}:step", group.about);
    for at in lower {
        let mut test = group.tests[at].clone();
        let name = |basis: &str| format!("{} as {basis}", group.parameter.name.to_lowercase());
        let doubt = about_cell("basis_unclear", group, &test).fill("first", name(whole)).fill("second", name(part));
        if let Settled::Choice("second", _) = put(work, &mut test, &about, doubt)
            && let Some(settled) = test.settled.as_mut()
        {
            for end in [&mut settled.value, &mut settled.lower, &mut settled.upper] {
                *end = end.map(|value| value * factor);
            }
        }
        group.tests[at] = test;
    }
}

/// The same value to the last digit for six hours or more in a series that is taken many times a day.
fn probe_stuck(work: &mut Work, group: &mut Group) {
    let timed: Vec<(usize, chrono::NaiveDateTime, f64, u8)> = group
        .tests
        .iter()
        .enumerate()
        .filter(|(_, test)| test.state == State::Pending)
        .filter_map(|(at, test)| {
            let taken = taken(&test.when.day)?;
            Some((at, taken.on.and_time(taken.time?), test.settled?.value?, test.figures()?.decimals))
        })
        .collect();
    if timed.len() < 24 {
        return;
    }
    let mut start = 0;
    while start < timed.len() {
        let same = |row: &(usize, chrono::NaiveDateTime, f64, u8)| row.2 == timed[start].2;
        let end = timed[start..].iter().position(|row| !same(row)).map_or(timed.len(), |length| start + length);
        let hours = (timed[end - 1].1 - timed[start].1).num_hours();
        let whole_series = start == 0 && end == timed.len();
        if end - start >= 12
            && (6..=24 * 60).contains(&hours)
            && timed[start].3 >= 1
            && !whole_series
            && varies(&timed, start, end)
        {
            let about = format!("{}:{}", group.about, timed[start].1.format("%Y-%m-%dT%H:%M"));
            for &(at, ..) in &timed[start..end] {
                let mut test = group.tests[at].clone();
                let doubt = about_cell("probe_stuck", group, &test)
                    .fill("from", timed[start].1.format("%Y-%m-%d %H:%M").to_string())
                    .fill("to", timed[end - 1].1.format("%Y-%m-%d %H:%M").to_string());
                if let Settled::Choice("yes", _) = put(work, &mut test, &about, doubt) {
                    crate::canonical::test::leave(work, &mut test);
                }
                group.tests[at] = test;
            }
        }
        start = end;
    }
}

/// Outside the run hardly any two readings in a row are equal: the probe does move.
fn varies(timed: &[(usize, chrono::NaiveDateTime, f64, u8)], start: usize, end: usize) -> bool {
    let others: Vec<f64> = timed[..start].iter().chain(&timed[end..]).map(|row| row.2).collect();
    let equal = others.windows(2).filter(|pair| pair[0] == pair[1]).count();
    others.len() >= 12 && equal * 2 < others.len()
}
