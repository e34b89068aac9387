//! Answers that everybody is given alike, kept as they were sent until something changes: a repeated question costs neither
//! a look at the database nor a byte written anew.

use std::collections::HashMap;
use std::future::{Ready, ready};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Instant;

use actix_web::body::{BodySize, BoxBody, MessageBody, to_bytes_limited};
use actix_web::dev::{Service, ServiceRequest, ServiceResponse, Transform};
use actix_web::http::header::{self, HeaderName, HeaderValue};
use actix_web::http::{Method, StatusCode};
use actix_web::middleware::Next;
use actix_web::web::{self, Bytes};
use actix_web::{Error, HttpResponse};
use futures_util::future::Either;

use crate::app::{Origins, State, frame};
use crate::listen::Changes;
use crate::metrics::OfAddress;
use crate::represent::Held;

/// Bytes that are kept in all.
const LARGEST: usize = 64 * 1024 * 1024;
/// Bytes of one answer that is kept.
const LARGEST_ONE: usize = 2 * 1024 * 1024;
/// Representations of one answer that are kept.
const VARIANTS: usize = 16;
/// Characters of a question that is kept.
const LONGEST: usize = 2048;

/// An answer as it was sent.
#[derive(Debug)]
struct Sent {
    /// Headers of the answer, those of every response among them: a list, which is put into a map that is there faster than a
    /// map is copied.
    headers: Vec<(HeaderName, HeaderValue)>,
    /// Those of a 304.
    of_not_modified: Vec<(HeaderName, HeaderValue)>,
    /// Its tag, as it was sent.
    tag: String,
    /// Counts it.
    counts: OfAddress,
    body: Bytes,
}

/// Answers as they were sent.
#[derive(Debug, Default)]
pub struct Front {
    kept: Mutex<Kept>,
}

/// By the address, then by what is accepted.
type Answers = HashMap<String, Vec<(Accepts, Arc<Sent>)>, foldhash::fast::RandomState>;

#[derive(Debug, Default)]
struct Kept {
    /// The number of changes at which all of them were worked out.
    at: u64,
    bytes: usize,
    by_address: Answers,
}

/// `Accept` and `Accept-Encoding` as they came.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Accepts([Option<HeaderValue>; 2]);

impl Front {
    fn known(&self, asked: &Asked, at: u64) -> Option<Arc<Sent>> {
        let kept = self.kept.lock().unwrap_or_else(PoisonError::into_inner);
        if kept.at != at {
            return None;
        }
        let known = kept.by_address.get(asked.address)?;
        known
            .iter()
            .find(|(Accepts([media, coding]), _)| [media.as_ref(), coding.as_ref()] == asked.accepts)
            .map(|(_, sent)| sent.clone())
    }

    fn keep(&self, (address, accepts): (String, Accepts), at: u64, sent: Arc<Sent>) {
        let mut kept = self.kept.lock().unwrap_or_else(PoisonError::into_inner);
        if at < kept.at {
            return;
        }
        if at > kept.at || kept.bytes + sent.body.len() > LARGEST {
            *kept = Kept { at, ..Kept::default() };
        }
        let bytes = sent.body.len() + 2 * LONGEST;
        let known = kept.by_address.entry(address).or_default();
        // They are looked through one by one: whoever accepts something new each time is answered anew.
        if known.len() < VARIANTS && known.iter().all(|(other, _)| *other != accepts) {
            known.push((accepts, sent));
            kept.bytes += bytes;
        }
    }
}

/// A question whose answer everybody is given alike, as it was asked.
struct Asked<'a> {
    address: &'a str,
    /// `Accept` and `Accept-Encoding`.
    accepts: [Option<&'a HeaderValue>; 2],
    /// `If-None-Match`.
    holds: Option<&'a HeaderValue>,
    /// The caller's id of the request.
    id: Option<&'a HeaderValue>,
    /// Something speaks for somebody else.
    is_forwarded: bool,
}

