//! An issue of the newsletter: assembled from the release, frozen as it is printed, withdrawn, and shown again with what
//! stands no longer.

use actix_web::http::header;
use actix_web::{HttpRequest, HttpResponse, delete, get, post, web};
use analysis::club::SEVERAL;
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

use crate::access::Caller;
use crate::answer;
use crate::app::State;
use crate::body::Body;
use crate::desk::signed;
use crate::newsletter::frozen::{self, FrozenIssue, Kept, NewIssue, PrintedIssue};
use crate::newsletter::{Issue, Since, Wanted, page as written};
use crate::pool;
use crate::problem::{Fault, Kind, Problem};
use crate::problems;
use crate::query::{Asked, Fields, Nothing, Query};
use crate::release;
use crate::represent::{self, Form};
use crate::route::page::{self, Links, Page};
use crate::route::representation::Documents;
use crate::route::statistics;

/// Parameters of an issue.
#[derive(IntoParams)]
#[into_params(parameter_in = Query)]
pub struct NewsletterQuery {
    /// Only what has changed since: a day, by the day of the release whose figures stand; or the number of a release, such as the one
    /// that the last issue was made from.
    #[param(value_type = Option<String>, example = "2025-01-01")]
    since: Option<Since>,
    /// Only these, in this order: taxa by their names in addresses, and what is taught by its stable name; separated by commas.
    /// Left out = everything.
    #[param(value_type = Option<String>, example = "goniopora,near_sea_salt")]
    items: Vec<String>,
    /// `json`, `md` for Markdown or `html` for a page that prints; wins over `Accept`, so that a link can carry it.
    #[param(example = "html")]
    format: Option<String>,
}

/// Each in the place where it comes first.
fn each_once(all: Vec<String>) -> Vec<String> {
    let mut items = Vec::new();
    for item in all {
        if !items.contains(&item) {
            items.push(item);
        }
    }
    items
}

/// Things chosen at most.
const ITEMS: usize = 100;

impl Asked for NewsletterQuery {
    fn read(fields: &mut Fields) -> Self {
        let since = fields.value("since", |text| Since::parse(text).map_err(|said| format!("since: {said}")));
        let items = each_once(fields.list("items"));
        if items.len() > ITEMS {
            fields.fault("items", "invalid", format!("'items' names {} things; name at most {ITEMS}", items.len()));
        }
        let Documents { format } = Documents::read(fields);
        NewsletterQuery { since, items, format }
    }
}

problems!(
    /// What an issue can meet.
    NewsletterProblems: NotPublished, NotAcceptable
);
problems!(
    /// What an issue that was printed can meet.
    PrintedProblems: UnknownIssue, NotPublished, NotAcceptable
);
problems!(
    /// What printing an issue can meet.
    PrintingProblems: InvalidBody, UnsupportedMediaType, TooLarge, TooSlow, InvalidValue, PreviewOutdated
);
problems!(
    /// No such issue.
    NoSuchIssue: UnknownIssue
);

/// Assemble an issue of the newsletter
///
/// A paragraph, a table and a picture for each taxon whose figures stand in the current release, what the records say of
/// what is taught, what cannot be told yet, and what the last printed issue says that stands no longer. Figures are rounded as
/// for the public, whoever asks. As a page it prints, with its pictures in it and nothing loaded from outside.
#[utoipa::path(
    tag = "answers",
    security((), ("token" = ["read"])),
    params(NewsletterQuery),
    responses(
        (status = 200, description = "The issue", content((Issue = "application/json"), (String = "text/markdown"), (String = "text/html"))),
        (status = 304, description = "The caller holds this issue already"),
        NewsletterProblems
    )
)]
#[get("/newsletter")]
pub async fn get_newsletter(
    request: HttpRequest,
    state: web::Data<State>,
    caller: Caller,
    query: Query<NewsletterQuery>,
) -> Result<HttpResponse, Problem> {
    let NewsletterQuery { since, items, format } = query.0;
    let form = Documents { format }.form(&request)?;
    let (club, last) =
        pool::with(&state.pool, |connection| Ok((answer::club_name(connection)?, frozen::last(connection)?))).await?;
    let named = club.as_deref().map(represent::encode).unwrap_or_default();
    let canonical = format!(
        "newsletter?since={}&items={}&club={named}&last={}",
        since.map(|since| since.to_string()).unwrap_or_default(),
        represent::encode(&items.join(",")),
        last.as_ref().map_or(0, |last| last.printed.number),
    );
    let wanted = Wanted { club, since, items };
    let asked = statistics::Question { canonical, form, stem: "newsletter".to_owned(), taxon: None, made_of: SEVERAL };
    statistics::of_release(&request, &state, caller, asked, move |snapshot, _| {
        let mut issue = Issue::of(snapshot, &wanted)?;
        if let Some(last) = &last {
            issue.corrections = last.corrections(snapshot)?;
        }
        match form {
            Form::Markdown => Ok(written::markdown(&issue).into_bytes()),
            Form::Html => Ok(written::page(&issue).into_bytes()),
            _ => represent::json_bytes(&issue),
        }
    })
    .await
}

