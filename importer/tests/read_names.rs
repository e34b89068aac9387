//! Names of kinds, tanks and corals: what is read, what is asked, once for all alike, and what is never joined or split
//! without a question.

use chrono::NaiveDate;
use importer::context::{Context, KnownSpecimen, KnownTank, Outcome};
use importer::finding::{Answer, Finding, Severity};
use importer::read::read;
use importer::record::{HeldFact, Record, Specimen};
use proptest::prelude::*;
use serde_json::{Value, json};

const HEAD: &str = "Label,Species,Acquired,Ended,What became of it\n";

fn day(text: &str) -> NaiveDate {
    text.parse().unwrap()
}

/// A keeper's tanks, and corals as (label, taxon).
fn keeper(tanks: &[&str], corals: &[(&str, &str)]) -> Context {
    Context {
        today: Some(day("2025-01-01")),
        keeper_known: true,
        tanks: tanks.iter().map(|name| KnownTank { name: (*name).to_owned(), aliases: Vec::new() }).collect(),
        specimens: corals
            .iter()
            .map(|(label, taxon)| KnownSpecimen {
                label: (*label).to_owned(),
                taxon: analysis::vocabulary::TaxonSlug::parse(taxon),
                tank: None,
                alive: true,
                ended: None,
            })
            .collect(),
        ..Context::default()
    }
}

fn answered(log: &str, context: &Context, answers: &[(&str, &str, Option<Value>)]) -> Outcome {
    let answers = answers
        .iter()
        .map(|(key, choice, value)| Answer { key: (*key).into(), choice: (*choice).into(), value: value.clone() })
        .collect();
    read("log.csv", log.as_bytes(), &Context { answers, ..context.clone() })
}

fn questions<'o>(outcome: &'o Outcome, code: &str) -> Vec<&'o Finding> {
    outcome.findings.iter().filter(|finding| finding.code == code).collect()
}

fn keys(outcome: &Outcome) -> Vec<&str> {
    let about_the_list = ["complete_since_missing", "no_losses_listed", "as_of_missing"];
    outcome
        .findings
        .iter()
        .filter(|finding| finding.severity == Severity::Questioned && !about_the_list.contains(&finding.code.as_str()))
        .map(|finding| finding.key.as_str())
        .collect()
}

fn choices(finding: &Finding) -> Vec<&str> {
    finding.choices.iter().map(|choice| choice.code.as_str()).collect()
}

fn specimens(outcome: &Outcome) -> Vec<&Specimen> {
    let each = outcome.records.iter().filter_map(|record| match record {
        Record::Specimen(specimen) => Some(specimen),
        _ => None,
    });
    each.collect()
}

fn taxa(outcome: &Outcome) -> Vec<Option<&str>> {
    specimens(outcome).iter().map(|specimen| specimen.taxon.map(|taxon| taxon.as_str())).collect()
}

/// A list with one coral a name.
fn list(names: &[&str]) -> String {
    let rows: Vec<String> =
        names.iter().zip(1..).map(|(name, at)| format!("C{at:02},\"{name}\",2023-01-{at:02},,\n")).collect();
    format!("{HEAD}{}", rows.concat())
}

