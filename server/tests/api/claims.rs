//! What the club itself teaches: dated, signed, asked of the records beside the catalogue's claims, withdrawn.

use serde_json::{Value, json};

use crate::answers::club;
use crate::api_support::{Api, json_of, problem_of};

fn claim(code: &str, condition: &str) -> Value {
    json!({"code": code, "wording": "As we teach it.", "taxon": "goniopora", "condition": condition, "outcome": "death",
        "direction": "more", "signed_by": "husbandry group"})
}

fn teach(api: &Api, claim: &Value) -> Value {
    json_of(api.post("/api/v1/claims").bearer_auth(&api.curator).json(claim).send().unwrap(), 201)
}

fn listed(api: &Api, token: &str, code: &str) -> Option<Value> {
    let list = json_of(api.get("/api/v1/claims").bearer_auth(token).send().unwrap(), 200);
    list["claims"].as_array().unwrap().iter().find(|of| of["claim"] == code).cloned()
}

#[test]
fn what_the_club_teaches_stands_signed_beside_the_catalogue() {
    let api = Api::start();
    club(&api);
    let release = || json_of(api.post("/api/v1/releases").bearer_auth(&api.curator).send().unwrap(), 201);
    release();
    let known = teach(&api, &claim("high_nitrate", "nitrate_above"));
    assert_eq!(
        (&known["looked_at_as"], &known["since"]),
        (&json!("nitrate above the taught band"), &json!("2025-06-30"))
    );
    let unknown = teach(&api, &claim("full_moon", "a full moon at purchase"));
    assert_eq!(unknown["looked_at_as"], Value::Null);
    let line = listed(&api, &api.curator, "high_nitrate").expect("it is taught");
    assert_eq!((&line["club"]["signed_by"], &line["club"]["id"]), (&json!("husbandry group"), &known["id"]));
    assert_eq!(line["taxa"][0]["taxon"], "goniopora");
    assert_eq!(line["taxa"][0]["looked_at"][0]["condition"], "nitrate_above", "{line:#}");
    let moon = listed(&api, &api.curator, "full_moon").expect("it is kept");
    assert_eq!(moon["taxa"][0]["verdict"], "never_looked_at", "{moon:#}");
    // Members and the public read what was taught when the release was made.
    assert!(listed(&api, &api.reader, "high_nitrate").is_none());
    release();
    let told = listed(&api, &api.reader, "high_nitrate").expect("it is in the release");
    assert_eq!(told["club"], line["club"]);
    let gone =
        json_of(api.delete(&format!("/api/v1/claims/{}", known["id"])).bearer_auth(&api.curator).send().unwrap(), 200);
    assert!(gone["withdrawn_at"].is_string());
    assert!(
        listed(&api, &api.curator, "high_nitrate").is_none() && listed(&api, &api.reader, "high_nitrate").is_some()
    );
    // Its code is free again.
    teach(&api, &claim("high_nitrate", "nitrate"));
}

#[test]
fn everything_wrong_with_a_claim_is_said_at_once() {
    let api = Api::start();
    let post = |body: &Value| api.post("/api/v1/claims").bearer_auth(&api.curator).json(body).send().unwrap();
    let mut wrong = claim("9 lives", "");
    wrong["taxon"] = json!("gonipora");
    wrong["since"] = json!("2031-01-01");
    wrong["signed_by"] = json!("");
    let problem = problem_of(post(&wrong), 422, "invalid-value");
    let at: Vec<&str> =
        problem["errors"].as_array().unwrap().iter().map(|of| of["pointer"].as_str().unwrap()).collect();
    assert_eq!(at, ["/code", "/taxon", "/condition", "/since", "/signed_by"]);
    let mut sideways = claim("a", "nitrate");
    sideways["direction"] = json!("sideways");
    problem_of(post(&sideways), 400, "invalid-body");
    // A code of the catalogue's, or one that stands, is taken.
    assert_eq!(
        problem_of(post(&claim("not_too_clean", "nitrate")), 422, "invalid-value")["errors"][0]["code"],
        "taken"
    );
    teach(&api, &claim("own", "nitrate"));
    assert_eq!(problem_of(post(&claim("own", "nitrate")), 422, "invalid-value")["errors"][0]["code"], "taken");
    problem_of(api.delete("/api/v1/claims/999").bearer_auth(&api.curator).send().unwrap(), 404, "unknown-claim");
}
