//! Every check of access is taken out, one at a time, and the table or an attempt has to miss it. One build serves all:
//! `cargo test --workspace --features server/access-mutation --test api_access -- --nocapture mutation`.
//!
//! A check is taken out for the one request that is looked at. Only those requests are sent again that reached the check
//! when nothing was taken out: the others cannot tell the difference. Where two checks stand one behind the other, taking
//! out one of them changes nothing; then both are taken out together, and each counts as the other's second line.

use std::cell::{Cell, RefCell};
use std::collections::{BTreeMap, BTreeSet};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::time::Instant;

use server::access::check::mutation::{Mode, reached, take_out};

use super::sources::{Check, checks};
use super::world::{World, plainly};
use super::{Asking, Row, askings, attempts, table};

/// Calls that narrow nothing: of statistics, which ask with a pooled scope, and behind a link, which is itself the right.
const NO_CHECKS: [&str; 2] = ["server/src/answer", "server/src/access/link.rs:"];

/// Rows that are tried for each pair of checks, besides the attempts.
const LIKELY: usize = 24;
/// Requests that a world lasts.
const LASTS: usize = 400;

type Out = Vec<(String, Mode)>;

enum Case {
    Asked { row: Row, number: usize, keepers: (usize, usize), in_session: bool },
    Attempted { name: &'static str, attempt: attempts::Attempt },
}

impl Case {
    fn name(&self) -> String {
        match self {
            Case::Attempted { name, .. } => (*name).to_owned(),
            Case::Asked { row, in_session, .. } => {
                let how = if *in_session { "session" } else { "token" };
                format!("{} {} as {} ({}, {how})", row.method, row.path, row.role, row.ownership)
            }
        }
    }

    /// Whether it can tell that a check is gone: what is answered to somebody who may read everything, or what everybody
    /// may read, stays the same.
    fn can_miss(&self) -> bool {
        match self {
            Case::Attempted { .. } => true,
            Case::Asked { row, .. } => row.status >= 400 || row.role == "keeper",
        }
    }

    /// Runs it with checks taken out during its one request; gives what was reached, how it was answered, and whether it held.
    fn run(&self, world: &World, out: &Out, turn: usize) -> (BTreeSet<String>, u16, Result<(), String>) {
        let seen = RefCell::new(BTreeSet::new());
        let status = Cell::new(0);
        let strike = |request: reqwest::blocking::RequestBuilder| {
            take_out(out);
            reached();
            let response = request.send().unwrap();
            take_out(&[]);
            seen.borrow_mut().extend(reached());
            status.set(response.status().as_u16());
            response
        };
        let held = match self {
            Case::Attempted { attempt, .. } => {
                attempts::forget_guesses(world);
                attempt(world, &strike)
            }
            Case::Asked { row, number, keepers, in_session } => {
                let api = world.seen_by(keepers.0, keepers.1);
                // Things of the same row have to differ from turn to turn.
                let number = number + 1000 * turn;
                Asking { world, api: &api, keepers: *keepers, in_session: *in_session, number }.holds(row, &strike)
            }
        };
        (seen.take(), status.get(), held)
    }
}

/// The cases: each row once with each way of asking, the first owner's; the attempts last those without accounts.
fn cases() -> Vec<Case> {
    let mut all: Vec<Case> =
        attempts::ALL.iter().map(|(name, attempt)| Case::Attempted { name, attempt: *attempt }).collect();
    for (number, row) in table().into_iter().enumerate() {
        let mut ways = BTreeSet::new();
        for (keepers, in_session) in askings(&row) {
            if ways.insert(in_session) {
                all.push(Case::Asked { row: row.clone(), number, keepers, in_session });
            }
        }
    }
    all
}

fn last_cases() -> Vec<Case> {
    attempts::BEFORE_SETUP.iter().map(|(name, attempt)| Case::Attempted { name, attempt: *attempt }).collect()
}

enum Fate {
    Killed(String),
    Doubled { by: Check, with: Mode, killed: String },
    Survived,
    NotReached,
}

impl Fate {
    fn word(&self) -> &'static str {
        match self {
            Fate::Killed(_) => "killed",
            Fate::Doubled { .. } => "second line",
            Fate::Survived => "survived so far",
            Fate::NotReached => "not reached so far",
        }
    }
}