#[test]
fn one_question_for_all_spellings_of_a_name() {
    let log = list(&["flowerpot", "Flowerpot coral", "green flower pot", "flowerpots (red)", "Margeritenkoralle"]);
    let outcome = answered(&log, &Context::default(), &[]);
    assert_eq!(keys(&outcome), ["name_ambiguous:flowerpot"]);
    assert_eq!(questions(&outcome, "name_ambiguous")[0].cells.len(), 5);
    assert!(specimens(&outcome).iter().all(|specimen| specimen.held == [HeldFact::Taxon]));
    let outcome = answered(&log, &Context::default(), &[("name_ambiguous:flowerpot", "alveopora", None)]);
    assert_eq!(taxa(&outcome), [Some("alveopora"); 5]);
    assert!(questions(&outcome, "look_alike").is_empty(), "it was chosen by its character");
    // "Don't know" is the group and no more.
    let outcome = answered(&log, &Context::default(), &[("name_ambiguous:flowerpot", "dont_know", None)]);
    assert_eq!(taxa(&outcome), [Some("flo"); 5]);
    // Another list of another form asks by the same key.
    let other = "Coral;Bought;Died\nred flowerpot;2024-02-03;\nTorch;2024-02-04;\n";
    assert_eq!(keys(&answered(other, &Context::default(), &[])), ["name_ambiguous:flowerpot"]);

    let log = list(&["Zorblax quendii", "zorblax quendi", "Zorblax quendii frag #2", "small Zorblax quendii"]);
    let outcome = answered(&log, &Context::default(), &[]);
    assert_eq!(keys(&outcome), ["name_unknown:zorblax quendii"]);
    let answer = [("name_unknown:zorblax quendii", "taxon", Some(json!("leptastrea")))];
    assert_eq!(taxa(&answered(&log, &Context::default(), &answer)), [Some("leptastrea"); 4]);
}

#[test]
fn near_names_are_offered_by_nearness_and_by_what_is_kept() {
    // Too far to be read, near enough to be offered.
    let log = list(&["Muntepura"]);
    let first = |context: &Context| -> String {
        let outcome = answered(&log, context, &[]);
        let asked = questions(&outcome, "name_unknown");
        assert_eq!(asked.len(), 1, "{:?}", keys(&outcome));
        assert!(choices(asked[0]).ends_with(&["taxon", "not_a_coral", "leave_out", "dont_know"]));
        choices(asked[0])[0].to_owned()
    };
    assert_eq!(first(&Context::default()), "montipora");
    assert_eq!(first(&keeper(&[], &[("Cap", "montipora-capricornis")])), "montipora-capricornis");
    let club = Context {
        club_taxa: analysis::vocabulary::TaxonSlug::parse("montipora-danae").into_iter().collect(),
        ..Context::default()
    };
    let outcome = answered(&log, &club, &[]);
    let offered = questions(&outcome, "name_unknown")[0].clone();
    assert!(choices(&offered)[..3].contains(&"montipora-danae"), "{:?}", choices(&offered));
}

#[test]
fn a_name_and_a_trade_name_in_two_columns() {
    let read_pair = |name: &str, trade: &str| {
        let log = format!("Label,Species,Trade name,Acquired\nC01,{name},{trade},2023-01-14\n");
        let outcome = answered(&log, &Context::default(), &[]);
        let taxon = specimens(&outcome)[0].taxon.map(|taxon| taxon.as_str());
        (taxon, keys(&outcome).into_iter().map(str::to_owned).collect::<Vec<_>>())
    };
    let settled = |name, trade, taxon| assert_eq!(read_pair(name, trade), (Some(taxon), vec![]), "{name} / {trade}");
    settled("Goniopora sp.", "flowerpot", "goniopora");
    settled("Acropora sp.", "milli", "acropora-millepora");
    settled("Euphyllia", "torch", "euphyllia-glabrescens");
    settled("Euphyllia", "wall hammer", "fimbriaphyllia-ancora");
    settled("flowerpot", "Alveopora", "alveopora");
    let asked =
        |name, trade, key: &str| assert_eq!(read_pair(name, trade), (None, vec![key.to_owned()]), "{name} / {trade}");
    // A hammer went by Euphyllia: the genus as written is no torch.
    asked("Euphyllia", "hammer", "name_ambiguous:hammer");
    asked("Acropora", "torch", "name_unknown:acropora torch");
}

#[test]
fn doubts_about_a_name_are_its_confidence() {
    let log = list(&["Goniopora stokesi?", "Acropora cf. millepora", "maybe Alveopora", "Goniopora stokesi"]);
    let outcome = answered(&log, &Context::default(), &[]);
    let found: Vec<_> =
        specimens(&outcome).iter().map(|one| (one.taxon.unwrap().as_str(), one.confidence.as_deref())).collect();
    assert_eq!(
        found,
        [
            ("goniopora-stokesi", Some("guess")),
            ("acropora", Some("guess")),
            ("alveopora", Some("guess")),
            ("goniopora-stokesi", Some("certain"))
        ]
    );
    assert!(keys(&outcome).is_empty());
}

