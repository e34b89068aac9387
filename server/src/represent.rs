//! One answer, several representations: which one is asked for, its bytes, its validators and its headers.
//!
//! JSON is the only one that nests. CSV is RFC 4180 with a header row; `csv=excel` writes the dialect that
//! spreadsheet programs in countries with a decimal comma open by a double click; Parquet has the columns of the CSV with
//! their types and what they mean. Nothing here computes.

use actix_web::http::header;
use actix_web::{HttpResponse, HttpResponseBuilder};
use sha2::{Digest, Sha256};

pub mod column; // what columns hold and mean
pub mod negotiate; // which representation is asked for
pub mod parquet; // rows and columns as Parquet
pub mod printed; // a text as a page that prints
pub mod sheet; // rows and columns as CSV
mod validate; // what the caller holds already

pub use column::Column;
pub use negotiate::{Form, Made, negotiate};
pub use sheet::{Cell, Sheet};
pub use validate::{Held, Validator};

use crate::problem::Problem;

/// How an answer may be kept by those it passes through.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Keep {
    /// The same for everybody: a public caller's answer.
    Public,
    /// For this caller alone.
    Private,
}

impl Keep {
    /// The value of `Cache-Control`.
    pub const fn control(self) -> &'static str {
        match self {
            // No stale-*: a withdrawal must take effect.
            Keep::Public => "public, max-age=300, must-revalidate",
            Keep::Private => "private, no-cache",
        }
    }
}

/// A strong validator: SHA-256 over its parts, each ended by a zero byte so that no two lists of parts collide.
pub fn etag(parts: &[&str]) -> String {
    let mut digest = Sha256::new();
    for part in parts {
        digest.update(part.as_bytes());
        digest.update([0]);
    }
    format!("\"{}\"", hex(&digest.finalize()))
}

/// Lower-case hexadecimal digits.
pub fn hex(bytes: &[u8]) -> String {
    const DIGITS: [char; 16] = ['0', '1', '2', '3', '4', '5', '6', '7', '8', '9', 'a', 'b', 'c', 'd', 'e', 'f'];
    let mut text = String::with_capacity(2 * bytes.len());
    for byte in bytes {
        text.push(DIGITS[usize::from(byte >> 4)]);
        text.push(DIGITS[usize::from(byte & 15)]);
    }
    text
}

/// The 304 response: with a tag, a date says nothing more (RFC 9110, section 15.4.5).
pub fn not_modified(validator: &Validator, keep: Keep) -> HttpResponse {
    let mut response = HttpResponse::NotModified();
    tagged(&mut response, validator, keep);
    response.finish()
}

fn tagged(response: &mut HttpResponseBuilder, validator: &Validator, keep: Keep) {
    response
        .insert_header((header::ETAG, validator.etag.as_str()))
        .insert_header((header::CACHE_CONTROL, keep.control()))
        .insert_header((header::VARY, VARY));
}

fn validated(response: &mut HttpResponseBuilder, validator: &Validator, keep: Keep) {
    tagged(response, validator, keep);
    if let Some(date) = validator.last_modified() {
        response.insert_header((header::LAST_MODIFIED, date));
    }
}

const VARY: &str = "Accept, Accept-Encoding, Authorization, Cookie";

/// A 200 response with validators and caching headers around finished bytes.
pub fn found(bytes: Vec<u8>, form: Form, file_stem: &str, validator: &Validator, keep: Keep) -> HttpResponse {
    let mut response = HttpResponse::Ok();
    validated(&mut response, validator, keep);
    response.content_type(form.content_type());
    if let Some(extension) = form.attached() {
        response
            .insert_header((header::CONTENT_DISPOSITION, format!("attachment; filename=\"{file_stem}.{extension}\"")));
    }
    response.body(bytes)
}

/// A value as the bytes of JSON, ended by a line feed so that it prints well in a terminal.
pub fn json_bytes(value: &impl serde::Serialize) -> Result<Vec<u8>, Problem> {
    let mut bytes = serde_json::to_vec(value).map_err(|error| Problem::internal(&error))?;
    bytes.push(b'\n');
    Ok(bytes)
}

/// The bytes of an answer: as JSON, or as the sheet made from it.
pub fn json_or_sheet(
    answer: &impl serde::Serialize,
    form: Form,
    sheet: impl FnOnce(&serde_json::Value) -> Sheet,
) -> Result<Vec<u8>, Problem> {
    if form == Form::Json {
        return json_bytes(answer);
    }
    let value = serde_json::to_value(answer).map_err(|error| Problem::internal(&error))?;
    let sheet = Sheet { about: parquet::about(&value), ..sheet(&value) };
    sheet.bytes(form)
}

/// Percent-encodes all but the unreserved characters of RFC 3986.
pub fn encode(text: &str) -> String {
    let mut out = String::new();
    for byte in text.bytes() {
        if byte.is_ascii_alphanumeric() || b"-._~".contains(&byte) {
            out.push(byte as char);
        } else {
            out.push_str(&format!("%{byte:02X}"));
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn parts_of_a_validator_do_not_run_together() {
        assert_ne!(etag(&["ab", "c"]), etag(&["a", "bc"]));
        assert_ne!(etag(&["a"]), etag(&["a", ""]));
        // SHA-256 of "abc\0", computed with sha256sum.
        assert_eq!(etag(&["abc"]), "\"dc1114cd074914bd872cc1f9a23ec910ea2203bc79779ab2e17da25782a624fc\"");
    }
}
