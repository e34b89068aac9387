//! Links to one question, layouts beside a file, and answers about kits, over HTTP.

use diesel::RunQueryDsl;
use reqwest::blocking::Response;
use serde_json::{Value, json};

use crate::api_support::{Api, json_of, problem_of};

const LOG: &str = "Tank,Date,PO4 (mg/L),KH (dKH)\nLagoon,2025-03-04,0.05,7.77\nLagoon,2025-03-11,not detected,8.1\nLagoon,2025-03-18,0.06,8.2\n";

struct Asked {
    upload: String,
    key: Value,
}

fn asked(api: &Api) -> Asked {
    let upload = api.upload(&api.osprey, "name=secret%20file%20name.csv", LOG);
    let findings = api.findings(&api.osprey, &upload);
    let one = findings.as_array().unwrap().iter().find(|finding| finding["severity"] == "questioned").unwrap();
    assert_eq!(one["code"], "limit_missing");
    Asked { upload: upload["links"]["self"].as_str().unwrap().to_owned(), key: one["key"].clone() }
}

fn link(api: &Api, asked: &Asked, days: Option<u32>) -> (i64, String) {
    let body = json!({"key": asked.key, "expires_days": days});
    let made = json_of(
        api.post(&format!("{}/links", asked.upload)).bearer_auth(&api.curator).json(&body).send().unwrap(),
        201,
    );
    let url = made["url"].as_str().unwrap();
    assert!(url.starts_with(&api.base), "{url}");
    (made["id"].as_i64().unwrap(), url[api.base.len()..].to_owned())
}

fn post(api: &Api, path: &str, value: f64) -> Response {
    api.post(path).json(&json!({"choice": "limit", "value": value})).send().unwrap()
}

#[test]
fn a_link_shows_one_question_and_takes_one_answer() {
    let api = Api::start();
    let asked = asked(&api);
    let (_, path) = link(&api, &asked, None);
    let response = api.get(&path).send().unwrap();
    let header = |name: &str| response.headers().get(name).map(|value| value.to_str().unwrap().to_owned());
    assert_eq!(header("cache-control").as_deref(), Some("no-store"));
    assert_eq!(header("referrer-policy").as_deref(), Some("no-referrer"));
    assert!(header("x-robots-tag").unwrap().contains("noindex"));
    let shown = json_of(response, 200);
    // The cell, and the day and the tank that go with it: what the question covers.
    let cells: Vec<(&Value, &Value, &Value)> = shown["cells"]
        .as_array()
        .unwrap()
        .iter()
        .map(|cell| (&cell["row"], &cell["column"], &cell["written"]))
        .collect();
    assert_eq!(cells[0], (&json!(3), &json!(3), &json!("not detected")));
    assert!(cells.iter().all(|cell| *cell.0 == 3), "{cells:?}");
    assert_eq!(shown["answered"], Value::Null);
    let text = shown.to_string();
    for other in ["7.77", "8.1", "secret file name", "osprey", "0.05"] {
        assert!(!text.contains(other), "{other}: {text}");
    }
    // Looking does not use it up; a wrong answer does not either.
    json_of(api.get(&path).send().unwrap(), 200);
    problem_of(api.post(&path).json(&json!({"choice": "limit"})).send().unwrap(), 422, "invalid-answer");
    problem_of(api.post(&path).json(&json!({"choice": "nonsense"})).send().unwrap(), 422, "invalid-answer");
    let cross = api.post(&path).header("sec-fetch-site", "cross-site").json(&json!({"choice": "leave_out"}));
    problem_of(cross.send().unwrap(), 403, "forbidden");

    let taken = json_of(post(&api, &path, 0.03), 200);
    assert_eq!(taken["answered"], json!({"choice": "limit", "value": 0.03}));
    let ready = api.settle(&api.osprey, &asked.upload);
    assert_eq!((&ready["state"], &ready["open_questions"]), (&json!("ready"), &json!(0)));
    let again = problem_of(post(&api, &path, 0.04), 409, "already-answered");
    assert_eq!((&again["current"]["choice"], &again["current"]["value"]), (&json!("limit"), &json!(0.03)));
    problem_of(api.get(&path).send().unwrap(), 409, "already-answered");
    #[derive(diesel::QueryableByName)]
    struct Line {
        #[diesel(sql_type = diesel::sql_types::Text)]
        line: String,
    }
    let noted: Vec<Line> = diesel::sql_query(
        "SELECT concat_ws(': ', actor, action) AS line FROM audit WHERE subject LIKE 'question link%' ORDER BY id",
    )
    .load(&mut api.connect())
    .unwrap();
    let noted: Vec<&str> = noted.iter().map(|line| line.line.as_str()).collect();
    assert_eq!(noted.len(), 2);
    assert!(noted[0].ends_with(": make question link") && noted[1] == "question link 1: answer by link", "{noted:?}");
    // The secret itself is nowhere.
    let secret = path.rsplit('/').next().unwrap();
    let kept: Vec<Line> = diesel::sql_query(
        "SELECT question_link::text AS line FROM question_link UNION ALL SELECT audit::text FROM audit",
    )
    .load(&mut api.connect())
    .unwrap();
    assert!(kept.iter().all(|line| !line.line.contains(secret)));
}

