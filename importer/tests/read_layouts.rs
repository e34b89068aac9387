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

/// Months by their names alone over tests, or beside them: one question, with the year of the sheet or a question for it.
#[test]
fn months_by_their_names_alone_ask_once() {
    let names = [
        ("Test", "Jan,Feb,Mar,Apr,May,Jun,Jul,Aug,Sep,Oct,Nov,Dec"),
        ("Messung", "Jan,Feb,März,Apr,Mai,Juni,Juli,Aug,Sept,Okt,Nov,Dez"),
        ("Mesure", "janv.,févr.,mars,avril,mai,juin,juillet,août,sept.,oct.,nov.,déc."),
        ("Medida", "ene,feb,mar,abr,may,jun,jul,ago,sep,oct,nov,dic"),
        ("Meting", "jan,feb,mrt,apr,mei,jun,jul,aug,sep,okt,nov,dec"),
    ];
    for (corner, months) in names {
        let values = |from: f64| {
            (0..12).map(|month| format!("{:.1}", from + f64::from(month % 3) / 10.0)).collect::<Vec<_>>().join(",")
        };
        let body = format!("Temp (°C),{}\nKH (dKH),{}\nPO4 (mg/l),{}\n", values(25.0), values(8.0), values(0.1));
        let year_asked = outcome(&format!("{corner},{months}\n{body}"));
        assert_eq!(asked(&year_asked), ["date_year_missing"], "{corner}");
        for text in [format!("2024,{months}\n{body}"), format!("Tests 2024\n{corner},{months}\n{body}")] {
            let outcome = outcome(&text);
            assert_eq!(asked(&outcome), ["date_month_only"], "{text}");
            assert_eq!(outcome.about.layouts, ["transposed"], "{text}");
        }
        let rows: String = months.split(',').map(|month| format!("{month},25.1,8.2\n")).collect();
        assert_eq!(asked(&outcome(&format!("2024\nDate,Temp (°C),KH (dKH)\n{rows}"))), ["date_month_only"], "{corner}");
        assert_eq!(asked(&outcome(&format!("Date,Temp (°C),KH (dKH)\n{rows}"))), ["date_year_missing"], "{corner}");
    }
    // The first of each month, as answered; the year goes up after December.
    let context = Context {
        answers: vec![importer::finding::Answer {
            key: "date_month_only:date".into(),
            choice: "day".into(),
            value: Some(serde_json::json!(1)),
        }],
        ..Context::default()
    };
    let text = "2023,Nov,Dec,Jan\nKH (dKH),8.1,8.2,8.3\n";
    let outcome = read("log.csv", text.as_bytes(), &context);
    let days: Vec<String> = readings(&outcome).into_iter().map(|(.., day, _)| day).collect();
    assert_eq!(days, ["2023-11-01", "2023-12-01", "2024-01-01"]);
}

/// Goals beside tests are kept as written, in five languages; a span of the day and food for one coral are no goals.
#[test]
fn columns_of_goals_ask_nothing() {
    for header in [
        "KH Soll",
        "Soll KH",
        "KH (Sollwert)",
        "Zielwert KH",
        "target KH",
        "KH target",
        "KH goal",
        "Ideal KH",
        "KH setpoint",
        "KH cible",
        "Consigne KH",
        "Objectif KH",
        "KH objetivo",
        "Consigna KH",
        "KH streefwaarde",
        "Streef KH",
        "KH gewenst",
        "doel",
    ] {
        let text = format!("Date,KH,{header},NO3\n2025-03-02,8.2,8.0,5\n2025-03-09,8.1,8.0,6\n2025-03-16,8.1,8.0,6\n");
        let outcome = outcome(&text);
        assert_eq!(asked(&outcome), [""; 0], "{header}");
        assert_eq!(readings(&outcome).len(), 6, "{header}");
        assert!(outcome.findings.iter().any(|finding| finding.code == "column_of_goals"), "{header}");
    }
    for header in ["Target feeding (a week)", "Temp range", "Remarks on goals of this year"] {
        let text = format!("Date,KH,{header}\n2025-03-02,8.2,2\n2025-03-09,8.1,2\n2025-03-16,8.1,3\n");
        let outcome = outcome(&text);
        assert!(outcome.findings.iter().all(|finding| finding.code != "column_of_goals"), "{header}");
    }
}

