//! Several servers of one database: what one changes the others hear, what one leaves half done another finishes.

use std::time::{Duration, Instant};

use diesel::RunQueryDsl;
use diesel::sql_types::{BigInt, Integer, Text};
use serde_json::{Value, json};

use crate::answers::club;
use crate::api_support::{Api, json_of, water};

#[derive(diesel::QueryableByName)]
struct Count {
    #[diesel(sql_type = BigInt)]
    count: i64,
}

fn count(api: &Api, sql: &str) -> i64 {
    diesel::sql_query(sql).get_result::<Count>(&mut api.connect()).unwrap().count
}

fn run(api: &Api, sql: &str) {
    diesel::sql_query(sql).execute(&mut api.connect()).unwrap();
}

/// Waits until something holds.
fn until(what: &str, mut holds: impl FnMut() -> bool) {
    let began = Instant::now();
    while !holds() {
        assert!(began.elapsed() < Duration::from_secs(40), "{what}");
        std::thread::sleep(Duration::from_millis(10));
    }
}

#[test]
fn an_answer_to_everybody_is_kept_until_any_server_changes_something() {
    let api = Api::start();
    club(&api);
    let other = Api::serve(api.database.clone(), api.tokens(), |_| {});
    let path = "/api/v1/taxa/goniopora/survival?by=none";
    let ask = |server: &Api| server.get(path).send().unwrap();
    // Once the second of the first release is over, its date may be said, and the answer be kept.
    until("a date", || ask(&api).headers().contains_key("last-modified"));
    let first = ask(&api);
    let tag = first.headers()["etag"].clone();
    let body = first.text().unwrap();
    // What changes without a word is not noticed: the answer is given without a look at the database.
    run(&api, "ALTER TABLE club_setting DISABLE TRIGGER tell_setting");
    run(&api, "UPDATE club_setting SET value = 'false' WHERE key = 'publish'");
    let again = ask(&api);
    assert_eq!(again.headers()["etag"], tag);
    assert!(again.headers().contains_key("x-request-id"));
    assert_eq!(again.text().unwrap(), body);
    let held = api.get(path).header("if-none-match", &tag).send().unwrap();
    assert_eq!(held.status(), 304);
    let held = api.get(path).header("if-none-match", &tag).send().unwrap();
    assert_eq!((held.status().as_u16(), held.headers()["etag"].clone()), (304, tag));
    run(&api, "UPDATE club_setting SET value = 'true' WHERE key = 'publish'");
    run(&api, "ALTER TABLE club_setting ENABLE TRIGGER tell_setting");
    // The other server's curator takes the club's answers off the public's table: this one hears of it.
    let off = other.patch("/api/v1/settings").bearer_auth(&other.curator).json(&json!({"publish": false}));
    json_of(off.send().unwrap(), 200);
    assert_eq!(ask(&other).status(), 403, "at once where it was said");
    until("the other server hears of it", || ask(&api).status() == 403);
    let on = api.patch("/api/v1/settings").bearer_auth(&api.curator).json(&json!({"publish": true}));
    json_of(on.send().unwrap(), 200);
    assert_eq!(ask(&api).status(), 200, "at once where it was said");

    // Whoever holds the answer already and comes first lets it be kept too.
    let third = Api::serve(api.database.clone(), api.tokens(), |_| {});
    let tag = ask(&api).headers()["etag"].clone();
    for _ in 0..5 {
        let held = third.get(path).header("if-none-match", &tag).send().unwrap();
        assert_eq!((held.status().as_u16(), &held.headers()["etag"]), (304, &tag));
        assert!(!held.headers().contains_key("content-type"));
        assert_eq!(held.text().unwrap(), "");
        std::thread::sleep(Duration::from_millis(200));
    }
    run(&api, "ALTER TABLE club_setting DISABLE TRIGGER tell_setting");
    run(&api, "UPDATE club_setting SET value = 'false' WHERE key = 'publish'");
    assert_eq!((ask(&third).status().as_u16(), ask(&third).text().unwrap()), (200, body));
    let other_tag = third.get(path).header("if-none-match", "\"of-before\"").send().unwrap();
    assert_eq!(other_tag.status(), 200);
}

#[test]
fn while_nobody_listens_nothing_is_kept() {
    let api = Api::start();
    let path = "/api/v1/club";
    until("a date", || api.get(path).send().unwrap().headers().contains_key("last-modified"));
    api.get(path).send().unwrap();
    // The connection that listens is cut; what changes meanwhile is seen all the same.
    run(
        &api,
        "SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = current_database() AND query LIKE 'LISTEN%' OR query = 'SELECT 1' AND datname = current_database()",
    );
    run(&api, "UPDATE club_setting SET value = 'false' WHERE key = 'publish'");
    until("the change is seen", || api.get(path).send().unwrap().status() == 403);
    run(&api, "UPDATE club_setting SET value = 'true' WHERE key = 'publish'");
    until("and the next, once it listens again", || api.get(path).send().unwrap().status() == 200);
}

