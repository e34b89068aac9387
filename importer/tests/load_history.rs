//! Whatever was imported, edited, imported again and undone: the tables hold what the live uploads alone give.

#[path = "support/database.rs"]
mod database;
#[path = "../../migrations/tests/support/postgres.rs"]
mod postgres;
#[path = "support/script.rs"]
mod script;

use analysis::vocabulary::Fate;
use database::{database, dump, number};
use diesel::connection::SimpleConnection;
use diesel::pg::PgConnection;
use importer::fold::same::Named;
use importer::load::{Loader, MergeAsked, NewUpload, ensure_keeper};
use importer::record::Record;
use proptest::prelude::*;
use proptest::test_runner::TestRunner;
use script::*;

const LOADER: Loader = Loader { reader: script::read_packed };

/// One thing a keeper does.
#[derive(Debug, Clone)]
#[allow(clippy::large_enum_variant, reason = "a few of them in a test")]
enum Step {
    /// Sends the next version of a log.
    Import(&'static str, Script),
    /// Corrects one record.
    Edit(Record),
    /// Takes one record out, stated or not.
    TakeOut(Record),
    /// Takes one of the uploads back.
    Undo(prop::sample::Index),
    /// Sends the file of an earlier upload again.
    Again(prop::sample::Index),
    /// Says which of the two logs is right.
    Prefer(prop::sample::Index, &'static str),
    /// Joins two names.
    Join(Named, &'static str, &'static str),
    /// Takes one of the joins back.
    Apart(prop::sample::Index),
}

fn any_day() -> impl Strategy<Value = String> {
    (1_u32..=8).prop_map(|at| format!("2024-{at:02}-05"))
}

fn any_record() -> impl Strategy<Value = Record> {
    let tank_name = prop::sample::select(vec!["Alder", "alder ", "Birch"]);
    let label = || prop::sample::select(vec!["C1", "c1", "C2", "C3"]);
    prop_oneof![
        5 => (tank_name.clone(), any_day(), 1_u8..4).prop_map(|(tank, on, value)| nitrate(tank, &on, f64::from(value) / 3.0)),
        4 => (label(), tank_name.clone(), any_day(), prop::option::of(label())).prop_map(|(label, tank, on, mother)| {
            with(specimen(label, tank, &on), |row| row.parent = mother.map(str::to_owned))
        }),
        1 => (label(), tank_name.clone(), any_day()).prop_map(|(label, tank, on)| moved(label, tank, &on)),
        2 => (label(), any_day(), prop::sample::select(vec!["register", "look"])).prop_map(|(label, on, source)| seen(label, &on, source)),
        1 => (label(), any_day(), prop::bool::ANY).prop_map(|(label, on, cut)| sized(label, &on, 10.0, cut)),
        1 => (label(), any_day()).prop_map(|(label, on)| died(label, &on)),
        1 => label().prop_map(|label| ended(label, Some(Fate::Died), None, None)),
        1 => (label(), any_day()).prop_map(|(label, on)| named(label, "goniopora-stokesi", &on)),
        1 => (tank_name.clone(), any_day()).prop_map(|(tank, on)| habit(tank, "water_change", 1.0, &on)),
        1 => (tank_name.clone(), label(), any_day()).prop_map(|(tank, label, on)| event(tank, Some(label), "cut", &on)),
        1 => (prop::option::of(tank_name), any_day()).prop_map(|(tank, on)| kit("drops", tank, Some(&on))),
    ]
}

fn tanks() -> impl Strategy<Value = &'static str> {
    prop::sample::select(vec!["Alder", "Birch"])
}

fn corals() -> impl Strategy<Value = &'static str> {
    prop::sample::select(vec!["C1", "C2", "C3"])
}

fn any_steps() -> impl Strategy<Value = Vec<Step>> {
    let script =
        (prop::collection::vec(any_record(), 1..12), any_day(), 0_u32..4).prop_map(|(records, as_of, salt)| Script {
            salt,
            ..Script::new("s", records).true_on(&as_of).from("2024-01-05")
        });
    let step = prop_oneof![
        5 => (prop::sample::select(vec!["A", "B"]), script).prop_map(|(log, script)| Step::Import(log, script)),
        2 => any_record().prop_map(Step::Edit),
        3 => any_record().prop_map(Step::TakeOut),
        3 => any::<prop::sample::Index>().prop_map(Step::Undo),
        1 => any::<prop::sample::Index>().prop_map(Step::Again),
        4 => (tanks(), tanks()).prop_map(|(from, into)| Step::Join(Named::Tank, from, into)),
        4 => (corals(), corals()).prop_map(|(from, into)| Step::Join(Named::Specimen, from, into)),
        1 => any::<prop::sample::Index>().prop_map(Step::Apart),
        1 => (any::<prop::sample::Index>(), prop::sample::select(vec!["first", "second", "two_tests"])).prop_map(|(at, choice)| Step::Prefer(at, choice)),
    ];
    prop::collection::vec(step, 1..9)
}

