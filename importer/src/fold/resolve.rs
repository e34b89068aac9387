//! Facts → rows, with what follows from them: the bounds of an open ending, days in a tank, segments of
//! growth, the name that holds now, the mother line.

mod specimen; // specimens and everything that is theirs
mod tank; // tanks, instruments and what happened in them

use std::collections::{BTreeMap, BTreeSet};

use chrono::NaiveDate;

use super::between::{Entry, Facts, Joined};
use super::key::Kind;
use super::row::ReadingRow;
use super::version::Stated;
use super::{Current, LogFacts, Missing, Rows, Source, Unplaced};
use crate::record::{DaySpan, Ending, Record};

/// Works out the rows of all tables; `named` are tanks that further tests name.
pub fn resolve(joined: &Joined<'_>, logs: &BTreeMap<i64, LogFacts>, named: &BTreeSet<String>) -> Current {
    let facts = &joined.facts;
    let mut current = Current::default();
    tank::tanks(facts, named, &mut current);
    tank::instruments(facts, &mut current);
    specimen::specimens(facts, logs, &mut current);
    specimen::identifications(facts, &joined.names, &mut current);
    specimen::stays(facts, &mut current);
    specimen::placements(facts, &mut current);
    specimen::looks(facts, &mut current);
    specimen::endings(facts, logs, &mut current);
    let tests = tank::readings(facts, &current);
    current.readings = tests.rows;
    current.sources.extend(tests.sources);
    current.unplaced.extend(tests.unplaced);
    tank::routines(facts, &mut current);
    tank::events(facts, &mut current);
    tank::incidents(facts, &mut current);
    specimen::segments(&mut current);
    specimen::bounds(&mut current);
    current
}

/// Works out the rows of tests of tanks, over everything else.
pub fn tests(facts: &Facts<'_>, rest: &Current) -> (Rows<ReadingRow>, BTreeSet<Source>) {
    let tests = tank::readings(facts, rest);
    (tests.rows, tests.sources)
}

/// See [`super::whole`].
pub fn whole(stated: &[Record]) -> Option<Record> {
    let mut stated = stated.iter();
    let first = stated.next()?.clone();
    Some(stated.fold(first, |whole, next| match (whole, next) {
        (Record::Specimen(whole), Record::Specimen(next)) => Record::Specimen(specimen::complete(whole, next)),
        (Record::Tank(whole), Record::Tank(next)) => Record::Tank(tank::complete(whole, next)),
        (Record::Ending(whole), Record::Ending(next)) => {
            let rank = |ending: &Ending| (ending.fate.is_some(), !ending.date_held);
            Record::Ending(if rank(next) >= rank(&whole) { next.clone() } else { whole })
        }
        (_, next) => next.clone(),
    }))
}

/// Slots of a kind, in order.
fn of<'f, 'a>(facts: &'f Facts<'a>, kind: Kind) -> impl Iterator<Item = (&'f String, &'f Vec<Entry<'a>>)> {
    facts.get(&kind).into_iter().flatten()
}

/// Key of a fact that shares its slot.
fn numbered(slot: &str, at: usize) -> String {
    format!("{slot}|{}", at + 1)
}

fn source(kind: Kind, key: &str, stated: &Stated<'_>) -> Source {
    let place = stated.record.place();
    Source {
        kind,
        key: key.to_owned(),
        upload: stated.upload,
        log: stated.log,
        sheet: place.sheet.clone(),
        row: place.row,
        column: place.column,
    }
}

fn written_at(kind: Kind, key: &str, entries: &[Entry<'_>]) -> impl Iterator<Item = Source> {
    entries.iter().flat_map(|entry| &entry.sources).map(move |stated| source(kind, key, stated))
}

fn without_place(kind: Kind, key: &str, entries: &[Entry<'_>], missing: Missing) -> impl Iterator<Item = Unplaced> {
    written_at(kind, key, entries).map(move |source| Unplaced { source, missing })
}

impl Current {
    fn written_at(&mut self, kind: Kind, key: &str, entries: &[Entry<'_>]) {
        self.sources.extend(written_at(kind, key, entries));
    }

    fn without_place(&mut self, kind: Kind, key: &str, entries: &[Entry<'_>], missing: Missing) {
        self.unplaced.extend(without_place(kind, key, entries, missing));
    }
}

/// The middle of a span, the earlier of two middle days; the only known end of an open one.
fn middle(span: DaySpan) -> Option<NaiveDate> {
    match (span.earliest, span.latest) {
        (Some(earliest), Some(latest)) => {
            earliest.checked_add_signed(chrono::TimeDelta::days((latest - earliest).num_days().div_euclid(2)))
        }
        (earliest, latest) => latest.or(earliest),
    }
}

/// The last statement of each log, if the record is of the kind asked for.
macro_rules! statements {
    ($entries:expr, $kind:ident) => {
        $entries.iter().filter_map(|entry| match entry.record() {
            crate::record::Record::$kind(record) => Some(record),
            _ => None,
        })
    };
}
use statements;
