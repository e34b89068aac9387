//! The `strandline` command.

use std::process::ExitCode;

fn main() -> ExitCode {
    server::command::run(std::env::args_os())
}