/// The day of a list right below its last coral is no coral.
#[test]
fn the_day_of_a_list_below_it_is_no_coral() {
    let list = "Label,Species,Got,Died\nC1,Goniopora stokesi,2023-03-01,2024-02-01\nC2,Pavona cactus,2023-03-05,\n";
    for (below, asks) in [
        ("as of 2025-01-01\ncomplete since 2023-01-01\n", &[][..]),
        ("Stand:,2025-01-01\nVollständig seit:,2023-01-01\n", &[]),
        ("Liste arrêtée au 2025-01-01,,,\nComplète depuis le 2023-01-01,,,\n", &[]),
        ("Estado a 2025-01-01\n", &["complete_since_missing"]),
        ("Bijgewerkt op,2025-01-01\nVolledig bijgehouden sinds,2023-01-01\n", &[]),
    ] {
        let outcome = outcome(&format!("{list}{below}"));
        let corals = outcome.records.iter().filter(|record| matches!(record, Record::Specimen(_))).count();
        assert_eq!((corals, asked(&outcome)), (2, asks.to_vec()), "{below}");
        let seen = outcome.records.iter().find_map(|record| match record {
            Record::Sighting(sighting) => Some(sighting.on.to_string()),
            _ => None,
        });
        assert_eq!(seen.as_deref(), Some("2025-01-01"), "{below}");
    }
}

/// Rows of words under days that run across: what was done, what was lost, remarks.
#[test]
fn rows_of_words_under_days_are_read_on_their_days() {
    for (remarks, change, carbon, losses, dead) in [
        ("Notes", "water change 10 %", "carbon changed", "Losses", "Pavona cactus dead"),
        ("Notiz", "Wasserwechsel 10 %", "Kohle gewechselt", "Verluste", "Pavona cactus tot"),
        ("Remarques", "changement d'eau de 10 %", "charbon changé", "Pertes", "Pavona cactus mort"),
        ("Notas", "cambio de agua del 10 %", "carbón cambiado", "Bajas", "Pavona cactus muerta"),
        ("Opmerkingen", "waterwissel van 10 %", "kool vervangen", "Verliezen", "Pavona cactus dood"),
    ] {
        let text = format!(
            "Test,02/03/2025,16/03/2025,30/03/2025\nTemp (°C),25.1,25.2,25.3\nKH,8.1,8.2,8.0\n{remarks},{change},,{carbon}\n{losses},,{dead},\n"
        );
        let outcome = outcome(&text);
        assert_eq!(outcome.about.layouts, ["transposed"], "{text}");
        assert_eq!(readings(&outcome).len(), 6, "{text}");
        let told: Vec<(String, String)> = outcome
            .records
            .iter()
            .filter_map(|record| match record {
                Record::Event(event) => Some((event.event.clone(), event.taken.to_string())),
                _ => None,
            })
            .collect();
        let event = |code: &str, day: &str| (code.to_owned(), day.to_owned());
        assert_eq!(told, [event("water_change", "2025-03-02"), event("carbon", "2025-03-30")], "{text}");
        // Nobody has told of that coral before: it is asked about, and not lost.
        assert_eq!(asked(&outcome), ["coral_unknown"], "{text}");
    }
}

/// Two header rows: day and time in the upper one, with the tanks over the columns of the lower.
#[test]
fn day_and_time_stand_a_row_above_the_other_headers() {
    let values = "02/03/2025,18:00,25.1,8.2,24.9,7.8\n16/03/2025,18:30,25.2,8.1,25.0,7.9\n";
    for upper in ["Date,Time,Tank Alder,,Tank Brook,", "Date,Time,Alder,,Brook,"] {
        let outcome = outcome(&format!("{upper}\n,,Temp,KH,Temp,KH\n{values}"));
        assert_eq!(asked(&outcome), [""; 0], "{upper}");
        let found: Vec<(String, String, String)> =
            readings(&outcome).into_iter().map(|(_, _, parameter, tank, day, _)| (parameter, tank, day)).collect();
        assert_eq!(found.len(), 8, "{upper}");
        let one = |parameter: &str, day: &str| {
            found.iter().any(|(p, t, d)| p == parameter && t.ends_with("Brook") && d == day)
        };
        assert!(one("alkalinity", "2025-03-02T18:00") && one("temperature", "2025-03-16T18:30"), "{upper}: {found:?}");
    }
}

#[test]
fn a_file_of_which_most_falls_out_is_asked_about() {
    let lines: String = (1..13).map(|at| format!("on the {at}th it was 8.{at} in all,,\n")).collect();
    let log = format!("{lines},,\nDate,KH (dKH),NO3\n2024-03-14,8.2,5\n");
    let key = "table_kind_unclear:most cells outside the tables";
    let outcome = read("log.csv", log.as_bytes(), &Context::default());
    let asked = outcome.findings.iter().find(|finding| finding.key == key);
    assert!(asked.is_some_and(|asked| asked.cells.len() >= 10), "{:?}", outcome.findings);
    let answers = vec![importer::finding::Answer { key: key.to_owned(), choice: "none".to_owned(), value: None }];
    let outcome = read("log.csv", log.as_bytes(), &Context { answers, ..Context::default() });
    assert_eq!((outcome.cells.recorded, outcome.cells.findings), (3, 0));
}
