//! Uploads on a real database: states, questions, versions, commits, undos, interruptions.

#[path = "support/database.rs"]
mod database;
#[path = "../../migrations/tests/support/postgres.rs"]
mod postgres;
#[path = "support/script.rs"]
mod script;

use std::collections::BTreeMap;

use analysis::vocabulary::Fate;
use database::{database, dump, lines, number, numbers};
use diesel::connection::SimpleConnection;
use diesel::pg::PgConnection;
use importer::finding::{Answer, Severity};
use importer::fold::key::Kind;
use importer::load::{
    CommitSummary, LoadError, Loader, NewUpload, RollCallException, Stage, State, Upload, ensure_keeper,
};
use importer::record::{HeldFact, Record};
use script::*;
use serde_json::json;

const LOADER: Loader = Loader { reader: script::read_packed };

fn receive(connection: &mut PgConnection, keeper: i64, name: &str, script: &Script) -> i64 {
    let bytes = script.bytes();
    let new = NewUpload { keeper_id: keeper, name, bytes: &bytes, received_by: "test", ..NewUpload::default() };
    importer::load::receive(connection, &new).expect("it is received").upload_id
}

fn staged(connection: &mut PgConnection, keeper: i64, name: &str, script: &Script) -> Upload {
    let id = receive(connection, keeper, name, script);
    LOADER.stage(connection, id, day("2025-01-01")).expect("it is read")
}

fn committed(connection: &mut PgConnection, keeper: i64, name: &str, script: &Script) -> (i64, CommitSummary) {
    let id = staged(connection, keeper, name, script).id;
    (id, LOADER.commit(connection, id, true).expect("it is committed"))
}

fn edition(connection: &mut PgConnection) -> i64 {
    number(connection, "SELECT number FROM edition")
}

fn codes(connection: &mut PgConnection, upload: i64) -> Vec<String> {
    importer::load::findings(connection, upload).expect("findings").into_iter().map(|finding| finding.code).collect()
}

fn answer(key: &str, choice: &str) -> Answer {
    Answer { key: key.to_owned(), choice: choice.to_owned(), value: None }
}

fn register() -> Script {
    Script::new(
        "register",
        vec![
            tank("Alder"),
            specimen("C1", "Alder", "2024-01-10"),
            specimen("C2", "Alder", "2024-01-12"),
            died("C2", "2024-04-01"),
            seen("C1", "2024-06-01", "register"),
        ],
    )
    .true_on("2024-06-01")
    .from("2024-01-10")
}

fn tests() -> Script {
    Script::new("wide", (1..=9).map(|at| nitrate("Alder", &format!("2024-03-0{at}"), f64::from(at))).collect())
}

#[test]
fn a_file_goes_from_bytes_to_records_and_back() {
    let database = database();
    let connection = &mut database.connect();
    let keeper = ensure_keeper(connection, "Juniper").expect("a keeper");
    assert_eq!(ensure_keeper(connection, " juniper ").expect("the same"), keeper);
    let before = edition(connection);

    let upload = staged(connection, keeper, "corals.xlsx", &register());
    assert_eq!((upload.state, upload.question_count), (State::Ready, 0));
    assert_eq!(
        upload.counts,
        BTreeMap::from([("tank".into(), 1), ("specimen".into(), 2), ("ending".into(), 1), ("sighting".into(), 1)])
    );
    assert_eq!(upload.log, None);
    assert_eq!(dump(connection, keeper), Vec::<String>::new());
    assert_eq!(edition(connection), before);
    assert_eq!(importer::load::original(connection, upload.id).expect("the file"), register().bytes());

    let summary = LOADER.commit(connection, upload.id, false).expect("it is committed");
    assert_eq!((summary.recorded, summary.held, summary.questions), (5, 0, 0));
    assert_eq!(summary.edition, before + 1);
    assert_eq!(edition(connection), before + 1);
    let after = importer::load::upload(connection, upload.id).expect("the upload");
    assert_eq!((after.state, after.log.as_deref()), (State::Committed, Some("corals")));
    let records = dump(connection, keeper);
    assert_eq!(records.iter().filter(|line| line.starts_with("specimen ")).count(), 2);
    assert_eq!(records.iter().filter(|line| line.starts_with("stay ")).count(), 2);
    assert_eq!(records.iter().filter(|line| line.starts_with("identification ")).count(), 2);
    assert_eq!(
        lines(connection, "SELECT concat_ws(' ', name, complete_since_state, first_day, as_of) AS line FROM log"),
        ["corals unanswered 2024-01-10 2024-06-01"]
    );
    // Committed again: nothing happens.
    assert_eq!(LOADER.commit(connection, upload.id, false).expect("committed before").edition, before + 1);

    let undone = importer::load::undo(connection, upload.id, "test").expect("it is undone");
    assert_eq!(undone.state, State::Undone);
    assert_eq!(dump(connection, keeper), Vec::<String>::new());
    assert_eq!(edition(connection), before + 2);
    assert_eq!(importer::load::undo(connection, upload.id, "test").expect("undone before").state, State::Undone);
    assert_eq!(edition(connection), before + 2);

    // Sent again it takes its log up again, and gives the same records.
    let (again, _) = committed(connection, keeper, "corals.xlsx", &register());
    assert_ne!(again, upload.id);
    assert_eq!(importer::load::upload(connection, again).expect("the upload").log.as_deref(), Some("corals"));
    assert_eq!(dump(connection, keeper), records);
    assert_eq!(number(connection, "SELECT count(*) AS number FROM audit"), 3);
}

