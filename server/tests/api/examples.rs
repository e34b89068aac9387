//! The examples of the document are what the server answers: asked here in order, on a club of 24 corals, with stamps
//! and secrets replaced. `WRITE_EXAMPLES=1` writes them anew; review the difference, then print the document anew.

use std::collections::BTreeMap;
use std::path::Path;

use serde_json::{Value, json};
use server::document::examples::ALL;

use crate::answers::club;
use crate::api_support::{Api, json_of, register};
use crate::records::{KINDS, ONES};
use crate::samples::{self, change, sample};

/// Members that change from run to run.
const STAMPS: &[&str] = &[
    "received_at",
    "committed_at",
    "undone_at",
    "created_at",
    "expires_at",
    "last_used_at",
    "revoked_at",
    "last_committed_at",
    "set_at",
    "made_at",
    "frozen_at",
    "occurred_at",
    "accepted_at",
    "signed_in_at",
    "disabled_at",
    "withdrawn_at",
];

fn settled(value: &mut Value) {
    match value {
        Value::Object(members) => {
            for (name, member) in members.iter_mut() {
                match (name.as_str(), &member) {
                    (name, Value::String(_)) if STAMPS.contains(&name) => *member = json!("2025-06-30T19:04:00Z"),
                    ("token", Value::String(text)) if text.len() > 20 => {
                        *member = json!("strand_0123456789abcdef0123456789abcdef0123456789abcdef0123456789abcdef");
                    }
                    ("csrf", Value::String(_)) => {
                        *member = json!("0123456789abcdef0123456789abcdef0123456789abcdef0123456789abcdef");
                    }
                    ("url", Value::String(text)) if text.contains("/join/") => {
                        let secret = "0123456789abcdef0123456789abcdef0123456789abcdef0123456789abcdef";
                        *member = json!(format!("https://club.example/join/{secret}"));
                    }
                    ("token" | "prefix", Value::String(_)) => *member = json!("strand_012345"),
                    ("actor" | "set_by" | "made_by", Value::String(text)) if text.starts_with("token ") => {
                        *member = json!("token strand_012345");
                    }
                    _ => settled(member),
                }
            }
        }
        Value::Array(values) => values.iter_mut().for_each(settled),
        _ => {}
    }
}

/// A list shown by its first items.
fn first(mut value: Value, list: &str, count: usize) -> Value {
    value[list].as_array_mut().unwrap().truncate(count);
    value
}

