//! Members who keep records, as the curator's desk sees them: what they handed in, never what they lost.

use chrono::{DateTime, Utc};
use diesel::prelude::*;
use migrations::schema::{keeper, upload};
use serde::Serialize;
use utoipa::ToSchema;

use crate::access::withdrawal::{self, Withdrawn};
use crate::access::{Scope, keeper as members, scope};
use crate::problem::{Fault, Kind, Problem};

/// A member.
#[derive(Serialize, ToSchema)]
pub struct KeeperShown {
    /// Name in the club.
    #[schema(example = "osprey")]
    handle: String,
    /// Year since when this member keeps reefs.
    #[schema(example = 2011)]
    keeping_since: Option<i32>,
    /// When the member was made known.
    created_at: DateTime<Utc>,
    /// Files, edits and roll calls among the records.
    #[schema(example = 4)]
    committed: i64,
    /// Questions open in files of theirs.
    #[schema(example = 2)]
    open_questions: i64,
    /// When something was last committed.
    last_committed_at: Option<DateTime<Utc>>,
}

type Row = (i64, String, Option<i32>, DateTime<Utc>);

const MEMBER: (keeper::id, keeper::handle, keeper::keeping_since, keeper::created_at) =
    (keeper::id, keeper::handle, keeper::keeping_since, keeper::created_at);

fn shown(connection: &mut PgConnection, rows: Vec<Row>) -> QueryResult<Vec<(i64, KeeperShown)>> {
    use diesel::dsl::{count_star, max, sum};
    let ids: Vec<i64> = rows.iter().map(|(id, ..)| *id).collect();
    let committed: Vec<(i64, i64, Option<DateTime<Utc>>)> = upload::table
        .filter(upload::keeper_id.eq_any(&ids).and(upload::state.eq("committed")))
        .group_by(upload::keeper_id)
        .select((upload::keeper_id, count_star(), max(upload::committed_at)))
        .load(connection)?;
    let open: Vec<(i64, Option<i64>)> = upload::table
        .filter(upload::keeper_id.eq_any(&ids).and(upload::state.eq_any(["questions", "committed"])))
        .group_by(upload::keeper_id)
        .select((upload::keeper_id, sum(upload::question_count)))
        .load(connection)?;
    let shown = rows.into_iter().map(|(id, handle, keeping_since, created_at)| {
        let (_, committed, last_committed_at) =
            committed.iter().find(|(of, ..)| *of == id).copied().unwrap_or((id, 0, None));
        let open_questions = open.iter().find(|(of, _)| *of == id).and_then(|(_, open)| *open).unwrap_or(0);
        (id, KeeperShown { handle, keeping_since, created_at, committed, open_questions, last_committed_at })
    });
    Ok(shown.collect())
}

fn one(connection: &mut PgConnection, id: i64) -> Result<KeeperShown, Problem> {
    let row: Row = keeper::table.find(id).select(MEMBER).first(connection)?;
    let shown = shown(connection, vec![row])?.into_iter().next();
    shown.map(|(_, keeper)| keeper).ok_or_else(|| Problem::internal(&"a member vanished"))
}

/// The member of an address.
fn known(connection: &mut PgConnection, handle: &str) -> Result<members::Known, Problem> {
    members::find(connection, handle)?
        .ok_or_else(|| Problem::new(Kind::UnknownKeeper, format!("There is no member '{handle}'.")))
}

/// Members after a place, at most so many, each with its place.
///
/// # Errors
/// The database refused.
pub fn list(
    connection: &mut PgConnection,
    desk: &Scope,
    after: i64,
    limit: i64,
) -> Result<Vec<(i64, KeeperShown)>, Problem> {
    desk.administers()?;
    let rows: Vec<Row> =
        keeper::table.filter(keeper::id.gt(after)).order(keeper::id).limit(limit).select(MEMBER).load(connection)?;
    Ok(shown(connection, rows)?)
}

/// Makes a member known.
///
/// # Errors
/// [`Kind::InvalidValue`] where the handle is taken.
pub fn make(
    connection: &mut PgConnection,
    desk: &Scope,
    (handle, keeping_since): (&str, Option<i32>),
    by: &str,
) -> Result<KeeperShown, Problem> {
    desk.administers()?;
    connection.transaction(|connection| {
        if members::find(connection, handle)?.is_some() {
            let detail = format!("'{handle}' is a member already, whatever the case of its letters");
            return Err(Problem::of_fault(Kind::InvalidValue, Fault::pointer("/handle", "taken", detail)));
        }
        let id: i64 = diesel::insert_into(keeper::table)
            .values((keeper::handle.eq(handle), keeper::keeping_since.eq(keeping_since)))
            .returning(keeper::id)
            .get_result(connection)?;
        scope::note(connection, by, "make keeper", &format!("keeper {id}"))?;
        one(connection, id)
    })
}

/// Says since when a member keeps reefs.
///
/// # Errors
/// [`Kind::UnknownKeeper`].
pub fn change(
    connection: &mut PgConnection,
    desk: &Scope,
    (handle, keeping_since): (&str, Option<i32>),
    by: &str,
) -> Result<KeeperShown, Problem> {
    desk.administers()?;
    connection.transaction(|connection| {
        let known = known(connection, handle)?;
        diesel::update(keeper::table.find(known.id))
            .set(keeper::keeping_since.eq(keeping_since))
            .execute(connection)?;
        scope::note(connection, by, "change keeper", &format!("keeper {}", known.id))?;
        one(connection, known.id)
    })
}

/// Withdraws a member whom `confirmed` takes for the one that was meant.
///
/// # Errors
/// [`Kind::UnknownKeeper`], and what `confirmed` refuses.
pub fn withdraw(
    connection: &mut PgConnection,
    desk: &Scope,
    handle: &str,
    confirmed: impl Fn(&str) -> Result<(), Problem>,
    by: &str,
) -> Result<Withdrawn, Problem> {
    desk.administers()?;
    let known = known(connection, handle)?;
    confirmed(&known.handle)?;
    withdrawal::withdraw(connection, known.id, by)
}
