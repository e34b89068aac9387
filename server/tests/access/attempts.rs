//! What the table of roles cannot say: credentials that are over or not one's own, forged requests, guesses, links that
//! lead nowhere. Each is refused, and the mutation test takes out what refuses it.

use std::sync::atomic::{AtomicU32, Ordering};

use diesel::RunQueryDsl;
use reqwest::blocking::{RequestBuilder, Response};
use serde_json::{Value, json};

use super::world::{Credential, PASSWORD, Strike, World, accept, invite, secret_of};
use crate::api_support::{json_of, water};

/// An attempt: sets out, strikes with the one request that is looked at, and says what was wrong with the answer.
pub type Attempt = fn(&World, Strike) -> Result<(), String>;

pub const ALL: &[(&str, Attempt)] = &[
    ("a token that nobody made", |world, strike| {
        let request = world.api.get("/api/v1/me").bearer_auth(format!("strand_{}", "0".repeat(64)));
        refused(strike(request), 401, "unauthorised")
    }),
    ("a token that was withdrawn", |world, strike| {
        let (id, token) = token(world);
        let withdrawn = world.api.delete(&format!("/api/v1/tokens/{id}")).bearer_auth(&world.api.curator);
        json_of(withdrawn.send().unwrap(), 200);
        refused(strike(world.api.get("/api/v1/me").bearer_auth(token)), 401, "unauthorised")
    }),
    ("a token that has expired", |world, strike| {
        let (id, token) = token(world);
        sql(world, &format!("UPDATE token SET expires_at = now() - interval '1 second' WHERE id = {id}"));
        refused(strike(world.api.get("/api/v1/me").bearer_auth(token)), 401, "unauthorised")
    }),
    ("a token of an account that was disabled", |world, strike| {
        let (id, session) = newcomer(world, "reader");
        let made = session.sign(world.api.post("/api/v1/me/tokens").json(&json!({})));
        let token = json_of(made.send().unwrap(), 201)["token"].as_str().unwrap().to_owned();
        sql(world, &format!("UPDATE account SET disabled_at = now() WHERE id = {id}"));
        refused(strike(world.api.get("/api/v1/me").bearer_auth(token)), 401, "unauthorised")
    }),
    ("a token for what is a person's alone", |world, strike| {
        let request = world.api.get("/api/v1/session").bearer_auth(&world.api.osprey);
        refused(strike(request), 403, "forbidden")
    }),
    ("a curator's token for reading alone, at the desk", |world, strike| {
        let token = narrow(world, &json!({"role": "curator", "scopes": ["read"]}));
        refused(strike(world.api.get("/api/v1/accounts").bearer_auth(token)), 403, "forbidden")
    }),
    ("a keeper's token for uploads alone, reading statistics", |world, strike| {
        let token = narrow(world, &json!({"role": "keeper", "keeper": "osprey", "scopes": ["upload"]}));
        refused(strike(world.api.get("/api/v1/club").bearer_auth(token)), 403, "forbidden")
    }),
    ("a token whose row has more scopes than its role", |world, strike| {
        let (id, token) = token(world);
        sql(world, &format!("UPDATE token SET scopes = '{{read,upload,admin}}' WHERE id = {id}"));
        refused(strike(world.api.get("/api/v1/tanks").bearer_auth(&token)), 403, "forbidden")?;
        refused(strike(world.api.get("/api/v1/accounts").bearer_auth(&token)), 403, "forbidden")
    }),
    ("a keeper with the scope of the desk", |world, strike| {
        // Both the scopes and the role say no; each has to hold where the other fails.
        let token = narrow(world, &json!({"role": "keeper", "keeper": "osprey"}));
        refused(strike(world.api.get("/api/v1/accounts").bearer_auth(&token)), 403, "forbidden")
    }),
    ("a keeper's token whose row has the scope of the desk", |world, strike| {
        let made = world.api.post("/api/v1/tokens").bearer_auth(&world.api.curator);
        let made = json_of(made.json(&json!({"role": "keeper", "keeper": "osprey"})).send().unwrap(), 201);
        sql(world, &format!("UPDATE token SET scopes = '{{read,upload,admin}}' WHERE id = {}", made["id"]));
        let token = made["token"].as_str().unwrap();
        refused(strike(world.api.get("/api/v1/accounts").bearer_auth(token)), 403, "forbidden")
    }),
    ("a keeper's token for reading alone, handing in a file", |world, strike| {
        let token = narrow(world, &json!({"role": "keeper", "keeper": "osprey", "scopes": ["read"]}));
        let number = NUMBER.fetch_add(1, Ordering::Relaxed);
        let request = world.api.post(&format!("/api/v1/uploads?name=unasked-{number}.csv")).bearer_auth(token);
        let file = water("Lagoon", 8.0 + f64::from(number) / 1000.0);
        refused(strike(request.header("content-type", "text/csv").body(file)), 403, "forbidden")
    }),
    ("a keeper's token for reading alone, entering a tank", |world, strike| {
        let token = narrow(world, &json!({"role": "keeper", "keeper": "osprey", "scopes": ["read"]}));
        let name = format!("Tank {}", NUMBER.fetch_add(1, Ordering::Relaxed));
        let request = world.api.post("/api/v1/tanks").bearer_auth(token).json(&json!({"name": name}));
        refused(strike(request), 403, "forbidden")
    }),
    ("a keeper's token for uploads alone, reading the issues of the newsletter", |world, strike| {
        let token = narrow(world, &json!({"role": "keeper", "keeper": "osprey", "scopes": ["upload"]}));
        refused(strike(world.api.get("/api/v1/newsletter/issues").bearer_auth(token)), 403, "forbidden")
    }),
    ("a keeper's token for uploads alone, reading one issue", |world, strike| {
        let token = narrow(world, &json!({"role": "keeper", "keeper": "osprey", "scopes": ["upload"]}));
        // There is none, which is not told either.
        refused(strike(world.api.get("/api/v1/newsletter/issues/1").bearer_auth(token)), 403, "forbidden")
    }),
    ("a keeper's token for uploads alone, reading what the club teaches", |world, strike| {
        let token = narrow(world, &json!({"role": "keeper", "keeper": "osprey", "scopes": ["upload"]}));
        let number = f64::from(NUMBER.fetch_add(1, Ordering::Relaxed));
        let lower = format!("{}", 1200.0 + number / 64.0);
        let band = json!({"taxon": "goniopora", "parameter": "magnesium", "lower": 1200.0 + number / 64.0,
            "upper": 1500.0, "unit": "mg/L", "since": "2024-01-01", "signed_by": "A. Curator"});
        let written = world.api.post("/api/v1/bands").bearer_auth(&world.api.curator).json(&band).send().unwrap();
        json_of(written, 201);
        let path = "/api/v1/parameters/magnesium";
        let own = world.api.get(path).bearer_auth(&world.api.curator).send().unwrap().text().unwrap();
        assert!(own.contains(&lower), "{own}");
        let text = strike(world.api.get(path).bearer_auth(token)).text().unwrap();
        // What the catalogue says, everybody is told.
        if text.contains("\"taught_by\":\"club\"") { Err(text) } else { Ok(()) }
    }),
    ("the layout of another's upload", |world, strike| {
        let number = NUMBER.fetch_add(1, Ordering::Relaxed);
        let query = format!("name=shaped-{number}.csv");
        let other = world.api.upload(&world.api.heron, &query, water("Lagoon", 9.0 + f64::from(number) / 1000.0));
        let path = format!("/api/v1/uploads?name=unasked-{number}.csv&layout={}", other["id"]);
        let request = world.api.post(&path).bearer_auth(&world.api.osprey).header("content-type", "text/csv");
        refused(strike(request.body(water("Lagoon", 6.0 + f64::from(number) / 1000.0))), 404, "unknown-upload")
    }),
    ("others' uploads in the list of one's own", |world, strike| {
        let text = strike(world.api.get("/api/v1/uploads?limit=1000").bearer_auth(&world.api.osprey)).text().unwrap();
        assert!(text.contains("osprey"), "{text}");
        if text.contains("heron") || text.contains("dunlin") { Err(text) } else { Ok(()) }
    }),
    ("others' files in the export of one's own records", |world, strike| {
        let number = NUMBER.fetch_add(1, Ordering::Relaxed);
        let query = format!("name=not-ospreys-{number}.csv");
        world.api.upload(&world.api.heron, &query, water("Lagoon", 5.0 + f64::from(number) / 1000.0));
        let archive = strike(world.api.get("/api/v1/me/export").bearer_auth(&world.api.osprey)).bytes().unwrap();
        let archive = zip::ZipArchive::new(std::io::Cursor::new(archive)).map_err(|error| error.to_string())?;
        let files: Vec<String> = archive.file_names().map(|name| name.unwrap().into_owned()).collect();
        assert!(files.iter().any(|name| name.contains("water.csv")), "{files:?}");
        if files.iter().any(|name| name.contains("not-ospreys")) { Err(format!("{files:?}")) } else { Ok(()) }
    }),
    ("statistics of a club that does not publish", |world, strike| {
        crate::api_support::publish(&mut world.api.connect(), false);
        let response = strike(world.api.get("/api/v1/club"));
        crate::api_support::publish(&mut world.api.connect(), true);
        refused(response, 403, "not-published")
    }),
    ("a cookie that nobody was given", |world, strike| {
        refused(strike(world.api.get("/api/v1/me").header("cookie", "strandline=0123")), 401, "unauthorised")
    }),
    ("a session that is over", |world, strike| {
        let (id, session) = newcomer(world, "reader");
        sql(world, &format!("UPDATE session SET expires_at = now() - interval '1 second' WHERE account_id = {id}"));
        refused(strike(session.sign(world.api.get("/api/v1/me"))), 401, "unauthorised")
    }),
    ("a session that rested", |world, strike| {
        let (id, session) = newcomer(world, "reader");
        sql(world, &format!("UPDATE session SET last_used_at = now() - interval '8 days' WHERE account_id = {id}"));
        refused(strike(session.sign(world.api.get("/api/v1/me"))), 401, "unauthorised")
    }),
    ("a session of an account that was disabled", |world, strike| {
        let (id, session) = newcomer(world, "reader");
        sql(world, &format!("UPDATE account SET disabled_at = now() WHERE id = {id}"));
        refused(strike(session.sign(world.api.get("/api/v1/me"))), 401, "unauthorised")
    }),
    ("a session's request without its token", |world, strike| {
        let Credential::Session { cookie, .. } = &world.curator else { unreachable!() };
        let request = world.api.patch("/api/v1/settings").header("cookie", cookie).json(&json!({"release_days": 7}));
        refused(strike(request), 403, "cross-site")
    }),
    ("a session's request with the token of another session", |world, strike| {
        let (Credential::Session { cookie, .. }, Credential::Session { csrf, .. }) = (&world.curator, &world.reader)
        else {
            unreachable!()
        };
        let request = world.api.patch("/api/v1/settings").header("cookie", cookie).header("x-csrf-token", csrf);
        refused(strike(request.json(&json!({"release_days": 7}))), 403, "cross-site")
    }),
    ("a session's request from a page of another origin", |world, strike| {
        let request =
            world.curator.sign(world.api.patch("/api/v1/settings")).header("origin", "https://elsewhere.example");
        refused(strike(request.json(&json!({"release_days": 7}))), 403, "cross-site")
    }),
    ("a session's request from another site, says the browser", |world, strike| {
        let request = world.curator.sign(world.api.patch("/api/v1/settings")).header("sec-fetch-site", "cross-site");
        refused(strike(request.json(&json!({"release_days": 7}))), 403, "cross-site")
    }),
    ("a sign-in over an open line", |world, strike| {
        // A proxy on this machine that took plain HTTP from elsewhere.
        let body = json!({"name": "the reader", "password": PASSWORD});
        let request = world.api.post("/api/v1/session").header("x-forwarded-for", "192.0.2.7").json(&body);
        refused(strike(request), 403, "https-needed")
    }),
    ("a sign-in from another site", |world, strike| {
        let body = json!({"name": "the reader", "password": PASSWORD});
        let request = world.api.post("/api/v1/session").header("origin", "https://elsewhere.example").json(&body);
        refused(strike(request), 403, "cross-site")
    }),
    ("a sign-in with a wrong password", |world, strike| {
        let body = json!({"name": "the reader", "password": "a tern fishes at dawn"});
        refused(strike(world.api.post("/api/v1/session").json(&body)), 401, "wrong-password")
    }),
    ("a sign-in with an account that was disabled", |world, strike| {
        let (id, _) = newcomer(world, "reader");
        sql(world, &format!("UPDATE account SET disabled_at = now() WHERE id = {id}"));
        let body = json!({"name": name_of(world, id), "password": PASSWORD});
        refused(strike(world.api.post("/api/v1/session").json(&body)), 401, "wrong-password")
    }),
    ("one guess too many", |world, strike| {
        let (id, _) = newcomer(world, "reader");
        let name = name_of(world, id);
        for _ in 0..6 {
            let body = json!({"name": name, "password": "a guess that is wrong"});
            let guess = world.api.post("/api/v1/session").header("x-forwarded-for", "127.0.0.9").json(&body);
            assert!([401, 429].contains(&guess.send().unwrap().status().as_u16()));
        }
        sql(world, "UPDATE guess SET free_at = now() + interval '1 hour' WHERE kind = 'account' AND failures > 5");
        // The right password does not help now.
        let body = json!({"name": name, "password": PASSWORD});
        let response = strike(world.api.post("/api/v1/session").json(&body));
        sql(world, "DELETE FROM guess");
        refused(response, 429, "quota-exceeded")
    }),
    ("a change of password without the present one", |world, strike| {
        let (_, session) = newcomer(world, "reader");
        let body = json!({"present": "a tern fishes at dawn", "new": "kelp sways, limpets stay"});
        refused(strike(session.sign(world.api.post("/api/v1/me/password").json(&body))), 401, "wrong-password")
    }),
    ("an invitation that nobody made", |world, strike| {
        invite(&world.api, "reader", None);
        refused(strike(acceptance(world, "0123")), 404, "unknown-invitation")
    }),
    ("an invitation that was used", |world, strike| {
        let secret = invite(&world.api, "reader", None);
        accept(&world.api, &secret, &new_name());
        // It made an account, which has its name: what is refused is the invitation, not that.
        let body = json!({"secret": secret, "password": PASSWORD});
        refused(strike(world.api.post("/api/v1/invitations/accept").json(&body)), 404, "unknown-invitation")
    }),
    ("an invitation that was withdrawn", |world, strike| {
        let secret = invitation(world, "UPDATE invitation SET revoked_at = now()");
        refused(strike(acceptance(world, &secret)), 404, "unknown-invitation")
    }),
    ("an invitation that has expired", |world, strike| {
        let secret = invitation(world, "UPDATE invitation SET expires_at = now() - interval '1 second'");
        refused(strike(acceptance(world, &secret)), 404, "unknown-invitation")
    }),
    ("a new password for an account that was disabled", |world, strike| {
        let (id, _) = newcomer(world, "reader");
        let asked = world.api.post("/api/v1/invitations").bearer_auth(&world.api.curator).json(&json!({"account": id}));
        let secret = secret_of(&json_of(asked.send().unwrap(), 201));
        sql(world, &format!("UPDATE account SET disabled_at = now() WHERE id = {id}"));
        let body = json!({"secret": secret, "password": PASSWORD});
        refused(strike(world.api.post("/api/v1/invitations/accept").json(&body)), 404, "unknown-invitation")
    }),
    ("a token of one's own that is another's", |world, strike| {
        let made = world.session(0).sign(world.api.post("/api/v1/me/tokens").json(&json!({})));
        let id = json_of(made.send().unwrap(), 201)["id"].to_string();
        let request = world.session(1).sign(world.api.delete(&format!("/api/v1/me/tokens/{id}")));
        refused(strike(request), 404, "unknown-token")
    }),
    ("setting up what is set up", |world, strike| {
        code(world, "now() + interval '1 day'");
        refused(strike(setup(world, "CODE")), 409, "already-set-up")
    }),
    ("a link to a question that nobody made", |world, strike| {
        link(world);
        refused(strike(world.api.get("/questions/0123")), 404, "unknown-link")
    }),
    ("a link to a question that was withdrawn", |world, strike| {
        let (id, secret, _) = link(world);
        sql(world, &format!("UPDATE question_link SET revoked_at = now() WHERE id = {id}"));
        refused(strike(world.api.get(&format!("/questions/{secret}"))), 404, "unknown-link")
    }),
    ("a link to a question that has expired", |world, strike| {
        let (id, secret, _) = link(world);
        let expired = "created_at = now() - interval '2 days', expires_at = now() - interval '1 second'";
        sql(world, &format!("UPDATE question_link SET {expired} WHERE id = {id}"));
        refused(strike(world.api.get(&format!("/questions/{secret}"))), 404, "unknown-link")
    }),
    ("a link to a question of an upload that is no more", |world, strike| {
        let (_, secret, upload) = link(world);
        let discarded = world.api.delete(&format!("/api/v1/uploads/{upload}")).bearer_auth(&world.api.osprey);
        json_of(discarded.send().unwrap(), 200);
        refused(strike(world.api.get(&format!("/questions/{secret}"))), 404, "unknown-link")
    }),
    ("a link of another upload", |world, strike| {
        let (id, _, _) = link(world);
        let number = NUMBER.fetch_add(1, Ordering::Relaxed);
        let query = format!("name=other-{number}.csv");
        let other = world.api.upload(&world.api.osprey, &query, water("Lagoon", 7.0 + f64::from(number) / 1000.0));
        let path = format!("/api/v1/uploads/{}/links/{id}", other["id"]);
        refused(strike(world.api.delete(&path).bearer_auth(&world.api.curator)), 404, "unknown-link")
    }),
    ("the rows of another in a preview", |world, strike| {
        // A curator may see the upload, and not the names of its sources.
        let number = NUMBER.fetch_add(1, Ordering::Relaxed);
        let list =
            format!("ID,Coral,Acquired,Tank,Source\nP{number},Goniopora sp.,2024-05-01,Lagoon,The Whelk Exchange\n");
        let upload = world.api.upload(&world.api.osprey, &format!("name=bought-{number}.csv&as_of=2025-06-01"), list);
        let path = format!("/api/v1/uploads/{}/preview?kind=specimen", upload["id"]);
        let own = world.api.get(&path).bearer_auth(&world.api.osprey).send().unwrap().text().unwrap();
        assert!(own.contains("The Whelk Exchange"), "{own}");
        let text = strike(world.api.get(&path).bearer_auth(&world.api.curator)).text().unwrap();
        if text.contains("The Whelk Exchange") { Err(text) } else { Ok(()) }
    }),
];

