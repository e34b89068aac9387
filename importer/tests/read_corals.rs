//! Registers and diaries: fates, days that wait, names, labels, the day on which a list is true.

#[path = "support/coral_logs.rs"]
mod coral_logs;

use coral_logs::{day, deaths, ending, given, keys, known, read_with, sightings, sizes, specimen};
use importer::context::Context;
use importer::read::read;
use importer::record::{HeldFact, Record};
use serde_json::{Value, json};

const HEAD: &str = "Label,Species,Acquired,Ended,What became of it\n";

#[test]
fn questioning_the_day_of_a_death_never_loses_the_death() {
    let certain = "A,Goniopora stokesi,2023-01-14,2024-02-15,died\n";
    for questioned in [
        "A,Goniopora stokesi,2023-01-14,,died\n",
        "A,Goniopora stokesi,2023-01-14,last winter,died\n",
        "A,Goniopora stokesi,2023-01-14,03/04/2024,died\n",
        "A,Goniopora stokesi,2023-01-14,30/02/2024,died\n",
        "A,Goniopora stokesi,2023-01-14,2027-02-15,died\n",
        "A,Goniopora stokesi,2023-01-14,2022-02-15,died\n",
        "A,Goniopora stokesi,2023-01-14,15/02,died\n",
        "A,Goniopora stokesi,2023-01-14,?,died\n",
        "A,Goniopora stokesi,2023-01-14,45337,died\n",
        "A,Goniopora stokesi,2023-01-14,#REF!,died\n",
        "A,Goniopora stokesi,2023-01-14,before 2024,died\n",
    ] {
        let rest = "B,Goniopora stokesi,2023-02-16,,\n";
        let outcome = read_with(&format!("{HEAD}{certain}{rest}"), &[]);
        assert_eq!(deaths(&outcome), 1);
        let outcome = read_with(&format!("{HEAD}{questioned}{rest}"), &[]);
        assert_eq!(deaths(&outcome), 1, "{questioned}");
        let ending = ending(&outcome, "A").unwrap();
        if let (Some(earliest), Some(latest)) = (ending.earliest, ending.latest) {
            assert!(earliest <= latest, "{questioned}");
        }
        assert!(sightings(&outcome, "A").is_empty(), "{questioned}: a dead coral seen alive");
    }
}

#[test]
fn an_open_row_is_alive_on_the_day_of_the_list() {
    let rows = "A,Goniopora stokesi,2023-01-14,,\nB,Goniopora stokesi,2023-02-16,2024-05-06,died\n";
    let outcome = read_with(&format!("Corals as of 2024-09-30\n{HEAD}{rows}"), &[]);
    assert_eq!(outcome.about.as_of, Some(day("2024-09-30")));
    assert_eq!(sightings(&outcome, "A")[0].on, day("2024-09-30"));
    assert!(outcome.findings.iter().all(|finding| !finding.code.starts_with("as_of")));
    let outcome = read_with(&format!("{HEAD}{rows}"), &[]);
    assert_eq!(outcome.about.as_of, Some(day("2024-05-06")));
    assert!(outcome.findings.iter().any(|finding| finding.code == "as_of_assumed"));
    let told = Context { as_of: Some(day("2024-12-01")), ..Context::default() };
    let outcome = read("log.csv", format!("{HEAD}{rows}").as_bytes(), &told);
    assert_eq!(sightings(&outcome, "A")[0].on, day("2024-12-01"));
}

#[test]
fn a_list_without_a_day_is_asked_and_loads_without_that_sighting() {
    let log = "Label,Species,Origin,Status\nA,Goniopora stokesi,wild,\nB,Acropora tenuis,frag swap,\n";
    let outcome = read_with(log, &[]);
    assert!(keys(&outcome).contains(&"as_of_missing"), "{:?}", keys(&outcome));
    assert!(sightings(&outcome, "A").is_empty());
    let outcome = read_with(log, &[("as_of_missing", "day", Some(json!("2024-09-30")))]);
    assert_eq!(sightings(&outcome, "A")[0].on, day("2024-09-30"));
}

