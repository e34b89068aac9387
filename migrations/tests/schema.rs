//! What the schema promises, asked of the database itself.

#[path = "support/postgres.rs"]
mod postgres;

use diesel::connection::SimpleConnection;
use diesel::pg::PgConnection;
use diesel::prelude::*;
use diesel::sql_types::{BigInt, Text};
use migrations::{FindingKindRow, MigrationError, ParameterRow, TaxonRow, Vocabulary};
use postgres::TestDatabase;

#[derive(QueryableByName, Debug)]
struct Name {
    #[diesel(sql_type = Text)]
    name: String,
}

#[derive(QueryableByName, Debug)]
struct Number {
    #[diesel(sql_type = BigInt)]
    number: i64,
}

fn names(connection: &mut PgConnection, query: &str) -> Vec<String> {
    let rows: Vec<Name> = diesel::sql_query(query).load(connection).expect("the catalogue answers");
    rows.into_iter().map(|row| row.name).collect()
}

fn number(connection: &mut PgConnection, query: &str) -> i64 {
    let row: Number = diesel::sql_query(query).get_result(connection).expect("the query answers");
    row.number
}

fn vocabulary() -> Vocabulary {
    let taxon = |slug: &str, rank: &str, genus: Option<&str>| TaxonRow {
        slug: slug.into(),
        name: slug.into(),
        taxon_rank: rank.into(),
        genus: genus.map(Into::into),
        group_code: None,
    };
    Vocabulary {
        parameters: vec![ParameterRow {
            code: "nitrate".into(),
            name: "Nitrate".into(),
            unit: "mg/L".into(),
            ucum: Some("mg/L".into()),
            hard_lower: Some(0.0),
            hard_upper: Some(500.0),
        }],
        // A species may come before its genus.
        taxa: vec![taxon("goniopora-stokesi", "species", Some("goniopora")), taxon("goniopora", "genus", None)],
        findings: vec![FindingKindRow { code: "rows_gone".into(), severity: "noted".into(), scope: "table".into() }],
    }
}

fn migrated(connection: &mut PgConnection) {
    migrations::migrate(connection).expect("the schema is made");
    migrations::synchronise(connection, &vocabulary()).expect("the codes are written");
    connection
        .batch_execute(
            "INSERT INTO keeper (handle) VALUES ('Juniper'), ('Rowan');
             INSERT INTO log (keeper_id, name, shape) VALUES (1, 'tests', 's');
             INSERT INTO tank (keeper_id, key, digest, name) VALUES
                (1, 'alder', '\\x00112233445566778899aabbccddeeff', 'Alder'), (2, 'birch', '\\x00112233445566778899aabbccddeeff', 'Birch');
             INSERT INTO specimen (keeper_id, key, digest, label, written, lineage, held, entry_assumed) VALUES
                (1, 'g1', '\\x00112233445566778899aabbccddeeff', 'G1', 'Goniopora', 'g1', '{}', false),
                (2, 'g1', '\\x00112233445566778899aabbccddeeff', 'G1', 'Goniopora', 'g1', '{}', false);",
        )
        .expect("the fixture is written");
}

fn accepts(connection: &mut PgConnection, statement: &str) {
    connection.test_transaction::<_, diesel::result::Error, _>(|connection| connection.batch_execute(statement))
}

fn refuses(connection: &mut PgConnection, statement: &str, constraint: &str) {
    let mut outcome = String::from("accepted");
    let _ = connection.transaction::<(), diesel::result::Error, _>(|connection| {
        outcome = match connection.batch_execute(statement) {
            Err(diesel::result::Error::DatabaseError(_, information)) => {
                information.constraint_name().unwrap_or(information.message()).to_owned()
            }
            Err(other) => other.to_string(),
            Ok(()) => "accepted".to_owned(),
        };
        Err(diesel::result::Error::RollbackTransaction)
    });
    assert!(outcome.contains(constraint), "{statement}\n   gave '{outcome}', expected '{constraint}'");
}