/// Attempts on a club that nobody has an account of yet: each begins without any and ends so.
pub const BEFORE_SETUP: &[(&str, Attempt)] = &[
    ("setting up with a code that nobody made", |world, strike| {
        without_accounts(world, || {
            code(world, "now() + interval '1 day'");
            refused(strike(setup(world, "WRONG")), 422, "invalid-value")
        })
    }),
    ("setting up with a code that has expired", |world, strike| {
        without_accounts(world, || {
            code(world, "now() - interval '1 second'");
            refused(strike(setup(world, "CODE")), 422, "invalid-value")
        })
    }),
];

/// What was guessed before says nothing about what comes.
pub fn forget_guesses(world: &World) {
    sql(world, "DELETE FROM guess");
}

static NUMBER: AtomicU32 = AtomicU32::new(0);

fn new_name() -> String {
    format!("newcomer {}", NUMBER.fetch_add(1, Ordering::Relaxed))
}

fn refused(response: Response, status: u16, kind: &str) -> Result<(), String> {
    let given = response.status().as_u16();
    let text = response.text().unwrap();
    let body: Value = serde_json::from_str(&text).unwrap_or(Value::Null);
    if given == status && body["type"] == format!("/problems/{kind}") {
        Ok(())
    } else {
        Err(format!("{given}: {text}"))
    }
}

