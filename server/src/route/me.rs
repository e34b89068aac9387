//! Who is asking, and what the token may do.

use actix_web::{HttpResponse, get};
use chrono::{DateTime, Utc};
use serde::Serialize;
use utoipa::ToSchema;

use crate::access::{Caller, Right};
use crate::problem::Problem;
use crate::query::{Nothing, Query};

/// The caller.
#[derive(Serialize, ToSchema)]
pub struct Me {
    /// `reader`, `keeper` or `curator`.
    #[schema(example = "keeper")]
    role: &'static str,
    /// What the token may be used for: `read`, `upload`, `admin`.
    #[schema(example = json!(["read", "upload"]))]
    scopes: Vec<&'static str>,
    /// Handle of the member whose records it opens.
    #[schema(example = "osprey")]
    keeper: Option<String>,
    /// First characters of the token.
    #[schema(example = "strand_3f9a1c")]
    token: String,
    /// When it expires; `null` = never.
    expires_at: Option<DateTime<Utc>>,
}

/// Say who is asking
///
/// Role, scopes and member of the token that was sent.
#[utoipa::path(
    tag = "people",
    security(("token" = [])),
    responses((status = 200, description = "The caller", body = Me))
)]
#[get("/me")]
pub async fn get_me(caller: Caller, _: Query<Nothing>) -> Result<HttpResponse, Problem> {
    let Some(holder) = caller.holder() else {
        // Asking for any right without a token gives the challenge.
        return Err(caller
            .holds(Right::Read)
            .map(drop)
            .err()
            .unwrap_or_else(|| Problem::internal("a right without a token")));
    };
    Ok(HttpResponse::Ok().insert_header(("cache-control", "private, no-cache")).json(Me {
        role: holder.role.as_str(),
        scopes: holder.rights.iter().map(|right| right.as_str()).collect(),
        keeper: holder.keeper.clone(),
        token: holder.prefix.clone(),
        expires_at: holder.expires_at,
    }))
}
