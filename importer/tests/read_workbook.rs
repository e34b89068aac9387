//! Workbooks: a register on one sheet, tests on another, real dates, dates that a program swapped or made.

use chrono::NaiveDate;
use importer::context::{Context, KnownTank, Outcome};
use importer::finding::{Answer, Severity};
use importer::read::read;
use importer::record::Record;
use rust_xlsxwriter::{ExcelDateTime, Format, Workbook, Worksheet};

fn keys(outcome: &Outcome) -> Vec<&str> {
    let open = outcome.findings.iter().filter(|finding| finding.severity == Severity::Questioned);
    open.map(|finding| finding.key.as_str()).collect()
}

fn put_day(sheet: &mut Worksheet, row: u32, column: u16, day: (u16, u8, u8)) {
    let date = ExcelDateTime::from_ymd(day.0, day.1, day.2).unwrap();
    sheet.write_datetime_with_format(row, column, &date, &Format::new().set_num_format("dd/mm/yyyy")).unwrap();
}

fn words(sheet: &mut Worksheet, row: u32, cells: &[&str]) {
    for (column, cell) in (0u16..).zip(cells) {
        if !cell.is_empty() {
            sheet.write_string(row, column, *cell).unwrap();
        }
    }
}

#[test]
fn a_register_and_tests_in_one_book() {
    let mut book = Workbook::new();
    let corals = book.add_worksheet();
    corals.set_name("My corals").unwrap();
    words(corals, 0, &["Register of the north reef", "", "as of 1 May 2024"]);
    words(corals, 2, &["Tag", "Kind", "Home tank", "Bought", "Lost on", "How"]);
    words(corals, 3, &["N1", "Goniopora stokesi", "North"]);
    put_day(corals, 3, 3, (2023, 2, 3));
    put_day(corals, 3, 4, (2024, 1, 20));
    words(corals, 4, &["N2", "Acropora tenuis", "North"]);
    put_day(corals, 4, 3, (2023, 5, 14));
    corals.write_string(3, 5, "died").unwrap();
    let tests = book.add_worksheet();
    tests.set_name("North").unwrap();
    words(tests, 0, &["Day", "Nitrate ppm", "KH dKH"]);
    for (row, nitrate) in [(1u32, 6.5), (2, 8.0)] {
        put_day(tests, row, 0, (2024, 3, row as u8));
        tests.write_number(row, 1, nitrate).unwrap();
        tests.write_number(row, 2, 8.2).unwrap();
    }
    let bytes = book.save_to_buffer().unwrap();
    let context = Context {
        today: NaiveDate::from_ymd_opt(2024, 6, 1),
        keeper_known: true,
        tanks: vec![
            KnownTank { name: "North".into(), aliases: vec![] },
            KnownTank { name: "South".into(), aliases: vec![] },
        ],
        ..Context::default()
    };
    let outcome = read("book.xlsx", &bytes, &context);
    assert_eq!(keys(&outcome), ["complete_since_missing"], "{:#?}", outcome.findings);
    assert_eq!(outcome.about.as_of, NaiveDate::from_ymd_opt(2024, 5, 1));
    assert_eq!(outcome.about.layouts, ["register", "wide"]);
    let kinds: Vec<&str> = outcome
        .records
        .iter()
        .map(|record| match record {
            Record::Specimen(_) => "specimen",
            Record::Ending(_) => "ending",
            Record::Reading(_) => "reading",
            Record::Sighting(_) => "sighting",
            Record::Stay(_) => "stay",
            Record::Tank(_) => "tank",
            _ => "other",
        })
        .collect();
    let count = |kind: &str| kinds.iter().filter(|own| **own == kind).count();
    assert_eq!(
        (count("specimen"), count("ending"), count("reading"), count("sighting"), count("stay"), count("tank")),
        (2, 1, 4, 1, 2, 1)
    );
    let reading = outcome
        .records
        .iter()
        .find_map(|record| match record {
            Record::Reading(reading) if reading.place.row == 3 && reading.place.column == 2 => Some(reading),
            _ => None,
        })
        .unwrap();
    assert_eq!(
        (reading.value, reading.tank.as_deref(), reading.place.sheet.as_deref()),
        (Some(8.0), Some("North"), Some("North"))
    );
    let cells = outcome.cells;
    assert_eq!(cells.total, cells.recorded + cells.labels + cells.findings);
}

