//! A member leaves: every record, file, consent and token goes with the row, and a release without them is due.

use diesel::prelude::*;
use migrations::schema::{keeper, token, upload, upload_file};
use serde::Serialize;
use utoipa::ToSchema;

use super::scope;
use crate::desk::signed::raise_edition;
use crate::problem::Problem;

/// What a withdrawal deleted.
#[derive(Debug, Serialize, ToSchema)]
pub struct Withdrawn {
    /// Files, edits and roll calls, with their records.
    #[schema(example = 4)]
    pub uploads: i64,
    /// Files as they came.
    #[schema(example = 3)]
    pub files: i64,
    /// Tokens that opened the records.
    #[schema(example = 2)]
    pub tokens: i64,
    /// What is left to do by people.
    pub note: &'static str,
}

const NOTE: &str = "Every record, file, consent and token of this member is deleted, and what members and the public \
                    read is made anew without them. Backups made before still hold it: whoever keeps them deletes them \
                    when their time has come. Issues that are printed stay printed.";

/// Deletes a member with everything that hangs on the row, in one transaction.
///
/// # Errors
/// The database refused; nothing is deleted then.
pub fn withdraw(connection: &mut PgConnection, keeper_id: i64, by: &str) -> Result<Withdrawn, Problem> {
    connection.transaction(|connection| {
        let own = upload::table.filter(upload::keeper_id.eq(keeper_id));
        let uploads: i64 = own.count().get_result(connection)?;
        let files: i64 = upload_file::table
            .filter(upload_file::upload_id.eq_any(own.filter(upload::kind.eq("file")).select(upload::id)))
            .count()
            .get_result(connection)?;
        let tokens: i64 = token::table.filter(token::keeper_id.eq(keeper_id)).count().get_result(connection)?;
        diesel::delete(keeper::table.find(keeper_id)).execute(connection)?;
        // By number: a name that is gone is written nowhere.
        scope::note(connection, by, "withdraw keeper", &format!("keeper {keeper_id}"))?;
        // Answers kept of the records as they are still count the member.
        raise_edition(connection)?;
        Ok(Withdrawn { uploads, files, tokens, note: NOTE })
    })
}
