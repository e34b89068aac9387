//! The private Postgres on real programs: it keeps its data through stops and kills, and never lets two in.

use diesel::{Connection, PgConnection, QueryableByName, RunQueryDsl, sql_query, sql_types::Text};
use nix::{
    sys::signal::{Signal, kill},
    unistd::{Pid, User, geteuid},
};
use server::private_postgres::{Options, PostgresError, PrivatePostgres};
use std::{
    fs,
    os::unix::fs::{MetadataExt, PermissionsExt},
    path::{Path, PathBuf},
    process::{Child, Command, Stdio},
    thread::sleep,
    time::{Duration, Instant},
};
use tempfile::TempDir;

/// A directory that the user who runs Postgres may pass through.
fn room() -> TempDir {
    let room = tempfile::tempdir().unwrap();
    fs::set_permissions(room.path(), fs::Permissions::from_mode(0o711)).unwrap();
    room
}

/// Durable, as the command starts it: most of these tests are about what a kill leaves.
fn start(home: &Path) -> PrivatePostgres {
    PrivatePostgres::start(home, None).unwrap_or_else(|error| panic!("{error}"))
}

fn refusal(home: &Path) -> PostgresError {
    match PrivatePostgres::start(home, None) {
        Ok(_) => panic!("it started"),
        Err(error) => error,
    }
}

#[derive(QueryableByName)]
struct Word {
    #[diesel(sql_type = Text)]
    word: String,
}

fn connect(url: &str) -> PgConnection {
    PgConnection::establish(url).unwrap_or_else(|error| panic!("{url}: {error}"))
}

fn ask(url: &str, query: &str) -> String {
    sql_query(query).get_result::<Word>(&mut connect(url)).unwrap().word
}

fn run(url: &str, statement: &str) {
    sql_query(statement).execute(&mut connect(url)).unwrap();
}

fn setting(url: &str, name: &str) -> String {
    ask(url, &format!("SELECT current_setting('{name}') AS word"))
}

fn signal(pid: u32, signal: Signal) {
    kill(Pid::from_raw(pid.try_into().unwrap()), signal).unwrap();
}

/// Whether the process is there and not merely waiting to be reaped.
fn alive(pid: u32) -> bool {
    fs::read_to_string(format!("/proc/{pid}/stat"))
        .is_ok_and(|stat| stat.rsplit_once(')').is_some_and(|(_, rest)| !rest.trim_start().starts_with('Z')))
}

fn until(what: &str, condition: impl Fn() -> bool) {
    let started = Instant::now();
    while !condition() {
        assert!(started.elapsed() < Duration::from_secs(30), "waited in vain: {what}");
        sleep(Duration::from_millis(10));
    }
}

/// A process of the user `uid` that does nothing for a while.
struct Sleeper(Child);

impl Sleeper {
    fn of(uid: u32) -> Self {
        use std::os::unix::process::CommandExt;
        let mut command = Command::new("sleep");
        command.arg("300").current_dir("/").stdin(Stdio::null());
        if geteuid().is_root() {
            command.uid(uid);
        }
        Self(command.spawn().unwrap())
    }
}

impl Drop for Sleeper {
    fn drop(&mut self) {
        self.0.kill().unwrap();
        self.0.wait().unwrap();
    }
}

/// Starts a server as `start` does, but outside this process, and kills its strandline: the server is an orphan.
///
/// The stand-in for strandline is the server started by hand with the same arguments.
fn orphan(home: &Path) -> (u32, Child) {
    use std::os::unix::process::CommandExt;
    let home = fs::canonicalize(home).unwrap();
    let owner = fs::metadata(home.join("cluster")).unwrap();
    let bin = String::from_utf8(Command::new("pg_config").arg("--bindir").output().unwrap().stdout).unwrap();
    let mut command = Command::new(Path::new(bin.trim()).join("postgres"));
    command
        .arg("-D")
        .arg(home.join("cluster"))
        .arg("-k")
        .arg(home.join("run"))
        .args(["-c", "listen_addresses="])
        .current_dir("/")
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(Stdio::null());
    if geteuid().is_root() {
        command.gid(owner.gid()).uid(owner.uid());
    }
    let child = command.spawn().unwrap();
    until("the orphan is ready", || {
        fs::read_to_string(home.join("cluster/postmaster.pid")).is_ok_and(|text| text.contains("ready"))
    });
    (child.id(), child)
}

