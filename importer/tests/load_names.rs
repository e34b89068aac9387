//! What a name means is asked once of its keeper, whatever the form of the next file.

#[path = "support/database.rs"]
mod database;
#[path = "../../migrations/tests/support/postgres.rs"]
mod postgres;

use database::database;
use diesel::RunQueryDsl;
use diesel::pg::PgConnection;
use importer::finding::{Answer, Finding, Severity};
use importer::load::{NewUpload, Stage, answer, commit, ensure_keeper, findings, receive, records, stage};
use importer::record::Record;

fn send(connection: &mut PgConnection, keeper: i64, name: &str, content: &str) -> i64 {
    let bytes = content.as_bytes();
    let new = NewUpload { keeper_id: keeper, name, bytes, received_by: "test", ..NewUpload::default() };
    let received = receive(connection, &new).expect("received");
    stage(connection, received.upload_id, "2024-09-01".parse().expect("a day")).expect("read");
    received.upload_id
}

/// Open questions but those about the whole list.
fn open(connection: &mut PgConnection, upload: i64) -> Vec<Finding> {
    let list = ["complete_since_missing", "no_losses_listed", "as_of_missing"];
    let all = findings(connection, upload).expect("findings").into_iter();
    all.filter(|one| one.severity == Severity::Questioned && !list.contains(&one.code.as_str())).collect()
}

fn keys(connection: &mut PgConnection, upload: i64) -> Vec<String> {
    open(connection, upload).into_iter().map(|finding| finding.key).collect()
}

fn say(connection: &mut PgConnection, upload: i64, key: &str, choice: &str) {
    let given = Answer { key: key.to_owned(), choice: choice.to_owned(), value: None };
    answer(connection, upload, &[given], "test").expect("answered");
}

/// The taxon of the coral of a label in a file that waits to be committed.
fn taxon_of(connection: &mut PgConnection, upload: i64, label: &str) -> Option<&'static str> {
    let all = records(connection, upload, Stage::Staged).expect("records");
    all.iter().find_map(|record| match record {
        Record::Specimen(specimen) if specimen.label == label => specimen.taxon.map(|taxon| taxon.as_str()),
        _ => None,
    })
}

fn agree(connection: &mut PgConnection, name: &str, taxon: &str) {
    diesel::sql_query(
        "INSERT INTO club_name (name, taxon, since_day, signed_by) VALUES ($1, $2, '2024-01-01', 'the club')",
    )
    .bind::<diesel::sql_types::Text, _>(name)
    .bind::<diesel::sql_types::Text, _>(taxon)
    .execute(connection)
    .expect("agreed");
}

#[test]
fn what_the_club_agreed_is_not_asked_and_a_keepers_own_answer_holds_over_it() {
    let database = database();
    let connection = &mut database.connect();
    let list = "Label,Species,Acquired,Tank\nA,flowerpot,2023-01-14,Alder\nB,Zorblax,2023-02-14,Alder\nC,red flowerpot,2023-02-14,Alder\nD,Goniopora stokesi,2023-02-14,Alder\n";
    let first = ensure_keeper(connection, "Alma").expect("a keeper");
    let upload = send(connection, first, "corals.csv", list);
    assert_eq!(keys(connection, upload), ["name_ambiguous:flowerpot", "name_unknown:zorblax"]);
    say(connection, upload, "name_ambiguous:flowerpot", "alveopora");
    agree(connection, "flowerpot", "goniopora");
    agree(connection, "zorblax", "euphyllia");
    agree(connection, "zorblax", "acropora");
    // Read again after an answer: the keeper's own word holds, the club's fills in what nobody was asked.
    say(connection, upload, "name_unknown:zorblax", "not_a_coral");
    assert_eq!(taxon_of(connection, upload, "A"), Some("alveopora"));
    // Another keeper's file is read by what the club agreed, the later of two words.
    let second = ensure_keeper(connection, "Bo").expect("a keeper");
    let upload = send(connection, second, "corals.csv", list);
    assert_eq!(keys(connection, upload), Vec::<String>::new());
    let taxa = ["A", "B", "C", "D"].map(|label| taxon_of(connection, upload, label));
    assert_eq!(taxa, [Some("goniopora"), Some("acropora"), Some("goniopora"), Some("goniopora-stokesi")]);
}

#[test]
fn a_name_said_once_serves_files_of_other_forms() {
    let database = database();
    let connection = &mut database.connect();
    let keeper = ensure_keeper(connection, "Alma").expect("a keeper");
    let tests = "Date,Tank,KH (dKH)\n2024-03-14,Alder,8.2\n2024-03-21,Alder,8.3\n";
    let upload = send(connection, keeper, "tests.csv", tests);
    commit(connection, upload, true).expect("committed");

    let list = "Label,Species,Acquired,Tank\nA,flowerpot,2023-01-14,Aldr\nB,Acropora tenuis,2023-02-14,Alder\n";
    let upload = send(connection, keeper, "corals.csv", list);
    assert_eq!(keys(connection, upload), ["name_ambiguous:flowerpot", "tank_name_near:aldr = alder"]);
    say(connection, upload, "name_ambiguous:flowerpot", "alveopora");
    say(connection, upload, "tank_name_near:aldr = alder", "one");
    assert!(open(connection, upload).is_empty());
    commit(connection, upload, true).expect("committed");

    // Another form, other corals: neither is asked again.
    let other = "Coral;Bought;Where;Died\nred flowerpot;2024-02-03;Aldr;\nTorch;2024-02-04;Alder;2024-05-01\n";
    let upload = send(connection, keeper, "bought.csv", other);
    assert_eq!(keys(connection, upload), Vec::<String>::new());
    let all = records(connection, upload, Stage::Staged).expect("records");
    let taxon = all.iter().find_map(|record| match record {
        Record::Specimen(specimen) if specimen.label == "red flowerpot" => specimen.taxon,
        _ => None,
    });
    assert_eq!(taxon.map(|taxon| taxon.as_str()), Some("alveopora"));
    let tanks: Vec<&str> = all
        .iter()
        .filter_map(|record| match record {
            Record::Stay(stay) => Some(stay.tank.as_str()),
            _ => None,
        })
        .collect();
    assert_eq!(tanks, ["Alder", "Alder"]);
    // Nor of another keeper is anything known.
    let second = ensure_keeper(connection, "Bo").expect("a keeper");
    let upload = send(connection, second, "corals.csv", list);
    assert!(keys(connection, upload).contains(&"name_ambiguous:flowerpot".to_owned()));
}
