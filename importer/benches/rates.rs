//! How fast a club's readings come in, beside the plain copy of the same rows into the same table.
//!
//! `cargo bench -p importer --bench rates [READINGS]` prints one table: reading, comparing and committing a wide csv;
//! the same file again; the same records in other bytes; forty files at once; reading alone; and `psql \copy` of the
//! rows that came of it into the real table with its constraints and indexes. Medians of three; ratios within one run
//! are what counts. Memory is the peak of a process that does nothing but
//! import one file.

#[path = "../tests/support/database.rs"]
mod database;
#[path = "../../migrations/tests/support/postgres.rs"]
mod postgres;

use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use chrono::{Days, NaiveDate};
use database::{database, number};
use diesel::connection::SimpleConnection;
use diesel::pg::PgConnection;
use importer::context::Context;
use importer::load::{self, NewUpload};
use postgres::TestDatabase;

const TANKS: [&str; 4] = ["Alder", "Birch", "Cedar", "Rowan"];
const PER_ROW: usize = 8;
const TIMES: usize = 3;
const FILES: usize = 40;

/// A clean wide csv, one row a day and tank.
fn file(readings: usize, salt: usize) -> String {
    let mut text = String::from("Date,Tank,Temp °C,Salinity PSU,Alk dKH,Ca,Mg,NO3,PO4,pH\n");
    // So many years lie in no club; the days begin early enough to hold them all.
    let first = NaiveDate::from_ymd_opt(1951, 1, 1).expect("a day");
    let rows = readings / PER_ROW;
    let per_day = rows.div_ceil(26_000).max(TANKS.len());
    for row in 0..rows {
        let day = first + Days::new((row / per_day) as u64);
        let step = (row + salt) % 7;
        let tank = row % per_day;
        text += &format!(
            "{day},{} {},25.{step},34.{step},8.{step},42{step},131{step},{step}.5,0.0{},8.1{step}\n",
            TANKS[tank % TANKS.len()],
            tank / TANKS.len(),
            step + 1
        );
    }
    text
}

fn today() -> NaiveDate {
    NaiveDate::from_ymd_opt(2030, 1, 1).expect("a day")
}

/// Seconds of receiving, reading and committing.
fn import(connection: &mut PgConnection, keeper: i64, name: &str, content: &str) -> [Duration; 3] {
    let new =
        NewUpload { keeper_id: keeper, name, bytes: content.as_bytes(), received_by: "bench", ..NewUpload::default() };
    let began = Instant::now();
    let received = load::receive(connection, &new).expect("received");
    let receiving = began.elapsed();
    if received.already.is_some() {
        return [receiving, Duration::ZERO, Duration::ZERO];
    }
    let began = Instant::now();
    let read = load::stage(connection, received.upload_id, today()).expect("read");
    let reading = began.elapsed();
    assert_eq!(read.question_count, 0, "a clean file");
    let began = Instant::now();
    load::commit(connection, received.upload_id, false).expect("committed");
    [receiving, reading, began.elapsed()]
}

fn median(mut times: Vec<Duration>) -> Duration {
    times.sort();
    times[times.len() / 2]
}

fn psql(database: &TestDatabase, statement: &str) {
    let status = Command::new("psql")
        .args(["-q", "-v", "ON_ERROR_STOP=1", database.url(), "-c", statement])
        .stdout(Stdio::null())
        .status()
        .expect("psql runs");
    assert!(status.success(), "{statement}");
}

fn line(what: &str, rows: usize, time: Duration, bar: Option<Duration>) {
    let seconds = time.as_secs_f64();
    let ratio = bar.map(|bar| format!("{:>8.2}", bar.as_secs_f64() / seconds)).unwrap_or_default();
    println!("{what:64}{seconds:>9.3} s{:>12.0} rows/s{ratio}", rows as f64 / seconds);
}

fn forget(connection: &mut PgConnection) {
    connection.batch_execute("TRUNCATE keeper CASCADE; CHECKPOINT;").expect("tables emptied");
}

/// Imports a file whole, in this process alone, and says how much memory that took.
fn memory(path: &str, url: &str) {
    use diesel::Connection;
    let content = std::fs::read(path).expect("a file");
    let connection = &mut PgConnection::establish(url).expect("the database");
    let keeper = load::ensure_keeper(connection, path).expect("a keeper");
    let name = path.rsplit('/').next().unwrap_or(path);
    let bytes = content.len();
    let new = NewUpload { keeper_id: keeper, name, bytes: &content, received_by: "bench", ..NewUpload::default() };
    let upload = load::receive(connection, &new).expect("received").upload_id;
    drop(content);
    let read = load::stage(connection, upload, today()).expect("read");
    let (cells, questions) = (read.cells.total, read.question_count);
    let recorded = load::commit(connection, upload, true).expect("committed").recorded;
    println!("{recorded} records of {cells} cells, {bytes} bytes, {questions} questions");
    let status = std::fs::read_to_string("/proc/self/status").expect("the process's own status");
    println!("{}", status.lines().find(|line| line.starts_with("VmHWM")).unwrap_or_default());
}