#[test]
fn two_servers_read_each_file_once() {
    let api = Api::start_with(|settings| settings.readers = 2);
    let other = Api::serve(api.database.clone(), api.tokens(), |settings| settings.readers = 2);
    let send = |server: &Api, number: usize| {
        let response = server
            .post(&format!("/api/v1/uploads?name=tests-{number}.csv"))
            .bearer_auth(&server.osprey)
            .header("content-type", "text/csv")
            .body(water("Lagoon", number as f64 / 10.0))
            .send()
            .unwrap();
        json_of(response, 202)["links"]["self"].as_str().unwrap().to_owned()
    };
    run(&api, "CREATE TABLE taken (id bigint)");
    run(
        &api,
        "CREATE FUNCTION take() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN INSERT INTO taken VALUES (NEW.id); RETURN NEW; END $$",
    );
    run(
        &api,
        "CREATE TRIGGER take AFTER UPDATE OF state ON upload FOR EACH ROW WHEN (NEW.state = 'reading' AND OLD.state = 'received') EXECUTE FUNCTION take()",
    );
    let sent: Vec<String> = (0..24).map(|number| send(if number % 2 == 0 { &api } else { &other }, number)).collect();
    for path in &sent {
        assert_eq!(api.settle(&api.osprey, path)["state"], "ready");
    }
    assert_eq!(count(&api, "SELECT count(*) FROM taken"), 24);
    assert_eq!(count(&api, "SELECT count(DISTINCT id) FROM taken"), 24, "none was taken twice");
    until("work that is done is let go", || count(&api, "SELECT count(*) FROM job") == 0);
}

/// An upload in a state, as a server leaves it that ends.
fn left(api: &Api, number: usize, state: &str, attempts: i32) -> Value {
    let upload =
        api.upload(&api.osprey, &format!("name=left-{number}.csv"), water("Lagoon", 1.0 + number as f64 / 10.0));
    let id = upload["id"].as_i64().unwrap();
    diesel::sql_query("WITH at_work AS (INSERT INTO job (upload_id, attempts) VALUES ($1, $3)) UPDATE upload SET state = $2 WHERE id = $1")
        .bind::<BigInt, _>(id)
        .bind::<Text, _>(state)
        .bind::<Integer, _>(attempts)
        .execute(&mut api.connect())
        .unwrap();
    upload
}

#[test]
fn what_a_server_leaves_half_done_is_finished_by_another() {
    let api = Api::start();
    for (number, state, becomes) in [(1, "reading", "ready"), (2, "committing", "committed"), (3, "received", "ready")]
    {
        let upload = left(&api, number, state, 1);
        let path = upload["links"]["self"].as_str().unwrap();
        assert_eq!(api.settle(&api.osprey, path)["state"], becomes, "{state}");
    }
    // What ends its server every time is given up, and says so.
    let upload = left(&api, 4, "reading", 5);
    let given_up = api.settle(&api.osprey, upload["links"]["self"].as_str().unwrap());
    assert_eq!(given_up["state"], "failed");
    assert!(given_up["message"].as_str().unwrap().contains("several times"), "{given_up:#}");
    let upload = left(&api, 5, "committing", 5);
    let given_up = api.settle(&api.osprey, upload["links"]["self"].as_str().unwrap());
    assert_eq!(given_up["state"], "ready");
    assert!(given_up["message"].as_str().unwrap().contains("Nothing was loaded"), "{given_up:#}");
    let path = given_up["links"]["commit"].as_str().unwrap();
    let committed = json_of(api.post(path).bearer_auth(&api.osprey).json(&json!({})).send().unwrap(), 200);
    assert_eq!((&committed["state"], &committed["message"]), (&json!("committed"), &Value::Null));
}

#[test]
fn a_file_over_which_the_server_fails_is_tried_again_later_and_seen_to_be() {
    let api = Api::start();
    // Findings cannot be stored: not the file's fault.
    run(&api, "ALTER TABLE upload_records RENAME TO upload_records_away");
    let sent = api
        .post("/api/v1/uploads?name=tests.csv")
        .bearer_auth(&api.osprey)
        .header("content-type", "text/csv")
        .body(water("Lagoon", 5.0));
    let path = json_of(sent.send().unwrap(), 202)["links"]["self"].as_str().unwrap().to_owned();
    until("it fails once", || {
        let upload = json_of(api.get(&path).bearer_auth(&api.osprey).send().unwrap(), 200);
        upload["message"].as_str().is_some_and(|said| said.contains("tries again"))
    });
    run(&api, "ALTER TABLE upload_records_away RENAME TO upload_records");
    let read = api.settle(&api.osprey, &path);
    assert_eq!((&read["state"], &read["message"]), (&json!("ready"), &Value::Null), "{read:#}");
}

#[test]
fn one_answer_is_worked_out_once_however_many_ask() {
    let api = Api::start();
    club(&api);
    let path = "/api/v1/taxa/goniopora/survival?by=nitrate";
    let bodies: Vec<String> = std::thread::scope(|scope| {
        let asked: Vec<_> = (0..12)
            .map(|_| scope.spawn(|| api.get(path).bearer_auth(&api.reader).send().unwrap().text().unwrap()))
            .collect();
        asked.into_iter().map(|one| one.join().unwrap()).collect()
    });
    assert!(bodies.iter().all(|body| *body == bodies[0]));
    let worked_out = api.get("/metrics").send().unwrap().text().unwrap();
    let line = worked_out.lines().find(|line| line.starts_with("strandline_answers_computed_total")).unwrap();
    assert_eq!(line.rsplit(' ').next().unwrap(), "1", "{line}");
}

#[test]
fn what_somebody_read_meanwhile_is_not_read_again() {
    let api = Api::start();
    let upload = api.upload(&api.osprey, "name=tests.csv", water("Lagoon", 4.0));
    let id = upload["id"].as_i64().unwrap();
    // A reader that took it while it was being read comes too late.
    let late = importer::load::stage_waiting(&mut api.connect(), id, crate::api_support::today());
    assert!(matches!(late, Err(importer::load::LoadError::WrongState { .. })), "{late:?}");
    let shown = json_of(api.get(&format!("/api/v1/uploads/{id}")).bearer_auth(&api.osprey).send().unwrap(), 200);
    assert_eq!(shown["state"], "ready");
}
