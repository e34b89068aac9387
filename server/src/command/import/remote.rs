//! `strandline import --server URL`: the same import through a running server.

use std::time::{Duration, Instant};

use importer::finding::Finding;
use importer::saved_layout::SavedLayout;
use reqwest::StatusCode;
use reqwest::blocking::{Client, RequestBuilder, Response};
use reqwest::header::RETRY_AFTER;
use serde_json::{Value, json};

use super::bulk::{self, Club, HandedIn, Read};
use super::table::Done;
use super::{ImportArgs, Item};
use crate::command::failure::Failure;
use crate::command::read;

/// How long a server may take to read one file.
const PATIENCE: Duration = Duration::from_secs(600);
/// How often a request is sent again that the server put off, and how long at most between two.
const TRIES: u32 = 5;
const LONGEST_WAIT: Duration = Duration::from_secs(60);

struct Remote<'a> {
    http: Client,
    server: &'a str,
    token: &'a str,
    args: &'a ImportArgs,
    layout: Option<SavedLayout>,
    /// A keeper's token opens that keeper's records only and may not name one.
    names_keepers: bool,
}

/// Sends the files and follows each to its end.
pub fn run(server: &str, token: Option<&str>, args: &ImportArgs, items: &[Item]) -> Result<Vec<Done>, Failure> {
    let token = token
        .ok_or_else(|| Failure::usage("no token, STRANDLINE_TOKEN: set it to a token with the right to upload"))?;
    let http = Client::builder()
        .timeout(Duration::from_secs(120))
        .build()
        .map_err(|error| Failure::place(format!("no HTTP client ({error}), this machine: see its certificates")))?;
    let mut remote =
        Remote { http, server, token, args, layout: read::layout(args.layout.as_ref())?, names_keepers: false };
    // A token or server that does not do for one file does not do for any.
    let me = remote.json(remote.http.get(remote.url("/me")))?;
    remote.names_keepers = me["role"] == "curator";
    Ok(bulk::run(&remote, items, args.yes, args.save_layout.as_deref()))
}

/// A form (RFC 7578) of a layout and a file, with a boundary that neither holds.
fn form(layout: &Value, file: &[u8]) -> Result<(String, Vec<u8>), Failure> {
    let layout = layout.to_string();
    let boundary = loop {
        let mut random = [0u8; 16];
        getrandom::fill(&mut random)
            .map_err(|error| Failure::place(format!("no random numbers ({error}), this machine: try again")))?;
        let boundary = format!("part-{}", crate::represent::hex(&random));
        let holds = |bytes: &[u8]| bytes.windows(boundary.len()).any(|window| window == boundary.as_bytes());
        if !holds(file) && !holds(layout.as_bytes()) {
            break boundary;
        }
    };
    let mut body = format!(
        "--{boundary}\r\nContent-Disposition: form-data; name=\"layout\"\r\n\r\n{layout}\r\n--{boundary}\r\n\
         Content-Disposition: form-data; name=\"file\"; filename=\"file\"\r\n\
         Content-Type: application/octet-stream\r\n\r\n"
    )
    .into_bytes();
    body.extend_from_slice(file);
    body.extend_from_slice(format!("\r\n--{boundary}--\r\n").as_bytes());
    Ok((boundary, body))
}

impl Remote<'_> {
    fn url(&self, path: &str) -> String {
        format!("{}/api/v1{path}", self.server)
    }

    /// Sends; a server that is too busy is asked again when it says.
    fn send(&self, request: RequestBuilder) -> Result<Response, Failure> {
        let mut request = request.bearer_auth(self.token);
        for _ in 1..TRIES {
            let Some(again) = request.try_clone() else { break };
            let response = self.sent(request)?;
            if response.status() != StatusCode::TOO_MANY_REQUESTS {
                return Ok(response);
            }
            std::thread::sleep(retry_after(&response));
            request = again;
        }
        self.sent(request)
    }

    fn sent(&self, request: RequestBuilder) -> Result<Response, Failure> {
        request.send().map_err(|error| {
            // The chain's end is the reason a person can act on.
            let mut reason: &dyn std::error::Error = &error;
            while let Some(next) = reason.source() {
                reason = next;
            }
            Failure::place(format!("no answer ({reason}), {}: check that a strandline serves there", self.server))
        })
    }

    fn json(&self, request: RequestBuilder) -> Result<Value, Failure> {
        self.body(self.send(request)?)
    }

    fn body(&self, response: Response) -> Result<Value, Failure> {
        let status = response.status();
        let body: Value = response.json().unwrap_or(Value::Null);
        if status.is_success() {
            return Ok(body);
        }
        let detail = body["detail"].as_str().unwrap_or("no reason given").to_owned();
        Err(match status {
            StatusCode::UNAUTHORIZED | StatusCode::FORBIDDEN => Failure::place(format!(
                "the token is not accepted ({detail}), {}: make one with `strandline token new`",
                self.server
            )),
            _ => Failure::place(format!("{detail} ({status}), {}: correct this and send again", self.server)),
        })
    }

    fn settled(&self, id: i64) -> Result<Value, Failure> {
        let end = Instant::now() + PATIENCE;
        loop {
            let upload = self.json(self.http.get(self.url(&format!("/uploads/{id}"))))?;
            if !matches!(upload["state"].as_str(), Some("received" | "reading" | "committing")) {
                return Ok(upload);
            }
            if Instant::now() > end {
                return Err(Failure::place(format!(
                    "the file is still being read, {}: look at upload {id} later",
                    self.server
                )));
            }
            std::thread::sleep(Duration::from_millis(150));
        }
    }

    fn findings_of(&self, id: i64) -> Result<Vec<Finding>, Failure> {
        let body = self.json(self.http.get(self.url(&format!("/uploads/{id}/findings?limit=1000"))))?;
        serde_json::from_value(body["findings"].clone()).map_err(|error| {
            Failure::place(format!(
                "the server's findings cannot be read ({error}), {}: use the same version on both sides",
                self.server
            ))
        })
    }
}