#[test]
fn completeness_and_losses_are_asked_once() {
    let log = format!("{HEAD}A,Goniopora stokesi,2023-01-14,,\n");
    let outcome = read_with(&log, &[]);
    assert_eq!(keys(&outcome), ["complete_since_missing", "no_losses_listed"]);
    assert_eq!(outcome.about.losses_listed, None);
    let answers = [("complete_since_missing", "day", Some(json!("2022-06-01"))), ("no_losses_listed", "no", None)];
    let outcome = read_with(&log, &answers);
    assert!(keys(&outcome).is_empty());
    assert_eq!((outcome.about.complete_since, outcome.about.losses_listed), (Some(day("2022-06-01")), Some(false)));
    let outcome = read_with(&log, &[("complete_since_missing", "dont_know", None), ("no_losses_listed", "yes", None)]);
    assert!(outcome.about.complete_since_unknown);
    assert_eq!(outcome.about.losses_listed, Some(true));
    let known = Context { complete_since_answered: true, ..Context::default() };
    let outcome = read("log.csv", log.as_bytes(), &known);
    assert_eq!(keys(&outcome), ["no_losses_listed"]);
}

#[test]
fn a_word_that_may_mean_anything_is_asked_once() {
    let log = format!(
        "{HEAD}A,Goniopora stokesi,2023-01-14,2024-02-15,gone\nB,Goniopora stokesi,2023-01-14,2024-03-15,gone\n"
    );
    let outcome = read_with(&log, &[("complete_since_missing", "dont_know", None)]);
    assert_eq!(keys(&outcome), ["fate_word_unclear:gone"]);
    assert_eq!(specimen(&outcome, "A").held, [HeldFact::Fate]);
    assert_eq!(ending(&outcome, "A").unwrap().fate, None);
    let outcome = read_with(&log, &[("fate_word_unclear:gone", "left", None)]);
    assert_eq!(ending(&outcome, "B").unwrap().fate, Some(analysis::vocabulary::Fate::Left));
    assert!(specimen(&outcome, "A").held.is_empty());
    let differs = ("fate_word_unclear:gone", "differs", None);
    let outcome = read_with(&log, std::slice::from_ref(&differs));
    assert!(keys(&outcome).contains(&"fate_word_unclear:gone:a"));
    let outcome = read_with(&log, &[differs, ("fate_word_unclear:gone:a", "died", None)]);
    assert_eq!(deaths(&outcome), 1);
}

#[test]
fn the_header_may_say_the_fate() {
    let log = "Label,Species,Bought,Died\nA,Goniopora stokesi,2023-01-14,2024-02-15\n";
    assert_eq!(deaths(&read_with(log, &[])), 1);
    let log = "Label,Species,Bought,Gone\nA,Goniopora stokesi,2023-01-14,2024-02-15\n";
    let outcome = read_with(log, &[]);
    assert!(keys(&outcome).contains(&"fate_word_unclear:gone"), "{:?}", keys(&outcome));
}

#[test]
fn days_the_wrong_way_round() {
    let log = format!("{HEAD}A,Goniopora stokesi,2024-02-15,2023-01-14,died\n");
    let key = "end_before_start:a";
    let outcome = read_with(&log, &[]);
    assert!(keys(&outcome).contains(&key));
    assert_eq!((deaths(&outcome), specimen(&outcome, "A").held.as_slice()), (1, [HeldFact::Acquired].as_slice()));
    let outcome = read_with(&log, &[(key, "swap", None)]);
    let end = ending(&outcome, "A").unwrap();
    assert_eq!(
        (specimen(&outcome, "A").acquired.unwrap().earliest, end.latest),
        (Some(day("2023-01-14")), Some(day("2024-02-15")))
    );
    let outcome = read_with(&log, &[(key, "gone", None)]);
    let end = ending(&outcome, "A").unwrap();
    assert_eq!((end.earliest, end.latest, end.date_held), (Some(day("2024-02-15")), None, true));
    let outcome = read_with(&log, &[(key, "got", None)]);
    assert_eq!(specimen(&outcome, "A").acquired, None);
    assert!(specimen(&outcome, "A").held.is_empty());
}

