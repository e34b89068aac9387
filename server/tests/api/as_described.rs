//! What the document says of requests is what the server takes: its closed lists, its methods, its bodies.

use std::collections::BTreeSet;

use reqwest::Method;
use serde_json::{Value, json};
use server::represent::negotiate::FORMATS;

use crate::api_support::{Api, json_of, problem_of};

fn document() -> Value {
    serde_json::from_str(&server::document::openapi_json().unwrap()).unwrap()
}

/// The words that the document lists for a parameter of a GET; none if it has no such parameter.
fn listed(document: &Value, path: &str, name: &str) -> Option<Vec<String>> {
    let parameters = document["paths"][path]["get"]["parameters"].as_array()?;
    let schema = &parameters.iter().find(|parameter| parameter["name"] == name)?["schema"];
    Some(schema["enum"].as_array()?.iter().map(|word| word.as_str().unwrap().to_owned()).collect())
}

#[test]
fn each_format_that_is_listed_is_made_and_no_other() {
    let (api, document) = (Api::start(), document());
    for path in ["/parameters", "/taxa/{slug}/bands", "/taxa/{slug}/lead-up", "/taxa/{slug}/report", "/who-to-ask"] {
        let path = format!("/api/v1{path}");
        let words = listed(&document, &path, "format").unwrap();
        for format in FORMATS {
            let asked = format!("{}?format={format}", path.replace("{slug}", "goniopora"));
            let answer = api.get(&asked).bearer_auth(&api.curator).send().unwrap();
            let expected = if words.iter().any(|word| word == format) { 200 } else { 406 };
            assert_eq!(answer.status(), expected, "{asked}");
        }
        let pictures = words.contains(&"svg".to_owned());
        assert_eq!(listed(&document, &path, "size").is_some(), pictures, "{path}: a size is a picture's");
    }
}

#[test]
fn each_word_that_is_listed_is_taken() {
    let (api, document) = (Api::start(), document());
    for (path, name) in
        [("/taxa", "rank"), ("/parameters", "kind"), ("/taxa/{slug}/survival", "outcome"), ("/parameters", "csv")]
    {
        let path = format!("/api/v1{path}");
        let asked = |word: &str| {
            let address = format!("{}?{name}={word}", path.replace("{slug}", "goniopora"));
            api.get(&address).bearer_auth(&api.curator).send().unwrap()
        };
        let words = listed(&document, &path, name).unwrap();
        assert!(words.len() > 1, "{path} {name}");
        for word in words {
            assert_eq!(asked(&word).status(), 200, "{path} {name}={word}");
        }
        problem_of(asked("whelk"), 400, "invalid-query");
    }
}

#[test]
fn an_address_of_its_own_takes_its_own_methods() {
    let api = Api::start();
    for path in ["bands/preview", "names/preview", "merges/preview", "kits/preview", "invitations/accept"] {
        let path = format!("/api/v1/{path}");
        let refused = api.delete(&path).bearer_auth(&api.curator).send().unwrap();
        assert_eq!(refused.headers()["allow"], "POST, OPTIONS", "{path}");
        problem_of(refused, 405, "method-not-allowed");
        let told = api.client.request(Method::OPTIONS, api.url(&path)).send().unwrap();
        assert_eq!(told.headers()["allow"], "POST, OPTIONS", "{path}");
    }
    problem_of(api.delete("/api/v1/bands/first").bearer_auth(&api.curator).send().unwrap(), 404, "not-found");
}

#[test]
fn a_change_has_a_body() {
    let api = Api::start();
    for path in ["/api/v1/settings", "/api/v1/keepers/osprey"] {
        let asked = || api.patch(path).bearer_auth(&api.curator);
        let problem = problem_of(asked().body("").send().unwrap(), 400, "invalid-body");
        assert_eq!(problem["errors"][0]["code"], "missing", "{path}");
        problem_of(asked().header("content-type", "application/json").body("").send().unwrap(), 400, "invalid-body");
    }
}

#[test]
fn no_problem_repeats_a_nul_character() {
    let api = Api::start();
    for query in ["kind=rea%00ding", "ki%00nd=reading", "format=%00"] {
        let problem = problem_of(api.get(&format!("/api/v1/parameters?{query}")).send().unwrap(), 400, "invalid-query");
        assert!(!problem.to_string().contains("\\u0000"), "{problem:#}");
    }
    let problem = problem_of(api.get("/api/v1/parameters/a%00b").send().unwrap(), 404, "unknown-parameter");
    assert!(!problem.to_string().contains("\\u0000"), "{problem:#}");
}

#[test]
fn settings_are_described_as_they_are_taken() {
    let (api, document) = (Api::start(), document());
    let change = &document["components"]["schemas"]["SettingsChange"];
    assert_eq!(change["additionalProperties"], false);
    let described: BTreeSet<&str> = change["properties"].as_object().unwrap().keys().map(String::as_str).collect();
    let settings = json_of(api.get("/api/v1/settings").bearer_auth(&api.curator).send().unwrap(), 200);
    let known: BTreeSet<&str> =
        settings["settings"].as_array().unwrap().iter().map(|setting| setting["key"].as_str().unwrap()).collect();
    assert_eq!(described, known);
    let asked = |body: &Value| api.patch("/api/v1/settings").bearer_auth(&api.curator).json(body).send().unwrap();
    // The edges of what is described, and what lies beyond them.
    for (taken, refused) in [
        (json!({"release_days": 0}), json!({"release_days": -1})),
        (json!({"release_days": 365}), json!({"release_days": 366})),
        (json!({"publish": null}), json!({"publish": "yes"})),
        (json!({"name": "T"}), json!({"name": ""})),
        (json!({"name": "t".repeat(120)}), json!({"name": "t".repeat(121)})),
        (json!({"name": "Tidepool Reef Circle"}), json!({"name": " Tidepool"})),
    ] {
        json_of(asked(&taken), 200);
        problem_of(asked(&refused), 400, "invalid-body");
    }
}

#[test]
fn a_figure_and_a_refusal_are_told_apart() {
    // Each part of an answer is one of two shapes: the figure has a member that a refusal lacks.
    let document = document();
    let schemas = document["components"]["schemas"].as_object().unwrap();
    let mut parts = 0;
    for (name, part) in schemas.iter().filter(|(name, _)| name.starts_with("Part_")) {
        for figure in part["oneOf"].as_array().unwrap() {
            let figure = figure["$ref"].as_str().map_or(figure, |place| document.pointer(&place[1..]).unwrap());
            if figure["type"] == "object" {
                assert!(figure["required"].as_array().is_some_and(|members| !members.is_empty()), "{name}");
                parts += 1;
            }
        }
    }
    assert!(parts > 40, "{parts}");
}
