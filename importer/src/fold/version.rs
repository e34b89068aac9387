//! Versions of one log: the later one stands where it says something, and what it no longer says is kept.

use std::collections::{BTreeMap, HashMap, HashSet};

use chrono::NaiveDate;

use super::LiveUpload;
use super::key::{Kind, folded, same, slot, tanks_of};
use crate::record::Record;

/// The name of a fact within a log: kind, slot, and the ordinal from 1 among facts of the slot.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Key {
    /// Kind.
    pub kind: Kind,
    /// What it is about.
    pub slot: String,
    /// From 1.
    pub ordinal: u32,
}

/// A fact and the upload that states it as it stands.
#[derive(Debug, Clone, Copy)]
pub struct Stated<'a> {
    /// What it says.
    pub record: &'a Record,
    /// First live upload of the log that says just this.
    pub upload: i64,
    /// The log; `None` = a single edit or a roll call.
    pub log: Option<i64>,
    /// Last day for which a version says so.
    pub confirmed: Option<NaiveDate>,
    /// The latest day that the stating version knows of: an open end lies before it.
    pub bound: Option<NaiveDate>,
    /// The same fact in the last version that says it.
    pub last: &'a Record,
    /// That version.
    pub last_upload: i64,
}

/// What a log says.
#[derive(Debug, Clone, Default)]
pub struct Log<'a> {
    /// Its facts as they stand.
    pub facts: BTreeMap<Key, Stated<'a>>,
    /// Names of each specimen, oldest first: a name written in a later version was not known at purchase.
    pub names: Names<'a>,
}

/// Names by key of the specimen.
pub type Names<'a> = BTreeMap<String, Vec<Name<'a>>>;

/// A name that a version of a log gave to a specimen.
#[derive(Debug, Clone, Copy)]
pub struct Name<'a> {
    /// The day for which that version speaks.
    pub on: Option<NaiveDate>,
    /// The specimen's row in it.
    pub specimen: &'a crate::record::Specimen,
}

/// Names the records of one upload; repeated slots are numbered in the order of the file, and of a kind that
/// has one fact per slot the last one stands.
pub fn named(records: &[Record]) -> Vec<(Key, &Record)> {
    let mut met: HashMap<(Kind, String), u32> = HashMap::with_capacity(records.len());
    let mut named: Vec<(Key, &Record)> = Vec::with_capacity(records.len());
    for record in records {
        let kind = Kind::of(record);
        let slot = slot(record);
        let ordinal = if kind.repeats() {
            let count = met.entry((kind, slot.clone())).or_default();
            *count += 1;
            *count
        } else {
            1
        };
        named.push((Key { kind, slot, ordinal }, record));
    }
    named
}

