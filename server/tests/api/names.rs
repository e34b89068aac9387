//! What names of corals mean in the club: previewed, agreed on, read by, withdrawn.

use serde_json::{Value, json};

use crate::api_support::{Api, json_of, problem_of};

const LIST: &str =
    "ID,Coral,Acquired,Tank,Date died\nC01,flowerpot,2024-05-01,Lagoon,2025-02-01\nC02,Zorblax,2024-05-01,Lagoon,\n";

fn name(name: &str, taxon: &str) -> Value {
    json!({"name": name, "taxon": taxon, "signed_by": "husbandry group"})
}

/// Keys of what a list asks about names.
fn asked(api: &Api, token: &str) -> Vec<String> {
    let upload = api.upload(token, "name=corals.csv&as_of=2025-06-01", LIST);
    let found = api.findings(token, &upload);
    let keys = found
        .as_array()
        .unwrap()
        .iter()
        .filter(|of| of["severity"] == "questioned")
        .map(|of| of["key"].as_str().unwrap());
    keys.filter(|key| key.starts_with("name_")).map(str::to_owned).collect()
}

#[test]
fn later_files_are_read_by_what_was_agreed() {
    let api = Api::start();
    assert_eq!(asked(&api, &api.osprey), ["name_ambiguous:flowerpot", "name_unknown:zorblax"]);
    let post = |path: &str, body: &Value, status| {
        json_of(api.post(path).bearer_auth(&api.curator).json(body).send().unwrap(), status)
    };
    let preview = post("/api/v1/names/preview", &name("Flowerpot", "goniopora"), 200);
    assert_eq!((&preview["catalogue"], &preview["means_now"]), (&json!("ambiguous"), &Value::Null));
    let flowerpot = post("/api/v1/names", &name("Flowerpot", "goniopora"), 201);
    post("/api/v1/names", &name("zorblax", "euphyllia"), 201);
    assert_eq!(asked(&api, &api.heron), Vec::<String>::new());
    let gone = api.delete(&format!("/api/v1/names/{}", flowerpot["id"])).bearer_auth(&api.curator).send().unwrap();
    assert_eq!(json_of(gone, 200)["in_force"], false);
    let list = json_of(api.get("/api/v1/names").bearer_auth(&api.curator).send().unwrap(), 200);
    assert_eq!(list["names"].as_array().unwrap().len(), 2);
    problem_of(api.delete("/api/v1/names/999").bearer_auth(&api.curator).send().unwrap(), 404, "unknown-name");
}

#[test]
fn a_scientific_name_and_one_that_says_nothing_are_refused() {
    let api = Api::start();
    for wrong in ["Acropora tenuis", "???"] {
        let response =
            api.post("/api/v1/names").bearer_auth(&api.curator).json(&name(wrong, "gonipora")).send().unwrap();
        let problem = problem_of(response, 422, "invalid-value");
        let at: Vec<&str> =
            problem["errors"].as_array().unwrap().iter().map(|of| of["pointer"].as_str().unwrap()).collect();
        assert_eq!(at, ["/name", "/taxon"], "{wrong}");
    }
}
