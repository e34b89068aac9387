//! The document: complete, equal to the file in the repository, and browsable without anything from outside.

use std::collections::BTreeSet;

use serde_json::Value;

use crate::api_support::{Api, json_of};

fn document() -> Value {
    serde_json::from_str(&server::document::openapi_json().unwrap()).unwrap()
}

fn operations(document: &Value) -> Vec<(String, String, Value)> {
    let mut all = Vec::new();
    for (path, item) in document["paths"].as_object().unwrap() {
        for (method, operation) in item.as_object().unwrap() {
            all.push((method.clone(), path.clone(), operation.clone()));
        }
    }
    all
}

#[test]
fn the_file_in_the_repository_is_the_document() {
    let file = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../openapi/openapi.json");
    let kept = std::fs::read_to_string(&file).unwrap_or_default();
    assert!(
        kept == server::document::openapi_json().unwrap(),
        "openapi/openapi.json is not what `strandline openapi` prints: print it again and review the difference"
    );
}

#[test]
fn it_is_openapi_3_1_and_served() {
    let document = document();
    assert!(document["openapi"].as_str().unwrap().starts_with("3.1."));
    let api = Api::start();
    let response = api.get("/api/v1/openapi.json").send().unwrap();
    assert_eq!(response.headers()["content-type"], "application/json");
    assert_eq!(json_of(response, 200), document);
}

#[test]
fn every_operation_is_named_explained_and_guarded() {
    let document = document();
    let tags: BTreeSet<&str> =
        document["tags"].as_array().unwrap().iter().map(|tag| tag["name"].as_str().unwrap()).collect();
    let mut ids = BTreeSet::new();
    for (method, path, operation) in operations(&document) {
        let place = format!("{method} {path}");
        let id = operation["operationId"].as_str().unwrap();
        let verb = id.split('_').next().unwrap();
        assert!(
            [
                "get", "list", "create", "change", "delete", "answer", "commit", "revoke", "preview", "undo", "export",
                "withdraw", "accept"
            ]
            .contains(&verb),
            "{place}: {id}"
        );
        assert!(ids.insert(id.to_owned()), "{id} stands twice");
        assert_eq!(operation["tags"].as_array().unwrap().len(), 1, "{place}");
        assert!(tags.contains(operation["tags"][0].as_str().unwrap()), "{place}");
        assert!(operation["summary"].as_str().is_some_and(|text| text.len() > 5), "{place}: summary");
        assert!(operation["description"].as_str().is_some_and(|text| text.len() > 20), "{place}: description");
        assert!(operation["security"].is_array(), "{place}: security is said");
        for parameter in operation["parameters"].as_array().into_iter().flatten() {
            let name = parameter["name"].as_str().unwrap();
            assert!(
                parameter["description"].as_str().is_some_and(|text| text.len() > 8),
                "{place}: {name} is described"
            );
            assert!(parameter.get("example").is_some() || name == "cursor", "{place}: {name} has an example");
            assert!(["path", "query", "header"].contains(&parameter["in"].as_str().unwrap()));
        }
        let responses = operation["responses"].as_object().unwrap();
        assert!(responses.keys().any(|status| status.starts_with('2')), "{place}");
        assert!(responses.contains_key("400") && responses.contains_key("500"), "{place}");
        let secured = operation["security"].as_array().unwrap().iter().all(|one| !one.as_object().unwrap().is_empty())
            && !operation["security"].as_array().unwrap().is_empty();
        assert_eq!(
            secured,
            responses.contains_key("403")
                && responses.contains_key("401")
                && !path.contains("taxa")
                && !path.ends_with("club")
                && (method != "get" || !path.ends_with("claims"))
                && (method != "get" || !path.contains("newsletter"))
                // Who signs in has no right yet, and may be refused one.
                && !["create_session", "create_curator", "accept_invitation"].contains(&id),
            "{place}"
        );
        for (status, response) in responses {
            let response = resolve(&document, response);
            assert!(response["description"].as_str().is_some_and(|text| !text.is_empty()), "{place} {status}");
            if status.starts_with('4') || status.starts_with('5') {
                if response["content"].get("application/problem+json").is_none() {
                    assert_eq!((path.as_str(), status.as_str()), ("/health/ready", "503"), "{place} {status}");
                    continue;
                }
                let content = &response["content"]["application/problem+json"];
                assert_eq!(content["schema"]["$ref"], "#/components/schemas/Problem", "{place} {status}");
                assert!(content.get("example").is_some() || content.get("examples").is_some(), "{place} {status}");
            }
        }
    }
}

fn resolve<'d>(document: &'d Value, value: &'d Value) -> &'d Value {
    match value["$ref"].as_str() {
        Some(place) => {
            document.pointer(place.strip_prefix('#').unwrap()).unwrap_or_else(|| panic!("{place} is not there"))
        }
        None => value,
    }
}

#[test]
fn every_reference_leads_somewhere_and_every_member_is_described() {
    let document = document();
    fn walk(document: &Value, value: &Value) {
        match value {
            Value::Object(members) => {
                if let Some(place) = members.get("$ref").and_then(Value::as_str) {
                    assert!(document.pointer(place.strip_prefix('#').unwrap()).is_some(), "{place} is not there");
                }
                members.values().for_each(|value| walk(document, value));
            }
            Value::Array(values) => values.iter().for_each(|value| walk(document, value)),
            _ => {}
        }
    }
    walk(&document, &document);
    for (name, schema) in document["components"]["schemas"].as_object().unwrap() {
        for (member, of) in schema["properties"].as_object().into_iter().flatten() {
            let described = of["description"].is_string() || of["$ref"].is_string() || of["oneOf"].is_array();
            assert!(described, "{name}.{member} is not described");
        }
    }
}

#[test]
fn the_browsable_page_loads_nothing_from_outside() {
    let api = Api::start();
    assert_eq!(api.get("/docs").send().unwrap().url().path(), "/docs/");
    for file in ["", "swagger-initializer.js", "index.css", "swagger-ui.css"] {
        let response = api.get(&format!("/docs/{file}")).send().unwrap();
        assert_eq!(response.status(), 200, "{file}");
        let text = response.text().unwrap();
        for attribute in ["src=\"http", "href=\"http", "url(http", "url(\"http", "@import"] {
            assert!(!text.contains(attribute), "{file} has {attribute}");
        }
        if file == "swagger-initializer.js" {
            assert!(text.contains("/api/v1/openapi.json"), "{text}");
            assert!(text.contains("validatorUrl") && text.contains("none"), "{text}");
        }
    }
}