#[test]
fn the_same_bytes_are_nothing_new_while_they_live() {
    let database = database();
    let connection = &mut database.connect();
    let keeper = ensure_keeper(connection, "Juniper").expect("a keeper");
    let other = ensure_keeper(connection, "Rowan").expect("a keeper");
    let bytes = register().bytes();
    let mut send = |keeper: i64, name: &str| {
        let new = NewUpload { keeper_id: keeper, name, bytes: &bytes, received_by: "test", ..NewUpload::default() };
        importer::load::receive(connection, &new).expect("it is received")
    };
    let first = send(keeper, "corals.xlsx");
    assert_eq!(first.already, None);
    let second = send(keeper, "renamed.xlsx");
    assert_eq!((second.upload_id, second.already), (first.upload_id, Some(first.upload_id)));
    assert_eq!(send(other, "corals.xlsx").already, None);
    importer::load::remove(connection, first.upload_id, "test").expect("it is discarded");
    let new = NewUpload {
        keeper_id: keeper,
        name: "corals.xlsx",
        bytes: &bytes,
        received_by: "test",
        ..NewUpload::default()
    };
    assert_eq!(importer::load::receive(connection, &new).expect("it is received").already, None);
    let nobody = NewUpload { keeper_id: 4711, ..new };
    assert!(matches!(importer::load::receive(connection, &nobody), Err(LoadError::NoKeeper(_))));
}

/// A register whose third specimen has a death without a day and whose fourth has an unclear name.
fn doubtful() -> Script {
    let mut script = register();
    let name = with(specimen("C4", "Alder", "2024-02-12"), |row| row.taxon = None);
    script.records.push(specimen("C3", "Alder", "2024-02-10"));
    script.questions = vec![
        Question {
            key: "death_without_date:c3".into(),
            needs: Some("day".into()),
            meanwhile: vec![ended("C3", Some(Fate::Died), None, None)],
            answered: BTreeMap::from([("day".into(), vec![died("C3", "2024-05-05")])]),
        },
        Question {
            key: "name_ambiguous:flowerpot".into(),
            needs: None,
            meanwhile: vec![held(name, HeldFact::Taxon)],
            answered: BTreeMap::from([("goniopora".into(), vec![specimen("C4", "Alder", "2024-02-12")])]),
        },
    ];
    script
}

#[test]
fn what_is_certain_commits_and_later_answers_make_a_further_commit() {
    let database = database();
    let connection = &mut database.connect();
    let keeper = ensure_keeper(connection, "Juniper").expect("a keeper");
    let upload = staged(connection, keeper, "corals.xlsx", &doubtful());
    assert_eq!((upload.state, upload.question_count), (State::Questions, 2));
    let refused = LOADER.commit(connection, upload.id, false).expect_err("questions are open");
    assert!(matches!(&refused, LoadError::QuestionsOpen { keys, .. } if keys.len() == 2), "{refused}");
    assert_eq!(importer::load::upload(connection, upload.id).expect("the upload").state, State::Questions);

    let summary = LOADER.commit(connection, upload.id, true).expect("what is certain is committed");
    assert_eq!((summary.questions, summary.held), (2, 2));
    let deaths = "SELECT count(*) AS number FROM ending WHERE fate = 'died'";
    assert_eq!(number(connection, deaths), 2, "a question about the day never hides a death");
    assert_eq!(
        lines(connection, "SELECT concat_ws(' ', key, earliest, latest, date_held) AS line FROM ending ORDER BY key"),
        ["c2 2024-04-01 2024-04-01 f", "c3 2024-02-10 2024-06-01 t"]
    );
    assert_eq!(
        lines(connection, "SELECT array_to_string(held, ',') AS line FROM specimen WHERE key = 'c4'"),
        ["taxon"]
    );
    let before = edition(connection);

    let given = Answer { value: Some(json!("2024-05-05")), ..answer("death_without_date:c3", "day") };
    let after = LOADER.answer(connection, upload.id, std::slice::from_ref(&given), "test").expect("it is answered");
    assert_eq!((after.state, after.question_count), (State::Committed, 1));
    assert_eq!(edition(connection), before + 1);
    assert_eq!(
        lines(connection, "SELECT concat_ws(' ', key, earliest, latest, date_held) AS line FROM ending ORDER BY key"),
        ["c2 2024-04-01 2024-04-01 f", "c3 2024-05-05 2024-05-05 f"]
    );
    LOADER
        .answer(connection, upload.id, &[answer("name_ambiguous:flowerpot", "goniopora")], "test")
        .expect("it is answered");
    assert_eq!(number(connection, "SELECT count(*) AS number FROM specimen WHERE held <> '{}'"), 0);

    // One answer each: a second one meets the first.
    let second = LOADER.answer(connection, upload.id, &[answer("name_ambiguous:flowerpot", "goniopora")], "test");
    assert!(matches!(second, Err(LoadError::Conflict { current }) if current.choice == "goniopora"));

    // Undo takes all of its commits back.
    importer::load::undo(connection, upload.id, "test").expect("it is undone");
    assert_eq!(dump(connection, keeper), Vec::<String>::new());
}

