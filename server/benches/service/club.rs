//! A large club as its files: a keeper's list of corals and a table of tests each, drawn by a fixed rule.

use std::path::{Path, PathBuf};

use chrono::{Days, NaiveDate};
use importer::finding::Answer;
use serde_json::{Value, json};
use server::client::NewFile;

use crate::process::Served;

const PARAMETERS: usize = 8;
const CORALS: usize = 10;
/// Days between tests of a tank.
const GAP: usize = 7;

pub struct Large {
    pub folder: PathBuf,
    pub room: PathBuf,
    pub keepers: usize,
    pub readings: usize,
    registers: Vec<String>,
    last: NaiveDate,
}

/// A linear congruential generator (Knuth's MMIX constants): the same club everywhere.
struct Chance(u64);

impl Chance {
    fn unit(&mut self) -> f64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 11) as f64 / (1_u64 << 53) as f64
    }
}

fn first() -> NaiveDate {
    NaiveDate::from_ymd_opt(2019, 1, 1).expect("a day")
}

fn day(number: usize) -> NaiveDate {
    first() + Days::new(number as u64)
}

pub fn keeper(number: usize) -> String {
    format!("keeper{number:03}")
}

impl Large {
    /// Writes the files, and the same records as two plain tables for R.
    pub fn write(room: &Path, keepers: usize, readings: usize) -> Self {
        let folder = room.join("logs");
        let tests = readings / keepers / PARAMETERS;
        let days = tests * GAP;
        let mut chance = Chance(2026);
        let mut registers = Vec::new();
        let mut rows = String::from("tank,parameter,day,value\n");
        let mut specimens = String::from("keeper,tank,acquired,ended,died\n");
        for number in 0..keepers {
            let own = folder.join(keeper(number));
            std::fs::create_dir_all(&own).expect("a folder");
            let mut table = String::from("Date,Tank,Temp °C,Salinity PSU,Alk dKH,Ca,Mg,NO3,PO4,pH\n");
            // Nitrate stays for some months and goes elsewhere: below, within or above 5 to 15 mg/L.
            let mut levels = Vec::new();
            let mut level = [2.0, 10.0, 25.0][(chance.unit() * 3.0) as usize];
            for test in 0..tests {
                if chance.unit() < 0.04 {
                    level = [2.0, 10.0, 25.0][(chance.unit() * 3.0) as usize];
                }
                // Some do not test for a quarter of a year: their days are unknown.
                if number % 5 == 0 && (100..112).contains(&test) {
                    continue;
                }
                let step = test % 7;
                let at = day(test * GAP);
                table += &format!(
                    "{at},Reef,25.{step},34.{step},8.{step},42{step},131{step},{level},0.0{},8.1{step}\n",
                    step + 1
                );
                let values = [25.0, 34.0, 8.0, 420.0, 1310.0].map(|value: f64| value + step as f64 / 10.0);
                for (code, value) in
                    ["temperature", "salinity", "alkalinity", "calcium", "magnesium"].into_iter().zip(values)
                {
                    rows += &format!("{number},{code},{},{value}\n", test * GAP);
                }
                rows += &format!("{number},nitrate,{},{level}\n", test * GAP);
                rows += &format!("{number},phosphate,{},0.0{}\n", test * GAP, step + 1);
                rows += &format!("{number},ph,{},8.1{step}\n", test * GAP);
                levels.push((test * GAP, level));
            }
            std::fs::write(own.join("tests.csv"), table).expect("written");
            let mut register = String::from("ID,Coral,Acquired,Tank,Date died\n");
            for coral in 0..CORALS {
                let acquired = 60 + (chance.unit() * (days as f64 * 0.7)) as usize;
                let mut end = None;
                for at in acquired + 1..days {
                    let level = levels.iter().rev().find(|(test, _)| test + 14 < at).map_or(10.0, |(_, level)| *level);
                    let daily = if level > 15.0 { 0.0008 } else { 0.0004 };
                    if chance.unit() < daily {
                        end = Some(at);
                        break;
                    }
                }
                let died = end.map(|at| day(at).to_string()).unwrap_or_default();
                register += &format!("C{coral:02},Goniopora sp.,{},Reef,{died}\n", day(acquired));
                specimens +=
                    &format!("{number},{number},{acquired},{},{}\n", end.unwrap_or(days), u8::from(end.is_some()));
            }
            registers.push(register);
        }
        std::fs::write(room.join("readings.csv"), rows).expect("written");
        std::fs::write(room.join("specimens.csv"), specimens).expect("written");
        Large { folder, room: room.to_owned(), keepers, readings, registers, last: day(days) }
    }

    /// Hands in everybody's corals and says that all others live.
    pub fn register(&self, served: &Served) {
        let curator = served.curator();
        let _: Value = served
            .http()
            .patch(format!("{}/api/v1/settings", served.address))
            .bearer_auth(&served.token)
            .json(&json!({"publish": true, "name": "A large club"}))
            .send()
            .and_then(|answer| answer.error_for_status()?.json())
            .expect("settings");
        for (number, register) in self.registers.iter().enumerate() {
            let keeper = keeper(number);
            let _: Value = curator.post("/keepers", &json!({"handle": keeper})).expect("a member");
            let file =
                NewFile { name: "corals.csv", keeper: Some(&keeper), as_of: Some(self.last), ..NewFile::default() };
            let sent = curator.upload(&file, register.clone().into_bytes(), None).expect("received");
            curator.settled(sent.upload.id).expect("read");
            let answers: Vec<Answer> = curator
                .findings(sent.upload.id)
                .expect("findings")
                .into_iter()
                .filter(|finding| !finding.choices.is_empty())
                .map(|finding| match finding.code.as_str() {
                    "complete_since_missing" => {
                        Answer { key: finding.key, choice: "day".to_owned(), value: Some(json!(first())) }
                    }
                    "no_losses_listed" => Answer { key: finding.key, choice: "yes".to_owned(), value: None },
                    other => panic!("{other}: {}", finding.message),
                })
                .collect();
            curator.answer(sent.upload.id, &answers).expect("answered");
            curator.commit(sent.upload.id, false).expect("committed");
            let seen: Result<Value, _> =
                curator.post(&format!("/roll-call?keeper={keeper}"), &json!({"on": self.last}));
            seen.expect("all seen alive");
        }
        println!("{} keepers, {} corals on record", self.keepers, self.keepers * CORALS);
    }
}
