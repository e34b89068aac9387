//! Histories of two keepers whose tanks and corals have the same names, their logs handed in as text, xlsx and
//! OpenDocument by turns, through the real reader into a real database. Whatever was loaded, loaded again in another form
//! and undone: the records are those of the live files alone, and one keeper's doings never change the other's.

#[path = "support/book.rs"]
mod book;
#[path = "support/database.rs"]
mod database;
#[path = "../../migrations/tests/support/postgres.rs"]
mod postgres;

use std::collections::{BTreeMap, BTreeSet};

use book::{Container, Page, Value};
use chrono::{Days, NaiveDate};
use database::{database, dump, number};
use diesel::pg::PgConnection;
use importer::load::{NewUpload, State, commit, context_for, ensure_keeper, receive, stage, undo};
use proptest::prelude::*;
use proptest::test_runner::{RngSeed, TestRunner};
use serde_json::Value as Json;

/// The same histories in every run.
const SEED: u64 = 20_240_107;
const CASES: u32 = 10;

const TANKS: [&str; 2] = ["Alder", "Brook"];
const LABELS: [&str; 4] = ["C1", "C2", "C3", "C4"];
const CORALS: [&str; 2] = ["Goniopora stokesi", "Euphyllia glabrescens"];
/// Two books of water tests that overlap, and a list of corals.
const LOGS: [&str; 3] = ["water", "kitchen book", "corals"];

fn day(text: &str) -> NaiveDate {
    text.parse().expect("a day")
}

/// A week of the year in which everything happens.
fn week(at: u8) -> NaiveDate {
    day("2024-01-07") + Days::new(7 * u64::from(at))
}

/// What a file says.
#[derive(Debug, Clone)]
enum Content {
    /// Alkalinity and nitrate, in tenths, by week and tank.
    Tests(BTreeMap<(u8, usize), (Option<u8>, Option<u8>)>),
    /// Corals by label, the weeks in which they were measured, and the week in which the list was true.
    Corals { list: BTreeMap<usize, Coral>, sizes: BTreeMap<(u8, usize), u8>, as_of: u8 },
}

/// One row of a list of corals.
#[derive(Debug, Clone)]
struct Coral {
    name: usize,
    tank: usize,
    got: u8,
    end: Option<(u8, bool)>,
}

fn text(text: &str) -> Value {
    Value::Text(text.to_owned())
}

impl Content {
    /// Its sheets.
    fn pages(&self) -> Vec<Page> {
        let tenths = |value: &Option<u8>| value.map_or(Value::Empty, |value| Value::Number(f64::from(value) / 10.0));
        match self {
            Content::Tests(tests) => {
                let mut rows = vec![vec![text("Date"), text("Tank"), text("KH (dKH)"), text("NO3 (mg/L)")]];
                for ((at, tank), (alkalinity, nitrate)) in tests {
                    let (on, tank) = (Value::Day(week(*at)), text(TANKS[*tank]));
                    rows.push(vec![on, tank, tenths(alkalinity), tenths(nitrate)]);
                }
                vec![Page::new("Tests", rows)]
            }
            Content::Corals { list, sizes, as_of } => {
                let mut rows = vec![
                    vec![text(&format!("As of {}", week(*as_of)))],
                    vec![text("Complete since 2023-01-01")],
                    Vec::new(),
                    ["Label", "Species", "Tank", "Acquired", "Origin", "Ended", "What became of it"].map(text).to_vec(),
                ];
                for (label, coral) in list {
                    let (end, fate) = match coral.end {
                        Some((at, died)) => (Value::Day(week(at)), text(if died { "died" } else { "given away" })),
                        None => (Value::Empty, Value::Empty),
                    };
                    let got = Value::Day(day("2023-03-05") + Days::new(u64::from(coral.got)));
                    let (name, tank) = (text(CORALS[coral.name]), text(TANKS[coral.tank]));
                    rows.push(vec![text(LABELS[*label]), name, tank, got, text("captive_grown"), end, fate]);
                }
                let mut measured = vec![["Date", "Coral", "Diameter mm", "Measured on"].map(text).to_vec()];
                for ((at, label), size) in sizes.iter().filter(|((_, label), _)| list.contains_key(label)) {
                    let (on, label) = (Value::Day(week(*at)), text(LABELS[*label]));
                    measured.push(vec![on, label, Value::Number(f64::from(*size)), text("skeleton")]);
                }
                let mut pages = vec![Page::new("Corals", rows)];
                if measured.len() > 1 {
                    pages.push(Page::new("Sizes", measured));
                }
                pages
            }
        }
    }
}

