//! What is measured: codes, units, ranges and cut points, the same for everybody; and what is taught of one.

use actix_web::{HttpRequest, HttpResponse, get, web};
use analysis::answer::Audience;
use analysis::vocabulary::{Parameter, ParameterCode, ParameterKind, ZeroPolicy, catalogue};
use chrono::{DateTime, Utc};
use serde::Serialize;
use utoipa::{IntoParams, ToSchema};

use crate::access::Caller;
use crate::answer;
use crate::app::State;
use crate::desk::bands::{self, AsOf, TaughtShown};
use crate::pool;
use crate::problem::{Kind, Problem};
use crate::problems;
use crate::query::{Asked, Fields, Query, hint};
use crate::represent::{self, Cell, Form, Held, Keep, Made, Sheet, Validator};
use crate::route::representation::Representation;

/// Parameters of the list.
#[derive(IntoParams)]
#[into_params(parameter_in = Query)]
pub struct ListQuery {
    /// Only parameters of a kind: `reading` (a test of the water), `trace` (of a laboratory's report), `routine` (a habit with a rate).
    #[param(example = "reading")]
    kind: Option<String>,
    /// `json`, `csv` or `parquet`; wins over `Accept`.
    #[param(example = "json")]
    format: Option<String>,
    /// `excel` for semicolons and decimal commas; implies `format=csv`.
    #[param(example = "excel")]
    csv: Option<String>,
}

/// What `kind` takes.
pub const KINDS: [&str; 3] = ["reading", "trace", "routine"];

impl Asked for ListQuery {
    fn read(fields: &mut Fields) -> Self {
        let kind = fields.word("kind", &KINDS).map(str::to_owned);
        let Representation { format, csv } = Representation::of(fields);
        ListQuery { kind, format, csv }
    }
}

/// A unit that a parameter may be written in.
#[derive(Serialize, ToSchema)]
pub struct WrittenUnit {
    /// As printed.
    #[schema(example = "mg/L")]
    unit: &'static str,
    /// What the written number is expressed as, where that matters.
    #[schema(example = "N")]
    basis: Option<&'static str>,
    /// A written value …
    #[schema(example = 1.0)]
    written: f64,
    /// … and what it becomes in the parameter's own unit.
    #[schema(example = 4.426643821)]
    becomes: f64,
}

/// Something measured.
#[derive(Serialize, ToSchema)]
pub struct ParameterShown {
    /// Code in addresses, questions and records.
    #[schema(example = "nitrate")]
    code: &'static str,
    /// Name.
    #[schema(example = "Nitrate")]
    name: &'static str,
    /// What it is, and what its number is expressed as.
    what: &'static str,
    /// The one unit it is stored and answered in.
    #[schema(example = "mg/L")]
    unit: &'static str,
    /// The same in the Unified Code for Units of Measure.
    #[schema(example = "mg/L")]
    ucum: &'static str,
    /// `reading`, `trace` or `routine`.
    #[schema(example = "reading")]
    kind: &'static str,
    /// Usual in a stony-coral tank, `[lowest, highest]`; common practice, no source.
    usual: Option<[f64; 2]>,
    /// Outside these no value is taken, `[lowest, highest]`.
    possible: Option<[f64; 2]>,
    /// Finest step of the trade's instruments.
    step: Option<f64>,
    /// Smallest value that the trade's instruments usually show.
    limit: Option<f64>,
    /// Cut points that `edges` may name, ascending; steps are half-open `[a, b)`.
    ladder: Vec<f64>,
    /// Days that a reading speaks when no newer one came.
    carry_days: u32,
    /// What a written 0 means: `limit` (below the instrument's limit), `not_possible`, `real`.
    #[schema(example = "limit")]
    zero: &'static str,
    /// Units that it may be written in.
    written_in: Vec<WrittenUnit>,
    /// Words that a header may name it by.
    spellings: Vec<&'static str>,
}

/// Something measured, with what is taught of it.
#[derive(Serialize, ToSchema)]
pub struct ParameterTaught {
    #[serde(flatten)]
    parameter: ParameterShown,
    /// The range taught for each species, genus or group with one of its own, as the answers that the caller reads take it:
    /// the club's, else the catalogue's.
    taught: Vec<TaughtShown>,
}

/// All parameters.
#[derive(Serialize, ToSchema)]
pub struct ParameterList {
    /// In the order of print.
    parameters: Vec<ParameterShown>,
}

const fn kind_word(kind: ParameterKind) -> &'static str {
    match kind {
        ParameterKind::Reading => "reading",
        ParameterKind::Trace => "trace",
        ParameterKind::Routine => "routine",
    }
}

fn shown(parameter: &'static Parameter) -> ParameterShown {
    let pair = |range: Option<(f64, f64)>| range.map(|(low, high)| [low, high]);
    ParameterShown {
        code: parameter.code.as_str(),
        name: parameter.name,
        what: parameter.what,
        unit: parameter.unit.as_str(),
        ucum: parameter.ucum,
        kind: kind_word(parameter.kind),
        usual: pair(parameter.plausible),
        possible: pair(parameter.hard),
        step: parameter.step,
        limit: parameter.limit,
        ladder: parameter.ladder.clone(),
        carry_days: parameter.carry_days,
        zero: match parameter.zero {
            ZeroPolicy::Limit => "limit",
            ZeroPolicy::NotPossible => "not_possible",
            ZeroPolicy::Real => "real",
        },
        written_in: parameter
            .accepts
            .iter()
            .map(|accepted| WrittenUnit {
                unit: accepted.unit.as_str(),
                basis: accepted.basis,
                written: accepted.check.0,
                becomes: accepted.check.1,
            })
            .collect(),
        spellings: parameter.spellings.iter().map(|spelling| spelling.word).collect(),
    }
}

