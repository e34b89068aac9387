//! Members' files through the real reader into a real database.

#[path = "support/database.rs"]
mod database;
#[path = "../../migrations/tests/support/postgres.rs"]
mod postgres;

use chrono::NaiveDate;
use database::{database, dump, lines, number};
use diesel::pg::PgConnection;
use importer::finding::Answer;
use importer::load::{
    NewUpload, State, Upload, answer, commit, edit, ensure_keeper, findings, receive, request_commit, resume,
    roll_call, stage, undo,
};
use serde_json::{Value, json};

fn day(text: &str) -> NaiveDate {
    text.parse().expect("a day")
}

fn send(connection: &mut PgConnection, keeper: i64, name: &str, content: &str) -> Upload {
    let new =
        NewUpload { keeper_id: keeper, name, bytes: content.as_bytes(), received_by: "test", ..NewUpload::default() };
    let received = receive(connection, &new).expect("received");
    assert_eq!(received.already, None);
    stage(connection, received.upload_id, day("2024-09-01")).expect("read")
}

fn questions(connection: &mut PgConnection, upload: i64) -> Vec<String> {
    let open = findings(connection, upload).expect("findings").into_iter();
    open.filter(|finding| finding.severity == importer::finding::Severity::Questioned && finding.answered.is_none())
        .map(|finding| finding.code)
        .collect()
}

fn say(connection: &mut PgConnection, upload: i64, code: &str, choice: &str, value: Option<Value>) -> Upload {
    let asked = findings(connection, upload).expect("findings").into_iter().find(|finding| finding.code == code);
    let key = asked.unwrap_or_else(|| panic!("{code} is not asked")).key;
    answer(connection, upload, &[Answer { key, choice: choice.to_owned(), value }], "test").expect("answered")
}

const REGISTER: &str = "As of,2024-06-01
Label,Species,Tank,Acquired,Origin,Ended,What became of it
G1,Goniopora stokesi,Quarry,2023-01-05,wild_collected,2023-09-17,died
G2,Goniopora stokesi,Quarry,2023-03-21,maricultured,,
E1,Euphyllia glabrescens,Orchard,2023-06-11,captive_grown,,
A1,Acropora tenuis,Orchard,2023-09-30,captive_grown,2024-02-02,given away
";

#[test]
fn the_first_records_are_those_of_the_whole_list() {
    use importer::fold::key::Kind;
    use importer::load::{Stage, first_records, records};
    let database = database();
    let connection = &mut database.connect();
    let keeper = ensure_keeper(connection, "Juniper").expect("a keeper");
    // The days run backwards, so that the first rows are of the last months.
    let mut text = "Date,Tank,KH (dKH),NO3,Water change (L)\n".to_owned();
    for row in (0..900).rev() {
        let (on, step) = (day("2021-01-01") + chrono::Days::new(row), row % 7);
        text += &format!("{on},{},8.{step},{step}.5,{}\n", ["Alder", "Birch"][row as usize % 2], 10 + step);
    }
    let upload = send(connection, keeper, "tests.csv", &text);
    let all = records(connection, upload.id, Stage::Staged).expect("records");
    assert!(all.len() > 2700, "{}", all.len());
    for kinds in [&[][..], &["reading".to_owned()], &["tank".to_owned(), "event".to_owned()]] {
        for limit in [0, 1, 20, 1000, 5000] {
            let (counts, first) = first_records(connection, upload.id, Stage::Staged, kinds, limit).expect("records");
            assert_eq!(counts.values().sum::<u64>(), all.len() as u64);
            assert_eq!(counts["reading"], 1800);
            let of = |kind: &str| kinds.is_empty() || kinds.iter().any(|wanted| wanted == kind);
            let wanted: Vec<_> = all.iter().filter(|one| of(Kind::of(one).as_str())).take(limit).cloned().collect();
            assert_eq!(first, wanted, "{kinds:?} {limit}");
        }
    }
}