impl<'a> Asked<'a> {
    /// `None` where the answer depends on who asks, or may. The headers are walked through once: they are few.
    fn of(request: &'a ServiceRequest) -> Option<Self> {
        let address = request.uri().path_and_query()?.as_str();
        if request.method() != Method::GET || address.len() > LONGEST {
            return None;
        }
        let mut asked = Asked { address, accepts: [None, None], holds: None, id: None, is_forwarded: false };
        for (name, value) in request.headers() {
            let place = if name == header::ACCEPT {
                &mut asked.accepts[0]
            } else if name == header::ACCEPT_ENCODING {
                &mut asked.accepts[1]
            } else if name == header::IF_NONE_MATCH {
                &mut asked.holds
            } else if name == frame::REQUEST_ID {
                &mut asked.id
            } else if [header::AUTHORIZATION, header::COOKIE, header::IF_MODIFIED_SINCE, header::RANGE].contains(name) {
                return None;
            } else {
                asked.is_forwarded |= *name == header::X_FORWARDED_FOR;
                continue;
            };
            // Several lines of one header: whoever sends them is answered anew.
            if place.replace(value).is_some() || value.len() > LONGEST {
                return None;
            }
        }
        Some(asked)
    }

    /// What the answer depends on.
    fn key(&self) -> (String, Accepts) {
        (self.address.to_owned(), Accepts(self.accepts.map(Option::<&HeaderValue>::cloned)))
    }
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

/// Keeps an answer that everybody is given alike. Whoever says what is held already is answered whole here first, so that
/// the answer is there for the next.
pub async fn keep(
    mut request: ServiceRequest,
    next: Next<impl MessageBody + 'static>,
) -> Result<ServiceResponse<BoxBody>, Error> {
    let state = request.app_data::<web::Data<State>>().cloned();
    let asked = Asked::of(&request).map(|asked| asked.key());
    let (Some(state), Some(asked)) = (state, asked) else {
        return Ok(next.call(request).await?.map_into_boxed_body());
    };
    let changes: &Changes = &state.changes;
    // Looked at before the answer is worked out: a change meanwhile makes it another number.
    let (at, heard) = (changes.number(), changes.is_heard());
    let held = request.headers().contains_key(header::IF_NONE_MATCH).then(|| Held::of(request.request()));
    request.headers_mut().remove(header::IF_NONE_MATCH);
    let response = next.call(request).await?;
    let is_held = response.status() == StatusCode::OK
        && held
            .zip(response.headers().get(header::ETAG))
            .is_some_and(|(held, tag)| tag.to_str().is_ok_and(|tag| held.names(tag)));
    let is_small = matches!(response.response().body().size(), BodySize::Sized(size) if size <= LARGEST_ONE as u64)
        || matches!(response.response().body().size(), BodySize::None)
        || response.headers().contains_key(header::CONTENT_ENCODING);
    if !heard || !is_for_all(&response) || !is_small {
        return Ok(if is_held { without_body(response) } else { response.map_into_boxed_body() });
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
    if changes.number() == at && changes.is_heard() {
        let mut headers = response.headers().clone();
        for (name, value) in frame::of_every_read(&headers) {
            headers.insert(name, value);
        }
        headers.remove(frame::REQUEST_ID);
        let tag = headers.get(header::ETAG).and_then(|value| value.to_str().ok()).unwrap_or_default().to_owned();
        let headers: Vec<(HeaderName, HeaderValue)> = headers.into_iter().collect();
        let of_not_modified = headers.iter().filter(|(name, _)| !OF_BODIES.contains(name)).cloned().collect();
        let sent = Sent {
            headers,
            of_not_modified,
            tag,
            counts: state.metrics.of_address(request.match_pattern()),
            body: body.clone(),
        };
        state.front.keep(asked, at, Arc::new(sent));
    }
    let response = ServiceResponse::new(request, response.set_body(body));
    Ok(if is_held { without_body(response) } else { response.map_into_boxed_body() })
}

/// What a 304 leaves out: it says nothing of a body, and its tag in place of a date (RFC 9110, section 15.4.5).
const OF_BODIES: [HeaderName; 5] = [
    header::CONTENT_TYPE,
    header::CONTENT_ENCODING,
    header::CONTENT_DISPOSITION,
    header::CONTENT_LENGTH,
    header::LAST_MODIFIED,
];

/// The 304 in place of an answer that the caller holds.
fn without_body(response: ServiceResponse<impl MessageBody>) -> ServiceResponse<BoxBody> {
    let (request, response) = response.into_parts();
    let (mut response, _) = response.into_parts();
    *response.status_mut() = StatusCode::NOT_MODIFIED;
    OF_BODIES.into_iter().for_each(|name| drop(response.headers_mut().remove(name)));
    ServiceResponse::new(request, response.set_body(BoxBody::new(())))
}

/// Gives an answer that is kept before anything else looks at the request. It stands outside the frame, and does what the
/// frame and the limits do: an id, the headers of every response, a count.
pub struct Quick(pub web::Data<State>);

/// [`Quick`] around what else answers.
pub struct QuickService<S> {
    state: web::Data<State>,
    inner: S,
}

impl<S> Transform<S, ServiceRequest> for Quick
where
    S: Service<ServiceRequest, Response = ServiceResponse<BoxBody>, Error = Error>,
{
    type Response = ServiceResponse<BoxBody>;
    type Error = Error;
    type Transform = QuickService<S>;
    type InitError = ();
    type Future = Ready<Result<Self::Transform, ()>>;

    fn new_transform(&self, inner: S) -> Self::Future {
        ready(Ok(QuickService { state: self.0.clone(), inner }))
    }
}

impl<S> Service<ServiceRequest> for QuickService<S>
where
    S: Service<ServiceRequest, Response = ServiceResponse<BoxBody>, Error = Error>,
{
    type Response = ServiceResponse<BoxBody>;
    type Error = Error;
    type Future = Either<Ready<Result<ServiceResponse<BoxBody>, Error>>, S::Future>;

    actix_web::dev::forward_ready!(inner);

    fn call(&self, request: ServiceRequest) -> Self::Future {
        match quick(&self.state, &request) {
            Some(response) => Either::Left(ready(Ok(request.into_response(response)))),
            None => Either::Right(self.inner.call(request)),
        }
    }
}

/// The answer that is kept, if there is one and the caller may have it now.
fn quick(state: &State, request: &ServiceRequest) -> Option<HttpResponse> {
    let began = Instant::now();
    let changes: &Changes = &state.changes;
    // Where other sites may not all read, the headers depend on the site.
    if !changes.is_heard() || state.origins != Origins::Any {
        return None;
    }
    let asked = Asked::of(request)?;
    let sent = state.front.known(&asked, changes.number())?;
    let left = match &state.limiter {
        Some(limiter) if asked.is_forwarded || !limiter.passes_over(request) => limiter.headers_for(request)?,
        _ => None,
    };
    // A tag that names these bytes, whole or compressed, needs no body.
    let is_held = asked
        .holds
        .is_some_and(|tag| tag.as_bytes() == sent.tag.as_bytes() || Held::of(request.request()).names(&sent.tag));
    let mut response = HttpResponse::new(if is_held { StatusCode::NOT_MODIFIED } else { StatusCode::OK });
    let id = frame::request_id(asked.id);
    let headers = response.headers_mut();
    for (name, value) in if is_held { &sent.of_not_modified } else { &sent.headers } {
        headers.append(name.clone(), value.clone());
    }
    headers.insert(frame::REQUEST_ID, id.clone());
    for (name, value) in left.into_iter().flatten() {
        headers.insert(name, value);
    }
    let took = began.elapsed();
    sent.counts.answered(is_held, took);
    let (status, ms) = (response.status().as_u16(), u64::try_from(took.as_millis()).unwrap_or(u64::MAX));
    tracing::info!(
        request = id.to_str().unwrap_or_default(),
        method = "GET",
        path = request.path(),
        status,
        ms,
        "answered"
    );
    Some(if is_held { response } else { response.set_body(sent.body.clone()).map_into_boxed_body() })
}
