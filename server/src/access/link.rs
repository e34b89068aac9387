//! Links that show one question of one upload to whoever holds them, and take one answer. The secret is in the link
//! and nowhere else; a link that is wrong, expired or withdrawn is the same to its caller.

use chrono::{DateTime, Duration, Utc};
use diesel::prelude::*;
use migrations::schema::{question_link, upload};

use super::check::{check, check_row};
use super::secret::{self, digest};
use super::{Reached, Scope, clock};
use crate::problem::{Kind, Problem};

/// Days that a link lasts if nothing is said, and at most.
pub const DAYS: (u32, u32) = (14, 60);

/// A link as lists show it: never its secret.
#[derive(Debug, Clone, Queryable)]
pub struct Listed {
    /// Number.
    pub id: i64,
    /// The question.
    pub key: String,
    /// When it was made.
    pub created_at: DateTime<Utc>,
    /// When it expires.
    pub expires_at: DateTime<Utc>,
    /// When it took its answer.
    pub used_at: Option<DateTime<Utc>>,
    /// When it was withdrawn.
    pub revoked_at: Option<DateTime<Utc>>,
}

macro_rules! listed {
    () => {
        (
            question_link::id,
            question_link::finding_key,
            question_link::created_at,
            question_link::expires_at,
            question_link::used_at,
            question_link::revoked_at,
        )
    };
}

/// Makes a link to a question; gives it and its secret, which is shown now and never again.
pub fn make(
    connection: &mut PgConnection,
    reached: Reached,
    key: &str,
    days: u32,
    by: &str,
) -> Result<(Listed, String), Problem> {
    let secret = secret::random()?;
    connection.transaction(|connection| {
        let now = clock::now(connection)?;
        let made: Listed = diesel::insert_into(question_link::table)
            .values((
                question_link::upload_id.eq(reached.id()),
                question_link::finding_key.eq(key),
                question_link::hash.eq(digest(&secret)),
                question_link::made_by.eq(by),
                question_link::created_at.eq(now),
                question_link::expires_at.eq(now + Duration::days(i64::from(days))),
            ))
            .returning(listed!())
            .get_result(connection)?;
        note(connection, by, "make question link", made.id)?;
        Ok((made, secret))
    })
}

fn note(connection: &mut PgConnection, by: &str, action: &str, id: i64) -> QueryResult<()> {
    super::scope::note(connection, by, action, &format!("question link {id}"))
}

/// Links of an upload, in the order they were made.
pub fn list(connection: &mut PgConnection, reached: Reached) -> Result<Vec<Listed>, Problem> {
    Ok(question_link::table
        .filter(question_link::upload_id.eq(reached.id()))
        .order(question_link::id)
        .select(listed!())
        .load(connection)?)
}

/// Withdraws a link of an upload. Withdrawing it again changes nothing.
pub fn revoke(connection: &mut PgConnection, reached: Reached, id: i64, by: &str) -> Result<Listed, Problem> {
    connection.transaction(|connection| {
        let of_upload = check_row!("link: of another upload", question_link::upload_id.eq(reached.id()));
        let of = question_link::table.find(id).filter(of_upload);
        let changed = diesel::update(of.filter(question_link::revoked_at.is_null()))
            .set(question_link::revoked_at.eq(diesel::dsl::now))
            .execute(connection)?;
        if changed > 0 {
            note(connection, by, "revoke question link", id)?;
        }
        of.select(listed!())
            .first(connection)
            .optional()?
            .ok_or_else(|| Problem::new(Kind::UnknownLink, format!("There is no link {id} to this upload.")))
    })
}

/// A link that was opened: the question that it reaches, and no other.
#[derive(Debug, Clone)]
pub struct Opened {
    /// The link.
    pub link: Listed,
    /// The upload of the question.
    pub reached: Reached,
}

impl Opened {
    /// How an answer through it is named in the audit.
    pub fn name(&self) -> String {
        format!("question link {}", self.link.id)
    }
}

/// The refusal that tells nothing: wrong, expired, withdrawn, and a question that is no more, look alike.
pub fn unknown() -> Problem {
    Problem::new(Kind::UnknownLink, "This link does not lead to a question. Ask whoever sent it for a new one.")
}

/// Opens a link by its secret; `lock` keeps it from being used twice at once, until the transaction ends.
pub fn open(connection: &mut PgConnection, secret: &str, lock: bool) -> Result<Opened, Problem> {
    let hash = digest(secret);
    if lock {
        question_link::table
            .filter(question_link::hash.eq(&hash))
            .select(question_link::id)
            .for_update()
            .first::<i64>(connection)
            .optional()?;
    }
    let found: Option<(Listed, i64, String)> = question_link::table
        .inner_join(upload::table)
        .filter(check_row!("link: unknown", question_link::hash.eq(&hash)))
        .filter(check_row!("link: withdrawn", question_link::revoked_at.is_null()))
        .filter(check_row!("link: expired", question_link::expires_at.gt(clock::clock_timestamp())))
        .select((listed!(), upload::id, upload::state))
        .first(connection)
        .optional()?;
    let Some((link, upload, state)) = found else { return Err(unknown()) };
    if !check!("link: upload is no more", !matches!(state.as_str(), "failed" | "undone" | "discarded")) {
        return Err(unknown());
    }
    // The link itself is the right: to this question of this upload, whoever holds it.
    let reached = Scope::everyone().upload(connection, upload)?;
    Ok(Opened { link, reached })
}

/// Marks a link as used.
pub fn used(connection: &mut PgConnection, opened: &Opened) -> Result<(), Problem> {
    diesel::update(question_link::table.find(opened.link.id))
        .set(question_link::used_at.eq(diesel::dsl::now))
        .execute(connection)?;
    note(connection, &opened.name(), "answer by link", opened.link.id)?;
    Ok(())
}
