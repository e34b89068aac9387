//! One question behind its link: as JSON, or as a plain page that works on a phone without scripts. Nothing is asked of
//! the holder but the link; looking does not use it up, answering does.

use std::collections::BTreeMap;

use actix_web::http::header;
use actix_web::{HttpRequest, HttpResponse, HttpResponseBuilder, get, post, web};
use chrono::{DateTime, Utc};
use importer::finding::Choice;
use serde::{Deserialize, Serialize};
use serde_json::{Value, json};
use utoipa::ToSchema;

use crate::access::link::{self, Opened};
use crate::app::State;
use crate::body;
use crate::pool;
use crate::problem::{Fault, Kind, Problem};
use crate::problems;
use crate::query::{Nothing, Query};
use crate::route::problems::escape;
use crate::upload::question::{self, Question};

/// Bytes of an answer.
const LARGEST: usize = 16 * 1024;

/// A cell of the question.
#[derive(Serialize, ToSchema)]
pub struct QuestionCell {
    /// Sheet; `null` for text files.
    sheet: Option<String>,
    /// Row from 1.
    #[schema(example = 3)]
    row: u32,
    /// Column from 1.
    #[schema(example = 2)]
    column: u32,
    /// As written.
    #[schema(example = "2024-02-31")]
    written: Option<String>,
}

/// One way to answer.
#[derive(Serialize, ToSchema)]
pub struct QuestionChoice {
    /// Sent back as `choice`.
    #[schema(example = "day")]
    code: String,
    /// As a person reads it.
    #[schema(example = "a day")]
    label: String,
    /// What must come with it as `value`: `day`, `days`, `number`, `text`, `parameter`, `tank`, `taxon`; `null` = nothing.
    #[schema(example = "day")]
    needs: Option<String>,
}

/// The answer that was taken.
#[derive(Serialize, ToSchema)]
pub struct QuestionAnswered {
    /// The choice.
    #[schema(example = "day")]
    choice: String,
    /// What came with it.
    #[schema(value_type = Option<Value>)]
    value: Option<Value>,
}

/// One question of a log.
#[derive(Serialize, ToSchema)]
pub struct QuestionShown {
    /// The question.
    #[schema(example = "From what day did you write down every coral, also the ones that died?")]
    message: String,
    /// What to do.
    remedy: String,
    /// The first cell as written.
    written: String,
    /// Its first cells.
    cells: Vec<QuestionCell>,
    /// Ways to answer.
    choices: Vec<QuestionChoice>,
    /// The answer that was taken just now; `null` = it waits.
    answered: Option<QuestionAnswered>,
    /// When the link expires.
    expires_at: DateTime<Utc>,
}

/// An answer to it.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct QuestionAnswer {
    /// Code of the choice.
    #[schema(example = "day")]
    choice: String,
    /// What the choice needs.
    #[schema(value_type = Option<Value>, example = json!("2024-01-01"))]
    value: Option<Value>,
}

problems!(
    /// What opening a link can meet.
    OpenProblems: UnknownLink, AlreadyAnswered
);
problems!(
    /// What answering through a link can meet.
    AnswerProblems: InvalidBody, BadRequest, Forbidden, UnknownLink, AlreadyAnswered, WrongState, TooLarge, TooSlow, UnsupportedMediaType, InvalidAnswer
);

fn shown(opened: &Opened, question: &Question) -> QuestionShown {
    let finding = &question.finding;
    QuestionShown {
        message: finding.message.clone(),
        remedy: finding.remedy.clone(),
        written: finding.written.clone(),
        cells: question
            .cells
            .iter()
            .map(|(cell, written)| QuestionCell {
                sheet: cell.sheet.clone(),
                row: cell.row,
                column: cell.column,
                written: written.clone(),
            })
            .collect(),
        choices: finding
            .choices
            .iter()
            .map(|choice| QuestionChoice {
                code: choice.code.clone(),
                label: choice.label.clone(),
                needs: choice.needs.clone(),
            })
            .collect(),
        answered: question
            .answered
            .as_ref()
            .map(|answer| QuestionAnswered { choice: answer.choice.clone(), value: answer.value.clone() }),
        expires_at: opened.link.expires_at,
    }
}

/// Headers that keep the address to its holder.
fn closed(mut response: HttpResponseBuilder) -> HttpResponseBuilder {
    response.insert_header((header::CACHE_CONTROL, "no-store"));
    response.insert_header((header::REFERRER_POLICY, "no-referrer"));
    response.insert_header(("x-robots-tag", "noindex, nofollow, noarchive"));
    response.insert_header((header::VARY, "Accept"));
    response
}

