//! The same answer in other forms: Parquet beside CSV column by column, and pictures.

use std::collections::BTreeMap;

use actix_web::web::Bytes;
use parquet::file::reader::{FileReader, SerializedFileReader};
use parquet::record::Field;
use serde_json::Value;

use crate::answers::club;
use crate::api_support::{Api, json_of, problem_of};
use crate::legible::legible;
use crate::records::KINDS;

const PARQUET: &str = "application/vnd.apache.parquet";
const OF_TAXA: &[&str] =
    &["survival?by=nitrate", "growth?", "conditions?", "bands?", "hazard?", "lead-up?", "plan?", "casebook?"];
const PICTURES: &[&str] =
    &["survival?", "survival?by=nitrate&", "survival?by=year&", "bands?", "conditions?", "hazard?"];

/// Everything that is made as CSV.
fn tables() -> Vec<String> {
    let of_taxa = OF_TAXA.iter().map(|of| format!("/api/v1/taxa/goniopora/{of}"));
    let lists = ["taxa?", "taxa/goniopora?", "claims?", "parameters?", "parameters/nitrate?"].into_iter();
    let lists = lists.chain(KINDS.iter().copied()).map(|of| format!("/api/v1/{of}"));
    of_taxa.chain(lists).collect()
}

fn with(path: &str, more: &str) -> String {
    let path = if path.contains('?') { path.to_owned() } else { format!("{path}?") };
    format!("{path}&{more}").replace("?&", "?")
}

fn body(api: &Api, path: &str, token: &str) -> Vec<u8> {
    let response = api.get(path).bearer_auth(token).send().unwrap();
    assert_eq!(response.status(), 200, "{path}: {}", response.text().unwrap());
    response.bytes().unwrap().to_vec()
}

/// A cell as CSV writes it.
fn written(field: &Field) -> String {
    match field {
        Field::Null => String::new(),
        Field::Str(text) => text.clone(),
        Field::Double(number) => number.to_string(),
        Field::Date(_) => field.to_string(),
        other => other.to_string(),
    }
}

#[test]
fn parquet_has_the_columns_rows_and_values_of_csv() {
    let api = Api::start();
    club(&api);
    let mut kinds: BTreeMap<String, usize> = BTreeMap::new();
    for path in tables() {
        let csv = body(&api, &with(&path, "format=csv"), &api.curator);
        let mut csv = csv::Reader::from_reader(csv.as_slice());
        let names: Vec<String> = csv.headers().unwrap().iter().map(str::to_owned).collect();
        let expected: Vec<Vec<String>> = csv
            .records()
            .map(|row| row.unwrap().iter().map(|cell| importer::formula_guard::unguarded(cell).to_owned()).collect())
            .collect();

        let bytes = body(&api, &with(&path, "format=parquet"), &api.curator);
        let reader = SerializedFileReader::new(Bytes::from(bytes)).unwrap();
        let about = reader.metadata().file_metadata();
        let schema = about.schema().get_fields();
        assert_eq!(schema.iter().map(|field| field.name().to_owned()).collect::<Vec<_>>(), names, "{path}");
        for field in schema {
            *kinds.entry(field.get_physical_type().to_string()).or_default() += 1;
        }
        let rows: Vec<Vec<String>> = reader
            .get_row_iter(None)
            .unwrap()
            .map(|row| row.unwrap().get_column_iter().map(|(_, field)| written(field)).collect())
            .collect();
        assert_eq!(rows, expected, "{path}");

        let said: BTreeMap<&str, &str> = about
            .key_value_metadata()
            .into_iter()
            .flatten()
            .map(|pair| (pair.key.as_str(), pair.value.as_deref().unwrap_or_default()))
            .collect();
        let schema: Value = serde_json::from_str(said["table_schema"]).unwrap();
        for (field, name) in schema["fields"].as_array().unwrap().iter().zip(&names) {
            assert_eq!(field["name"], **name, "{path}");
            assert!(field["description"].as_str().is_some_and(|text| text.len() > 1), "{path}: {name} is described");
        }
        if !path.contains("parameters") {
            assert!(said.contains_key("edition"), "{path}: {said:?}");
        }
    }
    for kind in ["BYTE_ARRAY", "DOUBLE", "INT64", "INT32", "BOOLEAN"] {
        assert!(kinds.contains_key(kind), "no column of {kind}: {kinds:?}");
    }
}

