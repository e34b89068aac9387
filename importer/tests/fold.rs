//! The fold of live uploads: what stands after versions, several logs, edits, roll calls and undos.

#[path = "support/script.rs"]
mod script;

use std::collections::BTreeMap;

use analysis::vocabulary::{Fate, TaxonSlug};
use importer::context::About;
use importer::fold::between::Preferences;
use importer::fold::{Current, LiveUpload, Missing, NO_TANKS, Preference, fold};
use importer::record::{HeldFact, Record};
use proptest::prelude::*;
use script::*;

/// Uploads in the order of their commits.
#[derive(Debug, Clone, Default)]
struct History {
    uploads: Vec<(Option<i64>, bool, bool, Script)>,
    preferences: Preferences,
}

impl History {
    fn version(mut self, log: i64, script: Script) -> Self {
        self.uploads.push((Some(log), false, false, script));
        self
    }

    fn replacing(mut self, log: i64, script: Script) -> Self {
        self.uploads.push((Some(log), false, true, script));
        self
    }

    fn roll_call(mut self, script: Script) -> Self {
        self.uploads.push((None, false, false, script));
        self
    }

    fn edit(mut self, record: Record) -> Self {
        self.uploads.push((None, true, false, Script { records: vec![record], ..Script::default() }));
        self
    }

    fn without(mut self, at: usize) -> Self {
        // An undone upload keeps its number, so the others' numbers stay.
        self.uploads[at].3 = Script { salt: u32::MAX, ..Script::default() };
        self
    }

    fn fold(&self) -> Current {
        let outcomes: Vec<(Vec<Record>, About)> = self
            .uploads
            .iter()
            .map(|(.., script)| {
                let outcome = read("script", &script.bytes(), &importer::context::Context::default());
                (outcome.records, outcome.about)
            })
            .collect();
        let live: Vec<LiveUpload<'_>> = self
            .uploads
            .iter()
            .zip(&outcomes)
            .enumerate()
            .filter(|(_, ((.., script), _))| script.salt != u32::MAX)
            .map(|(at, ((log, edit, replaces, _), (records, about)))| LiveUpload {
                upload: at as i64 + 1,
                log: *log,
                edit: *edit,
                replaces: *replaces,
                records,
                tanks: &NO_TANKS,
                about,
                read_on: None,
            })
            .collect();
        fold(&live, &self.preferences)
    }
}

fn values(current: &Current) -> Vec<(String, f64, bool)> {
    current.readings.iter().map(|(key, row)| (key.clone(), row.value.unwrap_or(f64::NAN), row.disputed)).collect()
}

fn plain(current: &Current) -> Vec<(String, f64)> {
    values(current).into_iter().map(|(key, value, _)| (key, value)).collect()
}

#[test]
fn a_later_version_supersedes_and_what_it_no_longer_says_is_kept() {
    let first = Script::new("w", vec![nitrate("Alder", "2024-03-04", 5.0), nitrate("Alder", "2024-03-11", 6.0)]);
    let second = Script::new("w", vec![nitrate(" alder", "2024-03-04", 5.5), nitrate("Alder", "2024-03-18", 7.0)]);
    let history = History::default().version(1, first).version(1, second.clone());
    let current = history.fold();
    assert_eq!(
        plain(&current),
        [
            ("alder|2024-03-04|nitrate|1".to_owned(), 5.5),
            ("alder|2024-03-11|nitrate|1".to_owned(), 6.0),
            ("alder|2024-03-18|nitrate|1".to_owned(), 7.0)
        ]
    );
    assert_eq!(current.tanks.len(), 1);
    // A value that a later version repeats keeps the place where it was first written.
    let places: Vec<(i64, &str)> = current.readings.iter().map(|(key, row)| (row.upload_id, key.as_str())).collect();
    assert_eq!(
        places,
        [(2, "alder|2024-03-04|nitrate|1"), (1, "alder|2024-03-11|nitrate|1"), (2, "alder|2024-03-18|nitrate|1")]
    );
    let undone = history.clone().without(1).fold();
    assert_eq!(plain(&undone)[0].1, 5.0);
    assert_eq!(plain(&undone).len(), 2);
    let first = Script::new("w", vec![nitrate("Alder", "2024-03-04", 5.0), nitrate("Alder", "2024-03-11", 6.0)]);
    let taken_out = History::default().version(1, first).replacing(1, second).fold();
    assert_eq!(plain(&taken_out).len(), 2);
}

