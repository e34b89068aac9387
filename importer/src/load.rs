//! Records → Postgres: the only writer of records from files.
//!
//! An upload is received with its bytes, read, questioned, answered, committed and, if need be, undone. Whatever
//! happens, the current records equal the fold of the committed uploads that are not undone; a commit and an
//! undo are one transaction each, commits of one keeper take turns by a lock on the keeper's row, and the edition
//! is raised by the last statement. Reading is pure, so an upload's state can always be rebuilt from its bytes
//! and answers; `today` comes from the caller, never from a clock here.
//!
//! ```text
//! received → reading → failed | questions | ready → committing → committed → undone
//!                      before a commit: → discarded
//! ```

mod answer; // answers, checked against the questions
mod apply; // the fold's rows → tables, by difference
mod cells; // cells of a stored file
mod commit; // staged → committed, undo, single edits
mod compare; // a version against its log, a log against the others
mod context; // what the club knows of a keeper
mod copy; // new rows straight into their tables
mod error; // what can go wrong, with its remedy
mod found; // findings of comparing, in the catalogue's words
mod keeper; // keepers and roll calls
mod kit; // answers about a kit, for every keeper who has it
mod layout; // how files of one shape are read, kept and handed out
mod line; // codes of lines and mothers that nobody has
mod merge; // names that are one tank or one coral
mod receive; // bytes → a received upload
mod refold; // live uploads → tables, month by month
mod stage; // bytes + answers → staged records and findings
mod store; // uploads as stored: findings, answers, live uploads
mod stored; // records as stored: tests of tanks by month, the others in one piece
mod take_out; // single facts taken out
mod vocabulary; // compiled catalogue → the tables of codes

pub use apply::Changes;
pub use cells::cells;
pub use commit::{COMMIT_GRACE, CommitSummary};
pub use error::LoadError;
pub use keeper::{RollCallException, ensure_keeper, find_keeper};
pub use kit::{CellChange, KeeperChange, KitAnswer, KitFacts, KitPreview, Said, kit_answer, kit_answers};
pub use layout::layout;
pub use merge::{Conflict, KindChange, Merge, MergeAsked, MergePreview};
pub use receive::{NewUpload, Received};
pub use refold::fold_anew;
pub use store::{State, StoredAnswer, Upload, answers, findings, original, upload, uploads};
pub use stored::{Stage, first_records, records};
pub use vocabulary::{prepare, vocabulary};

use chrono::NaiveDate;
use diesel::pg::PgConnection;

use crate::context::{Context, Laid, Outcome};
use crate::finding::Answer;
use crate::fold::key::Kind;
use crate::record::Record;
use crate::record::packed::{PackError, Packed};

/// A reader of files: pure, so that the same bytes and context give the same outcome; the records apart from the rest.
pub type Reader = fn(name: &str, bytes: &[u8], context: &Context) -> Result<(Outcome, Packed), PackError>;

/// The stages from bytes to current records with a given reader; the functions of this module use
/// [`crate::read::read_packed`].
#[derive(Debug, Clone, Copy)]
pub struct Loader {
    /// Reads files.
    pub reader: Reader,
}

impl Default for Loader {
    fn default() -> Self {
        Loader { reader: crate::read::read_packed }
    }
}

/// Takes in a file: stores its bytes as they came. The same bytes again, while live for the keeper, are named
/// in [`Received::already`] and nothing new is stored.
///
/// # Errors
/// [`LoadError`] if the keeper does not exist or the database refuses.
pub fn receive(connection: &mut PgConnection, new: &NewUpload<'_>) -> Result<Received, LoadError> {
    receive::receive(connection, new)
}

/// Reads a received file and stores what it says; also again, while it is not committed.
///
/// # Errors
/// [`LoadError::WrongState`] unless it is received, being read, ready or in question; otherwise the database's.
pub fn stage(connection: &mut PgConnection, upload: i64, today: NaiveDate) -> Result<Upload, LoadError> {
    Loader::default().stage(connection, upload, today)
}

/// The same of a file that waits to be read, for whoever took it from among those that wait: what somebody read meanwhile stands.
///
/// # Errors
/// [`LoadError::WrongState`] unless it is received or being read; otherwise the database's.
pub fn stage_waiting(connection: &mut PgConnection, upload: i64, today: NaiveDate) -> Result<Upload, LoadError> {
    Loader::default().stage_waiting(connection, upload, today)
}

