//! Staged → committed, undo, single edits: one transaction each, the edition raised by the last statement.

use std::collections::{BTreeMap, BTreeSet};

use diesel::pg::PgConnection;
use diesel::prelude::*;
use diesel::sql_types::{BigInt, Double};
use migrations::schema::{audit, job, keeper, log, upload, upload_answer, upload_file};
use sha2::{Digest, Sha256};

use super::apply::Changes;
use super::keeper::lock_keeper;
use super::layout;
use super::receive::revision;
use super::refold::{Refolded, is_as_before, of_log, refold};
use super::stage;
use super::store::{self, LOGS_DISAGREE, Live, State, Upload, UploadRow, is_open, json, without_nul};
use super::stored::{self, Stage};
use super::{LoadError, Loader};
use crate::context::{About, Laid};
use crate::fold::Unplaced;
use crate::fold::key::{Kind, folded};
use crate::record::Record;
use crate::record::packed::{Month, Packed, month_of};

/// What a commit did.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct CommitSummary {
    /// Records of the upload that are in the fold.
    pub recorded: usize,
    /// Of these, specimens with a fact in question and endings whose day is in question: they count, but in no figure
    /// that needs the fact.
    pub held: usize,
    /// Questions left open.
    pub questions: usize,
    /// Records by kind.
    pub kinds: BTreeMap<&'static str, u64>,
    /// What changed in the tables.
    pub changes: Changes,
    /// Facts of the keeper that wait for something to be about: a tank, a specimen.
    pub unplaced: Vec<Unplaced>,
    /// The edition that holds it.
    pub edition: i64,
}

/// Seconds for which work on an upload is left to whoever asked for it.
pub const COMMIT_GRACE: i32 = 30;

/// See [`super::request_commit`].
pub fn request(connection: &mut PgConnection, id: i64, leave_open: bool) -> Result<Upload, LoadError> {
    connection.transaction(|connection| {
        let row = store::locked(connection, id)?;
        match row.state()? {
            State::Committed | State::Committing => return Ok(()),
            State::Ready => {}
            State::Questions if leave_open => {}
            State::Questions => return Err(questions_open(connection, id)?),
            state => return Err(not_committable(id, state)),
        }
        diesel::update(upload::table.find(id))
            .set((upload::state.eq(State::Committing.as_str()), upload::leave_open.eq(leave_open)))
            .execute(connection)?;
        leave_alone(connection, id)?;
        Ok::<(), LoadError>(())
    })?;
    store::upload(connection, id)
}

/// Whoever asked for it works on an upload; should they end, a server takes it up after a while.
pub(super) fn leave_alone(connection: &mut PgConnection, id: i64) -> Result<(), LoadError> {
    diesel::sql_query(
        "INSERT INTO job (upload_id, not_before) VALUES ($1, now() + make_interval(secs => $2)) \
         ON CONFLICT (upload_id) DO UPDATE SET attempts = 0, not_before = excluded.not_before",
    )
    .bind::<BigInt, _>(id)
    .bind::<Double, _>(f64::from(COMMIT_GRACE))
    .execute(connection)?;
    Ok(())
}

fn questions_open(connection: &mut PgConnection, upload: i64) -> Result<LoadError, LoadError> {
    let findings = store::findings(connection, upload)?;
    let keys = findings.into_iter().filter(is_open).map(|finding| finding.key).collect();
    Ok(LoadError::QuestionsOpen { upload, keys })
}

const fn not_committable(upload: i64, state: State) -> LoadError {
    let remedy = match state {
        State::Received | State::Reading => "wait until it has been read",
        State::Failed => "correct the file and send it again",
        _ => "send the file again",
    };
    LoadError::WrongState { upload, state, action: "commit", remedy }
}