#[test]
fn the_same_file_again_changes_nothing() {
    let script = Script::new(
        "r",
        vec![
            tank("Alder"),
            specimen("C1", "Alder", "2024-01-10"),
            seen("C1", "2024-06-01", "register"),
            nitrate("Alder", "2024-03-04", 5.0),
            nitrate("Alder", "2024-03-04", 5.0),
            habit("Alder", "water_change", 1.0, "2024-01-01"),
        ],
    )
    .true_on("2024-06-01");
    let once = History::default().version(1, script.clone());
    let twice = once.clone().version(1, script);
    assert_eq!(once.fold(), twice.fold());
}

#[test]
fn equal_values_of_two_logs_are_one_reading_and_unequal_ones_both_stand() {
    let left = Script::new("a", vec![nitrate("Alder", "2024-03-04", 5.0), nitrate("Alder", "2024-03-11", 6.0)]);
    let right = Script::new("b", vec![nitrate("Alder", "2024-03-04", 5.0), nitrate("Alder", "2024-03-11", 8.0)]);
    let mut history = History::default().version(1, left).version(2, right);
    let current = history.fold();
    assert_eq!(
        values(&current),
        [
            ("alder|2024-03-04|nitrate|1".to_owned(), 5.0, false),
            ("alder|2024-03-11|nitrate|1".to_owned(), 6.0, true),
            ("alder|2024-03-11|nitrate|2".to_owned(), 8.0, true)
        ]
    );
    // The first place stands in the row, the second log's beside it.
    let sources: Vec<i64> = current
        .sources
        .iter()
        .filter(|source| source.key == "alder|2024-03-04|nitrate|1")
        .map(|source| source.upload)
        .collect();
    assert_eq!((current.readings["alder|2024-03-04|nitrate|1"].upload_id, sources), (1, vec![2]));
    assert_eq!(current.disagreements.len(), 1);
    assert_eq!(current.disagreements[0].logs, (1, 2));
    assert_eq!(current.disagreements[0].disputes.len(), 1);

    history.preferences = Preferences::from([((1, 2), Preference::Both)]);
    let both = history.fold();
    assert_eq!(values(&both).iter().filter(|(.., disputed)| *disputed).count(), 0);
    assert_eq!(both.readings["alder|2024-03-11|nitrate|2"].flags, ["replicate"]);
    history.preferences = Preferences::from([((1, 2), Preference::Log(2))]);
    assert_eq!(
        values(&history.fold()),
        [("alder|2024-03-04|nitrate|1".to_owned(), 5.0, false), ("alder|2024-03-11|nitrate|1".to_owned(), 8.0, false)]
    );
}

#[test]
fn one_more_test_in_one_log_is_no_contradiction() {
    let left = Script::new("a", vec![nitrate("Alder", "2024-03-04", 8.0), nitrate("Alder", "2024-03-04", 8.4)]);
    let right = Script::new("b", vec![nitrate("Alder", "2024-03-04", 8.4)]);
    let current = History::default().version(1, left).version(2, right).fold();
    assert_eq!(values(&current).len(), 2);
    assert!(current.disagreements.is_empty());
    assert!(values(&current).iter().all(|(.., disputed)| !disputed));
}