/// What an upload changes in its log.
#[derive(Debug, Default)]
pub struct Step<'a> {
    /// Facts with another content: before, now.
    pub changed: Vec<(Stated<'a>, &'a Record)>,
    /// Facts that the new version no longer says, and which stay (or go, if it replaces).
    pub gone: Vec<(Key, Stated<'a>)>,
    /// Facts taken back, because the row that said them says otherwise now.
    pub withdrawn: Vec<(Key, Stated<'a>)>,
}

/// Lays the next version over a log.
pub fn lay<'a>(log: &mut Log<'a>, upload: &LiveUpload<'a>) -> Step<'a> {
    let mut step = Step::default();
    let named = named(upload.records);
    let keys: HashSet<&Key> = named.iter().map(|(key, _)| key).collect();
    let restated: HashSet<&str> =
        named.iter().filter(|(key, _)| key.kind == Kind::Specimen).map(|(key, _)| key.slot.as_str()).collect();

    // A specimen's row is one statement: what else it said goes when the row says it no longer.
    let rows: HashMap<&str, (Option<&str>, u32, i64)> = log
        .facts
        .iter()
        .filter(|(key, _)| key.kind == Kind::Specimen && restated.contains(key.slot.as_str()))
        .map(|(key, stated)| {
            let place = stated.last.place();
            (key.slot.as_str(), (place.sheet.as_deref(), place.row, stated.last_upload))
        })
        .collect();
    let mut leaving: Vec<(Key, bool)> = Vec::new();
    for (key, stated) in &log.facts {
        if keys.contains(key) || is_register_sighting(stated.record) {
            continue;
        }
        let place = stated.last.place();
        let of_row = super::key::specimen_of(stated.record).is_some_and(|label| {
            let row = rows.get(folded(label).as_str());
            // A row number of 0 is no row: single facts are not parts of one statement.
            place.row > 0
                && row.is_some_and(|(sheet, row, upload)| {
                    *row == place.row && *sheet == place.sheet.as_deref() && *upload == stated.last_upload
                })
        });
        if of_row {
            leaving.push((key.clone(), true));
        } else {
            step.gone.push((key.clone(), *stated));
            if upload.replaces {
                leaving.push((key.clone(), false));
            }
        }
    }
    for (key, withdrawn) in leaving {
        if let Some(stated) = log.facts.remove(&key)
            && withdrawn
        {
            step.withdrawn.push((key, stated));
        }
    }

    let confirmed = upload.true_on();
    let bound = upload.bound();
    for (key, record) in named {
        if let Record::Specimen(specimen) = record
            && specimen.taxon.is_some()
        {
            let names = log.names.entry(key.slot.clone()).or_default();
            if names.last().is_none_or(|name| name.specimen.taxon != specimen.taxon) {
                names.push(Name { on: confirmed, specimen });
            }
        }
        let fresh = Stated {
            record,
            upload: upload.upload,
            log: upload.log,
            confirmed,
            bound,
            last: record,
            last_upload: upload.upload,
        };
        match log.facts.entry(key) {
            std::collections::btree_map::Entry::Vacant(empty) => {
                empty.insert(fresh);
            }
            std::collections::btree_map::Entry::Occupied(mut held) => {
                let stands = held.get_mut();
                if same(stands.record, record) {
                    // An open end ("no day given") stays bounded by the first version that reports it.
                    stands.confirmed = stands.confirmed.max(confirmed);
                    (stands.last, stands.last_upload) = (record, upload.upload);
                } else {
                    if stands.upload != upload.upload {
                        step.changed.push((*stands, record));
                    }
                    *stands = fresh;
                }
            }
        }
    }
    step
}

/// A row without an end, on the day its list was true: it follows from the list's day, not from a row's content.
pub fn is_register_sighting(record: &Record) -> bool {
    matches!(record, Record::Sighting(look) if look.source == "register")
}

/// Facts of a log and of a file, counted. Tanks, instruments and what follows from a list's day are no sign of one log.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Tally {
    /// Facts of the log.
    pub of_log: usize,
    /// Facts of the file.
    pub of_file: usize,
    /// Facts of one name in both.
    pub shared: usize,
    /// Of these, those that say the same.
    pub equal: usize,
}

impl std::ops::AddAssign for Tally {
    fn add_assign(&mut self, other: Self) {
        self.of_log += other.of_log;
        self.of_file += other.of_file;
        self.shared += other.shared;
        self.equal += other.equal;
    }
}

impl Tally {
    /// Share of equal keys, of the smaller of the two sides: a grown or a cut copy has nearly 1. `None` if one of
    /// them holds nothing yet that could be compared.
    pub fn share(self) -> Option<f64> {
        let smaller = self.of_log.min(self.of_file);
        (smaller > 0).then(|| self.shared as f64 / smaller as f64)
    }

    /// Share of what both have in which they say the same.
    pub fn agreement(self) -> f64 {
        if self.shared == 0 { 0.0 } else { self.equal as f64 / self.shared as f64 }
    }
}

/// Compares a file's records with a log.
pub fn tally(log: &Log<'_>, records: &[Record]) -> Tally {
    let telling =
        |kind: Kind, record: &Record| !matches!(kind, Kind::Tank | Kind::Instrument) && !is_register_sighting(record);
    let of_log = log.facts.iter().filter(|(key, stated)| telling(key.kind, stated.record)).count();
    let mut tally = Tally { of_log, ..Tally::default() };
    for (key, record) in named(records) {
        if !telling(key.kind, record) {
            continue;
        }
        tally.of_file += 1;
        if let Some(stated) = log.facts.get(&key) {
            tally.shared += 1;
            tally.equal += usize::from(same(stated.record, record));
        }
    }
    tally
}

/// Tanks that records name.
pub fn tanks_in<'r>(records: impl IntoIterator<Item = &'r Record>) -> HashSet<String> {
    records.into_iter().filter(|record| !matches!(record, Record::Tank(_))).filter_map(tanks_of).map(folded).collect()
}
