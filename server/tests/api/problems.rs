//! Every failure is a problem with its page, says what to do, and lists all faults at once.

use serde_json::json;
use server::problem::Kind;

use crate::api_support::{Api, json_of, problem_of};

#[test]
fn addresses_and_methods_that_are_not_there() {
    let api = Api::start();
    let problem = problem_of(api.get("/api/v1/taxxa").send().unwrap(), 404, "not-found");
    assert!(problem["detail"].as_str().unwrap().contains("/api/v1/taxa"), "{problem:#}");
    problem_of(api.get("/api/v1/uploads/seventeen").bearer_auth(&api.curator).send().unwrap(), 404, "not-found");

    let response = api.delete("/api/v1/parameters").send().unwrap();
    assert_eq!(response.headers()["allow"], "GET, HEAD, OPTIONS");
    problem_of(response, 405, "method-not-allowed");
    let response = api.get("/api/v1/uploads/3/commit").send().unwrap();
    assert_eq!(response.headers()["allow"], "POST, OPTIONS");
    problem_of(response, 405, "method-not-allowed");

    let response = api.client.request(reqwest::Method::OPTIONS, api.url("/api/v1/taxa")).send().unwrap();
    assert_eq!(response.status(), 204);
    assert_eq!(response.headers()["access-control-allow-origin"], "*");
    assert!(response.headers()["access-control-allow-headers"].to_str().unwrap().contains("Authorization"));
}

#[test]
fn head_is_get_without_the_body() {
    let api = Api::start();
    let get = api.get("/api/v1/parameters/nitrate").send().unwrap();
    let head = api.client.head(api.url("/api/v1/parameters/nitrate")).send().unwrap();
    assert_eq!(head.status(), 200);
    assert_eq!(head.headers()["etag"], get.headers()["etag"]);
    assert_eq!(head.headers()["content-length"], get.headers()["content-length"]);
    assert!(head.bytes().unwrap().is_empty());
}

#[test]
fn all_faults_of_a_query_come_at_once() {
    let api = Api::start();
    let path = "/api/v1/taxa/goniopora/survival?bye=nitrate&edges=5,x&horizon_days=0&since=1066&format=jsn";
    let problem = problem_of(api.get(path).send().unwrap(), 400, "invalid-query");
    let named: Vec<&str> =
        problem["errors"].as_array().unwrap().iter().map(|fault| fault["parameter"].as_str().unwrap()).collect();
    assert_eq!(named, ["bye", "edges", "horizon_days", "since", "format"]);
    assert!(problem["errors"][0]["detail"].as_str().unwrap().ends_with("did you mean 'by'?"), "{problem:#}");
}

#[test]
fn no_address_ignores_a_parameter_that_it_does_not_know() {
    let api = Api::start();
    for (method, path, operation) in server::document::operations() {
        let path = path
            .replace("{code}", "nitrate")
            .replace("{slug}", "goniopora")
            .replace("{kind}", "internal")
            .replace("{id}", "1")
            .replace("{number}", "1")
            .replace("{link}", "1")
            .replace("{secret}", "0");
        let request = api
            .client
            .request(method.parse().unwrap(), api.url(&format!("{path}?xyzzy=1")))
            .bearer_auth(&api.curator)
            .json(&json!({"role": "reader"}));
        let problem = problem_of(request.send().unwrap(), 400, "invalid-query");
        assert_eq!(problem["errors"][0]["parameter"], "xyzzy", "{operation}");
    }
}

#[test]
fn a_nul_character_is_refused_before_it_comes_to_the_records() {
    let api = Api::start();
    let asked = api.get("/api/v1/tanks?keeper=a%00b").bearer_auth(&api.curator).send().unwrap();
    assert_eq!(problem_of(asked, 400, "invalid-query")["errors"][0]["parameter"], "keeper");
    let send = |handle: &str| api.post("/api/v1/keepers").bearer_auth(&api.curator).json(&json!({"handle": handle}));
    problem_of(send("a\0b").send().unwrap(), 400, "invalid-body");
    // A backslash before the same letters is what it is.
    assert_eq!(send("a\\u0000b").send().unwrap().status(), 201);
}

#[test]
fn representations_that_are_not_made() {
    let api = Api::start();
    let problem =
        problem_of(api.get("/api/v1/parameters").header("accept", "image/png").send().unwrap(), 406, "not-acceptable");
    let formats: Vec<&str> =
        problem["available"].as_array().unwrap().iter().map(|one| one["format"].as_str().unwrap()).collect();
    assert_eq!(formats, ["json", "csv", "parquet"]);
    problem_of(api.get("/api/v1/parameters?format=svg").send().unwrap(), 406, "not-acceptable");
    problem_of(api.get("/api/v1/club").header("accept", "text/csv").send().unwrap(), 406, "not-acceptable");
}

