//! Power cuts of the server and of Postgres between reading and loading: none of an upload, or all of it.

use std::time::{Duration, Instant};

use diesel::prelude::*;
use diesel::{Connection, PgConnection};
use serde_json::json;

use tests::files::{data_folder, read_fixture};
use tests::program::Server;

fn database(folder: &tempfile::TempDir) -> PgConnection {
    let url =
        std::fs::read_to_string(folder.path().join("database.url")).expect("the running server wrote its address");
    PgConnection::establish(url.trim()).expect("the private Postgres")
}

#[derive(QueryableByName)]
struct Count {
    #[diesel(sql_type = diesel::sql_types::BigInt)]
    n: i64,
}

fn count(connection: &mut PgConnection, table: &str) -> i64 {
    diesel::sql_query(format!("SELECT count(*) AS n FROM {table}")).get_result::<Count>(connection).expect("a count").n
}

fn wait_until(what: &str, mut done: impl FnMut() -> bool) {
    let end = Instant::now() + Duration::from_secs(30);
    while !done() {
        assert!(Instant::now() < end, "waited 30 s for: {what}");
        std::thread::sleep(Duration::from_millis(30));
    }
}

#[test]
fn a_server_killed_while_committing_leaves_none_and_the_next_one_leaves_all() {
    let folder = data_folder();
    let server = Server::start(folder.path());
    let curator = server.client(Some(&server.token(&["--role", "curator"])));
    server.token(&["--role", "keeper", "--keeper", "keeper1", "--create"]);
    let upload = curator.upload(Some("keeper1"), "wide.csv", read_fixture("hand_made/keeper1_wide.csv"));
    let id = upload["id"].as_i64().unwrap();
    assert_eq!(upload["state"], "ready", "{upload}");

    // A lock of ours holds the commit inside its transaction; then the server dies.
    let mut holder = database(&folder);
    let mut watcher = database(&folder);
    diesel::sql_query("BEGIN").execute(&mut holder).unwrap();
    diesel::sql_query("LOCK TABLE reading IN ACCESS EXCLUSIVE MODE").execute(&mut holder).unwrap();
    let waiting = {
        let curator = curator.clone();
        std::thread::spawn(move || {
            // The answer never comes: the server is killed.
            curator.try_send(reqwest::Method::POST, &format!("/uploads/{id}/commit"), Some(json!({}))).is_err()
        })
    };
    wait_until("the commit to stand at the lock", || {
        diesel::sql_query("SELECT count(*) AS n FROM pg_locks l JOIN pg_class c ON c.oid = l.relation WHERE c.relname = 'reading' AND NOT l.granted")
            .get_result::<Count>(&mut watcher)
            .unwrap()
            .n
            > 0
    });
    server.kill();
    diesel::sql_query("ROLLBACK").execute(&mut holder).ok();
    drop((holder, watcher));
    assert!(waiting.join().unwrap(), "the killed server cannot have answered");

    let server = Server::start(folder.path());
    let mut connection = database(&folder);
    let client = server.client(Some(&server.token(&["--role", "curator"])));
    let state = client.settled(id);
    let readings = count(&mut connection, "reading");
    match state["state"].as_str() {
        Some("committed") => assert_eq!(readings, 30, "all of it"),
        Some("ready") => assert_eq!(readings, 0, "none of it"),
        other => panic!("state {other:?}"),
    }
    // It goes on: what was begun is finished.
    if state["state"] == "ready" {
        client.commit(id, false);
    }
    assert_eq!(count(&mut connection, "reading"), 30, "nitrate, temperature and salinity of ten days");
    assert_eq!(server.interrupt(), Some(0));
}

#[test]
fn postgres_killed_comes_back_with_everything_that_was_committed() {
    let folder = data_folder();
    let server = Server::start(folder.path());
    let curator = server.client(Some(&server.token(&["--role", "curator"])));
    server.token(&["--role", "keeper", "--keeper", "keeper1", "--create"]);
    let upload = curator.upload(Some("keeper1"), "wide.csv", read_fixture("hand_made/keeper1_wide.csv"));
    curator.commit(upload["id"].as_i64().unwrap(), false);
    let before = curator.get("/club");
    let pid: i32 = std::fs::read_to_string(folder.path().join("postgres/cluster/postmaster.pid"))
        .or_else(|_| std::fs::read_to_string(folder.path().join("postgres/data/postmaster.pid")))
        .expect("a postmaster")
        .lines()
        .next()
        .unwrap()
        .parse()
        .unwrap();
    nix::sys::signal::kill(nix::unistd::Pid::from_raw(pid), nix::sys::signal::Signal::SIGKILL).unwrap();
    wait_until("the server to say that it is not ready, or to be ready again", || {
        curator.try_get("//health/ready").0 > 0
    });
    server.interrupt();

    let server = Server::start(folder.path());
    let curator = server.client(Some(&server.token(&["--role", "curator"])));
    assert_eq!(curator.get("/club"), before);
    assert_eq!(count(&mut database(&folder), "reading"), 30);
    assert_eq!(server.interrupt(), Some(0));
}
