//! One answer, several representations: which one is asked for, its bytes, its validators and its headers.
//!
//! JSON is the only one that nests. CSV is RFC 4180 with a header row; `csv=excel` writes the dialect that
//! spreadsheet programs in countries with a decimal comma open by a double click. Nothing here computes.

use actix_web::http::header;
use actix_web::{HttpRequest, HttpResponse};
use sha2::{Digest, Sha256};

pub mod negotiate; // which representation is asked for
pub mod sheet; // rows and columns as CSV

pub use negotiate::{Form, Made, negotiate};
pub use sheet::{Cell, Sheet};

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
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

/// The validators of answers that the caller holds already.
#[derive(Debug, Clone, Default)]
pub struct Held(Vec<String>);

impl Held {
    /// Reads them from a request.
    pub fn of(request: &HttpRequest) -> Self {
        let tags = request
            .headers()
            .get_all(header::IF_NONE_MATCH)
            .filter_map(|value| value.to_str().ok())
            .flat_map(|value| value.split(','))
            .map(|tag| tag.trim().trim_start_matches("W/").trim_matches('"').to_owned())
            .collect();
        Held(tags)
    }

    /// Is it this very answer? Tags of compressed copies name the same one.
    pub fn holds(&self, etag: &str) -> bool {
        let bare = etag.trim_matches('"');
        self.0.iter().any(|tag| {
            tag == "*"
                || tag == bare
                || tag.rsplit_once('-').is_some_and(|(tag, coding)| tag == bare && is_coding(coding))
        })
    }
}

fn is_coding(word: &str) -> bool {
    matches!(word, "gzip" | "zstd" | "br" | "deflate")
}

/// The 304 response.
pub fn not_modified(etag: &str, keep: Keep) -> HttpResponse {
    HttpResponse::NotModified()
        .insert_header((header::ETAG, etag))
        .insert_header((header::CACHE_CONTROL, keep.control()))
        .insert_header((header::VARY, VARY))
        .finish()
}

const VARY: &str = "Accept, Accept-Encoding, Authorization";

/// A 200 response with validator and caching headers around finished bytes.
pub fn found(bytes: Vec<u8>, form: Form, file_stem: &str, etag: &str, keep: Keep) -> HttpResponse {
    let mut response = HttpResponse::Ok();
    response
        .insert_header((header::ETAG, etag))
        .insert_header((header::CACHE_CONTROL, keep.control()))
        .insert_header((header::VARY, VARY))
        .content_type(form.content_type());
    if let Some(extension) = form.attached() {
        response
            .insert_header((header::CONTENT_DISPOSITION, format!("attachment; filename=\"{file_stem}.{extension}\"")));
    }
    response.body(bytes)
}

/// A 200 response of an answer that changes with what is computed: its validator is taken from the bytes.
pub fn json_found(request: &HttpRequest, value: &impl serde::Serialize, keep: Keep) -> Result<HttpResponse, Problem> {
    let bytes = json_bytes(value)?;
    let tag = etag(&[&hex(&Sha256::digest(&bytes))]);
    if Held::of(request).holds(&tag) {
        return Ok(not_modified(&tag, keep));
    }
    Ok(found(bytes, Form::Json, "", &tag, keep))
}

/// A value as the bytes of JSON, ended by a line feed so that it prints well in a terminal.
pub fn json_bytes(value: &impl serde::Serialize) -> Result<Vec<u8>, Problem> {
    let mut bytes = serde_json::to_vec(value).map_err(|error| Problem::internal(&error))?;
    bytes.push(b'\n');
    Ok(bytes)
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
    use actix_web::test::TestRequest;

    fn held(value: &str) -> Held {
        Held::of(&TestRequest::default().insert_header(("if-none-match", value)).to_http_request())
    }

    #[test]
    fn parts_of_a_validator_do_not_run_together() {
        assert_ne!(etag(&["ab", "c"]), etag(&["a", "bc"]));
        assert_ne!(etag(&["a"]), etag(&["a", ""]));
        // SHA-256 of "abc\0", computed with sha256sum.
        assert_eq!(etag(&["abc"]), "\"dc1114cd074914bd872cc1f9a23ec910ea2203bc79779ab2e17da25782a624fc\"");
    }

    #[test]
    fn a_held_answer_is_recognised_in_every_way_it_is_written() {
        assert!(held("\"abc\"").holds("\"abc\""));
        assert!(held("\"x\", W/\"abc\"").holds("\"abc\""));
        assert!(held("\"abc-gzip\"").holds("\"abc\""));
        assert!(held("*").holds("\"abc\""));
        assert!(!held("\"abc-def\"").holds("\"abc\""));
        assert!(!held("\"abcd\"").holds("\"abc\""));
    }
}