#[test]
fn answers_are_checked_and_taken_all_or_none() {
    let database = database();
    let connection = &mut database.connect();
    let keeper = ensure_keeper(connection, "Juniper").expect("a keeper");
    let upload = staged(connection, keeper, "corals.xlsx", &doubtful()).id;
    let good = answer("name_ambiguous:flowerpot", "goniopora");
    let day_of = |value: serde_json::Value| Answer { value: Some(value), ..answer("death_without_date:c3", "day") };
    let mut tried = |wrong: Answer| {
        let error = LOADER.answer(connection, upload, &[good.clone(), wrong], "test").expect_err("it is refused");
        assert!(!error.to_string().contains('\n'));
        error
    };
    let error = tried(answer("death_without_date", "day"));
    assert!(
        matches!(&error, LoadError::UnknownQuestion { open, .. } if open == &["death_without_date:c3", "name_ambiguous:flowerpot"]),
        "{error}"
    );
    let error = tried(answer("death_without_date:c3", "yesterday"));
    assert!(matches!(&error, LoadError::UnknownChoice { choices, .. } if choices == &["day", "dont_know"]), "{error}");
    for value in [json!("5.5.2024"), json!(5), json!("")] {
        assert!(matches!(tried(day_of(value)), LoadError::BadValue { .. }));
    }
    assert!(matches!(tried(answer("death_without_date:c3", "day")), LoadError::BadValue { .. }));
    let with_value = Answer { value: Some(json!(1)), ..answer("death_without_date:c3", "dont_know") };
    assert!(matches!(tried(with_value), LoadError::BadValue { .. }));
    assert!(matches!(tried(good.clone()), LoadError::Conflict { .. }), "the same question twice in one breath");
    assert_eq!(number(connection, "SELECT count(*) AS number FROM upload_answer"), 0);

    let answered = LOADER.answer(connection, upload, &[good, day_of(json!("2024-05-05"))], "test").expect("both");
    assert_eq!((answered.state, answered.question_count), (State::Ready, 0));
    let records = importer::load::records(connection, upload, Stage::Staged).expect("records");
    assert_eq!(records.len(), 8);
}

#[test]
fn dont_know_is_an_answer_that_leaves_it_held_and_is_not_asked_again() {
    let database = database();
    let connection = &mut database.connect();
    let keeper = ensure_keeper(connection, "Juniper").expect("a keeper");
    let upload = staged(connection, keeper, "corals.xlsx", &doubtful()).id;
    let answers = [answer("death_without_date:c3", "dont_know"), answer("name_ambiguous:flowerpot", "dont_know")];
    let after = LOADER.answer(connection, upload, &answers, "test").expect("it is answered");
    assert_eq!((after.state, after.question_count), (State::Ready, 0));
    let summary = LOADER.commit(connection, upload, false).expect("it is committed");
    assert_eq!((summary.held, summary.questions), (2, 0));
}

#[test]
fn an_answer_serves_the_next_copy_of_the_file() {
    let database = database();
    let connection = &mut database.connect();
    let keeper = ensure_keeper(connection, "Juniper").expect("a keeper");
    let first = staged(connection, keeper, "corals.xlsx", &doubtful()).id;
    let given = Answer { value: Some(json!("2024-05-05")), ..answer("death_without_date:c3", "day") };
    LOADER
        .answer(connection, first, &[given, answer("name_ambiguous:flowerpot", "goniopora")], "test")
        .expect("answered");
    LOADER.commit(connection, first, false).expect("it is committed");

    let mut grown = doubtful();
    grown.records.push(specimen("C5", "Alder", "2024-06-20"));
    let second = staged(connection, keeper, "corals-july.xlsx", &grown);
    assert_eq!((second.state, second.question_count), (State::Ready, 0), "nothing is asked twice");
    assert_eq!(second.log.as_deref(), Some("corals"), "more than half of the rows: the next version");
    assert_eq!(codes(connection, second.id), Vec::<String>::new());
    LOADER.commit(connection, second.id, false).expect("it is committed");
    assert_eq!(number(connection, "SELECT count(*) AS number FROM specimen"), 5);
    let carried = importer::load::answers(connection, second.id).expect("answers");
    assert!(carried.len() == 2 && carried.iter().all(|stored| stored.carried));
    // An answer taken over may be given otherwise, once; what is no answer is refused.
    let wrong = LOADER.answer(connection, second.id, &[answer("name_ambiguous:flowerpot", "perhaps")], "test");
    assert!(matches!(wrong, Err(LoadError::UnknownChoice { .. })));
    LOADER
        .answer(connection, second.id, &[answer("name_ambiguous:flowerpot", "dont_know")], "test")
        .expect("answered otherwise");
    assert_eq!(number(connection, "SELECT count(*) AS number FROM specimen WHERE held <> '{}'"), 1);
    let second_time = LOADER.answer(connection, second.id, &[answer("name_ambiguous:flowerpot", "dont_know")], "test");
    assert!(matches!(second_time, Err(LoadError::Conflict { .. })));
    // What the second copy was told stays its own when the first is undone.
    importer::load::undo(connection, first, "test").expect("it is undone");
    assert_eq!(number(connection, "SELECT count(*) AS number FROM ending WHERE date_held"), 0);
    assert_eq!(number(connection, "SELECT count(*) AS number FROM specimen WHERE held <> '{}'"), 1);
    assert_eq!(number(connection, "SELECT count(*) AS number FROM specimen"), 5);
    // Another keeper's file of this shape is asked about.
    let other = ensure_keeper(connection, "Rowan").expect("a keeper");
    assert_eq!(staged(connection, other, "corals.xlsx", &doubtful()).question_count, 2);
}

#[test]
fn the_day_of_a_list_is_not_carried_over() {
    let database = database();
    let connection = &mut database.connect();
    let keeper = ensure_keeper(connection, "Juniper").expect("a keeper");
    let mut script = register();
    script.questions = vec![Question {
        key: "as_of_missing".into(),
        needs: Some("day".into()),
        meanwhile: Vec::new(),
        answered: BTreeMap::from([("day".into(), vec![seen("C1", "2024-06-01", "register")])]),
    }];
    let first = staged(connection, keeper, "corals.xlsx", &script).id;
    let given = Answer { value: Some(json!("2024-06-01")), ..answer("as_of_missing", "day") };
    LOADER.answer(connection, first, &[given], "test").expect("answered");
    LOADER.commit(connection, first, false).expect("committed");
    script.salt = 1;
    assert_eq!(staged(connection, keeper, "corals.xlsx", &script).question_count, 1);
}

