//! What an operator watches: counts by documented address, and nothing of anybody.

use crate::api_support::{Api, problem_of};

/// The value of a line that begins so.
fn value(text: &str, begins: &str) -> Option<f64> {
    text.lines().find(|line| line.starts_with(begins))?.rsplit(' ').next()?.parse().ok()
}

#[test]
fn requests_are_counted_by_documented_address_and_tell_nothing_of_anybody() {
    let api = Api::start();
    api.upload(&api.osprey, "name=tests.csv", "Date,Nitrate (mg/L)\n2025-03-04,5\n");
    for path in
        ["/api/v1/parameters/nitrate", "/api/v1/parameters/phosphate", "/api/v1/nothing/osprey", "/questions/abc123"]
    {
        drop(api.get(path).bearer_auth(&api.osprey).send().unwrap());
    }
    let response = api.get("/metrics").send().unwrap();
    assert!(response.headers()["content-type"].to_str().unwrap().starts_with("application/openmetrics-text"));
    let text = response.text().unwrap();
    assert!(text.ends_with("# EOF\n"), "{text}");
    let counted = "strandline_requests_total{path=\"/api/v1/parameters/{code}\",method=\"GET\",status=\"200\"}";
    assert_eq!(value(&text, counted), Some(2.0), "{text}");
    assert_eq!(
        value(&text, "strandline_requests_total{path=\"none\",method=\"GET\",status=\"404\"}"),
        Some(1.0),
        "{text}"
    );
    assert_eq!(value(&text, "strandline_request_seconds_count{path=\"/api/v1/parameters/{code}\"}"), Some(2.0));
    assert!(value(&text, "strandline_uploads{state=\"ready\"}").is_some_and(|ready| ready >= 1.0), "{text}");
    assert!(value(&text, "strandline_connections ").is_some_and(|open| open >= 1.0));
    for secret in ["osprey", "abc123", "nitrate", "tests.csv", "strand_"] {
        assert!(!text.contains(secret), "{secret} stands in it: {text}");
    }
    // Through a proxy there is nothing here.
    problem_of(api.get("/metrics").header("x-forwarded-for", "203.0.113.7").send().unwrap(), 404, "not-found");
}
