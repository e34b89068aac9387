//! Registers and diaries: fates, days that wait, names, labels, the day on which a list is true.

use chrono::NaiveDate;
use importer::context::{Context, KnownSpecimen, Outcome};
use importer::finding::{Answer, Severity};
use importer::read::read;
use importer::record::{Ending, HeldFact, Record, Sighting, Sizing, Specimen};
use serde_json::{Value, json};

const HEAD: &str = "Label,Species,Acquired,Ended,What became of it\n";

fn day(text: &str) -> NaiveDate {
    text.parse().unwrap()
}

fn read_with(log: &str, answers: &[(&str, &str, Option<Value>)]) -> Outcome {
    read(
        "log.csv",
        log.as_bytes(),
        &Context { today: Some(day("2025-01-01")), answers: given(answers), ..Context::default() },
    )
}

fn given(answers: &[(&str, &str, Option<Value>)]) -> Vec<Answer> {
    answers
        .iter()
        .map(|(key, choice, value)| Answer { key: (*key).into(), choice: (*choice).into(), value: value.clone() })
        .collect()
}

fn specimen<'o>(outcome: &'o Outcome, label: &str) -> &'o Specimen {
    outcome
        .records
        .iter()
        .find_map(|record| match record {
            Record::Specimen(specimen) if specimen.label == label => Some(specimen),
            _ => None,
        })
        .unwrap_or_else(|| panic!("no {label}"))
}

fn ending<'o>(outcome: &'o Outcome, label: &str) -> Option<&'o Ending> {
    outcome.records.iter().find_map(|record| match record {
        Record::Ending(ending) if ending.specimen == label => Some(ending),
        _ => None,
    })
}

fn sightings<'o>(outcome: &'o Outcome, label: &str) -> Vec<&'o Sighting> {
    outcome
        .records
        .iter()
        .filter_map(|record| match record {
            Record::Sighting(sighting) if sighting.specimen == label => Some(sighting),
            _ => None,
        })
        .collect()
}

fn sizes(outcome: &Outcome) -> Vec<&Sizing> {
    outcome
        .records
        .iter()
        .filter_map(|record| match record {
            Record::Sizing(sizing) => Some(sizing),
            _ => None,
        })
        .collect()
}

fn deaths(outcome: &Outcome) -> usize {
    let died = Some(analysis::vocabulary::Fate::Died);
    outcome.records.iter().filter(|record| matches!(record, Record::Ending(ending) if ending.fate == died)).count()
}

fn keys(outcome: &Outcome) -> Vec<&str> {
    let open = outcome.findings.iter().filter(|finding| finding.severity == Severity::Questioned);
    open.map(|finding| finding.key.as_str()).collect()
}

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

