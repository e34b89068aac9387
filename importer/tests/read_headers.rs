//! Words over columns in English, German, French, Spanish and Dutch: each is put over plausible values in a small table
//! and read from end to end. The words stand in `tests/headers`: common practice, no source.

use std::collections::BTreeMap;

use analysis::vocabulary::text::fold;
use analysis::vocabulary::{ParameterCode, ParameterKind, catalogue, find_parameter_by_word};
use importer::context::{ColumnRead, Context, Outcome};
use importer::finding::{Answer, Finding, Severity};
use importer::read::read;
use importer::record::Record;

const LANGUAGES: [&str; 5] = ["en", "de", "fr", "es", "nl"];

/// A line of a table of words: the first three fields, and the words by language.
type Line = ([&'static str; 3], BTreeMap<&'static str, Vec<&'static str>>);

fn table(text: &'static str) -> Vec<Line> {
    let lines = text.lines().filter(|line| !line.starts_with('#') && !line.trim().is_empty());
    lines
        .map(|line| {
            let fields: Vec<&str> = line.split(';').collect();
            assert_eq!(fields.len(), 8, "{line}");
            let words =
                LANGUAGES.iter().zip(&fields[3..]).map(|(language, words)| (*language, words.split('|').collect()));
            ([fields[0], fields[1], fields[2]], words.collect())
        })
        .collect()
}

fn plain(word: &str) -> String {
    let letters = [("äàáâã", 'a'), ("èéêë", 'e'), ("íîï", 'i'), ("öóô", 'o'), ("üúûù", 'u'), ("ñ", 'n'), ("ç", 'c')];
    let one = |letter: char| {
        let lower = letter.to_lowercase().next().unwrap_or(letter);
        letters.iter().find(|(accented, _)| accented.contains(lower)).map_or(letter, |(_, plain)| *plain)
    };
    word.chars().map(one).collect()
}

fn told(outcome: &Outcome, column: u32) -> Option<&ColumnRead> {
    outcome.about.columns.iter().find(|told| told.column == column)
}

/// A wide table of tests with this column third.
fn tests(code: &str, header: &str, values: &str, units: Option<&str>) -> Outcome {
    let beside: Vec<(&str, &str)> =
        [("Magnesium (mg/L)", "magnesium"), ("KH (dKH)", "alkalinity"), ("Calcium (mg/L)", "calcium")]
            .into_iter()
            .filter(|(_, other)| *other != code)
            .collect();
    let known = |header: &str, row: usize| match header {
        "KH (dKH)" => format!("8.{row}"),
        "Calcium (mg/L)" => format!("42{row}"),
        _ => format!("131{row}"),
    };
    let quoted = header.replace('"', "\"\"");
    let mut text = format!("Date,{},\"{quoted}\",{}\n", beside[0].0, beside[1].0);
    if let Some(unit) = units {
        text.push_str(&format!(",,{unit},\n"));
    }
    for (row, value) in values.split(' ').enumerate() {
        text.push_str(&format!(
            "2024-03-{:02},{},{value},{}\n",
            2 + 7 * row,
            known(beside[0].0, row),
            known(beside[1].0, row)
        ));
    }
    read("tests.csv", text.as_bytes(), &Context::default())
}

fn readings(outcome: &Outcome, code: &str) -> usize {
    let is = |record: &&Record| matches!(record, Record::Reading(reading) if reading.parameter.as_str() == code);
    outcome.records.iter().filter(is).count()
}

#[test]
fn every_parameter_is_known_by_its_words_in_five_languages() {
    let mut faults = Vec::new();
    let mut seen: BTreeMap<&str, usize> = BTreeMap::new();
    let mut words_read = 0;
    for ([code, unit, values], words) in table(include_str!("headers/parameters.csv")) {
        let kind = ParameterCode::parse(code).unwrap_or_else(|| panic!("no parameter {code}")).get().kind;
        for (language, words) in words {
            assert!(!words.is_empty() && words.iter().all(|word| !word.is_empty()), "{code} {language}");
            *seen.entry(code).or_default() += words.len();
            for word in words {
                let mut forms = vec![
                    (word.to_owned(), None, true),
                    (word.to_uppercase(), None, true),
                    (plain(word), None, true),
                    (format!("{word} ({unit})"), None, false),
                    (format!("{word} [{unit}]"), None, false),
                    (format!("{word} {unit}"), None, false),
                ];
                if kind != ParameterKind::Routine {
                    forms.push((word.to_owned(), Some(unit), false));
                }
                // "NO3" in capitals and without accents is one form.
                forms.dedup();
                for (header, units, bare) in forms {
                    words_read += 1;
                    let outcome = tests(code, &header, values, units);
                    let meaning = told(&outcome, 3).map(|told| (told.meaning.as_str(), told.asked, told.confidence));
                    if !matches!(meaning, Some((own, false, sure)) if own == code && sure > 0.9) {
                        faults.push(format!(
                            "{language} '{header}' [{}] is {code}, read as {meaning:?}",
                            units.unwrap_or("")
                        ));
                        continue;
                    }
                    // A trace without its unit, a gravity without its reference, conductivity and NH3 are asked about.
                    let held = bare || matches!(unit, "SG" | "mS/cm") || code == "ammonia";
                    if !held && kind != ParameterKind::Routine && readings(&outcome, code) != 3 {
                        let asked: Vec<&str> = outcome.findings.iter().map(|finding| finding.code.as_str()).collect();
                        faults.push(format!(
                            "{language} '{header}' gives {} readings, {asked:?}",
                            readings(&outcome, code)
                        ));
                    }
                }
            }
        }
    }
    println!("{words_read} headers of {} parameters read, {} faults", seen.len(), faults.len());
    assert!(faults.is_empty(), "{} faults\n{}", faults.len(), faults.join("\n"));
    for parameter in catalogue().parameters() {
        assert!(seen.get(parameter.code.as_str()).is_some_and(|words| *words >= 5), "no words for {}", parameter.code);
    }
}

/// A small table of this kind with one column headed by the word.
fn of_kind(kind: &str, role: &str, header: &str, cells: &[&str]) -> (Outcome, u32) {
    let columns: Vec<(&str, &str, [&str; 3])> = match kind {
        "wide" => vec![
            ("date", "Date", ["2024-03-02", "2024-03-09", "2024-03-16"]),
            ("kh", "KH (dKH)", ["8.1", "8.2", "8.3"]),
            ("ca", "Ca (mg/L)", ["420", "425", "430"]),
        ],
        "long" => vec![
            ("date", "Date", ["2024-03-02", "2024-03-09", "2024-03-16"]),
            ("parameter", "Parameter", ["Nitrate", "Phosphate", "Calcium"]),
            ("value", "Value", ["5", "0.05", "420"]),
            ("unit", "Unit", ["mg/L", "mg/L", "mg/L"]),
        ],
        "register" => vec![
            ("label", "No.", ["C1", "C2", "C3"]),
            ("name", "Species", ["Goniopora stokesi", "Duncanopsammia axifuga", "Galaxea fascicularis"]),
            ("acquired", "Acquired", ["2023-03-02", "2023-04-09", "2023-05-16"]),
            ("ended", "Ended", ["2023-09-02", "", "2023-12-16"]),
            ("fate", "Fate", ["died", "", "died"]),
        ],
        "diary" => vec![
            ("date", "Date", ["2024-03-02", "2024-03-09", "2024-03-16"]),
            ("name", "Coral", ["Goniopora stokesi", "Goniopora stokesi", "Goniopora stokesi"]),
            ("condition", "Condition", ["open", "open", "closed"]),
        ],
        _ => vec![
            ("date", "Date", ["2024-03-02", "2024-03-09", "2024-03-16"]),
            ("value", "Value", ["2", "3", "2"]),
            ("remark", "Notes", ["", "", ""]),
        ],
    };
    let mut all: Vec<(String, Vec<String>)> = Vec::new();
    let mut at = None;
    for (own, word, values) in columns {
        if own == role {
            at = Some(all.len() as u32 + 1);
            all.push((header.to_owned(), cells.iter().map(|cell| (*cell).to_owned()).collect()));
        } else {
            all.push((word.to_owned(), values.iter().map(|value| (*value).to_owned()).collect()));
        }
    }
    let at = at.unwrap_or_else(|| {
        all.push((header.to_owned(), cells.iter().map(|cell| (*cell).to_owned()).collect()));
        all.len() as u32
    });
    let line = |cells: Vec<&str>| cells.iter().map(|cell| format!("\"{cell}\"")).collect::<Vec<_>>().join(",") + "\n";
    let mut text = line(all.iter().map(|(header, _)| header.as_str()).collect());
    for row in 0..3 {
        text.push_str(&line(all.iter().map(|(_, cells)| cells[row].as_str()).collect()));
    }
    (read("log.csv", text.as_bytes(), &Context::default()), at)
}

#[test]
fn every_role_is_known_by_its_words_in_five_languages() {
    let mut faults = Vec::new();
    let mut words_read = 0;
    for ([kind, role, cells], words) in table(include_str!("headers/roles.csv")) {
        let cells: Vec<&str> = cells.split('|').collect();
        assert_eq!(cells.len(), 3, "{kind} {role}");
        for (language, words) in words {
            for word in words {
                let mut forms = vec![word.to_owned(), word.to_uppercase(), plain(word), format!("{word}:")];
                forms.dedup();
                for header in forms {
                    words_read += 1;
                    let (outcome, at) = of_kind(kind, role, &header, &cells);
                    let meaning = told(&outcome, at).map(|told| (told.meaning.as_str(), told.asked, told.confidence));
                    if !matches!(meaning, Some((own, false, sure)) if own == role && sure > 0.9) {
                        faults.push(format!("{kind}: {language} '{header}' is {role}, read as {meaning:?}"));
                    }
                }
            }
        }
    }
    println!("{words_read} headers of roles read, {} faults", faults.len());
    assert!(faults.is_empty(), "{} faults\n{}", faults.len(), faults.join("\n"));
}

/// A word for two parameters would be read as one of them in silence.
#[test]
fn no_word_stands_for_two_parameters() {
    let mut owners: BTreeMap<String, &str> = BTreeMap::new();
    for ([code, _, _], words) in table(include_str!("headers/parameters.csv")) {
        for word in words.values().flatten() {
            let other = owners.insert(fold(word), code);
            assert!(other.is_none_or(|other| other == code), "'{word}' is {code} and {other:?}");
            assert_eq!(find_parameter_by_word(word).len(), 1, "'{word}'");
        }
    }
}

fn questions(outcome: &Outcome) -> Vec<&Finding> {
    outcome.findings.iter().filter(|finding| finding.severity == Severity::Questioned).collect()
}

/// The header, a unit row, the values: the parameter read, or the one question with its first candidates.
fn meaning(header: &str, unit: Option<&str>, values: &str) -> (Vec<String>, Vec<String>) {
    let outcome = tests("none", header, values, unit);
    let asked = questions(&outcome).into_iter().filter(|finding| finding.code == "column_unknown");
    let choices = asked.flat_map(|finding| finding.choices.iter().map(|choice| choice.code.clone())).collect();
    let own = |record: &Record| match record {
        Record::Reading(reading) if reading.place.column == 3 => Some(reading.parameter.as_str().to_owned()),
        _ => None,
    };
    let mut read: Vec<String> = outcome.records.iter().filter_map(own).collect();
    read.dedup();
    (read, choices)
}

#[test]
fn a_header_that_says_nothing_is_settled_by_unit_spelling_or_values() {
    for (header, unit, values, code) in [
        ("Col3", Some("mV"), "350 355 348", "orp"),
        ("", Some("PSU"), "34.8 35.0 35.1", "salinity"),
        ("Probe (°C)", None, "25.1 25.4 25.2", "temperature"),
        ("mV", None, "350 355 348", "orp"),
        ("X [µmol/m²/s]", None, "150 160 155", "par"),
        ("Nitrat e", None, "5 6 8", "nitrate"),
        ("Phosphaat", None, "0.05 0.06 0.04", "phosphate"),
        ("Temprature", None, "25.1 25.4 25.2", "temperature"),
        ("Salinty", None, "34.8 35.0 35.1", "salinity"),
        ("Nitrtae", None, "5 6 8", "nitrate"),
    ] {
        let (read, asked) = meaning(header, unit, values);
        assert_eq!(
            (read.as_slice(), asked.as_slice()),
            ([code.to_owned()].as_slice(), [].as_slice()),
            "'{header}' {unit:?}"
        );
    }
}

#[test]
fn gravities_are_known_under_any_header_that_says_nothing() {
    for header in ["", "X", "Value", "Col3"] {
        let outcome = tests("none", header, "1.025 1.026 1.025", None);
        let told = told(&outcome, 3).expect("the column is told of");
        assert_eq!((told.meaning.as_str(), told.by.as_str(), told.asked), ("salinity", "values", false), "'{header}'");
        let noted = outcome.findings.iter().find(|finding| finding.code == "column_understood").expect("is said");
        assert_eq!(noted.severity, Severity::Noted);
        assert!(noted.message.contains("Salinity"), "{}", noted.message);
    }
}

#[test]
fn what_stays_open_is_asked_once_with_the_likeliest_first() {
    for (header, unit, values, first) in [
        ("Zorg", None, "1.5 2 1.8", "nitrate"),
        ("Col3", None, "34 35 34", "salinity"),
        ("Col3", None, "25.1 25.4 25.2", "temperature"),
        ("Wapn", None, "7 6 8", "nitrate"),
        ("Hodnota", Some("mg/L"), "0.05 0.06 0.04", "phosphate"),
        ("Nitrite", None, "8 10 12", "nitrate"),
    ] {
        let (read, asked) = meaning(header, unit, values);
        assert!(read.is_empty(), "'{header}' {unit:?}: {read:?}");
        assert!(asked.iter().take(2).any(|choice| choice == first), "'{header}': {asked:?}");
        assert_eq!(asked.iter().filter(|choice| *choice == "remark").count(), 1, "'{header}' asked once: {asked:?}");
    }
}

#[test]
fn numbers_that_are_no_test_are_never_loaded_as_one() {
    for (header, values) in [
        ("Dose ml", "25 26 25"),
        ("Lamp hours", "8.0 8.5 8.0"),
        ("Room", "24.5 24.1 24.8"),
        ("Fish", "12 12 13"),
        ("kWh", "8.1 8.4 8.2"),
    ] {
        let (read, asked) = meaning(header, None, values);
        assert!(read.is_empty(), "'{header}': {read:?}");
        assert!(asked.iter().any(|choice| choice == "remark"), "'{header}': {asked:?}");
    }
}

#[test]
fn an_answer_settles_what_was_asked() {
    let text = "Date,Mg (mg/L),Zorg,KH (dKH)\n2024-03-02,1310,5,8.1\n2024-03-09,1320,6,8.2\n2024-03-16,1300,8,8.1\n";
    let asked = read("tests.csv", text.as_bytes(), &Context::default());
    let question = questions(&asked).into_iter().find(|finding| finding.code == "column_unknown").expect("is asked");
    for (choice, value, code) in [("nitrate", None, "nitrate"), ("parameter", Some("potassium"), "potassium")] {
        let answer = Answer { key: question.key.clone(), choice: choice.to_owned(), value: value.map(Into::into) };
        let context = Context { answers: vec![answer], ..Context::default() };
        let outcome = read("tests.csv", text.as_bytes(), &context);
        let told = told(&outcome, 3).expect("the column is told of");
        assert_eq!((told.meaning.as_str(), told.by.as_str(), told.confidence), (code, "answer", 1.0));
    }
}
