//! Mistakes as people make them, planted one at a time in every sample log in which they fit: each must be asked about
//! with the remedy that mends it, nothing may load wrong, and nothing else may be asked.
//!
//! `cargo test -p importer --test planted -- --nocapture` prints the table.

#[path = "planted/coral.rs"]
mod coral;
#[path = "planted/day.rs"]
mod day;
#[path = "planted/host.rs"]
mod host;
#[path = "planted/number.rs"]
mod number;
#[path = "support/records.rs"]
mod records;
#[path = "support/rewrite.rs"]
mod rewrite;
#[allow(dead_code, reason = "what the cells mean is for another test")]
#[path = "support/statements.rs"]
mod statements;

use std::collections::BTreeMap;
use std::sync::atomic::{AtomicUsize, Ordering};

use host::{Expect, Host, Plant, Planter};
use importer::context::{Context, Outcome};
use importer::finding::{Answer, Finding, Severity};
use importer::read::read;
use records::without_like;
use serde_json::Value;

/// Share of planted mistakes that must be asked about with the right remedy.
const ASKED: f64 = 0.95;

/// How a planted mistake ended.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
enum End {
    /// Asked about, or read right where it may be; the remedy mends it.
    Right,
    /// Neither asked about nor read right, but nothing wrong loaded.
    Missed(String),
    /// A wrong record loaded.
    Wrong(String),
}

fn is_doubt(finding: &&Finding) -> bool {
    finding.severity != Severity::Noted
}

