//! Readings of one tank, parameter and time twice in a file: a repeat is one reading, unequal ones are asked about.

use std::collections::HashMap;

use crate::canonical::Work;
use crate::canonical::tank::TankOf;
use crate::canonical::test::{Group, State, Test, about_cell, leave, taken};
use crate::doubt::desk::Settled;
use crate::record::Taken;

/// What tells readings of one parameter apart: the tank by name, the coral, the time.
type Key = (String, Option<Box<str>>, Taken);

/// Finds repeats and conflicts over all groups of a parameter.
pub(crate) fn settle(work: &mut Work, groups: &mut [Group]) {
    for (key, mut same) in met_again(groups) {
        same.sort_by_key(|(g, t)| groups[*g].tests[*t].spot);
        repeats(work, groups, &mut same);
        if same.len() > 1 {
            conflict(work, groups, &key, &same);
        }
    }
}

/// Tests of one tank, coral and time, where there are several, by group and position.
fn met_again(groups: &[Group]) -> Vec<(Key, Vec<(usize, usize)>)> {
    let taking_part = |test: &&Test| test.state == State::Pending && test.settled.is_some() && test.second.is_none();
    // Few names stand in many rows: a number each, so that a long file's tests are small to sort.
    let mut written: HashMap<(&TankOf, Option<&str>), u32> = HashMap::new();
    let mut numbers: HashMap<(String, Option<&str>), u32> = HashMap::new();
    let mut places: Vec<(u32, Taken, u32, u32)> = Vec::new();
    for (g, group) in (0..).zip(groups) {
        for (t, test) in (0..).zip(&group.tests).filter(|(_, test)| taking_part(test)) {
            let (TankOf::Named(tank), Some(taken)) = (&*test.when.tank, taken(&test.when.day)) else { continue };
            let coral = test.specimen.as_deref();
            let number = *written.entry((&*test.when.tank, coral)).or_insert_with(|| {
                let next = numbers.len() as u32;
                *numbers.entry((crate::cell::fold::name(tank), coral)).or_insert(next)
            });
            places.push((number, taken, g, t));
        }
    }
    places.sort_unstable();
    let names: HashMap<u32, (String, Option<&str>)> =
        numbers.into_iter().map(|(name, number)| (number, name)).collect();
    let mut met: Vec<(Key, Vec<(usize, usize)>)> = places
        .chunk_by(|one, other| (one.0, one.1) == (other.0, other.1))
        .filter(|same| same.len() > 1)
        .filter_map(|same| {
            let (number, taken, ..) = same.first()?;
            let (tank, coral) = names.get(number)?;
            let key = (tank.clone(), coral.map(Into::into), *taken);
            Some((key, same.iter().map(|(.., g, t)| (*g as usize, *t as usize)).collect()))
        })
        .collect();
    met.sort_by(|(one, _), (other, _)| one.cmp(other));
    met
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
            about_cell("row_repeated", &groups[g], test).fill("row", test.spot.row.to_string()).cells(test.cells()),
        );
        let cells: Vec<_> = test.cells().collect();
        groups[g].tests[t].state = State::Left;
        let kept = &mut groups[kg].tests[kt];
        for cell in cells {
            if !kept.cells().any(|(spot, _)| spot == cell.0) {
                kept.more.push(cell);
            }
        }
    }
    *same = kept;
}

fn conflict(work: &mut Work, groups: &mut [Group], key: &Key, same: &[(usize, usize)]) {
    let parameter = groups[same[0].0].parameter.code.as_str();
    let columns: std::collections::BTreeSet<&str> = same.iter().map(|(g, _)| groups[*g].about.as_str()).collect();
    let two_kits = columns.len() > 1
        && matches!(work.desk.ask("column_twice", parameter), Settled::Choice("two_kits" | "repeat", _));
    let name = format!("{}|{parameter}|{}", key.0, key.2);
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
                .fill("day", key.2.on.to_string());
            for &(g, t) in same {
                doubt = doubt.cells(groups[g].tests[t].cells());
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
