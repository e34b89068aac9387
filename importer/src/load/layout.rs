//! How files of one shape are read: written with a commit, handed out on demand, kept one a keeper and shape.

use diesel::pg::PgConnection;
use diesel::prelude::*;
use migrations::schema::layout;

use super::LoadError;
use super::store::{self, UploadRow, json};
use super::stored::{self, Stage};
use crate::finding::Answer;
use crate::saved_layout::{Columns, SavedLayout};

/// Files up to this size have their layout written with the commit; that of larger ones is made when it is asked for,
/// since it takes looking at the whole file again.
const AT_ONCE: i64 = 1024 * 1024;

/// The layout of an upload's file, as it stands with its answers, kept for the keeper. `None` for what is no file, or
/// holds no table.
///
/// # Errors
/// [`LoadError::NoUpload`]; the database's.
pub fn layout(connection: &mut PgConnection, upload: i64) -> Result<Option<SavedLayout>, LoadError> {
    let row = store::row(connection, upload)?;
    keep(connection, &row)
}

/// Keeps the layout of a file that is being committed.
pub(super) fn with_commit(connection: &mut PgConnection, row: &UploadRow) -> Result<(), LoadError> {
    if row.byte_count <= AT_ONCE {
        keep(connection, row)?;
    }
    Ok(())
}

fn keep(connection: &mut PgConnection, row: &UploadRow) -> Result<Option<SavedLayout>, LoadError> {
    if row.kind != "file" || row.read_on.is_none() {
        return Ok(None);
    }
    let bytes = store::original(connection, row.id)?;
    let came_with = row.saved_layout()?;
    let mut answers: Vec<Answer> = came_with.as_ref().map(|layout| layout.answers().to_vec()).unwrap_or_default();
    answers.extend(store::answers(connection, row.id)?.into_iter().map(|stored| stored.answer));
    let mut columns = Columns::default();
    stored::each_piece(connection, row.id, Stage::Staged, |records| columns.see(records))?;
    let tank = row.tank_hint.as_deref().or_else(|| came_with.as_ref()?.tank());
    let Some(made) = SavedLayout::of(&row.name, &bytes, &answers, tank, &columns) else { return Ok(None) };
    let document = json(made.document())?;
    diesel::insert_into(layout::table)
        .values((
            layout::keeper_id.eq(row.keeper_id),
            layout::shape.eq(made.shape()),
            layout::document.eq(&document),
            layout::upload_id.eq(row.id),
        ))
        .on_conflict((layout::keeper_id, layout::shape))
        .do_update()
        .set((layout::document.eq(&document), layout::upload_id.eq(row.id), layout::changed_at.eq(diesel::dsl::now)))
        .execute(connection)?;
    Ok(Some(made))
}