const TABLES: &str = "c.relkind = 'r' AND c.relnamespace = 'public'::regnamespace";

#[test]
fn every_table_column_and_function_has_a_comment() {
    let database = TestDatabase::new(migrated);
    let bare = names(
        &mut database.connect(),
        &format!(
            "SELECT c.relname::text AS name FROM pg_class c WHERE {TABLES} AND coalesce(obj_description(c.oid, 'pg_class'), '') = ''
             UNION ALL
             SELECT c.relname || '.' || a.attname FROM pg_class c JOIN pg_attribute a ON a.attrelid = c.oid
              WHERE {TABLES} AND a.attnum > 0 AND NOT a.attisdropped AND coalesce(col_description(c.oid, a.attnum), '') = ''
             UNION ALL
             SELECT p.proname::text FROM pg_proc p WHERE p.pronamespace = 'public'::regnamespace AND coalesce(obj_description(p.oid, 'pg_proc'), '') = ''"
        ),
    );
    assert_eq!(bare, Vec::<String>::new());
}

#[test]
fn every_id_column_has_a_foreign_key_with_an_index_behind_it() {
    let database = TestDatabase::new(migrated);
    let connection = &mut database.connect();
    let loose = names(
        connection,
        &format!(
            "SELECT c.relname || '.' || a.attname AS name FROM pg_class c JOIN pg_attribute a ON a.attrelid = c.oid
              WHERE {TABLES} AND a.attname LIKE '%\\_id' AND (c.relname, a.attname) <> ('reading', 'upload_id') AND NOT EXISTS
                (SELECT FROM pg_constraint f WHERE f.conrelid = c.oid AND f.contype = 'f' AND a.attnum = ANY (f.conkey))"
        ),
    );
    assert_eq!(loose, Vec::<String>::new());
    // A test's upload is no reference: the fold writes it with the row, a million at a time.
    // Deleting a keeper must not scan every table once per row; a composite key needs its last column first
    // in some index, or keeper_id with it. Logs and vocabulary are never deleted row by row.
    let slow = names(
        connection,
        "SELECT f.conrelid::regclass || ' ' || pg_get_constraintdef(f.oid) AS name FROM pg_constraint f
          WHERE f.contype = 'f' AND f.connamespace = 'public'::regnamespace
            AND f.confrelid NOT IN ('parameter'::regclass, 'taxon'::regclass, 'finding_kind'::regclass, 'log'::regclass)
            AND NOT EXISTS (SELECT FROM pg_index i WHERE i.indrelid = f.conrelid
                 AND (i.indkey[0] = ANY (f.conkey)))",
    );
    assert_eq!(slow, Vec::<String>::new());
}

#[test]
fn everything_of_a_keeper_goes_with_the_keeper_and_nothing_else_does() {
    let database = TestDatabase::new(migrated);
    let connection = &mut database.connect();
    let held = names(
        connection,
        "SELECT f.conrelid::regclass::text AS name FROM pg_constraint f
          WHERE f.contype = 'f' AND f.confrelid = 'keeper'::regclass AND f.confdeltype <> 'c'",
    );
    assert_eq!(held, Vec::<String>::new());
    connection
        .batch_execute(
            "INSERT INTO upload (keeper_id, log_id, kind, name, sha256, byte_count, received_by)
                VALUES (1, 1, 'file', 'tests.csv', decode(repeat('00', 32), 'hex'), 0, 'test');
             INSERT INTO reading (keeper_id, key, digest, tank_id, parameter, taken_on, ordinal, value, qualifier, flags, disputed, written, log_id, upload_id, row_number, column_number)
                VALUES (1, 'r', '\\x00112233445566778899aabbccddeeff', 1, 'nitrate', '2024-03-04', 1, 5, '=', '{}', false, '5', 1, 1, 2, 2);
             INSERT INTO stay (keeper_id, key, digest, specimen_id, tank_id) VALUES (1, 's', '\\x00112233445566778899aabbccddeeff', 1, 1);
             INSERT INTO record_source (keeper_id, kind, record_key, upload_id, log_id, row_number, column_number) VALUES (1, 'reading', 'r', 1, 1, 2, 2);
             DELETE FROM keeper WHERE id = 1;",
        )
        .expect("a keeper can be deleted with all that is theirs");
    for table in ["tank", "specimen"] {
        assert_eq!(number(connection, &format!("SELECT count(*) AS number FROM {table}")), 1, "{table}");
    }
    for table in ["upload", "log", "reading", "stay", "record_source"] {
        assert_eq!(number(connection, &format!("SELECT count(*) AS number FROM {table}")), 0, "{table}");
    }
}

