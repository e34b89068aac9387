//! Single records: made, changed, taken out, each an upload that can be taken back, beside files that go on speaking.

use serde_json::{Value, json};

use crate::api_support::{Api, json_of, problem_of, register};
use crate::records::KINDS;
use crate::samples::{before, change, sample};

fn club() -> Api {
    let api = Api::start();
    api.commit_register(&api.osprey, "name=corals.csv&as_of=2025-06-01", register(), "2024-01-01");
    api
}

fn make(api: &Api, list: &str, body: &Value) -> Value {
    json_of(api.post(&format!("/api/v1/{list}")).bearer_auth(&api.osprey).json(body).send().unwrap(), 201)
}

fn patch(api: &Api, list: &str, id: &Value, body: &Value) -> Value {
    json_of(api.patch(&format!("/api/v1/{list}/{id}")).bearer_auth(&api.osprey).json(body).send().unwrap(), 200)
}

fn undo(api: &Api, edited: &Value) {
    let path = edited["upload"]["undo"].as_str().unwrap();
    assert_eq!(json_of(api.delete(path).bearer_auth(&api.osprey).send().unwrap(), 200)["state"], "undone");
}

/// All rows of all kinds without their numbers.
fn all(api: &Api) -> Vec<Value> {
    let mut rows = Vec::new();
    for list in KINDS {
        let path = format!("/api/v1/{list}?limit=1000");
        let page = json_of(api.get(&path).bearer_auth(&api.osprey).send().unwrap(), 200);
        for row in page[list].as_array().unwrap() {
            let mut row = row.clone();
            row.as_object_mut().unwrap().remove("id");
            rows.push(json!({*list: row}));
        }
    }
    rows.sort_by_key(Value::to_string);
    rows
}

fn values(api: &Api, query: &str) -> Vec<(String, f64)> {
    let path = format!("/api/v1/readings?limit=1000{query}");
    let page = json_of(api.get(&path).bearer_auth(&api.osprey).send().unwrap(), 200);
    let rows = page["readings"].as_array().unwrap();
    let mut values: Vec<(String, f64)> =
        rows.iter().map(|row| (row["taken_on"].as_str().unwrap().to_owned(), row["value"].as_f64().unwrap())).collect();
    values.sort_by(|left, right| left.0.cmp(&right.0));
    values
}

#[test]
fn every_edit_of_every_kind_is_taken_back_to_the_last_row() {
    let api = club();
    for (number, list) in KINDS.iter().enumerate() {
        if let Some((of, about)) = before(list, number) {
            make(&api, of, &about);
        }
        let bare = all(&api);
        let sent = sample(list, number);
        let made = make(&api, list, &sent);
        let row = made["record"].clone();
        assert_eq!(row["keeper"], "osprey");
        for (member, value) in sent.as_object().unwrap() {
            let same = |shown: &Value| shown == value || shown.as_f64().is_some_and(|one| Some(one) == value.as_f64());
            // A size is kept in mm; a unit and a starting tank are no columns.
            let shown =
                !["unit", "tank"].contains(&member.as_str()) && (*list, member.as_str()) != ("sizings", "value");
            assert!(!shown || same(&row[member]), "{list} {member}: {row:#}");
        }
        let with = all(&api);
        assert_eq!(
            json_of(api.get(&format!("/api/v1/{list}/{}", row["id"])).bearer_auth(&api.osprey).send().unwrap(), 200),
            row
        );
        let changed = patch(&api, list, &row["id"], &change(list));
        for (member, value) in change(list).as_object().unwrap() {
            assert_eq!(&changed["record"][member], value, "{list}: {changed:#}");
        }
        assert_ne!(all(&api), with, "{list}");
        // Nothing to change is no edit.
        let again = patch(&api, list, &changed["record"]["id"], &change(list));
        assert_eq!((&again["record"], &again["upload"]), (&changed["record"], &Value::Null), "{list}");
        undo(&api, &changed);
        assert_eq!(all(&api), with, "{list}: a change is taken back");
        let parent = ["tanks", "specimens", "instruments"].contains(list);
        let request = api.delete(&format!("/api/v1/{list}/{}", row["id"])).bearer_auth(&api.osprey);
        if parent {
            problem_of(request.send().unwrap(), 405, "method-not-allowed");
        } else {
            let gone = json_of(request.send().unwrap(), 200);
            assert_eq!(gone["record"], Value::Null);
            assert_eq!(all(&api), bare, "{list}: taken out");
            undo(&api, &gone);
            assert_eq!(all(&api), with, "{list}: the taking out is taken back");
        }
        undo(&api, &made);
        assert_eq!(all(&api), bare, "{list}: as before");
        problem_of(
            api.get(&format!("/api/v1/{list}/999999")).bearer_auth(&api.osprey).send().unwrap(),
            404,
            "unknown-record",
        );
    }
}

