//! Who is asking, and a member's own things: everything in one archive, and leaving.

use std::io::Read;

use actix_web::{HttpResponse, delete, get, web};
use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::access::withdrawal::{self, Withdrawn};
use crate::access::{Caller, Credential, Right};
use crate::app::State;
use crate::problem::{Kind, Problem};
use crate::query::{Nothing, Query};
use crate::route::keepers::{Confirmed, confirmed};
use crate::{export, pool};

/// The caller.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct Me {
    /// `reader`, `keeper` or `curator`.
    #[schema(example = "keeper")]
    pub role: String,
    /// What the token may be used for: `read`, `upload`, `admin`.
    #[schema(example = json!(["read", "upload"]))]
    pub scopes: Vec<String>,
    /// Handle of the member whose records it opens.
    #[schema(example = "osprey")]
    pub keeper: Option<String>,
    /// First characters of the token; `null` for a session.
    #[schema(example = "strand_3f9a1c")]
    pub token: Option<String>,
    /// Number of the account, for a session and for a token that an account made.
    pub account: Option<i64>,
    /// When it expires; `null` = never.
    pub expires_at: Option<DateTime<Utc>>,
}

/// Say who is asking
///
/// Role, scopes and member of the token or the session that was sent.
#[utoipa::path(
    tag = "people",
    security(("token" = [])),
    responses((status = 200, description = "The caller", body = Me))
)]
#[get("/me")]
pub async fn get_me(caller: Caller, _: Query<Nothing>) -> Result<HttpResponse, Problem> {
    let holder = caller.somebody()?;
    let token = match &holder.credential {
        Credential::Token { prefix } => Some(prefix.clone()),
        Credential::Session { .. } => None,
    };
    Ok(HttpResponse::Ok().insert_header(("cache-control", "private, no-cache")).json(Me {
        role: holder.role.as_str().to_owned(),
        scopes: holder.rights.iter().map(|right| right.as_str().to_owned()).collect(),
        keeper: holder.keeper.clone(),
        token,
        account: holder.account_id,
        expires_at: holder.expires_at,
    }))
}

/// The records that are the caller's own, and the member's handle.
fn own(caller: &Caller, right: Right) -> Result<(crate::access::Scope, i64, String), Problem> {
    let scope = caller.records(right)?;
    let handle = caller.holder().and_then(|holder| holder.keeper.clone());
    match (scope.keeper(), handle) {
        (Some(keeper_id), Some(handle)) => Ok((scope, keeper_id, handle)),
        _ => Err(Problem::new(Kind::Forbidden, "This token opens no member's own records. Send a keeper's token.")),
    }
}

/// Bytes of the archive that are sent at a time.
const PART: usize = 64 * 1024;

/// Get everything of one's own
///
/// One archive: the current records as tables, what was handed in, and the files as they came.
#[utoipa::path(
    tag = "people",
    security(("token" = ["read"])),
    responses((status = 200, description = "The archive (ZIP)", content_type = "application/zip", body = [u8]))
)]
#[get("/me/export")]
pub async fn export_me(state: web::Data<State>, caller: Caller, _: Query<Nothing>) -> Result<HttpResponse, Problem> {
    let (scope, _, handle) = own(&caller, Right::Read)?;
    let file = pool::with(&state.pool, move |connection| export::archive(connection, &scope)).await?;
    let length = file.metadata().map_err(|error| Problem::internal(&error))?.len();
    let parts = futures_util::stream::try_unfold(file, |mut file| async move {
        // Reading from a file without a name on the same disk is quick, and still no work for this thread.
        let read = web::block(move || {
            let mut part = vec![0; PART];
            let read = file.read(&mut part)?;
            part.truncate(read);
            Ok::<_, std::io::Error>((web::Bytes::from(part), file))
        });
        let (part, file) = read.await.map_err(std::io::Error::other)??;
        Ok::<_, std::io::Error>((!part.is_empty()).then_some((part, file)))
    });
    let name: String = handle.chars().map(|letter| if letter.is_ascii_alphanumeric() { letter } else { '_' }).collect();
    Ok(HttpResponse::Ok()
        .content_type("application/zip")
        .insert_header(("cache-control", "no-store"))
        .insert_header(("content-disposition", format!("attachment; filename=\"{name}.zip\"")))
        .no_chunking(length)
        .streaming(parts))
}

/// Withdraw
///
/// Every record, file, consent and token of the member is deleted, and what members and the public read is made anew
/// without them. Fetch `/me/export` first: nothing brings the records back.
#[utoipa::path(
    tag = "people",
    security(("token" = ["upload"])),
    params(Confirmed),
    responses((status = 200, description = "What was deleted", body = Withdrawn))
)]
#[delete("/me")]
pub async fn withdraw_me(
    state: web::Data<State>,
    caller: Caller,
    query: Query<Confirmed>,
) -> Result<HttpResponse, Problem> {
    let (_, keeper_id, handle) = own(&caller, Right::Upload)?;
    confirmed(&query.0, &handle)?;
    let withdrawn =
        pool::with(&state.pool, move |connection| withdrawal::withdraw(connection, keeper_id, &caller.name())).await?;
    Ok(HttpResponse::Ok().insert_header(("cache-control", "no-store")).json(withdrawn))
}