#[test]
fn an_edit_stands_whatever_is_imported_after_it() {
    let first = Script::new("w", vec![nitrate("Alder", "2024-03-04", 50.0)]);
    let grown = Script::new("w", vec![nitrate("Alder", "2024-03-04", 50.0), nitrate("Alder", "2024-03-11", 6.0)]);
    let history = History::default().version(1, first).edit(nitrate("Alder", "2024-03-04", 5.0)).version(1, grown);
    assert_eq!(plain(&history.fold()).iter().map(|(_, value)| *value).collect::<Vec<_>>(), [5.0, 6.0]);
    assert_eq!(plain(&history.without(1).fold()).iter().map(|(_, value)| *value).collect::<Vec<_>>(), [50.0, 6.0]);
}

#[test]
fn a_row_that_no_longer_says_the_end_takes_it_back_and_a_diary_does_not() {
    let first = Script::new(
        "r",
        vec![
            in_row(specimen("C1", "Alder", "2024-01-10"), 3),
            in_row(died("C1", "2024-04-01"), 3),
            in_row(specimen("C2", "Alder", "2024-01-12"), 4),
            in_row(died("C2", "2024-04-02"), 20),
        ],
    );
    let second = Script::new(
        "r",
        vec![
            in_row(specimen("C1", "Alder", "2024-01-10"), 3),
            in_row(seen("C1", "2024-06-01", "register"), 3),
            in_row(specimen("C2", "Alder", "2024-01-12"), 4),
        ],
    )
    .true_on("2024-06-01");
    let current = History::default().version(1, first).version(1, second).fold();
    assert_eq!(current.endings.keys().collect::<Vec<_>>(), ["c2"]);
    assert_eq!(current.sightings.len(), 1);
}

#[test]
fn an_open_row_of_an_earlier_list_gives_way_to_an_end_before_it() {
    let first = Script::new("r", vec![specimen("C1", "Alder", "2024-01-10"), seen("C1", "2024-06-01", "register")])
        .true_on("2024-06-01");
    let second =
        Script::new("r", vec![specimen("C1", "Alder", "2024-01-10"), died("C1", "2024-05-20")]).true_on("2024-07-01");
    let history = History::default().version(1, first).version(1, second);
    let current = history.fold();
    assert!(current.sightings.is_empty());
    assert!(!current.sources.iter().any(|source| source.key.contains("2024-06-01")));
    assert_eq!(current.endings["c1"].latest, day("2024-05-20"));
    assert_eq!(history.without(1).fold().sightings.len(), 1);
}

#[test]
fn a_death_without_a_day_lies_between_the_last_sign_of_life_and_the_lists_day() {
    let script = Script::new(
        "r",
        vec![
            specimen("C1", "Alder", "2024-01-10"),
            seen("C1", "2024-03-02", "look"),
            sized("C1", "2024-03-20", 40.0, false),
            ended("C1", Some(Fate::Died), None, None),
        ],
    )
    .true_on("2024-06-01");
    let current = History::default().version(1, script.clone()).fold();
    let ending = &current.endings["c1"];
    assert_eq!((ending.earliest, ending.latest), (day("2024-03-20"), day("2024-06-01")));
    assert!(ending.date_held);
    // The next copy still does not know the day: the first list that reported it bounds it.
    let again = History::default().version(1, script.clone()).version(1, script.true_on("2024-07-01")).fold();
    assert_eq!(again.endings["c1"].latest, day("2024-06-01"));
}

#[test]
fn a_roll_call_finds_the_dead_between_two_looks() {
    let list = Script::new("r", vec![specimen("C1", "Alder", "2024-01-10"), specimen("C2", "Alder", "2024-01-10")])
        .true_on("2024-02-01");
    let first = Script::new("", vec![seen("C1", "2024-03-01", "roll_call"), seen("C2", "2024-03-01", "roll_call")]);
    let second = Script::new(
        "",
        vec![ended("C1", Some(Fate::Died), None, Some("2024-03-15")), seen("C2", "2024-03-15", "roll_call")],
    );
    let current = History::default().version(1, list).roll_call(first).roll_call(second).fold();
    let ending = &current.endings["c1"];
    assert_eq!((ending.earliest, ending.latest), (day("2024-03-01"), day("2024-03-15")));
    assert_eq!(current.sightings.len(), 3);
}

