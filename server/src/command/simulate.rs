//! `strandline simulate`: how far the statistics hold, on simulated clubs with a known truth; no database.

use analysis::simulation::study::{CLUBS, Options, SEED, run as study};
use clap::Args;

use super::failure::Failure;
use super::output::{put, put_text};

/// Arguments of `strandline simulate`.
#[derive(Args)]
pub struct SimulateArgs {
    /// Clubs behind each figure; fewer are faster and leave more to chance
    #[arg(long, value_name = "N", default_value_t = CLUBS as u32, value_parser = clap::value_parser!(u32).range(1..=100_000))]
    clubs: u32,
    /// The same seed draws the same clubs
    #[arg(long, value_name = "S", default_value_t = SEED)]
    seed: u64,
    /// One JSON object
    #[arg(long)]
    json: bool,
}

/// Prints the reports. A floor that is missed is part of them, and makes the exit code 1.
pub fn run(args: &SimulateArgs) -> Result<u8, Failure> {
    let threads = std::thread::available_parallelism().map_or(1, usize::from);
    let study = study(&Options { clubs: args.clubs as usize, seed: args.seed, threads });
    if args.json {
        let text = serde_json::to_string(&study)
            .map_err(|error| Failure::place(format!("cannot print ({error}), the study: report this")))?;
        put(text)?;
    } else {
        put_text(&study.to_string())?;
    }
    Ok(u8::from(study.verdicts.iter().any(|verdict| !verdict.holds)))
}
