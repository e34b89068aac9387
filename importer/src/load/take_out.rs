//! Single facts taken out: an edit like others, so that an undo brings them back.

use chrono::NaiveDate;
use diesel::pg::PgConnection;
use diesel::prelude::*;
use diesel::sql_types::{BigInt, Date, Nullable, Text};

use super::stored::{self, Stage};
use super::{LoadError, commit, merge, store};
use crate::context::About;
use crate::fold::key::{Kind, agrees, slot};
use crate::fold::{self, LiveUpload};
use crate::record::Record;
use crate::record::packed::Month;

#[derive(QueryableByName)]
struct Named {
    #[diesel(sql_type = Text)]
    key: String,
    #[diesel(sql_type = Nullable<Date>)]
    test_on: Option<NaiveDate>,
}

/// See [`super::statements`].
pub fn statements(
    connection: &mut PgConnection,
    keeper_id: i64,
    kind: Kind,
    id: i64,
) -> Result<Vec<Record>, LoadError> {
    wordings(connection, keeper_id, kind, id).map(|(stated, _)| stated)
}

/// See [`super::wordings`].
pub fn wordings(
    connection: &mut PgConnection,
    keeper_id: i64,
    kind: Kind,
    id: i64,
) -> Result<(Vec<Record>, Vec<Record>), LoadError> {
    let none = || LoadError::NoFact { kind: kind.as_str(), id };
    // A test of a tank is with those of its month.
    let test_on = match kind {
        Kind::Reading => "CASE WHEN specimen_id IS NULL THEN taken_on END",
        _ => "NULL::date",
    };
    let row: Option<Named> = diesel::sql_query(format!(
        "SELECT key, {test_on} AS test_on FROM {} WHERE keeper_id = $1 AND id = $2",
        kind.as_str()
    ))
    .bind::<BigInt, _>(keeper_id)
    .bind::<BigInt, _>(id)
    .get_result(connection)
    .optional()?;
    let Named { key, test_on } = row.ok_or_else(none)?;
    let same = merge::standing(connection, keeper_id)?;
    let live: Vec<store::Live> = store::live(connection, keeper_id)?.iter().map(|live| live.under(&same)).collect();
    let mut tests = match test_on.map(Month::of) {
        Some(month) => {
            let ids: Vec<i64> = live.iter().map(|live| live.upload).collect();
            Some(stored::tests(connection, Stage::Committed, &ids, Some((month, month)))?)
        }
        None => None,
    };
    tests.iter_mut().flat_map(|tests| tests.values_mut()).flatten().for_each(|record| same.rename(record));
    let nothing = Vec::new();
    let uploads: Vec<LiveUpload<'_>> = live
        .iter()
        .map(|live| match &tests {
            Some(tests) => live.with(tests.get(&live.upload).unwrap_or(&nothing)),
            None => live.borrow(),
        })
        .collect();
    let preferences = store::preferences(connection, keeper_id, None)?;
    let stated = fold::statements(&uploads, &preferences, kind, &key);
    if stated.is_empty() {
        return Err(none());
    }
    // What an edit says stands in for what it corrected: once it is taken back, that is what is corrected.
    let mut wordings = stated.clone();
    for live in live.iter().rev().filter(|live| live.edit) {
        let corrected = live.about.corrects();
        let says = |record: &Record| wordings.iter().any(|known| slot(known) == slot(record) && agrees(known, record));
        if !corrected.is_empty() && edited(connection, live)?.iter().any(says) {
            let new: Vec<Record> = corrected.iter().filter(|record| !says(record)).cloned().collect();
            wordings.extend(new);
        }
    }
    Ok((stated, wordings))
}

/// All records of an edit.
fn edited(connection: &mut PgConnection, live: &store::Live) -> Result<Vec<Record>, LoadError> {
    stored::records(connection, live.upload, Stage::Committed)
}

/// See [`super::take_out`].
pub fn take_out(connection: &mut PgConnection, keeper_id: i64, facts: &[Record], by: &str) -> Result<i64, LoadError> {
    let parent = facts.iter().map(Kind::of).find(|kind| matches!(kind, Kind::Tank | Kind::Instrument | Kind::Specimen));
    if let Some(kind) = parent {
        return Err(LoadError::NotAlone { kind: kind.as_str() });
    }
    let about = About { takes_out: true, ..About::default() };
    commit::at_once(connection, keeper_id, "edit", "taken out", facts, &about, by)
}