#[test]
fn a_settled_fact_outlasts_a_later_log_that_leaves_it_in_question() {
    let settled = Script::new("a", vec![specimen("C1", "Alder", "2024-01-10"), died("C1", "2024-04-01")]);
    let open = Script::new(
        "b",
        vec![
            held(with(specimen("c1", "Alder", "2024-01-10"), |row| row.taxon = None), HeldFact::Taxon),
            ended("c1", None, None, None),
        ],
    );
    for history in [
        History::default().version(1, settled.clone()).version(2, open.clone()),
        History::default().version(2, open.clone()).version(1, settled.clone()),
    ] {
        let current = history.fold();
        assert_eq!(current.specimens["c1"].held, []);
        assert_eq!(current.specimens["c1"].taxon, Some("goniopora"));
        assert_eq!(current.endings["c1"].fate, Some("died"));
    }
    let alone = History::default().version(2, open).fold();
    assert_eq!(alone.specimens["c1"].held, [HeldFact::Taxon]);
    // Without any day in the file or beside it an end has no bounds; an upload always has the day it was read.
    assert_eq!(alone.endings["c1"].latest, day("2024-01-10"));
}

#[test]
fn a_name_written_in_a_later_version_was_not_known_at_purchase() {
    let species = TaxonSlug::parse("goniopora-stokesi").expect("a species");
    let first = Script::new("r", vec![specimen("C1", "Alder", "2023-01-10")]).true_on("2023-02-01");
    let second = Script::new("r", vec![with(specimen("C1", "Alder", "2023-01-10"), |row| row.taxon = Some(species))])
        .true_on("2024-02-01");
    let history = History::default().version(1, first).version(1, second);
    let current = history.fold();
    let names: Vec<(Option<chrono::NaiveDate>, &str)> =
        current.identifications.values().map(|name| (name.on_day, name.taxon)).collect();
    assert_eq!(names, [(Some(day("2024-02-01")), "goniopora-stokesi"), (None, "goniopora")]);
    assert_eq!(current.specimens["c1"].taxon, Some("goniopora-stokesi"));
    let dated = History::default()
        .version(
            1,
            Script::new(
                "r",
                vec![specimen("C1", "Alder", "2023-01-10"), named("C1", "goniopora-stokesi", "2023-09-01")],
            ),
        )
        .fold();
    assert_eq!(dated.specimens["c1"].taxon, Some("goniopora-stokesi"));
    assert_eq!(dated.identifications.len(), 2);
}

#[test]
fn a_specimen_is_in_one_tank_at_a_time() {
    let script = Script::new(
        "r",
        vec![
            specimen("C1", "Alder", "2024-01-10"),
            moved("C1", "Birch", "2024-03-01"),
            moved("C1", "Cedar", "2024-05-01"),
        ],
    );
    let current = History::default().version(1, script).fold();
    let stays: Vec<(&str, Option<String>, Option<String>)> = current
        .stays
        .values()
        .map(|stay| {
            let text = |day: Option<chrono::NaiveDate>| day.map(|day| day.to_string());
            (stay.tank.as_str(), text(stay.from_day), text(stay.to_day))
        })
        .collect();
    let some = |text: &str| Some(text.to_owned());
    assert_eq!(
        stays,
        [
            ("birch", some("2024-03-01"), some("2024-05-01")),
            ("cedar", some("2024-05-01"), None),
            ("alder", some("2024-01-10"), some("2024-03-01"))
        ]
    );
    assert_eq!(current.tanks.keys().collect::<Vec<_>>(), ["alder", "birch", "cedar"]);
}

