//! How often one caller may ask: a fixed window per token or address, announced in the headers of
//! draft-ietf-httpapi-ratelimit-headers. The draft may still change, so it is known here alone.

use std::collections::HashMap;
use std::net::IpAddr;
use std::sync::{Mutex, PoisonError};
use std::time::{Duration, Instant};

use actix_web::body::MessageBody;
use actix_web::dev::{ServiceRequest, ServiceResponse};
use actix_web::http::header::{self, HeaderName, HeaderValue};
use actix_web::middleware::Next;
use actix_web::{Error, web};
use sha2::{Digest, Sha256};

use crate::access::client::Client;
use crate::app::State;
use crate::problem::{Kind, Problem};

/// Requests per window.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Policy {
    /// Requests.
    pub quota: u32,
    /// Length of the window.
    pub window: Duration,
    /// Callers on this machine are counted too, as those behind a proxy are that runs here. Off by default: whoever
    /// runs on this machine could as well ask the database.
    pub loopback: bool,
}

impl Default for Policy {
    fn default() -> Self {
        Policy { quota: 600, window: Duration::from_secs(60), loopback: false }
    }
}

/// Callers remembered at most; beyond, those whose window is over are forgotten, then all.
const REMEMBERED: usize = 10_000;

#[derive(Debug, Clone, PartialEq, Eq, Hash)]
enum Key {
    Token([u8; 32]),
    Address(IpAddr),
}

/// Who asked how often.
pub struct Limiter {
    policy: Policy,
    windows: Mutex<HashMap<Key, (Instant, u32)>>,
}

/// What is left to a caller.
struct Left {
    remaining: u32,
    seconds: u64,
    passed: bool,
}

impl Limiter {
    /// Counts a request that an answer is ready for: its headers, or `None` where the caller has to wait.
    #[allow(clippy::option_option)] // no limit, and no answer
    pub fn headers_for(&self, request: &ServiceRequest) -> Option<Option<[(HeaderName, HeaderValue); 2]>> {
        let Some(key) = key(request, self.policy) else { return Some(None) };
        let left = self.count(key, Instant::now());
        if !left.passed {
            return None;
        }
        let [policy, now] = self.said(&left).map(|text| HeaderValue::from_str(&text).ok());
        let name = HeaderName::from_static;
        Some(policy.zip(now).map(|(policy, now)| [(name("ratelimit-policy"), policy), (name("ratelimit"), now)]))
    }

    /// Whether requests of this peer are not counted, unless it speaks for somebody else.
    pub fn passes_over(&self, request: &ServiceRequest) -> bool {
        !self.policy.loopback && request.peer_addr().is_some_and(|peer| peer.ip().is_loopback())
    }

    /// The policy and what is left of it, as headers say it.
    fn said(&self, left: &Left) -> [String; 2] {
        [
            format!("\"default\";q={};w={}", self.policy.quota, self.policy.window.as_secs()),
            format!("\"default\";r={};t={}", left.remaining, left.seconds),
        ]
    }

    /// A limiter that has seen nobody.
    pub fn new(policy: Policy) -> Self {
        Limiter { policy, windows: Mutex::new(HashMap::new()) }
    }

    fn count(&self, key: Key, now: Instant) -> Left {
        let mut windows = self.windows.lock().unwrap_or_else(PoisonError::into_inner);
        if windows.len() >= REMEMBERED && !windows.contains_key(&key) {
            windows.retain(|_, (began, _)| now.duration_since(*began) < self.policy.window);
            if windows.len() >= REMEMBERED {
                windows.clear();
            }
        }
        let (began, used) = windows.entry(key).or_insert((now, 0));
        if now.duration_since(*began) >= self.policy.window {
            (*began, *used) = (now, 0);
        }
        let passed = *used < self.policy.quota;
        *used = used.saturating_add(1);
        let left = self.policy.window.saturating_sub(now.duration_since(*began));
        Left {
            remaining: self.policy.quota.saturating_sub(*used),
            seconds: left.as_secs() + u64::from(left.subsec_nanos() > 0),
            passed,
        }
    }
}

fn key(request: &ServiceRequest, policy: Policy) -> Option<Key> {
    let peer = request.peer_addr()?.ip();
    // Whom a proxy of this machine speaks for; a word that is no address counts as the proxy's own.
    let caller = Client::of(request.request()).address.unwrap_or(peer);
    if caller.is_loopback() && !policy.loopback {
        return None;
    }
    Some(match request.headers().get(header::AUTHORIZATION) {
        Some(value) => Key::Token(Sha256::digest(value.as_bytes()).into()),
        None => Key::Address(caller),
    })
}

