//! A migrated database per test, and its records as text without the database's numbers.
#![allow(dead_code, reason = "each test program uses its own part")]

use diesel::pg::PgConnection;
use diesel::prelude::*;
use diesel::sql_types::{BigInt, Text};

use crate::postgres::TestDatabase;

/// A database with the schema and the catalogue's codes.
pub fn database() -> TestDatabase {
    TestDatabase::new(|connection| importer::load::prepare(connection).expect("the schema is made"))
}

#[derive(QueryableByName)]
struct Line {
    #[diesel(sql_type = Text)]
    line: String,
}

#[derive(QueryableByName)]
struct Number {
    #[diesel(sql_type = BigInt)]
    number: i64,
}

/// Lines of a query whose only column is text, named `line`.
pub fn lines(connection: &mut PgConnection, query: &str) -> Vec<String> {
    let rows: Vec<Line> = diesel::sql_query(query).load(connection).expect("the query answers");
    rows.into_iter().map(|row| row.line).collect()
}

/// A number of a query whose only column is `number`.
pub fn number(connection: &mut PgConnection, query: &str) -> i64 {
    let row: Number = diesel::sql_query(query).get_result(connection).expect("the query answers");
    row.number
}

/// All current records of a keeper, one a line, references by key and logs by name.
pub fn dump(connection: &mut PgConnection, keeper: i64) -> Vec<String> {
    let tables = lines(
        connection,
        "SELECT table_name::text AS line FROM information_schema.columns
          WHERE table_schema = 'public' AND column_name = 'digest' ORDER BY 1",
    );
    let mut all = Vec::new();
    for table in tables {
        let columns = lines(
            connection,
            &format!(
                "SELECT column_name::text AS line FROM information_schema.columns WHERE table_name = '{table}' ORDER BY ordinal_position"
            ),
        );
        let fields: Vec<String> = columns
            .iter()
            .filter(|column| {
                !matches!(
                    column.as_str(),
                    "id" | "keeper_id" | "digest" | "upload_id" | "sheet" | "row_number" | "column_number"
                )
            })
            .map(|column| match column.strip_suffix("_id") {
                Some("log") => "'log', (SELECT name FROM log x WHERE x.id = t.log_id)".to_owned(),
                Some("parent") => "'parent', (SELECT key FROM specimen x WHERE x.id = t.parent_id)".to_owned(),
                Some(other) => format!("'{other}', (SELECT key FROM {other} x WHERE x.id = t.{other}_id)"),
                // Labels by log carry the log's number in their key.
                None if column == "key" && table == "specimen_name" => "'key', ''".to_owned(),
                None => format!("'{column}', t.{column}"),
            })
            .collect();
        let rows = lines(
            connection,
            &format!(
                "SELECT '{table} ' || jsonb_build_object({})::text AS line FROM {table} t WHERE keeper_id = {keeper} ORDER BY 1",
                fields.join(", ")
            ),
        );
        all.extend(rows);
    }
    all.extend(lines(
        connection,
        &format!(
            "SELECT format('source %s %s %s %s %s %s', s.kind, s.record_key, l.name, s.sheet, s.row_number, s.column_number) AS line
               FROM (SELECT keeper_id, kind, record_key, log_id, sheet, row_number, column_number FROM record_source
                      UNION ALL SELECT keeper_id, 'reading', key, log_id, sheet, row_number, column_number FROM reading) s
               LEFT JOIN log l ON l.id = s.log_id WHERE s.keeper_id = {keeper} ORDER BY 1"
        ),
    ));
    all
}

/// Names, keys and numbers of all rows, to see that what did not change kept its number.
pub fn numbers(connection: &mut PgConnection, keeper: i64, table: &str) -> Vec<String> {
    lines(connection, &format!("SELECT key || ' ' || id AS line FROM {table} WHERE keeper_id = {keeper} ORDER BY key"))
}