#[test]
fn a_light_reading_at_a_corals_spot_is_in_the_tank_it_stands_in() {
    let spot = |on: &str| match reading("x", "par", on, 120.0) {
        Record::Reading(mut reading) => {
            reading.tank = None;
            reading.specimen = Some("C1".to_owned());
            Record::Reading(reading)
        }
        other => other,
    };
    let script = Script::new(
        "r",
        vec![
            specimen("C1", "Alder", "2024-01-10"),
            moved("C1", "Birch", "2024-03-01"),
            spot("2024-02-01"),
            spot("2024-03-01"),
            spot("2023-12-01"),
        ],
    );
    let current = History::default().version(1, script).fold();
    let tanks: Vec<&str> = current.readings.values().map(|reading| reading.tank.as_str()).collect();
    assert_eq!(tanks, ["alder", "birch"]);
    assert_eq!(current.unplaced.iter().map(|waiting| waiting.missing).collect::<Vec<_>>(), [Missing::Tank]);
}

#[test]
fn what_is_said_of_an_unknown_specimen_waits_for_it() {
    let diary = Script::new("d", vec![seen("C1", "2024-03-01", "look"), died("C1", "2024-04-01")]);
    let register = Script::new("r", vec![specimen("C1", "Alder", "2024-01-10")]);
    let history = History::default().version(1, diary).version(2, register);
    let current = history.fold();
    assert!(current.unplaced.is_empty());
    assert_eq!((current.sightings.len(), current.endings.len()), (1, 1));
    let without = history.without(1).fold();
    assert_eq!((without.sightings.len(), without.endings.len()), (0, 0));
    assert_eq!(without.unplaced.len(), 2);
    assert!(without.unplaced.iter().all(|waiting| waiting.missing == Missing::Specimen));
}

#[test]
fn sizes_after_a_cut_begin_a_new_segment() {
    let script = Script::new(
        "r",
        vec![
            specimen("C1", "Alder", "2024-01-10"),
            sized("C1", "2024-02-01", 40.0, false),
            event("Alder", Some("C1"), "cut", "2024-03-01"),
            sized("C1", "2024-03-05", 25.0, false),
            sized("C1", "2024-04-05", 22.0, true),
        ],
    );
    let current = History::default().version(1, script).fold();
    assert_eq!(current.sizings.values().map(|size| size.segment).collect::<Vec<_>>(), [0, 1, 2]);
}

#[test]
fn cuttings_share_the_line_of_their_oldest_mother() {
    let daughter = |label: &str, mother: &str| {
        with(specimen(label, "Alder", "2024-02-10"), |row| row.parent = Some(mother.to_owned()))
    };
    let script = Script::new(
        "r",
        vec![
            specimen("M", "Alder", "2024-01-10"),
            daughter("D1", "m"),
            daughter("D2", "D1"),
            daughter("X", "Y"),
            daughter("Y", "X"),
            with(daughter("Z", "nobody"), |row| row.line = Some("KT-7".to_owned())),
        ],
    );
    let current = History::default().version(1, script).fold();
    let lines: BTreeMap<&str, &str> =
        current.specimens.iter().map(|(key, row)| (key.as_str(), row.lineage.as_str())).collect();
    assert_eq!(
        lines,
        BTreeMap::from([("d1", "m"), ("d2", "m"), ("m", "m"), ("x", "x"), ("y", "x"), ("z", "line:kt-7")])
    );
    assert_eq!(current.specimens["z"].parent, None);
}

