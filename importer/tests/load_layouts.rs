//! Layouts kept, handed out and applied; answers that reach further than one file; versions of one log in several
//! containers. The layout follows the Data Package standard, version 2: Table Dialect and Table Schema.

#[path = "support/database.rs"]
mod database;
#[path = "../../migrations/tests/support/postgres.rs"]
mod postgres;

use chrono::NaiveDate;
use database::{database, dump, lines, number};
use diesel::pg::PgConnection;
use importer::context::Context;
use importer::finding::{Answer, Finding, Severity};
use importer::load::{
    KitFacts, LoadError, NewUpload, State, Upload, answer, answer_kit, commit, edit, ensure_keeper, findings, layout,
    preview_kit, receive, stage, undo, undo_kit,
};
use importer::read::read;
use importer::record::{Instrument, Place, Record};
use importer::saved_layout::SavedLayout;
use serde_json::{Value, json};

fn day(text: &str) -> NaiveDate {
    text.parse().expect("a day")
}

fn send_with(
    connection: &mut PgConnection,
    keeper: i64,
    name: &str,
    bytes: &[u8],
    layout: Option<&SavedLayout>,
) -> Result<Upload, LoadError> {
    let new = NewUpload { keeper_id: keeper, name, bytes, received_by: "test", layout, ..NewUpload::default() };
    let received = receive(connection, &new)?;
    assert_eq!(received.already, None);
    stage(connection, received.upload_id, day("2024-09-01"))
}

fn send(connection: &mut PgConnection, keeper: i64, name: &str, content: &str) -> Upload {
    send_with(connection, keeper, name, content.as_bytes(), None).expect("read")
}

fn open(connection: &mut PgConnection, upload: i64) -> Vec<Finding> {
    let all = findings(connection, upload).expect("findings").into_iter();
    all.filter(|finding| finding.severity == Severity::Questioned && finding.answered.is_none()).collect()
}

fn codes(connection: &mut PgConnection, upload: i64) -> Vec<String> {
    open(connection, upload).into_iter().map(|finding| finding.code).collect()
}

fn noted(connection: &mut PgConnection, upload: i64, code: &str) -> Vec<Finding> {
    let all = findings(connection, upload).expect("findings").into_iter();
    all.filter(|finding| finding.code == code).collect()
}

fn say(connection: &mut PgConnection, upload: i64, code: &str, choice: &str, value: Option<Value>) -> Upload {
    let all = findings(connection, upload).expect("findings");
    let asked: Vec<&str> = all.iter().map(|finding| finding.code.as_str()).collect();
    let key = all.iter().find(|finding| finding.code == code).unwrap_or_else(|| panic!("{code} not in {asked:?}"));
    let given = Answer { key: key.key.clone(), choice: choice.to_owned(), value };
    answer(connection, upload, &[given], "test").expect("answered")
}

/// A log with a title above it, semicolons, decimal commas, days in an order that nothing settles, and a column that
/// nobody can know.
const FIRST: &str = "Wasserwerte Becken Quarry;;;\n;;;\nDatum;KH (dKH);NO3 (mg/L);Zeta\n01/02/2024;8,1;5,5;391\n03/02/2024;8,2;6,0;392\n05/02/2024;8,3;6,5;393\n07/02/2024;8,1;7,0;392\n";
/// The next season's: other days, other values.
const SECOND: &str = "Wasserwerte Becken Quarry;;;\n;;;\nDatum;KH (dKH);NO3 (mg/L);Zeta\n02/05/2024;7,1;15,5;401\n04/05/2024;7,2;16,0;402\n06/05/2024;7,3;16,5;403\n08/05/2024;7,1;17,0;402\n";

/// Answers whatever is asked about the first file; the keys of what was asked.
fn answer_first(connection: &mut PgConnection, upload: i64) -> Vec<String> {
    let mut asked = Vec::new();
    for _ in 0..6 {
        let Some(question) = open(connection, upload).into_iter().next() else { break };
        asked.push(question.code.clone());
        match question.code.as_str() {
            "date_order_unclear" => say(connection, upload, "date_order_unclear", "day_first", None),
            "column_unknown" => say(connection, upload, "column_unknown", "parameter", Some(json!("potassium"))),
            "tank_unnamed" => say(connection, upload, "tank_unnamed", "new", Some(json!("Quarry"))),
            other => panic!("{other} is asked: {}", question.message),
        };
    }
    asked.sort();
    asked
}

