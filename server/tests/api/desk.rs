//! The curator's desk, and a member's own things: settings, members, releases, the audit, export and withdrawal.

use std::io::{Cursor, Read};

use serde_json::{Value, json};

use crate::answers::club;
use crate::api_support::{Api, json_of, problem_of};

fn get(api: &Api, path: &str) -> Value {
    json_of(api.get(path).bearer_auth(&api.curator).send().unwrap(), 200)
}

/// A token of a member made by `club`.
fn token(api: &Api, role: &str, keeper: &str) -> String {
    let body = json!({"role": role, "keeper": keeper});
    let made = json_of(api.post("/api/v1/tokens").bearer_auth(&api.curator).json(&body).send().unwrap(), 201);
    made["token"].as_str().unwrap().to_owned()
}

#[test]
fn settings_change_together_or_not_at_all() {
    let api = Api::start();
    let setting = |key: &str| {
        let list = get(&api, "/api/v1/settings");
        list["settings"].as_array().unwrap().iter().find(|setting| setting["key"] == key).unwrap().clone()
    };
    let change = |body: &Value| api.patch("/api/v1/settings").bearer_auth(&api.curator).json(body).send().unwrap();
    assert_eq!((&setting("release_days")["value"], &setting("release_days")["set_at"]), (&json!(7), &Value::Null));
    let problem = problem_of(change(&json!({"release_days": 3, "publsh": true, "name": " x "})), 400, "invalid-body");
    assert_eq!(problem["errors"].as_array().unwrap().len(), 2, "all faults at once: {problem:#}");
    assert_eq!(setting("release_days")["value"], 7, "nothing was changed");
    json_of(change(&json!({"release_days": 3, "name": "Tidewater Reef Club"})), 200);
    let days = setting("release_days");
    assert_eq!(days["value"], 3);
    assert!(days["set_by"].as_str().unwrap().starts_with("token strand_"), "{days:#}");
    assert_eq!(
        json_of(api.get("/api/v1/club").bearer_auth(&api.reader).send().unwrap(), 200)["name"],
        "Tidewater Reef Club"
    );
    json_of(change(&json!({"release_days": null})), 200);
    assert_eq!(setting("release_days")["value"], 7);
    let done = get(&api, "/api/v1/audit?action=change%20setting");
    let subjects: Vec<&str> =
        done["audit"].as_array().unwrap().iter().map(|row| row["subject"].as_str().unwrap()).collect();
    assert_eq!(subjects, ["setting release_days", "setting release_days", "setting name"]);
}

#[test]
fn publishing_opens_answers_and_closing_shuts_them() {
    let api = Api::start();
    club(&api);
    let publish = |publish: bool| {
        let change = api.patch("/api/v1/settings").bearer_auth(&api.curator).json(&json!({"publish": publish}));
        json_of(change.send().unwrap(), 200);
    };
    let hazard = || api.get("/api/v1/taxa/goniopora/hazard").send().unwrap();
    publish(false);
    problem_of(hazard(), 403, "not-published");
    publish(true);
    json_of(hazard(), 200);
    publish(false);
    problem_of(hazard(), 403, "not-published");
}

#[test]
fn members_are_made_known_listed_and_changed() {
    let api = Api::start();
    let make = |body: &Value| api.post("/api/v1/keepers").bearer_auth(&api.curator).json(body).send().unwrap();
    let made = json_of(make(&json!({"handle": "sanderling", "keeping_since": 2016})), 201);
    assert_eq!(
        (&made["handle"], &made["keeping_since"], &made["committed"]),
        (&json!("sanderling"), &json!(2016), &json!(0))
    );
    problem_of(make(&json!({"handle": "SANDERLING"})), 422, "invalid-value");
    let problem = problem_of(make(&json!({"handle": " x", "keeping_since": 1800})), 400, "invalid-body");
    assert_eq!(problem["errors"].as_array().unwrap().len(), 2);
    problem_of(make(&json!({"handle": "x", "colour": 1})), 400, "invalid-body");
    let change = |handle: &str, body: &Value| {
        api.patch(&format!("/api/v1/keepers/{handle}")).bearer_auth(&api.curator).json(body).send().unwrap()
    };
    assert_eq!(json_of(change("Sanderling", &json!({"keeping_since": null})), 200)["keeping_since"], Value::Null);
    problem_of(change("nobody", &json!({"keeping_since": 2000})), 404, "unknown-keeper");
    // A page at a time, each member once.
    for handle in ["whimbrel", "turnstone"] {
        json_of(make(&json!({"handle": handle})), 201);
    }
    let mut seen = Vec::new();
    let mut next = Some("/api/v1/keepers?limit=2".to_owned());
    while let Some(path) = next {
        let page = get(&api, &path);
        seen.extend(page["keepers"].as_array().unwrap().iter().map(|of| of["handle"].as_str().unwrap().to_owned()));
        next = page["links"]["next"].as_str().map(str::to_owned);
    }
    let mut once = seen.clone();
    once.sort();
    once.dedup();
    assert_eq!(once.len(), seen.len());
    assert!(["sanderling", "whimbrel", "turnstone"].iter().all(|handle| seen.iter().any(|of| of == handle)));
    assert!(!get(&api, "/api/v1/keepers").to_string().contains("deaths"), "nobody's losses are counted");
}

