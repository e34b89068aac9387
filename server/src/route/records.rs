//! The current records row by row: a member's own, a curator's all. As CSV and Parquet the whole of what is asked for, not one page.

use actix_web::{HttpRequest, HttpResponse, get, web};
use analysis::vocabulary::catalogue;
use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use serde_json::json;
use utoipa::{IntoParams, ToSchema};

use crate::access::{Caller, Right};
use crate::app::State;
use crate::pool;
use crate::problem::{Fault, Kind as ProblemKind, Problem};
use crate::problems;
use crate::query::{Asked as AskedFor, Fields, Query, hint};
use crate::records::{self, Asked, Kind};
use crate::represent::parquet::Writer;
use crate::represent::{Cell, Column, Form, Made, Sheet};
use crate::route::page::{self, Page};
use crate::route::representation::Representation;

problems!(
    /// What a list of records can meet.
    RecordProblems: NotAcceptable
);

/// Rows that a part of a CSV file holds.
const PART: i64 = 5000;
/// Rows of a row group of a Parquet file: larger ones pack better, and take more memory.
const GROUP: i64 = 20_000;

/// What a list of records was asked for.
struct Listed {
    words: Vec<String>,
    keeper: Option<String>,
    from: Option<NaiveDate>,
    to: Option<NaiveDate>,
    limit: i64,
    cursor: Option<String>,
    representation: Representation,
}

