//! The corpus: messy logs, each with what its writer says every cell means (`tests/logs/corpus/*.expected`, written
//! before the reader was tried on them). Right, asked about, refused, or silently wrong: counted cell by cell.
//!
//! `cargo test -p importer --test corpus -- --nocapture` prints the table.

#[path = "support/statements.rs"]
mod statements;

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

use importer::container;
use importer::context::Outcome;
use importer::finding::Severity;
use importer::read::read;
use importer::record::{DaySpan, Qualifier, Record};
use statements::{Statement, context, statements};

/// Share of the unambiguous cells that must be right.
const RIGHT: f64 = 0.99;
/// Questions in any file, and in the middle one.
const MOST_QUESTIONS: usize = 5;
const MEDIAN_QUESTIONS: usize = 2;
/// Share of all cells that may be held.
const HELD: f64 = 0.05;
/// Logs of the corpus at least.
const LOGS: usize = 60;

/// A cell: sheet, row, column.
type At = (Option<String>, u32, u32);

/// What became of a log.
#[derive(Default)]
struct Result {
    name: String,
    cells: u64,
    held: u64,
    /// Unambiguous cells, and how many of them are right, questioned, refused.
    stated: usize,
    right: usize,
    questioned: usize,
    refused: usize,
    questions: usize,
    /// Silently wrong: what was said, what came.
    wrong: Vec<String>,
    /// Other requirements that were not met.
    failed: Vec<String>,
    clean: bool,
}

fn logs(folder: &str) -> Vec<PathBuf> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/logs").join(folder);
    let mut logs: Vec<PathBuf> = std::fs::read_dir(&folder)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| PathBuf::from(format!("{}.expected", path.display())).exists())
        .collect();
    logs.sort();
    logs
}

/// Kinds of statements that are records.
const RECORDS: [&str; 8] = ["reading", "specimen", "ending", "sizing", "sighting", "routine", "event", "incident"];

/// Kinds of records that follow from others and are not stated.
fn follows(record: &Record) -> bool {
    matches!(
        record,
        Record::Tank(_) | Record::Stay(_) | Record::Identification(_) | Record::Placement(_) | Record::Instrument(_)
    ) || matches!(record, Record::Sighting(sighting) if sighting.source == "register")
}

/// Records of a coral that its whole row tells: stated at its label, its name or its fate.
fn told_in_a_row(record: &Record) -> bool {
    matches!(record, Record::Specimen(_) | Record::Ending(_))
        || matches!(record, Record::Sighting(sighting) if sighting.source == "register")
}

fn near(own: f64, stated: f64) -> bool {
    (own - stated).abs() <= 1e-6 * own.abs().max(stated.abs()) + 1e-12
}

/// A value as stated: "25.1", "<0.02", ">50", "5..10".
fn value_is(qualifier: Qualifier, value: Option<f64>, lower: Option<f64>, upper: Option<f64>, stated: &str) -> bool {
    let number = |text: &str| text.parse::<f64>().unwrap_or_else(|_| panic!("{text} is no number"));
    let same = |own: Option<f64>, text: &str| own.is_some_and(|own| near(own, number(text)));
    if let Some(limit) = stated.strip_prefix('<') {
        qualifier == Qualifier::Below && same(value, limit)
    } else if let Some(limit) = stated.strip_prefix('>') {
        qualifier == Qualifier::Above && same(value, limit)
    } else if let Some((low, high)) = stated.split_once("..") {
        qualifier == Qualifier::Interval && same(lower, low) && same(upper, high)
    } else {
        qualifier == Qualifier::Equal && same(value, stated)
    }
}

