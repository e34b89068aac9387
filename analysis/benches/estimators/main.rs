//! How fast the estimators are, beside R's survival and Python's lifelines on the same files in the same run.
//!
//! `cargo bench -p analysis --bench estimators --profile dev
//! [-- ROWS [CONTINUOUS]]` (1,000,000 rows unless told, as many with continuous times) prints our seconds, theirs, the
//! ratio and what is required of it; how the cost grows over a hundredth, a tenth and all of the rows; and the memory
//! taken beyond the rows themselves. Built in this way the dependencies are those of every other build. Seconds are those
//! of the processor, since each program works on one thread and others may be at work beside it; ours are medians of
//! three; ratios within one run are what counts. Each of our figures comes from a process that does nothing else, whose
//! peak is taken after its rows were made. R's fit with continuous times takes minutes. Needs Rscript with survival, and
//! lifelines in $PYTHON (python3). Ends with an error if a comparison cannot be made, if results differ, or if a
//! requirement is missed.

mod readings;
mod references;
mod rows;

use std::path::{Path, PathBuf};
use std::process::{Command, ExitCode};

use analysis::episode::Episodes;
use analysis::survival::cox::bootstrap::bootstrap;
use analysis::survival::{CoxFit, CoxInput, CoxOptions, Interval, cox, kaplan_meier, log_rank};
use references::Reported;
use rows::Rows;

const ROWS: usize = 1_000_000;
/// Rows of the fit that is repeated on drawn tanks, and tanks in it.
const SMALL: usize = 10_000;
const SMALL_TANKS: u32 = 62;
const DRAWS: usize = 500;
const TIMES: usize = 3;
/// Rounds over all sizes of a case, one size after the other: what else the machine does falls on all of them.
const ROUNDS: usize = 5;
const ENOUGH_SECONDS: f64 = 0.2;
const CHILD: &str = "--one";
/// Readings are so many times the rows.
const READINGS: usize = 10;

fn main() -> ExitCode {
    let arguments: Vec<String> = std::env::args().skip(1).filter(|argument| argument != "--bench").collect();
    let number = |at: usize| arguments.get(at).and_then(|text| text.parse::<usize>().ok());
    let outcome = match arguments.first().map(String::as_str) {
        Some(CHILD) => {
            let case = arguments.get(1).map_or("", String::as_str);
            one(case, number(2).unwrap_or(ROWS), number(3).unwrap_or(1)).map(|()| true)
        }
        _ => {
            let rows = number(0).unwrap_or(ROWS);
            compare(rows, number(1).unwrap_or(rows))
        }
    };
    match outcome {
        Ok(true) => ExitCode::SUCCESS,
        Ok(false) => ExitCode::FAILURE,
        Err(message) => {
            eprintln!("estimators: {message}");
            ExitCode::FAILURE
        }
    }
}

/// One case in this process, on so many sets of so many rows: seconds a set, extra memory in MiB, values of the first.
fn one(case: &str, rows: usize, sets: usize) -> Result<(), String> {
    let refused = |refusal: analysis::refusal::Refusal| refusal.message;
    let sets_of = |whole_days| (0..sets).map(|set| rows::another(rows, whole_days, set)).collect::<Vec<Rows>>();
    match case {
        "cox" | "cox_continuous" => {
            let sets = sets_of(case == "cox");
            let fit = measured_on(case, &sets, |data| fit(data).map_err(refused))?;
            let of = |value: fn(&analysis::survival::cox::Coefficient) -> Option<f64>| {
                fit.coefficients.iter().map(value).map(|value| value.unwrap_or(f64::NAN)).collect::<Vec<f64>>()
            };
            print_values(case, of(|c| c.coef).into_iter().chain(of(|c| c.robust_std_error)));
        }
        "kaplan_meier" => {
            let curve =
                measured_on(case, &sets_of(true), |data| Ok(kaplan_meier(&data.episodes, None, Interval::LogLog)))?;
            print_values(case, curve.steps.last().map(|step| step.survival));
        }
        "log_rank" | "log_rank_right_censored" => {
            let sets: Vec<(Episodes, Vec<u32>)> = sets_of(true)
                .into_iter()
                .map(|data| {
                    let episodes = if case == "log_rank" { data.episodes.clone() } else { data.right_censored() };
                    (episodes, data.band)
                })
                .collect();
            let test = measured_on(case, &sets, |(episodes, band)| {
                log_rank(episodes, band, rows::BANDS, None, 0.0).map_err(refused)
            })?;
            print_values(case, [test.statistic]);
        }
        "bootstrap" => {
            let mut data = rows::simulated(rows, true);
            data.tank.iter_mut().for_each(|tank| *tank %= SMALL_TANKS);
            let whole = fit(&data).map_err(refused)?;
            let limits = measured(case, 1, || bootstrap(&input(&data), &whole, DRAWS, 1, 0.95).map_err(refused))?;
            print_values(case, limits.iter().flat_map(|limits| [limits.lower, limits.upper]));
        }
        "exposure" => {
            let club = readings::simulated(rows);
            let days = measured(case, 1, || Ok(readings::days_by_level(&club)))?;
            print_values(case, days);
        }
        other => return Err(format!("no case is called {other:?}")),
    }
    Ok(())
}

