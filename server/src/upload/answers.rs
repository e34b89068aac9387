//! Answers to an upload's questions, looked over before the loader takes them, so that every one that does not fit
//! is named at once.

use diesel::prelude::*;
use importer::finding::{Answer, Finding};
use migrations::schema::upload_answer;
use serde_json::Value;

use crate::access::Reached;
use crate::problem::{Fault, Kind, Problem};
use crate::query::hint;
use crate::upload::hand_in;

/// Looks answers over, keys of questions, choices of each, each question once, and gives those that are new: an
/// answer that stands already is not given again.
///
/// # Errors
/// [`Kind::InvalidAnswer`] with every answer that does not fit.
pub fn look_over(
    connection: &mut PgConnection,
    reached: Reached,
    answers: Vec<Answer>,
) -> Result<Vec<Answer>, Problem> {
    let findings = importer::load::findings(connection, reached.id()).map_err(|error| hand_in::problem(&error))?;
    let questions: Vec<&Finding> = findings.iter().filter(|finding| !finding.choices.is_empty()).collect();
    let standing: Vec<Answer> = upload_answer::table
        .filter(upload_answer::upload_id.eq(reached.id()))
        .select((upload_answer::finding_key, upload_answer::choice, upload_answer::value))
        .load::<(String, String, Option<Value>)>(connection)?
        .into_iter()
        .map(|(key, choice, value)| Answer { key, choice, value })
        .collect();
    let mut faults = Vec::new();
    for (at, answer) in answers.iter().enumerate() {
        if answers[..at].iter().any(|before| before.key == answer.key) {
            let detail = format!("'{}' is answered twice in this request", answer.key);
            faults.push(Fault::pointer(format!("/answers/{at}/key"), "repeated", detail));
            continue;
        }
        let Some(question) = questions.iter().find(|question| question.key == answer.key) else {
            if !standing.iter().any(|given| given.key == answer.key) {
                let keys = questions.iter().map(|question| question.key.as_str());
                let detail = if questions.is_empty() {
                    format!("nothing is asked under '{}'; no question is open", answer.key)
                } else {
                    format!("nothing is asked under '{}'; {}", answer.key, hint(&answer.key, keys))
                };
                faults.push(Fault::pointer(format!("/answers/{at}/key"), "unknown", detail));
            }
            continue;
        };
        if !question.choices.iter().any(|choice| choice.code == answer.choice) {
            let choices = question.choices.iter().map(|choice| choice.code.as_str());
            let detail =
                format!("'{}' is no choice of '{}'; {}", answer.choice, answer.key, hint(&answer.choice, choices));
            faults.push(Fault::pointer(format!("/answers/{at}/choice"), "unknown", detail));
        }
    }
    if !faults.is_empty() {
        return Err(Problem::of_faults(Kind::InvalidAnswer, faults));
    }
    Ok(answers.into_iter().filter(|answer| !standing.contains(answer)).collect())
}
