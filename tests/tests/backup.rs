//! The whole club in one file, and back on another machine: the same answers, byte for byte, and the same tokens.

use std::fs;
use std::os::unix::fs::PermissionsExt;
use std::path::Path;

use tests::files::data_folder;
use tests::program::{Server, run, stderr, stdout};

fn text(path: &Path) -> &str {
    path.to_str().unwrap()
}

/// Water tests and corals of three keepers.
fn club(data: &Path, folder: &Path) {
    for keeper in ["ann", "bela", "cleo"] {
        let rows: String = (1..=9)
            .map(|coral| {
                let died = if coral % 3 == 0 { format!("2024-0{}-11", 1 + coral / 3) } else { String::new() };
                format!("C{coral},Goniopora sp.,2024-01-0{coral},Lagoon,{died}\n")
            })
            .collect();
        let file = folder.join(format!("{keeper}.csv"));
        fs::write(&file, format!("ID,Coral,Acquired,Tank,Date died\n{rows}")).unwrap();
        let arguments = ["import", text(&file), "--keeper", keeper, "--create", "--as-of", "2025-06-01", "--yes"];
        let imported = run(data, &arguments);
        assert!(matches!(imported.status.code(), Some(0 | 1)), "{}", stderr(&imported));
    }
}

/// An answer as the command prints it.
fn report(data: &Path) -> String {
    let report = run(data, &["report", "goniopora", "--format", "json"]);
    assert_eq!(report.status.code(), Some(0), "{}", stderr(&report));
    stdout(&report)
}

#[test]
fn a_club_goes_into_a_file_and_comes_back_the_same() {
    let (here, there, files) = (data_folder(), data_folder(), data_folder());
    club(here.path(), files.path());
    let before = report(here.path());
    let file = files.path().join("club.backup");

    // Beside a running server, which goes on serving.
    let server = Server::start(here.path());
    let token = server.token(&["--role", "curator"]);
    let answer = |server: &Server| server.client(Some(&token)).get("/taxa/goniopora/survival?by=none");
    let served = answer(&server);
    let written = run(here.path(), &["backup", text(&file)]);
    assert_eq!(written.status.code(), Some(0), "{}", stderr(&written));
    assert!(stderr(&written).contains("byte for byte"), "{}", stderr(&written));
    assert_eq!(fs::metadata(&file).unwrap().permissions().mode() & 0o777, 0o600, "nobody else reads it");
    assert_eq!(answer(&server), served);
    assert_eq!(server.interrupt(), Some(0));

    // It is never written over, and nothing is left of an attempt.
    let bytes = fs::read(&file).unwrap();
    let again = run(here.path(), &["backup", text(&file)]);
    assert_eq!(again.status.code(), Some(4), "{}", stderr(&again));
    assert!(stderr(&again).contains("choose another name"), "{}", stderr(&again));
    assert_eq!(fs::read(&file).unwrap(), bytes);
    assert!(!files.path().join("club.backup.partial").exists());

    let restored = run(there.path(), &["restore", text(&file)]);
    assert_eq!(restored.status.code(), Some(0), "{}", stderr(&restored));
    assert_eq!(report(there.path()), before, "the same answers, byte for byte");
    let server = Server::start(there.path());
    assert_eq!(answer(&server), served, "the token opens the restored club too");
    assert_eq!(server.interrupt(), Some(0));

    // A member who leaves is in no backup from then on.
    let server = Server::start(there.path());
    let curator = server.client(Some(&token));
    let gone = curator.send(reqwest::Method::DELETE, "/keepers/bela?confirm=bela", None);
    assert_eq!(gone.status(), 200);
    let (later, elsewhere) = (files.path().join("later.backup"), data_folder());
    assert_eq!(run(there.path(), &["backup", text(&later)]).status.code(), Some(0));
    assert_eq!(server.interrupt(), Some(0));
    assert_eq!(run(elsewhere.path(), &["restore", text(&later)]).status.code(), Some(0));
    let server = Server::start(elsewhere.path());
    let curator = server.client(Some(&token));
    for list in ["keepers", "uploads", "specimens", "tanks", "audit"] {
        let rows = curator.get(&format!("/{list}?limit=1000")).to_string();
        assert!(!rows.contains("bela"), "{list}: {rows}");
        assert!(list == "audit" || rows.contains("cleo"), "{list}: {rows}");
    }
    assert_eq!(server.interrupt(), Some(0));

    // Never into a club that is there.
    let over = run(there.path(), &["restore", text(&file)]);
    assert_eq!(over.status.code(), Some(4));
    assert!(stderr(&over).contains("holds records already"), "{}", stderr(&over));
    assert_eq!(report(there.path()), report(elsewhere.path()), "it is as it was");
}

#[test]
fn what_is_no_backup_is_refused_and_leaves_an_empty_database() {
    let (data, files) = (data_folder(), data_folder());
    let file = files.path().join("club.backup");
    let missing = run(data.path(), &["restore", text(&file)]);
    assert_eq!(missing.status.code(), Some(3), "{}", stderr(&missing));
    fs::write(&file, "ID,Coral\n").unwrap();
    let refused = run(data.path(), &["restore", text(&file)]);
    assert_eq!(refused.status.code(), Some(4), "{}", stderr(&refused));
    assert!(stderr(&refused).contains("pg_restore failed"), "{}", stderr(&refused));
    // Half a backup is none.
    let whole = files.path().join("whole.backup");
    club(data.path(), files.path());
    let written = run(data.path(), &["backup", text(&whole)]);
    assert_eq!(written.status.code(), Some(0), "{}", stderr(&written));
    let bytes = fs::read(&whole).unwrap();
    fs::write(&file, &bytes[..bytes.len() * 2 / 3]).unwrap();
    let other = data_folder();
    let half = run(other.path(), &["restore", text(&file)]);
    assert_eq!(half.status.code(), Some(4), "{}", stderr(&half));
    let restored = run(other.path(), &["restore", text(&whole)]);
    assert_eq!(restored.status.code(), Some(0), "the database is empty still: {}", stderr(&restored));
}
