//! The very application that the command serves, on a free port of this machine, with a database of its own and
//! three members: two keepers and a reader, beside the curator.
#![allow(dead_code, reason = "each test program uses its own part")]

use std::net::TcpListener;
use std::sync::Arc;
use std::sync::mpsc;
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

use actix_web::dev::ServerHandle;
use chrono::NaiveDate;
use reqwest::blocking::{Client, RequestBuilder, Response};
use serde_json::{Value, json};
use server::access::{NewToken, Role, issue};
use server::app::{self, Settings};

#[path = "../../../migrations/tests/support/postgres.rs"]
pub mod postgres;

use postgres::TestDatabase;

/// The day on which every test takes place.
pub fn today() -> NaiveDate {
    NaiveDate::from_ymd_opt(2025, 6, 30).unwrap()
}

/// A server with its database.
pub struct Api {
    pub base: String,
    pub client: Client,
    pub curator: String,
    pub osprey: String,
    pub heron: String,
    pub reader: String,
    handle: ServerHandle,
    thread: Option<JoinHandle<()>>,
    pub database: Arc<TestDatabase>,
}

/// Tokens of the four.
#[derive(Clone)]
pub struct Tokens {
    pub curator: String,
    pub osprey: String,
    pub heron: String,
    pub reader: String,
}

fn prepare(connection: &mut diesel::PgConnection) {
    importer::load::prepare(connection).unwrap();
    publish(connection, true);
}

/// Turns the club's answers to the public on or off.
pub fn publish(connection: &mut diesel::PgConnection, on: bool) {
    use diesel::RunQueryDsl;
    diesel::sql_query(
        "INSERT INTO club_setting (key, value, set_by) VALUES ('publish', to_jsonb($1), 'test') \
         ON CONFLICT (key) DO UPDATE SET value = excluded.value",
    )
    .bind::<diesel::sql_types::Bool, _>(on)
    .execute(connection)
    .unwrap();
}

impl Api {
    /// Starts a server on an empty club.
    pub fn start() -> Self {
        Self::start_with(|_| {})
    }

    /// Starts a server on an empty club with other settings.
    pub fn start_with(change: impl FnOnce(&mut Settings)) -> Self {
        let database = Arc::new(TestDatabase::new(prepare));
        let mut connection = database.connect();
        let mut make = |role, keeper: Option<&str>| {
            let new = NewToken {
                role,
                rights: Vec::new(),
                keeper: keeper.map(str::to_owned),
                create_keeper: true,
                label: None,
                expires_days: None,
                account_id: None,
            };
            issue(&mut connection, &new, "test").unwrap().secret
        };
        let tokens = Tokens {
            curator: make(Role::Curator, None),
            osprey: make(Role::Keeper, Some("osprey")),
            heron: make(Role::Keeper, Some("heron")),
            reader: make(Role::Reader, None),
        };
        Self::serve(database, tokens, change)
    }

    /// Starts a server on a database that is there already.
    pub fn serve(database: Arc<TestDatabase>, tokens: Tokens, change: impl FnOnce(&mut Settings)) -> Self {
        let pool = server::pool::open(database.url(), 4).unwrap();
        let mut settings = Settings::new(pool);
        settings.today = Arc::new(today);
        settings.workers = 2;
        settings.prepares = false;
        change(&mut settings);
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let base = format!("http://{}", listener.local_addr().unwrap());
        let (send, receive) = mpsc::channel();
        let thread = std::thread::spawn(move || {
            actix_web::rt::System::new().block_on(async move {
                let server = app::run(settings, listener).unwrap();
                send.send(server.handle()).unwrap();
                server.await.unwrap();
            });
        });
        let client = Client::builder().timeout(Duration::from_secs(120)).no_proxy().build().unwrap();
        Api {
            base,
            client,
            curator: tokens.curator,
            osprey: tokens.osprey,
            heron: tokens.heron,
            reader: tokens.reader,
            handle: receive.recv().unwrap(),
            thread: Some(thread),
            database,
        }
    }

