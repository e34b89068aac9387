//! Several logs of one keeper: equal values are one fact with two sources, unequal ones both stand.
//!
//! Only water tests can disagree: a day of two looks or two feedings is nothing to ask about. Of facts that a
//! specimen or tank has once, each log's statement is handed on, oldest first.

use std::collections::{BTreeMap, BTreeSet};

use super::key::{Kind, agrees};
use super::version::{Log, Names, Stated};
use super::{Disagreement, Dispute, Preference};
use crate::record::Record;

/// A fact with everything that states it.
#[derive(Debug, Clone)]
pub struct Entry<'a> {
    /// What states it; the first is what is stored.
    pub sources: Vec<Stated<'a>>,
    /// Another log gives another value and nobody has said which is right.
    pub disputed: bool,
    /// The keeper said: two tests.
    pub replicate: bool,
    /// The log it is in: for an edit, that of the fact it corrects.
    pub log: Option<i64>,
}

impl<'a> Entry<'a> {
    /// A fact that is stated once.
    pub fn of(stated: Stated<'a>) -> Self {
        Entry { sources: vec![stated], disputed: false, replicate: false, log: stated.log }
    }

    /// A fact stated anew: it stays in the log that first stated it.
    pub fn corrected(stated: Stated<'a>, entries: &[Entry<'a>]) -> Self {
        Entry { log: first_log(entries), ..Entry::of(stated) }
    }

    /// What it says.
    pub fn record(&self) -> &'a Record {
        self.sources[0].record
    }
}

/// The log that was the first to state any of these.
pub fn first_log(entries: &[Entry<'_>]) -> Option<i64> {
    let stated = entries.iter().flat_map(|entry| entry.sources.iter().map(|stated| (stated.upload, entry.log)));
    stated.filter_map(|(upload, log)| Some((upload, log?))).min().map(|(_, log)| log)
}

/// All facts of a keeper by kind and slot.
pub type Facts<'a> = BTreeMap<Kind, BTreeMap<String, Vec<Entry<'a>>>>;

/// What a keeper answered about pairs of logs, the smaller number first.
pub type Preferences = BTreeMap<(i64, i64), Preference>;

/// A pair of logs in the order of their numbers.
pub fn pair(left: i64, right: i64) -> (i64, i64) {
    (left.min(right), left.max(right))
}

/// One slot in one log: the log's position, its number (a roll call has none and is a list of its own), its facts.
struct Side<'a> {
    position: usize,
    log: Option<i64>,
    stated: Vec<Stated<'a>>,
    disputed: BTreeSet<usize>,
    replicate: BTreeSet<usize>,
}

/// Several logs as one.
#[derive(Debug)]
pub struct Joined<'a> {
    /// Their facts.
    pub facts: Facts<'a>,
    /// The names they give to specimens; of several logs the one that held a name first.
    pub names: Names<'a>,
    /// Where they differ.
    pub disagreements: Vec<Disagreement>,
}

/// Joins logs. `by_first` and `by_last` hold positions in `logs`, ordered by first and by last live upload.
pub fn join<'a>(
    logs: &[(Option<i64>, Log<'a>)],
    by_first: &[usize],
    by_last: &[usize],
    preferences: &Preferences,
) -> Joined<'a> {
    let mut names: Names<'a> = BTreeMap::new();
    let mut facts: Facts<'a> = BTreeMap::new();
    for position in by_last {
        for (key, stated) in logs[*position].1.facts.iter().filter(|(key, _)| !key.kind.repeats()) {
            facts.entry(key.kind).or_default().entry(key.slot.clone()).or_default().push(Entry::of(*stated));
        }
    }
    let mut slots: BTreeMap<(Kind, &str), Vec<Side<'a>>> = BTreeMap::new();
    for position in by_first {
        let (log, content) = &logs[*position];
        for (specimen, given) in &content.names {
            names.entry(specimen.clone()).or_insert_with(|| given.clone());
        }
        for (key, stated) in content.facts.iter().filter(|(key, _)| key.kind.repeats()) {
            let sides = slots.entry((key.kind, &key.slot)).or_default();
            // Keys of a log come in order, so a slot's facts follow one another.
            match sides.last_mut() {
                Some(side) if side.position == *position => side.stated.push(*stated),
                _ => sides.push(Side {
                    position: *position,
                    log: *log,
                    stated: vec![*stated],
                    disputed: BTreeSet::new(),
                    replicate: BTreeSet::new(),
                }),
            }
        }
    }
    let mut disagreements: BTreeMap<(i64, i64), Disagreement> = BTreeMap::new();
    for ((kind, slot), mut sides) in slots {
        if kind == Kind::Reading && sides.len() > 1 {
            compare(slot, &mut sides, preferences, &mut disagreements);
        }
        let entries = facts.entry(kind).or_default().entry(slot.to_owned()).or_default();
        for side in sides {
            let before = entries.len();
            let mut taken = BTreeSet::new();
            for (at, stated) in side.stated.iter().enumerate() {
                let alike =
                    (0..before).find(|entry| !taken.contains(entry) && agrees(entries[*entry].record(), stated.record));
                let entry = match alike {
                    Some(entry) => {
                        taken.insert(entry);
                        entries[entry].sources.push(*stated);
                        entry
                    }
                    None => {
                        entries.push(Entry::of(*stated));
                        entries.len() - 1
                    }
                };
                entries[entry].disputed |= side.disputed.contains(&at);
                entries[entry].replicate |= side.replicate.contains(&at);
            }
        }
    }
    Joined { facts, names, disagreements: disagreements.into_values().collect() }
}