#[test]
fn a_layout_serves_the_next_file_and_goes_round() {
    let database = database();
    let connection = &mut database.connect();
    let keeper = ensure_keeper(connection, "Juniper").expect("a keeper");
    let first = send(connection, keeper, "winter.csv", FIRST).id;
    let asked = answer_first(connection, first);
    assert!(
        asked.contains(&"date_order_unclear".to_owned()) && asked.contains(&"column_unknown".to_owned()),
        "{asked:?}"
    );
    commit(connection, first, false).expect("committed");
    assert_eq!(
        lines(connection, "SELECT concat_ws(' ', min(taken_on), max(taken_on), count(*)) AS line FROM reading"),
        ["2024-02-01 2024-02-07 12"]
    );
    assert_eq!(number(connection, "SELECT count(*) AS number FROM layout"), 1, "written with the commit");

    // The keeper's next file of the same shape asks nothing; it begins a log of its own.
    let second = send(connection, keeper, "summer.csv", SECOND).id;
    assert!(codes(connection, second).len() <= 1, "{:?}", codes(connection, second));
    let carried = number(connection, "SELECT count(*) AS number FROM upload_answer WHERE carried_from_id IS NOT NULL");
    assert!(carried >= 2, "{carried}");

    // Exported as text, parsed, applied: the same records from the same bytes.
    let exported = layout(connection, first).expect("made").expect("a layout");
    let text = serde_json::to_string_pretty(exported.document()).expect("text");
    let applied = SavedLayout::parse(text.as_bytes()).expect("parsed");
    assert_eq!(applied, exported);
    assert_eq!(number(connection, "SELECT count(*) AS number FROM layout"), 1, "one a keeper and shape");
    let of = |answers: &[Answer]| {
        let context = Context {
            answers: answers.to_vec(),
            today: Some(day("2024-09-01")),
            tank: Some("Quarry".into()),
            ..Context::default()
        };
        read("winter.csv", FIRST.as_bytes(), &context)
    };
    let own: Vec<Answer> =
        importer::load::answers(connection, first).expect("answers").into_iter().map(|stored| stored.answer).collect();
    assert_eq!(of(applied.answers()).records, of(&own).records);
    assert!(of(applied.answers()).findings.iter().all(|finding| finding.severity != Severity::Questioned));

    // Another keeper's file of that shape, with the layout beside it: nothing is asked but, at most, which tank.
    let heron = ensure_keeper(connection, "Heron").expect("a keeper");
    let theirs = send_with(connection, heron, "heron.csv", SECOND.as_bytes(), Some(&applied)).expect("read");
    let asked = codes(connection, theirs.id);
    assert!(asked.iter().all(|code| code == "tank_unnamed"), "{asked:?}");
    if !asked.is_empty() {
        say(connection, theirs.id, "tank_unnamed", "new", Some(json!("Basin")));
    }
    commit(connection, theirs.id, false).expect("committed");
    assert_eq!(
        lines(
            connection,
            &format!(
                "SELECT concat_ws(' ', parameter, min(taken_on), max(value)) AS line FROM reading WHERE keeper_id = {heron} GROUP BY parameter ORDER BY 1"
            )
        ),
        ["alkalinity 2024-05-02 7.3", "nitrate 2024-05-02 17", "potassium 2024-05-02 403"]
    );
}

#[test]
fn a_file_of_another_shape_is_refused_naming_what_differs() {
    let database = database();
    let connection = &mut database.connect();
    let keeper = ensure_keeper(connection, "Juniper").expect("a keeper");
    let first = send(connection, keeper, "winter.csv", FIRST).id;
    answer_first(connection, first);
    let layout = layout(connection, first).expect("made").expect("a layout");
    let other = SECOND.replace("NO3 (mg/L)", "PO4 (mg/L)");
    let refused = send_with(connection, keeper, "other.csv", other.as_bytes(), Some(&layout)).expect_err("refused");
    let said = refused.to_string();
    assert!(said.contains("the column 'NO3 (mg/L)' is missing"), "{said}");
    assert!(said.contains("the column 'PO4 (mg/L)' (column 3) is not in the layout"), "{said}");
    let swapped = "Datum;Zeta;NO3 (mg/L);KH (dKH)\n01/02/2024;11;5,5;8,1\n02/02/2024;12;5,6;8,2\n";
    let refused = send_with(connection, keeper, "swapped.csv", swapped.as_bytes(), Some(&layout)).expect_err("refused");
    assert!(refused.to_string().contains("another order"), "{refused}");
    assert_eq!(number(connection, "SELECT count(*) AS number FROM upload"), 1, "nothing of them is kept");
}

