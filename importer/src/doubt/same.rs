//! Readings of one tank, parameter and time twice in a file: a repeat is one reading, unequal ones are asked about.

use std::collections::BTreeMap;

use crate::canonical::Work;
use crate::canonical::tank::TankOf;
use crate::canonical::test::{Group, State, about_cell, leave, taken};
use crate::doubt::desk::Settled;
use crate::record::Taken;

type Key = (String, &'static str, Option<String>, Taken);

/// Finds repeats and conflicts over all groups of the file.
pub(crate) fn settle(work: &mut Work, groups: &mut [Group]) {
    let mut places: BTreeMap<Key, Vec<(usize, usize)>> = BTreeMap::new();
    for (g, group) in groups.iter().enumerate() {
        for (t, test) in group.tests.iter().enumerate() {
            if test.state != State::Pending || test.settled.is_none() || test.second.is_some() {
                continue;
            }
            let (TankOf::Named(tank), Some(taken)) = (&test.tank, taken(&test.when)) else { continue };
            places
                .entry((crate::cell::fold::name(tank), group.parameter.code.as_str(), test.specimen.clone(), taken))
                .or_default()
                .push((g, t));
        }
    }
    for (key, mut same) in places.into_iter().filter(|(_, same)| same.len() > 1) {
        same.sort_by_key(|(g, t)| groups[*g].tests[*t].spot);
        repeats(work, groups, &mut same);
        if same.len() > 1 {
            conflict(work, groups, &key, &same);
        }
    }
}

/// Equal values are one reading that stands on several cells.
fn repeats(work: &mut Work, groups: &mut [Group], same: &mut Vec<(usize, usize)>) {
    let mut kept: Vec<(usize, usize)> = Vec::new();
    for &(g, t) in same.iter() {
        let test = &groups[g].tests[t];
        let equal = kept.iter().copied().find(|(kg, kt)| {
            let other = &groups[*kg].tests[*kt];
            other.settled == test.settled && other.flags == test.flags && other.own_scale == test.own_scale
        });
        let Some((kg, kt)) = equal else {
            kept.push((g, t));
            continue;
        };
        work.desk.raise(
            about_cell("row_repeated", &groups[g], test)
                .fill("row", test.spot.row.to_string())
                .cells(test.cells.iter().copied()),
        );
        let cells = test.cells.clone();
        groups[g].tests[t].state = State::Left;
        let kept_cells = &mut groups[kg].tests[kt].cells;
        for cell in cells {
            if !kept_cells.iter().any(|(spot, _)| *spot == cell.0) {
                kept_cells.push(cell);
            }
        }
    }
    *same = kept;
}

fn conflict(work: &mut Work, groups: &mut [Group], key: &Key, same: &[(usize, usize)]) {
    let columns: std::collections::BTreeSet<&str> = same.iter().map(|(g, _)| groups[*g].about.as_str()).collect();
    let two_kits =
        columns.len() > 1 && matches!(work.desk.ask("column_twice", key.1), Settled::Choice("two_kits" | "repeat", _));
    let name = format!("{}|{}|{}", key.0, key.1, key.3);
    let settled = work.desk.ask("row_conflict", &name);
    let replicate = two_kits || matches!(settled, Settled::Choice("two_tests", _));
    if replicate {
        for &(g, t) in same {
            groups[g].tests[t].flags.push("replicate");
        }
        return;
    }
    let drop = match settled {
        Settled::Choice("first_wrong", _) => vec![same[0]],
        Settled::Choice("second_wrong", _) => vec![same[1]],
        Settled::LeaveOut => same.to_vec(),
        _ => {
            let first = &groups[same[0].0];
            let (one, other) = (&first.tests[same[0].1], &groups[same[1].0].tests[same[1].1]);
            let mut doubt = about_cell("row_conflict", first, one)
                .about(name)
                .fill("first", &one.written)
                .fill("second", &other.written)
                .fill("day", key.3.on.to_string());
            for &(g, t) in same {
                doubt = doubt.cells(groups[g].tests[t].cells.iter().copied());
                groups[g].tests[t].state = State::Held;
            }
            work.desk.raise(doubt);
            return;
        }
    };
    let left = same.len() - drop.len();
    for (g, t) in drop {
        let mut test = groups[g].tests[t].clone();
        leave(work, &mut test);
        groups[g].tests[t] = test;
    }
    if left > 1 {
        for &(g, t) in same {
            groups[g].tests[t].flags.push("replicate");
        }
    }
}
