//! The club as a whole.

use actix_web::{HttpRequest, HttpResponse, get, web};
use analysis::club::SEVERAL;
use serde::Serialize;
use serde_json::Value;
use utoipa::ToSchema;

use crate::access::Caller;
use crate::answer::totals;
use crate::app::State;
use crate::document;
use crate::problem::Problem;
use crate::problems;
use crate::query::{Nothing, Query};
use crate::represent::{self, Made};
use crate::route::representation::Representation;
use crate::route::shape::Part;
use crate::route::statistics;

/// Counts of the club.
#[derive(ToSchema)]
#[allow(dead_code)] // documents what the core serialises
pub struct ClubTotals {
    /// Members with records.
    #[schema(example = 40)]
    keepers: u64,
    /// Tanks.
    #[schema(example = 65)]
    tanks: u64,
    /// Specimens on record.
    #[schema(example = 540)]
    specimens: u64,
    /// Deaths, missing ones and those that arrived dead included.
    #[schema(example = 155)]
    deaths: u64,
    /// Water tests.
    #[schema(example = 48150)]
    readings: u64,
}

/// Where to go on from the club.
#[derive(Serialize, ToSchema)]
pub struct ClubLinks {
    /// Corals and kin.
    #[schema(example = "/api/v1/taxa")]
    taxa: &'static str,
    /// What is measured.
    #[schema(example = "/api/v1/parameters")]
    parameters: &'static str,
    /// The document.
    #[schema(example = "/api/v1/openapi.json")]
    document: &'static str,
    /// Its browsable page.
    #[schema(example = "/docs/")]
    docs: &'static str,
}

/// The club.
#[derive(Serialize, ToSchema)]
pub struct ClubShown {
    /// Its name; `null` until it is set.
    #[schema(example = "Skerrick Sound Reef Keepers")]
    name: Option<String>,
    /// State of the records: raised by every change of what an answer depends on.
    #[schema(example = 41)]
    edition: i64,
    /// Its answers are shown to everybody.
    #[schema(example = true)]
    published: bool,
    /// Version of the program.
    #[schema(example = "0.1.0")]
    program_version: &'static str,
    /// What the records hold, as far as the caller may see it.
    #[schema(value_type = Part<ClubTotals>)]
    records: Value,
    /// Where to go on.
    links: ClubLinks,
}

problems!(
    /// What asking for the club can meet.
    ClubProblems: NotPublished, NotAcceptable
);

/// Get the club
///
/// Its name, the state of its records, and their counts as far as the caller may see them: rounded for the public,
/// suppressed where too few members stand behind them.
#[utoipa::path(
    tag = "club",
    security((), ("token" = ["read"])),
    responses(
        (status = 200, description = "The club", body = ClubShown),
        (status = 304, description = "The caller holds this answer already"),
        ClubProblems
    )
)]
#[get("/club")]
pub async fn get_club(
    request: HttpRequest,
    state: web::Data<State>,
    caller: Caller,
    _: Query<Nothing>,
) -> Result<HttpResponse, Problem> {
    let form = Representation { format: None, csv: None }.form(&request, Made::Json)?;
    let (name, published) = statistics::club_facts(&state).await?;
    // Name and setting are part of the question: an answer kept under another name is not this one.
    let canonical = format!("club?name={}&published={published}", name.as_deref().unwrap_or_default());
    let asked = statistics::Question { canonical, form, stem: "club".to_owned(), taxon: None, made_of: SEVERAL };
    statistics::answer(&request, &state, caller, asked, move |snapshot, audience| {
        let records = serde_json::to_value(totals::totals(&snapshot.club, audience))
            .map_err(|error| Problem::internal(&error))?;
        represent::json_bytes(&ClubShown {
            name,
            edition: snapshot.edition,
            published,
            program_version: env!("CARGO_PKG_VERSION"),
            records,
            links: ClubLinks {
                taxa: "/api/v1/taxa",
                parameters: "/api/v1/parameters",
                document: document::ADDRESS,
                docs: "/docs/",
            },
        })
    })
    .await
}
