//! Validators of an answer, and whether the caller holds it already: RFC 9110, sections 8.8 and 13.1.

use std::sync::LazyLock;
use std::time::SystemTime;

use actix_web::HttpRequest;
use actix_web::http::header::{self, HttpDate};
use chrono::{DateTime, DurationRound, TimeDelta, Utc};

/// When this program began to answer: another version may write the same records otherwise.
static BEGAN: LazyLock<DateTime<Utc>> = LazyLock::new(Utc::now);

/// Names the bytes of an answer, and when they were last made otherwise.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Validator {
    /// Strong: other bytes have another one.
    pub etag: String,
    /// To the full second after it, so that of two changes within a second no one mistakes the first for the last.
    modified: DateTime<Utc>,
}

impl Validator {
    /// Of what a program says of itself.
    pub fn of_program(etag: String) -> Self {
        Validator { etag, modified: full_second(*BEGAN) }
    }

    /// Of what is computed from records that changed last at a time.
    pub fn of_records(etag: String, changed_at: DateTime<Utc>) -> Self {
        Validator { etag, modified: full_second(changed_at.max(*BEGAN)) }
    }

    /// The value of `Last-Modified`; `None` within the second of the change, since it must not lie in the future.
    pub fn last_modified(&self) -> Option<String> {
        let time = SystemTime::from(self.modified);
        (time <= SystemTime::now()).then(|| HttpDate::from(time).to_string())
    }
}

fn full_second(time: DateTime<Utc>) -> DateTime<Utc> {
    time.duration_round_up(TimeDelta::seconds(1)).unwrap_or(time)
}

/// What the caller holds already.
#[derive(Debug, Clone, Default)]
pub struct Held {
    /// Validators, where any were named.
    tags: Option<Vec<String>>,
    since: Option<DateTime<Utc>>,
}

impl Held {
    /// Reads it from a request.
    pub fn of(request: &HttpRequest) -> Self {
        let headers = request.headers();
        let tags = headers.contains_key(header::IF_NONE_MATCH).then(|| {
            headers
                .get_all(header::IF_NONE_MATCH)
                .filter_map(|value| value.to_str().ok())
                .flat_map(|value| value.split(','))
                .map(|tag| tag.trim().trim_start_matches("W/").trim_matches('"').to_owned())
                .collect()
        });
        let mut dates = headers.get_all(header::IF_MODIFIED_SINCE);
        let since = match (dates.next(), dates.next()) {
            (Some(date), None) => date.to_str().ok().and_then(|date| date.parse::<HttpDate>().ok()),
            _ => None,
        };
        Held { tags, since: since.map(|date| SystemTime::from(date).into()) }
    }

    /// Is it this very answer? A date counts only where no tag is named.
    pub fn holds(&self, validator: &Validator) -> bool {
        match &self.tags {
            None => self.since.is_some_and(|since| validator.modified <= since),
            Some(_) => self.names(&validator.etag),
        }
    }

    /// Is it named by its tag? Tags of compressed copies name the same one.
    pub fn names(&self, etag: &str) -> bool {
        let bare = etag.trim_matches('"');
        self.tags.iter().flatten().any(|tag| {
            tag == "*"
                || tag == bare
                || tag.rsplit_once('-').is_some_and(|(tag, coding)| tag == bare && is_coding(coding))
        })
    }
}

fn is_coding(word: &str) -> bool {
    matches!(word, "gzip" | "zstd" | "br" | "deflate")
}

#[cfg(test)]
mod tests {
    use super::*;
    use actix_web::test::TestRequest;

    fn abc() -> Validator {
        Validator { etag: "\"abc\"".to_owned(), modified: "1994-10-29T19:43:31Z".parse().unwrap() }
    }

    fn held(headers: &[(&'static str, &str)]) -> bool {
        let request = headers.iter().fold(TestRequest::default(), |request, header| request.append_header(*header));
        Held::of(&request.to_http_request()).holds(&abc())
    }

    #[test]
    fn a_held_answer_is_recognised_in_every_way_it_is_written() {
        let tag = |value: &str| held(&[("if-none-match", value)]);
        assert!(tag("\"abc\""));
        assert!(tag("\"x\", W/\"abc\""));
        assert!(tag("\"abc-gzip\""));
        assert!(tag("*"));
        assert!(!tag("\"abc-def\""));
        assert!(!tag("\"abcd\""));
    }

    // The date is the example of RFC 9110, section 13.1.3.
    #[test]
    fn a_date_counts_only_without_a_tag() {
        const THEN: &str = "Sat, 29 Oct 1994 19:43:31 GMT";
        assert!(held(&[("if-modified-since", THEN)]));
        assert!(held(&[("if-modified-since", "Saturday, 29-Oct-94 19:43:31 GMT")]), "the obsolete form");
        assert!(held(&[("if-modified-since", "Sat, 29 Oct 1994 19:43:32 GMT")]));
        assert!(!held(&[("if-modified-since", "Sat, 29 Oct 1994 19:43:30 GMT")]));
        assert!(!held(&[("if-modified-since", "yesterday")]), "no date is passed over");
        assert!(!held(&[("if-modified-since", THEN), ("if-modified-since", THEN)]), "so are two");
        assert!(!held(&[("if-modified-since", THEN), ("if-none-match", "\"other\"")]), "the tag decides");
        assert!(held(&[("if-modified-since", "yesterday"), ("if-none-match", "\"abc\"")]));
        assert!(!held(&[]));
    }

    #[test]
    fn a_change_within_a_second_is_not_taken_for_the_one_before() {
        let at = |millis: i64| *BEGAN + TimeDelta::seconds(5) + TimeDelta::milliseconds(millis);
        let early = Validator::of_records("\"a\"".to_owned(), at(0));
        let late = Validator::of_records("\"b\"".to_owned(), at(1000));
        assert!(early.modified >= at(0) && early.modified < late.modified);
        assert_eq!(early.last_modified(), None, "not in the future");
        // Records older than the program count from its beginning.
        let old = Validator::of_records("\"c\"".to_owned(), *BEGAN - TimeDelta::days(300));
        assert_eq!(old.modified, Validator::of_program("\"d\"".to_owned()).modified);
    }
}