fn input(data: &Rows) -> CoxInput<'_> {
    CoxInput { episodes: &data.episodes, covariates: &data.covariates, strata: None, cluster: Some(&data.tank) }
}

fn fit(data: &Rows) -> Result<CoxFit, analysis::refusal::Refusal> {
    cox(&input(data), &CoxOptions::default())
}

/// [`measured`] on each of some sets, one after the other.
fn measured_on<D, T>(case: &str, sets: &[D], f: impl Fn(&D) -> Result<T, String>) -> Result<T, String> {
    let (first, others) = sets.split_first().ok_or("no set of rows")?;
    measured(case, sets.len(), || {
        for other in others {
            f(other)?;
        }
        f(first)
    })
}

/// Runs a case some times and prints its median seconds a set and the memory it took beyond what was there before.
fn measured<T>(case: &str, sets: usize, f: impl Fn() -> Result<T, String>) -> Result<T, String> {
    // Writing 5 sets the peak back to what is held now (Linux, proc(5)).
    std::fs::write("/proc/self/clear_refs", "5").map_err(|error| format!("the peak of memory: {error}"))?;
    let before = memory("VmRSS")?;
    let mut result = f()?;
    let extra = memory("VmHWM")? - before;
    let mut seconds = Vec::new();
    for _ in 0..TIMES {
        let began = processor_seconds()?;
        let (mut runs, mut spent) = (0.0, 0.0);
        // The kernel counts in ticks of some milliseconds: what takes less is run again and again.
        while spent < ENOUGH_SECONDS {
            drop(result);
            result = f()?;
            runs += 1.0;
            spent = processor_seconds()? - began;
        }
        seconds.push(spent / runs / sets as f64);
    }
    seconds.sort_by(f64::total_cmp);
    println!("{case} {}", seconds[seconds.len() / 2]);
    println!("memory {extra}");
    Ok(result)
}

/// Time this thread has run (Linux, proc(5): nanoseconds).
fn processor_seconds() -> Result<f64, String> {
    let text = std::fs::read_to_string("/proc/thread-self/schedstat").map_err(|error| format!("time run: {error}"))?;
    let nanoseconds = text.split_whitespace().next().and_then(|number| number.parse::<f64>().ok());
    nanoseconds.map(|number| number / 1e9).ok_or_else(|| format!("time run is not a number: {text}"))
}

/// MiB.
fn memory(what: &str) -> Result<f64, String> {
    let status = std::fs::read_to_string("/proc/self/status").map_err(|error| format!("memory held: {error}"))?;
    let line = status.lines().find(|line| line.starts_with(what)).ok_or_else(|| format!("no {what} is told"))?;
    let kib = line.split_whitespace().nth(1).and_then(|number| number.parse::<f64>().ok());
    kib.map(|kib| kib / 1024.0).ok_or_else(|| format!("{what} is not a number: {line}"))
}

fn print_values(case: &str, values: impl IntoIterator<Item = f64>) {
    let values: Vec<String> = values.into_iter().map(|value| value.to_string()).collect();
    println!("{case}= {}", values.join(" "));
}

/// What a case came to, over rising numbers of rows; in all as many each time, so that a small number is not read from a
/// cache while a large one comes from memory.
struct Ours {
    /// Median of the rounds, by size.
    seconds: Vec<f64>,
    /// The largest size in sizes of the smallest, one a round, rising.
    growth: Vec<f64>,
    memory: f64,
    reported: Reported,
}