#[test]
fn every_record_table_names_its_rows_by_keeper_and_key() {
    let database = TestDatabase::new(migrated);
    let connection = &mut database.connect();
    let records = names(
        connection,
        &format!(
            "SELECT c.relname::text AS name FROM pg_class c JOIN pg_attribute a ON a.attrelid = c.oid AND a.attname = 'digest'
              WHERE {TABLES} ORDER BY 1"
        ),
    );
    assert_eq!(records.len(), 15, "{records:?}");
    let unnamed = names(
        connection,
        &format!(
            "SELECT c.relname::text AS name FROM pg_class c JOIN pg_attribute d ON d.attrelid = c.oid AND d.attname = 'digest'
              WHERE {TABLES} AND NOT EXISTS (SELECT FROM pg_constraint u WHERE u.conrelid = c.oid AND u.contype = 'u'
                AND pg_get_constraintdef(u.oid) = 'UNIQUE (keeper_id, key)')"
        ),
    );
    assert_eq!(unnamed, Vec::<String>::new());
}

#[test]
fn arrays_hold_no_nulls() {
    let database = TestDatabase::new(migrated);
    let open = names(
        &mut database.connect(),
        &format!(
            "SELECT c.relname || '.' || a.attname AS name FROM pg_class c JOIN pg_attribute a ON a.attrelid = c.oid
              WHERE {TABLES} AND format_type(a.atttypid, -1) LIKE '%[]' AND (NOT a.attnotnull OR NOT EXISTS
                (SELECT FROM pg_constraint k WHERE k.conrelid = c.oid AND k.contype = 'c'
                    AND pg_get_constraintdef(k.oid) LIKE '%array_position(' || a.attname || ', NULL%'))"
        ),
    );
    assert_eq!(open, Vec::<String>::new());
}