#[test]
fn names() {
    let row = |name: &str| format!("{HEAD}A,{name},2023-01-14,2024-02-15,died\n");
    let taxon = |name: &str| specimen(&read_with(&row(name), &[]), "A").taxon.map(|taxon| taxon.as_str());
    assert_eq!(taxon("Goniopora stokesi"), Some("goniopora-stokesi"));
    assert_eq!(taxon("goniopora sp."), Some("goniopora"));
    assert_eq!(taxon("Gonipora stokesi"), Some("goniopora-stokesi"));
    assert_eq!(taxon("torch"), Some("euphyllia-glabrescens"));
    assert_eq!(taxon("flowerpot"), None);
    let outcome = read_with(&row("flowerpot"), &[]);
    assert!(keys(&outcome).contains(&"name_ambiguous:flowerpot"), "{:?}", keys(&outcome));
    let outcome = read_with(&row("flowerpot"), &[("name_ambiguous:flowerpot", "alveopora", None)]);
    assert_eq!(specimen(&outcome, "A").taxon.map(|taxon| taxon.as_str()), Some("alveopora"));
    let outcome = read_with(&row("blorptastic"), &[]);
    assert!(keys(&outcome).contains(&"name_unknown:blorptastic"));
    let outcome = read_with(&row("blorptastic"), &[("name_unknown:blorptastic", "genus", Some(json!("acropora")))]);
    assert_eq!(specimen(&outcome, "A").taxon.map(|taxon| taxon.as_str()), Some("acropora"));
    let outcome = read_with(&row("clownfish"), &[("name_unknown:clownfish", "not_a_coral", None)]);
    assert!(outcome.records.iter().all(|record| !matches!(record, Record::Specimen(_) | Record::Ending(_))));
}

#[test]
fn labels() {
    let log = format!("{HEAD}A,Goniopora stokesi,2023-01-14,,\nA,Acropora tenuis,2023-05-14,,\n");
    let outcome = read_with(&log, &[]);
    assert!(keys(&outcome).contains(&"label_twice:a"));
    assert!(outcome.records.iter().all(|record| !matches!(record, Record::Specimen(_))));
    let outcome = read_with(&log, &[("label_twice:a", "two", None)]);
    assert_eq!(specimen(&outcome, "A 2023-05-14").taxon.map(|taxon| taxon.as_str()), Some("acropora-tenuis"));
    // Without labels a name is one; a second coral of that name gets its day.
    let log = "Species,Acquired\nAcropora tenuis,2023-01-14\nAcropora tenuis,2023-05-14\n";
    let outcome = read_with(log, &[]);
    specimen(&outcome, "Acropora tenuis");
    specimen(&outcome, "Acropora tenuis 2023-05-14");
}

#[test]
fn sizes_of_a_diary() {
    let log = "Date,Coral,What,Reading\n2024-01-07,Goni 1,dia,3.2 cm\n2024-01-21,Goni 1,dia,34\n2024-01-21,Cap,across,2 1/2 in\n\
               2024-02-18,Cap,across,65 mm\n2024-03-03,Cap,across,fragged today\n2024-03-03,Cap,across,4.1 cm\n2024-03-03,Hammer,heads,3\n";
    let read_answered = |answers: &[(&str, &str, Option<Value>)]| {
        read("log.csv", log.as_bytes(), &Context { answers: given(answers), ..known() })
    };
    let outcome = read_answered(&[]);
    assert_eq!(keys(&outcome), ["size_basis_missing", "size_unit_missing:reading"]);
    let found: Vec<_> = sizes(&outcome)
        .iter()
        .map(|s| (s.specimen.as_str(), s.value, s.unit.as_str(), s.basis.as_str(), s.after_cut))
        .collect();
    assert_eq!(
        found,
        [
            ("Cap", 63.5, "mm", "not_said", false),
            ("Cap", 65.0, "mm", "not_said", false),
            ("Cap", 41.0, "mm", "not_said", true),
            ("Hammer", 3.0, "1", "heads", false),
        ]
    );
    let cut = outcome.records.iter().any(|record| matches!(record, Record::Event(event) if event.event == "cut" && event.specimen.as_deref() == Some("Cap")));
    assert!(cut);
    let outcome = read_answered(&[("size_basis_missing", "skeleton", None), ("size_unit_missing:reading", "mm", None)]);
    let goni: Vec<_> =
        sizes(&outcome).iter().filter(|s| s.specimen == "Goni 1").map(|s| (s.value, s.basis.clone())).collect();
    assert_eq!(goni, [(32.0, "skeleton".to_owned()), (34.0, "skeleton".to_owned())]);
    let outcome = read_answered(&[("size_basis_missing", "dont_know", None)]);
    assert!(sizes(&outcome).iter().any(|s| s.specimen == "Goni 1" && s.basis == "not_said"));
}

#[test]
fn a_diary_may_tell_of_a_death() {
    let log = "Date,Coral,Notes\n2024-01-07,Cap,open and growing\n2024-05-06,Cap,found dead\n";
    let outcome = read("log.csv", log.as_bytes(), &known());
    let end = ending(&outcome, "Cap").unwrap();
    assert_eq!((end.latest, end.written_day), (Some(day("2024-05-06")), true));
    assert_eq!(sightings(&outcome, "Cap").len(), 1);
}

