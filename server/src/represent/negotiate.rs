//! Which representation a request asks for: `format` first, because a link can carry it, then `Accept`
//! (RFC 9110, section 12.5.1).

use actix_web::HttpRequest;
use actix_web::http::header;
use serde_json::{Value, json};

use crate::chart::Size;
use crate::problem::{Kind, Problem};

/// Representations that an address makes, JSON always among them.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Made {
    /// JSON.
    Json,
    /// JSON, and a table as CSV and Parquet.
    Table,
    /// The same, and a picture as SVG and PNG.
    Chart,
    /// JSON, and a text to read as Markdown and HTML.
    Text,
}

impl Made {
    /// In the order in which they are preferred where a request likes several alike.
    const fn forms(self) -> &'static [Form] {
        const SVG: Form = Form::Svg(Size::Column);
        const PNG: Form = Form::Png(Size::Column);
        match self {
            Made::Json => &[Form::Json],
            Made::Table => &[Form::Json, Form::Csv, Form::Parquet],
            Made::Chart => &[Form::Json, Form::Csv, Form::Parquet, SVG, PNG],
            Made::Text => &[Form::Json, Form::Markdown, Form::Html],
        }
    }
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
    /// Apache Parquet.
    Parquet,
    /// A picture in lines.
    Svg(Size),
    /// A picture in dots.
    Png(Size),
    /// A text in Markdown.
    Markdown,
    /// A page of its own.
    Html,
}

impl Form {
    /// One of each that `format` tells apart.
    pub const ALL: [Form; 7] = [
        Form::Json,
        Form::Csv,
        Form::Parquet,
        Form::Svg(Size::Column),
        Form::Png(Size::Column),
        Form::Markdown,
        Form::Html,
    ];

    /// The media type as sent.
    pub const fn content_type(self) -> &'static str {
        match self {
            Form::Json => "application/json",
            Form::Csv | Form::CsvExcel => "text/csv; charset=utf-8; header=present",
            Form::Parquet => "application/vnd.apache.parquet",
            Form::Svg(_) => "image/svg+xml",
            Form::Png(_) => "image/png",
            Form::Markdown => "text/markdown; charset=utf-8",
            Form::Html => "text/html; charset=utf-8",
        }
    }

    /// The media type as asked for.
    pub fn media_type(self) -> &'static str {
        self.content_type().split(';').next().unwrap_or_default()
    }

    /// The word by which `format` asks for it.
    pub const fn format(self) -> &'static str {
        match self {
            Form::Json => "json",
            Form::Csv | Form::CsvExcel => "csv",
            Form::Parquet => "parquet",
            Form::Svg(_) => "svg",
            Form::Png(_) => "png",
            Form::Markdown => "md",
            Form::Html => "html",
        }
    }

    /// A word that tells representations apart in validators.
    pub const fn word(self) -> &'static str {
        match self {
            Form::CsvExcel => "csv-excel",
            Form::Svg(Size::Slide) => "svg-slide",
            Form::Png(Size::Slide) => "png-slide",
            other => other.format(),
        }
    }

    /// The extension under which a browser should save it, for those that are files.
    pub const fn attached(self) -> Option<&'static str> {
        match self {
            Form::Csv | Form::CsvExcel | Form::Parquet => Some(self.format()),
            _ => None,
        }
    }

    /// The size of a picture.
    pub const fn picture(self) -> Option<Size> {
        match self {
            Form::Svg(size) | Form::Png(size) => Some(size),
            _ => None,
        }
    }

    /// The same in a size, if it is a picture.
    pub const fn sized(self, size: Size) -> Self {
        match self {
            Form::Svg(_) => Form::Svg(size),
            Form::Png(_) => Form::Png(size),
            other => other,
        }
    }
}

/// Words that `format` knows; those an address does not make are answered by 406.
pub const FORMATS: &[&str] = &["json", "csv", "parquet", "svg", "png", "md", "html"];

