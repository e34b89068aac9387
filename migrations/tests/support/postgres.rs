//! A database per test on a throw-away cluster.
//!
//! `STRANDLINE_TEST_DATABASE_URL` names a server to use (its role must be allowed to create databases);
//! without it, one cluster per test process is started in a temporary directory, reachable by a socket only
//! and without fsync. It ends with the process, however that ends: a shell keeps it while a pipe to us is open.
#![allow(dead_code, reason = "each test program uses its own part")]

use std::os::unix::process::CommandExt;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::atomic::{AtomicU32, Ordering};
use std::sync::{Mutex, OnceLock};
use std::time::{Duration, Instant};

use diesel::connection::SimpleConnection;
use diesel::pg::PgConnection;
use diesel::prelude::*;

/// What a template database is filled with, once per process.
pub type Prepare = fn(&mut PgConnection);

/// A database of one test, dropped with it.
pub struct TestDatabase {
    name: String,
    url: String,
}

impl TestDatabase {
    /// A copy of the template that `prepare` filled.
    pub fn new(prepare: Prepare) -> Self {
        static TEMPLATE: Mutex<Option<String>> = Mutex::new(None);
        let mut template = TEMPLATE.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
        let template = template.get_or_insert_with(|| {
            let made = Self::empty();
            prepare(&mut made.connect());
            let name = made.name.clone();
            std::mem::forget(made);
            name
        });
        Self::create(Some(template))
    }

    /// A database with nothing in it.
    pub fn empty() -> Self {
        Self::create(None)
    }

    fn create(template: Option<&str>) -> Self {
        static NEXT: AtomicU32 = AtomicU32::new(0);
        let name = format!("test_{}_{}", std::process::id(), NEXT.fetch_add(1, Ordering::Relaxed));
        let template = template.unwrap_or("template0");
        let mut admin = PgConnection::establish(&server().url("postgres")).expect("the test server answers");
        admin.batch_execute(&format!("CREATE DATABASE {name} TEMPLATE {template}")).expect("a test database is made");
        TestDatabase { url: server().url(&name), name }
    }

    /// A connection to it.
    pub fn connect(&self) -> PgConnection {
        PgConnection::establish(&self.url).expect("the test database answers")
    }

    /// Its address.
    pub fn url(&self) -> &str {
        &self.url
    }
}

impl Drop for TestDatabase {
    fn drop(&mut self) {
        if let Ok(mut admin) = PgConnection::establish(&server().url("postgres")) {
            // A test that failed may have left connections; the cluster is thrown away in any case.
            let _ = admin.batch_execute(&format!("DROP DATABASE IF EXISTS {} WITH (FORCE)", self.name));
        }
    }
}

enum Server {
    Given(String),
    Own { socket: PathBuf, _keeper: Child },
}

impl Server {
    fn url(&self, database: &str) -> String {
        match self {
            Server::Own { socket, .. } => format!("postgres:///{database}?host={}&user=postgres", socket.display()),
            Server::Given(url) => {
                let (base, query) =
                    url.split_once('?').map_or((url.as_str(), None), |(base, query)| (base, Some(query)));
                let scheme = base.find("://").map_or(0, |at| at + 3);
                let host = base[scheme..].find('/').map_or(base.len(), |at| scheme + at);
                let query = query.map_or(String::new(), |query| format!("?{query}"));
                format!("{}/{database}{query}", &base[..host])
            }
        }
    }
}

fn server() -> &'static Server {
    static SERVER: OnceLock<Server> = OnceLock::new();
    SERVER.get_or_init(|| match std::env::var("STRANDLINE_TEST_DATABASE_URL") {
        Ok(url) if !url.is_empty() => Server::Given(url),
        _ => start(),
    })
}

fn start() -> Server {
    let programs = programs();
    let user = (output("id", &["-u"]) == "0").then(|| {
        (
            output("id", &["-u", "postgres"]).parse().expect("an id"),
            output("id", &["-g", "postgres"]).parse().expect("an id"),
        )
    });
    let run = |program: &Path| {
        let mut command = Command::new(program);
        if let Some((uid, gid)) = user {
            command.uid(uid).gid(gid);
        }
        command.current_dir("/").stdout(Stdio::null()).stderr(Stdio::null());
        command
    };
    let place = std::env::temp_dir().join(format!("sl-test-{}", std::process::id()));
    assert!(
        run(Path::new("mkdir")).args(["-m", "700"]).arg(&place).status().expect("mkdir runs").success(),
        "{} cannot be made",
        place.display()
    );
    let data = place.join("data");
    let made = run(&programs.join("initdb"))
        .args(["-U", "postgres", "-A", "trust", "--no-sync", "-E", "UTF8", "--locale=C.UTF-8", "-D"])
        .arg(&data)
        .status()
        .expect("initdb runs");
    assert!(made.success(), "initdb failed in {}", data.display());
    let script = r#"
        "$1" -D "$2" -k "$3" -c listen_addresses= -c fsync=off -c synchronous_commit=off -c full_page_writes=off -c max_connections=200 > "$3/log" 2>&1 &
        server=$!
        while read -r line; do :; done
        kill -QUIT $server
        wait $server
        rm -rf "$3"
    "#;
    let keeper = run(Path::new("sh"))
        .args(["-c", script, "sh"])
        .arg(programs.join("postgres"))
        .arg(&data)
        .arg(&place)
        .stdin(Stdio::piped())
        .process_group(0)
        .spawn()
        .expect("the test server starts");
    let server = Server::Own { socket: place.clone(), _keeper: keeper };
    let since = Instant::now();
    while PgConnection::establish(&server.url("postgres")).is_err() {
        assert!(
            since.elapsed() < Duration::from_secs(30),
            "the test server does not answer, see {}/log",
            place.display()
        );
        std::thread::sleep(Duration::from_millis(20));
    }
    server
}

fn programs() -> PathBuf {
    let mut places: Vec<PathBuf> = std::env::var_os("PG_BIN").map(PathBuf::from).into_iter().collect();
    if let Ok(found) = Command::new("pg_config").arg("--bindir").output() {
        places.push(String::from_utf8_lossy(&found.stdout).trim().into());
    }
    if let Ok(versions) = std::fs::read_dir("/usr/lib/postgresql") {
        let mut versions: Vec<PathBuf> = versions.flatten().map(|version| version.path().join("bin")).collect();
        versions.sort();
        places.extend(versions.into_iter().rev());
    }
    let found = places.into_iter().find(|place| place.join("initdb").exists() && place.join("postgres").exists());
    found.expect("PostgreSQL's server programs: install the package postgresql, or set STRANDLINE_TEST_DATABASE_URL")
}

fn output(program: &str, arguments: &[&str]) -> String {
    let found = Command::new(program).args(arguments).output().expect("the program runs");
    String::from_utf8_lossy(&found.stdout).trim().to_owned()
}
