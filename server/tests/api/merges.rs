//! Two names of a member's that are one tank or one coral: previewed, joined, read by later files, taken apart.

use serde_json::{Value, json};

use crate::api_support::{Api, json_of, problem_of, water};

fn rows(api: &Api, list: &str) -> Value {
    json_of(api.get(&format!("/api/v1/{list}?limit=1000")).bearer_auth(&api.osprey).send().unwrap(), 200)[list].clone()
}

fn post(api: &Api, path: &str, body: &Value) -> reqwest::blocking::Response {
    api.post(path).bearer_auth(&api.curator).json(body).send().unwrap()
}

fn records(api: &Api) -> Vec<Value> {
    // Numbers of rows and dates of entry are the database's own.
    fn bare(value: &mut Value) {
        if let Value::Object(members) = value {
            members.retain(|name, _| name != "id" && !name.ends_with("_id"));
            members.values_mut().for_each(bare);
        }
    }
    let mut all: Vec<Value> = ["tanks", "readings", "specimens", "stays", "endings"].map(|list| rows(api, list)).into();
    for rows in &mut all {
        let Some(rows) = rows.as_array_mut() else { continue };
        rows.iter_mut().for_each(bare);
        rows.sort_by_key(Value::to_string);
    }
    all
}

#[test]
fn tanks_are_joined_after_a_preview_and_taken_apart_as_before() {
    let api = Api::start();
    api.commit(&api.osprey, "name=tests.csv", water("Lagoon", 5.0));
    let second = "Tank,Date,Nitrate (mg/L)\nQuarantine,2025-05-04,7\nQuarantine,2025-05-18,8\n";
    api.commit(&api.osprey, "name=more.csv&log=more", second);
    let before = records(&api);
    assert_eq!(before[0].as_array().unwrap().len(), 2);
    let merge = json!({"keeper": "Osprey", "kind": "tank", "from": "quarantine", "into": "Lagoon"});
    let preview = json_of(post(&api, "/api/v1/merges/preview", &merge), 200);
    let readings = preview["kinds"].as_array().unwrap().iter().find(|of| of["kind"] == "reading").unwrap();
    assert_eq!((&readings["added"], &readings["removed"]), (&json!(2), &json!(2)), "{preview:#}");
    assert!(readings["examples"][0].as_str().unwrap().starts_with("quarantine|2025-05-04"), "{preview:#}");
    assert_eq!(preview["conflicts"], json!([]));
    assert_eq!(records(&api), before, "a preview changes nothing");
    let confirmed = |confirm: &Value| json!({"merge": merge, "confirm": confirm, "signed_by": "husbandry group"});
    // Something came in between.
    api.commit(&api.osprey, "name=third.csv&log=third", "Tank,Date,Nitrate (mg/L)\nLagoon,2025-06-01,5\n");
    problem_of(post(&api, "/api/v1/merges", &confirmed(&preview["confirm"])), 409, "preview-outdated");
    let before = records(&api);
    let preview = json_of(post(&api, "/api/v1/merges/preview", &merge), 200);
    let made = json_of(post(&api, "/api/v1/merges", &confirmed(&preview["confirm"])), 201);
    assert_eq!((&made["from"], &made["into"]), (&json!("Quarantine"), &json!("Lagoon")));
    assert_eq!(rows(&api, "tanks").as_array().unwrap().len(), 1);
    assert_eq!(rows(&api, "readings").as_array().unwrap().len(), 6);
    // A later file under the old name is the same tank, without a question.
    let upload =
        api.commit(&api.osprey, "name=fourth.csv&log=fourth", "Tank,Date,Nitrate (mg/L)\nQuarantine,2025-06-15,6\n");
    assert_eq!(rows(&api, "tanks").as_array().unwrap().len(), 1);
    let undo = api.delete(upload["links"]["self"].as_str().unwrap()).bearer_auth(&api.osprey).send().unwrap();
    json_of(undo, 200);
    // Taken apart, everything is as before; again, nothing changes.
    let path = format!("/api/v1/merges/{}", made["id"]);
    let gone = json_of(api.delete(&path).bearer_auth(&api.curator).send().unwrap(), 200);
    assert!(gone["withdrawn_at"].is_string());
    assert_eq!(json_of(api.delete(&path).bearer_auth(&api.curator).send().unwrap(), 200), gone);
    assert_eq!(records(&api), before);
    let list = json_of(api.get("/api/v1/merges").bearer_auth(&api.curator).send().unwrap(), 200);
    assert_eq!(list["merges"].as_array().unwrap().len(), 1);
    let done = json_of(api.get("/api/v1/audit?action=undo%20merge").bearer_auth(&api.curator).send().unwrap(), 200);
    assert_eq!(done["audit"].as_array().unwrap().len(), 1);
}

#[test]
fn corals_that_say_unlike_things_are_joined_with_a_warning() {
    let api = Api::start();
    let list = "ID,Coral,Acquired,Tank,Date died\nC1,Goniopora sp.,2024-01-01,Lagoon,2024-09-01\n\
                C2,Alveopora sp.,2024-05-01,Reef,2025-02-01\n";
    api.commit_register(&api.osprey, "name=corals.csv&as_of=2025-06-01", list, "2024-01-01");
    let before = records(&api);
    let merge = json!({"keeper": "osprey", "kind": "specimen", "from": "C2", "into": "C1"});
    let preview = json_of(post(&api, "/api/v1/merges/preview", &merge), 200);
    let about: Vec<&str> =
        preview["conflicts"].as_array().unwrap().iter().map(|of| of["about"].as_str().unwrap()).collect();
    assert_eq!(about, ["taxon", "acquired", "ending", "stay"], "{preview:#}");
    let confirmed = json!({"merge": merge, "confirm": preview["confirm"], "signed_by": "husbandry group"});
    let made = json_of(post(&api, "/api/v1/merges", &confirmed), 201);
    assert_eq!(rows(&api, "specimens").as_array().unwrap().len(), 1);
    assert_eq!(rows(&api, "endings").as_array().unwrap().len(), 1);
    json_of(api.delete(&format!("/api/v1/merges/{}", made["id"])).bearer_auth(&api.curator).send().unwrap(), 200);
    assert_eq!(records(&api), before);
}

#[test]
fn names_that_are_not_there_are_refused_together() {
    let api = Api::start();
    api.commit(&api.osprey, "name=tests.csv", water("Lagoon", 5.0));
    let wrong = json!({"keeper": "osprey", "kind": "tank", "from": "Lagon", "into": "Reef"});
    let problem = problem_of(post(&api, "/api/v1/merges/preview", &wrong), 422, "invalid-value");
    let at: Vec<&str> =
        problem["errors"].as_array().unwrap().iter().map(|of| of["pointer"].as_str().unwrap()).collect();
    assert_eq!(at, ["/from", "/into"]);
    assert!(problem["errors"][0]["detail"].as_str().unwrap().contains("'Lagoon'"), "the nearest is named");
    let same = json!({"keeper": "osprey", "kind": "tank", "from": "Lagoon", "into": " lagoon"});
    problem_of(post(&api, "/api/v1/merges/preview", &same), 422, "invalid-value");
    let nobody = json!({"keeper": "nobody", "kind": "tank", "from": "a", "into": "b"});
    problem_of(post(&api, "/api/v1/merges/preview", &nobody), 422, "invalid-value");
    problem_of(api.delete("/api/v1/merges/999").bearer_auth(&api.curator).send().unwrap(), 404, "unknown-merge");
}
