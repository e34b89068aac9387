//! From a member's file to the club's records, and back: states, questions, answers, commit, undo.

use diesel::RunQueryDsl;
use serde_json::{Value, json};

use crate::api_support::{Api, json_of, problem_of, register, water};

fn counts(api: &Api) -> Value {
    let club = json_of(api.get("/api/v1/club").bearer_auth(&api.curator).send().unwrap(), 200);
    club["records"].clone()
}

#[test]
fn a_clean_file_goes_from_received_to_committed_and_back() {
    let api = Api::start();
    let response = api
        .post("/api/v1/uploads?name=lagoon%20tests.csv")
        .bearer_auth(&api.osprey)
        .header("content-type", "text/csv")
        .body(water("Lagoon", 5.0))
        .send()
        .unwrap();
    assert_eq!(response.headers()["retry-after"], "1");
    let location = response.headers()["location"].to_str().unwrap().to_owned();
    let received = json_of(response, 202);
    assert_eq!(
        (&received["already"], &received["keeper"], &received["kind"]),
        (&json!(false), &json!("osprey"), &json!("file"))
    );
    assert_eq!(received["name"], "lagoon tests.csv");
    assert_eq!(received["links"]["self"], location);

    let ready = api.settle(&api.osprey, &location);
    assert_eq!(ready["state"], "ready", "{:#}", api.findings(&api.osprey, &ready));
    assert_eq!(ready["records"]["reading"], 3);
    let cells = &ready["cells"];
    let part = |name: &str| cells[name].as_u64().unwrap();
    assert_eq!(part("total"), part("recorded") + part("labels") + part("findings"));
    assert_eq!(counts(&api)["readings"], 0, "nothing counts before the commit");

    let preview = json_of(
        api.get(&format!("{location}/preview?kind=reading&limit=2")).bearer_auth(&api.osprey).send().unwrap(),
        200,
    );
    assert_eq!(preview["counts"]["reading"], 3);
    assert_eq!(preview["records"].as_array().unwrap().len(), 2);
    assert_eq!(preview["records"][0]["parameter"], "nitrate");
    assert_eq!(preview["records"][0]["value"], 5.0);

    let commit = || api.post(&format!("{location}/commit")).bearer_auth(&api.osprey).json(&json!({})).send().unwrap();
    let committed = json_of(commit(), 200);
    assert_eq!(committed["state"], "committed");
    assert!(committed["committed"]["recorded"].as_u64().unwrap() >= 3);
    assert_eq!(counts(&api)["readings"], 3);
    let again = json_of(commit(), 200);
    assert_eq!(again["committed"]["edition"], committed["committed"]["edition"], "nothing new, no new edition");

    let delete = || api.delete(&location).bearer_auth(&api.osprey).send().unwrap();
    let undone = json_of(delete(), 200);
    assert_eq!(undone["state"], "undone");
    assert_eq!(counts(&api)["readings"], 0);
    assert_eq!(json_of(delete(), 200), undone, "the same answer again");
    problem_of(commit(), 409, "wrong-state");
}

#[test]
fn before_its_commit_an_upload_is_discarded() {
    let api = Api::start();
    let ready = api.upload(&api.osprey, "name=a.csv", water("Lagoon", 5.0));
    let path = ready["links"]["self"].as_str().unwrap();
    let discarded = json_of(api.delete(path).bearer_auth(&api.osprey).send().unwrap(), 200);
    assert_eq!(discarded["state"], "discarded");
    assert_eq!(json_of(api.delete(path).bearer_auth(&api.osprey).send().unwrap(), 200), discarded);
    let commit = api.post(&format!("{path}/commit")).bearer_auth(&api.osprey).json(&json!({}));
    let problem = problem_of(commit.send().unwrap(), 409, "wrong-state");
    assert_eq!(problem["state"], "discarded");
}

