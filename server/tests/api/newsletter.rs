//! The report of a taxon and an issue of the newsletter: the same words in every form, rounded for the public.

use serde_json::Value;

use crate::answers::club;
use crate::api_support::{Api, json_of, problem_of, publish};

fn text(api: &Api, path: &str, token: Option<&str>) -> String {
    let request = api.get(path);
    let request = match token {
        Some(token) => request.bearer_auth(token),
        None => request,
    };
    let response = request.send().unwrap();
    assert_eq!(response.status(), 200, "{path}");
    response.text().unwrap()
}

#[test]
fn an_issue_has_the_figures_of_the_public_whoever_asks() {
    let api = Api::start();
    club(&api);
    let public = text(&api, "/api/v1/newsletter", None);
    for token in [&api.reader, &api.osprey, &api.curator] {
        assert_eq!(text(&api, "/api/v1/newsletter", Some(token)), public);
    }
    let issue: Value = serde_json::from_str(&public).unwrap();
    let answer = json_of(api.get("/api/v1/taxa/goniopora/survival").send().unwrap(), 200);
    let item = issue["taxa"].as_array().unwrap().iter().find(|item| item["taxon"] == "goniopora").unwrap();
    let sentence = answer["result"]["groups"][0]["sentence"].as_str().unwrap();
    assert!(item["paragraph"].as_str().unwrap().starts_with(sentence), "{item}");
    assert_eq!(item["table"][0]["figure"], answer["result"]["groups"][0]["evidence"]["specimens"].to_string());
    // Nothing has changed since tomorrow.
    let tomorrow = chrono::Utc::now().date_naive() + chrono::Days::new(1);
    let none = json_of(api.get(&format!("/api/v1/newsletter?since={tomorrow}")).send().unwrap(), 200);
    assert!(none["taxa"].as_array().unwrap().is_empty());
    assert_eq!(none["unchanged"], issue["taxa"].as_array().unwrap().len());
}

#[test]
fn an_issue_is_read_by_members_where_the_club_does_not_publish() {
    let api = Api::start();
    club(&api);
    publish(&mut api.connect(), false);
    assert!(api.get("/api/v1/newsletter").send().unwrap().status().is_client_error());
    assert!(text(&api, "/api/v1/newsletter?format=md", Some(&api.reader)).starts_with("# "));
}

#[test]
fn texts_say_nothing_that_records_cannot_say_and_pages_load_nothing() {
    let api = Api::start();
    club(&api);
    for path in ["/api/v1/newsletter", "/api/v1/taxa/goniopora/report"] {
        let markdown = text(&api, &format!("{path}?format=md"), None);
        let page = text(&api, &format!("{path}?format=html"), None);
        for text in [&markdown, &page] {
            // Wording of what is taught is the club's own.
            let own = text.lines().filter(|line| !line.contains("We teach") && !line.contains("What we teach"));
            let found = analysis::wording::forbidden(&own.collect::<Vec<_>>().join("\n"));
            assert!(found.is_empty(), "{path}: {found:?}");
            assert!(text.contains("Never change water, dose or buy corals"), "{path}");
        }
        assert!(page.contains("<svg") && page.contains("role=\"img\""), "{path}");
        assert!(!page.contains("picture-of-"), "{path}: a mark without its picture");
        for outside in ["<script", "src=\"http", "href=\"http", "url(http", "@import"] {
            assert!(!page.contains(outside), "{path}: {outside}");
        }
        problem_of(api.get(&format!("{path}?format=csv")).send().unwrap(), 406, "not-acceptable");
        let tag = api.get(path).send().unwrap().headers()["etag"].to_str().unwrap().to_owned();
        assert_eq!(api.get(path).header("if-none-match", tag).send().unwrap().status(), 304, "{path}");
    }
}
