//! A text read in parts says what the same text read at once says: records, findings, counts.

use std::path::{Path, PathBuf};

use chrono::NaiveDate;
use rand::seq::SliceRandom;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use super::*;

const AT_ONCE: Sizes = Sizes { long: u64::MAX, part: u64::MAX, whole: u64::MAX };

/// Whether a text is cut; then both readings are the same.
fn alike(name: &str, bytes: &[u8], context: &Context, part: u64) -> bool {
    let sizes = Sizes { long: 0, part, whole: u64::MAX };
    let Begun::Text(text) = container::begin(name, bytes, &context.answers) else { return false };
    let Ok(Some((plan, known))) = parts::plan(&text, name, context, sizes) else { return false };
    let parts = plan.len();
    let Ok((cut, _)) = in_parts(name, context, plan, known, None) else { return false };
    let (whole, _) = read_sized(name, bytes, context, None, AT_ONCE);
    let keys = |outcome: &Outcome| {
        let mut keys: Vec<String> = outcome.findings.iter().map(|finding| finding.key.clone()).collect();
        keys.sort();
        keys
    };
    assert_eq!(keys(&cut), keys(&whole), "{name} in {parts} parts");
    // Few rows of a part do not show that they come from a probe, nor how sure a header is.
    let about = |outcome: &Outcome| {
        let mut about = About { layouts: Vec::new(), ..outcome.about.clone() };
        about.columns.iter_mut().for_each(|column| column.confidence = 1.0);
        about
    };
    assert_eq!(about(&cut), about(&whole), "{name}");
    let by_key = |outcome: &Outcome| {
        let mut findings = outcome.findings.clone();
        findings
            .iter_mut()
            .for_each(|finding| finding.cells.sort_by_key(|cell| (cell.row, cell.column, cell.role.clone())));
        findings.sort_by(|one, other| one.key.cmp(&other.key));
        findings
    };
    for (one, other) in by_key(&cut).iter().zip(by_key(&whole)) {
        let lone: Vec<_> = one.cells.iter().filter(|cell| !other.cells.contains(cell)).collect();
        let missed: Vec<_> = other.cells.iter().filter(|cell| !one.cells.contains(cell)).collect();
        assert!(lone.is_empty() && missed.is_empty(), "{name}: {}: {lone:?} {missed:?}", one.key);
        assert_eq!(*one, other, "{name}");
    }
    assert_eq!(cut.cells, whole.cells, "{name}");
    assert_eq!(cut.records.len(), whole.records.len(), "{name}");
    for (one, other) in cut.records.iter().zip(&whole.records) {
        assert_eq!(one, other, "{name}");
    }
    true
}

fn logs(folder: &str) -> Vec<PathBuf> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/logs").join(folder);
    let mut logs: Vec<PathBuf> = std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()).collect();
    logs.retain(|path| path.extension().is_some_and(|ending| ending != "expected" && ending != "md"));
    logs.sort();
    logs
}

fn today() -> Context {
    Context { today: NaiveDate::from_ymd_opt(2026, 6, 30), ..Context::default() }
}

#[test]
fn the_corpus_in_parts() {
    let mut cut = 0;
    for path in logs("corpus").into_iter().chain(logs("unseen")) {
        let name = path.file_name().unwrap().to_string_lossy().into_owned();
        let bytes = std::fs::read(&path).unwrap();
        cut += [40, 100].into_iter().filter(|part| alike(&name, &bytes, &today(), *part)).count();
    }
    assert!(cut >= 20, "{cut}");
}

/// How the rows of a made log stand.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Order {
    OldestFirst,
    NewestFirst,
    ByTank,
    Shuffled,
}

const ORDERS: [Order; 4] = [Order::OldestFirst, Order::NewestFirst, Order::ByTank, Order::Shuffled];
const STYLES: [&str; 3] = ["%Y-%m-%d", "%d/%m/%Y", "%-d %b %Y"];

