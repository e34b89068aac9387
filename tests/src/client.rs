//! One method an endpoint, so that a test reads as a story.

use std::time::Duration;

use importer::finding::Answer;
use reqwest::Method;
use reqwest::blocking::{Client as Http, Response};
use serde_json::{Value, json};
use server::client::{Client as Typed, NewFile};

/// A client of a running server.
#[derive(Clone)]
pub struct Client {
    http: Http,
    address: String,
    token: Option<String>,
    /// What is not asked with the path in full goes by the client that `strandline import --server` uses.
    typed: Typed,
}

/// As JSON, as it came.
fn json_of(of: &impl serde::Serialize) -> Value {
    serde_json::to_value(of).expect("what came as JSON is JSON")
}

impl Client {
    /// A client with or without a token.
    ///
    /// # Panics
    /// If the HTTP client cannot be made.
    pub fn new(address: &str, token: Option<&str>) -> Self {
        let http = Http::builder().timeout(Duration::from_secs(60)).build().expect("an HTTP client");
        let typed = Typed::new(address, token).expect("a client");
        Client { http, address: address.to_owned(), token: token.map(str::to_owned), typed }
    }

    /// Sends a request under `/api/v1` (or from the root, for a path that begins with `//`).
    ///
    /// # Panics
    /// If the server does not answer at all.
    pub fn send(&self, method: Method, path: &str, body: Option<Value>) -> Response {
        self.try_send(method, path, body).unwrap_or_else(|error| panic!("{path}: {error}"))
    }

    /// The same, for a server that may be gone before it answers.
    ///
    /// # Errors
    /// No answer came.
    pub fn try_send(&self, method: Method, path: &str, body: Option<Value>) -> reqwest::Result<Response> {
        let url = match path.strip_prefix("//") {
            Some(root) => format!("{}/{root}", self.address),
            None => format!("{}/api/v1{path}", self.address),
        };
        let mut request = self.http.request(method, url);
        if let Some(token) = &self.token {
            request = request.bearer_auth(token);
        }
        if let Some(body) = body {
            request = request.json(&body);
        }
        request.send()
    }

    /// GET; JSON of a 200.
    ///
    /// # Panics
    /// On any other status.
    pub fn get(&self, path: &str) -> Value {
        expect(self.send(Method::GET, path, None), 200, path)
    }

    /// GET; status and JSON, whatever they are.
    pub fn try_get(&self, path: &str) -> (u16, Value) {
        let response = self.send(Method::GET, path, None);
        let status = response.status().as_u16();
        (status, response.json().unwrap_or(Value::Null))
    }

    /// Uploads a file for a keeper; the upload once it has been read.
    ///
    /// # Panics
    /// If it is not accepted, or not read within a minute.
    pub fn upload(&self, keeper: Option<&str>, name: &str, bytes: Vec<u8>) -> Value {
        let file = NewFile { name, keeper, ..NewFile::default() };
        let sent = self.typed.upload(&file, bytes, None).unwrap_or_else(|error| panic!("{name}: {error}"));
        assert!(!sent.already, "{name} was there already");
        self.settled(sent.upload.id)
    }

    /// The upload once it waits for a person or has ended.
    ///
    /// # Panics
    /// If that takes more than a minute.
    pub fn settled(&self, id: i64) -> Value {
        json_of(&self.typed.settled(id).unwrap_or_else(|error| panic!("upload {id}: {error}")))
    }

    /// All findings of an upload.
    ///
    /// # Panics
    /// If they cannot be read.
    pub fn findings(&self, id: i64) -> Vec<Value> {
        let findings = self.typed.findings(id).unwrap_or_else(|error| panic!("upload {id}: {error}"));
        findings.iter().map(json_of).collect()
    }

    /// Answers questions: (key, choice, value).
    ///
    /// # Panics
    /// If an answer is not taken.
    pub fn answer(&self, id: i64, answers: &[(&str, &str, Value)]) -> Value {
        let answer = |(key, choice, value): &(&str, &str, Value)| Answer {
            key: (*key).to_owned(),
            choice: (*choice).to_owned(),
            value: Some(value.clone()).filter(|value| !value.is_null()),
        };
        let answers: Vec<Answer> = answers.iter().map(answer).collect();
        self.typed.answer(id, &answers).unwrap_or_else(|error| panic!("answers to {id}: {error}"));
        self.settled(id)
    }

    /// Commits.
    ///
    /// # Panics
    /// If it is refused.
    pub fn commit(&self, id: i64, leave_open: bool) -> Value {
        let body = json!({ "leave_open": leave_open });
        let response = self.send(Method::POST, &format!("/uploads/{id}/commit"), Some(body));
        let status = response.status().as_u16();
        let text: Value = response.json().unwrap_or(Value::Null);
        assert!((200..300).contains(&status), "commit of {id}: {status} {text}");
        let upload = self.settled(id);
        assert_eq!(upload["state"], "committed", "{upload}");
        upload
    }

    /// Takes an upload back.
    pub fn delete(&self, id: i64) -> Value {
        expect(self.send(Method::DELETE, &format!("/uploads/{id}"), None), 200, "delete")
    }
}

fn expect(response: Response, status: u16, what: &str) -> Value {
    let got = response.status().as_u16();
    let text = response.text().unwrap_or_default();
    assert_eq!(got, status, "{what}: {text}");
    serde_json::from_str(&text).unwrap_or_else(|error| panic!("{what}: {error} in {text}"))
}