/// An upload that lives, as it can be handed in again.
#[derive(Debug, Clone)]
#[allow(clippy::large_enum_variant, reason = "a few of them in a test")]
enum Handed {
    File(i64, &'static str, Script),
    Edit(i64, Record),
    TakenOut(i64, Record),
}

impl Handed {
    fn id(&self) -> i64 {
        let (Handed::File(id, ..) | Handed::Edit(id, _) | Handed::TakenOut(id, _)) = self;
        *id
    }
}

fn import(connection: &mut PgConnection, keeper: i64, log: &str, script: &Script) -> Option<i64> {
    let bytes = script.bytes();
    let name = format!("{log}.csv");
    let new = NewUpload {
        keeper_id: keeper,
        name: &name,
        bytes: &bytes,
        log: Some(log),
        received_by: "test",
        ..NewUpload::default()
    };
    let received = importer::load::receive(connection, &new).expect("received");
    if received.already.is_some() {
        return None;
    }
    LOADER.stage(connection, received.upload_id, day("2025-01-01")).expect("read");
    LOADER.commit(connection, received.upload_id, true).expect("committed");
    Some(received.upload_id)
}

/// A join that stands: its number, and what is joined.
type Standing = Vec<(i64, MergeAsked)>;

/// Plays the steps; returns what lives, in the order of the commits, whether answers were given, and the joins.
fn play(connection: &mut PgConnection, keeper: i64, steps: &[Step]) -> (Vec<Handed>, bool, Standing) {
    let mut joins: Standing = Vec::new();
    let mut all: Vec<Handed> = Vec::new();
    let mut live: Vec<Handed> = Vec::new();
    let mut answered = false;
    for step in steps {
        let again = match step {
            Step::Again(at) if !all.is_empty() => match at.get(&all) {
                Handed::File(_, log, script) => Some((*log, script.clone())),
                Handed::Edit(..) | Handed::TakenOut(..) => None,
            },
            Step::Import(log, script) => Some((*log, script.clone())),
            _ => None,
        };
        match step {
            Step::Edit(record) => {
                let id =
                    importer::load::edit(connection, keeper, std::slice::from_ref(record), "test").expect("edited");
                live.push(Handed::Edit(id, record.clone()));
                all.push(Handed::Edit(id, record.clone()));
            }
            Step::TakeOut(record) => {
                match importer::load::take_out(connection, keeper, std::slice::from_ref(record), "test") {
                    Ok(id) => {
                        live.push(Handed::TakenOut(id, record.clone()));
                        all.push(Handed::TakenOut(id, record.clone()));
                    }
                    Err(importer::load::LoadError::NotAlone { .. }) => {}
                    Err(error) => panic!("{error}"),
                }
            }
            Step::Undo(at) if !live.is_empty() => {
                let id = live.remove(at.index(live.len())).id();
                importer::load::undo(connection, id, "test").expect("undone");
            }
            Step::Join(named, from, into) => {
                let asked = MergeAsked { keeper_id: keeper, named: *named, from: (*from).into(), into: (*into).into() };
                let before = dump(connection, keeper);
                match importer::load::preview_merge(connection, &asked) {
                    Ok(preview) => {
                        assert_eq!(dump(connection, keeper), before, "a preview changes nothing");
                        let signed = ("the club", None);
                        let made = importer::load::merge(connection, &asked, &preview.confirm, signed, "test");
                        joins.push((made.expect("joined").id, asked));
                    }
                    Err(importer::load::LoadError::BadMerge(_)) => {}
                    Err(error) => panic!("{error}"),
                }
            }
            Step::Apart(at) if !joins.is_empty() => {
                let (id, _) = joins.remove(at.index(joins.len()));
                importer::load::undo_merge(connection, id, "test").expect("taken apart");
            }
            Step::Prefer(at, choice) if !live.is_empty() => {
                let id = at.get(&live).id();
                let findings = importer::load::findings(connection, id).expect("findings");
                if let Some(asked) = findings.iter().find(|finding| finding.code == "logs_disagree") {
                    let answer =
                        importer::finding::Answer { key: asked.key.clone(), choice: (*choice).into(), value: None };
                    answered |= LOADER.answer(connection, id, &[answer], "test").is_ok();
                }
            }
            _ => {}
        }
        if let Some((log, script)) = again
            && let Some(id) = import(connection, keeper, log, &script)
        {
            live.push(Handed::File(id, log, script.clone()));
            all.push(Handed::File(id, log, script));
        }
    }
    (live, answered, joins)
}

/// The same joins for another keeper, whatever stands on record.
fn join_again(connection: &mut PgConnection, keeper: i64, joins: &Standing) {
    for (_, asked) in joins {
        let kind = if asked.named == Named::Tank { "tank" } else { "specimen" };
        let (from, into) = (&asked.from, &asked.into);
        let statement = format!(
            "INSERT INTO club_merge (keeper_id, kind, from_key, from_name, into_key, into_name, signed_by)
             SELECT {keeper}, '{kind}', from_key, from_name, into_key, into_name, signed_by FROM club_merge
             WHERE keeper_id = {} AND kind = '{kind}' AND lower(from_name) = lower('{from}')
                AND lower(into_name) = lower('{into}') AND withdrawn_at IS NULL",
            asked.keeper_id
        );
        connection.batch_execute(&statement).expect("joined");
    }
    importer::load::fold_anew(connection, keeper).expect("folded");
}

#[test]
fn any_history_equals_its_live_uploads() {
    let database = database();
    let kept = std::cell::Cell::new(0);
    let case = std::cell::Cell::new(0);
    let joined = std::cell::Cell::new(0);
    let mut runner =
        TestRunner::new(ProptestConfig { cases: 40, failure_persistence: None, ..ProptestConfig::default() });
    let outcome = runner.run(&any_steps(), |steps| {
        case.set(case.get() + 1);
        let connection = &mut database.connect();
        let keeper = ensure_keeper(connection, &format!("Keeper {}", case.get())).expect("a keeper");
        let (live, answered, joins) = play(connection, keeper, &steps);
        let records = dump(connection, keeper);
        // The tables fit the fold: folding once more changes nothing.
        let before =
            number(connection, &format!("SELECT count(*) AS number FROM record_source WHERE keeper_id = {keeper}"));
        let anew = importer::load::fold_anew(connection, keeper).expect("folded");
        prop_assert_eq!(anew, importer::load::Changes::default());
        prop_assert_eq!(&dump(connection, keeper), &records);
        prop_assert_eq!(
            number(connection, &format!("SELECT count(*) AS number FROM record_source WHERE keeper_id = {keeper}")),
            before
        );
        // A keeper who only ever did what lives has the same records. Answers live in uploads: told in `load.rs`.
        if !answered {
            let fresh = ensure_keeper(connection, &format!("Fresh {}", case.get())).expect("a keeper");
            for handed in &live {
                match handed {
                    Handed::File(_, log, script) => {
                        import(connection, fresh, log, script);
                    }
                    Handed::Edit(_, record) => {
                        importer::load::edit(connection, fresh, std::slice::from_ref(record), "test").expect("edited");
                    }
                    Handed::TakenOut(_, record) => {
                        importer::load::take_out(connection, fresh, std::slice::from_ref(record), "test")
                            .expect("taken out");
                    }
                }
            }
            let apart = dump(connection, fresh);
            join_again(connection, fresh, &joins);
            prop_assert_eq!(&dump(connection, fresh), &records);
            kept.set(kept.get() + records.len());
            // Taken apart, everything is as before.
            for (id, _) in &joins {
                importer::load::undo_merge(connection, *id, "test").expect("taken apart");
            }
            prop_assert_eq!(&dump(connection, keeper), &apart);
            joined.set(joined.get() + usize::from(apart != records));
        }
        // Undone to the last, nothing is left.
        for handed in live.iter().rev() {
            importer::load::undo(connection, handed.id(), "test").expect("undone");
        }
        prop_assert_eq!(dump(connection, keeper), Vec::<String>::new());
        connection.batch_execute("SET CONSTRAINTS ALL IMMEDIATE").expect("the rules hold");
        Ok(())
    });
    if let Err(error) = outcome {
        panic!("{error}");
    }
    assert!(kept.get() > 200, "the histories hold records: {}", kept.get());
    assert!(joined.get() > 0, "joins changed records: {}", joined.get());
}