    /// The tokens, for another server on the same database.
    pub fn tokens(&self) -> Tokens {
        Tokens {
            curator: self.curator.clone(),
            osprey: self.osprey.clone(),
            heron: self.heron.clone(),
            reader: self.reader.clone(),
        }
    }

    /// The same server as two other keepers see it: `osprey` is the first of them, `heron` the second.
    pub fn seen_by(&self, osprey: &str, heron: &str) -> Api {
        Api {
            base: self.base.clone(),
            client: self.client.clone(),
            curator: self.curator.clone(),
            osprey: osprey.to_owned(),
            heron: heron.to_owned(),
            reader: self.reader.clone(),
            handle: self.handle.clone(),
            thread: None,
            database: self.database.clone(),
        }
    }

    pub fn end(&mut self) {
        // The future only sends the command; awaiting it waits for the server to end.
        let stopped = self.handle.stop(true);
        actix_web::rt::System::new().block_on(stopped);
        if let Some(thread) = self.thread.take()
            && thread.join().is_err()
            && !std::thread::panicking()
        {
            panic!("the server panicked");
        }
    }

    /// A connection to the database.
    pub fn connect(&self) -> diesel::PgConnection {
        self.database.connect()
    }

    pub fn url(&self, path: &str) -> String {
        format!("{}{path}", self.base)
    }

    pub fn get(&self, path: &str) -> RequestBuilder {
        self.client.get(self.url(path))
    }

    /// `Last-Modified` of an answer, once the second in which it changed is over.
    pub fn last_modified(&self, path: &str) -> String {
        let until = Instant::now() + Duration::from_secs(5);
        loop {
            let response = self.get(path).bearer_auth(&self.curator).send().unwrap();
            assert_eq!(response.status(), 200, "{path}");
            if let Some(date) = response.headers().get("last-modified") {
                return date.to_str().unwrap().to_owned();
            }
            assert!(Instant::now() < until, "{path} never has a date");
            std::thread::sleep(Duration::from_millis(100));
        }
    }

    pub fn post(&self, path: &str) -> RequestBuilder {
        self.client.post(self.url(path))
    }

    pub fn patch(&self, path: &str) -> RequestBuilder {
        self.client.patch(self.url(path))
    }

    pub fn delete(&self, path: &str) -> RequestBuilder {
        self.client.delete(self.url(path))
    }

    /// Uploads a file and waits until it is read; gives the upload.
    pub fn upload(&self, token: &str, query: &str, bytes: impl Into<Vec<u8>>) -> Value {
        let response = self
            .post(&format!("/api/v1/uploads?{query}"))
            .bearer_auth(token)
            .header("content-type", "application/octet-stream")
            .body(bytes.into())
            .send()
            .unwrap();
        let status = response.status().as_u16();
        let location = response.headers().get("location").map(|value| value.to_str().unwrap().to_owned());
        let body: Value = response.json().unwrap();
        assert!(status == 202 || status == 200, "{status}: {body:#}");
        self.settle(token, &location.unwrap())
    }

    /// Waits until an upload no longer changes by itself.
    pub fn settle(&self, token: &str, path: &str) -> Value {
        let began = Instant::now();
        loop {
            let body = json_of(self.get(path).bearer_auth(token).send().unwrap(), 200);
            if !["received", "reading", "committing"].contains(&body["state"].as_str().unwrap()) {
                return body;
            }
            assert!(began.elapsed() < Duration::from_secs(60), "an upload is not read: {body:#}");
            std::thread::sleep(Duration::from_millis(20));
        }
    }

    /// Uploads a file that raises no question, and commits it.
    pub fn commit(&self, token: &str, query: &str, bytes: impl Into<Vec<u8>>) -> Value {
        let upload = self.upload(token, query, bytes);
        assert_eq!(upload["state"], "ready", "{:#}", self.findings(token, &upload));
        let path = upload["links"]["commit"].as_str().unwrap();
        json_of(self.post(path).bearer_auth(token).json(&json!({})).send().unwrap(), 200)
    }

