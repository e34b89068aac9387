//! Standard output: data only. Whoever reads it may stop reading; any other failure is said.

use std::io::{ErrorKind, Write};

use super::failure::Failure;

/// Prints a line.
pub fn put(line: impl std::fmt::Display) -> Result<(), Failure> {
    put_text(&format!("{line}\n"))
}

/// Prints text as it stands.
pub fn put_text(text: &str) -> Result<(), Failure> {
    put_bytes(text.as_bytes())
}

/// Prints bytes as they are.
pub fn put_bytes(bytes: &[u8]) -> Result<(), Failure> {
    let mut out = std::io::stdout().lock();
    match out.write_all(bytes).and_then(|()| out.flush()) {
        Err(error) if error.kind() != ErrorKind::BrokenPipe => {
            Err(Failure::place(format!("cannot write ({error}), standard output: see where it goes")))
        }
        _ => Ok(()),
    }
}
