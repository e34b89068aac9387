//! Live uploads of a keeper → the current records.
//!
//! The fold is a pure function of the live uploads, in the order of their commits: whatever was imported,
//! edited, imported again or undone on the way, equal uploads give equal records. Three layers: versions of one
//! log ([`version`]), several logs side by side ([`between`]), then single edits. What follows from the facts
//! (bounds of an open ending, days in a tank, the day from which a log would have shown a death) is worked out
//! last ([`resolve`]). Never asks a database, never decides what an analysis makes of a record.
//!
//! Water tests of tanks need nothing of each other across moments: [`fold_rest`] folds everything else, and
//! [`fold_tests`] any months of them over that. [`fold`] is the two together.

pub mod between; // several logs of one keeper
pub mod edit; // single edits, over all of them
pub mod key; // names of facts
pub mod resolve; // facts → rows, with what follows from them
pub mod row; // rows of the tables of current records
pub mod same; // names that are one thing
pub mod version; // versions of one log

use std::collections::{BTreeMap, BTreeSet};

use chrono::NaiveDate;

use crate::context::About;
use crate::record::Record;
use crate::record::packed::month_of;
use between::Preferences;
use key::Kind;
use version::Log;

/// A committed upload that has not been undone.
#[derive(Debug, Clone, Copy)]
pub struct LiveUpload<'a> {
    /// Its number.
    pub upload: i64,
    /// The log it is a version of; `None` for edits and roll calls.
    pub log: Option<i64>,
    /// A single edit: laid over all files, whenever they came.
    pub edit: bool,
    /// Rows of the earlier version that are missing in this one are taken out, as the keeper asked.
    pub replaces: bool,
    /// Its records.
    pub records: &'a [Record],
    /// Names of tanks in tests that are not among the records here.
    pub tanks: &'a BTreeSet<String>,
    /// What it says about itself.
    pub about: &'a About,
    /// The day it was read.
    pub read_on: Option<NaiveDate>,
}

/// No names: for an upload whose records are all here.
pub static NO_TANKS: BTreeSet<String> = BTreeSet::new();

impl LiveUpload<'_> {
    /// The last day for which it speaks: its "as of", else its latest day, else the day it was read.
    pub fn true_on(&self) -> Option<NaiveDate> {
        self.about.as_of.or(self.about.last_day).or(self.read_on)
    }

    /// A day by which everything it reports had happened.
    pub fn bound(&self) -> Option<NaiveDate> {
        self.about.as_of.or(self.read_on).or(self.about.last_day)
    }
}

/// What a keeper says of two logs with unequal values.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Preference {
    /// Two tests: both stand.
    Both,
    /// This log is right.
    Log(i64),
}

/// One moment at which two logs differ.
#[derive(Debug, Clone, PartialEq)]
pub struct Dispute {
    /// What it is about.
    pub slot: String,
    /// What only the first log says.
    pub first: Vec<Record>,
    /// What only the second says.
    pub second: Vec<Record>,
}

/// Two logs of a keeper that differ.
#[derive(Debug, Clone, PartialEq)]
pub struct Disagreement {
    /// Their numbers, the smaller first.
    pub logs: (i64, i64),
    /// What the keeper said.
    pub answer: Option<Preference>,
    /// Where.
    pub disputes: Vec<Dispute>,
}

/// Whether a keeper said from what day every specimen was written down.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum CompleteSince {
    /// Not answered.
    #[default]
    Unanswered,
    /// From this day.
    Given(NaiveDate),
    /// "Don't know."
    Unknown,
}

impl CompleteSince {
    /// The code as stored.
    pub const fn as_str(self) -> &'static str {
        match self {
            CompleteSince::Unanswered => "unanswered",
            CompleteSince::Given(_) => "given",
            CompleteSince::Unknown => "unknown",
        }
    }

    /// The day, if given.
    pub const fn day(self) -> Option<NaiveDate> {
        match self {
            CompleteSince::Given(day) => Some(day),
            CompleteSince::Unanswered | CompleteSince::Unknown => None,
        }
    }
}

