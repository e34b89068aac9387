//! Whom to ask for what.

use std::sync::Arc;

use actix_web::{HttpRequest, HttpResponse, get, web};
use chrono::Utc;
use serde::Serialize;
use utoipa::{IntoParams, ToSchema};

use crate::access::{Caller, Scope};
use crate::app::State;
use crate::desk::who_to_ask::{self, Asking, KeeperAsks, METHOD};
use crate::problem::Problem;
use crate::problems;
use crate::query::{Asked, Fields, Query};
use crate::represent::{self, Cell, Form, Held, Keep, Made, Sheet, Validator};
use crate::route::page::{self, Page};
use crate::route::representation::Representation;

problems!(
    /// What asking whom to ask can meet.
    AsksProblems: NotAcceptable
);

/// Whom to ask for what.
#[derive(Serialize, ToSchema)]
pub struct AsksPage {
    /// State of the records.
    #[schema(example = 41)]
    edition: i64,
    /// Answers that are lacking.
    #[schema(example = 12)]
    lacking: usize,
    /// How the answers that a question would help are counted.
    method: &'static str,
    /// Members, in the order of the question that helps most answers, then by name.
    keepers: Vec<KeeperAsks>,
    /// The next page.
    links: page::Links,
}

/// Parameters of the list.
#[derive(IntoParams)]
#[into_params(parameter_in = Query)]
pub struct AsksQuery {
    /// Only of this member.
    #[param(example = "osprey")]
    keeper: Option<String>,
    /// Members a page, 1 to 1000; the table has all.
    #[param(minimum = 1, maximum = 1000, example = 50)]
    limit: i64,
    /// Where the page begins: from `links.next` of the page before.
    #[param(value_type = Option<String>)]
    cursor: Option<i64>,
    /// `json` or `csv`; wins over `Accept`.
    #[param(example = "json")]
    format: Option<String>,
    /// `excel` for semicolons and decimal commas; implies `format=csv`.
    #[param(example = "excel")]
    csv: Option<String>,
}

impl Asked for AsksQuery {
    fn read(fields: &mut Fields) -> Self {
        let keeper = fields.text("keeper");
        let filters = [keeper.clone().unwrap_or_default()];
        let (limit, cursor) = (page::limit(fields), page::cursor(fields, "who-to-ask", &filters));
        let Representation { format, csv } = Representation::of(fields);
        AsksQuery { keeper, limit, cursor, format, csv }
    }
}

/// List whom to ask for what
///
/// Open questions of files and gaps in the records, member by member, the question that helps most lacking answers first, with a letter
/// ready to copy. The order is that of what is still to be written down: it says nothing of how anybody keeps corals, and nobody's losses are
/// counted.
#[utoipa::path(
    tag = "desk",
    security(("token" = ["admin"])),
    params(AsksQuery),
    responses(
        (status = 200, description = "A page of members; as CSV and Parquet one row a question, all of them", content((AsksPage = "application/json"), (String = "text/csv"), (Vec<u8> = "application/vnd.apache.parquet"))),
        (status = 304, description = "The caller holds this answer already"),
        AsksProblems
    )
)]
#[get("/who-to-ask")]
pub async fn list_asks(
    request: HttpRequest,
    state: web::Data<State>,
    caller: Caller,
    query: Query<AsksQuery>,
) -> Result<HttpResponse, Problem> {
    let scope = caller.administers()?;
    let AsksQuery { keeper, limit, cursor, format, csv } = query.0;
    let form = Representation { format, csv }.form(&request, Made::Table)?;
    let shared = state.clone();
    let worked = web::block(move || asking(&shared, &scope));
    let asking = worked.await.map_err(|error| Problem::internal(&error))??;
    let Asking { edition, lacking, keepers } = asking;
    let keepers = keepers.into_iter().filter(|of| keeper.as_ref().is_none_or(|keeper| *keeper == of.keeper));
    let bytes = if form == Form::Json {
        let first = cursor.unwrap_or(0);
        let numbered = (1..).zip(keepers).filter(|(at, _)| *at > first);
        let rows = numbered.take(usize::try_from(limit + 1).unwrap_or(usize::MAX)).collect();
        let page = Page::of(rows, limit, |(at, _)| *at);
        let links = page.links(&request, "who-to-ask", &[keeper.clone().unwrap_or_default()]);
        let keepers = page.items.into_iter().map(|(_, keeper)| keeper).collect();
        represent::json_bytes(&AsksPage { edition, lacking, method: METHOD, keepers, links })?
    } else {
        sheet(keepers, edition).bytes(form)?
    };
    let text = represent::hex(&bytes);
    let validator = Validator::of_records(represent::etag(&["who-to-ask", form.word(), &text]), Utc::now());
    if Held::of(&request).holds(&validator) {
        return Ok(represent::not_modified(&validator, Keep::Private));
    }
    Ok(represent::found(bytes, form, "who-to-ask", &validator, Keep::Private))
}

/// Worked out on records and names of one state, once for it, its open questions and the day.
fn asking(state: &State, scope: &Scope) -> Result<Asking, Problem> {
    loop {
        let names = {
            let mut connection = state.pool.get().map_err(|error| Problem::database_unavailable(&error))?;
            who_to_ask::names(&mut connection, scope)?
        };
        let today = (state.today)();
        let tag = represent::etag(&["who-to-ask", &today.to_string(), &names.asked()]);
        if let Some(known) = state.answers.body(names.edition, &tag) {
            return serde_json::from_slice(&known).map_err(|error| Problem::internal(&error));
        }
        let snapshot = state.answers.snapshot(&state.pool, scope, names.edition)?;
        // Something was committed in between: the names are of an older state.
        if snapshot.edition == names.edition {
            let asking = who_to_ask::asking(&snapshot, &names, today);
            state.answers.keep(names.edition, &tag, Arc::new(represent::json_bytes(&asking)?));
            return Ok(asking);
        }
    }
}

fn sheet(keepers: impl Iterator<Item = KeeperAsks>, edition: i64) -> Sheet {
    let mut sheet = Sheet::new([
        "edition",
        "keeper",
        "about",
        "lifts",
        "question",
        "corals",
        "tanks",
        "last_test",
        "upload",
        "key",
    ]);
    for KeeperAsks { keeper, asks, .. } in keepers {
        for ask in asks {
            sheet.rows.push(vec![
                Cell::Whole(edition),
                Cell::Text(keeper.clone()),
                Cell::Text(ask.about),
                Cell::Whole(ask.lifts as i64),
                Cell::Text(ask.question),
                Cell::Text(ask.corals.join("; ")),
                Cell::Text(ask.tanks.join("; ")),
                Cell::text(ask.last_test.map(|day| day.to_string())),
                ask.upload.map_or(Cell::Empty, Cell::Whole),
                Cell::text(ask.key),
            ]);
        }
    }
    sheet
}
