//! Which tank: a column; a title; the sheet's or file's name if it is a tank the keeper has; the caller's; the keeper's
//! only tank; otherwise one question. A keeper without a tank and a file that names none: "main".

use importer::context::{Context, KnownTank, Outcome};
use importer::finding::{Answer, Severity};
use importer::read::read;
use importer::record::Record;

const TESTS: &str = "Date,KH (dKH)\n2024-03-14,8.2\n2024-03-21,8.3\n";

fn keeper(tanks: &[&str]) -> Context {
    Context {
        keeper_known: true,
        tanks: tanks.iter().map(|name| KnownTank { name: (*name).to_owned(), aliases: Vec::new() }).collect(),
        ..Context::default()
    }
}

fn tanks(outcome: &Outcome) -> Vec<String> {
    outcome
        .records
        .iter()
        .filter_map(|record| match record {
            Record::Reading(reading) => reading.tank.clone(),
            _ => None,
        })
        .collect()
}

fn codes(outcome: &Outcome) -> Vec<&str> {
    outcome.findings.iter().map(|finding| finding.code.as_str()).collect()
}

#[test]
fn a_column_makes_its_tanks() {
    let log = "Date,Tank,KH (dKH)\n2024-03-14,North,8.2\n2024-03-14,South,8.3\n";
    let outcome = read("log.csv", log.as_bytes(), &keeper(&["North"]));
    assert_eq!(tanks(&outcome), ["North", "South"]);
    assert_eq!(codes(&outcome), ["tank_made"]);
}

#[test]
fn a_title_names_the_tank_and_its_volume() {
    let log = format!("Tank: North (250 L)\n{TESTS}");
    let outcome = read("log.csv", log.as_bytes(), &keeper(&["South", "West"]));
    assert_eq!(tanks(&outcome), ["North", "North"]);
    let litres = outcome.records.iter().find_map(|record| match record {
        Record::Tank(tank) => tank.litres,
        _ => None,
    });
    assert_eq!(litres, Some(250.0));
}

#[test]
fn the_file_name_counts_only_if_the_keeper_has_that_tank() {
    let outcome = read("south.csv", TESTS.as_bytes(), &keeper(&["North", "South"]));
    assert_eq!(tanks(&outcome), ["South", "South"]);
    let outcome = read("tests of south 2024.csv", TESTS.as_bytes(), &keeper(&["North", "South"]));
    assert_eq!(tanks(&outcome), ["South", "South"]);
    let outcome = read("east.csv", TESTS.as_bytes(), &keeper(&["North", "South"]));
    assert_eq!(codes(&outcome), ["tank_unnamed"]);
}

#[test]
fn an_alias_is_its_tank() {
    let mut context = keeper(&["North", "South"]);
    context.tanks[1].aliases.push("Old Reef".to_owned());
    let outcome = read("old_reef.csv", TESTS.as_bytes(), &context);
    assert_eq!(tanks(&outcome), ["South", "South"]);
}

#[test]
fn the_callers_tank_comes_before_the_only_one() {
    let context = Context { tank: Some("West".to_owned()), ..keeper(&["North"]) };
    let outcome = read("log.csv", TESTS.as_bytes(), &context);
    assert_eq!(tanks(&outcome), ["West", "West"]);
    assert_eq!(codes(&outcome), ["tank_made"]);
}

#[test]
fn the_only_tank_is_taken_with_a_note() {
    let outcome = read("log.csv", TESTS.as_bytes(), &keeper(&["North"]));
    assert_eq!(tanks(&outcome), ["North", "North"]);
    assert_eq!(codes(&outcome), ["tank_assumed"]);
}

#[test]
fn a_keeper_without_a_tank_gets_main() {
    let outcome = read("log.csv", TESTS.as_bytes(), &keeper(&[]));
    assert_eq!(tanks(&outcome), ["main", "main"]);
    assert_eq!(codes(&outcome), ["tank_assumed"]);
}

#[test]
fn otherwise_one_question_holds_the_table() {
    let context = keeper(&["North", "South"]);
    let outcome = read("log.csv", TESTS.as_bytes(), &context);
    assert!(tanks(&outcome).is_empty());
    assert_eq!(codes(&outcome), ["tank_unnamed"]);
    let question = &outcome.findings[0];
    assert_eq!((question.severity, outcome.cells.findings), (Severity::Questioned, 4));
    for (choice, value) in [("tank", "South"), ("new", "East")] {
        let answer = Answer { key: question.key.clone(), choice: choice.to_owned(), value: Some(value.into()) };
        let answered = read("log.csv", TESTS.as_bytes(), &Context { answers: vec![answer], ..context.clone() });
        assert_eq!(tanks(&answered), [value, value]);
    }
}

