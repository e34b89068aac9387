//! A file comes in: received within the limit, raw or as a part of a form, and stored once.

use actix_multipart::{Multipart, MultipartError};
use actix_web::http::header;
use actix_web::{FromRequest, HttpRequest, web};
use chrono::{DateTime, Duration, NaiveDate, Utc};
use diesel::prelude::*;
use diesel::result::{DatabaseErrorKind, Error};
use futures_util::TryStreamExt;
use importer::load::{LoadError, NewUpload};
use importer::saved_layout::SavedLayout;
use migrations::schema::upload;
use serde_json::json;
use sha2::{Digest, Sha256};
use utoipa::ToSchema;

use crate::access::{Caller, Reached, Scope, keeper};
use crate::app::patience;
use crate::body;
use crate::problem::{Fault, Kind, Problem};

/// What is said beside a file.
#[derive(Debug, Clone, Default)]
pub struct Beside {
    /// Name of the file.
    pub name: Option<String>,
    /// Handle of the member whose file it is.
    pub keeper: Option<String>,
    /// The tank it is about.
    pub tank: Option<String>,
    /// The log it is a version of.
    pub log: Option<String>,
    /// The day on which its register was true.
    pub as_of: Option<NaiveDate>,
    /// The layout that it is to be read by: an upload's number, or the document itself.
    pub layout: Option<String>,
}

/// A file as a form.
#[derive(ToSchema)]
#[allow(dead_code)] // documents the form
pub struct Form {
    /// The file.
    #[schema(value_type = String, format = Binary)]
    file: Vec<u8>,
    /// As the query parameter of this name.
    keeper: Option<String>,
    /// As the query parameter of this name.
    tank: Option<String>,
    /// As the query parameter of this name.
    log: Option<String>,
    /// As the query parameter of this name.
    as_of: Option<NaiveDate>,
    /// As the query parameter of this name, or the layout itself as it was exported.
    layout: Option<String>,
    /// As the query parameter of this name.
    name: Option<String>,
}

/// A file that came in.
#[derive(Debug, Clone)]
pub struct File {
    /// Its bytes.
    pub bytes: Vec<u8>,
    /// Its name.
    pub name: String,
    /// What is said beside it.
    pub beside: Beside,
}

/// Media types of raw bodies. What a file is, is read from its bytes.
const TAKEN: &[&str] = &[
    "application/octet-stream",
    "text/csv",
    "text/plain",
    "text/tab-separated-values",
    "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    "application/vnd.ms-excel",
    "application/vnd.oasis.opendocument.spreadsheet",
];

/// Receives a file, raw or as a form.
///
/// # Errors
/// [`Kind::UnsupportedMediaType`], [`Kind::TooLarge`], [`Kind::BadRequest`], or [`Kind::InvalidQuery`] where the
/// name is missing or a value stands in the address and in the form.
pub async fn receive(
    request: &HttpRequest,
    payload: web::Payload,
    beside: Beside,
    limit: usize,
) -> Result<File, Problem> {
    let media = request.headers().get(header::CONTENT_TYPE).and_then(|value| value.to_str().ok()).unwrap_or("");
    let media = media.split(';').next().unwrap_or("").trim().to_ascii_lowercase();
    let (bytes, mut beside) = match media.as_str() {
        "multipart/form-data" => form(request, payload, beside, limit).await?,
        "" => (raw(request, payload, limit).await?, beside),
        taken if TAKEN.contains(&taken) => (raw(request, payload, limit).await?, beside),
        other => {
            return Err(Problem::new(
                Kind::UnsupportedMediaType,
                format!(
                    "The file came as '{other}'. Send it with 'Content-Type: text/csv', 'application/octet-stream' or another \
                     type of spreadsheets, or as the part 'file' of 'multipart/form-data'."
                ),
            ));
        }
    };
    let name = beside.name.take().map(|name| base(&name)).filter(|name| !name.is_empty()).ok_or_else(|| {
        Problem::of_fault(
            Kind::InvalidQuery,
            Fault::parameter(
                "name",
                "missing",
                "'name' is missing; give the name of the file, for example ?name=tests.csv",
            ),
        )
    })?;
    Ok(File { bytes, name, beside })
}