fn ours(case: &str, sizes: &[usize]) -> Result<Ours, String> {
    let program = std::env::current_exe().map_err(|error| format!("the bench's own program: {error}"))?;
    let mut ours = Ours { seconds: Vec::new(), growth: Vec::new(), memory: 0.0, reported: Reported::default() };
    let mut of_sizes = vec![Vec::new(); sizes.len()];
    for _ in 0..ROUNDS {
        for (&size, seconds) in sizes.iter().zip(&mut of_sizes) {
            let sets = if case == "exposure" { 1 } else { sizes.iter().max().map_or(1, |most| most / size) };
            let reported =
                references::run(Command::new(&program).args([CHILD, case, &size.to_string(), &sets.to_string()]))?;
            let read = |name: &str| reported.seconds.get(name).copied().ok_or_else(|| format!("{case} said no {name}"));
            seconds.push(read(case)?);
            ours.memory = read("memory")?;
            ours.reported = reported;
        }
    }
    if let (Some(least), Some(most)) = (of_sizes.first(), of_sizes.last()) {
        ours.growth = least.iter().zip(most).map(|(least, most)| most / least).collect();
        ours.growth.sort_by(f64::total_cmp);
    }
    for mut seconds in of_sizes {
        seconds.sort_by(f64::total_cmp);
        ours.seconds.push(seconds[seconds.len() / 2]);
    }
    Ok(ours)
}

struct Verdicts {
    missed: usize,
}

impl Verdicts {
    /// One line: a measure against what is required of it.
    fn hold(&mut self, what: &str, value: f64, required: f64, at_least: bool, note: &str) {
        let met = if at_least { value >= required } else { value <= required };
        self.missed += usize::from(!met);
        let bound = if at_least { ">=" } else { "<=" };
        println!("{what:<58} {value:>9.1}  {bound} {required:<6} {}  {note}", if met { "met" } else { "MISSED" });
    }

    fn same(&mut self, what: &str, ours: &[f64], theirs: Option<&Vec<f64>>, tolerance: f64) {
        let theirs = theirs.map_or(&[][..], Vec::as_slice);
        let near = |(a, b): (&f64, &f64)| (a - b).abs() <= tolerance * b.abs().max(1e-3);
        let same = ours.len() == theirs.len() && ours.iter().zip(theirs).all(near);
        self.missed += usize::from(!same);
        println!("{what:<58} {}", if same { "the same" } else { "DIFFER" });
        if !same {
            println!("  ours {ours:?}\n  theirs {theirs:?}");
        }
    }
}

