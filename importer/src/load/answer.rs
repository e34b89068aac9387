//! Answers, checked against the questions before anything is stored.

use std::collections::BTreeSet;

use analysis::vocabulary::{FindingCode, ParameterCode, TaxonSlug};
use chrono::NaiveDate;
use diesel::pg::PgConnection;
use diesel::prelude::*;
use migrations::schema::{upload, upload_answer};
use serde_json::Value;

use super::store::{self, State, Upload, is_open, json, without_nul};
use super::{LoadError, Loader, commit, keeper, stage};
use crate::finding::{Answer, Choice, Finding};

impl Loader {
    /// See [`super::answer`].
    pub fn answer(
        self,
        connection: &mut PgConnection,
        id: i64,
        answers: &[Answer],
        by: &str,
    ) -> Result<Upload, LoadError> {
        let committed = connection.transaction(|connection| {
            let owner = store::row(connection, id)?.keeper_id;
            // Keeper before upload, as everywhere: two locks in one order.
            keeper::lock_keeper(connection, owner)?;
            let row = store::locked(connection, id)?;
            let state = row.state()?;
            if !matches!(state, State::Questions | State::Ready | State::Committed) {
                let remedy = match state {
                    State::Received | State::Reading => "wait until it has been read",
                    State::Committing => "wait until it is committed",
                    _ => "send the file again",
                };
                return Err(LoadError::WrongState { upload: id, state, action: "answer", remedy });
            }
            store_answers(connection, id, answers, by)?;
            if state == State::Committed {
                // The answer and what follows from it are one step: the records, the fold, the edition.
                let read = self.read(connection, &row)?;
                stage::keep(connection, &row, &read)?;
                commit::make_current(connection, &row, by)?;
                return Ok(true);
            }
            diesel::update(upload::table.find(id))
                .set(upload::state.eq(State::Reading.as_str()))
                .execute(connection)?;
            commit::leave_alone(connection, id)?;
            Ok(false)
        })?;
        if committed {
            return store::upload(connection, id);
        }
        let row = store::row(connection, id)?;
        let read_on = row.read_on.ok_or(LoadError::Damaged {
            upload: id,
            what: "day of reading",
            message: "it is missing".to_owned(),
        })?;
        self.stage(connection, id, read_on)
    }
}

fn store_answers(connection: &mut PgConnection, id: i64, answers: &[Answer], by: &str) -> Result<(), LoadError> {
    let findings = store::findings(connection, id)?;
    let given = store::answers(connection, id)?;
    let mut met: BTreeSet<&str> = BTreeSet::new();
    for answer in answers {
        let standing = given.iter().find(|stored| stored.answer.key == answer.key);
        if let Some(stored) = standing.filter(|stored| !stored.carried) {
            return Err(LoadError::Conflict { current: stored.answer.clone() });
        }
        if !met.insert(&answer.key) {
            let first = answers.iter().find(|other| other.key == answer.key).unwrap_or(answer);
            return Err(LoadError::Conflict { current: first.clone() });
        }
        let asked = findings.iter().find(|finding| finding.key == answer.key && !finding.choices.is_empty());
        match (asked, standing) {
            (Some(finding), _) => check(finding, answer)?,
            (None, Some(_)) => check_known(answer)?,
            (None, None) => {
                let open = findings.iter().filter(|finding| is_open(finding)).map(|finding| finding.key.clone());
                return Err(LoadError::UnknownQuestion { upload: id, key: answer.key.clone(), open: open.collect() });
            }
        }
        // An answer that was taken over gives way to one that is given.
        let value = answer.value.as_ref().map(json).transpose()?.map(cleaned);
        diesel::insert_into(upload_answer::table)
            .values((
                upload_answer::upload_id.eq(id),
                upload_answer::finding_key.eq(&answer.key),
                upload_answer::choice.eq(&answer.choice),
                upload_answer::value.eq(&value),
                upload_answer::answered_by.eq(without_nul(by)),
            ))
            .on_conflict((upload_answer::upload_id, upload_answer::finding_key))
            .do_update()
            .set((
                upload_answer::choice.eq(&answer.choice),
                upload_answer::value.eq(&value),
                upload_answer::carried_from_id.eq(None::<i64>),
                upload_answer::answered_at.eq(diesel::dsl::now),
                upload_answer::answered_by.eq(without_nul(by)),
            ))
            .execute(connection)?;
    }
    Ok(())
}