#[test]
fn a_file_may_come_as_a_form() {
    let api = Api::start();
    let part = |name: &str, rest: &str| format!("--edge\r\nContent-Disposition: form-data; name=\"{name}\"{rest}\r\n");
    let send = |parts: &[String], query: &str| {
        api.post(&format!("/api/v1/uploads{query}"))
            .bearer_auth(&api.curator)
            .header("content-type", "multipart/form-data; boundary=edge")
            .body(format!("{}--edge--\r\n", parts.concat()))
            .send()
            .unwrap()
    };
    let file = "; filename=\"C:\\\\logs\\\\reef.csv\"\r\nContent-Type: text/csv\r\n\r\nDate,Nitrate (mg/L)\n2025-03-04,5\n2025-03-18,6\n";
    let form = [part("keeper", "\r\n\r\nosprey"), part("tank", "\r\n\r\nLagoon"), part("file", file)];
    let received = json_of(send(&form, ""), 202);
    assert_eq!(
        (&received["name"], &received["tank"], &received["keeper"]),
        (&json!("reef.csv"), &json!("Lagoon"), &json!("osprey"))
    );
    let form = [part("kepeer", "\r\n\r\nosprey"), part("tank", "\r\n\r\nReef")];
    let problem = problem_of(send(&form, "?tank=Lagoon"), 400, "invalid-query");
    let named: Vec<&str> =
        problem["errors"].as_array().unwrap().iter().map(|fault| fault["parameter"].as_str().unwrap()).collect();
    assert_eq!(named, ["kepeer", "tank", "file"]);
}

#[test]
fn bodies_that_are_no_file_are_refused() {
    let api = Api::start_with(|settings| settings.largest_upload = 1000);
    let post = |query: &str| api.post(&format!("/api/v1/uploads{query}")).bearer_auth(&api.osprey);
    problem_of(
        post("?name=a.csv").header("content-type", "application/x-www-form-urlencoded").body("a").send().unwrap(),
        415,
        "unsupported-media-type",
    );
    problem_of(post("?name=a.csv").body(vec![b'a'; 1001]).send().unwrap(), 413, "too-large");
    let unannounced = reqwest::blocking::Body::new(std::io::Cursor::new(vec![b'a'; 1001]));
    problem_of(post("?name=a.csv").body(unannounced).send().unwrap(), 413, "too-large");
    let problem = problem_of(post("").body("a").send().unwrap(), 400, "invalid-query");
    assert_eq!(problem["errors"][0]["parameter"], "name");
    problem_of(post("?name=a.csv&as_of=1.2.2025").body("a").send().unwrap(), 400, "invalid-query");
    let form = post("").header("content-type", "multipart/form-data; boundary=x").body("not a form");
    problem_of(form.send().unwrap(), 400, "bad-request");
    let nobody = api.post("/api/v1/uploads?name=a.csv&keeper=nobody").bearer_auth(&api.curator).body("a");
    problem_of(nobody.send().unwrap(), 422, "invalid-value");
    let unnamed = api.post("/api/v1/uploads?name=a.csv").bearer_auth(&api.curator).body("a");
    problem_of(unnamed.send().unwrap(), 400, "invalid-query");
}

#[test]
fn the_same_bytes_are_one_upload() {
    let api = Api::start();
    let first = api.upload(&api.osprey, "name=a.csv", water("Lagoon", 5.0));
    let send = |token: &str| {
        api.post("/api/v1/uploads?name=b.csv").bearer_auth(token).body(water("Lagoon", 5.0)).send().unwrap()
    };
    let second = json_of(send(&api.osprey), 200);
    assert_eq!((&second["already"], &second["id"]), (&json!(true), &first["id"]));
    let other = json_of(send(&api.heron), 202);
    assert_ne!(other["id"], first["id"], "another member's same file is another upload");
    json_of(api.delete(first["links"]["self"].as_str().unwrap()).bearer_auth(&api.osprey).send().unwrap(), 200);
    let third = json_of(send(&api.osprey), 202);
    assert_ne!(third["id"], first["id"], "after it was discarded it can come again");
}

#[test]
fn a_request_with_a_key_can_be_repeated() {
    let api = Api::start();
    let send = |key: &str, token: &str, bytes: String| {
        api.post("/api/v1/uploads?name=a.csv")
            .bearer_auth(token)
            .header("idempotency-key", key)
            .body(bytes)
            .send()
            .unwrap()
    };
    let first = json_of(send("\"k-1\"", &api.osprey, water("Lagoon", 5.0)), 202);
    let again = json_of(send("\"k-1\"", &api.osprey, water("Lagoon", 5.0)), 202);
    assert_eq!((&first["id"], &first["already"]), (&again["id"], &again["already"]));
    problem_of(send("\"k-1\"", &api.osprey, water("Lagoon", 6.0)), 422, "key-reused");
    let elsewhere = json_of(send("\"k-1\"", &api.heron, water("Lagoon", 6.0)), 202);
    assert_ne!(elsewhere["id"], first["id"], "keys of two tokens have nothing to do with each other");
    problem_of(send("\"two words\"", &api.osprey, water("Lagoon", 7.0)), 400, "invalid-query");
    diesel::sql_query("UPDATE upload SET received_at = now() - interval '25 hours' WHERE id = $1")
        .bind::<diesel::sql_types::BigInt, _>(first["id"].as_i64().unwrap())
        .execute(&mut api.connect())
        .unwrap();
    let later = json_of(send("\"k-1\"", &api.osprey, water("Lagoon", 8.0)), 202);
    assert_ne!(later["id"], first["id"], "after a day the key is free");
}

