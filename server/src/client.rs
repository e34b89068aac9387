//! The API as a program of Rust calls it: one method an operation, typed as the server types its answers. It waits where the
//! server asks it to, and its errors say what the server said.
//!
//! ```no_run
//! use server::client::{Client, NewFile};
//! let club = Client::new("https://club.example", Some("strand_…"))?;
//! let sent = club.upload(&NewFile { name: "tests.csv", ..NewFile::default() }, b"Date,Nitrate\n".to_vec(), None)?;
//! let read = club.settled(sent.upload.id)?;
//! for finding in club.findings(read.id)? {
//!     println!("{}: {}", finding.message, finding.remedy);
//! }
//! # Ok::<(), server::client::ClientError>(())
//! ```

use std::time::{Duration, Instant};

use chrono::NaiveDate;
use importer::finding::{Answer, Finding};
use reqwest::StatusCode;
use reqwest::blocking::multipart::{Form, Part};
use reqwest::blocking::{RequestBuilder, Response};
use reqwest::header::RETRY_AFTER;
use serde::Deserialize;
use serde::de::DeserializeOwned;
use serde_json::{Value, json};

use crate::newsletter::Issue;
use crate::problem::Fault;
use crate::route::{GrowthAnswer, Links, Me, SurvivalAnswer, UploadCommitted, UploadReceived, UploadShown};

/// How long a server may take to read one file.
const READING: Duration = Duration::from_secs(600);
/// How long it may take to answer.
const ANSWERING: Duration = Duration::from_secs(120);
/// How often a request is sent again that the server put off, and how long at most between two.
const TRIES: u32 = 5;
const LONGEST_WAIT: Duration = Duration::from_secs(60);

/// What can go wrong.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum ClientError {
    /// No answer came.
    #[error("no answer ({reason}), {server}: check that a strandline serves there")]
    NoAnswer {
        /// Its address.
        server: String,
        /// The end of the chain of causes: what a person can act on.
        reason: String,
    },
    /// The server refused.
    #[error("{} ({}), {server}", .refusal.detail, .refusal.status)]
    Refused {
        /// Its address.
        server: String,
        /// What it said.
        refusal: Box<Refusal>,
    },
    /// An answer that is not what this version expects.
    #[error("the answer cannot be read ({reason}), {server}: use the same version on both sides")]
    Unreadable {
        /// Its address.
        server: String,
        /// What is wrong with it.
        reason: String,
    },
    /// A file is still being read after ten minutes.
    #[error("the file is still being read, {server}: look at upload {upload} later")]
    StillReading {
        /// Its address.
        server: String,
        /// Number of the upload.
        upload: i64,
    },
}

/// A problem as the server sent it (RFC 9457).
#[derive(Debug, Clone, PartialEq, Deserialize)]
pub struct Refusal {
    /// Address of the page about this kind, such as `/problems/invalid-query`.
    #[serde(rename = "type")]
    pub kind: String,
    /// The status.
    pub status: u16,
    /// What was received and what to do.
    pub detail: String,
    /// Every fault that was found.
    #[serde(default)]
    pub errors: Vec<Fault>,
    /// The request's id in the server's log.
    pub request_id: Option<String>,
}

/// A file to be handed in, and what stands beside it.
#[derive(Debug, Clone, Default)]
pub struct NewFile<'a> {
    /// Its name.
    pub name: &'a str,
    /// Handle of the member whose it is; a curator names one, a member is meant.
    pub keeper: Option<&'a str>,
    /// The tank it is about.
    pub tank: Option<&'a str>,
    /// The log that it is a version of.
    pub log: Option<&'a str>,
    /// The day on which its list was true.
    pub as_of: Option<NaiveDate>,
    /// A saved layout for its columns.
    pub layout: Option<&'a Value>,
}

/// A server, and who asks.
#[derive(Debug, Clone)]
pub struct Client {
    http: reqwest::blocking::Client,
    server: String,
    token: Option<String>,
}

impl Client {
    /// A client of a server by its address, without a slash at its end; without a token as the public.
    ///
    /// # Errors
    /// [`ClientError::NoAnswer`] where this machine has no certificates to know servers by.
    pub fn new(server: &str, token: Option<&str>) -> Result<Self, ClientError> {
        let server = server.trim_end_matches('/').to_owned();
        let http = reqwest::blocking::Client::builder().timeout(ANSWERING).build();
        let http = http.map_err(|error| ClientError::NoAnswer { server: server.clone(), reason: error.to_string() })?;
        Ok(Client { http, server, token: token.map(str::to_owned) })
    }