/// An issue to be printed.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct IssueRequest {
    /// Its title.
    #[schema(min_length = 1, max_length = 120, example = "Summer issue")]
    title: String,
    /// Who answers for it, as it is printed.
    #[schema(min_length = 1, max_length = 120, example = "newsletter desk")]
    signed_by: String,
    /// Why it is made, or what is special about it.
    #[schema(max_length = 1000, example = "for the June meeting")]
    note: Option<String>,
    /// Only what has changed since this day, or since the release of this number.
    #[schema(max_length = 10, example = "2025-01-01")]
    since: Option<String>,
    /// Only these, in this order, as for `GET /newsletter`.
    #[serde(default)]
    #[schema(max_items = 100, example = json!(["goniopora", "near_sea_salt"]))]
    items: Vec<String>,
    /// The release that was looked at: refused if another is current by now.
    #[schema(example = 7)]
    release: Option<i64>,
}

impl IssueRequest {
    fn read(self) -> Result<(NewIssue, Wanted, Option<i64>), Problem> {
        let mut faults = Vec::new();
        let title = signed::text("/title", Some(self.title), 120, &mut faults).unwrap_or_default();
        let signed_by = signed::text("/signed_by", Some(self.signed_by), 120, &mut faults).unwrap_or_default();
        let note = signed::text("/note", self.note, 1000, &mut faults);
        let since = self.since.as_deref().map(Since::parse).transpose().unwrap_or_else(|said| {
            faults.push(Fault::pointer("/since", "invalid", said));
            None
        });
        let items = each_once(self.items);
        if items.len() > ITEMS {
            let detail = format!("{} things are named; name at most {ITEMS}", items.len());
            faults.push(Fault::pointer("/items", "invalid", detail));
        }
        if !faults.is_empty() {
            return Err(Problem::of_faults(Kind::InvalidValue, faults));
        }
        Ok((NewIssue { title, signed_by, note }, Wanted { club: None, since, items }, self.release))
    }
}

/// Print an issue
///
/// Freezes it as `GET /newsletter` assembles it: its words, figures and pictures stay as they are now. Figures that change later are
/// named beside it and in the next issue.
#[utoipa::path(
    tag = "desk",
    security(("token" = ["admin"])),
    request_body = IssueRequest,
    responses((status = 201, description = "The issue, with its number", body = PrintedIssue), PrintingProblems)
)]
#[post("/newsletter/issues")]
pub async fn create_issue(
    state: web::Data<State>,
    caller: Caller,
    _: Query<Nothing>,
    body: Body<IssueRequest>,
) -> Result<HttpResponse, Problem> {
    let scope = caller.administers()?;
    let (new, mut wanted, looked_at) = body.0.read()?;
    let shared = state.clone();
    let working = web::block(move || {
        let connect = || shared.pool.get().map_err(|error| Problem::database_unavailable(&error));
        let (standing, last) = {
            let mut connection = connect()?;
            wanted.club = answer::club_name(&mut connection)?;
            (release::standing(&mut connection, None, SEVERAL)?, frozen::last(&mut connection)?)
        };
        let snapshot = shared.answers.released(&shared.pool, &standing)?;
        if let Some(other) = looked_at.filter(|number| *number != snapshot.edition) {
            let detail = format!(
                "Release {other} was looked at, and {} stands by now; look at the issue again and send its release.",
                snapshot.edition
            );
            return Err(Problem::new(Kind::PreviewOutdated, detail));
        }
        let mut issue = Issue::of(&snapshot, &wanted).map_err(in_body)?;
        if let Some(last) = &last {
            issue.corrections = last.corrections(&snapshot)?;
        }
        frozen::freeze(&mut *connect()?, &scope, new, &issue, &caller.name())
    });
    let printed = working.await.map_err(|error| Problem::internal(&error))??;
    let at = format!("/api/v1/newsletter/issues/{}", printed.number);
    Ok(HttpResponse::Created()
        .insert_header((header::CACHE_CONTROL, "no-store"))
        .insert_header((header::LOCATION, at))
        .json(printed))
}

/// A fault of the items, which stand in the body here.
fn in_body(problem: Problem) -> Problem {
    if problem.kind() != Kind::InvalidQuery {
        return problem;
    }
    let faults = problem.errors.iter().map(|fault| Fault::pointer("/items", "unknown", fault.detail.clone()));
    Problem::of_faults(Kind::InvalidValue, faults.collect())
}

/// A page of printed issues.
#[derive(Serialize, ToSchema)]
pub struct IssuePage {
    /// Issues, the oldest first.
    issues: Vec<PrintedIssue>,
    /// Where the next page is.
    links: Links,
}

