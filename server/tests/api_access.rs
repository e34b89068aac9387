//! Every operation of the document, for every role, on own and on others' things: `openapi/paths.csv` is the table. Each
//! role asks with a token and in a session; things belong to each of three keepers in turn, and the two others try them.

#[path = "support/api.rs"]
mod api_support;
#[path = "support/samples.rs"]
mod samples;

#[path = "access/attempts.rs"]
mod attempts; // what the table of roles cannot say
#[cfg(feature = "access-mutation")]
#[path = "access/mutation.rs"]
mod mutation; // every check is taken out and missed
#[path = "access/sources.rs"]
mod sources; // where the checks stand
#[path = "access/world.rs"]
mod world; // three keepers, a reader, a curator

use std::collections::BTreeSet;

use api_support::{Api, water};
use reqwest::blocking::{RequestBuilder, Response};
use serde_json::{Value, json};
use world::{Credential, KEEPERS, PASSWORD, Strike, World, plainly};

#[derive(Clone)]
struct Row {
    path: String,
    method: String,
    role: String,
    ownership: String,
    status: u16,
}

fn table() -> Vec<Row> {
    let text = include_str!("../../openapi/paths.csv");
    let mut lines = text.lines();
    assert_eq!(lines.next(), Some("path,method,role,ownership,expected_status"));
    lines
        .map(|line| {
            let cells: Vec<&str> = line.split(',').collect();
            let [path, method, role, ownership, status] = cells.as_slice() else { panic!("{line}") };
            Row {
                path: (*path).to_owned(),
                method: (*method).to_owned(),
                role: (*role).to_owned(),
                ownership: (*ownership).to_owned(),
                status: status.parse().unwrap(),
            }
        })
        .collect()
}

#[test]
fn every_operation_stands_in_the_table_for_every_role_and_no_other() {
    let documented: BTreeSet<(String, String)> =
        server::document::operations().into_iter().map(|(method, path, _)| (path, method.to_owned())).collect();
    let mut listed = BTreeSet::new();
    for row in table() {
        assert!(["public", "reader", "keeper", "curator"].contains(&row.role.as_str()), "{}", row.role);
        assert!(["own", "other", "none"].contains(&row.ownership.as_str()), "{}", row.ownership);
        let key = (row.path, row.method);
        assert!(documented.contains(&key), "{key:?} is in the table and not in the document");
        assert!(listed.insert((key, row.role, row.ownership)), "a row stands twice");
    }
    for operation in documented {
        for role in ["public", "reader", "keeper", "curator"] {
            assert!(
                listed.iter().any(|(key, of, _)| *key == operation && of == role),
                "{operation:?} is not in the table for {role}"
            );
        }
    }
}

/// Kinds of records that are edited one by one.
fn lists() -> Vec<&'static str> {
    vec![
        "tanks",
        "specimens",
        "stays",
        "readings",
        "sizings",
        "sightings",
        "endings",
        "routines",
        "events",
        "incidents",
        "placements",
        "instruments",
    ]
}

/// The kind of records of which an address names one.
fn list_of(path: &str) -> Option<&'static str> {
    let list = path.strip_prefix("/api/v1/")?.strip_suffix("/{id}")?;
    lists().into_iter().find(|known| *known == list)
}

/// What only a person who signed in may do: a token of any role is refused.
const OF_PERSONS: [&str; 4] = ["/api/v1/session", "/api/v1/me/password", "/api/v1/me/tokens", "/api/v1/me/tokens/{id}"];

/// What stands behind a row: a member whose thing it is, and who asks. In `api` the owner is `osprey`, whoever it is,
/// and who tries another's things is `heron`.
struct Asking<'a> {
    world: &'a World,
    api: &'a Api,
    /// Positions of the owner and of the other keeper.
    keepers: (usize, usize),
    in_session: bool,
    number: usize,
}

