//! Whether a database holds what it says, and what of it can be put right.

use diesel::connection::SimpleConnection;
use server::check::check;

use crate::answers::club;
use crate::api_support::{Api, json_of};

#[test]
fn a_sound_database_has_no_fault_and_each_fault_is_found() {
    let api = Api::start();
    club(&api);
    json_of(api.post("/api/v1/releases").bearer_auth(&api.curator).send().unwrap(), 201);
    let mut connection = api.database.connect();
    let faults = |connection: &mut diesel::PgConnection, repair: bool| -> Vec<String> {
        check(connection, repair).unwrap().into_iter().flat_map(|of| of.faults).collect()
    };
    server::answer::pack_those_changed(&mut connection, &|| false).unwrap();
    let checked = check(&mut connection, false).unwrap();
    assert!(checked.iter().all(|of| of.looked_at > 0), "{checked:#?}");
    assert_eq!(faults(&mut connection, false), Vec::<String>::new());

    // Somebody wrote into the tables by hand.
    connection.batch_execute("UPDATE reading SET value = value + 1 WHERE id = (SELECT min(id) FROM reading)").unwrap();
    connection.batch_execute("DELETE FROM ending WHERE id = (SELECT min(id) FROM ending)").unwrap();
    let found = faults(&mut connection, false);
    assert_eq!(found.len(), 1, "{found:?}");
    assert!(found[0].contains("--repair"), "{found:?}");
    assert_eq!(faults(&mut connection, false), found, "looking changes nothing");
    assert!(!found[0].contains("keeper1"), "a place, no name");
    let repaired = faults(&mut connection, true);
    assert!(repaired[0].ends_with("put right"), "{repaired:?}");
    assert_eq!(faults(&mut connection, false), Vec::<String>::new());

    connection
        .batch_execute(
            "UPDATE upload_file SET content = content || '\\x20' WHERE upload_id = (SELECT min(upload_id) FROM upload_file);
             UPDATE upload SET cells = jsonb_set(cells, '{total}', '7') WHERE id = (SELECT max(id) FROM upload WHERE kind = 'file');
             UPDATE release SET records = NULL",
        )
        .unwrap();
    let found = faults(&mut connection, false);
    assert_eq!(found.iter().filter(|fault| fault.contains("not the one that came")).count(), 1, "{found:?}");
    assert_eq!(found.iter().filter(|fault| fault.contains("do not add up")).count(), 1);
    assert!(found.iter().any(|fault| fault.contains("has no records")));
    // None of these is put right by folding.
    assert_eq!(faults(&mut connection, true), found);
}