#[test]
fn next_months_register_is_the_next_version_and_undo_gives_the_first_back() {
    let database = database();
    let connection = &mut database.connect();
    let keeper = ensure_keeper(connection, "Juniper").expect("a keeper");
    let first = send(connection, keeper, "corals.csv", REGISTER);
    assert_eq!(questions(connection, first.id), ["complete_since_missing"]);
    let first = say(connection, first.id, "complete_since_missing", "day", Some(json!("2023-01-01")));
    assert_eq!(first.state, State::Ready);
    let summary = commit(connection, first.id, false).expect("committed");
    assert_eq!((summary.questions, summary.held, summary.unplaced.len()), (0, 0, 0));
    assert_eq!(
        lines(
            connection,
            "SELECT concat_ws(' ', name, complete_since, complete_since_state, losses_listed, as_of) AS line FROM log"
        ),
        ["corals 2023-01-01 given t 2024-06-01"]
    );
    assert_eq!(
        lines(
            connection,
            "SELECT concat_ws(' ', x.key, s.on_day, s.source) AS line FROM sighting s JOIN specimen x ON x.id = s.specimen_id ORDER BY 1"
        ),
        ["e1 2024-06-01 register", "g2 2024-06-01 register"]
    );
    let before = dump(connection, keeper);

    // A month later: one more death, one more coral.
    let grown = REGISTER.replace("As of,2024-06-01", "As of,2024-07-01").replace(
        "G2,Goniopora stokesi,Quarry,2023-03-21,maricultured,,",
        "G2,Goniopora stokesi,Quarry,2023-03-21,maricultured,2024-06-20,died",
    ) + "G3,Goniopora stokesi,Quarry,2024-06-02,maricultured,,\n";
    let second = send(connection, keeper, "corals 2024-07.csv", &grown);
    assert_eq!(questions(connection, second.id), Vec::<String>::new(), "nothing is asked twice");
    assert_eq!(second.log.as_deref(), Some("corals"));
    commit(connection, second.id, false).expect("committed");
    assert_eq!(number(connection, "SELECT count(*) AS number FROM ending WHERE fate = 'died'"), 2);
    assert_eq!(number(connection, "SELECT count(*) AS number FROM specimen"), 5);
    assert_eq!(
        lines(connection, "SELECT concat_ws(' ', complete_since, as_of) AS line FROM log"),
        ["2023-01-01 2024-07-01"]
    );
    // The open row of June is a sign of life, and earlier than the end.
    assert_eq!(number(connection, "SELECT count(*) AS number FROM sighting WHERE on_day = '2024-06-01'"), 2);
    undo(connection, second.id, "test").expect("undone");
    assert_eq!(dump(connection, keeper), before);
}

#[test]
fn a_sheet_of_another_tank_with_the_same_columns_is_asked_about_again() {
    let database = database();
    let connection = &mut database.connect();
    let keeper = ensure_keeper(connection, "Juniper").expect("a keeper");
    let corals = send(connection, keeper, "corals.csv", REGISTER).id;
    commit(connection, corals, true).expect("committed");

    let rows =
        |first: f64| (1..=8).map(|at| format!("2024-03-0{at},{},8.1\n", first + f64::from(at))).collect::<String>();
    let header = "Date,NO3 (mg/L),KH (dKH)\n";
    let quarry = send(connection, keeper, "water one.csv", &(header.to_owned() + &rows(2.0))).id;
    assert_eq!(questions(connection, quarry), ["tank_unnamed"]);
    say(connection, quarry, "tank_unnamed", "tank", Some(json!("Quarry")));
    commit(connection, quarry, false).expect("committed");
    // The grown copy is the same tank's.
    let grown = send(connection, keeper, "water one.csv", &(header.to_owned() + &rows(2.0) + "2024-03-20,9,8.2\n"));
    assert_eq!(questions(connection, grown.id), Vec::<String>::new());
    assert_eq!(grown.log.as_deref(), Some("water one"));
    commit(connection, grown.id, false).expect("committed");
    // The same columns and days with other values are another tank's, for all that is known.
    let orchard = send(connection, keeper, "water two.csv", &(header.to_owned() + &rows(20.0)).replace("8.1", "9.1"));
    assert_eq!(questions(connection, orchard.id), ["tank_unnamed"]);
    say(connection, orchard.id, "tank_unnamed", "tank", Some(json!("Orchard")));
    assert_eq!(questions(connection, orchard.id), Vec::<String>::new());
    commit(connection, orchard.id, false).expect("committed");
    assert_eq!(
        lines(
            connection,
            "SELECT concat_ws(' ', t.name, count(*)) AS line FROM reading r JOIN tank t ON t.id = r.tank_id GROUP BY t.name ORDER BY 1"
        ),
        ["Orchard 16", "Quarry 18"]
    );
}

