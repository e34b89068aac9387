//! A published case: a JSON file with the expected numbers and their tolerance, and usually a table of data beside it.
//!
//! Numbers agree if `|got - want| <= rel_tolerance * max(|want|, 1e-8)`; `null` wants no number at all.

use std::cell::RefCell;
use std::collections::{BTreeMap, BTreeSet};
use std::path::PathBuf;

use serde_json::Value;

/// One file of `tests/reference`, with the comparisons made so far.
pub struct Case {
    name: String,
    file: Value,
    tolerance: f64,
    compared: usize,
    worst: Option<Worst>,
    failures: Vec<String>,
    used: BTreeSet<String>,
}

/// The comparison that used most of its tolerance.
struct Worst {
    path: String,
    expected: f64,
    ours: f64,
    error: f64,
    tolerance: f64,
}

/// A finished case: its comparison that is worst against what the case allows.
#[derive(Debug, Clone)]
pub struct Finished {
    /// The case.
    pub case: String,
    /// What it is about.
    pub statistic: String,
    /// Numbers compared.
    pub compared: usize,
    /// Where the worst comparison stands below `expected`.
    pub path: String,
    /// The published number.
    pub expected: f64,
    /// Ours.
    pub ours: f64,
    /// Relative error.
    pub error: f64,
    /// What is allowed.
    pub tolerance: f64,
}

thread_local! {
    /// The cases finished by this thread, in their order.
    static FINISHED: RefCell<Vec<Finished>> = const { RefCell::new(Vec::new()) };
}

/// Takes the cases that this thread has finished.
#[allow(dead_code, reason = "only the table of all cases reads them")]
pub fn finished() -> Vec<Finished> {
    FINISHED.with_borrow_mut(std::mem::take)
}

/// A table read from a CSV file; an empty field is missing.
pub struct Table {
    columns: BTreeMap<String, Vec<String>>,
}

fn folder() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("tests/reference")
}

impl Case {
    /// Reads `name.json`.
    pub fn open(name: &str) -> Case {
        let path = folder().join(format!("{name}.json"));
        let text = std::fs::read_to_string(&path).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
        let file: Value = serde_json::from_str(&text).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
        let tolerance = file["rel_tolerance"].as_f64().expect("every case states its tolerance");
        Case {
            name: name.into(),
            file,
            tolerance,
            compared: 0,
            worst: None,
            failures: Vec::new(),
            used: BTreeSet::new(),
        }
    }

    /// The names of all cases in the folder.
    #[allow(dead_code, reason = "only the table of all cases reads them")]
    pub fn all() -> BTreeSet<String> {
        let files = std::fs::read_dir(folder()).expect("the folder of cases");
        let paths =
            files.map(|file| file.expect("a file").path()).filter(|path| path.extension().is_some_and(|e| e == "json"));
        let named = paths.filter(|path| {
            let text = std::fs::read_to_string(path).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
            serde_json::from_str::<Value>(&text).is_ok_and(|file| file["expected"].is_object())
        });
        named.filter_map(|path| Some(path.file_stem()?.to_string_lossy().into_owned())).collect()
    }

    /// The table that the case names.
    pub fn data(&self) -> Table {
        Table::open(self.file["data"].as_str().expect("the case names its data"))
    }

    /// The expected value at a path below `expected`, keys joined by `/`. The first key counts as covered.
    pub fn expected(&mut self, path: &str) -> Value {
        let mut value = &self.file["expected"];
        for key in path.split('/').filter(|key| !key.is_empty()) {
            value = match key.parse::<usize>() {
                Ok(index) if value.is_array() => &value[index],
                _ => value.get(key).unwrap_or_else(|| panic!("{}: no expected {path}", self.name)),
            };
        }
        if let Some(first) = path.split('/').next() {
            self.used.insert(first.to_string());
        }
        value.clone()
    }

    /// Compares one number, or its absence.
    pub fn number(&mut self, path: &str, got: Option<f64>) {
        let want = self.expected(path);
        self.against(path, &want, got);
    }

    /// Compares a list at another tolerance than the case's, which its own notes must state.
    #[allow(dead_code, reason = "not every program of tests has such a case")]
    pub fn numbers_to(&mut self, path: &str, got: &[f64], tolerance: f64) {
        let notes = self.file["notes"].as_str().unwrap_or_default();
        assert!(notes.contains(&format!("{tolerance:e}")), "{}: its notes do not state {tolerance:e}", self.name);
        let own = std::mem::replace(&mut self.tolerance, tolerance);
        self.numbers(path, got);
        self.tolerance = own;
    }

    /// Compares a list of numbers, in order and length.
    pub fn list(&mut self, path: &str, got: &[Option<f64>]) {
        let want = self.expected(path);
        // One number may stand for a list of one.
        let want = match want {
            Value::Array(list) => list,
            single => vec![single],
        };
        if want.len() != got.len() {
            self.failures.push(format!("{path}: {} values, expected {}", got.len(), want.len()));
        }
        for (index, (want, got)) in want.iter().zip(got).enumerate() {
            self.against(&format!("{path}[{index}]"), want, *got);
        }
    }

