//! Where the time of a commit goes for a keeper with many readings: `cargo bench -p importer --bench commit [READINGS]`.
//!
//! Prints seconds by stage; compare them on one machine only. `cargo bench` optimises; for what the development profile
//! takes, add `--profile dev`.

#[path = "../tests/support/database.rs"]
mod database;
#[path = "../../migrations/tests/support/postgres.rs"]
mod postgres;

use std::time::Instant;

use chrono::{Days, NaiveDate};
use database::{database, number};
use diesel::pg::PgConnection;
use importer::fold::{LiveUpload, fold};
use importer::load::{self, NewUpload, Stage};

const TANKS: [&str; 4] = ["Alder", "Birch", "Cedar", "Rowan"];
const PER_ROW: usize = 8;

/// A clean file, one row a day and tank; `changed` rows at its end have another temperature.
fn file(readings: usize, changed: usize) -> String {
    let rows = readings / PER_ROW;
    let mut text = String::from("Date,Tank,Temp °C,Salinity PSU,Alk dKH,Ca,Mg,NO3,PO4,pH\n");
    for row in 0..rows {
        let day = NaiveDate::from_ymd_opt(2010, 1, 1).expect("a day") + Days::new((row / TANKS.len()) as u64);
        let step = row % 7;
        let tenth = if row + changed >= rows { 9 } else { step };
        text += &format!(
            "{day},{},25.{tenth},34.{step},8.{step},42{step},131{step},{step}.5,0.0{},8.1{step}\n",
            TANKS[row % TANKS.len()],
            step + 1
        );
    }
    text
}

fn timed<T>(what: &str, work: impl FnOnce() -> T) -> T {
    let began = Instant::now();
    let done = work();
    println!("{:>9.3} s  {what}", began.elapsed().as_secs_f64());
    done
}

fn send(connection: &mut PgConnection, keeper: i64, what: &str, content: &str) -> i64 {
    let new = NewUpload {
        keeper_id: keeper,
        name: "tests.csv",
        bytes: content.as_bytes(),
        received_by: "bench",
        ..NewUpload::default()
    };
    let id = load::receive(connection, &new).expect("received").upload_id;
    let read = timed(&format!("read {what}"), || {
        load::stage(connection, id, NaiveDate::from_ymd_opt(2030, 1, 1).expect("a day")).expect("read")
    });
    assert_eq!(read.question_count, 0, "a clean file");
    let summary = timed(&format!("commit {what}"), || load::commit(connection, id, false).expect("committed"));
    println!("             {:?}", summary.changes);
    id
}

fn main() {
    let asked = std::env::args().skip(1).find_map(|word| word.parse().ok());
    let readings: usize = asked.unwrap_or(50_000);
    let database = database();
    let connection = &mut database.connect();
    let keeper = load::ensure_keeper(connection, "Juniper").expect("a keeper");
    let first = send(connection, keeper, "a first file", &file(readings, 0));
    let records = timed("  of which unpacking its records", || {
        load::records(connection, first, Stage::Committed).expect("records")
    });
    let upload = load::upload(connection, first).expect("the upload");
    let live = [LiveUpload {
        upload: first,
        log: Some(1),
        edit: false,
        replaces: false,
        records: &records,
        tanks: &importer::fold::NO_TANKS,
        about: &upload.about,
        read_on: None,
    }];
    timed("  of which folding them", || fold(&live, &importer::fold::between::Preferences::new()));
    let second = send(connection, keeper, "a next version with ten rows changed", &file(readings, 10));
    let one = &records[records.len() - 1..];
    let edit = timed("edit one reading", || load::edit(connection, keeper, one, "bench").expect("edited"));
    timed("undo the edit", || load::undo(connection, edit, "bench").expect("undone"));
    timed("undo the next version", || load::undo(connection, second, "bench").expect("undone"));
    timed("undo the first", || load::undo(connection, first, "bench").expect("undone"));
    assert_eq!(number(connection, "SELECT count(*) AS number FROM reading"), 0);
}
