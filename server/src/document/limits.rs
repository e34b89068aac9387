//! What a reader of the document may rely on without being told by every route: bounds of texts, numbers and lists, and the
//! headers that every response has. Put into the document as it is printed.

use serde_json::{Map, Value, json};

/// Characters of a text that has no bound of its own: the longest body there is.
const LONGEST: u64 = 67_108_864;
/// Items of a list that has no bound of its own.
const MOST: u64 = 1_000_000;
/// Whole numbers that every reader of JSON keeps (RFC 8259, section 6).
const WHOLE: i64 = 9_007_199_254_740_991;

/// Puts bounds and headers in.
pub fn put(document: &mut Value) {
    document["info"]["contact"] = json!({"name": "The club's records secretary"});
    if let Some(server) = document["servers"].get_mut(0) {
        server["description"] = json!("This server: a club's own, in production");
        server["x-internal"] = json!(false);
    }
    document["components"]["headers"] = headers();
    if let Some(schemas) = document["components"]["schemas"].as_object_mut() {
        schemas.values_mut().for_each(bound);
    }
    walk(document, "");
    scopes(document);
    used(document);
}

fn headers() -> Value {
    let text = |about: &str, example: &str| {
        let schema = json!({"type": "string", "maxLength": 200, "pattern": "^[ -~]*$"});
        json!({"description": about, "schema": schema, "example": example})
    };
    json!({
        "RateLimit": text("What is left to the caller: requests and seconds until the window begins anew. Not sent to this machine itself.", "\"default\";r=597;t=31"),
        "RateLimit-Policy": text("Requests a window, and its length in seconds.", "\"default\";q=600;w=60"),
        "Access-Control-Allow-Origin": text("Reads may come from any page: `*`. Not sent to requests that change something.", "*"),
        "X-Request-Id": text("The id of the request, as sent or made: it stands in the log.", "5f1d0c2e9a7b4c3d8e6f001122334455"),
        "Retry-After": {"description": "Seconds to wait.", "schema": {"type": "integer", "format": "int32", "minimum": 0, "maximum": 86400}, "example": 31},
    })
}

/// Walks over the document: schemas get their bounds, responses their headers.
fn walk(value: &mut Value, under: &str) {
    match value {
        Value::Object(members) => {
            if under == "responses" {
                for (status, response) in members.iter_mut() {
                    if response.get("$ref").is_none() {
                        respond(status, response);
                    }
                }
            }
            for (name, member) in members.iter_mut() {
                // An example is what it is.
                if name == "example" || name == "examples" {
                    continue;
                }
                if name == "schema" {
                    bound(member);
                }
                if name == "content" {
                    bytes(member);
                }
                walk(member, name);
            }
        }
        Value::Array(values) => values.iter_mut().for_each(|value| walk(value, under)),
        _ => {}
    }
}

/// The headers of a response; `status` is a number, or the name of one that several operations share.
fn respond(status: &str, response: &mut Value) {
    let Some(response) = response.as_object_mut() else { return };
    let headers = response.entry("headers").or_insert_with(|| json!({}));
    let Some(headers) = headers.as_object_mut() else { return };
    let mut names = vec!["RateLimit", "RateLimit-Policy", "Access-Control-Allow-Origin", "X-Request-Id"];
    if status == "429" || status == "quota-exceeded" {
        names.push("Retry-After");
    }
    for name in names {
        headers.entry(name).or_insert_with(|| json!({"$ref": format!("#/components/headers/{name}")}));
    }
}

/// Bytes are bytes, not lists of small numbers.
fn bytes(content: &mut Value) {
    let Some(content) = content.as_object_mut() else { return };
    for (media, of) in content.iter_mut() {
        let binary = ["octet-stream", "parquet", "image/png", "zip"].iter().any(|kind| media.contains(kind));
        if binary && of["schema"]["type"] == "array" {
            of["schema"] = json!({"type": "string", "format": "binary", "maxLength": LONGEST});
        }
    }
}

/// Bounds of a schema and of all within it.
fn bound(schema: &mut Value) {
    let Some(members) = schema.as_object_mut() else { return };
    if members.contains_key("$ref") {
        return;
    }
    let is = |members: &Map<String, Value>, kind: &str| match members.get("type") {
        Some(Value::String(one)) => one == kind,
        Some(Value::Array(several)) => several.iter().any(|one| one == kind),
        _ => false,
    };
    let listed = members.contains_key("enum") || members.contains_key("const");
    if is(members, "string") && !listed {
        let format = members.get("format").and_then(Value::as_str).map(str::to_owned);
        let most = match format.as_deref() {
            Some("date") => 10,
            Some("date-time") => 40,
            _ => LONGEST,
        };
        members.entry("maxLength").or_insert_with(|| json!(most));
        if format.is_none() {
            // No text of the records holds it.
            members.entry("pattern").or_insert_with(|| json!("^[^\\u0000]*$"));
        }
    }
    if is(members, "integer") && !listed {
        let format = members.entry("format").or_insert_with(|| json!("int64")).clone();
        let (low, high) = match format.as_str() {
            Some("int32") => (i64::from(i32::MIN), i64::from(i32::MAX)),
            _ => (-WHOLE, WHOLE),
        };
        // Formats of this program's own numbers are none of the open list.
        if !matches!(format.as_str(), Some("int32" | "int64")) {
            members.insert("format".to_owned(), json!("int64"));
        }
        members.entry("minimum").or_insert_with(|| json!(low));
        members.entry("maximum").or_insert_with(|| json!(high));
    }
    if is(members, "array") {
        members.entry("maxItems").or_insert_with(|| json!(MOST));
    }
    for name in ["items", "additionalProperties", "not", "propertyNames"] {
        if let Some(inner) = members.get_mut(name) {
            bound(inner);
        }
    }
    for name in ["oneOf", "anyOf", "allOf", "prefixItems"] {
        members.get_mut(name).and_then(Value::as_array_mut).into_iter().flatten().for_each(bound);
    }
    if let Some(properties) = members.get_mut("properties").and_then(Value::as_object_mut) {
        properties.values_mut().for_each(bound);
    }
}

/// Scopes are said in words beside the requirement: a bearer scheme has none of its own to list.
fn scopes(document: &mut Value) {
    let Some(paths) = document["paths"].as_object_mut() else { return };
    for operation in paths.values_mut().filter_map(Value::as_object_mut).flat_map(|item| item.values_mut()) {
        let mut needed = Vec::new();
        for requirement in operation["security"].as_array_mut().into_iter().flatten() {
            let Some(of) = requirement.as_object_mut() else { continue };
            for scopes in of.values_mut().filter_map(Value::as_array_mut) {
                needed.extend(scopes.drain(..).filter_map(|scope| scope.as_str().map(str::to_owned)));
            }
        }
        if !needed.is_empty() {
            operation["x-scopes"] = json!(needed);
            let about = operation["description"].as_str().unwrap_or_default();
            operation["description"] = json!(format!("{about}\n\nScope of the token: `{}`.", needed.join("`, `")));
        }
    }
}

/// Responses that no operation refers to are left out.
fn used(document: &mut Value) {
    let text = document["paths"].to_string();
    if let Some(responses) = document["components"]["responses"].as_object_mut() {
        responses.retain(|name, _| text.contains(&format!("#/components/responses/{name}\"")));
    }
}
