//! The frame around every request: its id, the headers that every response has, and a problem in place of any
//! failure, be it of a handler, an extractor, a library or a panic.

use std::future::poll_fn;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::OnceLock;
use std::sync::atomic::{AtomicU64, Ordering};
use std::task::Poll;
use std::time::Instant;

use actix_web::body::{BoxBody, MessageBody};
use actix_web::dev::{ServiceRequest, ServiceResponse};
use actix_web::http::Method;
use actix_web::http::header::{self, HeaderMap, HeaderName, HeaderValue};
use actix_web::middleware::Next;
use actix_web::{Error, web};

use crate::app::{Origins, State};
use crate::problem::Problem;

pub(crate) const REQUEST_ID: HeaderName = HeaderName::from_static("x-request-id");
const EXPOSED: &str = "ETag, Link, Location, Retry-After, X-Request-Id, RateLimit, RateLimit-Policy";

/// Applies the frame.
pub async fn apply(
    mut request: ServiceRequest,
    next: Next<impl MessageBody + 'static>,
) -> Result<ServiceResponse<BoxBody>, Error> {
    let began = Instant::now();
    let id = request_id(request.headers().get(&REQUEST_ID)).to_str().unwrap_or_default().to_owned();
    let method = request.method().clone();
    let state = request.app_data::<web::Data<State>>().cloned();
    let origin = request.headers().get(header::ORIGIN).cloned();
    let allowed = allowed(state.as_ref().map_or(&Origins::Any, |state| &state.origins), origin.as_ref());
    // HEAD is GET without a body: the handler of GET makes the headers, the connection leaves the body out.
    if method == Method::HEAD {
        request.head_mut().method = Method::GET;
    }
    // The rest of these addresses is a secret; it stands in no log.
    let secret = ["/questions/", "/join/"].into_iter().find(|secret| request.path().starts_with(secret));
    let path = secret.map_or_else(|| request.path().to_owned(), |before| format!("{before}…"));
    let mut called = Box::pin(next.call(request));
    let outcome = poll_fn(|context| match catch_unwind(AssertUnwindSafe(|| called.as_mut().poll(context))) {
        Ok(Poll::Pending) => Poll::Pending,
        Ok(Poll::Ready(result)) => Poll::Ready(Ok(result)),
        Err(panic) => Poll::Ready(Err(said(panic.as_ref()))),
    })
    .await;
    drop(called);
    let answered = match outcome {
        Ok(Ok(response)) => Ok(unify(response.map_into_boxed_body(), &id)),
        Ok(Err(error)) => Err(of_error(&error)),
        Err(panic) => Err(Problem::internal(&format!("a handler panicked: {panic}"))),
    };
    // A request that failed before it had a response is answered by the connection: its headers go with the problem.
    let answered = match answered {
        Ok(mut response) => {
            for (name, value) in finish(&method, &id, response.headers(), &allowed) {
                response.headers_mut().insert(name, value);
            }
            Ok(response)
        }
        Err(mut problem) => {
            problem.request_id = Some(id.clone());
            Err(problem.with_headers(finish(&method, &id, &HeaderMap::new(), &allowed)))
        }
    };
    let status =
        answered.as_ref().map_or_else(|problem| problem.kind().status(), |response| response.status().as_u16());
    if let Some(state) = state {
        // What this request may have changed is out of date here at once, not when the database says so.
        if !matches!(method, Method::GET | Method::HEAD | Method::OPTIONS) {
            state.changes.happened();
        }
        // The address as documented: what somebody sent could be anything, and a secret.
        let pattern = answered.as_ref().ok().and_then(|response| response.request().match_pattern());
        state.metrics.answered(pattern, method.as_str(), status, began.elapsed());
    }
    let ms = u64::try_from(began.elapsed().as_millis()).unwrap_or(u64::MAX);
    tracing::info!(request = %id, %method, path, status, ms, "answered");
    answered.map_err(Error::from)
}

