//! The ranges that the club teaches: dated, signed, previewed, withdrawn, and what answers and releases make of them.

use serde_json::{Value, json};

use crate::answers::club;
use crate::api_support::{Api, json_of, problem_of};

fn get(api: &Api, path: &str, token: &str) -> Value {
    json_of(api.get(path).bearer_auth(token).send().unwrap(), 200)
}

fn band(lower: f64, upper: f64) -> Value {
    json!({"taxon": "goniopora", "parameter": "nitrate", "lower": lower, "upper": upper, "signed_by": "husbandry group"})
}

fn with(mut band: Value, member: &str, value: &str) -> Value {
    band[member] = json!(value);
    band
}

fn teach(api: &Api, band: &Value) -> Value {
    json_of(api.post("/api/v1/bands").bearer_auth(&api.curator).json(band).send().unwrap(), 201)
}

fn withdraw(api: &Api, id: &Value) -> Value {
    json_of(api.delete(&format!("/api/v1/bands/{id}")).bearer_auth(&api.curator).send().unwrap(), 200)
}

fn taught(api: &Api, token: &str) -> Value {
    let parameter = get(api, "/api/v1/parameters/nitrate", token);
    parameter["taught"].as_array().unwrap().iter().find(|of| of["taxon"] == "goniopora").cloned().unwrap_or_default()
}

/// The levels of the answer by nitrate, with what is in each.
fn levels(api: &Api, token: &str) -> Vec<(String, u64)> {
    let answer = get(api, "/api/v1/taxa/goniopora/survival?by=nitrate", token);
    let groups = answer["result"]["groups"].as_array().cloned().unwrap_or_default();
    groups.iter().map(|of| (of["group"].as_str().unwrap().to_owned(), of["n"].as_u64().unwrap())).collect()
}

fn release(api: &Api) {
    json_of(api.post("/api/v1/releases").bearer_auth(&api.curator).send().unwrap(), 201);
}

#[test]
fn a_newer_row_overrides_and_the_history_stays() {
    let api = Api::start();
    let edition = || get(&api, "/api/v1/taxa?q=goniopora", &api.curator)["edition"].clone();
    let before = edition();
    let first = teach(&api, &with(band(5.0, 12.0), "since", "2025-05-01"));
    assert_ne!(edition(), before, "the edition is raised");
    assert_eq!((&first["in_force"], &first["since"]), (&json!(true), &json!("2025-05-01")));
    let second = teach(&api, &band(4.0, 10.0));
    assert_eq!(second["since"], "2025-06-30", "today, where no day is said");
    let list = get(&api, "/api/v1/bands", &api.curator);
    let forces: Vec<&Value> = list["bands"].as_array().unwrap().iter().map(|of| &of["in_force"]).collect();
    assert_eq!(forces, [&json!(false), &json!(true)]);
    assert!(list["catalogue"].as_array().unwrap().iter().all(|of| of["taught_by"] == "catalogue"));
    assert_eq!(
        (taught(&api, &api.curator)["upper"].clone(), taught(&api, &api.curator)["taught_by"].clone()),
        (json!(10.0), json!("club"))
    );
    // One that is older by its day is history at once.
    let older = teach(&api, &with(band(1.0, 20.0), "since", "2024-01-01"));
    assert_eq!(older["in_force"], false);
    // Withdrawn, the one before it is in force; without any, the catalogue's.
    let gone = withdraw(&api, &second["id"]);
    assert!(gone["withdrawn_at"].is_string() && gone["in_force"] == false);
    assert_eq!(withdraw(&api, &second["id"]), gone, "again, it changes nothing");
    assert_eq!(taught(&api, &api.curator)["upper"], 12.0);
    withdraw(&api, &first["id"]);
    withdraw(&api, &older["id"]);
    assert_ne!(taught(&api, &api.curator)["taught_by"], "club");
    assert_eq!(get(&api, "/api/v1/bands", &api.curator)["bands"].as_array().unwrap().len(), 3);
    let done = get(&api, "/api/v1/audit?action=withdraw%20band", &api.curator);
    assert_eq!(done["audit"].as_array().unwrap().len(), 3);
    problem_of(api.delete("/api/v1/bands/999").bearer_auth(&api.curator).send().unwrap(), 404, "unknown-band");
}

