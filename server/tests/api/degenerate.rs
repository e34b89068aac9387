//! Clubs whose records bear no figure: every answer about them is a refusal that says why, or a figure that is one.

use chrono::{Days, NaiveDate};
use serde_json::{Value, json};

use crate::api_support::{Api, json_of};

const ABOUT: [&str; 9] = [
    "survival",
    "survival?by=nitrate",
    "growth",
    "conditions",
    "bands",
    "hazard",
    "lead-up",
    "plan",
    "survival?outcome=first_serious_decline",
];

fn arrival() -> NaiveDate {
    NaiveDate::from_ymd_opt(2024, 1, 1).unwrap()
}

/// A club of keepers with six corals each, of which those named die on a day after arrival; `water`: nitrate of a keeper's
/// tank, `None` = never tested.
fn club(api: &Api, keepers: usize, dies: impl Fn(usize, usize) -> Option<u64>, water: impl Fn(usize) -> Option<u32>) {
    for number in 0..keepers {
        let body = json!({"role": "keeper", "keeper": format!("member{number}"), "create": true});
        let made = json_of(api.post("/api/v1/tokens").bearer_auth(&api.curator).json(&body).send().unwrap(), 201);
        let token = made["token"].as_str().unwrap();
        let mut register = String::from("ID,Coral,Acquired,Tank,Date died\n");
        for coral in 0..6 {
            let died = dies(number, coral).map(|days| (arrival() + Days::new(days)).to_string()).unwrap_or_default();
            register += &format!("C{coral},Goniopora sp.,{},Tank {number},{died}\n", arrival());
        }
        // A keeper whose corals all live says that losses would be in the list.
        let upload = api.upload(token, "name=corals.csv&as_of=2024-12-30", register);
        let answers: Vec<Value> = api
            .findings(token, &upload)
            .as_array()
            .unwrap()
            .iter()
            .filter(|finding| finding["severity"] == "questioned")
            .map(|finding| match finding["code"].as_str().unwrap() {
                "complete_since_missing" => json!({"key": finding["key"], "choice": "day", "value": "2023-12-01"}),
                _ => json!({"key": finding["key"], "choice": "yes"}),
            })
            .collect();
        let path = upload["links"]["answers"].as_str().unwrap();
        let ready = json_of(api.post(path).bearer_auth(token).json(&json!({"answers": answers})).send().unwrap(), 200);
        assert_eq!(ready["state"], "ready", "{:#}", api.findings(token, &upload));
        let path = upload["links"]["commit"].as_str().unwrap();
        json_of(api.post(path).bearer_auth(token).json(&json!({})).send().unwrap(), 200);
        if let Some(nitrate) = water(number) {
            let mut tests = String::from("Date,Nitrate (mg/L)\n");
            for month in 0..14 {
                tests += &format!("{},{nitrate}\n", arrival() - Days::new(30) + Days::new(30 * month));
            }
            api.commit(token, "name=tests.csv", tests);
        }
        let call = api.post("/api/v1/roll-call").bearer_auth(token).json(&json!({"on": "2024-12-31"}));
        json_of(call.send().unwrap(), 201);
    }
}

/// Every answer, with its numbers checked: none is missing its reason.
fn all(api: &Api) -> Vec<Value> {
    let ask = |about: &&str| {
        let answer =
            json_of(api.get(&format!("/api/v1/taxa/goniopora/{about}")).bearer_auth(&api.curator).send().unwrap(), 200);
        every_refusal_says_why(&answer, about);
        answer
    };
    ABOUT.iter().map(ask).collect()
}

fn every_refusal_says_why(value: &Value, path: &str) {
    match value {
        Value::Object(fields) => {
            if let Some(refused) = fields.get("refused").filter(|refused| !refused.is_null()) {
                let message = refused["message"].as_str().unwrap_or_default();
                assert!(message.len() > 10 && refused["code"].is_string(), "{path}: {refused}");
            }
            fields.iter().for_each(|(key, value)| every_refusal_says_why(value, &format!("{path}/{key}")));
        }
        Value::Array(values) => values.iter().for_each(|value| every_refusal_says_why(value, path)),
        _ => {}
    }
}

/// The codes with which the result, or parts of it, are refused.
fn codes(answer: &Value) -> Vec<String> {
    let mut codes: Vec<String> = answer["refusals"]
        .as_array()
        .into_iter()
        .flatten()
        .map(|refusal| refusal["code"].as_str().unwrap().to_owned())
        .collect();
    codes.sort();
    codes.dedup();
    codes
}