#[test]
fn all_faults_of_a_body_come_at_once() {
    let api = club();
    let body = json!({
        "tank": "Lagon", "parameter": "nitrat", "taken_on": "2026-01-01", "taken_time": "7 pm", "valeu": 3,
        "qualifier": "~", "utc_offset_minutes": 9000
    });
    let sent = api.post("/api/v1/readings").bearer_auth(&api.osprey).json(&body);
    let problem = problem_of(sent.send().unwrap(), 422, "invalid-value");
    let faults = problem["errors"].as_array().unwrap();
    let said = |pointer: &str| faults.iter().find(|fault| fault["pointer"] == pointer).unwrap()["detail"].to_string();
    assert!(said("/tank").contains("did you mean 'Lagoon'"), "{problem:#}");
    assert!(said("/parameter").contains("did you mean 'nitrate'"));
    assert!(said("/taken_on").contains("in the future"));
    assert!(said("/taken_time").contains("19:30"));
    assert!(said("/valeu").contains("did you mean 'value'"));
    assert!(said("/utc_offset_minutes").contains("between -840 and 840"));
    assert_eq!(faults.len(), 7);
    let refused = |list: &str, body: Value, pointer: &str| {
        let sent = api.post(&format!("/api/v1/{list}")).bearer_auth(&api.osprey).json(&body);
        let problem = problem_of(sent.send().unwrap(), 422, "invalid-value");
        let faults = problem["errors"].as_array().unwrap();
        assert!(faults.iter().any(|fault| fault["pointer"] == pointer), "{list} {pointer}: {problem:#}");
    };
    let test = |more: Value| {
        let mut body = json!({"tank": "Lagoon", "parameter": "nitrate", "taken_on": "2025-04-01"});
        body.as_object_mut().unwrap().extend(more.as_object().unwrap().clone());
        body
    };
    refused("readings", test(json!({})), "/value");
    refused("readings", test(json!({"value": 1e6})), "/value");
    refused("readings", test(json!({"value": 5, "unit": "furlongs"})), "/unit");
    refused("readings", test(json!({"lower": 2})), "/upper");
    refused("readings", test(json!({"value": 3, "lower": 2, "upper": 4})), "/lower");
    refused("readings", json!({"parameter": "nitrate", "taken_on": "2025-04-01", "value": 5}), "/tank");
    refused(
        "readings",
        json!({"tank": "Lagoon", "parameter": "temperature", "taken_on": "2025-04-01", "value": 0}),
        "/value",
    );
    refused(
        "endings",
        json!({"specimen": "C02", "fate": "died", "earliest": "2025-02-02", "latest": "2025-02-01"}),
        "/latest",
    );
    refused(
        "endings",
        json!({"specimen": "C02", "fate": "died", "leaving": "sold", "latest": "2025-02-01"}),
        "/leaving",
    );
    refused(
        "sizings",
        json!({"specimen": "C02", "measure": "max_diameter", "value": 6, "unit": "g", "on_day": "2025-02-01"}),
        "/unit",
    );
    refused("specimens", json!({"label": "X", "parent": "X"}), "/parent");
    refused("specimens", json!({"label": "X", "origin_basis": "papers"}), "/origin");
    refused("placements", json!({"specimen": "C02"}), "/height");
    refused(
        "stays",
        json!({"specimen": "C02", "tank": "Lagoon", "from_day": "2025-02-01", "to_day": "2025-02-01"}),
        "/to_day",
    );
    refused(
        "events",
        json!({"tank": "Lagoon", "kind": "water_change", "on_day": "2025-02-01", "unit": "L"}),
        "/amount",
    );
    // Another member's tank and coral are no more known than ones that are not there.
    let body = json!({"tank": "Lagoon", "parameter": "nitrate", "taken_on": "2025-04-01", "value": 5});
    let sent = api.post("/api/v1/readings").bearer_auth(&api.heron).json(&body);
    problem_of(sent.send().unwrap(), 422, "invalid-value");
    let sent = api
        .post("/api/v1/readings")
        .bearer_auth(&api.osprey)
        .header("content-type", "application/json")
        .body("{\"tank\": ");
    problem_of(sent.send().unwrap(), 400, "invalid-body");
    let sent = api.post("/api/v1/readings").bearer_auth(&api.osprey).json(&json!([1]));
    problem_of(sent.send().unwrap(), 400, "invalid-body");
}

