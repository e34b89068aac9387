//! Uploads as stored: their state, findings and answers, and those that live.

use std::borrow::Cow;
use std::collections::{BTreeMap, BTreeSet};

use chrono::{DateTime, NaiveDate, Utc};
use diesel::pg::PgConnection;
use diesel::prelude::*;
use migrations::schema::{finding, log, upload, upload_answer, upload_file, upload_month};
use serde::Serialize;
use serde_json::Value;

use super::LoadError;
use super::stored::{Stage, rest};
use crate::context::About;
use crate::finding::{Answer, CellCounts, Finding, Severity};
use crate::fold::between::{Preferences, pair};
use crate::fold::key::Kind;
use crate::fold::same::SameNames;
use crate::fold::{LiveUpload, NO_TANKS, Preference};
use crate::record::Record;
use crate::record::packed::{Month, replace_nul};
use crate::saved_layout::SavedLayout;

macro_rules! states {
    ($($(#[$doc:meta])* $state:ident => $code:literal),+ $(,)?) => {
        /// Where an upload stands.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
        #[serde(rename_all = "snake_case")]
        pub enum State { $($(#[$doc])* $state),+ }

        impl State {
            /// All states.
            pub const ALL: &'static [State] = &[$(State::$state),+];

            /// The code as stored and printed.
            pub const fn as_str(self) -> &'static str {
                match self { $(State::$state => $code),+ }
            }

            /// The state of a code.
            pub fn parse(code: &str) -> Option<Self> {
                match code { $($code => Some(State::$state),)+ _ => None }
            }
        }
    };
}

states! {
    /// Its bytes are stored.
    Received => "received",
    /// It is being read.
    Reading => "reading",
    /// It cannot be read.
    Failed => "failed",
    /// It waits for answers.
    Questions => "questions",
    /// It can be committed.
    Ready => "ready",
    /// It is being committed.
    Committing => "committing",
    /// Its records are current.
    Committed => "committed",
    /// It was taken back.
    Undone => "undone",
    /// It was put aside before a commit.
    Discarded => "discarded",
}

impl std::fmt::Display for State {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(self.as_str())
    }
}

/// An upload without its bytes, records and findings.
#[derive(Debug, Clone, PartialEq)]
pub struct Upload {
    /// Its number.
    pub id: i64,
    /// Whose.
    pub keeper_id: i64,
    /// The log it is a version of, once known.
    pub log: Option<String>,
    /// `file`, `edit`, `roll_call`.
    pub kind: String,
    /// File name as given.
    pub name: String,
    /// SHA-256 of its bytes, in hexadecimal.
    pub sha256: String,
    /// Size.
    pub byte_count: i64,
    /// Where it stands.
    pub state: State,
    /// Why it failed.
    pub state_message: Option<String>,
    /// Open questions.
    pub question_count: i32,
    /// Records by kind, as last read.
    pub counts: BTreeMap<String, u64>,
    /// Cells, as last read.
    pub cells: CellCounts,
    /// What it says about itself.
    pub about: About,
    /// When it came.
    pub received_at: DateTime<Utc>,
    /// Last commit.
    pub committed_at: Option<DateTime<Utc>>,
    /// When it was taken back.
    pub undone_at: Option<DateTime<Utc>>,
}

#[derive(Queryable, Selectable)]
#[diesel(table_name = upload)]
pub(super) struct UploadRow {
    pub id: i64,
    pub keeper_id: i64,
    pub log_id: Option<i64>,
    pub kind: String,
    pub name: String,
    sha256: Vec<u8>,
    pub byte_count: i64,
    state: String,
    state_message: Option<String>,
    pub tank_hint: Option<String>,
    pub log_hint: Option<String>,
    pub as_of: Option<NaiveDate>,
    pub read_on: Option<NaiveDate>,
    received_at: DateTime<Utc>,
    pub received_by: String,
    pub commit_sequence: Option<i64>,
    committed_at: Option<DateTime<Utc>>,
    undone_at: Option<DateTime<Utc>>,
    pub leave_open: bool,
    pub question_count: i32,
    cells: Option<Value>,
    about: Option<Value>,
    counts: Option<Value>,
    pub context: Option<Value>,
    pub staged_revision: Option<i64>,
    layout: Option<Value>,
}

impl UploadRow {
    /// The layout that came with the file.
    pub fn saved_layout(&self) -> Result<Option<SavedLayout>, LoadError> {
        let layout = self.layout.clone().map(SavedLayout::of_value).transpose();
        layout.map_err(|error| self.damaged("layout", error))
    }

    pub fn state(&self) -> Result<State, LoadError> {
        State::parse(&self.state).ok_or_else(|| self.damaged("state", &self.state))
    }

    pub fn about(&self) -> Result<About, LoadError> {
        self.about.clone().map_or(Ok(About::default()), |about| {
            serde_json::from_value(about).map_err(|error| self.damaged("description", error))
        })
    }

    fn damaged(&self, what: &'static str, message: impl ToString) -> LoadError {
        LoadError::Damaged { upload: self.id, what, message: message.to_string() }
    }
}

pub(super) fn row(connection: &mut PgConnection, id: i64) -> Result<UploadRow, LoadError> {
    let row = upload::table.find(id).select(UploadRow::as_select()).first(connection).optional()?;
    row.ok_or(LoadError::NoUpload(id))
}

/// The row, locked until the transaction ends.
pub(super) fn locked(connection: &mut PgConnection, id: i64) -> Result<UploadRow, LoadError> {
    let row = upload::table.find(id).select(UploadRow::as_select()).for_update().first(connection).optional()?;
    row.ok_or(LoadError::NoUpload(id))
}

fn described(connection: &mut PgConnection, row: UploadRow) -> Result<Upload, LoadError> {
    let log = match row.log_id {
        Some(id) => Some(log::table.find(id).select(log::name).first(connection)?),
        None => None,
    };
    let cells = match row.cells.clone() {
        Some(cells) => serde_json::from_value(cells).map_err(|error| row.damaged("counts of cells", error))?,
        None => CellCounts::default(),
    };
    let counts = match row.counts.clone() {
        Some(counts) => serde_json::from_value(counts).map_err(|error| row.damaged("counts of records", error))?,
        None => BTreeMap::new(),
    };
    Ok(Upload {
        state: row.state()?,
        about: row.about()?,
        id: row.id,
        keeper_id: row.keeper_id,
        log,
        kind: row.kind,
        name: row.name,
        sha256: row.sha256.iter().map(|byte| format!("{byte:02x}")).collect(),
        byte_count: row.byte_count,
        state_message: row.state_message,
        question_count: row.question_count,
        counts,
        cells,
        received_at: row.received_at,
        committed_at: row.committed_at,
        undone_at: row.undone_at,
    })
}

/// One upload.
///
/// # Errors
/// [`LoadError::NoUpload`]; the database's.
pub fn upload(connection: &mut PgConnection, id: i64) -> Result<Upload, LoadError> {
    let row = row(connection, id)?;
    described(connection, row)
}

/// Uploads of a keeper, latest first.
///
/// # Errors
/// The database's.
pub fn uploads(connection: &mut PgConnection, keeper_id: i64) -> Result<Vec<Upload>, LoadError> {
    let rows: Vec<UploadRow> = upload::table
        .filter(upload::keeper_id.eq(keeper_id))
        .order(upload::id.desc())
        .select(UploadRow::as_select())
        .load(connection)?;
    rows.into_iter().map(|row| described(connection, row)).collect()
}

/// The bytes as they came.
///
/// # Errors
/// [`LoadError::NoUpload`]; the database's.
pub fn original(connection: &mut PgConnection, id: i64) -> Result<Vec<u8>, LoadError> {
    let content = upload_file::table.find(id).select(upload_file::content).first(connection).optional()?;
    content.ok_or(LoadError::NoUpload(id))
}

/// Findings of an upload in the order of the file, as last read.
///
/// # Errors
/// [`LoadError::Damaged`] if they cannot be read back; the database's.
pub fn findings(connection: &mut PgConnection, id: i64) -> Result<Vec<Finding>, LoadError> {
    type Row = (
        (String, String, String, Option<String>, Option<i32>, Option<i32>),
        (String, String, String, Option<String>),
        (Value, Option<Value>, Value, Value),
    );
    let rows: Vec<Row> = finding::table
        .filter(finding::upload_id.eq(id))
        .order(finding::position)
        .select((
            (
                finding::key,
                finding::code,
                finding::severity,
                finding::sheet,
                finding::row_number,
                finding::column_number,
            ),
            (finding::written, finding::message, finding::remedy, finding::answered),
            (finding::choices, finding::proposed, finding::held, finding::cells),
        ))
        .load(connection)?;
    let damaged =
        |error: serde_json::Error| LoadError::Damaged { upload: id, what: "findings", message: error.to_string() };
    rows.into_iter()
        .map(
            |(
                (key, code, severity, sheet, row, column),
                (written, message, remedy, answered),
                (choices, proposed, held, cells),
            )| {
                Ok(Finding {
                    severity: serde_json::from_value(Value::String(severity)).map_err(damaged)?,
                    code,
                    key,
                    sheet,
                    row: row.and_then(|row| u32::try_from(row).ok()),
                    column: column.and_then(|column| u32::try_from(column).ok()),
                    written,
                    message,
                    remedy,
                    choices: serde_json::from_value(choices).map_err(damaged)?,
                    proposed: proposed.map(serde_json::from_value).transpose().map_err(damaged)?,
                    held: serde_json::from_value(held).map_err(damaged)?,
                    cells: serde_json::from_value(cells).map_err(damaged)?,
                    answered,
                })
            },
        )
        .collect()
}

pub(super) fn store_findings(connection: &mut PgConnection, id: i64, findings: &[Finding]) -> Result<(), LoadError> {
    diesel::delete(finding::table.filter(finding::upload_id.eq(id))).execute(connection)?;
    let number = |place: Option<u32>| place.and_then(|place| i32::try_from(place).ok());
    let mut rows = Vec::with_capacity(findings.len());
    for (position, one) in findings.iter().enumerate() {
        rows.push((
            finding::upload_id.eq(id),
            finding::position.eq(i32::try_from(position).unwrap_or(i32::MAX)),
            finding::key.eq(without_nul(&one.key)),
            finding::code.eq(without_nul(&one.code)),
            finding::severity.eq(severity(one.severity)),
            finding::sheet.eq(one.sheet.as_deref().map(without_nul)),
            finding::row_number.eq(number(one.row)),
            finding::column_number.eq(number(one.column)),
            finding::written.eq(without_nul(&one.written)),
            finding::message.eq(without_nul(&one.message)),
            finding::remedy.eq(without_nul(&one.remedy)),
            finding::choices.eq(json(&one.choices)?),
            finding::proposed.eq(one.proposed.as_ref().map(json).transpose()?),
            finding::held.eq(json(&one.held)?),
            finding::cells.eq(json(&one.cells)?),
            finding::answered.eq(one.answered.as_deref().map(without_nul)),
        ));
    }
    // Sixteen columns a row, and a statement takes 65 535 values.
    for chunk in rows.chunks(4000) {
        diesel::insert_into(finding::table).values(chunk).execute(connection)?;
    }
    Ok(())
}

const fn severity(severity: Severity) -> &'static str {
    match severity {
        Severity::Refused => "refused",
        Severity::Questioned => "questioned",
        Severity::Noted => "noted",
    }
}

/// `true` if it waits for an answer that has not been given.
pub(super) fn is_open(finding: &Finding) -> bool {
    finding.severity == Severity::Questioned && finding.answered.is_none()
}

/// A value as the database can hold it.
pub(super) fn json<T: Serialize>(value: &T) -> Result<Value, LoadError> {
    let mut value = serde_json::to_value(value).map_err(|error| LoadError::Packing(error.to_string()))?;
    replace_nul(&mut value);
    Ok(value)
}

/// An answer as stored.
#[derive(Debug, Clone, PartialEq)]
pub struct StoredAnswer {
    /// What was said.
    pub answer: Answer,
    /// Taken over from an earlier upload of the same shape: it may be answered otherwise here.
    pub carried: bool,
}

/// Answers of an upload, in the order given.
///
/// # Errors
/// The database's.
pub fn answers(connection: &mut PgConnection, id: i64) -> Result<Vec<StoredAnswer>, LoadError> {
    let rows: Vec<(String, String, Option<Value>, String)> = upload_answer::table
        .filter(upload_answer::upload_id.eq(id))
        .order(upload_answer::id)
        .select((upload_answer::finding_key, upload_answer::choice, upload_answer::value, upload_answer::answered_by))
        .load(connection)?;
    Ok(rows
        .into_iter()
        .map(|(key, choice, value, by)| StoredAnswer { answer: Answer { key, choice, value }, carried: by == CARRIED })
        .collect())
}

/// Who answers when an earlier upload's answer serves.
pub(super) const CARRIED: &str = "an earlier answer";

/// A committed upload: its records in memory, but tests of tanks, of which it is known what months there are.
#[derive(Clone)]
pub(super) struct Live {
    pub upload: i64,
    pub log: Option<i64>,
    pub edit: bool,
    pub replaces: bool,
    pub records: Vec<Record>,
    pub tanks: BTreeSet<String>,
    pub months: BTreeMap<Month, InMonth>,
    pub about: About,
    read_on: Option<NaiveDate>,
}

/// What is known of an upload's month without unpacking it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct InMonth {
    /// How many tests.
    pub count: usize,
    /// Hash of what they say.
    pub hash: Vec<u8>,
}

impl Live {
    /// All but tests of tanks.
    pub fn borrow(&self) -> LiveUpload<'_> {
        LiveUpload { tanks: &self.tanks, ..self.with(&self.records) }
    }

    /// The upload under the names that stay.
    pub fn under(&self, same: &SameNames) -> Live {
        let mut own = Live { tanks: same.tanks(&self.tanks), ..self.clone() };
        own.records.iter_mut().for_each(|record| same.rename(record));
        own
    }

    /// The upload with other records.
    pub fn with<'a>(&'a self, records: &'a [Record]) -> LiveUpload<'a> {
        LiveUpload {
            upload: self.upload,
            log: self.log,
            edit: self.edit,
            replaces: self.replaces,
            records,
            tanks: &NO_TANKS,
            about: &self.about,
            read_on: self.read_on,
        }
    }
}

