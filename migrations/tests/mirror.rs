//! `src/schema.rs` is what a migrated database prints. `REWRITE_MIRROR=1 cargo test -p migrations --test mirror` writes it.

#[path = "support/postgres.rs"]
mod postgres;
#[path = "support/printer.rs"]
mod printer;

use postgres::TestDatabase;

#[test]
fn the_mirror_equals_the_database() {
    let database = TestDatabase::new(|connection| {
        migrations::migrate(connection).expect("the schema is made");
    });
    let printed = printer::print(&mut database.connect());
    let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("src/schema.rs");
    if std::env::var_os("REWRITE_MIRROR").is_some() {
        std::fs::write(&path, &printed).expect("the mirror is written");
    }
    let kept = std::fs::read_to_string(&path).expect("the mirror is there");
    let first = printed.lines().zip(kept.lines()).position(|(printed, kept)| printed != kept);
    assert!(
        printed == kept,
        "src/schema.rs differs from the database, first in line {}; REWRITE_MIRROR=1 cargo test -p migrations --test mirror writes it anew",
        first.unwrap_or_else(|| printed.lines().count().min(kept.lines().count())) + 1
    );
}