#[test]
fn tokens_that_do_not_count() {
    let api = Api::start();
    for written in ["Bearer strand_0000", "Basic dXNlcjpwYXNz", "Bearer", "strand_abc"] {
        let response = api.get("/api/v1/parameters").send().unwrap();
        assert_eq!(response.status(), 200, "no token is needed there");
        let response = api.get("/api/v1/me").header("authorization", written).send().unwrap();
        assert!(response.headers()["www-authenticate"].to_str().unwrap().starts_with("Bearer realm="), "{written}");
        problem_of(response, 401, "unauthorised");
        // A token that does not count is not taken for none.
        problem_of(api.get("/api/v1/club").header("authorization", written).send().unwrap(), 401, "unauthorised");
    }
}

#[test]
fn bodies_that_cannot_be_used() {
    let api = Api::start();
    let tokens = || api.post("/api/v1/tokens").bearer_auth(&api.curator);
    problem_of(tokens().body("{}").send().unwrap(), 415, "unsupported-media-type");
    problem_of(tokens().header("content-type", "text/plain").body("{}").send().unwrap(), 415, "unsupported-media-type");
    let json = |text: &'static str| tokens().header("content-type", "application/json").body(text).send().unwrap();
    problem_of(json("{"), 400, "invalid-body");
    let problem = problem_of(json(r#"{"role":"reader","rolle":1}"#), 400, "invalid-body");
    assert!(problem["detail"].as_str().unwrap().contains("rolle"));
    let problem =
        problem_of(json(r#"{"role":"king","scopes":["read","wrote"],"expires_days":0}"#), 400, "invalid-body");
    let at: Vec<&str> =
        problem["errors"].as_array().unwrap().iter().map(|fault| fault["pointer"].as_str().unwrap()).collect();
    assert_eq!(at, ["/role", "/scopes/1", "/expires_days"]);
    problem_of(
        tokens().header("content-type", "application/json").body(" ".repeat(1024 * 1024 + 1)).send().unwrap(),
        413,
        "too-large",
    );
}

#[test]
fn ids_of_requests_are_echoed() {
    let api = Api::start();
    let response = api.get("/api/v1/nowhere").header("x-request-id", "phone-42").send().unwrap();
    assert_eq!(response.headers()["x-request-id"], "phone-42");
    assert_eq!(problem_of(response, 404, "not-found")["request_id"], "phone-42");
}

#[test]
fn the_type_of_every_problem_leads_to_its_page() {
    let api = Api::start();
    for kind in Kind::ALL {
        let response = api.get(&kind.address()).send().unwrap();
        assert_eq!(response.status(), 200, "{}", kind.slug());
        assert!(response.headers()["content-type"].to_str().unwrap().starts_with("text/html"));
        let text = response.text().unwrap();
        assert!(text.contains(kind.title()) && text.contains("What to do"), "{text}");
        assert!(
            !text.contains("http://") && !text.contains("https://"),
            "a page loads and links nothing outside: {text}"
        );
    }
    let problem = problem_of(api.get("/problems/not-fond").send().unwrap(), 404, "not-found");
    assert!(problem["detail"].as_str().unwrap().contains("'not-found'"));
}

#[test]
fn health_tells_a_database_that_is_away_or_of_another_level() {
    use diesel::RunQueryDsl;
    let api = Api::start();
    assert_eq!(json_of(api.get("/health/live").send().unwrap(), 200)["status"], "ok");
    assert_eq!(json_of(api.get("/health/ready").send().unwrap(), 200)["schema"], "ok");
    let mut connection = api.connect();
    let run = |connection: &mut diesel::PgConnection, text: &str| diesel::sql_query(text).execute(connection).unwrap();
    run(&mut connection, "INSERT INTO __diesel_schema_migrations (version) VALUES ('99991231000000')");
    assert_eq!(json_of(api.get("/health/ready").send().unwrap(), 503)["schema"], "newer");
    run(&mut connection, "DELETE FROM __diesel_schema_migrations WHERE version = '99991231000000'");
    assert_eq!(json_of(api.get("/health/ready").send().unwrap(), 200)["status"], "ok");
}

#[test]
fn strangers_are_limited_and_told_when_to_come_back() {
    use server::limit::Policy;
    let limited = |policy: Policy| Api::start_with(move |settings| settings.policy = Some(policy));
    // This machine is not counted unless asked for, so a strict policy changes nothing here.
    let api = limited(Policy { quota: 1, ..Policy::default() });
    for _ in 0..3 {
        let response = api.get("/api/v1/parameters/nitrate").send().unwrap();
        assert_eq!(response.status(), 200);
        assert!(!response.headers().contains_key("ratelimit"));
    }
    let api = limited(Policy { quota: 1, loopback: true, ..Policy::default() });
    let first = api.get("/api/v1/parameters/nitrate").send().unwrap();
    assert_eq!(
        (first.status().as_u16(), first.headers()["ratelimit-policy"].to_str().unwrap()),
        (200, "\"default\";q=1;w=60")
    );
    let second = api.get("/api/v1/parameters/nitrate").send().unwrap();
    assert!(second.headers()["ratelimit"].to_str().unwrap().starts_with("\"default\";r=0;t="));
    let wait: u32 = second.headers()["retry-after"].to_str().unwrap().parse().unwrap();
    assert!((1..=60).contains(&wait), "{wait}");
    problem_of(second, 429, "quota-exceeded");
}