/// Answers questions, all or none, and reads again. An answer to a committed upload makes a further commit.
///
/// # Errors
/// [`LoadError::Conflict`] for a question that has its answer; [`LoadError::UnknownQuestion`],
/// [`LoadError::UnknownChoice`], [`LoadError::BadValue`] name what would be valid.
pub fn answer(connection: &mut PgConnection, upload: i64, answers: &[Answer], by: &str) -> Result<Upload, LoadError> {
    Loader::default().answer(connection, upload, answers, by)
}

/// Marks an upload to be committed by the next [`commit`], also after a restart.
///
/// # Errors
/// [`LoadError::QuestionsOpen`] unless `leave_open`; [`LoadError::WrongState`].
pub fn request_commit(connection: &mut PgConnection, upload: i64, leave_open: bool) -> Result<Upload, LoadError> {
    commit::request(connection, upload, leave_open)
}

/// Makes an upload's records current, in one transaction. Committed before: nothing happens.
///
/// # Errors
/// [`LoadError::QuestionsOpen`] unless `leave_open`; [`LoadError::WrongState`]; the database's.
pub fn commit(connection: &mut PgConnection, upload: i64, leave_open: bool) -> Result<CommitSummary, LoadError> {
    Loader::default().commit(connection, upload, leave_open)
}

/// Takes a committed upload back, with all its commits, in one transaction. Undone before: nothing happens.
///
/// # Errors
/// [`LoadError::WrongState`] if it was never committed.
pub fn undo(connection: &mut PgConnection, upload: i64, by: &str) -> Result<Upload, LoadError> {
    commit::undo(connection, upload, by)
}

/// Puts an upload aside that is not committed. Discarded before: nothing happens.
///
/// # Errors
/// [`LoadError::WrongState`] once it is being committed.
pub fn discard(connection: &mut PgConnection, upload: i64, by: &str) -> Result<Upload, LoadError> {
    commit::discard(connection, upload, by)
}

/// Undoes or discards, whichever its state asks for.
///
/// # Errors
/// As [`undo`] and [`discard`].
pub fn remove(connection: &mut PgConnection, upload: i64, by: &str) -> Result<Upload, LoadError> {
    commit::remove(connection, upload, by)
}

/// Records single facts at once, as an upload that can be undone: an edit is laid over all files.
///
/// # Errors
/// [`LoadError`] if the keeper does not exist or the database refuses a value.
pub fn edit(connection: &mut PgConnection, keeper: i64, records: &[Record], by: &str) -> Result<i64, LoadError> {
    commit::edit(connection, keeper, records, by)
}

/// As [`edit`], with how the records are laid and what they correct.
///
/// # Errors
/// As [`edit`].
pub fn change(
    connection: &mut PgConnection,
    keeper: i64,
    records: &[Record],
    laid: Laid,
    name: &str,
    by: &str,
) -> Result<i64, LoadError> {
    commit::change(connection, keeper, records, laid, name, by)
}

/// Locks a keeper until the transaction ends, so that what is read now is what an edit then corrects.
///
/// # Errors
/// [`LoadError::NoKeeper`]; the database's.
pub fn lock(connection: &mut PgConnection, keeper: i64) -> Result<(), LoadError> {
    keeper::lock_keeper(connection, keeper)
}

/// What is stated for a current record, by its kind and number: what [`take_out`] takes.
///
/// # Errors
/// [`LoadError::NoFact`] if the keeper has no such record, or it only follows from others; the database's.
pub fn statements(connection: &mut PgConnection, keeper: i64, kind: Kind, id: i64) -> Result<Vec<Record>, LoadError> {
    take_out::statements(connection, keeper, kind, id)
}

/// What is stated for a current record, and its wordings: these and what edits among them corrected, the latest first.
///
/// # Errors
/// As [`statements`].
pub fn wordings(
    connection: &mut PgConnection,
    keeper: i64,
    kind: Kind,
    id: i64,
) -> Result<(Vec<Record>, Vec<Record>), LoadError> {
    take_out::wordings(connection, keeper, kind, id)
}

