//! A club from nothing, as its secretary begins it: the code on the console, the first curator, a member, and a log that
//! tells none of it.

use std::time::Duration;

use reqwest::blocking::{Client, RequestBuilder, Response};
use serde_json::{Value, json};

use tests::files::data_folder;
use tests::program::{self, Server};

const CURATORS: &str = "seven gulls over the pier";
const MEMBERS: &str = "a tern fishes at dusk";
const WRONG: &str = "a guess of somebody else";

struct Site<'a> {
    server: &'a Server,
    http: Client,
}

impl Site<'_> {
    fn post(&self, path: &str, body: &Value) -> RequestBuilder {
        self.http.post(format!("{}/api/v1{path}", self.server.address)).json(body)
    }
}

fn answer(response: Response, status: u16) -> (String, Value) {
    let cookie = response.headers().get("set-cookie").map(|cookie| cookie.to_str().unwrap().to_owned());
    let cookie = cookie.unwrap_or_default().split(';').next().unwrap_or_default().to_owned();
    let given = response.status().as_u16();
    let text = response.text().unwrap();
    assert_eq!(given, status, "{text}");
    (cookie, serde_json::from_str(&text).unwrap())
}

fn setup_code(server: &Server) -> Option<String> {
    let said = server.written_before().iter().find(|line| line.contains("setup code"))?;
    let after = said.split("setup code ").nth(1).unwrap();
    Some(after.split(',').next().unwrap().to_owned())
}

#[test]
fn a_club_begins_with_the_code_on_the_console_and_its_log_tells_no_secret() {
    let folder = data_folder();
    let mut command = program::command(folder.path());
    command.env("RUST_LOG", "debug");
    let listen = ["serve", "--listen", "127.0.0.1:0"];
    let server = Server::start_command(command, folder.path(), &listen, Duration::from_secs(60));
    let code = setup_code(&server).expect("nobody has an account: the console shows a code");
    let site = Site { server: &server, http: Client::builder().timeout(Duration::from_secs(60)).build().unwrap() };

    let body = json!({"code": "0000-0000", "club": "Reef Circle", "name": "sanderling", "password": CURATORS});
    answer(site.post("/setup", &body).send().unwrap(), 422);
    let body = json!({"code": code, "club": "Reef Circle", "name": "sanderling", "password": CURATORS});
    let (curator, who) = answer(site.post("/setup", &body).send().unwrap(), 201);
    answer(site.post("/setup", &body).send().unwrap(), 409);
    let csrf = who["csrf"].as_str().unwrap().to_owned();
    let desk = |path: &str, body: &Value| {
        let signed = site.post(path, body).header("cookie", &curator).header("x-csrf-token", &csrf);
        answer(signed.send().unwrap(), 201).1
    };
    let invitation = desk("/invitations", &json!({"role": "keeper", "keeper": "mara.lund@club.example"}));
    let url = invitation["url"].as_str().unwrap().to_owned();
    let secret = url.rsplit('/').next().unwrap().to_owned();
    // Somebody opens the link, for which there is no page yet.
    assert_eq!(site.http.get(format!("{}/join/{secret}", server.address)).send().unwrap().status(), 404);
    let body = json!({"secret": secret, "name": "mara.lund@club.example", "password": MEMBERS});
    let (first, _) = answer(site.post("/invitations/accept", &body).send().unwrap(), 201);
    let body = json!({"name": "mara.lund@club.example", "password": WRONG});
    answer(site.post("/session", &body).send().unwrap(), 401);
    let body = json!({"name": "mara.lund@club.example", "password": MEMBERS});
    let (second, who) = answer(site.post("/session", &body).send().unwrap(), 201);
    let member_csrf = who["csrf"].as_str().unwrap().to_owned();
    let signed = site.post("/me/tokens", &json!({})).header("cookie", &second).header("x-csrf-token", &member_csrf);
    let own = answer(signed.send().unwrap(), 201).1["token"].as_str().unwrap().to_owned();
    let token = desk("/tokens", &json!({"role": "reader"}))["token"].as_str().unwrap().to_owned();
    let broken =
        site.http.post(format!("{}/api/v1/session", server.address)).header("content-type", "application/json");
    assert_eq!(broken.body(format!("{{\"password\": {MEMBERS}")).send().unwrap().status(), 400);
    let me = site.http.get(format!("{}/api/v1/me", server.address)).bearer_auth(&own).send().unwrap();
    assert_eq!(answer(me, 200).1["keeper"], "mara.lund@club.example");

    let (exit, log) = server.interrupt_and_read();
    assert_eq!(exit, Some(0));
    let log = log.join("\n");
    assert!(log.lines().filter(|line| line.contains("answered")).count() >= 11, "requests are in the log: {log}");
    assert!(log.contains("/join/…"), "{log}");
    let value = |cookie: &str| cookie.split_once('=').unwrap().1.to_owned();
    for (what, text) in [
        ("the setup code", code),
        ("the curator's password", CURATORS.to_owned()),
        ("the member's password", MEMBERS.to_owned()),
        ("a guess", WRONG.to_owned()),
        ("the invitation", secret),
        ("the curator's session", value(&curator)),
        ("a member's session", value(&first)),
        ("a member's session", value(&second)),
        ("the curator's csrf", csrf),
        ("the member's csrf", member_csrf),
        ("a member's token", own.trim_start_matches("strand_").to_owned()),
        ("a token", token.trim_start_matches("strand_").to_owned()),
        ("a name that is an address", "mara.lund".to_owned()),
        ("the curator's name", "sanderling".to_owned()),
    ] {
        assert!(!log.contains(&text), "{what} is in the log");
    }

    // The club has an account: the next start shows no code.
    let server = Server::start(folder.path());
    assert_eq!(setup_code(&server), None);
    assert_eq!(server.interrupt(), Some(0));
}