#[test]
fn readings_that_cannot_be_are_refused() {
    let database = TestDatabase::new(migrated);
    let connection = &mut database.connect();
    let insert = |values: &str| {
        format!(
            "INSERT INTO reading (keeper_id, key, digest, flags, disputed, written, tank_id, parameter, taken_on, taken_time, ordinal, value, lower, upper, qualifier, upload_id, row_number, column_number)
             VALUES (1, gen_random_uuid()::text, '\\x00112233445566778899aabbccddeeff', '{{}}', false, '', {values}, 1, 2, 2)"
        )
    };
    accepts(connection, &insert("1, 'nitrate', '2024-03-04', NULL, 1, 5, 4.5, 5.5, '='"));
    accepts(connection, &insert("1, 'nitrate', '2024-03-04', NULL, 1, NULL, 5, 10, 'interval'"));
    accepts(connection, &insert("1, 'nitrate', '2024-03-04', NULL, 1, 50, 50, NULL, '>'"));
    refuses(connection, &insert("1, 'nitrate', '2024-03-04', NULL, 1, 5, 6, 4, '='"), "reading_check");
    refuses(connection, &insert("1, 'nitrate', '2024-03-04', NULL, 1, NULL, 5, 6, '='"), "reading_check");
    refuses(connection, &insert("1, 'nitrate', '2024-03-04', NULL, 1, NULL, 5, 6, '<'"), "reading_check");
    refuses(connection, &insert("1, 'nitrate', '2024-03-04', NULL, 1, 5, 5, 10, 'interval'"), "reading_check");
    refuses(connection, &insert("1, 'nitrate', '2024-03-04', NULL, 1, NULL, NULL, NULL, 'interval'"), "reading_check");
    refuses(connection, &insert("1, 'nitrate', '2024-03-04', NULL, 1, 'NaN', NULL, NULL, '='"), "reading_value_check");
    refuses(
        connection,
        &insert("1, 'nitrate', '2024-03-04', NULL, 1, 5, NULL, 'Infinity', '='"),
        "reading_upper_check",
    );
    refuses(connection, &insert("1, 'nitrate', '2024-03-04', NULL, 0, 5, NULL, NULL, '='"), "reading_ordinal_check");
    refuses(connection, &insert("1, 'nitrate', '2024-03-04', NULL, 1, 5, NULL, NULL, '~'"), "reading_qualifier_check");
    refuses(connection, &insert("1, 'nitrat', '2024-03-04', NULL, 1, 5, NULL, NULL, '='"), "reading_parameter_fkey");
    // Another keeper's tank.
    refuses(
        connection,
        &insert("2, 'nitrate', '2024-03-04', NULL, 1, 5, NULL, NULL, '='"),
        "reading_keeper_id_tank_id_fkey",
    );
    let one = insert("1, 'nitrate', '2024-03-04', NULL, 1, 5, NULL, NULL, '='");
    refuses(connection, &format!("{one}; {one}"), "reading_tank_id_taken_on");
    let other = insert("1, 'nitrate', '2024-03-04', NULL, 2, 5, NULL, NULL, '='");
    accepts(connection, &format!("{one}; {other}"));
}

#[test]
fn a_specimen_is_in_one_tank_at_a_time_and_ends_once() {
    let database = TestDatabase::new(migrated);
    let connection = &mut database.connect();
    let stay = |specimen: i32, from: &str, to: &str| {
        format!(
            "INSERT INTO stay (keeper_id, key, digest, specimen_id, tank_id, from_day, to_day)
             VALUES ({specimen}, gen_random_uuid()::text, '\\x00112233445566778899aabbccddeeff', {specimen}, {specimen}, {from}, {to});"
        )
    };
    let first = stay(1, "'2024-01-01'", "'2024-02-01'");
    accepts(connection, &(first.clone() + &stay(1, "'2024-02-01'", "NULL")));
    accepts(connection, &(first.clone() + &stay(2, "'2024-01-10'", "NULL")));
    refuses(connection, &(first.clone() + &stay(1, "'2024-01-31'", "NULL")), "stay_one_tank_at_a_time");
    refuses(connection, &(first.clone() + &stay(1, "NULL", "'2024-01-02'")), "stay_one_tank_at_a_time");
    refuses(connection, &(first + &stay(1, "NULL", "NULL")), "stay_one_tank_at_a_time");
    refuses(connection, &stay(1, "'2024-02-01'", "'2024-02-01'"), "stay_check");
    let ending = |earliest: &str, latest: &str| {
        format!(
            "INSERT INTO ending (keeper_id, key, digest, specimen_id, fate, cause_group, other_causes, manner, condition, earliest, latest, written_day, date_held, written)
             VALUES (1, gen_random_uuid()::text, '\\x00112233445566778899aabbccddeeff', 1, 'died', 'unknown', '{{}}', '{{}}', 'not_said', {earliest}, {latest}, true, false, 'dead');"
        )
    };
    accepts(connection, &ending("'2024-01-01'", "'2024-01-01'"));
    refuses(connection, &ending("'2024-01-02'", "'2024-01-01'"), "ending_check");
    refuses(
        connection,
        &(ending("'2024-01-01'", "'2024-01-01'") + &ending("'2024-01-01'", "'2024-01-01'")),
        "ending_specimen_id_key",
    );
}