fn tests() -> impl Strategy<Value = Content> {
    let value = |from: u8, to: u8| prop::option::weighted(0.8, from..to);
    prop::collection::btree_map((0_u8..4, 0_usize..2), (value(80, 83), value(50, 53)), 3..8)
        .prop_filter("something measured", |tests| tests.values().any(|(one, other)| one.is_some() || other.is_some()))
        .prop_map(Content::Tests)
}

fn corals() -> impl Strategy<Value = Content> {
    let coral = (0_usize..2, 0_usize..2, 0_u8..3, prop::option::weighted(0.4, (10_u8..20, any::<bool>())))
        .prop_map(|(name, tank, got, end)| Coral { name, tank, got, end });
    let list = prop::collection::btree_map(0_usize..4, coral, 1..5);
    let sizes = prop::collection::btree_map((0_u8..9, 0_usize..4), 40_u8..44, 0..5);
    (list, sizes, 20_u8..26).prop_map(|(list, sizes, as_of)| Content::Corals { list, sizes, as_of })
}

fn container() -> impl Strategy<Value = Container> {
    prop::sample::select(vec![Container::Csv, Container::Xlsx, Container::Ods])
}

/// One thing one of the two keepers does.
#[derive(Debug, Clone)]
enum Step {
    /// Sends the next version of a log.
    Load { keeper: usize, log: usize, content: Content, form: Container },
    /// Sends what an earlier file says once more, in another form.
    Again { keeper: usize, which: prop::sample::Index, form: Container },
    /// Takes a file back.
    Undo { keeper: usize, which: prop::sample::Index },
}

fn steps() -> impl Strategy<Value = Vec<Step>> {
    let load = (0_usize..2, prop_oneof![(0_usize..2, tests()), (Just(2_usize), corals())], container());
    let step = prop_oneof![
        8 => load.prop_map(|(keeper, (log, content), form)| Step::Load { keeper, log, content, form }),
        2 => (0_usize..2, any::<prop::sample::Index>(), container()).prop_map(|(keeper, which, form)| Step::Again { keeper, which, form }),
        5 => (0_usize..2, any::<prop::sample::Index>()).prop_map(|(keeper, which)| Step::Undo { keeper, which }),
    ];
    prop::collection::vec(step, 6..14)
}

/// A file that was handed in.
#[derive(Debug, Clone)]
struct Handed {
    upload: i64,
    log: usize,
    content: Content,
    form: Container,
}

/// Loads a file; `None` if its bytes live already.
fn load(connection: &mut PgConnection, keeper: i64, log: usize, content: &Content, form: Container) -> Option<i64> {
    let bytes = form.write(&content.pages());
    let name = format!("{}.{}", LOGS[log], form.ending());
    let new = NewUpload {
        keeper_id: keeper,
        name: &name,
        bytes: &bytes,
        log: Some(LOGS[log]),
        received_by: "test",
        ..NewUpload::default()
    };
    let received = receive(connection, &new).expect("received");
    if received.already.is_some() {
        return None;
    }
    let staged = stage(connection, received.upload_id, day("2025-01-01")).expect("read");
    assert_ne!(staged.state, State::Failed, "{name}");
    commit(connection, received.upload_id, true).expect("committed");
    Some(received.upload_id)
}

/// What is said, whoever says it and where: records without sources, logs and running numbers.
fn facts(dump: &[String]) -> Vec<String> {
    let mut facts: Vec<String> = dump
        .iter()
        .filter(|line| !line.starts_with("source "))
        .filter_map(|line| {
            let (table, record) = line.split_once(' ')?;
            let mut record: Json = serde_json::from_str(record).expect("a record");
            for name in ["key", "ordinal", "log"] {
                record.as_object_mut().expect("a record").remove(name);
            }
            Some(format!("{table} {record}"))
        })
        .collect();
    facts.sort();
    facts
}