struct Hunt {
    world: World,
    turn: usize,
}

impl Hunt {
    /// The first of the cases that misses what was taken out, and how it was answered.
    fn killer(&mut self, out: &Out, cases: &[&Case]) -> Option<(String, u16)> {
        for case in cases {
            if !case.can_miss() {
                continue;
            }
            let (status, held) = self.run(case, out);
            if held.is_err() {
                // What passed may have ended what others need.
                if !self.world.mend() {
                    self.world = World::start();
                }
                return Some((case.name(), status));
            }
        }
        None
    }

    /// Runs a case. What passed before may have taken away what its own preparation needs: then once more in a new world.
    fn run(&mut self, case: &Case, out: &Out) -> (u16, Result<(), String>) {
        self.turn += 1;
        // Each edit folds all of a member's edits: a world grows slow.
        if self.turn.is_multiple_of(LASTS) {
            self.world = World::start();
        }
        if let Ok((_, status, held)) = catch_unwind(AssertUnwindSafe(|| case.run(&self.world, out, self.turn))) {
            return (status, held);
        }
        take_out(&[]);
        self.world = World::start();
        let (_, status, held) = case.run(&self.world, out, self.turn);
        (status, held)
    }

    fn fate(&mut self, check: &Check, all: &[Check], cases: &[(Case, BTreeSet<String>)]) -> Fate {
        let covering: Vec<&(Case, BTreeSet<String>)> =
            cases.iter().filter(|(_, reached)| reached.contains(&check.key)).collect();
        if covering.is_empty() {
            return Fate::NotReached;
        }
        let here: Vec<&Case> = covering.iter().map(|(case, _)| case).collect();
        let alone = vec![(check.key.clone(), Mode::Deleted)];
        let (first, rest) = likely_first(here);
        if let Some((killed, _)) = self.killer(&alone, &first) {
            return Fate::Killed(killed);
        }
        // What stands before it may have stopped a request that it would have stopped: those count too.
        let beside: BTreeSet<&String> = covering.iter().flat_map(|(_, reached)| reached).collect();
        // And what this check stops does not reach the one behind it: attempts at this one are tried for both.
        let attempts = covering.iter().filter(|(case, _)| matches!(case, Case::Attempted { .. }));
        let attempts: Vec<&Case> = attempts.map(|(case, _)| case).collect();
        let reaching = |key: &String| -> Vec<&Case> {
            let reach = cases.iter().filter(|(_, reached)| reached.contains(key)).map(|(case, _)| case);
            let (first, _) = likely_first(reach.collect());
            let others =
                attempts.iter().copied().filter(|attempt| !first.iter().any(|case| std::ptr::eq(*case, *attempt)));
            others.chain(first.iter().copied()).collect()
        };
        let mut partners: Vec<(&Check, Vec<&Case>)> = all
            .iter()
            .filter(|other| other.key != check.key && beside.contains(&other.key))
            .map(|other| (other, reaching(&other.key)))
            .collect();
        // The likeliest first: a call beside a call, a name beside a name, of one file, reached by few.
        let file = |check: &Check| check.place.split(':').next().unwrap_or_default().to_owned();
        partners.sort_by_key(|(by, cases)| (by.is_call() != check.is_call(), file(by) != file(check), cases.len()));
        for (by, cases) in partners {
            let modes = if by.is_call() { &[Mode::Weakened, Mode::Deleted][..] } else { &[Mode::Deleted][..] };
            for with in modes.iter().copied() {
                let other = vec![(by.key.clone(), with)];
                let both = vec![alone[0].clone(), other[0].clone()];
                for case in &cases {
                    let Some((killed, status)) = self.killer(&both, &[case]) else { continue };
                    // Only where the other alone is not missed was it this check that held: or where it is missed only by
                    // another refusal, and both let the request through.
                    let held = match self.killer(&other, &[case]) {
                        None => true,
                        Some((_, alone)) => alone >= 400 && status < 400,
                    };
                    if held {
                        return Fate::Doubled { by: by.clone(), with, killed };
                    }
                }
            }
        }
        match self.killer(&alone, &rest) {
            Some((killed, _)) => Fate::Killed(killed),
            None => Fate::Survived,
        }
    }
}