/// A span of days as stated: a day, a month, a year, "a..b" with open ends.
fn span_is(own: Option<DaySpan>, stated: &str) -> bool {
    if stated.is_empty() {
        return true;
    }
    let days = |text: &str| -> Option<(chrono::NaiveDate, chrono::NaiveDate)> {
        let first = match text.len() {
            4 => format!("{text}-01-01"),
            7 => format!("{text}-01"),
            _ => text.to_owned(),
        };
        let first: chrono::NaiveDate = first.parse().ok()?;
        let last = match text.len() {
            4 => first.checked_add_months(chrono::Months::new(12))?.pred_opt()?,
            7 => first.checked_add_months(chrono::Months::new(1))?.pred_opt()?,
            _ => first,
        };
        Some((first, last))
    };
    let Some(own) = own else { return stated == "unknown" };
    match stated.split_once("..") {
        Some((first, last)) => {
            (first.is_empty() && own.earliest.is_none() || own.earliest == days(first).map(|(first, _)| first))
                && (last.is_empty() && own.latest.is_none() || own.latest == days(last).map(|(_, last)| last))
        }
        None => days(stated).is_some_and(|(first, last)| (own.earliest, own.latest) == (Some(first), Some(last))),
    }
}

/// Whether a record says what is stated.
fn says(record: &Record, stated: &Statement) -> bool {
    let more = |name: &str, own: Option<&str>| stated.more.get(name).is_none_or(|value| own == Some(value.as_str()));
    let text = |own: &str, said: &str| said.is_empty() || own == said;
    match record {
        Record::Reading(reading) => {
            stated.kind == "reading"
                && reading.parameter.as_str() == stated.what
                && text(&reading.taken.to_string(), &stated.when)
                && value_is(reading.qualifier, reading.value, reading.lower, reading.upper, &stated.value)
                && more("tank", reading.tank.as_deref())
                && more("spot", reading.specimen.as_deref())
                && stated.more.get("flag").is_none_or(|flag| reading.flags.contains(flag))
        }
        Record::Specimen(specimen) => {
            stated.kind == "specimen"
                && specimen.label == stated.what
                && span_is(specimen.acquired, &stated.when)
                && text(specimen.taxon.map_or("", |taxon| taxon.as_str()), &stated.value)
                && more("tank", specimen.tank.as_deref())
                && more("origin", specimen.origin.map(|origin| origin.as_str()))
                && more("origin_basis", specimen.origin_basis.map(|basis| basis.as_str()))
        }
        Record::Ending(ending) => {
            stated.kind == "ending"
                && ending.specimen == stated.what
                && (ending.date_held && stated.more.contains_key("asked")
                    || span_is(Some(DaySpan { earliest: ending.earliest, latest: ending.latest }), &stated.when))
                && text(ending.fate.map_or("", |fate| fate.as_str()), &stated.value)
                && more("cause", ending.cause.as_deref())
        }
        Record::Sizing(sizing) => {
            stated.kind == "sizing"
                && sizing.specimen == stated.what
                && text(&sizing.on.to_string(), &stated.when)
                && near(sizing.value, stated.value.parse().unwrap_or(f64::NAN))
                && more("measure", Some(&sizing.measure))
                && more("basis", Some(&sizing.basis))
        }
        Record::Sighting(sighting) => {
            stated.kind == "sighting"
                && sighting.specimen == stated.what
                && text(&sighting.on.to_string(), &stated.when)
                && text(&sighting.status, &stated.value)
        }
        Record::Routine(routine) => {
            stated.kind == "routine"
                && routine.routine == stated.what
                && (stated.value.is_empty()
                    || routine.per_week.is_some_and(|rate| near(rate, stated.value.parse().unwrap_or(f64::NAN))))
                && more("tank", routine.tank.as_deref())
                && more("specimen", routine.specimen.as_deref())
        }
        Record::Event(event) => {
            stated.kind == "event"
                && event.event == stated.what
                && text(&event.taken.to_string(), &stated.when)
                && (stated.value.is_empty()
                    || event.amount.is_some_and(|amount| near(amount, stated.value.parse().unwrap_or(f64::NAN))))
                && more("tank", event.tank.as_deref())
                && more("specimen", event.specimen.as_deref())
        }
        Record::Incident(incident) => {
            stated.kind == "incident"
                && incident.incident == stated.what
                && text(&incident.from.to_string(), &stated.when)
        }
        _ => false,
    }
}