#[test]
fn it_starts_answers_stops_and_keeps_its_data() {
    let room = room();
    let home = room.path().join("a/b/postgres");
    let postgres = start(&home);
    let (url, pid) = (postgres.url(), postgres.pid());
    assert_eq!(ask(&url, "SELECT current_database()::text AS word"), "strandline");
    assert_eq!(setting(&url, "server_encoding"), "UTF8");
    assert_eq!(setting(&url, "lc_collate"), "C.UTF-8");
    assert_eq!(setting(&url, "data_checksums"), "on");
    for promise in ["fsync", "synchronous_commit", "full_page_writes"] {
        assert_eq!(setting(&url, promise), "on", "{promise}");
    }
    run(&url, "CREATE TABLE kept (word text NOT NULL)");
    run(&url, "INSERT INTO kept VALUES ('Ångström')");
    run(&url, "CREATE DATABASE other");
    assert_eq!(ask(&postgres.url_of("other"), "SELECT current_database()::text AS word"), "other");
    postgres.stop().unwrap();
    assert!(!alive(pid));
    assert!(!home.join("cluster/postmaster.pid").exists());

    let again = start(&home);
    assert_eq!(ask(&again.url(), "SELECT word FROM kept"), "Ångström");
    let pid = again.pid();
    drop(again);
    assert!(!alive(pid), "dropping stops it too");
}

#[test]
fn nothing_listens_on_tcp_and_only_its_owner_may_use_the_socket() {
    let room = room();
    let home = room.path().join("postgres");
    let postgres = start(&home);
    assert_eq!(setting(&postgres.url(), "listen_addresses"), "");
    // The sockets that the server holds, against the machine's table of TCP sockets.
    let held: Vec<String> = fs::read_dir(format!("/proc/{}/fd", postgres.pid()))
        .unwrap()
        .filter_map(|entry| fs::read_link(entry.unwrap().path()).ok())
        .filter_map(|link| Some(link.to_str()?.strip_prefix("socket:[")?.trim_end_matches(']').to_owned()))
        .collect();
    assert!(!held.is_empty(), "it holds its Unix socket");
    for table in ["/proc/net/tcp", "/proc/net/tcp6"] {
        let Ok(text) = fs::read_to_string(table) else {
            continue;
        };
        for line in text.lines().skip(1) {
            let inode = line.split_whitespace().nth(9).unwrap();
            assert!(!held.iter().any(|held| held == inode), "{table}: {line}");
        }
    }
    let run = fs::metadata(home.join("run")).unwrap();
    assert_eq!(run.mode() & 0o777, 0o700);
    assert_eq!(run.uid(), fs::metadata(home.join("cluster")).unwrap().uid());
}

#[test]
fn it_never_runs_as_root() {
    let room = room();
    let postgres = start(&room.path().join("postgres"));
    let status = fs::read_to_string(format!("/proc/{}/status", postgres.pid())).unwrap();
    let numbers = |key: &str| -> Vec<u32> {
        let line = status.lines().find_map(|line| line.strip_prefix(key)).unwrap();
        line.split_whitespace().map(|number| number.parse().unwrap()).collect()
    };
    assert!(numbers("Uid:").iter().all(|&uid| uid != 0), "{status}");
    assert!(numbers("Gid:").iter().all(|&gid| gid != 0), "{status}");
    assert!(!numbers("Groups:").contains(&0), "{status}");
}

#[test]
fn a_killed_server_starts_again_with_all_that_was_committed() {
    let room = room();
    let home = room.path().join("postgres");
    let mut postgres = start(&home);
    run(&postgres.url(), "CREATE TABLE kept (word text NOT NULL)");
    run(&postgres.url(), "INSERT INTO kept VALUES ('committed')");
    let mut open = connect(&postgres.url());
    sql_query("BEGIN").execute(&mut open).unwrap();
    sql_query("INSERT INTO kept VALUES ('not committed')").execute(&mut open).unwrap();

    let first = postgres.pid();
    assert!(!postgres.ensure_running().unwrap(), "it runs");
    signal(first, Signal::SIGKILL);
    until("the killed server is gone", || !alive(first));
    assert!(postgres.ensure_running().unwrap(), "it had to be started again");
    assert_ne!(postgres.pid(), first);
    assert_eq!(ask(&postgres.url(), "SELECT string_agg(word, ',') AS word FROM kept"), "committed");

    signal(postgres.pid(), Signal::SIGKILL);
    drop(postgres);
    let again = start(&home);
    assert_eq!(ask(&again.url(), "SELECT string_agg(word, ',') AS word FROM kept"), "committed");
}

#[test]
fn a_process_number_that_now_belongs_to_somebody_else_does_not_stop_it() {
    let room = room();
    let home = room.path().join("postgres");
    start(&home).stop().unwrap();
    let owner = fs::metadata(home.join("cluster")).unwrap().uid();
    let bystander = Sleeper::of(owner);
    let pid_file = home.join("cluster/postmaster.pid");
    for pid in [bystander.0.id(), std::process::id()] {
        fs::write(&pid_file, format!("{pid}\n{}\n1\n5432\n", home.join("cluster").display())).unwrap();
        fs::write(home.join("run/.s.PGSQL.5432.lock"), format!("{pid}\n")).unwrap();
        let postgres = start(&home);
        assert_eq!(setting(&postgres.url(), "port"), "5432");
        postgres.stop().unwrap();
        assert!(alive(pid), "nobody else is ever signalled");
    }
}