#[test]
fn a_questioned_date_of_death_is_a_death_with_outer_bounds() {
    let database = database();
    let connection = &mut database.connect();
    let keeper = ensure_keeper(connection, "Juniper").expect("a keeper");
    let bare = REGISTER.replace("2024-02-02,given away", ",died");
    let upload = send(connection, keeper, "corals.csv", &bare);
    assert!(questions(connection, upload.id).contains(&"death_without_date".to_owned()));
    commit(connection, upload.id, true).expect("committed");
    assert_eq!(
        lines(
            connection,
            "SELECT concat_ws(' ', key, fate, earliest, latest, date_held) AS line FROM ending ORDER BY key"
        ),
        ["a1 died 2023-09-30 2024-06-01 t", "g1 died 2023-09-17 2023-09-17 f"]
    );
    say(connection, upload.id, "death_without_date", "day", Some(json!("2024-02-14")));
    assert_eq!(
        lines(
            connection,
            "SELECT concat_ws(' ', key, fate, earliest, latest, date_held) AS line FROM ending ORDER BY key"
        ),
        ["a1 died 2024-02-14 2024-02-14 f", "g1 died 2023-09-17 2023-09-17 f"]
    );
}

#[test]
fn a_requested_commit_is_made_after_a_restart() {
    let database = database();
    let connection = &mut database.connect();
    let keeper = ensure_keeper(connection, "Juniper").expect("a keeper");
    let upload = send(connection, keeper, "corals.csv", REGISTER).id;
    assert!(request_commit(connection, upload, false).is_err(), "a question is open");
    assert_eq!(request_commit(connection, upload, true).expect("requested").state, State::Committing);
    let taken = resume(&mut database.connect()).expect("it goes on");
    assert_eq!(taken.len(), 1);
    assert_eq!(number(connection, "SELECT count(*) AS number FROM specimen"), 4);
    // Facts without a file go the same way.
    let on = day("2024-08-01");
    roll_call(connection, keeper, on, None, &[], "test").expect("recorded");
    assert_eq!(number(connection, "SELECT count(*) AS number FROM sighting WHERE source = 'roll_call'"), 2);
    edit(connection, keeper, &[], "test").expect("recorded");
}

#[test]
fn who_left_on_a_doubtful_day_has_left_within_its_bounds() {
    let database = database();
    let connection = &mut database.connect();
    let keeper = ensure_keeper(connection, "Juniper").expect("a keeper");
    let register = "As of,2024-06-01
Label,Species,Tank,Acquired,Ended,What became of it
G1,Goniopora stokesi,Quarry,2022-01-05,2023,sold
G2,Goniopora stokesi,Quarry,2022-01-05,before May 2023,given away
G3,Goniopora stokesi,Quarry,2022-01-05,,given away
G4,Goniopora stokesi,Quarry,2022-01-05,31/02/2023,swapped
G5,Goniopora stokesi,Quarry,2022-01-05,,
";
    let upload = send(connection, keeper, "corals.csv", register);
    commit(connection, upload.id, true).expect("committed");
    let ends = "SELECT concat_ws(' ', x.key, e.fate, e.earliest, e.latest, e.date_held) AS line
                  FROM ending e JOIN specimen x ON x.id = e.specimen_id ORDER BY 1";
    assert_eq!(
        lines(connection, ends),
        [
            "g1 left 2023-01-01 2023-12-31 f",
            "g2 left 2022-01-05 2023-04-30 f",
            "g3 left 2022-01-05 2024-06-01 t",
            "g4 left 2023-02-01 2023-03-01 t",
        ]
    );
    assert_eq!(lines(connection, "SELECT key AS line FROM specimen WHERE held <> '{}'"), Vec::<String>::new());
    let asked = findings(connection, upload.id).expect("findings");
    let about_g3 = asked.iter().find(|finding| finding.key == "death_without_date:g3").expect("its day is asked");
    assert_eq!(about_g3.message, "When did \"G3\" leave?");
}

