//! What an operator watches: requests by address, method and status, how long they took, and what waits. Nothing of what
//! was asked or answered, and of whom, stands in it.

use std::sync::atomic::AtomicU64;
use std::time::Duration;

use diesel::dsl::count_star;
use diesel::prelude::*;
use migrations::schema::{release, release_due, upload};
use prometheus_client::encoding::EncodeLabelSet;
use prometheus_client::encoding::text::encode;
use prometheus_client::metrics::counter::Counter;
use prometheus_client::metrics::family::Family;
use prometheus_client::metrics::gauge::Gauge;
use prometheus_client::metrics::histogram::{Histogram, exponential_buckets};
use prometheus_client::registry::{Registry, Unit};

use crate::pool::Pool;
use crate::problem::Problem;

/// The media type of what is written.
pub const MEDIA_TYPE: &str = "application/openmetrics-text; version=1.0.0; charset=utf-8";

#[derive(Debug, Clone, PartialEq, Eq, Hash, EncodeLabelSet)]
struct Answered {
    /// The address as it is written in the document, never one that was sent.
    path: String,
    method: &'static str,
    status: u16,
}

#[derive(Debug, Clone, PartialEq, Eq, Hash, EncodeLabelSet)]
struct Address {
    path: String,
}

#[derive(Debug, Clone, PartialEq, Eq, Hash, EncodeLabelSet)]
struct State {
    state: String,
}

/// What counts answers to GET at one address.
#[derive(Debug)]
pub struct OfAddress {
    seconds: Histogram,
    ok: Counter,
    not_modified: Counter,
}

impl OfAddress {
    /// Counts an answer: a 304 or a 200.
    pub fn answered(&self, is_not_modified: bool, took: Duration) {
        if is_not_modified { &self.not_modified } else { &self.ok }.inc();
        self.seconds.observe(took.as_secs_f64());
    }
}

/// Counts since the process began, and what waits now.
#[derive(Debug)]
pub struct Metrics {
    registry: Registry,
    requests: Family<Answered, Counter>,
    seconds: Family<Address, Histogram>,
    computed: Counter,
    uploads: Family<State, Gauge>,
    releases_due: Gauge,
    release_age: Gauge<f64, AtomicU64>,
    connections: Gauge,
    connections_idle: Gauge,
}

impl Default for Metrics {
    fn default() -> Self {
        // From a millisecond to half a minute.
        let seconds = || Histogram::new(exponential_buckets(0.001, 2.0, 15));
        let mut metrics = Metrics {
            registry: Registry::with_prefix("strandline"),
            requests: Family::default(),
            seconds: Family::new_with_constructor(seconds),
            computed: Counter::default(),
            uploads: Family::default(),
            releases_due: Gauge::default(),
            release_age: Gauge::default(),
            connections: Gauge::default(),
            connections_idle: Gauge::default(),
        };
        let registry = &mut metrics.registry;
        registry.register("requests", "Requests answered", metrics.requests.clone());
        registry.register_with_unit("request", "Time from request to headers", Unit::Seconds, metrics.seconds.clone());
        registry.register("answers_computed", "Answers worked out, not found kept", metrics.computed.clone());
        registry.register("uploads", "Uploads by state", metrics.uploads.clone());
        registry.register("releases_due", "Releases waiting to be made, or given up", metrics.releases_due.clone());
        registry.register_with_unit(
            "release_age",
            "Age of the current release",
            Unit::Seconds,
            metrics.release_age.clone(),
        );
        registry.register("connections", "Connections to the database", metrics.connections.clone());
        registry.register("connections_idle", "Those in no use", metrics.connections_idle.clone());
        metrics
    }
}

/// Methods that are counted by name; anything else somebody may send is one.
const METHODS: &[&str] = &["GET", "POST", "PATCH", "DELETE", "HEAD", "OPTIONS"];

impl Metrics {
    /// An answer is worked out.
    pub fn computed(&self) {
        self.computed.inc();
    }

    /// Counts a request. `path`: the address as documented; `None` = there is nothing there.
    pub fn answered(&self, path: Option<String>, method: &str, status: u16, took: Duration) {
        let path = path.unwrap_or_else(|| "none".to_owned());
        let method = METHODS.iter().copied().find(|known| *known == method).unwrap_or("other");
        self.seconds.get_or_create(&Address { path: path.clone() }).observe(took.as_secs_f64());
        self.requests.get_or_create(&Answered { path, method, status }).inc();
    }

    /// What counts answers to GET at one address, as [`Metrics::answered`] does, found once.
    pub fn of_address(&self, path: Option<String>) -> OfAddress {
        let path = path.unwrap_or_else(|| "none".to_owned());
        let of = |status| {
            let answered = Answered { path: path.clone(), method: "GET", status };
            Counter::clone(&self.requests.get_or_create(&answered))
        };
        let seconds = Histogram::clone(&self.seconds.get_or_create(&Address { path: path.clone() }));
        OfAddress { seconds, ok: of(200), not_modified: of(304) }
    }

    /// Everything as text.
    ///
    /// # Errors
    /// The database refused.
    pub fn text(&self, pool: &Pool, connection: &mut PgConnection) -> Result<String, Problem> {
        let of_state: Vec<(String, i64)> =
            upload::table.group_by(upload::state).select((upload::state, count_star())).load(connection)?;
        for state in crate::upload::STATES {
            let count = of_state.iter().find(|(of, _)| of == state).map_or(0, |(_, count)| *count);
            self.uploads.get_or_create(&State { state: (*state).to_owned() }).set(count);
        }
        let due: i64 = release_due::table.filter(release_due::state.ne("done")).count().get_result(connection)?;
        self.releases_due.set(due);
        let made: Option<chrono::DateTime<chrono::Utc>> =
            release::table.order(release::number.desc()).select(release::made_at).first(connection).optional()?;
        let age = made.map_or(f64::NAN, |made| (chrono::Utc::now() - made).as_seconds_f64());
        self.release_age.set(age);
        let of_pool = pool.state();
        self.connections.set(i64::from(of_pool.connections));
        self.connections_idle.set(i64::from(of_pool.idle_connections));
        let mut text = String::new();
        encode(&mut text, &self.registry).map_err(|error| Problem::internal(&error))?;
        Ok(text)
    }
}