#[test]
fn a_server_that_outlived_its_strandline_is_stopped_and_replaced() {
    let room = room();
    let home = room.path().join("postgres");
    let postgres = start(&home);
    run(&postgres.url(), "CREATE TABLE kept (word text NOT NULL)");
    run(&postgres.url(), "INSERT INTO kept VALUES ('here')");
    postgres.stop().unwrap();
    let (old, mut child) = orphan(&home);
    let postgres = start(&home);
    assert_ne!(postgres.pid(), old);
    assert!(child.wait().unwrap().success(), "it was asked, not killed");
    assert_eq!(ask(&postgres.url(), "SELECT word FROM kept"), "here");
}

#[test]
fn a_second_strandline_on_the_same_data_is_turned_away() {
    let room = room();
    let home = room.path().join("postgres");
    let postgres = start(&home);
    let said = refusal(&home).to_string();
    assert!(said.starts_with("another strandline is using these data (process "), "{said}");
    assert!(said.contains(&std::process::id().to_string()), "{said}");
    assert!(!said.contains('\n'), "{said}");
    assert_eq!(setting(&postgres.url(), "port"), "5432", "the first goes on");
    postgres.stop().unwrap();
    start(&home);
}

#[test]
fn a_path_too_long_for_a_socket_gets_a_short_private_one() {
    let room = room();
    let home = room.path().join("x".repeat(120)).join("y".repeat(120)).join("with, comma and 'ü");
    let postgres = start(&home);
    let url = postgres.url();
    assert_eq!(ask(&url, "SELECT current_database()::text AS word"), "strandline");
    let dir = PathBuf::from(setting(&url, "unix_socket_directories"));
    assert!(dir.as_os_str().len() < 90, "{}", dir.display());
    let metadata = fs::symlink_metadata(&dir).unwrap();
    assert_eq!(metadata.mode() & 0o777, 0o700);
    assert_eq!(metadata.uid(), fs::metadata(home.join("cluster")).unwrap().uid());
    postgres.stop().unwrap();
    assert!(!dir.exists(), "nothing is left in a shared directory");

    // Somebody else got there first: their directory is not used.
    std::os::unix::fs::symlink(room.path(), &dir).unwrap();
    let said = refusal(&home).to_string();
    fs::remove_file(&dir).unwrap();
    assert!(said.contains(&dir.display().to_string()) && said.contains("no directory"), "{said}");
    start(&home);
}

#[test]
fn an_unfinished_database_is_made_anew() {
    let room = room();
    let home = room.path().join("postgres");
    fs::create_dir_all(home.join("cluster.new/base")).unwrap();
    fs::set_permissions(&home, fs::Permissions::from_mode(0o711)).unwrap();
    fs::write(home.join("cluster.new/PG_VERSION"), "15\n").unwrap();
    let postgres = start(&home);
    assert_eq!(ask(&postgres.url(), "SELECT current_database()::text AS word"), "strandline");
    assert!(!home.join("cluster.new").exists());
}

#[test]
fn data_of_another_version_are_left_alone() {
    let room = room();
    let home = room.path().join("postgres");
    start(&home).stop().unwrap();
    let version = home.join("cluster/PG_VERSION");
    let before = fs::read_to_string(&version).unwrap();
    fs::write(&version, "9\n").unwrap();
    let said = refusal(&home).to_string();
    assert!(said.contains("PostgreSQL 9") && said.contains("apt-get install postgresql-9"), "{said}");
    fs::write(&version, "fifteen\n").unwrap();
    assert!(refusal(&home).to_string().contains("it reads `fifteen`"));
    fs::write(&version, before).unwrap();
    start(&home);
}

#[test]
fn a_server_that_cannot_start_says_why() {
    let room = room();
    let home = room.path().join("postgres");
    start(&home).stop().unwrap();
    let configuration = home.join("cluster/postgresql.conf");
    let before = fs::read_to_string(&configuration).unwrap();
    fs::write(&configuration, format!("{before}\nmax_connections = many\n")).unwrap();
    let said = refusal(&home).to_string();
    assert!(said.contains("max_connections") && said.contains("postgres.log"), "{said}");
    assert!(!said.contains('\n'), "{said}");
    fs::write(&configuration, before).unwrap();
    start(&home);
}

