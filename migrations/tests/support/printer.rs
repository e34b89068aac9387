//! Prints a database's tables as the query builder's mirror, comments as documentation, columns in table order.

use std::fmt::Write;

use diesel::pg::PgConnection;
use diesel::prelude::*;
use diesel::sql_types::{Bool, Nullable, Text};

#[derive(QueryableByName)]
struct Column {
    #[diesel(sql_type = Text)]
    table_name: String,
    #[diesel(sql_type = Nullable<Text>)]
    table_comment: Option<String>,
    #[diesel(sql_type = Text)]
    column_name: String,
    #[diesel(sql_type = Nullable<Text>)]
    column_comment: Option<String>,
    #[diesel(sql_type = Text)]
    column_type: String,
    #[diesel(sql_type = Bool)]
    not_null: bool,
    #[diesel(sql_type = Nullable<Text>)]
    key: Option<String>,
}

#[derive(QueryableByName)]
struct Reference {
    #[diesel(sql_type = Text)]
    child: String,
    #[diesel(sql_type = Text)]
    parent: String,
    #[diesel(sql_type = Text)]
    column_name: String,
}

const COLUMNS: &str = "
    SELECT c.relname::text AS table_name, obj_description(c.oid, 'pg_class') AS table_comment,
           a.attname::text AS column_name, col_description(c.oid, a.attnum) AS column_comment,
           format_type(a.atttypid, a.atttypmod) AS column_type, a.attnotnull AS not_null,
           (SELECT string_agg(k.attname, ', ' ORDER BY array_position(i.indkey::int2[], k.attnum))
              FROM pg_index i JOIN pg_attribute k ON k.attrelid = c.oid AND k.attnum = ANY (i.indkey)
             WHERE i.indrelid = c.oid AND i.indisprimary) AS key
      FROM pg_class c JOIN pg_namespace n ON n.oid = c.relnamespace AND n.nspname = 'public'
      JOIN pg_attribute a ON a.attrelid = c.oid AND a.attnum > 0 AND NOT a.attisdropped
     WHERE c.relkind = 'r' AND c.relname <> '__diesel_schema_migrations'
     ORDER BY c.relname COLLATE \"C\", a.attnum";

// A reference within one keeper has two columns, (keeper_id, x_id); joins go by the second.
const REFERENCES: &str = "
    SELECT c.relname::text AS child, p.relname::text AS parent, a.attname::text AS column_name
      FROM pg_constraint f JOIN pg_class c ON c.oid = f.conrelid JOIN pg_class p ON p.oid = f.confrelid
      JOIN pg_attribute a ON a.attrelid = c.oid AND a.attnum = f.conkey[cardinality(f.conkey)]
      JOIN pg_namespace n ON n.oid = c.relnamespace AND n.nspname = 'public'
     WHERE f.contype = 'f' AND c.oid <> p.oid
     ORDER BY c.relname COLLATE \"C\", p.relname COLLATE \"C\", a.attname COLLATE \"C\"";

/// The mirror's text.
pub fn print(connection: &mut PgConnection) -> String {
    let columns: Vec<Column> = diesel::sql_query(COLUMNS).load(connection).expect("the catalogue answers");
    let references: Vec<Reference> = diesel::sql_query(REFERENCES).load(connection).expect("the catalogue answers");
    let mut text = String::from(
        "// Printed from a migrated database by the test `mirror`, never edited.\n#![allow(missing_docs)]\n",
    );
    let mut tables: Vec<&str> = Vec::new();
    for table in columns.chunk_by(|left, right| left.table_name == right.table_name) {
        let first = &table[0];
        tables.push(&first.table_name);
        let comment = first.table_comment.as_deref().unwrap_or_default();
        let key = first.key.as_deref().unwrap_or_default();
        writeln!(text, "\ndiesel::table! {{\n    /// {comment}\n    {} ({key}) {{", first.table_name)
            .expect("a string");
        for column in table {
            let comment = column.column_comment.as_deref().unwrap_or_default();
            let kind = sql_type(&column.column_type);
            let kind = if column.not_null { kind } else { format!("Nullable<{kind}>") };
            writeln!(text, "        /// {comment}\n        {} -> {kind},", column.column_name).expect("a string");
        }
        text.push_str("    }\n}\n");
    }
    text.push('\n');
    for alike in references.chunk_by(|left, right| left.child == right.child && left.parent == right.parent) {
        if let [one] = alike {
            writeln!(text, "diesel::joinable!({} -> {} ({}));", one.child, one.parent, one.column_name)
                .expect("a string");
        }
    }
    text.push_str("\ndiesel::allow_tables_to_appear_in_same_query!(\n");
    for table in tables {
        writeln!(text, "    {table},").expect("a string");
    }
    text.push_str(");\n");
    text
}

fn sql_type(name: &str) -> String {
    // Arrays hold no nulls: every array column has a check that says so.
    if let Some(element) = name.strip_suffix("[]") {
        return format!("Array<{}>", sql_type(element));
    }
    match name {
        "bigint" => "Int8",
        "integer" => "Int4",
        "smallint" => "Int2",
        "double precision" => "Float8",
        "boolean" => "Bool",
        "text" => "Text",
        "bytea" => "Bytea",
        "date" => "Date",
        "time without time zone" => "Time",
        "timestamp with time zone" => "Timestamptz",
        "jsonb" => "Jsonb",
        other => panic!("no type of the mirror for {other}"),
    }
    .to_owned()
}
