//! The current records row by row: whose, which, in pages and as whole tables.

use serde_json::{Value, json};

use crate::answers::club;
use crate::api_support::{Api, json_of, problem_of};

pub const KINDS: &[&str] = &[
    "tanks",
    "specimens",
    "stays",
    "readings",
    "sizings",
    "sightings",
    "endings",
    "routines",
    "events",
    "incidents",
    "placements",
    "instruments",
];

/// One of each.
pub const ONES: &[&str] = &[
    "tank",
    "specimen",
    "stay",
    "reading",
    "sizing",
    "sighting",
    "ending",
    "routine",
    "event",
    "incident",
    "placement",
    "instrument",
];

fn token(api: &Api, keeper: &str) -> String {
    let body = json!({"role": "keeper", "keeper": keeper});
    let made = json_of(api.post("/api/v1/tokens").bearer_auth(&api.curator).json(&body).send().unwrap(), 201);
    made["token"].as_str().unwrap().to_owned()
}

fn rows(api: &Api, token: &str, list: &str, query: &str) -> Vec<Value> {
    let path = format!("/api/v1/{list}?limit=1000{query}");
    let page = json_of(api.get(&path).bearer_auth(token).send().unwrap(), 200);
    page[list].as_array().unwrap().clone()
}

#[test]
fn members_see_their_own_rows_and_curators_all() {
    let api = Api::start();
    club(&api);
    let own = token(&api, "keeper1");
    for list in KINDS {
        let (mine, all) = (rows(&api, &own, list, ""), rows(&api, &api.curator, list, ""));
        assert!(mine.iter().all(|row| row["keeper"] == "keeper1"), "{list}");
        assert_eq!(all.iter().filter(|row| row["keeper"] == "keeper1").count(), mine.len(), "{list}");
        // Naming another member reaches nothing more.
        assert!(rows(&api, &own, list, "&keeper=keeper2").is_empty(), "{list}");
        assert_eq!(rows(&api, &api.curator, list, "&keeper=KEEPER1"), mine, "{list}");
        problem_of(api.get(&format!("/api/v1/{list}")).bearer_auth(&api.reader).send().unwrap(), 403, "forbidden");
        problem_of(api.get(&format!("/api/v1/{list}")).send().unwrap(), 401, "unauthorised");
    }
    let counted = |list: &str| rows(&api, &own, list, "").len();
    assert_eq!(
        ["tanks", "specimens", "readings", "endings"].map(counted),
        [1, 4, 14, 2],
        "one tank, four corals, fourteen tests, two losses"
    );
    let lost = rows(&api, &own, "endings", "");
    assert_eq!((&lost[0]["specimen"], &lost[0]["fate"]), (&json!("C0"), &json!("died")));
    // The name of a source stands in no list.
    assert!(!rows(&api, &api.curator, "specimens", "")[0].as_object().unwrap().contains_key("source_name"));
}

#[test]
fn rows_are_chosen_by_day_and_word() {
    let api = Api::start();
    club(&api);
    let own = token(&api, "keeper1");
    let days = |query: &str| -> Vec<String> {
        let rows = rows(&api, &own, "readings", query);
        rows.iter().map(|row| row["taken_on"].as_str().unwrap().to_owned()).collect()
    };
    let all = days("");
    let some = days("&from=2024-03-01&to=2024-06-30");
    let within: Vec<String> =
        all.iter().filter(|day| ("2024-03-01"..="2024-06-30").contains(&day.as_str())).cloned().collect();
    assert_eq!(some, within);
    assert!(!some.is_empty() && some.len() < all.len());
    assert_eq!(days("&parameter=nitrate").len(), 14);
    assert_eq!(days("&parameter=calcium,phosphate").len(), 0);
    let ask = |path: &str| api.get(path).bearer_auth(&own).send().unwrap();
    let problem = problem_of(ask("/api/v1/readings?parameter=nitrat"), 400, "invalid-query");
    assert!(problem["errors"][0]["detail"].as_str().unwrap().contains("'nitrate'"), "{problem:#}");
    problem_of(ask("/api/v1/incidents?kind=powercut"), 400, "invalid-query");
    problem_of(ask("/api/v1/tanks?parameter=nitrate"), 400, "invalid-query");
    problem_of(ask("/api/v1/readings?from=2025-01-01&to=2024-01-01"), 400, "invalid-query");
    // What somebody sends is a value, whatever it looks like.
    let sent = "/api/v1/tanks?keeper=x%27%20OR%201%3D1%20--";
    assert_eq!(json_of(api.get(sent).bearer_auth(&api.curator).send().unwrap(), 200)["tanks"], json!([]));
}

#[test]
fn pages_go_through_every_row_once_and_csv_holds_them_all() {
    let api = Api::start();
    club(&api);
    let mut seen = Vec::new();
    let mut next = Some("/api/v1/readings?limit=7&parameter=nitrate".to_owned());
    while let Some(path) = next {
        let page = json_of(api.get(&path).bearer_auth(&api.curator).send().unwrap(), 200);
        seen.extend(page["readings"].as_array().unwrap().iter().map(|row| row["id"].as_i64().unwrap()));
        next = page["links"]["next"].as_str().map(str::to_owned);
    }
    assert_eq!(seen.len(), 6 * 14);
    assert!(seen.windows(2).all(|pair| pair[0] < pair[1]));
    let first = json_of(api.get("/api/v1/readings?limit=7").bearer_auth(&api.curator).send().unwrap(), 200);
    let next = first["links"]["next"].as_str().unwrap().replace("limit=7", "limit=7&parameter=nitrate");
    problem_of(api.get(&next).bearer_auth(&api.curator).send().unwrap(), 400, "invalid-query");

    let table = api.get("/api/v1/readings?format=csv&limit=3").bearer_auth(&api.curator).send().unwrap();
    assert_eq!(table.headers()["content-type"], "text/csv; charset=utf-8; header=present");
    let text = table.text().unwrap();
    let mut reader = csv::Reader::from_reader(text.as_bytes());
    let columns: Vec<String> = reader.headers().unwrap().iter().map(str::to_owned).collect();
    assert_eq!(columns[..4], ["id", "keeper", "tank", "specimen"]);
    let ids: Vec<i64> = reader.records().map(|row| row.unwrap()[0].parse().unwrap()).collect();
    assert_eq!(ids, seen, "the whole set, whatever the limit of a page");
    // Column names are those of JSON.
    let row = rows(&api, &api.curator, "readings", "")[0].clone();
    assert_eq!(row.as_object().unwrap().keys().cloned().collect::<Vec<_>>(), columns);
}