fn arranged(mut rows: Vec<(NaiveDate, usize, String)>, order: Order, rng: &mut ChaCha8Rng) -> Vec<String> {
    match order {
        Order::OldestFirst => {}
        Order::NewestFirst => rows.reverse(),
        Order::ByTank => rows.sort_by_key(|(day, tank, _)| (*tank, *day)),
        Order::Shuffled => rows.shuffle(rng),
    }
    rows.into_iter().map(|(_, _, row)| row).collect()
}

const TANKS: [&str; 3] = ["Alder", "Birch", "Cedar"];

fn day(at: usize) -> NaiveDate {
    NaiveDate::from_ymd_opt(2023, 1, 3).unwrap() + chrono::Days::new(at as u64)
}

/// A log of a row a tank and day, with slips of every kind in few rows.
fn wide(rng: &mut ChaCha8Rng, order: Order, style: &str) -> String {
    let mut rows = Vec::new();
    for at in 0..400 {
        for (tank, mut name) in TANKS.into_iter().enumerate() {
            let mut step = |low: f64, high: f64| rng.random_range(low..high);
            let mut cells = [
                format!("{:.1}", step(24.5, 26.0)),
                format!("{:.1}", step(34.0, 35.5)),
                format!("{:.1}", step(7.5, 9.0)),
                format!("{:.0}", step(400.0, 450.0)),
                format!("{:.0}", step(1.0, 9.0)),
                format!("{:.2}", step(0.02, 0.12)),
                String::new(),
            ];
            let mut date = day(at).format(style).to_string();
            match rng.random_range(0..120) {
                0 => cells[0] = "77.4".to_owned(),
                1 => cells[3] = "42".to_owned(),
                2 => cells[5] = "<0.02".to_owned(),
                3 => cells[4] = "n/d".to_owned(),
                4 => cells[4] = "lots".to_owned(),
                5 => cells[2] = "1O.2".to_owned(),
                6 => cells[6] = "power cut in the night".to_owned(),
                7 => cells[6] = "KH 8.4 with the other kit".to_owned(),
                8 => date = "31.02.2024".to_owned(),
                9 => date = String::new(),
                10 => cells[3].clear(),
                11 => cells[1] = "1.025".to_owned(),
                12 => cells[4] = "5-10".to_owned(),
                13 => cells[5] = "40".to_owned(),
                14 => date = "someday".to_owned(),
                15 => date = "2031-01-01".to_owned(),
                16 => date = (day(at) - chrono::Days::new(365)).format(style).to_string(),
                17 => name = "Alderr",
                _ => {}
            }
            let row = format!("{date},{name},{}", cells.join(","));
            if rng.random_ratio(1, 150) {
                rows.push((day(at), tank, row.clone()));
            }
            rows.push((day(at), tank, row));
        }
    }
    let header = "Date,Tank,Temp °C,Salinity PSU,KH dKH,Ca ppm,NO3,PO4 ppm,Notes";
    let mut lines = vec!["Water tests of the three tanks".to_owned(), String::new(), header.to_owned()];
    lines.extend(arranged(rows, order, rng));
    for at in [200, 700] {
        lines.insert(at, header.to_owned());
    }
    lines.push("Mean,,25.2,34.8,8.2,425,5,0.07,".to_owned());
    lines.join("\n")
}

/// The same as a list, one test a row, and a test named in two ways.
fn list(rng: &mut ChaCha8Rng, order: Order, style: &str) -> String {
    let tests =
        [("KH", "dKH", 7.5, 9.0), ("Calcium", "ppm", 400.0, 450.0), ("NO3", "", 1.0, 9.0), ("Nitrate", "", 2.0, 8.0)];
    let mut rows = Vec::new();
    for at in 0..250 {
        for (tank, name) in TANKS.iter().enumerate() {
            for (test, unit, low, high) in tests.iter().filter(|_| true) {
                if (test == &"Nitrate") != (at % 7 == 0) && test.starts_with('N') {
                    continue;
                }
                let mut value = format!("{:.1}", rng.random_range(*low..*high));
                match rng.random_range(0..150) {
                    0 => value = "nd".to_owned(),
                    1 => value = format!("{}", low / 10.0),
                    2 => value = "high".to_owned(),
                    _ => {}
                }
                rows.push((day(at), tank, format!("{};{name};{test};{value};{unit}", day(at).format(style))));
            }
        }
    }
    let mut lines = vec!["Datum;Becken;Messwert;Wert;Einheit".to_owned()];
    lines.extend(arranged(rows, order, rng));
    lines.join("\n")
}