fn short(record: &Record) -> String {
    let mut value = serde_json::to_value(record).unwrap();
    for name in ["cells", "line", "row", "column", "sheet", "unit"] {
        value.as_object_mut().unwrap().remove(name);
    }
    value.as_object_mut().unwrap().retain(|_, value| !value.is_null());
    value.to_string()
}

fn judge(log: &Path) -> Result {
    let mut stated = statements(log);
    // Where a question is stated, an ending may wait for its day.
    let asked: Vec<_> =
        stated.iter().filter(|one| one.kind == "ask").map(|one| (one.sheet.clone(), one.range)).collect();
    for one in stated.iter_mut().filter(|one| asked.contains(&(one.sheet.clone(), one.range))) {
        one.more.insert("asked".to_owned(), String::new());
    }
    let name = log.file_name().unwrap().to_string_lossy().into_owned();
    let bytes = std::fs::read(log).unwrap();
    let sheets: Vec<Option<String>> = container::open(&name, &bytes).0.into_iter().map(|grid| grid.sheet).collect();
    let outcome = read(&name, &bytes, &context(&stated));
    let mut result = Result {
        cells: outcome.cells.total,
        held: outcome.cells.findings,
        questions: outcome.findings.iter().filter(|finding| finding.severity == Severity::Questioned).count(),
        clean: !stated.iter().any(|one| one.kind == "mess" && one.what != "none"),
        name,
        ..Result::default()
    };
    if outcome.cells.total != outcome.cells.recorded + outcome.cells.labels + outcome.cells.findings {
        result.failed.push(format!("cells do not add up: {:?}", outcome.cells));
    }
    compare(&mut result, &stated, &sheets, &outcome);
    result
}