#[test]
fn requests_with_one_key_that_race_make_one_upload() {
    let api = Api::start();
    let ids: Vec<Value> = std::thread::scope(|scope| {
        let threads: Vec<_> = (0..6)
            .map(|_| {
                scope.spawn(|| {
                    let post = api.post("/api/v1/uploads?name=a.csv").bearer_auth(&api.osprey);
                    let response =
                        post.header("idempotency-key", "\"race\"").body(water("Lagoon", 5.0)).send().unwrap();
                    json_of(response, 202)["id"].clone()
                })
            })
            .collect();
        threads.into_iter().map(|thread| thread.join().unwrap()).collect()
    });
    assert!(ids.iter().all(|id| *id == ids[0]), "{ids:?}");
}

/// A list of corals raises one question; its cells wait for nothing, so it can be committed with the question open.
#[test]
fn questions_are_answered_once() {
    let api = Api::start();
    let upload = api.upload(&api.osprey, "name=corals.csv&as_of=2025-06-01", register());
    assert_eq!((&upload["state"], &upload["open_questions"]), (&json!("questions"), &json!(1)));
    let questions = json_of(
        api.get(&format!("{}?severity=questioned", upload["links"]["findings"].as_str().unwrap()))
            .bearer_auth(&api.osprey)
            .send()
            .unwrap(),
        200,
    );
    let question = &questions["findings"][0];
    assert_eq!((&questions["state"], &question["code"]), (&json!("questions"), &json!("complete_since_missing")));
    assert!(
        question["choices"]
            .as_array()
            .unwrap()
            .iter()
            .any(|choice| choice["code"] == "day" && choice["needs"] == "day")
    );

    let commit = |body: Value| {
        api.post(upload["links"]["commit"].as_str().unwrap()).bearer_auth(&api.osprey).json(&body).send().unwrap()
    };
    let problem = problem_of(commit(json!({})), 409, "open-questions");
    assert_eq!(problem["open"], json!([question["key"]]));

    let answer = |answers: Value| {
        api.post(upload["links"]["answers"].as_str().unwrap())
            .bearer_auth(&api.osprey)
            .json(&json!({"answers": answers}))
            .send()
            .unwrap()
    };
    let key = &question["key"];
    let problem = problem_of(
        answer(json!([{"key": "nothing", "choice": "day"}, {"key": key, "choice": "dya", "value": "2024-01-01"}])),
        422,
        "invalid-answer",
    );
    let at: Vec<&str> =
        problem["errors"].as_array().unwrap().iter().map(|fault| fault["pointer"].as_str().unwrap()).collect();
    assert_eq!(at, ["/answers/0/key", "/answers/1/choice"], "all faults at once: {problem:#}");
    problem_of(answer(json!([{"key": key, "choice": "day"}])), 422, "invalid-answer");
    problem_of(answer(json!([{"key": key, "choice": "day", "value": "soon"}])), 422, "invalid-answer");

    let ready = json_of(answer(json!([{"key": key, "choice": "day", "value": "2024-01-01"}])), 200);
    assert_eq!((&ready["state"], &ready["open_questions"]), (&json!("ready"), &json!(0)));
    let same = json_of(answer(json!([{"key": key, "choice": "day", "value": "2024-01-01"}])), 200);
    assert_eq!(same["state"], "ready", "the same answer again changes nothing");
    let problem =
        problem_of(answer(json!([{"key": key, "choice": "day", "value": "2023-01-01"}])), 409, "already-answered");
    assert_eq!(problem["current"], json!({"key": key, "choice": "day", "value": "2024-01-01"}));
    assert_eq!(json_of(commit(json!({})), 200)["state"], "committed");
}

