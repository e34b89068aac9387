//! Many files at once, into the database and through a server: the same records as one after the other, lists of
//! corals before what names them, and a broken file that stops no other.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;
use std::process::Output;

use diesel::prelude::*;
use diesel::sql_types::{BigInt, Text};

use tests::files::data_folder;
use tests::program::{Server, command, run, stderr, stdout};

const KEEPERS: [&str; 6] = ["ann", "bela", "coren", "dunja", "edda", "fio"];

/// A folder a keeper: a diary that sorts before the register it names, tests, one broken workbook, one doubtful file.
fn members(folder: &Path) {
    for (number, keeper) in KEEPERS.iter().enumerate() {
        let own = folder.join(keeper);
        fs::create_dir_all(&own).unwrap();
        fs::write(own.join("a looks.csv"), "Date,Coral,Condition\n2025-02-01,G1,open\n2025-03-01,G1,open\n").unwrap();
        fs::write(
            own.join("corals.csv"),
            "Every coral written down since,2024-06-01\n\nLabel,Name,Tank,Acquired,Ended,What happened\n\
             G1,Goniopora stokesi,Lagoon,2024-06-01,,\nT1,Euphyllia glabrescens,Lagoon,2024-07-01,2025-01-09,died\n",
        )
        .unwrap();
        let rows: String = (1..=20).map(|day| format!("2025-01-{day:02},Lagoon,{number}.5,8.1\n")).collect();
        fs::write(own.join("tests.csv"), format!("Date,Tank,NO3 ppm,KH dKH\n{rows}")).unwrap();
    }
    fs::write(folder.join("coren/broken.xlsx"), b"PK\x03\x04 and nothing more").unwrap();
    fs::write(folder.join("dunja/doubtful.csv"), "Date,Tank,Temp C\n2025-01-01,Lagoon,25.1\n2025-01-02,Lagoon,77.3\n")
        .unwrap();
    fs::write(folder.join("ann/~$tests.xlsx"), b"lock").unwrap();
}

#[derive(QueryableByName)]
struct Line {
    #[diesel(sql_type = Text)]
    keeper: String,
    #[diesel(sql_type = Text)]
    kind: String,
    #[diesel(sql_type = BigInt)]
    number: i64,
}

/// Records by keeper and table.
fn records(data: &Path) -> BTreeMap<(String, String), i64> {
    // A server that runs holds the private database open and tells where it is.
    let server = Server::start(data);
    let url = fs::read_to_string(data.join("database.url")).unwrap();
    let mut connection = diesel::PgConnection::establish(url.trim()).unwrap();
    let mut all = BTreeMap::new();
    for table in ["tank", "reading", "specimen", "stay", "sighting", "ending", "upload"] {
        let lines: Vec<Line> = diesel::sql_query(format!(
            "SELECT handle AS keeper, '{table}' AS kind, count({table}.*) AS number FROM keeper \
             LEFT JOIN {table} ON {table}.keeper_id = keeper.id GROUP BY handle"
        ))
        .load(&mut connection)
        .unwrap();
        all.extend(lines.into_iter().map(|line| ((line.keeper, line.kind), line.number)));
    }
    drop(connection);
    assert_eq!(server.interrupt(), Some(0));
    all
}

fn check_output(output: &Output) {
    assert_eq!(output.status.code(), Some(3), "{}{}", stdout(output), stderr(output));
    let table = stdout(output);
    let line = |file: &str| {
        table.lines().find(|line| line.contains(file)).unwrap_or_else(|| panic!("no {file} in\n{table}")).to_owned()
    };
    assert!(line("coren/broken.xlsx").ends_with("unreadable"), "{table}");
    assert!(line("dunja/doubtful.csv").ends_with("not loaded"), "{table}");
    assert!(line("fio/a looks.csv").ends_with("committed"), "{table}");
    assert!(line("20 files").ends_with("18 committed, 1 not loaded, 1 unreadable"), "{table}");
    assert!(!table.contains("~$"), "{table}");
    let said = stderr(output);
    assert!(said.contains("dunja/doubtful.csv (row 3, column 3): question fahrenheit_or_celsius"), "{said}");
    assert!(said.contains("coren/broken.xlsx: refused file_damaged"), "{said}");
}

#[test]
fn side_by_side_gives_what_one_after_the_other_gives() {
    let files = data_folder();
    members(files.path());
    let folder = files.path().to_str().unwrap();

    let at_once = data_folder();
    check_output(&run(at_once.path(), &["import", folder, "--keeper-by-folder", "--create"]));
    let found = records(at_once.path());
    assert_eq!(found[&("edda".to_owned(), "sighting".to_owned())], 3, "two looks and the register's");
    assert_eq!(found[&("edda".to_owned(), "reading".to_owned())], 40);

    let in_turn = data_folder();
    for keeper in KEEPERS {
        for file in ["corals.csv", "tests.csv", "a looks.csv"] {
            let file = files.path().join(keeper).join(file);
            let output = run(in_turn.path(), &["import", file.to_str().unwrap(), "--keeper", keeper, "--create"]);
            assert_eq!(output.status.code(), Some(0), "{}{}", stdout(&output), stderr(&output));
        }
    }
    let mut expected = records(in_turn.path());
    // What was put aside stays on record as an upload.
    for keeper in ["coren", "dunja"] {
        *expected.get_mut(&(keeper.to_owned(), "upload".to_owned())).unwrap() += 1;
    }
    assert_eq!(found, expected);

    let again = run(at_once.path(), &["import", folder, "--keeper-by-folder"]);
    assert!(stdout(&again).contains("18 unchanged"), "{}", stdout(&again));
}

#[test]
fn through_a_server() {
    let files = data_folder();
    members(files.path());
    let data = data_folder();
    let server = Server::start(data.path());
    for keeper in KEEPERS {
        server.token(&["--role", "keeper", "--keeper", keeper, "--create"]);
    }
    let token = server.token(&["--role", "curator", "--scope", "read,upload,admin"]);
    let send = || {
        command(data.path())
            .env("STRANDLINE_TOKEN", &token)
            .args(["import", files.path().to_str().unwrap(), "--keeper-by-folder", "--server", &server.address])
            .output()
            .unwrap()
    };
    check_output(&send());
    let again = send();
    assert!(stdout(&again).contains("18 unchanged"), "{}", stdout(&again));
    assert_eq!(server.interrupt(), Some(0));
    let found = records(data.path());
    assert_eq!(found[&("edda".to_owned(), "sighting".to_owned())], 3);
    assert_eq!(found[&("bela".to_owned(), "reading".to_owned())], 40);
}

#[test]
fn files_without_a_keeper() {
    let data = data_folder();
    let output = run(data.path(), &["import", "none.csv"]);
    assert_eq!(output.status.code(), Some(2));
    assert!(stderr(&output).contains("--keeper"), "{}", stderr(&output));
}
