//! Days as written: the order of day and month from a column's own evidence, short and missing years, slips.

use chrono::NaiveDate;
use importer::context::{Context, Outcome};
use importer::finding::{Answer, Severity};
use importer::read::read;
use importer::record::Record;
use serde_json::{Value, json};

fn log(days: &[&str]) -> String {
    let mut log = String::from("Date,KH (dKH)\n");
    for (at, day) in days.iter().enumerate() {
        log.push_str(&format!("\"{day}\",{}\n", 8.0 + at as f64 / 10.0));
    }
    log
}

fn read_with(log: &str, answers: &[(&str, &str, Option<Value>)]) -> Outcome {
    let answers = answers.iter().map(|(key, choice, value)| Answer {
        key: (*key).into(),
        choice: (*choice).into(),
        value: value.clone(),
    });
    let today = NaiveDate::from_ymd_opt(2024, 12, 1);
    read("log.csv", log.as_bytes(), &Context { today, answers: answers.collect(), ..Context::default() })
}

fn days(outcome: &Outcome) -> Vec<String> {
    outcome
        .records
        .iter()
        .filter_map(|record| match record {
            Record::Reading(reading) => Some(reading.taken.to_string()),
            _ => None,
        })
        .collect()
}

fn keys(outcome: &Outcome) -> Vec<&str> {
    let open = outcome.findings.iter().filter(|finding| finding.severity == Severity::Questioned);
    open.map(|finding| finding.key.as_str()).collect()
}

#[test]
fn a_part_above_twelve_proves_the_order_for_its_column() {
    assert_eq!(days(&read_with(&log(&["03/04/2024", "17/04/2024"]), &[])), ["2024-04-03", "2024-04-17"]);
    assert_eq!(days(&read_with(&log(&["03/04/2024", "03/18/2024"]), &[])), ["2024-03-04", "2024-03-18"]);
    assert_eq!(days(&read_with(&log(&["3.4.2024", "17.4.2024"]), &[])), ["2024-04-03", "2024-04-17"]);
}

#[test]
fn what_fits_both_orders_is_one_question_that_holds_the_rows() {
    let log = log(&["01/02/2024", "01/03/2024", "01/04/2024"]);
    let outcome = read_with(&log, &[]);
    assert_eq!(keys(&outcome), ["date_order_unclear:date"]);
    assert!(days(&outcome).is_empty());
    let finding = outcome.findings.iter().find(|finding| finding.code == "date_order_unclear").unwrap();
    assert_eq!(finding.proposed, None);
    assert_eq!(serde_json::to_value(&finding.held).unwrap()[0]["rows"], json!([[2, 4]]));
    let key = "date_order_unclear:date";
    assert_eq!(days(&read_with(&log, &[(key, "day_first", None)])), ["2024-02-01", "2024-03-01", "2024-04-01"]);
    assert_eq!(days(&read_with(&log, &[(key, "month_first", None)])), ["2024-01-02", "2024-01-03", "2024-01-04"]);
}

#[test]
fn rows_in_sequence_under_one_order_only_propose_it() {
    let log = log(&["05/02/2024", "12/02/2024", "04/03/2024"]);
    let outcome = read_with(&log, &[]);
    let finding = outcome.findings.iter().find(|finding| finding.code == "date_order_unclear").unwrap();
    assert_eq!(finding.proposed.as_ref().map(|answer| answer.choice.as_str()), Some("day_first"));
}

#[test]
fn both_orders_proved() {
    let log = log(&["19/02/2024", "03/04/2024", "04/25/2024", "05/06/2024"]);
    let key = "date_order_mixed:date";
    assert_eq!(keys(&read_with(&log, &[])), [key]);
    let shown = days(&read_with(&log, &[(key, "as_shown", None)]));
    assert_eq!(shown, ["2024-02-19", "2024-04-03", "2024-04-25", "2024-05-06"]);
}

