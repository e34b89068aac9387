//! A name written in a cell → a tank: one the keeper has or the file names, a question if it is near one, else a new one.

use super::TankOf;
use crate::canonical::Work;
use crate::canonical::near::Nearness;
use crate::cell::fold;
use crate::doubt::desk::{Doubt, Settled, Spot};
use crate::finding::Choice;

/// The tank of a name written in a cell.
pub(crate) fn named(work: &mut Work, written: &str, spot: Spot, role: &'static str) -> TankOf {
    // A stray quote is no part of a name, unless the keeper's tank has it.
    let bare = fold::unquoted(written);
    let bare = if work.tanks.known(written).is_some() { written } else { &bare };
    let folded = fold::name(bare);
    if let Some(settled) = work.tanks.settled.get(&folded).cloned() {
        if let TankOf::Named(name) = &settled {
            joined(work, written, name, spot, role);
        } else if let TankOf::Held(key) = &settled {
            work.desk.wait(key, [(spot, role)]);
        }
        return settled;
    }
    let settled = decide(work, bare, &folded, spot, role);
    if let TankOf::Named(name) = &settled {
        joined(work, written, name, spot, role);
        let name = name.clone();
        work.tanks.note_use(&name, Some((spot, role)));
    }
    work.tanks.settled.insert(folded, settled.clone());
    settled
}

/// Notes a spelling that differs in case, outer blanks or a stray quote only.
fn joined(work: &mut Work, written: &str, name: &str, spot: Spot, role: &'static str) {
    let same = |written: &str| fold::name(written) == fold::name(name);
    if written != name && (same(written) || same(&fold::unquoted(written))) {
        work.desk.raise(
            Doubt::of("tank_spelling_joined")
                .about(fold::name(name))
                .at(spot, written)
                .fill("written", written)
                .fill("known", name)
                .cell(spot, role),
        );
    }
}

/// The tank of a name: exactly one the keeper has or the file names, a question if it is near one, else a new one.
/// Names are never joined on nearness alone.
fn decide(work: &mut Work, written: &str, folded: &str, spot: Spot, role: &'static str) -> TankOf {
    if let Some(tank) = work.tanks.find(written) {
        return TankOf::Named(tank);
    }
    if work.tanks.used.len() >= MOST {
        return beyond(work, written, spot, role);
    }
    if let Some(settled) = near_one(work, written, folded, spot, Some(role)) {
        return settled;
    }
    let name = fold::plain(written);
    made(work, &name, spot, role);
    TankOf::Named(name)
}

/// Tanks that one file may name: a column with more names does not hold tanks.
const MOST: usize = 500;

/// A name beyond them: one question for all.
fn beyond(work: &mut Work, written: &str, spot: Spot, role: &'static str) -> TankOf {
    if work.desk.ask("tanks_too_many", "") == Settled::LeaveOut {
        return TankOf::Left;
    }
    let doubt = Doubt::of("tanks_too_many").at(spot, written).fill("written", written).fill("limit", MOST.to_string());
    let key = doubt.key();
    work.desk.raise(doubt.cell(spot, role));
    TankOf::Held(key)
}

/// What is asked, or was answered, about a name near a known one; `None` = it is a tank of its own. Without a role the
/// name stands in no cell.
pub(super) fn near_one(
    work: &mut Work,
    written: &str,
    folded: &str,
    spot: Spot,
    role: Option<&'static str>,
) -> Option<TankOf> {
    let near = work.tanks.near(written);
    let (nearness, nearest) = near.first()?;
    // The answer holds for this pair of names: with another tank nearest it is another question.
    let about = format!("{folded} = {}", fold::name(nearest));
    let settled = work.desk.ask("tank_name_near", &about);
    match settled {
        Settled::Choice("one", _) => return Some(TankOf::Named(nearest.clone())),
        Settled::Choice("tank", _) => {
            if let Some(tank) = settled.text().and_then(|name| work.tanks.find(&name)) {
                return Some(TankOf::Named(tank));
            }
        }
        Settled::Choice(..) => return None,
        Settled::LeaveOut => return Some(TankOf::Left),
        Settled::Open | Settled::DontKnow => {}
    }
    let mut doubt = Doubt::of("tank_name_near")
        .about(about)
        .at(spot, written)
        .fill("written", written)
        .fill("known", nearest)
        .cells(role.map(|role| (spot, role)));
    if role.is_none() {
        doubt = doubt.of_row();
    }
    if near.len() > 1 {
        let names: Vec<&str> = near.iter().map(|(_, name)| name.as_str()).collect();
        let choice = |code: &str, label: String, needs: Option<String>| Choice { code: code.to_owned(), label, needs };
        doubt = doubt.choices(vec![
            choice("one", format!("one tank with {nearest}"), None),
            choice("tank", names.join(", "), Some("tank".to_owned())),
            choice("two", "a tank of its own".to_owned(), None),
        ]);
    }
    if near.len() > 1 || *nearness == Nearness::Words {
        doubt = doubt.propose_nothing();
    }
    let key = doubt.key();
    work.desk.raise(doubt);
    Some(TankOf::Held(key))
}

/// Notes a tank that a name has made.
fn made(work: &mut Work, name: &str, spot: Spot, role: &'static str) {
    work.desk.raise(Doubt::of("tank_made").about(fold::name(name)).at(spot, name).fill("tank", name).cell(spot, role));
}