fn page(status: HttpResponseBuilder, body: &str) -> HttpResponse {
    closed(status)
        .content_type("text/html; charset=utf-8")
        .insert_header((
            header::CONTENT_SECURITY_POLICY,
            "default-src 'none'; style-src 'unsafe-inline'; form-action 'self'; frame-ancestors 'none'; base-uri 'none'",
        ))
        .insert_header((header::X_CONTENT_TYPE_OPTIONS, "nosniff"))
        .body(format!(
            "<!doctype html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n\
             <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n\
             <meta name=\"robots\" content=\"noindex, nofollow\">\n<meta name=\"referrer\" content=\"no-referrer\">\n\
             <title>A question about your log</title>\n\
             <style>body{{max-width:38rem;margin:1rem auto;padding:0 1rem;font:1.1rem/1.5 serif;background:#fbf9f2;color:#1d2b45}}\
             h1{{font-weight:normal}}label,button,input{{font:inherit}}p.choice{{margin:.8rem 0}}input[type=radio]{{width:1.3rem;height:1.3rem}}\
             button{{padding:.6rem 1.2rem}}table{{border-collapse:collapse}}td,th{{padding:.2rem .8rem .2rem 0;text-align:left}}</style>\n\
             </head>\n<body>\n{body}</body>\n</html>\n"
        ))
}

fn wants_page(request: &HttpRequest) -> bool {
    let accept = request.headers().get(header::ACCEPT).and_then(|value| value.to_str().ok()).unwrap_or_default();
    accept.contains("text/html")
}

/// A problem as a page, for whoever came with a browser.
fn told(problem: &Problem) -> HttpResponse {
    let status = actix_web::http::StatusCode::from_u16(problem.kind().status())
        .unwrap_or(actix_web::http::StatusCode::INTERNAL_SERVER_ERROR);
    let body = format!("<h1>{}</h1>\n<p>{}</p>\n", escape(problem.kind().title()), escape(&problem.detail));
    page(HttpResponse::build(status), &body)
}

fn input(choice: &Choice) -> String {
    let name = escape(&format!("value:{}", choice.code));
    let label = escape(&choice.label);
    let field = |kind: &str, name: &str, more: &str| {
        format!(" <input type=\"{kind}\" name=\"{name}\" aria-label=\"{label}\" {more}>")
    };
    match choice.needs.as_deref() {
        None => String::new(),
        Some("day") => field("date", &name, ""),
        Some("days") => {
            field("date", &name, "") + " to" + &field("date", &escape(&format!("until:{}", choice.code)), "")
        }
        Some("number") => field("text", &name, "inputmode=\"decimal\" autocomplete=\"off\""),
        Some(_) => field("text", &name, "maxlength=\"200\" autocomplete=\"off\""),
    }
}

fn form(question: &Question, fault: Option<&str>) -> String {
    let finding = &question.finding;
    let mut out = format!("<h1>{}</h1>\n<p>{}</p>\n", escape(&finding.message), escape(&finding.remedy));
    if !question.cells.is_empty() {
        out.push_str("<table>\n<tr><th>Row</th><th>Column</th><th>As written</th></tr>\n");
        for (cell, written) in &question.cells {
            let sheet = cell.sheet.as_deref().map(|sheet| format!("{}, ", escape(sheet))).unwrap_or_default();
            out.push_str(&format!(
                "<tr><td>{sheet}{}</td><td>{}</td><td>{}</td></tr>\n",
                cell.row,
                cell.column,
                escape(written.as_deref().unwrap_or_default())
            ));
        }
        out.push_str("</table>\n");
    }
    if let Some(fault) = fault {
        out.push_str(&format!("<p role=\"alert\"><strong>{}</strong></p>\n", escape(fault)));
    }
    // Without an address the form goes to the page's own, so that the secret stands nowhere else.
    out.push_str("<form method=\"post\">\n");
    for choice in &finding.choices {
        out.push_str(&format!(
            "<p class=\"choice\"><label><input type=\"radio\" name=\"choice\" value=\"{}\" required> {}</label>{}</p>\n",
            escape(&choice.code),
            escape(&choice.label),
            input(choice)
        ));
    }
    out.push_str("<p><button>Send this answer</button></p>\n</form>\n");
    out
}

/// See one question of a log
///
/// What a link to a question leads to: a page for browsers, JSON for others. It shows that question with its cells and
/// nothing else of the upload. Looking does not use the link up.
#[utoipa::path(
    tag = "uploads",
    security(()),
    params(("secret" = String, Path, description = "The secret of the link", example = "…")),
    responses(
        (status = 200, description = "The question", content(
            (QuestionShown = "application/json"),
            (String = "text/html")
        )),
        OpenProblems
    )
)]
#[get("/questions/{secret}")]
pub async fn get_question(
    request: HttpRequest,
    state: web::Data<State>,
    path: web::Path<String>,
    _: Query<Nothing>,
) -> Result<HttpResponse, Problem> {
    let secret = path.into_inner();
    let found = pool::with(&state.pool, move |connection| {
        let opened = link::open(connection, &secret, false)?;
        let question = question::load(connection, &opened)?;
        Ok((opened, question))
    })
    .await;
    match found {
        Err(problem) if wants_page(&request) => Ok(told(&problem)),
        Err(problem) => Err(problem),
        Ok((_, question)) if wants_page(&request) => Ok(page(HttpResponse::Ok(), &form(&question, None))),
        Ok((opened, question)) => Ok(closed(HttpResponse::Ok()).json(shown(&opened, &question))),
    }
}

