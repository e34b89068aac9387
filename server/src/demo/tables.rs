//! A member's tests, corals and looks as tables, with the rounding of kits and the slips of people.

use analysis::simulation::draw::Draw;
use analysis::simulation::{Fate, Specimen};

use super::member::{Member, Style};
use super::sheet::{Sheet, Value};
use super::words;

/// Units and header words of a table of tests.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Units {
    /// Celsius, practical salinity, dKH.
    Common,
    /// Fahrenheit, specific gravity at 25/25 °C, ppm calcium carbonate.
    Fahrenheit,
    /// As common, in German.
    German,
}

/// What a kit shows of the seven parameters on one day: value, decimals, and a limit it may fall below.
struct Shown {
    value: f64,
    decimals: usize,
    below: Option<f64>,
}

fn shown(member: &Member, tank: usize, day: i32, units: Units, slips: &mut Draw) -> [Shown; 7] {
    let water = member.club.tanks[tank].water.on(day);
    let step = |value: f64, step: f64| (value / step).round() * step;
    let plain = |value: f64, decimals: usize| Shown { value, decimals, below: None };
    let temperature = water[0] + 0.1 * slips.normal();
    let salinity = water[1] + 0.15 * slips.normal();
    let alkalinity = water[2] + 0.15 * slips.normal();
    let nitrate = water[5] * (0.06 * slips.normal()).exp();
    let phosphate = water[6] * (0.1 * slips.normal()).exp();
    let fahrenheit = units == Units::Fahrenheit;
    [
        plain(if fahrenheit { step(temperature * 1.8 + 32.0, 0.1) } else { step(temperature, 0.1) }, 1),
        // 35 PSU is 1.02637 at 25/25 and the scale is near enough a line over these few units (EOS-80).
        if fahrenheit {
            plain(step(1.026_372_7 + (salinity - 35.0) * 0.000_757_6, 0.0005), 4)
        } else {
            plain(step(salinity, 0.1), 1)
        },
        if fahrenheit { plain(step(alkalinity * 17.848, 1.0), 0) } else { plain(step(alkalinity, 0.1), 1) },
        plain(step(water[3] + 4.0 * slips.normal(), 5.0), 0),
        plain(step(water[4] + 8.0 * slips.normal(), 10.0), 0),
        if nitrate < 10.0 { plain(step(nitrate, 0.5), 1) } else { plain(step(nitrate, 1.0), 0) },
        Shown { value: step(phosphate, 0.01), decimals: 2, below: (phosphate < 0.02).then_some(0.02) },
    ]
}

impl Shown {
    fn value(&self, comma: bool) -> Value {
        match self.below {
            Some(limit) => {
                let text = format!("<{limit:.2}");
                Value::text(if comma { text.replace('.', ",") } else { text })
            }
            None => Value::Number(self.value, self.decimals),
        }
    }
}

