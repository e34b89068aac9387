//! How far the statistics hold, on clubs with a known truth.
//!
//! `cargo bench -p analysis --bench study --profile dev [-- CLUBS [SEED]]`
//! (1,000 clubs unless told) prints the reports and ends with an error if a floor is missed.

use std::process::ExitCode;
use std::time::Instant;

use analysis::simulation::study::{CLUBS, Options, SEED, run};

fn main() -> ExitCode {
    let arguments: Vec<u64> = std::env::args().skip(1).filter_map(|argument| argument.parse().ok()).collect();
    let clubs = arguments.first().map_or(CLUBS, |clubs| *clubs as usize);
    let seed = arguments.get(1).copied().unwrap_or(SEED);
    let threads = std::thread::available_parallelism().map_or(1, usize::from);
    let began = Instant::now();
    let study = run(&Options { clubs, seed, threads });
    println!("{study}");
    println!("{:.0} s on {threads} threads", began.elapsed().as_secs_f64());
    if study.verdicts.iter().all(|verdict| verdict.holds) { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}
