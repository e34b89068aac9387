//! Who is in each line about the weeks before losses, and whether the lines of a later release may follow.

use std::collections::{BTreeMap, BTreeSet};

use serde::{Deserialize, Serialize};

use super::looked_back::LookedBack;
use super::losses::{Loss, Moment, losses};
use super::shown::Ties;
use super::{Against, valued};
use crate::answer::held::MEMBERS;
use crate::answer::{Audience, Outcome};
use crate::club::Club;
use crate::comparison::sets::stable_hash;
use crate::follow_up::Population;

/// The losses of a population by every outcome, with what its lines are tied to.
pub(in crate::answer) struct LossesOnRecord<'a> {
    club: &'a Club,
    by_outcome: Vec<(Outcome, Vec<Loss>, Ties)>,
    looked: Vec<LookedBack>,
}

/// The codes of the lines about a population.
pub(in crate::answer) fn line_codes(club: &Club, population: &Population) -> Vec<String> {
    LookedBack::all(club, population).iter().map(LookedBack::line_code).collect()
}

impl<'a> LossesOnRecord<'a> {
    /// Outcomes whose records contradict themselves have no lines.
    pub(in crate::answer) fn of(club: &'a Club, population: &Population) -> LossesOnRecord<'a> {
        let of_outcome = |outcome: &Outcome| {
            let ties = Ties::new(club, population, *outcome, Audience::Member).ok()?;
            Some((*outcome, losses(club, population, *outcome).ok()?, ties))
        };
        let by_outcome: Vec<_> = Outcome::ALL.iter().filter_map(of_outcome).collect();
        let everyone = by_outcome.first().map_or_else(|| population.clone(), |(_, _, ties)| ties.everyone(population));
        LossesOnRecord { club, by_outcome, looked: LookedBack::all(club, &everyone) }
    }
}

/// What members have in the lines of one condition or sign; members by a key that names nobody.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Moments {
    /// By outcome and by what losses are set against.
    lines: BTreeMap<String, Line>,
}

/// What members have in one line, hashed.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
struct Line {
    /// Whether the public sees it, and whether members do.
    shown: [bool; 2],
    /// The member's own losses and their values.
    losses: BTreeMap<String, u64>,
    /// These, and the member's corals that others' losses are set against.
    all: BTreeMap<String, u64>,
}

impl Moments {
    /// What members have in the lines of a code; `key` gives a member's key.
    pub(in crate::answer) fn of(
        on_record: &LossesOnRecord,
        line_code: &str,
        key: &dyn Fn(u32) -> Option<String>,
    ) -> Moments {
        let mut moments = Moments::default();
        let Some(what) = on_record.looked.iter().find(|what| what.line_code() == line_code) else { return moments };
        let club = on_record.club;
        for (outcome, losses, ties) in &on_record.by_outcome {
            for against in Against::all() {
                let with = valued(club, losses, what, against);
                if with.is_empty() {
                    continue;
                }
                let shown = [Audience::Public, Audience::Member]
                    .map(|audience| ties.may_be_shown(club, what, against, &with, audience));
                let mut line = Line { shown, ..Line::default() };
                for valued in &with {
                    line.add(club, key, valued.case, valued.own, true);
                    // Earlier months of the same coral are the same member's.
                    let beside = valued.controls.iter().copied().chain(std::iter::repeat(valued.case));
                    for (at, value) in beside.zip(&valued.others) {
                        line.add(club, key, at, *value, against == Against::Earlier);
                    }
                }
                moments.lines.insert(format!("{}|{against:?}", outcome.as_str()), line);
            }
        }
        moments
    }

    /// The same without anything that those who are no members any more had written: only that they were in it.
    pub(in crate::answer) fn without_the_gone(mut self, is_member: impl Fn(&str) -> bool) -> Moments {
        for line in self.lines.values_mut() {
            for (member, hash) in line.losses.iter_mut().chain(&mut line.all) {
                if !is_member(member) {
                    *hash = 1;
                }
            }
        }
        self
    }