/// What the live files say, reckoned by hand: within a log the later version stands, and what it says no more is kept;
/// between the two books equal values are one reading, unequal ones stand both and are disputed. Of a coral the last
/// list that names it decides.
fn expected(live: &[Handed]) -> Vec<String> {
    let mut books: [BTreeMap<(usize, NaiveDate, &str), u8>; 2] = Default::default();
    let mut corals: BTreeMap<usize, &Coral> = BTreeMap::new();
    for one in live {
        match &one.content {
            Content::Tests(tests) => {
                for ((at, tank), (alkalinity, nitrate)) in tests {
                    for (parameter, value) in [("alkalinity", alkalinity), ("nitrate", nitrate)] {
                        if let Some(value) = value {
                            books[one.log].insert((*tank, week(*at), parameter), *value);
                        }
                    }
                }
            }
            Content::Corals { list, .. } => corals.extend(list.iter().map(|(label, coral)| (*label, coral))),
        }
    }
    let mut lines = Vec::new();
    let keys: BTreeSet<_> = books.iter().flat_map(BTreeMap::keys).collect();
    for key in keys {
        let values: BTreeSet<u8> = books.iter().filter_map(|book| book.get(key)).copied().collect();
        let disputed = values.len() > 1;
        let (tank, on, parameter) = key;
        let tank = TANKS[*tank].to_lowercase();
        lines.extend(
            values
                .iter()
                .map(|value| format!("reading {tank} {on} {parameter} {} {disputed}", f64::from(*value) / 10.0)),
        );
    }
    for (label, coral) in corals {
        let label = LABELS[label].to_lowercase();
        lines.push(format!("specimen {label}"));
        if let Some((at, died)) = coral.end {
            lines.push(format!("ending {label} {} {}", if died { "died" } else { "left" }, week(at)));
        }
    }
    lines.sort();
    lines
}

/// The same lines of what the tables hold.
fn held(dump: &[String]) -> Vec<String> {
    let mut lines: Vec<String> = dump
        .iter()
        .filter_map(|line| {
            let (table, record) = line.split_once(' ')?;
            let record: Json = serde_json::from_str(record).ok()?;
            let text = |name: &str| record[name].as_str().unwrap_or("?").to_owned();
            match table {
                "reading" => Some(format!(
                    "reading {} {} {} {} {}",
                    text("tank"),
                    text("taken_on"),
                    text("parameter"),
                    record["value"].as_f64()?,
                    record["disputed"]
                )),
                "specimen" => Some(format!("specimen {}", text("key"))),
                "ending" => Some(format!("ending {} {} {}", text("specimen"), text("fate"), text("latest"))),
                _ => None,
            }
        })
        .collect();
    lines.sort();
    lines
}

/// What the reader would be told of a keeper.
fn known(connection: &mut PgConnection, keeper: i64) -> Json {
    let mut context = context_for(connection, keeper).expect("a context");
    // What the club has is not the keeper's.
    context.club_taxa.clear();
    serde_json::to_value(context).expect("it prints")
}

/// What was seen, so that a test of nothing is not taken for a test.
#[derive(Default)]
struct Seen {
    records: usize,
    undone: usize,
    containers: BTreeSet<&'static str>,
    disputed: i64,
}

fn play(connection: &mut PgConnection, case: u32, steps: &[Step], seen: &mut Seen) -> Result<(), TestCaseError> {
    let keepers = ["One", "Two"].map(|name| ensure_keeper(connection, &format!("{name} {case}")).expect("a keeper"));
    let unknown = known(connection, keepers[0]);
    let mut all: [Vec<Handed>; 2] = Default::default();
    let mut live: [Vec<Handed>; 2] = Default::default();
    let mut records: [Vec<String>; 2] = Default::default();
    for step in steps {
        let (who, sent) = match step {
            Step::Load { keeper, log, content, form } => (*keeper, Some((*log, content.clone(), *form))),
            Step::Again { keeper, which, form } if !all[*keeper].is_empty() => {
                let earlier = which.get(&all[*keeper]);
                (*keeper, Some((earlier.log, earlier.content.clone(), *form)))
            }
            Step::Again { .. } => continue,
            Step::Undo { keeper, .. } => (*keeper, None),
        };
        if let Some((log, content, form)) = sent {
            if let Some(upload) = load(connection, keepers[who], log, &content, form) {
                let handed = Handed { upload, log, content, form };
                seen.containers.insert(form.ending());
                all[who].push(handed.clone());
                live[who].push(handed);
            }
        } else if let Step::Undo { which, .. } = step
            && !live[who].is_empty()
        {
            let at = which.index(live[who].len());
            undo(connection, live[who].remove(at).upload, "test").expect("undone");
            seen.undone += 1;
        }
        records[who] = dump(connection, keepers[who]);
        let other = 1 - who;
        prop_assert_eq!(&dump(connection, keepers[other]), &records[other], "the other keeper's records changed");
    }
    for who in 0..2 {
        seen.records += records[who].len();
        prop_assert_eq!(held(&records[who]), expected(&live[who]), "other records than the live files say");
        let count = "SELECT count(*) AS number FROM reading WHERE disputed AND keeper_id = ";
        seen.disputed += number(connection, &format!("{count}{}", keepers[who]));
        // Somebody who only ever sent what lives has the same records, to the last source.
        let fresh = ensure_keeper(connection, &format!("Fresh {who} {case}")).expect("a keeper");
        for one in &live[who] {
            load(connection, fresh, one.log, &one.content, one.form);
        }
        prop_assert_eq!(&dump(connection, fresh), &records[who], "other records than of the live files alone");
        // Versions of one log have their order; the logs among each other and the form of a file do not count.
        let turned = ensure_keeper(connection, &format!("Turned {who} {case}")).expect("a keeper");
        for log in (0..LOGS.len()).rev() {
            for one in live[who].iter().filter(|one| one.log == log) {
                let form = match one.form {
                    Container::Csv => Container::Ods,
                    Container::Xlsx => Container::Csv,
                    Container::Ods => Container::Xlsx,
                };
                load(connection, turned, one.log, &one.content, form);
            }
        }
        prop_assert_eq!(
            facts(&dump(connection, turned)),
            facts(&records[who]),
            "the order of the logs or the form counts"
        );
    }
    // Undone to the last, nothing is left, neither of records nor of what the reader knows; the other has all still.
    for who in 0..2 {
        for one in live[who].iter().rev() {
            undo(connection, one.upload, "test").expect("undone");
        }
        prop_assert_eq!(dump(connection, keepers[who]), Vec::<String>::new());
        prop_assert_eq!(&known(connection, keepers[who]), &unknown);
        if who == 0 {
            prop_assert_eq!(&dump(connection, keepers[1]), &records[1]);
        }
    }
    Ok(())
}