#[test]
fn what_is_certain_can_be_committed_with_questions_open_and_the_rest_later() {
    let api = Api::start();
    let upload = api.upload(&api.osprey, "name=corals.csv&as_of=2025-06-01", register());
    let commit = |body: Value| {
        json_of(
            api.post(upload["links"]["commit"].as_str().unwrap()).bearer_auth(&api.osprey).json(&body).send().unwrap(),
            200,
        )
    };
    let first = commit(json!({"leave_open": true}));
    assert_eq!((&first["state"], &first["open_questions"]), (&json!("committed"), &json!(1)));
    assert_eq!(counts(&api)["specimens"], 2);
    let question = api.findings(&api.osprey, &upload)[0]["key"].clone();
    let answers = json!({"answers": [{"key": question, "choice": "day", "value": "2024-01-01"}]});
    json_of(
        api.post(upload["links"]["answers"].as_str().unwrap()).bearer_auth(&api.osprey).json(&answers).send().unwrap(),
        200,
    );
    let second = commit(json!({}));
    assert_eq!((&second["state"], &second["open_questions"]), (&json!("committed"), &json!(0)));
    assert!(second["committed"]["edition"].as_i64() > first["committed"]["edition"].as_i64());
    json_of(api.delete(upload["links"]["self"].as_str().unwrap()).bearer_auth(&api.osprey).send().unwrap(), 200);
    assert_eq!(counts(&api)["specimens"], 0, "one undo takes both commits back");
}

#[test]
fn another_members_upload_is_not_there() {
    let api = Api::start();
    let upload = api.upload(&api.osprey, "name=a.csv", water("Lagoon", 5.0));
    let path = upload["links"]["self"].as_str().unwrap();
    let get = |path: &str, token: &str| api.get(path).bearer_auth(token).send().unwrap();
    let theirs = problem_of(get(path, &api.heron), 404, "unknown-upload");
    let nobodys = problem_of(get("/api/v1/uploads/999999", &api.heron), 404, "unknown-upload");
    let bare = |problem: &Value, id: &str| problem["detail"].as_str().unwrap().replace(id, "N");
    assert_eq!(bare(&theirs, &upload["id"].to_string()), bare(&nobodys, "999999"), "the two are not told apart");
    let list = json_of(get("/api/v1/uploads", &api.heron), 200);
    assert_eq!(list["uploads"], json!([]));
    assert_eq!(json_of(get("/api/v1/uploads?keeper=OSPREY", &api.curator), 200)["uploads"][0]["id"], upload["id"]);
    assert_eq!(json_of(get("/api/v1/uploads?keeper=osprey", &api.heron), 200)["uploads"], json!([]));
}

#[test]
fn where_a_coral_was_bought_is_its_keepers_alone() {
    let api = Api::start();
    let file =
        "ID,Coral,Acquired,Tank,Date died,Bought at\nC01,Goniopora sp.,2024-05-01,Lagoon,2025-02-01,Dockside Corals\n";
    let upload = api.upload(&api.osprey, "name=corals.csv", file);
    let path = format!("{}?kind=specimen", upload["links"]["preview"].as_str().unwrap());
    let seen = |token: &str| {
        let preview = json_of(api.get(&path).bearer_auth(token).send().unwrap(), 200);
        preview["records"][0]["source_name"].clone()
    };
    assert_eq!(seen(&api.osprey), "Dockside Corals");
    assert_eq!(seen(&api.curator), Value::Null);
}

#[test]
fn lists_are_filtered_and_read_page_by_page() {
    let api = Api::start();
    for number in 0..5 {
        api.upload(&api.osprey, &format!("name=a{number}.csv"), water("Lagoon", f64::from(number) + 1.0));
    }
    let mut path = "/api/v1/uploads?state=ready,questions&limit=2".to_owned();
    let mut ids = Vec::new();
    loop {
        let page = json_of(api.get(&path).bearer_auth(&api.osprey).send().unwrap(), 200);
        ids.extend(page["uploads"].as_array().unwrap().iter().map(|row| row["id"].as_i64().unwrap()));
        let Some(next) = page["links"]["next"].as_str() else { break };
        assert!(next.contains("state=ready%2Cquestions"), "{next}");
        path = next.to_owned();
    }
    assert_eq!(ids.len(), 5);
    assert!(ids.windows(2).all(|pair| pair[0] > pair[1]), "newest first");
    let stolen = path.replace("state=ready%2Cquestions", "state=failed");
    problem_of(api.get(&stolen).bearer_auth(&api.osprey).send().unwrap(), 400, "invalid-query");
    let problem = problem_of(
        api.get("/api/v1/uploads?state=redy&kind=fiel").bearer_auth(&api.osprey).send().unwrap(),
        400,
        "invalid-query",
    );
    assert_eq!(problem["errors"].as_array().unwrap().len(), 2);
}

