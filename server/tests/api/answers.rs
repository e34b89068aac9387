//! Questions to the records: who sees what, what is sent again, and that the documented shape is the served one.

use chrono::{Days, NaiveDate};
use serde_json::{Value, json};
use server::route::{GrowthAnswer, SurvivalAnswer};

use crate::api_support::{Api, json_of, problem_of, publish};

const SURVIVAL: &str = "/api/v1/taxa/goniopora/survival?by=nitrate";

/// Day on which every coral of the club came.
pub fn arrival() -> NaiveDate {
    NaiveDate::from_ymd_opt(2024, 1, 1).unwrap()
}

/// Days after arrival on which corals of each keeper died, of four each; the first three keep nitrate at 8 mg/L, inside
/// the taught band, the others at 25, above it.
const DEATHS: [&[i64]; 6] = [&[60, 90], &[120, 150], &[180], &[45, 75], &[105, 135], &[165]];

/// Six keepers with a tank and four corals each, tested every 30 days, all seen alive after a year but ten.
pub fn club(api: &Api) {
    for (number, deaths) in (1..).zip(DEATHS) {
        let keeper = format!("keeper{number}");
        let body = json!({"role": "keeper", "keeper": keeper, "create": true});
        let made = json_of(api.post("/api/v1/tokens").bearer_auth(&api.curator).json(&body).send().unwrap(), 201);
        let token = made["token"].as_str().unwrap();
        let mut register = String::from("ID,Coral,Acquired,Tank,Date died\n");
        for coral in 0..4 {
            let died =
                deaths.get(coral).map(|days| (arrival() + Days::new(*days as u64)).to_string()).unwrap_or_default();
            register += &format!("C{coral},Goniopora sp.,{},Tank {number},{died}\n", arrival());
        }
        api.commit_register(token, "name=corals.csv&as_of=2024-12-30", register, "2023-12-01");
        let nitrate = if number <= 3 { 8 } else { 25 };
        let mut tests = String::from("Date,Nitrate (mg/L)\n");
        for month in 0..14 {
            tests += &format!("{},{nitrate}\n", arrival() - Days::new(30) + Days::new(30 * month));
        }
        api.commit(token, "name=tests.csv", tests);
        let call = api.post("/api/v1/roll-call").bearer_auth(token).json(&json!({"on": "2024-12-31"}));
        json_of(call.send().unwrap(), 201);
    }
}

fn get(api: &Api, path: &str, token: Option<&str>) -> reqwest::blocking::Response {
    let request = api.get(path);
    match token {
        Some(token) => request.bearer_auth(token),
        None => request,
    }
    .send()
    .unwrap()
}

#[test]
fn a_curator_sees_figures_that_others_do_not() {
    let api = Api::start();
    club(&api);
    let exact = json_of(get(&api, SURVIVAL, Some(&api.curator)), 200);
    let within = exact["result"]["groups"].as_array().unwrap().iter().find(|group| group["group"] == "within").unwrap();
    // Twelve corals a band, one lost at a time: 11/12, 10/12, … by hand.
    let curve: Vec<(f64, f64)> = within["curve"]
        .as_array()
        .unwrap_or_else(|| panic!("{exact:#}"))
        .iter()
        .filter(|step| step["events"] != 0)
        .map(|step| (step["time"].as_f64().unwrap(), step["survival"].as_f64().unwrap()))
        .collect();
    let by_hand = [(60.0, 11.0), (90.0, 10.0), (120.0, 9.0), (150.0, 8.0), (180.0, 7.0)];
    assert_eq!(curve.len(), by_hand.len(), "{within:#}");
    for ((time, survival), (day, alive)) in curve.iter().zip(by_hand) {
        assert!(
            *time == day && (survival - alive / 12.0).abs() < 1e-12,
            "{time}: {survival}, by hand {day}: {alive}/12"
        );
    }
    assert_eq!(exact["question"]["audience"], "curator");
    for token in [None, Some(api.reader.as_str()), Some(api.osprey.as_str())] {
        let seen = json_of(get(&api, SURVIVAL, token), 200);
        let text = seen.to_string();
        assert!(text.contains("Suppressed") || token.is_some(), "{seen:#}");
        assert!(!text.contains("osprey") && !text.contains("keeper1"), "no answer names a member");
    }
    let public = json_of(get(&api, SURVIVAL, None), 200);
    assert!(
        public["result"]["refused"].is_object()
            || public["result"]["groups"].as_array().unwrap().iter().all(|group| group["curve"]["refused"].is_object())
    );

    // Counts: exact for the curator, and hidden or rounded otherwise.
    let club = |token| json_of(get(&api, "/api/v1/club", token), 200)["records"].clone();
    assert_eq!(club(Some(api.curator.as_str()))["specimens"], 24);
    assert_eq!(club(Some(api.reader.as_str()))["deaths"], 10);
    assert_eq!((&club(None)["specimens"], &club(None)["keepers"]), (&json!(25), &json!(5)));
    let taxa = json_of(get(&api, "/api/v1/taxa?q=goniopora&rank=genus", Some(&api.curator)), 200);
    assert_eq!(taxa["taxa"][0]["records"]["specimens"], 24);
    let empty = json_of(get(&api, "/api/v1/taxa/acropora", None), 200);
    assert_eq!(empty["records"]["refused"]["code"], "Suppressed", "no record looks like too few");
    let empty = json_of(get(&api, "/api/v1/taxa/acropora", Some(&api.curator)), 200);
    assert_eq!(empty["records"]["specimens"], 0);
}

