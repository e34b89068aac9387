//! What can go wrong between bytes and tables; each message names what, where and the remedy.

use crate::finding::Answer;

use super::store::State;

/// An error of loading.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum LoadError {
    /// No such upload.
    #[error("no upload {0}: list the uploads for their numbers")]
    NoUpload(i64),
    /// No such keeper.
    #[error("no keeper {0}: create the keeper first, or correct the name")]
    NoKeeper(String),
    /// The upload's state does not allow it.
    #[error("cannot {action}, upload {upload} is {state}: {remedy}")]
    WrongState {
        /// The upload.
        upload: i64,
        /// Its state.
        state: State,
        /// What was asked.
        action: &'static str,
        /// What to do instead.
        remedy: &'static str,
    },
    /// Questions are open.
    #[error("cannot commit, upload {upload} has open questions ({}): answer them, or commit what is certain and leave them open", keys.join(", "))]
    QuestionsOpen {
        /// The upload.
        upload: i64,
        /// Their keys.
        keys: Vec<String>,
    },
    /// The file is not of the shape of the layout that came with it.
    #[error(transparent)]
    OtherShape(#[from] crate::saved_layout::OtherShape),
    /// Something that cannot be said of a kit.
    #[error("kit: {0}")]
    BadKit(String),
    /// No such answer about a kit.
    #[error("no answer {0} about a kit: list them for their numbers")]
    NoKitAnswer(i64),
    /// Names that cannot be joined: field and reason.
    #[error("these names cannot be joined: {}", .0.iter().map(|(_, why)| why.as_str()).collect::<Vec<_>>().join("; "))]
    BadMerge(Vec<(&'static str, String)>),
    /// No such join.
    #[error("no join {0} of names: list them for their numbers")]
    NoMerge(i64),
    /// The records changed since the preview.
    #[error("the answer would change something else than was previewed: preview it again")]
    PreviewOutdated {
        /// What confirms it as it is now.
        confirm: String,
    },
    /// An answer to something that is not asked.
    #[error("answer '{key}', upload {upload}: nothing is asked under this key; {}", valid(open, "open questions"))]
    UnknownQuestion {
        /// The upload.
        upload: i64,
        /// The key.
        key: String,
        /// Keys that can be answered.
        open: Vec<String>,
    },
    /// An answer that is not offered.
    #[error("answer '{choice}', question '{key}': not one of its answers; {}", valid(choices, "choose from"))]
    UnknownChoice {
        /// The question.
        key: String,
        /// The choice.
        choice: String,
        /// Choices offered.
        choices: Vec<String>,
    },
    /// An answer without what it needs, or with something else.
    #[error("answer '{choice}', question '{key}': {message}")]
    BadValue {
        /// The question.
        key: String,
        /// The choice.
        choice: String,
        /// What is needed, and in what form.
        message: String,
    },
    /// The question has its answer.
    #[error("question '{}': already answered '{}'; undo the upload and send the file again to answer otherwise", current.key, current.choice)]
    Conflict {
        /// The answer that stands.
        current: Answer,
    },
    /// A roll call that cannot be.
    #[error("roll call: {0}")]
    BadRollCall(String),
    /// No such record of the keeper that could be taken out.
    #[error("no {kind} {id} of this keeper that a file or an edit states: list them for their numbers")]
    NoFact {
        /// Its kind.
        kind: &'static str,
        /// The number asked for.
        id: i64,
    },
    /// Others refer to it.
    #[error("cannot take out a {kind} alone: undo the upload that states it")]
    NotAlone {
        /// Its kind.
        kind: &'static str,
    },
    /// A value that the database's rules exclude; nothing was recorded.
    #[error("{table}, rule {rule}: {message}; nothing was recorded: correct the value and send it again")]
    Rejected {
        /// The table.
        table: String,
        /// The rule broken.
        rule: String,
        /// What the database said.
        message: String,
    },
    /// Something stored cannot be read back.
    #[error("upload {upload}, stored {what}: cannot be read ({message}); restore the database from a backup")]
    Damaged {
        /// The upload.
        upload: i64,
        /// What.
        what: &'static str,
        /// Why.
        message: String,
    },
    /// Something cannot be written as stored.
    #[error("upload, {0}: cannot be packed for storing; report this")]
    Packing(String),
    /// The schema.
    #[error(transparent)]
    Schema(#[from] migrations::MigrationError),
    /// The database refused or was not there.
    #[error("database: {0}; check that it is reachable, then try again")]
    Database(diesel::result::Error),
}

fn valid(options: &[String], lead: &str) -> String {
    if options.is_empty() { "there are none".to_owned() } else { format!("{lead}: {}", options.join(", ")) }
}

impl From<diesel::result::Error> for LoadError {
    fn from(error: diesel::result::Error) -> Self {
        use diesel::result::DatabaseErrorKind as Kind;
        match error {
            diesel::result::Error::DatabaseError(
                Kind::CheckViolation
                | Kind::ForeignKeyViolation
                | Kind::NotNullViolation
                | Kind::UniqueViolation
                | Kind::ExclusionViolation,
                information,
            ) => LoadError::Rejected {
                table: information.table_name().unwrap_or("a table").to_owned(),
                rule: information.constraint_name().or(information.column_name()).unwrap_or("unnamed").to_owned(),
                message: information.message().to_owned(),
            },
            other => LoadError::Database(other),
        }
    }
}

impl From<crate::record::packed::PackError> for LoadError {
    fn from(error: crate::record::packed::PackError) -> Self {
        LoadError::Packing(error.to_string())
    }
}