#[test]
fn parquet_is_asked_for_by_its_media_type_and_validated_apart() {
    let api = Api::start();
    club(&api);
    let path = "/api/v1/taxa/goniopora/survival";
    let response = api.get(path).header("accept", PARQUET).send().unwrap();
    assert_eq!(response.headers()["content-type"], PARQUET);
    assert!(response.headers()["content-disposition"].to_str().unwrap().ends_with(".parquet\""));
    let tag = response.headers()["etag"].to_str().unwrap().to_owned();
    let again = api.get(path).header("accept", PARQUET).header("if-none-match", &tag).send().unwrap();
    assert_eq!(again.status(), 304);
    assert_eq!(api.get(path).header("if-none-match", &tag).send().unwrap().status(), 200, "JSON is another one");
    problem_of(api.get("/api/v1/club?format=parquet").send().unwrap(), 400, "invalid-query");
}

#[test]
fn pictures_are_made_for_every_reader_and_cached_like_answers() {
    let api = Api::start();
    club(&api);
    for of in PICTURES {
        for (token, size) in [(None, "column"), (Some(&api.reader), "slide"), (Some(&api.curator), "column")] {
            let path = format!("/api/v1/taxa/goniopora/{of}format=svg&size={size}");
            let ask = |path: &str| match token {
                Some(token) => api.get(path).bearer_auth(token),
                None => api.get(path),
            };
            let response = ask(&path).send().unwrap();
            assert_eq!(response.status(), 200, "{path}");
            assert_eq!(response.headers()["content-type"], "image/svg+xml");
            let tag = response.headers()["etag"].to_str().unwrap().to_owned();
            assert_eq!(ask(&path).header("if-none-match", tag).send().unwrap().status(), 304, "{path}");
            let svg = response.text().unwrap();
            legible(&svg).unwrap_or_else(|fault| panic!("{path}: {fault}"));
            assert!(svg.contains("Goniopora"), "{path}");
            let found = analysis::wording::forbidden(&svg);
            assert!(found.is_empty(), "{path}: {found:?}");
            let png = path.replace("format=svg", "format=png");
            let (first, second) =
                (ask(&png).send().unwrap().bytes().unwrap(), ask(&png).send().unwrap().bytes().unwrap());
            assert!(first.starts_with(b"\x89PNG") && first == second, "{png}");
        }
    }
    let picture = api.get("/api/v1/taxa/goniopora/hazard").header("accept", "image/png").send().unwrap();
    assert_eq!(picture.headers()["content-type"], "image/png");
}

#[test]
fn a_refusal_is_a_picture_that_says_so() {
    let api = Api::start();
    club(&api);
    for of in ["survival?", "bands?", "conditions?", "hazard?"] {
        let path = format!("/api/v1/taxa/heliofungia-actiniformis/{of}");
        let answer = json_of(api.get(&path).send().unwrap(), 200);
        let Some(message) = answer.pointer("/result/refused/message").and_then(Value::as_str) else { continue };
        let svg = api.get(&format!("{path}format=svg")).send().unwrap().text().unwrap();
        let start: String = message.split_whitespace().take(3).collect::<Vec<_>>().join(" ");
        assert!(svg.contains("No figure.") && svg.contains(&start), "{path}: {svg}");
        legible(&svg).unwrap_or_else(|fault| panic!("{path}: {fault}"));
    }
}

#[test]
fn pictures_are_refused_where_there_are_none() {
    let api = Api::start();
    club(&api);
    problem_of(api.get("/api/v1/taxa/goniopora/casebook?format=svg").send().unwrap(), 406, "not-acceptable");
    problem_of(api.get("/api/v1/taxa/goniopora/hazard?size=slide").send().unwrap(), 400, "invalid-query");
    problem_of(api.get("/api/v1/taxa/goniopora/hazard?format=svg&size=poster").send().unwrap(), 400, "invalid-query");
}
