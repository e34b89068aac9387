//! The application, built from values: the command and the tests run the very same one.
//!
//! Nothing here reads a variable or a file. What a request may do is decided in [`crate::access`].

use std::net::TcpListener;
use std::sync::Arc;
use std::time::Duration;

use actix_web::dev::Server;
use actix_web::middleware::{Compress, from_fn};
use actix_web::{App, HttpServer, web};
use chrono::NaiveDate;
use utoipa_actix_web::AppExt;

use crate::answer::Answers;
use crate::front::{Front, Quick};
use crate::jobs::Jobs;
use crate::limit::{Limiter, Policy};
use crate::listen::{Changes, Listener};
use crate::metrics::Metrics;
use crate::pool::Pool;
use crate::release::Releases;
use crate::{document, route};

mod fallback; // addresses and methods that are not served
pub(crate) mod frame; // what every response has: request id, headers, problems for failures and panics

pub mod patience; // how long a body may take

/// The clock of uploads: later days in a file are in the future.
pub type Today = Arc<dyn Fn() -> NaiveDate + Send + Sync>;

/// What the application is built from.
#[derive(Clone)]
pub struct Settings {
    /// Connections.
    pub pool: Pool,
    /// The local calendar day.
    pub today: Today,
    /// Threads that answer requests.
    pub workers: usize,
    /// Threads that read files.
    pub readers: usize,
    /// Requests allowed per caller; `None` = no limit.
    pub policy: Option<Policy>,
    /// Largest file in bytes.
    pub largest_upload: usize,
    /// Whether the answers of a release are worked out before anybody asks.
    pub prepares: bool,
    /// Time for a request to arrive; a body has a second more for each KiB.
    pub patience: Duration,
    /// Sites whose pages may read.
    pub origins: Origins,
}

/// Sites whose pages may read answers, as browsers keep them apart (WHATWG Fetch, "CORS protocol").
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Origins {
    /// Any, without the cookies of this one.
    Any,
    /// Those listed, as `https://club.example`; an empty list is none.
    Only(Vec<String>),
}

/// Largest file that is taken, in bytes: 64 MiB.
pub const LARGEST_UPLOAD: usize = 64 * 1024 * 1024;
/// Largest body of other requests, in bytes: 1 MiB.
pub const LARGEST_BODY: usize = 1024 * 1024;

impl Settings {
    /// The usual settings around a pool: this machine's day, one worker per core, two readers.
    pub fn new(pool: Pool) -> Self {
        Settings {
            pool,
            today: Arc::new(|| chrono::Local::now().date_naive()),
            workers: std::thread::available_parallelism().map_or(2, usize::from),
            readers: 2,
            policy: Some(Policy::default()),
            largest_upload: LARGEST_UPLOAD,
            prepares: true,
            patience: Duration::from_secs(30),
            origins: Origins::Any,
        }
    }
}

/// What handlers share.
pub struct State {
    /// Connections.
    pub pool: Pool,
    /// The local calendar day.
    pub today: Today,
    /// The club and its answers, by edition.
    pub answers: Arc<Answers>,
    /// Files waiting to be read.
    pub jobs: Jobs,
    /// Releases waiting to be made.
    pub releases: Releases,
    /// Who asked how often.
    pub limiter: Option<Limiter>,
    /// Largest file in bytes.
    pub largest_upload: usize,
    /// What was answered, counted.
    pub metrics: Metrics,
    /// How far the world has moved on.
    pub changes: Arc<Changes>,
    /// Answers to everybody, as they were sent.
    pub front: Front,
    /// Hears what other servers change.
    pub listener: Listener,
    /// Time for a request to arrive.
    pub patience: Duration,
    /// Sites whose pages may read.
    pub origins: Origins,
}

/// Serves the application on a listener. The server stops gracefully on SIGINT and SIGTERM, or by its handle;
/// files being read are finished first, those waiting are read after the next start.
///
/// # Errors
/// The listener cannot be served.
pub fn run(settings: Settings, listener: TcpListener) -> std::io::Result<Server> {
    let jobs = Jobs::start(settings.pool.clone(), settings.today.clone(), settings.readers)?;
    let answers = Arc::new(Answers::default());
    let prepared = answers.clone();
    let prepares = settings.prepares;
    let changes = Arc::new(Changes::default());
    let releases = Releases::start(settings.pool.clone(), move |pool, stopped| {
        if prepares { route::prepare(pool, &prepared, stopped) } else { Ok(true) }
    })?;
    let (wake, look) = (jobs.waker(), releases.waker());
    let told = move |kind: &str| match kind {
        "upload" => wake(),
        "due" | "edition" | "setting" => look(),
        _ => {}
    };
    let hears = Listener::start(settings.pool.clone(), changes.clone(), Box::new(told))?;
    let state = web::Data::new(State {
        pool: settings.pool,
        today: settings.today,
        answers,
        jobs,
        releases,
        limiter: settings.policy.map(Limiter::new),
        largest_upload: settings.largest_upload,
        metrics: Metrics::default(),
        changes,
        front: Front::default(),
        listener: hears,
        patience: settings.patience,
        origins: settings.origins,
    });
    let server = HttpServer::new(move || {
        let quick = state.clone();
        let (app, _) = App::new()
            .into_utoipa_app()
            .app_data(state.clone())
            .app_data(web::PathConfig::default().error_handler(|_, request| fallback::not_a_segment(request).into()))
            .app_data(web::PayloadConfig::new(LARGEST_BODY))
            .configure(route::register)
            .map(|app| {
                app.service(document::page())
                    .service(web::redirect("/docs", "/docs/").permanent())
                    .default_service(web::to(fallback::answer))
                    .wrap(Compress::default())
                    .wrap(from_fn(crate::front::keep))
                    .wrap(from_fn(crate::limit::apply))
                    .wrap(from_fn(patience::apply))
                    .wrap(from_fn(frame::apply))
                    .wrap(Quick(quick.clone()))
            })
            .split_for_parts();
        app
    })
    .workers(settings.workers)
    .shutdown_timeout(10)
    .keep_alive(Duration::from_secs(30))
    .client_request_timeout(settings.patience)
    .listen(listener)?
    .run();
    Ok(server)
}
