//! `strandline import --server URL`: the same import through a running server.

use std::path::PathBuf;
use std::time::{Duration, Instant};

use importer::finding::Finding;
use reqwest::StatusCode;
use reqwest::blocking::{Client, RequestBuilder, Response};
use serde_json::{Value, json};

use super::failure::Failure;
use super::import::{Done, ImportArgs, print_finding};

/// How long a server may take to read one file.
const PATIENCE: Duration = Duration::from_secs(600);

struct Remote<'a> {
    http: Client,
    server: &'a str,
    token: &'a str,
}

/// Sends the files and follows each to its end.
pub fn run(server: &str, token: Option<&str>, args: &ImportArgs, files: &[PathBuf]) -> Result<Vec<Done>, Failure> {
    let token = token
        .ok_or_else(|| Failure::usage("no token, STRANDLINE_TOKEN: set it to a token with the right to upload"))?;
    let http = Client::builder()
        .timeout(Duration::from_secs(120))
        .build()
        .map_err(|error| Failure::place(format!("no HTTP client ({error}), this machine: see its certificates")))?;
    let remote = Remote { http, server, token };
    let me = remote.json(remote.http.get(remote.url("/me")))?;
    files.iter().map(|file| remote.one(file, args, &me)).collect()
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

    fn send(&self, request: RequestBuilder) -> Result<Response, Failure> {
        request.bearer_auth(self.token).send().map_err(|error| {
            // The chain's end is the reason a person can act on.
            let mut reason: &dyn std::error::Error = &error;
            while let Some(next) = reason.source() {
                reason = next;
            }
            Failure::place(format!("no answer ({reason}), {}: check that a strandline serves there", self.server))
        })
    }

    fn json(&self, request: RequestBuilder) -> Result<Value, Failure> {
        let response = self.send(request)?;
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

    fn one(&self, path: &PathBuf, args: &ImportArgs, me: &Value) -> Result<Done, Failure> {
        let file = path.display().to_string();
        let outcome = |result, records, doubtful| Ok(Done { file: file.clone(), result, records, doubtful });
        let bytes = match std::fs::read(path) {
            Ok(bytes) => bytes,
            Err(error) => {
                eprintln!("strandline: {}", Failure::unreadable(path, &error));
                return outcome("unreadable", 0, 0);
            }
        };
        let name = path.file_name().map_or_else(|| file.clone(), |name| name.to_string_lossy().into_owned());
        let mut query: Vec<(&str, String)> = vec![("name", name)];
        // A keeper's token opens that keeper's records only and may not name one.
        if me["role"] == "curator" {
            query.push(("keeper", args.keeper.clone()));
        }
        if let Some(tank) = &args.tank {
            query.push(("tank", tank.clone()));
        }
        if let Some(log) = &args.log {
            query.push(("log", log.clone()));
        }
        if let Some(day) = args.as_of {
            query.push(("as_of", day.to_string()));
        }
        let request = self.http.post(self.url("/uploads")).query(&query);
        let request = match super::read::layout(args.layout.as_ref())? {
            None => request.header("content-type", "application/octet-stream").body(bytes),
            Some(layout) => {
                if let Err(error) = layout.fits(&query[0].1, &bytes) {
                    eprintln!("strandline: {}", super::read::other_shape(&error, path));
                    return outcome("unreadable", 0, 0);
                }
                let form = form(layout.document(), &bytes)?;
                request.header("content-type", format!("multipart/form-data; boundary={}", form.0)).body(form.1)
            }
        };
        let mut upload = self.json(request)?;
        let id = upload["id"].as_i64().ok_or_else(|| {
            Failure::place(format!("the server gave no upload, {}: see that it is a strandline", self.server))
        })?;
        upload = self.settled(id)?;
        if upload["state"] == "committed" {
            return outcome("unchanged", 0, 0);
        }
        let mut findings = self.findings(id)?;
        loop {
            let answers: Vec<_> = findings
                .iter()
                .filter(|finding| args.accept.contains(&finding.code))
                .filter_map(|finding| finding.proposed.clone())
                .collect();
            if answers.is_empty() {
                break;
            }
            self.json(
                self.http.post(self.url(&format!("/uploads/{id}/answers"))).json(&json!({ "answers": answers })),
            )?;
            upload = self.settled(id)?;
            findings = self.findings(id)?;
        }
        let doubtful =
            findings.iter().filter(|finding| finding.severity != importer::finding::Severity::Noted).count() as u64;
        for finding in &findings {
            print_finding(&file, finding);
        }
        if upload["state"] == "failed" || (doubtful > 0 && !args.yes) {
            self.json(self.http.delete(self.url(&format!("/uploads/{id}"))))?;
            return outcome(if upload["state"] == "failed" { "unreadable" } else { "not loaded" }, 0, doubtful);
        }
        self.json(self.http.post(self.url(&format!("/uploads/{id}/commit"))).json(&json!({ "leave_open": args.yes })))?;
        upload = self.settled(id)?;
        if upload["state"] != "committed" {
            return Err(Failure::place(format!(
                "the commit did not end ({}), {}: see upload {id} there",
                upload["state"], self.server
            )));
        }
        let records = self.json(self.http.get(self.url(&format!("/uploads/{id}/preview"))))?["counts"]
            .as_object()
            .map_or(0, |counts| counts.values().filter_map(Value::as_u64).sum());
        outcome(if doubtful > 0 { "held" } else { "committed" }, records, doubtful)
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

    fn findings(&self, id: i64) -> Result<Vec<Finding>, Failure> {
        let body = self.json(self.http.get(self.url(&format!("/uploads/{id}/findings?limit=1000"))))?;
        serde_json::from_value(body["findings"].clone()).map_err(|error| {
            Failure::place(format!(
                "the server's findings cannot be read ({error}), {}: use the same version on both sides",
                self.server
            ))
        })
    }
}