#[test]
fn everything_wrong_with_a_range_is_said_at_once() {
    let api = Api::start();
    for path in ["/api/v1/bands", "/api/v1/bands/preview"] {
        let pointers = |body: Value| {
            let response = api.post(path).bearer_auth(&api.curator).json(&body).send().unwrap();
            let problem = problem_of(response, 422, "invalid-value");
            let at = |fault: &Value| fault["pointer"].as_str().unwrap().to_owned();
            problem["errors"].as_array().unwrap().iter().map(at).collect::<Vec<String>>()
        };
        let all = json!({"taxon": "gonipora", "parameter": "nitrate", "lower": 12, "upper": 5, "unit": "furlong",
            "since": "2031-01-01", "signed_by": " "});
        assert_eq!(pointers(all), ["/taxon", "/lower", "/unit", "/since", "/signed_by"]);
        assert_eq!(pointers(band(5.0, 5.0)), ["/lower"]);
        assert_eq!(pointers(band(-1.0, 9000.0)), ["/lower", "/upper"]);
        let warm = json!({"taxon": "goniopora", "parameter": "temperature", "lower": 3, "upper": 8, "signed_by": "x"});
        assert_eq!(pointers(warm), ["/upper"], "no tank is usual there");
        let unknown = json!({"taxon": "goniopora", "parameter": "nitrat", "lower": 1, "upper": 2, "signed_by": "x"});
        assert_eq!(pointers(unknown), ["/parameter"]);
        let more = with(band(1.0, 2.0), "colour", "blue");
        problem_of(api.post(path).bearer_auth(&api.curator).json(&more).send().unwrap(), 400, "invalid-body");
    }
    assert!(get(&api, "/api/v1/bands", &api.curator)["bands"].as_array().unwrap().is_empty());
}

/// 20 °C is 68 °F and 30 °C is 86 °F by the definition of the scale; 1 mg/L of nitrogen is 62.004/14.007 mg/L of nitrate by
/// the atomic weights (CIAAW 2021, abridged, from memory).
#[test]
fn edges_are_taken_in_the_units_of_the_catalogue() {
    let api = Api::start();
    club(&api);
    let fahrenheit = json!({"taxon": "goniopora", "parameter": "temperature", "lower": 68, "upper": 86, "unit": "°F",
        "signed_by": "husbandry group"});
    teach(&api, &fahrenheit);
    let bands = get(&api, "/api/v1/taxa/goniopora/bands", &api.curator);
    let lines = bands["result"]["bands"].as_array().unwrap();
    let line = lines.iter().find(|line| line["parameter"] == "temperature").unwrap();
    assert_eq!((&line["taught"]["lower"], &line["taught"]["upper"]), (&json!(68.0), &json!(86.0)), "{line:#}");
    // 1.8 to 2.8 mg/L as nitrogen are 7.97 to 12.4 of nitrate: 8 lies within, at 25 it is above.
    let nitrogen = with(with(band(1.8, 2.8), "unit", "mg/L"), "unit_basis", "N");
    teach(&api, &nitrogen);
    let counted: Vec<(String, u64)> = levels(&api, &api.curator).into_iter().filter(|(_, n)| *n > 0).collect();
    assert!(counted.contains(&("within".to_owned(), 12)) && counted.contains(&("above".to_owned(), 12)), "{counted:?}");
}

