//! What written values become, and what answers make of doubtful ones. Conversions are checked against published
//! numbers: specific gravity and conductivity by EOS-80 and PSS-78 (UNESCO Technical Papers in Marine Science 44),
//! ratios of molar masses by IUPAC's abridged atomic weights.

use importer::context::{Context, KnownInstrument, Outcome};
use importer::finding::{Answer, Severity};
use importer::read::read;
use importer::record::{Qualifier, Reading, Record};
use serde_json::Value;

fn readings(outcome: &Outcome) -> Vec<&Reading> {
    outcome
        .records
        .iter()
        .filter_map(|record| match record {
            Record::Reading(reading) => Some(reading),
            _ => None,
        })
        .collect()
}

fn column(header: &str, cells: &[&str]) -> String {
    let mut log = format!("Date,{header}\n");
    for (day, cell) in (14..).zip(cells) {
        log.push_str(&format!("2024-03-{day},\"{cell}\"\n"));
    }
    log
}

fn read_with(log: &str, answers: &[(&str, &str, Option<Value>)]) -> Outcome {
    let answers = answers.iter().map(|(key, choice, value)| Answer {
        key: (*key).into(),
        choice: (*choice).into(),
        value: value.clone(),
    });
    read("log.csv", log.as_bytes(), &Context { answers: answers.collect(), ..Context::default() })
}

fn questions(outcome: &Outcome) -> Vec<&str> {
    let open = outcome.findings.iter().filter(|finding| finding.severity == Severity::Questioned);
    open.map(|finding| finding.key.as_str()).collect()
}

fn near(found: Option<f64>, expected: f64) {
    let found = found.expect("a value");
    assert!((found - expected).abs() <= 1e-9 * expected.abs(), "{found} for {expected}");
}

/// The value of the cell in a row, after answers.
fn value(log: &str, row: u32, answers: &[(&str, &str, Option<Value>)]) -> Option<f64> {
    let outcome = read_with(log, answers);
    readings(&outcome).iter().find(|reading| reading.place.row == row).and_then(|reading| reading.value)
}

#[test]
fn units_from_the_header() {
    for (header, cell, expected) in [
        ("Temp °F", "78", 25.555555555555557),
        ("Alk meq/L", "2.8532196801", 8.0),
        ("Alk ppm", "142.7836724504", 8.0),
        ("NO3-N mg/L", "1", 4.426643820947),
        ("PO4 ppb", "60", 0.06),
        ("PO4-P ppb", "1", 0.003066135848),
        ("SG 20/20", "1.0264", 34.7328283557),
        ("SG 25/25", "1.026", 34.5082302333),
        ("Oxygen mL/L", "1", 1.4290180246),
        ("Strontium µg/L", "8000", 8.0),
    ] {
        let found = value(&column(header, &[cell]), 2, &[]).unwrap_or_else(|| panic!("{header}"));
        assert!((found - expected).abs() < 2e-9 * expected.abs().max(0.1), "{header}: {found} for {expected}");
    }
}

#[test]
fn what_a_written_value_is() {
    let outcome =
        read_with(&column("NO3", &["<0.5", ">50", "5-10", "5 to 10", "0", "-", "not tested", "~8", "7"]), &[]);
    let found: Vec<_> =
        readings(&outcome).iter().map(|r| (r.qualifier, r.value, r.lower, r.upper, r.flags.join(","))).collect();
    let none = String::new();
    assert_eq!(found[0], (Qualifier::Below, Some(0.5), Some(0.0), Some(0.5), none.clone()));
    assert_eq!(found[1], (Qualifier::Above, Some(50.0), Some(50.0), None, none.clone()));
    assert_eq!(found[2], (Qualifier::Interval, None, Some(5.0), Some(10.0), none.clone()));
    assert_eq!(found[3].0, Qualifier::Interval);
    assert_eq!(found[4], (Qualifier::Equal, Some(0.0), Some(0.0), Some(0.0), "zero_reported".to_owned()));
    assert_eq!(found[5], (Qualifier::Equal, Some(8.0), Some(8.0), Some(8.0), "approximate".to_owned()));
    assert_eq!(found.len(), 7);
    assert!(questions(&outcome).is_empty());
}

#[test]
fn not_detected_needs_a_limit() {
    let log = column("NO3", &["5", "ND"]);
    assert_eq!(questions(&read_with(&log, &[])), ["limit_missing:no3"]);
    let outcome = read_with(&log, &[("limit_missing:no3", "limit", Some(0.2.into()))]);
    let last = readings(&outcome)[1];
    assert_eq!((last.qualifier, last.value, last.upper), (Qualifier::Below, Some(0.2), Some(0.2)));
    let outcome = read_with(&log, &[("limit_missing:no3", "dont_know", None)]);
    let last = readings(&outcome)[1];
    assert_eq!((last.qualifier, last.value, last.lower, last.upper), (Qualifier::Interval, None, Some(0.0), None));
    // In the header, or as a fact of the keeper's kit, it is no question.
    assert!(questions(&read_with(&column("NO3 (limit 0.2)", &["5", "ND"]), &[])).is_empty());
    let kit = KnownInstrument {
        tank: None,
        parameter: "nitrate".into(),
        limit: Some(0.5),
        step: None,
        reference: None,
        basis: None,
    };
    let outcome = read("log.csv", log.as_bytes(), &Context { instruments: vec![kit], ..Context::default() });
    assert_eq!(readings(&outcome)[1].value, Some(0.5));
}

