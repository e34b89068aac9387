//! Which representation a request asks for: `format` first, because a link can carry it, then `Accept`
//! (RFC 9110, section 12.5.1).

use actix_web::HttpRequest;
use actix_web::http::header;
use serde_json::json;

use crate::problem::{Kind, Problem};

/// Representations that an address makes, JSON always among them.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Made {
    /// JSON.
    Json,
    /// JSON and CSV.
    JsonCsv,
}

/// The representation chosen.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Form {
    /// `application/json`.
    Json,
    /// RFC 4180: comma, decimal point, header row.
    Csv,
    /// Byte order mark, semicolon, decimal comma.
    CsvExcel,
}

impl Form {
    /// The media type as sent.
    pub const fn content_type(self) -> &'static str {
        match self {
            Form::Json => "application/json",
            Form::Csv | Form::CsvExcel => "text/csv; charset=utf-8; header=present",
        }
    }

    /// A word that tells representations apart in validators.
    pub const fn word(self) -> &'static str {
        match self {
            Form::Json => "json",
            Form::Csv => "csv",
            Form::CsvExcel => "csv-excel",
        }
    }

    /// The extension under which a browser should save it, for those that are files.
    pub const fn attached(self) -> Option<&'static str> {
        match self {
            Form::Json => None,
            Form::Csv | Form::CsvExcel => Some("csv"),
        }
    }
}

/// Words that `format` knows; those an address does not make are answered by 406.
pub const FORMATS: &[&str] = &["json", "csv", "parquet", "svg", "png"];

/// The representation asked for, out of those made.
pub fn negotiate(request: &HttpRequest, format: Option<&str>, excel: bool, made: Made) -> Result<Form, Problem> {
    let csv = if excel { Form::CsvExcel } else { Form::Csv };
    match (format, made) {
        (Some("json"), _) => return Ok(Form::Json),
        (Some("csv"), Made::JsonCsv) => return Ok(csv),
        (Some(other), _) => return Err(not_made(&format!("format={other}"), made)),
        (None, _) => {}
    }
    let accept: Vec<&str> = request.headers().get_all(header::ACCEPT).filter_map(|value| value.to_str().ok()).collect();
    if accept.is_empty() {
        return Ok(Form::Json);
    }
    let accept = accept.join(",");
    let json = quality(&accept, "application", "json");
    let sheet = if made == Made::JsonCsv { quality(&accept, "text", "csv") } else { 0.0 };
    match (json, sheet) {
        (json, sheet) if json <= 0.0 && sheet <= 0.0 => Err(not_made(&format!("Accept: {accept}"), made)),
        (json, sheet) if sheet > json => Ok(csv),
        _ => Ok(Form::Json),
    }
}

fn not_made(asked: &str, made: Made) -> Problem {
    let available = match made {
        Made::Json => json!([{"format": "json", "media_type": "application/json"}]),
        Made::JsonCsv => json!([
            {"format": "json", "media_type": "application/json"},
            {"format": "csv", "media_type": "text/csv"},
        ]),
    };
    let names = if made == Made::Json { "application/json" } else { "application/json and text/csv" };
    Problem::new(Kind::NotAcceptable, format!("'{asked}' asks for what is not made here; made are {names}."))
        .with("available", available)
}

/// The quality that `Accept` gives to a media type: that of its most specific range, 0 where none fits.
fn quality(accept: &str, main: &str, sub: &str) -> f64 {
    let mut best: Option<(u8, f64)> = None;
    for range in accept.split(',') {
        let mut parts = range.split(';').map(str::trim);
        let kind = parts.next().unwrap_or_default().to_ascii_lowercase();
        let specific = match kind.split_once('/') {
            Some((m, s)) if m == main && s == sub => 2,
            Some((m, "*")) if m == main => 1,
            Some(("*", "*")) => 0,
            _ => continue,
        };
        let weight = parts
            .filter_map(|part| part.split_once('='))
            .find(|(name, _)| name.trim().eq_ignore_ascii_case("q"))
            .and_then(|(_, value)| value.trim().parse::<f64>().ok())
            .map_or(1.0, |weight| weight.clamp(0.0, 1.0));
        if best.is_none_or(|(known, _)| specific > known) {
            best = Some((specific, weight));
        }
    }
    best.map_or(0.0, |(_, weight)| weight)
}

#[cfg(test)]
mod tests {
    use super::*;
    use actix_web::test::TestRequest;

    fn ask(accept: Option<&str>, format: Option<&str>, made: Made) -> Result<Form, Kind> {
        let mut request = TestRequest::default();
        if let Some(accept) = accept {
            request = request.insert_header(("accept", accept));
        }
        negotiate(&request.to_http_request(), format, false, made).map_err(|problem| problem.kind())
    }

    #[test]
    fn accept_is_weighed() {
        let both = Made::JsonCsv;
        assert_eq!(ask(None, None, both), Ok(Form::Json));
        assert_eq!(ask(Some("*/*"), None, both), Ok(Form::Json));
        assert_eq!(ask(Some("text/csv"), None, both), Ok(Form::Csv));
        assert_eq!(ask(Some("application/json;q=0.5, text/csv;q=0.9"), None, both), Ok(Form::Csv));
        assert_eq!(ask(Some("text/*, application/json;q=0.1"), None, both), Ok(Form::Csv));
        assert_eq!(ask(Some("text/csv;q=0, */*"), None, both), Ok(Form::Json));
        assert_eq!(ask(Some("text/html, */*;q=0.8"), None, both), Ok(Form::Json));
        assert_eq!(ask(Some("image/png"), None, both), Err(Kind::NotAcceptable));
        assert_eq!(ask(Some("text/csv"), None, Made::Json), Err(Kind::NotAcceptable));
    }

    #[test]
    fn format_wins_over_accept() {
        assert_eq!(ask(Some("application/json"), Some("csv"), Made::JsonCsv), Ok(Form::Csv));
        assert_eq!(ask(Some("text/csv"), Some("json"), Made::JsonCsv), Ok(Form::Json));
        assert_eq!(ask(None, Some("parquet"), Made::JsonCsv), Err(Kind::NotAcceptable));
    }
}