#[test]
fn years_left_out_or_short() {
    let outcome = read_with(&log(&["13/01/24", "20/01/24"]), &[]);
    assert_eq!(days(&outcome), ["2024-01-13", "2024-01-20"]);
    assert!(outcome.findings.iter().any(|finding| finding.code == "date_year_short"));
    let without = log(&["20/11", "04/12", "18/12", "01/01", "15/01"]);
    let titled = format!("Tests of winter 2023\n{without}");
    let key = "date_year_missing:date";
    let outcome = read_with(&titled, &[]);
    assert_eq!(keys(&outcome), [key]);
    let found = days(&read_with(&titled, &[(key, "year", None)]));
    assert_eq!(found, ["2023-11-20", "2023-12-04", "2023-12-18", "2024-01-01", "2024-01-15"]);
    let found = days(&read_with(&without, &[(key, "other", Some(json!(2022)))]));
    assert_eq!(found[0], "2022-11-20");
}

#[test]
fn months_where_days_are_wanted_are_asked_about_once() {
    let log = log(&["2024-01", "February 2024", "03/2024"]);
    let key = "date_month_only:date";
    let outcome = read_with(&log, &[]);
    assert_eq!(keys(&outcome), [key]);
    assert_eq!(days(&outcome).len(), 0);
    let found = days(&read_with(&log, &[(key, "of_month", Some(json!(31)))]));
    assert_eq!(found, ["2024-01-31", "2024-02-29", "2024-03-31"]);
    assert_eq!(keys(&read_with(&log, &[(key, "of_month", Some(json!(0)))])), [key]);
    // One month among days is a slip of that cell.
    let one = self::log(&["2024-01-07", "February 2024", "2024-03-03"]);
    assert_eq!(keys(&read_with(&one, &[])), ["date_unreadable:February 2024"]);
}

#[test]
fn impossible_future_and_unreadable_days() {
    let log = log(&["2024-02-14", "2024-02-30", "2025-03-01", "last week", "2024-03-14"]);
    let outcome = read_with(&log, &[]);
    assert_eq!(
        keys(&outcome),
        ["date_impossible:2024-02-30", "date_in_future:2025-03-01", "date_unreadable:last week"]
    );
    assert_eq!(days(&outcome).len(), 2);
    let answers = [
        ("date_impossible:2024-02-30", "day", None),
        ("date_in_future:2025-03-01", "last_year", None),
        ("date_unreadable:last week", "day", Some(json!("2024-03-07"))),
    ];
    let found = days(&read_with(&log, &answers));
    assert_eq!(found, ["2024-02-14", "2024-02-29", "2024-03-01", "2024-03-07", "2024-03-14"]);
}

#[test]
fn a_year_that_was_not_turned() {
    let log = log(&["2023-12-13", "2023-12-20", "2023-01-03", "2023-01-10", "2024-01-17", "2024-01-24"]);
    let key = "date_out_of_order:date:2023-01-03";
    assert_eq!(keys(&read_with(&log, &[])), [key]);
    assert_eq!(days(&read_with(&log, &[(key, "next_year", None)]))[2..4], ["2024-01-03", "2024-01-10"]);
    assert_eq!(days(&read_with(&log, &[(key, "right", None)]))[2..4], ["2023-01-03", "2023-01-10"]);
}

#[test]
fn day_numbers_of_a_spreadsheet() {
    let log = log(&["45352", "45359"]);
    let key = "date_number:date";
    assert_eq!(keys(&read_with(&log, &[])), [key]);
    assert_eq!(days(&read_with(&log, &[(key, "yes", None)])), ["2024-03-01", "2024-03-08"]);
}

