//! Bytes + answers → staged records and findings.
//!
//! Reading happens between two short transactions, so that a long file blocks nobody; the second one finds out
//! whether the upload is still wanted.

use std::collections::BTreeSet;

use chrono::NaiveDate;
use diesel::pg::PgConnection;
use diesel::prelude::*;
use migrations::schema::{job, log, upload, upload_answer};
use serde_json::Value;

use super::compare::{Chosen, Others, compare};
use super::kit::{Kits, Supposed};
use super::receive::revision;
use super::store::{self, CARRIED, State, Upload, UploadRow, is_open, json};
use super::stored::{self, Stage};
use super::{LoadError, Loader, Resumed, context};
use crate::context::{Context, Outcome};
use crate::finding::Answer;
use crate::record::packed::Packed;
use crate::saved_layout::{OF_KEEPER, Reach, SavedLayout, reach, serves_keeper};

/// What a reader made of a file: its records apart from the rest.
#[derive(Debug, Clone)]
pub(super) struct Seen {
    /// Everything but the records.
    pub outcome: Outcome,
    /// The records.
    pub packed: Packed,
}

/// What reading an upload gave.
pub(super) struct Read {
    pub outcome: Outcome,
    pub records: Packed,
    pub context: Context,
    pub chosen: Chosen,
    /// Answers of earlier uploads of this shape that serve this one.
    pub carried: Vec<(i64, Answer)>,
    /// The keeper's revision when it was read.
    pub revision: i64,
}

/// Questions whose answers change what tables a file has: its shape is told without them.
const SHAPING: [&str; 5] =
    ["table_kind_unclear", "separator_unclear", "encoding_unclear", "sheet_hidden", "row_uneven"];
/// Share of equal facts among the rows in common, from which a file goes on from an earlier one.
const GOES_ON: f64 = 0.5;

fn is_one_of(key: &str, codes: &[&str]) -> bool {
    codes.contains(&key.split(':').next().unwrap_or(key))
}

/// Earlier answers, those of the layout that came with the file, then the upload's own: later ones win.
fn joined(carried: &[(i64, Answer)], layout: &[Answer], given: &[Answer]) -> Vec<Answer> {
    carried.iter().map(|(_, answer)| answer).chain(layout).chain(given).cloned().collect()
}

impl Loader {
    /// See [`super::stage`].
    pub fn stage(self, connection: &mut PgConnection, id: i64, today: NaiveDate) -> Result<Upload, LoadError> {
        self.stage_from(connection, id, today, &[State::Received, State::Reading, State::Questions, State::Ready])
    }

    /// See [`super::stage_waiting`].
    pub fn stage_waiting(self, connection: &mut PgConnection, id: i64, today: NaiveDate) -> Result<Upload, LoadError> {
        self.stage_from(connection, id, today, &[State::Received, State::Reading])
    }

    fn stage_from(
        self,
        connection: &mut PgConnection,
        id: i64,
        today: NaiveDate,
        from: &[State],
    ) -> Result<Upload, LoadError> {
        let begun = connection.transaction(|connection| {
            let row = store::locked(connection, id)?;
            match row.state()? {
                state if from.contains(&state) => {}
                state => {
                    let remedy = "only an upload that is not committed is read again";
                    return Err(LoadError::WrongState { upload: id, state, action: "read", remedy });
                }
            }
            diesel::update(upload::table.find(id))
                .set((upload::state.eq(State::Reading.as_str()), upload::read_on.eq(today)))
                .execute(connection)?;
            store::row(connection, id)
        })?;
        let read = self.read(connection, &begun)?;
        connection.transaction(|connection| {
            // Discarded or read again meanwhile: the later word stands.
            if store::locked(connection, id)?.state()? == State::Reading {
                keep(connection, &begun, &read)?;
                diesel::delete(job::table.find(id)).execute(connection)?;
            }
            Ok::<(), LoadError>(())
        })?;
        store::upload(connection, id)
    }

    /// Reads an upload as it stands, changing nothing.
    ///
    /// What was known when it was first committed is used again, so that an answer changes what was asked and
    /// nothing else; before that, what is known now.
    pub(super) fn read(self, connection: &mut PgConnection, row: &UploadRow) -> Result<Read, LoadError> {
        self.read_with(connection, row, None)
    }