/// Key and choice of the answer that takes out what a new version no longer holds.
pub(super) const ROWS_GONE: &str = "rows_gone";
/// See [`ROWS_GONE`].
pub(super) const TAKE_OUT: &str = "take_out";
/// Start of the keys of questions about two logs; the other log's name follows.
pub(super) const LOGS_DISAGREE: &str = "logs_disagree";

/// Upload, month, hash, number of tests, tanks.
type MonthRow = (i64, i32, Vec<u8>, i32, Vec<String>);

/// The keeper's committed uploads in the order of their commits.
pub(super) fn live(connection: &mut PgConnection, keeper_id: i64) -> Result<Vec<Live>, LoadError> {
    let rows: Vec<UploadRow> = upload::table
        .filter(upload::keeper_id.eq(keeper_id))
        .filter(upload::state.eq(State::Committed.as_str()))
        .order(upload::commit_sequence)
        .select(UploadRow::as_select())
        .load(connection)?;
    let replacing: Vec<i64> = upload_answer::table
        .filter(upload_answer::upload_id.eq_any(rows.iter().map(|row| row.id)))
        .filter(upload_answer::finding_key.eq(ROWS_GONE).and(upload_answer::choice.eq(TAKE_OUT)))
        .select(upload_answer::upload_id)
        .load(connection)?;
    let mut live = Vec::with_capacity(rows.len());
    for row in &rows {
        live.push(Live {
            upload: row.id,
            log: row.log_id,
            edit: row.kind == "edit",
            replaces: replacing.contains(&row.id),
            records: rest(connection, row.id, Stage::Committed)?,
            tanks: BTreeSet::new(),
            months: BTreeMap::new(),
            about: row.about()?,
            read_on: row.read_on,
        });
    }
    let months: Vec<MonthRow> = upload_month::table
        .filter(upload_month::stage.eq(Stage::Committed.as_str()))
        .filter(upload_month::upload_id.eq_any(rows.iter().map(|row| row.id)))
        .select((
            upload_month::upload_id,
            upload_month::month,
            upload_month::content_hash,
            upload_month::record_count,
            upload_month::tanks,
        ))
        .load(connection)?;
    let at: BTreeMap<i64, usize> = live.iter().enumerate().map(|(at, live)| (live.upload, at)).collect();
    for (upload, month, hash, count, tanks) in months {
        if let Some(live) = at.get(&upload).and_then(|at| live.get_mut(*at)) {
            live.tanks.extend(tanks);
            live.months.insert(Month(month), InMonth { count: usize::try_from(count).unwrap_or_default(), hash });
        }
    }
    Ok(live)
}