/// Takes single facts out at once, as an edit that can be undone. A file that says the same, earlier or later, does
/// not bring them back; one that says otherwise stands. What others refer to (tanks, kits, specimens) stays.
///
/// # Errors
/// [`LoadError::NotAlone`] for what others refer to; [`LoadError`] if the keeper does not exist.
pub fn take_out(connection: &mut PgConnection, keeper: i64, facts: &[Record], by: &str) -> Result<i64, LoadError> {
    take_out::take_out(connection, keeper, facts, by)
}

/// "All seen alive on this day, except …": a sighting for every specimen living with the keeper (in the tank),
/// recorded at once, as an upload that can be undone.
///
/// # Errors
/// [`LoadError::BadRollCall`] for a specimen that is not among them or a status that does not exist.
pub fn roll_call(
    connection: &mut PgConnection,
    keeper: i64,
    on: NaiveDate,
    tank: Option<i64>,
    except: &[RollCallException],
    by: &str,
) -> Result<i64, LoadError> {
    keeper::roll_call(connection, keeper, on, tank, except, by)
}

/// What an answer about a kit would change, for every keeper who has one of that name; nothing is changed.
///
/// # Errors
/// [`LoadError::BadKit`] for a fact that cannot be; the database's.
pub fn preview_kit(connection: &mut PgConnection, facts: &KitFacts) -> Result<KitPreview, LoadError> {
    kit::preview(Loader::default(), connection, facts)
}

/// Answers about a kit, as previewed: reads the files of all who have it again and makes what they say current, in one
/// transaction. An earlier answer about the same kit is taken back by it.
///
/// # Errors
/// [`LoadError::PreviewOutdated`] if it would change something else than was previewed; [`LoadError::BadKit`].
pub fn answer_kit(
    connection: &mut PgConnection,
    facts: &KitFacts,
    confirm: &str,
    by: &str,
) -> Result<(KitAnswer, KitPreview), LoadError> {
    kit::answer(Loader::default(), connection, facts, confirm, by)
}

/// Takes an answer about a kit back, in one transaction. Taken back before: nothing happens.
///
/// # Errors
/// [`LoadError::NoKitAnswer`]; the database's.
pub fn undo_kit(connection: &mut PgConnection, id: i64, by: &str) -> Result<KitAnswer, LoadError> {
    kit::undo(Loader::default(), connection, id, by)
}

/// What joining two names of a keeper's would change. It is tried and taken back: nothing is changed.
///
/// # Errors
/// [`LoadError::BadMerge`] where a name is not on record; the database's.
pub fn preview_merge(connection: &mut PgConnection, asked: &MergeAsked) -> Result<MergePreview, LoadError> {
    merge::preview(connection, asked)
}

/// Joins two names as they were previewed, in one transaction; `signed` = who answers for it, and why.
///
/// # Errors
/// [`LoadError::PreviewOutdated`] where it would change something else by now; as [`preview_merge`].
pub fn merge(
    connection: &mut PgConnection,
    asked: &MergeAsked,
    confirm: &str,
    signed: (&str, Option<&str>),
    by: &str,
) -> Result<Merge, LoadError> {
    merge::merge(connection, asked, confirm, signed, by)
}

/// Takes a join back: everything is as the uploads that live give it without. Taken back before: nothing happens.
///
/// # Errors
/// [`LoadError::NoMerge`]; the database's.
pub fn undo_merge(connection: &mut PgConnection, id: i64, by: &str) -> Result<Merge, LoadError> {
    merge::undo(connection, id, by)
}

/// Joins after a place, at most so many, in the order in which they were made: those taken back too.
///
/// # Errors
/// The database's.
pub fn merges(connection: &mut PgConnection, after: i64, limit: i64) -> Result<Vec<Merge>, LoadError> {
    merge::list(connection, after, limit)
}

/// What the club knows of a keeper, as a file of theirs would be read now.
///
/// # Errors
/// The database's.
pub fn context_for(connection: &mut PgConnection, keeper: i64) -> Result<Context, LoadError> {
    context::context_for(connection, keeper)
}

/// An upload that was taken up again, and its state now or why it could not go on.
pub type Resumed = (i64, Result<State, LoadError>);

/// Goes on where a stopped server left off: reads what was being read, commits what was being committed.
/// Returns the uploads and what became of each.
///
/// # Errors
/// The database's, when the list of uploads cannot be read.
pub fn resume(connection: &mut PgConnection) -> Result<Vec<Resumed>, LoadError> {
    Loader::default().resume(connection)
}