macro_rules! query {
    ($(#[$doc:meta])* $name:ident $(, $word:ident = $example:literal)?) => {
        $(#[$doc])*
        #[derive(IntoParams)]
        #[into_params(parameter_in = Query)]
        pub struct $name {
            $(
                /// Only of these; repeated or separated by commas.
                #[param(example = json!([$example]))]
                $word: Vec<String>,
            )?
            /// Only this member's, by handle; members see their own alone.
            #[param(example = "osprey")]
            keeper: Option<String>,
            /// Only what may lie on this day or later; a day that is not known may be any.
            #[param(example = "2025-01-01")]
            from: Option<NaiveDate>,
            /// Only what may lie on this day or earlier.
            #[param(example = "2025-12-31")]
            to: Option<NaiveDate>,
            /// Items a page, 1 to 1000; CSV and Parquet have no pages.
            #[param(minimum = 1, maximum = 1000, example = 50)]
            limit: i64,
            /// Where the page begins: from `links.next` of the page before.
            cursor: Option<String>,
            /// `json`, `csv` or `parquet`; wins over `Accept`.
            #[param(example = "json")]
            format: Option<String>,
            /// `excel` for semicolons and decimal commas; implies `format=csv`.
            #[param(example = "excel")]
            csv: Option<String>,
        }

        impl AskedFor for $name {
            fn read(fields: &mut Fields) -> Self {
                let (from, to) = (fields.day("from"), fields.day("to"));
                if from.zip(to).is_some_and(|(from, to)| from > to) {
                    fields.fault("to", "invalid", "'to' lies before 'from'; give them the other way round");
                }
                let Representation { format, csv } = Representation::of(fields);
                $name {
                    $($word: fields.list(stringify!($word)),)?
                    keeper: fields.text("keeper"),
                    from,
                    to,
                    limit: page::limit(fields),
                    cursor: fields.text("cursor"),
                    format,
                    csv,
                }
            }
        }

        impl From<$name> for Listed {
            fn from(query: $name) -> Self {
                #[allow(unused_mut, unused_assignments, reason = "some lists have no words to filter by")]
                let mut words = Vec::new();
                $(words = query.$word;)?
                let $name { keeper, from, to, limit, cursor, format, csv, .. } = query;
                Listed { words, keeper, from, to, limit, cursor, representation: Representation { format, csv } }
            }
        }
    };
}

query!(
    /// Parameters of a list of records.
    RecordQuery
);
query!(
    /// Parameters of a list of records of several kinds.
    KindQuery, kind = "water_change"
);
query!(
    /// Parameters of a list of records about what is measured.
    ParameterQuery, parameter = "nitrate"
);

/// Makes the page of a list.
type Paged<K, P> = fn(Vec<K>, page::Links) -> P;

/// A page of rows, or all of them as CSV or Parquet.
async fn send<K: Kind + ToSchema, P: Serialize>(
    request: HttpRequest,
    state: web::Data<State>,
    caller: Caller,
    listed: Listed,
    (of_list, page): (&'static str, Paged<K, P>),
) -> Result<HttpResponse, Problem> {
    let scope = caller.records(Right::Read)?;
    known::<K>(&listed.words)?;
    let Listed { words, keeper, from, to, limit, cursor, representation } = listed;
    let form = representation.form(&request, Made::Table)?;
    let day = |day: Option<NaiveDate>| day.map(|day| day.to_string()).unwrap_or_default();
    let filters = vec![keeper.clone().unwrap_or_default(), words.join(","), day(from), day(to)];
    let after = match cursor {
        Some(cursor) => page::place(&cursor, of_list, &filters).map_err(|detail| {
            Problem::of_fault(ProblemKind::InvalidQuery, Fault::parameter("cursor", "invalid", detail))
        })?,
        None => 0,
    };
    let asked = Asked { keeper, words, from, to, after };
    if form == Form::Json {
        let rows: Vec<K> =
            pool::with(&state.pool, move |connection| records::list(connection, &scope, &asked, limit + 1)).await?;
        let rows = Page::of(rows, limit, Kind::id);
        let links = rows.links(&request, of_list, &filters);
        return Ok(page::send(&links).json(page(rows.items, links)));
    }
    // Part by part, so that a million rows take no more memory than some thousand. Records that change meanwhile break the
    // file off: half of the old and half of the new would be neither.
    let edition = pool::with(&state.pool, |connection| Ok(records::edition(connection)?)).await?;
    let names = ["id", "keeper"].into_iter().chain(K::COLUMNS.iter().copied());
    let file = match form {
        Form::Parquet => {
            let of = |name: &str| Column::of_record::<K>().into_iter().find(|column| column.name == name);
            let columns: Vec<Column> = names.clone().filter_map(of).collect();
            let question = json!({"about": of_list, "keeper": asked.keeper, "words": asked.words, "from": asked.from, "to": asked.to});
            let about =
                vec![("edition".to_owned(), edition.to_string()), ("question".to_owned(), question.to_string())];
            File::Parquet(Box::new(Writer::new(columns, about)?))
        }
        _ => File::Csv { is_first: true },
    };
    let columns = Sheet::new(names);
    let parts = futures_util::stream::try_unfold(Some((asked, file)), move |next| {
        let (pool, mut sheet) = (state.pool.clone(), columns.clone());
        async move {
            let Some((asked, file)) = next else { return Ok(None) };
            let part = pool::with(&pool, move |connection| {
                let most = file.rows();
                let rows: Vec<K> = records::list(connection, &scope, &asked, most)?;
                if records::edition(connection)? != edition {
                    return Err(Problem::internal(&"records changed while they were sent"));
                }
                for row in &rows {
                    let row = serde_json::to_value(row).map_err(|error| Problem::internal(&error))?;
                    sheet.rows.push(sheet.columns.iter().map(|name| Cell::json(&row[name])).collect());
                }
                let more = rows.last().filter(|_| rows.len() as i64 == most).map(Kind::id);
                let (bytes, file) = file.add(&sheet, form, more.is_none())?;
                Ok((bytes, more.zip(file).map(|(after, file)| (Asked { after, ..asked }, file))))
            });
            let (bytes, next) = part.await?;
            Ok::<_, Problem>(Some((web::Bytes::from(bytes), next)))
        }
    });
    Ok(HttpResponse::Ok()
        .content_type(form.content_type())
        .insert_header(("cache-control", "private, no-cache"))
        .insert_header(("content-disposition", format!("attachment; filename=\"{of_list}.{}\"", form.format())))
        .streaming(parts))
}

/// A file that is being sent.
enum File {
    Csv { is_first: bool },
    Parquet(Box<Writer>),
}

impl File {
    /// Rows of a part.
    fn rows(&self) -> i64 {
        match self {
            File::Csv { .. } => PART,
            File::Parquet(_) => GROUP,
        }
    }

    /// The bytes of a part, and the file if more are to come.
    fn add(self, sheet: &Sheet, form: Form, is_last: bool) -> Result<(Vec<u8>, Option<File>), Problem> {
        match self {
            File::Csv { is_first } => {
                Ok((sheet.part(form, is_first)?, (!is_last).then_some(File::Csv { is_first: false })))
            }
            File::Parquet(mut writer) => {
                let mut bytes = writer.add(&sheet.rows)?;
                if is_last {
                    bytes.extend(writer.finish()?);
                    return Ok((bytes, None));
                }
                Ok((bytes, Some(File::Parquet(writer))))
            }
        }
    }
}

/// Refuses words that no row of a list can have.
fn known<K: Kind>(words: &[String]) -> Result<(), Problem> {
    let Some((name, known)) = K::WORD else { return Ok(()) };
    let parameters: Vec<&str> = catalogue().parameters().iter().map(|row| row.code.as_str()).collect();
    let known = if known.is_empty() { parameters.as_slice() } else { known };
    let unknown = words.iter().filter(|word| !word.is_empty() && !known.contains(&word.as_str()));
    let faults: Vec<Fault> = unknown
        .map(|word| {
            let detail = format!("'{word}' in '{name}' is not taken; {}", hint(word, known.iter().copied()));
            Fault::parameter(name, "invalid", detail)
        })
        .collect();
    if faults.is_empty() { Ok(()) } else { Err(Problem::of_faults(ProblemKind::InvalidQuery, faults)) }
}

macro_rules! kinds {
    ($(
        $path:literal $list:ident $handler:ident $query:ident, $summary:literal;
        $record:ident in $page:ident of $table:literal, days $first:literal $last:literal $(, by $word:literal $known:expr)?;
        $( $(#[$attribute:meta])* $field:ident: $type:ty, )+
    )+) => { $(
        #[doc = $summary]
        #[derive(Serialize, Deserialize, ToSchema)]
        #[serde(deny_unknown_fields)]
        pub struct $record {
            /// Number of the row.
            #[schema(example = 17)]
            id: i64,
            /// Handle of the member.
            #[schema(example = "osprey")]
            keeper: String,
            $( $(#[$attribute])* $field: $type, )+
        }

        impl Kind for $record {
            const TABLE: &'static str = $table;
            const COLUMNS: &'static [&'static str] = &[$(stringify!($field)),+];
            const DAYS: [&'static str; 2] = [$first, $last];
            const WORD: Option<(&'static str, &'static [&'static str])> = kinds!(@word $($word $known)?);

            fn id(&self) -> i64 {
                self.id
            }
        }

        /// A page of rows.
        #[derive(Serialize, ToSchema)]
        pub struct $page {
            /// In the order of their numbers.
            $list: Vec<$record>,
            /// The next page.
            links: page::Links,
        }

        #[doc = $summary]
        #[doc = ""]
        #[doc = "Rows of the current records: one's own; a curator's token reaches everybody's."]
        #[utoipa::path(
            tag = "records",
            security(("token" = ["read"])),
            params($query),
            responses(
                (status = 200, description = "A page of rows; as CSV and Parquet all of them", content(($page = "application/json"), (String = "text/csv"), (Vec<u8> = "application/vnd.apache.parquet"))),
                RecordProblems
            )
        )]
        #[get($path)]
        pub async fn $handler(
            request: HttpRequest,
            state: web::Data<State>,
            caller: Caller,
            query: Query<$query>,
        ) -> Result<HttpResponse, Problem> {
            let page = |$list: Vec<$record>, links: page::Links| $page { $list, links };
            send(request, state, caller, query.0.into(), (stringify!($list), page)).await
        }
    )+ };
    (@word) => { None };
    (@word $word:literal $known:expr) => { Some(($word, $known)) };
}

kinds! {
    "/tanks" tanks list_tanks RecordQuery,
    "List tanks";
    TankRecord in TankPage of "tank", days "started" "closed";
    /// The name as first written.
    #[schema(example = "Lagoon")]
    name: String,
    /// Stated volume in litres.
    #[schema(example = 320.0)]
    litres: Option<f64>,
    /// First day with water.
    started: Option<NaiveDate>,
    /// Last day.
    closed: Option<NaiveDate>,
    /// `moved`, `sold`, `all_died` or `other`.
    closed_why: Option<String>,

    "/specimens" specimens list_specimens RecordQuery,
    "List corals and kin";
    SpecimenRecord in SpecimenPage of "specimen", days "acquired_earliest" "acquired_latest";
    /// The keeper's own label.
    #[schema(example = "C03")]
    label: String,
    /// The name as written.
    #[schema(example = "Goniopora sp.")]
    written: String,
    /// Name reached; `null` while in question.
    #[schema(example = "goniopora")]
    taxon: Option<String>,
    /// Rank reached.
    #[schema(example = "genus")]
    taxon_rank: Option<String>,
    /// `certain`, `likely` or `guess`.
    confidence: Option<String>,
    /// The character that the name rests on.
    character_seen: Option<String>,
    /// Where it comes from.
    origin: Option<String>,
    /// How that is known.
    origin_basis: Option<String>,
    /// What kind of source it was got from; its name stands in its keeper's archive alone.
    source_kind: Option<String>,
    /// Form when got.
    form: Option<String>,
    /// Size when got, in mm.
    size_mm: Option<f64>,
    /// How it looked when got.
    condition: Option<String>,
    /// Days it had been at the seller.
    days_at_seller: Option<f64>,
    /// Earliest day on which it can have been got.
    acquired_earliest: Option<NaiveDate>,
    /// Latest day on which it can have been got; `null` = not known.
    acquired_latest: Option<NaiveDate>,
    /// From this day its list would have shown its death.
    observed_from: Option<NaiveDate>,
    /// `observed_from` rests on the list's first day.
    entry_assumed: bool,
    /// Code on the card that came with the cutting.
    line: Option<String>,
    /// Facts that wait for an answer: it is in no analysis then.
    held: Vec<String>,

    "/stays" stays list_stays RecordQuery,
    "List which tank each coral was in";
    StayRecord in StayPage of "stay", days "from_day" "to_day";
    /// Label of the coral.
    #[schema(example = "C03")]
    specimen: Option<String>,
    /// Name of the tank.
    #[schema(example = "Lagoon")]
    tank: Option<String>,
    /// First day; `null` = before anything known.
    from_day: Option<NaiveDate>,
    /// Day it left; `null` = it is still there, or stayed to its end.
    to_day: Option<NaiveDate>,

    "/readings" readings list_readings ParameterQuery,
    "List water tests";
    ReadingRecord in ReadingPage of "reading", days "taken_on" "taken_on", by "parameter" &[];
    /// Name of the tank.
    #[schema(example = "Lagoon")]
    tank: Option<String>,
    /// Label of the coral whose spot was measured.
    specimen: Option<String>,
    /// What was measured.
    #[schema(example = "nitrate")]
    parameter: String,
    /// Local day.
    #[schema(example = "2025-03-04")]
    taken_on: NaiveDate,
    /// Local time, if written.
    taken_time: Option<String>,
    /// Offset from UTC, if written.
    utc_offset_minutes: Option<i16>,
    /// Value in the parameter's unit; the limit for `<` and `>`; `null` for an interval.
    #[schema(example = 5.0)]
    value: Option<f64>,
    /// Lower end of what it can mean; `null` = open.
    lower: Option<f64>,
    /// Upper end; `null` = open.
    upper: Option<f64>,
    /// `=`, `<`, `>` or `interval`.
    #[schema(example = "=")]
    qualifier: String,
    /// `zero_reported`, `approximate`, `replicate` and the like.
    flags: Vec<String>,
    /// Two logs differ, and nobody has said which is right.
    disputed: bool,
    /// The cell as written.
    #[schema(example = "5")]
    written: String,
    /// Sheet of the cell.
    sheet: Option<String>,
    /// Row of the cell from 1; 0 = not from a sheet.
    row_number: i32,
    /// Column of the cell from 1; 0 = not from a sheet.
    column_number: i32,

    "/sizings" sizings list_sizings RecordQuery,
    "List sizes";
    SizingRecord in SizingPage of "sizing", days "on_day" "on_day";
    /// Label of the coral.
    #[schema(example = "C03")]
    specimen: Option<String>,
    /// `max_diameter`, `height`, `branch_count`, `head_count`, `planar_area`, `shell_length` or `buoyant_weight`.
    #[schema(example = "max_diameter")]
    measure: String,
    /// `skeleton`, `base`, `heads`, `open_tissue`, `closed_tissue` or `not_said`.
    #[schema(example = "skeleton")]
    basis: String,
    /// In the unit beside it.
    #[schema(example = 62.0)]
    value: f64,
    /// `mm`, `mm2`, `g` or `1`.
    #[schema(example = "mm")]
    unit: String,
    /// Day.
    on_day: NaiveDate,
    /// A cut or breakage just before it.
    after_cut: bool,
    /// As written.
    written: String,

    "/sightings" sightings list_sightings RecordQuery,
    "List looks";
    SightingRecord in SightingPage of "sighting", days "on_day" "on_day";
    /// Label of the coral.
    #[schema(example = "C03")]
    specimen: Option<String>,
    /// Day.
    on_day: NaiveDate,
    /// `alive`, `open`, `off` or `poor`.
    #[schema(example = "open")]
    status: String,
    /// `register`, `roll_call`, `look` or `photo`.
    #[schema(example = "roll_call")]
    source: String,
    /// 1 under a quarter alive to 5 open and growing.
    condition: Option<i16>,
    /// 0 none to 3 extreme.
    polyp_extension: Option<i16>,
    /// Live tissue in %.
    tissue_cover: Option<f64>,
    /// Score on a colour card of six steps.
    colour: Option<i16>,
    /// Signs and remark as written.
    remark: Option<String>,

    "/endings" endings list_endings RecordQuery,
    "List how each ended";
    EndingRecord in EndingPage of "ending", days "earliest" "latest";
    /// Label of the coral.
    #[schema(example = "C03")]
    specimen: Option<String>,
    /// `null` = in question.
    #[schema(example = "died")]
    fate: Option<String>,
    /// Group of the primary cause.
    cause_group: String,
    /// Primary cause.
    cause: Option<String>,
    /// How it looked.
    manner: Vec<String>,
    /// How it left.
    leaving: Option<String>,
    /// Condition when it left.
    condition: String,
    /// The last day it was known alive, or the written day.
    earliest: NaiveDate,
    /// The day by which it had happened.
    latest: NaiveDate,
    /// The day is in question; the bounds hold all its readings.
    date_held: bool,
    /// As written.
    written: String,

    "/routines" routines list_routines KindQuery,
    "List what was done regularly";
    RoutineRecord in RoutinePage of "routine", days "from_day" "to_day", by "kind" records::ROUTINES;
    /// Name of the tank.
    #[schema(example = "Lagoon")]
    tank: Option<String>,
    /// Label of the coral.
    specimen: Option<String>,
    /// `target_feed`, `broadcast_feed`, `water_change`, `carbon`, `trace_dosing`, `lamp_setting` or `lamp_hours`.
    #[schema(example = "target_feed")]
    kind: String,
    /// As written.
    #[schema(example = "twice a week")]
    rate: String,
    /// Rate a week, where it converts.
    #[schema(example = 2.0)]
    per_week: Option<f64>,
    /// First day.
    from_day: NaiveDate,
    /// Last day; `null` = it goes on.
    to_day: Option<NaiveDate>,
    /// Day it was last confirmed.
    confirmed_on: NaiveDate,

    "/events" events list_events KindQuery,
    "List what was done once";
    EventRecord in EventPage of "event", days "on_day" "on_day", by "kind" records::EVENTS;
    /// Name of the tank.
    #[schema(example = "Lagoon")]
    tank: Option<String>,
    /// Label of the coral.
    specimen: Option<String>,
    /// `target_feed`, `broadcast_feed`, `water_change`, `carbon`, `trace_dosing`, `cut` or `treatment`.
    #[schema(example = "water_change")]
    kind: String,
    /// Local day.
    on_day: NaiveDate,
    /// Local time, if written.
    on_time: Option<String>,
    /// Amount, where given.
    amount: Option<f64>,
    /// Unit of the amount.
    unit: Option<String>,
    /// As written.
    written: String,

    "/incidents" incidents list_incidents KindQuery,
    "List what happened to tanks";
    IncidentRecord in IncidentPage of "incident", days "from_day" "to_day", by "kind" records::INCIDENTS;
    /// Name of the tank.
    #[schema(example = "Lagoon")]
    tank: Option<String>,
    /// Label of the coral.
    specimen: Option<String>,
    /// `power_cut`, `heater`, `overheating`, `leak`, `overdose`, `medicine`, `move`, `new_lamp`, `new_fish`, `new_invertebrate` or `pest_found`.
    #[schema(example = "power_cut")]
    kind: String,
    /// First day.
    from_day: NaiveDate,
    /// Last day.
    to_day: Option<NaiveDate>,
    /// As written.
    written: String,

    "/placements" placements list_placements RecordQuery,
    "List where in the tank each coral stood";
    PlacementRecord in PlacementPage of "placement", days "from_day" "from_day";
    /// Label of the coral.
    #[schema(example = "C03")]
    specimen: Option<String>,
    /// First day; `null` = since it was got.
    from_day: Option<NaiveDate>,
    /// `top`, `middle`, `bottom` or `sand`.
    height: Option<String>,
    /// Light at the spot in µmol/m²/s.
    par: Option<f64>,
    /// `still`, `swaying` or `thrashing`.
    flow: Option<String>,
    /// A stinging neighbour stands within reach.
    stinging_neighbour: Option<bool>,

    "/instruments" instruments list_instruments ParameterQuery,
    "List kits, probes and meters";
    InstrumentRecord in InstrumentPage of "instrument", days "from_day" "from_day", by "parameter" &[];
    /// Tank it serves; `null` = all of the keeper's.
    tank: Option<String>,
    /// What it measures.
    #[schema(example = "nitrate")]
    parameter: String,
    /// Name as written.
    #[schema(example = "Tidepool N")]
    name: String,
    /// Smallest step, in the parameter's unit.
    step: Option<f64>,
    /// Smallest value it can show, in the parameter's unit.
    limit_value: Option<f64>,
    /// Reference temperatures of a specific gravity scale.
    reference: Option<String>,
    /// What the number counts: `NO3`, `NO3-N`, `PO4` or `P`.
    basis: Option<String>,
    /// Last calibrated.
    calibrated_on: Option<NaiveDate>,
    /// In use from.
    from_day: Option<NaiveDate>,
}