/// What follows for a log from its live versions.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct LogFacts {
    /// From what day every specimen was written down.
    pub complete_since: CompleteSince,
    /// After "don't know": the first day from which versions show that entries were written within two weeks.
    pub prompt_since: Option<NaiveDate>,
    /// Losses are in it.
    pub losses_listed: Option<bool>,
    /// Earliest day in any version.
    pub first_day: Option<NaiveDate>,
    /// Latest day in any version.
    pub last_day: Option<NaiveDate>,
    /// Day on which the latest version was true.
    pub as_of: Option<NaiveDate>,
}

/// A place where a current record is written.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Source {
    /// Kind of the record.
    pub kind: Kind,
    /// Its key.
    pub key: String,
    /// First live upload of the log that states it as it stands.
    pub upload: i64,
    /// The log.
    pub log: Option<i64>,
    /// Sheet.
    pub sheet: Option<String>,
    /// Row from 1.
    pub row: u32,
    /// Column from 1.
    pub column: u32,
}

/// Why a fact has no place among the records.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Missing {
    /// It names no tank and its specimen stands in none that day.
    Tank,
    /// It names a specimen that no live list holds.
    Specimen,
    /// No day can be found for it.
    Day,
}

/// A fact that waits for something to be about.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Unplaced {
    /// Where it is written.
    pub source: Source,
    /// What is missing.
    pub missing: Missing,
}

/// Rows of one table by key.
pub type Rows<R> = BTreeMap<String, R>;

/// The current records of a keeper.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Current {
    /// Tanks.
    pub tanks: Rows<row::TankRow>,
    /// Other spellings of tanks.
    pub tank_aliases: Rows<row::TankAliasRow>,
    /// Kits and probes.
    pub instruments: Rows<row::InstrumentRow>,
    /// Specimens.
    pub specimens: Rows<row::SpecimenRow>,
    /// Water tests.
    pub readings: Rows<row::ReadingRow>,
    /// Labels by log.
    pub specimen_names: Rows<row::SpecimenNameRow>,
    /// Dated names.
    pub identifications: Rows<row::IdentificationRow>,
    /// Days in tanks.
    pub stays: Rows<row::StayRow>,
    /// Places in tanks.
    pub placements: Rows<row::PlacementRow>,
    /// Looks.
    pub sightings: Rows<row::SightingRow>,
    /// Sizes.
    pub sizings: Rows<row::SizingRow>,
    /// Fates.
    pub endings: Rows<row::EndingRow>,
    /// Habits.
    pub routines: Rows<row::RoutineRow>,
    /// Deeds.
    pub events: Rows<row::EventRow>,
    /// Happenings.
    pub incidents: Rows<row::IncidentRow>,
    /// Where each is written.
    pub sources: BTreeSet<Source>,
    /// Logs by number.
    pub logs: BTreeMap<i64, LogFacts>,
    /// Pairs of logs that differ, answered or not.
    pub disagreements: Vec<Disagreement>,
    /// Facts without a place.
    pub unplaced: BTreeSet<Unplaced>,
    /// Year since when the keeper keeps reefs, if a file says so.
    pub keeping_since: Option<i32>,
}

