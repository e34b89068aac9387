//! A version against its log, and a log against the keeper's others.
//!
//! A file continues a log if it has the log's shape and at least half of the rows of the smaller of the two;
//! of one shape with fewer it is asked about and waits. About other tanks altogether it is another list, but for a
//! file of the log's own name, which is asked about too. What a later version changes or no longer holds is noted,
//! and two logs that give other values for one moment are asked about once.

use std::collections::{BTreeMap, BTreeSet};

use diesel::pg::PgConnection;
use migrations::schema::upload;

use super::commit::stem;
use super::found::found;
use super::store::{self, LOGS_DISAGREE, Live, ROWS_GONE, TAKE_OUT, UploadRow};
use super::{LoadError, line};
use crate::context::Outcome;
use crate::finding::{Answer, CellCounts, Finding, Held};
use crate::fold::key::{Kind, folded, same};
use crate::fold::version::{Key, Likeness, Stated, is_register_sighting, lay, likeness, named};
use crate::fold::{LiveUpload, disagreements, log_of};
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

    fn borrow(&self) -> Vec<LiveUpload<'_>> {
        self.live.iter().map(Live::borrow).collect()
    }

    fn answer(&self, key: &str) -> Option<&str> {
        self.answers.iter().find(|answer| answer.key == key).map(|answer| answer.choice.as_str())
    }

    fn name(&self, log: i64) -> Option<&str> {
        self.logs.iter().find(|(id, ..)| *id == log).map(|(_, name, _)| name.as_str())
    }

    /// The log of a file, and the one to ask about if that is unclear.
    pub fn choose(&self, row: &UploadRow, outcome: &Outcome) -> (Chosen, Option<i64>) {
        if row.commit_sequence.is_some()
            && let Some(log) = row.log_id
        {
            return (Chosen::Log(log), None);
        }
        if let Some(hint) = row.log_hint.as_deref() {
            let named = self.logs.iter().find(|(_, name, _)| folded(name) == folded(hint));
            return (named.map_or(Chosen::New, |(id, ..)| Chosen::Log(*id)), None);
        }
        let uploads = self.borrow();
        let living: BTreeSet<i64> = uploads.iter().filter_map(|upload| upload.log).collect();
        let alike = self
            .logs
            .iter()
            .filter(|(id, _, shape)| !shape.is_empty() && *shape == outcome.about.shape && living.contains(id))
            .filter_map(|(id, name, _)| match likeness(&log_of(&uploads, *id), &outcome.records) {
                Likeness::Share(share) => Some((share, *id)),
                // Its name says this log, its tanks say another: were they renamed? Not if the tank was said beside it.
                Likeness::Elsewhere if row.tank_hint.is_none() && folded(name) == folded(stem(&row.name)) => {
                    Some((0.0, *id))
                }
                // Nothing to compare yet, or the same sheet kept for another tank: nothing to ask either.
                Likeness::Nothing | Likeness::Elsewhere => None,
            });
        // Of several the most alike, of equals the latest.
        let most = alike.max_by(|left, right| left.0.total_cmp(&right.0).then(left.1.cmp(&right.1)));
        let Some((share, log)) = most else { return (Chosen::New, None) };
        if share >= SAME_LOG {
            return (Chosen::Log(log), None);
        }
        match self.answer("log_unclear") {
            Some("newer") => (Chosen::Log(log), Some(log)),
            Some("another") => (Chosen::New, Some(log)),
            _ => (Chosen::Unclear, Some(log)),
        }
    }
}

impl Others {
    /// Share of the rows that a file has in common with a log in which both say the same.
    pub fn agreement(&self, log: i64, outcome: &Outcome) -> f64 {
        let uploads = self.borrow();
        let content = log_of(&uploads, log);
        let named = named(&outcome.records);
        let shared: Vec<bool> = named
            .iter()
            .filter(|(key, record)| key.kind != Kind::Tank && !is_register_sighting(record))
            .filter_map(|(key, record)| Some(same(content.facts.get(key)?.record, record)))
            .collect();
        let agreeing = shared.iter().filter(|same| **same).count();
        if shared.is_empty() { 0.0 } else { agreeing as f64 / shared.len() as f64 }
    }
}

/// Finds the file's log and adds what comparing shows to the outcome's findings.
pub fn compare(
    connection: &mut PgConnection,
    row: &UploadRow,
    others: &Others,
    outcome: &mut Outcome,
) -> Result<Chosen, LoadError> {
    let (chosen, asked) = others.choose(row, outcome);
    if chosen == Chosen::Unclear {
        let known = asked.and_then(|log| others.name(log)).unwrap_or_default().to_owned();
        hold_all(outcome, known, others.answer("log_unclear"));
        return Ok(chosen);
    }
    let uploads = others.borrow();
    let number = chosen.log().unwrap_or(NEW_LOG);
    let own = LiveUpload {
        upload: row.id,
        log: Some(number),
        edit: false,
        replaces: others.answer(ROWS_GONE) == Some(TAKE_OUT),
        records: &outcome.records,
        about: &outcome.about,
        read_on: row.read_on,
    };
    let mut list = Vec::new();
    if let Chosen::Log(log) = chosen {
        // Versions before this one: a later answer is compared with what stood when it came.
        let before: Vec<LiveUpload<'_>> = match row.commit_sequence {
            None => uploads.clone(),
            Some(_) => earlier(connection, row, &uploads)?,
        };
        let mut content = log_of(&before, log);
        let step = lay(&mut content, &own);
        list.extend(changed(&step.changed, &step.withdrawn));
        // Tanks and kits are named by the way: no row of a file stands for them alone.
        let by_the_way = [Kind::Tank, Kind::Instrument];
        let missing: Vec<(Key, Stated<'_>)> =
            step.gone.into_iter().filter(|(key, _)| !by_the_way.contains(&key.kind)).collect();
        if !own.replaces && !missing.is_empty() {
            list.push(gone(&missing));
        }
    }
    let mut all = uploads.clone();
    all.push(own);
    let preferences = store::preferences(connection, row.keeper_id, Some((row.id, Some(number))))?;
    let own_name = others.name(number).unwrap_or(&row.name).to_owned();
    for disagreement in disagreements(&all, &preferences) {
        let (first, second) = disagreement.logs;
        let other = if first == number { second } else { first };
        if (first != number && second != number) || disagreement.answer.is_some() {
            continue;
        }
        let name = others.name(other).unwrap_or_default();
        let key = format!("{LOGS_DISAGREE}:{name}");
        let mine = disagreement
            .disputes
            .iter()
            .flat_map(|dispute| if first == number { &dispute.first } else { &dispute.second });
        let cells: Vec<CellRef> = mine.flat_map(value_cells).collect();
        let count = disagreement.disputes.len().to_string();
        let fill = [("first", own_name.as_str()), ("second", name), ("count", count.as_str())];
        let mut finding = found("logs_disagree", key.clone(), &fill);
        at(&mut finding, cells);
        finding.answered = others.answer(&key).map(str::to_owned);
        list.push(finding);
    }
    list.extend(line::unknown(connection, row.keeper_id, &uploads, &outcome.records)?);
    outcome.findings.extend(list);
    Ok(chosen)
}