fn compare(result: &mut Result, stated: &[Statement], sheets: &[Option<String>], outcome: &Outcome) {
    let sheet_of = |one: &Statement| one.sheet.clone().or_else(|| sheets.first().cloned().flatten());
    // Findings by cell.
    let mut codes: BTreeMap<At, Vec<(&str, Severity)>> = BTreeMap::new();
    for finding in &outcome.findings {
        let first = finding.row.zip(finding.column).map(|(row, column)| (finding.sheet.clone(), row, column));
        let cells = finding.cells.iter().map(|cell| (cell.sheet.clone(), cell.row, cell.column)).chain(first);
        for at in cells {
            codes.entry(at).or_default().push((&finding.code, finding.severity));
        }
    }
    let covered =
        |at: &At, severity: Severity| codes.get(at).is_some_and(|codes| codes.iter().any(|(_, own)| *own == severity));
    let mut records: BTreeMap<At, Vec<&Record>> = BTreeMap::new();
    for record in outcome.records.iter().filter(|record| !follows(record)) {
        let place = record.place();
        records.entry((place.sheet.clone(), place.row, place.column)).or_default().push(record);
    }
    let mut expected: BTreeMap<At, Vec<&Statement>> = BTreeMap::new();
    let mut asked: BTreeSet<At> = BTreeSet::new();
    for one in stated {
        let Some([top, left, bottom, right]) = one.range else {
            if one.kind == "note" && !outcome.findings.iter().any(|finding| finding.code == one.what) {
                result.failed.push(format!("line {}: {} is not noted", one.line, one.what));
            }
            if one.kind == "ask"
                && !outcome.findings.iter().any(|finding| one.what.split('|').any(|code| code == finding.code))
            {
                result.failed.push(format!("line {}: {} is not asked", one.line, one.what));
            }
            continue;
        };
        for row in top..=bottom {
            for column in left..=right {
                let at = (sheet_of(one), row, column);
                let has = |severity: Severity| {
                    codes.get(&at).is_some_and(|codes| {
                        codes
                            .iter()
                            .any(|(code, own)| *own == severity && one.what.split('|').any(|what| what == *code))
                    })
                };
                match one.kind.as_str() {
                    kind if RECORDS.contains(&kind) => expected.entry(at).or_default().push(one),
                    "ask" => {
                        asked.insert(at.clone());
                        if !has(Severity::Questioned) {
                            let loaded = records.get(&at).map(|records| short(records[0])).unwrap_or_default();
                            let also = stated.iter().any(|other| {
                                RECORDS.contains(&other.kind.as_str())
                                    && other.range == one.range
                                    && records.get(&at).is_some_and(|own| own.iter().any(|own| says(own, other)))
                            });
                            if !also {
                                let line = format!(
                                    "line {}: {at:?} {} is not asked: {loaded} {:?}",
                                    one.line,
                                    one.what,
                                    codes.get(&at)
                                );
                                if loaded.is_empty() { result.failed.push(line) } else { result.wrong.push(line) }
                            }
                        }
                    }
                    "refuse" if !has(Severity::Refused) => {
                        result.failed.push(format!(
                            "line {}: {at:?} {} is not refused: {:?}",
                            one.line,
                            one.what,
                            codes.get(&at)
                        ));
                    }
                    "note" if !has(Severity::Noted) => {
                        result.failed.push(format!(
                            "line {}: {at:?} {} is not noted: {:?}",
                            one.line,
                            one.what,
                            codes.get(&at)
                        ));
                    }
                    _ => {}
                }
            }
        }
    }
    for (at, own) in &records {
        let wanted = expected.get(at).map_or(&[][..], Vec::as_slice);
        for record in own {
            // At any cell of its row that the record uses.
            let place = record.place();
            let beside = told_in_a_row(record)
                && place.cells.iter().filter(|cell| cell.row == place.row).any(|cell| {
                    let at = (cell.sheet.clone(), cell.row, cell.column);
                    expected.get(&at).is_some_and(|stated| stated.iter().any(|one| says(record, one)))
                });
            if !beside && !wanted.iter().any(|one| says(record, one)) {
                let line = wanted.first().map_or(0, |one| one.line);
                result.wrong.push(format!("line {line}: {at:?} gave {}", short(record)));
            }
        }
    }
    for (at, wanted) in &expected {
        let own = records.get(at).map_or(&[][..], Vec::as_slice);
        let right = wanted.iter().all(|one| own.iter().any(|record| says(record, one)));
        let (questioned, refused) = (covered(at, Severity::Questioned), covered(at, Severity::Refused));
        let elsewhere = || {
            wanted.iter().all(|one| {
                outcome.records.iter().any(|record| {
                    let place = record.place();
                    told_in_a_row(record)
                        && says(record, one)
                        && place.cells.iter().any(|cell| (cell.sheet.clone(), cell.row, cell.column) == *at)
                })
            })
        };
        if !asked.contains(at) {
            result.stated += 1;
            match () {
                () if right => result.right += 1,
                () if questioned => result.questioned += 1,
                () if refused => result.refused += 1,
                () if own.is_empty() && elsewhere() => result.right += 1,
                () => {}
            }
            if questioned || refused {
                let line = wanted[0].line;
                result.failed.push(format!("line {line}: {at:?} is not read: {:?}", codes.get(at)));
            }
        }
        if !right && !questioned && !refused && own.is_empty() && !elsewhere() {
            let one = wanted[0];
            result.wrong.push(format!(
                "line {}: {at:?} gave nothing and no question: {} {} {}",
                one.line, one.kind, one.what, one.value
            ));
        }
    }
}