#[test]
fn a_row_without_a_day() {
    let log = "Date,KH (dKH),NO3\n2024-03-14,8.2,5\n,8.3,\n2024-03-21,8.1,6\n";
    let key = "date_missing:row 3";
    assert_eq!(keys(&read_with(log, &[])), [key]);
    let found = read_with(log, &[(key, "other", Some(json!("2024-03-18")))]);
    assert!(days(&found).contains(&"2024-03-18".to_owned()));
    let above = read_with(log, &[(key, "above", None)]);
    // The row above has a test of its own that day: two readings to ask about.
    assert!(keys(&above)[0].starts_with("row_conflict"));
    // The day above stands in the row above, not where the same test was done last.
    let log = "Date,KH (dKH),NO3\n2024-03-01,8.2,5\n2024-03-15,8.3,\n,,6\n";
    let above = read_with(log, &[("date_missing:row 4", "above", None)]);
    assert_eq!(days(&above), ["2024-03-01", "2024-03-01", "2024-03-15", "2024-03-15"]);
}

#[test]
fn times_and_offsets_as_written() {
    let outcome = read_with(&log(&["2024-03-14T19:30", "2024-03-15 7:05 pm", "2024-03-16T19:30+02:00"]), &[]);
    assert_eq!(days(&outcome), ["2024-03-14T19:30", "2024-03-15T19:05", "2024-03-16T19:30+02:00"]);
    let log = "Date,Time,KH (dKH)\n2024-03-14,19:30,8.2\n";
    assert_eq!(days(&read_with(log, &[])), ["2024-03-14T19:30"]);
}

#[test]
fn months_in_five_languages() {
    let outcome =
        read_with(&log(&["5 March 2024", "6. März 2024", "7 mars 2024", "8 de marzo de 2024", "9 maart 2024"]), &[]);
    assert_eq!(days(&outcome), ["2024-03-05", "2024-03-06", "2024-03-07", "2024-03-08", "2024-03-09"]);
}

#[test]
fn many_rows_without_a_day_are_one_question() {
    let row = |at: u32| match at % 4 {
        3 => format!(",,{}\n", 2 + at % 3),
        _ => format!("2024-03-{:02},{},\n", at + 1, 7 + at % 3),
    };
    let text = |rows: u32| format!("Date,KH (dKH),NO3\n{}", (0..rows).map(row).collect::<String>());
    let few = read("few.csv", text(20).as_bytes(), &Context::default());
    assert_eq!(few.findings.iter().filter(|finding| finding.key.starts_with("date_missing:row ")).count(), 5);
    let many = read("many.csv", text(28).as_bytes(), &Context::default());
    let asked: Vec<_> = many.findings.iter().filter(|finding| finding.code == "date_missing").collect();
    let [one] = asked.as_slice() else { panic!("{asked:?}") };
    assert_eq!((one.key.as_str(), one.held[0].rows.len()), ("date_missing:rows", 7));
    assert_eq!(one.message, "On what day was row 5, and each other row without a day?");
    let answers = vec![Answer { key: one.key.clone(), choice: "above".to_owned(), value: None }];
    let answered = read("many.csv", text(28).as_bytes(), &Context { answers, ..Context::default() });
    let readings = answered.records.iter().filter(|record| matches!(record, Record::Reading(_))).count();
    assert_eq!((readings, answered.cells.findings), (28, 0));
}

#[test]
fn days_in_an_unknown_way_of_writing_are_one_question() {
    let rows: String = (0..30).map(|at| format!("the {at} of it,{}\n", 7 + at % 3)).collect();
    let text = format!("Date,KH (dKH)\n{rows}");
    let outcome = read("a.csv", text.as_bytes(), &Context::default());
    let questions: Vec<&str> =
        outcome.findings.iter().filter(|f| !f.choices.is_empty()).map(|f| f.key.as_str()).collect();
    assert_eq!(questions, ["dates_unreadable:date"]);
    let answers = vec![Answer { key: "dates_unreadable:date".to_owned(), choice: "leave_out".to_owned(), value: None }];
    let left = read("a.csv", text.as_bytes(), &Context { answers, ..Context::default() });
    assert_eq!((left.cells.findings, left.cells.labels), (0, 62));
}