fn earlier<'l>(
    connection: &mut PgConnection,
    row: &UploadRow,
    uploads: &[LiveUpload<'l>],
) -> Result<Vec<LiveUpload<'l>>, LoadError> {
    use diesel::prelude::*;
    let before: Vec<i64> = upload::table
        .filter(upload::keeper_id.eq(row.keeper_id).and(upload::commit_sequence.lt(row.commit_sequence)))
        .select(upload::id)
        .load(connection)?;
    Ok(uploads.iter().filter(|upload| before.contains(&upload.upload)).copied().collect())
}

/// Nothing of the file loads while its log is in question.
fn hold_all(outcome: &mut Outcome, known: String, answered: Option<&str>) {
    let mut rows: BTreeMap<Option<String>, BTreeSet<u32>> = BTreeMap::new();
    for record in &outcome.records {
        for cell in &record.place().cells {
            rows.entry(cell.sheet.clone()).or_default().insert(cell.row);
        }
    }
    let held = rows.into_iter().map(|(sheet, rows)| Held { sheet, column: None, rows: runs(&rows) }).collect();
    let mut finding = found("log_unclear", "log_unclear".to_owned(), &[("known", &known)]);
    finding.held = held;
    finding.answered = answered.map(str::to_owned);
    outcome.findings.push(finding);
    let cells = outcome.cells;
    outcome.cells = CellCounts { recorded: 0, findings: cells.findings + cells.recorded, ..cells };
    outcome.records.clear();
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

/// Before, now, and the record that says so now.
type Change<'r> = (String, String, &'r Record);

/// Other values than before, and ends that the list took back: cell by cell, or a column's as one.
fn changed(changed: &[(Stated<'_>, &Record)], withdrawn: &[(Key, Stated<'_>)]) -> Vec<Finding> {
    let mut columns: BTreeMap<(Option<&str>, u32), Vec<Change<'_>>> = BTreeMap::new();
    for (before, now) in changed {
        let place = now.place();
        let (old, new) = said(before.record, now);
        columns.entry((place.sheet.as_deref(), place.column)).or_default().push((old, new, *now));
    }
    let mut list = Vec::new();
    for ((sheet, column), mut cells) in columns {
        cells.sort_by_key(|(.., record)| record.place().row);
        if cells.len() > ONE_BY_ONE {
            let examples: Vec<String> = cells.iter().take(3).map(|(old, new, _)| format!("{old} → {new}")).collect();
            let (count, examples) = (format!("{} values of this column", cells.len()), examples.join(", ") + ", …");
            let fill = [("written", count.as_str()), ("known", examples.as_str())];
            let mut finding =
                found("value_changed", format!("value_changed:{}:{column}", sheet.unwrap_or_default()), &fill);
            at(&mut finding, cells.iter().flat_map(|(.., record)| value_cells(record)).collect());
            list.push(finding);
            continue;
        }
        for (old, new, record) in cells {
            let key = format!("value_changed:{}", crate::fold::key::slot(record));
            let mut finding = found("value_changed", key, &[("written", &new), ("known", &old)]);
            at(&mut finding, value_cells(record));
            finding.written = new;
            list.push(finding);
        }
    }
    for (key, stated) in withdrawn {
        let known = text(stated.record);
        let fill = [("written", "nothing"), ("known", known.as_str())];
        list.push(found("value_changed", format!("value_changed:{}:{}", key.kind.as_str(), key.slot), &fill));
    }
    list
}

/// What a version no longer holds.
fn gone(gone: &[(Key, Stated<'_>)]) -> Finding {
    let mut finding = found(ROWS_GONE, ROWS_GONE.to_owned(), &[("count", &rows_of(gone).to_string())]);
    let named: Vec<String> = gone.iter().take(3).map(|(_, stated)| text(stated.record)).collect();
    finding.written = named.join("; ") + if gone.len() > 3 { "; …" } else { "" };
    finding
}

/// Rows of the earlier files that the facts stood in.
fn rows_of(gone: &[(Key, Stated<'_>)]) -> usize {
    let rows: BTreeSet<(i64, Option<&str>, u32)> = gone
        .iter()
        .map(|(_, stated)| (stated.last_upload, stated.last.place().sheet.as_deref(), stated.last.place().row))
        .collect();
    rows.len()
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