/// The last part of a path of any system, without control characters and not longer than 255 characters.
fn base(name: &str) -> String {
    let last = name.rsplit(['/', '\\']).next().unwrap_or_default();
    last.chars().filter(|character| !character.is_control()).take(255).collect::<String>().trim().to_owned()
}

async fn raw(request: &HttpRequest, payload: web::Payload, limit: usize) -> Result<Vec<u8>, Problem> {
    Ok(body::read(payload, body::content_length(request), limit).await?.to_vec())
}

fn broken(error: impl std::fmt::Display) -> Problem {
    Problem::new(Kind::BadRequest, format!("The form cannot be read: {error}."))
}

fn unread(error: MultipartError) -> Problem {
    if patience::is_too_slow(&error) { body::too_slow() } else { broken(error) }
}

async fn form(
    request: &HttpRequest,
    payload: web::Payload,
    mut beside: Beside,
    limit: usize,
) -> Result<(Vec<u8>, Beside), Problem> {
    // A form is a little larger than its file.
    if body::content_length(request).is_some_and(|length| length > limit + 64 * 1024) {
        return Err(body::too_large(limit));
    }
    let mut parts = Multipart::from_request(request, &mut payload.into_inner()).await.map_err(broken)?;
    let mut file: Option<Vec<u8>> = None;
    let mut faults = Vec::new();
    while let Some(mut part) = parts.try_next().await.map_err(unread)? {
        let name = part.name().unwrap_or_default().to_owned();
        let filename = part.content_disposition().and_then(|said| said.get_filename()).map(str::to_owned);
        let most = match name.as_str() {
            "file" => limit,
            "layout" => importer::saved_layout::LARGEST,
            _ => 1024,
        };
        let mut bytes = Vec::new();
        while let Some(chunk) = part.try_next().await.map_err(unread)? {
            if bytes.len() + chunk.len() > most {
                return Err(if name == "file" {
                    body::too_large(limit)
                } else {
                    broken(format!("the part '{name}' is longer than {most} bytes"))
                });
            }
            bytes.extend_from_slice(&chunk);
        }
        if name == "file" {
            if file.replace(bytes).is_some() {
                faults.push(Fault::parameter(
                    "file",
                    "repeated",
                    "the form has two parts 'file'; upload one file at a time",
                ));
            }
            beside.name = beside.name.or(filename);
            continue;
        }
        let text = String::from_utf8_lossy(&bytes).trim().to_owned();
        if text.is_empty() {
            continue;
        }
        if let Some(fault) = put(&mut beside, &name, text) {
            faults.push(fault);
        }
    }
    if file.is_none() {
        faults.push(Fault::parameter("file", "missing", "the form has no part 'file'"));
    }
    match file {
        Some(file) if faults.is_empty() => Ok((file, beside)),
        _ => {
            // Each alone can be taken: together they cannot.
            let is_conflict = !faults.is_empty() && faults.iter().all(|fault| fault.code == "conflict");
            let kind = if is_conflict { Kind::InvalidValue } else { Kind::InvalidQuery };
            Err(Problem::of_faults(kind, faults))
        }
    }
}

/// Puts a part of a form into its place; a value given twice must be the same.
fn put(beside: &mut Beside, name: &str, text: String) -> Option<Fault> {
    if name == "as_of" {
        let Ok(day) = NaiveDate::parse_from_str(&text, "%Y-%m-%d") else {
            return Some(Fault::parameter(
                name,
                "invalid",
                format!("'as_of={text}' is not a day; write it as 2025-03-04"),
            ));
        };
        return match beside.as_of.replace(day) {
            Some(other) if other != day => Some(twice(name)),
            _ => None,
        };
    }
    let place = match name {
        "name" => &mut beside.name,
        "keeper" => &mut beside.keeper,
        "tank" => &mut beside.tank,
        "log" => &mut beside.log,
        "layout" => &mut beside.layout,
        _ => {
            let known = ["file", "name", "keeper", "tank", "log", "as_of", "layout"];
            let detail = format!("'{name}' is no part of this form; {}", crate::query::hint(name, known.into_iter()));
            return Some(Fault::parameter(name, "unknown", detail));
        }
    };
    match place.replace(text) {
        Some(other) if place.as_ref() != Some(&other) => Some(twice(name)),
        _ => None,
    }
}

