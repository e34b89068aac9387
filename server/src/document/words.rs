//! Closed lists of words: what a query or a body takes and nothing else, from where it is read. Put into the document as it
//! is printed. Lists that grow (codes of parameters, taxa, conditions) stay open there.

use analysis::answer::Outcome;
use serde_json::{Map, Value, json};

use crate::access::{Right, Role};
use crate::chart::Size;
use crate::represent::Form;
use crate::route;

/// Puts the lists in.
pub fn put(document: &mut Value) {
    let Some(paths) = document["paths"].as_object_mut() else { return };
    for (path, item) in paths {
        for operation in item.as_object_mut().into_iter().flat_map(Map::values_mut) {
            let made: Vec<&str> = Form::ALL
                .into_iter()
                .filter(|form| operation["responses"]["200"]["content"].get(form.media_type()).is_some())
                .map(Form::format)
                .collect();
            let Some(parameters) = operation.get_mut("parameters").and_then(Value::as_array_mut) else { continue };
            // What is never a picture has no size.
            parameters.retain(|parameter| parameter["name"] != "size" || made.contains(&"svg"));
            for parameter in parameters {
                if parameter["in"] == "query" {
                    let words = of_query(path, parameter["name"].as_str().unwrap_or_default(), &made);
                    query(&mut parameter["schema"], &words);
                }
            }
        }
    }
    let roles: Vec<&str> = Role::OF_TOKENS.iter().map(|role| role.as_str()).collect();
    let rights: Vec<&str> = Right::ALL.iter().map(|right| right.as_str()).collect();
    for (place, words) in [
        ("TokenRequest/properties/role", &roles),
        ("InvitationRequest/properties/role", &roles),
        ("TokenRequest/properties/scopes/items", &rights),
        ("OwnTokenRequest/properties/scopes/items", &rights),
    ] {
        if let Some(schema) = document.pointer_mut(&format!("/components/schemas/{place}")) {
            listed(schema, words);
        }
    }
    for place in ["TokenRequest", "OwnTokenRequest"] {
        if let Some(schema) = document.pointer_mut(&format!("/components/schemas/{place}/properties/scopes")) {
            schema["minItems"] = json!(1);
        }
    }
}

/// The words that a parameter takes; none if it takes others too.
fn of_query(path: &str, name: &str, made: &[&str]) -> Vec<String> {
    let words: Vec<&str> = match name {
        "format" => made.to_vec(),
        "csv" => route::CSV.to_vec(),
        "size" => Size::WORDS.to_vec(),
        "outcome" => Outcome::ALL.iter().map(|outcome| outcome.as_str()).collect(),
        "rank" => route::RANKS.iter().map(|rank| rank.as_str()).collect(),
        "kind" if path.ends_with("/parameters") => route::KINDS.to_vec(),
        _ => Vec::new(),
    };
    words.into_iter().map(str::to_owned).collect()
}

/// A parameter of a query: what is empty is left out, never sent.
fn query(schema: &mut Value, words: &[String]) {
    if !words.is_empty() {
        listed(schema, &words.iter().map(String::as_str).collect::<Vec<_>>());
    } else if schema["type"] == "string" && schema.get("format").is_none() {
        schema["minLength"] = json!(1);
    }
}

fn listed(schema: &mut Value, words: &[&str]) {
    let mut all: Vec<Value> = words.iter().map(|word| json!(word)).collect();
    if schema["type"].as_array().is_some_and(|kinds| kinds.contains(&json!("null"))) {
        all.push(Value::Null);
    }
    schema["enum"] = json!(all);
}
