//! A version against its log, and a log against the keeper's others.
//!
//! A file continues a log if it has the log's shape and at least half of the rows of the smaller of the two;
//! of one shape with fewer it is asked about and waits. About other tanks altogether it is another list, but for a
//! file of the log's own name, which is asked about too. What a later version changes or no longer holds is noted,
//! and two logs that give other values for one moment are asked about once.

use std::collections::{BTreeMap, BTreeSet, HashSet};

use diesel::pg::PgConnection;
use migrations::schema::upload;

use super::commit::stem;
use super::found::found;
use super::refold::groups;
use super::stage::Seen;
use super::store::{self, LOGS_DISAGREE, Live, ROWS_GONE, TAKE_OUT, UploadRow};
use super::stored::{self, Stage};
use super::{LoadError, line};
use crate::finding::{Answer, CellCounts, Finding, Held};
use crate::fold::key::{Kind, folded};
use crate::fold::version::{Log, Step, Tally, lay, tally, tanks_in};
use crate::fold::{LiveUpload, NO_TANKS, disagreements};
use crate::record::packed::{Month, Packed};
use crate::record::{CellRef, Reading, Record};

/// Share of equal rows from which a file of a log's shape is its next version.
const SAME_LOG: f64 = 0.5;
/// Changed cells of one column that are told one by one; of more, one finding tells how many.
const ONE_BY_ONE: usize = 20;
/// The log that a file will begin, while it has no number.
const NEW_LOG: i64 = i64::MAX;

/// The log that a file belongs to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Chosen {
    /// A further version of this one.
    Log(i64),
    /// It begins one.
    New,
    /// Asked, not answered: the file waits.
    Unclear,
}

impl Chosen {
    /// Its number, if it has one.
    pub const fn log(self) -> Option<i64> {
        match self {
            Chosen::Log(log) => Some(log),
            Chosen::New | Chosen::Unclear => None,
        }
    }
}

/// What a file is compared with.
pub struct Others {
    live: Vec<Live>,
    logs: Vec<(i64, String, String)>,
    answers: Vec<Answer>,
}

impl Others {
    /// The keeper's committed uploads but this one, their logs, this one's answers.
    pub fn of(connection: &mut PgConnection, row: &UploadRow) -> Result<Self, LoadError> {
        let mut live = store::live(connection, row.keeper_id)?;
        live.retain(|other| other.upload != row.id);
        let answers = store::answers(connection, row.id)?.into_iter().map(|stored| stored.answer).collect();
        Ok(Others { live, logs: store::logs(connection, row.keeper_id)?, answers })
    }

    fn answer(&self, key: &str) -> Option<&str> {
        self.answers.iter().find(|answer| answer.key == key).map(|answer| answer.choice.as_str())
    }

    fn name(&self, log: i64) -> Option<&str> {
        self.logs.iter().find(|(id, ..)| *id == log).map(|(_, name, _)| name.as_str())
    }

    /// The log of a file, and the one to ask about if that is unclear.
    pub fn choose(
        &self,
        connection: &mut PgConnection,
        row: &UploadRow,
        seen: &Seen,
    ) -> Result<(Chosen, Option<i64>), LoadError> {
        if row.commit_sequence.is_some()
            && let Some(log) = row.log_id
        {
            return Ok((Chosen::Log(log), None));
        }
        if let Some(hint) = row.log_hint.as_deref() {
            let named = self.logs.iter().find(|(_, name, _)| folded(name) == folded(hint));
            return Ok((named.map_or(Chosen::New, |(id, ..)| Chosen::Log(*id)), None));
        }
        // Of several the most alike, of equals the latest.
        let mut most: Option<(f64, i64)> = None;
        for (id, name, shape) in &self.logs {
            let versions = self.versions(*id);
            if shape.is_empty() || *shape != seen.outcome.about.shape || versions.is_empty() {
                continue;
            }
            let tally = tally_of(connection, &versions, seen)?;
            let alike = match tally.share() {
                // Its name says this log, its tanks say another: were they renamed? Not if the tank was said beside it.
                Some(_) if tally.shared == 0 && elsewhere(&versions, seen) => {
                    (row.tank_hint.is_none() && folded(name) == folded(stem(&row.name))).then_some(0.0)
                }
                // Nothing to compare yet: nothing to ask either.
                share => share,
            };
            if let Some(share) = alike
                && most.is_none_or(|(best, _)| share >= best)
            {
                most = Some((share, *id));
            }
        }
        let Some((share, log)) = most else { return Ok((Chosen::New, None)) };
        if share >= SAME_LOG {
            return Ok((Chosen::Log(log), None));
        }
        Ok(match self.answer("log_unclear") {
            Some("newer") => (Chosen::Log(log), Some(log)),
            Some("another") => (Chosen::New, Some(log)),
            _ => (Chosen::Unclear, Some(log)),
        })
    }

