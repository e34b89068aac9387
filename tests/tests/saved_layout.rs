//! `--save-layout` and `--layout`: what one file's questions were answered with serves the next file of the same columns,
//! of whatever keeper, into the database and through a server.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Output;

use serde_json::Value;
use tests::files::data_folder;
use tests::program::{Server, command, run, stderr, stdout};

/// Fahrenheit under °C and meq/L under dKH: two questions about columns.
fn log(month: u32) -> String {
    let rows: String = (1..=9).map(|day| format!("2025-{month:02}-{day:02};Lagoon;77.{day};2.{day}\n")).collect();
    format!("Date;Tank;Temp C;KH dKH\n{rows}")
}

/// A folder with the logs of March and April, one of other columns, and a name for the layout.
struct Files {
    _folder: tempfile::TempDir,
    march: PathBuf,
    april: PathBuf,
    other: PathBuf,
    layout: PathBuf,
}

impl Files {
    fn new() -> Self {
        let folder = data_folder();
        let at = |name: &str| folder.path().join(name);
        fs::write(at("march.csv"), log(3)).unwrap();
        fs::write(at("april.csv"), log(4)).unwrap();
        fs::write(at("other.csv"), "Day;Tank;NO3 ppm\n2025-04-01;Lagoon;5\n").unwrap();
        Files {
            march: at("march.csv"),
            april: at("april.csv"),
            other: at("other.csv"),
            layout: at("layout.json"),
            _folder: folder,
        }
    }
}

fn text(path: &Path) -> &str {
    path.to_str().unwrap()
}

const ACCEPTED: [&str; 4] = ["--accept", "fahrenheit_or_celsius", "--accept", "alkalinity_unit"];

fn code(output: &Output, wanted: i32) {
    assert_eq!(output.status.code(), Some(wanted), "{}{}", stdout(output), stderr(output));
}

/// Both answers, and nothing of what was measured.
fn check_layout(path: &Path) {
    let written = fs::read_to_string(path).unwrap();
    let layout: Value = serde_json::from_str(&written).unwrap();
    let keys: Vec<&str> = layout["strandline:layout"]["answers"]
        .as_array()
        .unwrap()
        .iter()
        .filter_map(|answer| answer["key"].as_str())
        .collect();
    assert_eq!(keys, ["alkalinity_unit:kh dkh:meq/L", "fahrenheit_or_celsius:temp c"]);
    assert_eq!(layout["resources"][0]["schema"]["fields"][2]["strandline:parameter"], "temperature");
    assert!(!written.contains("77.") && !written.contains("2025-03"), "{written}");
}

/// The import of March asks, is answered and saves its layout; with it April asks nothing of another keeper.
fn serves_another_keeper(files: &Files, import: impl Fn(&[&str]) -> Output) {
    let save = ["--save-layout", text(&files.layout)];
    code(&import(&[text(&files.march), "--keeper", "ann", "--save-layout", text(&files.layout)]), 1);
    assert!(!files.layout.exists(), "nothing was loaded, so there is nothing to keep");
    code(&import(&[&[text(&files.march), "--keeper", "ann"][..], &ACCEPTED, &save].concat()), 0);
    check_layout(&files.layout);
    code(&import(&[text(&files.april), "--keeper", "bela"]), 1);
    code(&import(&[text(&files.april), "--keeper", "bela", "--layout", text(&files.layout)]), 0);
    let before = fs::read(&files.layout).unwrap();
    let again = import(&[&[text(&files.march), "--keeper", "ann"][..], &save].concat());
    code(&again, 0);
    assert!(stdout(&again).contains("unchanged"), "{}", stdout(&again));
    assert_eq!(fs::read(&files.layout).unwrap(), before, "an unchanged file has the same layout");
    let other = import(&[text(&files.other), "--keeper", "bela", "--layout", text(&files.layout)]);
    code(&other, 3);
    assert!(stderr(&other).contains("the column 'Temp C' is missing"), "{}", stderr(&other));
}

#[test]
fn into_the_database() {
    let (files, data) = (Files::new(), data_folder());
    serves_another_keeper(&files, |arguments| run(data.path(), &[&["import", "--create"], arguments].concat()));
}

#[test]
fn through_a_server() {
    let (files, data) = (Files::new(), data_folder());
    let server = Server::start(data.path());
    for keeper in ["ann", "bela"] {
        server.token(&["--role", "keeper", "--keeper", keeper, "--create"]);
    }
    let token = server.token(&["--role", "curator", "--scope", "read,upload,admin"]);
    serves_another_keeper(&files, |arguments| {
        command(data.path())
            .env("STRANDLINE_TOKEN", &token)
            .args(["import", "--server", &server.address])
            .args(arguments)
            .output()
            .unwrap()
    });
    assert_eq!(server.interrupt(), Some(0));
}

#[test]
fn without_a_database() {
    let (files, data) = (Files::new(), data_folder());
    code(
        &run(
            data.path(),
            &[
                "import",
                text(&files.march),
                "--keeper",
                "ann",
                "--create",
                ACCEPTED[0],
                ACCEPTED[1],
                ACCEPTED[2],
                ACCEPTED[3],
                "--save-layout",
                text(&files.layout),
            ],
        ),
        0,
    );
    let questions = |arguments: &[&str]| {
        let output = run(data.path(), &[&["read", "--json"], arguments].concat());
        code(&output, 0);
        let read: Value = serde_json::from_str(&stdout(&output)).unwrap();
        read["findings"].as_array().unwrap().iter().filter(|finding| finding["severity"] == "questioned").count()
    };
    assert_eq!(questions(&[text(&files.april)]), 2);
    let second = files.layout.with_extension("again");
    let (with, save) = (text(&files.layout), text(&second));
    assert_eq!(questions(&[text(&files.april), "--layout", with, "--save-layout", save]), 0);
    check_layout(&second);
    let two = run(data.path(), &["read", text(&files.march), text(&files.april), "--save-layout", save]);
    code(&two, 2);
    assert!(stderr(&two).contains("--save-layout"), "{}", stderr(&two));
    let nowhere = run(data.path(), &["read", text(&files.march), "--save-layout", "/nowhere/at/all.json"]);
    assert_eq!(nowhere.status.code(), Some(4), "{}", stderr(&nowhere));
    assert!(stderr(&nowhere).contains("/nowhere/at/all.json"), "{}", stderr(&nowhere));
}