#[test]
fn look_alikes_are_pointed_out_once_a_pair() {
    let log =
        list(&["Goniopora stokesi", "Goniopora", "Alveopora sp.", "Acropora tenuis", "torch", "torch", "Goniopora"]);
    let outcome = answered(&log, &Context::default(), &[]);
    let notes = questions(&outcome, "look_alike");
    let pairs: Vec<&str> = notes.iter().map(|note| note.key.split(' ').next().unwrap()).collect();
    assert_eq!(pairs, ["look_alike:goniopora", "look_alike:fimbriaphyllia-ancora"]);
    assert!(notes.iter().all(|note| note.severity == Severity::Noted && note.choices.is_empty()));
    assert!(
        notes[0].message.contains("24 tentacles") && notes[0].message.contains("12 tentacles"),
        "{}",
        notes[0].message
    );
    assert_eq!(notes[0].cells.len(), 4);
    // A count of tentacles backs the name, or contradicts it.
    let backed = answered(&list(&["Goniopora, 24 tentacles"]), &Context::default(), &[]);
    assert!(questions(&backed, "look_alike").is_empty() && keys(&backed).is_empty());
    for (name, asks) in
        [("Goniopora, 12 tentacles", true), ("Alveopora 24 tentacles", true), ("Alveopora, 12 tentacles", false)]
    {
        let outcome = answered(&list(&[name]), &Context::default(), &[]);
        assert_eq!(keys(&outcome).contains(&"name_contradicts:c01"), asks, "{name}: {:?}", keys(&outcome));
    }
}

fn reading_tanks(outcome: &Outcome) -> Vec<String> {
    let tank = |record: &Record| match record {
        Record::Reading(reading) => reading.tank.clone(),
        _ => None,
    };
    outcome.records.iter().filter_map(tank).collect()
}

fn tests_of(tanks: &[&str]) -> String {
    let rows: Vec<String> =
        tanks.iter().zip(10..).map(|(tank, at)| format!("2024-03-{at},\"{tank}\",8.{}\n", at % 10)).collect();
    format!("Date,Tank,KH (dKH)\n{}", rows.concat())
}

#[test]
fn a_near_tank_is_asked_about_by_the_pair() {
    for (written, known, proposes) in [
        ("Adler", "Alder", true),
        ("Alders", "Alder", true),
        ("Tank1", "Tank 1", true),
        ("T1", "Tank 1", true),
        ("Becken 1", "Tank 1", true),
        ("Alder tank", "Alder", true),
        ("Big Alder tank", "Alder", false),
        ("Réef", "Reef", true),
    ] {
        let context = keeper(&[known, "Quarry"], &[]);
        let log = tests_of(&[written, written]);
        let outcome = answered(&log, &context, &[]);
        let asked = questions(&outcome, "tank_name_near");
        assert_eq!((asked.len(), reading_tanks(&outcome).len()), (1, 0), "{written}");
        assert_eq!(
            asked[0].proposed.as_ref().map(|answer| answer.choice.as_str()),
            proposes.then_some("one"),
            "{written}"
        );
        let key = asked[0].key.clone();
        assert_eq!(reading_tanks(&answered(&log, &context, &[(&key, "one", None)])), [known, known]);
        assert_eq!(reading_tanks(&answered(&log, &context, &[(&key, "two", None)])), [written, written]);
        // The answer is about these two: another tank nearer by is another question.
        let nearer = keeper(&[written.trim_end_matches('s'), known], &[]);
        let outcome = answered(&tests_of(&[written]), &nearer, &[(&key, "one", None)]);
        assert!(
            reading_tanks(&outcome).iter().all(|tank| tank == written || known == "Alder" && tank == known),
            "{written}"
        );
    }
    // Numbers and letters tell tanks apart.
    for (written, known) in [("Tank 2", "Tank 1"), ("Reef B", "Reef A"), ("Alder 2", "Alder"), ("Brook", "Alder")] {
        let outcome = answered(&tests_of(&[written]), &keeper(&[known], &[]), &[]);
        assert_eq!(reading_tanks(&outcome), [written]);
    }
    // Two near ones: which is meant is the question.
    let context = keeper(&["Alder", "Elder"], &[]);
    let outcome = answered(&tests_of(&["Older"]), &context, &[]);
    let asked = questions(&outcome, "tank_name_near")[0].clone();
    assert_eq!((choices(&asked)[..3].to_vec(), asked.proposed.clone()), (vec!["one", "tank", "two"], None));
    let outcome = answered(&tests_of(&["Older"]), &context, &[(&asked.key, "tank", Some(json!("Elder")))]);
    assert_eq!(reading_tanks(&outcome), ["Elder"]);
}