    /// Whether these lines may follow older ones: each that is shown, or was, rests on what nobody or at least three
    /// members changed.
    pub(in crate::answer) fn may_follow(&self, older: &Moments) -> bool {
        let nothing = Line::default();
        let names: BTreeSet<&String> = self.lines.keys().chain(older.lines.keys()).collect();
        names.into_iter().all(|name| {
            let of = |moments: &'_ Moments| moments.lines.get(name).cloned();
            let (now, then) = (of(self).unwrap_or_default(), of(older).unwrap_or_default());
            let is_shown = now.shown.iter().chain(&then.shown).any(|shown| *shown);
            let enough = |changed: usize| changed == 0 || changed >= MEMBERS;
            !is_shown
                || now == nothing && then == nothing
                || (enough(changed(&now.losses, &then.losses)) && enough(changed(&now.all, &then.all)))
        })
    }
}

impl Line {
    fn add(&mut self, club: &Club, key: &dyn Fn(u32) -> Option<String>, at: &Moment, value: f64, is_loss: bool) {
        let (Some(member), Some(specimen)) = (key(at.keeper), club.specimens.get(at.specimen as usize)) else { return };
        let hash = stable_hash(&format!("{}|{:?}|{}", specimen.key, at.tank.is_some(), value.to_bits()));
        // The order does not matter.
        if is_loss {
            let own = self.losses.entry(member.clone()).or_default();
            *own = own.wrapping_add(hash);
        }
        let own = self.all.entry(member).or_default();
        *own = own.wrapping_add(hash);
    }
}

/// Members whose part is another one than it was.
fn changed(now: &BTreeMap<String, u64>, then: &BTreeMap<String, u64>) -> usize {
    let members: BTreeSet<&String> = now.keys().chain(then.keys()).collect();
    members.into_iter().filter(|member| now.get(*member) != then.get(*member)).count()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn line(losses: &[(&str, u64)], controls: &[(&str, u64)]) -> Line {
        let mut line = Line { shown: [false, true], ..Line::default() };
        for (member, hash) in losses {
            line.losses.insert((*member).to_owned(), *hash);
            line.all.insert((*member).to_owned(), *hash);
        }
        for (member, hash) in controls {
            let own = line.all.entry((*member).to_owned()).or_default();
            *own = own.wrapping_add(*hash);
        }
        line
    }

    fn moments(line: Line) -> Moments {
        Moments { lines: BTreeMap::from([("death|Earlier".to_owned(), line)]) }
    }

    #[test]
    fn a_line_follows_with_three_members_losses_and_not_with_one_beside_others_controls() {
        let losses = [("ann", 1), ("bo", 2), ("cy", 3), ("di", 4)];
        let before = moments(line(&losses, &[]));
        assert!(before.may_follow(&before));
        // One new loss draws controls of three others.
        let one = moments(line(&[("ann", 9), ("bo", 2), ("cy", 3), ("di", 4)], &[("bo", 7), ("cy", 7), ("di", 7)]));
        assert!(!one.may_follow(&before));
        let three = moments(line(&[("ann", 9), ("bo", 9), ("cy", 9), ("di", 4)], &[]));
        assert!(three.may_follow(&before));
        // Two members' controls alone.
        assert!(!moments(line(&losses, &[("ann", 7), ("bo", 7)])).may_follow(&before));
        assert!(moments(line(&losses, &[("ann", 7), ("bo", 7), ("cy", 7)])).may_follow(&before));
    }

    #[test]
    fn what_nobody_sees_holds_nothing_back() {
        let hidden = |losses: &[(&str, u64)]| moments(Line { shown: [false; 2], ..line(losses, &[]) });
        assert!(hidden(&[("ann", 2)]).may_follow(&hidden(&[("ann", 1)])));
        assert!(!moments(line(&[("ann", 2)], &[])).may_follow(&hidden(&[("ann", 1)])), "it would be seen now");
    }

    #[test]
    fn who_is_gone_counts_as_one_who_changed() {
        let losses = [("ann", 5), ("bo", 2), ("cy", 3), ("di", 4)];
        let kept = moments(line(&losses, &[])).without_the_gone(|member| member != "ann");
        assert!(!moments(line(&losses[1..], &[])).may_follow(&kept));
        assert!(!moments(line(&[("bo", 9), ("cy", 3), ("di", 4)], &[])).may_follow(&kept));
        assert!(moments(line(&[("bo", 9), ("cy", 9), ("di", 4)], &[])).may_follow(&kept));
    }
}