#[test]
fn a_later_version_says_what_it_changes_and_what_it_no_longer_holds() {
    let database = database();
    let connection = &mut database.connect();
    let keeper = ensure_keeper(connection, "Juniper").expect("a keeper");
    committed(connection, keeper, "tests.csv", &tests());
    let mut next = tests();
    next.records.truncate(7);
    next.records[2] = nitrate("Alder", "2024-03-03", 30.0);
    let upload = staged(connection, keeper, "tests.csv", &next);
    assert_eq!(upload.state, State::Ready, "notes ask nothing");
    let findings = importer::load::findings(connection, upload.id).expect("findings");
    let noted: Vec<(&str, &str, Option<u32>)> =
        findings.iter().map(|finding| (finding.code.as_str(), finding.written.as_str(), finding.row)).collect();
    assert_eq!(
        noted,
        [
            ("value_changed", "nitrate 30 mg/L on 2024-03-03", Some(4)),
            ("rows_gone", "nitrate 8 mg/L on 2024-03-08; nitrate 9 mg/L on 2024-03-09", None)
        ]
    );
    assert!(findings[0].message.contains("nitrate 3 mg/L"), "{}", findings[0].message);
    assert!(findings.iter().all(|finding| finding.severity == Severity::Noted));
    LOADER.commit(connection, upload.id, false).expect("committed");
    let values = "SELECT string_agg(value::text, ' ' ORDER BY taken_on) AS line FROM reading";
    assert_eq!(lines(connection, values), ["1 2 30 4 5 6 7 8 9"]);
    LOADER.answer(connection, upload.id, &[answer("rows_gone", "take_out")], "test").expect("they are taken out");
    assert_eq!(lines(connection, values), ["1 2 30 4 5 6 7"]);
    assert_eq!(codes(connection, upload.id), ["value_changed"]);
    importer::load::undo(connection, upload.id, "test").expect("undone");
    assert_eq!(lines(connection, values), ["1 2 3 4 5 6 7 8 9"]);
}

#[test]
fn a_file_of_a_known_shape_with_other_rows_waits_for_its_log() {
    let database = database();
    let connection = &mut database.connect();
    let keeper = ensure_keeper(connection, "Juniper").expect("a keeper");
    committed(connection, keeper, "tests.csv", &tests());
    let may = Script::new("wide", vec![nitrate("Alder", "2024-05-01", 3.0), nitrate("Alder", "2024-05-02", 4.0)]);
    let upload = staged(connection, keeper, "may.csv", &may);
    assert_eq!((upload.state, upload.question_count), (State::Questions, 1));
    let finding = importer::load::findings(connection, upload.id).expect("findings").remove(0);
    assert_eq!((finding.code.as_str(), finding.severity), ("log_unclear", Severity::Questioned));
    assert!(finding.message.contains("tests"), "{}", finding.message);
    assert_eq!(
        serde_json::to_value(&finding.held).expect("json"),
        json!([{"sheet": null, "column": null, "rows": [[2, 3]]}])
    );
    assert_eq!(upload.cells.total, upload.cells.recorded + upload.cells.labels + upload.cells.findings);
    assert_eq!(upload.cells.recorded, 0);
    let other = LOADER.answer(connection, upload.id, &[answer("log_unclear", "another")], "test").expect("answered");
    assert_eq!((other.state, other.log), (State::Ready, None));
    LOADER.commit(connection, upload.id, false).expect("committed");
    assert_eq!(lines(connection, "SELECT name AS line FROM log ORDER BY name"), ["may", "tests"]);

    let later = Script::new("wide", vec![nitrate("Alder", "2025-03-01", 3.0), nitrate("Alder", "2025-03-02", 4.0)]);
    let upload = staged(connection, keeper, "later.csv", &later);
    let newer = LOADER.answer(connection, upload.id, &[answer("log_unclear", "newer")], "test").expect("answered");
    assert!(newer.log.is_some());
    // The same sheet kept for another tank is another list.
    let mut birch = Script::new("wide", vec![nitrate("Birch", "2024-03-01", 3.0)]);
    assert_eq!(staged(connection, keeper, "birch.csv", &birch).state, State::Ready);
    birch.salt = 1;
    // Not if it has the log's own name: were the tanks renamed?
    let renamed = staged(connection, keeper, "Tests.csv", &birch);
    assert_eq!(renamed.state, State::Questions);
    assert_eq!(codes(connection, renamed.id), ["log_unclear"]);
    // Said beside the file, there is nothing to ask.
    let bytes = Script::new("wide", vec![nitrate("Cedar", "2025-03-01", 3.0)]).bytes();
    let new = NewUpload {
        keeper_id: keeper,
        name: "x.csv",
        bytes: &bytes,
        log: Some("Tests"),
        received_by: "test",
        ..NewUpload::default()
    };
    let id = importer::load::receive(connection, &new).expect("received").upload_id;
    let upload = LOADER.stage(connection, id, day("2025-01-01")).expect("read");
    assert_eq!((upload.state, upload.log.as_deref()), (State::Ready, Some("tests")));
}