fn outcome(file: &(&'static str, Vec<u8>), context: &Context) -> Outcome {
    read(file.0, &file.1, context)
}

fn judge(host: &Host, plant: &Plant) -> (End, Vec<String>) {
    let context = plant.context.as_ref().unwrap_or(&host.context);
    let fresh;
    let before = match &plant.context {
        Some(context) => {
            fresh = outcome(&rewrite::file(&host.grids), context);
            &fresh
        }
        None => &host.outcome,
    };
    let file = rewrite::file(&plant.grids);
    let after = outcome(&file, context);
    let known: Vec<&str> = before.findings.iter().filter(is_doubt).map(|finding| finding.key.as_str()).collect();
    let new: Vec<&Finding> =
        after.findings.iter().filter(is_doubt).filter(|finding| !known.contains(&finding.key.as_str())).collect();
    let codes = plant.expect.codes();
    let covers = |finding: &Finding| {
        plant.cells.is_empty()
            || finding.cells.iter().any(|cell| {
                plant.cells.iter().any(|(sheet, row, column)| {
                    after_sheet(&plant.grids, *sheet) == cell.sheet && cell.row == *row && cell.column == *column
                })
            })
            || plant.cells.iter().any(|(_, row, column)| finding.row == Some(*row) && finding.column == Some(*column))
    };
    // A doubt that the file had already may take the planted cell in.
    let found = after
        .findings
        .iter()
        .filter(is_doubt)
        .find(|finding| codes.contains(&finding.code.as_str()) && covers(finding));
    let elsewhere: Vec<String> = new
        .iter()
        .filter(|finding| !codes.contains(&finding.code.as_str()) && !plant.also.contains(&finding.code.as_str()))
        // Another doubt about the planted cell itself is no question elsewhere.
        .filter(|finding| plant.cells.is_empty() || !covers(finding))
        .map(|finding| format!("{}: {}", finding.key, finding.message))
        .collect();
    let wrong = without_like(&after.records, &before.records, plant.slack);
    let wrong: Vec<&Value> = wrong.iter().filter(|record| !plant.may_change(record)).collect();
    let end = match (&plant.expect, found) {
        _ if !wrong.is_empty() => End::Wrong(format!("{}", wrong[0])),
        (Expect::Same, _) => {
            let lost = without_like(&before.records, &after.records, plant.slack);
            match lost.first() {
                None => End::Right,
                Some(lost) => End::Missed(format!("lost {lost}; {:?}", new.iter().map(|f| &f.key).collect::<Vec<_>>())),
            }
        }
        (_, None) => End::Missed(format!("new: {:?}", new.iter().map(|finding| &finding.key).collect::<Vec<_>>())),
        (Expect::Refuse(_), Some(_)) => End::Right,
        (Expect::Ask { answer, restores, .. }, Some(finding)) => {
            let Some(answer) = answer.of(finding) else {
                return (End::Missed(format!("no remedy: {:?} {:?}", finding.proposed, finding.choices)), elsewhere);
            };
            if !*restores {
                return (End::Right, elsewhere);
            }
            let mut answered = context.clone();
            answered.answers.push(answer);
            let mended = outcome(&file, &answered);
            // The answer settles what the log held of the same kind before.
            let whole = outcome(&rewrite::file(&host.grids), &answered);
            let lost = without_like(&whole.records, &mended.records, plant.slack);
            let wrong = without_like(&mended.records, &whole.records, plant.slack);
            match (lost.first(), wrong.first()) {
                (None, None) => End::Right,
                (lost, wrong) => End::Missed(format!("not mended by the remedy: lost {lost:?}, new {wrong:?}")),
            }
        }
    };
    (end, elsewhere)
}

fn after_sheet(grids: &[importer::grid::Grid], sheet: usize) -> Option<String> {
    grids.get(sheet).and_then(|grid| grid.sheet.clone())
}

/// How an answer is chosen.
pub enum Remedy {
    /// The proposed one.
    Proposed,
    /// A choice by its code, with a value.
    Choice(&'static str, Option<Value>),
    /// The choice that needs a value of this kind.
    Needing(&'static str, Value),
}

impl Remedy {
    fn of(&self, finding: &Finding) -> Option<Answer> {
        let choice = |choice: &str, value: &Option<Value>| {
            let known = finding.choices.iter().any(|own| own.code == choice);
            known.then(|| Answer { key: finding.key.clone(), choice: choice.to_owned(), value: value.clone() })
        };
        match self {
            Remedy::Proposed => finding.proposed.clone(),
            Remedy::Choice(code, value) => choice(code, value),
            Remedy::Needing(what, value) => {
                let own = finding.choices.iter().find(|own| own.needs.as_deref() == Some(what))?;
                choice(&own.code, &Some(value.clone()))
            }
        }
    }
}

#[test]
fn each_mistake_is_asked_about_with_its_remedy() {
    let hosts = host::hosts();
    let planters: Vec<Planter> = number::PLANTERS.iter().chain(day::PLANTERS).chain(coral::PLANTERS).copied().collect();
    let jobs: Vec<(usize, usize)> =
        (0..planters.len()).flat_map(|planter| (0..hosts.len()).map(move |host| (planter, host))).collect();
    let next = AtomicUsize::new(0);
    let threads = std::thread::available_parallelism().map_or(2, std::num::NonZero::get);
    let mut results: Vec<(usize, usize, End, Vec<String>)> = std::thread::scope(|scope| {
        let workers: Vec<_> = (0..threads)
            .map(|_| {
                scope.spawn(|| {
                    let mut own = Vec::new();
                    while let Some(&(planter, host)) = jobs.get(next.fetch_add(1, Ordering::Relaxed)) {
                        if let Some(plant) = (planters[planter].plant)(&hosts[host]) {
                            let (end, elsewhere) = judge(&hosts[host], &plant);
                            own.push((planter, host, end, elsewhere));
                        }
                    }
                    own
                })
            })
            .collect();
        workers.into_iter().flat_map(|worker| worker.join().unwrap()).collect()
    });
    results.sort();
    println!("{:52}{:>6}{:>7}{:>8}{:>14}{:>16}", "mistake", "fits", "right", "missed", "loaded wrong", "new elsewhere");
    let mut said: BTreeMap<usize, Vec<String>> = BTreeMap::new();
    let (mut fits, mut right, mut wrong, mut elsewhere) = (0, 0, 0, 0);
    for (at, planter) in planters.iter().enumerate() {
        let own: Vec<_> = results.iter().filter(|result| result.0 == at).collect();
        let count = |end: fn(&End) -> bool| own.iter().filter(|result| end(&result.2)).count();
        let (ok, missed, bad) = (
            count(|end| *end == End::Right),
            count(|end| matches!(end, End::Missed(_))),
            count(|end| matches!(end, End::Wrong(_))),
        );
        let more = own.iter().filter(|result| !result.3.is_empty()).count();
        println!("{:52}{:>6}{ok:>7}{missed:>8}{bad:>14}{more:>16}", planter.name, own.len());
        fits += own.len();
        right += ok;
        wrong += bad;
        elsewhere += more;
        for (_, host, end, more) in own {
            if let End::Missed(why) | End::Wrong(why) = end {
                said.entry(at).or_default().push(format!("  {}: {:.9} {why}", hosts[*host].name, format!("{end:?}")));
            }
            for key in more {
                said.entry(at).or_default().push(format!("  {}: elsewhere {key}", hosts[*host].name));
            }
        }
    }
    println!("{:52}{fits:>6}{right:>7}{:>8}{wrong:>14}{elsewhere:>16}", "in all", fits - right - wrong);
    for (at, lines) in &said {
        println!("{}", planters[*at].name);
        lines.iter().for_each(|line| println!("{line}"));
    }
    for (at, planter) in planters.iter().enumerate() {
        assert!(results.iter().any(|result| result.0 == at), "{} fits in no log", planter.name);
    }
    assert_eq!((wrong, elsewhere), (0, 0), "mistakes loaded wrong, and new questions elsewhere");
    assert!(right as f64 >= ASKED * fits as f64, "{right} of {fits}");
}