fn main() {
    let words: Vec<String> = std::env::args().skip(1).filter(|word| word != "--bench").collect();
    if let [what, path, url] = words.as_slice()
        && what == "memory"
    {
        return memory(path, url);
    }
    let readings: usize = words.iter().find_map(|word| word.parse().ok()).unwrap_or(1_000_000);
    let content = file(readings, 0);
    let database = database();
    let connection = &mut database.connect();

    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("readings.csv");
    let columns = "keeper_id, key, digest, tank_id, parameter, taken_on, taken_time, utc_offset_minutes, ordinal, \
                   value, lower, upper, qualifier, flags, disputed, written, written_unit, instrument_id, specimen_id, \
                   log_id, upload_id, sheet, row_number, column_number";
    // Round by round, so that what is compared was measured side by side.
    let mut first: Vec<[Duration; 3]> = Vec::new();
    let (mut again, mut other_bytes, mut copies) = (Vec::new(), Vec::new(), Vec::new());
    let mut rows = 0;
    for time in 0..TIMES {
        forget(connection);
        let keeper = load::ensure_keeper(connection, "Juniper").expect("a keeper");
        first.push(import(connection, keeper, "tests.csv", &content));
        again.push(import(connection, keeper, "tests.csv", &content).iter().sum());
        let same = format!("{content}{}", "\n".repeat(time + 1));
        other_bytes.push(import(connection, keeper, "tests.csv", &same).iter().sum());
        // The same rows by the client's own copy, into the table as it is.
        rows = number(connection, "SELECT count(*) AS number FROM reading") as usize;
        psql(&database, &format!("\\copy (SELECT {columns} FROM reading ORDER BY id) TO '{}' CSV", path.display()));
        connection.batch_execute("TRUNCATE reading; CHECKPOINT;").expect("emptied");
        let began = Instant::now();
        psql(&database, &format!("\\copy reading ({columns}) FROM '{}' CSV", path.display()));
        copies.push(began.elapsed());
    }
    let all = median(first.iter().map(|times| times.iter().sum()).collect());
    let part = |at: usize| median(first.iter().map(|times| times[at]).collect());
    let ratios = first
        .iter()
        .zip(&copies)
        .map(|(times, copy)| format!("{:.2}", copy.as_secs_f64() / times.iter().sum::<Duration>().as_secs_f64()));
    let ratios: Vec<String> = ratios.collect();
    let (again, other_bytes, copy) = (median(again), median(other_bytes), median(copies));

    // Forty keepers' files side by side on two connections.
    let parts: Vec<String> = (0..FILES).map(|part| file(readings / FILES, part)).collect();
    forget(connection);
    let keepers: Vec<i64> =
        (0..FILES).map(|at| load::ensure_keeper(connection, &format!("Keeper{at}")).expect("a keeper")).collect();
    let began = Instant::now();
    std::thread::scope(|scope| {
        for half in 0..2 {
            let (parts, keepers, database) = (&parts, &keepers, &database);
            scope.spawn(move || {
                let mut connection = database.connect();
                for at in (half..FILES).step_by(2) {
                    import(&mut connection, keepers[at], "tests.csv", &parts[at]);
                }
            });
        }
    });
    let forty = began.elapsed();

    let began = Instant::now();
    let outcome =
        importer::read::read("tests.csv", content.as_bytes(), &Context { today: Some(today()), ..Context::default() });
    let read_alone = began.elapsed();
    let cells = outcome.cells.total as usize;
    drop(outcome);
    let began = Instant::now();
    let (grids, _) = importer::container::open("tests.csv", content.as_bytes());
    let parse = began.elapsed();
    drop(grids);

    println!("{rows} readings of {} bytes; the last column is the rate beside psql \\copy", content.len());
    line("psql \\copy of the same rows into the same table", rows, copy, Some(copy));
    line("a first file: received, read, compared, committed", rows, all, Some(copy));
    println!("{:64}round by round {}", "", ratios.join(", "));
    line("  of which received", rows, part(0), None);
    line("  of which read and staged", rows, part(1), None);
    line("  of which committed", rows, part(2), None);
    line("the same file again", rows, again, None);
    println!("{:64}{:>9.1} times the first", "", all.as_secs_f64() / again.as_secs_f64());
    line("the same records in other bytes", rows, other_bytes, None);
    println!("{:64}{:>9.1} times the first", "", all.as_secs_f64() / other_bytes.as_secs_f64());
    line("forty files of forty keepers, two at a time", rows, forty, Some(copy));
    println!("{:64}{:>9.2} of one file's rate", "", all.as_secs_f64() / forty.as_secs_f64());
    println!(
        "{:64}{:>9.3} s{:>12.0} cells/s",
        "text to cells",
        parse.as_secs_f64(),
        cells as f64 / parse.as_secs_f64()
    );
    println!(
        "{:64}{:>9.3} s{:>12.0} cells/s",
        "text to records, nothing stored",
        read_alone.as_secs_f64(),
        cells as f64 / read_alone.as_secs_f64()
    );
    for (what, readings) in [("memory, this file", readings), ("memory, twice as long", readings * 2)] {
        let path = folder.path().join("memory.csv");
        std::fs::write(&path, file(readings, 0)).expect("written");
        forget(connection);
        let output = Command::new(std::env::current_exe().expect("itself"))
            .args(["memory".as_ref(), path.as_os_str(), database.url().as_ref()])
            .output()
            .expect("a process");
        println!("{what}: {}", String::from_utf8_lossy(&output.stdout).trim().replace('\n', "; "));
    }
}