    /// Answers the one question that every first list of corals raises, and commits.
    pub fn commit_register(&self, token: &str, query: &str, bytes: impl Into<Vec<u8>>, since: &str) -> Value {
        let upload = self.upload(token, query, bytes);
        let findings = self.findings(token, &upload);
        let asked: Vec<&Value> =
            findings.as_array().unwrap().iter().filter(|finding| finding["severity"] == "questioned").collect();
        let codes: Vec<&str> = asked.iter().map(|finding| finding["code"].as_str().unwrap()).collect();
        assert_eq!(codes, ["complete_since_missing"], "{findings:#}");
        let answers = json!({"answers": [{"key": asked[0]["key"], "choice": "day", "value": since}]});
        let path = upload["links"]["answers"].as_str().unwrap();
        let upload = json_of(self.post(path).bearer_auth(token).json(&answers).send().unwrap(), 200);
        assert_eq!(upload["state"], "ready", "{:#}", self.findings(token, &upload));
        let path = upload["links"]["commit"].as_str().unwrap();
        json_of(self.post(path).bearer_auth(token).json(&json!({})).send().unwrap(), 200)
    }

    /// All findings of an upload.
    pub fn findings(&self, token: &str, upload: &Value) -> Value {
        let path = format!("{}?limit=1000", upload["links"]["findings"].as_str().unwrap());
        json_of(self.get(&path).bearer_auth(token).send().unwrap(), 200)["findings"].clone()
    }
}

impl Drop for Api {
    fn drop(&mut self) {
        if self.thread.is_some() {
            self.end();
        }
    }
}

/// The JSON of a response of a status.
pub fn json_of(response: Response, status: u16) -> Value {
    let given = response.status().as_u16();
    let text = response.text().unwrap();
    assert_eq!(given, status, "{text}");
    serde_json::from_str(&text).unwrap_or_else(|error| panic!("{error}: {text}"))
}

/// The problem of a response: its shape is checked wherever one is met.
pub fn problem_of(response: Response, status: u16, kind: &str) -> Value {
    let media = response.headers().get("content-type").map(|value| value.to_str().unwrap().to_owned());
    let id = response.headers().get("x-request-id").map(|value| value.to_str().unwrap().to_owned());
    let control = response.headers().get("cache-control").map(|value| value.to_str().unwrap().to_owned());
    let body = json_of(response, status);
    assert_eq!(media.as_deref(), Some("application/problem+json"), "{body:#}");
    assert_eq!(control.as_deref(), Some("no-store"));
    assert_eq!(body["type"], format!("/problems/{kind}"), "{body:#}");
    assert_eq!(body["status"], status);
    assert!(!body["title"].as_str().unwrap().is_empty() && !body["detail"].as_str().unwrap().is_empty());
    assert_eq!(body["request_id"].as_str().map(str::to_owned), id);
    assert!(body["errors"].is_array());
    let text = body.to_string().to_lowercase();
    for word in ["select ", "insert into", "panicked at", ".rs:"] {
        assert!(!text.contains(word), "{text}");
    }
    body
}

/// Water tests that raise no question: a tank, a day first, units in the header.
pub fn water(tank: &str, nitrate: f64) -> String {
    format!(
        "Tank,Date,Nitrate (mg/L)\n{tank},2025-03-04,{nitrate}\n{tank},2025-03-18,{nitrate}\n{tank},2025-04-01,{nitrate}\n"
    )
}

/// A list of two corals, one of them lost.
pub fn register() -> String {
    "ID,Coral,Acquired,Tank,Date died,Cause\n\
     C01,Goniopora sp.,2024-05-01,Lagoon,2025-02-01,heater stuck on\n\
     C02,Goniopora sp.,2024-05-01,Lagoon,,\n"
        .to_owned()
}