fn known() -> Context {
    let coral = |label: &str, taxon: &str| KnownSpecimen {
        label: label.to_owned(),
        taxon: analysis::vocabulary::TaxonSlug::parse(taxon),
        tank: None,
        alive: true,
        ended: None,
    };
    Context {
        today: Some(day("2025-01-01")),
        keeper_known: true,
        specimens: vec![
            coral("Goni 1", "goniopora"),
            coral("Cap", "montipora-capricornis"),
            coral("Hammer", "fimbriaphyllia-ancora"),
        ],
        ..Context::default()
    }
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

/// A table of tests with rows about corals, in the words of a language: date, tank, coral, observation, size, remark; open,
/// closed, dead; what was done twice.
const DIARIES: [[&str; 11]; 5] = [
    [
        "Date",
        "Tank",
        "Coral",
        "Observation",
        "Base diameter",
        "Notes",
        "wide open",
        "retracted",
        "died",
        "water change",
        "carbon changed",
    ],
    [
        "Datum",
        "Becken",
        "Koralle",
        "Beobachtung",
        "Basisdurchmesser",
        "Notiz",
        "weit offen",
        "eingezogen",
        "gestorben",
        "Wasserwechsel",
        "Kohle gewechselt",
    ],
    [
        "Date",
        "Bac",
        "Corail",
        "Observation",
        "Diamètre de la base",
        "Remarques",
        "bien ouvert",
        "rétracté",
        "mort",
        "changement d'eau",
        "charbon changé",
    ],
    [
        "Fecha",
        "Acuario",
        "Coral",
        "Observación",
        "Diámetro de la base",
        "Notas",
        "muy abierto",
        "retraído",
        "murió",
        "cambio de agua",
        "carbón cambiado",
    ],
    [
        "Datum",
        "Bak",
        "Koraal",
        "Waarneming",
        "Doorsnede voet",
        "Opmerking",
        "helemaal open",
        "ingetrokken",
        "doodgegaan",
        "waterverversing",
        "kool vervangen",
    ],
];

#[test]
fn a_table_of_tests_may_tell_of_corals_in_five_languages() {
    for [date, tank, coral, looks, size, notes, open, closed, died, change, carbon] in DIARIES {
        let log = format!(
            "{date};{tank};{coral};{looks};{size};NO3 (mg/l);PO4 (mg/l);{notes}\n\
             2024-01-07;Reef;;;;5;0.04;\n;;Cap;{open};31 mm;;;\n;;;{change};;;;\n\
             2024-01-21;Reef;;;;6;0.05;\n;;Cap;{closed};33mm;;;\n;;Hammer;{open};;;;\n;;;{carbon};;;;\n\
             2024-02-04;Reef;;;;5;0.04;\n;;Cap;{died};;;;\n"
        );
        let outcome = read("log.csv", log.as_bytes(), &known());
        assert_eq!(keys(&outcome), [""; 0], "{coral}");
        let looked: Vec<_> = sightings(&outcome, "Cap").iter().map(|look| (look.on, look.status.as_str())).collect();
        assert_eq!(looked, [(day("2024-01-07"), "open"), (day("2024-01-21"), "off")], "{coral}");
        assert_eq!(sightings(&outcome, "Hammer").len(), 1, "{coral}");
        let measured: Vec<_> = sizes(&outcome).iter().map(|size| (size.value, size.basis.as_str())).collect();
        assert_eq!(measured, [(31.0, "base"), (33.0, "base")], "{coral}");
        assert_eq!(ending(&outcome, "Cap").and_then(|end| end.latest), Some(day("2024-02-04")), "{coral}");
        let done: Vec<_> = outcome
            .records
            .iter()
            .filter_map(|record| match record {
                Record::Event(event) => Some((event.event.as_str(), event.tank.as_deref(), event.specimen.as_deref())),
                _ => None,
            })
            .collect();
        assert_eq!(done, [("water_change", Some("Reef"), None), ("carbon", Some("Reef"), None)], "{coral}");
        let tests = outcome.records.iter().filter(|record| matches!(record, Record::Reading(_))).count();
        assert_eq!(tests, 6, "{coral}");
    }
}

#[test]
fn a_death_without_a_day_lies_between_the_last_look_and_the_end_of_the_diary() {
    for log in [
        "Date,Coral,Look\n2024-01-07,Cap,open\n2024-02-07,Cap,closed\n?,Cap,dead\n2024-05-01,Hammer,open\n",
        "Date,Coral,Look\n?,Cap,dead\n2024-01-07,Cap,open\n2024-02-07,Cap,closed\n2024-05-01,Hammer,open\n",
        "Date,Coral,Look,NO3,PO4\n2024-01-07,Cap,open,,\n2024-02-07,Cap,closed,,\n?,Cap,dead,,\n2024-05-01,,,5,0.04\n",
    ] {
        let outcome = read("log.csv", log.as_bytes(), &known());
        let end = ending(&outcome, "Cap").expect("a certain death loads");
        assert_eq!((end.earliest, end.latest), (Some(day("2024-02-07")), Some(day("2024-05-01"))), "{log}");
        assert!(end.date_held);
        assert!(keys(&outcome).contains(&"death_without_date:cap"), "{:?}", keys(&outcome));
        let answers = given(&[("death_without_date:cap", "day", Some(json!("2024-03-03")))]);
        let outcome = read("log.csv", log.as_bytes(), &Context { answers, ..known() });
        assert_eq!(ending(&outcome, "Cap").and_then(|end| end.earliest), Some(day("2024-03-03")));
    }
}

#[test]
fn words_of_a_diary_are_read_asked_about_or_remarks() {
    // Under a header that says nothing, words that are mostly looks are looks.
    let log = "Date,Coral,Today\n2024-01-07,Cap,open\n2024-01-14,Cap,closed\n2024-01-21,Cap,sulking\n";
    let outcome = read("log.csv", log.as_bytes(), &known());
    assert_eq!(keys(&outcome), ["look_word_unclear:sulking"]);
    assert_eq!(sightings(&outcome, "Cap").len(), 2);
    for (choice, seen) in [("off", 3), ("alive", 3), ("remark", 2), ("leave_out", 2)] {
        let answers = given(&[("look_word_unclear:sulking", choice, None)]);
        let outcome = read("log.csv", log.as_bytes(), &Context { answers, ..known() });
        assert_eq!((keys(&outcome).len(), sightings(&outcome, "Cap").len()), (0, seen), "{choice}");
    }
    let answers = given(&[("look_word_unclear:sulking", "dead", None)]);
    let outcome = read("log.csv", log.as_bytes(), &Context { answers, ..known() });
    assert_eq!(ending(&outcome, "Cap").and_then(|end| end.latest), Some(day("2024-01-21")));
    // A sentence under a header of looks is asked about once for the column, under one of remarks it is a remark.
    for (header, asked) in [("Condition", 1), ("Observations", 0)] {
        let log = format!(
            "Date,Coral,{header}\n2024-01-07,Cap,open\n2024-01-14,Cap,closed\n2024-01-21,Cap,a little weaker than it was last week\n\
             2024-01-28,Cap,the crab sits on it most of the day\n"
        );
        let outcome = read("log.csv", log.as_bytes(), &known());
        assert_eq!(keys(&outcome).len(), asked, "{header}: {:?}", keys(&outcome));
    }
    // An end is not lost in a second column of remarks, nor told twice.
    let log = "Date,Coral,Observations,Comment\n2024-01-07,Cap,all polyps out today,\n2024-01-14,Cap,no polyps left,found dead\n\
               2024-01-21,Hammer,dead,nothing but bare skeleton\n";
    let outcome = read("log.csv", log.as_bytes(), &known());
    assert_eq!(deaths(&outcome), 2, "{:?}", keys(&outcome));
    // Under a header of remarks that holds more than looks, short words are remarks too; what nobody saw is no sign of life.
    let log = "Date,Coral,Notes\n2024-01-07,Cap,open\n2024-01-14,Cap,closed\n2024-01-21,Cap,new spot\n2024-01-28,Cap,not seen\n";
    let outcome = read("log.csv", log.as_bytes(), &known());
    assert_eq!((keys(&outcome), sightings(&outcome, "Cap").len()), (vec![], 2));
    // A name may be a keeper's.
    let log = "Date,Name,KH,NO3,Notes\n2024-01-07,Ada,8.1,5,ok\n2024-01-14,Bo,8.0,5,good\n2024-01-21,Ada,8.2,6,fine\n";
    let outcome = read("log.csv", log.as_bytes(), &known());
    assert_eq!(keys(&outcome), [""; 0]);
    // The cause of a death may stand in a remark beside it.
    let log = "Date,Coral,Look,Notes\n2024-01-07,Cap,open,\n2024-01-14,Cap,dead,heater stuck on\n";
    let outcome = read("log.csv", log.as_bytes(), &known());
    assert_eq!(ending(&outcome, "Cap").and_then(|end| end.cause.clone()).as_deref(), Some("heater"));
    // Looks of a coral that no column names are asked about.
    let log = "Date,KH,NO3,Polyps\n2024-01-07,8.1,5,open\n2024-01-14,8.0,5,closed\n";
    let outcome = read("log.csv", log.as_bytes(), &known());
    assert_eq!(keys(&outcome), ["column_unknown:polyps"]);
    // A count says what it counts under a header of sizes.
    let log = "Date,Coral,Size\n2024-01-07,Hammer,3 heads\n2024-01-14,Cap,4 cm\n";
    let outcome = read("log.csv", log.as_bytes(), &known());
    let measured: Vec<_> = sizes(&outcome).iter().map(|size| (size.measure.as_str(), size.value)).collect();
    assert_eq!(measured, [("head_count", 3.0), ("max_diameter", 40.0)]);
    // What happened, among looks, is no look.
    let log = "Date,Event,Coral\n2024-01-07,open,Cap\n2024-01-14,closed,Cap\n2024-01-21,cleaned the glass,\n2024-01-28,fed,\n";
    let outcome = read("log.csv", log.as_bytes(), &known());
    assert_eq!((keys(&outcome), sightings(&outcome, "Cap").len()), (vec![], 2));
    // A look without a coral waits for its name.
    let log = "Date,Coral,Condition,NO3,PO4\n2024-01-07,,,5,0.04\n2024-01-07,Cap,open,,\n2024-01-14,,retracted,,\n2024-01-14,Cap,open,,\n";
    let outcome = read("log.csv", log.as_bytes(), &known());
    assert_eq!(keys(&outcome), ["coral_unknown:row 4"]);
}

#[test]
fn a_list_may_have_a_column_for_each_way_to_leave_in_five_languages() {
    for (species, got, died, ways) in [
        ("Species", "Bought", "Died", ["Given away", "Sold", "Swapped", "Returned", "Date given away"]),
        (
            "Art",
            "Gekauft am",
            "Gestorben",
            ["Verschenkt", "Verkauft am", "Getauscht am", "Zurückgegeben", "Abgegeben am"],
        ),
        ("Espèce", "Acheté le", "Mort le", ["Donné le", "Vendu", "Échangé le", "Rendu le", "Date de vente"]),
        ("Especie", "Comprado", "Murió", ["Regalado", "Vendido el", "Intercambiado", "Devuelto", "Fecha de venta"]),
        ("Soort", "Gekocht", "Gestorven", ["Weggegeven", "Verkocht op", "Geruild", "Teruggebracht", "Datum verkoop"]),
    ] {
        for way in ways {
            let log = format!(
                "Nr,{species},{got},{died},{way}\n1,Goniopora stokesi,2023-01-14,2023-08-20,\n\
                 2,Pavona cactus,2023-02-14,,2024-03-02\n3,Acropora tenuis,2023-03-14,,\n"
            );
            let outcome = read_with(&log, &[("complete_since_missing", "dont_know", None)]);
            assert_eq!(keys(&outcome), [""; 0], "{way}");
            let end = |label| ending(&outcome, label).map(|end| (end.fate.map(|fate| fate.as_str()), end.latest));
            assert_eq!(end("1"), Some((Some("died"), Some(day("2023-08-20")))), "{way}");
            assert_eq!(end("2"), Some((Some("left"), Some(day("2024-03-02")))), "{way}");
            assert_eq!(end("3"), None, "{way}");
        }
    }
}

#[test]
fn two_ends_in_one_row_are_asked_about() {
    let log = "No,Species,Bought,Died,Sold\n1,Pavona cactus,2023-02-14,2024-01-02,2024-03-02\n";
    let open = ("complete_since_missing", "dont_know", None);
    let outcome = read_with(log, std::slice::from_ref(&open));
    assert_eq!(keys(&outcome), ["fate_contradicts:1"]);
    assert_eq!(ending(&outcome, "1").unwrap().fate, None);
    for (choice, fate, on) in [("died", "died", "2024-01-02"), ("left", "left", "2024-03-02")] {
        let outcome = read_with(log, &[open.clone(), ("fate_contradicts:1", choice, None)]);
        let end = ending(&outcome, "1").unwrap();
        assert_eq!((end.fate.unwrap().as_str(), end.latest), (fate, Some(day(on))));
    }
    // Ticks beside one column of days.
    let log = "No,Species,Bought,Out,Died,Sold\n1,Pavona cactus,2023-02-14,2024-01-02,x,\n2,Acropora tenuis,2023-02-14,2024-02-02,,x\n\
               3,Acropora tenuis,2023-02-15,,,\n";
    let outcome = read_with(log, std::slice::from_ref(&open));
    assert_eq!(keys(&outcome), [""; 0]);
    let fate = |label| ending(&outcome, label).map(|end| (end.fate.unwrap().as_str(), end.latest));
    assert_eq!(fate("1"), Some(("died", Some(day("2024-01-02")))));
    assert_eq!(fate("2"), Some(("left", Some(day("2024-02-02")))));
}

#[test]
fn sizes_of_a_list_are_of_the_day_it_came_or_of_the_day_of_the_list() {
    let list = |header: &str| {
        format!(
            "Corals as of 2024-09-30\n\nNo,Species,Bought,Died,{header}\n1,Pavona cactus,2023-02-14,,41 mm\n\
             2,Acropora tenuis,2023-03-14,2024-01-02,3.5 cm\n"
        )
    };
    let open = ("complete_since_missing", "dont_know", None);
    let of = |outcome: &Outcome| -> Vec<(String, f64, NaiveDate)> {
        sizes(outcome).iter().map(|size| (size.specimen.clone(), size.value, size.on)).collect()
    };
    let got = [("1".to_owned(), 41.0, day("2023-02-14")), ("2".to_owned(), 35.0, day("2023-03-14"))];
    let now = [("1".to_owned(), 41.0, day("2024-09-30"))];
    for header in [
        "Diameter when bought",
        "Durchmesser bei Kauf",
        "Diamètre à l'achat",
        "Diámetro al comprar",
        "Doorsnede bij aankoop",
        "Size when got",
        "Kaufgröße",
    ] {
        let outcome = read_with(&list(header), std::slice::from_ref(&open));
        assert_eq!((of(&outcome).as_slice(), keys(&outcome).len()), (got.as_slice(), 0), "{header}");
        assert_eq!(specimen(&outcome, "1").size_mm, Some(41.0), "{header}");
    }
    for header in ["Diameter now", "Aktueller Durchmesser", "Diamètre actuel", "Diámetro actual", "Huidige doorsnede"]
    {
        let outcome = read_with(&list(header), std::slice::from_ref(&open));
        assert_eq!((of(&outcome).as_slice(), keys(&outcome).len()), (now.as_slice(), 0), "{header}");
        assert_eq!(specimen(&outcome, "1").size_mm, None, "{header}");
    }
    let outcome = read_with(&list("Diameter"), std::slice::from_ref(&open));
    assert_eq!((of(&outcome).len(), keys(&outcome)), (0, vec!["column_unknown:diameter"]));
    for (choice, expected) in [("size_when_got", got.as_slice()), ("size_now", now.as_slice())] {
        let outcome = read_with(&list("Diameter"), &[open.clone(), ("column_unknown:diameter", choice, None)]);
        assert_eq!((of(&outcome).as_slice(), keys(&outcome).len()), (expected, 0), "{choice}");
    }
    // A length without its unit is asked about, in whatever column of sizes.
    for header in ["Size", "Diameter when bought"] {
        let log = format!(
            "No,Species,Bought,Died,{header}\n1,Pavona cactus,2023-02-14,,41\n2,Acropora tenuis,2023-03-14,2024-01-02,35\n"
        );
        let key = format!("size_unit_missing:{}", header.to_lowercase());
        let outcome = read_with(&log, std::slice::from_ref(&open));
        assert_eq!(keys(&outcome), [key.as_str()]);
        let outcome = read_with(&log, &[open.clone(), (&key, "mm", None)]);
        assert_eq!((keys(&outcome).len(), specimen(&outcome, "1").size_mm), (0, Some(41.0)));
    }
}