#[test]
fn numbers_are_kept_in_the_units_of_lists() {
    let api = club();
    let test = |parameter: &str, value: f64, unit: &str| {
        let body =
            json!({"tank": "lagoon", "parameter": parameter, "taken_on": "2025-04-01", "value": value, "unit": unit});
        make(&api, "readings", &body)["record"].clone()
    };
    // 77 °F are 25 °C by definition of the scale.
    let warm = test("temperature", 77.0, "°F");
    assert_eq!((warm["value"].as_f64().unwrap(), &warm["tank"]), (25.0, &json!("Lagoon")));
    assert_eq!(warm["written"], "77 °F");
    assert_eq!((&warm["lower"], &warm["upper"], &warm["qualifier"]), (&json!(25.0), &json!(25.0), &json!("=")));
    let below = make(
        &api,
        "readings",
        &json!({
            "tank": "Lagoon", "parameter": "phosphate", "taken_on": "2025-04-02", "value": 0.02, "qualifier": "<"
        }),
    );
    assert_eq!((&below["record"]["lower"], &below["record"]["upper"]), (&json!(0.0), &json!(0.02)));
    let span = make(
        &api,
        "readings",
        &json!({
            "tank": "Lagoon", "parameter": "nitrate", "taken_on": "2025-04-03", "lower": 5, "upper": 10
        }),
    );
    assert_eq!((&span["record"]["qualifier"], &span["record"]["value"]), (&json!("interval"), &Value::Null));
    // An interval that turns out to be a value.
    let value = patch(&api, "readings", &span["record"]["id"], &json!({"value": 7}));
    assert_eq!((&value["record"]["qualifier"], &value["record"]["upper"]), (&json!("="), &json!(7.0)));
    let none = make(
        &api,
        "readings",
        &json!({"tank": "Lagoon", "parameter": "nitrate", "taken_on": "2025-04-04", "value": 0}),
    );
    assert_eq!(none["record"]["flags"], json!(["zero_reported"]));
    let size = make(
        &api,
        "sizings",
        &json!({
            "specimen": "c02", "measure": "max_diameter", "value": 2, "unit": "in", "on_day": "2025-04-01"
        }),
    );
    assert_eq!((&size["record"]["value"], &size["record"]["specimen"]), (&json!(50.8), &json!("C02")));
    let habit = make(
        &api,
        "routines",
        &json!({"tank": "Lagoon", "kind": "target_feed", "rate": "every other day", "from_day": "2025-01-01"}),
    );
    assert_eq!(habit["record"]["per_week"], 3.5);
    let daily = patch(&api, "routines", &habit["record"]["id"], &json!({"rate": "daily"}));
    assert_eq!(daily["record"]["per_week"], 7.0);
}