/// Tests, one day a row.
pub fn tests_wide(member: &Member, units: Units) -> Sheet {
    let header: [&str; 9] = match units {
        Units::Common => [
            "Date",
            "Tank",
            "Temp (C)",
            "Salinity (ppt)",
            "Alk (dKH)",
            "Ca (ppm)",
            "Mg (ppm)",
            "NO3 (ppm)",
            "PO4 (ppm)",
        ],
        Units::Fahrenheit => [
            "Date",
            "Tank",
            "Temp (F)",
            "SG 25/25",
            "Alk (ppm CaCO3)",
            "Calcium",
            "Magnesium",
            "Nitrate (ppm)",
            "Phosphate (ppm)",
        ],
        Units::German => [
            "Datum",
            "Becken",
            "Temperatur °C",
            "Salinität PSU",
            "KH °dH",
            "Calcium mg/l",
            "Magnesium mg/l",
            "Nitrat mg/l",
            "Phosphat mg/l",
        ],
    };
    let messy = member.style == Style::Messy;
    let named =
        member.tank_names.len() > 1 || matches!(member.style, Style::Tidy | Style::Workbook | Style::TradeNames);
    let comma = units == Units::German;
    let mut rows: Vec<Vec<Value>> = Vec::new();
    if messy {
        rows.push(vec![Value::text("Water tests, kept on the fridge door")]);
        rows.push(Vec::new());
    }
    let mut head: Vec<Value> = Vec::new();
    for (column, text) in header.iter().enumerate() {
        if column == 1 && !named {
            continue;
        }
        // The messy keeper writes units in a row of their own.
        let text = if messy { text.split(" (").next().unwrap_or(text) } else { text };
        head.push(Value::text(text));
    }
    let says_feeds = says_feeds(member);
    if says_feeds {
        head.push(Value::text(match units {
            Units::Common => "Feeds a week",
            Units::Fahrenheit => "Feeds / week",
            Units::German => "Fütterung pro Woche",
        }));
    }
    head.push(Value::text(if comma { "Bemerkung" } else { "Notes" }));
    rows.push(head);
    if messy {
        let mut line = vec![Value::Empty];
        if named {
            line.push(Value::Empty);
        }
        line.extend(["°C", "ppt", "dKH", "ppm", "ppm", "ppm", "ppm"].map(Value::text));
        rows.push(line);
    }
    let mut slips = member.slips(1);
    let mut tests: Vec<(i32, usize)> = Vec::new();
    for tank in &member.club.keepers[member.at].tanks {
        tests.extend(member.club.tanks[*tank].test_days.iter().map(|day| (*day, *tank)));
    }
    tests.sort_unstable();
    let slip_row = tests.len() / 3;
    for (number, (day, tank)) in tests.iter().enumerate() {
        let values = shown(member, *tank, *day, units, &mut slips);
        let mut row = vec![Value::Day(member.day(*day))];
        if named {
            row.push(Value::text(member.tank_names[member.tank_at(*tank)].clone()));
        }
        for (at, value) in values.iter().enumerate() {
            // Calcium and magnesium are tested now and then.
            let skipped = match at {
                3 | 4 => !slips.chance(0.35),
                _ => slips.chance(0.06),
            };
            row.push(if skipped {
                if messy && slips.chance(0.3) { Value::text("n/a") } else { Value::Empty }
            } else if messy && at == 5 && slips.chance(0.05) {
                Value::text("5-10")
            } else if messy && at == 2 && slips.chance(0.05) {
                Value::text(format!("{:.1} dKH", value.value))
            } else if messy && at == 0 && number == slip_row {
                // One evening the other thermometer was read.
                Value::Number(((value.value * 1.8 + 32.0) * 10.0).round() / 10.0, 1)
            } else {
                value.value(comma)
            });
        }
        if says_feeds {
            row.push(Value::Number(member.club.tanks[*tank].feeds_per_week, 0));
        }
        row.push(if slips.chance(0.04) {
            Value::text(if comma { "Wasserwechsel" } else { "changed some water" })
        } else {
            Value::Empty
        });
        rows.push(row);
    }
    if messy {
        rows.push(average(&rows, named));
    }
    Sheet { name: "Tests".to_owned(), rows }
}

/// Most members write down how often they feed, beside the tests; 0 where they do not.
fn says_feeds(member: &Member) -> bool {
    member.slips(4).chance(0.9)
}

fn average(rows: &[Vec<Value>], named: bool) -> Vec<Value> {
    let first = if named { 2 } else { 1 };
    let mut line = vec![Value::text("Average")];
    if named {
        line.push(Value::Empty);
    }
    for column in first..first + 7 {
        let numbers: Vec<f64> = rows
            .iter()
            .filter_map(|row| match row.get(column) {
                Some(Value::Number(number, _)) => Some(*number),
                _ => None,
            })
            .collect();
        line.push(Value::Number(numbers.iter().sum::<f64>() / numbers.len().max(1) as f64, 2));
    }
    line
}

/// Tests, one a line.
pub fn tests_long(member: &Member) -> Sheet {
    const TESTS: [(&str, &str); 7] = [
        ("Temp", "C"),
        ("Salinity", "ppt"),
        ("KH", "dKH"),
        ("Ca", "mg/l"),
        ("Mg", "mg/l"),
        ("NO3", "mg/l"),
        ("PO4", "mg/l"),
    ];
    let mut rows = vec![["when", "tank", "test", "result", "unit"].map(Value::text).to_vec()];
    let mut slips = member.slips(1);
    for tank in &member.club.keepers[member.at].tanks {
        for day in &member.club.tanks[*tank].test_days {
            for (at, value) in shown(member, *tank, *day, Units::Common, &mut slips).iter().enumerate() {
                if slips.chance(if matches!(at, 3 | 4) { 0.65 } else { 0.06 }) {
                    continue;
                }
                rows.push(vec![
                    Value::Day(member.day(*day)),
                    Value::text(member.tank_names[member.tank_at(*tank)].clone()),
                    Value::text(TESTS[at].0),
                    value.value(false),
                    Value::text(TESTS[at].1),
                ]);
            }
            if says_feeds(member) {
                rows.push(vec![
                    Value::Day(member.day(*day)),
                    Value::text(member.tank_names[member.tank_at(*tank)].clone()),
                    Value::text("Feeding"),
                    Value::Number(member.club.tanks[*tank].feeds_per_week, 0),
                    Value::text("per week"),
                ]);
            }
        }
    }
    Sheet { name: "Tests".to_owned(), rows }
}