/// Folds live uploads, given in the order of their commits.
///
/// `preferences` are the keeper's answers about pairs of logs, the smaller number first.
pub fn fold(uploads: &[LiveUpload<'_>], preferences: &Preferences) -> Current {
    let split: Vec<(Vec<Record>, Vec<Record>, BTreeSet<String>)> = uploads
        .iter()
        .map(|upload| {
            let (tests, rest): (Vec<Record>, Vec<Record>) =
                upload.records.iter().cloned().partition(|record| month_of(record).is_some());
            let named = tests.iter().filter_map(key::tanks_of).map(str::to_owned);
            let tanks = upload.tanks.iter().cloned().chain(named).collect();
            (tests, rest, tanks)
        })
        .collect();
    let rest: Vec<LiveUpload<'_>> = uploads
        .iter()
        .zip(&split)
        .map(|(upload, (_, records, tanks))| LiveUpload { records, tanks, ..*upload })
        .collect();
    let tests: Vec<LiveUpload<'_>> =
        uploads.iter().zip(&split).map(|(upload, (records, ..))| LiveUpload { records, ..*upload }).collect();
    let mut current = fold_rest(&rest, preferences);
    let tests = fold_tests(&tests, preferences, &current);
    current.readings.extend(tests.readings);
    current.sources.extend(tests.sources);
    for more in tests.disagreements {
        match current.disagreements.iter_mut().find(|known| known.logs == more.logs) {
            Some(known) => known.disputes.extend(more.disputes),
            None => current.disagreements.push(more),
        }
    }
    current.disagreements.sort_by_key(|disagreement| disagreement.logs);
    current
}

/// Folds all records but the tests of tanks.
pub fn fold_rest(uploads: &[LiveUpload<'_>], preferences: &Preferences) -> Current {
    let joined = joined(uploads, preferences);
    let log_facts = log_facts(uploads);
    let mut current = resolve::resolve(&joined, &log_facts, &tanks_named(uploads));
    current.logs = log_facts;
    current.disagreements = joined.disagreements;
    current.keeping_since = uploads.iter().rev().find_map(|upload| upload.about.keeping_since);
    current
}

/// Tests of tanks, folded.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Tests {
    /// Rows by key.
    pub readings: Rows<row::ReadingRow>,
    /// Where each is written besides the place in its row.
    pub sources: BTreeSet<Source>,
    /// Pairs of logs that differ in them.
    pub disagreements: Vec<Disagreement>,
}

/// Folds tests of tanks: the uploads' records are those of some months, the same for all.
pub fn fold_tests(uploads: &[LiveUpload<'_>], preferences: &Preferences, rest: &Current) -> Tests {
    let joined = joined(uploads, preferences);
    let (readings, sources) = resolve::tests(&joined.facts, rest);
    Tests { readings, sources, disagreements: joined.disagreements }
}

/// Names of the tanks of tests that are not among the records: of a log, those of the versions that stand.
fn tanks_named(uploads: &[LiveUpload<'_>]) -> BTreeSet<String> {
    let replaced = |at: usize, upload: &LiveUpload<'_>| {
        let mut later = uploads.iter().skip(at + 1);
        upload.log.is_some() && !upload.edit && later.any(|later| later.log == upload.log && later.replaces)
    };
    uploads
        .iter()
        .enumerate()
        .filter(|(at, upload)| !upload.about.takes_out && !replaced(*at, upload))
        .flat_map(|(_, upload)| upload.tanks.iter().cloned())
        .collect()
}

fn joined<'a>(uploads: &[LiveUpload<'a>], preferences: &Preferences) -> between::Joined<'a> {
    let (logs, by_first, by_last) = logs(uploads);
    let mut joined = between::join(&logs, &by_first, &by_last, preferences);
    for upload in uploads.iter().filter(|upload| upload.edit) {
        if upload.about.takes_out {
            edit::take_out(&mut joined, upload);
        } else {
            edit::lay(&mut joined, upload);
        }
    }
    joined
}

