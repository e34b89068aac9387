//! `strandline openapi`: prints the document that describes the API.

use super::failure::Failure;
use super::output::put_text;

/// Prints it.
pub fn run() -> Result<u8, Failure> {
    let text = crate::document::openapi_json()
        .map_err(|error| Failure::place(format!("cannot print ({error}), the API document: report this")))?;
    put_text(&text)?;
    Ok(0)
}
