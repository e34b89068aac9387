//! `strandline token new`: makes an access token and prints it alone.

use clap::{Args, Subcommand};

use crate::access::{NewToken, Right, Role, issue};
use crate::config::Config;

use super::database;
use super::failure::Failure;
use super::output::put;

/// Arguments of `strandline token`.
#[derive(Args)]
pub struct TokenArgs {
    #[command(subcommand)]
    word: TokenWord,
}

#[derive(Subcommand)]
enum TokenWord {
    /// Make a token and print it; it is shown this once
    New(NewArgs),
}

#[derive(Args)]
struct NewArgs {
    /// Role: reader, keeper or curator
    #[arg(long, value_parser = parse_role)]
    role: Role,
    /// The keeper whose records it opens
    #[arg(long, value_name = "HANDLE")]
    keeper: Option<String>,
    /// Make the keeper if there is none of that handle
    #[arg(long, requires = "keeper")]
    create: bool,
    /// Rights, if fewer than the role's: read, upload, admin
    #[arg(long, value_delimiter = ',', value_parser = parse_right)]
    scope: Vec<Right>,
    /// Days until it expires, 1 to 3650; without it never
    #[arg(long, value_name = "DAYS", value_parser = clap::value_parser!(u32).range(1..=3650))]
    expires: Option<u32>,
}

fn parse_role(word: &str) -> Result<Role, String> {
    Role::parse(word).ok_or_else(|| "roles are reader, keeper, curator".to_owned())
}

fn parse_right(word: &str) -> Result<Right, String> {
    Right::parse(word).ok_or_else(|| "scopes are read, upload, admin".to_owned())
}

/// Makes it.
pub fn run(config: &Config, args: &TokenArgs) -> Result<u8, Failure> {
    let TokenWord::New(new) = &args.word;
    let database = database::open(config)?;
    let issued = issue(
        &mut *database.connection()?,
        &NewToken {
            role: new.role,
            rights: new.scope.clone(),
            keeper: new.keeper.clone(),
            create_keeper: new.create,
            label: None,
            expires_days: new.expires,
            account_id: None,
        },
        "command",
    )
    .map_err(|error| Failure::usage(error.to_string()))?;
    database.close()?;
    put(issued.secret)?;
    Ok(0)
}
