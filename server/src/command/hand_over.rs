//! `strandline hand-over`: the page for the next records secretary, to be printed.

use clap::{Args, ValueEnum};

use crate::config::Config;
use crate::hand_over::{self, Place};
use crate::represent::printed::page as printed;

use super::database;
use super::failure::Failure;
use super::output::put_text;

/// How the page is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Format {
    /// Markdown.
    Md,
    /// A page to print.
    Html,
}

/// Arguments of `strandline hand-over`.
#[derive(Args)]
pub struct HandOverArgs {
    /// Markdown, or a page to print
    #[arg(long, value_enum, default_value = "md")]
    format: Format,
}

/// Prints the page.
pub fn run(config: &Config, args: &HandOverArgs) -> Result<u8, Failure> {
    let database = database::open(config)?;
    let place = Place { configuration: config.show(), version: env!("CARGO_PKG_VERSION"), at: chrono::Utc::now() };
    let page = database.connection().and_then(|mut connection| {
        hand_over::page(&mut connection, &place).map_err(|problem| Failure::place(problem.detail.clone()))
    });
    database.close()?;
    let page = page?;
    let text = if args.format == Format::Html { printed("Handing over", &page, &[]) } else { page };
    put_text(&text)?;
    Ok(0)
}