impl Loader {
    /// See [`super::commit`].
    pub fn commit(self, connection: &mut PgConnection, id: i64, leave_open: bool) -> Result<CommitSummary, LoadError> {
        request(connection, id, leave_open)?;
        let done = connection.transaction(|connection| {
            let owner = store::row(connection, id)?.keeper_id;
            lock_keeper(connection, owner)?;
            let row = store::locked(connection, id)?;
            if row.state()? == State::Committed {
                return standing(connection, &row).map(Some);
            }
            if row.state()? != State::Committing {
                return Err(not_committable(id, row.state()?));
            }
            if row.staged_revision != Some(revision(connection, owner)?) {
                // Something else of the keeper was committed or undone since: what this file means may have changed.
                let read = self.read(connection, &row)?;
                stage::keep(connection, &row, &read)?;
                let failed = crate::read::unreadable(&read.outcome);
                let open = read.outcome.findings.iter().any(is_open);
                if failed || (open && !row.leave_open) {
                    // Kept as read, with its questions; nothing is committed.
                    return Ok(None);
                }
            }
            let row = store::row(connection, id)?;
            make_current(connection, &row, &row.received_by).map(Some)
        });
        let done = match done {
            Err(error @ (LoadError::Rejected { .. } | LoadError::Packing(_) | LoadError::Damaged { .. })) => {
                // Trying again would end the same: it goes back to where it was, saying why.
                give_back(connection, id, &error)?;
                return Err(error);
            }
            other => other?,
        };
        match done {
            Some(summary) => Ok(summary),
            None => match store::row(connection, id)?.state()? {
                State::Questions => Err(questions_open(connection, id)?),
                state => Err(not_committable(id, state)),
            },
        }
    }
}

fn give_back(connection: &mut PgConnection, id: i64, why: &LoadError) -> Result<(), LoadError> {
    let open = store::row(connection, id)?.question_count > 0;
    let state = if open { State::Questions } else { State::Ready };
    diesel::update(upload::table.find(id).filter(upload::state.eq(State::Committing.as_str())))
        .set((upload::state.eq(state.as_str()), upload::state_message.eq(without_nul(&why.to_string()))))
        .execute(connection)?;
    diesel::delete(job::table.find(id)).execute(connection)?;
    Ok(())
}

/// Makes records the upload's committed ones and folds the keeper anew. The keeper's row is locked by the caller.
pub(super) fn make_current(
    connection: &mut PgConnection,
    row: &UploadRow,
    by: &str,
) -> Result<CommitSummary, LoadError> {
    let sequence = revision(connection, row.keeper_id)? + 1;
    let log_id = match (row.kind.as_str(), store::row(connection, row.id)?.log_id) {
        ("file", None) => Some(new_log(connection, row)?),
        (_, log_id) => log_id,
    };
    let mut touched = stored::commit_records(connection, row.id)?;
    layout::with_commit(connection, row)?;
    diesel::update(keeper::table.find(row.keeper_id)).set(keeper::revision.eq(sequence)).execute(connection)?;
    diesel::update(upload::table.find(row.id))
        .set((
            upload::state.eq(State::Committed.as_str()),
            upload::log_id.eq(log_id),
            // The first commit gives an upload its place; later answers do not move it.
            upload::commit_sequence.eq(row.commit_sequence.unwrap_or(sequence)),
            upload::committed_at.eq(diesel::dsl::now),
            upload::state_message.eq(None::<String>),
            upload::staged_revision.eq(sequence),
        ))
        .execute(connection)?;
    let live = store::live(connection, row.keeper_id)?;
    touched.retain(|month| !is_as_before(&live, row, *month));
    touched.extend(months_corrected(&row.about()?));
    // An answer about two logs is about all their months.
    let compares_logs = compares_logs(connection, row.id)?;
    let replaces = live.iter().any(|live| live.upload == row.id && live.replaces);
    if replaces {
        touched.extend(of_log(&live, log_id));
    }
    let touched = Some(touched).filter(|_| !compares_logs);
    let Refolded { changes, unplaced } = refold(connection, row.keeper_id, &live, touched)?;
    let counted = match live.iter().find(|live| live.upload == row.id) {
        Some(own) => counted(connection, own)?,
        None => CommitSummary::default(),
    };
    diesel::delete(job::table.find(row.id)).execute(connection)?;
    record(connection, by, "commit upload", row.id)?;
    Ok(CommitSummary { changes, unplaced, edition: raise_edition(connection)?, ..counted })
}

/// Months of the tests that a single edit corrects.
fn months_corrected(about: &About) -> impl Iterator<Item = Month> {
    about.corrects().iter().filter_map(month_of)
}

/// Whether an upload's answers say which of two logs is right.
fn compares_logs(connection: &mut PgConnection, id: i64) -> Result<bool, LoadError> {
    let answers = upload_answer::table
        .filter(upload_answer::upload_id.eq(id))
        .filter(upload_answer::finding_key.like(format!("{LOGS_DISAGREE}:%")));
    Ok(diesel::select(diesel::dsl::exists(answers)).get_result(connection)?)
}