    /// Compares a list of numbers that all exist.
    pub fn numbers(&mut self, path: &str, got: &[f64]) {
        let got: Vec<Option<f64>> = got.iter().copied().map(Some).collect();
        self.list(path, &got);
    }

    /// Compares a matrix row by row.
    pub fn matrix(&mut self, path: &str, got: &[Vec<f64>]) {
        let rows = self.expected(path).as_array().map_or(0, Vec::len);
        if rows != got.len() {
            self.failures.push(format!("{path}: {} rows, expected {rows}", got.len()));
        }
        for (index, row) in got.iter().enumerate().take(rows) {
            self.numbers(&format!("{path}/{index}"), row);
        }
    }

    /// Says that a key below `expected` is deliberately not compared.
    pub fn skip(&mut self, key: &str) {
        self.expected(key);
    }

    fn against(&mut self, path: &str, want: &Value, got: Option<f64>) {
        self.compared += 1;
        match (want, got) {
            (Value::Null, None) => {}
            (Value::Number(number), Some(got)) => {
                let want = number.as_f64().unwrap_or(f64::NAN);
                let error = (got - want).abs() / want.abs().max(1e-8);
                if error.is_nan() || error > self.tolerance {
                    self.failures.push(format!("{path}: {got}, expected {want} (relative error {error:e})"));
                }
                let share = error / self.tolerance;
                if self.worst.as_ref().is_none_or(|worst| share.is_nan() || share > worst.error / worst.tolerance) {
                    let tolerance = self.tolerance;
                    self.worst = Some(Worst { path: path.to_owned(), expected: want, ours: got, error, tolerance });
                }
            }
            // A matrix of one row and one column in place of a number.
            (Value::Array(list), _) if list.len() == 1 => {
                self.compared -= 1;
                self.against(path, &list[0].clone(), got);
            }
            (want, got) => self.failures.push(format!("{path}: {got:?}, expected {want}")),
        }
    }

    /// Prints the case with its worst relative error; fails on any difference, and if a part of `expected` was neither
    /// compared nor deliberately skipped.
    pub fn finish(self) {
        let keys: Vec<String> =
            self.file["expected"].as_object().map(|o| o.keys().cloned().collect()).unwrap_or_default();
        let missed: Vec<&String> = keys.iter().filter(|key| !self.used.contains(*key)).collect();
        if let Some(worst) = &self.worst {
            println!(
                "{:<40} {:>5} numbers, worst relative error {:.1e} of {:.0e}",
                self.name, self.compared, worst.error, worst.tolerance
            );
            let finished = Finished {
                case: self.name.clone(),
                statistic: self.file["statistic"].as_str().unwrap_or_default().to_owned(),
                compared: self.compared,
                path: worst.path.clone(),
                expected: worst.expected,
                ours: worst.ours,
                error: worst.error,
                tolerance: worst.tolerance,
            };
            FINISHED.with_borrow_mut(|all| all.push(finished));
        }
        assert!(self.failures.is_empty(), "{}:\n{}", self.name, self.failures.join("\n"));
        assert!(missed.is_empty(), "{}: never looked at {missed:?}", self.name);
        assert!(self.compared > 0, "{}: nothing was compared", self.name);
    }
}

impl Table {
    fn open(file: &str) -> Table {
        let path = folder().join(file);
        let mut reader = csv::Reader::from_path(&path).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
        let headers = reader.headers().expect("a header line").clone();
        let mut columns: BTreeMap<String, Vec<String>> =
            headers.iter().map(|name| (name.to_string(), Vec::new())).collect();
        for record in reader.records() {
            let record = record.unwrap_or_else(|e| panic!("{}: {e}", path.display()));
            for (name, field) in headers.iter().zip(record.iter()) {
                if let Some(column) = columns.get_mut(name) {
                    column.push(field.to_string());
                }
            }
        }
        Table { columns }
    }

    /// A column as written.
    pub fn text(&self, name: &str) -> &[String] {
        self.columns.get(name).unwrap_or_else(|| panic!("no column {name}"))
    }

    /// A column of numbers.
    pub fn numbers(&self, name: &str) -> Vec<f64> {
        self.text(name).iter().map(|field| field.parse().unwrap_or_else(|_| panic!("{name}: {field}"))).collect()
    }

    /// A column of 0 and 1.
    pub fn flags(&self, name: &str) -> Vec<bool> {
        self.numbers(name).iter().map(|value| *value == 1.0).collect()
    }

    /// A column of group numbers, from 0, in the sorted order of what is written; and the names.
    pub fn groups(&self, name: &str) -> (Vec<u32>, Vec<String>) {
        let names: BTreeSet<&String> = self.text(name).iter().collect();
        let names: Vec<String> = names.into_iter().cloned().collect();
        let number = |field: &String| names.iter().position(|other| other == field).unwrap_or(0) as u32;
        (self.text(name).iter().map(number).collect(), names)
    }
}
