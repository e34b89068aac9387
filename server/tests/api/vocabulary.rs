//! What is measured: the same for everybody, as JSON and as CSV.

use crate::api_support::{Api, json_of, problem_of};

#[test]
fn parameters_come_with_units_and_cut_points() {
    let api = Api::start();
    let all = json_of(api.get("/api/v1/parameters").send().unwrap(), 200);
    let codes: Vec<&str> =
        all["parameters"].as_array().unwrap().iter().map(|row| row["code"].as_str().unwrap()).collect();
    for code in ["nitrate", "alkalinity", "salinity", "temperature"] {
        assert!(codes.contains(&code), "{code}");
    }
    let nitrate = json_of(api.get("/api/v1/parameters/nitrate").send().unwrap(), 200);
    assert_eq!(nitrate["unit"], "mg/L");
    assert!(nitrate["ladder"].as_array().unwrap().len() >= 3);
    // 1 mg/L of nitrogen is 62.004/14.007 mg/L of nitrate: molar masses from the standard atomic weights of IUPAC.
    let as_nitrogen = nitrate["written_in"]
        .as_array()
        .unwrap()
        .iter()
        .find(|unit| unit["basis"] == "N")
        .unwrap_or_else(|| panic!("{nitrate:#}"));
    let (written, becomes) = (as_nitrogen["written"].as_f64().unwrap(), as_nitrogen["becomes"].as_f64().unwrap());
    assert!((becomes / written - 62.004 / 14.007).abs() < 1e-9 || as_nitrogen["unit"] != "mg/L");
    let problem = problem_of(api.get("/api/v1/parameters/nitrat").send().unwrap(), 404, "unknown-parameter");
    assert!(problem["detail"].as_str().unwrap().contains("'nitrate'"));
}

#[test]
fn a_kind_narrows_the_list() {
    let api = Api::start();
    let routines = json_of(api.get("/api/v1/parameters?kind=routine").send().unwrap(), 200);
    let kinds: Vec<&str> =
        routines["parameters"].as_array().unwrap().iter().map(|row| row["kind"].as_str().unwrap()).collect();
    assert!(!kinds.is_empty() && kinds.iter().all(|kind| *kind == "routine"));
}

#[test]
fn the_list_is_a_table_too() {
    let api = Api::start();
    let response = api.get("/api/v1/parameters").header("accept", "text/csv").send().unwrap();
    assert_eq!(response.headers()["content-type"], "text/csv; charset=utf-8; header=present");
    assert_eq!(response.headers()["content-disposition"], "attachment; filename=\"parameters.csv\"");
    let text = response.text().unwrap();
    assert!(text.starts_with("code,name,what,unit,"), "{text}");
    assert!(text.lines().any(|line| line.starts_with("nitrate,")));
    let excel = api.get("/api/v1/parameters?csv=excel").send().unwrap().bytes().unwrap();
    assert!(excel.starts_with("\u{feff}code;name;".as_bytes()));
}

#[test]
fn an_answer_held_already_is_not_sent_again() {
    let api = Api::start();
    let first = api.get("/api/v1/parameters").send().unwrap();
    let tag = first.headers()["etag"].to_str().unwrap().to_owned();
    assert_eq!(first.headers()["cache-control"], "public, max-age=300, must-revalidate");
    assert!(first.headers()["vary"].to_str().unwrap().contains("Accept"));
    let second = api.get("/api/v1/parameters").header("if-none-match", &tag).send().unwrap();
    assert_eq!(second.status(), 304);
    assert_eq!(second.headers()["etag"], tag.as_str());
    assert!(second.bytes().unwrap().is_empty());
    // A date will do where no tag is named, once the second of the change is over.
    let date = api.last_modified("/api/v1/openapi.json");
    for path in ["/api/v1/parameters", "/api/v1/openapi.json"] {
        let dated = api.get(path).header("if-modified-since", &date).send().unwrap();
        assert_eq!(dated.status(), 304, "{path}");
    }
    let other = api.get("/api/v1/parameters?format=csv").header("if-none-match", &tag).send().unwrap();
    assert_eq!(other.status(), 200, "another representation has another tag");
}
