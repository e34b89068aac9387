//! How the files of one shape are read, handed out as a table description.

use actix_web::http::header;
use actix_web::{HttpResponse, get, web};

use crate::access::{Caller, Right};
use crate::app::State;
use crate::pool;
use crate::problem::{Kind, Problem};
use crate::problems;
use crate::query::{Nothing, Query};
use crate::route::uploads::NoSuchUpload;
use crate::upload::hand_in;

problems!(
    /// The upload has no layout.
    NoSuchLayout: UnknownLayout
);

/// Get the layout of an upload's file
///
/// A Data Package (version 2) with a Table Dialect and a Table Schema for each table: separator, lines that are no
/// data, names, types, formats and decimal marks of columns. Members whose names begin with `strandline:` hold what
/// the standard has no words for: kinds of tables, UCUM units, the tank, and the answers that serve every file of
/// these columns. It holds nothing of the file's contents. Send it with the next file of the same columns, as the part
/// `layout` of a form, or name this upload as `layout`.
#[utoipa::path(
    tag = "uploads",
    security(("token" = ["read"])),
    params(("id" = i64, Path, description = "Number of the upload", example = 17)),
    responses(
        (status = 200, description = "The layout", body = Object),
        NoSuchUpload,
        NoSuchLayout
    )
)]
#[get("/uploads/{id}/layout")]
pub async fn get_layout(
    state: web::Data<State>,
    caller: Caller,
    path: web::Path<i64>,
    _: Query<Nothing>,
) -> Result<HttpResponse, Problem> {
    let scope = caller.records(Right::Read)?;
    let id = path.into_inner();
    let made = pool::with(&state.pool, move |connection| {
        let reached = scope.upload(connection, id)?;
        let made = importer::load::layout(connection, reached.id()).map_err(|error| hand_in::problem(&error))?;
        made.ok_or_else(|| {
            Problem::new(Kind::UnknownLayout, format!("Upload {id} has no layout: it is not read, or holds no table."))
        })
    })
    .await?;
    Ok(HttpResponse::Ok().insert_header((header::CACHE_CONTROL, "private, no-cache")).json(made.document()))
}