#[test]
fn a_link_that_is_wrong_expired_or_withdrawn_tells_nothing() {
    let api = Api::start();
    let asked = asked(&api);
    let same = |response: Response| {
        let mut problem = problem_of(response, 404, "unknown-link");
        problem["request_id"] = Value::Null;
        problem
    };
    let wrong = same(api.get(&format!("/questions/{}", "0".repeat(64))).send().unwrap());
    let (number, withdrawn) = link(&api, &asked, None);
    let of = format!("{}/links/{number}", asked.upload);
    let first = json_of(api.delete(&of).bearer_auth(&api.curator).send().unwrap(), 200);
    assert_eq!(json_of(api.delete(&of).bearer_auth(&api.curator).send().unwrap(), 200), first);
    assert_eq!(same(api.get(&withdrawn).send().unwrap()), wrong);
    assert_eq!(same(post(&api, &withdrawn, 0.03)), wrong);
    let (number, expired) = link(&api, &asked, Some(1));
    diesel::sql_query("UPDATE question_link SET created_at = now() - interval '2 days', expires_at = now() - interval '1 second' WHERE id = $1")
        .bind::<diesel::sql_types::BigInt, _>(number)
        .execute(&mut api.connect())
        .unwrap();
    assert_eq!(same(api.get(&expired).send().unwrap()), wrong);
    assert_eq!(same(post(&api, &expired, 0.03)), wrong);
    // Answered by somebody else: the answer that stands, and nothing is changed.
    let (_, late) = link(&api, &asked, None);
    let answers = json!({"answers": [{"key": asked.key, "choice": "limit", "value": 0.02}]});
    json_of(
        api.post(&format!("{}/answers", asked.upload)).bearer_auth(&api.osprey).json(&answers).send().unwrap(),
        200,
    );
    assert_eq!(problem_of(post(&api, &late, 0.03), 409, "already-answered")["current"]["value"], 0.02);
    // Gone with its upload.
    json_of(api.delete(&asked.upload).bearer_auth(&api.osprey).send().unwrap(), 200);
    assert_eq!(same(api.get(&late).send().unwrap()), wrong);
    // A link to what is not asked is not made, nor one that lasts for ever.
    let other = self::asked(&api);
    let links = format!("{}/links", other.upload);
    let make = |body: Value| api.post(&links).bearer_auth(&api.curator).json(&body).send().unwrap();
    problem_of(make(json!({"key": "limit_mising"})), 422, "invalid-value");
    problem_of(make(json!({"key": other.key, "expires_days": 61})), 400, "invalid-body");
}

#[test]
fn a_page_without_scripts_takes_the_answer() {
    let api = Api::start();
    let asked = asked(&api);
    let (_, path) = link(&api, &asked, None);
    let browser =
        |path: &str| api.get(path).header("accept", "text/html,application/xhtml+xml,*/*;q=0.8").send().unwrap();
    let response = browser(&path);
    let policy = response.headers()["content-security-policy"].to_str().unwrap().to_owned();
    assert!(policy.contains("default-src 'none'") && policy.contains("frame-ancestors 'none'"), "{policy}");
    let text = response.text().unwrap();
    assert!(text.contains("<form method=\"post\">") && text.contains("name=\"value:limit\""), "{text}");
    assert!(
        text.contains("noindex") && !text.contains("<script") && !text.contains("http://") && !text.contains("7.77")
    );
    let send = |body: &'static str| {
        let request = api.post(&path).header("accept", "text/html").header("sec-fetch-site", "same-origin");
        request.header("content-type", "application/x-www-form-urlencoded").body(body).send().unwrap()
    };
    let wrong = send("choice=limit&value%3Alimit=abc");
    assert_eq!(wrong.status(), 422);
    let text = wrong.text().unwrap();
    assert!(text.contains("role=\"alert\"") && text.contains("<form"), "the form comes again: {text}");
    assert_eq!(send("").status(), 422);
    let taken = send("choice=limit&value%3Alimit=0%2C03");
    assert_eq!(taken.status(), 200);
    assert!(taken.text().unwrap().contains("Thank you"));
    assert_eq!(api.settle(&api.osprey, &asked.upload)["state"], "ready");
    let again = send("choice=limit&value%3Alimit=0.05");
    assert_eq!(again.status(), 409);
    let none = browser("/questions/none");
    assert_eq!(none.status(), 404);
    assert!(none.headers()["content-type"].to_str().unwrap().starts_with("text/html"));
}