/// How long the server asks to wait.
fn retry_after(response: &Response) -> Duration {
    let seconds = response.headers().get(RETRY_AFTER).and_then(|value| value.to_str().ok()?.parse().ok());
    seconds.map_or(Duration::from_secs(1), Duration::from_secs).min(LONGEST_WAIT)
}

impl Remote<'_> {
    /// Waits until it is read, and takes the proposals of accepted findings.
    fn read(&self, id: i64) -> Result<Read, Failure> {
        let mut upload = self.settled(id)?;
        let mut findings = self.findings_of(id)?;
        loop {
            let answers: Vec<_> = findings
                .iter()
                .filter(|finding| self.args.accept.contains(&finding.code))
                .filter_map(|finding| finding.proposed.clone())
                .collect();
            if answers.is_empty() {
                return Ok(Read {
                    upload: id,
                    failed: upload["state"] == "failed",
                    lists_corals: upload["records"]["specimen"].as_i64().is_some_and(|count| count > 0),
                    findings,
                });
            }
            self.json(
                self.http.post(self.url(&format!("/uploads/{id}/answers"))).json(&json!({ "answers": answers })),
            )?;
            upload = self.settled(id)?;
            findings = self.findings_of(id)?;
        }
    }

    fn send_file(&self, item: &Item) -> Result<(i64, bool), Failure> {
        let bytes = read::bytes_of(&item.path)?;
        let mut query: Vec<(&str, String)> = vec![("name", item.name.clone())];
        if self.names_keepers {
            query.push(("keeper", item.keeper.clone()));
        }
        if let Some(tank) = &self.args.tank {
            query.push(("tank", tank.clone()));
        }
        if let Some(log) = &self.args.log {
            query.push(("log", log.clone()));
        }
        if let Some(day) = self.args.as_of {
            query.push(("as_of", day.to_string()));
        }
        let request = self.http.post(self.url("/uploads")).query(&query);
        let request = match &self.layout {
            None => request.header("content-type", "application/octet-stream").body(bytes),
            Some(layout) => {
                layout.fits(&item.name, &bytes).map_err(|error| read::other_shape(&error, &item.path))?;
                let (boundary, body) = form(layout.document(), &bytes)?;
                request.header("content-type", format!("multipart/form-data; boundary={boundary}")).body(body)
            }
        };
        let upload = self.json(request)?;
        let id = upload["id"].as_i64().ok_or_else(|| {
            Failure::place(format!("the server gave no upload, {}: see that it is a strandline", self.server))
        })?;
        // What an import that was cut off left behind is taken up; what is loaded is not loaded again.
        Ok((id, matches!(upload["state"].as_str(), Some("committing" | "committed"))))
    }
}

impl Club for Remote<'_> {
    fn hand_in(&self, item: &Item) -> Result<HandedIn, Failure> {
        let (id, loaded) = self.send_file(item).map_err(|why| why.about(&item.shown))?;
        if loaded {
            return Ok(HandedIn::Unchanged(id));
        }
        self.read(id).map(HandedIn::Read)
    }

    /// The contract has no way to read an upload anew; it is put aside and sent again.
    fn read_again(&self, item: &Item, upload: i64) -> Result<Read, Failure> {
        self.put_aside(item, upload)?;
        let (id, _) = self.send_file(item).map_err(|why| why.about(&item.shown))?;
        self.read(id)
    }

    fn commit(&self, item: &Item, upload: i64, leave_open: bool) -> Result<Option<u64>, Failure> {
        let request =
            self.http.post(self.url(&format!("/uploads/{upload}/commit"))).json(&json!({ "leave_open": leave_open }));
        let response = self.send(request)?;
        // Doubts turned up since it was read.
        if response.status() == StatusCode::CONFLICT && !leave_open {
            return Ok(None);
        }
        self.body(response).map_err(|why| why.about(&item.shown))?;
        let upload = self.settled(upload)?;
        if upload["state"] == "questions" && !leave_open {
            return Ok(None);
        }
        if upload["state"] != "committed" {
            return Err(Failure::place(format!(
                "the commit did not end ({}), {}: see upload {} there",
                upload["state"], self.server, upload["id"]
            )));
        }
        let counts = upload["records"].as_object();
        Ok(Some(counts.map_or(0, |counts| counts.values().filter_map(Value::as_u64).sum())))
    }

    fn findings(&self, _item: &Item, upload: i64) -> Result<Vec<Finding>, Failure> {
        self.findings_of(upload)
    }

    fn put_aside(&self, _item: &Item, upload: i64) -> Result<(), Failure> {
        self.json(self.http.delete(self.url(&format!("/uploads/{upload}")))).map(drop)
    }

    fn layout(&self, item: &Item, upload: i64) -> Result<Value, Failure> {
        self.json(self.http.get(self.url(&format!("/uploads/{upload}/layout")))).map_err(|why| why.about(&item.shown))
    }
}