fn counted(connection: &mut PgConnection, own: &Live) -> Result<CommitSummary, LoadError> {
    let (id, records) = (own.upload, own.records.as_slice());
    let tests: usize = own.months.values().map(|month| month.count).sum();
    let held = records.iter().filter(|record| match record {
        Record::Specimen(specimen) => !specimen.held.is_empty(),
        Record::Ending(ending) => ending.date_held,
        _ => false,
    });
    let mut kinds = store::counts(records);
    if tests > 0 {
        *kinds.entry(Kind::Reading.as_str()).or_default() += tests as u64;
    }
    Ok(CommitSummary {
        recorded: records.len() + tests,
        held: held.count(),
        questions: store::findings(connection, id)?.iter().filter(|finding| is_open(finding)).count(),
        kinds,
        ..CommitSummary::default()
    })
}

/// What a commit said, for an upload committed before.
fn standing(connection: &mut PgConnection, row: &UploadRow) -> Result<CommitSummary, LoadError> {
    let live = store::live(connection, row.keeper_id)?;
    let edition = migrations::schema::edition::table.select(migrations::schema::edition::number).first(connection)?;
    match live.iter().find(|live| live.upload == row.id) {
        Some(own) => Ok(CommitSummary { edition, ..counted(connection, own)? }),
        None => Ok(CommitSummary { edition, ..CommitSummary::default() }),
    }
}

/// A file's name without folders and ending: the name of the log that it begins.
pub(super) fn stem(name: &str) -> &str {
    let base = name.rsplit(['/', '\\']).next().unwrap_or(name);
    base.rsplit_once('.').map_or(base, |(stem, _)| stem).trim()
}

/// The log that a file begins: named beside it, else after the file; an abandoned one of the same name and shape
/// is taken up again.
fn new_log(connection: &mut PgConnection, row: &UploadRow) -> Result<i64, LoadError> {
    let shape = row.about()?.shape;
    let stem = stem(&row.name);
    let wanted = row.log_hint.as_deref().map(str::trim).filter(|name| !name.is_empty()).unwrap_or(stem);
    let wanted = if wanted.is_empty() { "log" } else { wanted };
    let logs = store::logs(connection, row.keeper_id)?;
    let mut name = wanted.to_owned();
    let mut copy = 1;
    while let Some((id, _, taken)) = logs.iter().find(|(_, taken, _)| folded(taken) == folded(&name)) {
        let lives: i64 = upload::table
            .filter(upload::log_id.eq(id).and(upload::state.eq(State::Committed.as_str())))
            .count()
            .get_result(connection)?;
        if lives == 0 && (*taken == shape || row.log_hint.is_some()) {
            diesel::update(log::table.find(id)).set(log::shape.eq(&shape)).execute(connection)?;
            return Ok(*id);
        }
        copy += 1;
        name = format!("{wanted} ({copy})");
    }
    let values = (log::keeper_id.eq(row.keeper_id), log::name.eq(&name), log::shape.eq(&shape));
    Ok(diesel::insert_into(log::table).values(values).returning(log::id).get_result(connection)?)
}

/// See [`super::undo`].
pub fn undo(connection: &mut PgConnection, id: i64, by: &str) -> Result<Upload, LoadError> {
    connection.transaction(|connection| {
        let owner = store::row(connection, id)?.keeper_id;
        lock_keeper(connection, owner)?;
        let row = store::locked(connection, id)?;
        match row.state()? {
            State::Undone => return Ok(()),
            State::Committed => {}
            state => {
                let remedy = "only a committed upload is undone; discard it instead";
                return Err(LoadError::WrongState { upload: id, state, action: "undo", remedy });
            }
        }
        let sequence = revision(connection, owner)? + 1;
        // A year that only this file gave goes with it; one set by hand stays.
        let since = row.about()?.keeping_since;
        if since.is_some() {
            diesel::update(keeper::table.find(owner).filter(keeper::keeping_since.eq(since)))
                .set(keeper::keeping_since.eq(None::<i32>))
                .execute(connection)?;
        }
        diesel::update(keeper::table.find(owner)).set(keeper::revision.eq(sequence)).execute(connection)?;
        let mut live = store::live(connection, owner)?;
        let own = live.iter().find(|live| live.upload == id);
        let mut touched: BTreeSet<Month> = own.map(|own| own.months.keys().copied().collect()).unwrap_or_default();
        if own.is_some_and(|own| own.replaces) {
            touched.extend(of_log(&live, row.log_id));
        }
        touched.extend(months_corrected(&row.about()?));
        // What its answers said of two logs holds no longer.
        let compares_logs = compares_logs(connection, id)?;
        diesel::update(upload::table.find(id))
            .set((upload::state.eq(State::Undone.as_str()), upload::undone_at.eq(diesel::dsl::now)))
            .execute(connection)?;
        live.retain(|live| live.upload != id);
        refold(connection, owner, &live, Some(touched).filter(|_| !compares_logs))?;
        record(connection, by, "undo upload", id)?;
        raise_edition(connection)?;
        Ok::<(), LoadError>(())
    })?;
    store::upload(connection, id)
}