impl Asking<'_> {
    /// Which keeper asks.
    fn keeper(&self, row: &Row) -> usize {
        if row.ownership == "other" { self.keepers.1 } else { self.keepers.0 }
    }

    fn credential(&self, row: &Row) -> Credential {
        let token = |token: &str| Credential::Token(token.to_owned());
        match (row.role.as_str(), row.ownership.as_str(), self.in_session) {
            ("reader", _, true) => self.world.reader.clone(),
            ("curator", _, true) => self.world.curator.clone(),
            ("keeper", _, true) => self.world.session(self.keeper(row)).clone(),
            ("reader", _, false) => token(&self.api.reader),
            ("curator", _, false) => token(&self.api.curator),
            ("keeper", "other", false) => token(&self.api.heron),
            ("keeper", _, false) => token(&self.api.osprey),
            _ => Credential::Nothing,
        }
    }

    /// Somebody of a role with an account that may end: their session.
    fn passing(&self, role: &str) -> Credential {
        let name = format!("passing {} {} {}", self.number, self.keepers.0, self.in_session);
        let keeper = (role == "keeper").then(|| format!("{name} keeper"));
        world::accept(self.api, &world::invite(self.api, role, keeper.as_deref()), &name)
    }

    fn account_number(&self) -> Value {
        let who = self.passing("reader").sign(self.api.get("/api/v1/session"));
        api_support::json_of(who.send().unwrap(), 200)["account"].clone()
    }

    /// A token that somebody made for themselves.
    fn own_token(&self, of: &Credential) -> Value {
        let made = of.sign(self.api.post("/api/v1/me/tokens").json(&json!({})));
        api_support::json_of(made.send().unwrap(), 201)["id"].clone()
    }

    fn invitation_number(&self) -> Value {
        let made = self.api.post("/api/v1/invitations").bearer_auth(&self.api.curator).json(&json!({"role": "reader"}));
        api_support::json_of(made.send().unwrap(), 201)["id"].clone()
    }

    /// A number of this row and run, for things that have to differ.
    fn stamp(&self) -> usize {
        self.number * 20 + self.keepers.0 * 6 + self.keepers.1 * 2 + usize::from(self.in_session)
    }

    /// An upload of osprey's, read and ready.
    fn upload(&self) -> Value {
        let name = format!("name=tests-{}.csv", self.stamp());
        let upload = self.api.upload(&self.api.osprey, &name, water("Lagoon", 1.0 + self.stamp() as f64 / 1e8));
        assert_eq!(upload["state"], "ready", "{:#}", self.api.findings(&self.api.osprey, &upload));
        upload
    }

    /// An upload of osprey's with a question, and the question's key.
    fn asked(&self) -> (Value, Value) {
        let text = format!(
            "Tank,Date,PO4 (mg/L)\nLagoon,2025-03-04,0.0{n}\nLagoon,2025-03-11,not detected\nLagoon,2025-03-18,0.0{n}\n",
            n = 10000 + self.stamp()
        );
        let query = format!("name=phosphate-{n}.csv&log=phosphate-{n}", n = self.stamp());
        let upload = self.api.upload(&self.api.osprey, &query, text);
        let findings = self.api.findings(&self.api.osprey, &upload);
        let asked = findings.as_array().unwrap().iter().find(|finding| finding["code"] == "limit_missing");
        (upload["id"].clone(), asked.unwrap_or_else(|| panic!("{findings:#}"))["key"].clone())
    }

    /// A link to a question: upload, link, secret.
    fn link(&self) -> (Value, Value, String) {
        let (id, key) = self.asked();
        let made = api_support::json_of(
            self.api
                .post(&format!("/api/v1/uploads/{id}/links"))
                .bearer_auth(&self.api.curator)
                .json(&json!({"key": key}))
                .send()
                .unwrap(),
            201,
        );
        let secret = made["url"].as_str().unwrap().rsplit('/').next().unwrap().to_owned();
        (id, made["id"].clone(), secret)
    }

    fn kit(&self) -> Value {
        json!({"parameter": "phosphate", "name": format!("kit {}", self.stamp()), "limit": 0.03})
    }

    /// What is said of a kit, previewed.
    fn confirmed(&self) -> Value {
        let preview = self.api.post("/api/v1/kits/preview").bearer_auth(&self.api.curator).json(&self.kit());
        let preview = api_support::json_of(preview.send().unwrap(), 200);
        json!({"kit": self.kit(), "confirm": preview["confirm"]})
    }

    fn token_number(&self) -> i64 {
        let made = api_support::json_of(
            self.api
                .post("/api/v1/tokens")
                .bearer_auth(&self.api.curator)
                .json(&json!({"role": "reader"}))
                .send()
                .unwrap(),
            201,
        );
        made["id"].as_i64().unwrap()
    }

    /// A member who may leave: a token of theirs, and the handle.
    fn leaving(&self) -> (String, String) {
        let handle = format!("leaving-{}", self.stamp());
        let body = json!({"role": "keeper", "keeper": handle, "create": true});
        let made = self.api.post("/api/v1/tokens").bearer_auth(&self.api.curator).json(&body);
        let made = api_support::json_of(made.send().unwrap(), 201);
        (made["token"].as_str().unwrap().to_owned(), handle)
    }

    /// A record of osprey's: its number.
    fn record(&self, list: &str) -> i64 {
        let made = |list: &str, body: Value| {
            let made = self.api.post(&format!("/api/v1/{list}")).bearer_auth(&self.api.osprey).json(&body);
            api_support::json_of(made.send().unwrap(), 201)["record"]["id"].as_i64().unwrap()
        };
        if let Some((of, about)) = samples::before(list, self.stamp()) {
            made(of, about);
        }
        made(list, samples::sample(list, self.stamp()))
    }

    /// Two corals of a member that can be joined.
    fn merge(&self) -> Value {
        let keeper = format!("joined {}", self.stamp());
        let body = json!({"role": "keeper", "keeper": keeper, "create": true});
        let made = self.api.post("/api/v1/tokens").bearer_auth(&self.api.curator).json(&body).send().unwrap();
        let made = api_support::json_of(made, 201);
        let query = "name=corals.csv&as_of=2025-06-01";
        let token = made["token"].as_str().unwrap();
        self.api.commit_register(token, query, api_support::register(), "2024-01-01");
        json!({"keeper": keeper, "kind": "specimen", "from": "C02", "into": "C01"})
    }

    /// The same, previewed.
    fn previewed_merge(&self) -> Value {
        let merge = self.merge();
        let preview = self.api.post("/api/v1/merges/preview").bearer_auth(&self.api.curator).json(&merge);
        let preview = api_support::json_of(preview.send().unwrap(), 200);
        json!({"merge": merge, "confirm": preview["confirm"], "signed_by": "husbandry group"})
    }

    /// Something that can be taught, once.
    fn claim(&self) -> Value {
        json!({"code": format!("own_{}", self.stamp()), "wording": "As we teach it.", "taxon": "goniopora",
            "condition": "nitrate_above", "outcome": "death", "direction": "more", "signed_by": "husbandry group"})
    }

    fn send(&self, row: &Row, strike: Strike) -> Response {
        let mut signed = self.credential(row);
        let mut path =
            row.path.replace("{code}", "nitrate").replace("{slug}", "goniopora").replace("{kind}", "not-found");
        let mut key = Value::Null;
        if row.path.starts_with("/questions/{secret}") {
            path = path.replace("{secret}", &self.link().2);
        } else if row.path.ends_with("/links/{link}") {
            let (id, link, _) = self.link();
            path = path.replace("{id}", &id.to_string()).replace("{link}", &link.to_string());
        } else if row.path.ends_with("/links") {
            let (id, of) = self.asked();
            key = of;
            path = path.replace("{id}", &id.to_string());
        } else if row.path.starts_with("/api/v1/kits/{id}") {
            let made = self.api.post("/api/v1/kits").bearer_auth(&self.api.curator).json(&self.confirmed());
            path = path.replace("{id}", &api_support::json_of(made.send().unwrap(), 201)["id"].to_string());
        } else if row.path.starts_with("/api/v1/bands/{id}") {
            let made = self.api.post("/api/v1/bands").bearer_auth(&self.api.curator).json(&band());
            path = path.replace("{id}", &api_support::json_of(made.send().unwrap(), 201)["id"].to_string());
        } else if row.path.starts_with("/api/v1/names/{id}") {
            let made = self.api.post("/api/v1/names").bearer_auth(&self.api.curator).json(&name());
            path = path.replace("{id}", &api_support::json_of(made.send().unwrap(), 201)["id"].to_string());
        } else if row.path.starts_with("/api/v1/merges/{id}") {
            let made = self.api.post("/api/v1/merges").bearer_auth(&self.api.curator).json(&self.previewed_merge());
            path = path.replace("{id}", &api_support::json_of(made.send().unwrap(), 201)["id"].to_string());
        } else if row.path.starts_with("/api/v1/newsletter/issues/{number}") {
            let made = self.api.post("/api/v1/newsletter/issues").bearer_auth(&self.api.curator).json(&issue());
            path = path.replace("{number}", &api_support::json_of(made.send().unwrap(), 201)["number"].to_string());
        } else if row.path.starts_with("/api/v1/claims/{id}") {
            let made = self.api.post("/api/v1/claims").bearer_auth(&self.api.curator).json(&self.claim());
            path = path.replace("{id}", &api_support::json_of(made.send().unwrap(), 201)["id"].to_string());
        } else if row.path.starts_with("/api/v1/uploads/{id}") {
            path = path.replace("{id}", &self.upload()["id"].to_string());
        } else if row.path.starts_with("/api/v1/keepers/{handle}") {
            path = path.replace("{handle}", &self.leaving().1);
        } else if let Some(list) = list_of(&row.path) {
            path = path.replace("{id}", &self.record(list).to_string());
        } else if row.path.starts_with("/api/v1/tokens/{id}") {
            path = path.replace("{id}", &self.token_number().to_string());
        } else if row.path.starts_with("/api/v1/me/tokens/{id}") {
            path = path.replace("{id}", &self.own_token(self.world.session(self.keepers.0)).to_string());
        } else if row.path.starts_with("/api/v1/invitations/{id}") {
            path = path.replace("{id}", &self.invitation_number().to_string());
        } else if row.path.starts_with("/api/v1/accounts/{id}") {
            path = path.replace("{id}", &self.account_number().to_string());
        }
        // Who signs out, signs in anew or changes a password is somebody whose session may end.
        let ends = [
            ("DELETE", "/api/v1/session"),
            ("POST", "/api/v1/session"),
            ("POST", "/api/v1/invitations/accept"),
            ("POST", "/api/v1/me/password"),
        ];
        if self.in_session && row.role != "public" && ends.contains(&(row.method.as_str(), row.path.as_str())) {
            signed = self.passing(&row.role);
        }
        assert!(!path.contains('{'), "{path}");
        let method = row.method.parse().unwrap();
        let mut request: RequestBuilder = self.api.client.request(method, self.api.url(&path));
        if row.method == "DELETE" && row.path == "/api/v1/me" && row.role == "keeper" {
            // The members of the other rows stay.
            let (token, handle) = self.leaving();
            let secret = self.in_session.then(|| world::invite(self.api, "keeper", Some(&handle)));
            signed = secret.map_or(Credential::Token(token), |secret| world::accept(self.api, &secret, &handle));
        }
        request = signed.sign(request);
        // A keeper who names another member, and a curator, who has to name one.
        if row.ownership == "other" && row.method == "POST" && !row.path.contains("{id}") {
            request = request.query(&[("keeper", KEEPERS[self.keepers.0])]);
        }
        let request = match (row.method.as_str(), row.path.as_str()) {
            ("POST", "/api/v1/uploads") => request
                .query(&[("name", "more.csv")])
                .header("content-type", "text/csv")
                .body(water("Lagoon", 5.0 + self.stamp() as f64 / 1e8)),
            ("POST", "/api/v1/uploads/{id}/answers") => request.json(&json!({"answers": []})),
            ("POST", "/api/v1/uploads/{id}/commit") => request.json(&json!({})),
            ("POST", "/api/v1/uploads/{id}/links") => request.json(&json!({"key": key})),
            ("POST", "/api/v1/kits/preview") => request.json(&self.kit()),
            ("POST", "/api/v1/kits") => request.json(&self.confirmed()),
            ("POST", "/api/v1/bands" | "/api/v1/bands/preview") => request.json(&band()),
            ("POST", "/api/v1/names" | "/api/v1/names/preview") => request.json(&name()),
            ("POST", "/api/v1/merges/preview") => request.json(&self.merge()),
            ("POST", "/api/v1/merges") => request.json(&self.previewed_merge()),
            ("POST", "/api/v1/claims") => request.json(&self.claim()),
            ("POST", "/api/v1/newsletter/issues") => request.json(&issue()),
            ("POST", "/questions/{secret}") => request.json(&json!({"choice": "limit", "value": 0.03})),
            ("POST", "/api/v1/roll-call") => request.json(&json!({"on": "2025-06-01"})),
            ("POST", "/api/v1/tokens") => request.json(&json!({"role": "reader"})),
            ("POST", "/api/v1/keepers") => request.json(&json!({"handle": format!("member {}", self.stamp())})),
            ("PATCH", "/api/v1/keepers/{handle}") => request.json(&json!({"keeping_since": 2016})),
            ("DELETE", "/api/v1/keepers/{handle}" | "/api/v1/me") => request.query(&[("confirm", &self.leaving().1)]),
            ("POST", path) if lists().contains(&path.trim_start_matches("/api/v1/")) => {
                let list = path.trim_start_matches("/api/v1/");
                if let Some((of, about)) = samples::before(list, self.stamp()) {
                    let made = self.api.post(&format!("/api/v1/{of}")).bearer_auth(&self.api.osprey).json(&about);
                    api_support::json_of(made.send().unwrap(), 201);
                }
                request.json(&samples::sample(list, self.stamp()))
            }
            ("PATCH", path) if list_of(path).is_some() => request.json(&samples::change(list_of(path).unwrap())),
            ("PATCH", "/api/v1/settings") => request.json(&json!({"release_days": 7})),
            ("POST", "/api/v1/setup") => request
                .json(&json!({"code": "0000", "club": "Tidepool Reef Circle", "name": "first", "password": PASSWORD})),
            ("POST", "/api/v1/session") => request.json(&json!({"name": "the reader", "password": PASSWORD})),
            ("POST", "/api/v1/me/password") => {
                request.json(&json!({"present": PASSWORD, "new": "kelp sways, limpets stay"}))
            }
            ("POST", "/api/v1/me/tokens") => request.json(&json!({})),
            ("POST", "/api/v1/invitations") => request.json(&json!({"role": "reader"})),
            ("POST", "/api/v1/invitations/accept") => request.json(&json!({
                "secret": world::invite(self.api, "reader", None),
                "name": format!("guest {}", self.stamp()),
                "password": PASSWORD,
            })),
            ("PATCH", "/api/v1/accounts/{id}") => request.json(&json!({"disabled": true})),
            _ => request,
        };
        strike(request)
    }

    /// What is wrong with the answer to a row, if anything.
    fn holds(&self, row: &Row, strike: Strike) -> Result<(), String> {
        let response = self.send(row, strike);
        let status = response.status().as_u16();
        let challenge = response.headers().get("www-authenticate").is_some();
        let media = response.headers().get("content-type").map(|value| value.to_str().unwrap().to_owned());
        let text = String::from_utf8_lossy(&response.bytes().unwrap()).into_owned();
        let how = if self.in_session { "in a session" } else { "with a token" };
        let owner = KEEPERS[self.keepers.0];
        let place = format!("{} {} as {} {how} ({}, of {owner})", row.method, row.path, row.role, row.ownership);
        let held = |holds: bool, what: &str| if holds { Ok(()) } else { Err(format!("{place}: {what}: {text}")) };
        let person = OF_PERSONS.contains(&row.path.as_str())
            && (row.method.as_str(), row.path.as_str()) != ("POST", "/api/v1/session");
        let expected = if person && !self.in_session && row.role != "public" { 403 } else { row.status };
        held(status == expected, &format!("{status}, not {expected}"))?;
        held(challenge == (status == 401), "a challenge goes with 401")?;
        if status >= 400 {
            held(media.as_deref() == Some("application/problem+json"), "no problem document")?;
            held(!text.contains(owner), "a refusal tells whose it is")?;
        }
        // Nobody but a curator reads of other keepers.
        let own = (row.role == "keeper").then(|| KEEPERS[self.keeper(row)]);
        // The document's examples play in a club of their own.
        let own_club = row.path != "/api/v1/openapi.json";
        let told = KEEPERS.into_iter().find(|keeper| Some(*keeper) != own && text.contains(keeper));
        held(row.role == "curator" || !own_club || told.is_none(), "it tells of another keeper")?;
        let list = row.method == "GET"
            && ["/api/v1/tanks", "/api/v1/readings", "/api/v1/specimens"].contains(&row.path.as_str());
        if list && status == 200 {
            held(own.is_none_or(|own| text.contains(own)), "one's own rows are missing")?;
            held(own.is_some() || KEEPERS.iter().all(|keeper| text.contains(keeper)), "a keeper's rows are missing")?;
        }
        Ok(())
    }
}