/// A list whose days are written once and left blank below.
fn filled_down(rng: &mut ChaCha8Rng) -> String {
    let mut lines = vec!["Datum;Messwert;Wert".to_owned()];
    for at in 0..300 {
        for (test, low, high) in [("KH", 7.5, 9.0), ("Calcium", 400.0, 450.0), ("NO3", 1.0, 9.0)] {
            let date = if test == "KH" { day(at).to_string() } else { String::new() };
            lines.push(format!("{date};{test};{:.1}", rng.random_range(low..high)));
        }
    }
    lines.join("\n")
}

/// A probe's rows every half hour; it hangs twice, once over midnight at a turn of a month.
fn probe(rng: &mut ChaCha8Rng) -> String {
    let mut lines = vec!["Time,Temp °C,pH".to_owned()];
    let first = day(20).and_hms_opt(0, 0, 0).unwrap();
    let mut held = None;
    for at in 0..48 * 40 {
        let moment = first + chrono::TimeDelta::minutes(30 * at);
        let hangs = (48 * 9 - 10..48 * 9 + 14).contains(&at) || (48 * 30 + 3..48 * 30 + 30).contains(&at);
        let value = format!("{:.2}", rng.random_range(24.8..25.6));
        let value = if hangs { held.get_or_insert(value).clone() } else { value };
        if !hangs {
            held = None;
        }
        lines.push(format!("{},{value},{:.2}", moment.format("%Y-%m-%d %H:%M"), rng.random_range(7.9..8.4)));
    }
    lines.join("\n")
}

#[test]
fn long_logs_in_parts() {
    let mut rng = ChaCha8Rng::seed_from_u64(20261126);
    for order in ORDERS {
        for style in STYLES {
            for part in [900, 4000] {
                let text = wide(&mut rng, order, style);
                assert!(alike(&format!("wide {order:?} {style}.csv"), text.as_bytes(), &today(), part));
                let text = list(&mut rng, order, style);
                assert!(alike(&format!("list {order:?} {style}.csv"), text.as_bytes(), &today(), part));
            }
        }
    }
    for part in [500, 1500] {
        assert!(alike("filled down.csv", filled_down(&mut rng).as_bytes(), &today(), part));
        assert!(alike("probe.csv", probe(&mut rng).as_bytes(), &today(), part));
    }
}

#[test]
fn a_long_text_that_cannot_be_cut_is_refused_with_a_remedy() {
    let mut text = "Name,Label,Bought on,Lost on\n".to_owned();
    for at in 0..40 {
        text += &format!("Stylophora pistillata,ST{at},{},\n", day(at));
    }
    let sizes = Sizes { long: 20, part: 50, whole: 100 };
    let (outcome, _) = read_sized("corals.csv", text.as_bytes(), &today(), None, sizes);
    assert!(outcome.records.is_empty() && unreadable(&outcome));
    let [refused] = outcome.findings.as_slice() else { panic!("{:?}", outcome.findings) };
    assert_eq!(refused.code, "file_over_limit");
    assert_eq!(
        refused.message,
        "corals.csv is over the limit of 100 cells in anything but one table of tests with the day in every row: it has \
         124."
    );
    let (outcome, _) = read_sized("corals.csv", text.as_bytes(), &today(), None, Sizes { whole: 124, ..sizes });
    assert_eq!(outcome.cells.total, 124);
}

