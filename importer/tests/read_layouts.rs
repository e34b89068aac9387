//! Layouts other than a row a day: what is read from each, by the cell in which a person sees it.

use importer::context::{Context, Outcome};
use importer::finding::Severity;
use importer::read::read;
use importer::record::Record;

fn outcome(text: &str) -> Outcome {
    let context = Context { today: chrono::NaiveDate::from_ymd_opt(2025, 6, 30), ..Context::default() };
    let outcome = read("log.csv", text.as_bytes(), &context);
    let cells = &outcome.cells;
    assert_eq!(cells.total, cells.recorded + cells.labels + cells.findings);
    outcome
}

fn asked(outcome: &Outcome) -> Vec<&str> {
    let mut codes: Vec<&str> = outcome
        .findings
        .iter()
        .filter(|finding| finding.severity != Severity::Noted)
        .map(|finding| finding.code.as_str())
        .collect();
    codes.sort_unstable();
    codes
}

/// (row, column, parameter, tank, day, value) of each reading.
fn readings(outcome: &Outcome) -> Vec<(u32, u32, String, String, String, f64)> {
    outcome
        .records
        .iter()
        .filter_map(|record| {
            let Record::Reading(_) = record else { return None };
            let place = record.place();
            let json = serde_json::to_value(record).unwrap();
            let text = |name: &str| json[name].as_str().unwrap_or_default().to_owned();
            Some((place.row, place.column, text("parameter"), text("tank"), text("taken"), json["value"].as_f64()?))
        })
        .collect()
}

fn one(
    row: u32,
    column: u32,
    parameter: &str,
    tank: &str,
    day: &str,
    value: f64,
) -> (u32, u32, String, String, String, f64) {
    (row, column, parameter.to_owned(), tank.to_owned(), day.to_owned(), value)
}

#[test]
fn days_across_keep_the_place_of_each_cell() {
    let outcome =
        outcome("Copse,,06/01/24,13/01/24,Average\nTemperature,°C,25.1,25.3,25.2\nAlkalinity,dKH,8.2,8.3,8.2\n");
    assert_eq!(outcome.about.layouts, ["transposed"]);
    assert_eq!(asked(&outcome), [""; 0]);
    assert_eq!(
        readings(&outcome),
        [
            one(2, 3, "temperature", "Copse", "2024-01-06", 25.1),
            one(2, 4, "temperature", "Copse", "2024-01-13", 25.3),
            one(3, 3, "alkalinity", "Copse", "2024-01-06", 8.2),
            one(3, 4, "alkalinity", "Copse", "2024-01-13", 8.3),
        ]
    );
}

#[test]
fn days_as_numbers_take_the_month_of_their_own_title() {
    let text = "March 2024\nDay,KH,NO3\n2,8.1,5\n30,8.0,5\n\nApril 2024\nDay,KH,NO3\n6,8.1,6\n";
    let outcome = outcome(text);
    assert_eq!(asked(&outcome), [""; 0]);
    let days: Vec<String> = readings(&outcome).into_iter().map(|reading| reading.4).collect();
    assert_eq!(days, ["2024-03-02", "2024-03-02", "2024-03-30", "2024-03-30", "2024-04-06", "2024-04-06"]);
    // A month without its year gives no day.
    let outcome = self::outcome(&text.replace("April 2024", "April"));
    assert_eq!(readings(&outcome).len(), 4);
    assert!(!asked(&outcome).is_empty());
}

#[test]
fn blocks_side_by_side_have_the_tank_of_their_title() {
    let outcome = outcome(
        "Alder,,,,Brook,,\nDate,Temp C,KH,,Date,Temp C,KH\n2024-09-07,25.2,8.1,,2024-09-07,24.8,7.6\n2024-09-14,25.3,8.0,,2024-09-14,24.9,7.5\n",
    );
    assert_eq!(outcome.about.layouts, ["blocks"]);
    assert_eq!(asked(&outcome), [""; 0]);
    assert_eq!(readings(&outcome)[2], one(3, 6, "temperature", "Brook", "2024-09-07", 24.8));
}