/// Parameters of a list of issues.
#[derive(IntoParams)]
#[into_params(parameter_in = Query)]
pub struct IssuesQuery {
    /// Issues on a page.
    #[param(minimum = 1, maximum = 1000, default = 50, example = 50)]
    limit: i64,
    /// Where the page begins: from `links.next` of the page before.
    #[param(value_type = Option<String>)]
    cursor: Option<i64>,
}

impl Asked for IssuesQuery {
    fn read(fields: &mut Fields) -> Self {
        IssuesQuery { limit: page::limit(fields), cursor: page::cursor(fields, "issues", &[]) }
    }
}

/// List printed issues
///
/// Also those that were withdrawn.
#[utoipa::path(
    tag = "answers",
    security((), ("token" = ["read"])),
    params(IssuesQuery),
    responses((status = 200, description = "A page of issues", body = IssuePage), NewsletterProblems)
)]
#[get("/newsletter/issues")]
pub async fn list_issues(
    request: HttpRequest,
    state: web::Data<State>,
    caller: Caller,
    query: Query<IssuesQuery>,
) -> Result<HttpResponse, Problem> {
    let IssuesQuery { limit, cursor } = query.0;
    let rows = pool::with(&state.pool, move |connection| {
        caller.audience(answer::publishes(connection)?)?;
        frozen::list(connection, cursor.unwrap_or(0), limit + 1)
    })
    .await?;
    let page = Page::of(rows, limit, |row| row.number);
    let links = page.links(&request, "issues", &[]);
    Ok(page::send(&links).json(IssuePage { issues: page.items, links }))
}

/// Parameters of a printed issue.
#[derive(IntoParams)]
#[into_params(parameter_in = Query)]
pub struct IssueQuery {
    /// `json`, `md` for Markdown or `html` for a page that prints; wins over `Accept`, so that a link can carry it.
    #[param(example = "html")]
    format: Option<String>,
}

impl Asked for IssueQuery {
    fn read(fields: &mut Fields) -> Self {
        let Documents { format } = Documents::read(fields);
        IssueQuery { format }
    }
}

/// Show a printed issue
///
/// As it was printed, with the figures named that stand no longer. Figures that rest on records which a member took back are not shown
/// again.
#[utoipa::path(
    tag = "answers",
    security((), ("token" = ["read"])),
    params(("number" = i64, Path, description = "Number of the issue", example = 3), IssueQuery),
    responses(
        (status = 200, description = "The issue", content((FrozenIssue = "application/json"), (String = "text/markdown"), (String = "text/html"))),
        (status = 304, description = "The caller holds this issue already"),
        PrintedProblems
    )
)]
#[get("/newsletter/issues/{number}")]
pub async fn get_issue(
    request: HttpRequest,
    state: web::Data<State>,
    caller: Caller,
    path: web::Path<i64>,
    query: Query<IssueQuery>,
) -> Result<HttpResponse, Problem> {
    let form = Documents { format: query.0.format }.form(&request)?;
    let (number, asking) = (path.into_inner(), caller.clone());
    let kept: Kept = pool::with(&state.pool, move |connection| {
        // Whoever may read none is not told which there are.
        caller.audience(answer::publishes(connection)?)?;
        frozen::one(connection, number)
    })
    .await?;
    let canonical = format!("newsletter/issues/{number}?withdrawn={}", kept.printed.withdrawn_at.is_some());
    let asked =
        statistics::Question { canonical, form, stem: format!("issue-{number}"), taxon: None, made_of: SEVERAL };
    statistics::of_release(&request, &state, asking, asked, move |snapshot, _| {
        let shown = kept.shown(snapshot)?;
        match form {
            Form::Markdown => Ok(written::printed_markdown(&shown).into_bytes()),
            Form::Html => Ok(written::printed_page(&shown).into_bytes()),
            _ => represent::json_bytes(&shown),
        }
    })
    .await
}

/// Withdraw a printed issue
///
/// It stays readable, marked as withdrawn, and the next issue no longer corrects it. Withdrawing it again changes nothing and gives the
/// same answer.
#[utoipa::path(
    tag = "desk",
    security(("token" = ["admin"])),
    params(("number" = i64, Path, description = "Number of the issue", example = 3)),
    responses((status = 200, description = "The issue, withdrawn", body = PrintedIssue), NoSuchIssue)
)]
#[delete("/newsletter/issues/{number}")]
pub async fn withdraw_issue(
    state: web::Data<State>,
    caller: Caller,
    path: web::Path<i64>,
    _: Query<Nothing>,
) -> Result<HttpResponse, Problem> {
    let scope = caller.administers()?;
    let number = path.into_inner();
    let gone =
        pool::with(&state.pool, move |connection| frozen::withdraw(connection, &scope, number, &caller.name())).await?;
    Ok(HttpResponse::Ok().insert_header((header::CACHE_CONTROL, "no-store")).json(gone))
}