#[test]
fn a_near_name_is_asked_about_and_case_is_joined() {
    let log = "Date,Tank,KH (dKH)\n2024-03-14,Alders,8.2\n2024-03-21,Alders,8.3\n2024-03-28, ALDER,8.1\n";
    let context = keeper(&["Alder", "Brook"]);
    let outcome = read("log.csv", log.as_bytes(), &context);
    assert_eq!(tanks(&outcome), ["Alder"]);
    assert_eq!(codes(&outcome), ["tank_name_near", "tank_spelling_joined"]);
    let key = outcome.findings[0].key.clone();
    for (choice, expected) in [("one", "Alder"), ("two", "Alders")] {
        let answer = Answer { key: key.clone(), choice: choice.to_owned(), value: None };
        let answered = read("log.csv", log.as_bytes(), &Context { answers: vec![answer], ..context.clone() });
        let mut found = tanks(&answered);
        found.sort();
        assert_eq!(found.iter().filter(|tank| *tank == expected).count(), if choice == "one" { 3 } else { 2 });
    }
}

#[test]
fn numbered_tanks_are_not_near() {
    let log = "Date,Tank,KH (dKH)\n2024-03-14,Tank 2,8.2\n";
    let outcome = read("log.csv", log.as_bytes(), &keeper(&["Tank 1"]));
    assert_eq!(tanks(&outcome), ["Tank 2"]);
}

#[test]
fn a_tank_question_leaves_corals_and_deaths_alone() {
    let log =
        "Label,Species,Acquired,Died\nA,Goniopora stokesi,2023-01-14,2024-02-15\nB,Goniopora stokesi,2023-02-16,\n";
    let outcome = read("log.csv", log.as_bytes(), &keeper(&["North", "South"]));
    assert!(codes(&outcome).contains(&"tank_unnamed"));
    let kinds = |is: fn(&Record) -> bool| outcome.records.iter().filter(|record| is(record)).count();
    assert_eq!(kinds(|record| matches!(record, Record::Specimen(_))), 2);
    assert_eq!(kinds(|record| matches!(record, Record::Ending(_))), 1);
    assert_eq!(kinds(|record| matches!(record, Record::Stay(_))), 0);
}

#[test]
fn a_column_of_other_things_makes_no_tanks_without_end() {
    let row = |at: u32| format!("2024-03-{:02},box {},8.{}\n", at % 28 + 1, at * 7919, at % 10);
    let log = format!("Date,Tank,KH (dKH)\n{}", (0..600).map(row).collect::<String>());
    let answers = |choice: &str| vec![Answer { key: "tanks_too_many".into(), choice: choice.into(), value: None }];
    let asked = read("a.csv", log.as_bytes(), &Context::default());
    let tanks = |outcome: &Outcome| outcome.records.iter().filter(|record| matches!(record, Record::Tank(_))).count();
    let held = asked.findings.iter().find(|finding| finding.key == "tanks_too_many").unwrap();
    assert_eq!((tanks(&asked), held.cells.len()), (500, 300), "{:?}", held.held);
    let left = read("a.csv", log.as_bytes(), &Context { answers: answers("leave_out"), ..Context::default() });
    assert_eq!((tanks(&left), left.cells.findings), (500, 0));
}

#[test]
fn a_title_may_say_the_tank_in_the_words_of_a_keeper() {
    let context = keeper(&["Salon", "Willow"]);
    for (title, tank) in [
        ("Willow tank", "Willow"),
        ("The Willow tank 2024", "Willow"),
        ("Bac du salon", "Salon"),
        ("Water tests Willow", "Willow"),
        ("Willow – Messwerte", "Willow"),
        ("Mediciones del acuario Salon", "Salon"),
    ] {
        let outcome = read("log.csv", format!("{title}\n{TESTS}").as_bytes(), &context);
        assert_eq!(tanks(&outcome), [tank, tank], "{title}");
        assert!(codes(&outcome).is_empty(), "{title}: {:?}", codes(&outcome));
    }
    for title in ["Moved from Willow", "Willow and Salon", "Notes"] {
        let outcome = read("log.csv", format!("{title}\n{TESTS}").as_bytes(), &context);
        assert!(tanks(&outcome).is_empty(), "{title}");
        assert_eq!(codes(&outcome), ["tank_unnamed"], "{title}");
    }
}

#[test]
fn a_list_below_leaves_the_tables_their_names() {
    let sizes = "\nSkeleton widths\nMeasured on,Coral,Width (mm)\n2024-03-14,Torch,52\n2024-04-14,Torch,53\n";
    let log = format!("North room\n{TESTS}\nSouth room\n{TESTS}{sizes}");
    let outcome = read("log.csv", log.as_bytes(), &keeper(&[]));
    assert_eq!(tanks(&outcome), ["North room", "North room", "South room", "South room"]);
    // A part of the year over each table is no tank.
    for (one, other) in
        [("Spring 2024", "Autumn 2024"), ("Erstes Halbjahr", "Zweites Halbjahr"), ("Semaine 1", "Semaine 2")]
    {
        let later = TESTS.replace("2024", "2025");
        let outcome = read("log.csv", format!("{one}\n{TESTS}\n{other}\n{later}").as_bytes(), &keeper(&["North"]));
        assert_eq!(tanks(&outcome), ["North"; 4], "{one}");
    }
}