/// Each row with each owner and each of the others, with tokens and in sessions. Rows of nobody's things are asked once.
fn askings(row: &Row) -> Vec<((usize, usize), bool)> {
    let pairs: Vec<(usize, usize)> = match row.ownership.as_str() {
        "none" => vec![(0, 1)],
        "own" => vec![(0, 1), (1, 2), (2, 0)],
        _ if row.role == "keeper" => (0..3).flat_map(|own| [(own, (own + 1) % 3), (own, (own + 2) % 3)]).collect(),
        _ => vec![(0, 1), (1, 2), (2, 0)],
    };
    // Each pair with tokens; in a session, which reaches as its role does, the first.
    let mut all: Vec<((usize, usize), bool)> = pairs.iter().map(|pair| (*pair, false)).collect();
    if row.role != "public" {
        all.push((pairs[0], true));
    }
    all
}

/// A name that can be agreed on.
fn name() -> Value {
    json!({"name": "flowerpot", "taxon": "goniopora", "signed_by": "husbandry group"})
}

/// An issue that can be printed.
fn issue() -> Value {
    json!({"title": "Summer issue", "signed_by": "newsletter desk", "items": ["goniopora"]})
}

/// A range that can be taught.
fn band() -> Value {
    json!({"taxon": "goniopora", "parameter": "nitrate", "lower": 5, "upper": 12, "signed_by": "husbandry group"})
}