#[test]
fn two_keepers_histories_in_any_form_equal_their_live_files() {
    let database = database();
    let connection = std::cell::RefCell::new(database.connect());
    let seen = std::cell::RefCell::new(Seen::default());
    let case = std::cell::Cell::new(0);
    let mut runner = TestRunner::new(ProptestConfig {
        cases: CASES,
        failure_persistence: None,
        rng_seed: RngSeed::Fixed(SEED),
        max_shrink_iters: 60,
        ..ProptestConfig::default()
    });
    let outcome = runner.run(&steps(), |steps| {
        case.set(case.get() + 1);
        play(&mut connection.borrow_mut(), case.get(), &steps, &mut seen.borrow_mut())
    });
    if let Err(error) = outcome {
        panic!("{error}");
    }
    let seen = seen.into_inner();
    assert!(
        seen.records > 500 && seen.undone > 10 && seen.disputed > 5,
        "{} {} {}",
        seen.records,
        seen.undone,
        seen.disputed
    );
    assert_eq!(seen.containers, BTreeSet::from(["csv", "ods", "xlsx"]));
}

/// The reader has nothing to ask about these files, so that what is compared is everything that they say.
#[test]
fn the_files_are_clear_in_every_form() {
    let coral = |name, tank, end| Coral { name, tank, got: 1, end };
    let contents = [
        Content::Tests(BTreeMap::from([
            ((0, 0), (Some(80), Some(50))),
            ((1, 0), (Some(81), None)),
            ((1, 1), (None, Some(52))),
        ])),
        Content::Corals {
            list: BTreeMap::from([
                (0, coral(0, 0, None)),
                (1, coral(1, 1, Some((12, true)))),
                (2, coral(1, 0, Some((13, false)))),
            ]),
            sizes: BTreeMap::from([((1, 0), 40), ((5, 0), 42), ((2, 1), 41)]),
            as_of: 21,
        },
    ];
    for (content, expected) in contents.iter().zip([2 + 4, 2 + 3 + 3 + 3 + 2 + 1]) {
        let mut told: Vec<Vec<String>> = Vec::new();
        for form in [Container::Csv, Container::Xlsx, Container::Ods] {
            let context = importer::context::Context { today: Some(day("2025-01-01")), ..Default::default() };
            let outcome = importer::read::read("log", &form.write(&content.pages()), &context);
            let open: Vec<&str> = outcome
                .findings
                .iter()
                .filter(|finding| finding.severity != importer::finding::Severity::Noted)
                .map(|finding| finding.key.as_str())
                .collect();
            assert_eq!(open, [""; 0], "{form:?}");
            let mut kinds: Vec<String> = outcome
                .records
                .iter()
                .map(|record| {
                    serde_json::to_value(record).expect("it prints")["kind"].as_str().unwrap_or("?").to_owned()
                })
                .collect();
            kinds.sort();
            assert_eq!(kinds.len(), expected, "{form:?}: {kinds:?}");
            told.push(kinds);
        }
        assert!(told.windows(2).all(|pair| pair[0] == pair[1]));
    }
}