/// The representation asked for, out of those made.
pub fn negotiate(request: &HttpRequest, format: Option<&str>, excel: bool, made: Made) -> Result<Form, Problem> {
    let forms = made.forms();
    let dialect = |form: Form| if form == Form::Csv && excel { Form::CsvExcel } else { form };
    if let Some(format) = format {
        let found = forms.iter().find(|form| form.format() == format);
        return found.map(|form| dialect(*form)).ok_or_else(|| not_made(&format!("format={format}"), made));
    }
    let accept: Vec<&str> = request.headers().get_all(header::ACCEPT).filter_map(|value| value.to_str().ok()).collect();
    if accept.is_empty() {
        return Ok(Form::Json);
    }
    let accept = accept.join(",");
    // Of equals the first stays.
    let best =
        forms.iter().rev().map(|form| (quality(&accept, form.media_type()), *form)).max_by(|a, b| a.0.total_cmp(&b.0));
    match best {
        Some((quality, form)) if quality > 0.0 => Ok(dialect(form)),
        _ => Err(not_made(&format!("Accept: {accept}"), made)),
    }
}

fn not_made(asked: &str, made: Made) -> Problem {
    let available: Vec<Value> =
        made.forms().iter().map(|form| json!({"format": form.format(), "media_type": form.media_type()})).collect();
    let mut names: Vec<&str> = made.forms().iter().map(|form| form.media_type()).collect();
    let last = names.pop().unwrap_or_default();
    let names = if names.is_empty() { last.to_owned() } else { format!("{} and {last}", names.join(", ")) };
    Problem::new(Kind::NotAcceptable, format!("'{asked}' asks for what is not made here; made are {names}."))
        .with("available", available.into())
}

/// The quality that `Accept` gives to a media type: that of its most specific range, 0 where none fits.
fn quality(accept: &str, media_type: &str) -> f64 {
    let (main, sub) = media_type.split_once('/').unwrap_or_default();
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
        let both = Made::Table;
        assert_eq!(ask(None, None, both), Ok(Form::Json));
        assert_eq!(ask(Some("*/*"), None, both), Ok(Form::Json));
        assert_eq!(ask(Some("text/csv"), None, both), Ok(Form::Csv));
        assert_eq!(ask(Some("application/json;q=0.5, text/csv;q=0.9"), None, both), Ok(Form::Csv));
        assert_eq!(ask(Some("text/*, application/json;q=0.1"), None, both), Ok(Form::Csv));
        assert_eq!(ask(Some("text/csv;q=0, */*"), None, both), Ok(Form::Json));
        assert_eq!(ask(Some("text/html, */*;q=0.8"), None, both), Ok(Form::Json));
        assert_eq!(ask(Some("image/png"), None, both), Err(Kind::NotAcceptable));
        assert_eq!(ask(Some("text/csv"), None, Made::Json), Err(Kind::NotAcceptable));
        assert_eq!(ask(Some("application/vnd.apache.parquet"), None, both), Ok(Form::Parquet));
        let picture = Ok(Form::Svg(Size::Column));
        assert_eq!(ask(Some("image/svg+xml,image/png;q=0.9"), None, Made::Chart), picture);
        assert_eq!(ask(Some("image/*"), None, Made::Chart), picture);
        assert_eq!(ask(Some("text/html,application/xhtml+xml,*/*;q=0.8"), None, Made::Text), Ok(Form::Html));
    }

    #[test]
    fn format_wins_over_accept() {
        assert_eq!(ask(Some("application/json"), Some("csv"), Made::Table), Ok(Form::Csv));
        assert_eq!(ask(Some("text/csv"), Some("json"), Made::Table), Ok(Form::Json));
        assert_eq!(ask(None, Some("parquet"), Made::Table), Ok(Form::Parquet));
        assert_eq!(ask(None, Some("parquet"), Made::Json), Err(Kind::NotAcceptable));
        assert_eq!(ask(None, Some("svg"), Made::Table), Err(Kind::NotAcceptable));
    }
}
