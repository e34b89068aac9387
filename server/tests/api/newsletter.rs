//! The report of a taxon and an issue of the newsletter: the same words in every form, rounded for the public.

use serde_json::{Value, json};

use crate::answers::{arrival, club};
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

/// Each member records four corals more.
fn more_of_everybody(api: &Api) {
    for number in 1..=6 {
        let mut register = String::from("ID,Coral,Acquired,Tank,Date died\n");
        for coral in 4..8 {
            let died = if coral == 4 { (arrival() + chrono::Days::new(200)).to_string() } else { String::new() };
            register += &format!("C{coral},Goniopora sp.,{},Tank {number},{died}\n", arrival());
        }
        let query = format!("name=more.csv&log=more&keeper=keeper{number}&as_of=2024-12-30");
        api.commit_register(&api.curator, &query, register, "2023-12-01");
        let call = json!({"on": "2025-01-02"});
        let path = format!("/api/v1/roll-call?keeper=keeper{number}");
        json_of(api.post(&path).bearer_auth(&api.curator).json(&call).send().unwrap(), 201);
    }
}

fn print(api: &Api, body: Value) -> Value {
    json_of(api.post("/api/v1/newsletter/issues").bearer_auth(&api.curator).json(&body).send().unwrap(), 201)
}

#[test]
fn an_issue_holds_what_was_chosen_in_its_order() {
    let api = Api::start();
    club(&api);
    let whole = json_of(api.get("/api/v1/newsletter").send().unwrap(), 200);
    let of = |issue: &Value| -> Vec<String> {
        issue["taxa"].as_array().unwrap().iter().map(|item| item["taxon"].as_str().unwrap().to_owned()).collect()
    };
    let all = of(&whole);
    assert_eq!(all, ["goniopora"]);
    let untold = |issue: &Value| -> Vec<String> {
        let list = issue["cannot_tell"].as_array().unwrap();
        list.iter().map(|item| item["item"].as_str().unwrap().to_owned()).collect()
    };
    let mut chosen = untold(&whole);
    assert!(chosen.len() > 3, "{chosen:?}");
    chosen.reverse();
    let chosen = &chosen[..3];
    let some = json_of(api.get(&format!("/api/v1/newsletter?items={}", chosen.join(","))).send().unwrap(), 200);
    assert_eq!((of(&some), untold(&some).as_slice()), (Vec::new(), chosen));
    // A taxon without records is told to be one.
    let none = json_of(api.get("/api/v1/newsletter?items=catalaphyllia-jardinei").send().unwrap(), 200);
    assert_eq!(none["cannot_tell"][0]["item"], "catalaphyllia-jardinei");
    let problem = problem_of(api.get("/api/v1/newsletter?items=gonipora").send().unwrap(), 400, "invalid-query");
    assert!(problem["detail"].as_str().unwrap().contains("did you mean 'goniopora'?"), "{problem}");
    problem_of(api.get("/api/v1/newsletter?since=yesterday").send().unwrap(), 400, "invalid-query");
    // Since a release: that one or an older one is not news.
    let release = whole["release"].as_i64().unwrap();
    let none = json_of(api.get(&format!("/api/v1/newsletter?since={release}")).send().unwrap(), 200);
    assert_eq!((of(&none).len(), none["unchanged"].as_u64()), (0, Some(all.len() as u64)));
}

