//! How much memory a long file takes: the peak of a process that does nothing but read it.
//!
//! A straight line through two lengths says what a million readings take; that must stay below what is promised.

use std::path::Path;
use std::process::Command;

use chrono::{Days, NaiveDate};
use importer::context::Context;
use importer::read::read_packed;

/// What a process may take that reads a text file of a million readings, or a workbook of as many rows as are promised.
const PROMISED: u64 = 300 * 1024 * 1024;
const READINGS: u64 = 1_000_000;
const ROWS: u64 = 100_000;

/// Names the file to a test program that was started to read it.
const TO_READ: &str = "IMPORTER_MEMORY_FILE";

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

fn text(path: &Path, rows: u32) {
    let mut text = HEADER.join(",") + "\n";
    for (day, tank, values) in (0..rows).map(row) {
        let values: Vec<String> = values.iter().map(|value| format!("{value:.2}")).collect();
        text += &format!("{day},{tank},{}\n", values.join(","));
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

/// Bytes of the peak of a process that reads the file.
fn peak(path: &Path, readings: u32) -> u64 {
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
    number("VmHWM:") * 1024
}

fn read_here(path: &Path) {
    let bytes = std::fs::read(path).unwrap();
    let context = Context { today: NaiveDate::from_ymd_opt(2130, 1, 1), ..Context::default() };
    let (_, packed) = read_packed(&path.to_string_lossy(), &bytes, &context).unwrap();
    println!("readings: {}", packed.counts["reading"]);
    println!("{}", std::fs::read_to_string("/proc/self/status").unwrap());
}

#[test]
fn a_long_file_takes_little_memory() {
    if let Some(path) = std::env::var_os(TO_READ) {
        return read_here(Path::new(&path));
    }
    let folder = tempfile::tempdir().unwrap();
    let line = |what: &str, name: &str, rows: [u32; 2], wanted: u64, write: fn(&Path, u32)| {
        let path = folder.path().join(name);
        let [short, long] = rows.map(|rows| {
            write(&path, rows);
            peak(&path, rows * 8)
        });
        let [first, last] = rows.map(u64::from);
        let bytes = short + long.saturating_sub(short) * (wanted - first) / (last - first);
        println!("{what}: {short} bytes for {first} rows, {long} for {last}: {bytes} for {wanted}");
        bytes
    };
    let text = line("text", "tests.csv", [5000, 20_000], READINGS / 8, text);
    let workbook = line("workbook", "tests.xlsx", [4000, 16_000], ROWS, workbook);
    assert!(text < PROMISED && workbook < PROMISED, "{text} bytes for text, {workbook} for a workbook");
}