#[test]
fn what_only_the_whole_shows_is_read_at_once() {
    let row = |at: usize, value: &str| format!("{},{value}\n", day(at));
    // Phosphate as P up to a day, as PO4 from then on: a level that steps between two parts by the factor of the bases.
    let step: String = (0..200).map(|at| row(at, if at < 90 { "0.02" } else { "0.0613" })).collect();
    // A habit told again and again.
    let habit: String = (0..200).map(|at| row(at, "2")).collect();
    let sizes = Sizes { long: 20, part: 60, whole: u64::MAX };
    for (header, rows, code) in [("PO4 ppm", step, Some("basis_unclear:po4 ppm:step")), ("feeds a week", habit, None)] {
        let text = format!("Date,{header}\n{rows}");
        let Begun::Text(begun) = container::begin("a.csv", text.as_bytes(), &[]) else { panic!("text") };
        let (plan, known) = parts::plan(&begun, "a.csv", &today(), sizes).unwrap().unwrap();
        assert!(plan.len() > 2 && in_parts("a.csv", &today(), plan, known, None).is_err(), "{header}");
        let (outcome, _) = read_sized("a.csv", text.as_bytes(), &today(), None, sizes);
        let (whole, _) = read_sized("a.csv", text.as_bytes(), &today(), None, AT_ONCE);
        assert_eq!(outcome, whole);
        let keys: Vec<&str> = outcome.findings.iter().map(|finding| finding.key.as_str()).collect();
        assert!(code.is_none_or(|code| keys.contains(&code)), "{keys:?}");
    }
}

/// Lines swapped, doubled, left out, cut short or filled with something else; each stays on its day, since a line far from
/// its day is another thing in a part that holds the rows of its days.
fn bent(text: &str, rng: &mut ChaCha8Rng) -> String {
    const OTHER: [&str; 12] =
        ["", "?", "n/a", "<0.1", "12,5", "2024-02-30", "Total", "77", "0", "8.1/8.3", "x", "3 mars"];
    let mut lines: Vec<String> = text.lines().map(str::to_owned).collect();
    for _ in 0..rng.random_range(1..12) {
        let one = rng.random_range(0..lines.len() - 1);
        let other = one + 1;
        match rng.random_range(0..6) {
            0 => lines.swap(one, other),
            1 => lines.insert(other, lines[one].clone()),
            2 => drop(lines.remove(one)),
            3 => lines[one] = lines[one].chars().take(4).collect(),
            4 => lines.insert(one, String::new()),
            _ => {
                let separator = if lines[one].contains(';') { ';' } else { ',' };
                let mut cells: Vec<&str> = lines[one].split(separator).collect();
                let at = rng.random_range(0..cells.len());
                cells[at] = OTHER[rng.random_range(0..OTHER.len())];
                lines[one] = cells.join(&separator.to_string());
            }
        }
    }
    lines.join("\n")
}

#[test]
fn bent_logs_in_parts() {
    let mut rng = ChaCha8Rng::seed_from_u64(7);
    let (mut cut, mut all) = (0, 0);
    for round in 0..4 {
        let order = ORDERS[round % 4];
        let style = STYLES[round % 3];
        for (name, text) in [
            ("wide", wide(&mut rng, order, style)),
            ("list", list(&mut rng, order, style)),
            ("probe", probe(&mut rng)),
            ("filled down", filled_down(&mut rng)),
        ] {
            let text = bent(&text, &mut rng);
            let part = rng.random_range(400..4000);
            all += 1;
            let name = format!("{name} {round} {order:?} {style} {part}.csv");
            cut += usize::from(alike(&name, text.as_bytes(), &today(), part));
        }
    }
    assert!(cut * 2 > all, "{cut} of {all}");
}

#[test]
fn a_long_text_of_unclear_encoding_is_asked_about_and_then_read_in_parts() {
    let rows: String = (0..200).map(|at| format!("{},8.{},x\n", day(at), at % 10)).collect();
    let bytes = [b"Date,KH dKH,\xf7\n".as_slice(), rows.as_bytes()].concat();
    let sizes = Sizes { long: 20, part: 60, whole: 100 };
    let (asked, _) = read_sized("a.csv", &bytes, &today(), None, sizes);
    let keys: Vec<&str> = asked.findings.iter().map(|finding| finding.key.as_str()).collect();
    assert_eq!((keys.as_slice(), asked.records.len()), (["encoding_unclear"].as_slice(), 0));
    let answers = vec![crate::finding::Answer { key: "encoding_unclear".into(), choice: "first".into(), value: None }];
    let (read, _) = read_sized("a.csv", &bytes, &Context { answers, ..today() }, None, sizes);
    assert_eq!(read.records.len(), 201);
}
