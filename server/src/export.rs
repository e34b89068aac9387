//! Everything of one member in one archive: the current records as tables, what was handed in, and the files as they came.

use std::io::{Seek, SeekFrom, Write};

use diesel::prelude::*;
use diesel::sql_types::{BigInt, Text};
use migrations::schema::{upload, upload_file};
use serde_json::{Map, Value};
use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, ZipWriter};

use crate::access::Scope;
use crate::problem::Problem;
use crate::represent::{Cell, Form, Sheet};

/// Tables that hold records of a member, with what their rows are; each has a column `keeper_id`.
const TABLES: &[(&str, &str)] = &[
    ("tank", "tanks"),
    ("tank_alias", "other names of tanks"),
    ("instrument", "kits, probes and meters"),
    ("specimen", "corals and kin"),
    ("identification", "names given to them, with their days"),
    ("stay", "which tank each was in"),
    ("placement", "where in the tank each stood"),
    ("sizing", "sizes"),
    ("sighting", "looks: alive, and how it looked"),
    ("ending", "how each ended"),
    ("reading", "water tests"),
    ("routine", "what was done regularly"),
    ("event", "what was done once"),
    ("incident", "what happened to tanks"),
    ("log", "logs: chains of versions of one file"),
    ("consent", "what was agreed to or taken back"),
];
/// Columns that mean nothing outside the database.
const INTERNAL: &[&str] = &[
    "keeper_id",
    "digest",
    "commit_sequence",
    "staged_revision",
    "interpreter",
    "context",
    "idempotency_key",
    "token_id",
    "account_id",
];

/// Writes the archive of the member whose own records a scope reaches into a file without a name, and gives it from its
/// beginning. All as of one moment.
///
/// # Errors
/// The database or the disk refused; a scope of nobody's own.
pub fn archive(connection: &mut PgConnection, scope: &Scope) -> Result<std::fs::File, Problem> {
    let Some(keeper_id) = scope.keeper() else {
        return Err(Problem::internal(&"an export is of one member's own records"));
    };
    connection.build_transaction().repeatable_read().read_only().run(|connection| {
        let file = tempfile::tempfile().map_err(|error| Problem::internal(&error))?;
        let mut archive = ZipWriter::new(file);
        add(&mut archive, "README.txt", readme().as_bytes())?;
        for (table, _) in TABLES {
            add(
                &mut archive,
                &format!("records/{table}.csv"),
                &sheet(connection, table, keeper_id)?.bytes(Form::Csv)?,
            )?;
        }
        let own = scope.uploads().order(upload::id);
        let files: Vec<(i64, String)> =
            own.filter(upload::kind.eq("file")).select((upload::id, upload::name)).load(connection)?;
        add(&mut archive, "uploads.csv", &sheet(connection, "upload", keeper_id)?.bytes(Form::Csv)?)?;
        for (id, name) in files {
            // One at a time: files together may be more than memory holds.
            let content: Option<Vec<u8>> =
                upload_file::table.find(id).select(upload_file::content).first(connection).optional()?;
            if let Some(content) = content {
                add(&mut archive, &format!("files/{id}-{}", plain(&name)), &content)?;
            }
        }
        let mut file = archive.finish().map_err(|error| Problem::internal(&error))?;
        file.seek(SeekFrom::Start(0)).map_err(|error| Problem::internal(&error))?;
        Ok(file)
    })
}

fn add(archive: &mut ZipWriter<std::fs::File>, name: &str, bytes: &[u8]) -> Result<(), Problem> {
    let options = SimpleFileOptions::default().compression_method(CompressionMethod::Deflated);
    archive.start_file(name, options).map_err(|error| Problem::internal(&error))?;
    archive.write_all(bytes).map_err(|error| Problem::internal(&error))
}

/// A file's name without anything that could lead out of a folder.
fn plain(name: &str) -> String {
    let kept = |letter: char| if letter.is_alphanumeric() || "._- ".contains(letter) { letter } else { '_' };
    let name: String = name.chars().map(kept).take(120).collect();
    name.trim_matches(|letter: char| letter == '.' || letter == ' ').to_owned()
}

#[derive(QueryableByName)]
struct Line {
    #[diesel(sql_type = Text)]
    line: String,
}

/// The rows of a member in a table; `table` is one of those named here, never what somebody sent.
fn sheet(connection: &mut PgConnection, table: &str, keeper_id: i64) -> Result<Sheet, Problem> {
    let names: Vec<Line> = diesel::sql_query(
        "SELECT column_name::text AS line FROM information_schema.columns \
         WHERE table_schema = current_schema() AND table_name = $1 ORDER BY ordinal_position",
    )
    .bind::<Text, _>(table)
    .load(connection)?;
    let columns: Vec<String> =
        names.into_iter().map(|name| name.line).filter(|name| !INTERNAL.contains(&name.as_str())).collect();
    let lines: Vec<Line> = diesel::sql_query(format!(
        "SELECT row_to_json(of_member)::text AS line FROM {table} AS of_member WHERE keeper_id = $1 ORDER BY id"
    ))
    .bind::<BigInt, _>(keeper_id)
    .load(connection)?;
    let mut sheet = Sheet::new(columns.iter().map(String::as_str));
    for line in lines {
        let row: Map<String, Value> = serde_json::from_str(&line.line).map_err(|error| Problem::internal(&error))?;
        sheet.rows.push(columns.iter().map(|name| row.get(name).map_or(Cell::Empty, Cell::json)).collect());
    }
    Ok(sheet)
}

fn readme() -> String {
    let mut text = "Everything that this club's service holds of one member.\n\n\
                    records/  the current records, one table a file (CSV, UTF-8, RFC 4180; an empty cell is not known)\n"
        .to_owned();
    for (table, what) in TABLES {
        text += &format!("          {table}.csv: {what}\n");
    }
    text += "uploads.csv  what was handed in, and what became of it\n\
             files/    the files as they came, each after the number of its upload\n\n\
             Rows point to each other by number: tank_id in stay.csv is id in tank.csv. Water tests are in the unit of the\n\
             catalogue (GET /api/v1/parameters); the value as written stands beside. Days are local calendar days.\n";
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_files_name_leads_nowhere() {
        assert_eq!(plain("../../etc/passwd"), "_.._etc_passwd");
        assert_eq!(plain("corals 2025.xlsx"), "corals 2025.xlsx");
        assert_eq!(plain("..\\x\0y"), "_x_y");
        assert_eq!(plain(&"é".repeat(500)).chars().count(), 120);
    }
}