fn twice(name: &str) -> Fault {
    Fault::parameter(name, "conflict", format!("'{name}' is given twice with different values; give it once"))
}

/// The sender's own key of a request (draft-ietf-httpapi-idempotency-key-header): repeating the request with it
/// gives the first answer.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Idempotency(String);

/// How long a key is kept.
pub const KEY_HOURS: i64 = 24;

impl Idempotency {
    /// The key of a request, if it has one.
    ///
    /// # Errors
    /// [`Kind::InvalidQuery`] where the header is no quoted string of 1 to 200 printable characters.
    pub fn of(request: &HttpRequest) -> Result<Option<Self>, Problem> {
        let mut headers = request.headers().get_all("idempotency-key");
        let Some(first) = headers.next() else { return Ok(None) };
        let text = first.to_str().unwrap_or_default().trim();
        let bare = text.strip_prefix('"').and_then(|rest| rest.strip_suffix('"')).unwrap_or(text);
        let good = (1..=200).contains(&bare.len()) && bare.bytes().all(|byte| byte.is_ascii_graphic() && byte != b'"');
        if headers.next().is_none() && good {
            return Ok(Some(Idempotency(bare.to_owned())));
        }
        let detail =
            "'Idempotency-Key' must come once, as a quoted string of 1 to 200 printable characters without spaces";
        Err(Problem::of_fault(Kind::InvalidQuery, Fault::parameter("Idempotency-Key", "invalid", detail)))
    }

    /// The key.
    pub fn as_str(&self) -> &str {
        &self.0
    }

    /// It came before with another request.
    pub fn reused(&self) -> Problem {
        let detail = format!("The key '{}' came before with another request; make a new key for each new one.", self.0);
        Problem::of_fault(Kind::KeyReused, Fault::parameter("Idempotency-Key", "conflict", detail))
    }
}

/// Stores a file for a member and gives its upload, and whether it was there before.
///
/// # Errors
/// As [`keeper::handed_in_for`]; [`Kind::KeyReused`] for other bytes under the same key.
pub fn store(
    connection: &mut PgConnection,
    caller: &Caller,
    scope: &Scope,
    file: File,
    key: Option<&Idempotency>,
) -> Result<(Reached, bool), Problem> {
    let owner = keeper::handed_in_for(connection, caller, file.beside.keeper.as_deref())?;
    let layout = file.beside.layout.as_deref().map(|layout| layout_of(connection, scope, layout)).transpose()?;
    let sender = Sender::of(caller);
    let sha256 = Sha256::digest(&file.bytes).to_vec();
    let received_by = caller.name();
    let new = NewUpload {
        keeper_id: owner.id,
        name: &file.name,
        bytes: &file.bytes,
        tank: file.beside.tank.as_deref(),
        log: file.beside.log.as_deref(),
        as_of: file.beside.as_of,
        layout: layout.as_ref(),
        received_by: &received_by,
        token_id: sender.token(),
        account_id: sender.account(),
        idempotency_key: key.map(|key| key.0.as_str()),
    };
    // The key is written with the upload; whoever comes second waits for the first and finds its upload.
    for attempt in 0..2 {
        if let Some(key) = key
            && let Some(first) = keyed(connection, sender, key, Utc::now())?
        {
            let same = first.1 == owner.id && first.2 == sha256;
            return if same { Ok((Reached::handed_in(&owner, first.0), false)) } else { Err(key.reused()) };
        }
        match importer::load::receive(connection, &new) {
            // Two requests with one key may race: the later one finds its own bytes, under its own key.
            Ok(received) if received.already.is_some() && attempt == 0 && key.is_some() => {}
            Ok(received) => {
                return Ok((Reached::handed_in(&owner, received.upload_id), received.already.is_some()));
            }
            Err(LoadError::Rejected { .. }) if attempt == 0 => {}
            Err(error) => return Err(problem(&error)),
        }
    }
    Err(Problem::internal("an idempotency key was neither free nor taken"))
}

