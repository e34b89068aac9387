//! "All seen alive today, except …"

use actix_web::http::header;
use actix_web::{HttpResponse, post, web};
use chrono::NaiveDate;
use serde::Deserialize;
use utoipa::{IntoParams, ToSchema};

use crate::access::Caller;
use crate::app::State;
use crate::body::Body;
use crate::pool;
use crate::problem::Problem;
use crate::problems;
use crate::query::{Asked, Fields, Query};
use crate::route::uploads::{UploadShown, about, load};
use crate::upload::roll_call::{self, RollCall};

/// A roll call.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct RollCallRequest {
    /// The day; without it today.
    #[schema(example = "2025-03-04")]
    on: Option<NaiveDate>,
    /// Only the specimens of this tank, by name; without it all of the member's.
    #[schema(example = "Lagoon")]
    tank: Option<String>,
    /// Specimens that were not simply alive. All others that live as far as known are recorded as seen alive.
    #[serde(default)]
    except: Vec<Exception>,
}

/// A specimen that was not simply alive.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Exception {
    /// Its label.
    #[schema(example = "C03")]
    specimen: String,
    /// `open`, `off` (closed, pale or shrunken, at least half alive), `poor` (less than half alive), `dead`, `left`, `not_found`, or `not_looked` (nothing is recorded).
    #[schema(example = "off")]
    status: String,
}

/// Parameters beside a roll call.
#[derive(IntoParams)]
#[into_params(parameter_in = Query)]
pub struct RollCallQuery {
    /// Handle of the member: needed from curators; from a member only their own.
    #[param(example = "osprey")]
    keeper: Option<String>,
}

impl Asked for RollCallQuery {
    fn read(fields: &mut Fields) -> Self {
        RollCallQuery { keeper: fields.text("keeper") }
    }
}

problems!(
    /// What a roll call can meet.
    RollCallProblems: InvalidBody, TooLarge, TooSlow, UnsupportedMediaType, InvalidValue
);

/// Record a roll call
///
/// "All seen alive today, except …" in one request. It is an upload like any other, committed at once, and can be taken
/// back by `DELETE`.
#[utoipa::path(
    tag = "uploads",
    security(("token" = ["upload"])),
    params(RollCallQuery),
    request_body = RollCallRequest,
    responses(
        (status = 201, description = "Recorded", body = UploadShown, headers(("Location" = String, description = "Address of the upload"))),
        RollCallProblems
    )
)]
#[post("/roll-call")]
pub async fn create_roll_call(
    state: web::Data<State>,
    caller: Caller,
    query: Query<RollCallQuery>,
    body: Body<RollCallRequest>,
) -> Result<HttpResponse, Problem> {
    let today = (state.today)();
    let RollCallRequest { on, tank, except } = body.0;
    let call = RollCall {
        keeper: query.0.keeper,
        on: on.unwrap_or(today),
        tank,
        except: except.into_iter().map(|row| (row.specimen, row.status)).collect(),
    };
    let upload = pool::with(&state.pool, move |connection| {
        let reached = roll_call::record(connection, &caller, &call, today)?;
        load(connection, reached)
    })
    .await?;
    let mut response = about(HttpResponse::Created(), &upload);
    response.insert_header((header::LOCATION, upload.links.this.clone()));
    Ok(response.json(upload))
}