fn compare(
    slot: &str,
    sides: &mut [Side<'_>],
    preferences: &Preferences,
    disagreements: &mut BTreeMap<(i64, i64), Disagreement>,
) {
    let mut dropped: BTreeSet<(usize, usize)> = BTreeSet::new();
    for left in 0..sides.len() {
        for right in left + 1..sides.len() {
            let (Some(left_log), Some(right_log)) = (sides[left].log, sides[right].log) else {
                continue;
            };
            let (left_only, right_only) = unmatched(&sides[left].stated, &sides[right].stated);
            // One more test in one of the logs is no contradiction.
            if left_only.is_empty() || right_only.is_empty() {
                continue;
            }
            let logs = pair(left_log, right_log);
            let answer = preferences.get(&logs).copied();
            match answer {
                Some(Preference::Log(right_one)) => {
                    let (loser, lost) =
                        if right_one == left_log { (right, right_only.clone()) } else { (left, left_only.clone()) };
                    dropped.extend(lost.into_iter().map(|at| (loser, at)));
                }
                Some(Preference::Both) => {
                    sides[left].replicate.extend(left_only.iter().copied());
                    sides[right].replicate.extend(right_only.iter().copied());
                }
                None => {
                    sides[left].disputed.extend(left_only.iter().copied());
                    sides[right].disputed.extend(right_only.iter().copied());
                }
            }
            let (first, second) = if left_log < right_log { (left, right) } else { (right, left) };
            let (first_only, second_only) =
                if left_log < right_log { (left_only, right_only) } else { (right_only, left_only) };
            let written =
                |side: usize, only: &[usize]| only.iter().map(|at| sides[side].stated[*at].record.clone()).collect();
            disagreements
                .entry(logs)
                .or_insert_with(|| Disagreement { logs, answer, disputes: Vec::new() })
                .disputes
                .push(Dispute {
                    slot: slot.to_owned(),
                    first: written(first, &first_only),
                    second: written(second, &second_only),
                });
        }
    }
    for (side, at) in dropped.into_iter().rev() {
        sides[side].stated.remove(at);
        let shift = |marks: &BTreeSet<usize>| {
            marks.iter().filter(|mark| **mark != at).map(|mark| if *mark > at { mark - 1 } else { *mark }).collect()
        };
        sides[side].disputed = shift(&sides[side].disputed);
        sides[side].replicate = shift(&sides[side].replicate);
    }
}

/// Positions of what only the left and only the right states, counted with multiplicity.
fn unmatched(left: &[Stated<'_>], right: &[Stated<'_>]) -> (Vec<usize>, Vec<usize>) {
    let mut free: Vec<usize> = (0..right.len()).collect();
    let mut left_only = Vec::new();
    for (at, stated) in left.iter().enumerate() {
        match free.iter().position(|other| agrees(stated.record, right[*other].record)) {
            Some(found) => {
                free.remove(found);
            }
            None => left_only.push(at),
        }
    }
    (left_only, free)
}
