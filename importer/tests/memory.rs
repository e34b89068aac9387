//! How much memory a long file takes: the peak of a process that does nothing but read it.
//!
//! What stays of every row says what the longest file that is read takes; that must stay below what is promised.

use std::path::Path;
use std::process::Command;

use chrono::{Days, NaiveDate};
use importer::container::limit;
use importer::context::{Context, KnownTank};
use importer::read::read_packed;

/// What a process may take that reads a text file of any length, or a workbook of as many rows as are promised.
const PROMISED: u64 = 300 * 1024 * 1024;
const ROWS: u64 = 100_000;
/// Bytes of the index of a long text, a row: where it starts, its day and what its cells are used for.
const INDEX: u64 = 32;

/// Names the file to a test program that was started to read it.
const TO_READ: &str = "IMPORTER_MEMORY_FILE";
/// Two tanks of its keeper, and the file says nothing: every cell waits for one answer.
const HELD: &str = "held";

const HEADER: [&str; 10] = ["Date", "Tank", "Temp °C", "Salinity PSU", "Alk dKH", "Ca", "Mg", "NO3", "PO4", "pH"];
const TANKS: [&str; 4] = ["Alder", "Birch", "Cedar", "Rowan"];

/// The day, the tank and eight values of a row.
fn row(at: u32) -> (NaiveDate, &'static str, [f64; 8]) {
    let day = NaiveDate::from_ymd_opt(1951, 1, 1).unwrap() + Days::new(u64::from(at / 4));
    let step = f64::from(at % 7);
    let values = [25.0 + step / 10.0, 34.0 + step / 10.0, 8.0 + step / 10.0, 420.0 + step, 1310.0 + step, 0.5 + step];
    let [a, b, c, d, e, f] = values;
    (day, TANKS[at as usize % 4], [a, b, c, d, e, f, (step + 1.0) / 100.0, (810.0 + step) / 100.0])
}

fn wide(path: &Path, rows: u32) {
    let mut text = HEADER.join(",") + "\n";
    for (day, tank, values) in (0..rows).map(row) {
        let values: Vec<String> = values.iter().map(|value| format!("{value:.2}")).collect();
        text += &format!("{day},{tank},{}\n", values.join(","));
    }
    std::fs::write(path, text).unwrap();
}

/// A row every ten minutes with one value.
fn probe(path: &Path, rows: u32) {
    let first = NaiveDate::from_ymd_opt(2001, 1, 1).unwrap().and_hms_opt(0, 0, 0).unwrap();
    let mut text = "Time,Temp °C\n".to_owned();
    for at in 0..rows {
        let moment = first + chrono::TimeDelta::minutes(i64::from(at) * 10);
        text += &format!("{},{}.{:02}\n", moment.format("%Y-%m-%d %H:%M"), 24 + at % 3, at * 7 % 100);
    }
    std::fs::write(path, text).unwrap();
}

/// One test a row.
fn list(path: &Path, rows: u32) {
    let tests = [("KH", "dKH", 8), ("Calcium", "ppm", 420), ("Nitrate", "ppm", 5), ("pH", "", 8)];
    let mut text = "Date,Tank,Test,Value,Unit\n".to_owned();
    for at in 0..rows {
        let (day, tank, _) = row(at / 4);
        let (test, unit, value) = tests[at as usize % 4];
        text += &format!("{day},{tank},{test},{value}.{},{unit}\n", at % 10);
    }
    std::fs::write(path, text).unwrap();
}

fn workbook(path: &Path, rows: u32) {
    let mut book = rust_xlsxwriter::Workbook::new();
    let days = rust_xlsxwriter::Format::new().set_num_format("yyyy-mm-dd");
    let sheet = book.add_worksheet();
    for (column, header) in (0..).zip(HEADER) {
        sheet.write(0, column, header).unwrap();
    }
    for at in 0..rows {
        let (day, tank, values) = row(at);
        sheet.write_with_format(at + 1, 0, &day, &days).unwrap();
        sheet.write(at + 1, 1, tank).unwrap();
        for (column, value) in (2..).zip(values) {
            sheet.write(at + 1, column, value).unwrap();
        }
    }
    book.save(path).unwrap();
}

/// What a process that reads the file says of itself, in bytes.
struct Said {
    /// The most memory it had.
    peak: u64,
    /// What it keeps of the tests.
    kept: u64,
}

fn said(path: &Path, readings: u32) -> Said {
    let output = Command::new(std::env::current_exe().unwrap())
        .args(["--exact", "a_long_file_takes_little_memory", "--nocapture"])
        .env(TO_READ, path)
        .output()
        .unwrap();
    let said = String::from_utf8(output.stdout).unwrap();
    let number = |name: &str| -> u64 {
        let rest = said.split_once(name).unwrap_or_else(|| panic!("{name} in {said}")).1;
        rest.split_whitespace().next().unwrap().parse().unwrap()
    };
    assert_eq!(number("readings: "), u64::from(readings), "{said}");
    Said { peak: number("VmHWM:") * 1024, kept: number("kept: ") }
}

fn read_here(path: &Path) {
    let name = path.to_string_lossy();
    let bytes = std::fs::read(path).unwrap();
    let tank = |name: &str| KnownTank { name: name.to_owned(), aliases: Vec::new() };
    let tanks = if name.contains(HELD) { vec![tank("Alder"), tank("Birch")] } else { Vec::new() };
    let context = Context { today: NaiveDate::from_ymd_opt(2130, 1, 1), tanks, ..Context::default() };
    let (_, packed) = read_packed("tests", &bytes, &context).unwrap();
    println!("readings: {}", packed.counts.get("reading").copied().unwrap_or_default());
    println!("kept: {}", packed.months.values().map(|block| block.bytes.len()).sum::<usize>());
    println!("{}", std::fs::read_to_string("/proc/self/status").unwrap());
}

#[test]
fn a_long_file_takes_little_memory() {
    if let Some(path) = std::env::var_os(TO_READ) {
        return read_here(Path::new(&path));
    }
    let folder = tempfile::tempdir().unwrap();
    // Of a long text its own bytes stay, an index of its rows, and the tests, packed; its parts come and go.
    let text = |name: &str, rows: u32, readings: u32, write: fn(&Path, u32)| {
        let path = folder.path().join(name);
        write(&path, rows);
        let Said { peak, kept } = said(&path, rows * readings);
        let (rows, length) = (u64::from(rows), std::fs::metadata(&path).unwrap().len());
        let longest = limit::ROWS.min(limit::BYTES * rows / length);
        let bytes = peak + (longest - rows) * ((kept + length) / rows + INDEX);
        println!("{name}: {peak} bytes for {rows} rows, {kept} kept: {bytes} for {longest}");
        bytes
    };
    let workbook = {
        let path = folder.path().join("tests.xlsx");
        let [short, long] = [4_000, 16_000].map(|rows| {
            workbook(&path, rows);
            said(&path, rows * 8).peak
        });
        let bytes = short + long.saturating_sub(short) * (ROWS - 4_000) / 12_000;
        println!("workbook: {short} bytes for 4000 rows, {long} for 16000: {bytes} for {ROWS}");
        bytes
    };
    let all = [
        text("wide.csv", 60_000, 8, wide),
        text("probe.csv", 220_000, 1, probe),
        text("list.csv", 100_000, 1, list),
        text("held.csv", 220_000, 0, probe),
        workbook,
    ];
    assert!(all.iter().all(|bytes| *bytes < PROMISED), "{all:?}");
}