    /// As [`Loader::read`], as if one more answer about a kit stood, or one did not.
    pub(super) fn read_with(
        self,
        connection: &mut PgConnection,
        row: &UploadRow,
        extra: Option<&Supposed>,
    ) -> Result<Read, LoadError> {
        let revision = revision(connection, row.keeper_id)?;
        let bytes = store::original(connection, row.id)?;
        let own: Vec<store::StoredAnswer> = store::answers(connection, row.id)?;
        let frozen = row.commit_sequence.and(row.context.as_ref());
        let mut context = match frozen {
            Some(frozen) => serde_json::from_value(frozen.clone()).map_err(|error| LoadError::Damaged {
                upload: row.id,
                what: "context",
                message: error.to_string(),
            })?,
            None => context::context_for(connection, row.keeper_id)?,
        };
        context.today = row.read_on;
        let layout = row.saved_layout()?;
        let of_layout: &[Answer] = layout.as_ref().map_or(&[], SavedLayout::answers);
        context.tank = row.tank_hint.clone().or_else(|| layout.as_ref()?.tank().map(str::to_owned));
        context.as_of = row.as_of;
        let given: Vec<Answer> = own.iter().map(|stored| stored.answer.clone()).collect();
        let mut kits = Kits::of(connection, row.keeper_id, extra)?;
        let read = |context: &Context, kits: &Kits, answers: Vec<Answer>| {
            let mut context = Context { answers, ..context.clone() };
            kits.serve(&mut context);
            let (outcome, packed) = (self.reader)(&row.name, &bytes, &context)?;
            Ok::<Seen, LoadError>(Seen { outcome, packed })
        };
        let mut seen = read(&context, &kits, joined(&[], of_layout, &given))?;
        if kits.named_by(&seen.packed.rest) {
            // A kit that this very file names: what the club knows of it serves the file too.
            seen = read(&context, &kits, joined(&[], of_layout, &given))?;
        }
        let shaped = given.iter().chain(of_layout).any(|answer| is_one_of(&answer.key, &SHAPING));
        let shape = match shaped {
            true => read(&context, &kits, Vec::new())?.outcome.about.shape,
            false => seen.outcome.about.shape.clone(),
        };
        seen.outcome.about.shape.clone_from(&shape);
        let others = Others::of(connection, row)?;
        let mut carried = Vec::new();
        if frozen.is_none() {
            // The first reading shows the shape; answers to that shape, and what its log said, serve the second.
            let asked = seen.outcome.findings.iter().any(is_open);
            context.complete_since_answered = complete_since_answered(connection, row, &others, &seen)?;
            if asked {
                carried = earlier_answers(connection, row, &shape, &own)?;
            }
            if !carried.is_empty() || context.complete_since_answered {
                seen = read(&context, &kits, joined(&carried, of_layout, &given))?;
                seen.outcome.about.shape.clone_from(&shape);
            }
            // "It is about Alder" is no answer for the same sheet kept for Birch, nor is what was said of a day typed
            // wrong in one row: only for a copy that goes on from what Alder's sheet says.
            let of_list = |key: &str| reach(key) == Reach::List && !serves_keeper(key);
            if carried.iter().any(|(_, answer)| of_list(&answer.key)) {
                let goes_on = match others.choose(connection, row, &seen)?.0 {
                    Chosen::Log(log) => others.agreement(connection, log, &seen)? >= GOES_ON,
                    Chosen::New | Chosen::Unclear => false,
                };
                if !goes_on {
                    carried.retain(|(_, answer)| !of_list(&answer.key));
                    seen = read(&context, &kits, joined(&carried, of_layout, &given))?;
                    seen.outcome.about.shape.clone_from(&shape);
                }
            }
        }
        let chosen = compare(connection, row, &others, &mut seen)?;
        let Seen { outcome, packed } = seen;
        Ok(Read { outcome, records: packed, context, chosen, carried, revision })
    }

    /// See [`super::resume`].
    pub fn resume(self, connection: &mut PgConnection) -> Result<Vec<Resumed>, LoadError> {
        let waiting: Vec<(i64, String, Option<NaiveDate>, bool)> = upload::table
            .filter(upload::state.eq_any([State::Reading.as_str(), State::Committing.as_str()]))
            .order(upload::id)
            .select((upload::id, upload::state, upload::read_on, upload::leave_open))
            .load(connection)?;
        let mut done = Vec::new();
        for (id, state, read_on, leave_open) in waiting {
            let outcome = match (state.as_str(), read_on) {
                ("reading", Some(today)) => self.stage(connection, id, today).map(|upload| upload.state),
                ("committing", _) => self.commit(connection, id, leave_open).map(|_| State::Committed),
                // Taken for reading, and stopped before it began.
                _ => diesel::update(upload::table.find(id).filter(upload::state.eq(State::Reading.as_str())))
                    .set(upload::state.eq(State::Received.as_str()))
                    .execute(connection)
                    .map(|_| State::Received)
                    .map_err(LoadError::from),
            };
            done.push((id, outcome));
        }
        Ok(done)
    }
}

