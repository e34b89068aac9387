//! Serious decline over HTTP, from files of looks to figures counted by hand.

use chrono::{Days, NaiveDate};
use serde_json::{Value, json};
use server::route::SurvivalAnswer;

use crate::api_support::{Api, json_of, problem_of};

const OUTCOMES: [&str; 4] = ["death", "first_serious_decline", "death_or_decline", "death_after_decline"];

fn day(number: u64) -> NaiveDate {
    NaiveDate::from_ymd_opt(2024, 1, 1).unwrap() + Days::new(number)
}

/// Four keepers with three corals each, all got open on day 0 and looked at every 30 days until day 420, but:
/// keeper 1's first is open on day 53 and poor on day 60; keeper 2's first is open on day 63 and cut up on day 70 to save a
/// piece, which lives on without a look; keeper 3's first is open on day 80 and dies on day 90.
fn club(api: &Api) {
    for number in 1..=4 {
        let body = json!({"role": "keeper", "keeper": format!("keeper{number}"), "create": true});
        let made = json_of(api.post("/api/v1/tokens").bearer_auth(&api.curator).json(&body).send().unwrap(), 201);
        let token = made["token"].as_str().unwrap();
        let mut register = String::from("ID,Coral,Acquired,Tank,Date died,What happened,Looked when got\n");
        let mut looks = String::from("Date,Coral,What,Reading\n");
        for coral in 0..3 {
            let (died, what) = match (number, coral) {
                (2, 0) => (day(70).to_string(), "\"RTN, saved 1 frag\""),
                (3, 0) => (day(90).to_string(), "died"),
                _ => (String::new(), ""),
            };
            register += &format!("C{coral},Goniopora sp.,{},Tank {number},{died},{what},open\n", day(0));
            let seen: Vec<(u64, &str)> = match (number, coral) {
                (1, 0) => vec![(30, "open"), (53, "open"), (60, "poor")],
                (2, 0) => vec![(30, "open"), (63, "open")],
                (3, 0) => vec![(30, "open"), (60, "open"), (80, "off")],
                _ => (1..=14).map(|look| (30 * look, "open")).collect(),
            };
            for (on, word) in seen {
                looks += &format!("{},C{coral},look,{word}\n", day(on));
            }
        }
        // A loss in every list, so that none is asked whether it lists them.
        register += &format!("A,Acropora sp.,{},Tank {number},{},died,open\n", day(0), day(100));
        api.commit_register(token, &format!("name=corals.csv&as_of={}", day(420)), register, "2023-12-01");
        api.commit(token, "name=looks.csv", looks);
    }
}

fn ask(api: &Api, query: &str, token: Option<&str>) -> Value {
    let request = api.get(&format!("/api/v1/taxa/goniopora/survival?{query}"));
    let request = match token {
        Some(token) => request.bearer_auth(token),
        None => request,
    };
    json_of(request.send().unwrap(), 200)
}

fn close(got: &Value, want: f64) {
    let number = got.as_f64().unwrap_or_else(|| panic!("{got} is no number"));
    assert!((number - want).abs() < 1e-12, "{number}, by hand {want}");
}

#[test]
fn each_outcome_answers_as_counted_by_hand_and_as_documented() {
    let api = Api::start();
    club(&api);
    let curator = Some(api.curator.as_str());

    // At risk 12 on day 56.5 (declined), 11 on 66.5 (cut to save it), 10 on 90 (died without).
    let first = ask(&api, "outcome=first_serious_decline", curator);
    let evidence = &first["evidence"];
    assert_eq!(
        (&evidence["specimens"], &evidence["declines"], &evidence["deaths"]),
        (&json!(12), &json!(2), &json!(1))
    );
    assert_eq!(evidence["left_out"]["no_follow_up"], 1, "the piece that was saved");
    assert_eq!(
        (&evidence["left_out"]["poor_at_entry"], &evidence["left_out"]["no_look_at_entry"]),
        (&json!(0), &json!(0))
    );
    let group = &first["result"]["groups"][0];
    let times: Vec<f64> =
        group["curve"].as_array().unwrap().iter().map(|step| step["time"].as_f64().unwrap()).collect();
    assert_eq!(times, [56.5, 66.5]);
    close(&group["at_horizon"]["survival"], 10.0 / 12.0);
    let causes = first["result"]["causes"].as_array().unwrap();
    assert_eq!((&causes[0]["cause"], &causes[1]["cause"]), (&json!("decline"), &json!("death_before_decline")));
    close(&causes[0]["incidence"], 2.0 / 12.0);
    close(&causes[1]["incidence"], 1.0 / 12.0);
    assert_eq!(group["rmst"]["refused"]["code"], "DifferentDefinitions");
    assert!(first["cautions"].as_array().unwrap().iter().any(|caution| caution["code"] == "deaths_apart"));

    let either = ask(&api, "outcome=death_or_decline", curator);
    close(&either["result"]["groups"][0]["at_horizon"]["survival"], 9.0 / 12.0);

    let death = ask(&api, "", curator);
    assert_eq!(death, ask(&api, "outcome=death", curator));
    assert_eq!((&death["evidence"]["specimens"], &death["evidence"]["deaths"]), (&json!(12), &json!(2)));
    assert!(
        death["evidence"].get("declines").is_none() && death["evidence"]["left_out"].get("poor_at_entry").is_none()
    );

    let after = ask(&api, "outcome=death_after_decline", curator);
    assert_eq!(after["result"]["refused"]["code"], "TooFewSpecimens", "one coral was seen poor");
    assert_eq!(after["evidence"]["left_out"]["never_declined"], 11);

    for outcome in OUTCOMES {
        for token in [curator, Some(api.reader.as_str()), None] {
            for by in ["none", "nitrate", "year"] {
                let sent = ask(&api, &format!("outcome={outcome}&by={by}"), token);
                assert_eq!(sent["question"]["outcome"], outcome);
                let read: SurvivalAnswer = serde_json::from_value(sent.clone()).unwrap();
                assert_eq!(serde_json::to_value(&read).unwrap(), sent, "{outcome}, by={by}: nothing undocumented");
            }
        }
    }
}

#[test]
fn an_outcome_that_is_not_offered_names_the_nearest() {
    let api = Api::start();
    for (asked, meant) in [
        ("first_serious_declines", "first_serious_decline"),
        ("death_or_declin", "death_or_decline"),
        ("death_after_declin", "death_after_decline"),
        ("deaths", "death"),
    ] {
        let response = api.get(&format!("/api/v1/taxa/goniopora/survival?outcome={asked}")).send().unwrap();
        let problem = problem_of(response, 400, "invalid-query");
        let fault = &problem["errors"][0];
        assert_eq!(fault["parameter"], "outcome");
        assert!(fault["detail"].as_str().unwrap().contains(&format!("'{meant}'")), "{fault}");
    }
    // Like none of them: all that there are.
    let response = api.get("/api/v1/taxa/goniopora/survival?outcome=bleaching").send().unwrap();
    let problem = problem_of(response, 400, "invalid-query");
    let detail = problem["errors"][0]["detail"].as_str().unwrap();
    assert!(OUTCOMES.iter().all(|outcome| detail.contains(outcome)), "{detail}");
}