/// See [`super::discard`].
pub fn discard(connection: &mut PgConnection, id: i64, by: &str) -> Result<Upload, LoadError> {
    connection.transaction(|connection| {
        let row = store::locked(connection, id)?;
        match row.state()? {
            State::Discarded => return Ok(()),
            State::Received | State::Reading | State::Failed | State::Questions | State::Ready => {}
            state => {
                let remedy = match state {
                    State::Committing => "wait until it is committed, then undo it",
                    _ => "undo it instead",
                };
                return Err(LoadError::WrongState { upload: id, state, action: "discard", remedy });
            }
        }
        diesel::update(upload::table.find(id)).set(upload::state.eq(State::Discarded.as_str())).execute(connection)?;
        record(connection, by, "discard upload", id)
    })?;
    store::upload(connection, id)
}

/// See [`super::remove`].
pub fn remove(connection: &mut PgConnection, id: i64, by: &str) -> Result<Upload, LoadError> {
    match store::row(connection, id)?.state()? {
        State::Committed | State::Undone => undo(connection, id, by),
        _ => discard(connection, id, by),
    }
}

/// See [`super::edit`].
pub fn edit(connection: &mut PgConnection, keeper_id: i64, records: &[Record], by: &str) -> Result<i64, LoadError> {
    at_once(connection, keeper_id, "edit", "edit", records, &About::default(), by)
}

/// See [`super::change`].
pub fn change(
    connection: &mut PgConnection,
    keeper_id: i64,
    records: &[Record],
    laid: Laid,
    name: &str,
    by: &str,
) -> Result<i64, LoadError> {
    at_once(connection, keeper_id, "edit", name, records, &About { laid: Some(laid), ..About::default() }, by)
}

/// Records facts that need no reading: an upload that is committed as it is made.
pub(super) fn at_once(
    connection: &mut PgConnection,
    keeper_id: i64,
    kind: &str,
    name: &str,
    records: &[Record],
    about: &About,
    by: &str,
) -> Result<i64, LoadError> {
    let content = serde_json::to_vec(records).map_err(|error| LoadError::Packing(error.to_string()))?;
    connection.transaction(|connection| {
        lock_keeper(connection, keeper_id)?;
        let id: i64 = diesel::insert_into(upload::table)
            .values((
                upload::keeper_id.eq(keeper_id),
                upload::kind.eq(kind),
                upload::name.eq(name),
                upload::sha256.eq(Sha256::digest(&content).to_vec()),
                upload::byte_count.eq(i64::try_from(content.len()).unwrap_or(i64::MAX)),
                upload::state.eq(State::Committing.as_str()),
                upload::read_on.eq(about.as_of),
                upload::received_by.eq(without_nul(by)),
                upload::about.eq(json(about)?),
                upload::counts.eq(json(&if about.takes_out { BTreeMap::new() } else { store::counts(records) })?),
            ))
            .returning(upload::id)
            .get_result(connection)?;
        diesel::insert_into(upload_file::table)
            .values((upload_file::upload_id.eq(id), upload_file::content.eq(&content)))
            .execute(connection)?;
        let row = store::row(connection, id)?;
        stored::store_records(connection, id, Stage::Staged, &Packed::of(records.iter().cloned())?)?;
        make_current(connection, &row, by)?;
        Ok(id)
    })
}

fn record(connection: &mut PgConnection, by: &str, action: &str, upload: i64) -> Result<(), LoadError> {
    diesel::insert_into(audit::table)
        .values((
            audit::actor.eq(without_nul(by)),
            audit::action.eq(action),
            audit::subject.eq(format!("upload {upload}")),
        ))
        .execute(connection)?;
    Ok(())
}

#[derive(QueryableByName)]
struct Edition {
    #[diesel(sql_type = BigInt)]
    number: i64,
}

/// The last statement of a transaction that changes what an answer depends on.
pub(super) fn raise_edition(connection: &mut PgConnection) -> Result<i64, LoadError> {
    let raised: Edition = diesel::sql_query("SELECT raise_edition() AS number").get_result(connection)?;
    Ok(raised.number)
}