#[test]
fn two_logs_that_differ_are_asked_about_once() {
    let database = database();
    let connection = &mut database.connect();
    let keeper = ensure_keeper(connection, "Juniper").expect("a keeper");
    committed(connection, keeper, "tests.csv", &tests());
    let diary = |salt: u32| {
        let mut script =
            Script::new("diary", vec![nitrate("Alder", "2024-03-01", 1.0), nitrate("Alder", "2024-03-02", 20.0)]);
        script.salt = salt;
        script
    };
    let upload = staged(connection, keeper, "diary.csv", &diary(0));
    assert_eq!(upload.question_count, 1);
    let finding = importer::load::findings(connection, upload.id).expect("findings").remove(0);
    assert_eq!(finding.key, "logs_disagree:tests");
    assert_eq!((finding.row, finding.held.len()), (Some(3), 0));
    LOADER.commit(connection, upload.id, true).expect("committed with the question open");
    let march = "SELECT string_agg(concat_ws('/', value, disputed), ' ' ORDER BY ordinal) AS line FROM reading WHERE taken_on = '2024-03-02'";
    assert_eq!(lines(connection, march), ["2/t 20/t"]);
    assert_eq!(number(connection, "SELECT count(*) AS number FROM reading WHERE taken_on = '2024-03-01'"), 1);
    LOADER.answer(connection, upload.id, &[answer("logs_disagree:tests", "first")], "test").expect("answered");
    assert_eq!(lines(connection, march), ["20/f"]);
    // Neither log's next version asks again.
    assert_eq!(staged(connection, keeper, "diary.csv", &diary(1)).question_count, 0);
    let mut next = tests();
    next.salt = 1;
    assert_eq!(staged(connection, keeper, "tests.csv", &next).question_count, 0);
    // The answer goes with the upload that holds it.
    importer::load::undo(connection, upload.id, "test").expect("undone");
    assert_eq!(lines(connection, march), ["2/f"]);
}

#[test]
fn rows_that_stay_keep_their_numbers() {
    let database = database();
    let connection = &mut database.connect();
    let keeper = ensure_keeper(connection, "Juniper").expect("a keeper");
    committed(connection, keeper, "corals.xlsx", &register());
    committed(connection, keeper, "tests.csv", &tests());
    let tables = ["tank", "specimen", "reading", "stay", "ending", "sighting"];
    let before: Vec<Vec<String>> = tables.iter().map(|table| numbers(connection, keeper, table)).collect();
    let mut grown = tests();
    grown.records.push(nitrate("Alder", "2024-03-10", 10.0));
    grown.records[0] = nitrate("Alder", "2024-03-01", 100.0);
    let (id, summary) = committed(connection, keeper, "tests.csv", &grown);
    assert_eq!((summary.changes.added, summary.changes.changed, summary.changes.removed), (1, 1, 0));
    for (table, before) in tables.iter().zip(&before) {
        let after = numbers(connection, keeper, table);
        assert!(before.iter().all(|line| after.contains(line)), "{table}");
    }
    importer::load::undo(connection, id, "test").expect("undone");
    let after: Vec<Vec<String>> = tables.iter().map(|table| numbers(connection, keeper, table)).collect();
    assert_eq!(before, after);
}

#[test]
fn a_file_read_before_another_was_committed_is_read_again_at_its_commit() {
    let database = database();
    let connection = &mut database.connect();
    let keeper = ensure_keeper(connection, "Juniper").expect("a keeper");
    let first = staged(connection, keeper, "tests.csv", &tests()).id;
    let other = Script::new("wide", vec![nitrate("Alder", "2024-05-01", 3.0)]);
    let second = staged(connection, keeper, "may.csv", &other).id;
    assert_eq!(importer::load::upload(connection, second).expect("the upload").state, State::Ready);
    LOADER.commit(connection, first, false).expect("committed");
    // Now that a log of this shape exists, which log this is has become a question.
    let error = LOADER.commit(connection, second, false).expect_err("it asks");
    assert!(matches!(&error, LoadError::QuestionsOpen { keys, .. } if keys == &["log_unclear"]), "{error}");
    assert_eq!(importer::load::upload(connection, second).expect("the upload").state, State::Questions);
    assert_eq!(number(connection, "SELECT count(*) AS number FROM reading"), 9);
}

#[test]
fn what_the_database_rejects_is_recorded_nowhere_and_said() {
    let database = database();
    let connection = &mut database.connect();
    let keeper = ensure_keeper(connection, "Juniper").expect("a keeper");
    let mut script = register();
    if let Record::Sighting(look) = &mut script.records[4] {
        look.condition = Some(9);
    }
    let upload = staged(connection, keeper, "corals.xlsx", &script).id;
    let error = LOADER.commit(connection, upload, false).expect_err("it is rejected");
    assert!(
        matches!(&error, LoadError::Rejected { table, rule, .. } if table == "sighting" && rule == "sighting_condition_check"),
        "{error}"
    );
    assert_eq!(dump(connection, keeper), Vec::<String>::new());
    let after = importer::load::upload(connection, upload).expect("the upload");
    assert_eq!(after.state, State::Ready);
    assert!(after.state_message.is_some_and(|message| message.contains("sighting")));
    assert_eq!(importer::load::discard(connection, upload, "test").expect("discarded").state, State::Discarded);
}

#[test]
fn a_character_of_number_nought_does_not_stop_a_file() {
    let database = database();
    let connection = &mut database.connect();
    let keeper = ensure_keeper(connection, "Juniper").expect("a keeper");
    let mut script = register();
    script.records[0] = tank("Al\0der");
    let (upload, _) = committed(connection, keeper, "cor\0als.xlsx", &script);
    assert_eq!(importer::load::upload(connection, upload).expect("the upload").name, "cor\u{fffd}als.xlsx");
    assert_eq!(number(connection, "SELECT count(*) AS number FROM tank WHERE name = E'Al\u{fffd}der'"), 1);
}