#[test]
fn a_layout_describes_its_tables_in_the_words_of_the_standard() {
    let database = database();
    let connection = &mut database.connect();
    let keeper = ensure_keeper(connection, "Juniper").expect("a keeper");
    let first = send(connection, keeper, "winter.csv", FIRST).id;
    answer_first(connection, first);
    let made = layout(connection, first).expect("made").expect("a layout");
    if let Some(path) = std::env::var_os("SHOW_LAYOUT") {
        std::fs::write(path, serde_json::to_string_pretty(made.document()).expect("text")).expect("written");
    }
    let table = &made.document()["resources"][0];
    assert_eq!(made.document()["$schema"], "https://datapackage.org/profiles/2.0/datapackage.json");
    assert_eq!((&table["dialect"]["delimiter"], &table["dialect"]["headerRows"]), (&json!(";"), &json!([3])));
    assert_eq!(table["dialect"]["commentRows"], json!([1, 2]));
    let fields = table["schema"]["fields"].as_array().expect("fields");
    assert_eq!(fields[0], json!({"name": "Datum", "type": "date", "format": "%d/%m/%Y"}));
    assert_eq!((&fields[1]["type"], &fields[1]["decimalChar"]), (&json!("number"), &json!(",")));
    assert_eq!(
        (&fields[2]["strandline:parameter"], &fields[2]["strandline:ucum"]),
        (&json!("nitrate"), &json!("mg/L"))
    );
    // Nothing of the contents goes with it.
    let text = made.document().to_string();
    assert!(!text.contains("6,5") && !text.contains("01/02/2024"), "{text}");
    // A document that was tampered with is no layout.
    let mut other = made.document().clone();
    other["resources"][0]["schema"]["fields"][1]["name"] = json!("Ca");
    assert!(SavedLayout::of_value(other).is_err());
    assert!(SavedLayout::parse(b"{}").expect_err("none").to_string().contains("strandline:layout"));
}

#[test]
fn what_was_said_of_one_row_serves_its_list_and_no_other() {
    let database = database();
    let connection = &mut database.connect();
    let keeper = ensure_keeper(connection, "Juniper").expect("a keeper");
    let rows = |month: u32, value: f64| {
        (1..=6).map(|at| format!("2024-{month:02}-{:02},{},8.1\n", at * 2, value + f64::from(at))).collect::<String>()
    };
    let header = "Date,NO3 (mg/L),KH (dKH)\n";
    let text = header.to_owned() + &rows(2, 3.0) + "2024-02-31,9,8.3\n";
    let first = send(connection, keeper, "spring.csv", &text).id;
    assert_eq!(codes(connection, first), ["date_impossible"]);
    say(connection, first, "date_impossible", "other", Some(json!("2024-02-29")));
    commit(connection, first, false).expect("committed");
    // The grown copy holds the same row: it is not asked about again.
    let grown = send(connection, keeper, "spring.csv", &(text.clone() + "2024-03-01,9.5,8.2\n")).id;
    assert_eq!(codes(connection, grown), Vec::<String>::new());
    commit(connection, grown, false).expect("committed");
    assert_eq!(number(connection, "SELECT count(*) AS number FROM reading WHERE taken_on = '2024-02-29'"), 2);
    // Another list of the same shape with the same slip may mean another day.
    let other = send(connection, keeper, "autumn.csv", &(header.to_owned() + &rows(8, 30.0) + "2024-02-31,9,8.3\n")).id;
    assert!(codes(connection, other).contains(&"date_impossible".to_owned()), "{:?}", codes(connection, other));
}

fn own_kit(connection: &mut PgConnection, keeper: i64, name: &str, limit: Option<f64>) {
    let kit = Instrument {
        tank: None,
        parameter: analysis::vocabulary::ParameterCode::parse("phosphate").expect("a parameter"),
        name: name.to_owned(),
        step: None,
        limit,
        reference: None,
        basis: None,
        calibrated_on: None,
        from: None,
        place: Place::default(),
    };
    edit(connection, keeper, &[Record::Instrument(kit)], "test").expect("recorded");
}

const NOT_DETECTED: &str = "Date,Tank,PO4 (mg/L)\n2024-03-01,Basin,0.05\n2024-03-08,Basin,not detected\n2024-03-15,Basin,not detected\n2024-03-22,Basin,0.06\n";