#[test]
fn guessing_links_is_limited() {
    let api = Api::start_with(|settings| {
        settings.policy =
            Some(server::limit::Policy { quota: 5, window: std::time::Duration::from_secs(600), loopback: true });
    });
    let statuses: Vec<u16> =
        (0..7).map(|at| api.get(&format!("/questions/{at}")).send().unwrap().status().as_u16()).collect();
    assert_eq!(statuses, [404, 404, 404, 404, 404, 429, 429]);
}

#[test]
fn a_layout_is_handed_out_and_applied() {
    let api = Api::start();
    let asked = asked(&api);
    let answers = json!({"answers": [{"key": asked.key, "choice": "limit", "value": 0.03}]});
    json_of(
        api.post(&format!("{}/answers", asked.upload)).bearer_auth(&api.osprey).json(&answers).send().unwrap(),
        200,
    );
    let layout = json_of(api.get(&format!("{}/layout", asked.upload)).bearer_auth(&api.osprey).send().unwrap(), 200);
    assert_eq!(layout["strandline:layout"]["answers"][0]["choice"], "limit");
    // By another member, as a part of the form.
    let next = LOG.replace("2025-03", "2025-04").replace("Lagoon", "Reef");
    let send = |file: &str, layout: &Value| {
        let body = format!(
            "--edge\r\nContent-Disposition: form-data; name=\"layout\"\r\n\r\n{layout}\r\n--edge\r\nContent-Disposition: \
             form-data; name=\"file\"; filename=\"april.csv\"\r\n\r\n{file}\r\n--edge--\r\n"
        );
        let request = api.post("/api/v1/uploads").bearer_auth(&api.heron);
        request.header("content-type", "multipart/form-data; boundary=edge").body(body).send().unwrap()
    };
    let received = json_of(send(&next, &layout), 202);
    let read = api.settle(&api.heron, received["links"]["self"].as_str().unwrap());
    assert_eq!(read["state"], "ready", "{:#}", api.findings(&api.heron, &read));
    // By number, within reach only; a file of another shape is refused naming what differs.
    let id = asked.upload.rsplit('/').next().unwrap();
    let by_number = |token: &str, file: &str| {
        let request = api.post(&format!("/api/v1/uploads?name=may.csv&layout={id}")).bearer_auth(token);
        request.header("content-type", "text/csv").body(file.to_owned()).send().unwrap()
    };
    problem_of(by_number(&api.heron, &next), 404, "unknown-upload");
    let other = problem_of(by_number(&api.osprey, &next.replace("KH (dKH)", "Ca (mg/L)")), 422, "invalid-value");
    let details = other["errors"].to_string();
    assert!(details.contains("'KH (dKH)' is missing") && details.contains("'Ca (mg/L)' (column 4)"), "{details}");
    problem_of(send(&next.replace("2025", "2024"), &json!({"resources": []})), 422, "invalid-value");
}

#[test]
fn an_answer_about_a_kit_is_previewed_given_and_taken_back() {
    let api = Api::start();
    let preview = |kit: &Value| api.post("/api/v1/kits/preview").bearer_auth(&api.curator).json(kit).send().unwrap();
    let kit = json!({"parameter": "phosphate", "name": "Tidepool P2", "limit": 0.03});
    let seen = json_of(preview(&kit), 200);
    assert_eq!(seen["keepers"], json!([]));
    let give = |confirm: &Value| {
        let body = json!({"kit": kit, "confirm": confirm});
        api.post("/api/v1/kits").bearer_auth(&api.curator).json(&body).send().unwrap()
    };
    problem_of(give(&json!("no preview")), 409, "preview-outdated");
    let made = json_of(give(&seen["confirm"]), 201);
    let path = format!("/api/v1/kits/{}", made["id"]);
    let undo = || json_of(api.delete(&path).bearer_auth(&api.curator).send().unwrap(), 200);
    let undone = undo();
    assert!(undone["undone_at"].is_string());
    assert_eq!(undo(), undone);
    let wrong = problem_of(preview(&json!({"parameter": "phosphat", "name": "", "limit": -1.0})), 422, "invalid-value");
    assert_eq!(wrong["errors"].as_array().unwrap().len(), 3, "{wrong:#}");
    problem_of(api.delete("/api/v1/kits/999").bearer_auth(&api.curator).send().unwrap(), 404, "unknown-kit");
}