#[test]
fn a_file_that_cannot_be_read_fails_and_says_why() {
    let database = database();
    let connection = &mut database.connect();
    let keeper = ensure_keeper(connection, "Juniper").expect("a keeper");
    let new =
        NewUpload { keeper_id: keeper, name: "x.csv", bytes: b"\x00\x01", received_by: "test", ..NewUpload::default() };
    let id = importer::load::receive(connection, &new).expect("received").upload_id;
    let upload = LOADER.stage(connection, id, day("2025-01-01")).expect("read");
    assert_eq!(upload.state, State::Failed);
    assert!(upload.state_message.is_some());
    assert!(matches!(LOADER.commit(connection, id, true), Err(LoadError::WrongState { state: State::Failed, .. })));
    assert!(matches!(importer::load::undo(connection, id, "test"), Err(LoadError::WrongState { .. })));
    assert!(matches!(importer::load::upload(connection, 4711), Err(LoadError::NoUpload(4711))));
    // The same bytes may be tried again.
    assert_eq!(importer::load::receive(connection, &new).expect("received").already, None);
}

#[test]
fn single_edits_are_uploads_that_can_be_undone() {
    let database = database();
    let connection = &mut database.connect();
    let keeper = ensure_keeper(connection, "Juniper").expect("a keeper");
    committed(connection, keeper, "tests.csv", &tests());
    let before = dump(connection, keeper);
    let edit =
        importer::load::edit(connection, keeper, &[nitrate("Alder", "2024-03-01", 1.5)], "test").expect("recorded");
    let mut grown = tests();
    grown.records.push(nitrate("Alder", "2024-03-10", 10.0));
    let (version, _) = committed(connection, keeper, "tests.csv", &grown);
    let first = "SELECT value::text AS line FROM reading WHERE taken_on = '2024-03-01'";
    assert_eq!(lines(connection, first), ["1.5"], "an edit stands over files that come later");
    importer::load::undo(connection, edit, "test").expect("undone");
    assert_eq!(lines(connection, first), ["1"]);
    importer::load::undo(connection, version, "test").expect("undone");
    assert_eq!(dump(connection, keeper), before);
}

#[test]
fn a_roll_call_records_all_that_live_except_those_named() {
    let database = database();
    let connection = &mut database.connect();
    let keeper = ensure_keeper(connection, "Juniper").expect("a keeper");
    let mut script = register();
    script.records.push(specimen("C3", "Alder", "2024-01-20"));
    script.records.push(specimen("C4", "Birch", "2024-01-20"));
    script.records.push(specimen("C5", "Birch", "2024-12-20"));
    committed(connection, keeper, "corals.xlsx", &script);
    let id = |connection: &mut PgConnection, key: &str| {
        number(connection, &format!("SELECT id AS number FROM specimen WHERE key = '{key}'"))
    };
    let (c2, c3) = (id(connection, "c2"), id(connection, "c3"));
    let except = |specimen_id: i64, status: &str| [RollCallException { specimen_id, status: status.to_owned() }];
    let on = day("2024-07-01");
    for wrong in [except(c2, "dead"), except(c3, "unwell"), except(4711, "dead")] {
        let error = importer::load::roll_call(connection, keeper, on, None, &wrong, "test").expect_err("it cannot be");
        assert!(matches!(error, LoadError::BadRollCall(_)));
    }
    let call = importer::load::roll_call(connection, keeper, on, None, &except(c3, "dead"), "test").expect("recorded");
    assert_eq!(
        lines(
            connection,
            "SELECT concat_ws(' ', x.key, s.status) AS line FROM sighting s JOIN specimen x ON x.id = s.specimen_id WHERE s.source = 'roll_call' ORDER BY 1"
        ),
        ["c1 alive", "c4 alive"],
        "C2 is dead, C3 named, C5 not yet bought"
    );
    assert_eq!(
        lines(connection, "SELECT concat_ws(' ', key, fate, earliest, latest) AS line FROM ending ORDER BY key"),
        ["c2 died 2024-04-01 2024-04-01", "c3 died 2024-01-20 2024-07-01"]
    );
    importer::load::undo(connection, call, "test").expect("undone");
    assert_eq!(number(connection, "SELECT count(*) AS number FROM ending"), 1);
    let birch = number(connection, "SELECT id AS number FROM tank WHERE key = 'birch'");
    importer::load::roll_call(connection, keeper, on, Some(birch), &[], "test").expect("recorded");
    assert_eq!(number(connection, "SELECT count(*) AS number FROM sighting WHERE source = 'roll_call'"), 1);
}