fn cleaned(value: Value) -> Value {
    match value {
        Value::String(text) => Value::String(without_nul(&text).into_owned()),
        other => other,
    }
}

/// Is it an answer to a question that an earlier answer settled, so that it was not asked here?
fn check_known(answer: &Answer) -> Result<(), LoadError> {
    let code = answer.key.split(':').next().unwrap_or(&answer.key);
    let answers = FindingCode::parse(code).map(|code| code.get().all_answers()).unwrap_or_default();
    let choices: Vec<String> = answers.iter().map(|answer| answer.code.to_owned()).collect();
    if choices.contains(&answer.choice) {
        return Ok(());
    }
    Err(LoadError::UnknownChoice { key: answer.key.clone(), choice: answer.choice.clone(), choices })
}

/// Is the choice offered, and does it come with what it needs?
pub(super) fn check(finding: &Finding, answer: &Answer) -> Result<(), LoadError> {
    let Some(choice) = finding.choices.iter().find(|choice| choice.code == answer.choice) else {
        return Err(LoadError::UnknownChoice {
            key: answer.key.clone(),
            choice: answer.choice.clone(),
            choices: finding.choices.iter().map(|choice| choice.code.clone()).collect(),
        });
    };
    needed(choice, answer.value.as_ref()).map_err(|message| LoadError::BadValue {
        key: answer.key.clone(),
        choice: answer.choice.clone(),
        message,
    })
}

fn needed(choice: &Choice, value: Option<&Value>) -> Result<(), String> {
    let Some(needs) = choice.needs.as_deref() else {
        return match value {
            None | Some(Value::Null) => Ok(()),
            Some(_) => Err("takes no value: leave it out".to_owned()),
        };
    };
    let day = |value: &Value| value.as_str().and_then(|day| NaiveDate::parse_from_str(day, "%Y-%m-%d").ok());
    let text = value.and_then(Value::as_str).map(str::trim).filter(|text| !text.is_empty());
    match needs {
        "day" => match value.and_then(day) {
            Some(_) => Ok(()),
            None => Err("needs a day as value, written 2025-03-04".to_owned()),
        },
        "days" => match value.and_then(Value::as_array).map(|days| days.iter().map(day).collect::<Vec<_>>()).as_deref()
        {
            Some([Some(first), Some(last)]) if first <= last => Ok(()),
            _ => Err("needs two days as value, the earlier first: [\"2025-03-04\", \"2025-03-18\"]".to_owned()),
        },
        "number" => match value.and_then(Value::as_f64) {
            Some(number) if number.is_finite() => Ok(()),
            _ => Err("needs a number as value".to_owned()),
        },
        "parameter" => match text {
            Some(code) if ParameterCode::parse(code).is_some() => Ok(()),
            Some(code) => Err(format!("'{code}' is no parameter; GET /api/v1/parameters lists them")),
            None => Err("needs the code of a parameter as value".to_owned()),
        },
        "taxon" => match text {
            Some(slug) if TaxonSlug::parse(slug).is_some() => Ok(()),
            Some(slug) => Err(format!("'{slug}' is no taxon; GET /api/v1/taxa lists them")),
            None => Err("needs a taxon as value, as in addresses: goniopora-stokesi".to_owned()),
        },
        other => match text {
            Some(_) => Ok(()),
            None => Err(format!("needs a {other} as value")),
        },
    }
}
