//! A question about one taxon that is not split: its parameters, and from the records to the bytes.

use actix_web::{HttpRequest, HttpResponse, web};
use analysis::answer::{Audience, Outcome, TaxonQuestion};
use analysis::vocabulary::TaxonSlug;
use serde::Serialize;
use utoipa::IntoParams;

use crate::access::Caller;
use crate::answer::Snapshot;
use crate::app::State;
use crate::chart::Size;
use crate::problem::Problem;
use crate::query::{Asked, Fields};
use crate::represent::{self, Form, Made, Sheet};
use crate::route::picture::{self, Draw, Pictured};
use crate::route::representation::Representation;
use crate::route::statistics;

/// Parameters of a question about one taxon.
#[derive(IntoParams)]
#[into_params(parameter_in = Query)]
pub struct TaxonQuery {
    /// What ends the follow-up: `death`, `first_serious_decline`, `death_or_decline`, `death_after_decline`.
    #[param(value_type = Option<String>, example = "death")]
    pub outcome: Outcome,
    /// Only corals acquired on or after 1 January of this year.
    #[param(minimum = 1900, maximum = 2200, example = 2020)]
    pub since: Option<i32>,
    /// `json`, `csv` or `parquet`, and `svg` or `png` where there is a picture; wins over `Accept`.
    #[param(example = "json")]
    pub format: Option<String>,
    /// `excel` for semicolons and decimal commas; implies `format=csv`.
    #[param(example = "excel")]
    pub csv: Option<String>,
    /// Of a picture: `column` for the column of a newsletter, `slide` for 16 to 9.
    #[param(value_type = Option<String>, example = "column")]
    pub size: Option<Size>,
}

impl Asked for TaxonQuery {
    fn read(fields: &mut Fields) -> Self {
        let outcome = outcome(fields);
        let since = statistics::since(fields);
        let Representation { format, csv } = Representation::of(fields);
        let size = picture::size(fields);
        TaxonQuery { outcome, since, format, csv, size }
    }
}

/// The outcome asked for; death where none is.
pub fn outcome(fields: &mut Fields) -> Outcome {
    let codes: Vec<&str> = Outcome::ALL.iter().map(|outcome| outcome.as_str()).collect();
    fields.word("outcome", &codes).and_then(Outcome::parse).unwrap_or_default()
}

/// An answer's name, and the list within it as rows: where it stands, and the columns with their place in a line.
pub struct Lines {
    /// What is asked, in the file's name and the canonical text.
    pub about: &'static str,
    /// What it is made of, by which a release's figures stand.
    pub made_of: &'static str,
    /// JSON pointer to the list.
    pub list: &'static str,
    /// Names with JSON pointers into a line.
    pub columns: &'static [(&'static str, &'static str)],
}

/// Answers a question about a taxon; `draw` makes its picture.
#[allow(clippy::too_many_arguments, reason = "what is asked, by whom, and how it is answered")]
pub async fn answer<A, F>(
    request: &HttpRequest,
    state: &web::Data<State>,
    caller: Caller,
    taxon: TaxonSlug,
    query: TaxonQuery,
    lines: &'static Lines,
    draw: Option<Draw<A>>,
    compute: F,
) -> Result<HttpResponse, Problem>
where
    A: Serialize + 'static,
    F: FnOnce(&Snapshot, &TaxonQuestion, Audience) -> Result<A, Problem> + Send + 'static,
{
    let TaxonQuery { outcome, since, format, csv, size } = query;
    let made = if draw.is_some() { Made::Chart } else { Made::Table };
    let pictured = Pictured::of(request, state, Representation { format, csv }, size, made).await?;
    let question = TaxonQuestion { taxon, outcome, since };
    let asked = pictured.asked(asked(&question, lines, pictured.form));
    statistics::answer(request, state, caller, asked, move |snapshot, audience| {
        statistics::allowed(question.plain().faults(audience))?;
        let answer = compute(snapshot, &question, audience)?;
        pictured.bytes(&answer, snapshot, draw, |value| Sheet::of_lines(value, lines.list, lines.columns))
    })
    .await
}

/// The question as answers are kept by.
pub fn asked(question: &TaxonQuestion, lines: &Lines, form: Form) -> statistics::Question {
    statistics::Question {
        canonical: question.canonical(lines.about),
        form,
        stem: format!("{}-{}", question.taxon, lines.about),
        taxon: Some(question.taxon),
        made_of: lines.made_of,
    }
}

/// The bytes of an answer.
pub fn bytes(answer: &impl Serialize, form: Form, lines: &Lines) -> Result<Vec<u8>, Problem> {
    represent::json_or_sheet(answer, form, |value| Sheet::of_lines(value, lines.list, lines.columns))
}