fn asked(api: &Api) -> BTreeMap<&'static str, Value> {
    let mut all = BTreeMap::new();
    let get = |path: &str| json_of(api.get(path).send().unwrap(), 200);
    let osprey = |path: &str| json_of(api.get(path).bearer_auth(&api.osprey).send().unwrap(), 200);
    let curator = |path: &str| json_of(api.get(path).bearer_auth(&api.curator).send().unwrap(), 200);
    all.insert("get_club", get("/api/v1/club"));
    all.insert("list_parameters", first(get("/api/v1/parameters"), "parameters", 1));
    all.insert("get_parameter", get("/api/v1/parameters/nitrate"));
    all.insert("list_taxa", get("/api/v1/taxa?q=goniopora&rank=genus"));
    all.insert("get_taxon", get("/api/v1/taxa/goniopora"));
    all.insert("get_survival", get("/api/v1/taxa/goniopora/survival?by=none"));
    all.insert("get_growth", get("/api/v1/taxa/goniopora/growth"));
    let mut conditions = get("/api/v1/taxa/goniopora/conditions");
    conditions["result"]["conditions"].as_array_mut().into_iter().for_each(|lines| lines.truncate(2));
    all.insert("get_conditions", conditions);
    let mut bands = get("/api/v1/taxa/goniopora/bands");
    bands["result"]["bands"].as_array_mut().into_iter().for_each(|lines| lines.truncate(1));
    all.insert("get_bands", bands);
    all.insert("get_hazard", get("/api/v1/taxa/goniopora/hazard"));
    let mut before = get("/api/v1/taxa/goniopora/lead-up");
    before["result"]["lines"].as_array_mut().into_iter().for_each(|lines| lines.truncate(2));
    before["result"]["within_specimen"].as_array_mut().into_iter().for_each(|lines| lines.truncate(1));
    all.insert("get_lead_up", before);
    all.insert("get_plan", get("/api/v1/taxa/goniopora/plan?condition=nitrate&hazard_ratio=2"));
    let mut casebook = curator("/api/v1/taxa/goniopora/casebook");
    casebook["result"]["losses"].as_array_mut().into_iter().for_each(|lines| lines.truncate(2));
    all.insert("get_casebook", casebook);
    all.insert("get_claims", first(get("/api/v1/claims"), "claims", 2));
    let mut report = get("/api/v1/taxa/goniopora/report");
    report["conditions"].as_array_mut().into_iter().for_each(|answers| answers.truncate(1));
    for (part, list) in
        [("associations", "conditions"), ("bands", "bands"), ("lead_up", "lines"), ("lead_up", "within_specimen")]
    {
        report[part]["result"][list].as_array_mut().into_iter().for_each(|lines| lines.truncate(1));
    }
    all.insert("get_report", report);
    let mut issue = first(get("/api/v1/newsletter"), "cannot_tell", 2);
    let day = issue["made_on"].as_str().unwrap().to_owned();
    for member in ["made_on", "citation"] {
        issue[member] = json!(issue[member].as_str().unwrap().replace(&day, "2025-06-30"));
    }
    issue["taxa"].as_array_mut().into_iter().flatten().for_each(|item| item["made_on"] = json!("2025-06-30"));
    all.insert("get_newsletter", issue);
    let print = json!({"title": "Summer issue", "signed_by": "newsletter desk", "since": "2025-01-01",
        "items": ["goniopora", "near_sea_salt"], "note": "for the June meeting"});
    let printed =
        json_of(api.post("/api/v1/newsletter/issues").bearer_auth(&api.curator).json(&print).send().unwrap(), 201);
    let path = format!("/api/v1/newsletter/issues/{}", printed["number"]);
    all.insert("create_issue", printed);
    all.insert("list_issues", get("/api/v1/newsletter/issues"));
    let mut shown = get(&path);
    for member in ["made_on", "citation"] {
        shown["issue"][member] = json!(shown["issue"][member].as_str().unwrap().replace(&day, "2025-06-30"));
    }
    shown["issue"]["taxa"].as_array_mut().into_iter().flatten().for_each(|item| item["made_on"] = json!("2025-06-30"));
    all.insert("get_issue", shown);
    all.insert("withdraw_issue", json_of(api.delete(&path).bearer_auth(&api.curator).send().unwrap(), 200));
    all.insert("get_live", get("/health/live"));
    all.insert("get_ready", get("/health/ready"));

    let post = |path: &str, body: Value, status| {
        json_of(api.post(path).bearer_auth(&api.osprey).json(&body).send().unwrap(), status)
    };
    let file = api
        .post("/api/v1/uploads?name=corals.csv&as_of=2025-06-01")
        .bearer_auth(&api.osprey)
        .header("content-type", "text/csv");
    let mut received = json_of(file.body(register()).send().unwrap(), 202);
    let path = received["links"]["self"].as_str().unwrap().to_owned();
    api.settle(&api.osprey, &path);
    // A quick reader may have begun already.
    received["state"] = json!("received");
    all.insert("create_upload", received);
    all.insert("get_upload", osprey(&path));
    let findings = osprey(&format!("{path}/findings?severity=questioned"));
    let key = findings["findings"][0]["key"].clone();
    all.insert("list_findings", findings);
    all.insert("get_preview", osprey(&format!("{path}/preview?kind=specimen&limit=1")));
    let curate = |path: &str, body: Value, status| {
        json_of(api.post(path).bearer_auth(&api.curator).json(&body).send().unwrap(), status)
    };
    let links = format!("{path}/links");
    let mut made = curate(&links, json!({"key": key}), 201);
    all.insert("list_links", curator(&links));
    let withdrawn = format!("{links}/{}", made["id"]);
    all.insert("revoke_link", json_of(api.delete(&withdrawn).bearer_auth(&api.curator).send().unwrap(), 200));
    made["url"] =
        json!("https://club.example/questions/0123456789abcdef0123456789abcdef0123456789abcdef0123456789abcdef");
    all.insert("create_link", made);
    let asked = api.upload(
        &api.osprey,
        "name=phosphate.csv",
        "Tank,Date,PO4 (mg/L)\nLagoon,2025-03-04,0.05\nLagoon,2025-03-11,not detected\nLagoon,2025-03-18,0.06\n",
    );
    let of_asked = asked["links"]["self"].as_str().unwrap().to_owned();
    let found = api.findings(&api.osprey, &asked);
    let one = found.as_array().unwrap().iter().find(|finding| finding["severity"] == "questioned").unwrap();
    let link = curate(&format!("{of_asked}/links"), json!({"key": one["key"]}), 201);
    let question = format!("/questions/{}", link["url"].as_str().unwrap().rsplit('/').next().unwrap());
    all.insert("get_question", get(&question));
    let taken = api.post(&question).json(&json!({"choice": "limit", "value": 0.03})).send().unwrap();
    all.insert("answer_question", json_of(taken, 200));
    all.insert("get_layout", osprey(&format!("{of_asked}/layout")));
    json_of(api.delete(&of_asked).bearer_auth(&api.osprey).send().unwrap(), 200);
    let kit = json!({"parameter": "phosphate", "name": "Tidepool P2", "limit": 0.03});
    let preview = curate("/api/v1/kits/preview", kit.clone(), 200);
    let given = curate("/api/v1/kits", json!({"kit": kit, "confirm": preview["confirm"]}), 201);
    all.insert("preview_kit", preview);
    all.insert("list_kits", curator("/api/v1/kits"));
    let of_kit = format!("/api/v1/kits/{}", given["id"]);
    all.insert("answer_kit", given);
    all.insert("undo_kit", json_of(api.delete(&of_kit).bearer_auth(&api.curator).send().unwrap(), 200));
    let answers = json!({"answers": [{"key": key, "choice": "day", "value": "2024-01-01"}]});
    all.insert("answer_questions", post(&format!("{path}/answers"), answers, 200));
    all.insert("commit_upload", post(&format!("{path}/commit"), json!({}), 200));
    let call = json!({"on": "2025-06-20", "except": [{"specimen": "C02", "status": "off"}]});
    let called = post("/api/v1/roll-call", call, 201);
    let of_call = called["links"]["self"].as_str().unwrap().to_owned();
    all.insert("create_roll_call", called);
    all.insert("delete_upload", json_of(api.delete(&of_call).bearer_auth(&api.osprey).send().unwrap(), 200));
    all.insert("list_uploads", osprey("/api/v1/uploads?limit=1"));

    for (operation, _) in ALL {
        if let Some(of) = operation.strip_prefix("list_").filter(|of| KINDS.contains(of)) {
            all.insert(operation, first(curator(&format!("/api/v1/{of}?limit=2")), of, 2));
        }
    }
    for (number, (list, one)) in KINDS.iter().zip(ONES).enumerate() {
        let path = format!("/api/v1/{list}");
        if let Some((of, about)) = samples::before(list, number) {
            post(&format!("/api/v1/{of}"), about, 201);
        }
        let made = post(&path, sample(list, number), 201);
        let this = format!("{path}/{}", made["record"]["id"]);
        let mut put = |verb: &str, value: Value| {
            let name = format!("{verb}_{one}");
            let (known, _) = ALL.iter().find(|(known, _)| *known == name).unwrap();
            all.insert(known, value);
        };
        put("create", made);
        put("get", osprey(&this));
        let of =
            |request: reqwest::blocking::RequestBuilder| json_of(request.bearer_auth(&api.osprey).send().unwrap(), 200);
        let changed = of(api.patch(&this).json(&change(list)));
        let this = format!("{path}/{}", changed["record"]["id"]);
        put("change", changed);
        // What other records refer to stays.
        if !["tanks", "specimens", "instruments"].contains(list) {
            put("delete", of(api.delete(&this)));
        }
    }
    all.insert("get_me", osprey("/api/v1/me"));
    let body = json!({"role": "keeper", "keeper": "osprey", "label": "phone", "expires_days": 365});
    let made = json_of(api.post("/api/v1/tokens").bearer_auth(&api.curator).json(&body).send().unwrap(), 201);
    let path = format!("/api/v1/tokens/{}", made["id"]);
    all.insert("create_token", made);
    all.insert("list_tokens", curator("/api/v1/tokens?limit=1"));
    all.insert("revoke_token", json_of(api.delete(&path).bearer_auth(&api.curator).send().unwrap(), 200));
    accounts(&mut all, api);
    let body = json!({"handle": "sanderling", "keeping_since": 2016});
    all.insert("create_keeper", curate("/api/v1/keepers", body, 201));
    let band = json!({"taxon": "goniopora", "parameter": "nitrate", "lower": 5, "upper": 12, "since": "2025-06-01",
        "as_taught": "5 to 12 mg/L, tested weekly", "signed_by": "husbandry group", "note": "agreed at the June meeting"});
    all.insert("preview_band", curate("/api/v1/bands/preview", band.clone(), 200));
    let taught = curate("/api/v1/bands", band, 201);
    let path = format!("/api/v1/bands/{}", taught["id"]);
    all.insert("create_band", taught);
    all.insert("list_bands", first(curator("/api/v1/bands"), "catalogue", 2));
    all.insert("withdraw_band", json_of(api.delete(&path).bearer_auth(&api.curator).send().unwrap(), 200));
    let claim = json!({"code": "little_nitrate", "wording": "Flowerpots do better where nitrate stays under the band's upper edge.",
        "taxon": "goniopora", "condition": "nitrate_above", "outcome": "death", "direction": "more",
        "since": "2025-06-01", "signed_by": "husbandry group", "note": "agreed at the June meeting"});
    let taught = curate("/api/v1/claims", claim, 201);
    let path = format!("/api/v1/claims/{}", taught["id"]);
    all.insert("create_claim", taught);
    all.insert("withdraw_claim", json_of(api.delete(&path).bearer_auth(&api.curator).send().unwrap(), 200));
    let merge = json!({"keeper": "keeper1", "kind": "specimen", "from": "C3", "into": "C2"});
    let preview = curate("/api/v1/merges/preview", merge.clone(), 200);
    let joined = json!({"merge": merge, "confirm": preview["confirm"], "signed_by": "husbandry group",
        "note": "the card says it is the same colony"});
    let joined = curate("/api/v1/merges", joined, 201);
    all.insert("preview_merge", preview);
    let path = format!("/api/v1/merges/{}", joined["id"]);
    all.insert("create_merge", joined);
    all.insert("list_merges", curator("/api/v1/merges"));
    all.insert("undo_merge", json_of(api.delete(&path).bearer_auth(&api.curator).send().unwrap(), 200));
    let name = json!({"name": "flowerpot", "taxon": "goniopora", "since": "2025-06-01", "signed_by": "husbandry group",
        "note": "all of ours had 24 tentacles"});
    all.insert("preview_name", curate("/api/v1/names/preview", name.clone(), 200));
    let agreed = curate("/api/v1/names", name, 201);
    let path = format!("/api/v1/names/{}", agreed["id"]);
    all.insert("create_name", agreed);
    all.insert("list_names", curator("/api/v1/names"));
    all.insert("withdraw_name", json_of(api.delete(&path).bearer_auth(&api.curator).send().unwrap(), 200));
    all.insert("list_asks", first(curator("/api/v1/who-to-ask?limit=1"), "keepers", 1));
    let patch =
        |path: &str, body: Value| json_of(api.patch(path).bearer_auth(&api.curator).json(&body).send().unwrap(), 200);
    all.insert("change_keeper", patch("/api/v1/keepers/sanderling", json!({"keeping_since": 2014})));
    all.insert("list_keepers", first(curator("/api/v1/keepers?limit=2"), "keepers", 2));
    let leaving = api.delete("/api/v1/keepers/sanderling?confirm=sanderling").bearer_auth(&api.curator);
    all.insert("withdraw_keeper", json_of(leaving.send().unwrap(), 200));
    all.insert("change_settings", patch("/api/v1/settings", json!({"release_days": 14})));
    all.insert("list_settings", curator("/api/v1/settings"));
    // A question waits for the release that the withdrawal forces; the next one is the one asked for.
    get("/api/v1/claims");
    all.insert("create_release", first(curate("/api/v1/releases", json!({}), 201), "releases", 1));
    all.insert("list_releases", first(curator("/api/v1/releases"), "releases", 1));
    all.insert("list_audit", first(curator("/api/v1/audit?action=make%20release"), "audit", 1));
    let heron = api.delete("/api/v1/me?confirm=heron").bearer_auth(&api.heron);
    all.insert("withdraw_me", json_of(heron.send().unwrap(), 200));
    for example in all.values_mut() {
        settled(example);
    }
    all
}