fn run(folder: &str) -> Vec<Result> {
    let logs = logs(folder);
    let results: Vec<Result> = logs.iter().map(|log| judge(log)).collect();
    println!(
        "{:56}{:>7}{:>8}{:>7}{:>7}{:>9}{:>16}{:>11}",
        folder, "cells", "stated", "right", "asked", "refused", "silently wrong", "questions"
    );
    for one in &results {
        println!(
            "{:56}{:>7}{:>8}{:>7}{:>7}{:>9}{:>16}{:>11}{}",
            one.name,
            one.cells,
            one.stated,
            one.right,
            one.questioned,
            one.refused,
            one.wrong.len(),
            one.questions,
            if one.clean { "  clean" } else { "" }
        );
        for line in one.wrong.iter().take(12) {
            println!("    WRONG {line}");
        }
        for line in one.failed.iter().take(12) {
            println!("    failed {line}");
        }
    }
    let sum = |of: fn(&Result) -> u64| results.iter().map(of).sum::<u64>();
    let (stated, right) = (sum(|one| one.stated as u64), sum(|one| one.right as u64));
    println!(
        "{} logs, {} cells: {right} of {stated} stated cells right ({:.2} %), {} silently wrong; {:.2} % of the cells held; questions a log: median {}, most {}",
        results.len(),
        sum(|one| one.cells),
        100.0 * right as f64 / stated.max(1) as f64,
        sum(|one| one.wrong.len() as u64),
        100.0 * sum(|one| one.held) as f64 / sum(|one| one.cells).max(1) as f64,
        median(&results),
        results.iter().map(|one| one.questions).max().unwrap_or_default(),
    );
    results
}

fn median(results: &[Result]) -> usize {
    let mut questions: Vec<usize> = results.iter().map(|one| one.questions).collect();
    questions.sort_unstable();
    questions.get(questions.len() / 2).copied().unwrap_or_default()
}

fn require(results: &[Result]) {
    let sum = |of: fn(&Result) -> u64| results.iter().map(of).sum::<u64>() as f64;
    assert_eq!(sum(|one| one.wrong.len() as u64), 0.0, "cells silently wrong");
    for one in results {
        assert!(!one.clean || one.questions == 0, "{} is clean and asks {}", one.name, one.questions);
        assert!(one.questions <= MOST_QUESTIONS, "{} asks {}", one.name, one.questions);
    }
    assert!(sum(|one| one.right as u64) >= RIGHT * sum(|one| one.stated as u64), "too few cells right");
    assert!(median(results) <= MEDIAN_QUESTIONS, "median of the questions a log");
    assert!(sum(|one| one.held) <= HELD * sum(|one| one.cells), "too many cells held");
    let failed: Vec<String> =
        results.iter().flat_map(|one| one.failed.iter().map(|line| format!("{}: {line}", one.name))).collect();
    assert!(failed.is_empty(), "{}", failed.join("\n"));
}

/// Logs made to hold every kind of slip at once ask more than a member's would; nothing else is let off.
#[test]
fn samples_of_every_slip_ask_what_they_must() {
    let results = run("samples");
    assert!(results.len() >= 4, "{} logs", results.len());
    for one in &results {
        assert!(one.wrong.is_empty(), "{}: {:?}", one.name, one.wrong);
        assert!(one.failed.is_empty(), "{}: {:?}", one.name, one.failed);
    }
}

#[test]
fn every_cell_of_the_corpus_lands_right_or_is_asked_about() {
    let results = run("corpus");
    assert!(results.len() >= LOGS, "{} logs", results.len());
    require(&results);
}

/// Logs made by somebody who had not worked on the reader, by rules drawn beforehand. Their first result is in
/// DEVELOPERS.md; they have been mended since.
#[test]
fn every_cell_of_the_logs_made_unseen_lands_right_or_is_asked_about() {
    let results = run("unseen");
    assert_eq!(results.len(), 20);
    require(&results);
}

/// A second twenty, made the same way after the first had been mended against.
#[test]
fn every_cell_of_the_second_twenty_lands_right_or_is_asked_about() {
    let results = run("unseen_second");
    assert_eq!(results.len(), 20);
    require(&results);
}