#[test]
fn an_answer_about_a_kit_serves_all_who_have_it_after_a_preview() {
    let database = database();
    let connection = &mut database.connect();
    let [juniper, heron, wren, osprey] =
        ["Juniper", "Heron", "Wren", "Osprey"].map(|name| ensure_keeper(connection, name).expect("a keeper"));
    own_kit(connection, juniper, "Tidepool P2", None);
    own_kit(connection, heron, "tidepool  p2", None);
    own_kit(connection, wren, "Tidepool P2", Some(0.02));
    own_kit(connection, osprey, "Other kit", None);
    let mut uploads = Vec::new();
    for keeper in [juniper, heron, wren, osprey] {
        uploads.push(send(connection, keeper, "water.csv", NOT_DETECTED).id);
    }
    let [of_juniper, of_heron, of_wren, of_osprey] = uploads[..] else { panic!("four") };
    assert_eq!(codes(connection, of_juniper), ["limit_missing"]);
    assert_eq!(codes(connection, of_wren), Vec::<String>::new(), "the own kit's limit is known");
    // One commits with the question open, one waits.
    commit(connection, of_juniper, true).expect("committed");
    commit(connection, of_wren, false).expect("committed");
    let before: Vec<Vec<String>> = [juniper, heron, wren, osprey].map(|keeper| dump(connection, keeper)).into();

    let facts = KitFacts {
        parameter: "phosphate".into(),
        name: "Tidepool P2".into(),
        limit: Some(0.03),
        ..KitFacts::default()
    };
    let preview = preview_kit(connection, &facts).expect("previewed");
    let told: Vec<(&str, u64, u64, u64)> = preview
        .keepers
        .iter()
        .map(|change| (change.keeper.as_str(), change.loaded, change.questions_before, change.questions_after))
        .collect();
    assert_eq!(told, [("Juniper", 2, 1, 0), ("Heron", 2, 1, 0)]);
    let example = &preview.keepers[0].examples[0];
    assert_eq!((example.row, example.column, example.written.as_str()), (3, 3, "not detected"));
    assert!(example.before.is_none());
    assert_eq!(example.after.as_ref().expect("loads").value, Some(0.03));
    assert_eq!(dump(connection, juniper), before[0], "a preview changes nothing");

    let outdated = answer_kit(connection, &facts, "0", "test").expect_err("not as previewed");
    assert!(matches!(outdated, LoadError::PreviewOutdated { .. }));
    let (made, _) = answer_kit(connection, &facts, &preview.confirm, "test").expect("answered");
    let limit_of = |connection: &mut PgConnection, keeper: i64| {
        lines(
            connection,
            &format!(
                "SELECT concat_ws(' ', count(*), max(upper)) AS line FROM reading WHERE keeper_id = {keeper} AND qualifier = '<'"
            ),
        )
    };
    assert_eq!(limit_of(connection, juniper), ["2 0.03"]);
    assert_eq!(limit_of(connection, wren), ["2 0.02"], "what a keeper says of an own kit holds");
    assert_eq!(codes(connection, of_heron), Vec::<String>::new());
    assert_eq!(importer::load::upload(connection, of_heron).expect("there").state, State::Ready);
    assert_eq!(codes(connection, of_osprey), ["limit_missing"], "another kit is another kit");
    // A file that comes later is served too.
    let later = send(connection, juniper, "later.csv", &NOT_DETECTED.replace("2024-03", "2024-06")).id;
    // Which log it belongs to is all that is asked: its days are others.
    assert_eq!(codes(connection, later), ["log_unclear"]);

    let undone = undo_kit(connection, made.id, "test").expect("undone");
    assert!(undone.undone_at.is_some());
    assert_eq!(undo_kit(connection, made.id, "test").expect("again"), undone);
    let after: Vec<Vec<String>> = [juniper, heron, wren, osprey].map(|keeper| dump(connection, keeper)).into();
    assert_eq!(after, before, "undone, the records are as they were");
    assert_eq!(codes(connection, of_heron), ["limit_missing"]);
    assert_eq!(number(connection, "SELECT count(*) AS number FROM audit WHERE subject LIKE 'kit answer%'"), 2);
    let refused = preview_kit(connection, &KitFacts { limit: Some(-1.0), ..facts }).expect_err("refused");
    assert!(matches!(refused, LoadError::BadKit(_)), "{refused}");
}

fn workbook(text: &str) -> Vec<u8> {
    let mut book = rust_xlsxwriter::Workbook::new();
    let sheet = book.add_worksheet();
    for (row, line) in (0_u32..).zip(text.lines()) {
        for (column, cell) in (0_u16..).zip(line.split(',')) {
            match cell.parse::<f64>() {
                Ok(value) => sheet.write_number(row, column, value).expect("written"),
                Err(_) if !cell.is_empty() => sheet.write_string(row, column, cell).expect("written"),
                Err(_) => sheet,
            };
        }
    }
    book.save_to_buffer().expect("a workbook")
}

