//! One question of an upload, with its cells and nothing else: what a link shows, and the answer that it takes.

use diesel::prelude::*;
use importer::finding::{Answer, Finding};
use migrations::schema::upload_answer;
use serde_json::{Value, json};

use crate::access::link::{self, Opened};
use crate::problem::{Kind, Problem};
use crate::upload::hand_in;

/// Cells shown with a question.
const CELLS: usize = 20;

/// A question as its link shows it.
pub struct Question {
    /// What is asked.
    pub finding: Finding,
    /// Its first cells with what stands in them.
    pub cells: Vec<(importer::record::CellRef, Option<String>)>,
    /// The answer that stands.
    pub answered: Option<Answer>,
}

fn standing(connection: &mut PgConnection, opened: &Opened) -> Result<Option<Answer>, Problem> {
    Ok(upload_answer::table
        .filter(upload_answer::upload_id.eq(opened.reached.id()))
        .filter(upload_answer::finding_key.eq(&opened.link.key).and(upload_answer::carried_from_id.is_null()))
        .select((upload_answer::finding_key, upload_answer::choice, upload_answer::value))
        .first::<(String, String, Option<Value>)>(connection)
        .optional()?
        .map(|(key, choice, value)| Answer { key, choice, value }))
}

fn asked(connection: &mut PgConnection, opened: &Opened) -> Result<Option<Finding>, Problem> {
    let findings =
        importer::load::findings(connection, opened.reached.id()).map_err(|error| hand_in::problem(&error))?;
    Ok(findings.into_iter().find(|finding| finding.key == opened.link.key && !finding.choices.is_empty()))
}

/// The question was answered, through the link or otherwise.
fn answered(current: &Answer) -> Problem {
    Problem::new(Kind::AlreadyAnswered, "This question was answered already; nothing was changed.")
        .with("current", json!(current))
}

/// The question of a link.
///
/// # Errors
/// [`Kind::AlreadyAnswered`] with the answer that stands; [`Kind::UnknownLink`] if it is asked no more.
pub fn load(connection: &mut PgConnection, opened: &Opened) -> Result<Question, Problem> {
    if let Some(current) = standing(connection, opened)? {
        return Err(answered(&current));
    }
    let finding = asked(connection, opened)?.ok_or_else(link::unknown)?;
    let refs: Vec<_> = finding.cells.iter().take(CELLS).cloned().collect();
    let texts =
        importer::load::cells(connection, opened.reached.id(), &refs).map_err(|error| hand_in::problem(&error))?;
    Ok(Question { finding, cells: refs.into_iter().zip(texts).collect(), answered: None })
}

/// Answers the question of a link, once.
///
/// # Errors
/// As [`load`]; [`Kind::InvalidAnswer`] for an answer that does not fit.
pub fn answer(
    connection: &mut PgConnection,
    secret: &str,
    choice: String,
    value: Option<Value>,
) -> Result<(Opened, Question), Problem> {
    connection.transaction(|connection| {
        let opened = link::open(connection, secret, true)?;
        let mut question = load(connection, &opened)?;
        let given = Answer { key: opened.link.key.clone(), choice, value };
        importer::load::answer(connection, opened.reached.id(), std::slice::from_ref(&given), &opened.name())
            .map_err(|error| hand_in::problem(&error))?;
        link::used(connection, &opened)?;
        question.answered = Some(given);
        Ok((opened, question))
    })
}
