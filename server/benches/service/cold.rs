//! The first question after a start, beside R on the same records.

use std::process::Command;
use std::time::Instant;

use crate::club::Large;
use crate::process::Served;

pub fn run(served: &mut Served, club: &Large) {
    let http = served.http();
    let mut best = f64::INFINITY;
    let mut body = serde_json::Value::Null;
    let mut stages = Vec::new();
    for _ in 0..3 {
        served.again();
        let began = Instant::now();
        let url = format!("{}/api/v1/taxa/goniopora/survival?by=nitrate", served.address);
        let answer = http.get(url).bearer_auth(&served.token).send().expect("an answer");
        assert_eq!(answer.status(), 200);
        let bytes = answer.bytes().expect("bytes");
        let seconds = began.elapsed().as_secs_f64();
        if seconds < best {
            best = seconds;
            body = serde_json::from_slice(&bytes).expect("JSON");
            let log = std::fs::read_to_string(served.log()).expect("a log");
            stages = log.lines().filter_map(|line| Some(line.split_once("stage=")?.1.to_owned())).collect();
        }
    }
    let out = Command::new("Rscript")
        .arg(concat!(env!("CARGO_MANIFEST_DIR"), "/benches/service/cold.R"))
        .args([club.room.join("readings.csv"), club.room.join("specimens.csv")])
        .output()
        .expect("Rscript");
    assert!(out.status.success(), "{}", String::from_utf8_lossy(&out.stderr));
    let r = String::from_utf8_lossy(&out.stdout).into_owned();
    let of_r = |name: &str| -> f64 {
        let line = r.lines().find_map(|line| line.strip_prefix(&format!("{name} "))).unwrap_or_else(|| panic!("{r}"));
        line.trim().parse().expect("a number")
    };
    println!("\nthe first survival?by=nitrate of a server that has just started, best of three: {best:.2} s");
    stages.iter().for_each(|stage| println!("    {stage}"));
    println!("R: {:.2} s", of_r("total"));
    for name in ["read", "episodes", "curves", "cox"] {
        println!("    {name:10} {:.2} s", of_r(name));
    }
    let ratio = best / of_r("total");
    println!("{ratio:.3} of R's time (<= 0.05) {}", if ratio <= 0.05 { "met" } else { "MISSED" });
    // The same figures, or the comparison is of nothing.
    // Each takes the level with most deaths, or the first, for reference: differences of coefficients are the same.
    let against_within = |level: &str| if level == "within" { 0.0 } else { of_r(&format!("coef.{level}")) };
    for coefficient in body["result"]["cox"]["coefficients"].as_array().expect("coefficients") {
        let name = coefficient["name"].as_str().expect("a name").trim_start_matches("nitrate:");
        let reference = coefficient["reference"].as_str().expect("a name");
        let own = coefficient["coef"].as_f64().expect("a number");
        let theirs = against_within(name) - against_within(reference);
        println!("coefficient of {name} against {reference}: {own:.9}, R {theirs:.9}");
        assert!((own - theirs).abs() < 1e-6, "not the same episodes");
    }
    for group in body["result"]["groups"].as_array().expect("groups") {
        let name = group["group"].as_str().expect("a name");
        let (own, theirs) = (group["events"].as_f64().expect("deaths"), of_r(&format!("deaths.{name}")));
        assert_eq!(own, theirs, "deaths of {name}");
        let days = group["evidence"]["specimen_days"].as_f64().expect("days");
        assert!((days - of_r(&format!("days.{name}"))).abs() < 0.5, "days of {name}");
        println!("{name}: {own} deaths in {days} specimen-days, in R as well");
    }
}