#[test]
fn days_that_the_program_read_month_first() {
    let mut book = Workbook::new();
    let sheet = book.add_worksheet();
    words(sheet, 0, &["Date", "KH dKH"]);
    // Written 05/02, 12/02, 19/02, 26/02, 04/03, 11/03; the program made dates of those it could.
    for (row, day) in [(1u32, (2024, 5, 2)), (2, (2024, 12, 2)), (5, (2024, 4, 3)), (6, (2024, 11, 3))] {
        put_day(sheet, row, 0, day);
    }
    words(sheet, 3, &["19/02/2024"]);
    words(sheet, 4, &["26/02/2024"]);
    for row in 1..7 {
        sheet.write_number(row, 1, 8.0 + f64::from(row) / 10.0).unwrap();
    }
    let bytes = book.save_to_buffer().unwrap();
    let outcome = read("book.xlsx", &bytes, &Context::default());
    assert_eq!(keys(&outcome), ["date_swapped:date"]);
    let answers = vec![Answer { key: "date_swapped:date".into(), choice: "swap".into(), value: None }];
    let outcome = read("book.xlsx", &bytes, &Context { answers, ..Context::default() });
    let days: Vec<String> = outcome
        .records
        .iter()
        .filter_map(|record| match record {
            Record::Reading(reading) => Some(reading.taken.to_string()),
            _ => None,
        })
        .collect();
    assert_eq!(days, ["2024-02-05", "2024-02-12", "2024-02-19", "2024-02-26", "2024-03-04", "2024-03-11"]);
}

#[test]
fn a_range_that_became_a_date_and_a_broken_formula() {
    let mut book = Workbook::new();
    let sheet = book.add_worksheet();
    words(sheet, 0, &["Date", "NO3"]);
    for row in 1..5 {
        put_day(sheet, row, 0, (2024, 3, 13 + row as u8));
    }
    sheet.write_number(1, 1, 6).unwrap();
    put_day(sheet, 2, 1, (2024, 10, 5));
    sheet.write_formula(3, 1, rust_xlsxwriter::Formula::new("=1/0").set_result("#DIV/0!")).unwrap();
    sheet.write_number(4, 1, 7).unwrap();
    let bytes = book.save_to_buffer().unwrap();
    let outcome = read("book.xlsx", &bytes, &Context::default());
    assert_eq!(keys(&outcome), ["number_became_date:no3"]);
    assert!(
        outcome.findings.iter().any(|finding| finding.code == "formula_error" && finding.row == Some(4)),
        "{:#?}",
        outcome.findings
    );
    let answers = vec![Answer { key: "number_became_date:no3".into(), choice: "between".into(), value: None }];
    let outcome = read("book.xlsx", &bytes, &Context { answers, ..Context::default() });
    let interval = outcome
        .records
        .iter()
        .any(|record| matches!(record, Record::Reading(r) if r.lower == Some(5.0) && r.upper == Some(10.0)));
    assert!(interval);
}

#[test]
fn the_same_coral_on_two_sheets_is_one() {
    let mut book = Workbook::new();
    for (name, end) in [("2023", None), ("2024", Some((2024, 2, 20)))] {
        let sheet = book.add_worksheet();
        sheet.set_name(name).unwrap();
        words(sheet, 0, &["Label", "Species", "Acquired", "Died"]);
        words(sheet, 1, &["A1", "Acropora tenuis"]);
        put_day(sheet, 1, 2, (2022, 3, 14));
        if let Some(end) = end {
            put_day(sheet, 1, 3, end);
        }
    }
    let bytes = book.save_to_buffer().unwrap();
    let outcome = read("book.xlsx", &bytes, &Context::default());
    let specimens = outcome.records.iter().filter(|record| matches!(record, Record::Specimen(_))).count();
    let endings = outcome.records.iter().filter(|record| matches!(record, Record::Ending(_))).count();
    let alive = outcome.records.iter().filter(|record| matches!(record, Record::Sighting(_))).count();
    assert_eq!((specimens, endings, alive), (1, 1, 0), "{:#?}", outcome.findings);
    assert_eq!(keys(&outcome), ["complete_since_missing"]);
}
