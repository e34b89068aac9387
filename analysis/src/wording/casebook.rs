//! Single losses in words.

use crate::answer::CasebookLine;

/// How to read the lines.
pub fn read(losses: usize) -> String {
    match losses {
        0 => "No loss of this taxon is on record.".to_owned(),
        1 => "One loss is on record. It tells what was seen then, not what would have helped.".to_owned(),
        n => format!("{n} losses are on record. They tell what was seen then, not what would have helped."),
    }
}

/// A loss in one sentence or two.
pub fn line(line: &CasebookLine) -> String {
    let age = match line.age_months {
        None => "at an unknown age".to_owned(),
        Some(months) if months < 1.0 => "in its first month".to_owned(),
        Some(months) => format!("after {months:.0} months"),
    };
    let fate = match line.fate.as_str() {
        "missing" => "not found again",
        "arrived_dead" => "arrived dead",
        "tank_closed" => "lost with its tank",
        _ => "died",
    };
    let mut text = format!("{} {fate} {age}", line.name);
    match &line.cause {
        Some(cause) => text.push_str(&format!("; put down to {}", cause.replace('_', " "))),
        None => text.push_str("; no cause is written down"),
    }
    text.push('.');
    let outside: Vec<String> = line
        .last_tests
        .iter()
        .filter_map(|test| {
            let side = test.band.filter(|band| *band != "within")?;
            Some(format!("{} {side} the taught band, tested {:.0} days before", test.parameter, test.days_before))
        })
        .collect();
    if line.last_tests.is_empty() {
        text.push_str(" No test of the half year before is on record.");
    } else if outside.is_empty() {
        text.push_str(" The last tests before it that have a taught band lay within it, or do not say.");
    } else {
        text.push_str(&format!(" Last tests: {}.", outside.join("; ")));
    }
    if line.one_of_many {
        text.push_str(" It was one of many lost in its tank within two weeks.");
    }
    if !line.incidents.is_empty() {
        let kinds: Vec<String> = line.incidents.iter().map(|kind| kind.replace('_', " ")).collect();
        text.push_str(&format!(" In the 60 days before: {}.", kinds.join(", ")));
    }
    text
}
