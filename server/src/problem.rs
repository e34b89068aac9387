//! Everything that can go wrong with a request, in one table (RFC 9457, "Problem Details for HTTP APIs").
//!
//! A problem says what was received and what to do. It never carries SQL, a stack trace or another
//! member's data; what only the operator may know goes to the log under the same request id.

use std::collections::BTreeMap;

use actix_web::http::StatusCode;
use actix_web::http::header::{self, HeaderName, HeaderValue};
use actix_web::{HttpResponse, ResponseError};
use serde::{Deserialize, Serialize};
use serde_json::Value;
use utoipa::ToSchema;

macro_rules! kinds {
    ($($(#[$doc:meta])* $name:ident = $status:literal $slug:literal $title:literal;)+) => {
        /// The kind of a problem: its status, its title and its page never change.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub enum Kind {
            $($(#[$doc])* $name),+
        }

        impl Kind {
            /// Every kind, in the order of the table.
            pub const ALL: &'static [Kind] = &[$(Kind::$name),+];

            /// HTTP status.
            pub const fn status(self) -> u16 {
                match self { $(Kind::$name => $status),+ }
            }

            /// Last segment of the type's address.
            pub const fn slug(self) -> &'static str {
                match self { $(Kind::$name => $slug),+ }
            }

            /// One phrase, the same for every problem of the kind.
            pub const fn title(self) -> &'static str {
                match self { $(Kind::$name => $title),+ }
            }

            /// The page that the type's address shows, in a small subset of Markdown.
            pub const fn page(self) -> &'static str {
                match self { $(Kind::$name => include_str!(concat!("../../openapi/problems/", $slug, ".md"))),+ }
            }
        }
    };
}

kinds! {
    /// Query parameters that are unknown, malformed or contradict each other.
    InvalidQuery = 400 "invalid-query" "The query cannot be used as written";
    /// A body that is not the JSON the operation takes.
    InvalidBody = 400 "invalid-body" "The body cannot be used as written";
    /// A request that does not parse as HTTP or as the form it claims.
    BadRequest = 400 "bad-request" "The request cannot be read";
    /// No token, or one that does not count.
    Unauthorised = 401 "unauthorised" "A valid token or session is needed";
    /// A token whose role or scopes do not reach this.
    Forbidden = 403 "forbidden" "This token or session may not do that";
    /// A name and a password that do not fit, or a present password that is wrong.
    WrongPassword = 401 "wrong-password" "Name and password do not fit";
    /// A request of a session that may be another site's.
    CrossSite = 403 "cross-site" "This may not come from one of the club's own pages";
    /// A password over a line that others read.
    HttpsNeeded = 403 "https-needed" "Passwords are taken over HTTPS only";
    /// A public caller, and the club does not publish.
    NotPublished = 403 "not-published" "The club does not publish its answers";
    /// No such address.
    NotFound = 404 "not-found" "There is nothing at this address";
    /// A parameter code that the catalogue lacks.
    UnknownParameter = 404 "unknown-parameter" "No such parameter";
    /// A taxon slug that the catalogue lacks.
    UnknownTaxon = 404 "unknown-taxon" "No such taxon";
    /// An upload that is not there for this caller.
    UnknownUpload = 404 "unknown-upload" "No such upload";
    /// A record that is not there for this caller.
    UnknownRecord = 404 "unknown-record" "No such record";
    /// A token that is not there.
    UnknownToken = 404 "unknown-token" "No such token";
    /// A link that leads to no question, or no more.
    UnknownLink = 404 "unknown-link" "No such link";
    /// A layout that is not there: the upload is no file that was read, or holds no table.
    UnknownLayout = 404 "unknown-layout" "No such layout";
    /// A member that is not there.
    UnknownKeeper = 404 "unknown-keeper" "No such member";
    /// An account that is not there.
    UnknownAccount = 404 "unknown-account" "No such account";
    /// An invitation that is not there, or no longer valid.
    UnknownInvitation = 404 "unknown-invitation" "No such invitation";
    /// An answer about a kit that is not there.
    UnknownKit = 404 "unknown-kit" "No such answer about a kit";
    /// A band of the club that is not there.
    UnknownBand = 404 "unknown-band" "No such band of the club";
    /// A claim of the club's own that is not there.
    UnknownClaim = 404 "unknown-claim" "No such claim of the club";
    /// A name that the club has not agreed on.
    UnknownName = 404 "unknown-name" "No such name of the club";
    /// An issue of the newsletter that was not printed.
    UnknownIssue = 404 "unknown-issue" "No such issue of the newsletter";
    /// A join of names that is not there.
    UnknownMerge = 404 "unknown-merge" "No such join of names";
    /// An address that exists, asked with another method.
    MethodNotAllowed = 405 "method-not-allowed" "This address does not take that method";
    /// A representation that is not made.
    NotAcceptable = 406 "not-acceptable" "None of the asked representations is made";
    /// A body of which too little came in its time.
    TooSlow = 408 "too-slow" "The body came too slowly";
    /// A new record that stands already.
    AlreadyRecorded = 409 "already-recorded" "The same is recorded already";
    /// A record that follows from others is to be taken out or changed.
    NotStated = 409 "not-stated" "This record only follows from others";
    /// The upload is in a state in which this cannot be done.
    WrongState = 409 "wrong-state" "The upload is in another state";
    /// Questions are open and leaving them open was not said.
    OpenQuestions = 409 "open-questions" "Questions are still open";
    /// The question has another answer already.
    AlreadyAnswered = 409 "already-answered" "This question was answered before";
    /// The records changed since the preview.
    PreviewOutdated = 409 "preview-outdated" "The preview no longer holds";
    /// There is an account already.
    AlreadySetUp = 409 "already-set-up" "The club is set up";
    /// The body is larger than the limit.
    TooLarge = 413 "too-large" "The body is larger than the limit";
    /// A media type that the operation does not take.
    UnsupportedMediaType = 415 "unsupported-media-type" "This media type is not taken here";
    /// The idempotency key came with other bytes before.
    KeyReused = 422 "key-reused" "The idempotency key was used for other bytes";
    /// An answer that names no open question or no choice of it.
    InvalidAnswer = 422 "invalid-answer" "An answer does not fit its question";
    /// A value that is well formed and cannot be used: an unknown keeper, tank or coral.
    InvalidValue = 422 "invalid-value" "A value cannot be used";
    /// More requests than the policy allows.
    QuotaExceeded = 429 "quota-exceeded" "Too many requests";
    /// A fault of the program.
    Internal = 500 "internal" "The server failed";
    /// The database does not answer.
    DatabaseUnavailable = 503 "database-unavailable" "The database does not answer";
}