#[test]
fn fahrenheit_among_celsius() {
    let log = column("Temp C", &["25.1", "25.3", "77.4"]);
    let key = "fahrenheit_or_celsius:temp c";
    assert_eq!(questions(&read_with(&log, &[])), [key]);
    near(value(&log, 4, &[(key, "yes", None)]), 25.22222222222222);
    // Not Fahrenheit: then it cannot be.
    let outcome = read_with(&log, &[(key, "no", None)]);
    assert!(outcome.findings.iter().any(|finding| finding.code == "outside_limits"));
    // A column of Fahrenheit that names no unit is no question.
    let log = column("Temp", &["77.1", "78.0"]);
    assert!(questions(&read_with(&log, &[])).is_empty());
    near(value(&log, 3, &[]), 25.555555555555557);
}

#[test]
fn salinity_in_its_dresses() {
    let log = column("SG 25/25", &["1.0255", "1026", "35"]);
    near(value(&log, 3, &[("gravity_without_point:sg 25 25", "yes", None)]), 34.5082302333);
    near(value(&log, 4, &[("gravity_or_salinity:sg 25 25", "yes", None)]), 35.0);
    let log = column("SG", &["1.0264"]);
    let key = "gravity_reference_missing:sg";
    near(value(&log, 2, &[(key, "25/25", None)]), 35.0360037272);
    near(value(&log, 2, &[(key, "60/60F", None)]), 34.4038974201);
    let outcome = read_with(&log, &[(key, "dont_know", None)]);
    let unsure = readings(&outcome)[0];
    assert_eq!((unsure.qualifier, unsure.flags.clone()), (Qualifier::Interval, vec!["reference_unknown".to_owned()]));
    near(unsure.lower, 34.3584377142);
    near(unsure.upper, 35.0360037272);
    let log = column("Salinity", &["34.8", "53.0"]);
    let key = "conductivity_in_salinity:salinity";
    near(value(&log, 3, &[(key, "yes_25", None)]), 34.9472992726);
    let log = "Date,Temp C,Salinity\n2024-03-14,20,34.8\n2024-03-15,20,47.9\n";
    near(value_of(log, "salinity", 3, &[(key, "yes_raw", None)]), 34.9852099663);
}

fn value_of(log: &str, parameter: &str, row: u32, answers: &[(&str, &str, Option<Value>)]) -> Option<f64> {
    let outcome = read_with(log, answers);
    readings(&outcome).iter().find(|r| r.place.row == row && r.parameter.as_str() == parameter).and_then(|r| r.value)
}

#[test]
fn alkalinity_in_three_units() {
    let log = column("Alk", &["8.1", "8.3", "8.2", "150", "2.9"]);
    let outcome = read_with(&log, &[]);
    assert_eq!(questions(&outcome), ["alkalinity_unit:alk:mg/L", "alkalinity_unit:alk:meq/L"]);
    near(value(&log, 5, &[("alkalinity_unit:alk:mg/L", "yes", None)]), 150.0 / 17.847959056298);
    near(value(&log, 6, &[("alkalinity_unit:alk:meq/L", "yes", None)]), 2.9 * 2.80385);
    near(value(&log, 6, &[("alkalinity_unit:alk:meq/L", "no", None)]), 2.9);
    // A tank that is low all the time is low.
    assert!(questions(&read_with(&column("KH dKH", &["5.1", "4.8", "5.0"]), &[])).is_empty());
}

#[test]
fn phosphate_in_ppb_then_its_basis() {
    let log = column("PO4", &["0.05", "0.04", "18"]);
    let (scale, basis) = ("phosphate_scale:po4", "basis_unclear:po4:ppb");
    assert_eq!(questions(&read_with(&log, &[])), [scale]);
    assert_eq!(questions(&read_with(&log, &[(scale, "yes", None)])), [basis]);
    near(value(&log, 4, &[(scale, "yes", None), (basis, "first", None)]), 0.018);
    near(value(&log, 4, &[(scale, "yes", None), (basis, "second", None)]), 0.018 * 3.066135847629);
}