#[test]
fn a_log_shows_deaths_from_the_day_it_is_complete() {
    let rows = || {
        vec![
            specimen("C1", "Alder", "2022-01-10"),
            specimen("C2", "Alder", "2024-01-10"),
            with(specimen("C3", "Alder", "2022-01-10"), |row| row.acquired = None),
        ]
    };
    let observed = |script: Script| {
        let current = History::default().version(1, script).fold();
        let days: Vec<Option<chrono::NaiveDate>> =
            ["c1", "c2", "c3"].map(|key| current.specimens[key].observed_from).to_vec();
        (days, current.specimens["c1"].entry_assumed)
    };
    let mut answered = Script::new("r", rows()).from("2022-01-10");
    answered.about.complete_since = Some(day("2023-06-01"));
    let days = |first: &str, second: &str, third: &str| vec![Some(day(first)), Some(day(second)), Some(day(third))];
    assert_eq!(observed(answered), (days("2023-06-01", "2024-01-10", "2023-06-01"), false));
    let unanswered = Script::new("r", rows()).from("2022-01-10");
    assert_eq!(observed(unanswered), (days("2022-01-10", "2024-01-10", "2022-01-10"), true));
}

#[test]
fn after_dont_know_versions_show_from_when_entries_were_prompt() {
    let version = |labels: &[(&str, &str)], as_of: &str| {
        let rows = labels.iter().map(|(label, acquired)| specimen(label, "Alder", acquired)).collect();
        let mut script = Script::new("r", rows).from("2021-05-01").true_on(as_of);
        script.about.complete_since_unknown = true;
        script
    };
    let old = [("C1", "2021-05-01"), ("C2", "2022-08-01")];
    let grown = [old[0], old[1], ("C3", "2023-01-20"), ("C4", "2023-03-01")];
    let later = [grown[0], grown[1], grown[2], grown[3], ("C5", "2023-06-05")];
    let history = History::default().version(1, version(&old, "2023-01-10")).version(1, version(&grown, "2023-03-10"));
    assert_eq!(history.fold().logs[&1].prompt_since, None, "one prompt entry shows nothing yet");
    let current = history.version(1, version(&later, "2023-06-10")).fold();
    assert_eq!(current.logs[&1].prompt_since, Some(day("2023-03-01")));
    assert_eq!(current.specimens["c1"].observed_from, Some(day("2023-03-01")));
    assert!(!current.specimens["c1"].entry_assumed);
}

#[test]
fn the_kit_in_use_that_day_goes_with_a_reading() {
    let script = Script::new(
        "w",
        vec![
            kit("drops", None, None),
            kit("photometer", Some("Alder"), Some("2024-03-01")),
            nitrate("Alder", "2024-02-01", 5.0),
            nitrate("Alder", "2024-03-01", 5.0),
            nitrate("Birch", "2024-03-01", 5.0),
        ],
    );
    let current = History::default().version(1, script).fold();
    let kits: Vec<Option<&str>> = current.readings.values().map(|reading| reading.instrument.as_deref()).collect();
    assert_eq!(kits, [Some("*|nitrate|drops"), Some("alder|nitrate|photometer"), Some("*|nitrate|drops")]);
}

#[test]
fn names_with_marks_of_keys_stay_apart() {
    let script = Script::new(
        "w",
        vec![
            nitrate("a|b", "2024-03-04", 1.0),
            nitrate("a", "2024-03-04", 2.0),
            nitrate("@a", "2024-03-04", 3.0),
            nitrate("*", "2024-03-04", 4.0),
        ],
    );
    let current = History::default().version(1, script).fold();
    assert_eq!(current.readings.len(), 4);
    assert_eq!(current.tanks.len(), 4);
}

// ── Laws ───────────────────────────────────────────────────────────────────────────────────────────────────

fn any_day() -> impl Strategy<Value = String> {
    (1_u32..=12).prop_map(|at| format!("2024-{at:02}-05"))
}

