//! A member's water tests are kept packed beside their rows: never other than these, and made without being asked.

use std::time::{Duration, Instant};

use analysis::club::Readings;
use diesel::connection::SimpleConnection;
use diesel::prelude::*;
use diesel::sql_types::BigInt;
use server::access::Scope;
use server::answer::{self, pack_those_changed, packs_not_of_rows};

use crate::answers::club;
use crate::api_support::Api;

#[derive(QueryableByName)]
struct Number {
    #[diesel(sql_type = BigInt)]
    number: i64,
}

fn number(connection: &mut PgConnection, query: &str) -> i64 {
    diesel::sql_query(query).get_result::<Number>(connection).unwrap().number
}

fn packs(connection: &mut PgConnection) -> i64 {
    number(connection, "SELECT count(*) AS number FROM reading_pack")
}

fn readings(connection: &mut PgConnection) -> Readings {
    answer::club(connection, &Scope::of_operator()).unwrap().club.readings.clone()
}

/// The club of the other tests, and of one member an instrument, a second log, an edit and a light at a coral's spot.
const MORE: &str = "
    INSERT INTO instrument (keeper_id, key, digest, parameter, name, step, limit_value)
        SELECT min(keeper_id), 'kit', decode(repeat('00', 16), 'hex'), 'nitrate', 'a kit', 0.5, 0.25 FROM reading;
    UPDATE reading SET instrument_id = (SELECT max(id) FROM instrument) WHERE keeper_id = (SELECT min(keeper_id) FROM reading);
    INSERT INTO reading (keeper_id, key, digest, tank_id, parameter, taken_on, ordinal, value, lower, upper, qualifier, flags,
            disputed, written, specimen_id, log_id, upload_id, row_number, column_number)
        SELECT keeper_id, '@' || key, digest, tank_id, 'par', taken_on, ordinal, 120, 120, 120, '=', '{}', false, '120',
            (SELECT min(s.id) FROM specimen s WHERE s.keeper_id = r.keeper_id), NULL, upload_id, row_number, column_number
        FROM reading r ORDER BY id LIMIT 1;
    INSERT INTO reading (keeper_id, key, digest, tank_id, parameter, taken_on, ordinal, lower, qualifier, flags,
            disputed, written, log_id, upload_id, row_number, column_number)
        SELECT keeper_id, key || '+', digest, tank_id, parameter, taken_on, ordinal + 1, 50, 'interval', '{}', false, '50 - high',
            NULL, upload_id, row_number, column_number
        FROM reading r WHERE specimen_id IS NULL ORDER BY id LIMIT 3;
    UPDATE reading SET flags = '{own_scale}' WHERE id = (SELECT max(id) FROM reading WHERE specimen_id IS NULL);";

#[test]
fn packed_tests_are_those_of_the_rows_and_go_when_these_change() {
    // No server that packs while the test looks.
    let mut api = Api::start();
    club(&api);
    api.end();
    let connection = &mut api.database.connect();
    connection.batch_execute(MORE).unwrap();
    connection.batch_execute("DELETE FROM reading_pack").unwrap();
    let of_rows = answer::club(connection, &Scope::of_operator()).unwrap().club;
    let members = number(connection, "SELECT count(DISTINCT keeper_id) AS number FROM reading");
    assert_eq!(pack_those_changed(connection, &|| false).unwrap() as i64, members);
    assert_eq!((packs(connection), pack_those_changed(connection, &|| false).unwrap()), (members, 0));
    let packed = answer::club(connection, &Scope::of_operator()).unwrap().club;
    assert_eq!(packed.readings, of_rows.readings);
    let written = |club: &analysis::club::Club| serde_json::to_string(club).unwrap();
    assert_eq!(written(&packed), written(&of_rows), "light at a coral's spot too");
    assert!(written(&packed).contains("\"par\":120.0"));
    let of_own =
        number(connection, "SELECT count(*) AS number FROM reading WHERE specimen_id IS NULL AND flags = '{}'");
    assert_eq!(packed.readings.len() as i64, of_own, "values on a scale of one's own are compared with nobody's");
    assert!(packed.readings.iter().any(|of| of.step == Some(0.5) && of.limit == Some(0.25)));
    assert!(packed.readings.iter().any(|of| of.value.is_none() && of.lower == 50.0 && of.upper == f64::INFINITY));

    // What is one member's alone is packed alone.
    let of_member = "WHERE keeper_id = (SELECT min(keeper_id) FROM reading)";
    let changes = [
        ("UPDATE reading SET taken_on = taken_on + 400", "the day"),
        ("UPDATE instrument SET step = 0.1", "the step of an instrument"),
        ("UPDATE log SET name = name || ' (2)'", "the name of a log"),
        ("DELETE FROM instrument", "no instrument any more"),
        ("DELETE FROM reading", "no tests any more"),
    ];
    let mut before = packed.readings.clone();
    for (change, what) in changes {
        connection.batch_execute(&format!("{change} {of_member}")).unwrap();
        assert_eq!(packs(connection), members - 1, "{what}");
        let of_rows = readings(connection);
        pack_those_changed(connection, &|| false).unwrap();
        assert_eq!(readings(connection), of_rows, "{what}");
        assert_eq!(packs_not_of_rows(connection).unwrap().1, Vec::<i64>::new(), "{what}");
        assert_eq!(of_rows == before, what == "the name of a log", "{what}");
        before = of_rows;
    }
    connection.batch_execute("UPDATE log SET losses_listed = NOT coalesce(losses_listed, false)").unwrap();
    assert_eq!(packs(connection), members - 1, "packs hold nothing of it");
}