fn water(change: impl Fn(u32) -> Option<f64>, days: std::ops::RangeInclusive<u32>) -> String {
    let mut text = "Date,Tank,NO3 (mg/L)\n".to_owned();
    for at in days {
        if let Some(value) = change(at) {
            text += &format!("2024-03-{at:02},Basin,{value}\n");
        }
    }
    text
}

#[test]
fn a_log_goes_on_from_text_to_workbook_with_changed_and_missing_rows() {
    let database = database();
    let connection = &mut database.connect();
    let keeper = ensure_keeper(connection, "Juniper").expect("a keeper");
    let first = send(connection, keeper, "water.csv", &water(|at| Some(f64::from(at)), 1..=10)).id;
    commit(connection, first, false).expect("committed");
    let before = dump(connection, keeper);
    // As a workbook, with day 3 changed, day 4 gone and two days more.
    let next = water(|at| (at != 4).then_some(if at == 3 { 30.0 } else { f64::from(at) }), 1..=12);
    let second = send_with(connection, keeper, "Water 2024.xlsx", &workbook(&next), None).expect("read");
    assert_eq!(codes(connection, second.id), Vec::<String>::new());
    assert_eq!(second.log.as_deref(), Some("water"), "a log that was text goes on as a workbook");
    let changed = noted(connection, second.id, "value_changed");
    assert_eq!(changed.len(), 1);
    assert_eq!((changed[0].severity, changed[0].row), (Severity::Noted, Some(4)));
    assert_eq!(noted(connection, second.id, "rows_gone").len(), 1);
    commit(connection, second.id, false).expect("committed");
    assert_eq!(number(connection, "SELECT count(*) AS number FROM log"), 1);
    let values = |connection: &mut PgConnection| {
        lines(
            connection,
            "SELECT concat_ws(' ', extract(day FROM taken_on), value) AS line FROM reading WHERE taken_on BETWEEN '2024-03-03' AND '2024-03-04' ORDER BY taken_on",
        )
    };
    assert_eq!(values(connection), ["3 30", "4 4"], "the later value stands, the missing row is kept");
    // "Take them out", answered after the commit.
    say(connection, second.id, "rows_gone", "take_out", None);
    assert_eq!(values(connection), ["3 30"]);
    undo(connection, second.id, "test").expect("undone");
    assert_eq!(dump(connection, keeper), before);
}

#[test]
fn fewer_than_half_alike_is_asked_and_two_logs_disagree_once_a_pair() {
    let database = database();
    let connection = &mut database.connect();
    let keeper = ensure_keeper(connection, "Juniper").expect("a keeper");
    let first = send(connection, keeper, "water.csv", &water(|at| Some(f64::from(at)), 1..=10)).id;
    commit(connection, first, false).expect("committed");
    // Of the same shape, with two of ten days in common: newer copy, or another list?
    let far = workbook(&water(|at| Some(f64::from(at)), 9..=20));
    let unclear = send_with(connection, keeper, "other.xlsx", &far, None).expect("read");
    assert_eq!(codes(connection, unclear.id), ["log_unclear"]);
    let another = say(connection, unclear.id, "log_unclear", "another", None);
    assert_eq!(another.state, State::Ready);
    commit(connection, unclear.id, false).expect("committed");
    assert_eq!(number(connection, "SELECT count(*) AS number FROM log"), 2);
    assert_eq!(number(connection, "SELECT count(*) AS number FROM reading"), 20, "equal values are one reading");
    // A third list of another shape says otherwise on three days: one question for the pair, not one a day.
    let probe = "Day,Tank,Nitrate (mg/L)\n2024-03-01,Basin,1.5\n2024-03-02,Basin,2.5\n2024-03-03,Basin,3.5\n";
    let third = send(connection, keeper, "probe.csv", probe).id;
    let asked = open(connection, third);
    let keys: Vec<&str> = asked.iter().map(|finding| finding.key.as_str()).collect();
    assert_eq!(keys, ["logs_disagree:water"]);
    assert!(asked[0].message.contains("in 3 places"), "{}", asked[0].message);
    commit(connection, third, true).expect("committed");
    let of = |connection: &mut PgConnection| {
        number(connection, "SELECT count(*) AS number FROM reading WHERE taken_on <= '2024-03-03'")
    };
    assert_eq!(of(connection), 6, "both stand until answered");
    // Its next version does not ask a second question beside the open one.
    say(connection, third, "logs_disagree", "second", None);
    let grown =
        send_with(connection, keeper, "probe.xlsx", &workbook(&(probe.to_owned() + "2024-03-04,Basin,4\n")), None)
            .expect("read");
    assert_eq!(codes(connection, grown.id), Vec::<String>::new());
}