#[test]
fn a_report_takes_the_day_of_the_sample_and_never_the_day_of_the_report() {
    let report = "Sample:,Copse\nDate of sample:,2024-05-11\nDate of report:,2024-05-20\n\nAnalyte,Result,Unit,Reference\nMain elements\nCalcium,428,mg/L,400 - 450\nCopper,< 0.3,µg/L,< 2\n";
    let outcome = outcome(report);
    assert_eq!(outcome.about.layouts, ["laboratory"]);
    assert_eq!(asked(&outcome), [""; 0]);
    assert_eq!(readings(&outcome)[0], one(7, 2, "calcium", "Copse", "2024-05-11", 428.0));
    assert_eq!(readings(&outcome).len(), 2);
    // Only the report's own day: asked, once for the table.
    let outcome = self::outcome(&report.replace("Date of sample:,2024-05-11\n", ""));
    assert_eq!(asked(&outcome), ["date_missing"]);
    assert_eq!(readings(&outcome), []);
}

#[test]
fn numbers_under_unknown_names_are_asked_about_and_not_dropped() {
    let outcome = outcome("Element;Alder;Brook;Unit\nCalcium;425;418;mg/l\nMagnesium;1330;1310;mg/l\n");
    assert!(outcome.cells.findings >= 4, "{:?}", outcome.cells);
}

#[test]
fn keys_left_blank_below_the_first_are_taken_from_above() {
    let outcome = outcome(
        "Date,Tank,Test,Value,Unit\n12/10/2024,Hollow,Temperature,25.4,C\n,,KH,8.3,dKH\n,,Nitrate,6,ppm\n19/10/2024,Hollow,Temperature,25.2,C\n,,KH,8.1,dKH\n",
    );
    assert_eq!(asked(&outcome), [""; 0]);
    assert_eq!(readings(&outcome)[1], one(3, 4, "alkalinity", "Hollow", "2024-10-12", 8.3));
    let place = outcome.records.iter().find(|record| record.place().row == 3).unwrap().place();
    assert!(place.cells.iter().any(|cell| (cell.row, cell.column, cell.role.as_str()) == (2, 1, "date")));
}

#[test]
fn names_over_columns_are_tanks_where_the_columns_are_alike_or_the_keeper_has_them() {
    let alike = outcome(",Alder,,Brook,\nDate,KH,NO3,KH,NO3\n2024-10-05,8.1,5,7.6,12\n2024-10-12,8.0,6,7.7,14\n");
    assert_eq!((asked(&alike), alike.about.layouts.clone()), (vec![], vec!["blocks".to_owned()]));
    let tanks: Vec<String> = readings(&alike).into_iter().map(|reading| reading.3).collect();
    assert_eq!(tanks, ["Alder", "Alder", "Brook", "Brook", "Alder", "Alder", "Brook", "Brook"]);
    // Times of day over the same columns are no tanks: asked about, not guessed.
    let turns = outcome(",Morning,,Evening,\nDate,pH,Temp C,pH,Temp C\n2024-10-05,8.1,25,8.3,25.6\n");
    assert_eq!(asked(&turns), ["column_twice", "column_twice"]);
    assert_eq!(readings(&turns), []);
    // Groups of parameters are none either.
    let groups = outcome(",Basics,,Nutrients,\nDate,KH,Ca,NO3,PO4\n2024-10-05,8.1,420,5,0.04\n");
    assert!(readings(&groups).iter().all(|reading| reading.3 == "main"));
    // Different tests of two tanks that the keeper has.
    let context = Context {
        today: chrono::NaiveDate::from_ymd_opt(2025, 6, 30),
        keeper_known: true,
        tanks: ["Alder", "Brook"]
            .map(|name| importer::context::KnownTank { name: name.to_owned(), aliases: Vec::new() })
            .to_vec(),
        ..Context::default()
    };
    let text = ",Alder,,Brook,\nDate,KH,Ca,NO3,PO4\n2024-10-05,8.1,420,5,0.04\n";
    let known = read("log.csv", text.as_bytes(), &context);
    let tanks: Vec<String> = readings(&known).into_iter().map(|reading| reading.3).collect();
    assert_eq!(tanks, ["Alder", "Alder", "Brook", "Brook"]);
    assert_eq!(asked(&known), [""; 0]);
}

#[test]
fn a_column_outside_the_names_over_columns_is_asked_about() {
    let text = ",,Alder,,Brook,\nDate,Mg,KH,NO3,KH,NO3\n2024-10-05,1300,8.1,5,7.6,12\n2024-10-12,1310,8.0,6,7.7,14\n";
    let outcome = outcome(text);
    assert_eq!(asked(&outcome), ["tank_unnamed"]);
    assert_eq!(readings(&outcome).len(), 8);
}