fn compare(rows: usize, continuous: usize) -> Result<bool, String> {
    references::check()?;
    let folder = Folder::new()?;
    let sizes = [rows / 100, rows / 10, rows];
    let fewer = rows / 10;
    println!(
        "{rows} rows, {continuous} with continuous times; median processor seconds of {TIMES}, and of {ROUNDS} rounds"
    );
    for (size, whole_days) in [(rows, true), (continuous, false), (fewer, true), (SMALL, true)] {
        let mut data = rows::simulated(size, whole_days);
        if size == SMALL {
            data.tank.iter_mut().for_each(|tank| *tank %= SMALL_TANKS);
        }
        let name = format!("rows_{size}_{}.csv", if whole_days { "whole" } else { "continuous" });
        std::fs::write(folder.0.join(&name), data.csv()).map_err(|error| format!("cannot write {name}: {error}"))?;
    }
    let cases = ["cox", "cox_continuous", "kaplan_meier", "log_rank", "log_rank_right_censored"];
    let mut found = Vec::new();
    for case in cases {
        let whole = if case == "cox_continuous" { continuous } else { rows };
        found.push(ours(case, &[whole / 100, whole / 10, whole])?);
    }
    let drawn = ours("bootstrap", &[SMALL])?;
    let exposure = ours("exposure", &sizes.map(|size| size * READINGS))?;
    let python = references::lifelines(&folder.0, rows, fewer)?;
    let r = references::r(&folder.0, [rows, SMALL, continuous])?;

    let time = |reported: &Reported, name: &str| {
        reported.seconds.get(name).copied().ok_or_else(|| format!("the other program said no {name}"))
    };
    let mut verdicts = Verdicts { missed: 0 };
    println!("\nseconds                             ours        R    lifelines");
    for (case, ours) in cases.iter().zip(&found) {
        let python = python.seconds.get(*case).map_or("–".to_owned(), |seconds| format!("{seconds:.3}"));
        println!("{case:<30} {:>9.3} {:>9.3} {python:>9}", ours.seconds[2], time(&r, case)?);
    }
    println!("{:<30} {:>9.3} {:>9.3} {:>9}", "cox, C core alone", found[0].seconds[2], time(&r, "cox_core")?, "–");
    let cox_fewer = time(&python, "cox_fewer")?;
    println!("{:<30} {:>9.3} {:>9} {cox_fewer:>9.3}", format!("cox, {fewer} rows"), found[0].seconds[1], "–");
    println!("{:<30} {:>9.3} {:>9.3} {:>9}", "500 draws; one fit", drawn.seconds[0], time(&r, "cox_small")?, "–");

    println!("\ntimes as fast");
    let ratio = |name: &str, at: usize| Ok::<f64, String>(time(&r, name)? / found[at].seconds[2]);
    let call = "coxph(Surv(start, stop, event) ~ x1 + … + x5 + cluster(tank))";
    verdicts.hold("Cox, changing covariates, clustered, as R's call", ratio("cox", 0)?, 15.0, true, call);
    verdicts.hold("the same, as R's C core alone", ratio("cox_core", 0)?, 4.0, true, "survival:::agreg.fit");
    verdicts.hold("Cox, continuous times, as R's call", ratio("cox_continuous", 1)?, 7.0, true, "the same call");
    verdicts.hold("Kaplan–Meier with late entry, as R", ratio("kaplan_meier", 2)?, 13.0, true, "survfit");
    let score = "coxph(…, iter.max = 0)$score: survdiff takes no late entry";
    verdicts.hold("log-rank of 5 bands with late entry, as R", ratio("log_rank", 3)?, 15.0, true, score);
    let survdiff = "survdiff; not required";
    verdicts.hold(
        "log-rank of 5 bands, right-censored, as R",
        ratio("log_rank_right_censored", 4)?,
        1.0,
        true,
        survdiff,
    );
    let python_curve = time(&python, "kaplan_meier")? / found[2].seconds[2];
    verdicts.hold("Kaplan–Meier with late entry, as lifelines", python_curve, 1.0, true, "not required");
    verdicts.hold(
        "Cox of a tenth of the rows, as lifelines",
        cox_fewer / found[0].seconds[1],
        1.0,
        true,
        "not required",
    );
    let fits = drawn.seconds[0] / time(&r, "cox_small")?;
    verdicts.hold("500 draws of 10,000 rows, in fits of R's", fits, 40.0, false, call);

    println!("\nmemory beyond the rows");
    for (case, ours) in cases.iter().zip(&found) {
        verdicts.hold(&format!("{case}, MiB"), ours.memory, 150.0, false, "");
    }
    let bytes = exposure.memory * 1024.0 * 1024.0 / (rows * READINGS) as f64;
    let specimens = rows * READINGS / 100;
    verdicts.hold("exposure, bytes a reading", bytes, 20.0, false, &format!("{specimens} specimens"));

    println!("\ncost of ten times the rows (n log n: {:.1})", 10.0 * growth(rows));
    let exposure_of = format!("exposure of {} readings: {:.2} s", rows * READINGS, exposure.seconds[2]);
    for (case, ours) in cases.iter().chain(&["exposure"]).zip(found.iter().chain([&exposure])) {
        let steps: Vec<f64> = ours.seconds.windows(2).map(|pair| pair[1] / pair[0]).collect();
        let note = if *case == "exposure" { &exposure_of } else { "" };
        // The first step's times are milliseconds and say little; over both, the cost may not grow faster than n log n.
        let whole = ours.growth[ours.growth.len() / 2];
        let bound = 100.0 * growth(rows) * growth(rows / 10);
        println!("{case:<30} x{:.1}, x{:.1}", steps[0], steps[1]);
        let spread = format!("x{:.0} to x{:.0} in {ROUNDS} rounds  {note}", ours.growth[0], ours.growth[ROUNDS - 1]);
        verdicts.hold(&format!("{case}: a hundred times the rows"), whole, bound.ceil(), false, &spread);
    }

    println!("\nresults");
    for (at, case) in cases.iter().enumerate().filter(|(_, case)| **case != "log_rank") {
        // R stops its search at 1e-9 of the log likelihood, which leaves coefficients some millionths short.
        let tolerance = if case.starts_with("cox") { 1e-4 } else { 1e-9 };
        verdicts.same(case, &found[at].reported.values[*case], r.values.get(*case), tolerance);
    }
    for case in ["kaplan_meier", "log_rank_right_censored"] {
        let at = cases.iter().position(|other| *other == case).unwrap_or(0);
        let what = format!("{case}, lifelines");
        verdicts.same(&what, &found[at].reported.values[case], python.values.get(case), 1e-6);
    }
    Ok(verdicts.missed == 0)
}

/// How much faster than n the cost n log n grows up to here from a tenth.
fn growth(rows: usize) -> f64 {
    (rows as f64).ln() / (rows as f64 / 10.0).ln()
}

/// A folder that goes away with the run.
struct Folder(PathBuf);

impl Folder {
    fn new() -> Result<Folder, String> {
        let path = std::env::temp_dir().join(format!("estimators-{}", std::process::id()));
        std::fs::create_dir_all(&path).map_err(|error| format!("cannot make {}: {error}", path.display()))?;
        Ok(Folder(path))
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        let path: &Path = &self.0;
        if let Err(error) = std::fs::remove_dir_all(path) {
            eprintln!("estimators: {} stays behind: {error}", path.display());
        }
    }
}