fn any_record() -> impl Strategy<Value = Record> {
    let tank_name = prop::sample::select(vec!["Alder", "alder ", "Birch"]);
    let label = || prop::sample::select(vec!["C1", "c1", "C2", "C3"]);
    prop_oneof![
        4 => (tank_name.clone(), any_day(), 1_u8..4).prop_map(|(tank, on, value)| nitrate(tank, &on, f64::from(value))),
        3 => (label(), tank_name.clone(), any_day()).prop_map(|(label, tank, on)| specimen(label, tank, &on)),
        1 => (label(), tank_name.clone(), any_day()).prop_map(|(label, tank, on)| moved(label, tank, &on)),
        2 => (label(), any_day(), prop::sample::select(vec!["register", "look"])).prop_map(|(label, on, source)| seen(label, &on, source)),
        1 => (label(), any_day(), prop::bool::ANY).prop_map(|(label, on, cut)| sized(label, &on, 10.0, cut)),
        1 => (label(), any_day()).prop_map(|(label, on)| died(label, &on)),
        1 => label().prop_map(|label| ended(label, Some(Fate::Died), None, None)),
        1 => label().prop_map(|label| ended(label, None, None, None)),
        1 => (label(), any_day()).prop_map(|(label, on)| named(label, "goniopora-stokesi", &on)),
        1 => (tank_name.clone(), any_day()).prop_map(|(tank, on)| habit(tank, "water_change", 1.0, &on)),
        1 => (tank_name, label(), any_day()).prop_map(|(tank, label, on)| event(tank, Some(label), "cut", &on)),
    ]
}

fn any_script() -> impl Strategy<Value = Script> {
    (prop::collection::vec(any_record(), 0..14), any_day())
        .prop_map(|(records, as_of)| Script::new("s", records).true_on(&as_of).from("2024-01-05"))
}