#[test]
fn a_file_that_cannot_be_read_fails_with_its_reason() {
    let api = Api::start();
    let failed = api.upload(&api.osprey, "name=photo.csv", vec![0x89, b'P', b'N', b'G', 13, 10, 26, 10, 0, 0, 0, 1]);
    assert_eq!(failed["state"], "failed", "{failed:#}");
    let findings = api.findings(&api.osprey, &failed);
    assert_eq!(findings[0]["severity"], "refused", "{findings:#}");
    assert!(!findings[0]["remedy"].as_str().unwrap().is_empty());
    let commit = api.post(failed["links"]["commit"].as_str().unwrap()).bearer_auth(&api.osprey).json(&json!({}));
    problem_of(commit.send().unwrap(), 409, "wrong-state");
}

#[test]
fn a_restarted_server_reads_what_was_waiting() {
    let api = Api::start();
    let ready = api.upload(&api.osprey, "name=a.csv", water("Lagoon", 5.0));
    let path = ready["links"]["self"].as_str().unwrap().to_owned();
    for state in ["received", "reading"] {
        let mut connection = api.connect();
        // As an ended process would have left it.
        let set = format!("UPDATE upload SET state = '{state}' WHERE id = {}", ready["id"]);
        diesel::sql_query(set).execute(&mut connection).unwrap();
        drop(connection);
        let api = Api::serve(api.database.clone(), api.tokens(), |_| {});
        assert_eq!(api.settle(&api.osprey, &path)["state"], "ready", "left as {state}");
    }
}

#[test]
fn all_seen_alive_today_except() {
    let api = Api::start();
    api.commit_register(&api.osprey, "name=corals.csv&as_of=2025-06-01", register(), "2024-01-01");
    let call = |body: Value| api.post("/api/v1/roll-call").bearer_auth(&api.osprey).json(&body).send().unwrap();
    let response =
        call(json!({"on": "2025-06-20", "tank": "lagoon", "except": [{"specimen": "c02", "status": "off"}]}));
    let location = response.headers()["location"].to_str().unwrap().to_owned();
    let made = json_of(response, 201);
    assert_eq!((&made["kind"], &made["state"]), (&json!("roll_call"), &json!("committed")));
    assert_eq!(made["links"]["self"], location);
    let undone = json_of(api.delete(&location).bearer_auth(&api.osprey).send().unwrap(), 200);
    assert_eq!(undone["state"], "undone");

    let wrong = json!({"on": "2025-07-20", "tank": "Lagon", "except": [{"specimen": "C9", "status": "fine"}, {"specimen": "C02", "status": "off"}, {"specimen": "C02", "status": "off"}]});
    let problem = problem_of(call(wrong), 422, "invalid-value");
    let at: Vec<&str> =
        problem["errors"].as_array().unwrap().iter().map(|fault| fault["pointer"].as_str().unwrap()).collect();
    assert_eq!(at, ["/on", "/tank", "/except/0/status", "/except/0/specimen", "/except/2/specimen"]);
    let dead = json!({"on": "2025-06-20", "except": [{"specimen": "C01", "status": "off"}]});
    let problem = problem_of(call(dead), 422, "invalid-value");
    assert!(problem["detail"].as_str().unwrap().contains("'C01'"), "{problem:#}");
}

#[test]
fn a_fact_taken_out_is_an_edit_that_a_member_takes_back() {
    let api = Api::start();
    api.commit(&api.osprey, "name=lagoon.csv", water("Lagoon", 5.0));
    assert_eq!(counts(&api)["readings"], 3);
    let connection = &mut api.connect();
    let keeper = importer::load::find_keeper(connection, "osprey").unwrap().unwrap();
    let id =
        diesel::dsl::sql::<diesel::sql_types::BigInt>("SELECT max(id) FROM reading").get_result(connection).unwrap();
    let kind = importer::fold::key::Kind::Reading;
    let facts = importer::load::statements(connection, keeper, kind, id).unwrap();
    let edit = importer::load::take_out(connection, keeper, &facts, "test").unwrap();
    assert_eq!(counts(&api)["readings"], 2);
    let path = format!("/api/v1/uploads/{edit}");
    let shown = json_of(api.get(&path).bearer_auth(&api.osprey).send().unwrap(), 200);
    assert_eq!((&shown["kind"], &shown["name"], &shown["records"]), (&json!("edit"), &json!("taken out"), &json!({})));
    let preview = json_of(api.get(&format!("{path}/preview")).bearer_auth(&api.osprey).send().unwrap(), 200);
    assert_eq!((&preview["counts"], &preview["records"]), (&json!({}), &json!([])), "it loads nothing");
    json_of(api.delete(&path).bearer_auth(&api.osprey).send().unwrap(), 200);
    assert_eq!(counts(&api)["readings"], 3);
}