/// The answers about accounts: a curator who sets up, a keeper who is invited.
fn accounts(all: &mut BTreeMap<&'static str, Value>, api: &Api) {
    let password = "a tern fishes at dusk";
    let cookie = |response: &reqwest::blocking::Response| {
        response.headers()["set-cookie"].to_str().unwrap().split(';').next().unwrap().to_owned()
    };
    let code = server::access::setup::renew(&mut api.connect()).unwrap().unwrap();
    let body = json!({"code": code, "club": "Tidepool Reef Circle", "name": "whimbrel", "password": password});
    all.insert("create_curator", json_of(api.post("/api/v1/setup").json(&body).send().unwrap(), 201));
    let invite = |body: Value| {
        json_of(api.post("/api/v1/invitations").bearer_auth(&api.curator).json(&body).send().unwrap(), 201)
    };
    let made = invite(json!({"role": "keeper", "keeper": "osprey"}));
    let secret = made["url"].as_str().unwrap().rsplit('/').next().unwrap().to_owned();
    all.insert("create_invitation", made);
    let body = json!({"secret": secret, "name": "osprey", "password": password});
    let accepted = api.post("/api/v1/invitations/accept").json(&body).send().unwrap();
    all.insert("accept_invitation", json_of(accepted, 201));
    let body = json!({"name": "osprey", "password": password});
    let signed_in = api.post("/api/v1/session").json(&body).send().unwrap();
    let session = cookie(&signed_in);
    let who = json_of(signed_in, 201);
    let csrf = who["csrf"].as_str().unwrap().to_owned();
    all.insert("create_session", who);
    let sign = |request: reqwest::blocking::RequestBuilder| {
        request.header("cookie", &session).header("x-csrf-token", &csrf).send().unwrap()
    };
    all.insert("get_session", json_of(sign(api.get("/api/v1/session")), 200));
    let body = json!({"scopes": ["read"], "label": "spreadsheet", "expires_days": 90});
    let made = json_of(sign(api.post("/api/v1/me/tokens").json(&body)), 201);
    let path = format!("/api/v1/me/tokens/{}", made["id"]);
    all.insert("create_own_token", made);
    all.insert("list_own_tokens", json_of(sign(api.get("/api/v1/me/tokens")), 200));
    all.insert("revoke_own_token", json_of(sign(api.delete(&path)), 200));
    let body = json!({"present": password, "new": "kelp sways, limpets stay"});
    let changed = sign(api.post("/api/v1/me/password").json(&body));
    let fresh = cookie(&changed);
    let who = json_of(changed, 200);
    let out =
        api.delete("/api/v1/session").header("cookie", fresh).header("x-csrf-token", who["csrf"].as_str().unwrap());
    let account = who["account"].clone();
    all.insert("change_password", who);
    all.insert("delete_session", json_of(out.send().unwrap(), 200));
    let spare = format!("/api/v1/invitations/{}", invite(json!({"role": "reader", "expires_days": 3}))["id"]);
    all.insert("revoke_invitation", json_of(api.delete(&spare).bearer_auth(&api.curator).send().unwrap(), 200));
    let curator = |path: &str| json_of(api.get(path).bearer_auth(&api.curator).send().unwrap(), 200);
    all.insert("list_invitations", first(curator("/api/v1/invitations"), "invitations", 1));
    all.insert("list_accounts", first(curator("/api/v1/accounts"), "accounts", 2));
    let off = api.patch(&format!("/api/v1/accounts/{account}")).bearer_auth(&api.curator);
    all.insert("change_account", json_of(off.json(&json!({"disabled": true})).send().unwrap(), 200));
}