fn sql(world: &World, text: &str) {
    diesel::sql_query(text).execute(&mut world.api.connect()).unwrap();
}

fn token(world: &World) -> (i64, String) {
    let asked = world.api.post("/api/v1/tokens").bearer_auth(&world.api.curator);
    let made = json_of(asked.json(&json!({"role": "reader"})).send().unwrap(), 201);
    (made["id"].as_i64().unwrap(), made["token"].as_str().unwrap().to_owned())
}

fn narrow(world: &World, body: &Value) -> String {
    let made = world.api.post("/api/v1/tokens").bearer_auth(&world.api.curator).json(body).send().unwrap();
    json_of(made, 201)["token"].as_str().unwrap().to_owned()
}

/// Somebody with an account and a session.
fn newcomer(world: &World, role: &str) -> (i64, Credential) {
    let session = accept(&world.api, &invite(&world.api, role, None), &new_name());
    let who = json_of(session.sign(world.api.get("/api/v1/session")).send().unwrap(), 200);
    (who["account"].as_i64().unwrap(), session)
}

fn name_of(world: &World, id: i64) -> String {
    let all = world.api.get("/api/v1/accounts?limit=1000").bearer_auth(&world.api.curator).send().unwrap();
    let all = json_of(all, 200);
    let of = all["accounts"].as_array().unwrap().iter().find(|account| account["id"] == id).unwrap();
    of["name"].as_str().unwrap().to_owned()
}