#[test]
fn names_near_within_one_file_are_asked_about_too() {
    let context = keeper(&[], &[]);
    let log = tests_of(&["Alder", "Aldr", "Alder ", "ALDER", "Brook"]);
    let outcome = answered(&log, &context, &[]);
    assert_eq!(keys(&outcome), ["tank_name_near:aldr = alder"]);
    assert_eq!(reading_tanks(&outcome), ["Alder", "Alder", "Alder", "Brook"]);
    let context = Context { tank: Some("Quary".to_owned()), ..keeper(&["Quarry"], &[]) };
    let outcome = answered("Date,KH (dKH)\n2024-03-14,8.2\n", &context, &[]);
    assert_eq!((keys(&outcome), reading_tanks(&outcome).len()), (vec!["tank_name_near:quary = quarry"], 0));
}

fn measured(outcome: &Outcome) -> Vec<&str> {
    let each = outcome.records.iter().filter_map(|record| match record {
        Record::Sizing(sizing) => Some(sizing.specimen.as_str()),
        _ => None,
    });
    each.collect()
}

fn diary(names: &[&str]) -> String {
    let rows: Vec<String> = names.iter().zip(10..).map(|(name, at)| format!("2024-03-{at},{name},{at}\n")).collect();
    format!("Date,Coral,Heads\n{}", rows.concat())
}

#[test]
fn a_diary_offers_the_living_corals_that_fit() {
    let corals = [
        ("Goni 1", "goniopora"),
        ("Goni 2", "goniopora"),
        ("Cap", "montipora-capricornis"),
        ("Hammer", "fimbriaphyllia-ancora"),
        ("C07", "catalaphyllia-jardinei"),
    ];
    let context = keeper(&[], &corals);
    for (written, first, proposed) in [
        ("Goni1", "Goni 1", Some("Goni 1")),
        ("goniopora 1", "Goni 1", Some("Goni 1")),
        ("hammer (left)", "Hammer", Some("Hammer")),
        ("elegance", "C07", Some("C07")),
        ("Catalaphyllia jardinei", "C07", Some("C07")),
        ("Montipora capricornis", "Cap", Some("Cap")),
        ("Goniopora", "Goni 1", None),
        ("Goniopora 3", "Goni 1", None),
        ("Kap", "Cap", None),
        ("Qwert 9", "coral", None),
    ] {
        let log = diary(&[written, written]);
        let outcome = answered(&log, &context, &[]);
        let asked = questions(&outcome, "coral_unknown");
        assert_eq!((asked.len(), measured(&outcome).len()), (1, 0), "{written}");
        assert_eq!(choices(asked[0])[0], first, "{written}: {:?}", asked[0].choices);
        assert_eq!(asked[0].proposed.as_ref().map(|answer| answer.choice.as_str()), proposed, "{written}");
        if first != "coral" {
            let outcome = answered(&log, &context, &[(&asked[0].key, first, None)]);
            assert_eq!(measured(&outcome), [first, first], "{written}");
        }
    }
    // A coral that only the diary names may bear a name of several kinds: that is asked as everywhere.
    let outcome = answered(&diary(&["Frogspawn 2"]), &context, &[("coral_unknown:frogspawn 2", "new", None)]);
    assert_eq!(keys(&outcome), ["name_ambiguous:frogspawn"]);
}