/// Counts a request and lets it pass, or answers 429.
pub async fn apply(
    request: ServiceRequest,
    next: Next<impl MessageBody>,
) -> Result<ServiceResponse<impl MessageBody>, Error> {
    let state = request.app_data::<web::Data<State>>().cloned();
    let limiter = state.as_ref().and_then(|state| state.limiter.as_ref());
    let Some(limiter) = limiter else { return next.call(request).await };
    let Some(key) = key(&request, limiter.policy) else { return next.call(request).await };
    let left = limiter.count(key, Instant::now());
    let [policy, now] = limiter.said(&left);
    if !left.passed {
        let detail = format!(
            "More than {} requests in {} seconds; wait {} seconds.",
            limiter.policy.quota,
            limiter.policy.window.as_secs(),
            left.seconds
        );
        let problem = Problem::new(Kind::QuotaExceeded, detail)
            .header(header::RETRY_AFTER, &left.seconds.to_string())
            .header(HeaderName::from_static("ratelimit-policy"), &policy)
            .header(HeaderName::from_static("ratelimit"), &now);
        return Err(problem.into());
    }
    let mut response = next.call(request).await?;
    for (name, value) in [("ratelimit-policy", policy), ("ratelimit", now)] {
        if let Ok(value) = HeaderValue::from_str(&value) {
            response.headers_mut().insert(HeaderName::from_static(name), value);
        }
    }
    Ok(response)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_window_fills_and_begins_anew() {
        let limiter = Limiter::new(Policy { quota: 2, ..Policy::default() });
        let key = || Key::Address("192.0.2.7".parse().unwrap());
        let start = Instant::now();
        assert!(limiter.count(key(), start).passed);
        let second = limiter.count(key(), start + Duration::from_secs(10));
        assert!(second.passed);
        assert_eq!((second.remaining, second.seconds), (0, 50));
        assert!(!limiter.count(key(), start + Duration::from_secs(59)).passed);
        assert!(limiter.count(Key::Address("192.0.2.8".parse().unwrap()), start).passed);
        assert!(limiter.count(key(), start + Duration::from_secs(60)).passed);
    }

    #[test]
    fn memory_is_bounded() {
        let limiter = Limiter::new(Policy { quota: 1, ..Policy::default() });
        let now = Instant::now();
        for number in 0..(REMEMBERED as u32 + 50) {
            limiter.count(Key::Address(IpAddr::from(number.to_be_bytes())), now);
        }
        assert!(limiter.windows.lock().unwrap().len() <= REMEMBERED);
    }

    #[test]
    fn a_stranger_is_told_apart_by_token_and_this_machine_is_counted_on_demand() {
        use actix_web::test::TestRequest;
        let by = |policy: Policy, address: &str, token: Option<&str>| {
            let mut request = TestRequest::default().peer_addr(address.parse().unwrap());
            if let Some(token) = token {
                request = request.insert_header(("authorization", token));
            }
            key(&request.to_srv_request(), policy)
        };
        let of = |address: &str, token: Option<&str>| by(Policy::default(), address, token);
        let counted = Policy { loopback: true, ..Policy::default() };
        assert!(by(counted, "127.0.0.1:9", None).is_some());
        assert_ne!(by(counted, "127.0.0.1:9", None), by(counted, "127.0.0.1:9", Some("Bearer a")));
        let proxied = |address: &str| {
            let request = TestRequest::default().peer_addr("127.0.0.1:9".parse().unwrap());
            key(&request.insert_header(("x-forwarded-for", address)).to_srv_request(), Policy::default())
        };
        assert!(proxied("192.0.2.7").is_some() && proxied("192.0.2.7") != proxied("192.0.2.8"));
        assert_eq!(of("127.0.0.1:9", None), None);
        assert_eq!(of("[::1]:9", Some("Bearer a")), None);
        assert!(of("192.0.2.7:9", None).is_some());
        assert_eq!(of("192.0.2.7:9", None), of("192.0.2.7:10", None));
        assert_ne!(of("192.0.2.7:9", Some("Bearer a")), of("192.0.2.7:9", Some("Bearer b")));
        assert_eq!(of("192.0.2.7:9", Some("Bearer a")), of("192.0.2.8:9", Some("Bearer a")));
    }
}