/// The register: a coral a row.
pub fn register(member: &Member) -> Sheet {
    let header: [&str; 7] = match member.style {
        Style::Tidy => ["Label", "Species", "Acquired", "Origin", "Tank", "Died or left", "What happened"],
        Style::Semicolon => ["No", "Coral", "Got", "Origin", "Tank", "Gone", "What happened"],
        Style::Lines => ["ID", "Name", "Bought", "Origin", "Tank", "Ended", "Fate"],
        Style::Fahrenheit => ["Coral #", "Species", "Date acquired", "Origin", "Tank", "Date lost", "Reason"],
        _ => ["No", "Coral", "Got", "From", "Tank", "Lost", "What happened"],
    };
    let mut rows = Vec::new();
    if matches!(member.style, Style::Workbook | Style::Semicolon | Style::TradeNames) {
        rows.push(vec![Value::text("as of"), Value::Day(member.last_day())]);
        rows.push(Vec::new());
    }
    rows.push(header.map(Value::text).to_vec());
    let mut slips = member.slips(2);
    for (number, (label, specimen)) in member.listed.iter().enumerate() {
        let slug = member.club.design.taxa[specimen.taxon].taxon.as_str();
        let variant = match member.style {
            Style::TradeNames => 1 + number,
            Style::Messy | Style::Fahrenheit => number,
            _ => 0,
        };
        let mut name = words::coral_name(slug, variant).to_owned();
        // A trade name of several genera: only the member can say which.
        if member.style == Style::TradeNames && matches!(slug, "goniopora" | "alveopora") && slips.chance(0.15) {
            name = "flowerpot".to_owned();
        }
        let origin = if specimen.wild { words::WILD[number % 3] } else { words::CAPTIVE[number % 3] };
        let (end, fate) = ending(member, specimen, &mut slips);
        rows.push(vec![
            Value::text(label.clone()),
            Value::text(name),
            Value::Day(member.day(specimen.acquired)),
            Value::text(origin),
            Value::text(member.tank_names[member.tank_at(specimen.tank)].clone()),
            end,
            fate,
        ]);
    }
    Sheet { name: "Corals".to_owned(), rows }
}

fn ending(member: &Member, specimen: &Specimen, slips: &mut Draw) -> (Value, Value) {
    // Losses are noticed within some days.
    let noticed = slips.whole(0, 6);
    let word = slips.below(words::DEATHS.len());
    let (vanished, unclear) = (slips.chance(0.04), slips.chance(0.2));
    let Some((fate, day)) = specimen.life.end else { return (Value::Empty, Value::Empty) };
    let day = match fate {
        Fate::Left => day,
        _ => (day + noticed).min(member.club.design.days),
    };
    let text = match fate {
        Fate::Died if member.style == Style::Terse && unclear => "gone",
        Fate::Died if vanished => "vanished",
        Fate::Died => words::DEATHS[word],
        Fate::Incident => words::INCIDENT_DEATH,
        Fate::Left => words::LEAVINGS[word % words::LEAVINGS.len()],
    };
    (Value::Day(member.day(day)), Value::text(text))
}

/// The diary: sizes and looks.
pub fn diary(member: &Member) -> Sheet {
    let mut rows = vec![["Date", "Coral", "What", "Reading"].map(Value::text).to_vec()];
    let mut slips = member.slips(3);
    let looks_often = member.slips(5).chance(0.6);
    let mut lines: Vec<(i32, Vec<Value>)> = Vec::new();
    for (label, specimen) in &member.listed {
        let slug = member.club.design.taxa[specimen.taxon].taxon.as_str();
        let branching = matches!(slug, "acropora-millepora" | "montipora-digitata" | "seriatopora-hystrix");
        for (day, size) in &specimen.life.sizes {
            if *day < 0 || *day > member.club.design.days || slips.chance(0.25) {
                continue;
            }
            let what = if branching { "diameter" } else { "skeleton diameter" };
            lines.push((*day, line(member, *day, label, what, Value::text(format!("{size:.0} mm")))));
        }
        // Many look every month; everybody in the last weeks before the list is sent in.
        let last = member.club.design.days - slips.whole(1, 20);
        let looks = &specimen.life.looks;
        for (day, condition) in looks.iter().filter(|(day, _)| (0..last).contains(day)) {
            let (word, missed) = (slips.below(4), slips.chance(0.12));
            if looks_often && !missed {
                lines.push((*day, line(member, *day, label, "look", Value::text(words::look(*condition, word)))));
            }
        }
        if let Some((_, condition)) = looks.iter().rev().find(|(day, _)| *day <= last)
            && specimen.life.alive_on(last)
            && last > specimen.acquired
        {
            lines.push((last, line(member, last, label, "look", Value::text(words::look(*condition, 0)))));
        }
    }
    lines.sort_by_key(|(day, _)| *day);
    rows.extend(lines.into_iter().map(|(_, row)| row));
    Sheet { name: "Looks".to_owned(), rows }
}

fn line(member: &Member, day: i32, label: &str, what: &str, reading: Value) -> Vec<Value> {
    vec![Value::Day(member.day(day)), Value::text(label), Value::text(what), reading]
}