#[test]
fn an_unknown_coral_is_asked_about_once() {
    let log = "Date,Coral,Diameter mm\n2024-01-07,Kap,32\n2024-02-07,Kap,34\n";
    let outcome = read("log.csv", log.as_bytes(), &known());
    assert_eq!(keys(&outcome), ["coral_unknown:kap"]);
    let answers = given(&[("coral_unknown:kap", "coral", Some(json!("Cap")))]);
    let outcome = read("log.csv", log.as_bytes(), &Context { answers, ..known() });
    assert!(sizes(&outcome).iter().all(|size| size.specimen == "Cap") && sizes(&outcome).len() == 2);
    let answers = given(&[("coral_unknown:kap", "new", None)]);
    let outcome = read("log.csv", log.as_bytes(), &Context { answers, ..known() });
    specimen(&outcome, "Kap");
    assert_eq!(sizes(&outcome).len(), 2);
}

#[test]
fn one_column_of_corals_names_them() {
    for header in ["Coral", "Frag", "Colony", "Specimen", "Piece", "Label"] {
        let log =
            format!("{header},Bought,Died\nMontipora digitata,2024-02-03,\nGoniopora red 1,2024-02-03,2024-09-01\n");
        let outcome = read_with(&log, &[]);
        let taxon = |label| specimen(&outcome, label).taxon.map(|taxon| taxon.as_str());
        assert_eq!(taxon("Montipora digitata"), Some("montipora-digitata"), "{header}");
        assert_eq!(taxon("Goniopora red 1"), Some("goniopora"), "{header}");
    }
}

#[test]
fn a_word_in_the_column_of_ends_is_no_death_of_its_own() {
    let log = "Coral,Bought,Died,Notes\n\
        Alveopora,2024-02-01,still alive,\n\
        Montipora digitata,2024-02-01,no,\n\
        Lobophyllia,2024-02-01,present,\n\
        Acropora millepora,2024-02-01,2024-09-01,\n\
        Goniopora stokesi,2024-02-01,2024-08-01,\n\
        Seriatopora hystrix,2024-02-01,sold,\n\
        Catalaphyllia jardinei,2024-02-01,yes,\n\
        Euphyllia ancora,2024-02-01,2024-08-03,\n\
        Zoanthus,2024-02-01,2024-08-05,\n";
    let outcome = read_with(log, &[]);
    for living in ["Alveopora", "Montipora digitata", "Lobophyllia"] {
        assert!(ending(&outcome, living).is_none(), "{living}");
        assert_eq!(sightings(&outcome, living)[0].status, "alive", "{living}");
    }
    let fate = |label| ending(&outcome, label).and_then(|ending| ending.fate).map(|fate| fate.as_str());
    assert_eq!(fate("Seriatopora hystrix"), Some("left"));
    assert_eq!(fate("Catalaphyllia jardinei"), Some("died"));
    assert!(ending(&outcome, "Catalaphyllia jardinei").is_some_and(|ending| ending.date_held));
    assert!(!keys(&outcome).iter().any(|key| key.starts_with("date_unreadable")), "{:?}", keys(&outcome));
    assert_eq!(deaths(&outcome), 5);
}

#[test]
fn a_sign_beside_the_day_of_a_death_is_how_it_died() {
    for (what, manner) in [("Cause", "brown jelly"), ("Why", "brown jelly"), ("Cause", "RTN"), ("What happened", "RTN")]
    {
        let log = format!("Coral,Bought,Died,{what}\nGoniopora stokesi,2024-02-03,2024-09-01,{manner}\n");
        let outcome = read_with(&log, &[]);
        let ending = ending(&outcome, "Goniopora stokesi").unwrap_or_else(|| panic!("{what}"));
        assert_eq!(ending.fate.map(|fate| fate.as_str()), Some("died"), "{what} {manner}: {:?}", keys(&outcome));
        let how = if manner == "RTN" { "rapid_loss" } else { "brown_jelly" };
        assert_eq!(ending.manner, [how], "{what}");
    }
    // A column that does not say "died" leaves the word open.
    let outcome = read_with("Coral,Bought,Gone,What happened\nGoniopora stokesi,2024-02-03,2024-09-01,RTN\n", &[]);
    assert!(keys(&outcome).contains(&"fate_word_unclear:RTN"), "{:?}", keys(&outcome));
}