#[test]
fn a_commit_that_is_cut_off_leaves_nothing_and_is_taken_up_again() {
    let database = database();
    let connection = &mut database.connect();
    let keeper = ensure_keeper(connection, "Juniper").expect("a keeper");
    let upload = staged(connection, keeper, "corals.xlsx", &register()).id;
    // Another session holds the edition, so the commit stops before its last statement, and there it is killed.
    let other = &mut database.connect();
    other.batch_execute("BEGIN; UPDATE edition SET raised_at = now()").expect("the edition is held");
    let error = std::thread::scope(|scope| {
        let commit = scope.spawn(|| {
            let connection = &mut database.connect();
            LOADER.commit(connection, upload, false).expect_err("its session is ended")
        });
        let waiting = "SELECT count(*) AS number FROM pg_stat_activity WHERE wait_event_type = 'Lock' AND datname = current_database()";
        while number(connection, waiting) == 0 {
            std::thread::sleep(std::time::Duration::from_millis(5));
        }
        connection
            .batch_execute("SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE wait_event_type = 'Lock' AND datname = current_database()")
            .expect("it is ended");
        commit.join().expect("no panic")
    });
    assert!(matches!(error, LoadError::Database(_)), "{error}");
    other.batch_execute("ROLLBACK").expect("the edition is free");
    assert_eq!(importer::load::upload(connection, upload).expect("the upload").state, State::Committing);
    assert_eq!(dump(connection, keeper), Vec::<String>::new());
    assert_eq!(number(connection, "SELECT revision AS number FROM keeper"), 0);

    // A second one was cut off while it was read.
    let reading = receive(connection, keeper, "tests.csv", &tests());
    connection
        .batch_execute(&format!("UPDATE upload SET state = 'reading', read_on = '2025-01-01' WHERE id = {reading}"))
        .expect("set");
    let taken = LOADER.resume(connection).expect("it goes on");
    let states: Vec<(i64, State)> = taken.into_iter().map(|(id, state)| (id, state.expect("it goes on"))).collect();
    assert_eq!(states, [(upload, State::Committed), (reading, State::Ready)]);
    assert_eq!(number(connection, "SELECT count(*) AS number FROM specimen"), 2);
    assert_eq!(LOADER.resume(connection).expect("nothing to do").len(), 0);
}

#[test]
fn commits_of_one_keeper_take_turns_and_keepers_do_not_wait_for_each_other() {
    let database = database();
    let connection = &mut database.connect();
    let keepers: Vec<i64> =
        ["Juniper", "Rowan"].iter().map(|name| ensure_keeper(connection, name).expect("a keeper")).collect();
    let mut uploads = Vec::new();
    for keeper in &keepers {
        for at in 0..4 {
            let name = format!("log {at}.csv");
            let records = (1..=9).map(|day| nitrate(&format!("Tank {at}"), &format!("2024-03-0{day}"), 1.0)).collect();
            uploads.push(staged(connection, *keeper, &name, &Script::new(&format!("shape {at}"), records)).id);
        }
    }
    let before = edition(connection);
    std::thread::scope(|scope| {
        for upload in &uploads {
            let database = &database;
            scope.spawn(move || LOADER.commit(&mut database.connect(), *upload, false).expect("it is committed"));
        }
    });
    assert_eq!(edition(connection), before + 8);
    assert_eq!(number(connection, "SELECT count(*) AS number FROM reading"), 72);
    assert_eq!(number(connection, "SELECT count(DISTINCT (keeper_id, commit_sequence)) AS number FROM upload"), 8);
}

#[test]
fn the_same_bytes_sent_twice_at_once_are_received_once_and_wait_for_no_commit() {
    let database = database();
    let connection = &mut database.connect();
    let keeper = ensure_keeper(connection, "Juniper").expect("a keeper");
    // As a commit of the keeper holds it.
    let other = &mut database.connect();
    other
        .batch_execute(&format!("BEGIN; SELECT id FROM keeper WHERE id = {keeper} FOR NO KEY UPDATE"))
        .expect("the keeper is locked");
    let bytes = register().bytes();
    let received: Vec<importer::load::Received> = std::thread::scope(|scope| {
        let sends: Vec<_> = (0..6)
            .map(|_| {
                scope.spawn(|| {
                    let new = NewUpload {
                        keeper_id: keeper,
                        name: "c.csv",
                        bytes: &bytes,
                        received_by: "test",
                        ..NewUpload::default()
                    };
                    importer::load::receive(&mut database.connect(), &new).expect("received")
                })
            })
            .collect();
        sends.into_iter().map(|send| send.join().expect("no panic")).collect()
    });
    other.batch_execute("ROLLBACK").expect("the keeper is free");
    assert_eq!(received.iter().filter(|one| one.already.is_none()).count(), 1);
    assert!(received.iter().all(|one| one.upload_id == received[0].upload_id));
    assert_eq!(number(connection, "SELECT count(*) AS number FROM upload_file"), 1);
}

#[test]
fn a_keeper_who_leaves_takes_everything_along() {
    let database = database();
    let connection = &mut database.connect();
    let keeper = ensure_keeper(connection, "Juniper").expect("a keeper");
    committed(connection, keeper, "corals.xlsx", &doubtful());
    committed(connection, keeper, "tests.csv", &tests());
    connection.batch_execute(&format!("DELETE FROM keeper WHERE id = {keeper}")).expect("all of it can go");
    for table in
        ["upload", "upload_file", "upload_records", "finding", "log", "tank", "specimen", "reading", "record_source"]
    {
        assert_eq!(number(connection, &format!("SELECT count(*) AS number FROM {table}")), 0, "{table}");
    }
}

#[test]
fn what_is_known_of_a_keeper_goes_to_the_reader() {
    let database = database();
    let connection = &mut database.connect();
    let keeper = ensure_keeper(connection, "Juniper").expect("a keeper");
    let mut script = register();
    script.records.push(moved("C1", "Birch", "2024-03-01"));
    script.records.push(kit("drops", Some("birch"), None));
    script.records.push(nitrate("ALDER", "2024-03-01", 2.0));
    committed(connection, keeper, "corals.xlsx", &script);
    let context = importer::load::context_for(connection, keeper).expect("a context");
    assert!(context.keeper_known);
    let tanks: Vec<(&str, Vec<&str>)> = context
        .tanks
        .iter()
        .map(|tank| (tank.name.as_str(), tank.aliases.iter().map(String::as_str).collect()))
        .collect();
    assert_eq!(tanks, [("Alder", vec!["ALDER"]), ("Birch", vec!["birch"])]);
    let specimens: Vec<(&str, Option<&str>, bool)> =
        context.specimens.iter().map(|row| (row.label.as_str(), row.tank.as_deref(), row.alive)).collect();
    assert_eq!(specimens, [("C1", Some("Birch"), true), ("C2", Some("Alder"), false)]);
    assert_eq!(context.instruments.len(), 1);
    assert_eq!(context.instruments[0].tank.as_deref(), Some("Birch"));
}

