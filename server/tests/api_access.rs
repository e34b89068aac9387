//! Every operation of the document, for every role, on own and on others' things: `openapi/paths.csv` is the table.

#[path = "support/api.rs"]
mod api_support;

use std::collections::BTreeSet;

use api_support::{Api, water};
use reqwest::blocking::{RequestBuilder, Response};
use serde_json::{Value, json};

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

/// What stands behind a row: a member whose thing it is, and who asks.
struct Asking<'a> {
    api: &'a Api,
    number: usize,
}

impl Asking<'_> {
    fn token(&self, role: &str, ownership: &str) -> Option<&str> {
        match (role, ownership) {
            ("reader", _) => Some(&self.api.reader),
            ("curator", _) => Some(&self.api.curator),
            ("keeper", "other") => Some(&self.api.heron),
            ("keeper", _) => Some(&self.api.osprey),
            _ => None,
        }
    }

    /// An upload of osprey's, read and ready.
    fn upload(&self) -> Value {
        let name = format!("name=tests-{}.csv", self.number);
        let upload = self.api.upload(&self.api.osprey, &name, water("Lagoon", 1.0 + self.number as f64 / 1000.0));
        assert_eq!(upload["state"], "ready", "{:#}", self.api.findings(&self.api.osprey, &upload));
        upload
    }

    /// An upload of osprey's with a question, and the question's key.
    fn asked(&self) -> (Value, Value) {
        let text = format!(
            "Tank,Date,PO4 (mg/L)\nLagoon,2025-03-04,0.0{n}\nLagoon,2025-03-11,not detected\nLagoon,2025-03-18,0.0{n}\n",
            n = 1000 + self.number
        );
        let query = format!("name=phosphate-{n}.csv&log=phosphate-{n}", n = self.number);
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
        json!({"parameter": "phosphate", "name": format!("kit {}", self.number), "limit": 0.03})
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
        let handle = format!("leaving-{}", self.number);
        let body = json!({"role": "keeper", "keeper": handle, "create": true});
        let made = self.api.post("/api/v1/tokens").bearer_auth(&self.api.curator).json(&body);
        let made = api_support::json_of(made.send().unwrap(), 201);
        (made["token"].as_str().unwrap().to_owned(), handle)
    }

    /// Two corals of a member that can be joined.
    fn merge(&self) -> Value {
        let keeper = format!("joined {}", self.number);
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
        json!({"code": format!("own_{}", self.number), "wording": "As we teach it.", "taxon": "goniopora",
            "condition": "nitrate_above", "outcome": "death", "direction": "more", "signed_by": "husbandry group"})
    }

    fn send(&self, row: &Row) -> Response {
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
        } else if row.path.starts_with("/api/v1/claims/{id}") {
            let made = self.api.post("/api/v1/claims").bearer_auth(&self.api.curator).json(&self.claim());
            path = path.replace("{id}", &api_support::json_of(made.send().unwrap(), 201)["id"].to_string());
        } else if row.path.starts_with("/api/v1/uploads/{id}") {
            path = path.replace("{id}", &self.upload()["id"].to_string());
        } else if row.path.starts_with("/api/v1/keepers/{handle}") {
            path = path.replace("{handle}", &self.leaving().1);
        } else if row.path.starts_with("/api/v1/tokens/{id}") {
            path = path.replace("{id}", &self.token_number().to_string());
        }
        assert!(!path.contains('{'), "{path}");
        let method = row.method.parse().unwrap();
        let mut request: RequestBuilder = self.api.client.request(method, self.api.url(&path));
        if row.method == "DELETE" && row.path == "/api/v1/me" && row.role == "keeper" {
            // The members of the other rows stay.
            request = request.bearer_auth(self.leaving().0);
        } else if let Some(token) = self.token(&row.role, &row.ownership) {
            request = request.bearer_auth(token);
        }
        // A keeper who names another member, and a curator, who has to name one.
        if row.ownership == "other" && row.method == "POST" && !row.path.contains("{id}") {
            request = request.query(&[("keeper", "osprey")]);
        }
        match (row.method.as_str(), row.path.as_str()) {
            ("POST", "/api/v1/uploads") => request
                .query(&[("name", "more.csv")])
                .header("content-type", "text/csv")
                .body(water("Lagoon", 5.0 + self.number as f64 / 1000.0)),
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
            ("POST", "/questions/{secret}") => request.json(&json!({"choice": "limit", "value": 0.03})),
            ("POST", "/api/v1/roll-call") => request.json(&json!({"on": "2025-06-01"})),
            ("POST", "/api/v1/tokens") => request.json(&json!({"role": "reader"})),
            ("POST", "/api/v1/keepers") => request.json(&json!({"handle": format!("member {}", self.number)})),
            ("PATCH", "/api/v1/keepers/{handle}") => request.json(&json!({"keeping_since": 2016})),
            ("DELETE", "/api/v1/keepers/{handle}" | "/api/v1/me") => request.query(&[("confirm", &self.leaving().1)]),
            ("PATCH", "/api/v1/settings") => request.json(&json!({"release_days": 7})),
            _ => request,
        }
        .send()
        .unwrap()
    }
}

/// A name that can be agreed on.
fn name() -> Value {
    json!({"name": "flowerpot", "taxon": "goniopora", "signed_by": "husbandry group"})
}

/// A range that can be taught.
fn band() -> Value {
    json!({"taxon": "goniopora", "parameter": "nitrate", "lower": 5, "upper": 12, "signed_by": "husbandry group"})
}

#[test]
fn each_role_reaches_what_the_table_says() {
    let api = Api::start();
    api.commit_register(&api.osprey, "name=corals.csv&as_of=2025-06-01", api_support::register(), "2024-01-01");
    for (number, row) in table().iter().enumerate() {
        let response = Asking { api: &api, number }.send(row);
        let status = response.status().as_u16();
        let challenge = response.headers().get("www-authenticate").cloned();
        let media = response.headers().get("content-type").map(|value| value.to_str().unwrap().to_owned());
        let text = response.text().unwrap();
        let place = format!("{} {} as {} ({})", row.method, row.path, row.role, row.ownership);
        assert_eq!(status, row.status, "{place}: {text}");
        if status >= 400 {
            assert_eq!(media.as_deref(), Some("application/problem+json"), "{place}");
            assert!(!text.contains("osprey"), "{place}: a refusal tells whose it is: {text}");
        }
        assert_eq!(challenge.is_some(), status == 401, "{place}: a challenge goes with 401");
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