#[test]
fn decimal_marks() {
    near(value(&column("Temp C", &["25.1", "25,4"]), 3, &[]), 25.4);
    near(value(&column("Mg", &["1300", "1,310"]), 3, &[]), 1310.0);
    let log = column("PAR", &["150", "1,310"]);
    near(value(&log, 3, &[("decimal_unclear:par", "second", None)]), 1310.0);
    near(value(&log, 3, &[("decimal_unclear:par", "first", None)]), 1.31);
    let log = "Datum;Magnesium;KH\n2024-03-14;1.310;8,2\n2024-03-15;1300;8,3\n";
    near(value_of(log, "magnesium", 2, &[]), 1310.0);
}

#[test]
fn slips_and_pairs() {
    let log = column("Ca", &["430", "425", "4300", "428"]);
    near(value(&log, 4, &[("digit_shifted:ca:4300", "yes", None)]), 430.0);
    let log = column("KH dKH", &["8.2", "8.1/8.3"]);
    let key = "two_numbers:kh dkh";
    let both = read_with(&log, &[(key, "two_tests", None)]);
    let pair: Vec<_> =
        readings(&both).iter().filter(|r| r.place.row == 3).map(|r| (r.value, r.flags.join(","))).collect();
    assert_eq!(pair, [(Some(8.1), "replicate".to_owned()), (Some(8.3), "replicate".to_owned())]);
    near(value(&log, 3, &[(key, "corrected", None)]), 8.3);
    let span = read_with(&log, &[(key, "span", None)]);
    assert!(readings(&span).iter().any(|r| r.lower == Some(8.1) && r.upper == Some(8.3) && r.value.is_none()));
    let log = column("Temp C", &["25.0", "24.8-25.6"]);
    let day = read_with(&log, &[("span_or_interval:temp c", "span", None)]);
    let pair: Vec<_> = readings(&day).iter().filter(|r| r.place.row == 3).map(|r| r.value).collect();
    assert_eq!(pair, [Some(24.8), Some(25.6)]);
}

#[test]
fn a_zero_that_cannot_be() {
    let log = column("pH", &["8.1", "0", "8.2"]);
    let key = "zero_not_possible:ph";
    assert_eq!(questions(&read_with(&log, &[])), [key]);
    assert_eq!(readings(&read_with(&log, &[(key, "not_tested", None)])).len(), 2);
}

#[test]
fn one_day_two_values() {
    let log = "Date,Tank,Test,Value,Unit\n2024-03-14,A,KH,8.0,dKH\n2024-03-14,A,KH,8.4,dKH\n2024-03-14,A,KH,8.0,dKH\n";
    let outcome = read_with(log, &[]);
    let key = "row_conflict:a|alkalinity|2024-03-14";
    assert_eq!(questions(&outcome), [key]);
    assert!(readings(&outcome).is_empty());
    let kept = |choice: &str| -> Vec<Option<f64>> {
        readings(&read_with(log, &[(key, choice, None)])).iter().map(|r| r.value).collect()
    };
    assert_eq!(kept("two_tests"), [Some(8.0), Some(8.4)]);
    assert_eq!(kept("first_wrong"), [Some(8.4)]);
    assert_eq!(kept("second_wrong"), [Some(8.0)]);
    // With times of their own they are two tests.
    let log = "Date,Tank,Test,Value,Unit\n2024-03-14T08:00,A,KH,8.0,dKH\n2024-03-14T20:00,A,KH,8.4,dKH\n";
    assert_eq!(readings(&read_with(log, &[])).len(), 2);
}

#[test]
fn saturation_with_the_water_of_the_day() {
    let log = "Date,Temp C,Salinity,O2 %\n2024-03-14,25,35,100\n";
    near(value_of(log, "oxygen", 2, &[]), 6.7712311838);
}

#[test]
fn a_step_of_the_factor_between_nitrogen_and_nitrate() {
    let log = column("NO3", &["8.9", "8.8", "9.0", "8.8", "8.9", "2.0", "2.0", "2.1", "2.0", "2.0"]);
    let key = "basis_unclear:no3:step";
    assert_eq!(questions(&read_with(&log, &[])), [key]);
    near(value(&log, 7, &[(key, "second", None)]), 2.0 * 4.426643820947);
    near(value(&log, 7, &[(key, "first", None)]), 2.0);
}

#[test]
fn a_probe_that_hung() {
    let mut log = String::from("Date,Time,pH\n");
    for hour in 0..48 {
        let ph = if (20..34).contains(&hour) { 8.11 } else { 8.05 + f64::from(hour % 5) * 0.02 };
        log.push_str(&format!("2024-03-{:02},{:02}:00,{ph:.2}\n", 14 + hour / 24, hour % 24));
    }
    let outcome = read_with(&log, &[]);
    let asked = questions(&outcome);
    assert!(asked.len() == 1 && asked[0].starts_with("probe_stuck:ph:2024-03-14"), "{asked:?}");
    let key = asked[0].to_owned();
    let kept = readings(&read_with(&log, &[(&key, "yes", None)])).len();
    assert!((34..=35).contains(&kept), "{kept}");
    assert_eq!(readings(&read_with(&log, &[(&key, "no", None)])).len(), 48);
}