fn refuses(answer: &Value, code: &str) {
    assert!(codes(answer).iter().any(|own| own == code), "{code}: {:?} {answer:#}", codes(answer));
}

#[test]
fn nobody_died() {
    let api = Api::start();
    club(&api, 6, |_, _| None, |number| Some(if number % 2 == 0 { 8 } else { 25 }));
    let answers = all(&api);
    refuses(&answers[0], "NoEvents");
    refuses(&answers[1], "NoEvents");
    refuses(&answers[7], "NoEvents");
    assert_eq!(answers[6]["result"]["refused"]["code"], "NoEvents", "{:#}", answers[6]);
    assert!(answers[3]["result"]["conditions"].as_array().unwrap().iter().all(|line| line["hazard_ratio"].is_null()));
}

#[test]
fn one_death_and_all_on_one_side() {
    let api = Api::start();
    club(
        &api,
        6,
        |number, coral| (number == 0 && coral == 0).then_some(90),
        |number| Some(if number % 2 == 0 { 8 } else { 25 }),
    );
    let answers = all(&api);
    refuses(&answers[1], "TooFewEvents");
    refuses(&answers[0], "TooFewEvents");
    assert!(answers[3]["result"]["conditions"].as_array().unwrap().iter().all(|line| line["p"].is_null()));
}

#[test]
fn all_die_on_one_day() {
    let api = Api::start();
    club(&api, 6, |_, _| Some(90), |number| Some(if number % 2 == 0 { 8 } else { 25 }));
    let answers = all(&api);
    // The last step of the curve is 0 with no limits, and nobody is followed to a year.
    refuses(&answers[0], "BeyondFollowUp");
    // Each tank lost all at once: that is its story, not the water's.
    assert!(answers[1]["evidence"]["tank_events"].as_u64().unwrap() >= 6, "{:#}", answers[1]["evidence"]);
}

#[test]
fn deaths_in_one_water_only() {
    let api = Api::start();
    let dies =
        |number: usize, coral: usize| (number % 2 == 1 && coral < 4).then_some(60 + 40 * coral as u64 + number as u64);
    club(&api, 8, dies, |number| Some(if number % 2 == 0 { 8 } else { 25 }));
    let answers = all(&api);
    let text = answers[1].to_string() + &answers[3].to_string();
    assert!(text.contains("Separation") || text.contains("TooFewEvents"), "{:#}", answers[1]["result"]["cox"]);
    assert!(!text.contains("e-9") && !text.contains("inf"));
}

#[test]
fn one_keeper_and_no_water_known() {
    let api = Api::start();
    club(&api, 1, |_, coral| (coral < 3).then_some(60 + 50 * coral as u64), |_| None);
    for answer in all(&api) {
        let codes = codes(&answer);
        assert!(
            codes.iter().any(|code| code.starts_with("TooFew")) || answer["result"]["refused"].is_object(),
            "{answer:#}"
        );
    }
    let api = Api::start();
    club(&api, 6, |_, coral| (coral < 3).then_some(60 + 50 * coral as u64), |_| None);
    let answers = all(&api);
    refuses(&answers[1], "EmptyGroup");
    // One group lives at all: the undivided answer stands.
    assert!(answers[0]["result"]["groups"].is_array(), "{:#}", answers[0]);
    assert_eq!(answers[7]["result"]["refused"]["code"], "UnknownExposure", "{:#}", answers[7]["result"]);
}

#[test]
fn every_end_is_held() {
    let api = Api::start();
    let body = json!({"role": "keeper", "keeper": "member", "create": true});
    let made = json_of(api.post("/api/v1/tokens").bearer_auth(&api.curator).json(&body).send().unwrap(), 201);
    let token = made["token"].as_str().unwrap();
    let mut register = String::from("ID,Coral,Acquired,Tank,Fate,Date\n");
    for coral in 0..12 {
        register += &format!("C{coral},Goniopora sp.,{},Tank 1,gone,2024-06-0{}\n", arrival(), 1 + coral % 9);
    }
    let upload = api.upload(token, "name=corals.csv&as_of=2024-12-30", register);
    let path = upload["links"]["commit"].as_str().unwrap();
    json_of(api.post(path).bearer_auth(token).json(&json!({"leave_open": true})).send().unwrap(), 200);
    for answer in all(&api) {
        assert!(answer["result"]["refused"].is_object(), "{answer:#}");
    }
    let plan = json_of(api.get("/api/v1/taxa/goniopora/survival").bearer_auth(&api.curator).send().unwrap(), 200);
    assert!(plan["evidence"]["left_out"]["held"] == 12 || plan["evidence"]["refused"].is_object(), "{plan:#}");
}
