//! Answers that everybody is given alike, kept as they were sent until something changes: a repeated question costs neither
//! a look at the database nor a byte written anew.

use std::collections::HashMap;
use std::sync::{Arc, Mutex, PoisonError};

use actix_web::body::{BoxBody, MessageBody, to_bytes_limited};
use actix_web::dev::{ServiceRequest, ServiceResponse};
use actix_web::http::header::{self, HeaderMap};
use actix_web::http::{Method, StatusCode};
use actix_web::middleware::Next;
use actix_web::web::{self, Bytes};
use actix_web::{Error, HttpResponse};

use crate::app::State;
use crate::listen::Changes;
use crate::represent::Held;

/// Bytes that are kept in all.
const LARGEST: usize = 64 * 1024 * 1024;
/// Bytes of one answer that is kept.
const LARGEST_ONE: usize = 2 * 1024 * 1024;
/// Characters of a question that is kept.
const LONGEST: usize = 2048;

/// An answer as it was sent.
#[derive(Debug)]
struct Sent {
    status: StatusCode,
    headers: HeaderMap,
    body: Bytes,
}

/// Answers as they were sent.
#[derive(Debug, Default)]
pub struct Front {
    kept: Mutex<Kept>,
}

#[derive(Debug, Default)]
struct Kept {
    /// The number of changes at which all of them were worked out.
    at: u64,
    bytes: usize,
    by_question: HashMap<String, Arc<Sent>>,
}

impl Front {
    fn known(&self, question: &str, at: u64) -> Option<Arc<Sent>> {
        let kept = self.kept.lock().unwrap_or_else(PoisonError::into_inner);
        if kept.at == at { kept.by_question.get(question).cloned() } else { None }
    }

    fn keep(&self, question: String, at: u64, sent: Arc<Sent>) {
        let mut kept = self.kept.lock().unwrap_or_else(PoisonError::into_inner);
        if at < kept.at {
            return;
        }
        if at > kept.at || kept.bytes + sent.body.len() > LARGEST {
            *kept = Kept { at, ..Kept::default() };
        }
        kept.bytes += sent.body.len() + question.len();
        kept.by_question.insert(question, sent);
    }
}

/// What an answer to everybody depends on, as one text; `None` where it depends on who asks, or may.
fn question(request: &ServiceRequest) -> Option<String> {
    let headers = request.headers();
    if request.method() != Method::GET
        || headers.contains_key(header::AUTHORIZATION)
        || headers.contains_key(header::COOKIE)
        || headers.contains_key(header::IF_MODIFIED_SINCE)
        || headers.contains_key(header::RANGE)
    {
        return None;
    }
    let mut question = request.uri().path_and_query()?.as_str().to_owned();
    for name in [header::ACCEPT, header::ACCEPT_ENCODING] {
        for value in headers.get_all(&name) {
            question.push('\n');
            question.push_str(name.as_str());
            question.push(':');
            question.push_str(value.to_str().ok()?);
        }
    }
    (question.len() <= LONGEST).then_some(question)
}

/// Whether an answer is the same for everybody until something changes.
fn is_for_all(response: &ServiceResponse<impl MessageBody>) -> bool {
    let headers = response.headers();
    let public = headers
        .get(header::CACHE_CONTROL)
        .and_then(|value| value.to_str().ok())
        .is_some_and(|value| value.starts_with("public"));
    let settled = headers.contains_key(header::ETAG) && headers.contains_key(header::LAST_MODIFIED);
    let status = response.status();
    public && settled && status == StatusCode::OK
}

/// Gives an answer that is kept, or keeps the one that is made.
pub async fn apply(
    request: ServiceRequest,
    next: Next<impl MessageBody + 'static>,
) -> Result<ServiceResponse<BoxBody>, Error> {
    let state = request.app_data::<web::Data<State>>().cloned();
    let asked = question(&request);
    let (Some(state), Some(asked)) = (state, asked) else {
        return Ok(next.call(request).await?.map_into_boxed_body());
    };
    let changes: &Changes = &state.changes;
    // Looked at before the answer is worked out: a change meanwhile makes it another number.
    let (at, heard) = (changes.number(), changes.is_heard());
    if heard && let Some(sent) = state.front.known(&asked, at) {
        // A tag that names these bytes, whole or compressed, needs no body.
        let tag = sent.headers.get(header::ETAG).and_then(|value| value.to_str().ok());
        if tag.is_some_and(|tag| Held::of(request.request()).names(tag)) {
            let mut response = HttpResponse::new(StatusCode::NOT_MODIFIED);
            for name in [header::ETAG, header::CACHE_CONTROL, header::VARY, header::LAST_MODIFIED] {
                if let Some(value) = sent.headers.get(&name) {
                    response.headers_mut().insert(name, value.clone());
                }
            }
            return Ok(request.into_response(response));
        }
        let mut response = HttpResponse::new(sent.status);
        *response.headers_mut() = sent.headers.clone();
        let response = response.set_body(sent.body.clone()).map_into_boxed_body();
        return Ok(request.into_response(response));
    }
    let response = next.call(request).await?;
    let is_small = matches!(response.response().body().size(), actix_web::body::BodySize::Sized(size) if size <= LARGEST_ONE as u64)
        || matches!(response.response().body().size(), actix_web::body::BodySize::None)
        || response.headers().contains_key(header::CONTENT_ENCODING);
    if !heard || !is_for_all(&response) || !is_small {
        return Ok(response.map_into_boxed_body());
    }
    let (request, response) = response.into_parts();
    let (response, body) = response.into_parts();
    let body = match to_bytes_limited(body, LARGEST_ONE).await {
        Ok(Ok(body)) => body,
        Ok(Err(error)) => return Err(actix_web::error::ErrorInternalServerError(error.into())),
        Err(_) => {
            return Err(actix_web::error::ErrorInternalServerError("an answer is larger than those that are kept"));
        }
    };
    let sent = Sent { status: response.status(), headers: response.headers().clone(), body: body.clone() };
    if changes.number() == at && changes.is_heard() {
        state.front.keep(asked, at, Arc::new(sent));
    }
    Ok(ServiceResponse::new(request, response.set_body(body).map_into_boxed_body()))
}