/// A form's answer: the choice, and the fields that belong to it.
fn of_form(text: &[u8], choices: &[Choice]) -> Result<QuestionAnswer, Problem> {
    let fields: BTreeMap<String, String> = serde_urlencoded_of(text);
    let choice = fields.get("choice").cloned().unwrap_or_default();
    if choice.is_empty() {
        return Err(Problem::of_fault(
            Kind::InvalidAnswer,
            Fault::pointer("/choice", "missing", "choose one of the answers"),
        ));
    }
    let given =
        |name: &str| fields.get(&format!("{name}:{choice}")).map(|text| text.trim()).filter(|text| !text.is_empty());
    let needs = choices.iter().find(|known| known.code == choice).and_then(|known| known.needs.as_deref());
    let value = match (needs, given("value")) {
        (None, _) | (_, None) => None,
        (Some("days"), Some(first)) => Some(json!([first, given("until").unwrap_or(first)])),
        (Some("number"), Some(text)) => match text.replace(',', ".").parse::<f64>() {
            Ok(number) if number.is_finite() => Some(json!(number)),
            _ => Some(json!(text)),
        },
        (Some(_), Some(text)) => Some(json!(text)),
    };
    Ok(QuestionAnswer { choice, value })
}

/// Fields of a form (`application/x-www-form-urlencoded`, WHATWG URL standard).
fn serde_urlencoded_of(text: &[u8]) -> BTreeMap<String, String> {
    let text = String::from_utf8_lossy(text);
    web::Query::<BTreeMap<String, String>>::from_query(&text).map(web::Query::into_inner).unwrap_or_default()
}

/// Answer one question of a log
///
/// Once: a second answer meets 409 with the one that stands. Takes JSON, or the page's own form.
#[utoipa::path(
    tag = "uploads",
    security(()),
    params(("secret" = String, Path, description = "The secret of the link", example = "…")),
    request_body(content((QuestionAnswer = "application/json"), (String = "application/x-www-form-urlencoded"))),
    responses(
        (status = 200, description = "Taken", content(
            (QuestionShown = "application/json"),
            (String = "text/html")
        )),
        AnswerProblems
    )
)]
#[post("/questions/{secret}")]
pub async fn answer_question(
    request: HttpRequest,
    state: web::Data<State>,
    path: web::Path<String>,
    _: Query<Nothing>,
    payload: web::Payload,
) -> Result<HttpResponse, Problem> {
    let html = wants_page(&request);
    match take(&request, &state, path.into_inner(), payload).await {
        Err((problem, Some(question))) if html && problem.kind() == Kind::InvalidAnswer => {
            let body = form(&question, Some(&problem.detail));
            Ok(page(HttpResponse::UnprocessableEntity(), &body))
        }
        Err((problem, _)) if html => Ok(told(&problem)),
        Err((problem, _)) => Err(problem),
        Ok(_) if html => {
            let body = "<h1>Thank you</h1>\n<p>Your answer was taken. You can close this page.</p>\n";
            Ok(page(HttpResponse::Ok(), body))
        }
        Ok((opened, question)) => Ok(closed(HttpResponse::Ok()).json(shown(&opened, &question))),
    }
}

type Taken = Result<(Opened, Question), (Problem, Option<Question>)>;

async fn take(request: &HttpRequest, state: &web::Data<State>, secret: String, payload: web::Payload) -> Taken {
    let alone = |problem: Problem| (problem, None);
    // A form on another site cannot know the secret; a browser that says where it comes from is believed as well.
    let from = request.headers().get("sec-fetch-site").and_then(|value| value.to_str().ok());
    if from.is_some_and(|from| !matches!(from, "same-origin" | "none")) {
        return Err(alone(Problem::new(Kind::Forbidden, "An answer is sent from the link's own page.")));
    }
    let media = request.headers().get(header::CONTENT_TYPE).and_then(|value| value.to_str().ok()).unwrap_or_default();
    let media = media.split(';').next().unwrap_or_default().trim().to_ascii_lowercase();
    let is_form = match media.as_str() {
        "application/x-www-form-urlencoded" => true,
        "application/json" => false,
        other => {
            let detail = format!("The answer came as '{other}'; send JSON, or the form of the link's page.");
            return Err(alone(Problem::new(Kind::UnsupportedMediaType, detail)));
        }
    };
    let bytes = body::read(payload, body::content_length(request), LARGEST).await.map_err(alone)?;
    let of_secret = secret.clone();
    let question = pool::with(&state.pool, move |connection| {
        let opened = link::open(connection, &of_secret, false)?;
        question::load(connection, &opened)
    })
    .await
    .map_err(alone)?;
    let given = if is_form {
        of_form(&bytes, &question.finding.choices)
    } else {
        serde_json::from_slice(&bytes)
            .map_err(|error| Problem::of_fault(Kind::InvalidBody, Fault::pointer("", "invalid", error.to_string())))
    };
    let given = match given {
        Ok(given) => given,
        Err(problem) => return Err((problem, Some(question))),
    };
    pool::with(&state.pool, move |connection| question::answer(connection, &secret, given.choice, given.value))
        .await
        .map_err(|problem| (problem, Some(question)))
}