#[test]
fn a_request_that_is_repeated_gives_the_first_answer() {
    let api = club();
    let body = sample("readings", 3);
    let send = |key: &str, body: &Value| {
        api.post("/api/v1/readings").bearer_auth(&api.osprey).header("idempotency-key", format!("\"{key}\"")).json(body)
    };
    let first = send("one", &body).send().unwrap();
    let place = first.headers()["location"].clone();
    let first = json_of(first, 201);
    let second = send("one", &body).send().unwrap();
    assert_eq!(second.headers()["location"], place);
    assert_eq!(json_of(second, 201), first);
    assert_eq!(values(&api, "").len(), 1);
    problem_of(send("one", &sample("readings", 4)).send().unwrap(), 422, "key-reused");
    // A request that failed leaves its key free.
    problem_of(send("two", &json!({"value": 1})).send().unwrap(), 422, "invalid-value");
    json_of(send("two", &sample("readings", 4)).send().unwrap(), 201);
    // Another sender's key is another key.
    let other =
        api.post("/api/v1/readings?keeper=osprey").bearer_auth(&api.curator).header("idempotency-key", "\"one\"");
    json_of(other.json(&sample("readings", 5)).send().unwrap(), 201);
    // Sent at once, one of them does the work.
    let body = sample("readings", 6);
    let answers: Vec<Value> = std::thread::scope(|scope| {
        let sent: Vec<_> = (0..6).map(|_| scope.spawn(|| json_of(send("many", &body).send().unwrap(), 201))).collect();
        sent.into_iter().map(|one| one.join().unwrap()).collect()
    });
    assert!(answers.iter().all(|answer| *answer == answers[0]), "{answers:#?}");
    assert_eq!(values(&api, "").len(), 4);
    // Without a key the same again is refused by name.
    let again = api.post("/api/v1/readings").bearer_auth(&api.osprey).json(&body).send().unwrap();
    let problem = problem_of(again, 409, "already-recorded");
    assert_eq!(problem["record"], answers[0]["record"]["id"]);
}

#[test]
fn files_go_on_being_heard_beside_an_edit() {
    let api = club();
    let file = |more: &str, value: f64| {
        format!("Tank,Date,Nitrate (mg/L)\nLagoon,2025-03-04,{value}\nLagoon,2025-03-18,4\n{more}")
    };
    api.commit(&api.osprey, "name=tests.csv", file("", 50.0));
    let wrong = json_of(
        api.get("/api/v1/readings?from=2025-03-04&to=2025-03-04").bearer_auth(&api.osprey).send().unwrap(),
        200,
    );
    let id = wrong["readings"][0]["id"].clone();
    let first = patch(&api, "readings", &id, &json!({"value": 5.0}));
    let day = |on: &str, value: f64| (on.to_owned(), value);
    assert_eq!(values(&api, ""), [day("2025-03-04", 5.0), day("2025-03-18", 4.0)]);
    // The file that grew says 50 again: the correction stands.
    api.commit(&api.osprey, "name=tests.csv", file("Lagoon,2025-04-01,3\n", 50.0));
    assert_eq!(values(&api, ""), [day("2025-03-04", 5.0), day("2025-03-18", 4.0), day("2025-04-01", 3.0)]);
    // A correction of the correction; taken back in any order, what was said before stands.
    let second = patch(&api, "readings", &first["record"]["id"], &json!({"value": 5.5}));
    assert_eq!(values(&api, "")[0], day("2025-03-04", 5.5));
    undo(&api, &first);
    assert_eq!(values(&api, "")[0], day("2025-03-04", 5.5));
    undo(&api, &second);
    assert_eq!(values(&api, "")[0], day("2025-03-04", 50.0));
    // Moved to the day on which it was taken, and another file that says a third thing.
    let page = json_of(api.get("/api/v1/readings?to=2025-03-04").bearer_auth(&api.osprey).send().unwrap(), 200);
    let moved = patch(&api, "readings", &page["readings"][0]["id"], &json!({"taken_on": "2025-02-04", "value": 5}));
    assert_eq!(values(&api, "")[0], day("2025-02-04", 5.0));
    assert_eq!(values(&api, "").len(), 3);
    undo(&api, &moved);
    let page = json_of(api.get("/api/v1/readings?to=2025-03-04").bearer_auth(&api.osprey).send().unwrap(), 200);
    patch(&api, "readings", &page["readings"][0]["id"], &json!({"value": 5}));
    api.commit(&api.osprey, "name=tests.csv", file("Lagoon,2025-04-01,3\nLagoon,2025-04-15,3\n", 6.0));
    assert_eq!(values(&api, "&to=2025-03-04"), [day("2025-03-04", 6.0)], "the file says a third thing: it stands");
}

