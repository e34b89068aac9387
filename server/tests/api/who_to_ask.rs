//! Whom to ask for what: what is asked, of whom, in which order, and what is never said.

use serde_json::{Value, json};

use crate::answers::club;
use crate::api_support::{Api, json_of, problem_of};

const PATH: &str = "/api/v1/who-to-ask";

fn ask(api: &Api, query: &str) -> Value {
    json_of(api.get(&format!("{PATH}{query}")).bearer_auth(&api.curator).send().unwrap(), 200)
}

fn of<'v>(page: &'v Value, keeper: &str, about: &str) -> Option<&'v Value> {
    let keepers = page["keepers"].as_array().unwrap();
    let keeper = keepers.iter().find(|of| of["keeper"] == keeper)?;
    keeper["asks"].as_array().unwrap().iter().find(|of| of["about"] == about)
}

#[test]
fn each_gap_is_asked_of_who_can_fill_it_and_the_one_that_helps_most_comes_first() {
    let api = Api::start();
    club(&api);
    // A list with a name that is asked about, and corals of no origin.
    let list = "ID,Coral,Acquired,Tank,Date died\nX1,Goniopora sp.,2024-01-01,Lagoon,\nX2,flowerpot,2024-01-01,Lagoon,2024-05-01\n";
    let upload = api.upload(&api.osprey, "name=corals.csv&as_of=2024-12-30", list);
    let commit = api
        .post(upload["links"]["commit"].as_str().unwrap())
        .bearer_auth(&api.osprey)
        .json(&json!({"leave_open": true}));
    json_of(commit.send().unwrap(), 200);
    let page = ask(&api, "");
    assert!(page["lacking"].as_u64().unwrap() > 0);
    // Nobody said where the corals of the first six come from: the answer by origin lacks it.
    let origin = of(&page, "keeper1", "origin").expect("it is asked");
    assert!(origin["answers"].as_array().unwrap().iter().any(|of| of["by"] == "origin" && of["taxon"] == "goniopora"));
    assert_eq!((&origin["coral_count"], &origin["corals"][0]), (&json!(4), &json!("C0")));
    // Phosphate was never tested, nitrate was.
    let phosphate = of(&page, "keeper1", "phosphate").expect("it is asked");
    assert_eq!((&phosphate["last_test"], &phosphate["tanks"]), (&Value::Null, &json!(["Tank 1"])));
    // The file's own question, which a link can be made to.
    let open = of(&page, "osprey", "open_question").expect("it is asked");
    let link = json!({"key": open["key"]});
    let path = format!("/api/v1/uploads/{}/links", open["upload"]);
    json_of(api.post(&path).bearer_auth(&api.curator).json(&link).send().unwrap(), 201);
    // The order is that of what helps most, of members and within each.
    let lifts =
        |asks: &Value| asks.as_array().unwrap().iter().map(|of| of["lifts"].as_u64().unwrap()).collect::<Vec<_>>();
    let mut most = Vec::new();
    for keeper in page["keepers"].as_array().unwrap() {
        let own = lifts(&keeper["asks"]);
        assert!(own.is_sorted_by(|a, b| a >= b), "{keeper:#}");
        most.push(own[0]);
        let text = keeper["text"].as_str().unwrap();
        assert!(text.starts_with(&format!("Hello {}", keeper["keeper"].as_str().unwrap())));
        assert!(text.contains(keeper["asks"][0]["question"].as_str().unwrap()));
        for word in ["lost most", "worst", "best", "rank", "should", "your losses"] {
            assert!(!text.to_lowercase().contains(word), "{text}");
        }
        assert!(keeper.get("deaths").is_none() && keeper.get("losses").is_none());
    }
    assert!(most.is_sorted_by(|a, b| a >= b));
}

#[test]
fn what_was_said_is_asked_no_more() {
    let api = Api::start();
    club(&api);
    let before = ask(&api, "?keeper=keeper1");
    assert!(of(&before, "keeper1", "phosphate").is_some());
    let body = json!({"role": "keeper", "keeper": "keeper1"});
    let made = json_of(api.post("/api/v1/tokens").bearer_auth(&api.curator).json(&body).send().unwrap(), 201);
    let mut tests = String::from("Date,Phosphate (mg/L)\n");
    for day in 0..28 {
        tests += &format!("{},0.05\n", crate::answers::arrival() - chrono::Days::new(30) + chrono::Days::new(15 * day));
    }
    api.commit(made["token"].as_str().unwrap(), "name=phosphate.csv", tests);
    assert!(of(&ask(&api, "?keeper=keeper1"), "keeper1", "phosphate").is_none());
    assert!(of(&ask(&api, "?keeper=keeper2"), "keeper2", "phosphate").is_some());
}

#[test]
fn it_is_paged_and_a_table_too_and_the_curators_alone() {
    let api = Api::start();
    club(&api);
    let mut seen = Vec::new();
    let mut next = Some("?limit=4".to_owned());
    while let Some(query) = next {
        let page = ask(&api, &query);
        seen.extend(page["keepers"].as_array().unwrap().iter().map(|of| of["keeper"].as_str().unwrap().to_owned()));
        next = page["links"]["next"].as_str().map(|path| path[path.find('?').unwrap()..].to_owned());
    }
    let all: Vec<String> = ask(&api, "")["keepers"]
        .as_array()
        .unwrap()
        .iter()
        .map(|of| of["keeper"].as_str().unwrap().to_owned())
        .collect();
    assert_eq!((seen.len(), &seen), (6, &all));
    let table = api.get(&format!("{PATH}?format=csv")).bearer_auth(&api.curator).send().unwrap().text().unwrap();
    assert!(table.starts_with("edition,keeper,about,lifts,question,corals,tanks,last_test,upload,key"), "{table}");
    assert!(table.lines().count() > 6);
    problem_of(api.get(PATH).bearer_auth(&api.reader).send().unwrap(), 403, "forbidden");
    problem_of(api.get(PATH).send().unwrap(), 401, "unauthorised");
}