/// Stores what was read: records, findings, state.
pub(super) fn keep(connection: &mut PgConnection, row: &UploadRow, read: &Read) -> Result<State, LoadError> {
    let outcome = &read.outcome;
    for (from, answer) in &read.carried {
        diesel::insert_into(upload_answer::table)
            .values((
                upload_answer::upload_id.eq(row.id),
                upload_answer::finding_key.eq(&answer.key),
                upload_answer::choice.eq(&answer.choice),
                upload_answer::value.eq(&answer.value),
                upload_answer::carried_from_id.eq(from),
                upload_answer::answered_by.eq(CARRIED),
            ))
            .on_conflict_do_nothing()
            .execute(connection)?;
    }
    store::store_findings(connection, row.id, &outcome.findings)?;
    stored::store_records(connection, row.id, Stage::Staged, &read.records)?;
    let open = outcome.findings.iter().filter(|finding| is_open(finding)).count();
    let failed = crate::read::unreadable(outcome);
    let state = match (failed, open) {
        (true, _) => State::Failed,
        (false, 0) => State::Ready,
        (false, _) => State::Questions,
    };
    // A committed upload stays committed: its answers make a further commit.
    let state = if row.commit_sequence.is_some() { row.state()? } else { state };
    let message =
        failed.then(|| outcome.findings.first().map(|finding| format!("{}: {}", finding.message, finding.remedy)));
    diesel::update(upload::table.find(row.id))
        .set((
            upload::state.eq(state.as_str()),
            upload::state_message.eq(message.flatten()),
            upload::log_id.eq(read.chosen.log()),
            upload::interpreter.eq(i32::try_from(outcome.about.interpreter).unwrap_or(i32::MAX)),
            upload::question_count.eq(i32::try_from(open).unwrap_or(i32::MAX)),
            upload::cells.eq(json(&outcome.cells)?),
            upload::about.eq(json(&outcome.about)?),
            upload::counts.eq(json(&read.records.counts)?),
            upload::context.eq(json(&read.context)?),
            upload::staged_revision.eq(read.revision),
        ))
        .execute(connection)?;
    Ok(state)
}

/// Whether the log that this file continues has said from what day it is complete.
fn complete_since_answered(
    connection: &mut PgConnection,
    row: &UploadRow,
    others: &Others,
    seen: &Seen,
) -> Result<bool, LoadError> {
    let Chosen::Log(log) = others.choose(connection, row, seen)?.0 else {
        return Ok(false);
    };
    let state: String = log::table.find(log).select(log::complete_since_state).first(connection)?;
    Ok(state != "unanswered")
}

/// Answers of the keeper's earlier uploads of one shape, and those about names from any; of several to one question the
/// latest.
fn earlier_answers(
    connection: &mut PgConnection,
    row: &UploadRow,
    shape: &str,
    own: &[store::StoredAnswer],
) -> Result<Vec<(i64, Answer)>, LoadError> {
    if shape.is_empty() {
        return Ok(Vec::new());
    }
    let given: Vec<(i64, String, String, Option<Value>)> = upload_answer::table
        .inner_join(upload::table.on(upload::id.eq(upload_answer::upload_id)))
        .filter(upload::keeper_id.eq(row.keeper_id).and(upload::id.ne(row.id)))
        .filter(upload::state.eq(State::Committed.as_str()))
        .filter(
            diesel::dsl::sql::<diesel::sql_types::Bool>("(upload.about ->> 'shape' = ")
                .bind::<diesel::sql_types::Text, _>(shape)
                .sql(" OR split_part(upload_answer.finding_key, ':', 1) = ANY(")
                .bind::<diesel::sql_types::Array<diesel::sql_types::Text>, _>(OF_KEEPER.as_slice())
                .sql("))"),
        )
        .order((upload::commit_sequence.desc(), upload_answer::id.desc()))
        .select((upload::id, upload_answer::finding_key, upload_answer::choice, upload_answer::value))
        .load(connection)?;
    let mut met: BTreeSet<String> = own.iter().map(|stored| stored.answer.key.clone()).collect();
    let mut earlier: Vec<(i64, Answer)> = given
        .into_iter()
        .filter(|(_, key, ..)| reach(key) != Reach::File)
        .filter(|(_, key, ..)| met.insert(key.clone()))
        .map(|(id, key, choice, value)| (id, Answer { key, choice, value }))
        .collect();
    earlier.reverse();
    Ok(earlier)
}
