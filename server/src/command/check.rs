//! `strandline check`: whether the database holds what it says.

use clap::Args;

use crate::check;
use crate::config::Config;

use super::database;
use super::failure::Failure;
use super::output::put;

/// Arguments of `strandline check`.
#[derive(Args)]
pub struct CheckArgs {
    /// Fold members' uploads anew where the records are not what they should be
    #[arg(long)]
    repair: bool,
}

/// Looks at everything; exit code 1 says that something is not as it should be.
pub fn run(config: &Config, args: &CheckArgs) -> Result<u8, Failure> {
    let database = database::open(config)?;
    let checked =
        check::check(&mut *database.connection()?, args.repair).map_err(|error| Failure::place(error.to_string()));
    database.close()?;
    let mut faults = 0;
    for of in checked? {
        let verdict = if of.faults.is_empty() { "ok".to_owned() } else { format!("{} at fault", of.faults.len()) };
        put(format!("{:<46} {:>7}  {verdict}", of.what, of.looked_at))?;
        for fault in &of.faults {
            put(format!("  {fault}"))?;
        }
        faults += of.faults.len();
    }
    Ok(u8::from(faults > 0))
}