    /// The address of the server.
    pub fn server(&self) -> &str {
        &self.server
    }

    /// Says who is asking.
    ///
    /// # Errors
    /// [`ClientError`], as of every call.
    pub fn me(&self) -> Result<Me, ClientError> {
        self.get("/me", &[])
    }

    /// Hands a file in. With a key of the caller's own it can be sent again without being taken twice.
    ///
    /// # Errors
    /// [`ClientError`].
    pub fn upload(&self, file: &NewFile, bytes: Vec<u8>, key: Option<&str>) -> Result<UploadReceived, ClientError> {
        let day = file.as_of.map(|day| day.to_string());
        let beside = [
            ("name", Some(file.name)),
            ("keeper", file.keeper),
            ("tank", file.tank),
            ("log", file.log),
            ("as_of", day.as_deref()),
        ];
        let query: Vec<(&str, &str)> = beside.into_iter().filter_map(|(name, value)| Some((name, value?))).collect();
        let request = || {
            let request = self.http.post(self.url("/uploads")).query(&query);
            let request = match file.layout {
                None => request.header("content-type", "application/octet-stream").body(bytes.clone()),
                Some(layout) => {
                    let part = Part::bytes(bytes.clone()).file_name("file");
                    request.multipart(Form::new().text("layout", layout.to_string()).part("file", part))
                }
            };
            match key {
                // A structured field's string (RFC 8941).
                Some(key) => request.header("idempotency-key", format!("\"{key}\"")),
                None => request,
            }
        };
        self.sent(request)
    }

    /// An upload as it stands.
    ///
    /// # Errors
    /// [`ClientError`].
    pub fn upload_of(&self, id: i64) -> Result<UploadShown, ClientError> {
        self.get(&format!("/uploads/{id}"), &[])
    }

    /// Waits until an upload is read, or committed.
    ///
    /// # Errors
    /// [`ClientError::StillReading`] after ten minutes.
    pub fn settled(&self, id: i64) -> Result<UploadShown, ClientError> {
        let end = Instant::now() + READING;
        loop {
            let upload = self.upload_of(id)?;
            if !matches!(upload.state.as_str(), "received" | "reading" | "committing") {
                return Ok(upload);
            }
            if Instant::now() > end {
                return Err(ClientError::StillReading { server: self.server.clone(), upload: id });
            }
            std::thread::sleep(Duration::from_millis(150));
        }
    }

    /// All findings of an upload, page after page.
    ///
    /// # Errors
    /// [`ClientError`].
    pub fn findings(&self, id: i64) -> Result<Vec<Finding>, ClientError> {
        #[derive(Deserialize)]
        struct Page {
            findings: Vec<Finding>,
            links: Links,
        }
        let mut all = Vec::new();
        let mut page: Page = self.get(&format!("/uploads/{id}/findings"), &[("limit", "1000")])?;
        loop {
            all.append(&mut page.findings);
            let Some(next) = page.links.next else { return Ok(all) };
            page = self.sent(|| self.http.get(format!("{}{next}", self.server)))?;
        }
    }

    /// Answers questions of an upload.
    ///
    /// # Errors
    /// [`ClientError::Refused`] with a status of 409 where one has another answer already.
    pub fn answer(&self, id: i64, answers: &[Answer]) -> Result<UploadShown, ClientError> {
        self.post(&format!("/uploads/{id}/answers"), &json!({ "answers": answers }))
    }

    /// Commits an upload.
    ///
    /// # Errors
    /// [`ClientError::Refused`] with a status of 409 where questions are open and that was not said.
    pub fn commit(&self, id: i64, leave_open: bool) -> Result<UploadCommitted, ClientError> {
        self.post(&format!("/uploads/{id}/commit"), &json!({ "leave_open": leave_open }))
    }

    /// Discards an upload, or takes back what it committed.
    ///
    /// # Errors
    /// [`ClientError`].
    pub fn take_back(&self, id: i64) -> Result<UploadShown, ClientError> {
        self.sent(|| self.http.delete(self.url(&format!("/uploads/{id}"))))
    }