/// What is stated for a current record of a key: one fact, or each log's word where a fact is had once. Empty for
/// a record that only follows from others.
pub fn statements(uploads: &[LiveUpload<'_>], preferences: &Preferences, kind: Kind, key: &str) -> Vec<Record> {
    let joined = joined(uploads, preferences);
    let entries = |slot: &str| joined.facts.get(&kind).and_then(|slots| slots.get(slot));
    if !kind.repeats() {
        return entries(key).into_iter().flatten().map(|entry| entry.record().clone()).collect();
    }
    let Some((slot, ordinal)) = key.rsplit_once('|') else { return Vec::new() };
    let at = ordinal.parse().ok().and_then(|ordinal: usize| ordinal.checked_sub(1));
    let entry = at.and_then(|at| entries(slot)?.get(at));
    entry.map(|entry| entry.record().clone()).into_iter().collect()
}

/// What several statements of one fact say together: of tanks and specimens they complete each other, of fates the settled one
/// stands, else the last. None of none.
pub fn whole(stated: &[Record]) -> Option<Record> {
    resolve::whole(stated)
}

/// Where logs differ, answered or not.
pub fn disagreements(uploads: &[LiveUpload<'_>], preferences: &Preferences) -> Vec<Disagreement> {
    let (logs, by_first, by_last) = logs(uploads);
    between::join(&logs, &by_first, &by_last, preferences).disagreements
}

/// Logs with their numbers; positions by first and by last live upload. A roll call is a log of its own.
type Logs<'a> = (Vec<(Option<i64>, Log<'a>)>, Vec<usize>, Vec<usize>);

fn logs<'a>(uploads: &[LiveUpload<'a>]) -> Logs<'a> {
    let mut logs: Vec<(Option<i64>, Log<'a>)> = Vec::new();
    let mut position: BTreeMap<i64, usize> = BTreeMap::new();
    let mut last: Vec<usize> = Vec::new();
    for (order, upload) in uploads.iter().enumerate().filter(|(_, upload)| !upload.edit) {
        let at = match upload.log.and_then(|log| position.get(&log)) {
            Some(at) => *at,
            None => {
                logs.push((upload.log, Log::default()));
                last.push(order);
                if let Some(log) = upload.log {
                    position.insert(log, logs.len() - 1);
                }
                logs.len() - 1
            }
        };
        version::lay(&mut logs[at].1, upload);
        last[at] = order;
    }
    let by_first = (0..logs.len()).collect();
    let mut by_last: Vec<usize> = (0..logs.len()).collect();
    by_last.sort_by_key(|at| last[*at]);
    (logs, by_first, by_last)
}

/// Days within which an entry counts as written when it happened.
const PROMPT_DAYS: i64 = 14;

fn log_facts(uploads: &[LiveUpload<'_>]) -> BTreeMap<i64, LogFacts> {
    let mut logs: BTreeMap<i64, LogFacts> = BTreeMap::new();
    let mut met: BTreeMap<i64, BTreeSet<String>> = BTreeMap::new();
    let mut prompt: BTreeMap<i64, Vec<NaiveDate>> = BTreeMap::new();
    for upload in uploads.iter().filter(|upload| !upload.edit) {
        let Some(log) = upload.log else { continue };
        let (facts, about) = (logs.entry(log).or_default(), upload.about);
        if let Some(day) = about.complete_since {
            facts.complete_since = CompleteSince::Given(day);
        } else if about.complete_since_unknown {
            facts.complete_since = CompleteSince::Unknown;
        }
        facts.losses_listed = about.losses_listed.or(facts.losses_listed);
        facts.first_day = [facts.first_day, about.first_day].into_iter().flatten().min();
        facts.last_day = [facts.last_day, about.last_day].into_iter().flatten().max();
        facts.as_of = about.as_of.or(facts.as_of);
        for record in upload.records {
            let Record::Specimen(specimen) = record else {
                continue;
            };
            let day = specimen.acquired.and_then(|span| span.latest);
            if met.entry(log).or_default().insert(key::folded(&specimen.label))
                && let (Some(day), Some(version)) = (day, upload.true_on())
                && (0..=PROMPT_DAYS).contains(&(version - day).num_days())
            {
                prompt.entry(log).or_default().push(day);
            }
        }
    }
    for (log, mut days) in prompt {
        if let Some(facts) = logs.get_mut(&log)
            && facts.complete_since == CompleteSince::Unknown
            && days.len() >= 2
        {
            days.sort_unstable();
            facts.prompt_since = days.first().copied();
        }
    }
    logs
}