#[test]
fn each_role_reaches_what_the_table_says() {
    let world = World::start();
    let mut asked = 0;
    for (number, row) in table().iter().enumerate() {
        for (keepers, in_session) in askings(row) {
            let api = world.seen_by(keepers.0, keepers.1);
            let asking = Asking { world: &world, api: &api, keepers, in_session, number };
            asking.holds(row, &plainly).unwrap();
            asked += 1;
        }
    }
    println!("{asked} requests as the table says");
}

#[test]
fn what_is_no_credential_is_refused() {
    let world = World::start();
    for (name, attempt) in attempts::ALL.iter().chain(attempts::BEFORE_SETUP) {
        attempts::forget_guesses(&world);
        attempt(&world, &plainly).unwrap_or_else(|error| panic!("{name}: {error}"));
    }
}

#[test]
fn without_publishing_the_public_reads_the_vocabulary_alone() {
    let api = Api::start();
    api_support::publish(&mut api.connect(), false);
    for path in ["/club", "/taxa", "/taxa/goniopora", "/taxa/goniopora/survival", "/taxa/goniopora/growth"] {
        let path = format!("/api/v1{path}");
        api_support::problem_of(api.get(&path).send().unwrap(), 403, "not-published");
        assert_eq!(api.get(&path).bearer_auth(&api.reader).send().unwrap().status(), 200, "{path}");
    }
    assert_eq!(api.get("/api/v1/parameters").send().unwrap().status(), 200);
}

#[test]
fn no_handler_can_reach_a_table() {
    let mut folders = vec![std::path::PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("src/route")];
    let mut read = 0;
    while let Some(folder) = folders.pop() {
        for entry in std::fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                folders.push(path);
                continue;
            }
            let text = std::fs::read_to_string(&path).unwrap();
            read += 1;
            assert!(!text.contains("schema::"), "{}: queries live behind the access module", path.display());
            assert!(!text.contains("of_operator"), "{}: only a command has the operator's reach", path.display());
        }
    }
    assert!(read > 10);
}