    /// How a file was read, for others of the same columns.
    ///
    /// # Errors
    /// [`ClientError`].
    pub fn layout(&self, id: i64) -> Result<Value, ClientError> {
        self.get(&format!("/uploads/{id}/layout"), &[])
    }

    /// Survival of a taxon, by what the query asks.
    ///
    /// # Errors
    /// [`ClientError`].
    pub fn survival(&self, taxon: &str, query: &[(&str, &str)]) -> Result<SurvivalAnswer, ClientError> {
        self.get(&format!("/taxa/{taxon}/survival"), query)
    }

    /// Growth of a taxon.
    ///
    /// # Errors
    /// [`ClientError`].
    pub fn growth(&self, taxon: &str, query: &[(&str, &str)]) -> Result<GrowthAnswer, ClientError> {
        self.get(&format!("/taxa/{taxon}/growth"), query)
    }

    /// An issue of the newsletter.
    ///
    /// # Errors
    /// [`ClientError`].
    pub fn newsletter(&self, query: &[(&str, &str)]) -> Result<Issue, ClientError> {
        self.get("/newsletter", query)
    }

    /// Everything of one's own, as the archive that it comes in.
    ///
    /// # Errors
    /// [`ClientError`].
    pub fn export(&self) -> Result<Vec<u8>, ClientError> {
        let response = self.answered(|| self.http.get(self.url("/me/export")))?;
        response.bytes().map(|bytes| bytes.to_vec()).map_err(|error| self.unreadable(&error))
    }

    /// Any other reading, as a type of the caller's.
    ///
    /// # Errors
    /// [`ClientError`].
    pub fn get<T: DeserializeOwned>(&self, path: &str, query: &[(&str, &str)]) -> Result<T, ClientError> {
        self.sent(|| self.http.get(self.url(path)).query(query))
    }

    /// Any other work with a body, answered as a type of the caller's.
    ///
    /// # Errors
    /// [`ClientError`].
    pub fn post<T: DeserializeOwned>(&self, path: &str, body: &Value) -> Result<T, ClientError> {
        self.sent(|| self.http.post(self.url(path)).json(body))
    }

    fn url(&self, path: &str) -> String {
        format!("{}/api/v1{path}", self.server)
    }

    fn sent<T: DeserializeOwned>(&self, request: impl Fn() -> RequestBuilder) -> Result<T, ClientError> {
        self.answered(request)?.json().map_err(|error| self.unreadable(&error))
    }

    /// Sends; a server that is too busy is asked again when it says.
    fn answered(&self, request: impl Fn() -> RequestBuilder) -> Result<Response, ClientError> {
        let mut tries = 1;
        loop {
            let request = match &self.token {
                Some(token) => request().bearer_auth(token),
                None => request(),
            };
            let response = request.send().map_err(|error| self.no_answer(&error))?;
            let status = response.status();
            if status.is_success() {
                return Ok(response);
            }
            if status != StatusCode::TOO_MANY_REQUESTS || tries == TRIES {
                return Err(self.refused(response));
            }
            tries += 1;
            std::thread::sleep(retry_after(&response));
        }
    }

    fn refused(&self, response: Response) -> ClientError {
        let status = response.status();
        let refusal = response.json().unwrap_or_else(|_| Refusal {
            kind: "about:blank".to_owned(),
            status: status.as_u16(),
            detail: "no reason given".to_owned(),
            errors: Vec::new(),
            request_id: None,
        });
        ClientError::Refused { server: self.server.clone(), refusal: Box::new(refusal) }
    }

    fn no_answer(&self, error: &reqwest::Error) -> ClientError {
        ClientError::NoAnswer { server: self.server.clone(), reason: reason(error) }
    }

    fn unreadable(&self, error: &reqwest::Error) -> ClientError {
        ClientError::Unreadable { server: self.server.clone(), reason: reason(error) }
    }
}

/// The end of the chain of causes: what a person can act on.
fn reason(error: &reqwest::Error) -> String {
    let mut reason: &dyn std::error::Error = error;
    while let Some(next) = reason.source() {
        reason = next;
    }
    reason.to_string()
}

/// How long the server asks to wait.
fn retry_after(response: &Response) -> Duration {
    let seconds = response.headers().get(RETRY_AFTER).and_then(|value| value.to_str().ok()?.parse().ok());
    seconds.map_or(Duration::from_secs(1), Duration::from_secs).min(LONGEST_WAIT)
}