/// The layout that is named by an upload within reach, or sent as it is.
fn layout_of(connection: &mut PgConnection, scope: &Scope, text: &str) -> Result<SavedLayout, Problem> {
    let wrong = |detail: String| Problem::of_fault(Kind::InvalidValue, Fault::parameter("layout", "invalid", detail));
    if let Ok(id) = text.parse::<i64>() {
        let reached = scope.upload(connection, id)?;
        let made = importer::load::layout(connection, reached.id()).map_err(|error| problem(&error))?;
        return made
            .ok_or_else(|| wrong(format!("upload {id} has no layout; name one that is read and holds a table")));
    }
    SavedLayout::parse(text.as_bytes()).map_err(|error| wrong(error.to_string()))
}

/// Whose idempotency keys are told apart: those of a token, or of an account in whatever session.
#[derive(Debug, Clone, Copy)]
enum Sender {
    Token(i64),
    Account(i64),
    Nobody,
}

impl Sender {
    fn of(caller: &Caller) -> Self {
        match caller.holder().map(|holder| (holder.token_id, holder.account_id)) {
            Some((Some(token_id), _)) => Sender::Token(token_id),
            Some((None, Some(account_id))) => Sender::Account(account_id),
            _ => Sender::Nobody,
        }
    }

    fn token(self) -> Option<i64> {
        if let Sender::Token(id) = self { Some(id) } else { None }
    }

    fn account(self) -> Option<i64> {
        if let Sender::Account(id) = self { Some(id) } else { None }
    }
}

/// The upload that came with a key: number, member, SHA-256. A key that has expired is let go.
fn keyed(
    connection: &mut PgConnection,
    sender: Sender,
    key: &Idempotency,
    now: DateTime<Utc>,
) -> Result<Option<(i64, i64, Vec<u8>)>, Problem> {
    let of_sender = match sender {
        Sender::Token(id) => upload::table.filter(upload::token_id.eq(id)).into_boxed(),
        Sender::Account(id) => upload::table.filter(upload::account_id.eq(id)).into_boxed(),
        Sender::Nobody => return Ok(None),
    };
    let first: Option<(i64, i64, Vec<u8>, DateTime<Utc>)> = of_sender
        .filter(upload::idempotency_key.eq(&key.0))
        .select((upload::id, upload::keeper_id, upload::sha256, upload::received_at))
        .first(connection)
        .optional()?;
    let Some((id, keeper_id, sha256, received_at)) = first else { return Ok(None) };
    if now - received_at < Duration::hours(KEY_HOURS) {
        return Ok(Some((id, keeper_id, sha256)));
    }
    diesel::update(upload::table.find(id)).set(upload::idempotency_key.eq(None::<String>)).execute(connection)?;
    Ok(None)
}