fn sheet(parameters: &[ParameterShown]) -> Sheet {
    let mut sheet = Sheet::new([
        "code",
        "name",
        "what",
        "unit",
        "ucum",
        "kind",
        "usual_lower",
        "usual_upper",
        "possible_lower",
        "possible_upper",
        "step",
        "limit",
        "carry_days",
        "zero",
        "ladder",
    ]);
    for row in parameters {
        let ladder: Vec<String> = row.ladder.iter().map(f64::to_string).collect();
        sheet.rows.push(vec![
            Cell::Text(row.code.into()),
            Cell::Text(row.name.into()),
            Cell::Text(row.what.into()),
            Cell::Text(row.unit.into()),
            Cell::Text(row.ucum.into()),
            Cell::Text(row.kind.into()),
            Cell::number(row.usual.map(|range| range[0])),
            Cell::number(row.usual.map(|range| range[1])),
            Cell::number(row.possible.map(|range| range[0])),
            Cell::number(row.possible.map(|range| range[1])),
            Cell::number(row.step),
            Cell::number(row.limit),
            Cell::Whole(i64::from(row.carry_days)),
            Cell::Text(row.zero.into()),
            Cell::Text(ladder.join(" ")),
        ]);
    }
    sheet
}

/// `changed` = when what is sent last became another; `None` = with the program.
fn send(
    request: &HttpRequest,
    bytes: Vec<u8>,
    (form, stem): (Form, &str),
    (keep, changed): (Keep, Option<DateTime<Utc>>),
) -> HttpResponse {
    let text = String::from_utf8_lossy(&bytes).into_owned();
    let etag = represent::etag(&["vocabulary", form.word(), &text]);
    let validator = match changed {
        Some(changed) => Validator::of_records(etag, changed),
        None => Validator::of_program(etag),
    };
    if Held::of(request).holds(&validator) {
        return represent::not_modified(&validator, keep);
    }
    represent::found(bytes, form, stem, &validator, keep)
}

/// List what is measured
///
/// Every parameter with its unit, ranges, cut points and the words by which headers name it. The ranges called usual
/// are common practice of the trade, without a source.
#[utoipa::path(
    tag = "club",
    security(()),
    params(ListQuery),
    responses(
        (status = 200, description = "All parameters", content((ParameterList = "application/json"), (String = "text/csv"), (Vec<u8> = "application/vnd.apache.parquet"))),
        RepresentationProblems
    )
)]
#[get("/parameters")]
pub async fn list_parameters(request: HttpRequest, query: Query<ListQuery>) -> Result<HttpResponse, Problem> {
    let ListQuery { kind, format, csv } = query.0;
    let form = Representation { format, csv }.form(&request, Made::Table)?;
    let parameters: Vec<ParameterShown> = catalogue()
        .parameters()
        .iter()
        .filter(|parameter| kind.as_deref().is_none_or(|kind| kind == kind_word(parameter.kind)))
        .map(shown)
        .collect();
    let bytes = match form {
        Form::Json => represent::json_bytes(&ParameterList { parameters })?,
        form => sheet(&parameters).bytes(form)?,
    };
    Ok(send(&request, bytes, (form, "parameters"), (Keep::Public, None)))
}

problems!(
    /// The representation is not made.
    RepresentationProblems: NotAcceptable
);
problems!(
    /// No such parameter, or the representation is not made.
    ParameterProblems: UnknownParameter, NotAcceptable
);

/// Get one thing measured
///
/// One parameter by its code, with the ranges taught of it: for curators those in force, for members, and for everybody
/// where the club publishes, those of the current release; else the catalogue's.
#[utoipa::path(
    tag = "club",
    security((), ("token" = ["read"])),
    params(("code" = String, Path, description = "Code of the parameter", example = "nitrate"), Representation),
    responses(
        (status = 200, description = "The parameter", content((ParameterTaught = "application/json"), (String = "text/csv"), (Vec<u8> = "application/vnd.apache.parquet"))),
        ParameterProblems
    )
)]
#[get("/parameters/{code}")]
pub async fn get_parameter(
    request: HttpRequest,
    state: web::Data<State>,
    caller: Caller,
    path: web::Path<String>,
    query: Query<Representation>,
) -> Result<HttpResponse, Problem> {
    let form = query.0.form(&request, Made::Table)?;
    let written = path.into_inner();
    let code = ParameterCode::parse(&written).ok_or_else(|| {
        let known = catalogue().parameters().iter().map(|parameter| parameter.code.as_str());
        Problem::new(Kind::UnknownParameter, format!("'{written}' is no parameter; {}", hint(&written, known)))
    })?;
    let keep = if caller.holder().is_some() { Keep::Private } else { Keep::Public };
    let taught = pool::with(&state.pool, move |connection| {
        let as_of = match caller.audience(answer::publishes(connection)?) {
            Ok((_, Audience::Curator)) => AsOf::Now,
            Ok(_) => AsOf::Release,
            Err(_) => AsOf::Catalogue,
        };
        Ok(bands::of_parameter(connection, code, as_of)?)
    });
    let (taught, changed) = taught.await?;
    let parameter = ParameterTaught { parameter: shown(code.get()), taught };
    let bytes = match form {
        Form::Json => represent::json_bytes(&parameter)?,
        form => sheet(&[parameter.parameter]).bytes(form)?,
    };
    Ok(send(&request, bytes, (form, code.as_str()), (keep, Some(changed))))
}
