//! R's survival and Python's lifelines on the same files, in processes of their own.

use std::collections::BTreeMap;
use std::path::Path;
use std::process::Command;

const R_SCRIPT: &str = include_str!("survival.R");
const PYTHON_SCRIPT: &str = include_str!("lifelines.py");

/// Seconds and values by name.
#[derive(Debug, Default)]
pub struct Reported {
    pub seconds: BTreeMap<String, f64>,
    pub values: BTreeMap<String, Vec<f64>>,
}

fn python() -> String {
    std::env::var("PYTHON").unwrap_or_else(|_| "python3".to_owned())
}

/// Whether both are there; what is missing and how to get it otherwise.
pub fn check() -> Result<(), String> {
    let runs = |program: &str, arguments: &[&str]| {
        Command::new(program).args(arguments).output().is_ok_and(|output| output.status.success())
    };
    if !runs("Rscript", &["-e", "library(survival)"]) {
        return Err(
            "R with its survival package does not run, Rscript: `apt-get install r-base-core r-cran-survival`, \
                    then again (a run without the comparison would say nothing)"
                .to_owned(),
        );
    }
    if !runs(&python(), &["-c", "import lifelines"]) {
        return Err(format!(
            "lifelines cannot be imported, {}: `python3 -m venv V && V/bin/pip install lifelines`, then again with \
             PYTHON=V/bin/python (a run without the comparison would say nothing)",
            python()
        ));
    }
    Ok(())
}

/// `rows`: all, those of the small fit, those with continuous times.
pub fn r(folder: &Path, rows: [usize; 3]) -> Result<Reported, String> {
    let script = folder.join("survival.R");
    std::fs::write(&script, R_SCRIPT).map_err(|error| format!("cannot write {}: {error}", script.display()))?;
    run(Command::new("Rscript").arg(&script).arg(folder).args(rows.map(|rows| rows.to_string())))
}

pub fn lifelines(folder: &Path, rows: usize, fewer: usize) -> Result<Reported, String> {
    let script = folder.join("beside.py");
    std::fs::write(&script, PYTHON_SCRIPT).map_err(|error| format!("cannot write {}: {error}", script.display()))?;
    run(Command::new(python()).arg(&script).arg(folder).args([rows.to_string(), fewer.to_string()]))
}

/// Runs a program that prints `name seconds` and `name= values`.
pub fn run(command: &mut Command) -> Result<Reported, String> {
    let output = command.output().map_err(|error| format!("cannot start {command:?}: {error}"))?;
    if !output.status.success() {
        return Err(format!("{command:?} failed: {}", String::from_utf8_lossy(&output.stderr)));
    }
    let mut reported = Reported::default();
    for line in String::from_utf8_lossy(&output.stdout).lines() {
        let mut words = line.split_whitespace();
        let Some(name) = words.next() else { continue };
        let numbers: Result<Vec<f64>, _> = words.map(str::parse).collect();
        let numbers = numbers.map_err(|error| format!("{command:?} printed {line:?}: {error}"))?;
        match name.strip_suffix('=') {
            Some(name) => reported.values.insert(name.to_owned(), numbers).map(|_| ()),
            None => numbers.first().and_then(|seconds| reported.seconds.insert(name.to_owned(), *seconds)).map(|_| ()),
        };
    }
    Ok(reported)
}