/// What the loader says, as a problem.
pub fn problem(error: &LoadError) -> Problem {
    let said = error.to_string();
    match error {
        LoadError::NoUpload(_) => Problem::new(Kind::UnknownUpload, said),
        LoadError::NoKeeper(_) => Problem::of_fault(Kind::InvalidValue, Fault::parameter("keeper", "unknown", said)),
        LoadError::WrongState { state, .. } => {
            let problem = Problem::new(Kind::WrongState, said).with("state", json!(state.as_str()));
            if super::moves(state.as_str()) { problem.header(header::RETRY_AFTER, "1") } else { problem }
        }
        LoadError::QuestionsOpen { keys, .. } => Problem::new(Kind::OpenQuestions, said).with("open", json!(keys)),
        LoadError::UnknownQuestion { .. } => {
            Problem::of_fault(Kind::InvalidAnswer, Fault::pointer("/answers", "unknown", said))
        }
        LoadError::UnknownChoice { .. } | LoadError::BadValue { .. } => {
            Problem::of_fault(Kind::InvalidAnswer, Fault::pointer("/answers", "invalid", said))
        }
        LoadError::Conflict { current } => Problem::new(Kind::AlreadyAnswered, said).with("current", json!(current)),
        LoadError::OtherShape(differences) => {
            let faults = differences.0.iter().map(|detail| Fault::parameter("layout", "conflict", detail)).collect();
            Problem::of_faults(Kind::InvalidValue, faults)
        }
        LoadError::BadKit(said) => Problem::of_fault(Kind::InvalidValue, Fault::pointer("", "invalid", said)),
        LoadError::NoKitAnswer(_) => Problem::new(Kind::UnknownKit, said),
        LoadError::BadMerge(faults) => {
            let at = |(field, detail): (&str, String)| Fault::pointer(format!("/{field}"), "invalid", detail);
            Problem::of_faults(Kind::InvalidValue, faults.iter().cloned().map(at).collect())
        }
        LoadError::NoMerge(_) => Problem::new(Kind::UnknownMerge, said),
        LoadError::PreviewOutdated { .. } => Problem::new(Kind::PreviewOutdated, said),
        LoadError::BadRollCall(_) => Problem::of_fault(Kind::InvalidValue, Fault::pointer("", "invalid", said)),
        LoadError::Rejected { table, rule, .. } => {
            tracing::warn!(%said, "a value was rejected by the database");
            Problem::new(
                Kind::InvalidValue,
                format!(
                    "A value breaks a rule of the records ({table}: {rule}); nothing was recorded. Correct it and try again."
                ),
            )
        }
        LoadError::Database(_) if connection_lost(error) => Problem::database_unavailable(error),
        _ => Problem::internal(error),
    }
}

fn connection_lost(error: &LoadError) -> bool {
    matches!(
        error,
        LoadError::Database(
            Error::BrokenTransactionManager
                | Error::DatabaseError(DatabaseErrorKind::ClosedConnection | DatabaseErrorKind::UnableToSendCommand, _)
        )
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use actix_web::test::TestRequest;

    #[test]
    fn a_name_is_the_last_part_of_a_path_of_any_system() {
        assert_eq!(base("C:\\Logs\\tests.csv"), "tests.csv");
        assert_eq!(base("../../etc/passwd"), "passwd");
        assert_eq!(base("a\u{0}b\n.csv "), "ab.csv");
        assert_eq!(base("/"), "");
    }

    #[test]
    fn a_value_given_twice_must_be_the_same() {
        let mut beside = Beside { tank: Some("Lagoon".into()), ..Beside::default() };
        assert_eq!(put(&mut beside, "tank", "Lagoon".into()), None);
        assert_eq!(put(&mut beside, "tank", "Reef".into()).unwrap().code, "conflict");
        assert_eq!(put(&mut beside, "tnak", "Reef".into()).unwrap().code, "unknown");
        assert_eq!(put(&mut beside, "as_of", "4.3.2025".into()).unwrap().code, "invalid");
    }

    #[test]
    fn a_key_is_a_quoted_string() {
        let of = |text: &str| {
            Idempotency::of(&TestRequest::default().insert_header(("idempotency-key", text)).to_http_request())
                .map_err(|problem| problem.kind())
        };
        assert_eq!(of("\"abc\""), Ok(Some(Idempotency("abc".into()))));
        assert_eq!(of("abc"), Ok(Some(Idempotency("abc".into()))));
        assert_eq!(of("\"\""), Err(Kind::InvalidQuery));
        assert_eq!(of("\"a b\""), Err(Kind::InvalidQuery));
        assert_eq!(
            Idempotency::of(&TestRequest::default().to_http_request()).map_err(|problem| problem.kind()),
            Ok(None)
        );
    }
}