#[test]
fn twenty_thousand_tests_commit_in_seconds() {
    let database = database();
    let connection = &mut database.connect();
    let keeper = ensure_keeper(connection, "Juniper").expect("a keeper");
    let start = day("2000-01-01");
    let records: Vec<Record> = (0..20_000)
        .map(|at| {
            let on = start + chrono::TimeDelta::days(at / 10);
            nitrate(&format!("Tank {}", at % 10), &on.to_string(), (at % 97) as f64 / 7.0)
        })
        .collect();
    let mut script = Script::new("wide", records);
    let upload = staged(connection, keeper, "tests.csv", &script).id;
    let since = std::time::Instant::now();
    LOADER.commit(connection, upload, false).expect("committed");
    let fresh = since.elapsed();
    assert_eq!(number(connection, "SELECT count(*) AS number FROM reading"), 20_000);
    // Every value comes back to the last digit.
    assert_eq!(number(connection, "SELECT count(*) AS number FROM reading WHERE value = 96 / 7.0::float8"), 206);
    script.records.push(nitrate("Tank 1", "2020-01-01", 5.0));
    let again = staged(connection, keeper, "tests.csv", &script).id;
    let since = std::time::Instant::now();
    let summary = LOADER.commit(connection, again, false).expect("committed");
    println!("20 000 readings committed in {fresh:?}, the grown file in {:?}", since.elapsed());
    assert_eq!((summary.changes.added, summary.changes.changed), (1, 0));
    assert!(fresh < std::time::Duration::from_secs(30), "{fresh:?}");
}

#[test]
fn a_single_fact_is_taken_out_and_an_undo_brings_it_back() {
    let database = database();
    let connection = &mut database.connect();
    let keeper = ensure_keeper(connection, "Juniper").expect("a keeper");
    let other = ensure_keeper(connection, "Rowan").expect("a keeper");
    committed(connection, keeper, "corals.xlsx", &register());
    committed(connection, keeper, "tests.csv", &tests());
    importer::load::edit(connection, keeper, &[sized("C1", "2024-05-01", 40.0, false)], "test").expect("edited");
    let before = dump(connection, keeper);
    for (kind, table) in
        [(Kind::Reading, "reading"), (Kind::Sighting, "sighting"), (Kind::Sizing, "sizing"), (Kind::Ending, "ending")]
    {
        let rows =
            |connection: &mut PgConnection| number(connection, &format!("SELECT count(*) AS number FROM {table}"));
        let (all, edition_before) = (rows(connection), edition(connection));
        let id = number(connection, &format!("SELECT max(id) AS number FROM {table}"));
        assert!(matches!(importer::load::statements(connection, other, kind, id), Err(LoadError::NoFact { .. })));
        let facts = importer::load::statements(connection, keeper, kind, id).expect("it is stated");
        let edit = importer::load::take_out(connection, keeper, &facts, "test").expect("taken out");
        assert_eq!(rows(connection), all - 1, "{table}");
        assert_eq!(number(connection, &format!("SELECT count(*) AS number FROM {table} WHERE id = {id}")), 0);
        assert_eq!(edition(connection), edition_before + 1);
        let upload = importer::load::upload(connection, edit).expect("an upload of its own");
        assert_eq!((upload.kind.as_str(), upload.state, upload.counts.len()), ("edit", State::Committed, 0));
        // The file sent again does not bring it back.
        let (again, _) = committed(connection, keeper, "tests.csv", &Script { salt: 7, ..tests() });
        assert_eq!(rows(connection), all - 1, "{table}");
        importer::load::undo(connection, again, "test").expect("undone");
        importer::load::undo(connection, edit, "test").expect("undone");
        assert_eq!(dump(connection, keeper), before, "{table}");
    }
    let error = importer::load::take_out(connection, keeper, &[tank("Alder")], "test").expect_err("others need it");
    assert!(matches!(error, LoadError::NotAlone { kind: "tank" }));
    // A stay that only follows from the specimen's row is no fact of its own.
    let stay = number(connection, "SELECT max(id) AS number FROM stay");
    assert!(matches!(importer::load::statements(connection, keeper, Kind::Stay, stay), Err(LoadError::NoFact { .. })));
    assert_eq!(dump(connection, keeper), before);
}

#[test]
fn what_is_taken_out_stays_out_until_a_file_says_otherwise() {
    let database = database();
    let connection = &mut database.connect();
    let keeper = ensure_keeper(connection, "Juniper").expect("a keeper");
    committed(connection, keeper, "tests.csv", &tests());
    importer::load::take_out(connection, keeper, &[nitrate("Alder", "2024-03-02", 2.0)], "test").expect("taken out");
    let march = "SELECT string_agg(value::text, ' ' ORDER BY value) AS line FROM reading WHERE taken_on = '2024-03-02'";
    assert_eq!(number(connection, "SELECT count(*) AS number FROM reading"), 8);
    let mut corrected = tests();
    corrected.records[1] = nitrate("Alder", "2024-03-02", 2.5);
    committed(connection, keeper, "tests.csv", &corrected);
    assert_eq!(lines(connection, march), ["2.5"]);
}