impl Kind {
    /// The address of the type, relative to the server's root; it resolves to a page.
    pub fn address(self) -> String {
        format!("/problems/{}", self.slug())
    }

    /// The kind of an address segment.
    pub fn parse(slug: &str) -> Option<Kind> {
        Kind::ALL.iter().copied().find(|kind| kind.slug() == slug)
    }

    fn of_status(status: StatusCode) -> Kind {
        match status.as_u16() {
            401 => Kind::Unauthorised,
            403 => Kind::Forbidden,
            404 => Kind::NotFound,
            405 => Kind::MethodNotAllowed,
            406 => Kind::NotAcceptable,
            413 => Kind::TooLarge,
            415 => Kind::UnsupportedMediaType,
            429 => Kind::QuotaExceeded,
            503 => Kind::DatabaseUnavailable,
            code if code < 500 => Kind::BadRequest,
            _ => Kind::Internal,
        }
    }
}

/// One fault of a request. A problem lists all that were found.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Fault {
    /// Name of the query parameter or header at fault.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(example = "edges")]
    pub parameter: Option<String>,
    /// JSON pointer (RFC 6901) into the body, for faults of a body.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(example = "/answers/0/choice")]
    pub pointer: Option<String>,
    /// Code of the fault: `unknown`, `invalid`, `missing`, `repeated`, `not_allowed`, `conflict`.
    #[schema(example = "unknown")]
    pub code: String,
    /// What was received and what would be taken.
    #[schema(example = "'edge' is not a parameter of this address; did you mean 'edges'?")]
    pub detail: String,
}

impl Fault {
    /// A fault of a query parameter or header.
    pub fn parameter(name: impl Into<String>, code: &str, detail: impl Into<String>) -> Self {
        Fault { parameter: Some(shown(name)), pointer: None, code: code.to_owned(), detail: shown(detail) }
    }