#[test]
fn steps_go_up_and_down_and_leave_nothing() {
    let database = TestDatabase::empty();
    let connection = &mut database.connect();
    let up = migrations::migrate(connection).expect("the schema is made");
    assert!(up.len() >= 5, "{up:?}");
    assert_eq!(migrations::migrate(connection).expect("nothing to do"), Vec::<String>::new());
    migrations::revert_all(connection).expect("the schema goes");
    let left = names(
        connection,
        "SELECT c.relname::text AS name FROM pg_class c WHERE c.relnamespace = 'public'::regnamespace AND c.relkind IN ('r', 'v', 'm', 'S')
            AND c.relname <> '__diesel_schema_migrations'
         UNION ALL SELECT p.proname::text FROM pg_proc p WHERE p.pronamespace = 'public'::regnamespace
         UNION ALL SELECT t.typname::text FROM pg_type t WHERE t.typnamespace = 'public'::regnamespace AND t.typrelid = 0 AND t.typname NOT LIKE '\\_%'",
    );
    assert_eq!(left, Vec::<String>::new());
    assert_eq!(migrations::migrate(connection).expect("the schema is made again").len(), up.len());
}

#[test]
fn a_database_of_a_later_program_is_refused_untouched() {
    let database = TestDatabase::new(migrated);
    let connection = &mut database.connect();
    connection
        .batch_execute("INSERT INTO __diesel_schema_migrations (version) VALUES ('29990101000000')")
        .expect("a step of the future is written");
    for outcome in [migrations::migrate(connection), migrations::revert_all(connection)] {
        let error = outcome.expect_err("a later schema is refused");
        assert!(matches!(&error, MigrationError::FutureVersion { step } if step == "29990101000000"), "{error:?}");
        assert!(!error.to_string().contains('\n'));
    }
    assert_eq!(number(connection, "SELECT count(*) AS number FROM tank"), 2);
    let level = migrations::level(connection).expect("the level is read");
    assert_eq!(level.unknown, ["29990101000000"]);
    assert_eq!(level.pending, Vec::<String>::new());
}

#[test]
fn servers_that_start_together_take_turns() {
    let database = TestDatabase::empty();
    let taken: Vec<usize> = std::thread::scope(|scope| {
        let starts: Vec<_> = (0..4)
            .map(|_| {
                scope.spawn(|| {
                    let connection = &mut database.connect();
                    let steps = migrations::migrate(connection).expect("the schema is made").len();
                    migrations::synchronise(connection, &vocabulary()).expect("the codes are written");
                    steps
                })
            })
            .collect();
        starts.into_iter().map(|start| start.join().expect("no panic")).collect()
    });
    assert_eq!(taken.iter().filter(|steps| **steps > 0).count(), 1, "{taken:?}");
}

#[test]
fn codes_are_written_once_described_anew_and_never_deleted() {
    let database = TestDatabase::new(migrated);
    let connection = &mut database.connect();
    let edition = |connection: &mut PgConnection| number(connection, "SELECT number FROM edition");
    let before = edition(connection);
    assert_eq!(migrations::synchronise(connection, &vocabulary()).expect("nothing to do"), 0);
    assert_eq!(edition(connection), before);
    let mut changed = vocabulary();
    changed.parameters[0].name = "Nitrate (NO3)".into();
    changed.taxa.clear();
    assert_eq!(migrations::synchronise(connection, &changed).expect("one name changes"), 1);
    assert_eq!(edition(connection), before + 1);
    assert_eq!(names(connection, "SELECT name FROM parameter"), ["Nitrate (NO3)"]);
    assert_eq!(number(connection, "SELECT count(*) AS number FROM taxon"), 2);
}