#[test]
fn a_coral_is_completed_and_lists_keep_their_say() {
    let api = club();
    let corals = |api: &Api| {
        json_of(api.get("/api/v1/specimens").bearer_auth(&api.osprey).send().unwrap(), 200)["specimens"].clone()
    };
    let lost = corals(&api)[0].clone();
    assert_eq!((&lost["label"], &lost["origin"]), (&json!("C01"), &Value::Null));
    let edit =
        patch(&api, "specimens", &lost["id"], &json!({"origin": "wild_collected", "origin_basis": "seller_said"}));
    assert_eq!((&edit["record"]["origin"], &edit["record"]["taxon"]), (&json!("wild_collected"), &json!("goniopora")));
    // A later list says the size; what the edit said of the origin stands beside it.
    let grown = "ID,Coral,Acquired,Tank,Size (mm),Date died,Cause\n\
        C01,Goniopora sp.,2024-05-01,Lagoon,55,2025-02-01,heater stuck on\nC02,Goniopora sp.,2024-05-01,Lagoon,60,,\n";
    let upload = api.upload(&api.osprey, "name=corals.csv&as_of=2025-06-20", grown);
    let commit = upload["links"]["commit"].as_str().unwrap();
    json_of(api.post(commit).bearer_auth(&api.osprey).json(&json!({"leave_open": true})).send().unwrap(), 200);
    let now = corals(&api)[0].clone();
    assert_eq!((&now["size_mm"], &now["origin"]), (&json!(55.0), &json!("wild_collected")));
    let renamed =
        api.patch(&format!("/api/v1/specimens/{}", now["id"])).bearer_auth(&api.osprey).json(&json!({"label": "C9"}));
    problem_of(renamed.send().unwrap(), 422, "invalid-value");
    let cleared = patch(&api, "specimens", &now["id"], &json!({"origin": null, "origin_basis": null}));
    assert_eq!((&cleared["record"]["origin"], &cleared["record"]["size_mm"]), (&Value::Null, &json!(55.0)));
    // The source's name is nobody else's, and is kept.
    patch(&api, "specimens", &now["id"], &json!({"source_kind": "member", "source_name": "Driftwood Lane"}));
    let shown = json_of(api.get("/api/v1/specimens").bearer_auth(&api.curator).send().unwrap(), 200).to_string();
    assert!(!shown.contains("Driftwood") && shown.contains("\"source_kind\":\"member\""));

    let ends = json_of(api.get("/api/v1/endings").bearer_auth(&api.osprey).send().unwrap(), 200)["endings"].clone();
    let edit = patch(&api, "endings", &ends[0]["id"], &json!({"cause": "power_cut"}));
    assert_eq!((&edit["record"]["cause"], &edit["record"]["latest"]), (&json!("power_cut"), &json!("2025-02-01")));
    // A second end of one coral is refused by name; one of a coral that lives is taken.
    let died = json!({"specimen": "C01", "fate": "died", "latest": "2025-03-01"});
    problem_of(
        api.post("/api/v1/endings").bearer_auth(&api.osprey).json(&died).send().unwrap(),
        409,
        "already-recorded",
    );
    // The first stay of a coral that only says its tank follows from its row: it is changed, and cannot be taken out alone.
    let coral =
        json!({"label": "C03", "acquired_earliest": "2024-05-01", "acquired_latest": "2024-05-01", "tank": "Lagoon"});
    make(&api, "specimens", &coral);
    let stays = json_of(api.get("/api/v1/stays").bearer_auth(&api.osprey).send().unwrap(), 200)["stays"].clone();
    let first = stays.as_array().unwrap().iter().find(|stay| stay["specimen"] == "C03").unwrap().clone();
    let path = format!("/api/v1/stays/{}", first["id"]);
    problem_of(api.delete(&path).bearer_auth(&api.osprey).send().unwrap(), 409, "not-stated");
    let until = patch(&api, "stays", &first["id"], &json!({"to_day": "2025-01-15"}));
    assert_eq!((&until["record"]["to_day"], &until["record"]["tank"]), (&json!("2025-01-15"), &json!("Lagoon")));
    undo(&api, &until);
    // Two stays that begin on one day cannot both stand: nothing is recorded.
    let clash = json!({"specimen": "C02", "tank": "Lagoon", "from_day": "2024-05-01"});
    problem_of(api.post("/api/v1/stays").bearer_auth(&api.osprey).json(&clash).send().unwrap(), 422, "invalid-value");
    let after = json_of(api.get("/api/v1/stays").bearer_auth(&api.osprey).send().unwrap(), 200)["stays"].clone();
    let bare = |rows: &Value| -> Vec<Value> {
        let days = |row: &Value| json!([row["specimen"], row["tank"], row["from_day"], row["to_day"]]);
        rows.as_array().unwrap().iter().map(days).collect()
    };
    assert_eq!(bare(&after), bare(&stays));
}