#[test]
fn a_label_is_used_again_only_after_its_coral_ended() {
    let of = |rows: &str| answered(&format!("{HEAD}{rows}"), &Context::default(), &[]);
    let outcome = of("A,Acropora tenuis,2022-01-14,2023-02-01,died\nA,Acropora tenuis,2023-05-14,,\n");
    assert!(keys(&outcome).is_empty(), "{:?}", keys(&outcome));
    assert_eq!(specimens(&outcome).iter().map(|one| one.label.as_str()).collect::<Vec<_>>(), ["A", "A 2023-05-14"]);
    for rows in [
        "A,Acropora tenuis,2022-01-14,2023-06-01,died\nA,Acropora tenuis,2023-05-14,,\n",
        "A,Acropora tenuis,2022-01-14,2023-02-01,died\nA,Acropora tenuis,,,\n",
        "A,Acropora tenuis,2022-01-14,,died\nA,Acropora tenuis,2023-05-14,,\n",
        "A,Acropora tenuis,2022-01-14,,\nA,Goniopora,2023-05-14,,\n",
    ] {
        assert!(keys(&of(rows)).contains(&"label_twice:a"), "{rows}: {:?}", keys(&of(rows)));
    }
}

#[test]
fn a_label_of_a_coral_that_had_ended_is_a_new_coral() {
    let mut context = keeper(&[], &[("A", "acropora-tenuis")]);
    context.specimens[0].alive = false;
    context.specimens[0].ended = Some(day("2023-02-01"));
    let label = |row: &str| {
        let outcome = answered(&format!("{HEAD}{row}"), &context, &[]);
        assert!(keys(&outcome).iter().all(|key| *key == "end_before_start:a"), "{row}: {:?}", keys(&outcome));
        specimens(&outcome)[0].label.clone()
    };
    assert_eq!(label("A,Acropora tenuis,2023-05-14,,\n"), "A 2023-05-14");
    assert_eq!(label("A,Acropora tenuis,2022-05-14,2023-02-01,died\n"), "A");
    assert_eq!(label("A,Acropora tenuis,2022-05-14,,\n"), "A");
    assert_eq!(label("A,Acropora tenuis,2023-05-14,2023-02-01,died\n"), "A", "its days are in the wrong order");
}

#[test]
fn labels_that_differ_in_signs_are_one_question() {
    let log = "Label,Species,Acquired\nC-01,Acropora tenuis,2023-01-14\nC-02,Goniopora,2023-01-15\n\
               C01,Acropora tenuis,2023-01-14\nC02,Goniopora,2023-01-15\nC03,Goniopora,2023-01-16\n";
    let outcome = answered(log, &Context::default(), &[]);
    let asked = questions(&outcome, "label_twice");
    assert_eq!((asked.len(), specimens(&outcome).len()), (1, 3));
    assert!(asked[0].message.contains("\"C01\" and \"C-01\""), "{}", asked[0].message);
    let key = asked[0].key.as_str();
    assert_eq!(specimens(&answered(log, &Context::default(), &[(key, "one", None)])).len(), 3);
    assert_eq!(specimens(&answered(log, &Context::default(), &[(key, "two", None)])).len(), 5);
    // Beside what the keeper has: the same letters and digits, or a slip in a word.
    let context = keeper(&[], &[("Torch green", "euphyllia-glabrescens"), ("Goni 1", "goniopora")]);
    let of = |label: &str, name: &str| format!("Label,Species,Acquired\n{label},{name},2023-01-14\n");
    for (label, name, want) in [
        ("Goni1", "Goniopora", Some("Goni 1")),
        ("Torch gren", "torch", Some("Torch green")),
        ("Torch gren", "Goniopora", None),
        ("Goni 2", "Goniopora", None),
        ("goni 1", "Goniopora", None),
    ] {
        let outcome = answered(&of(label, name), &context, &[]);
        let asked = questions(&outcome, "label_twice");
        assert_eq!(asked.len(), usize::from(want.is_some()), "{label}: {:?}", keys(&outcome));
        if let Some(known) = want {
            let outcome = answered(&of(label, name), &context, &[(&asked[0].key, "one", None)]);
            assert_eq!(specimens(&outcome)[0].label, known);
        }
    }
}