fn acceptance(world: &World, secret: &str) -> RequestBuilder {
    let body = json!({"secret": secret, "name": new_name(), "password": PASSWORD});
    world.api.post("/api/v1/invitations/accept").json(&body)
}

/// An invitation that something was done to.
fn invitation(world: &World, done: &str) -> String {
    let made = world.api.post("/api/v1/invitations").bearer_auth(&world.api.curator).json(&json!({"role": "reader"}));
    let made = json_of(made.send().unwrap(), 201);
    sql(world, &format!("{done} WHERE id = {}", made["id"]));
    secret_of(&made)
}

/// The setup code `CODE`, until a moment.
fn code(world: &World, until: &str) {
    let row = format!("INSERT INTO setup_code (hash, expires_at) VALUES (sha256('CODE'), {until})");
    sql(
        world,
        &format!("{row} ON CONFLICT (only_row) DO UPDATE SET hash = excluded.hash, expires_at = excluded.expires_at"),
    );
}

fn setup(world: &World, code: &str) -> RequestBuilder {
    let body = json!({"code": code, "club": "Tidepool Reef Circle", "name": new_name(), "password": PASSWORD});
    world.api.post("/api/v1/setup").json(&body)
}

fn without_accounts(world: &World, attempt: impl FnOnce() -> Result<(), String>) -> Result<(), String> {
    sql(world, "DELETE FROM account");
    let outcome = attempt();
    sql(world, "DELETE FROM account");
    sql(world, "DELETE FROM guess");
    outcome
}

/// A link to a question of osprey's: its number, its secret, the upload.
fn link(world: &World) -> (i64, String, i64) {
    let number = NUMBER.fetch_add(1, Ordering::Relaxed);
    let text =
        format!("Tank,Date,PO4 (mg/L)\nLagoon,2025-03-04,0.{n}\nLagoon,2025-03-11,not detected\n", n = 2000 + number);
    let query = format!("name=linked-{number}.csv&log=linked-{number}");
    let upload = world.api.upload(&world.api.osprey, &query, text);
    let findings = world.api.findings(&world.api.osprey, &upload);
    let asked = findings.as_array().unwrap().iter().find(|finding| finding["code"] == "limit_missing");
    let key = &asked.unwrap_or_else(|| panic!("{findings:#}"))["key"];
    let path = format!("/api/v1/uploads/{}/links", upload["id"]);
    let made = world.api.post(&path).bearer_auth(&world.api.curator).json(&json!({"key": key})).send().unwrap();
    let made = json_of(made, 201);
    (made["id"].as_i64().unwrap(), secret_of(&made), upload["id"].as_i64().unwrap())
}