#[test]
fn an_answer_is_validated_by_edition_audience_question_and_form() {
    let api = Api::start();
    club(&api);
    let tag = |path: &str, token: Option<&str>| {
        let response = get(&api, path, token);
        assert_eq!(response.status(), 200, "{path}");
        response.headers()["etag"].to_str().unwrap().to_owned()
    };
    let curator = Some(api.curator.as_str());
    let first = tag(SURVIVAL, curator);
    assert_eq!(first, tag(SURVIVAL, curator));
    assert_eq!(
        first,
        tag("/api/v1/taxa/goniopora/survival?horizon_days=365&by=nitrate&outcome=death", curator),
        "the same question"
    );
    for (path, token) in [
        (SURVIVAL, None),
        (SURVIVAL, Some(api.reader.as_str())),
        ("/api/v1/taxa/goniopora/survival?by=nitrate&format=csv", curator),
        ("/api/v1/taxa/goniopora/survival?by=origin", curator),
        ("/api/v1/taxa/goniopora/survival?by=nitrate&horizon_days=180", curator),
        ("/api/v1/taxa/goniopora/growth?by=nitrate", curator),
    ] {
        assert_ne!(first, tag(path, token), "{path}");
    }
    let held = api.get(SURVIVAL).bearer_auth(&api.curator).header("if-none-match", &first).send().unwrap();
    assert_eq!((held.status().as_u16(), held.headers()["etag"].to_str().unwrap()), (304, first.as_str()));
    assert_eq!(held.headers()["cache-control"], "private, no-cache");
    assert_eq!(get(&api, SURVIVAL, None).headers()["cache-control"], "public, max-age=300, must-revalidate");

    let date = api.last_modified(SURVIVAL);
    let since = |tag: Option<&str>| {
        let request = api.get(SURVIVAL).bearer_auth(&api.curator).header("if-modified-since", &date);
        let request = tag.into_iter().fold(request, |request, tag| request.header("if-none-match", tag));
        request.send().unwrap().status().as_u16()
    };
    assert_eq!(since(None), 304);
    assert_eq!(since(Some("\"another\"")), 200, "a tag decides before a date");

    // One more upload raises the edition, so the answer is another one.
    api.commit(&api.osprey, "name=a.csv", crate::api_support::water("Lagoon", 5.0));
    let after = api.get(SURVIVAL).bearer_auth(&api.curator).header("if-none-match", &first).send().unwrap();
    assert_eq!(after.status(), 200);
    assert_eq!(since(None), 200);
}

#[test]
fn the_same_edition_and_question_give_the_same_bytes_also_after_a_restart() {
    let api = Api::start();
    club(&api);
    let bytes = |api: &Api| get(api, SURVIVAL, Some(&api.curator)).bytes().unwrap();
    let first = bytes(&api);
    assert_eq!(first, bytes(&api));
    let again = Api::serve(api.database.clone(), api.tokens(), |_| {});
    assert_eq!(first, bytes(&again));
}

