//! The document itself.

use actix_web::{HttpRequest, HttpResponse, get};

use crate::document;
use crate::problem::Problem;
use crate::query::{Nothing, Query};
use crate::represent::{self, Form, Held, Keep, Validator};

/// This document
///
/// OpenAPI 3.1. A browsable page of it is at [/docs/](/docs/); it loads nothing from outside.
#[utoipa::path(tag = "service", security(()), responses((status = 200, description = "The document", body = Object)))]
#[get("/openapi.json")]
pub async fn get_openapi(request: HttpRequest, _: Query<Nothing>) -> Result<HttpResponse, Problem> {
    let text = document::openapi_json().map_err(|error| Problem::internal(&error))?;
    let validator = Validator::of_program(represent::etag(&["openapi", &text]));
    if Held::of(&request).holds(&validator) {
        return Ok(represent::not_modified(&validator, Keep::Public));
    }
    Ok(represent::found(text.into_bytes(), Form::Json, "openapi", &validator, Keep::Public))
}