#[test]
fn one_pack_at_a_time_and_none_while_the_tests_change() {
    let mut api = Api::start();
    club(&api);
    api.end();
    let (connection, other) = (&mut api.database.connect(), &mut api.database.connect());
    connection.batch_execute("DELETE FROM reading_pack").unwrap();
    let members = number(connection, "SELECT count(DISTINCT keeper_id) AS number FROM reading");
    // Whoever folds holds the member's row.
    other
        .batch_execute("BEGIN; SELECT FROM keeper WHERE id = (SELECT min(keeper_id) FROM reading) FOR NO KEY UPDATE")
        .unwrap();
    assert_eq!(pack_those_changed(connection, &|| false).unwrap() as i64, members - 1, "that member is passed over");
    other.batch_execute("COMMIT").unwrap();
    assert_eq!(pack_those_changed(connection, &|| true).unwrap(), 0, "told to stop");
    assert_eq!(pack_those_changed(connection, &|| false).unwrap(), 1);

    // A pack that was spoilt is found, and read as rows once it is gone.
    let whole = readings(connection);
    connection
        .batch_execute(
            "UPDATE reading_pack SET refers = '{}' WHERE keeper_id = (SELECT max(keeper_id) FROM reading_pack)",
        )
        .unwrap();
    assert_eq!(readings(connection), whole, "what cannot be read is read from the rows");
    connection.batch_execute("UPDATE reading_pack SET readings = readings || '\\x00'").unwrap();
    assert_eq!(readings(connection), whole, "what cannot be read is read from the rows");
    assert_eq!(packs_not_of_rows(connection).unwrap().1.len() as i64, members);
    let found = server::check::check(connection, true).unwrap();
    let faults: Vec<&String> = found.iter().flat_map(|of| &of.faults).collect();
    assert!(faults.iter().all(|fault| fault.ends_with("put right")), "{faults:?}");
    assert_eq!(readings(connection), whole);
    // Of another program: not read, and made anew.
    pack_those_changed(connection, &|| false).unwrap();
    connection.batch_execute("UPDATE reading_pack SET format = 0").unwrap();
    assert_eq!(readings(connection), whole);
    assert_eq!(pack_those_changed(connection, &|| false).unwrap() as i64, members);
}

#[test]
fn the_server_packs_by_itself() {
    let api = Api::start();
    club(&api);
    let connection = &mut api.database.connect();
    let members = number(connection, "SELECT count(DISTINCT keeper_id) AS number FROM reading");
    let began = Instant::now();
    while packs(connection) < members {
        assert!(began.elapsed() < Duration::from_secs(60), "{} of {members}", packs(connection));
        std::thread::sleep(Duration::from_millis(100));
    }
    assert_eq!(packs_not_of_rows(connection).unwrap(), (members as usize, Vec::new()));
}