#[test]
fn a_preview_is_what_comes_and_saves_nothing() {
    let api = Api::start();
    club(&api);
    let preview = |band: &Value| {
        json_of(api.post("/api/v1/bands/preview").bearer_auth(&api.curator).json(band).send().unwrap(), 200)
    };
    let narrow = band(5.0, 7.0);
    let previewed = preview(&narrow);
    assert_eq!(previewed["edges_off_ladder"], json!([{"edge": "upper", "value": 7.0, "below": 5.0, "above": 15.0}]));
    let goniopora = previewed["taxa"].as_array().unwrap().iter().find(|of| of["taxon"] == "goniopora").unwrap();
    let of = |when: &str| {
        let curator = goniopora["readers"].as_array().unwrap().iter().find(|of| of["reader"] == "curator").unwrap();
        let levels = curator[when].as_array().unwrap().iter();
        levels.map(|of| (of["level"].as_str().unwrap().to_owned(), of["specimens"].as_u64().unwrap())).collect()
    };
    let (before, after): (Vec<_>, Vec<_>) = (of("before"), of("after"));
    assert_eq!(before, levels(&api, &api.curator));
    assert!(
        goniopora["answers"].as_u64().unwrap() > 0 && previewed["answers"].as_u64() >= goniopora["answers"].as_u64()
    );
    assert!(get(&api, "/api/v1/bands", &api.curator)["bands"].as_array().unwrap().is_empty());
    teach(&api, &narrow);
    assert_eq!(levels(&api, &api.curator), after);
    assert_eq!(preview(&narrow)["taxa"], json!([]), "it is taught already");
}

#[test]
fn members_read_the_range_of_the_release() {
    let api = Api::start();
    club(&api);
    release(&api);
    let before = levels(&api, &api.reader);
    assert!(before.contains(&("above".to_owned(), 12)), "{before:?}");
    // Three members at 8, within 5 to 15; three at 25, above: both change their level.
    teach(&api, &band(9.0, 30.0));
    assert_ne!(levels(&api, &api.curator), before);
    assert_eq!(levels(&api, &api.reader), before, "the release stands");
    assert_ne!(taught(&api, &api.reader)["taught_by"], "club");
    assert_eq!(taught(&api, &api.curator)["taught_by"], "club");
    release(&api);
    assert_eq!(taught(&api, &api.reader)["taught_by"], "club");
    let told = get(&api, "/api/v1/taxa/goniopora/survival?by=nitrate", &api.reader);
    assert_eq!(told["release"], 2, "three members' corals changed their level");
    assert!(levels(&api, &api.reader).contains(&("below".to_owned(), 12)), "{:?}", levels(&api, &api.reader));
    // The public, and whoever may not read the answers, knows what they know.
    assert_eq!(
        json_of(api.get("/api/v1/parameters/nitrate").send().unwrap(), 200)["taught"][0]["parameter"],
        "nitrate"
    );
}

#[test]
fn a_release_keeps_the_older_figures_where_an_edge_passes_one_members_corals() {
    let api = Api::start();
    club(&api);
    // A seventh member, at 14: within 5 to 15.
    let body = json!({"role": "keeper", "keeper": "keeper7", "create": true});
    let made = json_of(api.post("/api/v1/tokens").bearer_auth(&api.curator).json(&body).send().unwrap(), 201);
    let token = made["token"].as_str().unwrap();
    let register = "ID,Coral,Acquired,Tank,Date died\nC1,Goniopora sp.,2024-01-01,Tank 7,2024-10-01\nC2,Goniopora sp.,2024-01-01,Tank 7,\n";
    api.commit_register(token, "name=corals.csv&as_of=2024-12-30", register, "2023-12-01");
    let tests: String = (0..14).map(|month| format!("2024-{:02}-01,14\n", month % 12 + 1)).take(12).collect();
    api.commit(token, "name=tests.csv", format!("Date,Nitrate (mg/L)\n2023-12-01,14\n{tests}"));
    release(&api);
    let before = levels(&api, &api.reader);
    assert!(before.iter().any(|(level, n)| level.ends_with("within") && *n == 14), "{before:?}");
    let one = teach(&api, &band(5.0, 12.0));
    release(&api);
    assert_eq!(levels(&api, &api.reader), before, "one member's corals went from within to above");
    let exact = levels(&api, &api.curator);
    assert!(exact.contains(&("within".to_owned(), 12)), "{exact:?}");
    // Answers made of several splits stand with it, those that know nothing of the band do not.
    let origin = |token: &str| get(&api, "/api/v1/taxa/goniopora/survival?by=none", token)["release"].clone();
    assert_eq!(origin(&api.reader), 2);
    withdraw(&api, &one["id"]);
    release(&api);
    assert_eq!(
        get(&api, "/api/v1/taxa/goniopora/survival?by=nitrate", &api.reader)["release"],
        3,
        "nothing is apart any more"
    );
}