#[test]
fn the_documented_shape_is_the_served_one() {
    let api = Api::start();
    club(&api);
    for token in [Some(api.curator.as_str()), Some(api.reader.as_str()), None] {
        for by in ["none", "nitrate", "origin", "year", "tank_age", "feeding"] {
            let path = format!("/api/v1/taxa/goniopora/survival?by={by}");
            let sent = json_of(get(&api, &path, token), 200);
            let read: SurvivalAnswer = serde_json::from_value(sent.clone()).unwrap();
            assert_eq!(serde_json::to_value(&read).unwrap(), sent, "by={by}: nothing undocumented, nothing missing");
            let path = format!("/api/v1/taxa/goniopora/growth?by={by}");
            let sent = json_of(get(&api, &path, token), 200);
            let read: GrowthAnswer = serde_json::from_value(sent.clone()).unwrap();
            assert_eq!(serde_json::to_value(&read).unwrap(), sent, "growth by={by}");
        }
    }
}

#[test]
fn an_answer_is_a_table_too() {
    let api = Api::start();
    club(&api);
    let response = api.get(SURVIVAL).bearer_auth(&api.curator).header("accept", "text/csv").send().unwrap();
    assert_eq!(response.headers()["content-disposition"], "attachment; filename=\"goniopora-survival-by-nitrate.csv\"");
    let text = response.text().unwrap();
    let mut rows = csv::Reader::from_reader(text.as_bytes());
    let columns = rows.headers().unwrap().clone();
    let column = |name: &str| columns.iter().position(|column| column == name).unwrap();
    let json = json_of(get(&api, SURVIVAL, Some(&api.curator)), 200);
    let mut from_json: Vec<(String, f64)> = Vec::new();
    for group in json["result"]["groups"].as_array().unwrap() {
        for step in group["curve"].as_array().into_iter().flatten() {
            from_json.push((group["group"].as_str().unwrap().to_owned(), step["survival"].as_f64().unwrap()));
        }
    }
    let from_csv: Vec<(String, f64)> = rows
        .records()
        .map(Result::unwrap)
        .filter(|row| !row[column("survival")].is_empty())
        .map(|row| (row[column("group")].to_owned(), row[column("survival")].parse().unwrap()))
        .collect();
    assert_eq!(from_csv, from_json, "to the last digit");
    assert!(!from_csv.is_empty());
}

#[test]
fn what_may_not_be_asked_says_what_may() {
    let api = Api::start();
    let problem = problem_of(
        get(&api, "/api/v1/taxa/goniopora/survival?by=nitrate&edges=7.3&horizon_days=100", None),
        400,
        "invalid-query",
    );
    let named: Vec<&str> =
        problem["errors"].as_array().unwrap().iter().map(|fault| fault["parameter"].as_str().unwrap()).collect();
    assert_eq!(named, ["edges", "horizon_days"]);
    let free = get(&api, "/api/v1/taxa/goniopora/survival?by=nitrate&edges=7.3&horizon_days=100", Some(&api.curator));
    assert_eq!(free.status(), 200, "a curator's values are free");
    let problem = problem_of(get(&api, "/api/v1/taxa/gonipora/survival", None), 404, "unknown-taxon");
    assert!(problem["detail"].as_str().unwrap().contains("'goniopora'"));
    publish(&mut api.connect(), false);
    problem_of(get(&api, SURVIVAL, None), 403, "not-published");
}

#[test]
fn taxa_are_found_by_any_name() {
    let api = Api::start();
    let found = |q: &str| -> Vec<String> {
        let list = json_of(get(&api, &format!("/api/v1/taxa?q={q}"), None), 200);
        list["taxa"].as_array().unwrap().iter().map(|taxon| taxon["slug"].as_str().unwrap().to_owned()).collect()
    };
    assert!(found("gonipora").contains(&"goniopora".to_owned()));
    assert!(found("flowerpot").len() > 1);
    let csv = get(&api, "/api/v1/taxa?rank=genus&format=csv", None).text().unwrap();
    assert!(csv.lines().next().unwrap().starts_with("edition,slug,name,rank,"));
    let none: Value = json_of(get(&api, "/api/v1/taxa?q=bicycle", None), 200);
    assert_eq!(none["taxa"], json!([]));
    problem_of(get(&api, "/api/v1/taxa?rank=family&group=lsp", None), 400, "invalid-query");
}