    /// Live versions of a log, in the order of their commits.
    fn versions(&self, log: i64) -> Vec<&Live> {
        self.live.iter().filter(|live| live.log == Some(log) && !live.edit).collect()
    }

    /// Share of the rows that a file has in common with a log in which both say the same.
    pub fn agreement(&self, connection: &mut PgConnection, log: i64, seen: &Seen) -> Result<f64, LoadError> {
        Ok(tally_of(connection, &self.versions(log), seen)?.agreement())
    }
}

/// Whether a file is about other tanks than a log altogether.
fn elsewhere(versions: &[&Live], seen: &Seen) -> bool {
    let of_tests = versions.iter().flat_map(|live| &live.tanks).map(|tank| folded(tank));
    let mut tanks: HashSet<String> = tanks_in(versions.iter().flat_map(|live| &live.records));
    tanks.extend(of_tests);
    let mut own = tanks_in(&seen.packed.rest);
    own.extend(seen.packed.months.values().flat_map(|block| &block.tanks).map(|tank| folded(tank)));
    !tanks.is_empty() && !own.is_empty() && tanks.is_disjoint(&own)
}

/// What the versions of a log and a file have in common.
fn tally_of(connection: &mut PgConnection, versions: &[&Live], seen: &Seen) -> Result<Tally, LoadError> {
    let rest: Vec<LiveUpload<'_>> = versions.iter().map(|live| live.borrow()).collect();
    let mut all = tally(&laid(&rest), &seen.packed.rest);
    let mut open: BTreeSet<Month> = BTreeSet::new();
    for month in months_of(versions.iter().copied(), seen) {
        let own = seen.packed.months.get(&month);
        let mut held = versions.iter().filter_map(|live| live.months.get(&month));
        match held.next() {
            None => all.of_file += own.map_or(0, |own| own.count as usize),
            Some(first) if held.all(|other| other.hash == first.hash) => match own {
                None => all.of_log += first.count,
                Some(own) if own.digest[..] == first.hash[..] => {
                    let (of_log, count) = (first.count, own.count as usize);
                    all += Tally { of_log, of_file: count, shared: count, equal: count };
                }
                Some(_) => drop(open.insert(month)),
            },
            Some(_) => drop(open.insert(month)),
        }
    }
    in_runs(connection, versions, seen, &open, |uploads, own| {
        all += tally(&laid(uploads), own);
    })?;
    Ok(all)
}

/// Months in which any of these uploads or the file has tests of tanks.
fn months_of<'l>(uploads: impl IntoIterator<Item = &'l Live>, seen: &Seen) -> BTreeSet<Month> {
    uploads.into_iter().flat_map(|live| live.months.keys()).chain(seen.packed.months.keys()).copied().collect()
}

/// Versions of one log laid over one another.
fn laid<'a>(versions: &[LiveUpload<'a>]) -> Log<'a> {
    let mut content = Log::default();
    for version in versions {
        lay(&mut content, version);
    }
    content
}