    /// A fault at a place of the body.
    pub fn pointer(pointer: impl Into<String>, code: &str, detail: impl Into<String>) -> Self {
        Fault { parameter: None, pointer: Some(shown(pointer)), code: code.to_owned(), detail: shown(detail) }
    }
}

/// What was received may hold a NUL character, which no text that is sent does: its picture stands for it.
fn shown(text: impl Into<String>) -> String {
    let text = text.into();
    if text.contains('\0') { text.replace('\0', "\u{2400}") } else { text }
}

/// A problem of a request: small to pass along, its content is behind a pointer.
#[derive(Debug, Clone, Serialize)]
pub struct Problem(Box<Content>);

/// A problem as it is sent, media type `application/problem+json`.
#[derive(Debug, Clone, Serialize, ToSchema)]
#[schema(as = Problem)]
pub struct Content {
    /// Address of the page about this kind, relative to the server's root.
    #[serde(rename = "type")]
    #[schema(example = "/problems/invalid-query")]
    type_: String,
    /// One phrase, the same for every problem of the kind.
    #[schema(example = "The query cannot be used as written")]
    title: &'static str,
    /// The status line's code.
    #[schema(example = 400, minimum = 400, maximum = 599)]
    status: u16,
    /// What was received and what to do.
    #[schema(example = "1 fault: 'edge' is not a parameter of this address; did you mean 'edges'?")]
    pub detail: String,
    /// Every fault that was found; empty where there is nothing to point at.
    pub errors: Vec<Fault>,
    /// The request's id, as in the header `X-Request-Id` and the server's log.
    #[schema(example = "5f1d0c2e9a7b4c3d8e6f001122334455")]
    pub request_id: Option<String>,
    /// Further members of some kinds, such as `current` and `available`.
    #[serde(flatten)]
    #[schema(ignore)]
    more: BTreeMap<&'static str, Value>,
    #[serde(skip)]
    #[schema(ignore)]
    kind: Kind,
    #[serde(skip)]
    #[schema(ignore)]
    headers: Vec<(HeaderName, HeaderValue)>,
}

impl Problem {
    /// A problem of a kind with its sentence.
    pub fn new(kind: Kind, detail: impl Into<String>) -> Self {
        Problem(Box::new(Content {
            type_: kind.address(),
            title: kind.title(),
            status: kind.status(),
            detail: shown(detail),
            errors: Vec::new(),
            request_id: None,
            more: BTreeMap::new(),
            kind,
            headers: Vec::new(),
        }))
    }

    /// A problem made of faults; its sentence counts and joins them.
    pub fn of_faults(kind: Kind, faults: Vec<Fault>) -> Self {
        let count = if faults.len() == 1 { "1 fault".to_owned() } else { format!("{} faults", faults.len()) };
        let said: Vec<&str> = faults.iter().map(|fault| fault.detail.as_str()).collect();
        let mut problem = Problem::new(kind, format!("{count}: {}", said.join("; ")));
        problem.errors = faults;
        problem
    }

    /// A problem with one fault.
    pub fn of_fault(kind: Kind, fault: Fault) -> Self {
        Problem::of_faults(kind, vec![fault])
    }

    /// A problem for a status that another library answered with.
    pub fn of_status(status: StatusCode, detail: impl Into<String>) -> Self {
        let mut problem = Problem::new(Kind::of_status(status), detail);
        problem.status = status.as_u16();
        problem
    }

    /// A failure of the program: the cause goes to the log, the caller learns that it happened.
    pub fn internal(cause: &(impl std::fmt::Display + ?Sized)) -> Self {
        tracing::error!(%cause, "a request failed");
        Problem::new(
            Kind::Internal,
            "The server failed on this request. Nothing was changed. Please tell the operator the request id.",
        )
    }

    /// With a further member.
    #[must_use]
    pub fn with(mut self, name: &'static str, value: Value) -> Self {
        self.more.insert(name, value);
        self
    }

    /// With a response header; a value that is no header value is left out.
    #[must_use]
    pub fn header(mut self, name: HeaderName, value: &str) -> Self {
        if let Ok(value) = HeaderValue::from_str(value) {
            self.headers.push((name, value));
        }
        self
    }

    /// With further response headers.
    #[must_use]
    pub fn with_headers(mut self, headers: Vec<(HeaderName, HeaderValue)>) -> Self {
        self.headers.extend(headers);
        self
    }