#[test]
fn a_release_is_made_when_a_curator_asks() {
    let api = Api::start();
    club(&api);
    let make = || json_of(api.post("/api/v1/releases").bearer_auth(&api.curator).send().unwrap(), 201);
    let first = make();
    assert_eq!(first["releases"][0]["number"], 1);
    let second = make();
    assert_eq!((&second["releases"][0]["number"], &second["releases"][0]["reason"]), (&json!(2), &json!("asked")));
    assert_eq!(get(&api, "/api/v1/releases"), second);
    assert_eq!(get(&api, "/api/v1/audit?action=make%20release&limit=1")["audit"][0]["subject"], "release 2");
}

#[test]
fn a_member_takes_everything_along_and_leaves() {
    let api = Api::start();
    club(&api);
    let own = token(&api, "keeper", "keeper1");
    let other = token(&api, "keeper", "keeper2");
    let response = api.get("/api/v1/me/export").bearer_auth(&own).send().unwrap();
    assert_eq!(response.status(), 200);
    assert_eq!(response.headers()["content-type"], "application/zip");
    let bytes = response.bytes().unwrap();
    let mut archive = zip::ZipArchive::new(Cursor::new(bytes)).unwrap();
    let names: Vec<String> = archive.file_names().map(|name| name.unwrap().into_owned()).collect();
    let mut text = |name: &str| {
        let mut text = String::new();
        archive.by_name(name).unwrap().read_to_string(&mut text).unwrap();
        text
    };
    assert_eq!(text("records/specimen.csv").lines().count(), 1 + 4, "four corals");
    assert_eq!(text("records/reading.csv").lines().count(), 1 + 14, "fourteen tests");
    assert_eq!(text("records/ending.csv").lines().count(), 1 + 2, "two losses");
    assert!(!text("records/reading.csv").lines().next().unwrap().contains("keeper_id"));
    let handed_in = text("uploads.csv");
    assert!(handed_in.contains("corals.csv") && !handed_in.contains("token_id"), "{handed_in}");
    let files: Vec<&String> = names.iter().filter(|name| name.starts_with("files/")).collect();
    assert!(files.iter().any(|name| name.ends_with("-tests.csv")), "{names:?}");
    let sent = files.iter().find(|name| name.ends_with("-corals.csv")).unwrap();
    assert!(text(sent).starts_with("ID,Coral,Acquired,Tank,Date died\n"), "as it came");
    // Nobody else's.
    problem_of(api.get("/api/v1/me/export").bearer_auth(&api.reader).send().unwrap(), 403, "forbidden");
    problem_of(api.get("/api/v1/me/export").bearer_auth(&api.curator).send().unwrap(), 403, "forbidden");
    problem_of(api.get("/api/v1/me/export").send().unwrap(), 401, "unauthorised");

    let before = json_of(api.get("/api/v1/taxa/goniopora/hazard").bearer_auth(&api.reader).send().unwrap(), 200);
    assert_eq!(before["evidence"]["deaths"], 10);
    let leave = |path: &str, token: &str| api.delete(path).bearer_auth(token).send().unwrap();
    let problem = problem_of(leave("/api/v1/me", &own), 400, "invalid-query");
    assert!(problem["errors"][0]["detail"].as_str().unwrap().contains("confirm=keeper1"), "{problem:#}");
    problem_of(leave("/api/v1/me?confirm=keeper2", &own), 400, "invalid-query");
    let narrow = json!({"role": "keeper", "keeper": "keeper1", "scopes": ["read"]});
    let narrow = json_of(api.post("/api/v1/tokens").bearer_auth(&api.curator).json(&narrow).send().unwrap(), 201);
    problem_of(leave("/api/v1/me?confirm=keeper1", narrow["token"].as_str().unwrap()), 403, "forbidden");
    let gone = json_of(leave("/api/v1/me?confirm=keeper1", &own), 200);
    assert_eq!((&gone["uploads"], &gone["files"]), (&json!(3), &json!(2)), "{gone:#}");
    problem_of(api.get("/api/v1/me").bearer_auth(&own).send().unwrap(), 401, "unauthorised");
    // Curators no longer see it, members see nothing that would tell what it was.
    let exact = get(&api, "/api/v1/taxa/goniopora/hazard");
    assert_eq!(exact["evidence"]["deaths"], 8);
    let withheld = json_of(api.get("/api/v1/taxa/goniopora/hazard").bearer_auth(&api.reader).send().unwrap(), 200);
    assert_eq!(withheld["result"]["refused"]["code"], "Suppressed", "{withheld:#}");
    // Others' things are untouched, and the name is written nowhere any more.
    json_of(api.get("/api/v1/me").bearer_auth(&other).send().unwrap(), 200);
    assert!(!get(&api, "/api/v1/keepers").to_string().contains("keeper1\""));
    assert!(!get(&api, "/api/v1/audit?limit=1000").to_string().contains("keeper1\""));
    // A curator withdraws one who asked by letter.
    problem_of(leave("/api/v1/keepers/keeper2", &api.curator), 400, "invalid-query");
    problem_of(leave("/api/v1/keepers/keeper2?confirm=keeper2", &other), 403, "forbidden");
    json_of(leave("/api/v1/keepers/keeper2?confirm=keeper2", &api.curator), 200);
    problem_of(leave("/api/v1/keepers/keeper2?confirm=keeper2", &api.curator), 404, "unknown-keeper");
}
