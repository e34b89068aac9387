//! JSON bodies as typed values. Members that an operation does not know are refused, never ignored.

use std::future::Future;
use std::pin::Pin;

use actix_web::dev::Payload;
use actix_web::error::PayloadError;
use actix_web::http::{Method, header};
use actix_web::{FromRequest, HttpRequest, web};
use serde::de::DeserializeOwned;

use crate::app::{LARGEST_BODY, patience};
use crate::problem::{Fault, Kind, Problem};

mod once; // members that stand twice

/// A JSON body.
pub struct Body<T>(pub T);

impl<T: DeserializeOwned + 'static> FromRequest for Body<T> {
    type Error = Problem;
    type Future = Pin<Box<dyn Future<Output = Result<Self, Problem>>>>;

    fn from_request(request: &HttpRequest, payload: &mut Payload) -> Self::Future {
        let media =
            request.headers().get(header::CONTENT_TYPE).map(|value| value.to_str().unwrap_or_default().to_owned());
        let length = content_length(request);
        let is_patch = request.method() == Method::PATCH;
        let payload = web::Payload::from_request(request, payload).into_inner();
        Box::pin(async move {
            let media = media.unwrap_or_default();
            let kind = media.split(';').next().unwrap_or_default().trim().to_ascii_lowercase();
            // A change of some members is JSON of a type of its own (RFC 7396).
            let taken = kind == "application/json" || (is_patch && kind == "application/merge-patch+json");
            let is_empty = kind.is_empty() && length == Some(0);
            if !taken && !is_empty {
                let what = if kind.is_empty() { "no Content-Type".to_owned() } else { format!("'{kind}'") };
                return Err(Problem::new(
                    Kind::UnsupportedMediaType,
                    format!("The body came with {what}; send JSON with 'Content-Type: application/json'."),
                ));
            }
            let payload = payload.map_err(|error| Problem::new(Kind::BadRequest, error.to_string()))?;
            let bytes = read(payload, length, LARGEST_BODY).await?;
            if is_patch && bytes.is_empty() {
                let detail = "the body is missing; name what is to change";
                return Err(Problem::of_fault(Kind::InvalidBody, Fault::pointer("", "missing", detail)));
            }
            // An empty body stands for an empty object: every member of it then has its default or is missed by name.
            let text: &[u8] = if bytes.is_empty() { b"{}" } else { &bytes };
            if holds_nul(text) {
                let detail = "a text holds a NUL character (\\u0000), which no record can hold; leave it out";
                return Err(Problem::of_fault(Kind::InvalidBody, Fault::pointer("", "invalid", detail)));
            }
            // Of a member that stands twice nobody knows which is meant.
            serde_json::from_slice::<once::Once>(text).and_then(|_| serde_json::from_slice(text)).map(Body).map_err(
                |error| {
                    let place = format!("line {}, column {}", error.line(), error.column());
                    Problem::of_fault(
                        Kind::InvalidBody,
                        Fault::pointer("", "invalid", format!("{error} (at {place} of the body)")),
                    )
                },
            )
        })
    }
}

/// Whether JSON holds a NUL character, which it can only as an escape: `\u0000` whose backslash is not itself escaped.
fn holds_nul(json: &[u8]) -> bool {
    let found = json.windows(6).enumerate().filter(|(_, six)| *six == b"\\u0000");
    found.into_iter().any(|(at, _)| json[..at].iter().rev().take_while(|byte| **byte == b'\\').count() % 2 == 0)
}

/// The length that a request announces.
pub fn content_length(request: &HttpRequest) -> Option<usize> {
    request.headers().get(header::CONTENT_LENGTH)?.to_str().ok()?.parse().ok()
}

/// Reads a body that may have `limit` bytes.
///
/// # Errors
/// [`Kind::TooLarge`] as soon as that is known; [`Kind::TooSlow`]; [`Kind::BadRequest`] if the connection breaks.
pub async fn read(payload: web::Payload, announced: Option<usize>, limit: usize) -> Result<web::Bytes, Problem> {
    if announced.is_some_and(|length| length > limit) {
        return Err(too_large(limit));
    }
    match payload.to_bytes_limited(limit).await {
        Err(_) => Err(too_large(limit)),
        Ok(Err(error)) if error.as_error::<PayloadError>().is_some_and(|error| patience::is_too_slow(error)) => {
            Err(too_slow())
        }
        Ok(Err(error)) => Err(Problem::new(Kind::BadRequest, format!("The body could not be received: {error}."))),
        Ok(Ok(bytes)) => Ok(bytes),
    }
}

/// Too little came in its time. The connection ends with the answer: what else comes on it is not looked at.
pub fn too_slow() -> Problem {
    Problem::new(
        Kind::TooSlow,
        "The body came too slowly: a request has half a minute, and a second more for each KiB of its body. Send it again.",
    )
}

/// The body is larger than the limit.
pub fn too_large(limit: usize) -> Problem {
    let mib = limit / (1024 * 1024);
    Problem::new(Kind::TooLarge, format!("The body is larger than {mib} MiB; send a smaller one."))
}