/// Names and numbers of a keeper's logs.
pub(super) fn logs(connection: &mut PgConnection, keeper_id: i64) -> Result<Vec<(i64, String, String)>, LoadError> {
    Ok(log::table
        .filter(log::keeper_id.eq(keeper_id))
        .order(log::id)
        .select((log::id, log::name, log::shape))
        .load(connection)?)
}

/// What the keeper said about pairs of logs, in live uploads and in `also`; a later answer stands.
pub(super) fn preferences(
    connection: &mut PgConnection,
    keeper_id: i64,
    also: Option<(i64, Option<i64>)>,
) -> Result<Preferences, LoadError> {
    let by_name: BTreeMap<String, i64> =
        logs(connection, keeper_id)?.into_iter().map(|(id, name, _)| (name, id)).collect();
    let given: Vec<(i64, Option<i64>, String, String)> = upload_answer::table
        .inner_join(upload::table.on(upload::id.eq(upload_answer::upload_id)))
        .filter(upload::keeper_id.eq(keeper_id))
        .filter(upload::state.eq(State::Committed.as_str()).or(upload::id.eq(also.map_or(0, |(id, _)| id))))
        .filter(upload_answer::finding_key.like(format!("{LOGS_DISAGREE}:%")))
        .order(upload_answer::id)
        .select((upload::id, upload::log_id, upload_answer::finding_key, upload_answer::choice))
        .load(connection)?;
    let mut preferences = Preferences::new();
    for (id, own, key, choice) in given {
        let own = also.filter(|(staged, _)| *staged == id).map_or(own, |(_, log)| log);
        let other = key.split_once(':').and_then(|(_, name)| by_name.get(name)).copied();
        let (Some(own), Some(other)) = (own, other) else {
            continue;
        };
        let preference = match choice.as_str() {
            "two_tests" => Preference::Both,
            "first" => Preference::Log(own),
            "second" => Preference::Log(other),
            _ => continue,
        };
        preferences.insert(pair(own, other), preference);
    }
    Ok(preferences)
}

/// Records by kind.
pub(super) fn counts(records: &[Record]) -> BTreeMap<&'static str, u64> {
    let mut counts = BTreeMap::new();
    for record in records {
        *counts.entry(Kind::of(record).as_str()).or_default() += 1;
    }
    counts
}

/// Text as the database can hold it: the character of number 0 is shown as a replacement mark.
pub(super) fn without_nul(text: &str) -> Cow<'_, str> {
    if text.contains('\0') { Cow::Owned(text.replace('\0', "\u{fffd}")) } else { Cow::Borrowed(text) }
}
