//! What is done with an upload: its questions answered, committed, taken back.

use actix_web::{HttpResponse, delete, post, web};
use importer::finding::Answer;
use serde::{Deserialize, Serialize};
use serde_json::Value;
use utoipa::ToSchema;

use crate::access::{Caller, Right};
use crate::app::State;
use crate::body::Body;
use crate::pool;
use crate::problem::Problem;
use crate::problems;
use crate::query::{Nothing, Query};
use crate::route::uploads::{UploadShown, about, load};
use crate::upload::{answers, hand_in};

/// Answers to an upload's questions.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct AnswersGiven {
    /// One per question; all are taken or none.
    answers: Vec<AnswerGiven>,
}

/// One answer.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct AnswerGiven {
    /// Key of the finding.
    #[schema(example = "date_order:Date")]
    key: String,
    /// Code of one of its choices.
    #[schema(example = "day_first")]
    choice: String,
    /// What the choice needs: a day as `2025-03-04`, a number, a text, a code.
    #[schema(value_type = Option<Value>, example = json!("2025-03-04"))]
    value: Option<Value>,
}

problems!(
    /// What answering can meet.
    AnswerGivenProblems: InvalidBody, UnknownUpload, WrongState, AlreadyAnswered, TooLarge, TooSlow, UnsupportedMediaType, InvalidAnswer
);
problems!(
    /// What a commit can meet.
    CommitProblems: InvalidBody, UnknownUpload, WrongState, OpenQuestions, TooLarge, TooSlow, UnsupportedMediaType
);
problems!(
    /// What taking back can meet.
    DeleteProblems: UnknownUpload, WrongState
);

/// Answer questions of an upload
///
/// The file is read again with the answers, which serve this log's next versions too. Sending the same answer again
/// changes nothing; another answer to an answered question is a conflict that says which one stands. On a committed
/// upload what the answers freed is committed with them.
#[utoipa::path(
    tag = "uploads",
    security(("token" = ["upload"])),
    params(("id" = i64, Path, description = "Number of the upload", example = 17)),
    request_body = AnswersGiven,
    responses((status = 200, description = "The upload, read again", body = UploadShown), AnswerGivenProblems)
)]
#[post("/uploads/{id}/answers")]
pub async fn answer_questions(
    state: web::Data<State>,
    caller: Caller,
    path: web::Path<i64>,
    _: Query<Nothing>,
    body: Body<AnswersGiven>,
) -> Result<HttpResponse, Problem> {
    let scope = caller.records(Right::Upload)?;
    let id = path.into_inner();
    let given: Vec<Answer> = body
        .0
        .answers
        .into_iter()
        .map(|given| Answer { key: given.key, choice: given.choice, value: given.value })
        .collect();
    let upload = pool::with(&state.pool, move |connection| {
        let reached = scope.upload(connection, id)?;
        let new = answers::look_over(connection, reached, given)?;
        if !new.is_empty() {
            importer::load::answer(connection, reached.id(), &new, &caller.name())
                .map_err(|error| hand_in::problem(&error))?;
        }
        load(connection, reached)
    })
    .await?;
    Ok(about(HttpResponse::Ok(), &upload).json(upload))
}

/// How to commit.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct CommitRequest {
    /// Commit what is certain and leave the questions open; later answers can load the rest.
    #[serde(default)]
    #[schema(default = false, example = true)]
    leave_open: bool,
}

/// What a commit did.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct Committed {
    /// Records of the upload that are now the club's.
    #[schema(example = 114)]
    pub recorded: usize,
    /// Of these, those with a fact in question: they count, but in no figure that needs the fact.
    #[schema(example = 2)]
    pub held: usize,
    /// Facts that wait for what they are about: a tank or a specimen that no file has named yet.
    #[schema(example = 0)]
    pub waiting: usize,
    /// State of the records after it: answers of this edition and later ones count them.
    #[schema(example = 42)]
    pub edition: i64,
}

/// An upload just committed.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct UploadCommitted {
    /// What was done.
    pub committed: Committed,
    /// The upload.
    #[serde(flatten)]
    pub upload: UploadShown,
}

/// Commit an upload
///
/// All or nothing, in one transaction. Committing again without new answers changes nothing.
#[utoipa::path(
    tag = "uploads",
    security(("token" = ["upload"])),
    params(("id" = i64, Path, description = "Number of the upload", example = 17)),
    request_body = CommitRequest,
    responses((status = 200, description = "Committed", body = UploadCommitted), CommitProblems)
)]
#[post("/uploads/{id}/commit")]
pub async fn commit_upload(
    state: web::Data<State>,
    caller: Caller,
    path: web::Path<i64>,
    _: Query<Nothing>,
    body: Body<CommitRequest>,
) -> Result<HttpResponse, Problem> {
    let scope = caller.records(Right::Upload)?;
    let id = path.into_inner();
    let done = pool::with(&state.pool, move |connection| {
        let reached = scope.upload(connection, id)?;
        let summary = importer::load::commit(connection, reached.id(), body.0.leave_open)
            .map_err(|error| hand_in::problem(&error))?;
        let committed = Committed {
            recorded: summary.recorded,
            held: summary.held,
            waiting: summary.unplaced.len(),
            edition: summary.edition,
        };
        Ok(UploadCommitted { committed, upload: load(connection, reached)? })
    })
    .await?;
    Ok(about(HttpResponse::Ok(), &done.upload).json(done))
}

/// Take an upload back
///
/// Before its commit it is discarded. After, all its commits are undone: the records become what the member's other
/// uploads make them. Taking it back again gives the same answer.
#[utoipa::path(
    tag = "uploads",
    security(("token" = ["upload"])),
    params(("id" = i64, Path, description = "Number of the upload", example = 17)),
    responses((status = 200, description = "The upload, `discarded` or `undone`", body = UploadShown), DeleteProblems)
)]
#[delete("/uploads/{id}")]
pub async fn delete_upload(
    state: web::Data<State>,
    caller: Caller,
    path: web::Path<i64>,
    _: Query<Nothing>,
) -> Result<HttpResponse, Problem> {
    let scope = caller.records(Right::Upload)?;
    let id = path.into_inner();
    let upload = pool::with(&state.pool, move |connection| {
        let reached = scope.upload(connection, id)?;
        importer::load::remove(connection, reached.id(), &caller.name()).map_err(|error| hand_in::problem(&error))?;
        load(connection, reached)
    })
    .await?;
    Ok(about(HttpResponse::Ok(), &upload).json(upload))
}
