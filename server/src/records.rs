//! The current records row by row, as far as a caller reaches them.

use chrono::NaiveDate;
use diesel::pg::Pg;
use diesel::prelude::*;
use diesel::query_builder::BoxedSqlQuery;
use diesel::sql_types::{Array, BigInt, Date, Text};
use serde::Serialize;
use serde::de::DeserializeOwned;

use crate::access::Scope;
use crate::problem::{Kind as ProblemKind, Problem};

/// A kind of records. Its columns are the fields of the type.
pub trait Kind: Serialize + DeserializeOwned + Send + 'static {
    /// The table.
    const TABLE: &'static str;
    /// Its columns, in the order of the fields after `keeper`; `tank` and `specimen` stand for the names of what `tank_id` and
    /// `specimen_id` point to.
    const COLUMNS: &'static [&'static str];
    /// The columns with the first and the last day that a row speaks of.
    const DAYS: [&'static str; 2];
    /// The column that words filter by, with those it can hold; none = the codes of parameters.
    const WORD: Option<(&'static str, &'static [&'static str])>;

    /// The row's number.
    fn id(&self) -> i64;
}

/// What is done regularly.
pub const ROUTINES: &[&str] =
    &["target_feed", "broadcast_feed", "water_change", "carbon", "trace_dosing", "lamp_setting", "lamp_hours"];
/// What is done once.
pub const EVENTS: &[&str] =
    &["target_feed", "broadcast_feed", "water_change", "carbon", "trace_dosing", "cut", "treatment"];
/// What happens to tanks.
pub const INCIDENTS: &[&str] = &[
    "power_cut",
    "heater",
    "overheating",
    "leak",
    "overdose",
    "medicine",
    "move",
    "new_lamp",
    "new_fish",
    "new_invertebrate",
    "pest_found",
];

/// Which rows are asked for.
#[derive(Debug, Clone, Default)]
pub struct Asked {
    /// Only this member's, by handle.
    pub keeper: Option<String>,
    /// Only with one of these words; empty = all.
    pub words: Vec<String>,
    /// Only what may lie on this day or later.
    pub from: Option<NaiveDate>,
    /// Only what may lie on this day or earlier.
    pub to: Option<NaiveDate>,
    /// Only after this row.
    pub after: i64,
}

#[derive(QueryableByName)]
struct Line {
    #[diesel(sql_type = Text)]
    line: String,
}

/// Rows within reach in the order of their numbers, at most so many.
///
/// # Errors
/// The database refused; a scope that reaches no row.
pub fn list<K: Kind>(
    connection: &mut PgConnection,
    scope: &Scope,
    asked: &Asked,
    limit: i64,
) -> Result<Vec<K>, Problem> {
    let owner = scope.owner()?;
    let mut query = select::<K>();
    let mut number = 1;
    query = query.sql(" WHERE of_row.id > $1").bind::<BigInt, _>(asked.after);
    let mut next = || {
        number += 1;
        number
    };
    if let Some(owner) = owner {
        query = query.sql(format!(" AND of_row.keeper_id = ${}", next())).bind::<BigInt, _>(owner);
    }
    if let Some(handle) = &asked.keeper {
        query = query.sql(format!(" AND lower(keeper.handle) = lower(${})", next())).bind::<Text, _>(handle.clone());
    }
    if let (Some((word, _)), false) = (K::WORD, asked.words.is_empty()) {
        let words = asked.words.clone();
        query = query.sql(format!(" AND of_row.{word} = ANY(${})", next())).bind::<Array<Text>, _>(words);
    }
    let [first, last] = K::DAYS;
    // A day that is not known may be any.
    if let Some(from) = asked.from {
        let known = format!(" AND (of_row.{last} IS NULL OR of_row.{last} >= ${})", next());
        query = query.sql(known).bind::<Date, _>(from);
    }
    if let Some(to) = asked.to {
        let known = format!(" AND (of_row.{first} IS NULL OR of_row.{first} <= ${})", next());
        query = query.sql(known).bind::<Date, _>(to);
    }
    query = query.sql(format!(" ORDER BY of_row.id LIMIT ${}) AS shown", next())).bind::<BigInt, _>(limit);
    let lines: Vec<Line> = query.load(connection)?;
    lines.iter().map(|line| serde_json::from_str(&line.line).map_err(|error| Problem::internal(&error))).collect()
}

/// One row within reach.
///
/// # Errors
/// [`ProblemKind::UnknownRecord`], whether there is none or it is another member's.
pub fn one<K: Kind>(connection: &mut PgConnection, scope: &Scope, id: i64) -> Result<K, Problem> {
    let asked = Asked { after: id.saturating_sub(1), ..Asked::default() };
    let row = list::<K>(connection, scope, &asked, 1)?.pop().filter(|row| row.id() == id);
    row.ok_or_else(|| {
        Problem::new(ProblemKind::UnknownRecord, format!("There is no {} {id} for this token.", K::TABLE))
    })
}

/// The member whose row within reach it is.
///
/// # Errors
/// As [`one`].
pub fn owner<K: Kind>(connection: &mut PgConnection, scope: &Scope, id: i64) -> Result<i64, Problem> {
    one::<K>(connection, scope, id)?;
    let sql = format!("SELECT keeper_id AS owner FROM {} WHERE id = $1", K::TABLE);
    let row: Owner = diesel::sql_query(sql).bind::<BigInt, _>(id).get_result(connection)?;
    Ok(row.owner)
}

#[derive(QueryableByName)]
struct Owner {
    #[diesel(sql_type = BigInt)]
    owner: i64,
}

/// The rows with the names they point to. Every word of it is written in this program.
fn select<K: Kind>() -> BoxedSqlQuery<'static, Pg, diesel::query_builder::SqlQuery> {
    let columns = K::COLUMNS.iter().map(|column| match *column {
        "tank" => "of_tank.name AS tank".to_owned(),
        "specimen" => "of_specimen.label AS specimen".to_owned(),
        column => format!("of_row.{column}"),
    });
    let mut sql = format!(
        "SELECT row_to_json(shown)::text AS line FROM (SELECT of_row.id, keeper.handle AS keeper, {} FROM {} AS of_row \
         JOIN keeper ON keeper.id = of_row.keeper_id",
        columns.collect::<Vec<_>>().join(", "),
        K::TABLE
    );
    for (name, table) in [("tank", "of_tank"), ("specimen", "of_specimen")] {
        if K::COLUMNS.contains(&name) {
            sql += &format!(" LEFT JOIN {name} AS {table} ON {table}.id = of_row.{name}_id");
        }
    }
    diesel::sql_query(sql).into_boxed()
}

/// The state of the records.
///
/// # Errors
/// The database refused.
pub fn edition(connection: &mut PgConnection) -> QueryResult<i64> {
    crate::answer::current_edition(connection).map(|edition| edition.number)
}