/// The caller's id if it is one, else one that no other request has: 64 random bits of this process, and its count of
/// requests, mixed with others so that it tells nobody how many there were (the finaliser of SplitMix64: Steele, Lea and Flood
/// 2014, "Fast Splittable Pseudorandom Number Generators").
pub(crate) fn request_id(given: Option<&HeaderValue>) -> HeaderValue {
    static PROCESS: OnceLock<(Vec<u8>, u64)> = OnceLock::new();
    static COUNT: AtomicU64 = AtomicU64::new(0);
    if let Some(given) = given
        && (1..=128).contains(&given.len())
        && given.as_bytes().iter().all(u8::is_ascii_graphic)
    {
        return given.clone();
    }
    let (process, begin) = PROCESS.get_or_init(|| {
        let mut random = [[0u8; 8]; 2];
        if let Err(error) = getrandom::fill(random.as_flattened_mut()) {
            tracing::warn!(%error, "no random numbers for the ids of requests");
        }
        let [process, begin] = random.map(u64::from_le_bytes);
        (format!("{process:016x}{:016x}", 0).into_bytes(), begin)
    });
    let mut count = begin.wrapping_add(COUNT.fetch_add(1, Ordering::Relaxed).wrapping_mul(0x9e37_79b9_7f4a_7c15));
    count = (count ^ (count >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    count = (count ^ (count >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    count ^= count >> 31;
    let mut digits = [0_u8; 32];
    digits.copy_from_slice(process);
    let mut at = digits.len();
    while at > 16 {
        at -= 1;
        digits[at] = b"0123456789abcdef"[(count & 15) as usize];
        count >>= 4;
    }
    // Digits are always a value.
    HeaderValue::from_bytes(&digits).unwrap_or_else(|_| HeaderValue::from_static("none"))
}

/// Makes a problem of any failure that is none yet.
fn unify(response: ServiceResponse, id: &str) -> ServiceResponse {
    let status = response.status();
    if status.as_u16() < 400 {
        return response;
    }
    if let Some(error) = response.response().error() {
        let made = of_error(error).response(id);
        return response.into_response(made);
    }
    let media = response.headers().get(header::CONTENT_TYPE).and_then(|value| value.to_str().ok());
    // A failed readiness check is a report, not a problem of the request; a page says itself what is wrong.
    if media.is_some_and(|media| media.starts_with("application/") || media.starts_with("text/html")) {
        return response;
    }
    let problem = Problem::of_status(status, status.canonical_reason().unwrap_or("The request failed.").to_owned());
    response.into_response(problem.response(id))
}

fn of_error(error: &Error) -> Problem {
    if let Some(problem) = error.as_error::<Problem>() {
        return problem.clone();
    }
    let status = error.as_response_error().status_code();
    if status.as_u16() >= 500 {
        return Problem::internal(error);
    }
    Problem::of_status(status, error.to_string())
}

fn said(panic: &(dyn std::any::Any + Send)) -> String {
    panic
        .downcast_ref::<&str>()
        .map(|text| (*text).to_owned())
        .or_else(|| panic.downcast_ref::<String>().cloned())
        .unwrap_or_else(|| "without a word".to_owned())
}

/// What a page of an origin is told: the origin that may read, and whether that depends on who asks.
fn allowed(origins: &Origins, origin: Option<&HeaderValue>) -> (Option<HeaderValue>, bool) {
    match origins {
        Origins::Any => (Some(HeaderValue::from_static("*")), false),
        Origins::Only(known) => (origin.filter(|origin| known.iter().any(|known| *origin == known)).cloned(), true),
    }
}

/// What every read has besides its own headers, apart from its id, where any page may read.
pub(crate) fn of_every_read(headers: &HeaderMap) -> Vec<(HeaderName, HeaderValue)> {
    let mut added = finish(&Method::GET, "", headers, &allowed(&Origins::Any, None));
    added.retain(|(name, _)| *name != REQUEST_ID);
    added
}

/// Headers of every response.
fn finish(
    method: &Method,
    id: &str,
    headers: &HeaderMap,
    (origin, depends): &(Option<HeaderValue>, bool),
) -> Vec<(HeaderName, HeaderValue)> {
    let mut added = vec![
        (header::X_CONTENT_TYPE_OPTIONS, HeaderValue::from_static("nosniff")),
        (header::REFERRER_POLICY, HeaderValue::from_static("no-referrer")),
    ];
    if let Ok(id) = HeaderValue::from_str(id) {
        added.push((REQUEST_ID, id));
    }
    // Reads may come from other pages; whoever changes something sends a token, which no
    // browser adds by itself, and nothing here lets browsers send cookies along.
    let reads = matches!(*method, Method::GET | Method::HEAD | Method::OPTIONS);
    if let (true, Some(origin)) = (reads, origin) {
        added.push((header::ACCESS_CONTROL_ALLOW_ORIGIN, origin.clone()));
        added.push((header::ACCESS_CONTROL_EXPOSE_HEADERS, HeaderValue::from_static(EXPOSED)));
    }
    if *depends {
        let known = headers.get_all(header::VARY).filter_map(|value| value.to_str().ok());
        let vary: Vec<&str> = known.chain(["Origin"]).collect();
        added.extend(HeaderValue::from_str(&vary.join(", ")).ok().map(|value| (header::VARY, value)));
    }
    // A strong validator names bytes, and compressed bytes are others.
    let text = |name: HeaderName| headers.get(name).and_then(|value| value.to_str().ok());
    if let (Some(tag), Some(coding)) = (text(header::ETAG), text(header::CONTENT_ENCODING))
        && coding != "identity"
        && let Some(open) = tag.strip_suffix('"')
        && let Ok(value) = HeaderValue::from_str(&format!("{open}-{coding}\""))
    {
        added.push((header::ETAG, value));
    }
    added
}

#[cfg(test)]
mod tests {
    use super::*;
    use actix_web::HttpResponse;
    use actix_web::body::to_bytes;
    use actix_web::middleware::{Compress, from_fn};
    use actix_web::test::{TestRequest, call_service, init_service, read_body, read_body_json, try_call_service};
    use actix_web::{App, web};
    use serde_json::Value;

    async fn panics() -> HttpResponse {
        panic!("the secret of the house")
    }

    async fn large() -> HttpResponse {
        HttpResponse::Ok().insert_header(("etag", "\"abc\"")).body("a".repeat(4096))
    }

    async fn plain_failure() -> HttpResponse {
        HttpResponse::Conflict().body("a library said so")
    }

    macro_rules! service {
        () => {
            init_service(
                App::new()
                    .route("/panics", web::get().to(panics))
                    .route("/large", web::get().to(large))
                    .route("/plain", web::get().to(plain_failure))
                    .route("/number/{n}", web::get().to(|n: web::Path<u8>| async move { n.to_string() }))
                    .wrap(Compress::default())
                    .wrap(from_fn(apply)),
            )
            .await
        };
    }

    #[actix_web::test]
    async fn a_panic_is_answered_and_not_told() {
        let service = service!();
        let request = TestRequest::get().uri("/panics").insert_header(("x-request-id", "seen-7")).to_request();
        let error = try_call_service(&service, request).await.err().unwrap();
        // This is what the connection sends.
        let response = error.error_response();
        assert_eq!(response.status(), 500);
        assert_eq!(response.headers().get("x-request-id").unwrap(), "seen-7");
        let body: Value = serde_json::from_slice(&to_bytes(response.into_body()).await.unwrap()).unwrap();
        assert_eq!(body["type"], "/problems/internal");
        assert_eq!(body["request_id"], "seen-7");
        assert!(!body.to_string().contains("secret"));
    }

    #[actix_web::test]
    async fn a_failure_of_a_library_becomes_a_problem() {
        let service = service!();
        for (path, status) in [("/plain", 409), ("/number/300", 404)] {
            let response = call_service(&service, TestRequest::get().uri(path).to_request()).await;
            assert_eq!(response.status(), status);
            assert_eq!(response.headers().get("content-type").unwrap(), "application/problem+json");
            let body: Value = read_body_json(response).await;
            assert_eq!(body["status"], status);
        }
    }

    #[actix_web::test]
    async fn compressed_bytes_have_their_own_validator() {
        let service = service!();
        let request = TestRequest::get().uri("/large").insert_header(("accept-encoding", "gzip")).to_request();
        let response = call_service(&service, request).await;
        assert_eq!(response.headers().get("content-encoding").unwrap(), "gzip");
        assert_eq!(response.headers().get("etag").unwrap(), "\"abc-gzip\"");
        let response = call_service(&service, TestRequest::get().uri("/large").to_request()).await;
        assert_eq!(response.headers().get("etag").unwrap(), "\"abc\"");
        assert_eq!(read_body(response).await.len(), 4096);
    }

    #[actix_web::test]
    async fn an_id_that_is_none_is_replaced() {
        let service = service!();
        for given in ["", "with space", "ümlaut"] {
            let request = TestRequest::get().uri("/large").insert_header(("x-request-id", given)).to_request();
            let response = call_service(&service, request).await;
            let id = response.headers().get("x-request-id").unwrap().to_str().unwrap().to_owned();
            assert_eq!(id.len(), 32, "{given} → {id}");
        }
    }
}