#[test]
fn a_directory_that_cannot_be_made_is_one_clear_line() {
    let room = room();
    let file = room.path().join("file");
    fs::write(&file, "in the way").unwrap();
    let said = refusal(&file.join("postgres")).to_string();
    assert!(said.contains("cannot make the data directory") && said.contains("STRANDLINE_DATA"), "{said}");
    assert!(refusal(&file).to_string().contains(&file.display().to_string()));
    assert_eq!(fs::read_to_string(&file).unwrap(), "in the way");
    assert_eq!(PostgresError::EXIT_CODE, 4);
}

/// Only root hands the server to another user, so only then can a parent be in that user's way.
#[test]
fn a_parent_that_the_servers_user_may_not_enter_is_named_with_the_remedy() {
    if !geteuid().is_root() {
        return;
    }
    let room = room();
    let closed = room.path().join("closed");
    fs::create_dir(&closed).unwrap();
    fs::set_permissions(&closed, fs::Permissions::from_mode(0o700)).unwrap();
    let said = refusal(&closed.join("postgres")).to_string();
    let closed = fs::canonicalize(closed).unwrap();
    assert!(said.contains(&format!("chmod o+x {}`", closed.display())), "{said}");
    assert!(said.contains("such as /var/lib/strandline"), "{said}");
}

/// Only as root can the data belong to root.
#[test]
fn data_of_root_are_not_given_away_silently() {
    if !geteuid().is_root() {
        return;
    }
    let room = room();
    let home = room.path().join("postgres");
    start(&home).stop().unwrap();
    let owner = fs::metadata(home.join("cluster")).unwrap();
    std::os::unix::fs::chown(home.join("cluster"), Some(0), Some(0)).unwrap();
    let said = refusal(&home).to_string();
    let user = User::from_uid(owner.uid().into()).unwrap().unwrap().name;
    assert!(said.contains(&format!("chown -R {user} ")), "{said}");
    std::os::unix::fs::chown(home.join("cluster"), Some(owner.uid()), Some(owner.gid())).unwrap();
    start(&home);
}

/// Runs in a process of its own, started by the test below: starts a server, says so, and waits to be killed.
#[test]
fn strandline_in_a_process_of_its_own() {
    let Some(home) = std::env::var_os("PRIVATE_POSTGRES_TEST_HOME") else {
        return;
    };
    let postgres = start(Path::new(&home));
    // Renamed into place: the other process never sees the file without the number in it.
    let written = Path::new(&home).join("pid.new");
    fs::write(&written, postgres.pid().to_string()).unwrap();
    fs::rename(written, Path::new(&home).join("pid")).unwrap();
    sleep(Duration::from_secs(300));
}

#[test]
fn a_killed_strandline_takes_its_server_with_it() {
    let room = room();
    let home = room.path().join("postgres");
    let mut strandline = Command::new(std::env::current_exe().unwrap())
        .args(["--exact", "strandline_in_a_process_of_its_own", "--nocapture"])
        .env("PRIVATE_POSTGRES_TEST_HOME", &home)
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .spawn()
        .unwrap();
    until("the server is up", || home.join("pid").exists());
    let pid: u32 = fs::read_to_string(home.join("pid")).unwrap().parse().unwrap();
    assert!(matches!(refusal(&home), PostgresError::Busy { pid: Some(holder), .. } if holder == strandline.id()));
    strandline.kill().unwrap();
    strandline.wait().unwrap();
    // At once, while the watcher is at it, and without harm from it later.
    let postgres = start(&home);
    assert_ne!(postgres.pid(), pid);
    until("the old server is gone", || !alive(pid));
    sleep(Duration::from_millis(300));
    assert_eq!(setting(&postgres.url(), "port"), "5432");
    drop(postgres);

    // And left to itself.
    fs::remove_file(home.join("pid")).unwrap();
    let mut strandline = Command::new(std::env::current_exe().unwrap())
        .args(["--exact", "strandline_in_a_process_of_its_own", "--nocapture"])
        .env("PRIVATE_POSTGRES_TEST_HOME", &home)
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .spawn()
        .unwrap();
    until("the server is up again", || home.join("pid").exists());
    let pid: u32 = fs::read_to_string(home.join("pid")).unwrap().parse().unwrap();
    strandline.kill().unwrap();
    strandline.wait().unwrap();
    until("the watcher stopped it", || !alive(pid));
    until("the pid file is gone", || !home.join("cluster/postmaster.pid").exists());
}

#[test]
fn a_throw_away_server_may_skip_the_disk() {
    let room = room();
    let postgres =
        PrivatePostgres::start_with(&room.path().join("postgres"), None, Options { durable: false }).unwrap();
    assert_eq!(setting(&postgres.url(), "fsync"), "off");
    assert!(Options::default().durable);
}