#[test]
fn examples_are_what_the_server_answers() {
    let api = Api::start();
    club(&api);
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../openapi/examples");
    let answered = asked(&api);
    let named: Vec<&str> = ALL.iter().map(|(operation, _)| *operation).collect();
    for (operation, answer) in &answered {
        assert!(named.contains(operation), "{operation}");
        let file = folder.join(format!("{operation}.json"));
        if std::env::var_os("WRITE_EXAMPLES").is_some() {
            std::fs::write(&file, serde_json::to_string_pretty(answer).unwrap() + "\n").unwrap();
            continue;
        }
        let kept: Value = serde_json::from_str(&std::fs::read_to_string(&file).unwrap()).unwrap();
        assert_eq!(kept, *answer, "openapi/examples/{operation}.json is not what the server answers");
    }
    assert_eq!(answered.len(), named.len());
}

#[test]
fn every_json_answer_of_the_document_has_an_example() {
    let document: Value = serde_json::from_str(&server::document::openapi_json().unwrap()).unwrap();
    for (path, item) in document["paths"].as_object().unwrap() {
        for (method, operation) in item.as_object().unwrap() {
            for (status, response) in operation["responses"].as_object().unwrap() {
                let json = &response["content"]["application/json"];
                if status.starts_with('2') && json.is_object() && operation["operationId"] != "get_openapi" {
                    assert!(json["example"].is_object(), "{method} {path} {status}");
                }
            }
        }
    }
}