    /// No token, or one that does not count.
    pub fn unauthorised(detail: &str, error: Option<&str>) -> Self {
        let challenge = match error {
            Some(error) => format!("Bearer realm=\"strandline\", error=\"{error}\""),
            None => "Bearer realm=\"strandline\"".to_owned(),
        };
        Problem::new(Kind::Unauthorised, detail).header(header::WWW_AUTHENTICATE, &challenge)
    }

    /// Its kind.
    pub fn kind(&self) -> Kind {
        self.kind
    }

    /// The response, with the request's id inside.
    pub fn response(&self, request_id: &str) -> HttpResponse {
        let mut problem = self.clone();
        problem.request_id = Some(request_id.to_owned());
        problem.error_response()
    }
}

impl std::ops::Deref for Problem {
    type Target = Content;

    fn deref(&self) -> &Content {
        &self.0
    }
}

impl std::ops::DerefMut for Problem {
    fn deref_mut(&mut self) -> &mut Content {
        &mut self.0
    }
}

impl std::fmt::Display for Problem {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{}: {}", self.title, self.detail)
    }
}

impl std::error::Error for Problem {}

impl ResponseError for Problem {
    fn status_code(&self) -> StatusCode {
        StatusCode::from_u16(self.status).unwrap_or(StatusCode::INTERNAL_SERVER_ERROR)
    }

    fn error_response(&self) -> HttpResponse {
        let mut response = HttpResponse::build(self.status_code());
        for (name, value) in &self.headers {
            response.insert_header((name.clone(), value.clone()));
        }
        response.insert_header((header::CACHE_CONTROL, "no-store"));
        response.content_type("application/problem+json");
        // What else comes on the connection is not waited for.
        if self.kind == Kind::TooSlow {
            response.force_close();
        }
        // A struct of strings and numbers always serialises.
        response.body(serde_json::to_vec(self).unwrap_or_default())
    }
}

impl From<diesel::result::Error> for Problem {
    fn from(error: diesel::result::Error) -> Self {
        use diesel::result::{DatabaseErrorKind, Error};
        match error {
            Error::BrokenTransactionManager
            | Error::DatabaseError(DatabaseErrorKind::ClosedConnection | DatabaseErrorKind::UnableToSendCommand, _) => {
                Problem::database_unavailable(&error)
            }
            _ => Problem::internal(&error),
        }
    }
}

impl Problem {
    /// The database cannot be reached; the cause goes to the log.
    pub fn database_unavailable(cause: &impl std::fmt::Display) -> Self {
        tracing::error!(%cause, "the database does not answer");
        Problem::new(Kind::DatabaseUnavailable, "The database does not answer at the moment. Please try again shortly.")
            .header(header::RETRY_AFTER, "5")
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;

    #[test]
    fn every_kind_has_its_own_address_and_page() {
        let slugs: BTreeSet<&str> = Kind::ALL.iter().map(|kind| kind.slug()).collect();
        assert_eq!(slugs.len(), Kind::ALL.len());
        for kind in Kind::ALL {
            assert_eq!(Kind::parse(kind.slug()), Some(*kind));
            let page = kind.page();
            assert!(
                page.starts_with(&format!("# {}\n", kind.title())),
                "{}: the page opens with the title",
                kind.slug()
            );
            assert!(page.contains("## What to do"), "{}: the page says what to do", kind.slug());
            assert!((400..600).contains(&kind.status()));
        }
    }

    #[test]
    fn faults_arrive_together() {
        let problem = Problem::of_faults(
            Kind::InvalidQuery,
            vec![Fault::parameter("a", "unknown", "'a' is unknown"), Fault::parameter("b", "invalid", "'b' is no day")],
        );
        assert_eq!(problem.detail, "2 faults: 'a' is unknown; 'b' is no day");
        let sent = serde_json::to_value(&problem).unwrap();
        assert_eq!(sent["type"], "/problems/invalid-query");
        assert_eq!(sent["status"], 400);
        assert_eq!(sent["errors"][1]["parameter"], "b");
        assert!(sent["errors"][1].get("pointer").is_none());
    }

    #[test]
    fn a_cause_of_the_program_is_not_told() {
        let problem = Problem::from(diesel::result::Error::QueryBuilderError("SELECT secret FROM keeper".into()));
        assert_eq!(problem.kind(), Kind::Internal);
        assert!(!serde_json::to_string(&problem).unwrap().contains("SELECT"));
    }
}
