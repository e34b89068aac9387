//! Decisions of the club: what differs from the defaults, and the defaults.

use std::collections::BTreeMap;

use actix_web::{HttpResponse, get, patch, web};
use serde::Deserialize;
use serde_json::{Value, json};
use utoipa::openapi::{RefOr, Schema};
use utoipa::{PartialSchema, ToSchema};

use crate::access::Caller;
use crate::app::State;
use crate::body::Body;
use crate::desk::settings::{self, SettingList};
use crate::pool;
use crate::problem::{Kind, Problem};
use crate::problems;
use crate::query::{Nothing, Query};

/// New values by name; `null` takes a setting back to its default.
#[derive(Deserialize)]
pub struct SettingsChange(BTreeMap<String, Value>);

impl PartialSchema for SettingsChange {
    fn schema() -> RefOr<Schema> {
        let about = "New values by name; `null` takes a setting back to its default.";
        settings::shape().description(Some(about)).examples([json!({"publish": true, "release_days": 7})]).into()
    }
}

impl ToSchema for SettingsChange {}

problems!(
    /// What changing settings can meet.
    SettingProblems: InvalidBody, TooLarge, TooSlow, UnsupportedMediaType
);

fn send(list: SettingList) -> HttpResponse {
    HttpResponse::Ok().insert_header(("cache-control", "private, no-cache")).json(list)
}

/// List settings
///
/// Every decision that a club can take, with its value, its default, and who took it when.
#[utoipa::path(
    tag = "desk",
    security(("token" = ["admin"])),
    responses((status = 200, description = "The settings", body = SettingList))
)]
#[get("/settings")]
pub async fn list_settings(
    state: web::Data<State>,
    caller: Caller,
    _: Query<Nothing>,
) -> Result<HttpResponse, Problem> {
    let scope = caller.administers()?;
    pool::with(&state.pool, move |connection| settings::list(connection, &scope)).await.map(send)
}

/// Change settings
///
/// Those named take their new values together or not at all, and stand in the audit.
#[utoipa::path(
    tag = "desk",
    security(("token" = ["admin"])),
    request_body = SettingsChange,
    responses((status = 200, description = "The settings, changed", body = SettingList), SettingProblems)
)]
#[patch("/settings")]
pub async fn change_settings(
    state: web::Data<State>,
    caller: Caller,
    _: Query<Nothing>,
    body: Body<SettingsChange>,
) -> Result<HttpResponse, Problem> {
    let scope = caller.administers()?;
    let SettingsChange(change) = body.0;
    let faults = settings::faults(&change);
    if !faults.is_empty() {
        return Err(Problem::of_faults(Kind::InvalidBody, faults));
    }
    let by = caller.name();
    pool::with(&state.pool, move |connection| settings::change(connection, &scope, &change, &by)).await.map(send)
}