const ORDER_OPEN: &str = "As of,2024-12-01
Label,Species,Tank,Acquired,Ended,What became of it
G1,Goniopora stokesi,Quarry,2022-01-05,03/04/2023,given away
G2,Goniopora stokesi,Quarry,2022-01-05,05/06/2024,died
";

#[test]
fn a_question_about_the_order_of_days_holds_no_fate() {
    let database = database();
    let connection = &mut database.connect();
    let keeper = ensure_keeper(connection, "Juniper").expect("a keeper");
    let upload = send(connection, keeper, "corals.csv", ORDER_OPEN);
    assert!(questions(connection, upload.id).contains(&"date_order_unclear".to_owned()));
    let cells = upload.cells;
    assert_eq!(cells.total, cells.recorded + cells.labels + cells.findings);
    commit(connection, upload.id, true).expect("committed");
    let ends = "SELECT concat_ws(' ', x.key, e.fate, e.earliest, e.latest, e.date_held) AS line
                  FROM ending e JOIN specimen x ON x.id = e.specimen_id ORDER BY 1";
    assert_eq!(lines(connection, ends), ["g1 left 2023-03-04 2023-04-03 t", "g2 died 2024-05-06 2024-06-05 t"]);
    say(connection, upload.id, "date_order_unclear", "day_first", None);
    assert_eq!(lines(connection, ends), ["g1 left 2023-04-03 2023-04-03 f", "g2 died 2024-06-05 2024-06-05 f"]);
}

#[test]
fn a_line_that_nobody_made_is_noted() {
    let database = database();
    let connection = &mut database.connect();
    let giver = ensure_keeper(connection, "Rowan").expect("a keeper");
    let keeper = ensure_keeper(connection, "Juniper").expect("a keeper");
    let head = "Label,Species,Tank,Acquired,Got from,Line,Mother\n";
    let mother = format!("As of,2024-06-01\n{head}M1,Goniopora stokesi,Reef,2020-01-05,shop,GON-1,\n");
    let sent = send(connection, giver, "corals.csv", &mother);
    let noted = |connection: &mut PgConnection, upload: i64| -> Vec<(String, Option<u32>, Option<u32>)> {
        let all = findings(connection, upload).expect("findings").into_iter();
        all.filter(|finding| finding.code == "line_unknown")
            .map(|finding| (finding.message, finding.row, finding.column))
            .collect()
    };
    assert_eq!(noted(connection, sent.id), []);
    commit(connection, sent.id, true).expect("committed");
    let cuttings = format!(
        "As of,2024-06-01\n{head}\
         G1,Goniopora stokesi,Quarry,2023-01-05,member, gon-1 ,\n\
         G2,Goniopora stokesi,Quarry,2023-01-05,member,GON-7,\n\
         G3,Goniopora stokesi,Quarry,2023-02-05,own cutting,,g1\n\
         G4,Goniopora stokesi,Quarry,2023-02-05,own cutting,,C99\n\
         G5,Goniopora stokesi,Quarry,2023-01-05,member,gon-7,\n"
    );
    let sent = send(connection, keeper, "mine.csv", &cuttings);
    let said = |code: &str| format!("No line and no coral of this keeper is called \"{code}\".");
    let expected = [(said("C99"), Some(6), Some(7)), (said("GON-7"), Some(4), Some(6))];
    assert_eq!(noted(connection, sent.id), expected);
    let cells = findings(connection, sent.id).expect("findings");
    let cells = &cells.iter().find(|finding| finding.key == "line_unknown:gon-7").expect("noted").cells;
    assert_eq!(cells.iter().map(|cell| cell.row).collect::<Vec<_>>(), [4, 7]);
    // Noted, not held: it loads. Read again after the commit, its own rows make nothing known.
    commit(connection, sent.id, true).expect("committed");
    assert_eq!(number(connection, "SELECT count(*) AS number FROM specimen WHERE lineage = 'line:gon-7'"), 2);
    say(connection, sent.id, "complete_since_missing", "day", Some(json!("2023-01-01")));
    assert_eq!(noted(connection, sent.id), expected);
}