/// Attempts and some rows that are refused, spread over all of them: they tell nearly always what hundreds do; and the others.
fn likely_first(cases: Vec<&Case>) -> (Vec<&Case>, Vec<&Case>) {
    let (mut first, rows): (Vec<&Case>, Vec<&Case>) =
        cases.into_iter().filter(|case| case.can_miss()).partition(|case| matches!(case, Case::Attempted { .. }));
    let every = rows.len().div_ceil(LIKELY).max(1);
    let (some, rest): (Vec<_>, Vec<_>) = rows.into_iter().enumerate().partition(|(at, _)| at % every == 0);
    first.extend(some.into_iter().map(|(_, case)| case));
    (first, rest.into_iter().map(|(_, case)| case).collect())
}

/// Runs the cases as they are and notes what each reaches.
fn covered(hunt: &mut Hunt, cases: Vec<Case>) -> Vec<(Case, BTreeSet<String>)> {
    let run = |case: Case| {
        hunt.turn += 1;
        let (reached, _, held) = case.run(&hunt.world, &Vec::new(), hunt.turn);
        held.unwrap_or_else(|error| panic!("{}: {error}", case.name()));
        (case, reached)
    };
    cases.into_iter().map(run).collect()
}

#[test]
fn mutation_each_check_is_missed_when_it_is_taken_out() {
    let began = Instant::now();
    let mut hunt = Hunt { world: World::start(), turn: 0 };
    let all = checks();
    let cases = covered(&mut hunt, cases());
    let known: BTreeSet<&str> = all.iter().map(|check| check.key.as_str()).collect();
    let strangers: BTreeSet<&String> = cases
        .iter()
        .flat_map(|(_, reached)| reached)
        .filter(|key| !known.contains(key.as_str()) && !NO_CHECKS.iter().any(|file| key.starts_with(file)))
        .collect();
    assert!(strangers.is_empty(), "reached, and not shown by the sources: {strangers:#?}");
    println!("{} checks, {} requests, covered in {:.0} s\n", all.len(), cases.len(), began.elapsed().as_secs_f64());
    let mut fates: BTreeMap<&str, Fate> = BTreeMap::new();
    for check in &all {
        let fate = hunt.fate(check, &all, &cases);
        println!("{:5.0} s  {} {}", began.elapsed().as_secs_f64(), check.place, fate.word());
        fates.insert(&check.key, fate);
    }
    // The last world is a new one: those who try before there is any account must find none.
    hunt.world = World::start();
    let last = covered(&mut hunt, last_cases());
    for check in &all {
        if matches!(fates[check.key.as_str()], Fate::NotReached | Fate::Survived) {
            let fate = hunt.fate(check, &all, &last);
            if !matches!(fate, Fate::NotReached) {
                fates.insert(&check.key, fate);
            }
        }
    }
    println!("{:<44} {:<44} fate", "place", "check");
    let mut lived = Vec::new();
    let (mut killed, mut doubled) = (0, 0);
    for check in &all {
        let fate = match &fates[check.key.as_str()] {
            Fate::Killed(by) => {
                killed += 1;
                format!("killed by {by}")
            }
            Fate::Doubled { by, with, killed } => {
                doubled += 1;
                let with = if *with == Mode::Deleted { "deleted" } else { "weakened" };
                format!("second line of {} ({with}): both out, killed by {killed}", by.place)
            }
            Fate::Survived => "SURVIVED".to_owned(),
            Fate::NotReached => "NOT REACHED".to_owned(),
        };
        println!("{:<44} {:<44} {fate}", check.place, check.what);
        if matches!(fates[check.key.as_str()], Fate::Survived | Fate::NotReached) {
            lived.push(format!("{} {}", check.place, check.what));
        }
    }
    let seconds = began.elapsed().as_secs_f64();
    println!("\n{} checks: {killed} killed, {doubled} second lines, {} lived; {seconds:.0} s", all.len(), lived.len());
    assert!(lived.is_empty(), "{lived:#?}");
    plainly(hunt.world.api.get("/health/live"));
}
