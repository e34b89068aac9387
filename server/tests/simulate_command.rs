//! `strandline simulate` as a person calls it: the text, the one object, and what cannot be asked.

use std::process::{Command, Output};

use serde_json::Value;

fn strandline(line: &str) -> Output {
    Command::new(env!("CARGO_BIN_EXE_strandline")).args(line.split_whitespace()).output().unwrap()
}

#[test]
fn a_study_of_two_clubs_prints_the_same_figures_as_text_and_as_an_object() {
    let object = strandline("simulate --clubs 2 --seed 3 --json");
    let study: Value = serde_json::from_slice(&object.stdout).unwrap();
    assert_eq!((study["clubs"].as_u64(), study["seed"].as_u64()), (Some(2), Some(3)));
    assert_eq!(study["coverage"]["lines"].as_array().unwrap().len(), 12);
    let all_hold = study["verdicts"].as_array().unwrap().iter().all(|verdict| verdict["holds"] == true);
    assert_eq!(object.status.code(), Some(i32::from(!all_hold)));
    let text = String::from_utf8(strandline("simulate --clubs 2 --seed 3").stdout).unwrap();
    let alive = study["sightings"]["truth"].as_f64().unwrap();
    assert!(text.contains(&format!("truly {alive:.2}")), "{text}");
    assert_eq!(
        text.matches("MISSED:").count() + text.matches("holds: ").count(),
        study["verdicts"].as_array().unwrap().len()
    );
}

#[test]
fn a_study_without_clubs_is_a_wrong_call() {
    let output = strandline("simulate --clubs 0");
    assert_eq!(output.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&output.stderr).contains("--clubs"));
}
