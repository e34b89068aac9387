//! Corals among tests, ends and sizes over the columns of a list, words that are looks, in five languages.

#[path = "support/coral_logs.rs"]
mod coral_logs;

use chrono::NaiveDate;
use coral_logs::{day, deaths, ending, given, keys, known, read_with, sightings, sizes, specimen};
use importer::context::{Context, KnownSpecimen, Outcome};
use importer::read::read;
use importer::record::Record;
use serde_json::json;

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

#[test]
fn the_day_above_stands_in_the_row_above() {
    let log = "Date,Coral,Condition,Diameter (mm)\n2024-03-01,Anna,,50\n2024-03-15,Anna,pale,\n,Anna,,70\n";
    let coral = KnownSpecimen { label: "Anna".to_owned(), taxon: None, tank: None, alive: true, ended: None };
    let answers = given(&[("date_missing:row 4", "above", None)]);
    let outcome = read("a.csv", log.as_bytes(), &Context { specimens: vec![coral], answers, ..Context::default() });
    let told: Vec<(f64, NaiveDate)> = sizes(&outcome).iter().map(|size| (size.value, size.on)).collect();
    assert_eq!(told, [(50.0, day("2024-03-01")), (70.0, day("2024-03-15"))], "{:?}", outcome.findings);
}

/// Rows without a test between tests: what was done, on the day above, and what was lost.
#[test]
fn what_was_done_or_lost_stands_on_rows_without_a_test() {
    for (header, change, carbon, loss) in [
        ("Date,Temp,KH (dKH),Events,Losses", "water change 15 %", "carbon changed", "Goni 1 died"),
        ("Datum,Temp,KH (dKH),Ereignis,Verlust", "Wasserwechsel 15 %", "Kohle gewechselt", "Goni 1 eingegangen"),
        ("Date,Temp,KH (dKH),Entretien,Pertes", "changement d'eau 15 %", "charbon changé", "Goni 1 mort"),
        ("Fecha,Temp,KH (dKH),Tareas,Bajas", "cambio de agua 15 %", "carbón cambiado", "Goni 1 muerta"),
        ("Datum,Temp,KH (dKH),Onderhoud,Verlies", "waterwissel 15 %", "kool vervangen", "Goni 1 dood"),
    ] {
        let log = format!(
            "{header}\n2024-03-02,25.1,8.2,,\n,,,{change},\n2024-03-16,25.2,8.1,,\n,,,{carbon},\n,,,,{loss}\n2024-03-30,25.3,8.0,\"{change}, {carbon}\",\n"
        );
        let outcome = read("log.csv", log.as_bytes(), &known());
        let events: Vec<(String, String, Option<f64>)> = outcome
            .records
            .iter()
            .filter_map(|record| match record {
                Record::Event(event) => Some((event.event.clone(), event.taken.to_string(), event.amount)),
                _ => None,
            })
            .collect();
        let event = |code: &str, on: &str, amount: Option<f64>| (code.to_owned(), on.to_owned(), amount);
        assert_eq!(
            events,
            [
                event("water_change", "2024-03-02", Some(15.0)),
                event("carbon", "2024-03-16", None),
                event("water_change", "2024-03-30", Some(15.0)),
                event("carbon", "2024-03-30", None),
            ],
            "{header}"
        );
        let end = ending(&outcome, "Goni 1").and_then(|end| end.latest);
        assert_eq!((deaths(&outcome), end), (1, Some(day("2024-03-16"))), "{header}");
        assert!(keys(&outcome).is_empty(), "{header}: {:?}", keys(&outcome));
    }
}

/// A loss on a row whose day cannot be read is asked about, and a name alone under a header of losses is a loss.
#[test]
fn a_loss_on_a_row_without_a_day_is_asked_about() {
    for row in ["?,,,,Goni 1 died", "some time on holiday,,,,Goni 1 dead", ",,,,Goni 1"] {
        let log = format!("Date,Temp,KH (dKH),Notes,Losses\n2024-03-02,25.1,8.2,,\n{row}\n2024-03-16,25.2,8.1,,\n");
        let outcome = read("log.csv", log.as_bytes(), &known());
        let keys = keys(&outcome);
        assert!(
            keys.iter().any(|key| {
                ["death_without_date", "date_", "fate_word_unclear:lost"].iter().any(|code| key.starts_with(code))
            }),
            "{row}: {keys:?}"
        );
    }
}