fn any_history() -> impl Strategy<Value = History> {
    let step = prop_oneof![
        6 => (1_i64..=3, any_script(), prop::bool::weighted(0.2)).prop_map(|(log, script, replaces)| (Some(log), false, replaces, script)),
        1 => any_script().prop_map(|script| (None, false, false, script)),
        1 => any_record().prop_map(|record| (None, true, false, Script { records: vec![record], ..Script::default() })),
    ];
    (prop::collection::vec(step, 1..7), prop::option::of(0_usize..4)).prop_map(|(uploads, preference)| {
        let preferences = match preference {
            Some(0) => Preferences::from([((1, 2), Preference::Both)]),
            Some(1) => Preferences::from([((1, 2), Preference::Log(1))]),
            Some(2) => Preferences::from([((1, 2), Preference::Log(2)), ((2, 3), Preference::Log(2))]),
            _ => Preferences::new(),
        };
        History { uploads, preferences }
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(400))]

    /// What the database's rules ask for holds for every history.
    #[test]
    fn rows_fit_the_tables(history in any_history()) {
        let current = history.fold();
        let mut moments = std::collections::BTreeSet::new();
        for row in current.readings.values() {
            prop_assert!(current.tanks.contains_key(&row.tank));
            let moment = (row.tank.clone(), row.taken_on, row.parameter, row.taken_time, row.specimen.clone(), row.ordinal);
            prop_assert!(moments.insert(moment));
        }
        type Days = (Option<chrono::NaiveDate>, Option<chrono::NaiveDate>);
        let mut stays: BTreeMap<&str, Vec<Days>> = BTreeMap::new();
        for stay in current.stays.values() {
            prop_assert!(current.tanks.contains_key(&stay.tank) && current.specimens.contains_key(&stay.specimen));
            prop_assert!(stay.from_day.is_none() || stay.to_day.is_none() || stay.from_day < stay.to_day);
            stays.entry(&stay.specimen).or_default().push((stay.from_day, stay.to_day));
        }
        for days in stays.values_mut() {
            days.sort();
            for pair in days.windows(2) {
                prop_assert!(pair[0].1.is_some() && pair[0].1 <= pair[1].0);
            }
        }
        for (key, ending) in &current.endings {
            prop_assert!(current.specimens.contains_key(key));
            prop_assert!(ending.earliest <= ending.latest && ending.earliest >= day("2000-01-01"));
        }
        let specimens = current.sightings.values().map(|row| &row.specimen)
            .chain(current.sizings.values().map(|row| &row.specimen))
            .chain(current.identifications.values().map(|row| &row.specimen));
        for specimen in specimens {
            prop_assert!(current.specimens.contains_key(specimen));
        }
    }

    /// Every row says where it is written, and every source belongs to a row.
    #[test]
    fn sources_and_rows_belong_together(history in any_history()) {
        let current = history.fold();
        for source in current.sources.iter().filter(|source| source.kind.as_str() == "reading") {
            let row = &current.readings[&source.key];
            prop_assert!((row.upload_id, row.log_id) != (source.upload, source.log) || row.log_id.is_none());
        }
        let sourced: std::collections::BTreeSet<&str> =
            current.sources.iter().filter(|source| source.kind.as_str() == "sighting").map(|source| source.key.as_str()).collect();
        let rows: std::collections::BTreeSet<&str> = current.sightings.keys().map(String::as_str).collect();
        prop_assert_eq!(sourced, rows);
    }

    /// Nothing of a file is lost: a record has a row, waits with a reason, or repeats a fact that stands once.
    #[test]
    fn every_record_of_one_file_is_somewhere(script in any_script()) {
        let current = History::default().version(1, script.clone()).fold();
        let outcome = read("script", &script.bytes(), &importer::context::Context::default());
        let placed: std::collections::BTreeSet<u32> = current.sources.iter().map(|source| source.row)
            .chain(current.readings.values().map(|row| row.row_number))
            .chain(current.unplaced.iter().map(|waiting| waiting.source.row)).collect();
        use importer::fold::key::{Kind, slot};
        let rows_of = |wanted: &Record| -> Vec<u32> {
            let alike = |record: &&Record| Kind::of(record) == Kind::of(wanted) && slot(record) == slot(wanted);
            outcome.records.iter().filter(alike).map(|record| record.place().row).collect()
        };
        for record in &outcome.records {
            let rows = if Kind::of(record).repeats() { vec![record.place().row] } else { rows_of(record) };
            // An open row after the end that the same list gives is no sign of life.
            let overruled = importer::fold::version::is_register_sighting(record);
            prop_assert!(overruled || rows.iter().any(|row| placed.contains(row)), "{record:?}");
        }
    }

    /// Sending the last file of a log again changes no row.
    #[test]
    fn a_file_twice_is_a_file_once(history in any_history()) {
        let Some((log, .., script)) = history.uploads.iter().rev().find(|(log, ..)| log.is_some()).cloned() else { return Ok(()) };
        let again = history.clone().version(log.unwrap_or(1), script);
        let (once, twice) = (history.fold(), again.fold());
        // Sent again the log is the one heard last, which decides between logs that contradict each other.
        if history.uploads.iter().filter(|(_, edit, ..)| !edit).all(|(other, ..)| *other == log) {
            prop_assert_eq!(once.readings, twice.readings);
            prop_assert_eq!(once.specimens, twice.specimens);
            prop_assert_eq!(once.endings, twice.endings);
            prop_assert_eq!(once.stays, twice.stays);
            prop_assert_eq!(once.sightings, twice.sightings);
        }
    }

    /// A question about a death's day never makes a dead coral a living one.
    #[test]
    fn an_open_day_never_lowers_the_number_of_deaths(script in any_script()) {
        let deaths = |script: Script| {
            let current = History::default().version(1, script).fold();
            current.endings.values().filter(|ending| ending.fate == Some("died")).count()
        };
        let mut questioned = script.clone();
        for record in &mut questioned.records {
            if let Record::Ending(ending) = record && ending.fate.is_some() {
                (ending.earliest, ending.latest, ending.written_day, ending.date_held) = (None, None, false, true);
            }
        }
        prop_assert_eq!(deaths(script), deaths(questioned));
    }
}