#[test]
fn a_printed_issue_stays_and_says_what_stands_no_longer() {
    let api = Api::start();
    club(&api);
    let release = json_of(api.get("/api/v1/newsletter").send().unwrap(), 200)["release"].clone();
    let body =
        json!({"title": "Summer | issue", "signed_by": "newsletter desk", "items": ["goniopora"], "release": release});
    let printed = print(&api, body.clone());
    let path = format!("/api/v1/newsletter/issues/{}", printed["number"]);
    let before = json_of(api.get(&path).send().unwrap(), 200);
    assert_eq!(before["corrections_since"], json!([]));
    let page = text(&api, &format!("{path}?format=html"), None);
    assert!(page.contains("<svg") && !page.contains("Correction notice") && page.contains("newsletter desk"), "{page}");
    // Every member writes more; the next release tells other figures.
    more_of_everybody(&api);
    json_of(api.post("/api/v1/releases").bearer_auth(&api.curator).json(&json!({})).send().unwrap(), 201);
    let after = json_of(api.get(&path).send().unwrap(), 200);
    assert_eq!(after["issue"], before["issue"], "what was printed stays");
    let now = json_of(api.get("/api/v1/newsletter?items=goniopora").send().unwrap(), 200);
    let figure = |issue: &Value, what: &str| -> String {
        let lines = issue["taxa"][0]["table"].as_array().unwrap();
        lines.iter().find(|line| line["what"] == what).unwrap()["figure"].as_str().unwrap().to_owned()
    };
    let correction = |what: &str| {
        let all = after["corrections_since"].as_array().unwrap();
        all.iter().find(|of| of["what"] == format!("Goniopora: {what}")).cloned()
    };
    let corals = correction("corals").unwrap_or_else(|| panic!("{after:#}"));
    assert_eq!(corals["printed"], figure(&before["issue"], "Corals"));
    assert_eq!(corals["now"], figure(&now, "Corals"));
    assert_ne!(corals["printed"], corals["now"]);
    assert_eq!(correction("keepers"), None, "nothing changed there");
    assert_eq!(now["corrections"], after["corrections_since"], "the next issue says it too");
    let page = text(&api, &format!("{path}?format=html"), None);
    assert!(page.contains("Correction notice") && page.contains("<svg"));
    // Another release than the one that was looked at.
    let late = api.post("/api/v1/newsletter/issues").bearer_auth(&api.curator).json(&body).send().unwrap();
    problem_of(late, 409, "preview-outdated");
    let withdraw = || json_of(api.delete(&path).bearer_auth(&api.curator).send().unwrap(), 200);
    assert_eq!(withdraw(), withdraw());
    assert!(text(&api, &format!("{path}?format=md"), None).contains("was withdrawn on"));
    assert_eq!(json_of(api.get("/api/v1/newsletter?items=goniopora").send().unwrap(), 200)["corrections"], json!([]));
    problem_of(api.get("/api/v1/newsletter/issues/99").send().unwrap(), 404, "unknown-issue");
}

#[test]
fn what_a_member_takes_back_is_not_shown_in_what_was_printed() {
    let api = Api::start();
    club(&api);
    print(&api, json!({"title": "First", "signed_by": "newsletter desk", "items": ["goniopora"]}));
    let before = text(&api, "/api/v1/newsletter/issues/1", None);
    let leaving = api.delete("/api/v1/keepers/keeper1?confirm=keeper1").bearer_auth(&api.curator);
    assert_eq!(leaving.send().unwrap().status(), 200);
    let shown = text(&api, "/api/v1/newsletter/issues/1", None);
    assert!(before.contains("keepers.") && !shown.contains("This rests on"), "{shown}");
    let shown: Value = serde_json::from_str(&shown).unwrap();
    assert_eq!(shown["issue"]["taxa"][0]["table"], json!([]));
    assert_eq!(shown["corrections_since"][0]["printed"], json!(null));
    let page = text(&api, "/api/v1/newsletter/issues/1?format=html", None);
    assert!(!page.contains("<svg") && page.contains("were taken back"), "{page}");
}

#[test]
fn what_cannot_be_printed_is_said_all_at_once() {
    let api = Api::start();
    club(&api);
    let send = |body: Value| {
        let sent = api.post("/api/v1/newsletter/issues").bearer_auth(&api.curator).json(&body);
        problem_of(sent.send().unwrap(), 422, "invalid-value")
    };
    let problem = send(json!({"title": "", "signed_by": "a\nb", "since": "soon"}));
    let at: Vec<&str> =
        problem["errors"].as_array().unwrap().iter().map(|fault| fault["pointer"].as_str().unwrap()).collect();
    assert_eq!(at, ["/title", "/signed_by", "/since"]);
    let problem = send(json!({"title": "A", "signed_by": "b", "items": ["gonipora", "acroporra"]}));
    assert_eq!(problem["errors"].as_array().unwrap().len(), 2, "{problem}");
}