fn stays(outcome: &Outcome) -> Vec<(&str, &str)> {
    let each = outcome.records.iter().filter_map(|record| match record {
        Record::Stay(stay) => Some((stay.specimen.as_str(), stay.tank.as_str())),
        _ => None,
    });
    each.collect()
}

#[test]
fn a_column_where_is_the_tank_if_its_cells_are_tanks() {
    for header in ["Where", "Location", "Standort", "Emplacement", "Ubicación", "Plaats"] {
        let log = format!(
            "Label,Species,Acquired,{header}\nA,Acropora tenuis,2023-01-14,Alder\nB,Goniopora,2023-01-15,brook\n"
        );
        let outcome = answered(&log, &keeper(&["Alder", "Brook"], &[]), &[]);
        assert_eq!(stays(&outcome), [("A", "Alder"), ("B", "Brook")], "{header}: {:?}", keys(&outcome));
        assert!(keys(&outcome).is_empty(), "{header}: {:?}", keys(&outcome));
        let log = log.replace("Alder", "top").replace("brook", "bottom");
        let outcome = answered(&log, &keeper(&["Alder"], &[]), &[]);
        assert_eq!(stays(&outcome), [("A", "Alder"), ("B", "Alder")], "{header}");
        assert_eq!(
            outcome.records.iter().filter(|record| matches!(record, Record::Placement(_))).count(),
            2,
            "{header}"
        );
    }
    // Tanks that only another table of the file names.
    let log = "Date,Tank,KH (dKH)\n2024-03-14,Alder,8.2\n2024-03-14,Brook,8.3\n\n\
               Label,Species,Acquired,Where\nA,Acropora tenuis,2023-01-14,Alder\nB,Goniopora,2023-01-15,Brook\n";
    let outcome = answered(log, &keeper(&[], &[]), &[]);
    assert_eq!(stays(&outcome), [("A", "Alder"), ("B", "Brook")], "{:?}", keys(&outcome));
}

#[test]
fn a_list_of_labels_alone_says_that_no_kind_is_known() {
    let log = "Label,Acquired,Died\nC01,2023-01-14,2024-02-15\nC02,2023-01-15,\nC03,2023-01-16,\n";
    let outcome = answered(log, &Context::default(), &[]);
    assert_eq!((specimens(&outcome).len(), taxa(&outcome)), (3, vec![None; 3]));
    let notes = questions(&outcome, "name_missing");
    assert_eq!((notes.len(), notes[0].cells.len()), (1, 3));
    assert!(notes[0].message.starts_with("3 corals have a label and no name, such as \"C01\""), "{}", notes[0].message);
}

/// A name as it is compared everywhere: case and surplus blanks aside.
fn folded(name: &str) -> String {
    name.to_lowercase().split_whitespace().collect::<Vec<_>>().join(" ")
}

fn base() -> impl Strategy<Value = String> {
    let words = ["Alder", "Brook", "Copse", "Meadow", "Long Reef", "Tank 1", "Tank 2", "Reef-3", "Nano", "Quarry tank"];
    prop::sample::select(words.to_vec()).prop_map(str::to_owned)
}

