//! Files made to exhaust a reader: each is refused with its reason, in a process that may take a stated memory and time.
//!
//! `cargo test -p importer --test hostile -- --nocapture` prints the table.

use std::io::{Cursor, Write};
use std::process::Command;
use std::time::{Duration, Instant};

use importer::context::Context;
use importer::read::read_packed;
use zip::write::SimpleFileOptions;

/// Memory that the process may reserve, in KiB, and seconds that it may take.
const MEMORY_KIB: u64 = 2 * 1024 * 1024;
const SECONDS: u64 = 20;
/// Rows of tables in which every row says something else.
const ROWS: usize = 20_000;
/// Names the file that the child reads.
const FILE: &str = "HOSTILE_FILE";

/// What writes a part of a container.
type Part<'p> = &'p dyn Fn(&mut dyn Write);

fn book(parts: &[(&str, Part<'_>)]) -> Vec<u8> {
    let mut zip = zip::ZipWriter::new(Cursor::new(Vec::new()));
    for (name, write) in parts {
        zip.start_file(*name, SimpleFileOptions::default()).unwrap();
        write(&mut zip);
    }
    zip.finish().unwrap().into_inner()
}

const TYPES: &str =
    r#"<?xml version="1.0"?><Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types"/>"#;
const ROOT: &str = r#"<?xml version="1.0"?><Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"><Relationship Id="rId1" Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/officeDocument" Target="xl/workbook.xml"/></Relationships>"#;
const RELATIONS: &str = r#"<?xml version="1.0"?><Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"><Relationship Id="rId1" Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/worksheet" Target="worksheets/sheet1.xml"/></Relationships>"#;
const ONE_SHEET: &str = r#"<?xml version="1.0"?><workbook xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main" xmlns:r="http://schemas.openxmlformats.org/officeDocument/2006/relationships"><sheets><sheet name="a" sheetId="1" r:id="rId1"/></sheets></workbook>"#;

fn xlsx(workbook: Part<'_>, sheet: Part<'_>) -> Vec<u8> {
    let text = |text: &'static str| move |out: &mut dyn Write| out.write_all(text.as_bytes()).unwrap();
    book(&[
        ("[Content_Types].xml", &text(TYPES)),
        ("_rels/.rels", &text(ROOT)),
        ("xl/_rels/workbook.xml.rels", &text(RELATIONS)),
        ("xl/workbook.xml", workbook),
        ("xl/worksheets/sheet1.xml", sheet),
    ])
}

fn plain(out: &mut dyn Write) {
    out.write_all(ONE_SHEET.as_bytes()).unwrap();
}

fn many(out: &mut dyn Write, piece: &str, times: usize) {
    let block = piece.repeat(1024.min(times));
    for _ in 0..times / 1024.min(times).max(1) {
        out.write_all(block.as_bytes()).unwrap();
    }
}

/// A name, a hostile file, and the codes with which it may be refused; without a code, it may also be read.
type Hostile = (&'static str, Vec<u8>, &'static [&'static str]);

/// A word of its own for each number.
fn word(mut at: usize) -> String {
    let mut word = String::new();
    for _ in 0..5 {
        word.push(char::from(b"bcdfglmnprst"[at % 12]));
        word.push(char::from(b"aeiou"[at / 12 % 5]));
        at = at / 60 * 7 + 31 * (at % 60);
    }
    word
}

fn day(at: usize) -> chrono::NaiveDate {
    chrono::NaiveDate::from_ymd_opt(1980, 1, 1).unwrap() + chrono::Days::new(at as u64 / 8)
}

/// A table of many rows.
fn table(header: &str, row: &dyn Fn(usize) -> String) -> Vec<u8> {
    std::iter::once(header.to_owned()).chain((0..ROWS).map(row)).collect::<Vec<_>>().join("\n").into_bytes()
}

fn files() -> Vec<Hostile> {
    let blank = ["Date,KH\n2024-03-02,8.2\n".as_bytes(), &vec![b'\n'; 50_000_000]].concat();
    let sheet = |out: &mut dyn Write| out.write_all(b"<worksheet><sheetData/></worksheet>").unwrap();
    let bomb = xlsx(&plain, &|out| many(out, &" ".repeat(64), 9 * 1024 * 1024));
    let mut lying = bomb.clone();
    // The sizes in the central directory, said to be a hundred bytes.
    let at = lying.windows(4).rposition(|window| window == b"PK\x01\x02").unwrap();
    lying[at + 24..at + 28].copy_from_slice(&100_u32.to_le_bytes());
    let sheets = xlsx(
        &|out| {
            out.write_all(b"<workbook><sheets>").unwrap();
            (0..100_000).for_each(|at| write!(out, "<sheet name=\"s{at}\" sheetId=\"{at}\" r:id=\"rId1\"/>").unwrap());
            out.write_all(b"</sheets></workbook>").unwrap();
        },
        &sheet,
    );
    let deep = xlsx(&plain, &|out| many(out, "<a>", 2_000_000));
    let laughs = xlsx(
        &|out| {
            out.write_all(b"<!DOCTYPE lolz [<!ENTITY a \"lol\">").unwrap();
            for letter in b'b'..=b'j' {
                let (own, before) = (char::from(letter), char::from(letter - 1));
                write!(out, "<!ENTITY {own} \"{}\">", format!("&{before};").repeat(10)).unwrap();
            }
            out.write_all(b"]><workbook><sheets><sheet name=\"&j;\" sheetId=\"1\" r:id=\"rId1\"/></sheets></workbook>")
                .unwrap();
        },
        &sheet,
    );
    let far = xlsx(&plain, &|out| {
        out.write_all(b"<worksheet><sheetData><row r=\"1\"><c r=\"A1\"><v>1</v></c></row><row r=\"1048576\"><c r=\"XFD1048576\"><v>1</v></c></row></sheetData></worksheet>").unwrap();
    });
    let good = xlsx(&plain, &|out| {
        out.write_all(b"<worksheet><sheetData><row r=\"1\"><c r=\"A1\"><v>1</v></c></row></sheetData></worksheet>")
            .unwrap();
    });
    let mut compound = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1".to_vec();
    compound.extend([0xff_u8; 4096]);
    let mut named = vec![0_u8; 512];
    named[..8].copy_from_slice(b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1");
    named.extend("Workbook\0".encode_utf16().flat_map(u16::to_le_bytes));
    named.extend([0_u8; 4000]);
    vec![
        ("zip bomb of 600 MB", bomb, &["file_over_limit"]),
        ("zip bomb that lies about its size", lying, &["file_over_limit", "file_damaged"]),
        ("100 000 sheets", sheets, &["file_over_limit"]),
        ("two million nested elements", deep, &[]),
        ("entities that expand a billion times", laughs, &[]),
        ("two cells at opposite corners", far, &[]),
        ("a workbook cut off", good[..good.len() - 60].to_vec(), &["file_damaged", "file_kind_unknown"]),
        ("an old workbook of rubbish", compound, &["file_damaged", "file_kind_unknown"]),
        ("an old workbook whose chains lead nowhere", named, &["file_damaged", "file_kind_unknown"]),
        ("a million columns", "1,".repeat(1_000_000).into_bytes(), &["file_over_limit"]),
        ("a line of 60 MB", vec![b'a'; 60 * 1024 * 1024], &["file_over_limit"]),
        (
            "a quote that never closes, 60 MB",
            [b"\"".to_vec(), vec![b'a'; 60 * 1024 * 1024]].concat(),
            &["file_over_limit"],
        ),
        ("65 MB of rows", "2024-03-02,8.2\n".repeat(4_600_000).into_bytes(), &["file_over_limit"]),
        ("two million rows", "1,2\n".repeat(2_000_000).into_bytes(), &["file_over_limit"]),
        ("a table over 50 million blank lines", blank, &[]),
        (
            "names of tanks without end",
            table("Date,Tank,KH", &|at| format!("{},{},8.1", day(at), word(at))),
            &["tanks_too_many"],
        ),
        (
            "names of tests without end",
            table("Date,Test,Value", &|at| format!("{},{},8.1", day(at), word(at))),
            &["column_unknown"],
        ),
        ("days without end that are none", table("Date,KH", &|at| format!("{},8.1", word(at))), &["dates_unreadable"]),
        (
            "words without end for numbers",
            table("Date,KH", &|at| format!("{},{}", day(at), word(at))),
            &["word_in_numbers"],
        ),
        (
            "remarks without end",
            table("Date,KH,Notes", &|at| format!("{},8.1,lost {} and KH {}", day(at), word(at), word(at + 7))),
            &[],
        ),
        (
            "kinds of coral without end",
            table("Label,Name,Bought on", &|at| format!("L{at},{} {},{}", word(at), word(at + 3), day(at))),
            &["name_unknown"],
        ),
        (
            "fates without end",
            table("Label,Name,Bought on,Fate", &|at| format!("L{at},Pavona cactus,{},{}", day(at), word(at))),
            &["fate_word_unclear"],
        ),
        (
            "looks without end",
            table("Date,Coral,Observation", &|at| format!("{},{},{}", day(at), word(at), word(at + 5))),
            &[],
        ),
        ("zeros", vec![0; 1024 * 1024], &["file_kind_unknown"]),
        ("a text with zeros", b"Date,KH\n2024-03-02,8\0.2\n".to_vec(), &["file_kind_unknown"]),
    ]
}

/// Reads the file that the parent names, else a small one, and prints the codes of what could not be taken.
#[test]
fn reads_what_it_is_given() {
    let bytes = match std::env::var_os(FILE) {
        Some(path) => std::fs::read(path).unwrap(),
        None => b"Date,KH\n2024-03-02,8.2\n".to_vec(),
    };
    let (outcome, packed) = read_packed("file", &bytes, &Context::default()).unwrap();
    assert!(!packed.is_empty() || !outcome.findings.is_empty());
    for finding in outcome.findings {
        println!("code {} {}", finding.code, finding.message);
    }
    let status = std::fs::read_to_string("/proc/self/status").unwrap();
    println!("{}", status.lines().find(|line| line.starts_with("VmHWM")).unwrap());
}

#[test]
fn hostile_files_are_refused_within_bounds() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("hostile");
    println!("{:44}{:>12}{:>9}{:>12}  refused as", "file", "bytes", "seconds", "peak KiB");
    for (name, bytes, codes) in files() {
        std::fs::write(&path, &bytes).unwrap();
        let began = Instant::now();
        let output = Command::new("sh")
            .arg("-c")
            .arg(format!("ulimit -v {MEMORY_KIB}; exec \"$0\" --exact reads_what_it_is_given --nocapture"))
            .arg(std::env::current_exe().unwrap())
            .env(FILE, &path)
            .output()
            .unwrap();
        let took = began.elapsed();
        let said = String::from_utf8_lossy(&output.stdout).into_owned();
        assert!(output.status.success(), "{name}: {said}{}", String::from_utf8_lossy(&output.stderr));
        assert!(took < Duration::from_secs(SECONDS), "{name} took {took:?}");
        let found: Vec<&str> = said.lines().filter_map(|line| line.strip_prefix("code ")?.split(' ').next()).collect();
        let peak = said.lines().find_map(|line| line.strip_prefix("VmHWM:")).unwrap_or_default().trim();
        println!(
            "{name:44}{:>12}{:>9.2}{:>12}  {}",
            bytes.len(),
            took.as_secs_f64(),
            peak.trim_end_matches(" kB"),
            found.join(", ")
        );
        assert!(codes.is_empty() || found.iter().any(|code| codes.contains(code)), "{name}: {said}");
    }
}