/// Unpacks tests of tanks of some months, a run of them at a time, and looks at the uploads' and the file's.
fn in_runs(
    connection: &mut PgConnection,
    live: &[&Live],
    seen: &Seen,
    months: &BTreeSet<Month>,
    mut look: impl FnMut(&[LiveUpload<'_>], &[Record]),
) -> Result<(), LoadError> {
    let ids: Vec<i64> = live.iter().map(|live| live.upload).collect();
    let own_count = |month: Month| seen.packed.months.get(&month).map_or(0, |block| block.count as usize);
    for (first, last) in groups(live.iter().copied(), months, own_count) {
        let records = stored::tests(connection, Stage::Committed, &ids, Some((first, last)))?;
        let none = Vec::new();
        let uploads: Vec<LiveUpload<'_>> =
            live.iter().map(|live| live.with(records.get(&live.upload).unwrap_or(&none))).collect();
        let mut own = Vec::new();
        for block in seen.packed.months.range(first..=last).map(|(_, block)| block) {
            own.extend(block.unpack()?);
        }
        look(&uploads, &own);
    }
    Ok(())
}

/// Finds the file's log and adds what comparing shows to the outcome's findings.
pub fn compare(
    connection: &mut PgConnection,
    row: &UploadRow,
    others: &Others,
    seen: &mut Seen,
) -> Result<Chosen, LoadError> {
    let (chosen, asked) = others.choose(connection, row, seen)?;
    if chosen == Chosen::Unclear {
        let known = asked.and_then(|log| others.name(log)).unwrap_or_default().to_owned();
        hold_all(seen, known, others.answer("log_unclear"))?;
        return Ok(chosen);
    }
    let number = chosen.log().unwrap_or(NEW_LOG);
    let replaces = others.answer(ROWS_GONE) == Some(TAKE_OUT);
    let about = seen.outcome.about.clone();
    let own = LiveUpload {
        upload: row.id,
        log: Some(number),
        edit: false,
        replaces,
        records: &[],
        tanks: &NO_TANKS,
        about: &about,
        read_on: row.read_on,
    };
    let mut told = Told::default();
    if let Chosen::Log(log) = chosen {
        // Versions before this one: a later answer is compared with what stood when it came.
        let mut before = others.versions(log);
        if row.commit_sequence.is_some() {
            let earlier = earlier(connection, row)?;
            before.retain(|live| earlier.contains(&live.upload));
        }
        let rest: Vec<LiveUpload<'_>> = before.iter().map(|live| live.borrow()).collect();
        told.step(&lay(&mut laid(&rest), &LiveUpload { records: &seen.packed.rest, ..own }));
        let mut months = months_of(before.iter().copied(), seen);
        months.retain(|month| {
            let own = seen.packed.months.get(month).map(|block| &block.digest[..]);
            before.iter().filter_map(|live| live.months.get(month)).any(|known| Some(&known.hash[..]) != own)
        });
        in_runs(connection, &before, seen, &months, |uploads, records| {
            told.step(&lay(&mut laid(uploads), &LiveUpload { records, ..own }));
        })?;
    }
    let mut list = told.findings(replaces);
    let preferences = store::preferences(connection, row.keeper_id, Some((row.id, Some(number))))?;
    let own_name = others.name(number).unwrap_or(&row.name).to_owned();
    let mut differing: BTreeMap<i64, (usize, Vec<CellRef>)> = BTreeMap::new();
    let mut differ = |uploads: &[LiveUpload<'_>]| {
        for disagreement in disagreements(uploads, &preferences) {
            let (first, second) = disagreement.logs;
            let other = if first == number { second } else { first };
            if (first != number && second != number) || disagreement.answer.is_some() {
                continue;
            }
            let mine = disagreement
                .disputes
                .iter()
                .flat_map(|dispute| if first == number { &dispute.first } else { &dispute.second });
            let (count, cells) = differing.entry(other).or_default();
            *count += disagreement.disputes.len();
            cells.extend(mine.flat_map(value_cells));
        }
    };
    let mut rest: Vec<LiveUpload<'_>> = others.live.iter().map(Live::borrow).collect();
    rest.push(LiveUpload { records: &seen.packed.rest, ..own });
    differ(&rest);
    let mut months: BTreeSet<Month> = seen.packed.months.keys().copied().collect();
    months.retain(|month| {
        let own = seen.packed.months.get(month).map(|block| &block.digest[..]);
        let mut other_logs = others.live.iter().filter(|live| live.log != Some(number));
        other_logs.any(|live| live.months.get(month).is_some_and(|known| Some(&known.hash[..]) != own))
    });
    let all: Vec<&Live> = others.live.iter().collect();
    in_runs(connection, &all, seen, &months, |uploads, records| {
        let mut uploads = uploads.to_vec();
        uploads.push(LiveUpload { records, ..own });
        differ(&uploads);
    })?;
    for (other, (count, cells)) in differing {
        let name = others.name(other).unwrap_or_default();
        let key = format!("{LOGS_DISAGREE}:{name}");
        let count = count.to_string();
        let fill = [("first", own_name.as_str()), ("second", name), ("count", count.as_str())];
        let mut finding = found("logs_disagree", key.clone(), &fill);
        at(&mut finding, cells);
        finding.answered = others.answer(&key).map(str::to_owned);
        list.push(finding);
    }
    let rest: Vec<LiveUpload<'_>> = others.live.iter().map(Live::borrow).collect();
    list.extend(line::unknown(connection, row.keeper_id, &rest, &seen.packed.rest)?);
    seen.outcome.findings.extend(list);
    Ok(chosen)
}

fn earlier(connection: &mut PgConnection, row: &UploadRow) -> Result<Vec<i64>, LoadError> {
    use diesel::prelude::*;
    Ok(upload::table
        .filter(upload::keeper_id.eq(row.keeper_id).and(upload::commit_sequence.lt(row.commit_sequence)))
        .select(upload::id)
        .load(connection)?)
}

/// Nothing of the file loads while its log is in question.
fn hold_all(seen: &mut Seen, known: String, answered: Option<&str>) -> Result<(), LoadError> {
    let mut rows: BTreeMap<Option<String>, BTreeSet<u32>> = BTreeMap::new();
    let mut note = |records: &[Record]| {
        for cell in records.iter().flat_map(|record| &record.place().cells) {
            match rows.get_mut(&cell.sheet) {
                Some(known) => drop(known.insert(cell.row)),
                None => drop(rows.insert(cell.sheet.clone(), BTreeSet::from([cell.row]))),
            }
        }
    };
    note(&seen.packed.rest);
    for block in seen.packed.months.values() {
        note(&block.unpack()?);
    }
    let held = rows.into_iter().map(|(sheet, rows)| Held { sheet, column: None, rows: runs(&rows) }).collect();
    let mut finding = found("log_unclear", "log_unclear".to_owned(), &[("known", &known)]);
    finding.held = held;
    finding.answered = answered.map(str::to_owned);
    seen.outcome.findings.push(finding);
    let cells = seen.outcome.cells;
    seen.outcome.cells = CellCounts { recorded: 0, findings: cells.findings + cells.recorded, ..cells };
    seen.packed = Packed::default();
    Ok(())
}

/// Rows as runs, first and last included.
fn runs(rows: &BTreeSet<u32>) -> Vec<[u32; 2]> {
    let mut runs: Vec<[u32; 2]> = Vec::new();
    for row in rows {
        match runs.last_mut() {
            Some(run) if run[1] + 1 == *row => run[1] = *row,
            _ => runs.push([*row, *row]),
        }
    }
    runs
}

/// Cells that say the value of a record.
fn value_cells(record: &Record) -> Vec<CellRef> {
    let place = record.place();
    let values: Vec<CellRef> = place.cells.iter().filter(|cell| cell.role == "value").cloned().collect();
    if !values.is_empty() {
        return values;
    }
    vec![CellRef { sheet: place.sheet.clone(), row: place.row, column: place.column, role: "value".to_owned() }]
}

/// Puts a finding at the first of its cells.
pub(super) fn at(finding: &mut Finding, cells: Vec<CellRef>) {
    if let Some(first) = cells.first() {
        finding.sheet = first.sheet.clone();
        finding.row = Some(first.row).filter(|row| *row > 0);
        finding.column = Some(first.column).filter(|column| *column > 0);
    }
    finding.cells = cells;
}

/// A value that a version changes.
struct Change {
    row: u32,
    old: String,
    new: String,
    slot: String,
    cells: Vec<CellRef>,
}

/// What a version changes in its log, told of all months.
#[derive(Default)]
struct Told {
    columns: BTreeMap<(Option<String>, u32), Vec<Change>>,
    withdrawn: Vec<Finding>,
    /// The first of the facts that it no longer holds, how many there are, and the rows they stood in.
    gone: Vec<String>,
    gone_count: usize,
    gone_rows: BTreeSet<(i64, Option<String>, u32)>,
}

/// Facts named of those that are gone.
const NAMED: usize = 3;

impl Told {
    fn step(&mut self, step: &Step<'_>) {
        for (before, now) in &step.changed {
            let place = now.place();
            let (old, new) = said(before.record, now);
            let change =
                Change { row: place.row, old, new, slot: crate::fold::key::slot(now), cells: value_cells(now) };
            self.columns.entry((place.sheet.clone(), place.column)).or_default().push(change);
        }
        for (key, stated) in &step.withdrawn {
            let known = text(stated.record);
            let fill = [("written", "nothing"), ("known", known.as_str())];
            let key = format!("value_changed:{}:{}", key.kind.as_str(), key.slot);
            self.withdrawn.push(found("value_changed", key, &fill));
        }
        // Tanks and kits are named by the way: no row of a file stands for them alone.
        for (_, stated) in step.gone.iter().filter(|(key, _)| !matches!(key.kind, Kind::Tank | Kind::Instrument)) {
            if self.gone.len() < NAMED {
                self.gone.push(text(stated.record));
            }
            self.gone_count += 1;
            let place = stated.last.place();
            self.gone_rows.insert((stated.last_upload, place.sheet.clone(), place.row));
        }
    }

    /// Other values than before, and ends that the list took back: cell by cell, or a column's as one; then what a
    /// version no longer holds, unless it is taken out.
    fn findings(self, replaces: bool) -> Vec<Finding> {
        let mut list = Vec::new();
        for ((sheet, column), mut cells) in self.columns {
            cells.sort_by_key(|change| change.row);
            if cells.len() > ONE_BY_ONE {
                let examples: Vec<String> =
                    cells.iter().take(3).map(|change| format!("{} → {}", change.old, change.new)).collect();
                let count = format!("{} values of this column", cells.len());
                let examples = examples.join(", ") + ", …";
                let fill = [("written", count.as_str()), ("known", examples.as_str())];
                let key = format!("value_changed:{}:{column}", sheet.unwrap_or_default());
                let mut finding = found("value_changed", key, &fill);
                at(&mut finding, cells.into_iter().flat_map(|change| change.cells).collect());
                list.push(finding);
                continue;
            }
            for change in cells {
                let key = format!("value_changed:{}", change.slot);
                let fill = [("written", change.new.as_str()), ("known", change.old.as_str())];
                let mut finding = found("value_changed", key, &fill);
                at(&mut finding, change.cells);
                finding.written = change.new;
                list.push(finding);
            }
        }
        list.extend(self.withdrawn);
        if !replaces && self.gone_count > 0 {
            let mut finding = found(ROWS_GONE, ROWS_GONE.to_owned(), &[("count", &self.gone_rows.len().to_string())]);
            finding.written = self.gone.join("; ") + if self.gone_count > NAMED { "; …" } else { "" };
            list.push(finding);
        }
        list
    }
}

/// Before and now, as a person reads it; where the words are equal, with what differs.
fn said(before: &Record, now: &Record) -> (String, String) {
    let (old, new) = (text(before), text(now));
    if old != new {
        return (old, new);
    }
    let fields = |record: &Record| match serde_json::to_value(record) {
        Ok(serde_json::Value::Object(fields)) => fields,
        _ => serde_json::Map::new(),
    };
    let (earlier, later) = (fields(before), fields(now));
    let of_place = ["sheet", "row", "column", "line", "cells", "written"];
    let differs =
        later.iter().find(|(name, value)| !of_place.contains(&name.as_str()) && earlier.get(*name) != Some(value));
    match differs {
        Some((name, value)) => {
            let shown = |value: Option<&serde_json::Value>| match value {
                Some(serde_json::Value::String(text)) => text.clone(),
                Some(serde_json::Value::Null) | None => "nothing".to_owned(),
                Some(other) => other.to_string(),
            };
            (format!("{name} {}", shown(earlier.get(name))), format!("{name} {}", shown(Some(value))))
        }
        None => (old, new),
    }
}

/// A fact in a few words.
fn text(record: &Record) -> String {
    match record {
        Record::Tank(tank) => tank.name.clone(),
        Record::Instrument(kit) => format!("{} {}", kit.parameter, kit.name),
        Record::Specimen(specimen) => format!("{} {}", specimen.label, specimen.written),
        Record::Reading(reading) => reading_text(reading),
        Record::Identification(name) => {
            format!("{} {} on {}", name.specimen, name.written, name.on)
        }
        Record::Stay(stay) => format!("{} in {}", stay.specimen, stay.tank),
        Record::Placement(spot) => format!("place of {}", spot.specimen),
        Record::Sighting(look) => format!("{} {} on {}", look.specimen, look.status, look.on),
        Record::Sizing(size) => format!("{} {} {} on {}", size.specimen, size.value, size.unit, size.on),
        Record::Ending(ending) => {
            let day = ending.latest.or(ending.earliest).map_or_else(String::new, |day| format!(" on {day}"));
            format!("{} {}{day}", ending.specimen, ending.fate.map_or("ended", |fate| fate.as_str()))
        }
        Record::Routine(habit) => format!("{} {} from {}", habit.routine, habit.rate, habit.from),
        Record::Event(event) => format!("{} on {}", event.event, event.taken.on),
        Record::Incident(incident) => format!("{} on {}", incident.incident, incident.from),
    }
}

fn reading_text(reading: &Reading) -> String {
    let value = match (reading.value, reading.lower, reading.upper) {
        (Some(value), ..) if reading.qualifier == crate::record::Qualifier::Equal => value.to_string(),
        (Some(value), ..) => format!("{}{value}", reading.qualifier.as_str()),
        (None, lower, upper) => {
            let end = |end: Option<f64>| end.map_or_else(|| "…".to_owned(), |end| end.to_string());
            format!("{} to {}", end(lower), end(upper))
        }
    };
    format!("{} {value} {} on {}", reading.parameter, reading.unit, reading.taken)
}