/// A name changed as people change it; `true` = it is surely meant for the same.
fn changed() -> impl Strategy<Value = (String, String, bool)> {
    (base(), 0..9_usize, any::<prop::sample::Index>()).prop_map(|(name, how, at)| {
        let letters: Vec<char> = name.chars().collect();
        let places: Vec<usize> = (1..letters.len().saturating_sub(1))
            .filter(|at| letters[*at - 1..=*at + 1].iter().all(|c| c.is_alphabetic()))
            .collect();
        let place = if places.is_empty() { None } else { Some(places[at.index(places.len())]) };
        let (other, same) = match (how, place) {
            (0, _) => (name.to_uppercase(), true),
            (1, _) => (format!(" {}  ", name.replace(' ', "  ")), true),
            (2, _) => (name.replace([' ', '-'], ""), true),
            (3, Some(at)) if letters.len() >= 5 => {
                let mut letters = letters.clone();
                letters.remove(at);
                (letters.into_iter().collect(), true)
            }
            (4, Some(at)) if letters.len() >= 5 => {
                let mut letters = letters.clone();
                letters.swap(at, at + 1);
                (letters.into_iter().collect(), true)
            }
            (5, _) => (name.replace(' ', "-"), true),
            (6, _) => (format!("{name} 7"), false),
            (7, _) => (format!("Big {name}"), false),
            _ => (name.clone(), true),
        };
        (name, other, same)
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(400))]

    /// Names of tanks that load as one are equal but for case and blanks; a name and its slip never load as two.
    #[test]
    fn no_tank_is_joined_or_split_without_a_question(
        (name, other, same) in changed(),
        more in base(),
        known in prop::collection::vec(base(), 0..3),
        order in any::<bool>(),
    ) {
        let known: Vec<&str> = known.iter().map(String::as_str).collect();
        let mut written = vec![name.as_str(), other.as_str(), more.as_str()];
        if order {
            written.reverse();
        }
        let outcome = read("log.csv", tests_of(&written).as_bytes(), &keeper(&known, &[]));
        let mut loaded: Vec<(&str, &str)> = Vec::new();
        for record in &outcome.records {
            let Record::Reading(reading) = record else { continue };
            let row = reading.place.row as usize - 2;
            loaded.push((written[row], reading.tank.as_deref().unwrap_or_default()));
        }
        for (own, tank) in &loaded {
            prop_assert_eq!(folded(own), folded(tank), "{} was read as {}", own, tank);
        }
        let took = |name: &str| loaded.iter().any(|(own, _)| folded(own) == folded(name));
        if same && folded(&name) != folded(&other) {
            let both_known = [&name, &other].iter().all(|name| known.iter().any(|known| folded(known) == folded(name)));
            prop_assert!(!(took(&name) && took(&other)) || both_known, "{} and {} load as two tanks", name, other);
        }
        // What does not load is asked about.
        let asked = outcome.findings.iter().any(|finding| finding.code == "tank_name_near");
        prop_assert!(loaded.len() == written.len() || asked);
    }

    /// Sizes of a diary load for a coral of exactly that label, or wait.
    #[test]
    fn no_coral_is_joined_without_a_question(
        (name, other, _) in changed(),
        known in prop::collection::vec(base(), 1..4),
    ) {
        let corals: Vec<(&str, &str)> = known.iter().map(|label| (label.as_str(), "goniopora")).collect();
        let written = [name.as_str(), other.as_str()];
        let outcome = read("log.csv", diary(&written).as_bytes(), &keeper(&["Alder"], &corals));
        let mut loaded = 0;
        for record in &outcome.records {
            let Record::Sizing(sizing) = record else { continue };
            loaded += 1;
            let own = written[sizing.place.row as usize - 2];
            prop_assert_eq!(folded(own), folded(&sizing.specimen));
        }
        let asked = outcome.findings.iter().any(|finding| finding.code == "coral_unknown");
        prop_assert!(loaded == written.len() || asked);
    }

    /// A list's labels are one coral only where they are equal, and never two where only signs and blanks differ.
    #[test]
    fn no_label_of_a_list_is_joined_or_split_without_a_question((name, other, _) in changed()) {
        let log = format!(
            "Label,Species,Acquired\n\"{name}\",Acropora tenuis,2023-01-14\n\"{other}\",Goniopora,2023-01-15\n"
        );
        let outcome = read("log.csv", log.as_bytes(), &keeper(&[], &[]));
        let asked = outcome.findings.iter().any(|finding| finding.code == "label_twice");
        let letters = |name: &str| name.to_lowercase().replace([' ', '-'], "");
        let loaded = specimens(&outcome).len();
        if folded(&name) == folded(&other) || letters(&name) == letters(&other) {
            prop_assert!(asked && loaded < 2, "{} and {}: {} corals", name, other, loaded);
        } else {
            prop_assert!(!asked && loaded == 2, "{} and {}: {} corals", name, other, loaded);
        }
    }
}
